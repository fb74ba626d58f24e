"""Raster layers -> depth grids, read by window through QGIS's own provider, whatever the format."""
from __future__ import annotations

import numpy as np
from qgis.core import Qgis, QgsProcessingException, QgsRectangle

from ...survey.model.errors import InputError
from .read import wkt
from .values import given

__all__ = ["depth_grid"]


def depth_grid(alg, parameters, name, context):
    """The DepthGrid of a raster parameter, first band; None if it was left blank.

    Raises
    ------
    InputError
        If the raster has no coordinate reference system.
    """
    from ...survey import DepthGrid

    layer = alg.parameterAsRasterLayer(parameters, name, context)
    if layer is None:
        if given(parameters, name):
            raise QgsProcessingException(alg.invalidRasterError(parameters, name))
        return None
    if not layer.crs().isValid():
        raise InputError(f"{alg.parameterDefinition(name).description()} '{layer.name()}' has no coordinate reference "
                         "system. Set it in the layer's properties (Source), then run again.")
    extent, shape = layer.extent(), (layer.height(), layer.width())
    transform = (extent.xMinimum(), extent.width() / shape[1], 0.0, extent.yMaximum(), 0.0, -extent.height() / shape[0])
    return DepthGrid(wkt(layer.crs()), transform, shape, _reader(layer.dataProvider().clone(), extent, shape),
                     layer.name())


def _reader(provider, extent, shape):
    """``read(row0, row1, col0, col1)`` for a DepthGrid; the provider is the caller's own, safe in a worker."""
    height, width = extent.height() / shape[0], extent.width() / shape[1]

    def read(row0, row1, col0, col1):
        window = QgsRectangle(extent.xMinimum() + col0 * width, extent.yMaximum() - row1 * height,
                              extent.xMinimum() + col1 * width, extent.yMaximum() - row0 * height)
        block = provider.block(1, window, col1 - col0, row1 - row0)
        if not block.isValid() or not block.convert(Qgis.DataType.Float64):
            raise InputError("The depth grid could not be read; check that its file is whole and at its place.")
        values = np.frombuffer(bytes(block.data()), np.float64).reshape(row1 - row0, col1 - col0).copy()
        if block.hasNoDataValue():
            values[values == block.noDataValue()] = np.nan
        values[~np.isfinite(values)] = np.nan
        return values
    return read
