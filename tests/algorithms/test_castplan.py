"""Plan casts, through the three doors; distances and bearings against geodesics."""
import math
import pathlib

import pytest
from athwart.survey.model import schemas
from pyproj import Geod, Transformer
from qgis.core import NULL, QgsProcessingException, QgsProcessingFeedback, QgsProject, QgsVectorLayer

TARGET = {"target_id": "integer", "label": "string", "status": "string", "depth_m": "double", "sigma_east_m": "double",
          "sigma_north_m": "double", "cov_en_m2": "double"}
MEMORY = {"OUTPUT": "memory:", "STATIONS": "memory:"}
ELLIPSOID = Geod(ellps="WGS84")
TO_DEGREES = Transformer.from_crs(32615, 4326, always_xy=True).transform
EAST, NORTH = 700_000.0, 5_000_000.0  # 2.6 degrees east of the zone's middle: grid north is 1.8 degrees off


@pytest.fixture
def layers(make_layer):
    """Targets 20 m north-east, 24 m west and 60 m south of a boat that heads 080."""
    rows = [((14, 14), [1, "Crib", "bottom", 7.0, 1.5, 1.0, 0.4]),
            ((-24, 0), [2, "", "side unsure", None, 3.0, 1.0, 0.0]),
            ((0, -60), [3, "Far", "water column", 5.0, 2.0, 2.0, 0.0])]
    targets = make_layer("Point", "EPSG:32615", TARGET,
                         [(f"POINT({EAST + e} {NORTH + n})", values) for (e, n), values in rows], "targets")
    boat = make_layer("Point", "EPSG:32615", {"heading_deg": "double"}, [(f"POINT({EAST} {NORTH})", [80.0])], "boat")
    QgsProject.instance().addMapLayers([targets, boat])
    yield targets, boat
    QgsProject.instance().clear()


def rows_of(layer):
    return [dict(zip(f.fields().names(), f.attributes())) for f in layer.getFeatures()]


def geodesic(e, n):
    """Distance and true bearing from the boat to a place, on the ellipsoid."""
    azimuth, _, distance = ELLIPSOID.inv(*TO_DEGREES(EAST, NORTH), *TO_DEGREES(EAST + e, NORTH + n))
    return distance, azimuth % 360


def test_lines_stations_and_card(run, layers, tmp_path):
    card = str(tmp_path / "card.html")
    heard = []
    feedback = QgsProcessingFeedback(False)
    feedback.pushWarning = feedback.pushInfo = heard.append
    results = run("castplan", {"TARGETS": layers[0], "BOAT": layers[1], "MAGNETIC_VARIATION": -3.0,
                               "WATER_COLUMN": True, **MEMORY, "OUTPUT_HTML": card}, feedback)
    lines, stations = results["OUTPUT"], results["STATIONS"]
    assert lines.fields().names() == schemas.names(schemas.CAST_LINES)
    assert stations.fields().names() == schemas.names(schemas.CAST_STATIONS)
    rows = rows_of(lines)
    first = {row["target_id"]: row for row in rows if row["cast_no"] == 1}
    for number, (e, n) in ((1, (14, 14)), (2, (-24, 0)), (3, (0, -60))):
        distance, bearing = geodesic(e, n)
        assert first[number]["distance_m"] == pytest.approx(distance, abs=0.001)
        assert first[number]["bearing_deg"] == pytest.approx(bearing, abs=0.01)
        assert first[number]["magnetic_deg"] == pytest.approx((bearing + 3) % 360, abs=0.01)
    assert abs(geodesic(14, 14)[1] - 45) > 1.5  # the test would not tell grid from true otherwise
    assert [first[k]["reach"] for k in (1, 2, 3)] == ["in reach", "in reach", "out of reach"]
    assert first[1]["clock"] == "11:00" and first[3]["hit_pct"] == NULL and first[3]["casts_needed"] == NULL
    assert [first[k]["status"] for k in (1, 2, 3)] == ["bottom", "side unsure", "water column"]
    one = [row for row in rows if row["target_id"] == 1]
    assert len(one) == one[0]["casts_needed"] and one[-1]["so_far_pct"] >= 90 > one[-2]["so_far_pct"]
    assert results["TARGET_COUNT"] == 2 and results["CAST_COUNT"] == len(rows) - 1
    station = rows_of(stations)[0]
    assert (station["kind"], station["heading_deg"], station["targets"]) == ("boat", 80, 3)
    line = next(lines.getFeatures()).geometry().asPolyline()
    assert (line[0].x(), line[0].y()) == pytest.approx((EAST, NORTH), abs=1e-3)
    assert (line[-1].x(), line[-1].y()) == pytest.approx((EAST + 14, NORTH + 14), abs=1e-3)
    html = pathlib.Path(card).read_text(encoding="utf-8")
    assert "Crib" in html and "Out of reach" in html and "Side unsure" in html and "Water column" in html
    said = "\n".join(heard)
    assert "1 target(s) are out of reach of the longest cast; move the boat: 3 Far." in said
    assert card in said and "not for navigation" in said


def test_a_point_on_the_map_does_as_well(run, layers):
    results = run("castplan", {"TARGETS": layers[0], "BOAT_POINT": f"{EAST},{NORTH} [EPSG:32615]", "HEADING": 80.0,
                               **MEMORY})
    with_layer = run("castplan", {"TARGETS": layers[0], "BOAT": layers[1], **MEMORY})
    assert rows_of(results["OUTPUT"]) == rows_of(with_layer["OUTPUT"])
    assert results["OUTPUT_HTML"] is None if "OUTPUT_HTML" in results else True


def test_a_boat_in_degrees_is_brought_along(run, layers, make_layer):
    lon, lat = TO_DEGREES(EAST, NORTH)
    boat = make_layer("Point", "EPSG:4326", {"heading_deg": "double"}, [(f"POINT({lon} {lat})", [80.0])], "boat")
    rows = rows_of(run("castplan", {"TARGETS": layers[0], "BOAT": boat, **MEMORY})["OUTPUT"])
    assert rows[0]["distance_m"] == pytest.approx(geodesic(14, 14)[0], abs=0.001)


def test_stations_lie_to_windward(run, layers):
    results = run("castplan", {"TARGETS": layers[0], "STAND_OFF": 18.0, "WIND_FROM": 300.0, "WATER_COLUMN": True,
                               **MEMORY})
    stations = list(results["STATIONS"].getFeatures())
    assert len(stations) == 3 and all(f["kind"] == "stand-off" and f["heading_deg"] == 300 for f in stations)
    for place, (e, n) in zip(stations, ((14, 14), (-24, 0), (0, -60))):
        point = place.geometry().asPoint()
        azimuth, _, distance = ELLIPSOID.inv(*TO_DEGREES(EAST + e, NORTH + n), *TO_DEGREES(point.x(), point.y()))
        assert distance == pytest.approx(18, abs=0.001) and azimuth % 360 == pytest.approx(300, abs=0.01)
    first = [row for row in rows_of(results["OUTPUT"]) if row["cast_no"] == 1]
    assert [row["clock"] for row in first] == ["6:00"] * 3 and [row["reach"] for row in first] == ["in reach"] * 3


def test_targets_in_degrees(run, make_layer):
    lon, lat = TO_DEGREES(EAST + 14, NORTH + 14)
    targets = make_layer("Point", "EPSG:4326", TARGET,
                         [(f"POINT({lon} {lat})", [1, "a", "bottom", 5.0, 1.0, 1.0, 0.0])], "targets")
    rows = rows_of(run("castplan", {"TARGETS": targets, "BOAT_POINT": f"{EAST},{NORTH} [EPSG:32615]", "HEADING": 0.0,
                                    **MEMORY})["OUTPUT"])
    assert rows[0]["distance_m"] == pytest.approx(geodesic(14, 14)[0], abs=0.001)
    assert rows[0]["bearing_deg"] == pytest.approx(geodesic(14, 14)[1], abs=0.01)


WHERE = {"BOAT_POINT": f"{EAST},{NORTH} [EPSG:32615]", "HEADING": 0.0}
REFUSED = [({}, "Nothing says where"), ({"BOAT_POINT": WHERE["BOAT_POINT"]}, "HEADING"),
           ({**WHERE, "STAND_OFF": 10.0}, "together"), ({"STAND_OFF": 10.0}, "WIND_FROM"),
           ({"STAND_OFF": 0.0, "WIND_FROM": 10.0}, "STAND_OFF"), ({**WHERE, "HIT_RADIUS": 0.0}, "HIT_RADIUS"),
           ({**WHERE, "SIGMA_BOAT": -1.0}, "SIGMA_BOAT"), ({**WHERE, "DISPLAY_UNIT": "furlong"}, "DISPLAY_UNIT"),
           ({**WHERE, "MAX_CAST": float("nan")}, "MAX_CAST"), ({**WHERE, "CAST_SIGMA_ANGLE": 60}, "CAST_SIGMA_ANGLE")]


@pytest.mark.parametrize("values, words", REFUSED)
def test_refusals_stand_at_every_door(run, run_as_child, layers, values, words):
    with pytest.raises(QgsProcessingException, match=words):
        run("castplan", {"TARGETS": layers[0], **MEMORY, **values})
    with pytest.raises(QgsProcessingException, match=words):
        run_as_child("castplan", {"TARGETS": layers[0].id(), **values})


def test_what_lacks_its_fields_or_headings_is_refused(run, layers, make_layer):
    bare = make_layer("Point", "EPSG:32615", {"name": "string"}, [(f"POINT({EAST} {NORTH})", ["x"])], "bare")
    with pytest.raises(QgsProcessingException, match="sigma_east_m.*Locate targets"):
        run("castplan", {"TARGETS": bare, **WHERE, **MEMORY})
    with pytest.raises(QgsProcessingException, match="heading_deg"):
        run("castplan", {"TARGETS": layers[0], "BOAT": bare, **MEMORY})
    blank = make_layer("Point", "EPSG:32615", {"heading_deg": "double"}, [(f"POINT({EAST} {NORTH})", [None])], "blank")
    with pytest.raises(QgsProcessingException, match="no heading_deg"):
        run("castplan", {"TARGETS": layers[0], "BOAT": blank, **MEMORY})
    lines = rows_of(run("castplan", {"TARGETS": layers[0], "BOAT": blank, "HEADING": 80.0, **MEMORY})["OUTPUT"])
    assert lines[0]["clock"] == "11:00"


def test_as_a_models_child(run_as_child, layers):
    _, made = run_as_child("castplan", {"TARGETS": layers[0].id(), "BOAT": layers[1].id()})
    assert made.featureCount() > 3


def test_from_the_command_line(qgis_process, run, layers, tmp_path):
    import processing
    path = str(tmp_path / "targets.gpkg")
    processing.run("native:savefeatures", {"INPUT": layers[0], "OUTPUT": path})
    code, results, errors = qgis_process("castplan", {
        "TARGETS": path, "STAND_OFF": 15, "WIND_FROM": 270, "OUTPUT": str(tmp_path / "casts.gpkg"),
        "OUTPUT_HTML": str(tmp_path / "card.html"), "DISPLAY_UNIT": "yd"})
    assert code == 0, errors
    assert QgsVectorLayer(results["OUTPUT"], "o", "ogr").featureCount() == results["CAST_COUNT"]
    assert f"{15 / 0.9144:.0f}\u00a0yd" in pathlib.Path(results["OUTPUT_HTML"]).read_text(encoding="utf-8")
    assert math.isfinite(results["TARGET_COUNT"])


def test_what_hangs_in_the_water_is_left_out_unless_asked(run, layers):
    heard = []
    feedback = QgsProcessingFeedback(False)
    feedback.pushWarning = heard.append
    rows = rows_of(run("castplan", {"TARGETS": layers[0], "BOAT": layers[1], **MEMORY}, feedback)["OUTPUT"])
    assert {row["target_id"] for row in rows} == {1, 2}
    assert any("1 of 3 targets hang in the water column and were left out: 3 Far" in text for text in heard)
    layers[0].selectByIds([3])
    from qgis.core import QgsProcessingFeatureSourceDefinition
    only = QgsProcessingFeatureSourceDefinition(layers[0].id(), True)
    with pytest.raises(QgsProcessingException, match="All 1 targets hang in the water column.*WATER_COLUMN"):
        run("castplan", {"TARGETS": only, "BOAT": layers[1], **MEMORY})
    assert run("castplan", {"TARGETS": only, "BOAT": layers[1], "WATER_COLUMN": True, "MAX_CAST": 80,
                            **MEMORY})["TARGET_COUNT"] == 1


def test_water_turns_stations_and_says_so(run, layers, make_layer):
    """Wind from the east; the shore runs north and south 5 m east of target 1."""
    e = EAST + 19
    water = make_layer("Polygon", "EPSG:32615", {}, [(f"POLYGON(({EAST - 99} {NORTH - 99}, {e} {NORTH - 99}, {e} "
                                                       f"{NORTH + 99}, {EAST - 99} {NORTH + 99}, {EAST - 99} "
                                                       f"{NORTH - 99}))", [])], "lake")
    heard = []
    feedback = QgsProcessingFeedback(False)
    feedback.pushWarning = heard.append
    results = run("castplan", {"TARGETS": layers[0], "STAND_OFF": 15, "WIND_FROM": 90, "WATER": water,
                               "METHOD": "retrieve", **MEMORY}, feedback)
    shore = next(water.getFeatures()).geometry()
    assert all(shore.contains(f.geometry()) for f in results["STATIONS"].getFeatures())
    assert all(shore.buffer(1e-6, 8).contains(f.geometry()) for f in results["OUTPUT"].getFeatures())
    assert any("1 station(s) cannot lie to windward in 'Water' (WATER)" in text and "1 Crib" in text for text in heard)
    ashore = make_layer("Point", "EPSG:32615", {"heading_deg": "double"}, [(f"POINT({EAST + 50} {NORTH})", [80.0])],
                        "b")
    with pytest.raises(QgsProcessingException, match="point 1 lies outside .*WATER"):
        run("castplan", {"TARGETS": layers[0], "BOAT": ashore, "WATER": water, **MEMORY})
