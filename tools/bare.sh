#!/bin/bash
# tools/bare.sh [bookworm|trixie]...: does what README says on a machine with nothing on it, a fresh debootstrap, without
# a terminal: as a user without sudo (must be told what to run), as root, and as a user whose sudo asks nothing. Needs root,
# debootstrap and a mirror. WHO='root sudo' TARGETS='demo test'; OVER=dir: files that a machine here needs to reach its mirrors,
# copied over each root.
set -euo pipefail
SRC=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
WORK=${WORK:-/var/tmp/athwart-bare} TARGETS=${TARGETS:-demo test}
MIRROR=${MIRROR:-$({ cat /etc/apt/sources.list.d/*.sources /etc/apt/sources.list 2>/dev/null || :; } |
    sed -nE 's,^(URIs:|deb( \[[^]]*\])?) *(https?:[^ ]*/debian)/?( .*)?$,\3,p' | head -1)}
[ "$(id -u)" = 0 ] && command -v debootstrap >/dev/null && [ -n "$MIRROR" ] || { echo "bare NOT RUN: root, debootstrap, a mirror"; exit 0; }
mkdir -p "$WORK/archives/partial"
trap 'rm -rf "$WORK"/root.*' EXIT
inside() {   # root command: own mount namespace and an environment of nothing but PATH and HOME
    unshare --mount --pid --fork --propagation private bash -c 'mount -t proc proc "$1/proc"; mount --rbind /dev "$1/dev"
        mkdir -p "$1/var/cache/apt/archives"; mount --bind "$3/archives" "$1/var/cache/apt/archives"
        exec chroot "$1" env -i HOME=/root PATH=/usr/sbin:/usr/bin:/sbin:/bin bash -ec "$2"' _ "$1" "$2" "$WORK" </dev/null
}
as() { echo "su - boater -c 'set -e; $1'"; }
for release in ${*:-bookworm trixie}; do
    script=/usr/share/debootstrap/scripts/$release; [ -e "$script" ] || script=/usr/share/debootstrap/scripts/sid
    base=$WORK/$release.base
    [ -e "$base" ] || { rm -rf "$base.new"; debootstrap --variant=minbase "$release" "$base.new" "$MIRROR" "$script" >"$WORK/$release.log"; mv "$base.new" "$base"; }
    for who in ${WHO:-root sudo}; do
        root=$WORK/root.$release.$who said=$WORK/$release.$who.log
        rm -rf "$root"; cp -a "$base" "$root"
        cp -L /etc/resolv.conf "$root/etc/"
        echo 'APT::Keep-Downloaded-Packages "true";' >"$root/etc/apt/apt.conf.d/99keep"
        printf '#!/bin/sh\nexit 101\n' >"$root/usr/sbin/policy-rc.d"; chmod +x "$root/usr/sbin/policy-rc.d"
        [ -z "${OVER:-}" ] || cp -a "$OVER/." "$root/"
        inside "$root" "apt-get update -q; DEBIAN_FRONTEND=noninteractive apt-get install -y -q git make $([ $who = root ] || echo sudo)
            useradd -m -s /bin/bash boater" >"$said" 2>&1
        for home in root home/boater; do git clone -q "$SRC" "$root/$home/athwart"; done
        inside "$root" "chown -R boater: /home/boater/athwart"
        if inside "$root" "$(as 'cd athwart; make demo')" >"$said.refused" 2>&1; then echo "$release: a user without sudo was not stopped"; exit 1; fi
        echo "== $release, a user who may not install ($([ $who = root ] && echo "no sudo there" || echo "sudo asks"))"; cat "$said.refused"
        [ $who = root ] || inside "$root" 'echo "boater ALL=(ALL) NOPASSWD: ALL" >/etc/sudoers.d/boater'
        echo "== $release, $who"
        for target in $TARGETS; do
            if [ $who = root ]; then run="cd /root/athwart; make $target"
            else run=$(as "cd athwart; make $target"); fi
            code=0; inside "$root" "$run" >"$said.$target" 2>&1 || code=$?
            echo "make $target: code $code, said that packages are missing: $(grep -c '^Missing' "$said.$target" || :)"; tail -n 4 "$said.$target"
            [ $code = 0 ] || failed=1
        done
        rm -rf "$root"
    done
done
exit ${failed:-0}
