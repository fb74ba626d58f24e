"""Raster layers -> depth grids, read by window through QGIS's own provider, whatever the format."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from qgis.core import Qgis, QgsProcessingException, QgsRectangle

from ...survey.model.errors import InputError
from .read import wkt
from .values import given

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from qgis.core import QgsProcessingAlgorithm, QgsProcessingContext

    from ...survey import DepthGrid

__all__ = ["depth_grid"]


def depth_grid(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str,
               context: QgsProcessingContext) -> DepthGrid | None:
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


def _reader(provider: Any, extent: Any, shape: tuple[int, int]) -> Callable[[int, int, int, int], np.ndarray]:
    """``read(row0, row1, col0, col1)`` for a DepthGrid; the provider is the caller's own, safe in a worker."""
    height, width = extent.height() / shape[0], extent.width() / shape[1]

    def read(row0: int, row1: int, col0: int, col1: int) -> np.ndarray:
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
