"""Straight edges of polygons and lines, found by place: what a ray meets first, and what lies nearest.

Edges are kept in bundles that follow the line (neighbouring edges share one extent), and rays or points are taken in
bundles that lie together, so that each bundle meets only the few edges near it.
"""
from __future__ import annotations

import numpy as np

from . import shapes

__all__ = ["EdgeIndex", "first_crossing", "nearest_on_edges"]

_BUNDLE = 64
"""Rays, points or edges that share one extent."""

_SLACK = 1e-9
"""Share of an edge by which it is lengthened, so that no ray slips between two edges at their common corner."""


class EdgeIndex:
    """Edges of lines, with the extents of every bundle of them.

    Parameters
    ----------
    lines : list of (n, 2) arrays
        Vertices; each line has n - 1 edges.

    Attributes
    ----------
    start, end : (m, 2) arrays
    low, high : (m, 2) arrays
        Extent of each edge.
    """

    def __init__(self, lines):
        self.start = np.vstack([line[:-1] for line in lines]) if lines else np.empty((0, 2))
        self.end = np.vstack([line[1:] for line in lines]) if lines else np.empty((0, 2))
        self.low, self.high = np.minimum(self.start, self.end), np.maximum(self.start, self.end)
        heads = np.arange(0, len(self.start), _BUNDLE)
        self._low = np.minimum.reduceat(self.low, heads) if len(heads) else self.low
        self._high = np.maximum.reduceat(self.high, heads) if len(heads) else self.high

    @classmethod
    def of(cls, polygons):
        """The edges of every ring of a polygonal geometry."""
        return cls([line for shell, holes in shapes.rings(polygons) for line in (shell, *holes)])

    def near(self, low, high):
        """Indices of the edges whose extents meet the rectangle from ``low`` to ``high``, (2,) each."""
        bundles = np.flatnonzero(((self._high >= low) & (self._low <= high)).all(axis=1))
        edges = (bundles[:, None] * _BUNDLE + np.arange(_BUNDLE)).ravel()
        edges = edges[edges < len(self.start)]
        return edges[((self.high[edges] >= low) & (self.low[edges] <= high)).all(axis=1)]

    def bundles(self, low, high):
        """Yield (indices of rows, indices of edges near them) where any are; rows have extents ``low``, ``high``."""
        slices = _BUNDLE * max(1, int(np.sqrt(len(low) / _BUNDLE)))
        by_east = np.argsort(low[:, 0], kind="stable")
        rank = np.empty(len(low), int)
        rank[by_east] = np.arange(len(low)) // slices
        order = np.lexsort((low[:, 1], rank))
        for first in range(0, len(low), _BUNDLE):
            rows = order[first:first + _BUNDLE]
            edges = self.near(low[rows].min(axis=0), high[rows].max(axis=0))
            if len(edges):
                yield rows, edges

    def ray_length(self, at, along, reach):
        """Distance at which each ray first meets an edge, at most its reach.

        Parameters
        ----------
        at, along : (n, 2) arrays
            Starting points and unit vectors.
        reach : (n,) array

        Returns
        -------
        (n,) array
        """
        found = np.array(reach, float)
        tips = at + found[:, None] * along
        for rows, edges in self.bundles(np.minimum(at, tips), np.maximum(at, tips)):
            first = first_crossing(at[rows], along[rows], self.start[edges], self.end[edges])
            found[rows] = np.minimum(found[rows], first)
        return found

    def nearest(self, at, reach):
        """Place nearest to each point on any edge within its reach.

        Parameters
        ----------
        at : (n, 2) array
        reach : (n,) array

        Returns
        -------
        place : (n, 2) array
            NaN where no edge is within reach.
        distance : (n,) array
            Infinite there.
        """
        place, distance = np.full(at.shape, np.nan), np.full(len(at), np.inf)
        for rows, edges in self.bundles(at - reach[:, None], at + reach[:, None]):
            foot = nearest_on_edges(at[rows], self.start[edges], self.end[edges])
            away = np.hypot(*(foot - at[rows][:, None]).transpose(2, 0, 1))
            best = away.argmin(axis=1)
            distance[rows], place[rows] = (v[np.arange(len(rows)), best] for v in (away, foot))
        missed = ~(distance <= reach)
        place[missed], distance[missed] = np.nan, np.inf
        return place, distance


def first_crossing(at, along, start, end):
    """Distance along each of (n,) rays to the nearest of (k,) edges; infinite where it meets none.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.geometry.edge_index import first_crossing
    >>> boat, ahead = np.array([[0.0, 0.0]]), np.array([[0.0, 1.0]])
    >>> first_crossing(boat, ahead, np.array([[-1.0, 5.0]]), np.array([[1.0, 5.0]])).tolist()
    [5.0]
    """
    edge_e, edge_n = (end - start).T
    away_e, away_n = start[:, 0] - at[:, :1], start[:, 1] - at[:, 1:]
    dir_e, dir_n = along[:, :1], along[:, 1:]
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = dir_e * edge_n - dir_n * edge_e
        distance = (away_e * edge_n - away_n * edge_e) / turn
        share = (away_e * dir_n - away_n * dir_e) / turn
    # a parallel edge gives NaN or infinity, which fails; the ray then meets the edge's neighbour at the corner
    meets = (distance >= 0) & (share >= -_SLACK) & (share <= 1 + _SLACK)
    return np.where(meets, distance, np.inf).min(axis=1, initial=np.inf)


def nearest_on_edges(at, start, end):
    """(n, k, 2) places on each of k edges nearest to each of n points.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.geometry.edge_index import nearest_on_edges
    >>> nearest_on_edges(np.array([[3.0, 4.0]]), np.array([[0.0, 0.0]]), np.array([[10.0, 0.0]])).tolist()
    [[[3.0, 0.0]]]
    """
    edge = end - start
    square = np.maximum((edge**2).sum(axis=1), 1e-30)
    share = np.clip(((at[:, None] - start) * edge).sum(axis=2) / square, 0, 1)
    return start + share[:, :, None] * edge
