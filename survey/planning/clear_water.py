"""Ways over clear water: whether a straight way keeps to the boat's water, and the shortest way round where not.

The shortest way between two places among polygons bends at their corners only (Lozano-Perez & Wesley 1979), so the
corners that reach into the water are joined wherever they see each other, and ways are found along those joints.
"""
from __future__ import annotations

import numpy as np
import shapely.geometry as sg
from shapely.geometry import LineString

from ..geometry import shapes
from ..geometry.edge_index import EdgeIndex

__all__ = ["ClearWater"]

_TOUCH = 1e-7
_CHUNK = 1 << 21
_INWARD_M = 0.02
_MOST_CORNERS = 160
_WIDER = (0.0, 1.0, 2.0, 4.0, 8.0)
"""By how much (m) the water is worn for the net, until its corners are few enough."""

_NEAR = 24
_SHARES = (0.5, 0.25, 0.75, 0.1, 0.9)


class ClearWater:
    """The boat's water as a net of corners.

    Parameters
    ----------
    boat : shapely MultiPolygon, m
    """

    def __init__(self, boat):
        self.boat = boat
        self._ready = shapes.prepared(boat.buffer(1e-3))
        self._index = EdgeIndex.of(boat)
        self.corners, tangents = _net_corners(boat)
        n = len(self.corners)
        self._net = np.full((n, n), np.inf)
        i, j = np.nonzero(np.triu(_supporting(self.corners, tangents), 1))
        seen = self._clear(self.corners[i], self.corners[j])
        i, j = i[seen], j[seen]
        self._net[i, j] = self._net[j, i] = np.hypot(*(self.corners[i] - self.corners[j]).T)
        np.fill_diagonal(self._net, 0.0)
        self._next = np.where(np.isfinite(self._net), np.arange(n), -1)
        for k in range(n):
            through = self._net[:, k, None] + self._net[k]
            better = through < self._net - 1e-9
            self._net[better] = through[better]
            self._next = np.where(better, self._next[:, k, None], self._next)

    def keeps(self, xy):
        """True if a way (n, 2) keeps to the boat's water."""
        return bool(self._ready.covers(LineString(xy)))

    def sees(self, a, b):
        """(len(a), len(b)) bool: the straight way between two places of the water meets no land."""
        a, b = np.asarray(a, float).reshape(-1, 2), np.asarray(b, float).reshape(-1, 2)
        i, j = (v.ravel() for v in np.indices((len(a), len(b))))
        return self._clear(a[i], b[j]).reshape(len(a), len(b))

    def _clear(self, a, b, exact=True):
        """(n,) bool: the straight way from each of (n, 2) places to another keeps to the water.

        ``exact`` False asks at a few places along it only.
        """
        found = np.ones(len(a), bool)
        apart = np.hypot(*(b - a).T) > 0.01
        for share in _SHARES:
            some = np.flatnonzero(found & apart)
            found[some] = self._wet(a[some] + share * (b[some] - a[some]))
        if not exact:
            return found
        some = np.flatnonzero(found & apart)
        low, high = np.minimum(a[some], b[some]), np.maximum(a[some], b[some])
        for rows, edges in self._index.bundles(low, high):
            start, end = self._index.start[edges], self._index.end[edges]
            edge = end - start
            for first in range(0, len(rows), max(1, _CHUNK // max(1, len(edges)))):
                own = some[rows[first:first + max(1, _CHUNK // max(1, len(edges)))]]
                way, off = (b[own] - a[own])[:, None], start[None] - a[own][:, None]
                across = way[..., 0] * edge[:, 1] - way[..., 1] * edge[:, 0]
                with np.errstate(divide="ignore", invalid="ignore"):
                    t = (off[..., 0] * edge[:, 1] - off[..., 1] * edge[:, 0]) / across
                    s = (off[..., 0] * way[..., 1] - off[..., 1] * way[..., 0]) / across
                hit = (t > _TOUCH) & (t < 1 - _TOUCH) & (s > _TOUCH) & (s < 1 - _TOUCH)
                found[own] &= ~hit.any(axis=1)
        return found

    def _wet(self, xy):
        if not len(xy):
            return np.zeros(0, bool)
        inside = shapes.contains(self.boat, *xy.T)
        dry = np.flatnonzero(~inside)
        if len(dry):
            away = self._index.nearest(xy[dry], np.full(len(dry), 0.01))[1]
            inside[dry] = np.isfinite(away)
        return inside

    def distances(self, a, b):
        """(len(a), len(b)) lengths (m) of the shortest ways; infinite between waters that do not meet.

        Exact to the nearest of each; between places far apart a way over land is told at a few places only.
        """
        a, b = np.asarray(a, float).reshape(-1, 2), np.asarray(b, float).reshape(-1, 2)
        direct = np.hypot(*(a[:, None] - b).transpose(2, 0, 1))
        near = np.zeros(direct.shape, bool)
        count = min(_NEAR, direct.shape[1])
        np.put_along_axis(near, np.argsort(direct, axis=1)[:, :count], True, axis=1)
        seen = np.zeros(direct.shape, bool)
        for some, exact in ((near, True), (~near, False)):
            i, j = np.nonzero(some)
            seen[i, j] = self._clear(a[i], b[j], exact)
        found = np.where(seen, direct, np.inf)
        if seen.all() or not len(self.corners):
            return found
        from_a = self._reach(a)
        to_b = from_a if np.array_equal(a, b) else self._reach(b)
        through = np.stack([(row[:, None] + self._net).min(axis=0) for row in from_a])
        for i in range(len(a)):
            dark = np.flatnonzero(~seen[i])
            if len(dark):
                found[i, dark] = (through[i] + to_b[dark]).min(axis=1)
        return found

    def _reach(self, places):
        seen = self.sees(places, self.corners)
        return np.where(seen, np.hypot(*(places[:, None] - self.corners).transpose(2, 0, 1)), np.inf)

    def way(self, a, b):
        """(n, 2) shortest way from a place to another, None where there is none."""
        a, b = np.asarray(a, float), np.asarray(b, float)
        if self.sees(a, b)[0, 0]:
            return np.vstack([a, b])
        if not len(self.corners):
            return None
        total = self._reach(a[None])[0][:, None] + self._net + self._reach(b[None])[0]
        i, j = np.unravel_index(int(np.argmin(total)), total.shape)
        if not np.isfinite(total[i, j]):
            return None
        stops = [i]
        while stops[-1] != j:
            stops.append(int(self._next[stops[-1], j]))
        return np.vstack([a, self.corners[stops], b])


def _net_corners(boat):
    """Corners at which land reaches into the water, a hair off it, (n, 2), and the edges that meet there (n, 2, 2).

    Of water worn a little where there are many, unless that would part it.
    """
    best = None
    for wider in _WIDER:
        worn = boat if wider == 0 else boat.buffer(-wider, 2).simplify(0.75 * wider)
        if best is not None and len(shapes.parts(worn)) != len(shapes.parts(boat)):
            break
        best = _reflex(worn)
        if len(best[0]) <= _MOST_CORNERS:
            break
    return best


def _reflex(boat):
    corners, edges = [np.empty((0, 2))], [np.empty((0, 2, 2))]
    for part in shapes.parts(boat):
        for ring in shapes.lines(sg.polygon.orient(part, 1.0)):
            xy = ring[:-1]
            before, after = xy - np.roll(xy, 1, axis=0), np.roll(xy, -1, axis=0) - xy
            right = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0] < 0
            inward = _unit(_unit(before) - _unit(after))
            corners.append((xy + _INWARD_M * inward)[right])
            edges.append(np.stack([-before, after], axis=1)[right])
    return np.concatenate(corners), np.concatenate(edges)


def _supporting(corners, edges):
    """(n, n) bool: the line through two corners cuts into the land at neither, as every bend of a shortest way must."""
    way = corners[None] - corners[:, None]
    sides = [np.sign(way[..., 0] * edges[:, None, k, 1] - way[..., 1] * edges[:, None, k, 0]) for k in (0, 1)]
    own = sides[0] * sides[1] >= 0
    return own & own.T


def _unit(v):
    return v / np.maximum(np.hypot(*v.T), 1e-12)[:, None]
