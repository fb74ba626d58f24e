"""A picture of 100,000 x 3,000 pixels on the map in less than 4 GiB, and the same map whatever the tiles.

Ten lines of a kilometre with turns between them, cells of 0.25 m, balance on and SOURCE written. Each run is a process
of its own that may not have more than 4 GiB of memory of its own (RLIMIT_DATA); once with the tool's tiles of 1024
cells, once with tiles of 8192. All bands of both rasters must come out alike.
"""
from __future__ import annotations

import functools
import json
import os
import pathlib
import resource
import subprocess
import sys
import tempfile
import time

import numpy as np

LIMIT = 4 * 2**30
ROWS, COLUMNS, RANGE, DEPTH, CELL = 100_000, 3_000, 40.0, 8.0, 0.25
LEG, RADIUS, LEGS = 1000.0, 25.0, 10


def picture(path):
    """Speckle over patches, and dark water in the middle; written 1000 rows at a time."""
    from osgeo import gdal
    rng, column = np.random.default_rng(3), np.arange(COLUMNS)
    water = np.abs(column - COLUMNS / 2) < DEPTH / RANGE * COLUMNS / 2
    made = gdal.GetDriverByName("GTiff").Create(path, COLUMNS, ROWS, 1, gdal.GDT_Byte, ["TILED=YES", "BIGTIFF=YES"])
    for row in range(0, ROWS, 1000):
        patches = 90 + 40 * np.sin(column / 97.0)[None, :] * np.cos(np.arange(row, row + 1000) / 211.0)[:, None]
        grey = patches * rng.gamma(5.0, 0.2, (1000, COLUMNS)).astype(np.float32) * np.where(water, 0.03, 1.0)
        made.GetRasterBand(1).WriteRaster(0, row, COLUMNS, 1000, np.clip(grey, 1, 255).astype(np.uint8).tobytes())


def track(path):
    """A fix a second, with the record's ping count, as a GeoPackage."""
    import processing
    import tracks
    from athwart.sample_project.simulate.ways import Steered
    from athwart.survey.geometry.frame import Frame
    from qgis.core import QgsFeature, QgsGeometry, QgsPointXY, QgsVectorLayer
    turn = [(np.pi * RADIUS, 1.5, 180 * (-1) ** k) for k in range(LEGS - 1)]
    way = Steered(tuple(part for k in range(LEGS) for part in ((LEG, 1.5, 0), *turn[k:k + 1])))
    t = np.arange(way.begin, way.end, 1.0)
    u, v, azimuth, speed = way.at(t)
    x, y = Frame("EPSG:32615", -93.0, 45.0).inverse(u, v)
    fields, rows = tracks.as_rows(tracks.made(
        "EPSG:32615", x, y, np.degrees(azimuth) % 360, t_s=1.7e9 + t, speed_mps=speed, depth_m=DEPTH, range_m=RANGE,
        record_ping=(t - way.begin) / (way.end - way.begin) * ROWS - 0.5 + 1,
        turn_dps=np.degrees(np.gradient(azimuth, t))))
    parts = "&".join(f"field={name}:{kind}" for name, kind in fields.items())
    layer = QgsVectorLayer(f"Point?crs=EPSG:32615&{parts}", "track", "memory")
    features = []
    for (_, attributes), a, b in zip(rows, x.tolist(), y.tolist()):
        feature = QgsFeature(layer.fields())
        feature.setAttributes(attributes)
        feature.setGeometry(QgsGeometry.fromPointXY(QgsPointXY(a, b)))
        features.append(feature)
    layer.dataProvider().addFeatures(features)
    processing.run("native:savefeatures", {"INPUT": layer, "OUTPUT": path})


def mapped(folder, tile):
    """One run under the limit; prints what came of it as JSON."""
    import athwart.survey as core
    import processing
    from osgeo import gdal
    from qgis.core import QgsProcessingFeedback
    core.MapSettings = functools.partial(core.MapSettings, tile=tile)
    resource.setrlimit(resource.RLIMIT_DATA, (LIMIT, LIMIT))
    paths = {name: f"{folder}/{name}{tile}.tif" for name in ("OUTPUT", "SOURCE")}
    began = time.process_time()
    made = processing.run("athwart:georeferenceimage", {
        "IMAGE": [f"{folder}/record.tif"], "TRACK": f"{folder}/track.gpkg", "LAYOUT": "both", "NEWEST": "bottom",
        "FIRST_PING": 1, "CELL_SIZE": CELL, "BALANCE": True, **paths}, feedback=QgsProcessingFeedback(False))
    took = time.process_time() - began
    status = pathlib.Path("/proc/self/status").read_text(encoding="ascii")
    peak = next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM")) / 1024
    sums = {}
    for name in paths:
        raster = gdal.Open(made[name])
        sums[name] = [raster.GetRasterBand(k + 1).Checksum() for k in range(raster.RasterCount)]
        sums[f"{name} size"] = [raster.RasterXSize, raster.RasterYSize]
    print("MADE " + json.dumps({"shown": made["SHOWN_M2"], "peak": peak, "took": took, "sums": sums}))


def main():
    """Print a table; both runs must hold the limit and give the same rasters."""
    with tempfile.TemporaryDirectory() as folder:
        if subprocess.run([sys.executable, __file__, "inputs", folder], check=False).returncode:
            raise SystemExit("the inputs could not be made")
        found = {}
        for tile in (1024, 8192):
            done = subprocess.run([sys.executable, __file__, "map", folder, str(tile)], check=False,
                                  capture_output=True, text=True)
            said = [line for line in done.stdout.splitlines() if line.startswith("MADE ")]
            if not said:
                raise SystemExit(f"tiles of {tile} cells: the run failed.\n{done.stderr[-2000:]}")
            found[tile] = json.loads(said[0][5:])
            print(f"tiles of {tile} cells: peak {found[tile]['peak']:.0f} MB, {found[tile]['took']:.0f} s of processor "
                  f"time, {found[tile]['shown']:.0f} m2 shown, {found[tile]['sums']['OUTPUT size']} cells", flush=True)
    one, other = found.values()
    if one["sums"] != other["sums"] or one["shown"] < 0.5 * LEG * LEGS * 2 * RANGE * 0.5:
        raise SystemExit(f"the rasters differ: {one} {other}")
    if max(one["peak"], other["peak"]) > LIMIT / 2**20:
        raise SystemExit("more than 4 GiB were taken")
    print("both maps alike in every band")


def child(what, folder, *tile):
    """The inputs, or a run, in a process with QGIS."""
    from tools import inside
    kept = inside.qgis(), inside.processing()
    if what == "inputs":
        picture(f"{folder}/record.tif")
        track(f"{folder}/track.gpkg")
    else:
        mapped(folder, int(tile[0]))
    del kept
    sys.stdout.flush()
    os._exit(0)


if __name__ == "__main__":
    if len(sys.argv) > 1:
        child(*sys.argv[1:])
    main()
