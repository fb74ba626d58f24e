"""Prepare depth grid: any raster, contour lines, refusals, the three doors."""
import pathlib

import numpy as np
import onfile
import pytest
from osgeo import gdal, ogr
from pyproj import Transformer
from qgis.core import QgsProcessingException, QgsProcessingFeedback, QgsRasterLayer

EAST, NORTH = 500_000.0, 4_980_000.0


class Heard(QgsProcessingFeedback):
    """Keeps what a tool says."""

    def __init__(self):
        super().__init__(False)
        self.said = ""

    def pushInfo(self, info):
        self.said += info + "\n"

    def pushWarning(self, warning):
        self.said += "Warning: " + warning + "\n"


def bowl(x, y):
    """A depth in metres at places in EPSG:32615."""
    return 12 - np.hypot(x - EAST, y - NORTH) / 30


def cells(transform, shape):
    """Middles of the cells of a raster."""
    col, row = np.meshgrid(np.arange(shape[1]) + 0.5, np.arange(shape[0]) + 0.5)
    return tuple(transform[k] + col * transform[k + 1] + row * transform[k + 2] for k in (0, 3))


def made(tmp_path, name, transform, epsg, value=lambda depth: depth, shape=(80, 80), **given):
    """A raster file of ``value(depth)`` of the bowl, nodata beyond 300 m."""
    x, y = cells(transform, shape)
    if epsg != 32615:
        x, y = Transformer.from_crs(epsg, 32615, always_xy=True).transform(x, y)
    values = np.where(np.hypot(x - EAST, y - NORTH) < 300, value(bowl(x, y)), np.nan)
    return onfile.raster_file(tmp_path / name, values, transform, epsg, **given)


def worst(path, margin=25.0):
    """Largest error (m) of a finished grid against the bowl, away from its rim, and its cells inside."""
    bands, raster = onfile.bands_of(path)
    x, y = cells(raster.GetGeoTransform(), bands["depth_m"].shape)
    if raster.GetSpatialRef().GetAttrValue("AUTHORITY", 1) != "32615":
        system = raster.GetSpatialRef().ExportToWkt()
        x, y = Transformer.from_crs(system, 32615, always_xy=True).transform(x, y)
    radius = np.hypot(x - EAST, y - NORTH)
    inside = (radius < 300 - margin) & (radius > 15)
    assert np.isnan(bands["depth_m"][radius > 300 + margin]).all()
    return np.abs(bands["depth_m"] - bowl(x, y))[inside].max(), np.count_nonzero(inside)


PLAIN = (EAST - 400, 10, 0, NORTH + 400, 0, -10)


def test_a_plain_grid_comes_through_cell_by_cell(run, tmp_path):
    heard, path = Heard(), str(tmp_path / "out.tif")
    given = made(tmp_path, "plain.tif", PLAIN, 32615)
    run("preparebathymetry", {"INPUT": given, "KIND": "depth", "UNIT": "m", "OUTPUT": path}, heard)
    np.testing.assert_allclose(onfile.bands_of(path)[0]["depth_m"],
                               next(iter(onfile.bands_of(given)[0].values())), rtol=1e-6)
    assert onfile.bands_of(path)[1].GetGeoTransform() == PLAIN
    assert "deepest place" in heard.said and "Depth (m) =" in heard.said
    assert pathlib.Path(path).with_suffix(".qml").exists()


@pytest.mark.parametrize("how, given", [
    ("feet", {"UNIT": "ft", "KIND": "depth"}),
    ("fathoms and a rise", {"UNIT": "fathom", "KIND": "depth", "WATER_RISE": 0.5}),
    ("elevation", {"UNIT": "m", "KIND": "elevation", "SURFACE_ELEVATION": 332.9}),
    ("elevation in feet, low water", {"UNIT": "ft", "KIND": "elevation", "SURFACE_ELEVATION": 1092, "WATER_RISE": -2}),
    ("negative down", {"UNIT": "m", "KIND": "elevation", "SURFACE_ELEVATION": 0})])
def test_units_and_kinds(run, tmp_path, how, given):
    value = {"feet": lambda d: d / 0.3048, "fathoms and a rise": lambda d: d / 1.8288 - 0.5,
             "elevation": lambda d: 332.9 - d, "elevation in feet, low water": lambda d: 1090 - d / 0.3048,
             "negative down": lambda d: -d}[how]
    path = run("preparebathymetry", {"INPUT": made(tmp_path, "in.tif", PLAIN, 32615, value), **given,
                                     "OUTPUT": str(tmp_path / "out.tif")})["OUTPUT"]
    assert worst(path)[0] < 1e-3


def spread(epsg, size=80):
    """A geotransform of about the same square in another CRS."""
    x, y = Transformer.from_crs(32615, epsg, always_xy=True).transform(
        [EAST - 400, EAST + 400], [NORTH - 400, NORTH + 400])
    return x[0], (x[1] - x[0]) / size, 0, y[1], 0, (y[0] - y[1]) / size


@pytest.mark.parametrize("way", ["south-up", "rotated", "degrees", "web mercator", "us feet"])
def test_any_way_round_and_any_coordinate_system(run, tmp_path, way):
    transform, epsg = {
        "south-up": ((EAST - 400, 10, 0, NORTH - 400, 0, 10), 32615),
        "rotated": ((EAST - 560, 8, 6, NORTH + 80, 6, -8), 32615), "degrees": (spread(4326), 4326),
        "web mercator": (spread(3857), 3857), "us feet": (spread(26851), 26851)}[way]
    path = run("preparebathymetry", {"INPUT": made(tmp_path, "in.tif", transform, epsg), "KIND": "depth", "UNIT": "m",
                                     "OUTPUT": str(tmp_path / "out.tif")})["OUTPUT"]
    error, count = worst(path)
    assert error < 0.12 and count > 1000  # a third of a metre a cell, interpolated between cells
    raster = onfile.bands_of(path)[1]
    t = raster.GetGeoTransform()
    assert raster.GetSpatialRef().IsProjected() and t[1] > 0 > t[5] and t[2] == t[4] == 0
    assert t[1] == pytest.approx(10, rel=0.02)  # about the cell it came with, in metres on the ground


def test_coarser_cells_are_means_and_finer_ones_interpolated(run, tmp_path):
    for cell, most in ((2.5, 0.05), (40, 0.35)):
        path = run("preparebathymetry", {"INPUT": made(tmp_path, "in.tif", PLAIN, 32615), "KIND": "depth", "UNIT": "m",
                                         "CELL_SIZE": cell, "OUTPUT": str(tmp_path / f"{cell}.tif")})["OUTPUT"]
        assert worst(path, 60)[0] < most
        assert onfile.bands_of(path)[1].GetGeoTransform()[1] == cell


def test_integers_with_a_scale(run, tmp_path):
    path = made(tmp_path, "in.tif", PLAIN, 32615, lambda d: np.round(d * 10), kind=gdal.GDT_Int16)
    raster = gdal.Open(path, gdal.GA_Update)
    raster.GetRasterBand(1).SetScale(0.1)
    raster = None
    assert worst(run("preparebathymetry", {"INPUT": path, "KIND": "depth", "UNIT": "m",
                                           "OUTPUT": str(tmp_path / "out.tif")})["OUTPUT"])[0] < 0.06


def test_a_raster_read_block_by_block_has_no_seams(run, tmp_path, monkeypatch):
    monkeypatch.setattr("athwart.algorithms.track.preparebathymetry._BLOCK", 32)
    path = run("preparebathymetry", {"INPUT": made(tmp_path, "in.tif", spread(4326), 4326), "KIND": "depth",
                                     "UNIT": "m", "OUTPUT": str(tmp_path / "out.tif")})["OUTPUT"]
    assert worst(path)[0] < 0.12


def contours(path, levels, epsg=32615, value=lambda level: level, text=False):
    """Contours of the bowl as circles, in a GeoPackage."""
    store = ogr.GetDriverByName("GPKG").CreateDataSource(str(path))
    layer = store.CreateLayer("lines", onfile._srs(epsg), ogr.wkbLineString)
    layer.CreateField(ogr.FieldDefn("depth", ogr.OFTString if text else ogr.OFTReal))
    angle = np.linspace(0, 2 * np.pi, 181)
    for level in levels:
        x, y = EAST + (12 - level) * 30 * np.sin(angle), NORTH + (12 - level) * 30 * np.cos(angle)
        if epsg != 32615:
            x, y = Transformer.from_crs(32615, epsg, always_xy=True).transform(x, y)
        feature = ogr.Feature(layer.GetLayerDefn())
        line = ogr.Geometry(ogr.wkbLineString)
        for a, b in zip(x, y):
            line.AddPoint_2D(float(a), float(b))
        feature.SetGeometry(line)
        shown = value(level)
        feature.SetField(0, f"{shown:g}".replace(".", ",") if text else float(shown))
        layer.CreateFeature(feature)
    return str(path)


def circle(radius, turned=False):
    angle = np.linspace(0, 2 * np.pi, 181)[:-1]
    ring = list(zip(EAST + radius * np.sin(angle), NORTH + radius * np.cos(angle)))
    return ring[::-1] if turned else ring


@pytest.mark.parametrize("lines", [False, True], ids=["polygon", "lines"])
@pytest.mark.parametrize("how", ["plain", "feet as text", "elevation in degrees"])
def test_contours_and_shoreline(run, tmp_path, lines, how):
    lake = onfile.polygon_file(tmp_path / "lake.gpkg", [circle(360)], lines=lines)
    drawn, given = {
        "plain": ({}, {"KIND": "depth", "UNIT": "m"}),
        "feet as text": ({"value": lambda d: d / 0.3048, "text": True}, {"KIND": "depth", "UNIT": "ft"}),
        "elevation in degrees": ({"value": lambda d: 332.9 - d, "epsg": 4326},
                                 {"KIND": "elevation", "UNIT": "m", "SURFACE_ELEVATION": 332.9})}[how]
    heard = Heard()
    path = run("preparebathymetry", {
        "CONTOURS": contours(tmp_path / "c.gpkg", np.arange(1, 12), **drawn), "CONTOUR_DEPTH_FIELD": "depth",
        "SHORELINE": lake, **given, "CELL_SIZE": 5, "OUTPUT": str(tmp_path / "out.tif")}, heard)["OUTPUT"]
    bands, raster = onfile.bands_of(path)
    x, y = cells(raster.GetGeoTransform(), bands["depth_m"].shape)
    radius = np.hypot(x - EAST, y - NORTH)
    assert np.isnan(bands["depth_m"][radius > 366]).all()
    between = (radius > 35) & (radius < 350)
    error = np.abs(bands["depth_m"] - bowl(x, y))[between]
    assert error.max() < 0.3 and np.sqrt(np.mean(error**2)) < 0.09
    # never in steps: between two contours the depth takes every value, and few cells sit on a contour's own
    ring = bands["depth_m"][between]
    away = np.abs(radius[between] / 30 - np.round(radius[between] / 30)) > 0.2
    assert np.mean(np.abs(ring[away] - np.round(ring[away])) < 0.02) < 0.02
    assert 11.2 < bands["depth_m"][radius < 20].max() <= 11.5  # rounded on beyond the last line, and marked
    np.testing.assert_array_equal(bands["invented"][radius < 25], 1)
    assert not (bands["invented"][(radius > 35) & (radius < 350)] > 0).any()
    assert "1 hole(s) and 0 shoal(s)" in heard.said
    assert "11 contour lines of 11 levels" in heard.said


def test_an_island_is_land(run, tmp_path):
    lake = onfile.polygon_file(tmp_path / "lake.gpkg", [circle(360), circle(60, True)])
    path = run("preparebathymetry", {
        "CONTOURS": contours(tmp_path / "c.gpkg", np.arange(1, 9)), "CONTOUR_DEPTH_FIELD": "depth", "SHORELINE": lake,
        "KIND": "depth", "UNIT": "m", "CELL_SIZE": 3, "OUTPUT": str(tmp_path / "out.tif")})["OUTPUT"]
    bands, raster = onfile.bands_of(path)
    x, y = cells(raster.GetGeoTransform(), bands["depth_m"].shape)
    radius = np.hypot(x - EAST, y - NORTH)
    assert np.isnan(bands["depth_m"][radius < 55]).all()
    assert np.isfinite(bands["depth_m"][(radius > 65) & (radius < 350)]).all()


@pytest.fixture
def good(tmp_path):
    """Inputs that would do."""
    return {"INPUT": made(tmp_path, "in.tif", PLAIN, 32615), "KIND": "depth", "UNIT": "m"}


@pytest.mark.parametrize("change, words", [
    ({"KIND": None}, "KIND"), ({"UNIT": None}, "UNIT"), ({"KIND": "elevation"}, "SURFACE_ELEVATION"),
    ({"SURFACE_ELEVATION": 5}, "SURFACE_ELEVATION"), ({"CELL_SIZE": 0}, "CELL_SIZE"), ({"INPUT": None}, "neither"),
    ({"WATER_RISE": float("nan")}, "WATER_RISE"), ({"UNIT": "miles"}, "UNIT")])
def test_what_is_missing_or_out_of_bounds_is_refused(run, run_as_child, good, tmp_path, change, words):
    given = {name: value for name, value in {**good, **change}.items() if value is not None}
    for door in (run, lambda tool, values: run_as_child(tool, values, output=None)):
        with pytest.raises(QgsProcessingException, match=words):
            door("preparebathymetry", {**given, "OUTPUT": str(tmp_path / "x.tif")})
    assert not list(tmp_path.glob("x.tif*"))


def test_contours_need_their_field_and_a_shore(run, good, tmp_path):
    lines = contours(tmp_path / "c.gpkg", [1, 2])
    half = circle(360)[:90]
    open_shore = onfile.polygon_file(tmp_path / "shore.gpkg", [half + half[::-1]], lines=True)
    lake = onfile.polygon_file(tmp_path / "lake.gpkg", [circle(360)])
    rest = {"KIND": "depth", "UNIT": "m", "OUTPUT": str(tmp_path / "x.tif")}
    for given, words in (
            ({"CONTOURS": lines, "SHORELINE": lake}, "CONTOUR_DEPTH_FIELD"),
            ({"CONTOURS": lines, "CONTOUR_DEPTH_FIELD": "depth"}, "SHORELINE"),
            ({"CONTOURS": lines, "INPUT": good["INPUT"]}, "both"),
            ({"CONTOURS": lines, "CONTOUR_DEPTH_FIELD": "depth", "SHORELINE": open_shore}, "close no water")):
        with pytest.raises(QgsProcessingException, match=words):
            run("preparebathymetry", {**rest, **given})


@pytest.mark.parametrize("value, given, words", [
    (lambda d: -d, {"KIND": "depth", "UNIT": "m"}, "negative down"),
    (lambda d: d, {"KIND": "depth", "UNIT": "m", "unit": "ft"}, r"Choose 'Unit of the values' \(UNIT\) 'ft'"),
    (lambda d: d * 300, {"KIND": "depth", "UNIT": "m"}, "1642"),
    (lambda d: 332.9 - d, {"KIND": "elevation", "UNIT": "m", "SURFACE_ELEVATION": 1092}, "which fits")])
def test_maps_that_look_wrong_are_refused_by_name(run, tmp_path, value, given, words):
    given = dict(given)
    path = made(tmp_path, "lough.tif", PLAIN, 32615, value, unit=given.pop("unit", ""))
    with pytest.raises(QgsProcessingException, match=words) as error:
        run("preparebathymetry", {"INPUT": path, **given, "OUTPUT": str(tmp_path / "x.tif")})
    assert "'lough'" in str(error.value) and not list(tmp_path.glob("x.tif*"))


def test_the_surface_of_a_real_lake_is_not_its_floor(run, fixtures, tmp_path):
    """Terrain round Sunapee Lake, whose surface is flat at 332.9 m and whose floor is not in it."""
    with pytest.raises(QgsProcessingException, match="surface of the water, not its floor"):
        run("preparebathymetry", {"INPUT": str(fixtures / "raster" / "lake_terrain_30m_albers.tif"), "UNIT": "m",
                                  "KIND": "elevation", "SURFACE_ELEVATION": 332.9, "OUTPUT": str(tmp_path / "x.tif")})


def test_a_real_bay_comes_through(run, qgis_process, fixtures, tmp_path):
    """Counts and depths as in the notes to the file: 1.5 to 33.6 m, half of the cells nodata."""
    given = {"INPUT": str(fixtures / "raster" / "bay_depth_50m_utm18s.tif"), "KIND": "depth", "UNIT": "m"}
    code, results, said = qgis_process("preparebathymetry", {**given, "OUTPUT": str(tmp_path / "bay.tif")})
    assert code == 0, said
    depth = onfile.bands_of(results["OUTPUT"])[0]["depth_m"]
    assert np.nanmin(depth) == pytest.approx(1.5, abs=0.06) and np.nanmax(depth) == pytest.approx(33.6, abs=0.06)
    assert np.isnan(depth).mean() == pytest.approx(0.5, abs=0.02)
    assert QgsRasterLayer(results["OUTPUT"], "bay").renderer().type() == "singlebandpseudocolor"
