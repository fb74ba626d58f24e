"""Points picked on a mapped record go to 'Locate targets' as the picks on the picture they are."""
import numpy as np
import pytest
import record_layers as made
from athwart.survey.geometry.frame import Frame
from osgeo import gdal
from qgis.core import NULL, QgsProcessingException, QgsProject

SIGMAS = {"ERRORS": "careful", "CONFIDENCE": 95}


@pytest.fixture
def world(run, make_layer, tmp_path):
    """(track, marks on the picture, points on the map, map and its source): three objects, and a point beside the map.
    """
    image = made.picture(tmp_path / "record.png")
    pixels = np.full((made.HEIGHT, made.WIDTH), 100, np.uint8)
    data = gdal.GetDriverByName("MEM").Create("", made.WIDTH, made.HEIGHT, 1, gdal.GDT_Byte)
    data.GetRasterBand(1).WriteRaster(0, 0, made.WIDTH, made.HEIGHT, pixels.tobytes())
    gdal.GetDriverByName("PNG").CreateCopy(image.source(), data)
    track = made.layer_of(make_layer, made.track())
    frame, points, marks = Frame(made.CRS, -93.0, 45.0), [], []
    for name, ground, along in (("crib", 12.9, 33.3), ("log", -20.0, 60.7), ("car", 7.5, 12.0)):
        x, y = frame.inverse(np.array([ground]), np.array([along]))
        points.append((f"POINT({x[0]} {y[0]})", [name]))
        column = 400 + np.sign(ground) * np.hypot(ground, 6.0) / 0.1
        marks.append((f"POINT({column} {-(along / 0.15 + 0.5)})", [name]))
    points.append((f"POINT({x[0]} {y[0] + 500})", ["ashore"]))
    layers = [make_layer("Point", "", {"name": "string"}, marks, "marks"),
              make_layer("Point", made.CRS, {"name": "string"}, points, "points")]
    mapped = run("georeferenceimage", {
        "IMAGE": [image], "TRACK": track, **made.LAYOUT, "CELL_SIZE": 0.5, "OUTPUT": str(tmp_path / "map.tif"),
        "SOURCE": str(tmp_path / "source.tif")})
    yield image, track, *layers, mapped
    QgsProject.instance().clear()


def by_label(layer):
    return {row["label"]: row for row in made.rows_of(layer)}


def test_the_same_target_and_ellipse_from_the_map_and_from_the_picture(run, world):
    image, track, marks, points, mapped = world
    picks = run("picksfromimage", {"PICKS": marks, "IMAGE": image, "TRACK": track, **made.LAYOUT, "LABEL_FIELD": "name",
                                   "OUTPUT": "memory:"})["OUTPUT"]
    usual = {"TRACK": track, **SIGMAS, "OUTPUT": "memory:", "REJECTED": "memory:"}
    picture = by_label(run("locatetargets", {"PICKS": picks, **usual})["OUTPUT"])
    found = run("locatetargets", {"PICKS": points, "TIE": "object point", "SOURCE": mapped["SOURCE"],
                                  "LABEL_FIELD": "name", **usual})
    mine = by_label(found["OUTPUT"])
    assert set(mine) == set(picture) == {"crib", "log", "car"} and found["REJECTED_COUNT"] == 1
    assert "shows nothing of the record" in made.rows_of(found["REJECTED"])[0]["reason"]
    for label, row in mine.items():
        other = picture[label]
        assert (row["side"], row["pass_id"], row["status"]) == (other["side"], other["pass_id"], other["status"])
        assert row["t_s"] == pytest.approx(other["t_s"], abs=0.02)
        for name, off in (("slant_m", 0.02), ("ground_m", 0.02), ("semi_major_m", 0.02), ("semi_minor_m", 0.02),
                          ("azimuth_deg", 0.3), ("pct_position", 0.5), ("depth_m", 1e-6)):
            assert row[name] == pytest.approx(other[name], abs=off), (label, name)
        assert row["height_m"] == NULL


REFUSED = [({"TIE": "auto"}, "object point"), ({"MARK_DELAY": 1}, "MARK_DELAY"), ({"SOURCE": "map"}, "lacks outing")]


@pytest.mark.parametrize("given, words", REFUSED)
def test_refusals(run, run_as_child, world, given, words):
    _, track, _, points, mapped = world
    values = {"PICKS": points, "TRACK": track, "TIE": "object point", "SIDE": "port", "SLANT": 10, "RANGE_UNIT": "m",
              "SOURCE": mapped["SOURCE"], **given}
    values["SOURCE"] = mapped["OUTPUT"] if values["SOURCE"] == "map" else values["SOURCE"]
    with pytest.raises(QgsProcessingException, match=words):
        run("locatetargets", {**values, "OUTPUT": "memory:"})
    QgsProject.instance().addMapLayer(points)
    with pytest.raises(QgsProcessingException, match=words):
        run_as_child("locatetargets", {**values, "PICKS": points.id(), "TRACK": track.id()})


def test_from_the_command_line(qgis_process, world, tmp_path):
    import processing
    _, track, _, points, mapped = world
    for name, layer in (("points", points), ("track", track)):
        processing.run("native:savefeatures", {"INPUT": layer, "OUTPUT": str(tmp_path / f"{name}.gpkg")})
    code, results, errors = qgis_process("locatetargets", {
        "PICKS": str(tmp_path / "points.gpkg"), "TRACK": str(tmp_path / "track.gpkg"), "TIE": "object point",
        "SOURCE": mapped["SOURCE"], "OUTPUT": str(tmp_path / "targets.gpkg")})
    assert code == 0, errors
    assert results["TARGET_COUNT"] == 3
