"""Water under the transducer: soundings freed of lost bottoms and spikes, their reference, and what stands in.

A sounder that loses the bottom reports its least depth, often several in a row: that is no shoal. It also locks on to
echoes far too deep. A shoal, a drop-off or a slope is believed, because its neighbours rise or fall with it.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message
from ..model.table import Floats, Ints, Table
from ..model.times import iso_time
from ..motion.continuity import continuous
from ..motion.course import bounds
from ..motion.infill import infill

__all__ = ["KINDS", "LOGGED", "LOST_BOTTOM_M", "Soundings", "below_transducer", "default_depth_gap", "good_soundings",
           "logged_soundings", "refused_words", "water_under"]

KINDS = ("transducer", "surface", "keel")
LOGGED = "logged"
"""The reference is what the log says; the transducer where it says nothing."""

LOST_BOTTOM_M = 0.5
"""Readings up to this are a lost bottom, unless the bottom around is hardly deeper (common practice, no source)."""

SHALLOWS_M = 1.0
WINDOW_S = 60.0
FEWEST, MOST = 7, 121
_ROWS = 8192
_SHOWN = 5
_IQR_SIGMA = 1.349
"""Interquartile range of a normal distribution over its standard deviation."""


@dataclass(eq=False, repr=False)
class Soundings(Table):
    """Depth readings in order of time: ``clock_s`` (k,), ``stretch`` (k,), ``depth_m`` (k,) below the transducer."""

    clock_s: Floats
    stretch: Ints
    depth_m: Floats


def logged_soundings(fixes, clean, settings):
    """Readings of every row that has a time, repeated fixes too, below the transducer as displayed.

    Parameters
    ----------
    fixes : Fixes
        ``depth_m`` is there; ``depth_kind`` and ``depth_offset_m`` may be None.
    clean : CleanFixes
    settings : TrackSettings
        ``depth_reference``, ``draft_m``, ``keel_m``.

    Returns
    -------
    Soundings
    """
    logged = np.asarray(fixes.depth_m, float)[clean.all_rows]
    known = np.isfinite(logged)
    if 2 * (logged < 0).sum() > known.sum():
        raise InputError(Message("{count} of {known} soundings of {fixes.depth_m} are negative; depths are positive "
                                 "down. Turn their sign (-1 times the value; in a layer: a new field by the field "
                                 "calculator) and give that.", count=(logged < 0).sum(), known=known.sum()))
    rows, moments = clean.all_rows[known], clean.all_clock_s[known]
    if settings.depth_reference != LOGGED:
        kind = np.full(len(rows), settings.depth_reference, object)
    else:
        kind = _rows(fixes.depth_kind, rows, "", object)
    offset = _rows(fixes.depth_offset_m, rows, np.nan, float)
    depth = below_transducer(logged[known], kind, offset, settings.draft_m, settings.keel_m)
    owner = np.clip(np.searchsorted(clean.clock_s, moments, "right") - 1, 0, None)
    return Soundings(moments, clean.stretch[owner], depth)


def _rows(values, rows, missing, kind):
    return np.full(len(rows), missing, kind) if values is None else np.asarray(values, kind)[rows]


def below_transducer(depth_m, kind, offset_m, draft_m, keel_m):
    """Depths as logged -> water under the transducer, as displayed.

    Parameters
    ----------
    depth_m : (k,) array
        Metres below what ``kind`` says.
    kind : (k,) object array of str
        'transducer', 'surface' or 'keel'; blank counts as transducer.
    offset_m : (k,) array
        Offset logged with it (NMEA 0183 DPT): positive from transducer to waterline, negative from transducer to keel;
        NaN where none. It stands in for a draft or keel offset that was not given.
    draft_m, keel_m : float or None
        Transducer below the surface, keel below the transducer.

    Returns
    -------
    (k,) array

    Raises
    ------
    InputError
        A reference that is unknown, or a keel depth without its offset.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.depths.soundings import below_transducer
    >>> below_transducer([5.0, 5.0], ["transducer", "surface"], [np.nan, np.nan], 0.5, None).tolist()
    [5.0, 4.5]
    """
    kind = np.asarray(kind, object)
    strange = sorted({str(word) for word in kind} - {*KINDS, ""})
    if strange:
        raise InputError(f"The depth reference '{strange[0]}' is not one of {', '.join(KINDS)}.")
    offset = np.asarray(offset_m, float)
    depth = np.array(depth_m, float)
    from_surface, from_keel = kind == "surface", kind == "keel"
    logged_draft = np.where(offset > 0, offset, 0.0)
    depth -= np.where(from_surface, logged_draft if draft_m is None else draft_m, 0.0)
    logged_keel = np.where(offset < 0, -offset, np.nan)
    lift = np.where(from_keel, logged_keel if keel_m is None else keel_m, 0.0)
    if np.isnan(lift[np.isfinite(depth)]).any():
        raise InputError(Message("Depths are logged below the keel; give {keel_m}, how far the keel lies under the "
                                 "transducer."))
    return depth + lift


def good_soundings(soundings):
    """Which soundings show the bottom.

    Parameters
    ----------
    soundings : Soundings

    Returns
    -------
    (k,) bool array
        False for zero, negative and unknown depths, for a lost bottom (up to 0.5 m, unless the bottom next to it is
        within 1 m), and for spikes: further from the running median of a minute, and from the trend of that minute,
        than four times the spread there, at least 10 % of the depth (0.5 m) and at most 40 % (1 m), and not part of a
        bottom that goes on (see ``continuity``).

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.depths.soundings import Soundings, good_soundings
    >>> from athwart.depths.soundings import good_soundings
    >>> seconds = np.arange(7.0)
    >>> read = Soundings(seconds, np.zeros(7, int), np.array([5.0, 5.1, 0.0, 5.0, 30.0, 5.1, 5.0]))
    >>> good_soundings(read).tolist()
    [True, True, False, True, False, True, True]
    """
    depth = soundings.depth_m
    bottom = np.isfinite(depth) & (depth > LOST_BOTTOM_M)
    good = np.zeros(len(depth), bool)
    index = np.flatnonzero(bottom)
    if not len(index):
        return good
    known = Soundings(soundings.clock_s[index], soundings.stretch[index], depth[index])
    size = _half_window(known)
    fits = _near_the_median(known, size, np.arange(len(index)), trend=False)
    # a steep slope leaves the median behind at the ends of a stretch, a drop-off the trend: either will do
    doubtful = np.flatnonzero(~fits)
    fits[doubtful] = _near_the_median(known, size, doubtful, trend=True)
    fits = continuous(known.clock_s, known.stretch, known.depth_m, fits)
    good[index] = fits
    around = infill(soundings.clock_s, soundings.stretch, known.clock_s[fits], known.stretch[fits], known.depth_m[fits],
                    WINDOW_S)
    return good | (~bottom & (depth > 0) & (around <= SHALLOWS_M))


def default_depth_gap(clock_s, stretch, fix_gap_s):
    """Longest time bridged between soundings: that of the fixes, or three median intervals, at most 30 s.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.depths.soundings import default_depth_gap
    >>> default_depth_gap(np.array([0.0, 4.0, 8.0]), np.zeros(3, int), 10.0)
    12.0
    """
    intervals = np.diff(clock_s)[np.diff(stretch) == 0]
    return fix_gap_s if not len(intervals) else max(fix_gap_s, min(30.0, 3 * float(np.median(intervals))))


def water_under(clock_s, stretch, soundings, good, gap_s, *, ratio, grid_m=None, draft_m=0.0, constant_m=None):
    """Depth and its source at each sample: sounder, interpolated, grid, constant, in this order.

    Parameters
    ----------
    clock_s, stretch : (n,) arrays
        Sonar times and stretches.
    soundings : Soundings or None
    good : (k,) bool array or None
        Of ``good_soundings``.
    gap_s : float
        Longest time between two soundings that is bridged.
    ratio : float
        True over displayed depth; applies to soundings and the constant, which were displayed, not to the grid.
    grid_m : callable or None
        ``grid_m(wanted)`` -> (w,) depths below the surface at the samples ``wanted`` (int array), NaN where none.
    draft_m : float
        Transducer below the surface, taken off the grid.
    constant_m : float or None
        Displayed water under the transducer, for the whole outing. It never stands in for a sounding that was refused:
        there the depth is another one, and unknown.

    Returns
    -------
    depth_m : (n,) array, NaN where nothing is known
    source : (n,) object array of str, '' there

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.depths.soundings import water_under
    >>> seconds, run = np.arange(3.0), np.zeros(3, int)
    >>> depth, source = water_under(seconds, run, None, None, 10.0, ratio=1.0, constant_m=5.0)
    >>> depth.tolist(), source.tolist()
    ([5.0, 5.0, 5.0], ['constant', 'constant', 'constant'])
    """
    depth = np.full(len(clock_s), np.nan)
    source = np.full(len(clock_s), "", object)
    if soundings is not None and good.any():
        known = Soundings(soundings.clock_s[good], soundings.stretch[good], soundings.depth_m[good])
        depth = infill(clock_s, stretch, known.clock_s, known.stretch, known.depth_m, gap_s) * ratio
        at = np.minimum(np.searchsorted(known.clock_s, clock_s), len(known.clock_s) - 1)
        source[np.isfinite(depth)] = "interpolated"
        source[np.isfinite(depth) & (known.clock_s[at] == clock_s)] = "sounder"
    wanted = np.flatnonzero(np.isnan(depth))
    if grid_m is not None and len(wanted):
        found = np.asarray(grid_m(wanted), float) - draft_m
        hit = found > 0
        depth[wanted[hit]], source[wanted[hit]] = found[hit], "grid"
    if constant_m is not None:
        wanted = np.isnan(depth) & ~_refused(clock_s, stretch, soundings, good, gap_s)
        depth[wanted], source[wanted] = constant_m * ratio, "constant"
    return depth, source


def _refused(clock_s, stretch, soundings, good, gap_s):
    """Samples whose nearest sounding, within half the gap, is one that was refused."""
    if soundings is None or not len(good):
        return np.zeros(len(clock_s), bool)
    after = np.minimum(np.searchsorted(soundings.clock_s, clock_s), len(good) - 1)
    before = np.maximum(after - 1, 0)
    nearer = np.abs(soundings.clock_s[before] - clock_s) < np.abs(soundings.clock_s[after] - clock_s)
    at = np.where(nearer, before, after)
    near = np.abs(soundings.clock_s[at] - clock_s) <= gap_s / 2
    return near & ~good[at] & (soundings.stretch[at] == stretch)


def refused_words(soundings, good):
    """What was refused and where, as a sentence for the user; '' where nothing was.

    Parameters
    ----------
    soundings : Soundings
    good : (k,) bool array
        Of ``good_soundings``.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.depths.soundings import Soundings, refused_words
    >>> from athwart.depths.soundings import refused_words
    >>> read = Soundings(np.arange(3.0), np.zeros(3, int), np.array([5.0, 5.1, 5.0]))
    >>> refused_words(read, np.ones(3, bool))
    ''
    """
    refused = np.flatnonzero(~good)
    if not len(refused):
        return ""
    depth = soundings.depth_m
    low = refused[~(depth[refused] > LOST_BOTTOM_M)]
    words = [f"{len(low)} lost bottoms (up to {LOST_BOTTOM_M:g} m)"] if len(low) else []
    leaps = np.setdiff1d(refused, low)
    where = ""
    if len(leaps):
        words.append(f"{len(leaps)} that leap away from those beside them")
        parted = (np.diff(leaps) > 1) | (np.diff(soundings.stretch[leaps]) != 0)
        runs = sorted(np.split(leaps, np.flatnonzero(parted) + 1), key=lambda run: -len(run))
        shown = [_run_words(soundings, run) for run in runs[:_SHOWN]]
        where = (f" {'The longest leaps' if len(runs) > _SHOWN else 'The leaps'}: {'; '.join(shown)}. Look at the "
                 "record there: a shoal or a wreck may stand so.")
    return (f"{len(refused)} of {len(depth)} soundings were refused: {', '.join(words)}.{where}")


def _run_words(soundings, run):
    first, last = (iso_time(soundings.clock_s[k])[11:19] for k in (run[0], run[-1]))
    low, high = soundings.depth_m[run].min(), soundings.depth_m[run].max()
    when = first if len(run) == 1 else f"{first} to {last}"
    deep = f"{low:.1f} m" if high - low < 0.05 else f"{low:.1f} to {high:.1f} m"
    return f"{len(run)} at {when} UTC ({deep})"


def _half_window(soundings):
    """Soundings on either side that make a window of a minute, within limits."""
    intervals = np.diff(soundings.clock_s)[np.diff(soundings.stretch) == 0]
    usual = float(np.median(intervals)) if len(intervals) else WINDOW_S
    return int(np.clip(WINDOW_S / max(usual, 1e-3), FEWEST, MOST)) // 2


def _near_the_median(soundings, size, wanted, trend):
    """Whether the soundings ``wanted`` lie near the running median.

    With ``trend``, the median is that of a line through the medians of the window's halves.
    """
    depth = soundings.depth_m
    first, last = bounds(soundings.stretch)
    fits = np.empty(len(wanted), bool)
    reach = np.arange(-size, size + 1)
    for start in range(0, len(wanted), _ROWS):
        block = slice(start, start + _ROWS)
        at = wanted[block]
        low, high = first[at], last[at]
        # at the ends of a stretch the window leans inwards and keeps its size
        centre = np.clip(at, np.minimum(low + size, high), np.maximum(high - size, low))
        places = centre[:, None] + reach
        inside = (places >= low[:, None]) & (places <= high[:, None])
        near = np.where(inside, depth[np.clip(places, 0, len(depth) - 1)], np.inf)
        slope = np.zeros(len(at))
        if trend:
            earlier, later = (_quantiles(near[:, half], inside[:, half])[0]
                              for half in (slice(0, size), slice(size + 1, None)))
            slope = np.nan_to_num((later - earlier) / (size + 1))
            near -= slope[:, None] * reach
        centred, spread = _quantiles(near, inside)
        expected = centred + slope * (at - centre)
        limit = np.clip(4 * spread, np.maximum(0.5, 0.1 * expected), np.maximum(1.0, 0.4 * expected))
        fits[block] = np.abs(depth[at] - expected) <= limit
    return fits


def _quantiles(values, inside):
    """Median and standard deviation (by the interquartile range) of each row; values not ``inside`` are infinite."""
    values = np.sort(values, axis=1)
    count = inside.sum(axis=1)
    row = np.arange(len(values))
    some = count > 0
    upper, lower = count // 2, np.maximum(count - 1, 0) // 2
    top = np.minimum((3 * count) // 4, np.maximum(count - 1, 0))
    with np.errstate(invalid="ignore"):
        median = np.where(some, (values[row, lower] + values[row, upper]) / 2, np.nan)
        spread = np.where(some, (values[row, top] - values[row, count // 4]) / _IQR_SIGMA, np.nan)
    return median, spread
