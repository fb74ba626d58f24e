"""Stage 1 of a track: fixes that can be true, in order of time, cut into unbroken stretches."""
from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..geometry import ground
from ..geometry.frame import Frame
from ..model.constants import SIGMA_POSITION_M
from ..model.errors import InputError
from ..model.messages import Message
from ..model.rejections import Rejections
from ..model.times import iso_time
from .arrange import by_distance, by_time, dropped, has_times
from .jumps import excursions, nowhere, out_of_reach, too_far

__all__ = ["CleanFixes", "clean_fixes", "default_gap"]

LEAST_GAP_S, LONGEST_GAP_S = 10.0, 30.0

MANY_FIXES = 5
"""A longer excursion is named by its time and place, not only counted."""

_TELLING_M = 10.0
_SAME_TRIP_S = 600.0
_KEEPS = 0.95


@dataclass
class CleanFixes:
    """Fixes in order: ``rows`` (m,) of the input, their ``clock_s`` (strictly rising), ``lon``, ``lat`` (degrees) and
    ``stretch`` (contiguous; equal where nothing is broken); ``sigma_pos_m`` per axis; ``rushing``: a step to a
    neighbour that only a boat over the speed limit can make.

    ``frame``: carries places from and to the layer's CRS. ``timed``: the clock is the log's own, not made from a speed.
    ``gap_s``: longest time that is no break. ``backward``: times that ran backwards in the log. ``all_rows``,
    ``all_clock_s``: every row that has a time, repeated ones too, for what the sensors logged there. ``rejections``:
    what was left out, by reason. ``warnings``: sentences for the user, worst first.
    """

    rows: np.ndarray
    clock_s: np.ndarray
    lon: np.ndarray
    lat: np.ndarray
    stretch: np.ndarray
    sigma_pos_m: np.ndarray
    rushing: np.ndarray
    frame: Frame
    timed: bool
    gap_s: float
    backward: int
    all_rows: np.ndarray
    all_clock_s: np.ndarray
    rejections: Rejections
    warnings: list = field(default_factory=list)


def default_gap(intervals):
    """Longest interval (s) that is no break: max(10, three median intervals), at most 30.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.fixes.clean import default_gap
    >>> default_gap(np.array([1.0, 1.0, 2.0])), default_gap(np.array([8.0, 8.0])), default_gap(np.array([60.0]))
    (10.0, 24.0, 30.0)
    """
    median = float(np.median(intervals)) if len(intervals) else 0.0
    return min(LONGEST_GAP_S, max(LEAST_GAP_S, 3 * median))


def clean_fixes(fixes, settings):
    """Order the fixes, drop what cannot be used, and find the unbroken stretches.

    Parameters
    ----------
    fixes : Fixes
    settings : TrackSettings
        ``max_speed`` (m/s): a fix that could only be reached faster, and left faster, is a GNSS jump. ``speed_mps``
        makes a clock from the distance run, for fixes without times; not used where half of them or more have one.
        ``max_gap_s``: longest interval that is no break; ``default_gap`` if None. ``sigma_position_m``.

    Returns
    -------
    CleanFixes
        Places of its rejections are row numbers from 1.

    Raises
    ------
    InputError
        No fixes, no times and no speed, or stretches of the source that overlap in time.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.fixes.clean import clean_fixes
    >>> import athwart
    >>> away = np.arange(0.0, 60.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> clean = clean_fixes(fixes, athwart.TrackSettings(range_m=30.0, depth_m=5.0))
    >>> len(clean.rows), clean.gap_s
    (30, 10.0)
    """
    if not len(fixes):
        raise InputError("The layer holds no fixes; choose one with the boat's points, or clear its filter.")
    tally, max_speed, max_gap = Rejections(), settings.max_speed, settings.max_gap_s
    frame = Frame.around(fixes.crs, fixes.x, fixes.y)
    lon, lat = frame.to_lonlat(fixes.x, fixes.y)
    rows = np.flatnonzero(np.isfinite(lon) & np.isfinite(lat))
    dropped(tally, "without usable coordinates", np.setdiff1d(np.arange(len(fixes)), rows))
    null = nowhere(lon[rows], lat[rows])
    dropped(tally, "at latitude 0, longitude 0, where a receiver without a fix puts itself", rows[null])
    rows = rows[~null]
    source = np.zeros(len(fixes), int) if fixes.stretch is None else np.array(fixes.stretch, int)
    timed = has_times(fixes, settings.speed_mps)
    warnings = []
    if timed:
        rows, clock, all_rows, all_clock, backward = by_time(fixes, rows, lon, lat, frame, source, tally, warnings)
    else:
        rows, clock = by_distance(fixes, rows, lon, lat, frame, source, settings.speed_mps, tally)
        all_rows, all_clock, backward = rows, clock, 0
    if timed:
        far = out_of_reach(frame.geod, clock, lon[rows], lat[rows], max_speed)
        dropped(tally, "further from the others than the boat can have come", rows[far])
        rows, clock = rows[~far], clock[~far]
    if max_gap is None:
        max_gap = default_gap(np.diff(clock)[np.diff(source[rows]) == 0])
    if timed:
        keep = ~_away(frame.geod, rows, clock, lon[rows], lat[rows], max_speed, tally, warnings)
        rows, clock = rows[keep], clock[keep]
    rushing = np.zeros(len(rows), bool)
    joined = (np.diff(source[rows]) == 0) & (np.diff(clock) <= max_gap)
    if timed:
        leaps = too_far(frame.geod, clock, lon[rows], lat[rows], max_speed)
        joined &= ~leaps
        rushed = leaps & (np.diff(clock) <= float(max_gap))
        rushing[1:] |= rushed
        rushing[:-1] |= rushed
        warnings += _lost_way(frame.geod, clock, lon[rows], lat[rows], source[rows], leaps, max_gap)
    stretch = np.concatenate([[0], np.cumsum(~joined)])
    if len(rows) < 2:
        lost = " Left out: " + Message.joined("; ", tally.lines()) + "." if tally.count() else ""
        raise InputError(Message("Only {count} of {given} fixes can be used, and a pass needs two.{lost} Check that it "
                                 "is the right layer, that it holds the whole track, and that the field of times is "
                                 "right.", count=len(rows), given=len(fixes), lost=lost))
    if not joined.any():
        raise InputError(Message("No two fixes follow each other within {gap:g} s (the median interval is "
                                 "{usual:.0f} s), so there is no pass to draw. If the boat really kept straight on "
                                 "between fixes, give a longer {max_gap_s}.", gap=max_gap,
                                 usual=np.median(np.diff(clock))))
    return CleanFixes(rows, clock, lon[rows], lat[rows], stretch, _position_sigma(fixes, rows, settings), rushing,
                      frame, timed, float(max_gap), backward, all_rows, all_clock, tally, warnings)


def _position_sigma(fixes, rows, settings):
    """Per axis. HDOP times the ranging error is the 2D rms (NRC 1995, appendix D): the default, which is what an HDOP
    of 1 gives, grows in proportion to a worse one. A stated sigma holds as it is."""
    if settings.sigma_position_m is not None:
        return np.full(len(rows), settings.sigma_position_m, float)
    if fixes.hdop is None:
        return np.full(len(rows), SIGMA_POSITION_M)
    dilution = np.nan_to_num(np.asarray(fixes.hdop, float)[rows], nan=1.0)
    return SIGMA_POSITION_M * np.maximum(1.0, dilution)


def _away(geod, rows, clock, lon, lat, max_speed, tally, warnings):
    """True for the fixes of excursions; they go to the tally, and long ones are named."""
    away = np.zeros(len(clock), bool)
    for first, stop, metres in excursions(geod, clock, lon, lat, max_speed):
        away[first:stop] = True
        if stop - first > MANY_FIXES:
            dropped(tally, Message("in excursions of many fixes, faster than {max_speed} there and back"),
                    rows[first:stop])
            warnings.append(Message("{count} fixes from {since} to {until} were left out as one: they lie {metres:.0f} "
                                    "m away, and the boat cannot have gone there and back at {max_speed}. If it is a "
                                    "second receiver or boat, run its points by themselves.", count=stop - first,
                                    since=iso_time(clock[first]), until=iso_time(clock[stop - 1]), metres=metres))
        else:
            dropped(tally, Message("GNSS jumps, faster than {max_speed} there and back"), rows[first:stop])
    return away


def _lost_way(geod, clock, lon, lat, source, leaps, max_gap):
    """Sentences on the way that lies in gaps, which nothing bridges."""
    way, took = np.hypot(*ground.steps(geod, lon, lat)), np.diff(clock)
    one = np.diff(source) == 0
    gaps = one & (took > max_gap) & ~leaps
    parted = ~one & (took > max_gap) & (took <= _SAME_TRIP_S) & ~leaps
    kept = way[one & (took <= max_gap) & ~leaps].sum()
    lost, between = way[gaps].sum(), way[parted].sum()
    if lost + between < _TELLING_M:
        return []
    said = f"{kept / 1000:.2f} of {(kept + lost + between) / 1000:.2f} km of the log are kept."
    if lost >= _TELLING_M:
        order = np.argsort(took[gaps])
        enough = np.searchsorted(np.cumsum(way[gaps][order]), _KEEPS * lost)
        keep = int(np.ceil(took[gaps][order][min(enough, len(order) - 1)]))
        more = way[gaps & (took <= keep)].sum()
        said += (f" {lost / 1000:.2f} km lie in {int(gaps.sum())} gaps longer than {max_gap:g} s, and nothing is drawn "
                 "there. If the boat kept straight on between its fixes (as where a receiver records bends only), a "
                 + Message("{max_gap_s} of {keep} keeps {more:.2f} km of them.", keep=keep, more=more / 1000))
    if between >= _TELLING_M:
        said += (f" {between / 1000:.2f} km lie between segments of the log, which are never bridged.")
    return [said]
