"""Plan survey lines and plan shore run, through the three doors: a script, a model's child, the command line."""
import xml.etree.ElementTree as ET

import pytest
from athwart.survey.model.schemas import PLAN_LINES, PLAN_SHORE, SIMULATED, UNCOVERED, names
from planlakes import Lake
from qgis.core import QgsProcessingException

UTM = "EPSG:32632"
COMMON = {"RANGE": 30, "DEPTH": 8, "SETBACK": 5}


@pytest.fixture(scope="module")
def wkt():
    return Lake(2, 170.0).polygon.wkt


@pytest.fixture
def lake(make_layer, wkt):
    return make_layer("Polygon", UTM, {}, [(wkt, [])], "lake")


def test_lines_leave_as_layers_routes_and_a_run(run, lake, wkt, tmp_path):
    from shapely import wkt as shapely_wkt

    gpx = tmp_path / "plan.gpx"
    made = run("plansurveylines", {"AREA": lake, **COMMON, "FUEL_PER_HOUR": 4, "RUNS": 50, "OUTPUT": "memory:",
                                   "UNCOVERED": "memory:", "SIMULATE": "memory:", "OUTPUT_GPX": str(gpx)})
    legs = list(made["OUTPUT"].getFeatures())
    assert made["OUTPUT"].fields().names() == names(PLAN_LINES)
    assert made["UNCOVERED"].fields().names() == names(UNCOVERED)
    assert made["SIMULATE"].fields().names() == names(SIMULATED)
    assert sum(f["length_m"] for f in legs) == pytest.approx(made["LENGTH_M"], rel=2e-3)
    assert sum(f["hours"] for f in legs) == pytest.approx(made["HOURS"]) == made["LENGTH_M"] / 2.0 / 3600
    assert made["LITRES"] == pytest.approx(4 * made["HOURS"])
    lines = [f for f in legs if f["kind"] in ("line", "shore")]
    assert len(lines) == made["LINE_COUNT"] and {f["range_m"] for f in lines} == {30.0}
    assert lines[0]["reach_m"] == pytest.approx((30 ** 2 - 8 ** 2) ** 0.5)  # Green 2004, p. 80
    water = shapely_wkt.loads(wkt)
    for leg in legs:
        assert water.buffer(-4.9).contains(shapely_wkt.loads(leg.geometry().asWkt(6)))
    assert made["PREDICTED_LOW_PERCENT"] < made["PREDICTED_PERCENT"] < made["PREDICTED_HIGH_PERCENT"] <= 100
    missed = sum(f["area_m2"] for f in made["UNCOVERED"].getFeatures())
    assert missed == pytest.approx(water.area * (1 - made["NOMINAL_PERCENT"] / 100), rel=0.02)
    tag = "{http://www.topografix.com/GPX/1/1}"
    routes = ET.parse(gpx).getroot().findall(f"{tag}rte")
    assert [r.find(f"{tag}name").text for r in routes] == [f"L{i + 1}" for i in range(len(lines))]
    assert "range 30 m" in routes[0].find(f"{tag}desc").text and "2 m/s" in routes[0].find(f"{tag}desc").text
    ends = [[(p.get("lat"), p.get("lon")) for p in r.findall(f"{tag}rtept")] for r in routes]
    assert all(a[-1] == b[0] for a, b in zip(ends, ends[1:]))  # one leads on from the other


def test_the_simulated_run_is_audited_as_a_real_one(run, lake):
    """The share of the audit of one simulated run lies where the plan said; its log strays by the helm's wander."""
    plan = run("plansurveylines", {"AREA": lake, **COMMON, "RUNS": 50, "OUTPUT": "memory:", "SIMULATE": "memory:"})
    track = run("preparetrack", {"INPUT": plan["SIMULATE"], "OUTING": "plan", "RANGE_FIELD": "range_m",
                                 "RANGE_UNIT": "m", "DEPTH_FIELD": "depth_m", "DEPTH_UNIT": "m",
                                 "DEPTH_REFERENCE": "transducer", "OUTPUT": "memory:", "PASSES": "memory:"})
    swaths = run("swathfootprint", {"INPUT": track["OUTPUT"], "WATER": lake, "OUTPUT": "memory:"})
    audit = run("coveragegaps", {"SWATHS": swaths["OUTPUT"], "AREA": lake, "PASSES": track["PASSES"],
                                 "OUTPUT": "memory:", "AREAS": "memory:"})
    # turns are recorded, too, so the audit may see a little more than the lines
    assert plan["PREDICTED_LOW_PERCENT"] - 1 < audit["COVERED_PERCENT"] < plan["PREDICTED_HIGH_PERCENT"] + 6


def test_shore_run_as_replayed(run, lake):
    plan = run("planshorerun", {"SHORELINE": lake, **COMMON, "OUTPUT": "memory:", "SIMULATE": "memory:",
                                "LINE_KEEPING": 0})
    assert plan["OUTPUT"].fields().names() == names(PLAN_SHORE)
    shore = [f for f in plan["OUTPUT"].getFeatures() if f["kind"] == "shore"]
    assert shore and all(40 <= f["shore_pct"] <= 90 and f["in_band_pct"] > 90 for f in shore)
    track = run("preparetrack", {"INPUT": plan["SIMULATE"], "OUTING": "plan", "RANGE_FIELD": "range_m",
                                 "RANGE_UNIT": "m", "DEPTH_FIELD": "depth_m", "DEPTH_UNIT": "m",
                                 "DEPTH_REFERENCE": "transducer", "OUTPUT": "memory:"})
    swaths = run("swathfootprint", {"INPUT": track["OUTPUT"], "WATER": lake, "OUTPUT": "memory:"})
    told = run("unscannedshoreline", {"SWATHS": swaths["OUTPUT"], "SHORELINE": lake, "OUTPUT": "memory:"})
    assert plan["PREDICTED_PERCENT"] == pytest.approx(100 - told["UNSCANNED_PERCENT"], abs=1.0)


@pytest.mark.parametrize(("tool", "given", "told"), [
    ("plansurveylines", {"DEPTH": None}, "exactly one"), ("plansurveylines", {"RANGE": None}, "Choose the range"),
    ("plansurveylines", {"RANGE": 6}, "6 m is short of the water"), ("plansurveylines", {"SPEED": 0}, "speed of 0"),
    ("plansurveylines", {"DIRECTION": "contours"}, "Depth grid"),
    ("plansurveylines", {"DIRECTION": "given"}, "azimuth"), ("plansurveylines", {"SETBACK": 900}, "No water is left"),
    ("plansurveylines", {"MIN_DEPTH": 9}, "least depth"), ("plansurveylines", {"RANGE_MODEL": "terrain"}, "Depth grid"),
    ("planshorerun", {"RANGE": None}, "is blank"), ("planshorerun", {"DEPTH": None}, "exactly one"),
    ("planshorerun", {"RANGE": 6}, "No way along the shore")])
def test_refused_by_name(run, run_as_child, lake, tool, given, told):
    values = {"AREA" if tool == "plansurveylines" else "SHORELINE": lake, **COMMON, **given}
    values = {name: value for name, value in values.items() if value is not None}
    with pytest.raises(QgsProcessingException, match=told):
        run(tool, {**values, "OUTPUT": "memory:"})
    with pytest.raises(QgsProcessingException, match=told):
        run_as_child(tool, values)


def test_as_a_child_and_from_the_command_line(run_as_child, qgis_process, lake, wkt, tmp_path):
    results, layer = run_as_child("plansurveylines", {"AREA": lake, **COMMON, "RUNS": 50, "REQUIRED_LOOKS": 2})
    assert {f["look"] for f in layer.getFeatures() if f["kind"] == "line"} == {1, 2}
    (tmp_path / "lake.csv").write_text(f'WKT\n"{wkt}"\n', encoding="utf-8")
    code, found, _ = qgis_process("planshorerun", {
        "SHORELINE": f"delimitedtext://file://{tmp_path / 'lake.csv'}?crs={UTM}&wktField=WKT&type=csv", **COMMON,
        "OUTPUT": str(tmp_path / "out.gpkg")})
    assert code == 0 and found["PREDICTED_PERCENT"] > 90


def test_a_blank_range_is_that_of_the_range_table(qgis_processing):
    """Depth by depth, in whole tenths; the table's own rule is held against published ones in its tests."""
    from athwart.algorithms.planning.plan_form import _by_depth
    from athwart.survey import RangeRule, choose_range
    depths = [0.0, 1.04, 4.0, 20.0]
    found = _by_depth(RangeRule(1.0, 2.0, 20.0))(depths)
    assert found.tolist() == [choose_range(depth, 1.0, 2.0).range_m for depth in (0.1, 1.0, 4.0, 20.0)]
    assert len(set(found)) > 2
