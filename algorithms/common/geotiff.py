"""Writes a raster tile by tile under another name and gives it its own when it is whole."""
from __future__ import annotations

import os
import shutil

import numpy as np
from osgeo import gdal
from qgis.core import QgsProcessingException, QgsRasterFileWriter

from .styles import STYLES

__all__ = ["NODATA", "RasterSink"]

NODATA = -9999.0
_OPTIONS = ["TILED=YES", "COMPRESS=DEFLATE", "PREDICTOR=3", "BIGTIFF=IF_SAFER", "INTERLEAVE=BAND"]
_CACHE_BYTES = 200_000_000
"""GDAL's cache while a raster is made: its own limit, a twentieth of all memory, would fill up with a large one."""

_SIDECARS = (".aux.xml", ".ovr", ".msk")


class RasterSink:
    """A Float32 raster in the making; use it in a ``with`` statement: what is not finished is taken away.

    Parameters
    ----------
    path : str
        Where it goes; GeoTIFF, or whatever format the ending stands for.
    wkt : str
        CRS.
    transform : six floats
    shape : (rows, columns)
    bands : sequence of (name, unit)
    metadata : dict of str
    """

    def __init__(self, path, wkt, transform, shape, bands, metadata):
        self.path, self._scratch = str(path), f"{path}.unfinished.tif"
        self._raster = _asked(lambda: gdal.GetDriverByName("GTiff").Create(
            self._scratch, shape[1], shape[0], len(bands), gdal.GDT_Float32, _OPTIONS), f"{path} could not be created")
        self._raster.SetGeoTransform([float(v) for v in transform])
        self._raster.SetProjection(wkt)
        self._raster.SetMetadata({name: str(value) for name, value in metadata.items()})
        for number, (name, unit) in enumerate(bands, 1):
            band = self._raster.GetRasterBand(number)
            band.SetNoDataValue(NODATA)
            band.SetDescription(name)
            band.SetUnitType(unit)

    def __enter__(self):
        self._cache = gdal.GetCacheMax()
        gdal.SetCacheMax(min(self._cache, _CACHE_BYTES))
        return self

    def __exit__(self, kind, error, trace):
        self._raster = None
        gdal.SetCacheMax(self._cache)
        if os.path.exists(self._scratch):
            os.remove(self._scratch)

    def write(self, row, col, bands):
        """Write one tile: (rows, columns) arrays in the order of the bands, NaN for unknown."""
        for number, values in enumerate(bands, 1):
            rows, cols = values.shape
            data = np.where(np.isfinite(values), values, NODATA).astype(np.float32).tobytes()
            _asked(lambda n=number, r=rows, c=cols, d=data: self._raster.GetRasterBand(n).WriteRaster(
                col, row, c, r, d, c, r, gdal.GDT_Float32) == 0, f"{self.path} could not be written: is the disk full?")

    def finish(self, style):
        """Give the raster its name, and the style ``plugin/styles/<style>.qml`` beside it."""
        text = f"{self.path} could not be written: is it open elsewhere?"
        _asked(lambda: (self._raster.FlushCache() or 0) == 0, text)
        ending = os.path.splitext(self.path)[1]
        driver = QgsRasterFileWriter.driverForExtension(ending.lstrip("."))
        for name in (self.path, *(self.path + sidecar for sidecar in _SIDECARS)):
            if os.path.exists(name):
                os.remove(name)
        if driver in ("GTiff", ""):
            self._raster = None
            os.replace(self._scratch, self.path)
        else:
            _asked(lambda: gdal.GetDriverByName(driver).CreateCopy(self.path, self._raster, 0), text)
        shutil.copyfile(STYLES / f"{style}.qml", os.path.splitext(self.path)[0] + ".qml")


def _asked(call, text):
    """What GDAL answers; nothing, or an exception (from QGIS 3.38 on), becomes one for the user."""
    try:
        answer = call()
    except RuntimeError as error:
        raise QgsProcessingException(f"{text} ({error})") from error
    if not answer:
        raise QgsProcessingException(f"{text} {gdal.GetLastErrorMsg()}".strip())
    return answer
