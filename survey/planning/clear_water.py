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
_CHUNK = 1 << 22
_INWARD_M = 0.02


class ClearWater:
    """The boat's water as a net of corners.

    Parameters
    ----------
    boat : shapely MultiPolygon, m
    """

    def __init__(self, boat):
        self.boat = boat
        self._ready = shapes.prepared(boat.buffer(1e-3))
        rings = shapes.lines(boat)
        self._start = np.concatenate([r[:-1] for r in rings])
        self._end = np.concatenate([r[1:] for r in rings])
        self.corners = _reflex(boat)
        seen = self.sees(self.corners, self.corners)
        apart = np.hypot(*(self.corners[:, None] - self.corners).transpose(2, 0, 1)) if len(self.corners) else \
            np.zeros((0, 0))
        self._net = np.where(seen, apart, np.inf)
        np.fill_diagonal(self._net, 0.0)
        self._next = np.where(np.isfinite(self._net), np.arange(len(self.corners)), -1)
        for k in range(len(self.corners)):
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
        found = np.ones((len(a), len(b)), bool)
        edge = self._end - self._start
        size = max(1, _CHUNK // max(1, len(b) * len(edge)))
        for first in range(0, len(a), size):
            p = a[first:first + size]
            way = b[None] - p[:, None]
            off = self._start[None] - p[:, None]                               # (k, e, 2)
            cross_we = way[:, :, None, 0] * edge[:, 1] - way[:, :, None, 1] * edge[:, 0]
            cross_oe = (off[..., 0] * edge[:, 1] - off[..., 1] * edge[:, 0])[:, None]
            cross_ow = off[:, None, :, 0] * way[:, :, None, 1] - off[:, None, :, 1] * way[:, :, None, 0]
            with np.errstate(divide="ignore", invalid="ignore"):
                t, s = cross_oe / cross_we, cross_ow / cross_we
            hit = (t > _TOUCH) & (t < 1 - _TOUCH) & (s > _TOUCH) & (s < 1 - _TOUCH)
            found[first:first + size] = ~hit.any(axis=2)
        # ways through two corners cut no edge: their middles tell
        i, j = np.nonzero(found)
        for share in (0.5, 0.31, 0.77):
            middle = a[i] + share * (b[j] - a[i])
            apart = np.hypot(*(b[j] - a[i]).T) > 0.01
            wet = ~apart | self._wet(middle)
            found[i[~wet], j[~wet]] = False
            i, j = i[wet], j[wet]
        return found

    def _wet(self, xy):
        if not len(xy):
            return np.zeros(0, bool)
        inside = shapes.contains(self.boat, *xy.T)
        dry = np.flatnonzero(~inside)
        if len(dry):
            away = EdgeIndex.of(self.boat).nearest(xy[dry], np.full(len(dry), 0.01))[1]
            inside[dry] = np.isfinite(away)
        return inside

    def distances(self, a, b):
        """(len(a), len(b)) lengths (m) of the shortest ways; infinite between waters that do not meet."""
        a, b = np.asarray(a, float).reshape(-1, 2), np.asarray(b, float).reshape(-1, 2)
        direct = np.hypot(*(a[:, None] - b).transpose(2, 0, 1))
        seen = self.sees(a, b)
        found = np.where(seen, direct, np.inf)
        if seen.all() or not len(self.corners):
            return found
        from_a, to_b = self._reach(a), self._reach(b)
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


def _reflex(boat):
    """Corners at which land reaches into the water, a hair off it."""
    found = [np.empty((0, 2))]
    for part in shapes.parts(boat):
        for ring in shapes.lines(sg.polygon.orient(part, 1.0)):
            xy = ring[:-1]
            before, after = xy - np.roll(xy, 1, axis=0), np.roll(xy, -1, axis=0) - xy
            right = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0] < 0
            inward = _unit(_unit(before) - _unit(after))
            found.append((xy + _INWARD_M * inward)[right])
    return np.concatenate(found)


def _unit(v):
    return v / np.maximum(np.hypot(*v.T), 1e-12)[:, None]
