"""Cutting a track into passes, and thinning it.

A pass is one straight-ish run of the boat and counts as one look. It ends at a break of the log, a stop, a stretch too
fast to scan, and half-way through a turn: there the boat has left one line for the next.
"""
from __future__ import annotations

import numpy as np

from .motion import unwrapped

__all__ = ["LEAST_TURN_DEG", "TURN_RATE_DPS", "number_passes", "thin", "turn_cuts", "turn_limit"]

LEAST_TURN_DEG = 45.0
"""A bend of less is a correction of course or a shore followed, not a turn to the next line (judgement)."""

TURN_RATE_DPS = 2.0
"""A bend that is faster is a turn (judgement): 2 m/s on a circle of 57 m."""

HALF_TURN_DEG = 180.0

_ROUNDING = 1e-3
"""Five steps of 0.2 m make a metre, whatever the last digits say."""


def turn_limit(speed_mps, range_m):
    """Turn rate (degrees/s) from which a bend is a turn, where none is stated; (n,) arrays.

    2 degrees/s, or less for a slow boat: a circle tighter than the range, on whose inner side the fans cross.
    """
    tight = np.degrees(speed_mps / range_m)
    return np.where(np.isfinite(tight), np.clip(tight, 0.1, TURN_RATE_DPS), TURN_RATE_DPS)


def turn_cuts(heading_deg, turn_dps, run, max_turn_rate):
    """Where passes are cut in turns.

    Parameters
    ----------
    heading_deg : (n,) array
        Degrees; finite wherever ``run`` is not negative.
    turn_dps : (n,) array
        Turn rate, positive to starboard.
    run : (n,) int array
        Equal within a stretch that nothing else breaks, contiguous; -1 where the boat makes no pass.
    max_turn_rate : float or (n,) array
        degrees/s; a bend of more, through 45 degrees or more, is a turn.

    Returns
    -------
    (n,) bool array
        True at the first sample of the next pass: where half the turn is made. A turn of more than 270 degrees (a boat
        going round and round) is cut every half circle.
    """
    n = len(run)
    cut = np.zeros(n, bool)
    rate = np.where(run >= 0, turn_dps, 0.0)
    # a turn goes on until the rate has fallen to half: one that hovers at the limit is not cut up
    tightness = np.abs(rate) / max_turn_rate
    side = np.where(tightness > 0.5, np.sign(rate), 0.0)
    starts = np.concatenate([[0], np.flatnonzero((np.diff(side) != 0) | (np.diff(run) != 0)) + 1])
    ends = np.append(starts[1:], n)
    # the samples just outside share in the turn, as far as they belong to the same run
    first = np.where((starts > 0) & (run[np.maximum(starts - 1, 0)] == run[starts]), starts - 1, starts)
    last = np.where((ends < n) & (run[np.minimum(ends, n - 1)] == run[starts]), ends, ends - 1)
    heading = unwrapped(np.nan_to_num(np.asarray(heading_deg, float)), run)
    whole = np.abs(heading[last] - heading[first])
    sharp = np.maximum.reduceat(tightness, starts) > 1
    for k in np.flatnonzero(sharp & (side[starts] != 0) & (whole >= LEAST_TURN_DEG)):
        made = np.maximum.accumulate(np.abs(heading[first[k]:last[k] + 1] - heading[first[k]]))
        pieces = max(1, int(round(whole[k] / HALF_TURN_DEG)))
        cut[first[k] + np.searchsorted(made, whole[k] * (np.arange(pieces) + 0.5) / pieces)] = True
    return cut


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
