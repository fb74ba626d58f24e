"""Shadows on real terrain against an outside program, gdal_viewshed, on the cells athwart of an observer.

The terrain is taken for a lake floor far below the surface; the transducer hangs some metres over it. Viewshed counts
from cell middle to cell middle, the march runs over the bilinear surface between them, so they differ at the edges of
shadows: what only one of them hides is classified and printed; that we hide little that viewshed sees is asserted.
"""
import pathlib
import shutil
import subprocess

import numpy as np
import onfile
import pytest
from athwart.survey.bottom.depthgrid import DepthGrid
from athwart.survey.bottom.profile import Rays, Scratch, march
from osgeo import gdal

pytestmark = pytest.mark.skipif(shutil.which("gdal_viewshed") is None, reason="no gdal_viewshed on this system")

REACH = 60
FINE = 0.05
ACROSS = ((0, 1), (0, -1), (1, 0), (-1, 0))


def lake_terrain(root):
    raster = gdal.Open(str(root / "tests" / "fixtures" / "raster" / "lake_terrain_30m_albers.tif"))
    band = raster.GetRasterBand(1)
    values = np.frombuffer(band.ReadRaster(buf_type=gdal.GDT_Float64), float).reshape(band.YSize, band.XSize)
    return np.where(values == band.GetNoDataValue(), values[values != band.GetNoDataValue()].min(), values), 30.0


def fault_dem(root):
    """The Jacksboro fault, cells of three seconds: some 93 m north and south, 74 m east and west; taken as square."""
    matplotlib = pytest.importorskip("matplotlib")
    with np.load(pathlib.Path(matplotlib.get_data_path()) / "sample_data" / "jacksboro_fault_dem.npz") as data:
        return data["elevation"].astype(float), 80.0


def by_viewshed(path, cell, row, col, height, folder):
    """Cells gdal_viewshed calls hidden, curvature off."""
    out = str(folder / "seen.tif")
    subprocess.run(["gdal_viewshed", "-q", "-oz", str(height), "-tz", "0", "-cc", "0", "-md", str((REACH + 0.5) * cell),
                    "-ox", str((col + 0.5) * cell), "-oy", str(-(row + 0.5) * cell), "-vv", "1", "-iv", "2", "-ov", "0",
                    path, out], check=True, stdout=subprocess.DEVNULL)
    raster = gdal.Open(out)
    t = raster.GetGeoTransform()
    seen = np.frombuffer(raster.GetRasterBand(1).ReadRaster(), np.uint8).reshape(raster.RasterYSize, raster.RasterXSize)
    top, left = round(-t[3] / cell), round(t[0] / cell)
    steps = np.arange(1, REACH + 1)
    return np.array([seen[row + dr * steps - top, col + dc * steps - left] == 2 for dr, dc in ACROSS])


def by_march(grid, cell, row, col, height):
    """Cells the march hides, and how far (relative) each lies below the sight line (negative: above it)."""
    n = len(ACROSS)
    rays = Rays(np.full(n, float(col)), np.full(n, float(row)), np.array([dc / cell for _, dc in ACROSS]),
                np.array([dr / cell for dr, _ in ACROSS]), np.full(n, height - grid.depth_in_cells([col], [row])[0]),
                np.full(n, height), np.full(n, np.inf))
    count = int((REACH + 1) / FINE)
    low, high = np.array([col - REACH - 1, col + REACH + 1]), np.array([row - REACH - 1, row + REACH + 1])
    marched = march(grid.window(low, high), rays, FINE * cell, count, Scratch(count * n, float))
    steps = np.arange(1, REACH + 1)
    places = np.array([[grid.depth_in_cells([col + dc * s], [row + dr * s])[0] for s in steps] for dr, dc in ACROSS])
    ratio = (places + rays.offset[0]) / (steps * cell)
    least = marched.least[np.round(steps / FINE).astype(int) - 1].T
    scale = np.maximum(np.abs(least), 1e-3)
    return ratio > least + 1e-9 * scale, (ratio - least) / scale


@pytest.mark.parametrize("terrain, height", [(lake_terrain, 25.0), (fault_dem, 60.0)])
def test_what_we_hide_is_hidden_in_viewshed_too(terrain, height, root, tmp_path):
    elevation, cell = terrain(root)
    rows, cols = elevation.shape
    path = onfile.raster_file(tmp_path / "dem.tif", elevation, (0, cell, 0, 0, 0, -cell), 32617)
    grid = DepthGrid.from_array("EPSG:32617", (0, cell, 0, 0, 0, -cell), elevation.max() + 100 - elevation)
    rng = np.random.default_rng(11)
    theirs, ours, below = [], [], []
    for _ in range(10):
        row, col = rng.integers(REACH + 2, rows - REACH - 2), rng.integers(REACH + 2, cols - REACH - 2)
        theirs.append(by_viewshed(path, cell, row, col, height, tmp_path))
        mine, depth = by_march(grid, cell, row, col, height)
        ours.append(mine)
        below.append(depth)
    theirs, ours, below = (np.concatenate(part) for part in (theirs, ours, below))
    assert ours.mean() >= 0.05 and theirs.mean() >= 0.05
    confirmed = theirs[ours].mean()
    extra = theirs & ~ours
    near = extra & (np.abs(below) < 0.02)
    beside = extra & ~near & (np.roll(ours, 1, axis=1) | np.roll(ours, -1, axis=1))
    print(f"\n{terrain.__name__}: {ours.size} cells athwart, hidden by us {100 * ours.mean():.1f} %, by viewshed "
          f"{100 * theirs.mean():.1f} %; of ours viewshed hides {100 * confirmed:.1f} %. Hidden by viewshed alone "
          f"{extra.sum()}: within 2 % of the sight line {near.sum()}, beside a shadow of ours {beside.sum()}, "
          f"other {extra.sum() - near.sum() - beside.sum()}. Same verdict on {100 * np.mean(ours == theirs):.1f} %.")
    assert confirmed >= 0.90
