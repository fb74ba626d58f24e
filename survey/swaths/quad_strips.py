"""Strips as polygons whose union is exactly the union of their quads, at a fraction of the cost.

A strip is a row of quads, each inner_i, outer_i, outer_j, inner_j. Where neighbouring quads are convex and turn alike,
one ring (inner edge forward, outer edge back) winds round every point as often as quads cover it, all with one sign.
If that ring is simple, its interior is the union of the quads. If not, that union is whatever the ring winds round at
all, which is what a buffer of width 0 finds. Only rings that wind one way may be mended so: a buffer drops reversed
lobes, and make_valid, which is even-odd, turns overlaps into holes.

A quad whose beams cross is two triangles that meet there. Where neighbouring quads cross the same way, those triangles
make up two rings that wind one way, one along the inner and one along the outer edge, both closed by the chain of
crossings. Everything else goes in quad by quad.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry import shapes
from ..model.table import Ints, Objects, Table
from .crossings import Crossings, cross, crossings

__all__ = ["MAX_INTERVALS", "QuadStrips", "quad_strips"]

MAX_INTERVALS = 128
"""Longest ring: beyond a hundred quads a ring gains nothing and meets itself more often."""

_CONVEX, _CROSSED = 1, 2
"""Kinds of quads, with the sign of the way they turn; 0 for others."""


@dataclass(eq=False, repr=False)
class QuadStrips(Table):
    """Valid polygons, the sample each ``starts`` at and the number of ``intervals`` it spans, and how they came about.

    ``rings`` counts rows of quads drawn in one, ``quads`` those drawn one by one. Many ``quads`` mean noisy headings:
    right, but slow.
    """

    polygons: Objects
    starts: Ints
    intervals: Ints
    rings: int
    quads: int


def quad_strips(inner, outer, drawn, shared=()):
    """Polygons of strips.

    Parameters
    ----------
    inner, outer : (n, 2) arrays
        Points on the inner and outer edge at every sample, one plane frame, m.
    drawn : (n - 1,) bool array
        Whether anything is drawn between sample i and i + 1; both must then be finite.
    shared : (m,) int array, optional
        Beams i that are the same as i + 1: what bounds the one polygon has the corners of the other.

    Returns
    -------
    QuadStrips
    """
    strip = _Strip(inner, outer, drawn, shared)
    found = [strip.polygons(row) for row in range(len(strip.start))]
    counts = [len(polygons) for polygons in found]
    single = strip.size == 1
    return QuadStrips([polygon for polygons in found for polygon in polygons], np.repeat(strip.start, counts),
                      np.repeat(strip.size, counts), int((~single).sum()), int(single.sum()))


class _Strip:
    """Rows of quads of one kind: the sample each starts at, its ``size`` in intervals and its ``kind``."""

    def __init__(self, inner, outer, drawn, shared):
        self.inner, self.outer = inner, outer
        at, kind = self._kinds(np.flatnonzero(drawn))
        self.start, self.size, self.kind = _rows(at, kind)
        self.rings, self.simple = self._convex_rings()
        end, crossed = self.start + self.size, np.abs(self.kind) == _CROSSED
        # the chain of crossings begins on a row's first beam, where the second crosses it, and likewise ends
        bounds = np.unique(np.concatenate([self.start, end, self.start[crossed] + 1, end[crossed] - 1]))
        self.crossings = Crossings(inner, outer, drawn, bounds, shared)

    def _kinds(self, at):
        """Intervals that have any area, and their kind; crossings of beams beside each other are kept."""
        turning = _turning(self.inner, self.outer)[at]
        at, kind = at[np.isfinite(turning)], _CONVEX * turning[np.isfinite(turning)]
        odd = np.flatnonzero(kind == 0)
        a = at[odd]
        hit, share, next_share, point = crossings(self.inner[a], self.outer[a], self.inner[a + 1], self.outer[a + 1])
        sign = np.sign(cross(self.outer[a] - self.inner[a], self.outer[a + 1] - self.inner[a + 1]))
        kind[odd[hit]] = _CROSSED * sign[hit]
        self.centre = np.full_like(self.inner, np.nan)
        self.share, self.next_share = np.full((2, len(self.inner)), np.nan)
        self.centre[a[hit]], self.share[a[hit]], self.next_share[a[hit]] = point[hit], share[hit], next_share[hit]
        return at, kind

    def _convex_rings(self):
        """({row: ring without crossings}, (rows,) bool: whether it is simple)."""
        rings, simple = {}, np.zeros(len(self.start), bool)
        convex = np.abs(self.kind) == _CONVEX
        for size in np.unique(self.size[convex]):
            rows = np.flatnonzero(convex & (self.size == size))
            at = self.start[rows, None] + np.arange(size + 1)
            made = shapes.polygons(np.concatenate([self.inner[at], self.outer[at[:, ::-1]]], axis=1))
            simple[rows] = [ring.is_valid for ring in made]
            rings.update(zip(rows.tolist(), made))
        return rings, simple

    def polygons(self, row):
        """Polygons of one row."""
        first, last, kind = self.start[row], self.start[row] + self.size[row], abs(self.kind[row])
        if kind == _CONVEX and self.simple[row]:
            if not (self.crossings.touch(first) or self.crossings.touch(last)):
                return [self.rings[row]]
            ring = self._ring(first, last)
            return [ring] if ring.is_valid else shapes.wound([ring])  # a corner may fall upon another
        if kind == _CROSSED:
            rings = self._triangles(first, last)
        else:
            rings = [self._ring(first, last)]
        if self.size[row] > 1:
            return shapes.wound(rings)
        return [shapes.valid(ring) for ring in rings]

    def _ring(self, first, last):
        """Polygon between two beams, with the crossings on both."""
        return shapes.polygon([*self.inner[first:last + 1], *self.crossings.between(last),
                               *self.outer[first:last + 1][::-1], *self.crossings.between(first)[::-1]])

    def _triangles(self, first, last):
        """The polygon along the inner edge, and the one along the outer, of a row of quads whose beams cross."""
        chain, begin, end = self.centre[first:last][::-1], self.share[first], self.next_share[last - 1]
        between = self.crossings.between
        return [shapes.polygon([*self.inner[first:last + 1], *between(last, 0, end), *chain,
                                *between(first, 0, begin)[::-1]]),
                shapes.polygon([*self.outer[first:last + 1], *between(last, end)[::-1], *chain,
                                *between(first, begin)])]


def _turning(inner, outer):
    """+1 or -1 for convex quads by the way round, 0 for others, NaN for those without any area."""
    with np.errstate(invalid="ignore"):
        beam, along, back = outer - inner, np.diff(outer, axis=0), np.diff(inner, axis=0)
        areas = np.stack([cross(one, edge) for one in (beam[:-1], beam[1:]) for edge in (along, back)])
    turning = (areas > 0).all(axis=0).astype(float) - (areas < 0).all(axis=0)
    return np.where((areas == 0).all(axis=0), np.nan, turning)


def _rows(at, kind):
    """(start, size, kind) of rows of neighbouring quads of one kind, ``MAX_INTERVALS`` at most, 1 of kind 0."""
    fresh = np.ones(len(at), bool)
    fresh[1:] = (np.diff(at) != 1) | (kind[1:] != kind[:-1]) | (kind[1:] == 0)
    head = np.flatnonzero(fresh)
    since = np.arange(len(at)) - np.repeat(head, np.diff(np.append(head, len(at))))
    start = np.flatnonzero(since % MAX_INTERVALS == 0)
    return at[start], np.diff(np.append(start, len(at))), kind[start].astype(int)
