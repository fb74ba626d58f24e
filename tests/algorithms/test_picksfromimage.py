"""Read picks from record image, through the three doors, on a picture whose every pixel is known."""
import csv

import numpy as np
import pytest
import tracks
from athwart.survey.geometry.frame import Frame
from athwart.survey.model import schemas
from osgeo import gdal
from qgis.core import (
    NULL,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProject,
    QgsRasterLayer,
    QgsVectorLayer,
)

T0 = 1.7e9  # 2023-11-14 22:13:20 UTC
WIDTH, HEIGHT = 1000, 400


@pytest.fixture
def image(tmp_path):
    """A picture of 1000 x 400 pixels without a georeference, as QGIS loads it."""
    path = str(tmp_path / "record.png")
    made = gdal.GetDriverByName("MEM").Create("", WIDTH, HEIGHT, 1, gdal.GDT_Byte)
    made.GetRasterBand(1).WriteRaster(0, 0, WIDTH, HEIGHT, np.zeros((HEIGHT, WIDTH), np.uint8).tobytes())
    gdal.GetDriverByName("PNG").CreateCopy(path, made)
    layer = QgsRasterLayer(path, "record", "gdal")
    assert layer.isValid()
    QgsProject.instance().addMapLayer(layer)
    yield layer
    QgsProject.instance().clear()


@pytest.fixture
def track_layer(make_layer):
    """North at 1.5 m/s, a sample a second, 10 pings a second from 1000 on; 30 m until sample 40, then 60 m."""
    crs, n = "EPSG:32615", 81
    frame = Frame(crs, -93.0, 45.0)
    x, y = frame.inverse(np.zeros(n), 1.5 * np.arange(n))
    track = tracks.made(crs, x, y, np.zeros(n), t_s=T0 + np.arange(n), record_ping=1000 + 10.0 * np.arange(n),
                        range_m=np.where(np.arange(n) < 40, 30.0, 60.0), depth_m=9.0)
    layer = make_layer("Point", crs, *tracks.as_rows(track), "track")
    QgsProject.instance().addMapLayer(layer)
    return layer


@pytest.fixture
def points(make_layer):
    """Marks in map coordinates of the picture (y counts down from 0): an object, two bottom points, one outside."""
    layer = make_layer("Point", "", {"what": "string", "name": "string"}, [
        ("POINT(750 -100.5)", [None, "crib"]), ("POINT(650 -50.5)", ["bottom", ""]),
        ("POINT(350 -150.5)", ["Bottom", ""]), ("POINT(750 -900)", ["object", "lost"])], "marks")
    QgsProject.instance().addMapLayer(layer)
    return layer


USUAL = {"KIND_FIELD": "what", "LABEL_FIELD": "name", "LAYOUT": "both", "NEWEST": "bottom", "FIRST_PING": 1000,
         "OUTPUT": "memory:"}


def rows_of(layer):
    return [dict(zip(f.fields().names(), f.attributes())) for f in layer.getFeatures()]


class Heard(QgsProcessingFeedback):
    def __init__(self):
        super().__init__(False)
        self.said = []

    def pushInfo(self, info):
        self.said.append(info)

    def reportError(self, error, fatalError=False):
        self.said.append(error)


def test_qgis_lays_a_picture_below_the_origin(image):
    """What the tool relies on; it reads the extent all the same."""
    extent = image.extent()
    assert (extent.xMinimum(), extent.yMinimum(), extent.xMaximum(), extent.yMaximum()) == (0, -HEIGHT, WIDTH, 0)


def test_points(run, image, track_layer, points):
    heard = Heard()
    output = run("picksfromimage", {"PICKS": points, "IMAGE": image, "TRACK": track_layer, **USUAL}, heard)["OUTPUT"]
    assert output.fields().names() == [*schemas.names(schemas.PICKS), "what", "name"]
    rows = rows_of(output)
    assert [row["kind"] for row in rows] == ["object", "bottom", "bottom"]
    crib = rows[0]
    assert (crib["side"], crib["ping"], crib["label"]) == ("starboard", 1100, "crib")
    assert crib["slant_m"] == pytest.approx(15) and crib["shadow_m"] == NULL
    assert crib["t_s"] == pytest.approx(T0 + 10) and crib["pass_id"] == 1
    assert crib["time"].toUTC().toString("yyyy-MM-dd hh:mm:ss") == "2023-11-14 22:13:30"
    assert [row["depth_m"] for row in rows] == pytest.approx([9, 9, 9])
    said = "\n".join(heard.said)
    assert "1 of 4 marks were left out" in said and "row 900.0 lies outside the image" in said
    assert "1 objects, 1 of them with a depth from 2 bottom points" in said


def test_lines_to_the_shadows_end_and_a_traced_bottom(run, image, track_layer, make_layer):
    """After ping 1400 the range is 60 m: one and the same column is twice as far."""
    lines = make_layer("LineString", "EPSG:4326", {"what": "string"}, [
        ("LINESTRING(750 -100.5, 800 -101)", [""]), ("LINESTRING(250 -210.5, 150 -210.5)", ["object"]),
        ("LINESTRING(650 -90.5, 660 -110.5, 670 -130.5)", ["bottom"]),
        ("LINESTRING(750 -100.5, 800 -101, 850 -102)", [""])], "lines")
    rows = rows_of(run("picksfromimage", {"PICKS": lines, "IMAGE": image, "TRACK": track_layer, **USUAL,
                                          "LABEL_FIELD": None, "PINGS_PER_ROW": 3})["OUTPUT"])
    assert len(rows) == 5
    assert (rows[0]["slant_m"], rows[0]["shadow_m"]) == pytest.approx((15, 18))
    assert rows[0]["depth_m"] == pytest.approx(9.3)  # half-way between 9.0 and 9.6
    assert rows[1]["side"] == "port" and (rows[1]["slant_m"], rows[1]["shadow_m"]) == pytest.approx((30, 42))
    assert [row["kind"] for row in rows[2:]] == ["bottom"] * 3
    assert [row["depth_m"] for row in rows[2:]] == pytest.approx([9, 9.6, 10.2])


def test_rows_counted_downwards_are_taken_too(run, image, track_layer, make_layer):
    marks = make_layer("Point", "", {"what": "string"}, [("POINT(750 100.5)", [""])], "marks")
    rows = rows_of(run("picksfromimage", {"PICKS": marks, "IMAGE": image, "TRACK": track_layer, **USUAL,
                                          "LABEL_FIELD": None})["OUTPUT"])
    assert rows[0]["ping"] == 1100


def test_times_newest_on_top_and_an_edge_range_in_feet(run, image, track_layer, points):
    rows = rows_of(run("picksfromimage", {
        "PICKS": points, "IMAGE": image, "TRACK": track_layer, **USUAL, "FIRST_PING": None, "NEWEST": "top",
        "FIRST_TIME": "2023-11-14 17:13:20", "LAST_TIME": "2023-11-14 17:13:59.9", "TIME_OFFSET": 5,
        "EDGE_RANGE": 100, "RANGE_UNIT": "ft"})["OUTPUT"])
    assert rows[0]["slant_m"] == pytest.approx(15.24)
    assert rows[0]["t_s"] == pytest.approx(T0 + (HEIGHT - 100.5 - 0.5) * 39.9 / 399)
    assert rows[0]["ping"] == pytest.approx(1300)  # of the sample nearest to it


def test_without_a_track(run, image, points):
    rows = rows_of(run("picksfromimage", {"PICKS": points, "IMAGE": image, **USUAL, "EDGE_RANGE": 40,
                                          "RANGE_UNIT": "m"})["OUTPUT"])
    assert rows[0]["slant_m"] == pytest.approx(20) and rows[0]["pass_id"] == NULL and rows[0]["ping"] == 1100


def test_dropped_rows_and_one_side(run, image, track_layer, points):
    rows = rows_of(run("picksfromimage", {
        "PICKS": points, "IMAGE": image, "TRACK": track_layer, **USUAL, "LAYOUT": "port", "CENTRE_COLUMN": 900,
        "DROPPED_ROWS": "60:7 300:2"})["OUTPUT"])
    assert rows[0]["ping"] == 1107 and rows[0]["side"] == "port"
    assert rows[0]["slant_m"] == pytest.approx(30 * 150 / 900)


def test_the_table_goes_into_locate_targets(run, image, track_layer, points):
    """Objects become targets with the bottom's depth and no field chosen; bottom points are passed over."""
    picks = run("picksfromimage", {"PICKS": points, "IMAGE": image, "TRACK": track_layer, **USUAL})["OUTPUT"]
    found = run("locatetargets", {"PICKS": picks, "TRACK": track_layer, "SIGMA_MOUNT": 0, "OUTPUT": "memory:"})
    assert found["TARGET_COUNT"] == 1
    target = rows_of(found["OUTPUT"])[0]
    assert target["label"] == "crib" and target["depth_m"] == pytest.approx(9)
    assert target["ground_m"] == pytest.approx(12.29, abs=0.05)  # its top 0.4 m up: 9 - 0.4


REFUSED = [({"LAYOUT": None}, "LAYOUT"), ({"EDGE_RANGE": 30}, "RANGE_UNIT"), ({"TRACK": None}, "EDGE_RANGE"),
           ({"FIRST_PING": None}, "FIRST_PING"), ({"FIRST_TIME": "2023-11-14 22:13:20"}, "contradict"),
           ({"FIRST_PING": None, "FIRST_TIME": "noon", "LAST_TIME": "2023-11-14 22:13:20"}, "noon"),
           ({"DROPPED_ROWS": "a lot"}, "DROPPED_ROWS"), ({"PINGS_PER_ROW": 0}, "PINGS_PER_ROW"),
           ({"NEWEST": "left"}, "NEWEST"), ({"NEWEST": None}, "NEWEST.*top or at the bottom")]


@pytest.mark.parametrize("values, words", REFUSED)
def test_refusals_stand_at_every_door(run, run_as_child, image, track_layer, points, values, words):
    given = {**USUAL, "TRACK": track_layer.id(), **values}
    given = {name: value for name, value in given.items() if value is not None}
    with pytest.raises(QgsProcessingException, match=words):
        run("picksfromimage", {"PICKS": points, "IMAGE": image, **given})
    del given["OUTPUT"]
    with pytest.raises(QgsProcessingException, match=words):
        run_as_child("picksfromimage", {"PICKS": points.id(), "IMAGE": image.id(), **given})


def test_marks_none_of_which_can_be_read(run, image, track_layer, make_layer):
    marks = make_layer("Point", "", {"what": "string"}, [("POINT(500 -100.5)", [""])], "marks")
    usual = {"IMAGE": image, "TRACK": track_layer, **USUAL, "LABEL_FIELD": None}
    with pytest.raises(QgsProcessingException, match="None of the 1 marks.*centre line"):
        run("picksfromimage", {"PICKS": marks, **usual})
    with pytest.raises(QgsProcessingException, match="empty"):
        run("picksfromimage", {"PICKS": make_layer("Point", "", {"what": "string"}, [], "none"), **usual})
    area = make_layer("Polygon", "", {"what": "string"}, [("POLYGON((0 0, 1 0, 1 -1, 0 0))", [""])], "area")
    with pytest.raises(QgsProcessingException, match="polygons"):
        run("picksfromimage", {"PICKS": area, **usual})


def test_names_that_begin_like_a_formula_do_not_compute_in_a_spreadsheet(run, image, track_layer, make_layer, tmp_path):
    """OWASP, CSV Injection: labels out of somebody else's file, as CSV; numbers and other layers stay as they are."""
    names = ['=HYPERLINK("http://x.invalid","log")', "+1+1", "-2+3", "@SUM(A1)", "P 45", "-1", "+5.5"]
    marks = make_layer("Point", "", {"what": "string", "name": "string"},
                       [(f"POINT({740 + 10 * i} -100.5)", ["object", name]) for i, name in enumerate(names)], "marks")
    usual = {"PICKS": marks, "IMAGE": image, "TRACK": track_layer, **USUAL}
    out = tmp_path / "picks.csv"
    run("picksfromimage", {**usual, "OUTPUT": str(out)})
    with open(out, encoding="utf-8", newline="") as file:
        written = [row["label"] for row in csv.DictReader(file)]
    assert written == [f"'{name}" for name in names[:4]] + names[4:]
    assert [feature["label"] for feature in run("picksfromimage", usual)["OUTPUT"].getFeatures()] == names


def test_as_a_models_child(run_as_child, image, track_layer, points):
    given = {name: value for name, value in USUAL.items() if name != "OUTPUT"}
    _, made = run_as_child("picksfromimage", {"PICKS": points.id(), "IMAGE": image.id(), "TRACK": track_layer.id(),
                                              **given})
    assert made.featureCount() == 3


def test_from_the_command_line(qgis_process, run, image, track_layer, points, tmp_path):
    import processing
    for name, layer in (("marks", points), ("track", track_layer)):
        processing.run("native:savefeatures", {"INPUT": layer, "OUTPUT": str(tmp_path / f"{name}.gpkg")})
    code, results, errors = qgis_process("picksfromimage", {
        "PICKS": str(tmp_path / "marks.gpkg"), "IMAGE": image.source(), "TRACK": str(tmp_path / "track.gpkg"), **USUAL,
        "OUTPUT": str(tmp_path / "picks.gpkg")})
    assert code == 0, errors
    assert QgsVectorLayer(results["OUTPUT"], "p", "ogr").featureCount() == 3
