"""Giving each reading that carries no time of its own (depth, heading, temperature) to a fix.

All that the log tells of such a reading is that it came after one time stamp and before the next. It is taken to be
halfway between the two, and goes to the fix nearest in time, the earlier of two equally near: in a log that repeats
position, depth, position, depth every position keeps one depth. Nothing is interpolated, so that a lost bottom stays
one bad reading instead of spoiling its neighbours.
"""
from __future__ import annotations

import numpy as np

__all__ = ["first_of", "middle_of", "place_readings"]

_TIE_S = 1e-3
_NEAR_S = 1.0


def place_readings(order, stamp_order, stamp_t, fix_order, fix_t):
    """Index of the fix that each reading belongs to.

    Parameters
    ----------
    order : (n,) array
        Place of each reading in the log.
    stamp_order, stamp_t : (s,) arrays, s >= 1
        Place and time (s) of everything in the log that tells a time, fixes included, by place.
    fix_order, fix_t : (m,) arrays, m >= 1
        Place and time (s) of the fixes, by place.

    Returns
    -------
    (n,) int array
        -1 where no fix lies within 1 s (or the usual interval of the fixes, if longer); so readings made
        while the receiver had lost its position go to no fix. Before the first stamp and after the last
        one readings count only as far as the log goes, twice over, from one time to the next.
    """
    last = len(stamp_t) - 1
    after = np.searchsorted(stamp_order, order)
    before = np.clip(after - 1, 0, last)
    at_end = (after == 0) | (after > last)
    after = np.minimum(after, last)
    t0, t1 = stamp_t[before], stamp_t[after]
    middle = np.where(t1 >= t0, (t0 + t1) / 2, t0)
    lost = at_end & (np.abs(order - stamp_order[after]) > _usual_spacing(stamp_order, stamp_t))
    earlier = np.maximum(np.searchsorted(fix_order, order) - 1, 0)
    later = np.minimum(earlier + 1, len(fix_t) - 1)
    to_earlier, to_later = np.abs(middle - fix_t[earlier]), np.abs(middle - fix_t[later])
    steps = np.diff(fix_t)
    reach = max(_NEAR_S, np.median(steps[steps > 0]) if (steps > 0).any() else 0.0)
    lost |= np.minimum(to_earlier, to_later) > reach
    return np.where(lost, -1, np.where(to_later < to_earlier - _TIE_S, later, earlier))


def _usual_spacing(stamp_order, stamp_t):
    """Twice the usual number of sentences from one time to the next; no limit where there is only one time."""
    new = stamp_order[np.flatnonzero(np.diff(stamp_t, prepend=np.nan) != 0)]
    return 2 * np.median(np.diff(new)) if len(new) > 1 else np.inf


def first_of(fix, size):
    """For each of ``size`` fixes the index of the first reading that belongs to it, -1 where there is none.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.io.sensor_sync import first_of
    >>> first_of(np.array([0, 0, 2]), 3).tolist()
    [0, -1, 2]
    """
    return _chosen(np.flatnonzero(fix >= 0), fix, size, lambda counts: 0)


def middle_of(fix, values, size):
    """For each of ``size`` fixes the index of the reading with the median value, -1 where there is none.

    Of two in the middle it is the larger: a sounder that loses the bottom reads too little more often than too much.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.io.sensor_sync import middle_of
    >>> middle_of(np.array([0, 0, 0, 1]), np.array([5.0, 9.0, 6.0, 4.0]), 3).tolist()
    [2, 3, -1]
    """
    placed = np.flatnonzero(fix >= 0)
    return _chosen(placed[np.argsort(values[placed], kind="stable")], fix, size, lambda counts: counts // 2)


def _chosen(readings, fix, size, pick):
    """One reading for each fix: the ``pick``-th of those that belong to it, taken in the order of ``readings``."""
    readings = readings[np.argsort(fix[readings], kind="stable")]
    owners, starts, counts = np.unique(fix[readings], return_index=True, return_counts=True)
    found = np.full(size, -1)
    found[owners] = readings[starts + pick(counts)]
    return found
