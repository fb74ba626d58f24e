"""Swath edges thinned out where they decide nothing, because other passes saw the ground on both sides of them.

Most of a survey lies well inside enough passes. An edge that runs through such ground bounds no gap, wherever exactly
it runs, yet overlays pay for each of its vertices. The ground is cut into square tiles. A tile is *deep* if enough
passes hold it together with a margin on all sides. A stretch of edge within deep tiles, and within a small distance of
its chord, is replaced by that chord. What is seen so many times is the same afterwards, also when all edges move
outwards or inwards: a polygon changes in deep tiles only (crossings of its rings with a line that ends elsewhere come
and go in pairs), and what holds a tile with the margin still holds it with what is left of the margin.
"""
from __future__ import annotations

import numpy as np

from ..geometry import scanfill, shapes

__all__ = ["thinned"]

_BEND_M = 0.5
"""Greatest distance from a chord; every place between the edge and its chord is then within twice that of the edge."""

_AROUND = 2
_MOST_TILES = 1 << 21
_STRETCHES = (64, 32, 16, 8, 4, 2)
_BATCH = 1 << 16


def thinned(outings, depth, within, rest, step=lambda fraction: None):
    """Passes with fewer vertices, and the same levels of looks, however far their edges are moved.

    Parameters
    ----------
    outings : list of lists of passes
        A pass is a list of shapely polygons, its strips, in one plane (m); none empty.
    depth : int
        Looks that count: levels 1 .. ``depth`` stay the same.
    within, rest : float
        They stay the same also after the edges are moved outwards or inwards by these distances (m) or less: first
        those of every strip or pass, then those of the levels of each outing.
    step : callable, optional
        Called with the fraction done.

    Returns
    -------
    list of lists of lists of shapely polygons
        In the same order.
    """
    outlines = [[[_Outline(strip) for strip in one] for one in passes] for passes in outings]
    everyone, found = [one for passes in outlines for one in passes], []
    shared = [_Tiles(everyone, depth, within + rest, lambda f: step(f / 2))] if len(outings) > 1 else []
    for number, passes in enumerate(outlines):
        # passes of the outing itself that hold a tile keep its levels whole before they are moved any further
        tiles = [_Tiles(passes, depth, within, lambda f, n=number: step(0.5 + (n + f) / len(outlines) / 2)), *shared]
        strips = iter(_thin([strip for one in passes for strip in one], tiles))
        found.append([[next(strips) for _ in one] for one in passes])
    return found


class _Outline:
    """A polygon, its closed rings, outer and inner alike, and its bounds."""

    def __init__(self, polygon):
        self.polygon, self.bounds = polygon, polygon.bounds
        self.rings = shapes.lines(polygon)


class _Tiles:
    """Square tiles, and how many passes hold each of them with a margin (m) on all sides."""

    def __init__(self, passes, depth, move, step):
        low, high = _corners([strip for one in passes for strip in one])
        # places along an edge are taken a tile apart, so it may come half a tile nearer than they do
        self._side = max(2 * (move + _BEND_M) / (_AROUND - 0.5), float(np.sqrt(np.prod(high - low) / _MOST_TILES)))
        self._origin = low - (_AROUND + 1) * self._side
        columns, rows = self.at(high) + _AROUND + 2
        looks = np.zeros((rows, columns), np.uint16)
        for number, one in enumerate(passes):
            step(number / len(passes))
            self._count(one, looks, depth)
        self._shallow = np.zeros((rows + 1, columns + 1), np.int32)
        np.cumsum(np.cumsum(looks < depth, axis=0), axis=1, out=self._shallow[1:, 1:])

    def at(self, xy):
        """(..., 2) column and row of the tile that holds each place."""
        return ((xy - self._origin) / self._side).astype(np.int32)

    def _count(self, strips, looks, depth):
        row0, row1, col0, col1 = self._window(strips)
        held = np.zeros((row1 - row0, col1 - col0), bool)
        for strip in strips:
            own = self._window([strip])
            held[own[0] - row0:own[1] - row0, own[2] - col0:own[3] - col0] |= self._held(strip, own)
        looks = looks[row0:row1, col0:col1]
        looks += held & (looks < depth)

    def _window(self, strips):
        """(row0, row1, col0, col1) of the tiles that strips can be near to."""
        low, high = _corners(strips)
        (col0, row0), (col1, row1) = self.at(low) - _AROUND, self.at(high) + _AROUND + 1
        return row0, row1, col0, col1

    def _held(self, strip, window):
        """Tiles of a window that lie in a polygon, as do all within ``_AROUND`` of them."""
        row0, row1, col0, col1 = window
        near = np.zeros((row1 - row0, col1 - col0), bool)
        for ring in strip.rings:
            column, row = self.at(_along(ring, self._side)).T
            near[row - row0, column - col0] = True
        for wide in (near, near.T):
            edge = wide.copy()
            for away in range(1, _AROUND + 1):
                wide[away:] |= edge[:-away]
                wide[:-away] |= edge[away:]
        inside = scanfill.fill_rings(strip.rings, window, lambda x, y: (
            (x - self._origin[0]) / self._side - 0.5, (y - self._origin[1]) / self._side - 0.5))
        return inside & ~near

    def deep(self, low, high):
        """Whether all tiles of rectangles are deep; ``low``, ``high``: (n, 2) their corners."""
        (col0, row0), (col1, row1), sums = self.at(low).T, self.at(high).T + 1, self._shallow
        return sums[row1, col1] - sums[row0, col1] - sums[row1, col0] + sums[row0, col0] == 0


def _corners(outlines):
    bounds = np.array([one.bounds for one in outlines])
    return bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)


def _along(ring, spacing):
    """Places along a ring, at most ``spacing`` apart."""
    edge = np.diff(ring, axis=0)
    pieces = np.maximum(np.ceil(np.hypot(*edge.T) / spacing), 1).astype(int)
    if pieces.max() == 1:
        return ring
    which = np.repeat(np.arange(len(edge)), pieces)
    share = (np.arange(len(which)) - (np.cumsum(pieces) - pieces)[which]) / pieces[which]
    return ring[which] + share[:, None] * edge[which]


def _thin(outlines, tiles):
    """Yield each polygon thinned, or as it was where that would make it cross itself."""
    batch, size = [], 0
    for number, outline in enumerate(outlines):
        batch.append(outline)
        size += sum(map(len, outline.rings))
        if size >= _BATCH or number == len(outlines) - 1:
            rings = iter(_thin_rings([ring for one in batch for ring in one.rings], tiles))
            for one in batch:
                yield _rebuilt(one, [next(rings) for _ in one.rings])
            batch, size = [], 0


def _thin_rings(rings, tiles):
    """Closed (n, 2) rings less the vertices that chords pass over."""
    xy = np.concatenate(rings)
    ring = np.repeat(np.arange(len(rings)), [len(r) for r in rings])
    kept = np.ones(len(xy), bool)
    for length in _STRETCHES:
        start = np.arange(0, len(xy) - length, length)
        start = start[(ring[start] == ring[start + length]) & kept[start + 1]]  # dropped ones stay within larger ones
        reach = start[:, None] + np.arange(length + 1)
        low, high = (np.column_stack([pick(xy[:, k][reach], axis=1) for k in (0, 1)]) for pick in (np.min, np.max))
        reach = reach[np.any([one.deep(low, high) for one in tiles], axis=0)]
        if not len(reach):
            continue
        x, y = (xy[:, k][reach] - xy[:, k][reach[:, :1]] for k in (0, 1))
        chord = np.hypot(x[:, -1], y[:, -1])
        with np.errstate(invalid="ignore"):  # no chord leaves a ring from and to one vertex
            east, north = x[:, -1] / chord, y[:, -1] / chord
        along, across = x * east[:, None] + y * north[:, None], y * east[:, None] - x * north[:, None]
        flat = ((np.abs(across).max(axis=1) <= _BEND_M) & (along.min(axis=1) > -1e-9)
                & (along.max(axis=1) < chord + 1e-9))
        kept[reach[flat, 1:-1]] = False
    sizes = np.cumsum([len(r) for r in rings])[:-1]
    return [r[keep] if keep.sum() > 3 else r for r, keep in zip(rings, np.split(kept, sizes))]


def _rebuilt(outline, thin):
    if sum(map(len, thin)) == sum(map(len, outline.rings)):
        return outline.polygon
    found = shapes.polygonal(shapes.of_lines(outline.polygon, iter(thin)))
    return found if found.is_valid else outline.polygon
