"""Bench part "record": a record image on the map, file to file, beside GDAL's warp by geolocation arrays.

The picture is reckoned here, from the way in closed form: each pixel's grey tells where it lies. What a cell shows is
then read back as a place, and its distance from the cell is the error. Both sides get the picture with the same way and
depth, and both give a tiled, compressed GeoTIFF with alpha and overviews (ours packed at level 3, the warp's at GDAL's
own 6: sizes are told); the warp's geolocation arrays are made beforehand and not timed. An array value stands for the
middle of its block of pixels, so that the offset is -(step - 1) / 2: without it everything is shifted by half a block.
"""
from __future__ import annotations

import pathlib
import tempfile

import numpy as np
import processing
import tracks
from athwart.sample_project.simulate.ways import Steered
from osgeo import gdal, osr
from qgis.core import QgsFeature, QgsGeometry, QgsPointXY, QgsProcessingFeedback, QgsVectorLayer

from . import measure

ROWS, COLUMNS, RANGE, DEPTH = 20_000, 2_000, 30.0, 8.0
WAY = Steered(((1050, 1.5, 0), (20 * np.pi, 1.5, 180), (1050, 1.5, 0)), (0.0, -525.0))
EAST, NORTH, EPSG = 500_000.0, 4_980_000.0, 32615
SCALE = 0.9996
SPAN = 1000.0
"""Metres of the ramp of greys."""

ACROSS, DOWN = 10, 5
"""Pixels and rows between two values of the geolocation arrays."""


def place_of(row, column):
    """(east, north) about the origin of middles of pixels; the oldest row is the first. NaN in the water."""
    t = WAY.begin + row / ROWS * (WAY.end - WAY.begin)
    u, v, azimuth, _ = WAY.at(t)
    away = (column - COLUMNS / 2) / (COLUMNS / 2) * RANGE
    with np.errstate(invalid="ignore"):
        ground = np.sign(away) * np.sqrt(away ** 2 - DEPTH ** 2)
    return u + ground * np.cos(azimuth), v - ground * np.sin(azimuth)


def greys(east, north):
    """16-bit greys that tell places along north-east; 0 where unknown."""
    told = ((east + north) / np.sqrt(2) + SPAN / 2) / SPAN * 65535
    return np.where(np.isfinite(told), np.clip(np.rint(np.nan_to_num(told)), 1, 65535), 0).astype(np.uint16)


def written(path, values, kind):
    """One band in a GeoTIFF without a georeference."""
    rows, columns = values.shape
    made = gdal.GetDriverByName("GTiff").Create(str(path), columns, rows, 1, kind, ["TILED=YES"])
    made.GetRasterBand(1).WriteRaster(0, 0, columns, rows, np.ascontiguousarray(values).tobytes())
    return str(path)


def inputs(folder):
    """(picture, track layer, warp's VRT); all as files."""
    picture = np.empty((ROWS, COLUMNS), np.uint16)
    for row in range(0, ROWS, 1000):
        rows = np.arange(row, row + 1000)[:, None] + 0.5
        picture[row:row + 1000] = greys(*place_of(rows, np.arange(COLUMNS)[None, :] + 0.5))
    path = written(folder / "record.tif", picture, gdal.GDT_UInt16)
    return path, track_file(folder), warp_file(folder, path)


def track_file(folder):
    """A fix a second with the record's ping count, as a GeoPackage."""
    t = np.arange(WAY.begin, WAY.end, 1.0)
    u, v, azimuth, speed = WAY.at(t)
    from pyproj import Proj
    x, y = EAST + SCALE * u, NORTH + SCALE * v
    turn = Proj(EPSG).get_factors(*Proj(EPSG)(x, y, inverse=True)).meridian_convergence
    track = tracks.made(f"EPSG:{EPSG}", x, y, (np.degrees(azimuth) + turn) % 360, t_s=1.7e9 + t, speed_mps=speed,
                        record_ping=(t - WAY.begin) / (WAY.end - WAY.begin) * ROWS - 0.5 + 1, depth_m=DEPTH,
                        range_m=RANGE, turn_dps=np.degrees(np.gradient(azimuth, t)))
    fields, rows = tracks.as_rows(track)
    parts = "&".join(f"field={name}:{kind}" for name, kind in fields.items())
    layer = QgsVectorLayer(f"Point?crs=EPSG:{EPSG}&{parts}", "track", "memory")
    features = []
    for (_, attributes), a, b in zip(rows, x.tolist(), y.tolist()):
        feature = QgsFeature(layer.fields())
        feature.setAttributes(attributes)
        feature.setGeometry(QgsGeometry.fromPointXY(QgsPointXY(a, b)))
        features.append(feature)
    layer.dataProvider().addFeatures(features)
    path = str(folder / "track.gpkg")
    processing.run("native:savefeatures", {"INPUT": layer, "OUTPUT": path})
    return path


def warp_file(folder, picture):
    """The picture with geolocation arrays."""
    rows, columns = np.arange(0, ROWS, DOWN)[:, None] + 0.5, np.arange(0, COLUMNS, ACROSS)[None, :] + 0.5
    east, north = place_of(rows, columns)
    t = WAY.begin + rows / ROWS * (WAY.end - WAY.begin)
    u, v, _, _ = WAY.at(t)
    # in the water the array must go on: it stays under the boat
    east, north = np.where(np.isnan(east), u, east), np.where(np.isnan(north), v, north)
    names = [written(folder / f"{name}.tif", EAST * (name == "x") + NORTH * (name == "y") + SCALE * values,
                     gdal.GDT_Float64) for name, values in (("x", east), ("y", north))]
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(EPSG)
    path = str(folder / "record.vrt")
    made = gdal.GetDriverByName("VRT").CreateCopy(path, gdal.Open(picture))
    made.GetRasterBand(1).SetNoDataValue(0)
    made.SetMetadata({
        "X_DATASET": names[0], "X_BAND": "1", "Y_DATASET": names[1], "Y_BAND": "1", "SRS": reference.ExportToWkt(),
        "PIXEL_STEP": str(ACROSS), "LINE_STEP": str(DOWN), "PIXEL_OFFSET": str(-(ACROSS - 1) / 2),
        "LINE_OFFSET": str(-(DOWN - 1) / 2), "GEOREFERENCING_CONVENTION": "PIXEL_CENTER"}, "GEOLOCATION")
    del made
    return path


def judged(path, cell):
    """(p50, p95, p99 of the error along the ramp in m, share of the cells that are missing)."""
    raster = gdal.Open(path)
    values = np.frombuffer(raster.GetRasterBand(1).ReadRaster(), np.uint16).reshape(raster.RasterYSize, -1)
    x0, _, _, y0, _, _ = raster.GetGeoTransform()
    wanted = np.zeros(values.shape, bool)
    for row in range(0, ROWS, 500):  # every pixel dropped into its cell: they lie closer than cells do
        rows = np.arange(row, row + 500)[:, None] + 0.5
        east, north = place_of(rows, np.arange(COLUMNS)[None, :] + 0.5)
        good = np.isfinite(east)
        col = ((EAST + SCALE * east[good] - x0) / cell).astype(int)
        line = ((y0 - NORTH - SCALE * north[good]) / cell).astype(int)
        inside = (col >= 0) & (line >= 0) & (line < wanted.shape[0]) & (col < wanted.shape[1])
        wanted[line[inside], col[inside]] = True
    x = (x0 + (np.arange(values.shape[1]) + 0.5) * cell - EAST) / SCALE
    y = (y0 - (np.arange(values.shape[0]) + 0.5) * cell - NORTH) / SCALE
    shown = values > 0
    told = values / 65535.0 * SPAN - SPAN / 2
    off = np.abs(told - (x[None, :] + y[:, None]) / np.sqrt(2))[shown & wanted]
    return (*np.percentile(off, [50, 95, 99]), 100 * np.mean(~shown[wanted]))


def report():
    """Part of ``bench``."""
    print("\nRecord image on the map, file to file: ours beside gdalwarp by geolocation arrays")
    gdal.UseExceptions()
    table = []
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        picture, track, warp = inputs(folder)

        def ours(cell):
            made = processing.run("athwart:georeferenceimage", {
                "IMAGE": [picture], "TRACK": track, "LAYOUT": "both", "NEWEST": "bottom", "FIRST_PING": 1,
                "CELL_SIZE": cell, "KEEP_TURNS": True, "OUTPUT": str(folder / f"ours{cell}.tif")},
                feedback=QgsProcessingFeedback(False))
            return made["OUTPUT"]

        def theirs(cell):
            path = str(folder / f"warp{cell}.tif")
            gdal.Warp(path, warp, geoloc=True, dstSRS=f"EPSG:{EPSG}", xRes=cell, yRes=cell, targetAlignedPixels=True,
                      srcNodata=0, dstAlpha=True, creationOptions=["TILED=YES", "COMPRESS=DEFLATE", "PREDICTOR=2"])
            raster = gdal.Open(path, gdal.GA_Update)
            raster.BuildOverviews("AVERAGE", [2**k for k in range(1, 12)
                                              if max(raster.RasterXSize, raster.RasterYSize) / 2**k >= 256])
            return path
        for cell, floor, goal in ((0.25, 5, 15), (0.1, 2, 6)):
            seconds, made = measure.interleaved(
                {"ours": lambda c=cell: ours(c), "gdalwarp": lambda c=cell: theirs(c)}, 5)
            ratio = seconds["gdalwarp"] / seconds["ours"]
            for who in ("ours", "gdalwarp"):
                p50, p95, p99, missing = judged(made[who], cell)
                held = ("floor held" if ratio >= floor else "FLOOR MISSED") + (", goal" if ratio >= goal else "")
                table.append((f"{cell:g} m, {who}", f"{seconds[who]:.2f}", f"{p50:.3f}", f"{p95:.3f}", f"{p99:.3f}",
                              f"{missing:.2f}", f"{pathlib.Path(made[who]).stat().st_size / 1e6:.2f}",
                              f"{ratio:.1f} x {held}" if who == "ours" else ""))
    measure.print_table(("cell", "s", "error p50, m", "p95", "p99", "missing, %", "file, MB", "faster"), table)
