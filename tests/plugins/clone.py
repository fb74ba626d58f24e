"""Makes the clone importable as `athwart`, whatever its folder is called."""
import importlib.util
import os
import pathlib
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]


def load():
    """Register the clone's root as the package `athwart`; does nothing the second time."""
    if sys.prefix != sys.base_prefix and os.path.isdir("/usr/share/proj"):
        os.environ.setdefault("PROJ_DATA", "/usr/share/proj")  # Debian's pyproj does not find it in a venv
    if "athwart" not in sys.modules:
        spec = importlib.util.spec_from_file_location(
            "athwart", ROOT / "__init__.py", submodule_search_locations=[str(ROOT)])
        sys.modules["athwart"] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules["athwart"])
