"""Messages and help speak of a parameter by the label that the dialog shows."""
import re

import pytest
from athwart.algorithms import all_tools
from athwart.algorithms.common.wording import with_labels


@pytest.fixture(scope="module")
def tools(qgis_processing):
    return {tool.name(): tool for tool in (each.create() for each in all_tools())}


@pytest.mark.parametrize("text, shown", [
    ("SETTINGS is empty.", "'Changes of range' (SETTINGS) is empty."),
    ("No depth: type one depth (DEPTH).", "No depth: type one depth (DEPTH)."),
    ("The field 'RANGE' holds no range.", "The field 'RANGE' holds no range."),
    ("With TIME_OFFSET=5 all would fit.", "With TIME_OFFSET=5 all would fit."),
    ("RANGE and RANGE_UNIT", "'Range' (RANGE) and 'Unit of ranges' (RANGE_UNIT)"),
    ("LONG_RANGE, RANGES", "LONG_RANGE, RANGES"),
    ("Fixes 'DEPTH of RANGE 1' lack it; choose RANGE.", "Fixes 'DEPTH of RANGE 1' lack it; choose 'Range' (RANGE)."),
    ("Fixes 'John's RANGE 1' are empty.", "Fixes 'John's RANGE 1' are empty."),
    ('The pick "40 DEPTH \'x\' RANGE" is none.', 'The pick "40 DEPTH \'x\' RANGE" is none.'),
    ("The fixes' times; set SETTINGS, not the passes' RANGE.",
     "The fixes' times; set 'Changes of range' (SETTINGS), not the passes' 'Range' (RANGE)."),
    ("/data/RANGE/my DEPTH.gpkg is no file, nor C:\\RANGE\\x.gpkg; give INPUT.",
     "/data/RANGE/my DEPTH.gpkg is no file, nor C:\\RANGE\\x.gpkg; give 'Fixes' (INPUT)."),
])
def test_an_id_that_stands_alone_gets_its_label(tools, text, shown):
    given = {"INPUT": "/data/RANGE/my DEPTH.gpkg", "SETTINGS": None, "RANGE": 30}
    assert with_labels(text, tools["preparetrack"].parameterDefinitions(), given) == shown


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
