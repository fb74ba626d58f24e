#!/bin/bash
# tools/sample.sh: makes sample_project/ again from its seed, data first, then the QGIS project over them.
set -euo pipefail
ROOT=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
CFG=$(mktemp -d)
trap 'rm -rf "$CFG"' EXIT
export QGIS_CUSTOM_CONFIG_PATH=$CFG QT_QPA_PLATFORM=offscreen PYTHONDONTWRITEBYTECODE=1
export GDAL_PAM_ENABLED=NO  # no side files beside the rasters
export XDG_CACHE_HOME=$CFG/cache XDG_CONFIG_HOME=$CFG/config XDG_DATA_HOME=$CFG/data XDG_RUNTIME_DIR=$CFG/run
mkdir -p -m 700 "$XDG_RUNTIME_DIR"
cd "$ROOT"
/usr/bin/python3 -m sample_project.simulate
/usr/bin/python3 tools/make_sample_project.py
du -sh --apparent-size sample_project
