"""Depth grids from contours against floors that are known: made ones, real hills turned upside down, a real bay.

The contours are GDAL's own (ContourGenerate). Beside ours stands what a GIS user would do, and what the tool once did:
burn the lines and fill in between by inverse distances (gdal.FillNodata). Ours must at least halve its errors.
"""
import numpy as np
import onfile
import pytest
from faults import Heard
from osgeo import gdal, ogr
from scipy import ndimage

EAST, NORTH, STEP = 500_000.0, 4_980_000.0, 2.0


def shoal_and_basin(x, y):
    return 12 * bowl(x, y) - 7.3 * hump(x, y, 150, 60, 60) + 4.6 * hump(x, y, -200, -40, 90)


def rough_bank(x, y):
    """Tilted, with forty waves of 60 to 250 m on it."""
    rng = np.random.default_rng(3)
    phases, ways, lengths = rng.uniform(0, 2 * np.pi, 40), rng.uniform(0, 2 * np.pi, 40), rng.uniform(60, 250, 40)
    waves = sum(length * np.sin(2 * np.pi * (np.cos(way) * x + np.sin(way) * y) / length + phase)
                for phase, way, length in zip(phases, ways, lengths))
    return 9 * bowl(x, y) * (1 + x / 900) + 0.0016 * np.clip(bowl(x, y) + 0.2, 0, 1) * waves


def channel(x, y):
    return bowl(x, y) * (3.2 + 6 * np.exp(-((y - 120 * np.sin(x / 160)) / 45)**2))


def shelf_and_wall(x, y):
    """A slope with a wall across it that falls 18 m within some 12."""
    return 8 * bowl(x, y) + np.clip(4 * bowl(x, y), 0, 1) * 18 / (1 + np.exp(-(x - 40 * np.sin(y / 60)) / 3))


def bowl(x, y):
    return 1 - (x / 500)**2 - (y / 350)**2


def hump(x, y, east, north, width):
    return np.exp(-((x - east)**2 + (y - north)**2) / width**2)


def middles(transform, shape):
    """(x of columns, y of rows)."""
    return tuple(transform[k] + (np.arange(n) + 0.5) * transform[step]
                 for k, n, step in ((0, shape[1], 1), (3, shape[0], 5)))


def on_grid(floor):
    """(depths every 2 m, transform) of a made floor."""
    transform = (EAST - 560 - 0.7, STEP, 0, NORTH + 420 + 0.4, 0, -STEP)
    x, y = middles(transform, (420, 560))
    return floor(*np.meshgrid(x - EAST, y - NORTH)), transform


def traced(path, depths, transform, interval, epsg=32615):
    """GDAL's contours of a grid: (file of all from one interval down, file of the lines of 0, levels)."""
    grid = gdal.Open(onfile.raster_file(f"{path}.tif", depths, transform, epsg))
    files, levels = [], np.arange(interval, np.nanmax(depths), interval)
    for name, wanted in (("lines", levels), ("shore", [0.0])):
        files.append(f"{path}_{name}.gpkg")
        store = ogr.GetDriverByName("GPKG").CreateDataSource(files[-1])
        layer = store.CreateLayer(name, onfile._srs(epsg), ogr.wkbLineString)
        layer.CreateField(ogr.FieldDefn("id", ogr.OFTInteger))
        layer.CreateField(ogr.FieldDefn("depth", ogr.OFTReal))
        layer.StartTransaction()
        gdal.ContourGenerate(grid.GetRasterBand(1), 0, 0, [float(v) for v in wanted], 1, -9999.0, layer, 0, 1)
        layer.CommitTransaction()
    return *files, levels


def filled(files, transform, shape):
    """Depths by inverse distances between the lines, as GDAL fills holes."""
    made = gdal.GetDriverByName("MEM").Create("", shape[1], shape[0], 1, gdal.GDT_Float32)
    made.SetGeoTransform(transform)
    made.SetProjection(onfile._srs(32615).ExportToWkt())
    band = made.GetRasterBand(1)
    band.SetNoDataValue(-9999)
    band.Fill(-9999)
    for file in files:
        store = ogr.Open(file)
        gdal.RasterizeLayer(made, [1], store.GetLayer(0), options=["ATTRIBUTE=depth"])
    gdal.FillNodata(band, None, max(shape), 10)
    return np.frombuffer(band.ReadRaster(), np.float32).reshape(shape).astype(float)


class Errors:
    """Of a depth grid: rms of depth and slope, share of cells within 5 cm of a contour, scatter of the slope."""

    def __init__(self, depth, true, use, cell, interval):
        (down, right), (true_down, true_right) = np.gradient(depth, cell), np.gradient(true, cell)
        use = use & np.isfinite(down) & np.isfinite(right)
        self.depth = np.sqrt(np.mean((depth - true)[use]**2))
        self.slope = np.sqrt(np.mean(((down - true_down)**2 + (right - true_right)**2)[use]))
        self.near, self.true_near = (np.mean(np.abs(v - interval * np.round(v / interval))[use] < 0.05)
                                     for v in (depth, true))
        self.scatter, self.true_scatter = (np.hypot(*v)[use].std() for v in ((down, right), (true_down, true_right)))

    def __str__(self):
        return (f"depth {self.depth:.3f} m, slope {self.slope:.4f}, at a contour {self.near:.3f} ({self.true_near:.3f} "
                f"true), scatter of slope {self.scatter:.4f} ({self.true_scatter:.4f} true)")


def compared(run, tmp_path, depths, transform, interval, cell, heard=None, drawn_only=False):
    """(errors of ours, errors of the filling, depths, invented, true, tool's transform)."""
    lines, shore, _ = traced(tmp_path / "floor", depths, transform, interval)
    path = run("preparebathymetry", {
        "CONTOURS": lines, "CONTOUR_DEPTH_FIELD": "depth", "SHORELINE": shore, "KIND": "depth", "UNIT": "m",
        "CELL_SIZE": cell, "OUTPUT": str(tmp_path / "out.tif")}, heard)["OUTPUT"]
    bands, raster = onfile.bands_of(path)
    assert list(bands) == ["depth_m", "invented"]
    depth, t = bands["depth_m"].astype(float), raster.GetGeoTransform()
    true = sampled(depths, transform, *middles(t, depth.shape))
    other = filled([lines, shore], t, depth.shape)
    wet = np.isfinite(depth)
    other[~wet] = np.nan
    assert np.mean(wet == (true > 0)) > 0.995
    use = wet & ~(bands["invented"] > 0) if drawn_only else wet
    ours, theirs = (Errors(v, true, use, cell, interval) for v in (depth, other))
    print(f"\nsmooth: {ours}\nfilled: {theirs}")
    return ours, theirs, depth, bands["invented"], true, t


def sampled(values, transform, x, y):
    """Bilinear values at columns x and rows y."""
    col, row = (x - transform[0]) / transform[1] - 0.5, (y - transform[3]) / transform[5] - 0.5
    c, r = (np.clip(np.floor(v).astype(int), 0, n - 2) for v, n in ((col, values.shape[1]), (row, values.shape[0])))
    right, down = (col - c)[None, :], (row - r)[:, None]
    upper, lower = (values[k][:, c] * (1 - right) + values[k][:, c + 1] * right for k in (r, r + 1))
    return upper * (1 - down) + lower * down


@pytest.mark.parametrize("cell", [2.0, 5.0])
@pytest.mark.parametrize("floor", [shoal_and_basin, rough_bank, channel])
def test_known_floors_come_back_smooth_and_twice_as_near(run, tmp_path, floor, cell):
    depths, transform = on_grid(floor)
    ours, filling, depth, invented, true, t = compared(run, tmp_path, depths, transform, 1.0, cell)
    assert ours.depth < filling.depth / 2 and ours.slope < filling.slope / 2
    # never in steps
    assert abs(ours.near - ours.true_near) < 0.012 < filling.near - filling.true_near
    assert ours.scatter == pytest.approx(ours.true_scatter, rel=0.06)
    assert 0.0005 < np.nanmean(invented) < 0.06


def test_a_grid_larger_than_the_surface_is_made_on_loses_little(run, tmp_path, monkeypatch):
    """Nodes at every third cell."""
    monkeypatch.setattr("athwart.survey.bottom.contours.MAX_NODES", 25_000)
    depths, transform = on_grid(rough_bank)
    heard = Heard()
    ours, filling, depth, invented, *_ = compared(run, tmp_path, depths, transform, 1.0, 2.0, heard)
    assert ours.depth < filling.depth / 2 and ours.slope < filling.slope / 2
    assert abs(ours.near - ours.true_near) < 0.012
    assert 0.01 < np.nanmean(invented) < 0.06 and np.unique(invented[np.isfinite(invented)]).tolist() == [0, 1]


def test_tops_and_holes_are_rounded_within_half_an_interval_and_marked(run, tmp_path):
    depths, transform = on_grid(shoal_and_basin)
    heard = Heard()
    _, _, depth, invented, true, t = compared(run, tmp_path, depths, transform, 1.0, 2.0, heard)
    x, y = np.meshgrid(*middles(t, depth.shape))
    top, hole = hump(x - EAST, y - NORTH, 150, 60, 60) > 0.5, hump(x - EAST, y - NORTH, -200, -40, 90) > 0.4
    assert 3.5 <= np.nanmin(depth[top]) < 3.7 and true[top].min() < 3.8  # the last line is 4
    assert 14.3 < np.nanmax(depth[hole]) <= 14.5 and true[hole].max() > 14.6  # the last line is 14
    # as the lines run: inside them everything is marked, outside nothing
    inside = top & (true < 4) | hole & (true > 14)
    assert np.mean((invented > 0) == inside) > 0.9995
    assert np.unique(np.round(depth[top & (true < 3.95)], 3)).size > 50  # not a flat
    told = next(w for w in heard.warnings if "invented" in w)
    area = 4 * inside.sum()
    assert "1 hole(s) and 1 shoal(s)" in told and "half an interval" in told
    assert float(told.split("shoal(s), ")[1].split(" m2")[0]) == pytest.approx(area, rel=0.03)
    place = told.split("hole inside 14 near ")[1].split(" (")[0].split(", ")
    assert np.hypot(float(place[0]) - EAST + 180, float(place[1]) - NORTH + 33) < 15


def test_a_wall_sets_nothing_ringing(run, tmp_path):
    """A plate alone swings beside a wall: a fifth of the cells would lie past the lines around and be cut off there."""
    depths, transform = on_grid(shelf_and_wall)
    ours, filling, *_ = compared(run, tmp_path, depths, transform, 1.0, 2.0, drawn_only=True)
    assert ours.depth < 0.6 * filling.depth and ours.slope < filling.slope / 4
    assert abs(ours.near - ours.true_near) < 0.01 < filling.near - filling.true_near


def test_real_hills_upside_down(run, fixtures, tmp_path):
    """Ground by Sunapee Lake from 400 m up as basins, those that are whole: contours every 5 m, cells of 30."""
    raster = gdal.Open(str(fixtures / "raster" / "lake_terrain_30m_albers.tif"))
    values = raster.GetRasterBand(1).ReadAsArray().astype(float) - 400
    hill, _ = ndimage.label(values > 0)
    cut = np.unique(np.concatenate([hill[0], hill[-1], hill[:, 0], hill[:, -1]]))
    values[np.isin(hill, cut[cut > 0])] = -5
    ours, filling, *_ = compared(run, tmp_path, values, (EAST, 30, 0, NORTH, 0, -30), 5.0, 15.0)
    assert ours.depth < filling.depth / 2 and ours.slope < filling.slope / 2
    assert abs(ours.near - ours.true_near) < 0.015 < filling.near - filling.true_near


def test_a_real_bay_whose_survey_ends_in_deep_water(run, fixtures, tmp_path):
    """The aggregate depth model of the bay, contours every 2 m: its rim is no shore, which is said."""
    raster = gdal.Open(str(fixtures / "raster" / "bay_depth_50m_utm18s.tif"))
    values = raster.GetRasterBand(1).ReadAsArray().astype(float)
    depths = np.where(values > -9999, values, -0.5)
    heard = Heard()
    ours, filling, *_ = compared(run, tmp_path, depths, (EAST, 50, 0, NORTH, 0, -50), 2.0, 25.0, heard)
    assert ours.depth < filling.depth and ours.slope < 0.7 * filling.slope
