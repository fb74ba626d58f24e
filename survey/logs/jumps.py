"""Fixes where the boat cannot have been: no fix at all, out of reach, or an excursion there and back."""
from __future__ import annotations

import numpy as np

from ..plane import ground

__all__ = ["JUMP_ALLOWANCE_M", "excursions", "nowhere", "out_of_reach", "too_far"]

JUMP_ALLOWANCE_M = 3.0
"""Jitter between two fixes that is no jump: four sigma of 0.5 m in each axis of both, so that a receiver giving ten
fixes a second is not taken to jump at every one."""

_NULL_DEG = 1e-6
_NEAR_NULL_DEG = 1.0
_REACH_M = 1000.0


def nowhere(lon, lat):
    """(n,) bool: fixes at latitude 0, longitude 0, which receivers without a fix write, unless the outing was there."""
    null = (np.abs(lon) < _NULL_DEG) & (np.abs(lat) < _NULL_DEG)
    if not null.any() or null.all():
        return np.zeros(len(lon), bool)
    there = np.hypot(ground.wrapped(lon[~null]), lat[~null])
    return null & bool(np.median(there) > _NEAR_NULL_DEG)


def out_of_reach(geod, clock, lon, lat, max_speed):
    """(n,) bool: fixes further from the middle of all than the boat can have come in all the time of the log."""
    if not len(lon):
        return np.zeros(0, bool)
    middle = lon[0] + np.median(ground.wrapped(lon - lon[0])), np.median(lat)
    _, _, away = geod.inv(np.full(len(lon), middle[0]), np.full(len(lat), middle[1]), lon, lat)
    return np.asarray(away) > max_speed * (clock.max() - clock.min()) + _REACH_M


def too_far(geod, clock, lon, lat, max_speed):
    """(n - 1,) bool: steps between neighbours that a boat no faster than ``max_speed`` (m/s) cannot make."""
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
    """
    leap = too_far(geod, clock, lon, lat, max_speed)
    edges = np.concatenate([[0], np.flatnonzero(leap) + 1, [len(clock)]])
    pieces = [[int(a), int(b), int(b - a)] for a, b in zip(edges[:-1], edges[1:])]  # first, stop, fixes that count
    found = []
    while len(pieces) > 2:
        first, stop, size = np.array(pieces).T
        before, after = stop[:-2] - 1, first[2:]
        way = np.hypot(*ground.apart(geod, lon[before], lat[before], lon[after], lat[after]))
        fits = way <= max_speed * (clock[after] - clock[before]) + JUMP_ALLOWANCE_M
        away = np.flatnonzero(fits & (size[1:-1] <= np.minimum(size[:-2], size[2:])))
        if not len(away):
            break
        k = int(away[np.argmin(size[1:-1][away])]) + 1
        a, b = pieces[k][:2]
        metres = float(np.hypot(*ground.apart(geod, lon[a - 1:a], lat[a - 1:a], lon[a:a + 1], lat[a:a + 1]))[0])
        found.append((a, b, metres))
        pieces[k - 1:k + 2] = [[pieces[k - 1][0], pieces[k + 1][1], pieces[k - 1][2] + pieces[k + 1][2]]]
    return _outermost(found)


def _outermost(found):
    """Without pieces that lie within later ones."""
    found.sort(key=lambda piece: (piece[0], -piece[1]))
    kept = []
    for piece in found:
        if not kept or piece[0] >= kept[-1][1]:
            kept.append(piece)
    return kept
