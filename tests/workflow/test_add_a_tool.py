"""'Add a tool' of DEVELOPERS.md, followed to the letter in a copy of the clone: the tool is found, told of and held."""
import os
import pathlib
import re
import shutil
import subprocess
import sys

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
TOOL = "countsamples"
PAGE = """
import re, sys
from tools import inside
kept = inside.qgis()
from tools.docs import pages
made = {path.name: page for path, page in pages.pages_of_tools().items()}
rows = re.findall(r'<th scope="row">(\\w+)</th><td[^>]*>whole number</td>', made["countsamples.html"])
print("FIELDS", rows)
print("LISTED", "tools/countsamples.html" in made["tools.html"])
inside.leave()
"""


@pytest.fixture(scope="module")
def copy(tmp_path_factory):
    """The clone's own files, with the code blocks of the page in their places and an icon."""
    folder = tmp_path_factory.mktemp("copy") / "house"
    for part in ("algorithms", "docs", "plugin", "survey", "tests", "tools"):
        shutil.copytree(ROOT / part, folder / part, ignore=shutil.ignore_patterns("__pycache__", "fixtures", "images"))
    for file in ("__init__.py", "metadata.txt", "pyproject.toml"):
        shutil.copy(ROOT / file, folder / file)
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("## Add a tool")[1].split("\n## ")[0]
    blocks = re.findall(r"```python\n# ([\w/.]+)(, at the end)?\n(.*?)```", text, re.DOTALL)
    for file, at_end, code in blocks:
        with open(folder / file, "a" if at_end else "x", encoding="utf-8") as target:
            target.write(f"\n{code}" if at_end else code)
    shutil.copy(folder / "plugin/icons/athwart.svg", folder / f"plugin/icons/{TOOL}.svg")
    assert len(blocks) == 3
    return folder


def outcome(copy, *arguments):
    """What a Python process in the copy prints."""
    paths = [copy, copy / "tests" / "plugins", ROOT / ".build" / "site"]
    done = subprocess.run([sys.executable, *arguments], cwd=copy, capture_output=True, text=True, check=False,
                          timeout=120, env={**os.environ, "PYTHONPATH": os.pathsep.join(map(str, paths))})
    return done.stdout + done.stderr


def test_the_guide_tells_of_it(copy):
    told = outcome(copy, "-c", PAGE)
    assert "FIELDS ['pass_id', 'samples']" in told and "LISTED True" in told, told


def test_what_holds_for_every_tool_holds_for_it_and_empty_inputs_are_refused(copy):
    """Said of it without a list anywhere: help, open boxes, defaults, declared outputs, empty layers."""
    told = outcome(copy, "-m", "pytest", "-q", "--disable-warnings",  # whose text may speak of errors to come
                   "-k", f"{TOOL} or test_the_words_of_a_form or test_no_help_text",
                   *(f"tests/algorithms/test_{name}.py" for name in ("contract", "nothing_there", "wording")))
    assert re.search(r"^[1-9]\d* passed", told, re.MULTILINE) and "failed" not in told and "error" not in told, told
