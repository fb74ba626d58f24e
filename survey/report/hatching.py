"""Hatching of polygons as lines of their own: every reader of SVG draws it, and so does a printer in grey."""
from __future__ import annotations

import numpy as np
from shapely.geometry import MultiLineString

from ..geometry import shapes

__all__ = ["hatch"]

_SLANT = np.sqrt(0.5)


def hatch(geometry, spacing, falling=False):
    """Parallel lines at 45 degrees that fill a polygon.

    Parameters
    ----------
    geometry : shapely polygon or multipolygon
    spacing : float
        Between the lines, in the geometry's units.
    falling : bool
        True for lines from north-west to south-east.

    Returns
    -------
    shapely geometry
        The lines, cut to the polygon.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.report.hatching import hatch
    >>> round(hatch(box(0, 0, 100, 100), 2.0).length * 2.0 / 100)
    100
    """
    west, south, east, north = geometry.bounds
    tall, step = north - south, spacing / _SLANT
    # the lines are those of one lattice, so that neighbouring polygons are hatched as one
    lean = -1.0 if falling else 1.0
    first, last = sorted((west - lean * south, east - lean * south))
    first, last = min(first, first - lean * tall), max(last, last - lean * tall)
    offsets = np.arange(np.floor(first / step), np.ceil(last / step) + 1) * step
    lines = [((offset + lean * south, south), (offset + lean * north, north)) for offset in offsets]
    return geometry.intersection(MultiLineString(lines)) if lines else shapes.empty()
