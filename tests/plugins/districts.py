"""A district in a process of its own: the core as ``athwart``, with dask and pyogrio, where QGIS cannot be imported."""
from __future__ import annotations

import contextlib
import os
import pathlib
import sqlite3
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
PACKAGES = ROOT / ".build" / f"district-{sys.implementation.cache_tag}"
MISSING = "" if (PACKAGES / ".ok").is_file() else (
    f"no dask.distributed and pyogrio for {sys.implementation.cache_tag}: run 'bash tools/setup.sh test' online")


def site(folder):
    """The paths of such a process; ``folder`` is to hold a link to the core under its name."""
    link = pathlib.Path(folder) / "athwart"
    if not link.exists():
        link.symlink_to(ROOT / "survey")
    return os.pathsep.join(map(str, (folder, ROOT, ROOT / "tests" / "plugins", PACKAGES, ROOT / ".build" / "site")))


def environment(folder):
    """The environment of such a process."""
    return {**os.environ, "PYTHONPATH": site(folder), "PYTHONDONTWRITEBYTECODE": "1", "OPENBLAS_NUM_THREADS": "1"}


def python(folder, *arguments, **more):
    """Run Python there."""
    return subprocess.run([sys.executable, *map(str, arguments)], env=environment(folder), cwd=folder,
                          capture_output=True, text=True, check=False, **more)


def rows(database, layer, *columns, order="1"):
    """Rows of a layer of a result."""
    with contextlib.closing(sqlite3.connect(database)) as opened:
        said = ", ".join(f'"{name}"' for name in columns) or "*"
        return opened.execute(f'SELECT {said} FROM "{layer}" ORDER BY {order}').fetchall()
