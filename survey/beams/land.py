"""Land stops sound: how far each beam runs before it leaves the water."""
from __future__ import annotations

import numpy as np

from ..geometry import shapes
from ..geometry.edge_index import EdgeIndex

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

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.beams.land import water_reach
    >>> one, none = np.ones(1), np.zeros(1)
    >>> water_reach(box(-50, -50, 8, 50), none, none, one, none, 30 * one).tolist()
    [8.0]
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
    (n,) bool array; false only where a line parts the patch from every shoreline edge
        The lines tried: east and north, along and across from the first corner to the second, and each edge's own.
    """
    low, high = corners.min(axis=1), corners.max(axis=1)
    shore = EdgeIndex.of(water)
    found = np.zeros(len(corners), bool)
    for rows, edges in shore.bundles(low, high):
        meets = (shore.high[edges] >= low[rows][:, None]) & (shore.low[edges] <= high[rows][:, None])
        row, edge = np.nonzero(meets.all(axis=2))
        patch, start, end = corners[rows[row]], shore.start[edges[edge]], shore.end[edges[edge]]
        along = patch[:, 1] - patch[:, 0]
        parted = np.zeros(len(row), bool)
        for axis in (along, _turned(along), _turned(end - start)):
            of_patch, of_edge = (np.einsum("nkd,nd->nk", points, axis) for points in
                                 (patch, np.stack([start, end], axis=1)))
            parted |= ((of_patch.max(axis=1) < of_edge.min(axis=1)) | (of_patch.min(axis=1) > of_edge.max(axis=1)))
        found[rows[row[~parted]]] = True
    return found


def _turned(vectors):
    """Vectors turned by a right angle."""
    return np.column_stack([-vectors[:, 1], vectors[:, 0]])
