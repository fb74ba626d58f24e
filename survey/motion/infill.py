"""Values logged now and then, carried to the moments between them without ever reaching over a break."""
from __future__ import annotations

import numpy as np

__all__ = ["infill"]


def infill(clock_s, group, known_s, known_group, values, gap_s):
    """Interpolate between known values, linear in time.

    Parameters
    ----------
    clock_s : (n,) array
        Moments asked for.
    group : (n,) int array
        Stretch of each; values of another stretch are not used.
    known_s : (k,) array
        Moments of the values, rising.
    known_group : (k,) int array
    values : (k,) array
        Finite.
    gap_s : float
        Longest time between the two values that are bridged. Within half of it of a single value, that value holds.

    Returns
    -------
    (n,) array
        NaN where nothing is near.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.motion.infill import infill
    >>> seconds, group = np.array([0.0, 5.0, 9.0]), np.zeros(3, int)
    >>> infill(seconds, group, np.array([0.0, 10.0]), np.zeros(2, int), np.array([4.0, 6.0]), 30.0).tolist()
    [4.0, 5.0, 5.8]
    """
    found = np.full(len(clock_s), np.nan)
    if not len(known_s):
        return found
    last = len(known_s) - 1
    after = np.searchsorted(known_s, clock_s, "left")
    before, after = np.maximum(after - 1, 0), np.minimum(after, last)
    has_before = (known_s[before] <= clock_s) & (known_group[before] == group)
    has_after = (known_s[after] >= clock_s) & (known_group[after] == group)
    to_before, to_after = clock_s - known_s[before], known_s[after] - clock_s
    for has, way, index in ((has_before, to_before, before), (has_after, to_after, after)):
        nearer = has & (way <= gap_s / 2) & ~(has_before & has_after & (way > np.minimum(to_before, to_after)))
        found[nearer] = values[index[nearer]]
    both = has_before & has_after & (to_before + to_after <= gap_s)
    span = (to_before + to_after)[both]
    share = np.divide(to_before[both], span, out=np.zeros(len(span)), where=span > 0)
    found[both] = values[before[both]] + share * (values[after[both]] - values[before[both]])
    return found
