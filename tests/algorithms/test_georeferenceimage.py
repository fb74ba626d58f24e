"""Georeference record image, through the four doors, on simulated records whose floor tells the place."""
import numpy as np
import pytest
import tracks
import waterfalls
from athwart.sample_project.simulate.floors import Floor, flat, ramp, texture
from athwart.sample_project.simulate.waterfall import Display, Noise, draw
from athwart.sample_project.simulate.ways import Steered
from osgeo import gdal
from qgis.core import (
    QgsMapRendererSequentialJob,
    QgsMapSettings,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsRasterLayer,
)
from qgis.PyQt.QtCore import QSize

CRS = "EPSG:32615"
FLOOR = Floor(flat(5.0), ramp(45.0, -100.0, 200.0))
WAY = Steered(((30, 1.5, 20),))
DISPLAY = Display(((0.0, 20.0),), half=150, rate=0.2)
KINDS = {np.dtype(np.uint8): gdal.GDT_Byte, np.dtype(np.uint16): gdal.GDT_UInt16}


def saved(path, pixels, driver="PNG", alpha=False):
    """An image file of (rows, columns[, bands]) pixels."""
    pixels = pixels[..., None] if pixels.ndim == 2 else pixels
    rows, columns, bands = pixels.shape
    made = gdal.GetDriverByName("MEM").Create("", columns, rows, bands, KINDS[pixels.dtype])
    for k in range(bands):
        made.GetRasterBand(k + 1).WriteRaster(0, 0, columns, rows, np.ascontiguousarray(pixels[..., k]).tobytes())
    if alpha:
        made.GetRasterBand(bands).SetColorInterpretation(gdal.GCI_AlphaBand)
    gdal.GetDriverByName(driver).CreateCopy(str(path), made)
    return str(path)


@pytest.fixture(scope="module")
def record():
    """(waterfall, track) of a clean record."""
    made = draw(WAY, FLOOR, DISPLAY, Noise(painted=True))
    return made, waterfalls.track_of(made, WAY, crs=waterfalls.CRS.from_epsg(32615))


@pytest.fixture
def track_layer(record, make_layer):
    fields, rows = tracks.as_rows(record[1])
    return make_layer("Point", CRS, fields, rows, "track")


USUAL = {"LAYOUT": "both", "NEWEST": "top", "FIRST_PING": 1000, "CELL_SIZE": 0.5}


def bands_of(path):
    """(bands, GDAL dataset) of a raster."""
    raster = gdal.Open(path)
    kind = np.uint16 if raster.GetRasterBand(1).DataType == gdal.GDT_UInt16 else (
        np.float32 if raster.GetRasterBand(1).DataType == gdal.GDT_Float32 else np.uint8)
    return np.stack([np.frombuffer(raster.GetRasterBand(k + 1).ReadRaster(), kind).reshape(raster.RasterYSize, -1)
                     for k in range(raster.RasterCount)]), raster


def rendered(path, shape):
    """Reds of a raster as QGIS draws it with the style beside it, of every fourth cell of every fourth row."""
    layer, settings = QgsRasterLayer(path, "map"), QgsMapSettings()
    settings.setLayers([layer])
    settings.setDestinationCrs(layer.crs())
    settings.setExtent(layer.extent())
    settings.setOutputSize(QSize(shape[1], shape[0]))
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    image = job.renderedImage()
    return np.array([[image.pixelColor(col, row).red() for col in range(0, shape[1], 4)]
                     for row in range(0, shape[0], 4)])


def places(raster):
    """(u, v) of the simulator at all cells, and how many of them make a metre of the map."""
    x0, cell, _, y0, _, step = raster.GetGeoTransform()
    x, y = np.meshgrid(x0 + (np.arange(raster.RasterXSize) + 0.5) * cell,
                       y0 + (np.arange(raster.RasterYSize) + 0.5) * step)
    to_plane = waterfalls.Transformer.from_crs(32615, waterfalls.LOCAL, always_xy=True)
    u, v = to_plane.transform(x, y)
    return u - waterfalls.EAST, v - waterfalls.NORTH


class Heard(QgsProcessingFeedback):
    def __init__(self):
        super().__init__(False)
        self.said, self.warned = [], []

    def pushInfo(self, info):
        self.said.append(info)

    def pushWarning(self, warning):
        self.warned.append(warning)


def test_the_map_shows_every_place_where_it_is(run, record, track_layer, tmp_path):
    """On a UTM grid: scale 0.9996 and the convergence are in it. 8 bits over 200 m: a grey is 0.8 m."""
    image = saved(tmp_path / "line.png", record[0].grey)
    heard = Heard()
    made = run("georeferenceimage", {"IMAGE": [image], "TRACK": track_layer, **USUAL,
                                     "OUTPUT": str(tmp_path / "map.tif"),
                                     "SOURCE": str(tmp_path / "source.tif")}, heard)
    values, raster = bands_of(made["OUTPUT"])
    fine = gdal.Open(run("georeferenceimage", {"IMAGE": [image], "TRACK": track_layer, **USUAL, "CELL_SIZE": 0.08,
                                               "OUTPUT": str(tmp_path / "fine.tif")})["OUTPUT"])
    levels = [fine.GetRasterBand(1).GetOverview(k) for k in range(fine.GetRasterBand(1).GetOverviewCount())]
    assert [level.XSize for level in levels] == [-(-fine.RasterXSize // 2**k) for k in range(1, len(levels) + 1)]
    assert levels and 256 <= max(levels[-1].XSize, levels[-1].YSize) < 513
    source, _ = bands_of(made["SOURCE"])
    u, v = places(raster)
    seen = np.abs(source[6]) > 5.4
    seen &= source[6] > -9000
    off = (values[0] / 255.0 - FLOOR.brightness(u, v)) * 200
    assert seen.sum() > 3000 and np.abs(off[seen]).max() < 0.8 + 0.25
    assert values.shape[0] == 2 and set(np.unique(values[1])) == {0, 255}
    assert ((values[0] > 0) == (values[1] == 255)).all()
    first = raster.GetRasterBand(1)
    assert first.GetNoDataValue() == 0 and first.GetBlockSize() == [256, 256]
    assert raster.GetMetadata("IMAGE_STRUCTURE")["COMPRESSION"] == "DEFLATE"
    assert raster.GetRasterBand(2).GetColorInterpretation() == gdal.GCI_AlphaBand
    assert raster.GetMetadataItem("OUTING_1") == "day 1" and raster.GetMetadataItem("IMAGE_1") == "line.png"
    assert (tmp_path / "map.qml").exists() and (tmp_path / "source.qml").exists()
    assert made["SHOWN_M2"] == pytest.approx((values[1] > 0).sum() * 0.25, rel=0.01)
    assert any("m2 shown" in text for text in heard.said) and made["BOTTOM"] is None
    layer = QgsRasterLayer(made["OUTPUT"], "map")
    assert layer.isValid() and layer.renderer().alphaBand() == 2


@pytest.mark.parametrize("ending, driver", [("tif", "GTiff"), ("jpg", "JPEG"), ("png", "PNG")])
def test_formats_depths_and_colours(run, record, track_layer, tmp_path, ending, driver):
    grey = record[0].grey
    colour = np.stack([grey, grey // 2, grey // 4], axis=2)
    shapes = {"JPEG": (colour, 4), "PNG": (np.dstack([colour, np.full(grey.shape, 255, np.uint8)]), 4),
              "GTiff": (grey.astype(np.uint16) * 257, 2)}
    pixels, bands = shapes[driver]
    image = saved(tmp_path / f"a.{ending}", pixels, driver, alpha=driver == "PNG")
    values, raster = bands_of(run("georeferenceimage", {
        "IMAGE": image, "TRACK": track_layer, **USUAL, "OUTPUT": str(tmp_path / "map.tif")})["OUTPUT"])
    plain, _ = bands_of(run("georeferenceimage", {
        "IMAGE": saved(tmp_path / "grey.png", grey), "TRACK": track_layer, **USUAL,
        "OUTPUT": str(tmp_path / "plain.tif")})["OUTPUT"])
    assert raster.RasterCount == bands
    scale, slack = (257, 257) if driver == "GTiff" else (1, 25 if driver == "JPEG" else 0.5)
    assert np.percentile(np.abs(values[0] - plain[0] * float(scale)), 99) <= slack
    if driver == "GTiff":
        drawn, few = rendered(str(tmp_path / "map.tif"), values[0].shape), values[0][::4, ::4]
        assert np.corrcoef(drawn[few > 0], few[few > 0])[0, 1] > 0.95, "QGIS draws 16 bits as they are"
    if bands == 4:
        assert np.median(values[1][plain[0] > 100] / values[0][plain[0] > 100]) == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize("into", [True, False])
def test_pictures_of_every_make_are_read_as_they_are(tmp_path, monkeypatch, into):
    """Numbered colours, grey with alpha, 16-bit colours with alpha; and of mixed ones the fuller kind. GDAL before 3.3
    cannot read into an array."""
    from athwart.algorithms.common import images
    from athwart.algorithms.common.images import Opened, stacked
    monkeypatch.setattr(images, "_INTO", images._INTO and into)
    grey = np.arange(12 * 20, dtype=np.uint8).reshape(12, 20)
    solid = np.where(grey % 3, 255, 0).astype(np.uint8)
    table = gdal.ColorTable()
    for k in range(256):
        table.SetColorEntry(k, (k, 255 - k, k // 2, 255))
    numbered = gdal.GetDriverByName("GTiff").Create(str(tmp_path / "numbered.tif"), 20, 12, 1, gdal.GDT_Byte)
    numbered.GetRasterBand(1).SetColorTable(table)
    numbered.GetRasterBand(1).WriteRaster(0, 0, 20, 12, grey.tobytes())
    numbered = None
    wide = np.dstack([grey * np.uint16(200), grey * np.uint16(100), grey * np.uint16(7), solid * np.uint16(257)])
    paths = {"numbered": str(tmp_path / "numbered.tif"),
             "veiled": saved(tmp_path / "veiled.png", np.dstack([grey, solid]), alpha=True),
             "wide": saved(tmp_path / "wide.png", wide, alpha=True),
             "colours": saved(tmp_path / "colours.png", np.dstack([grey, solid, 255 - grey]))}
    cache = gdal.GetCacheMax()
    read = {name: stacked([Opened(path, name)], "top") for name, path in paths.items()}
    assert np.array_equal(read["numbered"][0], np.dstack([grey, 255 - grey, grey // 2])) and read["numbered"][1] is None
    assert np.array_equal(read["veiled"][0], grey) and np.array_equal(read["veiled"][1], solid == 0)
    assert read["wide"][0].dtype == np.uint16 and np.array_equal(read["wide"][0], wide[..., :3])
    assert np.array_equal(read["wide"][1], solid == 0)
    pixels, clear = stacked([Opened(paths["veiled"], "one"), Opened(paths["wide"], "two")], "bottom")
    assert np.array_equal(pixels[:12], np.repeat(grey[..., None], 3, 2) * np.uint16(257))
    assert np.array_equal(pixels[12:], wide[..., :3]) and np.array_equal(clear, np.vstack([solid == 0] * 2))
    pixels, clear = stacked([Opened(paths["veiled"], "one"), Opened(paths["colours"], "two")], "bottom")
    assert np.array_equal(pixels[:12], np.repeat(grey[..., None], 3, 2)), "grey beside colours fills all three bands"
    assert np.array_equal(pixels[12:], np.dstack([grey, solid, 255 - grey])) and not clear[12:].any()
    assert gdal.GetCacheMax() == cache


def test_a_picture_cut_in_three_goes_on_by_itself_and_by_table(run, record, track_layer, make_layer, tmp_path):
    """Newest row on top: the last part of the outing is the first of the rows."""
    grey, cut = record[0].grey, (40, 90)
    parts = [grey[cut[1]:], grey[cut[0]:cut[1]], grey[:cut[0]]]
    paths = [saved(tmp_path / f"part {k + 9}.png", part) for k, part in enumerate(parts)]
    whole = bands_of(run("georeferenceimage", {
        "IMAGE": saved(tmp_path / "whole.png", grey), "TRACK": track_layer, **USUAL,
        "OUTPUT": str(tmp_path / "whole.tif")})["OUTPUT"])[0]
    several = bands_of(run("georeferenceimage", {
        "IMAGE": paths[::-1], "TRACK": track_layer, **USUAL, "OUTPUT": str(tmp_path / "several.tif")})["OUTPUT"])[0]
    assert np.array_equal(whole, several)
    first = 1000 + np.cumsum([0, len(parts[0]), len(parts[1])])
    frames = make_layer("None", "", {"image": "string", "first_ping": "double"}, [
        (None, [f"part {k + 9}.png", float(first[k])]) for k in (2, 0, 1)], "frames")
    told = bands_of(run("georeferenceimage", {
        "IMAGE": paths, "TRACK": track_layer, **USUAL, "FIRST_PING": None, "FRAMES": frames,
        "OUTPUT": str(tmp_path / "told.tif"), "SOURCE": str(tmp_path / "source.tif")})["OUTPUT"])[0]
    assert np.count_nonzero(whole[1] != told[1]) < 0.01 * np.count_nonzero(whole[1])
    assert set(np.unique(bands_of(str(tmp_path / "source.tif"))[0][4])) == {-9999, 1, 2, 3}
    with pytest.raises(QgsProcessingException, match="'other.png' does not stand in .*'frames'"):
        run("georeferenceimage", {"IMAGE": [saved(tmp_path / "other.png", grey)], "TRACK": track_layer, **USUAL,
                                  "FIRST_PING": None, "FRAMES": frames, "OUTPUT": str(tmp_path / "x.tif")})


def test_the_traced_bottom_comes_out_and_goes_in_again(run, make_layer, tmp_path):
    floor = Floor(flat(6.0), texture(3))
    made = draw(WAY, floor, DISPLAY, Noise.ordinary(), 3)
    fields, rows = tracks.as_rows(waterfalls.track_of(made, WAY, crs=waterfalls.CRS.from_epsg(32615), depth_m=9.0))
    layer = make_layer("Point", CRS, fields, rows, "track")
    image = saved(tmp_path / "a.png", made.grey)
    usual = {"IMAGE": image, "TRACK": layer, **USUAL, "OUTPUT": str(tmp_path / "a.tif")}
    heard = Heard()
    traced = run("georeferenceimage", {**usual, "BOTTOM_FROM": "traced", "BOTTOM": "memory:"}, heard)
    line = list(traced["BOTTOM"].getFeatures())
    depth = np.array([feature["depth_m"] for feature in line])
    assert len(line) > 0.9 * len(made.grey) and np.median(depth) == pytest.approx(6.0, abs=0.1)
    point = line[20].geometry().asPoint()
    assert point.x() == pytest.approx(150 + depth[20] / 20 * 150, abs=0.01) and -point.y() == line[20]["row"]
    assert {feature["kind"] for feature in line} == {"bottom"}
    again = run("georeferenceimage", {**usual, "BOTTOM_FROM": "picks", "BOTTOM_PICKS": traced["BOTTOM"],
                                      "OUTPUT": str(tmp_path / "b.tif")})
    assert np.mean(bands_of(again["OUTPUT"])[0] == bands_of(traced["OUTPUT"])[0]) > 0.99


@pytest.mark.parametrize("values, words", [
    ({"LAYOUT": None}, "does the picture show both sides"), ({"NEWEST": None}, "latest ping stand"),
    ({"FIRST_PING": None}, "Nothing says which ping a row is"), ({"CELL_SIZE": 0}, "above 0"),
    ({"RANGE_MODEL": "terrain"}, "there is no 'Depth grid'"), ({"BOTTOM_FROM": "picks"}, "there are no 'Picks of the"),
    ({"EDGE_RANGE": 20}, "without its unit"), ({"FIRST_PING": 9e6}, "No row falls on the track"),
    ({"TARGET_CRS": "EPSG:4326"}, "does not count in metres")])
def test_refusals_stand_at_every_door(run, run_as_child, record, track_layer, tmp_path, values, words):
    image = saved(tmp_path / "a.png", record[0].grey)
    asked = {"IMAGE": [image], "TRACK": track_layer, **USUAL, **values}
    with pytest.raises(QgsProcessingException, match=words):
        run("georeferenceimage", {**asked, "OUTPUT": str(tmp_path / "x.tif")})
    asked = {name: value for name, value in asked.items() if value is not None}
    with pytest.raises(QgsProcessingException, match=words):
        run_as_child("georeferenceimage", asked)
    assert not (tmp_path / "x.tif").exists()


def test_images_that_are_none(run, track_layer, record, tmp_path):
    (tmp_path / "cut.png").write_bytes(b"\x89PNG\r\n\x1a\n" + b"x" * 60)
    wide = saved(tmp_path / "wide.png", np.zeros((50, 99), np.uint8))
    image = saved(tmp_path / "a.png", record[0].grey)
    for given, words in (([str(tmp_path / "cut.png")], "IMAGE"), ([image, wide], "pixels wide")):
        with pytest.raises(QgsProcessingException, match=words):
            run("georeferenceimage", {"IMAGE": given, "TRACK": track_layer, **USUAL, "OUTPUT": str(tmp_path / "x.tif")})


def test_as_a_models_child(run_as_child, record, track_layer, tmp_path):
    image = saved(tmp_path / "a.png", record[0].grey)
    results, _ = run_as_child("georeferenceimage", {"IMAGE": image, "TRACK": track_layer, **USUAL, "BALANCE": True,
                                                  "BLEND": "mean"})
    layer = QgsRasterLayer(next(value for value in results.values() if str(value).endswith(".tif")), "map")
    assert layer.isValid() and layer.bandCount() == 2


def test_from_the_command_line(qgis_process, record, track_layer, tmp_path):
    image = saved(tmp_path / "a.png", record[0].grey)
    import processing
    processing.run("native:savefeatures", {"INPUT": track_layer, "OUTPUT": str(tmp_path / "t.gpkg")})
    code, results, errors = qgis_process("georeferenceimage", {
        "IMAGE": image, "TRACK": str(tmp_path / "t.gpkg"), **USUAL, "OUTPUT": str(tmp_path / "map.tif")})
    assert code == 0, errors
    assert results["SHOWN_M2"] > 500 and (tmp_path / "map.tif").exists()
