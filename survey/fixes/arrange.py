"""A log's fixes as arrays, and put in the order in which they were sailed: by time, or by the way run."""
from __future__ import annotations

from dataclasses import InitVar, dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..geometry import ground
from ..model.errors import InputError
from ..model.messages import Message
from ..model.table import Floats, Ints, Table, Texts
from ..model.times import iso_time

if TYPE_CHECKING:
    from typing import Any

    from numpy.typing import ArrayLike

    from ..geometry.frame import Frame
    from ..model.rejections import Rejections

__all__ = ["Fixes", "by_distance", "by_time", "dropped", "has_times"]

SAME_TIME_S = 1e-3
SAME_PLACE_M = 0.02
SAME_BOAT_M = 20.0
"""The same moment told again this near: the same trip in another file, rounded, or by a second receiver on board."""

FEW_STEPS_BACK = 4
"""Or one in 50 fixes: more are a layer that is not in order of time, and no clock that steps back."""

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

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> x, y, t_s = np.array([5e5, 5e5]), np.array([4.5e6, 4.5e6 + 2]), np.array([0.0, 1.0])
    >>> fixes = athwart.Fixes("EPSG:32619", x, y, t_s=t_s)
    >>> len(fixes), fixes.depth_m is None
    (2, True)
    """

    crs: Any = "EPSG:4326"
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

    def __post_init__(self, lon: np.ndarray, lat: np.ndarray, segment: np.ndarray) -> None:
        if self.x is None and self.crs != "EPSG:4326":
            raise InputError(f"The places are given as lon and lat, in degrees on WGS 84, and crs is {self.crs}. Give "
                             "x and y in that crs, or leave crs out.", field="crs")
        self.x = lon if self.x is None else self.x
        self.y = lat if self.y is None else self.y
        self.stretch = segment if self.stretch is None else self.stretch
        self.check()


def dropped(tally: Rejections, reason: str, rows: ArrayLike) -> None:
    """Count rows (from 0) that are left out for a reason.

    Examples
    --------
    >>> from athwart.fixes.arrange import dropped
    >>> from athwart.model.rejections import Rejections
    >>> tally = Rejections()
    >>> dropped(tally, "no position", [3, 5])
    >>> tally.count()
    2
    """
    tally.add(reason, "row", np.asarray(rows) + 1)


def has_times(fixes: Fixes, speed_mps: float | None) -> bool:
    """Whether the fixes bring their own clock: half of them or more have a time. Else a speed has to make one."""
    count = 0 if fixes.t_s is None else int(np.isfinite(fixes.t_s).sum())
    if count and 2 * count >= len(fixes):
        return True
    if speed_mps is None:
        has = "no point has a time" if not count else f"only {count} of {len(fixes)} points have a time"
        raise InputError(Message("The track cannot be timed: {has}. Choose {fixes.t_s} if a field holds the times. If "
                                 "there are none, give {speed_mps}, the boat's speed over ground, and {fixes.order} "
                                 "unless the points stand in the order they were sailed.", has=has))
    return False


def by_time(fixes: Fixes, rows: np.ndarray, lon: np.ndarray, lat: np.ndarray, frame: Frame, source: np.ndarray,
            tally: Rejections, warnings: list[str]) -> tuple[Any, ...]:
    """Rows in order of time, each moment once; their clock; and both again with repeated fixes; backward times."""
    stamps = np.asarray(fixes.t_s, float)
    timeless = rows[~np.isfinite(stamps[rows])]
    dropped(tally, "without a time", timeless)
    rows = np.setdiff1d(rows, timeless)
    backward = int((np.diff(stamps[rows]) < 0).sum())
    again = _told_again(stamps[rows], lon[rows], lat[rows], frame, rows, source, warnings)
    dropped(tally, "at times that came again after the clock had stepped back", rows[again])
    rows = rows[~again]
    changes = int((np.diff(source[rows]) != 0).sum())
    all_rows = rows[np.argsort(stamps[rows], kind="stable")]
    all_clock = stamps[all_rows]
    new = np.concatenate([[True], np.diff(all_clock) >= SAME_TIME_S])[:len(all_clock)]
    rows, clock = all_rows[new], all_clock[new]
    kept = rows[np.cumsum(new) - 1]
    away = np.hypot(*ground.apart(frame.geod, lon[kept], lat[kept], lon[all_rows], lat[all_rows])) > SAME_PLACE_M
    dropped(tally, "repeated: same time and place as another", all_rows[~new & ~away])
    dropped(tally, "at the same time as another, in a different place", all_rows[~new & away])
    mixed = np.flatnonzero(np.diff(source[rows]) != 0)
    if len(mixed) > changes + max(4, len(rows) // 100):
        raise InputError(_two_boats(clock[mixed[0]]))
    return rows, clock, all_rows, all_clock, backward


def _two_boats(moment: float) -> str:
    return (f"Segments of the log overlap in time (first at {iso_time(moment)}): two receivers, or two boats. Select "
            "the points of one of them and run each by itself.")


def _told_again(stamps: np.ndarray, lon: np.ndarray, lat: np.ndarray, frame: Frame, rows: np.ndarray,
                source: np.ndarray, warnings: list[str]) -> np.ndarray:
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
                                f"{int(over.sum())} fixes at times that had come before were left out, and the "
                                "track is broken there. Times before it or after it are off by as much; check picks "
                                "that are tied by time.")
        else:
            strange = over & ~(twice & (away <= SAME_BOAT_M))
            other += int(strange.sum())
        if other > max(FEW_STEPS_BACK, len(stamps) // 100):
            raise InputError(_two_boats(stamps[a:b][strange][0]))
    return again


def by_distance(fixes: Fixes, rows: np.ndarray, lon: np.ndarray, lat: np.ndarray, frame: Frame, source: np.ndarray,
                speed_mps: float | None, tally: Rejections) -> tuple[np.ndarray, np.ndarray]:
    """Rows as sailed, and a clock made of the way run at a stated speed."""
    if fixes.order is not None:
        order = np.asarray(fixes.order, float)
        lost = rows[~np.isfinite(order[rows])]
        dropped(tally, Message("without a value in {fixes.order}"), lost)
        rows = np.setdiff1d(rows, lost)
        if not len(rows):
            raise InputError(Message("No fix has a value in {fixes.order}. Give the field that holds the order, or "
                                     "leave it out if the fixes stand in the order they were sailed."))
        rows = rows[np.argsort(order[rows], kind="stable")]
    away = np.hypot(*ground.steps(frame.geod, lon[rows], lat[rows]))
    same = np.concatenate([[False], (away <= SAME_PLACE_M) & (np.diff(source[rows]) == 0)])
    dropped(tally, "repeated: same place as the one before", rows[same])
    rows = rows[~same]
    took = np.hypot(*ground.steps(frame.geod, lon[rows], lat[rows])) / speed_mps
    took = np.where(np.diff(source[rows]) == 0, took, np.maximum(took, PAUSE_S))
    return rows, np.concatenate([[0.0], np.cumsum(took)])
