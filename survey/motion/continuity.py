"""Which doubtful soundings are bottom after all: the bottom goes on, a drop-out jumps.

Soundings far from the running median are a shoal, a ridge or a hole as often as a sounder that has lost the bottom. The
bottom is continuous: from one sounding to the next it rises or falls by what a slope allows, or it stays at its new
level for a while. A drop-out stands alone, lies near zero or far too deep, and leaps there and back.

The limits are common practice and judgement, no source; rates of error against invented bottoms are a proof run.
"""
from __future__ import annotations

import numpy as np

__all__ = ["continuous"]

_RATE = 0.25
"""Metres a second by which depth changes without a jump: a slope of 7 degrees under a boat at 2 m/s."""

_BEND = 0.012
"""Metres a second squared by which a slope bends without a spike."""

_SHARE, _LEAST_M = 0.1, 0.5
_LONGEST_STEP = 0.35
"""The share of the depth that the allowance for the time between two soundings is limited to."""

_CLOSE = 3.5
"""Usual intervals between soundings that can be judged by each other."""

_STAYS_S = 4.0
"""A level that is kept so long (and by two soundings) after a jump is bottom: 8 m at 2 m/s."""

_NEAR_ZERO, _NEAR_ZERO_M = 0.15, 1.0
_LOST_S = 180.0
"""Near zero after a leap, for no longer than this, is a lost bottom though the whole minute around says the same."""

_AROUND = 500
"""Soundings on either side among which good neighbours are looked for."""

_TOO_DEEP = 1.6
_STRIDE = 0.65
"""A side of a ridge has soundings between foot and crest: no step is a larger share of it."""


def continuous(clock_s, stretch, depth_m, fits):
    """Judge soundings by those next to them.

    Parameters
    ----------
    clock_s, stretch, depth_m : (n,) arrays
        In order of time, lost bottoms left out.
    fits : (n,) bool array
        Those near the running median or its trend.

    Returns
    -------
    (n,) bool array
        ``fits``, with the doubtful ones that go on from their neighbours, rise and fall by several soundings, or stay
        at their level; without those that stand alone between neighbours that agree.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.motion.continuity import continuous
    >>> seconds, depth = np.arange(6.0), np.array([5.0, 5.1, 5.0, 30.0, 5.1, 5.0])
    >>> continuous(seconds, np.zeros(6, int), depth, np.array([True, True, True, False, True, True])).tolist()
    [True, True, True, False, True, True]
    """
    good = fits.copy()
    _drop_alone(clock_s, stretch, depth_m, good)
    dt = np.diff(clock_s)
    dt = np.minimum(dt, 3 * np.median(dt)) if len(dt) else dt  # over a gap nothing goes on that can be seen
    jump = (np.abs(np.diff(depth_m)) > _step(depth_m, dt)) | (np.diff(stretch) != 0)
    starts = np.concatenate([[0], np.flatnonzero(jump) + 1])
    ends = np.append(starts[1:], len(depth_m))
    level = depth_m[starts]
    longer = np.flatnonzero(ends - starts > 1)
    level[longer] = [np.median(depth_m[a:b]) for a, b in zip(starts[longer], ends[longer])]
    trusted = 2 * np.add.reduceat(good.astype(int), starts) > ends - starts
    low = trusted & (level < _NEAR_ZERO_M) & (clock_s[ends - 1] - clock_s[starts] <= _LOST_S)
    believed = good & ~np.repeat(low, ends - starts)
    for k in np.flatnonzero(low):
        part = slice(starts[k], ends[k])
        if level[k] < _beside(stretch, depth_m, believed, part) / 2:
            good[part] = trusted[k] = False
    alone = _alone(clock_s, stretch, depth_m) | (fits & ~good)
    for a, b in zip(starts[trusted], ends[trusted]):
        good[a:b] |= ~alone[a:b]
    for k in np.flatnonzero(~trusted & (ends - starts > 1)):
        part = slice(starts[k], ends[k])
        if not low[k] and _stays(clock_s, depth_m, part, _beside(stretch, depth_m, good, part)):
            good[part] = True
    _keep_ridges(stretch, depth_m, good)
    _drop_alone(clock_s, stretch, depth_m, good)
    return good


def _drop_alone(clock, stretch, depth, good):
    """Leave out good soundings (in place) that stand alone among the good ones."""
    known = np.flatnonzero(good)
    good[known[_alone(clock[known], stretch[known], depth[known])]] = False


def _step(depth, dt):
    """Largest change that is no jump, between neighbours."""
    deeper = np.maximum(depth[1:], depth[:-1])
    return np.maximum(_LEAST_M, _SHARE * deeper) + np.minimum(_RATE * dt, _LONGEST_STEP * deeper)


def _alone(clock, stretch, depth):
    """Soundings that leap away from both neighbours, which agree, and lie on the slope of neither side."""
    n = len(depth)
    found = np.zeros(n, bool)
    if n < 3:
        return found
    before, here, after = depth[:-2], depth[1:-1], depth[2:]
    steps = np.diff(clock)
    dt = (clock[2:] - clock[:-2]) / 2
    close = np.maximum(steps[:-1], steps[1:]) <= _CLOSE * np.median(steps)
    limit = (np.maximum(_LEAST_M, 1.5 * _SHARE * np.maximum(before, after))
             + np.minimum(_BEND * dt ** 2, _LONGEST_STEP * before / 2))
    left, right = here - before, here - after
    away = (left * right > 0) & (np.minimum(np.abs(left), np.abs(right)) > limit)
    slope_before, slope_after = np.zeros(n - 2), np.zeros(n - 2)
    slope_before[1:] = np.where(stretch[1:-2] == stretch[:-3], before[1:] - depth[:-3], 0.0)
    slope_after[:-1] = np.where(stretch[2:-1] == stretch[3:], after[:-1] - depth[3:], 0.0)
    rises = (np.abs(left - slope_before) <= limit) | (np.abs(right - slope_after) <= limit)
    one = (stretch[:-2] == stretch[1:-1]) & (stretch[2:] == stretch[1:-1])
    found[1:-1] = away & ~rises & one & close
    return found


def _beside(stretch, depth, good, part):
    """Depth of the bottom on either side: the larger of the good soundings next to a piece; NaN where none is."""
    own, low = stretch[part.start], max(0, part.start - _AROUND)
    before, after = slice(low, part.start), slice(part.stop, part.stop + _AROUND)
    before = np.flatnonzero(good[before] & (stretch[before] == own))[-3:] + low
    after = np.flatnonzero(good[after] & (stretch[after] == own))[:3] + part.stop
    sides = [float(np.median(depth[side])) for side in (before, after) if len(side)]
    return max(sides) if sides else np.nan


def _stays(clock, depth, part, beside):
    """A piece that a jump parts from the rest is bottom if it keeps its level, neither near zero nor far too deep."""
    own = depth[part]
    level = float(np.median(own))
    if np.isfinite(beside) and (level < max(_NEAR_ZERO_M, _NEAR_ZERO * beside) or level > _TOO_DEEP * beside):
        return False
    lasts = (clock[part.stop - 1] - clock[part.start]) * len(own) / (len(own) - 1)
    rough = np.abs(np.diff(own)) > np.maximum(_LEAST_M, 1.5 * _SHARE * level) + 0.03 * np.diff(clock[part])
    return lasts >= _STAYS_S and not rough.any()


def _keep_ridges(stretch, depth, good):
    """Runs of doubtful soundings that rise to one crest (or fall to one hollow) step by step and go back as they came,
    in place."""
    doubtful = np.flatnonzero(~good)
    for run in np.split(doubtful, np.flatnonzero(np.diff(doubtful) > 1) + 1):
        a, b = run[0] - 1 if len(run) else 0, run[-1] + 1 if len(run) else 0
        if len(run) < 3 or a < 0 or b >= len(depth) or stretch[a] != stretch[b]:
            continue
        profile = depth[a:b + 1]
        top = 1 + int(np.argmin(profile[1:-1]))
        if profile[top] < max(_NEAR_ZERO_M, _NEAR_ZERO * min(profile[0], profile[-1])):
            continue
        if _stairs(profile[:top + 1]) and _stairs(profile[:top - 1:-1] if top else profile[::-1]):
            good[run] = True


def _stairs(side):
    """True if depths fall from first to last without turning back, in several steps."""
    steps = -np.diff(side)
    return len(steps) > 1 and steps.min() > -_LEAST_M / 2 and steps.max() <= _STRIDE * steps.sum()
