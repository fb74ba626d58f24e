"""A log's fixes as arrays, put in order of time and cut into unbroken stretches."""
from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ..errors import InputError
from ..plane import ground
from ..plane.frame import Frame
from ..times import iso_time

__all__ = ["Arranged", "Fixes", "arranged", "default_gap", "too_far"]

LEAST_GAP_S, LONGEST_GAP_S = 10.0, 30.0

SAME_TIME_S = 1e-3
SAME_PLACE_M = 0.02

JUMP_ALLOWANCE_M = 3.0
"""Jitter between two fixes that is no jump: four sigma of 0.5 m in each axis of both, so that a receiver giving ten
fixes a second is not taken to jump at every one."""

LONGEST_JUMP = 5
"""A receiver back after so many fixes has jumped; one that stays away longer is believed, and breaks a pass."""

PAUSE_S = 60.0


@dataclass
class Fixes:
    """One row per fix in file order, before any correction; None for what the layer does not have.

    ``crs``: pyproj.CRS or text; ``x``, ``y``: (n,) floats in its units. ``t_s``: stamps, seconds since 1970 UTC, NaN
    where missing. ``order``: (n,) floats that sort as sailed. ``stretch``: (n,) ints that differ between the source's
    own segments, lines and passes. ``ping``: the record's count. ``heading_deg``: compass. ``depth_m``: soundings in
    metres as logged, NaN where none; ``depth_kind``: (n,) 'transducer', 'surface', 'keel' or ''; ``depth_offset_m``:
    logged offset, + transducer to waterline, - transducer to keel. ``range_m``: range in force as displayed.
    ``hdop``: horizontal dilution of precision.
    """

    crs: object
    x: np.ndarray
    y: np.ndarray
    t_s: np.ndarray = None
    order: np.ndarray = None
    stretch: np.ndarray = None
    ping: np.ndarray = None
    heading_deg: np.ndarray = None
    depth_m: np.ndarray = None
    depth_kind: np.ndarray = None
    depth_offset_m: np.ndarray = None
    range_m: np.ndarray = None
    hdop: np.ndarray = None

    def __len__(self):
        return len(self.x)

    def take(self, index):
        """The fixes at ``index`` as new Fixes."""
        columns = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "crs"}
        return Fixes(self.crs, **{name: v if v is None else np.asarray(v)[index] for name, v in columns.items()})


@dataclass
class Arranged:
    """Fixes in order: ``rows`` (m,) of the input, their ``clock_s`` (strictly rising), ``lon``, ``lat`` (degrees) and
    ``stretch`` (contiguous; equal where nothing is broken). ``frame``: carries places from and to the layer's CRS.
    ``timed``: the clock is the log's own, not made from a speed. ``gap_s``: longest time that is no break.
    ``backward``: times that ran backwards in the log. ``all_rows``, ``all_clock_s``: every row that has a time,
    repeated ones too, for what the sensors logged there."""

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


def default_gap(intervals):
    """Longest interval (s) that is no break: max(10, three median intervals), at most 30."""
    median = float(np.median(intervals)) if len(intervals) else 0.0
    return min(LONGEST_GAP_S, max(LEAST_GAP_S, 3 * median))


def arranged(fixes, tally, *, max_speed, speed_mps=None, max_gap=None):
    """Order the fixes, drop what cannot be used, and find the unbroken stretches.

    Parameters
    ----------
    fixes : Fixes
    tally : Tally
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
    source = np.zeros(len(fixes), int) if fixes.stretch is None else np.asarray(fixes.stretch, int)
    timed = _has_times(fixes, speed_mps)
    if timed:
        rows, clock, all_rows, all_clock, backward = _by_time(fixes, rows, lon, lat, frame, source, tally)
    else:
        rows, clock = _by_distance(fixes, rows, lon, lat, frame, source, speed_mps, tally)
        all_rows, all_clock, backward = rows, clock, 0
    joined = np.diff(source[rows]) == 0
    if max_gap is None:
        max_gap = default_gap(np.diff(clock)[joined])
    joined &= np.diff(clock) <= max_gap
    if timed:
        keep = ~_jumped(frame.geod, clock, lon[rows], lat[rows], joined, max_speed)
        _drop(tally, "GNSS jumps, faster than MAX_SPEED there and back", rows[~keep])
        rows, clock = rows[keep], clock[keep]
        joined = (np.diff(source[rows]) == 0) & (np.diff(clock) <= max_gap)
        joined &= ~too_far(frame.geod, clock, lon[rows], lat[rows], max_speed)
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
                    all_clock)


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


def _by_time(fixes, rows, lon, lat, frame, source, tally):
    stamps = np.asarray(fixes.t_s, float)
    timeless = rows[~np.isfinite(stamps[rows])]
    _drop(tally, "without a time", timeless)
    rows = np.setdiff1d(rows, timeless)
    backward = int((np.diff(stamps[rows]) < 0).sum())
    changes = int((np.diff(source[rows]) != 0).sum())
    all_rows = rows[np.argsort(stamps[rows], kind="stable")]
    all_clock = stamps[all_rows]
    new = np.concatenate([[True], np.diff(all_clock) >= SAME_TIME_S])
    rows, clock = all_rows[new], all_clock[new]
    kept = rows[np.cumsum(new) - 1]
    away = np.hypot(*ground.apart(frame.geod, lon[kept], lat[kept], lon[all_rows], lat[all_rows])) > SAME_PLACE_M
    _drop(tally, "repeated: same time and place as another", all_rows[~new & ~away])
    _drop(tally, "at the same time as another, in a different place", all_rows[~new & away])
    mixed = np.flatnonzero(np.diff(source[rows]) != 0)
    if len(mixed) > changes + max(4, len(rows) // 100):
        raise InputError(f"Segments of the log overlap in time (first at {iso_time(clock[mixed[0]])}): two receivers, "
                         "or two boats. Select the points of one of them and run each by itself.")
    return rows, clock, all_rows, all_clock, backward


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


def too_far(geod, clock, lon, lat, max_speed):
    """(n - 1,) bool: steps between neighbours that a boat no faster than ``max_speed`` (m/s) cannot make."""
    return np.hypot(*ground.steps(geod, lon, lat)) > max_speed * np.diff(clock) + JUMP_ALLOWANCE_M


def _jumped(geod, clock, lon, lat, joined, max_speed):
    """Fixes of short pieces that lie away while the pieces before and after fit together."""
    leap = too_far(geod, clock, lon, lat, max_speed) & joined
    starts = np.concatenate([[0], np.flatnonzero(leap | ~joined) + 1])
    sizes = np.diff(np.append(starts, len(clock)))
    if len(starts) < 3:
        return np.zeros(len(clock), bool)
    inner = slice(1, -1)
    before, after = starts[inner] - 1, starts[inner] + sizes[inner]
    took = clock[after] - clock[before]
    way = np.hypot(*ground.apart(geod, lon[before], lat[before], lon[after], lat[after]))
    short = (sizes[inner] <= LONGEST_JUMP) & (sizes[inner] <= np.minimum(sizes[:-2], sizes[2:]))
    away = np.zeros(len(starts), bool)
    away[inner] = leap[before] & leap[after - 1] & short & (way <= max_speed * took + JUMP_ALLOWANCE_M)
    return np.repeat(away, sizes)
