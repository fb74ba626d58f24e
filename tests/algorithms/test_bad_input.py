"""What the tools of the main job say to input that cannot be used: the thing is named, and the way out.

Every refusal goes through a script and a model's child; one of each tool goes through the command line.
"""
import re
import shutil

import numpy as np
import onfile
import pytest
import sailed
import tracks
from athwart.algorithms import tool_classes
from athwart.survey.geometry.frame import Frame
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsFeatureRequest,
    QgsGeometry,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingFeatureSourceDefinition,
    QgsProcessingFeedback,
    QgsProject,
    QgsVectorFileWriter,
    QgsVectorLayer,
)

UTM = "EPSG:32615"
LON, LAT = -93.0, 45.0
EAST, NORTH = (float(v[0]) for v in Frame(UTM, LON, LAT).inverse(np.zeros(1), np.zeros(1)))
LENGTH = 40
FACTS = {"RANGE": 30, "RANGE_UNIT": "m", "DEPTH": 5, "DEPTH_UNIT": "m"}
FIELDS = {"SIDE_FIELD": "hand", "RANGE_FIELD": "dist", "RANGE_UNIT": "m", "TIME_FIELD": "when"}
SWATH = {"outing": "string", "pass_id": "integer", "outer_m": "double", "sigma_edge_m": "double"}
SECOND = {tool.ID: list(tool.LAYERS)[1] for tool in tool_classes() if len(tool.LAYERS) > 1}
NAN, INF = float("nan"), float("inf")


class Heard(QgsProcessingFeedback):
    """Keeps what a tool says, and cancels after so many questions whether it was cancelled."""

    def __init__(self, patience=10**9):
        super().__init__(False)
        self.warnings, self.asked, self.patience = [], 0, patience

    def pushWarning(self, warning):
        assert not re.search(r"\{[A-Za-z_.]+(\([a-z_.]*\))?\}", warning), "a name that nobody put into words"
        self.warnings.append(warning)

    def isCanceled(self):
        self.asked += 1
        return self.asked > self.patience


def ring(*corners):
    return f"POLYGON(({','.join(f'{EAST + x} {NORTH + y}' for x, y in (*corners, corners[0]))}))"


def box(x0, y0, x1, y1):
    return ring((x0, y0), (x1, y0), (x1, y1), (x0, y1))


BOW_TIE = ring((-9, 0), (90, 60), (90, 0), (-9, 60))
STROKE = f"LINESTRING({EAST} {NORTH},{EAST + 30} {NORTH})"


@pytest.fixture
def shape(make_layer):
    """shape(WKT ..., kind=, crs=) -> layer named 'lake' with those shapes."""
    def call(*wkts, kind="Polygon", crs=UTM):
        layer = make_layer(kind, crs, {"name": "string"}, [(wkt, ["bay"]) for wkt in wkts], "lake")
        if not crs:
            layer.setCrs(QgsCoordinateReferenceSystem())
        return layer
    return call


@pytest.fixture
def fixes(make_layer):
    """fixes(field=[values] or a value for all) -> 41 fixes, a second and 2 m apart, northward."""
    lon, lat, clock = sailed.sail(LON, LAT, sailed.straight(0, LENGTH), 2.0)

    def call(crs="EPSG:4326", **given):
        columns = {"t_s": clock.tolist(), **given}
        columns = {name: v if isinstance(v, list) else [v] * len(lon) for name, v in columns.items()}
        kinds = {name: "string" if any(isinstance(v, str) for v in values) else "double"
                 for name, values in columns.items()}
        rows = [(f"POINT({x} {y})", list(row)) for x, y, *row in zip(lon.tolist(), lat.tolist(), *columns.values())]
        return make_layer("Point", crs, kinds, rows, "boat")
    return call


def straight(count=LENGTH + 1, **given):
    x, y = Frame(UTM, LON, LAT).inverse(np.zeros(count), 2.0 * np.arange(count))
    return tracks.made(UTM, x, y, **{"heading_deg": 0.0, "speed_mps": 2.0, "t_s": 1.7e9 + np.arange(count), **given})


@pytest.fixture
def track(make_layer):
    """track(field=value or array) -> prepared track, northward, R 30 m over 5 m."""
    def call(count=LENGTH + 1, **given):
        fields, rows = tracks.as_rows(straight(count, **given))
        return make_layer("Point", UTM, fields, rows, "track")
    return call


@pytest.fixture
def picks(make_layer):
    def call(*rows, more=None):
        fields = {"when": "string", "hand": "string", "dist": "string", **(more or {})}
        return make_layer("None", "", fields, [(None, list(row)) for row in rows] or [(None, GOOD)], "picks")
    return call


GOOD = ["2023-11-14T22:13:40Z", "port", "20"]


@pytest.fixture
def swaths(make_layer):
    """swaths(sigma) -> both sides of a pass of 'a' northward over the area (-30, 0, 30, 80)."""
    def call(sigma=0.75):
        return make_layer("MultiPolygon", UTM, SWATH, [(box(3, 0, 30, 80), ["a", 1, 30, sigma]),
                                                       (box(-30, 0, -3, 80), ["a", 1, 30, 0.75])], "swaths")
    return call


@pytest.fixture
def refused(run, run_as_child):
    """refused(tool, parameters, words): by a script and as a model's child, both with the same words."""
    def call(tool, parameters, words):
        parameters = {name: value for name, value in parameters.items() if value is not None}
        with pytest.raises(QgsProcessingException, match=words):
            run(tool, {"OUTPUT": "memory:", SECOND.get(tool, "OUTPUT"): "memory:", **parameters})
        layers = [value for value in parameters.values() if isinstance(value, QgsVectorLayer)]
        QgsProject.instance().addMapLayers(layers, False)
        try:
            with pytest.raises(QgsProcessingException, match=words):
                run_as_child(tool, {name: value.id() if isinstance(value, QgsVectorLayer) else value
                                    for name, value in parameters.items() if name != "OUTPUT"})
        finally:
            for layer in layers:
                QgsProject.instance().takeMapLayer(layer)
    return call


def ends(log):
    """The log as it stands when the batteries were pulled, or the card was damaged."""
    whole = log.read_bytes().splitlines(True)[:60]
    text = b"".join(whole)
    return {
        "whole": (text, 0), "cut short": (text[:-9], 1),
        "junk": (b"\x00\xffjunk\r\n" + whole[0] + b"\x80%&" + b"".join(whole[1:]), 0),
        "wrong checksums": (b"".join(re.sub(rb"(DPT.*\*)..", rb"\g<1>ZZ", line) for line in whole),
                            sum(b"DPT" in line for line in whole)),
        "UTF-16": (text.decode("ascii").encode("utf-16"), 0), "UTF-8 mark": (b"\xef\xbb\xbf" + text, 0)}


@pytest.mark.parametrize("kind", ["cut short", "junk", "wrong checksums", "UTF-16", "UTF-8 mark"])
def test_a_spoilt_log_gives_what_is_whole_and_counts_the_rest(run, fixtures, tmp_path, kind):
    path = tmp_path / "spoilt.log"
    cases = ends(fixtures / "nmea" / "survey_dpt_rmc_mtw.nmea")
    counts = []
    for name in ("whole", kind):
        path.write_bytes(cases[name][0])
        results = run("readlogs", {"INPUT": [str(path)], "OUTPUT": "memory:"})
        assert results["REJECTED_COUNT"] == cases[name][1]
        counts.append((results["FIX_COUNT"], results["DEPTH_COUNT"]))
    assert counts[1] == ((counts[0][0], 0) if kind == "wrong checksums" else counts[0]) and counts[0][1] > 9


@pytest.mark.parametrize("text, words", [
    (b"", "spoilt.log is empty"), (bytes(range(256)), "neither NMEA 0183.*nor GPX"),
    (b"lat,lon\n45,-93\n", "A table of positions can be loaded as a layer of points"),
    (b"<gpx><trk><trkseg><trkpt lat='4", "line 1: the XML breaks off"), (b"<kml/>", "XML but not GPX")])
def test_files_that_are_no_logs(refused, tmp_path, text, words):
    path = tmp_path / "spoilt.log"
    path.write_bytes(text)
    refused("readlogs", {"INPUT": [str(path)]}, words)


N = LENGTH + 1
CLOCK = (1.7e9 + np.arange(N)).tolist()
TRACK_REFUSALS = [
    ({"t_s": None}, {}, "no point has a time. Choose TIME_FIELD|no point has a time. Choose .*TIME_FIELD"),
    ({"t_s": [CLOCK[0]] * N}, {}, "Only 1 of 41 fixes can be used.*40 at the same time as another"),
    ({"t_s": INF}, {}, "'boat', field t_s, row 1: 'inf' is not a time"),
    ({"t_s": "soon"}, {}, "row 1: 'soon' is not a time. Write times like"),
    ({"d": -5.0}, {"DEPTH": None, "DEPTH_FIELD": "d"}, "41 of 41 soundings .*negative; depths are positive down"),
    ({"d": None}, {"DEPTH": None, "DEPTH_FIELD": "d"}, "41 no depth. What helps: give .*DEPTH"),
    ({"d": INF}, {"DEPTH": None, "DEPTH_FIELD": "d"}, "field d, row 1: infinity is not a usable value. Correct it"),
    ({"d": "deep"}, {"DEPTH": None, "DEPTH_FIELD": "d"}, "field d, row 1: 'deep' is not a number. Correct it"),
    ({"r": None}, {"RANGE": None, "RANGE_FIELD": "r"}, "holds no range at all"),
    ({"r": -3.0}, {"RANGE": None, "RANGE_FIELD": "r"}, "a range is above zero"),
    ({"t_s": None, "nr": None}, {"SPEED": 2, "ORDER_FIELD": "nr"}, "No fix has a value in .*ORDER_FIELD"),
    ({"t_s": None}, {"SPEED": 0}, "SPEED.* is 0; give a number above zero"),
    ({}, {"RANGE": NAN}, "RANGE.* is nan; give an ordinary number"),
    ({}, {"RANGE": -5, "RANGE_UNIT": "ft"}, "RANGE.* is -5; give a number above zero"),  # as typed, not in metres
    ({}, {"DEPTH": 0}, "DEPTH.* is 0; give a number above zero"),
    ({}, {"MIN_SPEED": 3}, "41 stopped. What helps: lower .*MIN_SPEED"),
    ({}, {"OUTPUT": "/tmp/no/such/folder/track.gpkg"}, "folder /tmp/no/such/folder, which does not exist. Make it"),
]


@pytest.mark.parametrize("columns, change, words", TRACK_REFUSALS, ids=[words[:32] for *_, words in TRACK_REFUSALS])
def test_fixes_that_give_no_track(refused, run, fixes, columns, change, words):
    if "OUTPUT" in change:  # a model's child writes where the model says
        with pytest.raises(QgsProcessingException, match=words):
            run("preparetrack", {"INPUT": fixes(), **FACTS, **change})
        return
    refused("preparetrack", {"INPUT": fixes(**columns), **FACTS, **change}, words)


def test_fixes_with_some_bad_times_are_counted_and_sorted(run, fixes):
    mixed = np.random.default_rng(1).permutation(N)
    for stamps, samples, words in (
            ([None if k % 3 == 0 else t for k, t in enumerate(CLOCK)], 27, "14 without a time.*row: 1, 4, 7, 10, 13"),
            ([NAN, *CLOCK[1:]], 40, "1 without a time .row: 1"),
            ([*CLOCK[:20], CLOCK[19], *CLOCK[21:]], 40, "1 at the same time as another, in a different place"),
            ([CLOCK[k] for k in mixed], N, "")):
        heard = Heard()
        layer = fixes(t_s=stamps)
        if not words:  # the same track in any order of its rows
            rows = [QgsGeometry(f.geometry()) for f in layer.getFeatures()]
            layer.dataProvider().changeGeometryValues({k + 1: rows[i] for k, i in enumerate(mixed)})
        results = run("preparetrack", {"INPUT": layer, **FACTS, "OUTPUT": "memory:"}, heard)
        assert results["SAMPLE_COUNT"] == samples
        assert re.search(words, " ".join(heard.warnings)) and bool(words) == bool(heard.warnings)
        found = [f["t_s"] for f in results["OUTPUT"].getFeatures()]
        assert found == sorted(found)


def test_range_shorter_than_the_depth_and_water_that_boils_are_warned_of(run, fixes):
    heard = Heard()
    run("preparetrack", {"INPUT": fixes(water_temp_c=68.0), **FACTS, "DEPTH": 40, "OUTPUT": "memory:"}, heard)
    said = " ".join(heard.warnings)
    assert "41 samples have less range than water under them" in said
    assert "water_temp_c is 68, no water temperature" in said


@pytest.mark.parametrize("columns, words", [
    ({"depth_m": NAN}, "41 have no depth"), ({"range_m": NAN}, "41 have no range"),
    ({"depth_m": np.where(np.arange(N) == 3, INF, 5.0)}, "field depth_m, row 4: infinity"),
    ({"depth_m": -5.0}, "row 1: depth_m is -5. Depths and ranges are positive"),
    ({"range_m": 3.0}, "41 have a range shorter than the depth"),
    ({"heading_deg": NAN}, "41 usable rows without heading_deg .first: row 1"),
    ({"mount_deg": NAN}, "rows without mount_deg; run 'Prepare track' again"),
    ({"usable": False}, "reject_reason"), ({"count": 1}, "two neighbouring samples")])
def test_tracks_that_draw_no_swath(refused, track, columns, words):
    refused("swathfootprint", {"INPUT": track(**columns)}, words)


def test_two_outings_of_one_name_are_not_woven_into_each_other(refused, track):
    layer = track()
    layer.dataProvider().addFeatures(list(layer.getFeatures()))  # as 'Merge vector layers' puts them together
    refused("swathfootprint", {"INPUT": layer}, "Sample 0 of outing 'day 1', pass 1 is there twice .41 such")


def test_a_boat_that_stands_still_draws_nothing(refused, track):
    layer = track()
    place = next(layer.getFeatures()).geometry()
    layer.dataProvider().changeGeometryValues({k + 1: QgsGeometry(place) for k in range(N)})
    refused("swathfootprint", {"INPUT": layer}, "No swath can be drawn from 41 usable samples.*a boat that moves")


@pytest.mark.parametrize("tool, words", [
    ("swathfootprint", "The depth grid 'grid' {}"), ("locatetargets", "depth grid 'grid' {}"),
    ("preparetrack", {"negative": "negative under 41 of 41 samples", "far": "no depth. What helps"})])
@pytest.mark.parametrize("kind, says", [("negative", "looks negative down"), ("far", "does not cover the track")])
def test_depth_grids_that_do_not_serve(run, track, fixes, picks, tmp_path, tool, words, kind, says):
    west = EAST - 100 + (9000 if kind == "far" else 0)
    grid = onfile.raster_file(tmp_path / "grid.tif", np.full((300, 200), -5.0 if kind == "negative" else 5.0),
                              (west, 1, 0, NORTH + 190, 0, -1))
    given = {"swathfootprint": lambda: {"INPUT": track(), "RANGE_MODEL": "terrain"},
             "locatetargets": lambda: {"TRACK": track(), "PICKS": picks(), **FIELDS, "RANGE_MODEL": "terrain"},
             "preparetrack": lambda: {"INPUT": fixes(), **FACTS, "DEPTH": None}}[tool]()
    with pytest.raises(QgsProcessingException, match=words[kind] if isinstance(words, dict) else words.format(says)):
        run(tool, {**given, "DEPTH_GRID": grid, "OUTPUT": "memory:"})


WRONG_LAYERS = [  # parameter, kind of layer, WKT, words
    ("AREA", "LineString", STROKE, "Area 'lake' holds lines; this tool needs polygons"),
    ("AREA", "None", None, "Area 'lake' is a table without geometry; this tool needs polygons"),
    ("AREA", "Polygon", None, "area layer holds no polygons"),
    ("AREA", "Polygon", BOW_TIE, "Area 'lake': feature 1 is not valid .Self-intersection at 50.*Fix geometries"),
    ("AREA", "no CRS", box(0, 0, 9, 9), "Area 'lake' has no coordinate reference system"),
    ("EXCLUDE", "Polygon", box(-99, -99, 99, 99), "Nothing is left of the area"),
    ("SWATHS", "Polygon", box(0, 0, 9, 9), "Swaths 'lake' lacks the fields outing.*Draw swaths"),
    ("PASSES", "Polygon", box(0, 0, 9, 9), "Passes 'lake' holds polygons; this tool needs lines"),
    ("SHORELINE", "Point", f"POINT({EAST} {NORTH})", "Shoreline 'lake' holds points; this tool needs lines or poly"),
    ("SHORELINE", "no CRS", box(0, 0, 9, 9), "Shoreline 'lake' has no coordinate reference system"),
    ("WATER", "Polygon", BOW_TIE, "Water 'lake': feature 1 is not valid"),
    ("WATER", "LineString", STROKE, "Water 'lake' holds lines; this tool needs polygons"),
    ("INPUT", "Polygon", box(0, 0, 9, 9), "Prepared track 'lake' holds polygons; this tool needs points"),
    ("INPUT", "None", None, "Prepared track 'lake' is a table without geometry.*loaded as points"),
    ("TRACK", "LineString", STROKE, "Prepared track 'lake' holds lines; this tool needs points"),
    ("FIXES", "Polygon", box(0, 0, 9, 9), "Fixes 'lake' holds polygons; this tool needs points or lines"),
    ("FIXES", "None", None, "Fixes 'lake' is a table without geometry; this tool needs points or lines"),
    ("FIXES", "Point", "none", "Fixes 'lake' is empty|holds no fixes"),
    ("FIXES", "LineStringM", f"LINESTRINGM({LON} {LAT} 3)", "Fixes 'lake': feature 1 is not valid .too few points"),
]


@pytest.mark.parametrize("name, kind, wkt, words", WRONG_LAYERS, ids=[f"{n} {k}" for n, k, *_ in WRONG_LAYERS])
def test_layers_of_the_wrong_kind(run, refused, shape, swaths, track, picks, name, kind, wkt, words):
    # in degrees a line of one point used to end the whole program: its zone is looked up inside a refusal
    crs = {"no CRS": "", "LineStringM": "EPSG:4326"}.get(kind, UTM)
    layer = shape(*([] if wkt == "none" else [wkt]), kind=kind if crs else "Polygon", crs=crs)
    area = shape(box(-30, 0, 30, 80))
    tool, given = {
        "SHORELINE": ("unscannedshoreline", {"SWATHS": swaths()}),
        "WATER": ("unscannedshoreline", {"SWATHS": swaths(), "SHORELINE": area}),
        "INPUT": ("swathfootprint", {}), "TRACK": ("locatetargets", {"PICKS": picks(), **FIELDS}),
        "FIXES": ("preparetrack", FACTS)}.get(name, ("coveragegaps", {"SWATHS": swaths(), "AREA": area}))
    given = {**given, "INPUT" if name == "FIXES" else name: layer}
    if "not valid" not in words:
        refused(tool, given, words)
        return
    with pytest.raises(QgsProcessingException, match=words):  # the model of a test checks no geometry
        run(tool, {**given, "OUTPUT": "memory:", SECOND.get(tool, "OUTPUT"): "memory:"})


def test_self_crossing_areas_are_skipped_or_mended_as_the_options_say(provider, shape, swaths):
    """Through contexts, since the options are the user's own: a bow tie of 2 x 1485 m2 beside a whole square."""
    import processing
    areas = shape(BOW_TIE, box(0, 60, 10, 70))
    found, said = [], []
    for check in (QgsFeatureRequest.InvalidGeometryCheck.GeometryNoCheck,
                  QgsFeatureRequest.InvalidGeometryCheck.GeometrySkipInvalid):
        context, heard = QgsProcessingContext(), Heard()
        context.setInvalidGeometryCheck(check)
        results = processing.run("athwart:coveragegaps", {"SWATHS": swaths(), "AREA": areas, "OUTPUT": "memory:",
                                                          "AREAS": "memory:"}, feedback=heard, context=context)
        found.append(results["AREA_M2"])
        said.append(" ".join(heard.warnings))
    assert found == pytest.approx([2970 + 100, 100], rel=1e-3)
    assert "1 invalid feature(s) were skipped" in said[1] and "Area 'lake'" in said[1] and "skipped" not in said[0]


def test_swaths_that_say_nonsense_of_their_edge(refused, run, swaths, shape):
    area = shape(box(-30, 0, 30, 80))
    for sigma, words in ((-1.0, "negative sigma_edge_m, row 1"), (INF, "field sigma_edge_m, row 1: infinity")):
        refused("coveragegaps", {"SWATHS": swaths(sigma), "AREA": area}, words)
    refused("coveragegaps", {"SWATHS": swaths(), "AREA": area, "REQUIRED_LOOKS": 1.5}, "is 1.5; give a whole number")
    heard = Heard()
    run("coveragegaps", {"SWATHS": swaths(None), "AREA": area, "OUTPUT": "memory:", "AREAS": "memory:"}, heard)
    assert any("1 swath(s) do not state sigma_edge_m" in text for text in heard.warnings)


def test_picks_that_cannot_be_placed_are_rejected_each_with_its_reason(run, track, picks):
    when, side, far = GOOD
    cases = [((None, side, far), "no time"), ((when, None, far), "no side: port or starboard"),
             ((when, "up", far), "'up' has no side"), ((when, side, None), "no range"),
             ((when, side, "nan"), "no range"), ((when, side, "inf"), "no range"),
             ((when, side, "-5"), "its range is -5 m; ranges are positive"),
             ((when, side, "0"), "its range is 0 m"), ((when, side, "99"), "beyond the 30 m"),
             (("2023-11-14T22:20:00Z", side, far), "break|outside|before|after"),
             ((when, side, far, -4.0), "no depth: the pick's own is -4 m"), ((when, side, far, 0.0), "own is 0 m")]
    rows = [(*row, *([5.0] * (4 - len(row)))) for row, _ in cases]
    layer = picks(*rows, (*GOOD, 5.0), (when, side, "3", 5.0), more={"deep": "double"})
    results = run("locatetargets", {"PICKS": layer, "TRACK": track(), **FIELDS, "DEPTH_FIELD": "deep",
                                    "DEPTH_UNIT": "m", "OUTPUT": "memory:", "REJECTED": "memory:"})
    assert (results["TARGET_COUNT"], results["REJECTED_COUNT"]) == (2, len(cases))
    assert [f["status"] for f in results["OUTPUT"].getFeatures()] == ["bottom", "water column"]
    reasons = [f["reason"] for f in results["REJECTED"].getFeatures()]
    for (_, words), reason in zip(cases, reasons):
        assert re.search(words, reason), (words, reason)
    assert not any("NULL" in reason for reason in reasons)


def test_targets_that_are_none_and_targets_without_a_number(refused, run, track, picks, tmp_path):
    given = {"PICKS": picks(), "TRACK": track(), **FIELDS, "OUTPUT": "memory:"}
    targets = run("locatetargets", given)["OUTPUT"]
    where = targets.fields().indexOf("target_id")
    targets.dataProvider().changeAttributeValues({f.id(): {where: None} for f in targets.getFeatures()})
    page = tmp_path / "report.html"
    run("coveragereport", {"TARGETS": targets, "OUTPUT_HTML": str(page)})
    assert ">1</text>" in page.read_text(encoding="utf-8")  # counted, beside its point on the map
    targets.dataProvider().truncate()
    for tool, more, words in (("adjusttargets", {}, "are empty; there is nothing to combine"),
                              ("castplan", {"STAND_OFF": 15, "WIND_FROM": 270}, "are empty; there is nothing to cast")):
        refused(tool, {"TARGETS": targets, **more}, words)


@pytest.fixture
def job(fixes, track, picks, swaths, shape, fixtures, tmp_path):
    """{tool: parameters} of the whole job, each input a file of its own, outputs to be written into a folder."""
    def on_file(layer, name):
        options = QgsVectorFileWriter.SaveVectorOptions()
        options.driverName = "GPKG"
        path = str(tmp_path / f"{name}.gpkg")
        write = getattr(QgsVectorFileWriter, "writeAsVectorFormatV3", QgsVectorFileWriter.writeAsVectorFormatV2)
        write(layer, path, QgsProject.instance().transformContext(), options)
        return path
    log = tmp_path / "log.nmea"
    log.write_bytes(ends(fixtures / "nmea" / "survey_dpt_rmc_mtw.nmea")["whole"][0])
    layers = {"swaths": swaths(), "area": shape(box(-30, 0, 30, 80)), "picks": picks(), "fixes": fixes(),
              "track": track()}
    path = {name: on_file(layer, name) for name, layer in layers.items()}
    return {"readlogs": {"INPUT": [str(log)]}, "preparetrack": {"INPUT": path["fixes"], **FACTS},
            "swathfootprint": {"INPUT": path["track"], "WATER": path["area"]},
            "coveragegaps": {"SWATHS": path["swaths"], "AREA": path["area"]},
            "unscannedshoreline": {"SWATHS": path["swaths"], "SHORELINE": path["area"]},
            "locatetargets": {"PICKS": path["picks"], "TRACK": path["track"], **FIELDS}}


TOOLS = ["readlogs", "preparetrack", "swathfootprint", "coveragegaps", "unscannedshoreline", "locatetargets"]


@pytest.mark.parametrize("tool", TOOLS)
def test_a_cancel_on_the_way_leaves_nothing(run, job, tmp_path, tool):
    folder = tmp_path / "out"
    folder.mkdir()
    names = ["OUTPUT", *([SECOND[tool]] if tool in SECOND else [])]
    targets = {name: str(folder / f"{name}.gpkg") for name in names}
    patient = Heard()
    run(tool, {**job[tool], **dict.fromkeys(names, "memory:")}, patient)
    for patience in (0, patient.asked // 2, patient.asked - 1):
        with pytest.raises(QgsProcessingException, match="Stopped at your request; no output was written"):
            run(tool, {**job[tool], **targets}, Heard(patience))
        assert not list(folder.iterdir())
    run(tool, {**job[tool], **targets}, Heard())
    assert {path.name for path in folder.glob("*.gpkg")} == {f"{name}.gpkg" for name in names}


@pytest.mark.parametrize("tool", TOOLS)
def test_outputs_that_cannot_be_written_are_refused_before_anything_is(run, job, tmp_path, tool):
    (tmp_path / "folder.gpkg").mkdir()
    first = tmp_path / "first.gpkg"
    last = SECOND.get(tool, "OUTPUT")
    for path, words in ((tmp_path / "gone" / "x.gpkg", r"gone, which does not exist. Make it first"),
                        (tmp_path / "x.shp", "is to go into a Shapefile.*Give a GeoPackage"),
                        (f"ogr:dbname='{tmp_path}/gone/x.gpkg' table=\"t\" (geom)", "gone, which does not exist")):
        with pytest.raises(QgsProcessingException, match=words):
            run(tool, {**job[tool], "OUTPUT": str(first), last: str(path)})
        assert not first.exists()
    with pytest.raises(QgsProcessingException, match=r"\(OUTPUT\).*folder.gpkg, which is a folder. Give the name"):
        run(tool, {**job[tool], **({} if last == "OUTPUT" else {last: "memory:"}),
                   "OUTPUT": str(tmp_path / "folder.gpkg")})


def test_inputs_are_never_altered_and_neighbours_stay(run, job, tmp_path):
    """Each tool writes a layer of its own name into one GeoPackage, which holds somebody's notes already."""
    target = tmp_path / "day.gpkg"
    shutil.copy(tmp_path / "picks.gpkg", target)
    before = {path: path.read_bytes() for path in tmp_path.iterdir() if path != target}
    for tool in TOOLS:
        names = ["OUTPUT", *([SECOND[tool]] if tool in SECOND else [])]
        run(tool, {**job[tool], **{name: f"ogr:dbname='{target}' table=\"{tool}_{name.lower()}\" (geom)"
                                   for name in names}})
        for name in names:
            assert QgsVectorLayer(f"{target}|layername={tool}_{name.lower()}", "made", "ogr").isValid()
    assert {path: path.read_bytes() for path in before} == before
    assert QgsVectorLayer(f"{target}|layername=picks", "notes", "ogr").featureCount() == 1


def test_tables_of_text_with_decimal_commas_serve_as_layers_do(run, job, tmp_path):
    """A prepared track saved as CSV and loaded again holds nothing but text."""
    layer = QgsVectorLayer(job["swathfootprint"]["INPUT"], "track", "ogr")
    names = [name for name in layer.fields().names() if name != "fid"]
    lines = ["x;y;" + ";".join(names)]
    for feature in layer.getFeatures():
        place = feature.geometry().asPoint()
        values = [place.x(), place.y(), *(feature[name] for name in names)]
        lines.append(";".join("" if str(v) in ("NULL", "None") else str(v).replace(".", ",") for v in values))
    path = tmp_path / "track.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    text = QgsVectorLayer(f"file://{path}?delimiter=;&xField=x&yField=y&decimalPoint=,&crs={UTM}&detectTypes=no",
                          "track", "delimitedtext")
    assert text.featureCount() == N and {field.typeName() for field in text.fields()} == {"text"}
    one, other = (run("swathfootprint", {"INPUT": given, "OUTPUT": "memory:"})["AREA_M2"] for given in (layer, text))
    assert other == pytest.approx(one, rel=1e-9)


@pytest.mark.parametrize("tool, name, count", [("swathfootprint", "INPUT", "AREA_M2"), ("coveragegaps", "SWATHS",
                                               "COVERED_M2"), ("unscannedshoreline", "SWATHS", "UNSCANNED_M")])
def test_only_the_selection(run, job, tool, name, count):
    layer = QgsVectorLayer(job[tool][name], "chosen", "ogr")
    QgsProject.instance().addMapLayer(layer, False)
    ids = sorted(f.id() for f in layer.getFeatures())
    layer.selectByIds(ids[:len(ids) // 2])
    outputs = {"OUTPUT": "memory:", **({SECOND[tool]: "memory:"} if tool in SECOND else {})}
    chosen = QgsProcessingFeatureSourceDefinition(layer.id(), True)
    whole, half = (run(tool, {**job[tool], **outputs, name: given})[count] for given in (layer, chosen))
    QgsProject.instance().clear()
    assert half > 1.5 * whole if tool == "unscannedshoreline" else half < 0.6 * whole


@pytest.mark.parametrize("tool, name", [("swathfootprint", "INPUT"), ("locatetargets", "TRACK"),
                                        ("coveragegaps", "SWATHS")])
def test_shapefiles_are_refused_by_name(run, job, tmp_path, tool, name):
    options = QgsVectorFileWriter.SaveVectorOptions()
    options.driverName = "ESRI Shapefile"
    path = str(tmp_path / "cut.shp")
    layer = QgsVectorLayer(job[tool][name], "layer", "ogr")
    getattr(QgsVectorFileWriter, "writeAsVectorFormatV3", QgsVectorFileWriter.writeAsVectorFormatV2)(
        layer, path, QgsProject.instance().transformContext(), options)
    with pytest.raises(QgsProcessingException, match="'cut' is a Shapefile, which cuts field names to ten letters"):
        run(tool, {**job[tool], "OUTPUT": "memory:", SECOND.get(tool, "OUTPUT"): "memory:", name: path})


def test_numbers_of_numpy_and_lists_as_values(run, fixes):
    for number in (np.float64(30), np.float32(30), np.int64(30), "30,0"):
        results = run("preparetrack", {"INPUT": fixes(), **FACTS, "RANGE": number, "OUTPUT": "memory:"})
        assert next(results["OUTPUT"].getFeatures())["range_m"] == 30
    with pytest.raises(QgsProcessingException, match=r"RANGE.* is \[30\]; give one number|Incorrect parameter"):
        run("preparetrack", {"INPUT": fixes(), **FACTS, "RANGE": [30], "OUTPUT": "memory:"})


def test_the_command_line_has_no_project_and_mends_a_bow_tie_and_refuses_a_dot(qgis_process, job, tmp_path):
    """qgis_process checks no geometry."""
    def lines(name, kind, wkt):
        path = tmp_path / name
        path.write_text(f'{{"type":"FeatureCollection","features":[{{"type":"Feature","properties":{{}},"geometry":'
                        f'{{"type":"{kind}","coordinates":{wkt}}}}}]}}', encoding="utf-8")
        return str(path)
    x, y = (float(v) for v in Frame(UTM, LON, LAT).to_lonlat(EAST, NORTH))
    tie = lines("tie.geojson", "Polygon", [[[x, y], [x + .001, y + .001], [x + .001, y], [x, y + .001], [x, y]]])
    code, results, said = qgis_process("coveragegaps", {
        **job["coveragegaps"], "AREA": tie, "OUTPUT": "TEMPORARY_OUTPUT", "AREAS": "TEMPORARY_OUTPUT"})
    assert code == 0, said
    # two triangles, each a quarter of 0.001 x 0.001 degrees: geodesic areas near 45 N, 111.132 and 78.847 km a degree
    assert results["AREA_M2"] == pytest.approx(111.132 * 78.847 / 2, rel=2e-4)
    code, results, said = qgis_process("preparetrack", {"INPUT": lines("dot.geojson", "LineString", [[x, y]]), **FACTS,
                                                        "OUTPUT": "TEMPORARY_OUTPUT"})
    assert code == 1 and not results and "terminate" not in said and "no time in M" in said
