#!/bin/bash
# tools/qp.sh ARGS... = qgis_process ARGS..., with this clone as plugin "athwart" in a throwaway profile.
# QP_CONFIG=dir keeps the profile between calls (faster); the user's own profile is never touched.
set -euo pipefail
ROOT=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
CFG=${QP_CONFIG:-$(mktemp -d)}
trap '[ -n "${QP_CONFIG:-}" ] || rm -rf "$CFG"' EXIT
export QGIS_CUSTOM_CONFIG_PATH=$CFG QT_QPA_PLATFORM=${QT_QPA_PLATFORM:-offscreen}
[ -n "${PYTHONPYCACHEPREFIX:-}" ] || export PYTHONDONTWRITEBYTECODE=1   # else compiled modules go there, not into the clone
export XDG_CACHE_HOME=$CFG/cache XDG_CONFIG_HOME=$CFG/config XDG_DATA_HOME=$CFG/data XDG_RUNTIME_DIR=$CFG/run TMPDIR=$CFG/tmp
mkdir -p -m 700 "$XDG_RUNTIME_DIR" "$TMPDIR"
mkdir -p "$CFG/profiles/default/python/plugins"
[ -e "$CFG/profiles/default/python/plugins/athwart" ] || ln -s "$ROOT" "$CFG/profiles/default/python/plugins/athwart"
PATH=/usr/bin:$PATH   # the system's Python, which knows QGIS, before any other
BIN=$(command -v qgis_process.bin || command -v qgis_process)   # .bin first: Debian 12's wrapper is broken
if [ ! -e "$CFG/.enabled" ]; then
    "$BIN" plugins enable athwart >"$CFG/enable.log" 2>&1 || { cat "$CFG/enable.log" >&2; exit 1; }
    touch "$CFG/.enabled"
fi
"$BIN" "$@"
