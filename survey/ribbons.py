"""Strips as polygons whose union is exactly the union of their quads, at a fraction of the cost.

A strip is a row of quads, each inner_i, outer_i, outer_j, inner_j. Where neighbouring quads are convex and turn alike,
one ring (inner edge forward, outer edge back) winds round every point as often as quads cover it, all with one sign;
if that ring is also simple, its interior is the union of the quads. Everything else goes in quad by quad. A ring must
never be mended instead: make_valid is even-odd, so overlaps would become holes, and buffer(0) drops lobes.

Beams cross where the boat turns more tightly than they reach, and where the heading is noisy. A quad whose beams cross
is two triangles that meet there. Every crossing of two beams that bound polygons becomes a corner of all polygons along
both: it is computed once, so that polygons share their edges to the last bit. Left to the overlay it would be computed
again and again with other rounding, and edges that all but coincide make overlays drop pieces now and then.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import shapes

__all__ = ["MAX_INTERVALS", "Ribbons", "ribbons"]

MAX_INTERVALS = 64
"""Longest ring: beyond some dozens of quads a ring gains nothing and meets itself more often."""

_NEIGHBOURS = 32
"""How far along the strip crossings of beams are looked for, in beams that bound polygons."""


@dataclass
class Ribbons:
    """Valid polygons, the sample each ``starts`` at and the number of ``intervals`` it spans, and how they came about.

    ``rings`` counts polygons that stand for a row of quads, ``quads`` those that stand for one. Many ``quads`` mean
    noisy headings or a boat going round on the spot: right, but slow.
    """

    polygons: list
    starts: np.ndarray
    intervals: np.ndarray
    rings: int
    quads: int


def ribbons(inner, outer, drawn):
    """Polygons of strips.

    Parameters
    ----------
    inner, outer : (n, 2) arrays
        Points on the inner and outer edge at every sample, one plane frame, m.
    drawn : (n - 1,) bool array
        Whether anything is drawn between sample i and i + 1; both must then be finite.

    Returns
    -------
    Ribbons
    """
    at = np.flatnonzero(drawn)
    turning = _turning(np.stack([inner[at], outer[at], outer[at + 1], inner[at + 1]], axis=1))
    at, turning = at[np.isfinite(turning)], turning[np.isfinite(turning)]
    start, length = _rows_of_one_turning(at, turning)
    rings, single = [], [at[turning == 0]]
    for size in np.unique(length):
        first = at[start[length == size]]
        rows = first[:, None] + np.arange(size + 1)
        made = shapes.polygons(np.concatenate([inner[rows], outer[rows[:, ::-1]]], axis=1))
        simple = np.array([size > 1 and ring.is_valid for ring in made], bool)
        rings += [(ring, row, size) for ring, row, good in zip(made, first.tolist(), simple) if good]
        single.append(rows[~simple, :-1].ravel())
    single = np.sort(np.concatenate(single))
    starts, intervals = [row for _, row, _ in rings], [size for _, _, size in rings]
    ends = [*starts, *(row + size for row, size in zip(starts, intervals))]
    beams = _Beams(inner, outer, drawn, np.unique(np.concatenate([single, single + 1, np.array(ends, int)])))
    polygons = [beams.ring(row, row + size) if beams.touches(row, row + size) else ring for ring, row, size in rings]
    for row in single.tolist():
        quads = beams.quad(row)
        polygons += quads
        starts += [row] * len(quads)
        intervals += [1] * len(quads)
    return Ribbons(polygons, np.array(starts, int), np.array(intervals, int), len(rings), len(single))


class _Beams:
    """Beams from inner to outer edge that bound polygons, and where they cross each other.

    Parameters
    ----------
    inner, outer, drawn : as of ``ribbons``
    bounds : (k,) int array
        The samples whose beams bound a polygon, rising.
    """

    def __init__(self, inner, outer, drawn, bounds):
        self.inner, self.outer = inner, outer
        self.crossed = {}
        """(share of the way out on this beam, on the next, the point) where a beam and the next one cross."""
        found = [(np.empty(0, int), np.empty(0), np.empty((0, 2)))]
        stretch = np.concatenate([[0], np.cumsum(~drawn)])[bounds]
        for apart in range(1, min(_NEIGHBOURS, len(bounds) - 1) + 1):
            alike = stretch[:-apart] == stretch[apart:]
            a, b = bounds[:-apart][alike], bounds[apart:][alike]
            a, b, share_a, share_b, point = self._crossings(a, b)
            if not len(a):
                break
            found += [(a, share_a, point), (b, share_b, point)]
            if apart == 1:
                beside = b == a + 1
                self.crossed = dict(zip(a[beside].tolist(), zip(share_a[beside], share_b[beside], point[beside])))
        beam, share, point = map(np.concatenate, zip(*found))
        order = np.lexsort((share, beam))
        self._beam, self._share, self._point = beam[order], share[order], point[order]

    def _crossings(self, a, b):
        """(a, b, share on a, share on b, point) of the pairs of beams that cross."""
        first, second = self.outer[a] - self.inner[a], self.outer[b] - self.inner[b]
        apart = self.inner[b] - self.inner[a]
        with np.errstate(divide="ignore", invalid="ignore"):
            share_a, share_b = (_cross(apart, other) / _cross(first, second) for other in (second, first))
        hit = (share_a > 0) & (share_a < 1) & (share_b > 0) & (share_b < 1)
        return (a[hit], b[hit], share_a[hit], share_b[hit],
                self.inner[a[hit]] + share_a[hit, None] * first[hit])

    def touches(self, *beams):
        """True if there is a crossing on any of these beams."""
        return any(np.diff(np.searchsorted(self._beam, (beam, beam + 1)))[0] for beam in beams)

    def _between(self, beam, low=0.0, high=1.0):
        """Crossings on a beam with shares between ``low`` and ``high``, from the inside out, as a list of points."""
        first, last = np.searchsorted(self._beam, (beam, beam + 1))
        share = self._share[first:last]
        return list(self._point[first:last][(share > low) & (share < high)])

    def ring(self, first, last):
        """Polygon from beam ``first`` to beam ``last``, with the crossings on both."""
        return shapes.polygon([*self.inner[first:last + 1], *self._between(last), *self.outer[last:first:-1],
                               self.outer[first], *self._between(first)[::-1]])

    def quad(self, row):
        """Polygons of one interval: a quad, or two triangles where its beams cross."""
        if row not in self.crossed:
            return [shapes.valid(self.ring(row, row + 1))]
        here, there, point = self.crossed[row]
        inside = [self.inner[row], *self._between(row, 0, here), point, *self._between(row + 1, 0, there)[::-1],
                  self.inner[row + 1]]
        outside = [point, *self._between(row, here), self.outer[row], self.outer[row + 1],
                   *self._between(row + 1, there)[::-1]]
        return [shapes.valid(shapes.polygon(half)) for half in (inside, outside)]


def _turning(quads):
    """+1 or -1 for convex quads by the way round, 0 for others, NaN for those without any area."""
    corners = [quads[:, k] for k in range(4)]
    areas = np.stack([_cross(corners[(k + 1) % 4] - corners[k], corners[(k + 2) % 4] - corners[k]) for k in range(4)])
    turning = (areas > 0).all(axis=0).astype(float) - (areas < 0).all(axis=0)
    return np.where((areas == 0).all(axis=0), np.nan, turning)


def _cross(a, b):
    return a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]


def _rows_of_one_turning(at, sign):
    """(start, length) of rows of neighbouring convex quads that turn alike, ``MAX_INTERVALS`` at most."""
    if not len(at):
        return np.empty(0, int), np.empty(0, int)
    fresh = np.ones(len(at), bool)
    fresh[1:] = (np.diff(at) != 1) | (sign[1:] != sign[:-1])
    head = np.flatnonzero(fresh)
    since = np.arange(len(at)) - np.repeat(head, np.diff(np.append(head, len(at))))
    start = np.flatnonzero(since % MAX_INTERVALS == 0)
    length = np.diff(np.append(start, len(at)))
    convex = sign[start] != 0
    return start[convex], length[convex]
