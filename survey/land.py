"""Land stops sound: how far each beam runs before it leaves the water."""
from __future__ import annotations

import numpy as np

from . import shapes
from .edge_index import EdgeIndex

__all__ = ["near_shore", "water_reach"]


def water_reach(water, east, north, dir_e, dir_n, reach):
    """Ground distance at which each beam first leaves the water.

    Parameters
    ----------
    water : shapely Polygon or MultiPolygon
        In frame metres; islands are holes.
    east, north : (n,) arrays
        The boat, frame metres.
    dir_e, dir_n : (n,) arrays
        Unit vector of each beam.
    reach : float or (n,) array
        How far the beam would run over open water, m.

    Returns
    -------
    (n,) array, m
        ``reach`` where no shore is met before; 0 where the boat itself is not on the water; NaN where any input is.
    """
    at = np.column_stack([np.asarray(east, float), np.asarray(north, float)])
    along = np.column_stack([np.asarray(dir_e, float), np.asarray(dir_n, float)])
    reach = np.array(np.broadcast_to(np.asarray(reach, float), len(at)))
    tips = at + reach[:, None] * along
    known = np.flatnonzero(np.isfinite(tips).all(axis=1))
    found = np.full(len(at), np.nan)
    found[known] = np.where(shapes.contains(water, *at[known].T), reach[known], 0.0)
    afloat = known[found[known] > 0]
    found[afloat] = EdgeIndex.of(water).ray_length(at[afloat], along[afloat], found[afloat])
    return found


def near_shore(water, corners):
    """Which patches may have a shoreline in them.

    Parameters
    ----------
    water : shapely Polygon or MultiPolygon
        In frame metres.
    corners : (n, k, 2) array
        Corners of each patch, frame metres, finite.

    Returns
    -------
    (n,) bool array; true where the extent of the patch meets the extent of any shoreline edge.
    """
    low, high = corners.min(axis=1), corners.max(axis=1)
    shore = EdgeIndex.of(water)
    found = np.zeros(len(corners), bool)
    for rows, edges in shore.bundles(low, high):
        meets = (shore.high[edges] >= low[rows][:, None]) & (shore.low[edges] <= high[rows][:, None])
        found[rows] = meets.all(axis=2).any(axis=1)
    return found
