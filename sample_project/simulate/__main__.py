"""python3 -m sample_project.simulate [FOLDER]: writes the whole sample anew, the same bytes every time."""
from __future__ import annotations

import pathlib
import sys

from .make import make

make(pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else pathlib.Path(__file__).resolve().parents[1])
