"""Polygons that stay valid when they are carried to another CRS: no two places of the outline all but meet.

Overlays leave vertices nanometres beside an edge. Carried over vertex by vertex, as every GIS does it, the vertex falls
on the other side of the edge and the polygon crosses itself. The least distance between a vertex and an edge that does
not end in it is the polygon's minimum clearance; here it is found by cells, and what is too near is joined.
"""
from __future__ import annotations

import numpy as np
import shapely.geometry as sg

from . import shapes

__all__ = ["CLEARANCE_M", "cleared", "near_misses", "paced"]

CLEARANCE_M = 1.5e-4
"""Vertices are written no nearer to another vertex or edge than this: a tenth of a millimetre, with room for the
scale of a CRS."""

LONGEST_EDGE_M = 25.0
"""Carried to degrees at 60 degrees of latitude an edge of this length strays from the ground by 0.02 mm."""

_PIECE_M = 2.0
_TRIES, _FEW = 4, 40


def near_misses(geometry, least=CLEARANCE_M, around=None):
    """Vertices that lie nearer than ``least`` to an edge that does not end in them, but not on it.

    Parameters
    ----------
    geometry : shapely polygons, frame metres
    least : float
    around : (m, 2) array, optional
        Look near these places only.

    Returns
    -------
    (k, 2) array

    Examples
    --------
    >>> from shapely.geometry import Polygon
    >>> from athwart.geometry.clearance import near_misses
    >>> near_misses(Polygon([(0, 0), (4, 0), (4, 3), (2, 0.0001), (0, 3)])).tolist()
    [[2.0, 0.0001]]
    """
    rings = shapes.lines(geometry)
    if not rings:
        return np.empty((0, 2))
    start = np.concatenate([ring[:-1] for ring in rings])
    end = np.concatenate([ring[1:] for ring in rings])
    sizes = np.array([len(ring) - 1 for ring in rings])
    first = np.repeat(np.cumsum(sizes) - sizes, sizes)
    number = np.arange(len(start))
    following = np.where(number + 1 < first + np.repeat(sizes, sizes), number + 1, first)
    low = start.min(axis=0) - 2 * _PIECE_M
    cells = np.floor((start - low) / _PIECE_M).astype(np.int64)
    width = int(cells[:, 1].max()) + 4
    key = cells[:, 0] * width + cells[:, 1]
    long = np.hypot(*(end - start).T)
    edges = order = number
    if around is not None and len(around) <= _FEW:
        close = np.zeros(len(start), bool)
        for place in around:
            close |= np.abs(start - place).max(axis=1) < 2 * _PIECE_M
        edges, order = np.flatnonzero(close | close[following] | (long > _PIECE_M)), np.flatnonzero(close)
    order = order[np.argsort(key[order], kind="stable")]
    key = key[order]
    # a vertex beside a piece of an edge lies in one of the four cells around the middle of the piece
    pieces = np.maximum(np.ceil(long[edges] / (_PIECE_M - 4 * least)), 1).astype(int)
    edge = np.repeat(edges, pieces)
    share = (np.arange(len(edge)) - np.repeat(np.cumsum(pieces) - pieces, pieces) + 0.5) / np.repeat(pieces, pieces)
    corner = np.floor((start[edge] + share[:, None] * (end - start)[edge] - low) / _PIECE_M - 0.5).astype(np.int64)
    base = corner[:, 0] * width + corner[:, 1]
    found = []
    for column in (0, width):
        # two cells of one column lie next to each other
        begin, stop = np.searchsorted(key, base + column), np.searchsorted(key, base + column + 1, "right")
        count = stop - begin
        owner = np.repeat(edge, count)
        place = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + np.repeat(begin, count)
        vertex = order[place]
        apart = (vertex != owner) & (vertex != following[owner])
        vertex, owner = vertex[apart], owner[apart]
        way, off = (end - start)[owner], start[vertex] - start[owner]
        along = np.clip((off * way).sum(axis=1) / np.maximum(np.square(way).sum(axis=1), 1e-300), 0, 1)
        distance = np.hypot(*(off - along[:, None] * way).T)
        # what lies exactly upon a vertex stays there wherever it is carried
        upon = (off == 0).all(axis=1) | (start[vertex] == end[owner]).all(axis=1)
        found.append(vertex[(distance < least) & ~upon])
    return start[np.unique(np.concatenate(found))]


def paced(geometry, longest=LONGEST_EDGE_M):
    """Polygons with further vertices on edges longer than ``longest`` (m).

    A GIS carries vertices over and draws straight edges between them, so the middle of a long edge strays: past a
    vertex beside it, where two edges run close together for long.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.clearance import paced
    >>> len(paced(box(0, 0, 100, 10), longest=25.0).exterior.coords)
    11
    """
    def cut(ring):
        pieces = np.maximum(1, np.ceil(np.hypot(*np.diff(ring, axis=0).T) / longest)).astype(int)
        if (pieces == 1).all():
            return ring
        edge = np.repeat(np.arange(len(pieces)), pieces)
        share = (np.arange(len(edge)) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / pieces[edge]
        return np.vstack([ring[edge] + share[:, None] * (ring[edge + 1] - ring[edge]), ring[-1:]])
    return shapes.of_lines(geometry, iter([cut(ring) for ring in shapes.lines(geometry)]))


def cleared(geometry, least=CLEARANCE_M, within=False):
    """Polygons whose outlines keep ``least`` clear of themselves.

    Short edges go first. Then places where the outline all but meets itself are joined by squares of a few ``least``,
    or parted by them; where that does not help, for a needle is long, everything narrower is worn away and closed.

    Parameters
    ----------
    geometry : shapely polygons, frame metres
    least : float
    within : bool
        Part rather than join, so that nothing is added to the polygons.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.clearance import cleared
    >>> float(cleared(box(0, 0, 10, 10)).area)
    100.0
    """
    near = near_misses(geometry, least)
    for number in range(_TRIES):
        if len(near):
            geometry = shapes.drop_short_edges(shapes.valid(geometry), least)
            near = near_misses(geometry, least, near)
        if not len(near):
            return geometry
        size = least * (1.5 + number)
        if number < 2:
            squares = shapes.union([sg.box(x - size, y - size, x + size, y + size) for x, y in near])
            joined = shapes.polygonal(geometry.difference(squares)) if within else shapes.union([geometry, squares])
        else:
            joined = geometry
            for distance in (-size, 2 * size, -size):
                joined = joined.buffer(distance, 1, join_style=2)
        geometry = shapes.drop_small_holes(joined, 4 * size)
        near = near_misses(geometry, least, near if number < 2 else None)
    return shapes.drop_short_edges(geometry, least)
