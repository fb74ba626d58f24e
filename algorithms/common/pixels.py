"""Pixels of a record image and the coordinates that QGIS gives them: below the origin, a pixel a unit."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from qgis.core import QgsProcessingException

if TYPE_CHECKING:
    from typing import Any

    from qgis.core import QgsProcessingAlgorithm, QgsProcessingContext

__all__ = ["image_of", "map_of", "pixels_of"]


def image_of(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str, context: QgsProcessingContext) -> Any:
    """The raster layer of a record image; refused in QGIS's words where it cannot be loaded."""
    image = alg.parameterAsRasterLayer(parameters, name, context)
    if image is None:
        raise QgsProcessingException(alg.invalidRasterError(parameters, name))
    return image


def pixels_of(image: Any, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pixel columns and rows of map coordinates on the image; rows counted downwards from the top, as other programs
    give them, are taken, too."""
    extent = image.extent()
    column = (x - extent.xMinimum()) / extent.width() * image.width()
    if extent.yMaximum() <= 0 and np.nanmin(y, initial=np.inf) >= 0:
        return column, y
    return column, (extent.yMaximum() - y) / extent.height() * image.height()


def map_of(image: Any, column: np.ndarray, row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Map coordinates of pixel columns and rows."""
    extent = image.extent()
    return (extent.xMinimum() + column / image.width() * extent.width(),
            extent.yMaximum() - row / image.height() * extent.height())
