"""Names of QGIS and Qt in shipped code: each is there in this QGIS, and every enum value is spelled with its enum.

Unscoped values (``Qt.UserRole``) are gone on Qt 6; seen here on Qt 5 already.
"""
import ast
import enum
import importlib
import pathlib

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
FILES = sorted(p for folder in ("algorithms", "plugin") for p in (ROOT / folder).rglob("*.py"))
OTHER_END = {"compat.py"}  # speaks to 3.22 and to 4.x, so that some of its names belong to another QGIS than this one


def imported(tree):
    """{name in the file: object} of everything the file takes from qgis."""
    found = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "qgis":
            if node.module.startswith(("qgis.gui", "qgis.utils")):
                pytest.importorskip("qgis.gui")
            module = importlib.import_module(node.module)
            for alias in node.names:
                assert hasattr(module, alias.name), f"{node.module} has no {alias.name}"
                found[alias.asname or alias.name] = getattr(module, alias.name)
    return found


def chains(tree, roots):
    """(line, root, [attribute, ...]) of every dotted name that begins with an imported one, the longest of each."""
    inner = set()
    for node in ast.walk(tree):  # outer nodes come before inner ones
        if isinstance(node, ast.Attribute) and node not in inner:
            names, here = [], node
            while isinstance(here, ast.Attribute):
                inner.add(here)
                names.append(here.attr)
                here = here.value
            if isinstance(here, ast.Name) and here.id in roots:
                yield node.lineno, here.id, names[::-1]


def is_enum(kind):
    """True for the class of an enum: Python's own on Qt 6, sip's on Qt 5."""
    return issubclass(kind, enum.Enum) or type(kind).__name__ == "enumtype"


def wrong_names(text):
    """What is wrong with the names of qgis in a piece of Python."""
    tree = ast.parse(text)
    roots = imported(tree)
    for line, root, names in chains(tree, roots):
        owner, value, path = None, roots[root], root
        for name in names:
            if not hasattr(value, name):
                yield f"line {line}: there is no {path}.{name}"
                break
            owner, value, path = value, getattr(value, name), f"{path}.{name}"
            if is_enum(type(value)):
                if owner is not type(value):
                    yield f"line {line}: {path} needs the name of its enum, {type(value).__name__}"
                break


def test_names_are_there_and_enums_are_named():
    assert [f"{path.relative_to(ROOT)}: {wrong}" for path in FILES if path.name not in OTHER_END
            for wrong in wrong_names(path.read_text(encoding="utf-8"))] == []


@pytest.mark.parametrize("line, wrong", [
    ("Qt.UserRole", True), ("Qt.ItemDataRole.UserRole", False), ("QgsProcessing.TypeVectorLine", True),
    ("QgsProcessing.SourceType.TypeVectorLine", False), ("QgsWkbTypes.Polygon", True), ("Qgis.Warning", True),
    ("QgsWkbTypes.Type.Polygon", False), ("Qgis.MessageLevel.Warning", False), ("QgsWkbTypes.nothing()", True),
    ("QgsWkbTypes.geometryType(3)", False)])
def test_the_rule_itself(line, wrong):
    text = f"from qgis.core import Qgis, QgsProcessing, QgsWkbTypes\nfrom qgis.PyQt.QtCore import Qt\n{line}\n"
    assert bool(list(wrong_names(text))) is wrong
