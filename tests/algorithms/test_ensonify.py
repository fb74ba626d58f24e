"""Map bottom seen: through a script, as a model's child, from the command line; every refusal."""
import pathlib

import beds
import numpy as np
import onfile
import pytest
import tracks
from pyproj import Proj
from qgis.core import QgsProcessingException, QgsProcessingFeedback, QgsRasterLayer

EAST, NORTH = 500_000.0, 4_980_000.0
BANDS = ["looks", "directions", "grazing", "hits", "smallest_object", "hidden", "detecting_looks",
         "detecting_directions"]


class Heard(QgsProcessingFeedback):
    """Keeps what a tool says."""

    def __init__(self):
        super().__init__(False)
        self.said = ""

    def pushInfo(self, info):
        self.said += info + "\n"

    def pushWarning(self, warning):
        self.said += "Warning: " + warning + "\n"


@pytest.fixture
def line(tmp_path):
    """line(**columns): file of a track 80 m to the north, R 20 m over 5 m of water."""
    def call(name="track.gpkg", **given):
        n = np.arange(-40, 40.1, 1.5)
        heading = Proj("EPSG:32615").get_factors(*Proj("EPSG:32615")(EAST, NORTH, inverse=True)).meridian_convergence
        return onfile.track_file(tmp_path / name, tracks.made(
            "EPSG:32615", np.full(len(n), EAST), NORTH + n, heading, **{"range_m": 20.0, "depth_m": 5.0, **given}))
    return call


@pytest.fixture
def ridge(tmp_path):
    """Depth grid with a ridge 3 m deep at 7.5 to 9 m east."""
    t, size = (EAST - 90, 0.5, 0, NORTH + 90, 0, -0.5), 360
    e = np.tile((np.arange(size) + 0.5) * 0.5 - 90, (size, 1))
    return onfile.raster_file(tmp_path / "ridge.tif", 5 - 2 * np.clip(2 - np.abs(e - 8.25) / 0.5, 0, 1), t)


def test_bands_metadata_and_numbers(run, line, ridge, tmp_path):
    heard, path = Heard(), str(tmp_path / "seen.tif")
    results = run("ensonify", {"INPUT": line(), "DEPTH_GRID": ridge, "OBJECT_SIZE": 0.8, "OUTPUT": path}, heard)
    bands, raster = onfile.bands_of(results["OUTPUT"])
    assert list(bands) == BANDS and raster.GetRasterBand(5).GetUnitType() == "m"
    assert raster.GetSpatialRef().IsProjected() and raster.GetMetadataItem("OBJECT_SIZE_M") == "0.8"
    assert raster.GetDriver().ShortName == "GTiff" and raster.GetRasterBand(1).DataType == 6  # Float32
    left, cell, _, top, _, _ = raster.GetGeoTransform()
    row, col = int((top - NORTH) / cell), [int((EAST + e - left) / cell) for e in (7.75, 9.25, 14.25, 14.75, 0.25)]
    assert bands["looks"][row, col].tolist() == [1, 0, 0, 1, 0]
    assert bands["hidden"][row, col].tolist() == [0, 1, 1, 0, 0]
    assert np.isnan(bands["grazing"][row, col]).tolist() == [False, True, True, False, True]
    assert results["SEEN_M2"] == pytest.approx(bands["looks"].clip(0, 1).sum() * cell**2, rel=2e-3)
    shows = bands["smallest_object"] <= 0.8
    assert results["DETECTION_M2"] == pytest.approx(shows.sum() * cell**2, rel=2e-3) and shows.any()
    assert "Hidden by nearer ground" in heard.said and "median 0.00 m" in heard.said
    assert pathlib.Path(path).with_suffix(".qml").exists() and not list(tmp_path.glob("*unfinished*"))


def test_the_style_speaks_plain_words(run, line, tmp_path):
    path = run("ensonify", {"INPUT": line(), "OUTPUT": str(tmp_path / "seen.tif")})["OUTPUT"]
    layer = QgsRasterLayer(path, "seen")
    words = [item.label for item in layer.renderer().shader().rasterShaderFunction().colorRampItemList()]
    assert words[:3] == ["not seen", "seen in one pass", "seen in two passes"]
    assert layer.renderer().band() == 1


def test_styles_of_a_layer_that_qgis_loads(provider, line, tmp_path):
    from qgis.core import QgsApplication, QgsProcessingContext, QgsProject
    context = QgsProcessingContext()
    context.setProject(QgsProject.instance())
    path = str(tmp_path / "seen.tif")
    context.addLayerToLoadOnCompletion(path, QgsProcessingContext.LayerDetails("seen", QgsProject.instance(), "OUTPUT"))
    tool = QgsApplication.processingRegistry().createAlgorithmById("athwart:ensonify")
    _, ok = tool.run({"INPUT": line(), "OUTPUT": path}, context, Heard())
    assert ok
    layer = QgsRasterLayer(path, "seen")
    context.layerToLoadOnCompletionDetails(path).postProcessor().postProcessLayer(layer, context, Heard())
    styles = layer.styleManager().styles()
    assert layer.renderer().band() == 1
    shown = {}
    for name in ("hidden ground", "smallest object", "detecting looks", "detecting directions"):
        assert name in styles and layer.styleManager().setCurrentStyle(name)
        shown[layer.bandName(layer.renderer().band()).split(": ")[1].split(" (")[0]] = name
    assert shown == {"hidden": "hidden ground", "smallest_object": "smallest object",
                     "detecting_looks": "detecting looks", "detecting_directions": "detecting directions"}


def test_a_flat_bottom_without_a_grid_and_the_water(run, line, tmp_path):
    lake = onfile.polygon_file(tmp_path / "lake.gpkg", [[(EAST + e, NORTH + n) for e, n in (
        (-30, -60), (12, -60), (12, 60), (-30, 60))]])
    heard = Heard()
    path = run("ensonify", {"INPUT": line(), "WATER": lake, "OUTPUT": str(tmp_path / "s.tif")}, heard)["OUTPUT"]
    bands, raster = onfile.bands_of(path)
    left, cell, _, top, _, _ = raster.GetGeoTransform()
    row, col = int((top - NORTH) / cell), [int((EAST + e - left) / cell) for e in (-15.25, 11.25, 12.75)]
    assert bands["looks"][row, col[:2]].tolist() == [1, 1] and np.isnan(bands["looks"][row, col[2]])
    assert "taken as flat" in heard.said and raster.GetMetadataItem("DEPTH_GRID").startswith("none")


def test_a_track_in_degrees_gets_a_raster_in_metres(run, line, tmp_path):
    n = np.arange(-40, 40.1, 1.5)
    lon, lat = Proj("EPSG:32615")(np.full(len(n), EAST), NORTH + n, inverse=True)
    path = onfile.track_file(tmp_path / "degrees.gpkg", tracks.made("EPSG:4326", np.array(lon), np.array(lat), 0.0,
                                                                    range_m=20.0, depth_m=5.0), 4326)
    results = run("ensonify", {"INPUT": path, "OUTPUT": str(tmp_path / "s.tif")})
    _, raster = onfile.bands_of(results["OUTPUT"])
    assert raster.GetSpatialRef().GetAttrValue("AUTHORITY", 1) == "32615"
    plain = run("ensonify", {"INPUT": line(), "OUTPUT": str(tmp_path / "m.tif")})
    assert results["SEEN_M2"] == pytest.approx(plain["SEEN_M2"], rel=0.01)


def test_grid_and_track_that_disagree_are_named(run, line, tmp_path):
    t = (EAST - 90, 5, 0, NORTH + 90, 0, -5)
    feet = onfile.raster_file(tmp_path / "feet.tif", np.full((36, 36), 16.4), t)
    heard = Heard()
    run("ensonify", {"INPUT": line(), "DEPTH_GRID": feet, "OUTPUT": str(tmp_path / "s.tif")}, heard)
    assert "Warning: The depth grid 'feet' is 11.40 m deeper" in heard.said and "feet?" in heard.said


def test_where_the_grid_knows_nothing_it_is_told(run, line, tmp_path):
    values = np.full((36, 36), 5.0)
    values[:18] = np.nan
    half = onfile.raster_file(tmp_path / "half.tif", values, (EAST - 90, 5, 0, NORTH + 90, 0, -5))
    heard = Heard()
    run("ensonify", {"INPUT": line(), "DEPTH_GRID": half, "OUTPUT": str(tmp_path / "s.tif")}, heard)
    assert "knows nothing under" in heard.said and "taken as flat" in heard.said


def test_the_three_doors_agree(run, run_as_child, qgis_process, line, ridge, tmp_path):
    given = {"INPUT": line(), "DEPTH_GRID": ridge, "CELL_SIZE": 1.0}
    wanted = run("ensonify", {**given, "OUTPUT": str(tmp_path / "a.tif")})
    results, _ = run_as_child("ensonify", {**given, "OUTPUT": str(tmp_path / "b.tif")}, output=None)
    assert results is not None
    code, found, said = qgis_process("ensonify", {**given, "OUTPUT": str(tmp_path / "c.tif")})
    assert code == 0, said
    for name in ("SEEN_M2", "DETECTION_M2"):
        assert found[name] == pytest.approx(wanted[name], rel=1e-9)
    np.testing.assert_array_equal(onfile.bands_of(tmp_path / "c.tif")[0]["looks"],
                                  onfile.bands_of(tmp_path / "a.tif")[0]["looks"])


@pytest.mark.parametrize("name, value, words", [
    ("CELL_SIZE", 0, "CELL_SIZE"), ("CELL_SIZE", float("nan"), "CELL_SIZE"), ("BLIND_ANGLE", 90, "blind angle"),
    ("MIN_GRAZING", 90, "grazing"), ("OBJECT_SIZE", 0, "object size"), ("BEAM_WIDTH", 0, "beam width"),
    ("MIN_HITS", 0, "hits"), ("MIN_SHADOW", 0, "shadow"), ("PING_RATE", 0, "ping rate"), ("PING_SHARE", 0, "share")])
def test_values_out_of_bounds_are_refused(run_as_child, run, line, tmp_path, name, value, words):
    given = {"INPUT": line(), name: value}
    with pytest.raises(QgsProcessingException, match=r"(?i)" + words):
        run_as_child("ensonify", {**given, "OUTPUT": str(tmp_path / "x.tif")}, output=None)
    with pytest.raises(QgsProcessingException):
        run("ensonify", {**given, "OUTPUT": str(tmp_path / "x.tif")})
    assert not (tmp_path / "x.tif").exists()


def test_inputs_that_will_not_do_are_refused(run, line, tmp_path, make_layer):
    t = (EAST - 90, 5, 0, NORTH + 90, 0, -5)
    far = onfile.raster_file(tmp_path / "far.tif", np.full((36, 36), 5.0), (EAST + 900, 5, 0, NORTH, 0, -5))
    negative = onfile.raster_file(tmp_path / "negative.tif", np.full((36, 36), -5.0), t)
    nowhere = onfile.raster_file(tmp_path / "nowhere.tif", np.full((36, 36), 5.0), t, epsg=None)
    for grid, words in ((far, "does not cover"), (negative, "negative down"), (nowhere, "reference system")):
        with pytest.raises(QgsProcessingException, match=words):
            run("ensonify", {"INPUT": line(f"t{len(words)}.gpkg"), "DEPTH_GRID": grid,
                             "OUTPUT": str(tmp_path / "x.tif")})
    with pytest.raises(QgsProcessingException, match="lacks the field"):
        run("ensonify", {"INPUT": make_layer("Point", "EPSG:32615", {"a": "int"}, [("POINT(0 0)", [1])]),
                         "OUTPUT": str(tmp_path / "x.tif")})
    with pytest.raises(QgsProcessingException, match="longer than the depth"):
        run("ensonify", {"INPUT": line("deep.gpkg", depth_m=25.0), "OUTPUT": str(tmp_path / "x.tif")})
    assert not list(tmp_path.glob("x.tif*"))


def test_cancelling_leaves_nothing(run, line, tmp_path):
    heard = Heard()
    heard.cancel()
    with pytest.raises(QgsProcessingException):
        run("ensonify", {"INPUT": line(), "OUTPUT": str(tmp_path / "x.tif")}, heard)
    assert not list(tmp_path.glob("x.tif*"))


def test_the_deep_grid_is_read_by_window_not_whole(run, line, tmp_path):
    """A virtual grid of 40 billion bytes: only windows of it can have been read."""
    small = onfile.raster_file(tmp_path / "small.tif", np.full((10, 10), 5.0), (EAST - 90, 18, 0, NORTH + 90, 0, -18))
    vrt = beds.virtual_grid(tmp_path / "huge.vrt", small, EAST - 25_000, NORTH + 25_000, 0.5, 100_000)
    results = run("ensonify", {"INPUT": line(), "DEPTH_GRID": vrt, "OUTPUT": str(tmp_path / "s.tif")})
    assert results["SEEN_M2"] > 2000


@pytest.mark.parametrize("tool, given", [
    ("ensonify", {"OUTPUT": "seen.tif"}), ("swathfootprint", {"RANGE_MODEL": "terrain", "OUTPUT": "memory:"})])
def test_a_place_where_grid_and_sounder_disagree_is_named(run, line, tmp_path, tool, given):
    """A shelf of 3 m, recorded 2 m beyond a drop to 15 m; the other half of the line agrees."""
    t, size = (EAST - 90, 0.5, 0, NORTH + 90, 0, -0.5), 360
    e, n = np.meshgrid((np.arange(size) + 0.5) * 0.5 - 90, 90 - (np.arange(size) + 0.5) * 0.5)
    drop = onfile.raster_file(tmp_path / "drop.tif", np.where((e < -1) | (n < 0), 3.0, 15.0), t)
    heard = Heard()
    given = {**given, "OUTPUT": str(tmp_path / given["OUTPUT"]) if "tif" in given["OUTPUT"] else given["OUTPUT"]}
    run(tool, {"INPUT": line(depth_m=3.0), "DEPTH_GRID": drop, **given}, heard)
    warned = [text for text in heard.said.splitlines() if text.startswith("Warning: ") and "disagree on 1" in text]
    assert len(warned) == 1
    for words in ("pass 1 of 'day 1'", "12.0 m deeper", "at 500000.0, 498", "SIGMA_POSITION", "2023-11-14T22:1"):
        assert words in warned[0], words
    heard = Heard()
    run(tool, {"INPUT": line("other.gpkg", depth_m=3.0), "DEPTH_GRID": onfile.raster_file(
        tmp_path / "shelf.tif", 0 * e + 3.4, t), **given}, heard)
    assert "disagree" not in heard.said
