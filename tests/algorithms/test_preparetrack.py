"""Prepare track through its three doors, from the layers people have: logs, GPX files as QGIS opens them, lines."""
import numpy as np
import pytest
import sailed
from athwart.survey.model.schemas import PASSES, TRACK, names
from qgis.core import (
    NULL,
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsProcessingException,
    QgsProcessingFeatureSourceDefinition,
    QgsProcessingFeedback,
    QgsProject,
    QgsRasterLayer,
    QgsVectorFileWriter,
    QgsVectorLayer,
    QgsWkbTypes,
)
from qgis.PyQt.QtCore import QDateTime, QTimeZone


class Heard(QgsProcessingFeedback):
    """Keeps what a tool says."""

    def __init__(self):
        super().__init__(False)
        self.notes, self.warnings = [], []

    def pushInfo(self, info):
        self.notes.append(info)

    def pushWarning(self, warning):
        self.warnings.append(warning)


FACTS = {"RANGE": 100, "RANGE_UNIT": "ft", "DEPTH": 16, "DEPTH_UNIT": "ft", "OUTPUT": "memory:", "PASSES": "memory:"}
COURSES = sailed.lawnmower(2, 120)


def sailed_points(crs="EPSG:4326", courses=None, every=1, lon=-93.0, lat=45.0):
    lons, lats, clock = sailed.sail(lon, lat, courses or COURSES, 2.0)
    lons, lats, clock = lons[::every], lats[::every], clock[::every]
    if crs != "EPSG:4326":
        move = QgsCoordinateTransform(QgsCoordinateReferenceSystem("EPSG:4326"), QgsCoordinateReferenceSystem(crs),
                                      QgsProject.instance())
        placed = [move.transform(x, y) for x, y in zip(lons, lats)]
        lons, lats = np.array([p.x() for p in placed]), np.array([p.y() for p in placed])
    return lons, lats, clock


@pytest.fixture
def boat(make_layer):
    """boat({field: (type, values)}, ...) -> a point layer of a lawnmower sailed at 2 m/s, with times unless told."""
    def call(more=None, crs="EPSG:4326", timed=True, **how):
        x, y, clock = sailed_points(crs, **how)
        columns = {"t_s": ("double", clock.tolist())} if timed else {}
        columns.update(more or {})
        rows = [(f"POINT({a} {b})", list(values)) for a, b, *values in
                zip(x.tolist(), y.tolist(), *(values for _, values in columns.values()))]
        if not columns:
            rows = [(f"POINT({a} {b})", []) for a, b in zip(x.tolist(), y.tolist())]
        return make_layer("Point", crs, {name: kind for name, (kind, _) in columns.items()}, rows, "boat")
    return call


def column(layer, name):
    return [feature[name] for feature in layer.getFeatures()]


def test_track_and_passes_of_a_log(run, fixtures):
    log = str(fixtures / "nmea" / "survey_dpt_rmc_mtw.nmea")
    fixes = run("readlogs", {"INPUT": [log], "OUTPUT": "memory:"})["OUTPUT"]
    heard = Heard()
    results = run("preparetrack", {
        "INPUT": fixes, "OUTING": "bay", "RANGE": 200, "RANGE_UNIT": "ft", "DEPTH_FIELD": "depth_m", "DEPTH_UNIT": "m",
        "ASSUMED_SOUND_SPEED": 1500, "SALINITY": 33, "OUTPUT": "memory:", "PASSES": "memory:"}, heard)
    track, passes = results["OUTPUT"], results["PASSES"]
    assert track.fields().names()[:len(TRACK)] == names(TRACK)
    assert {"log_file", "hdop", "t_s_2", "depth_m_2"} <= set(track.fields().names())
    assert passes.fields().names() == names(PASSES)
    assert track.crs().authid() == passes.crs().authid() == "EPSG:32718"
    assert QgsWkbTypes.geometryType(passes.wkbType()) == QgsWkbTypes.GeometryType.LineGeometry
    assert results["SAMPLE_COUNT"] == track.featureCount() and results["PASS_COUNT"] == passes.featureCount()
    unusable = sum(not usable for usable in column(track, "usable"))
    assert results["REJECTED_COUNT"] == unusable + fixes.featureCount() - track.featureCount() > 0
    assert results["LENGTH_M"] == pytest.approx(sum(column(passes, "length_m")))
    assert set(column(track, "outing")) == {"bay"} and set(column(track, "heading_source")) == {"course"}
    for feature in track.getFeatures():
        assert not any(isinstance(v, float) and np.isnan(v) for v in feature.attributes())
        assert (feature["depth_m"] == NULL) == (feature["reject_reason"] == "no depth")
    # Medwin 1975, J. Acoust. Soc. Am. 58:1318, for the water the log's MTW sentences tell of and 33 g/kg
    warm = np.median([value for value in column(fixes, "water_temp_c") if value != NULL])
    medwin = 1449.2 + 4.6 * warm - 0.055 * warm ** 2 + 0.00029 * warm ** 3 + (1.34 - 0.010 * warm) * (33 - 35)
    assert column(track, "sound_speed_mps")[0] == pytest.approx(medwin, abs=1.0)
    assert column(track, "range_m")[0] == pytest.approx(60.96 * medwin / 1500, abs=0.05)
    said = " ".join(heard.notes)
    for words in ("Sound speed 149", "UNESCO", "from the sounder", "course over ground", "UTM zone 18S"):
        assert words in said, words
    assert any("lost bottoms" in warning and "leap away" in warning for warning in heard.warnings)


def test_first_route_a_sparse_gpx_as_qgis_opens_it_one_range_one_depth(run, tmp_path):
    """A point every 8 s, two segments, no depths: the track_points of a GPX file, nothing else set."""
    courses = sailed.lawnmower(2, 160)
    lon, lat, clock = sailed.sail(-93.0, 45.0, courses, 2.0)
    text = '<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    for k in range(0, len(lon), 8):
        if k == 120:
            text += "</trkseg><trkseg>"
        stamp = QDateTime.fromMSecsSinceEpoch(int(clock[k] * 1000), QTimeZone.utc()).toString("yyyy-MM-ddTHH:mm:ss")
        text += f'<trkpt lat="{lat[k]:.8f}" lon="{lon[k]:.8f}"><time>{stamp}Z</time></trkpt>'
    path = tmp_path / "outing.gpx"
    path.write_text(text + "</trkseg></trk></gpx>", encoding="utf-8")
    fixes = QgsVectorLayer(f"{path}|layername=track_points", "track_points", "ogr")
    results = run("preparetrack", {"INPUT": fixes, **FACTS})
    track = results["OUTPUT"]
    n = len(range(0, len(lon), 8))
    assert results["SAMPLE_COUNT"] == n and results["REJECTED_COUNT"] == 0
    assert column(track, "t_s") == pytest.approx(clock[::8])
    assert set(column(track, "range_m")) == {30.48} and column(track, "depth_m") == pytest.approx([4.8768] * n)
    assert track.crs().authid() == "EPSG:32615" and set(column(track, "outing")) == {"2023-11-14"}
    assert results["PASS_COUNT"] == 3  # the line cut by the segments, and the one back
    headings = np.array(column(track, "heading_deg"))
    for k, heading in zip(range(0, len(lon), 8), headings):
        window = courses[max(0, k - 17):k + 17]
        if len(set(window)) == 1:
            assert abs((heading - window[0] + 180) % 360 - 180) < 0.1
    assert column(track, "time")[0].toString("yyyy-MM-dd HH:mm:ss") == "2023-11-14 22:13:20"


@pytest.mark.parametrize("crs, target", [("EPSG:4326", "EPSG:32615"), ("EPSG:32615", "EPSG:32615"),
                                         ("EPSG:2964", None), ("EPSG:3857", "EPSG:3857")])
def test_crs_of_the_track(run, boat, crs, target):
    place = {"lon": -150.4, "lat": 60.4} if crs == "EPSG:2964" else {}
    results = run("preparetrack", {"INPUT": boat(crs=crs, **place), **FACTS})
    assert results["OUTPUT"].crs().authid() == (target or "EPSG:32605")  # feet are not metres
    assert results["LENGTH_M"] == pytest.approx(2.0 * len(COURSES), abs=0.1)  # mid-turn and all
    assert results["PASS_COUNT"] == 2
    stated = run("preparetrack", {"INPUT": boat(crs=crs, **place), **FACTS, "TARGET_CRS": "EPSG:4326"})
    assert stated["OUTPUT"].crs().authid() == "EPSG:4326"
    assert stated["LENGTH_M"] == pytest.approx(results["LENGTH_M"], abs=1e-3)


def test_the_project_changes_nothing(run, boat, qgis_new_project):
    def rows():
        track = run("preparetrack", {"INPUT": boat(), **FACTS})["OUTPUT"]
        return [feature.attributes()[:len(TRACK)] for feature in track.getFeatures()]
    expected = rows()
    QgsProject.instance().setCrs(QgsCoordinateReferenceSystem("EPSG:3857"))
    QgsProject.instance().setEllipsoid("NONE")
    assert rows() == expected


def test_users_own_fields_follow(run, boat):
    n = len(COURSES) + 1
    layer = boat({"fid": ("integer", range(n)), "note": ("string", [f"n{k}" for k in range(n)])})
    track = run("preparetrack", {"INPUT": layer, **FACTS})["OUTPUT"]
    assert track.fields().names()[len(TRACK):] == ["t_s_2", "src_fid", "note"]
    assert column(track, "note") == [f"n{k}" for k in range(n)] and column(track, "src_fid") == list(range(n))


def test_lines_with_time_in_m(run, make_layer):
    lon, lat, clock = sailed_points()
    parts = [range(150), range(150, len(lon))]
    wkts = ["LINESTRINGM(" + ",".join(f"{lon[k]} {lat[k]} {clock[k]}" for k in part) + ")" for part in parts]
    layer = make_layer("LineStringM", "EPSG:4326", {"name": "string"}, [(wkt, [str(k)]) for k, wkt in enumerate(wkts)])
    results = run("preparetrack", {"INPUT": layer, **FACTS})
    track = results["OUTPUT"]
    assert results["SAMPLE_COUNT"] == len(lon) and column(track, "t_s") == pytest.approx(clock)
    assert column(track, "name") == ["0"] * 150 + ["1"] * (len(lon) - 150)
    assert results["PASS_COUNT"] == 3  # one line after the other is a break
    flat = "LINESTRING(" + ",".join(f"{lon[k]} {lat[k]}" for k in parts[0]) + ")"
    plain = make_layer("LineString", "EPSG:4326", {}, [(flat, [])])
    with pytest.raises(QgsProcessingException, match="no time in M.*track_points.*SPEED"):
        run("preparetrack", {"INPUT": plain, **FACTS})
    timed = run("preparetrack", {"INPUT": plain, **FACTS, "SPEED": 2 / 0.5144444444, "SPEED_UNIT": "kn"})
    assert set(column(timed["OUTPUT"], "t_s")) == {NULL} and set(column(timed["OUTPUT"], "time")) == {NULL}
    assert np.allclose(column(timed["OUTPUT"], "speed_mps")[:100], 2.0, atol=1e-3)


def test_points_without_times_in_the_order_of_a_field(run, boat):
    n = len(COURSES) + 1
    layer = boat({"nr": ("integer", range(n))}, timed=False)
    results = run("preparetrack", {"INPUT": layer, **FACTS, "SPEED": 2, "ORDER_FIELD": "nr"})
    assert results["PASS_COUNT"] == 2 and results["SAMPLE_COUNT"] == n


def test_text_fields_of_a_csv(run, boat):
    """A CSV dragged in holds everything as text, decimal commas too."""
    n = len(COURSES) + 1
    stamps = [QDateTime.fromMSecsSinceEpoch(int(sailed.START_S * 1000) + 1000 * k, QTimeZone.utc())
              .toString("yyyy-MM-dd HH:mm:ss") for k in range(n)]
    layer = boat({"when": ("string", stamps), "tiefe": ("string", [f"{5 + k / 100:.2f}".replace(".", ",")
                                                                    for k in range(n)])}, timed=False)
    track = run("preparetrack", {"INPUT": layer, **FACTS, "DEPTH": None, "DEPTH_FIELD": "tiefe", "DEPTH_UNIT": "m",
                                 "TIME_FIELD": "when", "TIME_OFFSET": 5})["OUTPUT"]
    assert column(track, "t_s")[0] == sailed.START_S + 5 * 3600
    assert column(track, "depth_m") == pytest.approx([5 + k / 100 for k in range(n)])


def settings_table(make_layer, rows, fields=("from_time", "range")):
    return make_layer("None", "", dict.fromkeys(fields, "string"), [(None, list(row)) for row in rows], "changes")


@pytest.mark.parametrize("times, offset", [
    (("2023-11-14T22:13:20Z", "2023-11-14T22:14:20Z"), 0), (("2023-11-14 16:13:20", "2023-11-14 16:14:20"), 6),
    (("16:13:20", "16:14:20"), 6), (("2023-11-14T16:13:20-06:00", "2023-11-14 22:14:20+00"), 0)])
def test_changes_of_range_by_time(run, boat, make_layer, times, offset):
    table = settings_table(make_layer, [(times[0], "80"), (times[1], "120")])
    track = run("preparetrack", {"INPUT": boat(), **FACTS, "RANGE": None, "SETTINGS": table,
                                 "TIME_OFFSET": offset})["OUTPUT"]
    ranges = column(track, "range_m")
    assert ranges[:60] == pytest.approx([24.384] * 60) and ranges[60:] == pytest.approx([36.576] * (len(ranges) - 60))
    assert set(column(track, "pass_id")[:100]) == {1}


def test_changes_of_range_by_waypoint(run, boat, make_layer):
    lon, lat, _ = sailed_points()
    table = settings_table(make_layer, [("set 80", "80"), ("set 120", "120")], ("from_waypoint", "range"))
    marks = make_layer("Point", "EPSG:4326", {"name": "string"},
                       [(f"POINT({lon[k]} {lat[k]})", [name]) for k, name in ((30, "set 80"), (200, "set 120"))])
    track = run("preparetrack", {"INPUT": boat(), **FACTS, "SETTINGS": table, "WAYPOINTS": marks})["OUTPUT"]
    found = np.array(column(track, "range_m"))
    assert found[[29, 30, 199, 200]] == pytest.approx([30.48, 24.384, 24.384, 36.576])
    placed = make_layer("Point", "EPSG:4326", {"from_waypoint": "string", "range": "double"},
                        [(f"POINT({lon[k]} {lat[k]})", [name, value]) for k, name, value in
                         ((30, "a", 80), (200, "b", 120))])
    again = run("preparetrack", {"INPUT": boat(), **FACTS, "SETTINGS": placed})["OUTPUT"]
    assert column(again, "range_m") == pytest.approx(found.tolist())


def test_solved_offsets_are_fed_back(run, boat, make_layer):
    rows = [("latency_s", 0.5, 0.1), ("mount_deg", -2.0, 0.3), ("lever_forward_m", 1.5, None), ("scale", 0.98, 0.01)]
    table = make_layer("None", "", {"name": "string", "value": "double", "sigma": "double"}, [(None, r) for r in rows])
    heard = Heard()
    track = run("preparetrack", {"INPUT": boat(), **FACTS, "LATENCY": 3, "OFFSETS": table}, heard)["OUTPUT"]
    first = next(track.getFeatures())
    applied = [first[name] for name in ("latency_s", "mount_deg", "lever_forward_m", "range_ratio")]
    assert applied == [0.5, -2.0, 1.5, 0.98]
    assert first["range_m"] == pytest.approx(30.48 * 0.98)
    assert any("latency_s = 0.5, sigma 0.1" in text for text in heard.notes)


def test_of_the_offsets_of_two_boats_those_of_the_outing_are_taken(run, boat, make_layer):
    rows = [("latency_s", -0.15, 0.05, "Lund", "May; June"), ("latency_s", 1.58, 0.05, "July", "July")]
    table = make_layer("None", "", {"name": "string", "value": "double", "sigma": "double", "boat": "string",
                                    "outings": "string"}, [(None, r) for r in rows])
    for outing, latency in (("June", -0.15), ("Lund", -0.15), ("July", 1.58)):
        track = run("preparetrack", {"INPUT": boat(), **FACTS, "OUTING": outing, "OFFSETS": table})["OUTPUT"]
        assert next(track.getFeatures())["latency_s"] == latency
    with pytest.raises(QgsProcessingException, match="Lund, July.*none of them is the outing 'August'"):
        run("preparetrack", {"INPUT": boat(), **FACTS, "OUTING": "August", "OFFSETS": table})
    table.selectByIds([1])
    from qgis.core import QgsProcessingFeatureSourceDefinition
    chosen = QgsProcessingFeatureSourceDefinition(table.id(), True)
    QgsProject.instance().addMapLayer(table, False)
    track = run("preparetrack", {"INPUT": boat(), **FACTS, "OUTING": "August", "OFFSETS": chosen})["OUTPUT"]
    assert next(track.getFeatures())["latency_s"] == -0.15


def test_depth_grid_in_another_crs(run, boat, tmp_path):
    from osgeo import gdal, osr
    path = str(tmp_path / "grid.tif")
    made = gdal.GetDriverByName("GTiff").Create(path, 40, 40, 1, gdal.GDT_Float32)
    made.SetGeoTransform((-93.004, 0.0002, 0, 45.004, 0, -0.0002))
    srs = osr.SpatialReference()
    srs.ImportFromEPSG(4326)
    srs.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    made.SetProjection(srs.ExportToWkt())
    band = made.GetRasterBand(1)
    band.SetNoDataValue(-9999)
    slope = 10 + 1000 * (-93.004 + 0.0002 * (np.arange(40) + 0.5) + 93.0)  # metres, deeper to the east
    values = np.tile(slope, (40, 1))
    values[:, 30:] = -9999
    band.WriteArray(values)
    made = None
    track = run("preparetrack", {"INPUT": boat(), **FACTS, "DEPTH": None, "DEPTH_UNIT": None, "TRANSDUCER_DRAFT": 0.4,
                                 "DEPTH_GRID": QgsRasterLayer(path, "grid")})["OUTPUT"]
    lon, _, _ = sailed_points()
    on = lon < -93.004 + 0.0002 * 29.5
    assert on.any() and not on.all()
    depth = np.array([np.nan if v == NULL else v for v in column(track, "depth_m")])
    assert depth[on] == pytest.approx(10 + 1000 * (lon[on] + 93.0) - 0.4, abs=1e-3)
    off = np.array(column(track, "reject_reason"))[lon > -93.004 + 0.0002 * 30.6]
    assert len(off) and set(off) == {"no depth"}


REFUSALS = [
    ({"RANGE": None}, "RANGE. is not given.*RANGE_FIELD.*SETTINGS"),
    ({"RANGE_UNIT": None}, r"RANGE_UNIT\) is not given.*m, ft, yd, fathom"),
    ({"RANGE_UNIT": "furlong"}, "furlong|RANGE_UNIT|Unit of ranges"),
    ({"RANGE": 0}, "RANGE. is 0"),
    ({"RANGE": "abc"}, "RANGE"),
    ({"DEPTH": None, "DEPTH_UNIT": None}, "No depth is given.*DEPTH_FIELD.*DEPTH.*DEPTH_GRID"),
    ({"DEPTH_UNIT": None}, r"DEPTH_UNIT\) is not given"),
    ({"DEPTH_FIELD": "depht"}, r"DEPTH_FIELD\) is 'depht'.*no such field. It has t_s"),
    ({"HEADING_FIELD": "t_s", "HEADING_KIND": "magnetic"}, "MAGNETIC_VARIATION. is not given"),
    ({"WATER_TEMPERATURE": 68}, "choose F"),
    ({"ASSUMED_SOUND_SPEED": 4800}, "1463.04"),
    ({"LATENCY": 90}, "LATENCY"),
    ({"MIN_SPEED": 4, "MAX_SPEED": 3}, "MIN_SPEED"),
    ({"DEPTH_REFERENCE": "keel"}, "KEEL_OFFSET"),
    ({"SPACING": 0.3}, "SPACING. is 1 ft; give 3.3 ft or more"),
    ({"MIN_SPEED": 9}, "stopped.*MIN_SPEED"),
    ({"TARGET_CRS": "EPSG:999999"}, "TARGET_CRS|Coordinate system of the track"),
    ({"INPUT": None}, "INPUT|Fixes"),
]


@pytest.mark.parametrize("change, words", REFUSALS, ids=[",".join(change) for change, _ in REFUSALS])
def test_refusals_of_a_script_and_of_a_model(run, run_as_child, boat, change, words):
    layer = boat()
    QgsProject.instance().addMapLayer(layer, False)
    given = {"INPUT": layer, **FACTS, **change}
    given = {name: value for name, value in given.items() if value is not None}
    try:
        with pytest.raises(QgsProcessingException, match=words):
            run("preparetrack", given)
        if given.get("INPUT") is not None:
            given["INPUT"] = layer.id()
        with pytest.raises(QgsProcessingException, match=words):
            run_as_child("preparetrack", {k: v for k, v in given.items() if k not in ("OUTPUT", "PASSES")})
    finally:
        QgsProject.instance().removeMapLayer(layer.id())


@pytest.mark.parametrize("rows, fields, words", [
    ([("2023-11-14T16:13:20Z", "80")] * 1 + [("2023-11-14T16:14:20Z", "90")], ("from_time", "range"),
     r"no change of range falls.*Adding \+6 hours would fit.*TIME_OFFSET. to 6"),
    ([("yesterday", "80")], ("from_time", "range"), "from_time, row 1: 'yesterday' is not a time"),
    ([("2023-11-14T22:13:20Z", "eighty")], ("from_time", "range"), "range, row 1: 'eighty' is not a number"),
    ([("2023-11-14T22:13:20Z", "80")], ("moment", "range"), "needs the field range, and from_time or from_waypoint"),
    ([("buoy", "80")], ("from_waypoint", "range"), "names the waypoint 'buoy'.*WAYPOINTS"),
    ([(None, "80")], ("from_time", "range"), "Row 1 of .*SETTINGS. lacks"),
    ([], ("from_time", "range"), "SETTINGS. is empty"),
])
def test_changes_of_range_that_cannot_be_used(run, boat, make_layer, rows, fields, words):
    with pytest.raises(QgsProcessingException, match=words):
        run("preparetrack", {"INPUT": boat(), **FACTS, "SETTINGS": settings_table(make_layer, rows, fields)})


def test_layers_that_cannot_be_used(run, boat, make_layer, tmp_path):
    bare = make_layer("Point", "", {"t_s": "double"}, [("POINT(1 2)", [0.0])])
    bare.setCrs(QgsCoordinateReferenceSystem())
    with pytest.raises(QgsProcessingException, match="no coordinate reference system"):
        run("preparetrack", {"INPUT": bare, **FACTS})
    empty = make_layer("Point", "EPSG:32615", {"t_s": "double"}, [])
    with pytest.raises(QgsProcessingException, match="holds no fixes"):
        run("preparetrack", {"INPUT": empty, **FACTS})
    track = run("preparetrack", {"INPUT": boat(), **FACTS})["OUTPUT"]
    with pytest.raises(QgsProcessingException, match="this is 'Track' of 'Prepare track'; choose 'Fixes'"):
        run("preparetrack", {"INPUT": track, **FACTS})
    n = len(COURSES) + 1
    layer = boat({"heading_deg": ("double", [90.0] * n)})
    path = str(tmp_path / "fixes.shp")
    options = QgsVectorFileWriter.SaveVectorOptions()
    options.driverName = "ESRI Shapefile"
    QgsVectorFileWriter.writeAsVectorFormatV3(layer, path, QgsProject.instance().transformContext(), options)
    with pytest.raises(QgsProcessingException, match="is a Shapefile, which cuts field names"):
        run("preparetrack", {"INPUT": path, **FACTS})


def test_only_the_selection(run, boat):
    layer = boat()
    layer.selectByIds(list(range(1, 101)))
    QgsProject.instance().addMapLayer(layer, False)
    results = run("preparetrack", {"INPUT": QgsProcessingFeatureSourceDefinition(layer.id(), True), **FACTS})
    QgsProject.instance().removeMapLayer(layer.id())
    assert results["SAMPLE_COUNT"] == 100


def test_as_the_child_of_a_model(run_as_child, boat):
    layer = boat()
    QgsProject.instance().addMapLayer(layer, False)
    results, track = run_as_child("preparetrack", {"INPUT": layer.id(), "RANGE": 30, "RANGE_UNIT": "m", "DEPTH": 5,
                                                   "DEPTH_UNIT": "m"})
    assert track.featureCount() == len(COURSES) + 1
    QgsProject.instance().removeMapLayer(layer.id())


def test_on_the_command_line(qgis_process, boat, tmp_path):
    source, target = str(tmp_path / "fixes.gpkg"), str(tmp_path / "track.gpkg")
    options = QgsVectorFileWriter.SaveVectorOptions()
    options.driverName = "GPKG"
    QgsVectorFileWriter.writeAsVectorFormatV3(boat(), source, QgsProject.instance().transformContext(), options)
    stated = {"INPUT": source, "RANGE": 30, "RANGE_UNIT": "m", "DEPTH": 5, "DEPTH_UNIT": "m",
              "OUTPUT": f"ogr:dbname='{target}' table=\"track\" (geom)",
              "PASSES": f"ogr:dbname='{target}' table=\"passes\" (geom)"}
    code, results, said = qgis_process("preparetrack", stated)
    assert code == 0, said
    assert results["SAMPLE_COUNT"] == len(COURSES) + 1 and results["PASS_COUNT"] == 2
    track = QgsVectorLayer(f"{target}|layername=track", "track", "ogr")
    assert track.featureCount() == len(COURSES) + 1 and column(track, "src_fid")[:3] == [1, 2, 3]
    assert QgsVectorLayer(f"{target}|layername=passes", "passes", "ogr").featureCount() == 2
    code, results, said = qgis_process("preparetrack", {**stated, "RANGE": "", "OUTPUT": "memory:"})
    assert code == 1 and not results and "(RANGE) is not given" in said


def test_cancel_writes_nothing(run, boat, tmp_path):
    feedback = QgsProcessingFeedback(False)
    feedback.cancel()
    target = tmp_path / "track.gpkg"
    with pytest.raises(QgsProcessingException, match="no output was written"):
        run("preparetrack", {"INPUT": boat(), **FACTS, "OUTPUT": str(target)}, feedback)
    assert not target.exists()
