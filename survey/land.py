"""Land stops sound: how far each beam runs before it leaves the water.

Shoreline edges are indexed in bundles that follow the shore (neighbouring edges share one extent), and beams are taken
in bundles that lie together, so that each bundle meets only the few edges near it.
"""
from __future__ import annotations

import numpy as np

from . import shapes

__all__ = ["near_shore", "water_reach"]

_BUNDLE = 64
"""Beams, or edges, that share one extent."""

_SLACK = 1e-9
"""Share of an edge by which it is lengthened, so that no beam slips between two edges at their common corner."""


class _Shoreline:
    """The (m, 2) starts and ends of all edges of a polygon, with the extents of every bundle of edges."""

    def __init__(self, water):
        lines = [line for shell, holes in shapes.rings(water) for line in (shell, *holes)]
        self.start = np.vstack([line[:-1] for line in lines]) if lines else np.empty((0, 2))
        self.end = np.vstack([line[1:] for line in lines]) if lines else np.empty((0, 2))
        self.low, self.high = np.minimum(self.start, self.end), np.maximum(self.start, self.end)
        heads = np.arange(0, len(self.start), _BUNDLE)
        self._low = np.minimum.reduceat(self.low, heads) if len(heads) else self.low
        self._high = np.maximum.reduceat(self.high, heads) if len(heads) else self.high

    def near(self, low, high):
        """Indices of the edges whose extents meet the rectangle from ``low`` to ``high``, (2,) each."""
        bundles = np.flatnonzero(((self._high >= low) & (self._low <= high)).all(axis=1))
        edges = (bundles[:, None] * _BUNDLE + np.arange(_BUNDLE)).ravel()
        edges = edges[edges < len(self.start)]
        return edges[((self.high[edges] >= low) & (self.low[edges] <= high)).all(axis=1)]


def _bundles(low, high, shore):
    """Yield (indices of rows, indices of edges near them) where there are any; rows have extents ``low``, ``high``."""
    if not len(low):
        return
    width = (high - low).max() or 1.0
    order = np.lexsort((low[:, 1], np.floor(low[:, 0] / width)))
    for first in range(0, len(low), _BUNDLE):
        rows = order[first:first + _BUNDLE]
        edges = shore.near(low[rows].min(axis=0), high[rows].max(axis=0))
        if len(edges):
            yield rows, edges


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
    shore = _Shoreline(water)
    low, high = np.minimum(at, tips)[afloat], np.maximum(at, tips)[afloat]
    for rows, edges in _bundles(low, high, shore):
        beams = afloat[rows]
        first = _first_crossing(at[beams], along[beams], shore.start[edges], shore.end[edges])
        found[beams] = np.minimum(found[beams], first)
    return found


def _first_crossing(at, along, start, end):
    """Distance along each of (n,) rays to the nearest of (k,) edges; infinite where it meets none."""
    edge_e, edge_n = (end - start).T
    away_e, away_n = start[:, 0] - at[:, :1], start[:, 1] - at[:, 1:]
    dir_e, dir_n = along[:, :1], along[:, 1:]
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = dir_e * edge_n - dir_n * edge_e
        distance = (away_e * edge_n - away_n * edge_e) / turn
        share = (away_e * dir_n - away_n * dir_e) / turn
    # a parallel edge gives NaN or infinity, which fails; the beam then meets the edge's neighbour at the corner
    meets = (distance >= 0) & (share >= -_SLACK) & (share <= 1 + _SLACK)
    return np.where(meets, distance, np.inf).min(axis=1)


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
    shore = _Shoreline(water)
    found = np.zeros(len(corners), bool)
    for rows, edges in _bundles(low, high, shore):
        meets = (shore.high[edges] >= low[rows][:, None]) & (shore.low[edges] <= high[rows][:, None])
        found[rows] = meets.all(axis=2).any(axis=1)
    return found
