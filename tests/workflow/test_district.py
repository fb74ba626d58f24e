"""A district beside the tools: the same lake by both ways, opened by the tool, and in its project.

The district is worked where QGIS cannot be imported; the tools then do the same outings here.
"""
import districts
import districttools
import processing
import pytest
from districtsim import make_district
from qgis.core import (
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProject,
    QgsVectorLayer,
)

pytestmark = pytest.mark.skipif(bool(districts.MISSING), reason=districts.MISSING)

RUN = "import sys, no_qgis, athwart; assert not athwart.survey_district(*sys.argv[1:]).failures"
OPENED = ("AREAS", "GAPS", "SHORE", "TARGETS", "ELLIPSES", "PASSES", "SWATHS", "TRACK")


@pytest.fixture(scope="module")
def district(tmp_path_factory):
    """Folder of a district of one lake and two outings, with its result in ``made``."""
    folder = tmp_path_factory.mktemp("district")
    outings, lakes = make_district(folder, 1, 2, short=True)
    done = districts.python(tmp_path_factory.mktemp("site"), "-c", RUN, outings, lakes, folder / "made", timeout=200)
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture(scope="module")
def opened(provider, district):
    """What the tool gives of it."""
    return run("opendistrict", INPUT=district / "made" / "district.gpkg",
               **{name: district / f"{name}.gpkg" for name in OPENED})


def run(tool, **parameters):
    plain = {name: value if isinstance(value, (list, int, float)) else str(value) for name, value in parameters.items()}
    return processing.run(f"athwart:{tool}", plain, feedback=QgsProcessingFeedback(False))


def test_the_tools_come_to_the_same_figures(district, opened):
    told = districttools.compared(district, district / "made" / "district.gpkg", 1)
    assert told["same"] > 20 and told["other"] == []
    ((share,),) = districts.rows(district / "made" / "district.gpkg", "lakes", "covered_pct")
    assert opened["COVERED_PERCENT"] == share and opened["STATE"] == "surveyed"
    for name, table in (("GAPS", "gaps"), ("SHORE", "shore"), ("TARGETS", "combined")):
        count = len(districts.rows(district / "made" / "district.gpkg", table, "lake"))
        assert QgsVectorLayer(opened[name], name, "ogr").featureCount() == count > 0


def test_what_is_opened_serves_the_other_tools(district, opened, tmp_path):
    page = tmp_path / "page.html"
    run("coveragereport", TRACK=opened["TRACK"], PASSES=opened["PASSES"], SWATHS=opened["SWATHS"],
        AREAS=opened["AREAS"], GAPS=opened["GAPS"], SHORE=opened["SHORE"], TARGETS=opened["TARGETS"], OUTPUT_HTML=page)
    assert f"{opened['COVERED_PERCENT']:.1f}" in page.read_text(encoding="utf-8")


def test_the_project_opens_with_its_layers_styled_and_explained(district):
    project = QgsProject()
    assert project.read(str(district / "made" / "district.qgs")), project.error()
    layers = project.mapLayers().values()
    assert len(layers) == 14 and all(layer.isValid() for layer in layers)
    (lakes,) = project.mapLayersByName("Lakes")
    assert lakes.renderer().type() == "RuleRenderer" and "name of the lake" in lakes.attributeAliases().values()
    assert project.crs().authid() == "EPSG:32619"
    again = QgsVectorLayer(lakes.source(), "again", "ogr")
    assert again.renderer().type() == "RuleRenderer"  # the style inside the file is its default
    project.clear()


@pytest.mark.parametrize("given, told", [
    ({"LAKE": "Mill Pond"}, "no lake 'Mill Pond'.*Lake 01"), ({"INPUT": "outings.csv"}, "no result of a district")])
def test_what_is_not_there_is_refused_by_name(provider, district, given, told):
    wrong = {"INPUT": str(district / "made" / "district.gpkg"), "AREAS": "TEMPORARY_OUTPUT", **given}
    wrong["INPUT"] = str(district / wrong["INPUT"])
    with pytest.raises(QgsProcessingException, match=told):
        processing.run("athwart:opendistrict", wrong, feedback=QgsProcessingFeedback(False))
