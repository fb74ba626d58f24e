"""tools/run.sh bench.terrain [quick]: the terrain model against viewshed, shapely and a continuous beam; 1 h to 50 h.

Prints a table and ends with 1 if a floor is missed. Times are CPU seconds of one process, medians, so that other work
on the machine weighs less; every pair that is compared runs in turn.
"""
from __future__ import annotations

import json
import pathlib
import subprocess
import sys
import tempfile

import clone
import numpy as np

clone.load()
import continuous  # noqa: E402
import tracks  # noqa: E402
from athwart.survey.bottom.depthgrid import DepthGrid  # noqa: E402
from athwart.survey.bottom.profile import Rays, Scratch, march  # noqa: E402
from athwart.survey.ensonify.bottom_map import Ensonification  # noqa: E402
from athwart.survey.geometry import shapes  # noqa: E402
from athwart.survey.geometry.scanfill import fill_quads  # noqa: E402
from pyproj import Proj  # noqa: E402

from . import lakefloor, madesurvey, measure  # noqa: E402

TRANSFORM = (lakefloor.LEFT, lakefloor.CELL, 0, lakefloor.TOP, 0, -lakefloor.CELL)
RANGE = madesurvey.RANGE


def track_of(fixes):
    """A prepared track of the survey."""
    lonlat = Proj(madesurvey.CRS)(fixes.east, fixes.north, inverse=True)
    turn = Proj(madesurvey.CRS).get_factors(*lonlat).meridian_convergence
    return tracks.made(madesurvey.CRS, fixes.east, fixes.north, fixes.azimuth + turn, depth_m=fixes.depth,
                       pass_id=fixes.pass_id, range_m=RANGE)


class Verdicts:
    """Lines of the table, and whether every floor held."""

    def __init__(self):
        self.good = True

    def line(self, what, value, floor, target):
        """``value`` is text; ``floor``: did it hold (None: there is none); ``target``: was the goal reached."""
        self.good &= floor is not False
        mark = "" if floor is None else "floor held" if floor else "FLOOR MISSED"
        print(f"  {what:<70} {value:>20}  {mark:<12} {'goal' if target else ''}", flush=True)


def against_viewshed(floor, fixes, verdicts):
    """The march of a ping, both sides, against viewshed round it and reading the cells athwart."""
    from osgeo import gdal
    memory = gdal.GetDriverByName("MEM").Create("", lakefloor.COLS, lakefloor.ROWS, 1, gdal.GDT_Float32)
    memory.SetGeoTransform(TRANSFORM)
    height = -floor
    memory.GetRasterBand(1).WriteRaster(0, 0, lakefloor.COLS, lakefloor.ROWS, height.tobytes())
    grid = DepthGrid.from_array(madesurvey.CRS, TRANSFORM, floor)
    pings, count, step = 4096, 120, 0.25
    a = np.radians(fixes.azimuth[:pings])
    col, row = grid.cells_of(fixes.east[:pings], fixes.north[:pings])
    ahead, down = np.cos(a) / lakefloor.CELL, np.sin(a) / lakefloor.CELL
    scratch = Scratch(count * 1024)

    def marched():
        for first in range(0, pings, 512):
            part = slice(first, first + 512)

            def both(values, sign=1, part=part):
                return np.concatenate([values[part], sign * values[part]])
            rays = Rays(both(col), both(row), both(ahead, -1), both(down, -1), np.zeros(1024),
                        both(fixes.depth), np.full(1024, RANGE))
            extents = rays.extents()
            window = grid.window(np.concatenate(extents[:2]), np.concatenate(extents[2:]))
            march(window, rays, step, count, scratch)

    def viewsheds(some=40):
        for i in range(some):
            k = i * (pings // some)
            seen = gdal.ViewshedGenerate(memory.GetRasterBand(1), "MEM", "", [], fixes.east[k],
                                         fixes.north[k], float(fixes.depth[k]), 0, 1, 2, 0, -1, 0,
                                         gdal.GVM_Edge, RANGE)
            values = np.frombuffer(seen.GetRasterBand(1).ReadRaster(), np.uint8)
            side = seen.RasterXSize
            out = np.arange(1, 121) * step / lakefloor.CELL
            for sign in (1, -1):
                c = np.clip(np.round(side / 2 + sign * out * np.cos(a[k])), 0, side - 1).astype(int)
                r = np.clip(np.round(seen.RasterYSize / 2 + sign * out * np.sin(a[k])), 0, seen.RasterYSize - 1)
                values[r.astype(int) * side + c]
    seconds, _ = measure.interleaved({"march": marched, "viewshed": viewsheds}, 5)
    ours, theirs = seconds["march"] / pings, seconds["viewshed"] / 40
    ratio = theirs / ours
    verdicts.line(f"march {1e6 * ours:.1f} us a ping, viewshed and read-out {1e6 * theirs:.0f} us",
                  f"{ratio:.0f} x", ratio >= 15, ratio >= 60)


def strips(track):
    """(corners of all quads of swath edges in cells, pass of each, raster, polygons by pass)."""
    job = Ensonification(track, lakefloor.CELL)
    corners = [sweep.corners(np.flatnonzero(sweep.drawn)) for sweep in job.sweeps]
    number = [sweep.pass_key[:-1][sweep.drawn] for sweep in job.sweeps]
    return np.concatenate(corners), np.concatenate(number), job.raster


def looks_by_filling(corners, number, raster):
    """Looks of every cell: strips filled pass by pass."""
    looks = np.zeros((raster.rows, raster.cols), np.uint8)
    for one in np.unique(number):
        quads = corners[number == one]
        low, high = np.floor(quads.min(axis=(0, 1))).astype(int), np.ceil(quads.max(axis=(0, 1))).astype(int) + 1
        window = (low[1], high[1], low[0], high[0])
        seen = np.zeros((high[1] - low[1]) * (high[0] - low[0]), bool)
        for part in np.array_split(quads, max(1, len(quads) // 1000)):
            runs = fill_quads(part, window)
            run, col = runs.cells()
            seen[((runs.row - low[1]) * (high[0] - low[0]) - low[0])[run] + col] = True
        looks[window[0]:window[1], window[2]:window[3]] += seen.reshape(high[1] - low[1], -1)
    return looks


def looks_by_shapely(corners, number, raster):
    """The same by cell middles in the exact union of each pass."""
    looks = np.zeros((raster.rows, raster.cols), np.uint8)
    for one in np.unique(number):
        ground = shapes.union([shapes.valid(quad) for quad in shapes.polygons(corners[number == one])])
        x0, y0, x1, y1 = (int(v) for v in ground.bounds)
        rows, cols = np.mgrid[max(y0, 0):y1 + 2, max(x0, 0):x1 + 2]
        looks[rows[0, 0]:rows[-1, 0] + 1, cols[0, 0]:cols[0, -1] + 1] += shapes.contains(ground, cols, rows)
    return looks


def against_shapely(fixes, hours, verdicts):
    """Looks filled strip by strip against cells whose middle lies in a union of quads."""
    corners, number, raster = strips(track_of(fixes))
    seconds, looks = measure.interleaved({"filled": lambda: looks_by_filling(corners, number, raster),
                                          "shapely": lambda: looks_by_shapely(corners, number, raster)}, 3)
    ours, theirs = seconds["filled"], seconds["shapely"]
    wrong = np.count_nonzero(looks["filled"] != looks["shapely"])
    verdicts.line(f"{hours:g} h: looks filled {ours:.2f} s, by shapely {theirs:.2f} s, cells that differ {wrong}",
                  f"{theirs / ours:.0f} x", wrong == 0 and theirs / ours >= 8, wrong == 0 and theirs / ours >= 25)


def mapped(track, grid):
    """Looks and hidden cells of the whole raster, and the Ensonification."""
    job = Ensonification(track, lakefloor.CELL, grid=grid)
    found = {name: np.zeros((job.raster.rows, job.raster.cols), np.float32) for name in ("looks", "hidden")}
    for row, col, bands in job.tiles():
        for name, whole in found.items():
            rows, cols = bands[name].shape
            whole[row:row + rows, col:col + cols] = bands[name]
    return found["looks"], found["hidden"] > 0, job


def against_a_continuous_beam(floor, fixes, hours, verdicts, places=8000):
    """Cells that some look came by, and cells hidden, drawn at random, against the continuous beam."""
    grid = DepthGrid.from_array(madesurvey.CRS, TRANSFORM, floor)
    depth = continuous.surface(floor, lakefloor.LEFT, lakefloor.TOP, lakefloor.CELL)
    track = track_of(fixes)
    track.depth_m[:] = depth(fixes.east, fixes.north)
    looks, hidden, job = mapped(track, grid)
    rng = np.random.default_rng(3)
    near = np.argwhere((looks > 0) | hidden | (rng.random(looks.shape) < 0.02))
    picked = near[rng.choice(len(near), places, replace=False)]
    shadows = np.argwhere(hidden)
    around = shadows[rng.choice(len(shadows), 1500)] + rng.integers(-2, 3, (1500, 2))
    around = np.unique(around, axis=0)
    azimuth = np.degrees(np.unwrap(np.radians(fixes.azimuth)))

    def truth(cells):
        xy = np.column_stack([job.raster.left + (cells[:, 1] + 0.5) * job.raster.cell,
                              job.raster.top - (cells[:, 0] + 0.5) * job.raster.cell])
        count, dark = continuous.looks(fixes.east, fixes.north, azimuth, fixes.pass_id, depth, xy, RANGE)
        return count, dark & (count == 0)
    count, _ = truth(picked)
    found = looks[tuple(picked.T)]
    exact, seen = np.mean(found == count), np.mean((found > 0) == (count > 0))
    verdicts.line(f"{hours:g} h at 1 Hz: looks exact on {places} cells", f"{100 * exact:.2f} %", exact >= 0.98,
                  exact >= 0.995)
    verdicts.line(f"{hours:g} h at 1 Hz: seen or not", f"{100 * seen:.2f} %", seen >= 0.995, seen >= 0.999)
    count, dark = truth(around)
    ours = hidden[tuple(around.T)]
    recall, precision = (ours & dark).sum() / dark.sum(), (ours & dark).sum() / ours.sum()
    verdicts.line(f"{hours:g} h at 1 Hz: {dark.sum()} hidden cells, recall and precision",
                  f"{recall:.3f}, {precision:.3f}", min(recall, precision) >= 0.95, None)


def worker(hours, kind):
    """In a process of its own: seconds, peak memory (MB) and cells of one map, the grid a 40 GB virtual raster."""
    fixes = madesurvey.make(50.0).first(int(hours * 3600))
    grid = None
    if kind != "flat":
        from osgeo import gdal
        raster = gdal.Open(kind)

        def read(row0, row1, col0, col1):
            raw = raster.GetRasterBand(1).ReadRaster(col0, row0, col1 - col0, row1 - row0)
            values = np.frombuffer(raw, np.float32).reshape(row1 - row0, col1 - col0).copy()
            values[values == -9999] = np.nan
            return values
        grid = DepthGrid(madesurvey.CRS, raster.GetGeoTransform(), (raster.RasterYSize, raster.RasterXSize), read)
    track = track_of(fixes)

    def run():
        job = Ensonification(track, lakefloor.CELL, grid=grid)
        return sum(int(np.nansum(bands["looks"])) for _, _, bands in job.tiles())
    first, cells = measure.interleaved({"map": run}, 1)
    again, _ = measure.interleaved({"map": run}, 1) if hours > 40 else (first, None)
    print(json.dumps({"first": first["map"], "again": again["map"], "cells": cells["map"],
                      "peak": _peak_mb()}))


def _peak_mb():
    """Largest resident size of this process; getrusage would count the parent it was forked from."""
    status = pathlib.Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


def growth(floor, folder, verdicts, hours):
    """Time and memory of maps of bottom seen as the survey grows, over a flat floor and on a grid of 40 GB."""
    import beds
    import onfile
    path = onfile.raster_file(pathlib.Path(folder) / "floor.tif", floor, TRANSFORM, epsg=None)
    huge = beds.virtual_grid(pathlib.Path(folder) / "huge.vrt", path, lakefloor.LEFT - 20_000, lakefloor.TOP + 20_000,
                             lakefloor.CELL, 100_000)
    found = {}
    for kind in ("flat", huge):
        for span in hours:
            done = subprocess.run([sys.executable, "-m", "bench.terrain", "worker", str(span), kind],
                                  capture_output=True, text=True, check=True)
            found[kind, span] = json.loads(done.stdout)
    for span in hours:
        flat, bed = found["flat", span], found[huge, span]
        verdicts.line(f"{span:g} h: flat {flat['first']:.2f} s, on a 40 GB grid {bed['first']:.2f} s, "
                      f"{bed['cells'] / 1e6:.1f} M looks, peak {bed['peak']:.0f} MB",
                      f"{bed['first'] / flat['first']:.1f} x flat", bed["peak"] < 1000,
                      bed["first"] <= 4 * flat["first"])
    low, high = hours[0], hours[-1]
    power = np.log(found[huge, high]["first"] / found[huge, low]["first"]) / np.log(high / low)
    verdicts.line(f"growth from {low:g} to {high:g} h, exponent", f"{power:.2f}", power <= 1.1, None)
    last = found[huge, high]
    verdicts.line(f"first map of a fresh process against the second, {high:g} h",
                  f"{last['first'] / last['again']:.2f} x", last["first"] <= 1.15 * last["again"], None)


def report():
    """Part of ``tools/bench/run.py``."""
    print("\nTerrain: the march and the map of bottom seen")
    if main():
        print("A floor was missed.")


def main():
    quick = "quick" in sys.argv
    verdicts, floor, fixes = Verdicts(), lakefloor.make(), madesurvey.make(50.0)
    against_viewshed(floor, fixes, verdicts)
    for hours in (1,) if quick else (1, 5):
        against_shapely(fixes.first(hours * 3600), hours, verdicts)
    for hours in (1,) if quick else (1, 5):
        against_a_continuous_beam(floor, fixes.first(hours * 3600), hours, verdicts)
    with tempfile.TemporaryDirectory() as folder:
        growth(floor, folder, verdicts, (1, 5) if quick else (1, 5, 50))
    return 0 if verdicts.good else 1


if __name__ == "__main__":
    if len(sys.argv) > 3 and sys.argv[1] == "worker":
        worker(float(sys.argv[2]), sys.argv[3])
    else:
        sys.exit(main())
