"""tools/run.sh tools.docs.notebook: the notebook on districts, from the same section of the guide's page.

Nothing is written twice: its sentences are text cells, its code is code cells, and what the page says that it prints
is the output of the last one. The format is that of Jupyter's nbformat 4.5, which is plain JSON.
"""
from __future__ import annotations

import itertools
import json
import pathlib
import re

DOCS = pathlib.Path(__file__).resolve().parents[2] / "docs"
PAGE, SECTION = "district", "In Python, or a notebook"
HEAD = """# A season of outings on many lakes

Run this notebook in the folder `sample_project`, in a Python that has Athwart with its extra `district`: in a copy of
the source, `pip install '.[district]' notebook`. The guide's page [district](district.html) says more."""
PRINTS = "It prints:"


def parts(source):
    """[(is code, text)] of Markdown whose code is indented by four spaces; neighbours of a kind are one."""
    found = []
    for code, blocks in itertools.groupby(source.strip("\n").split("\n\n"), lambda block: block.startswith("    ")):
        text = "\n\n".join(block for block in blocks if f"{PAGE}.ipynb" not in block)
        found.append((code, re.sub(r"(?m)^    ", "", text) if code else text))
    return found


def cells(source):
    """Cells of a section; what follows PRINTS is the output of the code before it."""
    made, printed = [], False
    for code, text in parts(source):
        lines = text.strip().splitlines(keepends=True)
        if printed:
            made[-1]["outputs"] = [{"output_type": "stream", "name": "stdout", "text": [*lines[:-1], lines[-1] + "\n"]}]
        elif code:
            made.append({"cell_type": "code", "execution_count": None, "metadata": {}, "outputs": [], "source": lines})
        elif text.strip() != PRINTS:
            made.append({"cell_type": "markdown", "metadata": {}, "source": lines})
        printed = text.strip() == PRINTS
    for number, cell in enumerate(made):
        cell["id"] = f"cell-{number}"
    return made


def notebook():
    """The notebook as text."""
    page = (DOCS / f"{PAGE}.md").read_text(encoding="utf-8")
    (section,) = re.findall(rf"\n## {SECTION}\n(.+?)(?=\n## |\Z)", page, re.S)
    made = {"cells": cells(f"{HEAD}\n\n{section.strip()}"), "metadata": {"language_info": {"name": "python"}},
            "nbformat": 4, "nbformat_minor": 5}
    return json.dumps(made, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    (DOCS / f"{PAGE}.ipynb").write_text(notebook(), encoding="utf-8")
