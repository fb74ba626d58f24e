"""Numbering the passes of a track, and thinning it.

A pass is one run of the boat and counts as one look, both sides together. It ends at a break of the log, a stop, a
stretch too fast to scan, and half-way through a turn (see ``turns``): there the boat has left one line for the next.
"""
from __future__ import annotations

import numpy as np

__all__ = ["number_passes", "thin"]

_ROUNDING = 1e-3
"""Five steps of 0.2 m make a metre, whatever the last digits say."""



def number_passes(stretch, moving, cut):
    """Pass numbers.

    Parameters
    ----------
    stretch : (n,) int array
        Equal within an unbroken stretch of the log, contiguous.
    moving : (n,) bool array
        False where the boat is stopped, too fast or without motion.
    cut : (n,) bool array
        True at samples that begin a pass for another reason (turns).

    Returns
    -------
    pass_id : (n,) int64 array
        From 1, rising. Samples that make no pass of their own go with the pass before them (with the first, at the
        start), so that the numbers stay in order of time.
    alone : (n,) bool array
        Moving, but with no neighbour in an unbroken run to make a pass with.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.passes.numbering import number_passes
    >>> run, moving, none = np.zeros(6, int), np.ones(6, bool), np.zeros(6, bool)
    >>> cut = np.array([False, False, False, True, False, False])
    >>> pass_id, alone = number_passes(run, moving, cut)
    >>> pass_id.tolist(), alone.tolist()[0]
    ([1, 1, 1, 2, 2, 2], False)
    """
    n = len(stretch)
    begins = np.ones(n, bool)
    begins[1:] = (np.diff(stretch) != 0) | (moving[1:] != moving[:-1]) | cut[1:]
    run = np.cumsum(begins) - 1
    size = np.bincount(run)
    alone = moving & (size[run] < 2)
    real = moving & ~alone
    opens = begins & real
    return np.maximum(np.cumsum(opens), 1).astype(np.int64), alone


def thin(path_m, clock_s, group, keep, spacing_m, least_s=None):
    """Which samples to keep so that neighbours lie at least ``spacing_m`` apart.

    Parameters
    ----------
    path_m : (n,) array
        Distance run, not falling within a group.
    clock_s : (n,) array
        Seconds.
    group : (n,) int array
        Pass numbers, contiguous; the first and last sample of each are kept.
    keep : (n,) bool array
        Samples to keep whatever the distance, such as both sides of a change of range.
    spacing_m : float
        Metres; 0 keeps all.
    least_s : float, optional
        Keep a sample, too, that comes this long after the last one kept.

    Returns
    -------
    (n,) bool array

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.passes.numbering import thin
    >>> path = np.array([0.0, 0.4, 1.0, 1.5, 2.1])
    >>> thin(path, np.arange(5.0), np.zeros(5, int), np.zeros(5, bool), 1.0).tolist()
    [True, False, True, False, True]
    """
    n = len(path_m)
    if spacing_m <= 0 or not n:
        return np.ones(n, bool)
    begins = np.ones(n, bool)
    begins[1:] = np.diff(group) != 0
    starts = np.flatnonzero(begins)
    ends = np.append(starts[1:], n)
    start = np.repeat(starts, ends - starts)
    # group by group on one rising scale, so that a search never leaves the group
    offset = np.concatenate([[0.0], np.cumsum((path_m[ends - 1] - path_m[starts]) + 2 * spacing_m)])[:-1]
    scale = path_m - path_m[start] + np.repeat(offset, ends - starts)
    following = np.searchsorted(scale, scale + spacing_m * (1 - _ROUNDING), "left")
    if least_s is not None:
        later = np.searchsorted(clock_s, clock_s + least_s * (1 - _ROUNDING), "left")
        following = np.minimum(following, later)
    following = np.clip(following, np.arange(n) + 1, np.repeat(ends, ends - starts) - 1)
    kept = begins | keep
    kept[ends - 1] = True
    # every sample reached from a first one by hops to the following: the hops are doubled, not walked
    reached, hop = begins.copy(), following
    for _ in range(int(n).bit_length()):
        reached[hop[reached]] = True
        hop = hop[hop]
    return kept | reached
