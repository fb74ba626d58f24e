"""A raster of the chance that each cell of the areas was seen."""
from __future__ import annotations

import numpy as np

from ..bottom.rasters import Raster, metric_crs
from ..geometry import shapes
from ..geometry.frame import carried

__all__ = ["Picture"]

_MOST_CELLS = 250_000
_LEAST_CELL_M = 1.0
_STEP_M = 0.5
_AT_ONCE = 1 << 20


class Picture:
    """Cells of a raster in metres that lie in the areas, and their chance of having been seen.

    Parameters
    ----------
    frame : survey.geometry.frame.Frame
    area : shapely polygon, frame metres
        The cell is 1 m, or as much larger (in steps of 0.5 m) as keeps the areas under 250 000 cells.

    Attributes
    ----------
    raster : survey.bottom.rasters.Raster
    places : (k, 2) array
        Middles of the cells whose middle lies in the areas, frame metres.
    seen : (rows, cols) array or None
        Chance of having been seen, 0 to 1, NaN outside the areas; None until known.
    """

    def __init__(self, frame, area):
        cell = max(_LEAST_CELL_M, float(np.ceil(np.sqrt(area.area / _MOST_CELLS) / _STEP_M) * _STEP_M))
        rim = np.concatenate([shell for shell, _ in shapes.rings(area)])
        x, y = frame.inverse(*rim.T)
        crs = metric_crs(frame.crs, x, y)
        self.raster = Raster.around(crs, cell, *carried(frame.crs, crs, x, y), 0.0)
        self._inside, places = [], []
        size = max(1, _AT_ONCE // self.raster.cols)
        for first in range(0, self.raster.rows, size):  # in slices, or a long lake askew takes all memory
            row, column = np.mgrid[first:min(first + size, self.raster.rows), 0:self.raster.cols] + 0.5
            x, y = carried(crs, frame.crs, (self.raster.left + column * cell).ravel(),
                           (self.raster.top - row * cell).ravel())
            xy = np.column_stack(frame.forward(x, y))
            inside = shapes.contains(area, *xy.T)
            self._inside.append(inside.reshape(row.shape))
            places.append(xy[inside])
        self.places, self.seen = np.concatenate(places), None

    def fill(self, chance):
        """Set ``seen`` from the (k,) chances at ``places``."""
        inside = np.concatenate(self._inside)
        self.seen = np.full(inside.shape, np.nan, np.float32)
        self.seen[inside] = chance
