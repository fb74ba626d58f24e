"""Fixes where the boat cannot have been: no fix at all, out of reach, or an excursion there and back."""
from __future__ import annotations

import numpy as np

from ..geometry import ground

__all__ = ["JUMP_ALLOWANCE_M", "excursions", "nowhere", "out_of_reach", "too_far"]

JUMP_ALLOWANCE_M = 3.0
"""Jitter between two fixes that is no jump: four sigma of 0.5 m in each axis of both, so that a receiver giving ten
fixes a second is not taken to jump at every one."""

_NULL_DEG = 1e-6
_NEAR_NULL_DEG = 1.0
_REACH_M = 1000.0
_REFERENCES = 51
_MOST = 0.9
_ROWS = 20_000


def nowhere(lon, lat):
    """(n,) bool: fixes at latitude 0, longitude 0, which receivers without a fix write, unless the outing was there.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.fixes.jumps import nowhere
    >>> nowhere(np.array([-70.0, 0.0, -70.1]), np.array([44.6, 0.0, 44.6])).tolist()
    [False, True, False]
    """
    null = (np.abs(lon) < _NULL_DEG) & (np.abs(lat) < _NULL_DEG)
    if not null.any() or null.all():
        return np.zeros(len(lon), bool)
    there = np.hypot(ground.wrapped(lon[~null]), lat[~null])
    return null & bool(np.median(there) > _NEAR_NULL_DEG)


def out_of_reach(geod, clock, lon, lat, max_speed):
    """(n,) bool: fixes that the boat cannot have come to, at ``max_speed`` (m/s), from nine in ten of the others.

    Examples
    --------
    >>> import numpy as np
    >>> from pyproj import Geod
    >>> from athwart.fixes.jumps import out_of_reach
    >>> lon = np.append(np.arange(30) * 0.00001, 5.0)
    >>> out_of_reach(Geod(ellps="WGS84"), np.arange(31.0), lon, np.zeros(31), 10.0)[-2:].tolist()
    [False, True]
    """
    if len(lon) < 2:
        return np.zeros(len(lon), bool)
    # between two leaps all is reached if one fix is
    starts = np.concatenate([[0], np.flatnonzero(too_far(geod, clock, lon, lat, max_speed)) + 1])
    others = np.unique(np.linspace(0, len(lon) - 1, _REFERENCES).astype(int))
    far = np.zeros(len(starts), bool)
    for part in (slice(k, k + _ROWS) for k in range(0, len(starts), _ROWS)):
        rows = starts[part, None]
        away = _great_circle(geod, lon[rows], lat[rows], lon[others], lat[others])
        reached = away <= 1.01 * max_speed * np.abs(clock[rows] - clock[others]) + _REACH_M
        far[part] = reached.sum(axis=1) <= (1 - _MOST) * len(others)
    return np.repeat(far, np.diff(np.append(starts, len(lon))))


def _great_circle(geod, lon1, lat1, lon2, lat2):
    """Metres on a sphere (haversines), within 1 % of the geodesic."""
    dlat, dlon = np.radians(lat2 - lat1), np.radians(lon2 - lon1)
    chord = np.sin(dlat / 2) ** 2 + np.cos(np.radians(lat1)) * np.cos(np.radians(lat2)) * np.sin(dlon / 2) ** 2
    return 2 * geod.a * np.arcsin(np.sqrt(np.clip(chord, 0.0, 1.0)))


def too_far(geod, clock, lon, lat, max_speed):
    """(n - 1,) bool: steps between neighbours that a boat no faster than ``max_speed`` (m/s) cannot make.

    Examples
    --------
    >>> import numpy as np
    >>> from pyproj import Geod
    >>> from athwart.fixes.jumps import too_far
    >>> lon = np.array([0.0, 0.00001, 0.01])
    >>> too_far(Geod(ellps="WGS84"), np.arange(3.0), lon, np.zeros(3), 10.0).tolist()
    [False, True]
    """
    return np.hypot(*ground.steps(geod, lon, lat)) > max_speed * np.diff(clock) + JUMP_ALLOWANCE_M


def excursions(geod, clock, lon, lat, max_speed):
    """Pieces that lie away by leaps while the pieces before and after fit together.

    A piece is refused as one, however many fixes it has, if neither neighbour has fewer: near the ends of a log none
    can say which side is right.

    Parameters
    ----------
    geod : pyproj.Geod
    clock, lon, lat : (n,) arrays
        Strictly rising seconds; degrees.
    max_speed : float
        m/s.

    Returns
    -------
    list of (first, stop, metres)
        Index of the first fix, of the first after the last, and how far the piece lies from the fix before it.

    Examples
    --------
    >>> import numpy as np
    >>> from pyproj import Geod
    >>> from athwart.fixes.jumps import excursions
    >>> lon = np.array([0.0, 0.00001, 1.0, 0.00003, 0.00004])
    >>> [piece[:2] for piece in excursions(Geod(ellps="WGS84"), np.arange(5.0), lon, np.zeros(5), 10.0)]
    [(2, 3)]
    """
    leap = too_far(geod, clock, lon, lat, max_speed)
    first = np.concatenate([[0], np.flatnonzero(leap) + 1])
    stop = np.append(first[1:], len(clock))
    size = stop - first  # fixes that count
    found = []
    while len(first) > 2:
        before, after = stop[:-2] - 1, first[2:]
        way = np.hypot(*ground.apart(geod, lon[before], lat[before], lon[after], lat[after]))
        fits = way <= max_speed * (clock[after] - clock[before]) + JUMP_ALLOWANCE_M
        away = np.zeros(len(first), bool)
        away[1:-1] = fits & (size[1:-1] <= np.minimum(size[:-2], size[2:]))
        # of two next to each other the smaller goes first: what is left may then fit together
        own = np.where(away, size, np.inf)
        chosen = away & (own < np.append(np.inf, own[:-1])) & (own <= np.append(own[1:], np.inf))
        if not chosen.any():
            break
        for k in np.flatnonzero(chosen):
            a, b = int(first[k]), int(stop[k])
            metres = np.hypot(*ground.apart(geod, lon[a - 1:a], lat[a - 1:a], lon[a:a + 1], lat[a:a + 1]))
            found.append((a, b, float(metres[0])))
        begins = np.flatnonzero(~(chosen | np.append(False, chosen[:-1])))
        size = np.add.reduceat(np.where(chosen, 0, size), begins)
        first, stop = first[begins], stop[np.append(begins[1:], len(stop)) - 1]
    return _outermost(found)


def _outermost(found):
    """Without pieces that lie within later ones."""
    found.sort(key=lambda piece: (piece[0], -piece[1]))
    kept = []
    for piece in found:
        if not kept or piece[0] >= kept[-1][1]:
            kept.append(piece)
    return kept
