"""Makes the clone importable as `athwart`, whatever its folder is called."""
import importlib.util
import os
import pathlib
import sys

import pytest

if sys.prefix != sys.base_prefix and os.path.isdir("/usr/share/proj"):
    os.environ.setdefault("PROJ_DATA", "/usr/share/proj")  # Debian's pyproj does not find it in a venv
ROOT = pathlib.Path(__file__).resolve().parents[1]
if "athwart" not in sys.modules:
    spec = importlib.util.spec_from_file_location(
        "athwart", ROOT / "__init__.py", submodule_search_locations=[str(ROOT)])
    sys.modules["athwart"] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(sys.modules["athwart"])


@pytest.fixture
def root():
    """The clone's folder."""
    return ROOT


@pytest.fixture
def fixtures():
    """Folder of the real recordings and maps."""
    return ROOT / "tests" / "fixtures"
