"""The core as a wheel: ``import athwart`` where there is no QGIS and no clone, whole, licences and types included."""
import configparser
import os
import pathlib
import re
import shutil
import subprocess
import sys
import zipfile

import pagecode
import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
BUILD = "import sys; from setuptools import build_meta; build_meta.build_wheel(sys.argv[1])"
BEFORE = """
import sys, no_qgis, athwart
assert "numpy" not in sys.modules
names = [getattr(athwart, name) for name in athwart.__all__]
"""
AFTER = """
ours = [module for name, module in sys.modules.items() if name.split(".")[0] == "athwart" and module.__file__]
assert ours and all(module.__file__.startswith(sys.argv[1]) for module in ours)
assert not {"qgis", "survey", "athwart.survey"} & set(sys.modules)
from importlib.metadata import version
print(version("athwart"))
"""


def run(code, *arguments, paths, folder):
    env = {"PATH": os.environ["PATH"], "PYTHONPATH": os.pathsep.join(map(str, paths)), "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run([sys.executable, "-c", code, *map(str, arguments)], cwd=folder, env=env, capture_output=True,
                          text=True, check=False)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """A wheel built of a copy, without a network."""
    copy, out = tmp_path_factory.mktemp("clone"), tmp_path_factory.mktemp("wheel")
    for name in ("pyproject.toml", "setup.py", "metadata.txt", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, copy)
    for name in ("survey", "plugin/styles"):
        shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
    done = run(BUILD, out, paths=[ROOT / ".build" / "site"], folder=copy)
    assert done.returncode == 0, done.stderr
    return next(out.glob("athwart-*-py3-none-any.whl"))


def test_it_holds_the_whole_core_and_the_styles_of_layers_and_nothing_else(wheel):
    names = {name for name in zipfile.ZipFile(wheel).namelist() if not name.startswith("athwart-")}
    core = {path.relative_to(ROOT / "survey").as_posix() for path in (ROOT / "survey").rglob("*")
            if path.is_file() and "__pycache__" not in path.parts}
    styles = {f"styles/{path.name}" for path in (ROOT / "plugin" / "styles").glob("*.qml")}
    assert styles and names == {f"athwart/{name}" for name in core | styles}
    assert "athwart/py.typed" in names and any(name.startswith("athwart/ext/") and name.endswith("LICENSE")
                                               for name in names)


def test_it_asks_for_what_the_core_imports_and_for_no_qgis(wheel):
    archive = zipfile.ZipFile(wheel)
    told = archive.read(next(name for name in archive.namelist() if name.endswith("/METADATA"))).decode()
    needs = [line.split(":", 1)[1].strip() for line in told.splitlines() if line.startswith("Requires-Dist")]
    asked = {"": set(), "district": set(), "all": set()}
    for need in needs:
        asked[need.partition("extra == ")[2].strip("'\"")].add(re.match(r"\w+", need).group())
    assert asked.pop("all") == {"athwart"}
    assert asked == {"": {"numpy", "shapely", "pyproj"}, "district": {"distributed", "pyogrio", "tqdm"}}
    command = archive.read(next(name for name in archive.namelist() if name.endswith("/entry_points.txt"))).decode()
    assert "athwart = athwart.district.command:main" in command


def test_the_page_on_python_does_what_it_says_where_there_is_neither_qgis_nor_the_clone(wheel, tmp_path, root):
    zipfile.ZipFile(wheel).extractall(tmp_path / "site")
    plain = configparser.ConfigParser(interpolation=None)
    plain.read(root / "metadata.txt", encoding="utf-8")
    for path in (root / "sample_project").glob("*north*"):
        shutil.copy(path, tmp_path)
    code, said = pagecode.parts("python")
    assert pagecode.lines_of(code) <= 25 and "athwart." not in "".join(
        line for line in code.splitlines() if line.startswith(("from", "import")))  # by the front door alone
    done = run(BEFORE + code + AFTER, tmp_path / "site", paths=[tmp_path / "site", root / "tests" / "plugins"],
               folder=tmp_path)
    assert done.stdout.splitlines() == [*said.splitlines(), plain["general"]["version"]], done.stdout + done.stderr
    page = (tmp_path / "north.html").read_text(encoding="utf-8")
    assert "North basin" in page and "not for navigation" in page and "87.3" in page
