#!/bin/bash
# tools/desk.sh SCENE [FOLDER]: the real QGIS desktop under Xvfb with this clone as plugin, photographed.
# SCENE is dialogs (every tool's form as it opens and whole; DESK_TOOLS="preparetrack castplan" takes only these, DESK_FEET=1 is
# somebody who works in feet), tutorial (the first hour, step by step) or picks (a mark on a record image); PNGs go to FOLDER
# (default: .build/desk/SCENE); DESK_KEEP=1 renews those that the guide shows in docs/images. A throwaway profile; needs xvfb and xauth.
set -euo pipefail
ROOT=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
SCENE=${1:?scene: dialogs or tutorial}
OUT=${2:-$ROOT/.build/desk/$SCENE}
CFG=$(mktemp -d)
trap 'rm -rf "$CFG"' EXIT
P=$CFG/profiles/default
mkdir -p "$P/python/plugins" "$P/QGIS" "$OUT" "$CFG/home" "$CFG/tmp"
mkdir -m 700 "$CFG/run"
ln -s "$ROOT" "$P/python/plugins/athwart"
ln -s "$ROOT/tools/desk.py" "$CFG/desk.py"  # QGIS cannot run a script from a folder with a quote in its name
for v in 3 4; do
    printf '%s\n' '[PythonPlugins]' 'athwart=true' 'processing=true' '[qgis]' 'checkVersion=false' 'showTips=false' \
        'enableMacros=Never' '[app]' 'projections\promptWhenRequired=false' >"$P/QGIS/QGIS$v.ini"
done
export DESK_SCENE=$SCENE DESK_OUT DESK_WORK=$CFG/home HOME=$CFG/home TMPDIR=$CFG/tmp LANG=C.UTF-8 PYTHONDONTWRITEBYTECODE=1
export XDG_RUNTIME_DIR=$CFG/run XDG_CACHE_HOME=$CFG/cache XDG_CONFIG_HOME=$CFG/config XDG_DATA_HOME=$CFG/data
DESK_OUT=$(realpath "$OUT")
export PYTHONPATH=$ROOT:$ROOT/tests/plugins
unset QT_QPA_PLATFORM
xvfb-run -a -s "-screen 0 1400x900x24" timeout 900 "$(command -v qgis.bin || command -v qgis)" --nologo --noversioncheck \
    --profiles-path "$CFG" --profile default --code "$CFG/desk.py" >"$CFG/log" 2>&1 || { tail -30 "$CFG/log" >&2; exit 1; }
grep '^desk:' "$CFG/log" || true
if [ -n "${DESK_KEEP:-}" ]; then
    bash "$ROOT/tools/setup.sh" docs
    for pair in sample:sample 2-preparetrack:track 3-swathfootprint-map:swaths 4-coveragegaps-map:gaps \
        6-locatetargets:locate 6-locatetargets-map:targets; do
        bash "$ROOT/tools/run.sh" tools.docs.small_png "$OUT/${pair%%:*}.png" \
            "$ROOT/docs/images/hour-${pair##*:}.png"
    done
fi
