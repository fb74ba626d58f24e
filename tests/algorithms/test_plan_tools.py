"""Range table, fill-in lines, calibration runs and the sheet: script, model's child, command line."""
import json
import re

import numpy as np
import pytest
from athwart.survey.model import schemas
from athwart.survey.planning.range_rule import choose_range
from qgis.core import QgsProcessingException
from shapely.geometry import Point, box

UTM = "EPSG:32632"
E, N = 500_000, 4_983_000


def ring(x0, y0, x1, y1):
    return f"{E + x0} {N + y0},{E + x1} {N + y0},{E + x1} {N + y1},{E + x0} {N + y1},{E + x0} {N + y0}"


@pytest.fixture
def lake(make_layer):
    return make_layer("Polygon", UTM, {}, [(f"POLYGON(({ring(-250, -150, 250, 150)}))", [])], "lake")


@pytest.fixture
def gaps(make_layer):
    return make_layer("Polygon", UTM, {"gap_id": "integer", "open_pct": "double"},
                      [(f"POLYGON(({ring(-150, 40, 150, 60)}))", [7, 99.0]),
                       (f"POLYGON(({ring(-150, -60, -90, -40)}))", [9, 55.0])], "gaps")


@pytest.fixture
def objects(make_layer):
    return make_layer("Point", UTM, {}, [(f"POINT({E} {N})", []), (f"POINT({E + 10} {N + 40})", [])], "objects")


TABLE = {"DEPTHS": "2 4 8", "RANGES": "10, 20, 40", "RANGE_UNIT": "m", "SPEED": 1.5, "OBJECT_SIZE": 0.5}
FILL = {"RANGE": 40, "DEPTH": 5, "SETBACK": 5}
CALIBRATE = {"RANGE": 30, "DEPTH": 5}


def test_range_table(run, run_as_child, tmp_path):
    result = run("rangetable", {**TABLE, "OUTPUT": "memory:", "OUTPUT_HTML": str(tmp_path / "range.html")})
    rows = list(result["OUTPUT"].getFeatures())
    assert result["OUTPUT"].fields().names() == schemas.names(schemas.RANGE_TABLE) and len(rows) == 9
    assert [f["range_m"] for f in rows if f["chosen"]] == [choose_range(d, 0.5, 1.5, [10, 20, 40]).range_m
                                                           for d in (2, 4, 8)]
    page = (tmp_path / "range.html").read_text(encoding="utf-8")
    assert "Card for the boat" in page and "<svg" in page and "not for navigation" in page
    feet = run("rangetable", {**TABLE, "DEPTHS": "13.12", "RANGES": "65.6", "RANGE_UNIT": "ft", "OUTPUT": "memory:",
                              "OUTPUT_HTML": str(tmp_path / "feet.html")})
    assert "(ft)" in (tmp_path / "feet.html").read_text(encoding="utf-8") and "(ft)" not in page
    row, = feet["OUTPUT"].getFeatures()
    assert row["range_m"] == pytest.approx(20, abs=0.01) and row["depth_m"] == pytest.approx(4, abs=0.01)
    _, layer = run_as_child("rangetable", TABLE)
    assert layer.featureCount() == 9


@pytest.mark.parametrize("change, words", [
    ({"RANGE_UNIT": None}, "unit"), ({"DEPTHS": ""}, "DEPTHS"), ({"RANGES": "ten"}, "no list of numbers"),
    ({"DEPTHS": "0 4"}, "DEPTHS"), ({"SPEED": -1}, "SPEED"), ({"OVERLAP": 100}, "OVERLAP")])
def test_range_table_refuses(run, change, words):
    with pytest.raises(QgsProcessingException, match=words):
        run("rangetable", {**TABLE, **change, "OUTPUT": "memory:"})


def test_fill_in_lines(run, run_as_child, lake, gaps, tmp_path):
    result = run("planfillinlines", {**FILL, "GAPS": gaps, "AREA": lake, "OUTPUT": "memory:", "LEFT": "memory:",
                                     "OUTPUT_GPX": str(tmp_path / "fill.gpx")})
    assert result["OUTPUT"].fields().names() == schemas.names(schemas.FILL_LINES)
    lines = [f for f in result["OUTPUT"].getFeatures() if f["kind"] == "line"]
    assert len(lines) == result["LINE_COUNT"] == 2
    assert sorted(f["closes"] for f in lines) == ["7", "9"]  # numbers of the audit, not ours
    assert max(f["closed_pct"] for f in lines) > 99 and result["CLOSED_PERCENT"] > 99
    water = next(lake.getFeatures()).geometry().buffer(-4.9, 8)
    assert all(water.contains(f.geometry()) for f in result["OUTPUT"].getFeatures())
    gpx = (tmp_path / "fill.gpx").read_text(encoding="utf-8")
    assert gpx.count("<rte>") == 2 and "range 40 m" in gpx
    short = run("planfillinlines", {**FILL, "GAPS": gaps, "AREA": lake, "BUDGET": 0.6 * result["HOURS"],
                                    "OUTPUT": "memory:", "LEFT": "memory:"})
    assert short["LINE_COUNT"] == 1 and short["HOURS"] <= 0.6 * result["HOURS"]
    assert "beyond the budget" in {f["reason"] for f in short["LEFT"].getFeatures()}
    _, layer = run_as_child("planfillinlines", {**FILL, "GAPS": gaps, "AREA": lake})
    assert layer.featureCount() == result["OUTPUT"].featureCount()


@pytest.mark.parametrize("change, words", [
    ({"RANGE": -1}, "RANGE"), ({"DEPTH": None}, "DEPTH"), ({"SPEED": 0}, "SPEED"), ({"BUDGET": 0}, "BUDGET"),
    ({"SETBACK": 200}, "SETBACK")])
def test_fill_in_refuses(run, lake, gaps, change, words):
    with pytest.raises(QgsProcessingException, match=words):
        run("planfillinlines", {**FILL, "GAPS": gaps, "AREA": lake, **change, "OUTPUT": "memory:"})


def test_no_line_is_a_result_that_says_why(run, lake, gaps, tmp_path):
    """A model goes on where an audit left nothing open; what cannot be closed is left with its reason."""
    import processing

    none = processing.run("native:extractbyexpression", {"INPUT": gaps, "EXPRESSION": "false", "OUTPUT": "memory:"})
    outputs = {"OUTPUT": "memory:", "LEFT": "memory:", "OUTPUT_GPX": str(tmp_path / "none.gpx")}
    whole = run("planfillinlines", {**FILL, "GAPS": none["OUTPUT"], "AREA": lake, **outputs})
    assert whole["LINE_COUNT"] == 0 and whole["CLOSED_PERCENT"] == 100 and whole["OUTPUT"].featureCount() == 0
    short = run("planfillinlines", {**FILL, "RANGE": 4, "GAPS": gaps, "AREA": lake, **outputs})
    assert [f["reason"] for f in short["LEFT"].getFeatures()] == ["too deep"]
    assert short["CLOSED_PERCENT"] == short["CLOSABLE_PERCENT"] == 0 and short["LINE_COUNT"] == 0
    assert sum(f["area_m2"] for f in short["LEFT"].getFeatures()) == pytest.approx(7200, rel=0.001)
    assert "<rte>" not in (tmp_path / "none.gpx").read_text(encoding="utf-8")


def test_calibration_runs(run, run_as_child, objects, lake, tmp_path):
    result = run("plancalibration", {**CALIBRATE, "OBJECTS": objects, "WATER": lake, "OUTPUT": "memory:",
                                     "PREDICTED": "memory:", "OUTPUT_GPX": str(tmp_path / "runs.gpx")})
    lines = [f for f in result["OUTPUT"].getFeatures() if f["kind"] == "line"]
    assert len(lines) == result["RUN_COUNT"] and result["TOLD_COUNT"] == 2
    assert {f["speed_mps"] for f in lines} == {1.2, 2.4}
    ways = {round(f["azimuth_deg"]) for f in lines}
    assert any((way + 180) % 360 in ways for way in ways)
    told = {f["name"]: f for f in result["PREDICTED"].getFeatures()}
    assert set(told) == {"latency_s", "mount_deg"} and all(f["met"] and f["told"] for f in told.values())
    assert told["latency_s"]["sigma"] <= 0.3 and "beam azimuth" in told["latency_s"]["correlations"]
    gpx = (tmp_path / "runs.gpx").read_text(encoding="utf-8")
    assert "1.2 m/s" in gpx and "2.4 m/s" in gpx
    _, layer = run_as_child("plancalibration", {**CALIBRATE, "OBJECTS": objects})
    assert layer.fields().names() == schemas.names(schemas.CALIBRATION_LINES)


def test_one_line_there_and_back_is_told_to_be_too_little(run, objects):
    with pytest.raises(QgsProcessingException, match="Beam azimuth"):
        run("plancalibration", {**CALIBRATE, "OBJECTS": objects, "SOLVE": ["beam azimuth"], "MAX_RUNS": 2,
                                "ERRORS": "careful", "OUTPUT": "memory:"})


@pytest.mark.parametrize("change, words", [
    ({"RANGE": None}, "RANGE"), ({"DEPTH": 0}, "DEPTH"), ({"SPEEDS": "fast"}, "SPEEDS"), ({"SOLVE": []}, "SOLVE"),
    ({"RANGE": 6}, "RANGE"), ({"TARGET_LATENCY": 0}, "TARGET_LATENCY")])
def test_calibration_refuses(run, objects, change, words):
    with pytest.raises(QgsProcessingException, match=words):
        run("plancalibration", {**CALIBRATE, "OBJECTS": objects, **change, "OUTPUT": "memory:"})


def test_sigmas_to_come_are_those_of_the_adjustment(run, make_layer):
    """The planned runs, marked and located by the tools themselves: the OFFSETS table reports what was predicted."""
    one = make_layer("Point", UTM, {}, [(f"POINT({E} {N})", [])], "object")
    plan = run("plancalibration", {**CALIBRATE, "OBJECTS": one, "OUTPUT": "memory:", "PREDICTED": "memory:"})
    fixes, picks, at = [], [], 1_700_000_000.0
    for number, line in enumerate(f for f in plan["OUTPUT"].getFeatures() if f["kind"] == "line"):
        points = line.geometry().asPolyline()
        a, b = (np.array([p.x() - E, p.y() - N]) for p in (points[0], points[-1]))
        unit = (b - a) / np.hypot(*(b - a))
        along, right = -a @ unit, np.array([unit[1], -unit[0]])
        for d in np.arange(0, np.hypot(*(b - a)), line["speed_mps"]):
            fixes.append((f"POINT({E + (a + d * unit)[0]} {N + (a + d * unit)[1]})",
                          [float(at + d / line["speed_mps"]), line["azimuth_deg"], number + 1]))
        side = "starboard" if -a @ right > 0 else "port"
        assert side in line["sides"]
        ground = abs(a @ right)
        slant = np.hypot(ground, 5 - 0.5 * np.sqrt(2 / np.pi))
        picks.append((None, [float(at + along / line["speed_mps"]), side, float(slant), "pile"]))
        at += 1000
    track = run("preparetrack", {
        "INPUT": make_layer("Point", UTM, {"t_s": "double", "heading": "double", "pass": "integer"}, fixes),
        "OUTING": "day", "RANGE": 30, "RANGE_UNIT": "m", "DEPTH": 5, "DEPTH_UNIT": "m", "TIME_FIELD": "t_s",
        "HEADING_FIELD": "heading", "HEADING_KIND": "true", "PASS_FIELD": ["pass"], "SIGMA_HEADING": 3,
        "OUTPUT": "memory:"})["OUTPUT"]
    targets = run("locatetargets", {
        "PICKS": make_layer("None", "", {"t": "double", "side": "string", "slant": "double", "name": "string"}, picks),
        "TRACK": track, "TIME_FIELD": "t", "SIDE_FIELD": "side", "RANGE_FIELD": "slant", "RANGE_UNIT": "m",
        "LABEL_FIELD": "name", "OUTPUT": "memory:"})["OUTPUT"]
    offsets = run("adjusttargets", {"TARGETS": targets, "GROUP_FIELD": "label", "SOLVE": ["latency", "beam azimuth"],
                                    "OUTPUT": "memory:", "OFFSETS": "memory:"})["OFFSETS"]
    delivered = {f["name"]: f["sigma"] for f in offsets.getFeatures()}
    for row in plan["PREDICTED"].getFeatures():
        assert 0.95 < row["sigma"] / delivered[row["name"]] < 1.05, row["name"]


def test_sheet(run, lake, gaps, tmp_path):
    plan = run("planfillinlines", {**FILL, "GAPS": gaps, "AREA": lake, "OUTPUT": "memory:"})["OUTPUT"]
    path = tmp_path / "sheet.html"
    result = run("plansheet", {"LINES": plan, "WATER": lake, "GAPS": gaps, "DISPLAY_UNIT": "ft", "SPEED_UNIT": "mph",
                               "MAGNETIC_VARIATION": 4, "SHEET_TITLE": "<Tuesday>", "OUTPUT_HTML": str(path)})
    page = path.read_text(encoding="utf-8")
    assert result["LINE_COUNT"] == 2 and "&lt;Tuesday&gt;" in page and "not for navigation" in page
    assert page.count("\u2610") == 2 and "Course (magnetic)" in page and "131" in page  # 40 m in feet
    courses = [round(f["azimuth_deg"]) % 360 for f in plan.getFeatures() if f["kind"] == "line"]
    assert all(f"{course:03d}\u00b0" in page for course in courses)
    assert re.search(r"<svg[^>]+aria-label=\"Map of 2 lines", page)
    with pytest.raises(QgsProcessingException, match="planning tool"):
        run("plansheet", {"LINES": lake_outline(run, lake), "OUTPUT_HTML": str(path)})


def lake_outline(run, lake):
    import processing

    return processing.run("native:polygonstolines", {"INPUT": lake, "OUTPUT": "memory:"})["OUTPUT"]


def test_from_the_command_line(qgis_process, tmp_path):
    code, results, words = qgis_process("rangetable", {"DEPTHS": "4", "RANGES": "10 20", "RANGE_UNIT": "m",
                                                       "OUTPUT": str(tmp_path / "table.csv")})
    assert code == 0 and results["OUTPUT"].endswith("table.csv"), words
    assert (tmp_path / "table.csv").read_text(encoding="utf-8").count("\n") == 3
    lake, gaps, objects = (tmp_path / f"{name}.geojson" for name in ("lake", "gaps", "objects"))
    for path, shape in ((lake, box(9.0, 45.0, 9.006, 45.003)), (gaps, box(9.002, 45.0015, 9.004, 45.0018)),
                        (objects, Point(9.003, 45.0015))):
        path.write_text(json.dumps({"type": "FeatureCollection", "features": [
            {"type": "Feature", "properties": {}, "geometry": shape.__geo_interface__}]}), encoding="utf-8")
    plan = tmp_path / "plan.gpkg"
    code, results, words = qgis_process("planfillinlines", {"GAPS": str(gaps), "AREA": str(lake), "RANGE": 40,
                                                            "DEPTH": 5, "OUTPUT": str(plan)})
    assert code == 0 and results["LINE_COUNT"] >= 1 and results["CLOSED_PERCENT"] > 99, words
    code, results, words = qgis_process("plansheet", {"LINES": str(plan), "OUTPUT_HTML": str(tmp_path / "sheet.html")})
    assert code == 0 and "</html>" in (tmp_path / "sheet.html").read_text(encoding="utf-8"), words
    code, results, words = qgis_process("plancalibration", {"OBJECTS": str(objects), "RANGE": 30, "DEPTH": 5,
                                                            "OUTPUT": str(tmp_path / "runs.gpkg")})
    assert code == 0 and results["RUN_COUNT"] > 2, words
