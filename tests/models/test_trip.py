"""The model of a trip: one run by the command line, its parts held against each other and against its single tools."""
import json
import pathlib

import pytest
from qgis.core import QgsProcessingException, QgsProcessingFeedback, QgsVectorLayer
from shapely.geometry import LineString, box, mapping

LAKE = box(9.0, 45.0, 9.0021, 45.0011)
FACTS = {"DEPTH": 5, "RANGE": 30, "RANGE_UNIT": "m", "SPEED": 2, "SPEED_UNIT": "m/s"}


def drawn(path):
    """The lake as a file."""
    pathlib.Path(path).write_text(json.dumps({"type": "FeatureCollection", "features": [
        {"type": "Feature", "properties": {}, "geometry": mapping(LAKE)}]}), encoding="utf-8")


@pytest.fixture
def tripped(qgis_process, tmp_path):
    """(results, features by output) of a trip on a lake of 165 by 120 m."""
    lake = tmp_path / "lake.geojson"
    drawn(lake)
    wanted = {"plan:Plan": "gpkg", "plan:Routes": "gpx", "sheet:Sheet": "html", "swaths:Swaths": "gpkg",
              "gaps:Gaps": "gpkg", "gaps:Areas": "gpkg", "fill:Lines": "gpkg", "fill:Left": "gpkg",
              "fill:Routes": "gpx"}
    outputs = {name: str(tmp_path / f"{name.replace(':', '_')}.{ending}") for name, ending in wanted.items()}
    code, results, said = qgis_process("plantrip", {"AREA": lake, "LAKE": lake, **FACTS, **outputs})
    assert code == 0, said
    found = {}
    for name, path in outputs.items():
        assert results[name] == path
        if path.endswith("gpkg"):
            layer = QgsVectorLayer(path, name, "ogr")
            assert layer.isValid(), name
            found[name] = [(feature.attributeMap(), feature.geometry()) for feature in layer.getFeatures()]
    return results, found


def test_a_trip_from_plan_to_fill_in(tripped):
    results, found = tripped
    plan = [row for row, _ in found["plan:Plan"] if row["kind"] == "line"]
    page = pathlib.Path(results["sheet:Sheet"]).read_text("utf-8")
    assert page.count("\u2610") == len(plan) >= 2 and "<svg" in page
    assert pathlib.Path(results["plan:Routes"]).read_text("utf-8").count("<rte>") == len(plan)
    # the audit is that of the plan: a boat that strays 2 m from its lines misses the nadir, and crumbs at the ends
    (area, _), = found["gaps:Areas"]
    gaps = found["gaps:Gaps"]
    nadir = sum(row["area_m2"] for row, _ in gaps if row["kind"] == "nadir")
    assert 80 < area["covered_pct"] < 97 and nadir > 0.4 * sum(row["area_m2"] for row, _ in gaps)
    assert {row["outing"] for row, _ in found["swaths:Swaths"]} == {"plan"}
    assert {row["range_m"] for row, _ in found["swaths:Swaths"]} == {30}
    # the fill-in closes the gaps of that audit, by their numbers, and what it leaves is told
    fill = [row for row, _ in found["fill:Lines"] if row["kind"] == "line"]
    known = {row["gap_id"] for row, _ in gaps}
    closes = {int(number) for row in fill for number in row["closes"].split(", ") if number}
    assert closes and closes <= known
    closed, left = sum(row["closed_m2"] for row in fill), sum(row["area_m2"] for row, _ in found["fill:Left"])
    assert closed + left == pytest.approx(sum(row["area_m2"] for row, _ in gaps), rel=0.003)
    assert closed > 0.98 * (closed + left)
    assert sum(row["length_m"] for row in fill) < sum(row["length_m"] for row in plan)
    for _, way in (*found["plan:Plan"], *found["fill:Lines"]):
        assert LAKE.covers(LineString([(point.x(), point.y()) for point in way.asPolyline()]))


@pytest.mark.parametrize("change, words", [
    ({"DEPTH": None}, "(DEPTH)"), ({"RANGE": -3}, "RANGE"), ({"SPEED": 0}, "speed"), ({"LAKE": None}, "LAKE")])
def test_what_its_tools_refuse_the_trip_refuses(provider, tmp_path, change, words):
    import processing

    lake = str(tmp_path / "lake.geojson")
    drawn(lake)
    outputs = dict.fromkeys(("plan:Plan", "swaths:Swaths", "gaps:Gaps", "gaps:Areas", "fill:Lines", "sheet:Sheet"),
                            "TEMPORARY_OUTPUT")
    heard = QgsProcessingFeedback(False)
    with pytest.raises(QgsProcessingException) as refused:
        processing.run("athwart:plantrip", {"AREA": lake, "LAKE": lake, **FACTS, **outputs, **change}, feedback=heard)
    assert words in str(refused.value) + heard.textLog()
