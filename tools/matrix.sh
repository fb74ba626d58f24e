#!/bin/bash
# tools/matrix.sh [bookworm|trixie|forky|qt6]...: the whole suite on each Debian suite's QGIS (3.22, 3.40, 3.44), in chroots
# cached outside the repository. Needs a Debian host, root, debootstrap and a reachable mirror; without them it prints
# NOT RUN and why. CACHE=dir MIRROR=url FORCE_CHROOT=1 (the host's own suite in a chroot, too). DEMO=1 runs the demo as well.
set -euo pipefail
SRC=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
CACHE=${CACHE:-${XDG_CACHE_HOME:-$HOME/.cache}/athwart-matrix}
SUITES=${*:-bookworm trixie forky}
PKGS="qgis python3-qgis python3-gdal python3-numpy python3-scipy python3-shapely python3-pyproj fonts-dejavu-core xvfb xauth git make"
RECIPE="2 $PKGS"   # a change rebuilds the cached chroots
say() { printf '[%4ds] %s\n' $SECONDS "$*"; }
not_run() { say "matrix NOT RUN: $*"; exit "${NOT_RUN_CODE:-0}"; }
[ "$(id -u)" = 0 ] || not_run "needs root for chroots"
command -v apt-get >/dev/null || not_run "needs a Debian host"
MIRROR=${MIRROR:-$({ cat /etc/apt/sources.list.d/*.sources /etc/apt/sources.list 2>/dev/null || :; } |
    sed -nE 's,^(URIs:|deb( \[[^]]*\])?) *(https?:[^ ]*/debian)/?( .*)?$,\3,p' | head -1)}
[ -n "$MIRROR" ] || not_run "no Debian mirror in apt's sources; set MIRROR=url"
HOST=$(. /etc/os-release; echo "${VERSION_CODENAME:-}")
export DEBIAN_FRONTEND=noninteractive
mkdir -p "$CACHE"
if ! command -v debootstrap >/dev/null; then
    { apt-get update -q && apt-get install -y -q --no-install-recommends debootstrap; } >"$CACHE/debootstrap.log" 2>&1 || not_run "debootstrap cannot be installed"
fi
inside() {   # own mount namespace: nothing stays mounted, even after a kill
    local r=$1; shift
    unshare --mount --propagation private bash -c 'r=$1; shift; mount -t proc proc "$r/proc"; mount --rbind /dev "$r/dev"
        exec chroot "$r" env -i HOME=/root LANG=C.UTF-8 PATH=/usr/sbin:/usr/bin:/sbin:/bin DEBIAN_FRONTEND=noninteractive "$@"' _ "$r" "$@"
}
build() {
    local n=$1 s=${1/#qt6/trixie} t=$CACHE/.$1.$$
    local script=/usr/share/debootstrap/scripts/$s; [ -e "$script" ] || script=/usr/share/debootstrap/scripts/sid
    rm -rf "${CACHE:?}/$n" "$CACHE/.$n".*
    debootstrap --variant=minbase "$s" "$t" "$MIRROR" "$script"     # checks the Release signature
    echo "deb-src $MIRROR $s main" >>"$t/etc/apt/sources.list"
    printf 'Acquire::Check-Valid-Until "false";\nAPT::Install-Recommends "false";\nAcquire::Languages "none";\n' >"$t/etc/apt/apt.conf.d/99matrix"
    printf 'force-unsafe-io\npath-exclude=/usr/share/doc/*\npath-exclude=/usr/share/locale/*\n' >"$t/etc/dpkg/dpkg.cfg.d/99matrix"
    printf '#!/bin/sh\nexit 101\n' >"$t/usr/sbin/policy-rc.d"; chmod +x "$t/usr/sbin/policy-rc.d"
    cp /etc/resolv.conf "$t/etc/"
    inside "$t" apt-get update -q
    if [ "$n" = qt6 ]; then cp "$SRC/tools/qt6-build.sh" "$t/"; inside "$t" bash -eux /qt6-build.sh; else inside "$t" apt-get install -y -q $PKGS; fi
    inside "$t" apt-get clean; echo "$RECIPE" >"$t/.recipe"; mv "$t" "$CACHE/$n"
}
use_host() { [ "$1" = "$HOST" ] && [ -z "${FORCE_CHROOT:-}" ]; }
YES=1 bash "$SRC/tools/setup.sh" test    # pure Python: one folder of test packages for every interpreter, no pip in a chroot
pids=()
for s in $SUITES; do
    if ! use_host "$s" && [ "$(cat "$CACHE/$s/.recipe" 2>/dev/null)" != "$RECIPE" ]; then
        build "$s" >"$CACHE/$s.log" 2>&1 & pids+=("$!:$s")
    fi
done
for p in "${pids[@]}"; do wait "${p%%:*}" || { tail -20 "$CACHE/${p##*:}.log"; not_run "building ${p##*:} failed (log: $CACHE/${p##*:}.log)"; }; done
say "ready: $SUITES"
RUN='cd "$1/clone" && export HOME=$1 TMPDIR=$1/t PYTHONDONTWRITEBYTECODE=1 YES=1 && mkdir -p -m 700 "$TMPDIR"
[ ! -e /matrix-env ] || . /matrix-env
/usr/bin/python3 -c "from qgis.core import Qgis; from qgis.PyQt import QtCore; print(\"QGIS\", Qgis.QGIS_VERSION, \"Qt\", QtCore.QT_VERSION_STR)"
/usr/bin/python3 tools/test.py ${TEST_ARGS:-}
[ -z "${DEMO:-}" ] || bash tools/demo.sh'
fail=0
for s in $SUITES; do
    if use_host "$s"; then r=; else r=$CACHE/$s; fi
    w=$(mktemp -d "$r/tmp/matrix.XXXXXX"); mkdir "$w/clone"
    (cd "$SRC" && git ls-files -z --cached --others --exclude-standard | while IFS= read -r -d '' f; do [ ! -f "$f" ] || printf '%s\0' "$f"; done |
        tar --null -T - -c) | tar -x -C "$w/clone"
    (cd "$w/clone" && git init -q . && git add -A)
    mkdir "$w/clone/.build" && cp -r "$SRC/.build/site" "$w/clone/.build/site"
    say "== $s"
    if [ -n "$r" ]; then inside "$r" env DEMO="${DEMO:-}" bash -ec "$RUN" _ "${w#"$r"}"
    else env -i LANG=C.UTF-8 PATH=/usr/bin:/bin DEMO="${DEMO:-}" bash -ec "$RUN" _ "$w"; fi || { fail=1; say "FAILED on $s"; }
    rm -rf "$w"
done
say "matrix done: $SUITES, failures: $fail"; exit $fail
