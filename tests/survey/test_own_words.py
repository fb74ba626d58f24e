"""The core speaks of its own arguments, settings and functions; parameter ids and tool titles are the forms'."""
import ast
import json
import pathlib
import re

import pytest
from athwart.survey.bottom.bathymetry import DepthConversion
from athwart.survey.casts.plan import CastSettings
from athwart.survey.model.errors import InputError
from athwart.survey.record.picture import Record
from athwart.survey.targets.locate import refuse_model
from athwart.survey.tracks.settings import TrackSettings

ROOT = pathlib.Path(__file__).resolve().parents[2]
SURVEY = sorted(p for p in (ROOT / "survey").rglob("*.py") if "ext" not in p.relative_to(ROOT).parts)
TREES = {path: ast.parse(path.read_text(encoding="utf-8")) for path in SURVEY}

CONTRACT = json.loads((ROOT / "tests" / "algorithms" / "contract_tools.json").read_text(encoding="utf-8"))
IDS = sorted({name for tool in CONTRACT.values() for name in tool["parameters"]}, key=len, reverse=True)
TITLED = re.compile(r'^    ID, TITLE, GROUP = "\w+", "(.+?)"', re.MULTILINE)
TITLES = sorted({title for path in (ROOT / "algorithms").rglob("*.py")
                 for title in TITLED.findall(path.read_text(encoding="utf-8"))})


def constants():
    """Names that a module of the core binds: ``schemas.TRACK`` is one, however a parameter is called."""
    for tree in TREES.values():
        for node in tree.body:
            for target in getattr(node, "targets", [getattr(node, "target", None)]):
                yield from (name.id for name in ast.walk(target) if isinstance(name, ast.Name)) if target else ()


OWN = set(constants())


def listed(tree):
    """The strings of ``__all__``."""
    return {id(one) for node in tree.body if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__"
            for one in ast.walk(node.value)}


def foreign(text):
    """Ids and titles in a text, but for names of the core between double backticks."""
    text = re.sub(r"``(?:\w+\.)*(\w+)``", lambda one: "" if one[1] in OWN else one[0], text)
    return re.findall(rf"\b(?:{'|'.join(IDS)})\b", text) + [title for title in TITLES if title in text]


def test_the_names_looked_for_are_those_of_the_forms():
    assert len(IDS) > 120 and len(TITLES) == len(CONTRACT)
    assert foreign("give RANGE_FIELD to 'Prepare track', see ``PING_FIELD`` and ``schemas.TRACK``") == [
        "RANGE_FIELD", "PING_FIELD", "Prepare track"]


@pytest.mark.parametrize("path", SURVEY, ids=lambda p: str(p.relative_to(ROOT / "survey")))
def test_no_string_of_the_core_names_a_box_or_a_tool(path):
    exports = listed(TREES[path])
    for node in ast.walk(TREES[path]):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in exports:
            assert not foreign(node.value), f"line {node.lineno}"


@pytest.mark.parametrize("make, words, field", [
    (TrackSettings, r"^range_m is not given: .* as range_m, .* as range_field, .* as range_rows\.$", "range_m"),
    (lambda: TrackSettings(range_m=30.0, max_gap_s=-1.0), r"^max_gap_s is -1\.0; it must be above zero", "max_gap_s"),
    (lambda: DepthConversion("elevation", "m"), "needs surface, the elevation of the water", "surface"),
    (lambda: CastSettings(sigma_boat=-1.0), "^sigma_boat is -1.0; give zero", "sigma_boat"),
    (lambda: Record(10, 10), "Give first_ping .* and pings_per_row, or first_s and last_s", "first_ping"),
    (lambda: refuse_model("terrain", False), "^range_model 'terrain' needs a depth grid: give grid,", "range_model"),
])
def test_who_writes_python_reads_the_words_of_python(make, words, field):
    with pytest.raises(InputError, match=words) as refused:
        make()
    assert refused.value.field == field and not re.search(r"[{}]|[A-Z]{3}", str(refused.value))


def names_in_braces(tree):
    """(line, text) of strings that hold a name in braces, but are no Message's and no template of text.format()."""
    filled = {id(one) for call in ast.walk(tree) if isinstance(call, ast.Call) and (
        getattr(call.func, "id", "") in ("Message", "_demand", "_refuse") or getattr(call.func, "attr", "") == "format")
        for one in ast.walk(call)}
    docs = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if (isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in filled | docs
                and re.search(r"\{[A-Za-z_.]+(\([a-z_.]*\))?\}", node.value)):
            yield node.lineno, node.value


@pytest.mark.parametrize("path", [*SURVEY, *sorted((ROOT / "algorithms").rglob("*.py"))],
                         ids=lambda p: str(p.relative_to(ROOT)))
def test_no_name_in_braces_goes_out_as_it_is(path):
    assert not list(names_in_braces(ast.parse(path.read_text(encoding="utf-8"))))


def test_a_forgotten_message_would_be_found():
    code = 'raise InputError("{range_m} is odd; see {prepare()}.")\nMessage("{range_m}")\n"{:.0f}".format(1)\n'
    assert list(names_in_braces(ast.parse(code))) == [(1, "{range_m} is odd; see {prepare()}.")]
