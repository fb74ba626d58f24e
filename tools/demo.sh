#!/bin/bash
# tools/demo.sh [FOLDER]: runs the whole job on the sample outings; results go to FOLDER (default: results).
# Installs what is missing (tools/setup.sh says how it asks). The user's own QGIS profile is never touched.
set -euo pipefail
ROOT=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
bash "$ROOT/tools/setup.sh" demo
QP_CONFIG=$(mktemp -d)
trap 'rm -rf "$QP_CONFIG"' EXIT
export QP_CONFIG QGIS_CUSTOM_CONFIG_PATH=$QP_CONFIG QT_QPA_PLATFORM=offscreen PYTHONDONTWRITEBYTECODE=1
export GDAL_PAM_ENABLED=NO  # no side files beside the rasters
export PYTHONPATH=$ROOT/tools XDG_CACHE_HOME=$QP_CONFIG/cache XDG_CONFIG_HOME=$QP_CONFIG/config XDG_DATA_HOME=$QP_CONFIG/data
export XDG_RUNTIME_DIR=$QP_CONFIG/run TMPDIR=$QP_CONFIG/tmp
mkdir -p -m 700 "$XDG_RUNTIME_DIR" "$TMPDIR"
/usr/bin/python3 "$ROOT/tools/demo/run.py" "${1:-$ROOT/results}"
