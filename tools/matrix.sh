#!/bin/bash
# tools/matrix.sh [bookworm|trixie|forky|qt6|types]...: the suite (the zip's tests among it) and the demo on the QGIS of each
# Debian release (3.22, 3.40, 3.44), the tests that need no window on a Qt 6 build, and the typed rules for QGIS 4, in
# chroots cached outside the repository. Needs a Debian host, root and a mirror; what cannot be run is NOT RUN, and why.
# CACHE=dir MIRROR=url LIMIT=seconds for the whole, FORCE_CHROOT=1 for a chroot of the host's own release, too.
set -euo pipefail
SRC=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
CACHE=${CACHE:-${XDG_CACHE_HOME:-$HOME/.cache}/athwart-matrix}
PARTS=${*:-bookworm trixie forky qt6 types}
LIMIT=${LIMIT:-86400}
PKGS="qgis python3-qgis python3-gdal python3-numpy python3-scipy python3-shapely python3-pyproj fonts-dejavu-core xvfb xauth git make"
export DEBIAN_FRONTEND=noninteractive CACHE
say() { printf '[%4ds] %s\n' $SECONDS "$*"; }
not_run() { say "matrix NOT RUN: $*"; exit 0; }
left() { echo $((LIMIT > SECONDS ? LIMIT - SECONDS : 1)); }

[ "$(id -u)" = 0 ] || not_run "it needs root for chroots"
command -v apt-get >/dev/null || not_run "it needs a Debian host"
unshare --mount true 2>/dev/null || not_run "no mount namespaces here"
MIRROR=${MIRROR:-$({ cat /etc/apt/sources.list.d/*.sources /etc/apt/sources.list 2>/dev/null || :; } |
    sed -nE 's,^(URIs:|deb( \[[^]]*\])?) *(https?:[^ ]*/debian)/?( .*)?$,\3,p' | head -1)}
[ -n "$MIRROR" ] || not_run "no Debian mirror in apt's sources; set MIRROR=url"
HOST=$(. /etc/os-release; echo "${VERSION_CODENAME:-}")
bash "$SRC/tools/setup.sh" test matrix || not_run "packages of the host are missing"
mkdir -p "$CACHE"
exec 9>"$CACHE/lock"
flock -n 9 || not_run "another one is running"

inside() {   # root command...: own mount namespace, so that nothing stays mounted even after a kill
    local r=$1; shift
    timeout -k 20 "$(left)" unshare --mount --propagation private bash -c 'r=$1; shift; mount -t proc proc "$r/proc"
        mount --rbind /dev "$r/dev"
        exec chroot "$r" env -i HOME=/root LANG=C.UTF-8 PATH=/usr/sbin:/usr/bin:/sbin:/bin DEBIAN_FRONTEND=noninteractive "$@"' _ "$r" "$@"
}
on_host() { [ "$1" = "$HOST" ] && [ -z "${FORCE_CHROOT:-}" ]; }
recipe() { if [ "$1" = qt6 ]; then sha256sum <"$SRC/tools/qt6-build.sh"; else echo "2 $PKGS"; fi; }   # changed: built again
built() { [ "$(cat "$CACHE/$1/.recipe" 2>/dev/null)" = "$(recipe "$1")" ]; }
build() {   # set -e does not reach into a function that is waited for, hence &&
    local n=$1 s=${1/#qt6/trixie} t=$CACHE/.$1.$$
    local script=/usr/share/debootstrap/scripts/$s; [ -e "$script" ] || script=/usr/share/debootstrap/scripts/sid
    rm -rf "${CACHE:?}/$n" "$CACHE/.$n".* || return
    timeout 60 /usr/lib/apt/apt-helper download-file "$MIRROR/dists/$s/InRelease" "$CACHE/$n.InRelease" ||
        { echo "the mirror $MIRROR does not answer"; return 1; }
    timeout -k 20 "$(left)" unshare --mount --propagation private debootstrap --variant=minbase "$s" "$t" "$MIRROR" "$script" || return
    echo "deb-src $MIRROR $s main" >>"$t/etc/apt/sources.list"
    printf 'Acquire::Check-Valid-Until "false";\nAPT::Install-Recommends "false";\nAcquire::Languages "none";\n' >"$t/etc/apt/apt.conf.d/99matrix"
    printf 'force-unsafe-io\npath-exclude=/usr/share/doc/*\npath-exclude=/usr/share/locale/*\n' >"$t/etc/dpkg/dpkg.cfg.d/99matrix"
    printf '#!/bin/sh\nexit 101\n' >"$t/usr/sbin/policy-rc.d"; chmod +x "$t/usr/sbin/policy-rc.d"
    cp /etc/resolv.conf "$SRC/tools/qt6-build.sh" "$t/etc/"
    inside "$t" apt-get update -q || return
    if [ "$n" = qt6 ]; then inside "$t" bash -eux /etc/qt6-build.sh; else inside "$t" apt-get install -y -q $PKGS; fi || return
    inside "$t" apt-get clean && recipe "$n" >"$t/.recipe" && mv "$t" "$CACHE/$n"
}

pids=()
for p in $PARTS; do
    [ "$p" != types ] && ! on_host "$p" && ! built "$p" || continue
    say "building $p (log: $CACHE/$p.log)"
    build "$p" >"$CACHE/$p.log" 2>&1 & pids+=($!)
done
[ ${#pids[@]} = 0 ] || wait "${pids[@]}" || :

SUITE='cd "$1/clone"; export HOME=$1 TMPDIR=$1/t PYTHONDONTWRITEBYTECODE=1; mkdir -p -m 700 "$TMPDIR"; [ ! -e /matrix-env ] || . /matrix-env
/usr/bin/python3 -c "import sys; from qgis.core import Qgis; from qgis.PyQt import QtCore
print(\"QGIS\", Qgis.QGIS_VERSION.split(\"-\")[0], \"Qt\", QtCore.QT_VERSION_STR, \"Python\", sys.version.split()[0])"
/usr/bin/python3 tools/test.py $2'
DEMO='cd "$1/clone"; export HOME=$1 TMPDIR=$1/t PYTHONDONTWRITEBYTECODE=1; bash tools/demo.sh "$1/results"'
NO_WINDOW="-p qt6shim -p no:pytest_qgis tests/algorithms tests/models tests/workflow"   # the core's are Debian 13's
work=
trap '[ -z "$work" ] || rm -rf "$work"' EXIT
within() {   # part script arguments: on the host or in its chroot, from an empty environment
    local p=$1 script=$2; shift 2
    if on_host "$p"; then timeout -k 20 "$(left)" env -i LANG=C.UTF-8 PATH=/usr/bin:/bin bash -ec "$script" _ "$work" "$@"
    else inside "$CACHE/$p" bash -ec "$script" _ "${work#"$CACHE/$p"}" "$@"; fi
}
run() {   # part: a copy of the clone, its tests, its demo
    local p=$1
    mkdir -p "$work/clone/.build" || return
    (cd "$SRC" && git ls-files -z --cached --others --exclude-standard | while IFS= read -r -d '' f; do [ ! -f "$f" ] || printf '%s\0' "$f"; done |
        tar --null -T - -c) | tar -x -C "$work/clone" && cp -r "$SRC/.build/site" "$work/clone/.build/site" || return
    (cd "$work/clone" && git init -q . && git add -A) || return
    if [ "$p" = qt6 ]; then within "$p" "$SUITE" "$NO_WINDOW"; else within "$p" "$SUITE" "" && within "$p" "$DEMO" && echo "demo ran"; fi
}

failures=0 missing=0 table=()
for p in $PARTS; do
    say "== $p"
    log=$CACHE/$p.run.log code=0
    if [ "$p" != types ] && ! on_host "$p" && ! built "$p"; then
        table+=("$p NOT RUN: no chroot, $(tail -n 1 "$CACHE/$p.log") (log: $CACHE/$p.log)")
        missing=$((missing + 1)); continue
    elif [ "$p" = types ]; then timeout -k 20 "$(left)" /usr/bin/python3 "$SRC/tools/typed.py" 2>&1 | tee "$log" || code=$?
    else
        if on_host "$p"; then root=; else root=$CACHE/$p; fi
        work=$(mktemp -d "$root/tmp/matrix.XXXXXX")
        run "$p" 2>&1 | tee "$log" || code=$?
        rm -rf "$work"
    fi
    if [ $code = 124 ] || [ $code = 137 ]; then table+=("$p NOT RUN to its end: the time of $LIMIT s was over"); missing=$((missing + 1)); continue; fi
    [ $code = 0 ] || failures=$((failures + 1))
    table+=("$p $([ $code = 0 ] || echo 'FAILED ')$(grep -h '^QGIS \|^==== [0-9]\|^demo ran\|^typed' "$log" | tr -d '=' | tr '\n' ' ')")
done
say "matrix: $failures failed, $missing NOT RUN"
printf 'matrix: %s\n' "${table[@]}"
[ $failures = 0 ]
