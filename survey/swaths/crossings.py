"""Where beams cross: corners that all polygons along a beam must share, computed once.

Beams cross where the boat turns more tightly than they reach, and where the heading is noisy. Left to overlays, a
crossing would be computed again and again with other rounding, and edges that all but coincide make overlays drop
pieces now and then. So every crossing on a beam that bounds polygons becomes a corner of all polygons along it.
"""
from __future__ import annotations

import numpy as np

__all__ = ["Crossings", "cross", "crossings"]

_NEIGHBOURS = 32
"""How far along the strip crossings of beams are looked for, in beams that bound polygons."""

_SAME = 1e-12


def cross(a, b):
    """Cross product of (n, 2) arrays, (n,).

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.swaths.crossings import cross
    >>> cross(np.array([[1.0, 0.0]]), np.array([[0.0, 1.0]])).tolist()
    [1.0]
    """
    return a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]


def crossings(start, end, other_start, other_end):
    """Where segments cross others, pair by pair.

    Parameters
    ----------
    start, end, other_start, other_end : (n, 2) arrays

    Returns
    -------
    (hit, share, other_share, point)
        (n,) bool, true where both are crossed between their ends; shares of the way along each, and (n, 2) points,
        which mean nothing elsewhere.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.swaths.crossings import crossings
    >>> corner = [np.array([place], float) for place in ((0, 0), (10, 10), (0, 10), (10, 0))]
    >>> hit, share, other, point = crossings(*corner)
    >>> hit.tolist(), share.tolist(), point.tolist()
    ([True], [0.5], [[5.0, 5.0]])
    """
    first, second, apart = end - start, other_end - other_start, other_start - start
    with np.errstate(divide="ignore", invalid="ignore"):
        share, other_share = (cross(apart, other) / cross(first, second) for other in (second, first))
        point = start + share[:, None] * first
    return (share > 0) & (share < 1) & (other_share > 0) & (other_share < 1), share, other_share, point


class Crossings:
    """Crossings on the beams that bound polygons.

    Parameters
    ----------
    inner, outer : (n, 2) arrays
        Ends of the beams.
    drawn : (n - 1,) bool array
        Whether anything is drawn between beam i and i + 1.
    bounds : (k,) int array
        The beams that bound a polygon, rising.
    shared : (m,) int array, optional
        Beams i that are the same as i + 1, where one strip ends and the next begins. The corners of the one become
        corners of the other: an edge that is the same vertex by vertex leaves no seam, whatever CRS it is carried to.
    """

    def __init__(self, inner, outer, drawn, bounds, shared=()):
        found = [(np.empty(0, int), np.empty(0), np.empty((0, 2)))]
        stretch = np.concatenate([[0], np.cumsum(~drawn)])[bounds]
        for apart in range(1, min(_NEIGHBOURS, len(bounds) - 1) + 1):
            alike = stretch[:-apart] == stretch[apart:]
            a, b = bounds[:-apart][alike], bounds[apart:][alike]
            hit, share_a, share_b, point = crossings(inner[a], outer[a], inner[b], outer[b])
            if not hit.any():
                break
            found += [(a[hit], share_a[hit], point[hit]), (b[hit], share_b[hit], point[hit])]
        beam, share, point = map(np.concatenate, zip(*(found + _lent(inner, outer, shared, found))))
        order = np.lexsort((share, beam))
        self._beam, self._share, self._point = beam[order], share[order], point[order]
        self._touched = np.zeros(len(inner), bool)
        self._touched[beam] = True

    def touch(self, beam):
        """Whether there is a crossing on a beam."""
        return self._touched[beam]

    def between(self, beam, low=0.0, high=1.0):
        """Crossings on one beam with shares of the way out between ``low`` and ``high``, outwards, a list of points."""
        if not self._touched[beam]:
            return []
        first, last = np.searchsorted(self._beam, (beam, beam + 1))
        share = self._share[first:last]
        return list(self._point[first:last][(share > low) & (share < high)])


def _lent(inner, outer, shared, found):
    """What the beams of each shared pair lend one another: [(beam, share, point)] of their ends and crossings."""
    if not len(shared):
        return []
    beam, _, point = map(np.concatenate, zip(*found))
    lent = []
    for own, other in ((shared, shared + 1), (shared + 1, shared)):
        place = np.searchsorted(other, beam)
        on = np.flatnonzero(other[np.minimum(place, len(other) - 1)] == beam)
        owner = np.concatenate([own, own, own[place[on]]])
        corner = np.concatenate([inner[other], outer[other], point[on]])
        along = outer[owner] - inner[owner]
        share = ((corner - inner[owner]) * along).sum(axis=1) / np.square(along).sum(axis=1)
        inside = (share > _SAME) & (share < 1 - _SAME)
        lent.append((owner[inside], share[inside], corner[inside]))
    return lent
