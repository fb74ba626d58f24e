"""A district beside the tools: the same lake by both ways, opened by the tool, and in its project.

The district is worked where QGIS cannot be imported; the tools then do the same outings here.
"""
import csv

import districts
import numpy as np
import processing
import pytest
from districtsim import make_district
from qgis.core import (
    QgsFeature,
    QgsGeometry,
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


def by_tools(folder):
    """The lake by the tools: figures, and the layers of gaps, shore and objects."""
    with open(folder / "outings.csv", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    with open(folder / "lakes.csv", encoding="utf-8") as file:
        (lake,) = csv.DictReader(file)
    layers = {}
    for name in ("area", "water"):  # as the tables have them
        layers[name] = QgsVectorLayer(f"Polygon?crs={lake['crs']}", name, "memory")
        feature = QgsFeature()
        feature.setGeometry(QgsGeometry.fromWkt(lake[name]))
        layers[name].dataProvider().addFeatures([feature])
    made = {name: [] for name in ("passes", "swaths", "targets")}
    for row in rows:
        at = {name: str(folder / f"{row['outing']}_{name}.gpkg") for name in ("fixes", "track", *made)}
        run("readlogs", INPUT=[str(folder / row["logs"])], OUTPUT=at["fixes"])
        run("preparetrack", INPUT=at["fixes"], OUTING=row["outing"], RANGE=float(row["range"]), RANGE_UNIT=row["unit"],
            DEPTH=float(row["depth"]), DEPTH_UNIT=row["unit"], LATENCY=float(row["latency_s"]),
            TRANSDUCER_FORWARD=float(row["lever_forward_m"]), TRANSDUCER_STARBOARD=float(row["lever_starboard_m"]),
            ASSUMED_SOUND_SPEED=float(row["assumed_mps"]), TARGET_CRS=lake["crs"], OUTPUT=at["track"],
            PASSES=at["passes"])
        processing.run("athwart:swathfootprint", {"INPUT": at["track"], "WATER": layers["water"],
                                                  "OUTPUT": at["swaths"]}, feedback=QgsProcessingFeedback(False))
        processing.run("athwart:locatetargets", {
            "PICKS": str(folder / row["picks"]), "TRACK": at["track"], "TIME_FIELD": "time", "SIDE_FIELD": "side",
            "RANGE_FIELD": "slant_m", "RANGE_UNIT": "m", "DEPTH_FIELD": "depth_m", "DEPTH_UNIT": "m",
            "SHADOW_START_FIELD": "shadow_start_m", "SHADOW_FIELD": "shadow_end_m", "LABEL_FIELD": "label",
            "WATER": layers["water"], "OUTPUT": at["targets"]}, feedback=QgsProcessingFeedback(False))
        for name, paths in made.items():
            paths.append(at[name])
    merged = {name: processing.run("native:mergevectorlayers", {"LAYERS": paths, "OUTPUT": "TEMPORARY_OUTPUT"},
                                   feedback=QgsProcessingFeedback(False))["OUTPUT"] for name, paths in made.items()}
    figures = processing.run("athwart:coveragegaps", {
        "SWATHS": merged["swaths"], "AREA": layers["area"], "PASSES": merged["passes"],
        "OUTPUT": "TEMPORARY_OUTPUT", "AREAS": "TEMPORARY_OUTPUT"}, feedback=QgsProcessingFeedback(False))
    shore = processing.run("athwart:unscannedshoreline", {
        "SWATHS": merged["swaths"], "SHORELINE": layers["water"], "OUTPUT": "TEMPORARY_OUTPUT"},
        feedback=QgsProcessingFeedback(False))
    combined = processing.run("athwart:adjusttargets", {"TARGETS": merged["targets"], "OUTPUT": "TEMPORARY_OUTPUT"},
                              feedback=QgsProcessingFeedback(False))
    return figures, shore, combined["OUTPUT"]


def figures_of(layer, *names):
    """Rows of a layer to nine digits, in order."""
    layer = layer if isinstance(layer, QgsVectorLayer) else QgsVectorLayer(str(layer), "x", "ogr")
    return sorted(tuple(f"{v:.9g}" if isinstance(v, float) else str(v) for v in (feature[name] for name in names))
                  for feature in layer.getFeatures())


def test_the_tools_come_to_the_same_figures(district, opened):
    found, shore, combined = by_tools(district)
    ((share, low, high, worst, best, unscanned, gap),) = districts.rows(
        district / "made" / "district.gpkg", "lakes", "covered_pct", "low_pct", "high_pct", "worst_pct", "best_pct",
        "unscanned_m", "gap_m2")
    for ours, name in ((share, "COVERED_PERCENT"), (low, "LOW_PERCENT"), (high, "HIGH_PERCENT"),
                       (worst, "WORST_PERCENT"), (best, "BEST_PERCENT"), (gap, "GAP_M2")):
        assert ours == pytest.approx(found[name], rel=1e-9), name
    assert unscanned == pytest.approx(shore["UNSCANNED_M"], rel=1e-9)
    for name, layer, fields in (("GAPS", found["OUTPUT"], ("kind", "area_m2", "width_m", "open_pct")),
                                ("SHORE", shore["OUTPUT"], ("status", "length_m")),
                                ("TARGETS", combined, ("label", "looks", "semi_major_m", "semi_minor_m"))):
        ours = figures_of(opened[name], *fields)
        assert ours and [[x[:8] for x in row] for row in ours] == [
            [x[:8] for x in row] for row in figures_of(layer, *fields)], name
    assert np.isclose(opened["COVERED_PERCENT"], share) and opened["STATE"] == "surveyed"


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
