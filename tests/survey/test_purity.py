"""The house rules that a reader relies on: which way the arrows point, and what shipped code never holds."""
import ast
import pathlib
import subprocess
import sys

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
SURVEY = sorted(p for p in (ROOT / "survey").rglob("*.py") if "ext" not in p.relative_to(ROOT).parts)
SHIPPED = SURVEY + sorted((ROOT / "algorithms").rglob("*.py")) + sorted((ROOT / "plugin").rglob("*.py"))
ROOMS = ("model", "geometry", "uncertainty", "beams", "bottom", "io", "fixes", "motion", "depths", "passes", "tracks",
         "swaths", "ensonify", "share", "coverage", "shore", "targets", "record", "adjustment", "report", "casts")
"""Folders of the core; each imports from those before it, and from the modules beside them, only."""

NEW_IN_QGIS = {"WkbType", "ProcessingSourceType", "GeometryType", "DistanceUnit", "ProcessingFieldParameterDataType"}


def imports(tree):
    """(level, dotted name) of every import in a module, those inside functions included."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield 0, alias.name
        elif isinstance(node, ast.ImportFrom):
            yield node.level, node.module or ""


def parse(path):
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


@pytest.mark.parametrize("path", SURVEY, ids=lambda p: p.stem)
def test_the_core_imports_neither_qgis_nor_the_tools(path):
    for level, name in imports(parse(path)):
        assert name.split(".")[0] not in {"qgis", "PyQt5", "PyQt6", "processing", "osgeo", "scipy"}, name
        depth = len(path.relative_to(ROOT / "survey").parts)
        assert level <= depth, f"reaches out of survey: {'.' * level}{name}"


def test_every_room_is_listed():
    assert {*ROOMS, "ext"} == {path.parent.name for path in (ROOT / "survey").glob("*/__init__.py")}


@pytest.mark.parametrize("path", SURVEY, ids=lambda p: str(p.relative_to(ROOT / "survey")))
def test_arrows_between_rooms_point_one_way(path):
    own = path.parent.name if path.parent.name in ROOMS else None
    allowed = set(ROOMS[:ROOMS.index(own) + 1]) if own else set()
    for node in ast.walk(parse(path)):
        if isinstance(node, ast.ImportFrom) and node.level == (2 if own else 1):
            names = [node.module.split(".")[0]] if node.module else [alias.name for alias in node.names]
            assert not (set(names) & set(ROOMS)) - allowed, f"line {node.lineno}"


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


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: str(p.relative_to(ROOT)))
def test_shipped_code_keeps_the_rules(path):
    tree = parse(path)
    where = path.relative_to(ROOT).parts
    for level, name in imports(tree):
        top = name.split(".")[0]
        assert top not in {"PyQt5", "PyQt6"}, f"{name}: take Qt from qgis.PyQt"
        assert not (top == "processing" and "." in name), f"{name}: the Processing package's inside is not ours"
        assert not (level == 0 and top in {"survey", "algorithms", "plugin", "athwart"}), f"{name}: import relatively"
        if where[0] == "algorithms":
            assert "plugin" not in name.split("."), f"{name}: tools do not know the plugin"
    for node in ast.walk(tree):
        assert not isinstance(node, ast.Assert), f"assert in line {node.lineno}: optimised away, raise instead"
        assert not (isinstance(node, ast.ExceptHandler) and node.type is None), f"bare except in line {node.lineno}"
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in {"print", "eval", "exec"}, f"{node.func.id} in line {node.lineno}"
        if isinstance(node, ast.Name) and node.id in {"QVariant", "QMetaType"}:
            assert path.name == "compat.py", f"{node.id} in line {node.lineno} belongs in compat.py"
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            owner, member = node.value.id, node.attr
            assert not (owner == "Qgis" and member in NEW_IN_QGIS), f"Qgis.{member} is not in 3.22 (line {node.lineno})"
            unscoped = owner == "Qt" or owner in {"QgsProcessing", "QgsWkbTypes", "QgsUnitTypes", "QgsFeatureSink"}
            assert not (unscoped and member.startswith(("Type", "Point", "Line", "Polygon", "Multi", "NoGeom", "Fast"))
                        and member not in {"Type"}), f"{owner}.{member} needs its enum's name (line {node.lineno})"


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: str(p.relative_to(ROOT)))
def test_python_3_9_can_read_it(path):
    tree = ast.parse(path.read_text(encoding="utf-8"), feature_version=(3, 9))
    has_code = any(not isinstance(n, (ast.Expr, ast.ImportFrom)) for n in tree.body)
    future = any(isinstance(n, ast.ImportFrom) and n.module == "__future__" for n in tree.body)
    assert future or not has_code, "from __future__ import annotations"


def test_only_shapes_knows_which_shapely_it_is():
    for path in SURVEY:
        if path.name == "shapes.py":
            continue
        for node in ast.walk(parse(path)):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "shapely":
                raise AssertionError(f"{path.name}:{node.lineno} uses shapely.{node.attr}; shapes.py is the place")


MOST_PARAMETERS = 10


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: str(p.relative_to(ROOT)))
def test_no_function_asks_for_more_than_ten_things(path):
    for node in ast.walk(parse(path)):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            asked = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs, node.args.vararg, node.args.kwarg]
            count = sum(one is not None for one in asked)
            assert count <= MOST_PARAMETERS, f"line {node.lineno}: {node.name} takes {count}; give it a settings object"
