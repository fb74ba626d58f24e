"""How the boat moved: course, speed and turn rate by least squares over a sliding window, and a compass made steady.

The window is the longer of ``WINDOW_S`` seconds and ``WINDOW_M`` metres, centred on the fix, and never reaches over a
break; at the ends of a stretch it keeps its length and leans inwards. It holds three fixes at least, so that sparse
logs (a fix every 10 s) work: there the window is as long as two intervals.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry.ground import wrapped
from ..model.table import Floats, Ints, Table

__all__ = ["JITTER_BASE_M", "WINDOW_M", "WINDOW_S", "Motion", "bounds", "course_sigma", "motion_of", "slopes",
           "steadied", "turn_of", "unwrapped"]

WINDOW_S = 10.0
WINDOW_M = 15.0
LONGEST_S = 60.0
"""A boat that barely moves gets no longer window than this; it counts as stopped anyway."""

JITTER_BASE_M = 0.42
"""sqrt(2) times 0.3 m: the course between two fixes a distance D apart is off by this over D, in radians, when each
fix jitters by 0.3 m in each axis."""

_BLOCK = 512
_CLOCK_TOLERANCE_S = 1e-3


@dataclass(eq=False, repr=False)
class Motion(Table):
    """Motion at each of (n,) fixes; NaN in stretches of a single fix.

    ``course_deg``: course over ground, clockwise from true north. ``unwrapped_deg``: the same, without jumps at 360
    inside a stretch. ``speed_mps``: speed over ground. ``turn_dps``: turn rate, positive to starboard. ``sigma_deg``:
    standard deviation of the course as a heading. ``lo``, ``hi``: first and last fix of the window.
    """

    course_deg: Floats
    unwrapped_deg: Floats
    speed_mps: Floats
    turn_dps: Floats
    sigma_deg: Floats
    lo: Ints
    hi: Ints


def bounds(stretch):
    """First and last position of each fix's own stretch.

    Parameters
    ----------
    stretch : (n,) int array
        Equal within an unbroken stretch, contiguous.

    Returns
    -------
    (first, last) : (n,) int arrays

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.motion.course import bounds
    >>> [positions.tolist() for positions in bounds(np.array([0, 0, 0, 1, 1]))]
    [[0, 0, 0, 3, 3], [2, 2, 2, 4, 4]]
    """
    starts = np.concatenate([[0], np.flatnonzero(np.diff(stretch)) + 1])
    sizes = np.diff(np.append(starts, len(stretch)))
    return np.repeat(starts, sizes), np.repeat(starts + sizes - 1, sizes)


def motion_of(clock_s, east_steps, north_steps, stretch, drift_speed):
    """Course, speed and turn rate at every fix.

    Parameters
    ----------
    clock_s : (n,) array
        Seconds, strictly rising within a stretch; at least one fix.
    east_steps, north_steps : (n - 1,) arrays
        Metres between neighbours (``ground.steps``); those across a break are not used.
    stretch : (n,) int array
        Equal within an unbroken stretch, contiguous.
    drift_speed : float
        Sideways speed (m/s, one sigma) by wind and current, which the course cannot know.

    Returns
    -------
    Motion

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.motion.course import motion_of
    >>> seconds = np.arange(30.0)
    >>> found = motion_of(seconds, np.full(29, 2.0), np.zeros(29), np.zeros(30, int), 0.2)
    >>> float(found.speed_mps[9].round(6)), float(found.course_deg[9].round(6))
    (2.0, 90.0)
    """
    first, last = bounds(stretch)
    inside = np.diff(stretch) == 0
    clock = _summed(np.diff(clock_s), inside)
    east, north = _summed(east_steps, inside), _summed(north_steps, inside)
    path = _summed(np.hypot(east_steps, north_steps), inside)
    lo, hi = _windows(clock, path, first, last)
    (v_east, v_north), middle = slopes(clock, (east, north), lo, hi)
    speed = np.hypot(v_east, v_north)
    fitted = unwrapped(np.degrees(np.arctan2(v_east, v_north)), stretch)
    (turn,), _ = slopes(middle, (fitted,), lo, hi)
    # the fit gives the course at the window's middle; near the ends the fix lies beside it
    course = fitted + turn * (clock - middle)
    alone = first == last
    for values in (speed, course, turn):
        values[alone] = np.nan
    sigma = course_sigma(speed, speed * (clock[hi] - clock[lo]), drift_speed)
    return Motion(course % 360.0, course, speed, turn, sigma, lo, hi)


def course_sigma(speed_mps, length_m, drift_speed):
    """Standard deviation (degrees) of the course taken as heading: asin(min(1, drift / v))^2 + (0.42 / D)^2, D the
    window's length; 180 at most. The first term is the crab angle of the vector triangle, the second GNSS jitter.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.motion.course import course_sigma
    >>> course_sigma(np.array([2.0]), np.array([15.0]), 0.2).round(2).tolist()
    [5.96]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        crab = np.arcsin(np.minimum(1.0, drift_speed / np.asarray(speed_mps, float)))
        jitter = JITTER_BASE_M / np.asarray(length_m, float)
    return np.minimum(180.0, np.degrees(np.hypot(crab, jitter)))


def slopes(x, ys, lo, hi):
    """Least-squares slope of each y on x over a window of each position, by running sums.

    Parameters
    ----------
    x : (n,) array
    ys : sequence of (n,) arrays
    lo, hi : (n,) int arrays
        First and last position of the windows, both rising.

    Returns
    -------
    slopes : list of (n,) arrays
        0 where x does not vary over the window.
    middle : (n,) array
        Mean of x over the window.

    Notes
    -----
    The sums start afresh every block, with x and y counted from the block's middle: over a whole outing the squares of
    x would swallow the digits of a window of ten seconds.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.motion.course import slopes
    >>> x, y = np.array([0.0, 1.0, 2.0]), np.array([5.0, 7.0, 9.0])
    >>> [slope], middle = slopes(x, [y], np.zeros(3, int), np.full(3, 2))
    >>> slope.tolist(), middle.tolist()
    ([2.0, 2.0, 2.0], [1.0, 1.0, 1.0])
    """
    n = len(x)
    found, middle = [np.zeros(n) for _ in ys], np.zeros(n)
    block = max(_BLOCK, 4 * int((hi - lo).max()))
    for start in range(0, n, block):
        part = slice(start, min(start + block, n))
        base, end = int(lo[part].min()), int(hi[part].max()) + 1
        left, right = lo[part] - base, hi[part] - base + 1
        count = right - left

        def total(values, left=left, right=right):
            running = np.concatenate([[0.0], np.cumsum(values)])
            return running[right] - running[left]

        origin = x[(base + end) // 2]
        xs = x[base:end] - origin
        mean = total(xs) / count
        spread = total(xs * xs) - count * mean * mean
        middle[part] = mean + origin
        usable = spread > 1e-12 * np.maximum(1.0, mean * mean)  # what rounding leaves of a constant x
        for y, slope in zip(ys, found):
            values = y[base:end] - y[(base + end) // 2]
            together = total(xs * values) - mean * total(values)
            slope[part] = np.divide(together, spread, out=np.zeros(len(count)), where=usable)
    return found, middle


def unwrapped(degrees, stretch):
    """Angles freed of their jumps at 360 within each stretch.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.motion.course import unwrapped
    >>> unwrapped(np.array([350.0, 10.0, 30.0]), np.zeros(3, int)).tolist()
    [350.0, 370.0, 390.0]
    """
    turns = _summed(wrapped(np.diff(degrees)), np.diff(stretch) == 0)
    first, _ = bounds(stretch)
    return degrees[first] + turns - turns[first]


def steadied(heading_deg, clock_s, stretch, seconds):
    """Running circular mean of a heading over ``seconds``, centred, within each stretch.

    Parameters
    ----------
    heading_deg : (n,) array
        Degrees, NaN where unknown; stays NaN there.
    seconds : float
        Length of the window; 0 leaves the heading as it is.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.motion.course import steadied
    >>> abs(steadied(np.array([358.0, 2.0, 0.0]), np.arange(3.0), np.zeros(3, int), 10.0)).round(6).tolist()
    [358.0, 0.0, 0.0]
    """
    if seconds <= 0:
        return heading_deg
    first, last = bounds(stretch)
    half = seconds / 2 + _CLOCK_TOLERANCE_S
    lo = np.maximum(np.searchsorted(clock_s, clock_s - half), first)
    hi = np.minimum(np.searchsorted(clock_s, clock_s + half, "right") - 1, last)
    # as many before as after, or the mean of a turn would lag at the ends
    index = np.arange(len(lo))
    reach = np.minimum(index - lo, hi - index)
    known = np.isfinite(heading_deg)
    angle = np.radians(np.where(known, heading_deg, 0.0))
    parts = []
    for component in (np.sin(angle), np.cos(angle)):
        running = np.concatenate([[0.0], np.cumsum(np.where(known, component, 0.0))])
        parts.append(running[index + reach + 1] - running[index - reach])
    return np.where(known, np.degrees(np.arctan2(*parts)) % 360.0, np.nan)


def turn_of(heading_deg, clock_s, stretch, motion):
    """Turn rate (degrees/s) of a compass heading over the windows of ``motion``; the course's where it has gaps."""
    known = np.isfinite(heading_deg)
    filled = unwrapped(np.where(known, heading_deg, 0.0), stretch)
    clock = _summed(np.diff(clock_s), np.diff(stretch) == 0)
    (turn,), _ = slopes(clock, (filled,), motion.lo, motion.hi)
    missing = np.concatenate([[0], np.cumsum(~known)])
    whole = missing[motion.hi + 1] == missing[motion.lo]
    return np.where(whole & (motion.hi > motion.lo), turn, motion.turn_dps)


def _windows(clock, path, first, last):
    """First and last fix of each window; see the module's text."""
    n = len(clock)
    index = np.arange(n)
    lo, hi = _reach(clock, WINDOW_S / 2, first, last)
    lo_path, hi_path = _reach(path, WINDOW_M / 2, first, last)
    lo_long, hi_long = _reach(clock, LONGEST_S / 2, first, last)
    lo = np.minimum(lo, np.maximum(lo_path, lo_long))
    hi = np.maximum(hi, np.minimum(hi_path, hi_long))
    lo = np.minimum(lo, np.clip(index - 1, first, np.maximum(first, last - 2)))
    hi = np.maximum(hi, np.clip(index + 1, np.minimum(first + 2, last), last))
    return lo, hi


def _reach(measure, half, first, last):
    """Window of ``half`` on either side by a measure that does not fall, leaning inwards at the ends."""
    start, end = measure[first], measure[last]
    centre = np.clip(measure, start + half, np.maximum(end - half, start + half))
    lo = np.searchsorted(measure, centre - half - _CLOCK_TOLERANCE_S, "left")
    hi = np.searchsorted(measure, centre + half + _CLOCK_TOLERANCE_S, "right") - 1
    return np.maximum(lo, first), np.minimum(hi, last)


def _summed(increments, inside):
    """Running sum that stands still across breaks."""
    return np.concatenate([[0.0], np.cumsum(np.where(inside, increments, 0.0))])
