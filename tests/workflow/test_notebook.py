"""The notebook on districts: made from the guide's page, with its code and no other; the format is nbformat's 4.5."""
import json
import pathlib

import pagecode

from tools.docs import notebook

MADE = pathlib.Path(pagecode.DOCS, "district.ipynb")


def test_the_notebook_is_that_of_the_page():
    assert MADE.read_text(encoding="utf-8") == notebook.notebook(), "run: bash tools/run.sh tools.docs.notebook"


def test_its_code_and_its_output_are_the_pages():
    cells = json.loads(MADE.read_text(encoding="utf-8"))["cells"]
    code = ["".join(cell["source"]) for cell in cells if cell["cell_type"] == "code"]
    told = ["".join(output["text"]) for cell in cells for output in cell.get("outputs", ())]
    page, printed = pagecode.parts("district")

    def lines(text):
        return [line for line in text.splitlines() if line.strip()]
    assert len(code) == 3 and lines("\n".join(code)) == lines(page)
    assert [one.strip() for one in told] == [printed]


def test_every_cell_has_what_the_format_asks():
    """Required keys of a notebook and its cells, from the JSON schema of nbformat 4.5, written here from memory."""
    made = json.loads(MADE.read_text(encoding="utf-8"))
    assert {"metadata", "nbformat", "nbformat_minor", "cells"} == set(made)
    assert (made["nbformat"], made["nbformat_minor"]) == (4, 5)
    assert len({cell["id"] for cell in made["cells"]}) == len(made["cells"])
    for cell in made["cells"]:
        more = {"outputs", "execution_count"} if cell["cell_type"] == "code" else set()
        assert set(cell) == {"id", "cell_type", "metadata", "source"} | more, cell
