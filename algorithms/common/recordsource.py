"""The source of a mapped record, read at points: which pass, sample and slant range a cell of the map shows."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from osgeo import gdal
from qgis.core import QgsProcessingException

from ...survey.model.errors import InputError
from ...survey.model.messages import Message, Setting
from .geopackage import quiet
from .read import wkt

if TYPE_CHECKING:
    from typing import Any

    from qgis.core import QgsCoordinateReferenceSystem, QgsProcessingAlgorithm, QgsProcessingContext

__all__ = ["read_source"]

_BANDS = ("outing", "pass_id", "sample_id", "slant")


def read_source(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str, context: QgsProcessingContext,
                crs: QgsCoordinateReferenceSystem, x: np.ndarray, y: np.ndarray) -> Any:
    """(MapSource, whether the map's depths came off the record) at points.

    Parameters
    ----------
    crs : pyproj.CRS
        Of the points and of what comes back.
    x, y : (n,) arrays
    """
    from ...survey import MapSource
    from ...survey.geometry.frame import carried

    layer = alg.parameterAsRasterLayer(parameters, name, context)
    if layer is None:
        raise QgsProcessingException(alg.invalidRasterError(parameters, name))
    with quiet():
        raster = gdal.Open(layer.source())
    bands = {} if raster is None else {raster.GetRasterBand(k + 1).GetDescription(): raster.GetRasterBand(k + 1)
                                       for k in range(raster.RasterCount)}
    missing = [band for band in _BANDS if band not in bands]
    if missing or not layer.crs().isValid():
        raise InputError(Message("{source} '{layer}' is not the source of a mapped record: it lacks {missing}. Give "
                                 "the second raster of 'Georeference record image', which it makes when asked.",
                                 source=Setting(name), layer=layer.name(), missing=", ".join(missing) or "its CRS"))
    facts = raster.GetMetadata()
    left, width, _, top, _, height = raster.GetGeoTransform()
    own = wkt(layer.crs())
    east, north = carried(crs, own, np.asarray(x, float), np.asarray(y, float))
    with np.errstate(invalid="ignore"):
        col, row = np.floor((east - left) / width), np.floor((north - top) / height)
        inside = (col >= 0) & (col < raster.RasterXSize) & (row >= 0) & (row < raster.RasterYSize)
    found = {band: np.full(len(col), np.nan) for band in _BANDS}
    for k in np.flatnonzero(inside).tolist():
        for band in _BANDS:
            found[band][k] = _value(bands[band], int(col[k]), int(row[k]))
    back = carried(own, crs, left + (np.where(inside, col, 0) + 0.5) * width,
                   top + (np.where(inside, row, 0) + 0.5) * height)
    outing = np.array([facts.get(f"OUTING_{int(number)}", "") if np.isfinite(number) else ""
                       for number in found["outing"]], object)
    x, y = (np.where(inside, values, np.nan) for values in back)
    source = MapSource(x, y, outing, found["pass_id"], found["sample_id"], found["slant"])
    return source, facts.get("DEPTH_FROM", "track") != "track"


def _value(band: Any, col: int, row: int) -> float:
    value = float(np.frombuffer(band.ReadRaster(col, row, 1, 1, buf_type=gdal.GDT_Float32), np.float32)[0])
    nothing = band.GetNoDataValue()
    return np.nan if nothing is not None and np.float32(nothing) == np.float32(value) else value
