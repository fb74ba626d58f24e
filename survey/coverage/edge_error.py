"""How far the edge of a swath may be off, and the ground surely seen and surely missed in spite of it.

Errors come in two layers. Own and pass errors move the passes of one outing against each other; a bias of the outing
moves all its passes together, against the shore and against other outings. So every pass is first moved by
1.645 sigma of the former, the passes of an outing are joined, and the whole is then moved by what is left of
1.645 sigma of both. A bias that opens no gap between two neighbours opens none here either.

1.645 is the one-sided 95 % point of the normal distribution (JCGM 100:2008, table G.1). In the middle of a gap that is
only just wider than both margins either neighbour may reach, so that strip may have been seen 1 time in 10.
"""
from __future__ import annotations

import math

import numpy as np
from shapely.geometry import box

from ..geometry import overlap, shapes
from ..model import patience
from ..model.constants import ONE_SIDED_95

__all__ = ["DEFAULT_SIGMA_M", "margins", "moved_edge", "moved_levels"]

DEFAULT_SIGMA_M = math.hypot(0.5, 0.5)
"""Own and pass errors of the edge (m) where a swath does not state them: slow drift 0.5, jitter 0.5, a judgement."""

_QUADRANT = 8
_ALIKE = 0.95


def margins(sigma_edge, position_error):
    """Distances (m) by which an edge is moved within its outing, and further as a member of it.

    Parameters
    ----------
    sigma_edge : float or array
        Standard deviation across track from own and pass errors (m).
    position_error : float
        Standard deviation per axis that all passes of an outing share (m).

    Returns
    -------
    (within, rest)
        1.645 sigma_edge, and 1.645 (sqrt(sigma_edge^2 + position_error^2) - sigma_edge).

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.coverage.edge_error import margins
    >>> within, rest = margins(np.array([1.0]), 2.0)
    >>> within.round(3).tolist(), rest.round(3).tolist()
    ([1.645], [2.033])
    """
    sigma_edge = np.asarray(sigma_edge, float)
    return ONE_SIDED_95 * sigma_edge, ONE_SIDED_95 * (np.hypot(sigma_edge, position_error) - sigma_edge)


def moved_edge(polygon, distance):
    """A polygon grown (+) or shrunk (-) by a distance (m): exact along straight edges, to 2 % of it at corners.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.coverage.edge_error import moved_edge
    >>> moved_edge(box(0, 0, 10, 10), -1.0).area, moved_edge(box(0, 0, 10, 10), 1.0).bounds
    (64.0, (-1.0, -1.0, 11.0, 11.0))
    """
    if polygon.is_empty or distance == 0:
        return polygon
    return shapes.polygonal(patience.heard(polygon.buffer, distance, _QUADRANT))


def _moved_within(polygon, distance, bounds):
    """As ``moved_edge``, true inside a rectangle only.

    The ground without the polygon is moved instead, the other way: in pieces, and the holes of a piece apart from its
    rim. A buffer of all at once takes several times as long where it has many rings.
    """
    x0, y0, x1, y1 = bounds
    far = 2 * abs(distance)
    window = box(x0 - far, y0 - far, x1 + far, y1 + far)
    plain, holed = [], []
    for piece in shapes.parts(window.difference(polygon)):
        (holed if len(piece.interiors) else plain).append(piece)
    moved = []
    for piece in holed:
        rim = moved_edge(shapes.polygon(piece.exterior), -distance)
        moved.append(rim.difference(overlap.merged([moved_edge(shapes.polygon(hole), distance)
                                                    for hole in piece.interiors])))
    left = window.difference(moved_edge(shapes.collected(plain), -distance))
    return shapes.polygonal(left.difference(overlap.merged(moved)))


def moved_levels(outings, depth, position_error, sign, step=lambda fraction: None, bounds=None):
    """Levels of looks with every edge moved outwards (what may have been seen) or inwards (what surely was).

    Parameters
    ----------
    outings : list of lists of passes
        The passes of each outing; a pass is a list of (shapely polygon in frame metres, sigma_edge in m), its strips.
    depth : int
        Number of levels, see ``overlap.levels``.
    position_error : float
        Standard deviation per axis that the passes of an outing share (m).
    sign : {-1, +1}
        Shrink or grow.
    step : callable, optional
        Called with the fraction done.
    bounds : (east, north, east, north), optional
        Rectangle outside which the levels need not be true (frame metres): the less there is of it, the quicker.

    Returns
    -------
    list of ``depth`` shapely polygons

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.coverage.edge_error import moved_levels
    >>> outing = [[(box(0, 0, 100, 20), 1.0)]]  # one pass of one strip, its edge off by a metre
    >>> [round(level.area) for level in moved_levels([outing], 1, 0.0, -1)]
    [1616]
    """
    move = _grown if sign > 0 else _shrunk
    stacks = []
    for number, passes in enumerate(outings):
        step(number / len(outings))
        found = overlap.levels([move(strips) for strips in passes], depth)
        smallest = min((sigma for strips in passes for _, sigma in strips), default=DEFAULT_SIGMA_M)
        rest = float(margins(smallest, position_error)[1])  # the smaller the own errors, the larger the rest
        stacks.append([moved_edge(level, sign * rest) if bounds is None else _moved_within(level, sign * rest, bounds)
                       for level in found])
    return overlap.joined_levels(stacks, depth)


def _grown(strips):
    return overlap.merged([moved_edge(polygon, float(margins(sigma, 0)[0])) for polygon, sigma in _alike(strips)])


def _shrunk(strips):
    """A point stays if a circle of the largest margin among the strips it needs lies inside them."""
    kept, inside = [], shapes.empty()
    for polygon, sigma in _alike(strips):
        inside = overlap.merged([inside, polygon])
        kept.append(moved_edge(inside, -float(margins(sigma, 0)[0])))
    return overlap.merged(kept)


def _alike(strips):
    """Strips of nearly one sigma joined and given the largest of it, in rising order of sigma."""
    groups = []
    for polygon, sigma in sorted(strips, key=lambda strip: -strip[1]):
        if not groups or sigma < _ALIKE * groups[-1][1]:
            groups.append(([], sigma))
        groups[-1][0].append(polygon)
    return [(overlap.merged(polygons), sigma) for polygons, sigma in reversed(groups)]
