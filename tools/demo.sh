#!/bin/bash
# tools/demo.sh [FOLDER]: runs the whole job on the sample outings; results go to FOLDER (default: results).
# Installs what is missing (tools/setup.sh says how it asks). The user's own QGIS profile is never touched.
set -euo pipefail
ROOT=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
bash "$ROOT/tools/setup.sh" demo
bash "$ROOT/tools/run.sh" tools.demo "${1:-$ROOT/results}"
