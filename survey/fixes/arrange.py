"""A log's fixes as arrays, put in order of time and cut into unbroken stretches."""
from __future__ import annotations

from dataclasses import InitVar, dataclass

import numpy as np

from ..geometry import ground
from ..geometry.frame import Frame
from ..model.errors import InputError
from ..model.table import Floats, Ints, Table, Texts
from ..model.times import iso_time
from .jumps import excursions, nowhere, out_of_reach, too_far

__all__ = ["Arranged", "Fixes", "arranged", "default_gap"]

LEAST_GAP_S, LONGEST_GAP_S = 10.0, 30.0

SAME_TIME_S = 1e-3
SAME_PLACE_M = 0.02
SAME_BOAT_M = 20.0
"""The same moment told again this near: the same trip in another file, rounded, or by a second receiver on board."""

MANY_FIXES = 5
"""A longer excursion is named by its time and place, not only counted."""

FEW_STEPS_BACK = 4
"""Or one in 50 fixes: more are a layer that is not in order of time, and no clock that steps back."""

_TELLING_M = 10.0
_SAME_TRIP_S = 600.0
_KEEPS = 0.95

PAUSE_S = 60.0


@dataclass(eq=False, repr=False)
class Fixes(Table):
    """One row per fix in file order, before any correction; None for what the log does not have.

    ``crs``: pyproj.CRS or text; ``x``, ``y``: (n,) floats in its units. ``t_s``: stamps, seconds since 1970 UTC, NaN
    where missing. ``order``: (n,) floats that sort as sailed. ``stretch``: (n,) ints that differ between the source's
    own segments, lines and passes. ``ping``: the record's count. ``heading_deg``: compass. ``depth_m``: soundings in
    metres as logged, NaN where none; ``depth_kind``: (n,) 'transducer', 'surface', 'keel' or ''; ``depth_offset_m``:
    logged offset, + transducer to waterline, - transducer to keel. ``range_m``: range in force as displayed.
    ``hdop``: horizontal dilution of precision. The rest is as in ``schemas.FIXES``; nothing is computed from it.

    The columns of a log as it was read are taken as they are, ``Fixes(**logs.fixes)``: ``lon`` and ``lat`` are then the
    places, in degrees on WGS 84, and ``segment`` the stretches.
    """

    crs: object = "EPSG:4326"
    x: Floats = None
    y: Floats = None
    t_s: Floats | None = None
    order: Floats | None = None
    stretch: Ints | None = None
    ping: Floats | None = None
    heading_deg: Floats | None = None
    depth_m: Floats | None = None
    depth_kind: Texts | None = None
    depth_offset_m: Floats | None = None
    range_m: Floats | None = None
    hdop: Floats | None = None
    speed_mps: Floats | None = None
    course_deg: Floats | None = None
    water_temp_c: Floats | None = None
    fix_quality: Floats | None = None
    satellites: Floats | None = None
    log_file: Texts | None = None
    log_line: Ints | None = None
    lon: InitVar[Floats] = None
    lat: InitVar[Floats] = None
    segment: InitVar[Ints] = None

    def __post_init__(self, lon, lat, segment):
        if self.x is None and self.crs != "EPSG:4326":
            raise InputError(f"The places are given as lon and lat, in degrees on WGS 84, and crs is {self.crs}. Give "
                             "x and y in that crs, or leave crs out.", field="crs")
        self.x = lon if self.x is None else self.x
        self.y = lat if self.y is None else self.y
        self.stretch = segment if self.stretch is None else self.stretch
        self.check()


@dataclass
class Arranged:
    """Fixes in order: ``rows`` (m,) of the input, their ``clock_s`` (strictly rising), ``lon``, ``lat`` (degrees) and
    ``stretch`` (contiguous; equal where nothing is broken). ``frame``: carries places from and to the layer's CRS.
    ``timed``: the clock is the log's own, not made from a speed. ``gap_s``: longest time that is no break.
    ``backward``: times that ran backwards in the log. ``all_rows``, ``all_clock_s``: every row that has a time,
    repeated ones too, for what the sensors logged there. ``warnings``: sentences for the user, worst first."""

    rows: np.ndarray
    clock_s: np.ndarray
    lon: np.ndarray
    lat: np.ndarray
    stretch: np.ndarray
    frame: Frame
    timed: bool
    gap_s: float
    backward: int
    all_rows: np.ndarray
    all_clock_s: np.ndarray
    warnings: list


def default_gap(intervals):
    """Longest interval (s) that is no break: max(10, three median intervals), at most 30."""
    median = float(np.median(intervals)) if len(intervals) else 0.0
    return min(LONGEST_GAP_S, max(LEAST_GAP_S, 3 * median))


def arranged(fixes, tally, *, max_speed, speed_mps=None, max_gap=None):
    """Order the fixes, drop what cannot be used, and find the unbroken stretches.

    Parameters
    ----------
    fixes : Fixes
    tally : Rejections
        Takes what is dropped, by reason; places are row numbers from 1.
    max_speed : float
        m/s; a fix that could only be reached faster, and left faster, is a GNSS jump.
    speed_mps : float, optional
        Makes a clock from the distance run, for fixes without times; not used where half of them or more have one.
    max_gap : float, optional
        Longest interval (s) that is no break; ``default_gap`` if None.

    Returns
    -------
    Arranged

    Raises
    ------
    InputError
        No fixes, no times and no speed, or stretches of the source that overlap in time.
    """
    if not len(fixes):
        raise InputError("The layer holds no fixes; choose one with the boat's points, or clear its filter.")
    frame = Frame.around(fixes.crs, fixes.x, fixes.y)
    lon, lat = frame.to_lonlat(fixes.x, fixes.y)
    rows = np.flatnonzero(np.isfinite(lon) & np.isfinite(lat))
    _drop(tally, "without usable coordinates", np.setdiff1d(np.arange(len(fixes)), rows))
    null = nowhere(lon[rows], lat[rows])
    _drop(tally, "at latitude 0, longitude 0, where a receiver without a fix puts itself", rows[null])
    rows = rows[~null]
    source = np.zeros(len(fixes), int) if fixes.stretch is None else np.array(fixes.stretch, int)
    timed = _has_times(fixes, speed_mps)
    warnings = []
    if timed:
        rows, clock, all_rows, all_clock, backward = _by_time(fixes, rows, lon, lat, frame, source, tally, warnings)
    else:
        rows, clock = _by_distance(fixes, rows, lon, lat, frame, source, speed_mps, tally)
        all_rows, all_clock, backward = rows, clock, 0
    if timed:
        far = out_of_reach(frame.geod, clock, lon[rows], lat[rows], max_speed)
        _drop(tally, "further from the others than the boat can have come", rows[far])
        rows, clock = rows[~far], clock[~far]
    if max_gap is None:
        max_gap = default_gap(np.diff(clock)[np.diff(source[rows]) == 0])
    if timed:
        keep = ~_away(frame.geod, rows, clock, lon[rows], lat[rows], max_speed, tally, warnings)
        rows, clock = rows[keep], clock[keep]
    joined = (np.diff(source[rows]) == 0) & (np.diff(clock) <= max_gap)
    if timed:
        leaps = too_far(frame.geod, clock, lon[rows], lat[rows], max_speed)
        joined &= ~leaps
        warnings += _lost_way(frame.geod, clock, lon[rows], lat[rows], source[rows], leaps, max_gap)
    stretch = np.concatenate([[0], np.cumsum(~joined)])
    if len(rows) < 2:
        lost = f" Left out: {'; '.join(tally.lines())}." if tally.count() else ""
        raise InputError(f"Only {len(rows)} of {len(fixes)} fixes can be used, and a pass needs two.{lost} Check that "
                         "it is the right layer, that it holds the whole track, and that the field of times is right.")
    if not joined.any():
        raise InputError(f"No two fixes follow each other within {max_gap:g} s (the median interval is "
                         f"{np.median(np.diff(clock)):.0f} s), so there is no pass to draw. If the boat really kept "
                         "straight on between fixes, give a longer MAX_GAP.")
    return Arranged(rows, clock, lon[rows], lat[rows], stretch, frame, timed, float(max_gap), backward, all_rows,
                    all_clock, warnings)


def _drop(tally, reason, rows):
    tally.add(reason, "row", np.asarray(rows) + 1)


def _has_times(fixes, speed_mps):
    count = 0 if fixes.t_s is None else int(np.isfinite(fixes.t_s).sum())
    if count and 2 * count >= len(fixes):
        return True
    if speed_mps is None:
        has = "no point has a time" if not count else f"only {count} of {len(fixes)} points have a time"
        raise InputError(f"The track cannot be timed: {has}. Choose TIME_FIELD if a field holds the times. If there "
                         "are none, give SPEED, the boat's speed over ground, and ORDER_FIELD unless the points stand "
                         "in the order they were sailed.")
    return False


def _by_time(fixes, rows, lon, lat, frame, source, tally, warnings):
    stamps = np.asarray(fixes.t_s, float)
    timeless = rows[~np.isfinite(stamps[rows])]
    _drop(tally, "without a time", timeless)
    rows = np.setdiff1d(rows, timeless)
    backward = int((np.diff(stamps[rows]) < 0).sum())
    again = _told_again(stamps[rows], lon[rows], lat[rows], frame, rows, source, warnings)
    _drop(tally, "at times told again after the clock had stepped back", rows[again])
    rows = rows[~again]
    changes = int((np.diff(source[rows]) != 0).sum())
    all_rows = rows[np.argsort(stamps[rows], kind="stable")]
    all_clock = stamps[all_rows]
    new = np.concatenate([[True], np.diff(all_clock) >= SAME_TIME_S])[:len(all_clock)]
    rows, clock = all_rows[new], all_clock[new]
    kept = rows[np.cumsum(new) - 1]
    away = np.hypot(*ground.apart(frame.geod, lon[kept], lat[kept], lon[all_rows], lat[all_rows])) > SAME_PLACE_M
    _drop(tally, "repeated: same time and place as another", all_rows[~new & ~away])
    _drop(tally, "at the same time as another, in a different place", all_rows[~new & away])
    mixed = np.flatnonzero(np.diff(source[rows]) != 0)
    if len(mixed) > changes + max(4, len(rows) // 100):
        raise InputError(_two_boats(clock[mixed[0]]))
    return rows, clock, all_rows, all_clock, backward


def _two_boats(moment):
    return (f"Segments of the log overlap in time (first at {iso_time(moment)}): two receivers, or two boats. Select "
            "the points of one of them and run each by itself.")


def _told_again(stamps, lon, lat, frame, rows, source, warnings):
    """True for fixes at times that the log had told before its clock stepped back, by whole seconds or by any other
    step; copies of earlier fixes are not meant. The track is broken there (in ``source``, in place)."""
    starts = np.concatenate([[0], np.flatnonzero(np.diff(stamps) < 0) + 1])
    again = np.zeros(len(stamps), bool)
    if len(starts) - 1 > max(FEW_STEPS_BACK, len(stamps) // 50):
        return again
    other = 0
    for a, b in zip(starts[1:], np.append(starts[2:], len(stamps))):
        earlier = np.flatnonzero(~again[:a])
        earlier = earlier[np.argsort(stamps[earlier], kind="stable")]
        first, last = stamps[earlier[0]], stamps[earlier[-1]]
        at = np.minimum(np.searchsorted(stamps[earlier], stamps[a:b] - SAME_TIME_S), len(earlier) - 1)
        twin = earlier[at]
        away = np.hypot(*ground.apart(frame.geod, lon[a:b], lat[a:b], lon[twin], lat[twin]))
        twice = np.abs(stamps[twin] - stamps[a:b]) <= SAME_TIME_S
        copy = twice & (away <= SAME_PLACE_M)
        over = (stamps[a:b] >= first) & (stamps[a:b] <= last) & ~copy
        back = last - stamps[a]
        if stamps[b - 1] > last and 2 * back <= min(stamps[b - 1] - stamps[a], last - first):
            again[a:b] = over
            source[rows[a:b]] += 1 + source.max()
            if over.any():
                warnings.append(f"The clock stepped back by {back:.4g} s at row {rows[a] + 1} ({iso_time(stamps[a])}): "
                                f"{int(over.sum())} fixes at times that had been told already were left out, and the "
                                "track is broken there. Times before it or after it are off by as much; check picks "
                                "that are tied by time.")
        else:
            strange = over & ~(twice & (away <= SAME_BOAT_M))
            other += int(strange.sum())
        if other > max(FEW_STEPS_BACK, len(stamps) // 100):
            raise InputError(_two_boats(stamps[a:b][strange][0]))
    return again


def _by_distance(fixes, rows, lon, lat, frame, source, speed_mps, tally):
    if fixes.order is not None:
        order = np.asarray(fixes.order, float)
        lost = rows[~np.isfinite(order[rows])]
        _drop(tally, "without a value in ORDER_FIELD", lost)
        rows = np.setdiff1d(rows, lost)
        if not len(rows):
            raise InputError("No fix has a value in ORDER_FIELD. Choose the field that holds the order, or leave it "
                             "blank if the fixes stand in the order they were sailed.")
        rows = rows[np.argsort(order[rows], kind="stable")]
    away = np.hypot(*ground.steps(frame.geod, lon[rows], lat[rows]))
    same = np.concatenate([[False], (away <= SAME_PLACE_M) & (np.diff(source[rows]) == 0)])
    _drop(tally, "repeated: same place as the one before", rows[same])
    rows = rows[~same]
    took = np.hypot(*ground.steps(frame.geod, lon[rows], lat[rows])) / speed_mps
    took = np.where(np.diff(source[rows]) == 0, took, np.maximum(took, PAUSE_S))
    return rows, np.concatenate([[0.0], np.cumsum(took)])


def _away(geod, rows, clock, lon, lat, max_speed, tally, warnings):
    """True for the fixes of excursions; they go to the tally, and long ones are named."""
    away = np.zeros(len(clock), bool)
    for first, stop, metres in excursions(geod, clock, lon, lat, max_speed):
        away[first:stop] = True
        if stop - first > MANY_FIXES:
            _drop(tally, "in excursions of many fixes, faster than MAX_SPEED there and back", rows[first:stop])
            warnings.append(f"{stop - first} fixes from {iso_time(clock[first])} to {iso_time(clock[stop - 1])} were "
                            f"left out as one: they lie {metres:.0f} m away, and the boat cannot have gone there and "
                            f"back at MAX_SPEED. If it is a second receiver or boat, run its points by themselves.")
        else:
            _drop(tally, "GNSS jumps, faster than MAX_SPEED there and back", rows[first:stop])
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
                 f"there. If the boat kept straight on between its fixes (as where a receiver records bends only), "
                 f"MAX_GAP={keep} keeps {more / 1000:.2f} km of them.")
    if between >= _TELLING_M:
        said += (f" {between / 1000:.2f} km lie between segments of the log, which are never bridged.")
    return [said]
