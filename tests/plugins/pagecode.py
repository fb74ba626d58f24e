"""Pages of the guide as programs: the code that stands in them, and what they say that it prints."""
import contextlib
import io
import pathlib
import re

DOCS = pathlib.Path(__file__).resolve().parents[2] / "docs"
PRINTS = "It prints:"


def parts(name):
    """(code of a Markdown page, all its blocks one after another; text that it says is printed)."""
    blocks, printed, told = [], [], False
    for paragraph in re.split(r"\n(?=\S)|(?<=\S)\n\n(?=    )", (DOCS / f"{name}.md").read_text(encoding="utf-8")):
        lines = paragraph.rstrip().splitlines()
        if lines and all(not line or line.startswith("    ") for line in lines):
            (printed if told else blocks).append("\n".join(line[4:] for line in lines))
            told = False
        elif lines:
            told = lines[-1] == PRINTS
    return "\n".join(blocks) + "\n", "\n".join(printed)


def lines_of(code):
    """How many lines of code, blank ones not counted."""
    return sum(bool(line.strip()) for line in code.splitlines())


def run(code, **names):
    """What a page's code prints."""
    heard = io.StringIO()
    with contextlib.redirect_stdout(heard):
        exec(compile(code, "page", "exec"), {"__name__": "page", **names})
    return heard.getvalue().rstrip()
