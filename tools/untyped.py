#!/usr/bin/env python3
"""tools/untyped.py [--record]: functions without types may only become fewer; the count stands in pyproject.toml.

Modules that mypy holds to their types (``[[tool.mypy.overrides]]``) have none, nor has what the tools share, which
typed.py holds to QGIS's types. ``--record`` writes the count as it is now.
"""
from __future__ import annotations

import ast
import pathlib
import re
import sys

ROOT = pathlib.Path(__file__).resolve().parents[1]
CONFIG = ROOT / "pyproject.toml"
LINE = re.compile(r"^untyped_functions = (\d+)$", re.MULTILINE)


def untyped(text: str) -> list[int]:
    """Lines of the functions of a module that lack the type of an argument or of what they return."""
    found = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            given = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
            bare = [each for each in given if each.annotation is None and each.arg not in ("self", "cls")]
            if bare or (node.returns is None and not (node.name == "__init__" and len(given) > 1)):
                found.append(node.lineno)
    return found


def count() -> int:
    """Such functions of the core and of what the tools share."""
    files = [*(ROOT / "survey").rglob("*.py"), *(ROOT / "algorithms" / "common").rglob("*.py")]
    return sum(len(untyped(path.read_text(encoding="utf-8"))) for path in files
               if "ext" not in path.relative_to(ROOT).parts)


def shared() -> list[str]:
    """Such functions of what the tools share, where none is allowed: file and line."""
    return [f"{path.relative_to(ROOT)}:{line}" for path in sorted((ROOT / "algorithms" / "common").rglob("*.py"))
            for line in untyped(path.read_text(encoding="utf-8"))]


def main() -> int:
    config, now = CONFIG.read_text(encoding="utf-8"), count()
    if "--record" in sys.argv[1:]:
        CONFIG.write_text(LINE.sub(f"untyped_functions = {now}", config), encoding="utf-8")
    recorded = int(LINE.findall(CONFIG.read_text(encoding="utf-8"))[0])
    print(f"functions without types: {now}, at most {recorded} allowed")
    if now < recorded:
        print("Fewer than recorded: run 'python3 tools/untyped.py --record', so that they stay as few.")
    print(*(f"{place}: say the types of this function" for place in shared()), sep="\n", end="\n" if shared() else "")
    return 1 if now > recorded or shared() else 0


if __name__ == "__main__":
    sys.exit(main())
