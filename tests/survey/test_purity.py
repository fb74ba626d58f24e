"""The house rules that a reader relies on: which way the arrows point, and what shipped code never holds."""
import ast
import functools
import graphlib
import pathlib
import re
import subprocess
import sys

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
SURVEY = sorted(p for p in (ROOT / "survey").rglob("*.py") if "ext" not in p.relative_to(ROOT).parts)
SHIPPED = SURVEY + sorted((ROOT / "algorithms").rglob("*.py")) + sorted((ROOT / "plugin").rglob("*.py"))
ROOMS = ("model", "geometry", "uncertainty", "beams", "bottom", "io", "fixes", "motion", "depths", "passes", "tracks",
         "swaths", "ensonify", "share", "coverage", "shore", "targets", "record", "adjustment",
         "report", "planning", "casts", "district")
"""Folders of the core; each imports from those before it, and from the modules beside them, only."""

NEW_IN_QGIS = {"WkbType", "ProcessingSourceType", "GeometryType", "DistanceUnit", "ProcessingFieldParameterDataType"}


def imports(tree):
    """(level, dotted name) of every import in a module, those inside functions included."""
    for node in walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield 0, alias.name
        elif isinstance(node, ast.ImportFrom):
            yield node.level, node.module or ""


def parse(path):
    """The tree of a module, parsed anew where the file has changed."""
    return parsed(path.read_text(encoding="utf-8"), str(path))


@functools.cache
def parsed(text, name):
    return ast.parse(text, name)


_NODES = {}


def walk(tree):
    """All nodes of a module, gone through once."""
    if tree not in _NODES:
        _NODES[tree] = list(ast.walk(tree))
    return _NODES[tree]


def offenders(paths, rule):
    """['file: what is wrong', ...] of every file that breaks a rule, which yields its findings from a parsed file."""
    return [f"{path.relative_to(ROOT)}: {finding}" for path in paths for finding in rule(path, parse(path))]


def test_the_core_imports_neither_qgis_nor_the_tools():
    def rule(path, tree):
        depth = len(path.relative_to(ROOT / "survey").parts)
        for level, name in imports(tree):
            if name.split(".")[0] in {"qgis", "PyQt5", "PyQt6", "processing", "osgeo", "scipy"}:
                yield f"imports {name}"
            if level > depth:
                yield f"reaches out of survey: {'.' * level}{name}"
    assert offenders(SURVEY, rule) == []


def test_every_room_is_listed():
    assert {*ROOMS, "ext"} == {path.parent.name for path in (ROOT / "survey").glob("*/__init__.py")}


def test_the_table_of_rooms_in_developers_is_the_house_as_it_is():
    """In the order of the arrows, each with modules to begin at that are there."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(\w+)/` \| .+ \| (.+) \|$", text, re.MULTILINE)
    assert [room for room, _ in rows] == list(ROOMS)
    missing = [f"{room}/{name}" for room, names in rows for name in re.findall(r"`(\w+)`", names)
               if not (ROOT / "survey" / room / f"{name}.py").is_file()]
    assert missing == []


def test_arrows_between_rooms_point_one_way():
    def rule(path, tree):
        own = path.parent.name if path.parent.name in ROOMS else None
        # the front door and the command stand before all rooms
        allowed = set(ROOMS[:ROOMS.index(own) + 1]) if own else set(ROOMS) if path.name[:2] == "__" else set()
        for node in walk(tree):
            if isinstance(node, ast.ImportFrom) and node.level == (2 if own else 1):
                names = {node.module.split(".")[0]} if node.module else {alias.name for alias in node.names}
                yield from (f"line {node.lineno} climbs to {room}" for room in (names & set(ROOMS)) - allowed)
    assert offenders(SURVEY, rule) == []


def imported_beside(path):
    """Modules beside it that a module imports, inside functions too."""
    beside = {one.stem: one for one in SHIPPED if one.parent == path.parent}
    for node in walk(parse(path)):
        if isinstance(node, ast.ImportFrom) and node.level == 1:
            names = [node.module.split(".")[0]] if node.module else [alias.name for alias in node.names]
            yield from (beside[name] for name in names if name in beside)


def test_no_module_imports_one_that_imports_it():
    """Within a room, a group of tools, or what the tools share; between rooms the order forbids it."""
    for folder in sorted({path.parent for path in SHIPPED if path.name != "__init__.py"}):
        modules = [path for path in SHIPPED if path.parent == folder and path.name != "__init__.py"]
        try:
            graphlib.TopologicalSorter({path: list(imported_beside(path)) for path in modules}).prepare()
        except graphlib.CycleError as error:
            names = " -> ".join(path.name for path in reversed(error.args[1]))
            raise AssertionError(f"a circle in {folder.relative_to(ROOT)}: {names}") from None


def test_every_core_module_loads_where_qgis_cannot():
    modules = [".".join(("athwart", "survey", *p.relative_to(ROOT / "survey").with_suffix("").parts)) for p in SURVEY]
    code = ("import sys, importlib, importlib.util, no_qgis\n"
            f"spec = importlib.util.spec_from_file_location('athwart', {str(ROOT / '__init__.py')!r},"
            f" submodule_search_locations=[{str(ROOT)!r}])\n"
            "sys.modules['athwart'] = importlib.util.module_from_spec(spec)\n"
            f"[importlib.import_module(m.removesuffix('.__init__')) for m in {modules!r}]\n"
            "assert not any(m.split('.')[0] in ('qgis', 'PyQt5', 'PyQt6') for m in sys.modules)\n"
            "try:\n    import qgis\nexcept ImportError:\n    print('ok')\n")
    env = {"PATH": "/usr/bin:/bin", "PYTHONPATH": f"{ROOT / 'tests' / 'plugins'}", "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=env, check=False)
    assert done.stdout == "ok\n", done.stderr


def test_shipped_code_imports_what_it_may():
    def rule(path, tree):
        tool = path.relative_to(ROOT).parts[0] == "algorithms"
        for level, name in imports(tree):
            top = name.split(".")[0]
            if top in {"PyQt5", "PyQt6"}:
                yield f"{name}: take Qt from qgis.PyQt"
            # the desktop takes a form of one's own only as a child of its dialog
            if top == "processing" and "." in name and path.name != "dialog.py":
                yield f"{name}: the Processing package's inside is not ours"
            if level == 0 and top in {"survey", "algorithms", "plugin", "athwart"}:
                yield f"{name}: import relatively"
            if tool and "plugin" in name.split("."):
                yield f"{name}: tools do not know the plugin"
    assert offenders(SHIPPED, rule) == []


def test_shipped_code_says_nothing_that_is_lost_or_unsafe():
    def rule(_, tree):
        for node in walk(tree):
            if isinstance(node, ast.Assert):
                yield f"assert in line {node.lineno}: optimised away, raise instead"
            if isinstance(node, ast.ExceptHandler) and node.type is None:
                yield f"bare except in line {node.lineno}"
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) \
                    and node.func.id in {"print", "eval", "exec"}:
                yield f"{node.func.id} in line {node.lineno}"
    assert offenders(SHIPPED, rule) == []


def test_names_of_qgis_are_those_of_both_ends():
    unscoped = {"Qt", "QgsProcessing", "QgsWkbTypes", "QgsUnitTypes", "QgsFeatureSink"}

    def rule(path, tree):
        for node in walk(tree):
            if isinstance(node, ast.Name) and node.id in {"QVariant", "QMetaType"} and path.name != "compat.py":
                yield f"{node.id} in line {node.lineno} belongs in compat.py"
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                owner, member = node.value.id, node.attr
                if owner == "Qgis" and member in NEW_IN_QGIS:
                    yield f"Qgis.{member} is not in 3.22 (line {node.lineno})"
                if owner in unscoped and member != "Type" and member.startswith(
                        ("Type", "Point", "Line", "Polygon", "Multi", "NoGeom", "Fast")):
                    yield f"{owner}.{member} needs its enum's name (line {node.lineno})"
    assert offenders(SHIPPED, rule) == []


def test_python_3_9_can_read_all_of_it():
    for path in SHIPPED:
        ast.parse(path.read_text(encoding="utf-8"), str(path), feature_version=(3, 9))

    def rule(_, tree):
        has_code = any(not isinstance(node, (ast.Expr, ast.ImportFrom)) for node in tree.body)
        if has_code and not any(isinstance(n, ast.ImportFrom) and n.module == "__future__" for n in tree.body):
            yield "from __future__ import annotations"
    assert offenders(SHIPPED, rule) == []


@pytest.mark.parametrize("folder, line, rule", [
    ("survey/swaths", "from qgis.core import Qgis", "test_the_core_imports_neither_qgis_nor_the_tools"),
    ("survey/swaths", "from ..report import pages", "test_arrows_between_rooms_point_one_way"),
    ("algorithms/track", "from ...plugin import provider", "test_shipped_code_imports_what_it_may"),
    ("algorithms/track", "from PyQt5.QtCore import Qt", "test_shipped_code_imports_what_it_may"),
    ("survey/model", "assert 1", "test_shipped_code_says_nothing_that_is_lost_or_unsafe"),
    ("plugin", "print(1)", "test_shipped_code_says_nothing_that_is_lost_or_unsafe"),
    ("plugin", "kind = QVariant.Int", "test_names_of_qgis_are_those_of_both_ends"),
    ("plugin", "kind = QgsWkbTypes.Polygon", "test_names_of_qgis_are_those_of_both_ends"),
    ("survey/model", "with (open('a') as a, open('b') as b):\n    match a:\n        case 1: pass",
     "test_python_3_9_can_read_all_of_it"),
    ("survey/model", "x = 1", "test_python_3_9_can_read_all_of_it"),
    ("algorithms/common", "def f():\n    from .broken import f", "test_no_module_imports_one_that_imports_it"),
    ("survey/model", "def write(path, made): pass", "test_names_that_leave_a_function_say_what_they_hold"),
    ("survey/model", "class Looks:\n    how: str", "test_names_that_leave_a_function_say_what_they_hold"),
    ("plugin", "def f(a, b, c, d, e, f, g, h, i, j, k): pass", "test_no_function_asks_for_more_than_ten_things")])
def test_each_rule_finds_what_it_forbids(tmp_path, monkeypatch, folder, line, rule):
    """A file that breaks the rule, in a house of its own: the rule names it."""
    path = tmp_path / folder / "broken.py"
    path.parent.mkdir(parents=True)
    path.write_text(f"{line}\n", encoding="utf-8")
    here = sys.modules[__name__]
    monkeypatch.setattr(here, "ROOT", tmp_path)
    monkeypatch.setattr(here, "SHIPPED", [path])
    monkeypatch.setattr(here, "SURVEY", [path] if folder.startswith("survey") else [])
    with pytest.raises((AssertionError, SyntaxError), match=r"broken\.py|invalid syntax|only supported in Python"):
        getattr(here, rule)()


def test_names_that_leave_a_function_say_what_they_hold():
    """Arguments of what others call, and fields: none is only "found", "made" or "how"."""
    def rule(_, tree):
        for node in walk(tree):
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                named = [one.arg for one in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
            elif isinstance(node, ast.ClassDef):
                named = [one.target.id for one in node.body if isinstance(one, ast.AnnAssign)]
            else:
                continue
            yield from (f"line {node.lineno}: {name} in {node.name}" for name in named
                        if name in {"found", "made", "how"})
    assert offenders(SHIPPED, rule) == []


def test_only_shapes_knows_which_shapely_it_is():
    for path in SURVEY:
        if path.name == "shapes.py":
            continue
        for node in walk(parse(path)):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "shapely":
                raise AssertionError(f"{path.name}:{node.lineno} uses shapely.{node.attr}; shapes.py is the place")


MOST_PARAMETERS = 10


def test_no_function_asks_for_more_than_ten_things():
    def rule(_, tree):
        for node in walk(tree):
            if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
                asked = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs, node.args.vararg,
                         node.args.kwarg]
                count = sum(one is not None for one in asked)
                if count > MOST_PARAMETERS:
                    yield f"line {node.lineno}: {node.name} takes {count}; give it a settings object"
    assert offenders(SHIPPED, rule) == []
