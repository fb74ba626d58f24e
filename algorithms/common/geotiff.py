"""Writes a raster tile by tile beside its place, reads it back, and has it moved over when the run has succeeded."""
from __future__ import annotations

import contextlib
import os
import zlib
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from osgeo import gdal
from qgis.core import QgsProcessingException, QgsRasterFileWriter

from .disk import not_written, settle
from .files import save_style
from .geopackage import quiet
from .stage import shared
from .style_files import STYLES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from os import PathLike
    from typing import Any

__all__ = ["NODATA", "RasterSink"]

NODATA = -9999.0
_OPTIONS = ["TILED=YES", "COMPRESS=DEFLATE", "PREDICTOR=3", "BIGTIFF=IF_SAFER", "INTERLEAVE=BAND"]
_CACHE_BYTES = 200_000_000
"""GDAL's cache while a raster is made: its own limit, a twentieth of all memory, would fill up with a large one."""


_PICTURE_OPTIONS = ["TILED=YES", "COMPRESS=DEFLATE", "PREDICTOR=2", "ZLEVEL=3", "BIGTIFF=IF_SAFER", "INTERLEAVE=BAND"]
"""Level 6, the usual one, takes twice the time for a third of a percent less of a speckled picture."""

_KINDS = {"float32": gdal.GDT_Float32, "uint8": gdal.GDT_Byte, "uint16": gdal.GDT_UInt16}
_LEAST_OVERVIEW = 256
"""Pixels across the smallest overview."""


class RasterSink:
    """A raster in the making; use it in a ``with`` statement: what is not finished is taken away.

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
    picture : numpy dtype, optional
        uint8 or uint16: the bands are grey or red, green and blue, with alpha last; 0 is no data and the last band 0
        where there is none. Without it numbers are Float32.
    """

    def __init__(self, path: str | PathLike[str], wkt: str, transform: Sequence[float], shape: tuple[int, int],
                 bands: Iterable[tuple[str, str]], metadata: Mapping[str, Any], picture: Any = None) -> None:
        self.path, self._wkt, self._transform, self._shape = str(path), wkt, transform, shape
        self._bands, self._metadata = list(bands), metadata
        self._picture, self._kind = picture is not None, np.dtype(picture or np.float32)
        self._told: dict[tuple[int, ...], int] = {}
        self._hold = contextlib.ExitStack()

    def __enter__(self) -> RasterSink:
        self._cache = gdal.GetCacheMax()
        self._hold.callback(gdal.SetCacheMax, self._cache)
        gdal.SetCacheMax(min(self._cache, _CACHE_BYTES))
        self._stage = self._hold.enter_context(shared())
        self._scratch = self._stage.room(self.path)
        rows, cols = self._shape
        self._raster = self._asked(lambda: gdal.GetDriverByName("GTiff").Create(
            self._scratch, cols, rows, len(self._bands), _KINDS[self._kind.name], self._options()))
        self._raster.SetGeoTransform([float(v) for v in self._transform])
        self._raster.SetProjection(self._wkt)
        self._raster.SetMetadata({name: str(value) for name, value in self._metadata.items()})
        for number, (name, unit) in enumerate(self._bands, 1):
            band = self._raster.GetRasterBand(number)
            band.SetNoDataValue(0 if self._picture else NODATA)
            band.SetDescription(name)
            band.SetUnitType(unit)
        return self

    def _options(self) -> list[str]:
        if not self._picture:
            return _OPTIONS
        photometric = "RGB" if len(self._bands) > 2 else "MINISBLACK"
        return [*_PICTURE_OPTIONS, f"PHOTOMETRIC={photometric}", "ALPHA=NON-PREMULTIPLIED"]

    def __exit__(self, kind: Any, error: Any, trace: Any) -> bool | None:
        with quiet():
            self._raster = None
        return self._hold.__exit__(kind, error, trace)

    def write(self, row: int, col: int, bands: Iterable[np.ndarray]) -> None:
        """Write one tile: (rows, columns) arrays in the order of the bands, NaN for unknown."""
        for number, values in enumerate(bands, 1):
            rows, cols = values.shape
            known = values if self._picture else np.where(np.isfinite(values), values, NODATA)
            data = known.astype(self._kind).tobytes()
            self._asked(partial(_took, self._raster, number, (col, row, cols, rows), data, _KINDS[self._kind.name]))
            self._told[number, col, row, cols, rows] = zlib.crc32(data)
            self._stage.check()

    def finish(self, style: str) -> None:
        """Close the raster, read all of it back, and have it moved over, with ``plugin/styles/<style>.qml`` beside it.

        A style of the user's that lies there stays.
        """
        levels = [2**k for k in range(1, 12) if max(self._shape) / 2**k >= _LEAST_OVERVIEW]
        if self._picture and levels:  # before the cache is emptied: what is in it need not be unpacked again
            self._asked(lambda: self._raster.BuildOverviews("AVERAGE", levels, self._carry_on) == 0)
        self._asked(lambda: (self._raster.FlushCache() or 0) == 0)
        with quiet():
            self._raster = None
        self._settle(self._scratch)
        raster = self._reopened(self._scratch)
        for window, told in self._told.items():
            self._stage.check()
            data = self._asked(partial(_read_back, raster, window[0], window[1:], _KINDS[self._kind.name]))
            if zlib.crc32(data) != told:
                raise QgsProcessingException(not_written(self.path, "it does not read back as it was written"))
        self._stage.keep(self._converted(raster), self.path)
        self._stage.move_on()
        if not save_style(self.path, STYLES / f"{style}.qml"):
            self._stage.warn(f"{os.path.splitext(self.path)[0]}.qml is a style of your own and was left as it is.")

    def _converted(self, raster: gdal.Dataset) -> str:
        """The file in the format that its ending stands for."""
        driver = QgsRasterFileWriter.driverForExtension(os.path.splitext(self.path)[1].lstrip("."))
        if driver in ("GTiff", ""):
            return self._scratch
        made = self._stage.room(self.path)
        copy = self._asked(lambda: gdal.GetDriverByName(driver).CreateCopy(made, raster, 0, callback=self._carry_on))
        with quiet():
            del copy
        self._settle(made)
        copy = self._reopened(made)
        for number in range(len(self._bands)):
            self._stage.check()
            self._asked(partial(_can_be_read, copy, number + 1))
        return made

    def _carry_on(self, fraction: float, message: str, data: object) -> int:
        return 1

    def _reopened(self, path: str) -> gdal.Dataset:
        raster = self._asked(lambda: gdal.Open(path))
        rows, cols = self._shape
        if (raster.RasterYSize, raster.RasterXSize, raster.RasterCount) != (rows, cols, len(self._bands)):
            raise QgsProcessingException(not_written(self.path, "it reads back with another size"))
        return raster

    def _settle(self, path: str) -> None:
        try:
            settle(path)
        except OSError as error:
            raise QgsProcessingException(not_written(self.path, error)) from error

    def _asked(self, call: Callable[[], Any]) -> Any:
        """What GDAL answers; nothing, or an exception (from QGIS 3.38 on), becomes one for the user."""
        with quiet():
            try:
                answer = call()
            except RuntimeError as error:
                raise QgsProcessingException(not_written(self.path, str(error))) from error
            if not answer:
                raise QgsProcessingException(not_written(self.path, gdal.GetLastErrorMsg()))
        return answer


def _took(raster: gdal.Dataset, number: int, window: tuple[int, ...], data: bytes, kind: int) -> bool:
    return raster.GetRasterBand(number).WriteRaster(*window, data, *window[2:], kind) == 0


def _read_back(raster: gdal.Dataset, number: int, window: tuple[int, ...], kind: int) -> bytes:
    return raster.GetRasterBand(number).ReadRaster(*window, buf_type=kind)


def _can_be_read(raster: gdal.Dataset, number: int) -> bool:
    return raster.GetRasterBand(number).Checksum() >= 0 and not gdal.GetLastErrorMsg()
