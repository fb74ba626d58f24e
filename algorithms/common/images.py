"""Record images read through GDAL into arrays that need not fit in memory: PNG, JPEG, TIFF, grey or coloured."""
from __future__ import annotations

import inspect
import os
import re
import tempfile
from typing import TYPE_CHECKING

import numpy as np
from osgeo import gdal

from ...survey.model import patience
from ...survey.model.errors import InputError
from .geopackage import quiet

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from typing import Any

    from qgis.core import QgsProcessingAlgorithm, QgsProcessingContext

__all__ = ["Opened", "in_order", "opened", "stacked"]

_IN_MEMORY = 200_000_000
"""Bytes of pixels beyond which they are unpacked into a file: no format but TIFF can be read from the middle."""

_ROWS_AT_ONCE = 256
_INTO = "buf_obj" in inspect.signature(gdal.Band.ReadRaster).parameters
"""Whether GDAL reads into an array that is there (from 3.3 on); what it makes itself has to be copied."""

_LEAST_CACHE = 2_000_000
_KINDS = {gdal.GDT_Byte: np.uint8, gdal.GDT_UInt16: np.uint16}


class Opened:
    """An image: ``name``, ``width``, ``height``, ``bands`` (1 or 3), ``kind`` (numpy dtype)."""

    def __init__(self, path: str, name: str) -> None:
        with quiet():
            try:
                self._raster = gdal.Open(path)
            except RuntimeError:
                self._raster = None
        if self._raster is None:
            raise InputError(f"The image '{name}' cannot be read; check that its file is whole and at its place.")
        self.name, self.width, self.height = name, self._raster.RasterXSize, self._raster.RasterYSize
        bands = [self._raster.GetRasterBand(k + 1) for k in range(self._raster.RasterCount)]
        if bands[0].DataType not in _KINDS:
            raise InputError(f"The image '{name}' holds {gdal.GetDataTypeName(bands[0].DataType)} numbers; save it "
                             "with 8 or 16 bits a pixel.")
        self.kind = np.dtype(_KINDS[bands[0].DataType])
        self._table = _palette(bands[0])
        self._alpha = next((band for band in bands if band.GetColorInterpretation() == gdal.GCI_AlphaBand), None)
        shown = [band for band in bands if band.GetColorInterpretation() != gdal.GCI_AlphaBand]
        self._shown = shown[:3] if len(shown) >= 3 else shown[:1]
        self.bands = 3 if self._table is not None else len(self._shown)

    def fill(self, pixels: Any, clear: Any) -> None:
        """Read everything into (rows, columns, bands) and (rows, columns) arrays."""
        kept = gdal.GetCacheMax()
        gdal.SetCacheMax(min(kept, self._cache()))
        try:
            self._fill(pixels, clear)
        finally:
            gdal.SetCacheMax(kept)

    def _cache(self) -> int:
        """Bytes of GDAL's cache that keep what is read from being unpacked twice; each is read once, and a cache that
        takes all of it in only costs time."""
        rows = max(self._shown[0].GetBlockSize()[1], _ROWS_AT_ONCE)
        return max(_LEAST_CACHE, 2 * rows * self.width * self._raster.RasterCount * self.kind.itemsize)

    def _fill(self, pixels: Any, clear: Any) -> None:
        for row in range(0, self.height, _ROWS_AT_ONCE):
            patience.look()
            rows = min(_ROWS_AT_ONCE, self.height - row)
            part = slice(row, row + rows)
            if _INTO and isinstance(pixels, np.ndarray) and self._table is None and pixels.shape[2] == self.bands:
                for number, band in enumerate(self._shown):
                    self._read(band, row, rows, pixels[part], number)
            else:
                read = [self._read(band, row, rows) for band in self._shown]
                pixels[part] = (self._table[read[0]] if self._table is not None else
                                read[0][..., None] if self.bands == 1 else np.stack(read, axis=2))
            if self._alpha is not None:
                clear[part] = self._read(self._alpha, row, rows) == 0

    @property
    def see_through(self) -> bool:
        """True where it has an alpha band."""
        return self._alpha is not None

    def _read(self, band: gdal.Band, row: int, rows: int, into: Any = None, number: int = 0) -> np.ndarray:
        """(rows, width) pixels; given a (rows, width, bands) array of their kind, they are put into its band."""
        told = {}
        if into is not None:
            step, line = into.strides[1], into.strides[0]
            told = {"buf_obj": memoryview(into.reshape(-1)[number:]), "buf_pixel_space": step, "buf_line_space": line}
        with quiet():
            try:
                raw = band.ReadRaster(0, row, self.width, rows, buf_type=band.DataType, **told)
            except RuntimeError:
                raw = None
        if raw is None or gdal.GetLastErrorType() >= gdal.CE_Failure:
            raise InputError(f"The image '{self.name}' cannot be read from row {row} on: its file is not whole.")
        return np.frombuffer(raw, self.kind).reshape(rows, self.width) if into is None else into[..., number]


def _palette(band: gdal.Band) -> np.ndarray | None:
    """(256, 3) uint8 colours of an image that numbers its colours, None for others."""
    table = band.GetColorTable()
    if table is None or band.DataType != gdal.GDT_Byte:
        return None
    colours = np.zeros((256, 3), np.uint8)
    for k in range(min(table.GetCount(), 256)):
        colours[k] = table.GetColorEntry(k)[:3]
    return colours


def opened(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str,
           context: QgsProcessingContext) -> list[Opened]:
    """The images of a parameter that takes several rasters, in the order of their names."""
    layers = alg.parameterAsLayerList(parameters, name, context) or []
    if not layers:
        raise InputError("There is no image: none of those given can be loaded.", field="images")
    return in_order([Opened(layer.source(), os.path.basename(layer.source()) or layer.name()) for layer in layers])


def in_order(images: Iterable[Opened]) -> list[Opened]:
    """Images by name, numbers in it by their value: 'part 9' before 'part 10'."""
    return sorted(images, key=lambda image: [int(part) if part.isdigit() else part
                                             for part in re.split(r"(\d+)", image.name)])


def stacked(images: Sequence[Opened], newest: str) -> tuple[Any, Any]:
    """Images of which each goes on where the one before it ended, as one.

    Parameters
    ----------
    images : list of Opened
        The oldest first.
    newest : {'top', 'bottom'}

    Returns
    -------
    pixels : (rows, columns) or (rows, columns, 3) array of unsigned integers
    clear : (rows, columns) bool array or None
    """
    first = images[0]
    for image in images[1:]:
        if image.width != first.width:
            raise InputError(f"The images '{first.name}' and '{image.name}' are {first.width} and {image.width} pixels "
                             "wide, so one does not go on where the other ends. Give them in runs of their own.",
                             field="images")
    bands, kind = max(image.bands for image in images), max((image.kind for image in images), key=lambda k: k.itemsize)
    rows = sum(image.height for image in images)
    pixels = _room((rows, first.width, bands), kind, np.empty)  # all of it is read
    see_through = any(image.see_through for image in images)
    clear = _room((rows, first.width), np.dtype(bool)) if see_through else None
    row = 0
    for image in images[::-1] if newest == "top" else images:
        part = slice(row, row + image.height)
        scale = 257 if image.kind != kind else 1
        image.fill(_Scaled(pixels[part], scale) if scale > 1 else pixels[part], clear[part] if see_through else None)
        row += image.height
    return (pixels[..., 0] if bands == 1 else pixels), clear


class _Scaled:
    """What is put into it is multiplied first."""

    def __init__(self, array: np.ndarray, scale: float) -> None:
        self._array, self._scale = array, scale

    def __setitem__(self, index: Any, values: np.ndarray) -> None:
        self._array[index] = values.astype(self._array.dtype) * self._array.dtype.type(self._scale)


def _room(shape: tuple[int, ...], kind: Any, made: Any = np.zeros) -> Any:
    """An array of zeros, in an unnamed file of its own where it is large."""
    size = int(np.prod(shape)) * kind.itemsize
    if size <= _IN_MEMORY:
        return made(shape, kind)
    with tempfile.TemporaryFile() as file:  # the map keeps it open
        file.truncate(size)
        return np.memmap(file, kind, "r+", shape=shape)
