"""The front door: every name leads somewhere, costs nothing before it is asked for; tools use no other way in."""
import ast
import pathlib
import runpy
import subprocess
import sys

import pytest
from athwart import survey

ROOT = pathlib.Path(__file__).resolve().parents[2]
DOOR = ROOT / "survey" / "__init__.py"
TREE = ast.parse(DOOR.read_text(encoding="utf-8"))
TOOLS = sorted((ROOT / "algorithms").rglob("*.py"))
GEOMETRY = {"common/read.py": {"shapes", "transfer", "frame"}, "common/recordsource.py": {"frame"},
            "imagery/drawtargets.py": {"shapes"}, "common/seen.py": {"shapes"}, "common/write.py": {"shapes"},
            "track/contours.py": {"frame"}, "track/depth_maps.py": {"frame"}}
"""Readers and writers of layers that turn QGIS's geometries and systems into the core's, and what they take for it from
the room ``geometry``. Nothing else of the core's inside is known outside of it."""


def assigned(name):
    """The literal that a module-level name is set to."""
    return next(ast.literal_eval(node.value) for node in TREE.body if isinstance(node, ast.Assign)
                and getattr(node.targets[0], "id", "") == name)


def taken_from_the_core(path):
    """(line, module below survey as a list, names) of every import of the core in a tool's file."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "survey" and node.level:
            yield node.lineno, node.module.split(".")[1:], [alias.name for alias in node.names]


def test_what_is_listed_is_what_is_found_and_what_type_checkers_see():
    listed, homes = assigned("__all__"), assigned("_HOMES")
    assert len(listed) == len(set(listed))
    assert sorted(listed) == sorted(name for names in homes.values() for name in names)
    checked = next(node for node in TREE.body if isinstance(node, ast.If) and isinstance(node.test, ast.Name))
    seen = {node.module: tuple(alias.name for alias in node.names) for node in checked.body}
    assert seen == homes


def test_every_name_leads_to_a_thing_of_that_name_with_a_docstring():
    for name in survey.__all__:
        thing = getattr(survey, name)
        assert thing is getattr(survey, name) and name in dir(survey)
        assert name == "CAUTION" or (thing.__name__ == name and thing.__doc__), name


def test_a_name_that_is_not_there_is_said_so():
    with pytest.raises(AttributeError, match="draw_swathes"):
        _ = survey.draw_swathes


def test_all_behind_the_door_is_typed_and_held_to_it():
    """Every function has types, and mypy is told to ask for them."""
    untyped = runpy.run_path(str(ROOT / "tools" / "untyped.py"))["untyped"]
    held = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    bare = {home for home in assigned("_HOMES")
            if untyped((ROOT / "survey" / f"{home.replace('.', '/')}.py").read_text(encoding="utf-8"))}
    assert not bare, "functions there lack types"
    for home in assigned("_HOMES"):
        assert home.startswith("model.") or f'"survey.{home}"' in held, f"{home}: pyproject, mypy"


def test_what_tools_share_is_typed():
    assert runpy.run_path(str(ROOT / "tools" / "untyped.py"))["shared"]() == []


def test_the_door_costs_nothing_before_it_is_asked():
    code = ("import sys; sys.path.insert(0, sys.argv[1]); import clone; clone.load(); import athwart.survey as survey\n"
            "heavy = {'numpy', 'shapely', 'pyproj', 'xml'} & set(sys.modules); assert not heavy, heavy\n"
            "survey.InputError, survey.CAUTION; assert 'numpy' not in sys.modules\n"
            "survey.Track; assert 'numpy' in sys.modules and 'shapely' not in sys.modules\n")
    subprocess.run([sys.executable, "-c", code, str(ROOT / "tests" / "plugins")], check=True)


def test_tools_come_in_by_the_front_door():
    for path in TOOLS:
        allowed = GEOMETRY.get(path.relative_to(ROOT / "algorithms").as_posix(), set())
        for line, module, names in taken_from_the_core(path):
            if not module:
                wrong = set(names) - set(survey.__all__) - {"model"}
            elif module[0] == "geometry":
                wrong = set(module[1:] or names) - allowed
            else:
                wrong = set() if module[0] == "model" else {".".join(module)}
            assert not wrong, (f"{path.name}, line {line}: {', '.join(sorted(wrong))} is the core's inside; give the "
                               "front door, survey/__init__.py, a name for what is wanted")


def test_no_exception_is_kept_that_nobody_needs():
    used = {}
    for path in TOOLS:
        for _, module, names in taken_from_the_core(path):
            if module[:1] == ["geometry"]:
                used.setdefault(path.relative_to(ROOT / "algorithms").as_posix(), set()).update(module[1:] or names)
    assert used == GEOMETRY
