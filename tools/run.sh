#!/bin/bash
# tools/run.sh MODULE [ARGS...]: python3 -m MODULE with QGIS's Python, in a throwaway QGIS profile: tools.docs.pages, tools.models,
# tools.styles, tools.demo, bench. The clone, the tests' helpers and what tools/setup.sh fetched are on the path.
set -euo pipefail
ROOT=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
QP_CONFIG=$(mktemp -d)
trap 'rm -rf "$QP_CONFIG"' EXIT
export QP_CONFIG QGIS_CUSTOM_CONFIG_PATH=$QP_CONFIG QT_QPA_PLATFORM=offscreen PYTHONDONTWRITEBYTECODE=1
export QT_HASH_SEED=0  # else attributes in XML files change places from run to run
export GDAL_PAM_ENABLED=NO  # no side files beside rasters
export PYTHONPATH=$ROOT:$ROOT/tests:$ROOT/tests/plugins:$ROOT/tests/proof:$ROOT/.build/site:$ROOT/.build/docs-site
export XDG_CACHE_HOME=$QP_CONFIG/cache XDG_CONFIG_HOME=$QP_CONFIG/config XDG_DATA_HOME=$QP_CONFIG/data
export XDG_RUNTIME_DIR=$QP_CONFIG/run TMPDIR=$QP_CONFIG/tmp
mkdir -p -m 700 "$XDG_RUNTIME_DIR" "$TMPDIR"
/usr/bin/python3 -m "$@"
