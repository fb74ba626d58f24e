"""The zip: what a user installs, installed, listed, and held against the public repository's rules."""
import os
import pathlib
import re
import subprocess
import sys
import zipfile

import pytest
from athwart.algorithms import tool_classes

ROOT = pathlib.Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    path = tmp_path_factory.mktemp("zip") / "athwart.zip"
    subprocess.run([sys.executable, str(ROOT / "tools" / "package.py"), str(path)], check=True, capture_output=True)
    return path


def test_one_top_folder_with_what_qgis_needs_and_nothing_that_is_refused(archive):
    names = zipfile.ZipFile(archive).namelist()
    assert {name.split("/")[0] for name in names} == {"athwart"}
    assert {"athwart/__init__.py", "athwart/metadata.txt", "athwart/LICENSE"} <= set(names)
    assert not [n for n in names if "__pycache__" in n or n.endswith((".pyc", ".zip", ".so", ".dll")) or "/." in n]
    assert not [n for n in names if n.startswith(("athwart/tests", "athwart/tools"))]
    assert archive.stat().st_size < 25_000_000


def test_the_version_stands_in_the_changelog():
    version = re.search(r"^version=(\S+)$", (ROOT / "metadata.txt").read_text(encoding="utf-8"), re.M).group(1)
    assert f"## {version}" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def test_the_zip_is_the_same_bytes_each_time(archive, tmp_path):
    again = tmp_path / "again.zip"
    subprocess.run([sys.executable, str(ROOT / "tools" / "package.py"), str(again)], check=True, capture_output=True)
    assert again.read_bytes() == archive.read_bytes()


def test_installed_in_a_fresh_profile_it_lists_every_tool(command_line, archive, tmp_path):
    plugins = tmp_path / "profiles" / "default" / "python" / "plugins"
    plugins.mkdir(parents=True)
    zipfile.ZipFile(archive).extractall(plugins)
    done = subprocess.run(["bash", str(ROOT / "tools" / "qp.sh"), "list"], capture_output=True, text=True, check=True,
                          env={**os.environ, "QP_CONFIG": str(tmp_path)}, timeout=120)
    assert not (plugins / "athwart").is_symlink()
    listed = set(re.findall(r"athwart:(\w+)", done.stdout))
    assert {tool.ID for tool in tool_classes()} <= listed
