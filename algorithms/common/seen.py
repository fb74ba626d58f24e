"""The raster of 'Map bottom seen' -> ground that counts as seen, as polygons along its cells."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from osgeo import gdal, ogr
from qgis.core import (
    QgsCoordinateTransform,
    QgsDistanceArea,
    QgsGeometry,
    QgsPointXY,
    QgsProcessingException,
    QgsProject,
    QgsRectangle,
    QgsUnitTypes,
)

from ...survey.model.errors import InputError
from .values import given

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from typing import Any

    from qgis.core import QgsCoordinateReferenceSystem, QgsProcessingAlgorithm, QgsProcessingContext
    from shapely.geometry.base import BaseGeometry


__all__ = ["seen_ground"]

_ROWS = 512
_DENSIFY_CELLS = 64
OBJECT_SIZE = "OBJECT_SIZE_M"
"""Metadata item of the raster: side of the cube (m) that its detection grade is about."""


def seen_ground(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str, context: QgsProcessingContext,
                crs: QgsCoordinateReferenceSystem, extent: Any, required_looks: int, grade: str,
                step: Callable[[float], object]) -> tuple[Any, list[str]] | None:
    """Ground seen according to a raster parameter; None if it was left blank.

    Parameters
    ----------
    crs : QgsCoordinateReferenceSystem
        CRS of ``extent`` and of the polygons handed back.
    extent : (x, y, x, y)
        What lies outside is not read.
    required_looks, grade : see ``survey.LooksRaster``
    step : callable
        Called with the fraction done.

    Returns
    -------
    (survey.SeenGround, list of str)
        The second: what the user should know.
    """
    from ...survey import LooksRaster

    judged = LooksRaster(required_looks, grade)
    layer = alg.parameterAsRasterLayer(parameters, name, context)
    if layer is None:
        if given(parameters, name):
            raise QgsProcessingException(alg.invalidRasterError(parameters, name))
        return None
    label = f"{alg.parameterDefinition(name).description()} '{layer.name()}'"
    if not layer.crs().isValid():
        raise InputError(f"{label} has no coordinate reference system. Set it in the layer's properties (Source), then "
                         "run again.")
    raster = _open(layer, label, judged.bands)
    if grade == "detection":
        _refuse_unknown_object(raster, label)
    there = QgsCoordinateTransform(crs, layer.crs(), context.transformContext())
    window = _window(raster, there.transformBoundingBox(QgsRectangle(*extent)))
    found = _codes(raster, window, label, judged, step)
    back = None if crs == layer.crs() else QgsCoordinateTransform(layer.crs(), crs, context.transformContext())
    ground = judged.ground(_polygons(raster, window, found, back), _cell_m(raster, layer.crs(), window))
    notes = [] if ground.looks[0].area else [
        f"{label} shows no ground {'seen' if grade == 'seen' else 'on which the object would show'} inside the area."]
    return ground, notes


def _cell_m(raster: gdal.Dataset, crs: QgsCoordinateReferenceSystem, window: tuple[int, int, int, int]) -> float:
    """Side of a cell on the ground (m), in the middle of a window."""
    left, width, _, top, _, height = raster.GetGeoTransform()
    x, y = left + (window[0] + window[2] / 2) * width, top + (window[1] + window[3] / 2) * height
    measure = QgsDistanceArea()
    measure.setSourceCrs(crs, QgsProject.instance().transformContext())
    measure.setEllipsoid(crs.ellipsoidAcronym() or "EPSG:7030")
    sides = [measure.convertLengthMeasurement(measure.measureLine(QgsPointXY(x, y), QgsPointXY(x + east, y + north)),
                                              QgsUnitTypes.DistanceUnit.DistanceMeters)
             for east, north in ((width, 0.0), (0.0, height))]
    return float(np.sqrt(np.prod(sides)))


def _open(layer: Any, label: str, bands: Iterable[str]) -> gdal.Dataset:
    """The GDAL dataset, if it has these bands of 'Map bottom seen'."""
    raster = gdal.Open(layer.source()) if layer.providerType() == "gdal" else None
    if raster is None:
        raise InputError(f"{label} cannot be read as a file; give the raster that 'Map bottom seen' made.")
    names = [raster.GetRasterBand(i + 1).GetDescription() for i in range(raster.RasterCount)]
    missing = [band for band in bands if band not in names]
    if missing == ["detecting_looks"]:
        raise InputError(f"{label} does not say in how many passes the object would show: it lacks the band "
                         "detecting_looks, because an older version made it. Run 'Map bottom seen' again and use its "
                         "output, or take the grade 'seen'.")
    if missing:
        raise InputError(f"{label} lacks the band{'s' * (len(missing) > 1)} {', '.join(missing)}; give the raster that "
                         "'Map bottom seen' made.")
    return raster


def _refuse_unknown_object(raster: gdal.Dataset, label: str) -> None:
    size = raster.GetMetadataItem(OBJECT_SIZE)
    if not size or not float(size) > 0:
        raise InputError(f"{label} does not say for what size of object it was made, so detection cannot be judged. "
                         "Run 'Map bottom seen' again and use its output, or take the grade 'seen'.")


def _window(raster: gdal.Dataset, extent: Any) -> tuple[int, int, int, int]:
    """(column, row, columns, rows) of the raster that an extent in its CRS meets, at least one cell."""
    left, width, _, top, _, height = raster.GetGeoTransform()
    limits = []
    for low, high, size in (((extent.xMinimum() - left) / width, (extent.xMaximum() - left) / width,
                             raster.RasterXSize),
                            ((extent.yMaximum() - top) / height, (extent.yMinimum() - top) / height,
                             raster.RasterYSize)):
        first = int(np.clip(np.floor(low), 0, size - 1))
        limits.append((first, int(np.clip(np.ceil(high), first + 1, size)) - first))
    (column, columns), (row, rows) = limits
    return column, row, columns, rows


def _codes(raster: gdal.Dataset, window: tuple[int, int, int, int], label: str, judged: Any,
           step: Callable[[float], object]) -> np.ndarray:
    """Code of every cell in the window, read in slices of rows."""
    column, row, columns, rows = window
    bands = {raster.GetRasterBand(i + 1).GetDescription(): raster.GetRasterBand(i + 1)
             for i in range(raster.RasterCount)}
    found = np.zeros((rows, columns), np.uint8)
    for start in range(0, rows, _ROWS):
        count = min(_ROWS, rows - start)
        step(start / rows)
        values = {band: _read(bands[band], column, row + start, columns, count, label) for band in judged.bands}
        found[start:start + count] = judged.codes(values)
    return found


def _read(band: gdal.Band, column: int, row: int, columns: int, rows: int, label: str) -> np.ndarray:
    raw = band.ReadRaster(column, row, columns, rows, buf_type=gdal.GDT_Float32)
    if raw is None:
        raise InputError(f"{label} could not be read; check that its file is whole and at its place.")
    values = np.frombuffer(raw, np.float32).reshape(rows, columns).copy()
    nodata = band.GetNoDataValue()
    if nodata is not None:
        values[values == np.float32(nodata)] = np.nan
    return values


def _polygons(raster: gdal.Dataset, window: tuple[int, int, int, int], codes: np.ndarray,
              back: Any) -> dict[int, list[BaseGeometry]]:
    """Shapely polygons by code, in the CRS that ``back`` leads to."""
    from ...survey.geometry import shapes

    column, row, columns, rows = window
    left, width, _, top, _, height = raster.GetGeoTransform()
    memory = gdal.GetDriverByName("MEM").Create("", columns, rows, 1, gdal.GDT_Byte)
    memory.SetGeoTransform((left + column * width, width, 0.0, top + row * height, 0.0, height))
    memory.SetProjection(raster.GetProjection())  # GDAL floods the log about layers that have none
    memory.GetRasterBand(1).WriteRaster(0, 0, columns, rows, codes.tobytes())
    source = ogr.GetDriverByName("Memory").CreateDataSource("")
    layer = source.CreateLayer("cells", raster.GetSpatialRef(), ogr.wkbPolygon)
    layer.CreateField(ogr.FieldDefn("code", ogr.OFTInteger))
    band = memory.GetRasterBand(1)
    gdal.Polygonize(band, band, layer, 0)  # the band is its own mask: cells of code 0 are left out
    ground: dict[int, list[Any]] = {}
    for feature in layer:
        shape = QgsGeometry()
        shape.fromWkb(bytes(feature.GetGeometryRef().ExportToWkb()))
        if back is not None:
            shape = shape.densifyByDistance(_DENSIFY_CELLS * abs(width))
            shape.transform(back)
        ground.setdefault(feature.GetField(0), []).append(shapes.valid(shapes.from_wkb(shape.asWkb().data())))
    return ground

