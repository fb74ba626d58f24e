"""Which Python packages the tools need beside QGIS, and how to get them."""
from __future__ import annotations

import importlib.util
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["missing_packages_text"]

_NEEDED = ("numpy", "pyproj", "shapely")


def missing_packages_text(needed: Sequence[str] = _NEEDED) -> str:
    """What to install and how, or '' when everything that is needed is there.

    Never advises pip for pyproj: its wheel carries a second PROJ library, which can abort QGIS.
    """
    missing = [name for name in needed if not _there(name)]
    if not missing:
        return ""
    packages = " ".join(f"python3-{name}" for name in missing)
    if sys.platform.startswith("win"):
        remedy = f"run the OSGeo4W Setup that installed QGIS, choose Advanced Install, and add {packages}"
    elif sys.platform == "darwin":
        remedy = "install the current QGIS package from qgis.org, which carries them"
    else:
        remedy = f"install them with your system's packages, for example: sudo apt install {packages}"
    return f"Missing Python package: {', '.join(missing)}. Please {remedy}; then start QGIS again."


def _there(name: str) -> bool:
    try:
        return importlib.util.find_spec(name) is not None
    except (ImportError, ValueError):
        return False
