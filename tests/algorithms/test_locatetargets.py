"""Locate targets, through the three doors: a script, a model's child, the command line."""
import csv
import math

import numpy as np
import pytest
import tracks
from athwart.survey.geometry.frame import Frame
from athwart.survey.model import schemas
from pyproj import Geod
from qgis.core import (
    NULL,
    QgsCoordinateReferenceSystem,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProject,
    QgsVectorLayer,
    QgsWkbTypes,
)
from qgis.PyQt.QtCore import QDate, QDateTime, QTime

STANDS = 0.5 * math.sqrt(2 / math.pi)
"""What an object of unknown height stands on average: the mean of a half-normal of 0.5 m."""
T0 = 1.7e9  # 2023-11-14 22:13:20 UTC
TYPES = {"double": "double", "int": "integer", "int64": "int8", "string": "string", "bool": "integer"}


class Heard(QgsProcessingFeedback):
    """Keeps what a tool says."""

    def __init__(self):
        super().__init__(False)
        self.said = []

    def pushInfo(self, info):
        self.said.append(info)

    def pushWarning(self, warning):
        self.said.append(warning)

    def reportError(self, error, fatalError=False):
        self.said.append(error)


@pytest.fixture
def track_layer(make_layer):
    """track_layer(crs, **columns): two passes, north and back south 60 m to the east, R 60 m over 10 m of water."""
    def call(crs="EPSG:32615", **given):
        frame = Frame(crs, -93.0, 45.0)
        north = 1.5 * np.arange(81)
        x, y = frame.inverse(np.repeat([0.0, 60.0], 81), np.concatenate([north, north[::-1]]))
        heading = np.repeat([0.0, 180.0], 81)
        columns = {"t_s": T0 + np.concatenate([np.arange(81), 200 + np.arange(81)]), "pass_id": np.repeat([1, 2], 81),
                   "sample_id": np.arange(162) + np.repeat([0, 5], 81), "depth_m": 10.0, "range_m": 60.0, **given}
        track = tracks.made(crs, x, y, heading, **columns)
        wanted = [f for f in schemas.TRACK if f.name != "time"]
        rows = []
        for i in range(len(track)):
            values = [getattr(track, f.name)[i] for f in wanted]
            plain = [None if isinstance(v, float) and math.isnan(v) else v.item() if hasattr(v, "item") else v
                     for v in values]
            rows.append((f"POINT({track.x[i]} {track.y[i]})", plain))
        return make_layer("Point", crs, {f.name: TYPES[f.kind] for f in wanted}, rows, "track")
    return call


@pytest.fixture
def picks_table(make_layer):
    """Three good picks of the first pass and two bad ones."""
    return make_layer("None", "", {"when": "string", "hand": "string", "dist": "double", "what": "string", "fid":
        "int"}, [ (None, ["2023-11-14T22:13:40Z", "port", 100.0, "log", 7]), (None, ["2023-11-14T22:13:50.5Z", "S",
        60.0, "", 8]), (None, ["2023-11-14T22:14:00Z", "-1", 33.5, "stump", 9]), (None, ["2023-11-14T22:14:00Z", "up",
        60.0, "?", 10]), (None, ["2023-11-14T22:15:30Z", "port", 60.0, "late", 11])], "picks")


def usual(track, picks, **given):
    return {"PICKS": picks, "TRACK": track, "TIME_FIELD": "when", "SIDE_FIELD": "hand", "RANGE_FIELD": "dist",
            "RANGE_UNIT": "ft", **given}


MEMORY = {"OUTPUT": "memory:", "ELLIPSES": "memory:", "REJECTED": "memory:"}


def rows_of(layer):
    return [dict(zip(f.fields().names(), f.attributes())) for f in layer.getFeatures()]


def test_targets_ellipses_and_rejected(run, track_layer, picks_table):
    heard = Heard()
    results = run("locatetargets", {**usual(track_layer(), picks_table, LABEL_FIELD="what", SIGMA_MOUNT=0), **MEMORY},
                  heard)
    targets, ellipses, rejected = (results[name] for name in ("OUTPUT", "ELLIPSES", "REJECTED"))
    assert (results["TARGET_COUNT"], results["REJECTED_COUNT"]) == (3, 2)
    assert targets.fields().names()[:len(schemas.TARGETS)] == schemas.names(schemas.TARGETS)
    assert targets.fields().names()[len(schemas.TARGETS):] == ["when", "hand", "dist", "what", "src_fid"]
    assert ellipses.fields().names() == schemas.names(schemas.ELLIPSES)
    assert rejected.fields().names() == [*schemas.names(schemas.REJECTED), "when", "hand", "dist", "what", "src_fid"]
    assert targets.wkbType() == QgsWkbTypes.Type.Point and ellipses.wkbType() == QgsWkbTypes.Type.Polygon
    assert targets.crs().authid() == ellipses.crs().authid() == "EPSG:32615"
    rows = rows_of(targets)
    assert [row["label"] for row in rows] == ["log", NULL, "stump"] and [row["src_fid"] for row in rows] == [7, 8, 9]
    assert [row["side"] for row in rows] == ["port", "starboard", "port"]
    assert rows[0]["slant_m"] == pytest.approx(30.48) and rows[0]["height_m"] == NULL
    assert rows[1]["t_s"] == pytest.approx(T0 + 30.5)
    assert rows[1]["time"].toUTC().toString("yyyy-MM-dd hh:mm:ss.zzz") == "2023-11-14 22:13:50.500"
    ground = math.sqrt(30.48**2 - (10 - STANDS) ** 2) * math.exp(-math.radians(3) ** 2 / 2)
    frame = Frame("EPSG:32615", -93.0, 45.0)
    place = [f.geometry().asPoint() for f in targets.getFeatures()]
    east, north = frame.forward([p.x() for p in place], [p.y() for p in place])
    np.testing.assert_allclose([east[0], north[0]], [-ground, 30.0], atol=1e-3)
    for target, outline in zip(targets.getFeatures(), ellipses.getFeatures()):
        assert outline["target_id"] == target["target_id"] and outline["confidence_pct"] == 95
        assert outline.geometry().contains(target.geometry())
        area = math.pi * target["semi_major_m"] * target["semi_minor_m"]
        assert outline.geometry().area() == pytest.approx(area, rel=0.003)  # 0.9998 is the scale of the zone
    for row in rows:
        assert not any(isinstance(value, float) and math.isnan(value) for value in row.values())
    reasons = [row["reason"] for row in rows_of(rejected)]
    assert "'up'" in reasons[0] and "break" in reasons[1]
    said = "\n".join(heard.said)
    for words in ("Tied by time", "2 of 5 picks have no place", "judgement", "not for navigation", "Largest cause"):
        assert words in said, words


def test_the_projects_crs_and_the_tracks_own_change_nothing(run, track_layer, picks_table):
    places = []
    for crs, project in (("EPSG:32615", None), ("EPSG:4326", "EPSG:3857"), ("EPSG:3857", "EPSG:2027")):
        if project:
            QgsProject.instance().setCrs(QgsCoordinateReferenceSystem(project))
        layer = run("locatetargets", {**usual(track_layer(crs), picks_table), **MEMORY})["OUTPUT"]
        assert layer.crs().authid() == crs
        points = [f.geometry().asPoint() for f in layer.getFeatures()]
        places.append(Frame(crs, -93, 45).to_lonlat([p.x() for p in points], [p.y() for p in points]))
    QgsProject.instance().clear()
    for other in places[1:]:
        np.testing.assert_allclose(other, places[0], atol=1e-9)


def test_first_route_waypoints_with_names_for_sides_and_ranges(run, track_layer, make_layer):
    """Waypoints without times, made on the boat, whose names tell side and range; the track has no better than that."""
    frame = Frame("EPSG:32615", -93.0, 45.0)
    names = ["P 45", "stbd 32ft log", "R 60 stump", "left 40'", "camp", "P 45 or 50"]
    along = np.array([15, 45, 75.5, 90, 20, 50.0])
    x, y = frame.to_lonlat(*frame.inverse(np.array([0.3, -0.2, 60.1, 0, 400, 0]), along))
    waypoints = make_layer("Point", "EPSG:4326", {"name": "string", "t_s": "double"}, [
        (f"POINT({a} {b})", [name, None]) for a, b, name in zip(x, y, names)], "waypoints")
    heard = Heard()
    results = run("locatetargets", {"PICKS": waypoints, "TRACK": track_layer(depth_m=3.0), "SIGMA_MOUNT": 0,
                                    "SIDE_FIELD": "name", "RANGE_FIELD": "name", "RANGE_UNIT": "ft", **MEMORY}, heard)
    rows = rows_of(results["OUTPUT"])
    by_name = {row["name"]: row for row in rows}
    assert set(by_name) == {"P 45", "stbd 32ft log", "R 60 stump", "left 40'"}
    assert by_name["stbd 32ft log"]["label"] == "log" and by_name["P 45"]["label"] == "P 45"
    assert by_name["R 60 stump"]["pass_id"] == 2 and by_name["R 60 stump"]["side"] == "starboard"
    feet = {"P 45": 45, "stbd 32ft log": 32, "R 60 stump": 60, "left 40'": 40}
    geod = Geod(ellps="WGS84")
    boat = dict(zip(names, zip(*frame.to_lonlat(*frame.inverse(np.array([0, 0, 60, 0, 0, 0.0]), along)))))
    for feature in results["OUTPUT"].getFeatures():
        name, ground = feature["name"], math.sqrt((feet[feature["name"]] * 0.3048) ** 2 - (3 - STANDS) ** 2)
        point = feature.geometry().asPoint()
        azimuth, _, distance = geod.inv(*boat[name], *frame.to_lonlat(point.x(), point.y()))
        if feature["status"] != "side unsure":
            assert azimuth % 360 == pytest.approx({-1: 270, 1: 90}[-1 if name[0] in "Pl" else 1] if feature["pass_id"]
                                                  == 1 else 270, abs=0.3)
        if feature["status"] == "bottom":
            assert distance == pytest.approx(ground, abs=0.05)
    reasons = {row["source_id"]: row["reason"] for row in rows_of(results["REJECTED"])}
    assert len(reasons) == 2 and any("'camp'" in text for text in reasons.values())
    assert any("several numbers" in text for text in reasons.values())
    assert any("Tied by boat point" in text for text in heard.said)


def test_first_route_from_a_sparse_log_to_places(run, root):
    """Sample outing: a fix every 8 s, no depth, one range, one depth, waypoints without times that tell side and range.

    The truth is the simulator's, which shares no code with the tools.
    """
    sample = root / "sample_project"
    logs = run("readlogs", {"INPUT": [str(sample / "outing_south.gpx"), str(sample / "south_marks.gpx")],
                            "OUTPUT": "memory:", "WAYPOINTS": "memory:"})
    track = run("preparetrack", {"INPUT": logs["OUTPUT"], "OUTING": "south", "RANGE": 100, "RANGE_UNIT": "ft",
                                 "DEPTH": 22, "DEPTH_UNIT": "ft", "OUTPUT": "memory:"})["OUTPUT"]
    results = run("locatetargets", {"PICKS": logs["WAYPOINTS"], "TRACK": track, "SIDE_FIELD": "name",
                                    "RANGE_FIELD": "name", "RANGE_UNIT": "ft", "MARK_DELAY": 1, **MEMORY})
    with open(sample / "truth" / "objects.csv", encoding="utf-8", newline="") as file:
        truth = {row["label"].lower(): (float(row["lon"]), float(row["lat"])) for row in csv.DictReader(file)}
    inside, geod = [], Geod(ellps="WGS84")
    for feature in results["OUTPUT"].getFeatures():
        point = feature.geometry().asPoint()
        lon, lat = Frame(track.crs().authid(), -71.3, 40.45).to_lonlat(point.x(), point.y())
        azimuth, _, off = geod.inv(lon, lat, *truth[feature["label"].lower()])
        e, n = off * math.sin(math.radians(azimuth)), off * math.cos(math.radians(azimuth))
        ee, nn, en = feature["sigma_east_m"] ** 2, feature["sigma_north_m"] ** 2, feature["cov_en_m2"]
        inside.append((nn * e * e - 2 * en * e * n + ee * n * n) / (ee * nn - en * en) <= 5.99146)
        assert feature["status"] == "bottom" and off < 8
    assert len(inside) == 11 and sum(inside) >= 10
    assert sum("RANGE" in row["reason"] for row in rows_of(results["REJECTED"])) == 3


def test_an_object_point_needs_no_side_and_no_range(run, track_layer, make_layer):
    x, y = Frame("EPSG:32615", -93.0, 45.0).inverse(np.array([-20.0]), np.array([40.0]))
    points = make_layer("Point", "EPSG:32615", {"name": "string"}, [(f"POINT({x[0]} {y[0]})", ["wreck"])])
    results = run("locatetargets", {"PICKS": points, "TRACK": track_layer(), "TIE": "object point", **MEMORY})
    row = rows_of(results["OUTPUT"])[0]
    assert row["side"] == "port" and row["slant_m"] == pytest.approx(math.hypot(20, 10), abs=1e-3)
    assert row["label"] == "wreck" and row["t_s"] == pytest.approx(T0 + 40 / 1.5, abs=0.01)


def test_picks_of_a_record_image_need_no_fields(run, track_layer, make_layer):
    types = {f.name: "string" if f.kind == "string" else "double" for f in schemas.PICKS if f.kind != "datetime"}
    blank = dict.fromkeys(types)
    picks = make_layer("None", "", types, [
        (None, list({**blank, "t_s": T0 + 20, "side": "port", "slant_m": 30.0, "depth_m": 9.0, "shadow_m": 40.0,
                     "kind": "object", "label": "a", "outing": "day 1"}.values())),
        (None, list({**blank, "t_s": T0 + 21, "side": "port", "slant_m": 9.0, "kind": "bottom"}.values()))])
    heard = Heard()
    results = run("locatetargets", {"PICKS": picks, "TRACK": track_layer(), **MEMORY}, heard)
    row = rows_of(results["OUTPUT"])[0]
    assert (results["TARGET_COUNT"], results["REJECTED_COUNT"]) == (1, 0)
    assert row["depth_m"] == 9 and row["height_m"] == pytest.approx(9 * 10 / 40) and row["label"] == "a"
    assert row["ground_m"] == pytest.approx(0.75 * math.sqrt(40**2 - 9**2))
    assert any("1 picks of the bottom" in text for text in heard.said)
    assert any("RANGE_FIELD: the picks' own field 'slant_m'" in text for text in heard.said)


def test_a_unit_that_is_given_goes_before_the_name_of_a_field(run, track_layer, make_layer):
    picks = make_layer("None", "", {"t_s": "double", "side": "string", "slant_m": "double"}, [
        (None, [T0 + 20, "port", 50.0])])
    given = {"PICKS": picks, "TRACK": track_layer(), **MEMORY}
    for extra, slant in (({}, 50), ({"RANGE_FIELD": "slant_m"}, 50), ({"RANGE_UNIT": "ft"}, 50),
                         ({"RANGE_FIELD": "slant_m", "RANGE_UNIT": "ft"}, 50 * 0.3048)):
        assert rows_of(run("locatetargets", {**given, **extra})["OUTPUT"])[0]["slant_m"] == pytest.approx(slant)


def test_date_times_of_a_layer_are_utc_by_their_wall_clock(run, track_layer, make_layer):
    picks = make_layer("None", "", {"time": "datetime"}, [
        (None, [QDateTime(QDate(2023, 11, 14), QTime(17, 13, 40))])])
    given = {"PICKS": picks, "TRACK": track_layer(), "SIDE": "port", "SLANT": 20, "RANGE_UNIT": "m", **MEMORY}
    assert rows_of(run("locatetargets", {**given, "TIME_OFFSET": 5})["OUTPUT"])[0]["t_s"] == T0 + 20
    with pytest.raises(QgsProcessingException, match=r"TIME_OFFSET. of 5 hours 1 of 1"):
        run("locatetargets", given)


def test_one_side_and_one_range_for_all(run, track_layer, picks_table):
    given = usual(track_layer(), picks_table, SIDE="starboard", SLANT=20, RANGE_UNIT="yd")
    rows = rows_of(run("locatetargets", {**given, "SIDE_FIELD": None, "RANGE_FIELD": None, **MEMORY})["OUTPUT"])
    assert {(row["side"], round(row["slant_m"], 4)) for row in rows} == {("starboard", 18.288)}


def test_water_stops_sound(run, track_layer, picks_table, make_layer):
    frame = Frame("EPSG:32615", -93.0, 45.0)
    x, y = frame.to_lonlat(*frame.inverse(np.array([-12, 200, 200, -12.0]), np.array([-50, -50, 300, 300.0])))
    ring = ", ".join(f"{a} {b}" for a, b in zip([*x, x[0]], [*y, y[0]]))
    water = make_layer("Polygon", "EPSG:4326", {"name": "string"}, [(f"POLYGON(({ring}))", ["lake"])])
    results = run("locatetargets", {**usual(track_layer(), picks_table, WATER=water, TIME_FIELD="when"), **MEMORY})
    reasons = {row["source_id"]: row["reason"] for row in rows_of(results["REJECTED"])}
    assert any("land stops sound" in text for text in reasons.values()) and results["TARGET_COUNT"] == 2
    empty = make_layer("Polygon", "EPSG:4326", {"name": "string"}, [(None, ["lake"])])
    with pytest.raises(QgsProcessingException, match="holds no polygon"):
        run("locatetargets", {**usual(track_layer(), picks_table, WATER=empty), **MEMORY})


def plane(tmp_path, wide=200, deeper=0.0):
    """A grid that falls away to the east by 10 %, 10 m deep (and ``deeper``) on the track; x of the track."""
    from osgeo import gdal, osr
    frame = Frame("EPSG:32615", -93.0, 45.0)
    (x0,), (y0,) = frame.inverse(np.array([0.0]), np.array([0.0]))
    path = str(tmp_path / "plane.tif")
    made = gdal.GetDriverByName("GTiff").Create(path, wide, 300, 1, gdal.GDT_Float32)
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(32615)
    made.SetProjection(reference.ExportToWkt())
    made.SetGeoTransform([x0 - 100, 1, 0, y0 + 200, 0, -1])
    made.GetRasterBand(1).WriteArray(np.tile(10 + deeper + 0.1 * (np.arange(wide) - 99.5), (300, 1)))
    made = None
    return path, x0


@pytest.mark.parametrize("model", ["slant", "terrain"])
@pytest.mark.parametrize("deeper", [0.0, 0.6, -0.6])
def test_the_bottom_at_a_target_is_the_grids_own_or_that_brought_to_the_sounder(run, track_layer, picks_table, tmp_path,
                                                                                model, deeper):
    """By the plane's formula at the place given; the sounder says 10 m, so that the shallower of the two counts."""
    path, x0 = plane(tmp_path, deeper=deeper)
    given = {"RANGE_MODEL": model, "DEPTH_GRID": path}
    layer = run("locatetargets", {**usual(track_layer(), picks_table, **given), **MEMORY})["OUTPUT"]
    assert layer.featureCount() == 3
    for feature in layer.getFeatures():
        east = feature.geometry().asPoint().x() - x0
        under_boat = 10 + deeper + 0.1 * (60 if feature["pass_id"] == 2 else 0)
        own = 10 + deeper + 0.1 * east
        assert feature["bottom_m"] == pytest.approx(min(own, own + 10 - under_boat), abs=0.02)
        assert feature["depth_m"] == pytest.approx(10)


def test_where_no_grid_knows_the_bottom_it_stays_unknown(run, track_layer, picks_table, tmp_path):
    without = rows_of(run("locatetargets", {**usual(track_layer(), picks_table), **MEMORY})["OUTPUT"])
    assert all(row["bottom_m"] in (None, NULL) for row in without)
    path, x0 = plane(tmp_path, wide=104)  # it ends 4 m to starboard of the track
    layer = run("locatetargets", {**usual(track_layer(), picks_table, DEPTH_GRID=path), **MEMORY})["OUTPUT"]
    for feature in layer.getFeatures():
        east = feature.geometry().asPoint().x() - x0
        assert (feature["bottom_m"] in (None, NULL)) == (east > 5)


def test_a_depth_grid_bends_the_range(run, track_layer, picks_table, tmp_path):
    """R^2 = G^2 + (10 + 0.1 G)^2 to starboard, 10 - 0.1 G to port."""
    path, _ = plane(tmp_path)
    given = {"RANGE_MODEL": "terrain", "DEPTH_GRID": path}
    rows = rows_of(run("locatetargets", {**usual(track_layer(), picks_table, **given), **MEMORY})["OUTPUT"])
    for row in rows:
        m = 0.1 if row["side"] == "starboard" else -0.1
        top = 10 - STANDS
        b = top * m
        truth = (math.sqrt(b * b - (1 + m * m) * (top**2 - row["slant_m"] ** 2)) - b) / (1 + m * m)
        assert row["range_model"] == "terrain"
        if row["status"] == "bottom":
            assert row["ground_m"] == pytest.approx(truth, abs=0.02)
    assert [row["status"] for row in rows][:2] == ["bottom", "bottom"]


def test_sigmas_and_confidence(run, track_layer, picks_table):
    track = track_layer()
    one, sure, half = (rows_of(run("locatetargets", {**usual(track, picks_table, **given), **MEMORY})["OUTPUT"])[0]
                       for given in ({}, {"ERRORS": "survey", "SIGMA_BIAS": 0.1}, {"CONFIDENCE": 50}))
    assert sure["semi_major_m"] < one["semi_major_m"] and sure["sig_bias_m"] == pytest.approx(0.1)
    assert half["confidence_pct"] == 50
    assert half["semi_major_m"] / one["semi_major_m"] == pytest.approx(1.17741 / 2.44775, abs=1e-5)


def test_a_geopackage_holds_everything(run, track_layer, picks_table, tmp_path):
    path = str(tmp_path / "day.gpkg")
    run("locatetargets", {**usual(track_layer(), picks_table), "ELLIPSES": str(tmp_path / "e.gpkg"), "OUTPUT": path})
    layer = QgsVectorLayer(path, "targets", "ogr")
    assert layer.featureCount() == 3 and set(schemas.names(schemas.TARGETS)) <= set(layer.fields().names())


REFUSALS = [
    ({"SIDE_FIELD": None}, "side of the picks is missing.*SIDE_FIELD"),
    ({"RANGE_FIELD": None}, "range of the picks is missing.*RANGE_FIELD"),
    ({"RANGE_UNIT": None}, "without its unit: choose .*RANGE_UNIT"),
    ({"DEPTH_FIELD": "dist"}, "choose .*DEPTH_UNIT"),
    ({"SIDE": "port"}, "SIDE_FIELD.* or .*SIDE.*, not both"),
    ({"SLANT": 20}, "RANGE_FIELD.* or .*SLANT.*, not both"),
    ({"SLANT": -1, "RANGE_FIELD": None}, "SLANT"),
    ({"RANGE_MODEL": "subtract"}, "too near the boat"),
    ({"RANGE_MODEL": "terrain"}, "DEPTH_GRID"),
    ({"CONFIDENCE": 100}, "CONFIDENCE|Confidence|confidence"),
    ({"CONFIDENCE": float("nan")}, "CONFIDENCE|Confidence|confidence"),
    ({"SIGMA_RANGE": -1}, "SIGMA_RANGE|range"),
    ({"SIGMA_TIME": "soon"}, "SIGMA_TIME|not a number"),
    ({"MARK_DELAY": float("inf")}, "MARK_DELAY"),
    ({"TIME_FIELD": "hour"}, "no field 'hour'|TIME_FIELD"),
    ({"TIE": "guess"}, "TIE"),
    ({"ERRORS": "reckless"}, "ERRORS"),
    ({"TIE": "object point", "DEPTH_FIELD": "dist"}, "choose .*DEPTH_UNIT"),
    ({"TIE": "boat point"}, "no points"),
    ({"TIE": "ping", "PING_FIELD": "dist"}, "no ping count"),
]


@pytest.mark.parametrize("given, match", REFUSALS)
def test_refusals_of_a_script_and_of_a_model(run, run_as_child, track_layer, picks_table, given, match):
    parameters = {name: v for name, v in usual(track_layer(), picks_table, **given).items() if v is not None}
    with pytest.raises(QgsProcessingException, match=match):
        run("locatetargets", {**parameters, **MEMORY})
    QgsProject.instance().addMapLayers([parameters["TRACK"], parameters["PICKS"]], False)
    child = {**parameters, "TRACK": parameters["TRACK"].id(), "PICKS": parameters["PICKS"].id()}
    try:
        with pytest.raises(QgsProcessingException, match=match):
            run_as_child("locatetargets", child)
    finally:
        QgsProject.instance().clear()


def test_layers_that_are_no_picks_or_no_track(run, track_layer, picks_table, make_layer):
    track = track_layer()
    lines = make_layer("LineString", "EPSG:32615", {"hand": "string"}, [("LINESTRING(0 0, 1 1)", ["p"])], "strokes")
    with pytest.raises(QgsProcessingException, match="'strokes' holds lines or polygons"):
        run("locatetargets", {"PICKS": lines, "TRACK": track, "SIDE_FIELD": "hand", "SLANT": 5, "RANGE_UNIT": "m",
                              **MEMORY})
    empty = make_layer("None", "", {"when": "string", "hand": "string", "dist": "double"}, [], "nothing")
    with pytest.raises(QgsProcessingException, match="'nothing' are empty"):
        run("locatetargets", {**usual(track, empty), **MEMORY})
    raw = make_layer("Point", "EPSG:32615", {"t_s": "double"}, [("POINT(0 0)", [T0])], "raw log")
    with pytest.raises(QgsProcessingException, match="'raw log' lacks the fields.*Prepare track"):
        run("locatetargets", {**usual(raw, picks_table), **MEMORY})
    nowhere = make_layer("Point", "", {"hand": "string", "dist": "double"}, [("POINT(0 0)", ["p", 20])], "nowhere")
    nowhere.setCrs(QgsCoordinateReferenceSystem())
    with pytest.raises(QgsProcessingException, match="'nowhere' has no coordinate reference system"):
        run("locatetargets", {**usual(track, nowhere, TIME_FIELD=None), **MEMORY})


def test_as_the_child_of_a_model(run_as_child, track_layer, picks_table):
    track = track_layer()
    QgsProject.instance().addMapLayers([track, picks_table], False)
    try:
        results, layer = run_as_child("locatetargets", usual(track.id(), picks_table.id()))
        assert layer.featureCount() == 3
    finally:
        QgsProject.instance().clear()


def test_on_the_command_line(run, qgis_process, track_layer, picks_table, tmp_path):
    import processing
    track, picks = str(tmp_path / "track.gpkg"), str(tmp_path / "picks.csv")
    processing.run("native:savefeatures", {"INPUT": track_layer(), "OUTPUT": track})
    (tmp_path / "picks.csv").write_text(
        "when,hand,dist\n2023-11-14T22:13:40Z,port,\"30,5\"\n2023-11-14T22:13:41Z,x,3\n", encoding="utf-8")
    given = {**usual(track, picks, RANGE_UNIT="m"), "OUTPUT": str(tmp_path / "t.gpkg"),
             "REJECTED": str(tmp_path / "r.csv")}
    code, results, said = qgis_process("locatetargets", given)
    assert code == 0, said
    assert (results["TARGET_COUNT"], results["REJECTED_COUNT"]) == (1, 1)
    assert rows_of(QgsVectorLayer(str(tmp_path / "t.gpkg"), "t", "ogr"))[0]["slant_m"] == 30.5
    code, results, said = qgis_process("locatetargets", {**given, "RANGE_MODEL": "subtract"})
    assert code == 1 and not results and "too near the boat" in said


def test_cancel_writes_nothing(run, track_layer, picks_table, tmp_path):
    feedback = QgsProcessingFeedback(False)
    feedback.cancel()
    with pytest.raises(QgsProcessingException, match="no output was written"):
        run("locatetargets", {**usual(track_layer(), picks_table), "OUTPUT": str(tmp_path / "t.gpkg")}, feedback)
    assert not (tmp_path / "t.gpkg").exists()
