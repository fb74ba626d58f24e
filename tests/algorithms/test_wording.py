"""Messages and help speak of a parameter by the label that the dialog shows."""
import ast
import pathlib
import re
import string

import pytest
from athwart.algorithms import all_tools
from athwart.algorithms.common.wording import in_form_words, known_word
from athwart.survey.model.errors import InputError
from athwart.survey.model.messages import Message

ROOT = pathlib.Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def tools(qgis_processing):
    return {tool.name(): tool for tool in (each.create() for each in all_tools())}


@pytest.mark.parametrize("text, shown", [
    (Message("{range_rows} is empty."), "'Changes of range' (SETTINGS) is empty."),
    (Message("{DEPTH} is 0."), "'One depth for the outing' (DEPTH) is 0."),
    (Message("Check {range_m.unit}."), "Check 'Unit of ranges' (RANGE_UNIT)."),
    (Message("Give {range_rows.from_s}."), "Give from_time."),
    (Message("Give {swath.width}."), "Give swath.width."),
    (Message("Magnetic: {variation_deg}."), "Magnetic: 'Headings are' (HEADING_KIND) and 'Magnetic variation (degrees, "
                                            "east positive)' (MAGNETIC_VARIATION)."),
    (Message("See {locate(picks.ping)} of {locate()}."),
     "See 'Field of ping numbers' (PING_FIELD) of 'Locate targets'."),
    (Message("See {nothing(there)} of {nothing()}."), "See there of nothing()."),
    (Message("'{name}' lacks it; choose {range_m}.", name="DEPTH of {RANGE} 1"),
     "'DEPTH of {RANGE} 1' lacks it; choose 'Range' (RANGE)."),
    ("/data/RANGE/my DEPTH.gpkg is no file.", "/data/RANGE/my DEPTH.gpkg is no file."),
])
def test_a_setting_is_named_by_its_label_and_id(tools, text, shown):
    assert in_form_words(tools["preparetrack"], text) == shown


@pytest.mark.parametrize("field, text, shown", [
    ("salinity", "It is salt.", "'Salinity (g/kg)' (SALINITY): It is salt."),
    (("range_m", "depth_m"), "Odd.", "'Range' (RANGE), 'One depth for the outing' (DEPTH): Odd."),
    ("range_m", "'Range' (RANGE) is odd.", "'Range' (RANGE) is odd."),
    ("inside_only", "Odd.", "Odd."),
    (None, "Odd.", "Odd."),
])
def test_the_setting_at_fault_stands_before_a_text_that_names_none(tools, field, text, shown):
    assert tools["preparetrack"].worded(InputError(text, field=field)) == shown


def test_names_and_paths_of_the_user_stand_as_they_are(run, make_layer, tmp_path):
    """Through processing.run: a layer, a file and a folder called like parameters."""
    from qgis.core import QgsProcessingException, QgsProcessingFeatureSourceDefinition
    nothing = make_layer("MultiPolygon", "EPSG:32632", {"outing": "string", "pass_id": "int", "outer_m": "double",
                                                        "sigma_edge_m": "double"}, [], "SWATHS of AREA 1")
    box = make_layer("Polygon", "EPSG:32632", {"n": "int"}, [("POLYGON((0 0,9 0,9 9,0 0))", [1])], "the AREA")
    with pytest.raises(QgsProcessingException, match="Swaths 'SWATHS of AREA 1': the swath layer"):
        run("coveragegaps", {"SWATHS": nothing, "AREA": box, "OUTPUT": "memory:", "AREAS": "memory:"})
    wrapped = QgsProcessingFeatureSourceDefinition(str(tmp_path / "no AREA here.gpkg"), False)
    with pytest.raises(QgsProcessingException, match="no AREA here"):
        run("coveragegaps", {"SWATHS": wrapped, "AREA": box, "OUTPUT": "memory:", "AREAS": "memory:"})
    with pytest.raises(QgsProcessingException) as refused:
        run("coveragegaps", {"SWATHS": nothing, "AREA": box, "AREAS": "memory:",
                             "OUTPUT": str(tmp_path / "my AREA and SWATHS" / "SEEN.gpkg")})
    assert str(tmp_path / "my AREA and SWATHS") in str(refused.value)


def test_no_help_text_names_a_parameter_by_its_id(tools):
    """The dialog shows labels only; who writes scripts finds the ids on the tool's page."""
    found = []
    for tool in tools.values():
        ids = {definition.name() for definition in tool.parameterDefinitions()}
        for text in (tool.HELP, tool.SUMMARY, *tool.OUTPUT_HELP.values(),
                     *(words for d in tool.parameterDefinitions() for words in (d.description(), d.help()))):
            found += [(tool.name(), word) for word in re.findall(r"[A-Z][A-Z_]{2,}", text)
                      if word in ids or "_" in word]
    assert not found


def named_settings():
    """(module, function or '', setting or '') of every name in the core's messages, and of every ``field=``."""
    for path in sorted((ROOT / "survey").rglob("*.py")):
        if {"ext", "district"} & {*path.relative_to(ROOT).parts}:  # a district has a command, and no form
            continue
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            called = call.func.id if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) else ""
            if called in ("Message", "_demand", "_refuse"):
                values = {one.arg for one in call.keywords}
                for node in (node for argument in call.args for node in ast.walk(argument)):
                    if isinstance(node, ast.Constant) and isinstance(node.value, str):
                        names = {name for _, name, _, _ in string.Formatter().parse(node.value)} - {None} - values
                        yield from ((path.stem, *name.rstrip(")").rpartition("(")[::2]) for name in names)
            elif called == "InputError" and path.stem not in ("table", "arrange"):  # columns, not boxes
                yield from ((path.stem, "", one.value.value) for one in call.keywords
                            if one.arg == "field" and isinstance(one.value, ast.Constant)
                            and one.value.value not in ("x", "columns", "logs", "layers", "results"))  # in no form


def test_every_name_in_the_cores_messages_has_its_place_in_a_form(tools):
    """Each function is a tool's, each setting is one that some tool's form knows by a box or a word of its own."""
    found = list(named_settings())
    assert len(found) > 150
    by_function = {tool.FUNCTION: tool for tool in tools.values()}
    for module, function, setting in found:
        assert not function or function in by_function, (module, function)
        asked = [by_function[function]] if function else list(tools.values())
        assert not setting or any(known_word(tool, setting) for tool in asked), (module, function, setting)


def test_the_words_of_a_form_are_its_own(tools):
    """What FIELDS points to is a parameter of the tool, or a name in lower case such as a column's."""
    for tool in tools.values():
        assert tool.FUNCTION, tool.name()
        for setting, names in tool.FIELDS.items():
            for name in (names,) if isinstance(names, str) else names:
                assert tool.parameterDefinition(name) or name == name.lower(), (tool.name(), setting, name)
