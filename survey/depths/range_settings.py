"""The range in force at every moment: one number, the log's own field, or notes of when it was changed.

A range holds from the moment it was set until the next; it is never interpolated.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry import ground
from ..model.errors import InputError
from ..model.messages import Message
from ..model.table import Floats, Table
from ..model.times import iso_time

__all__ = ["RangeNotes", "held", "in_force", "moments_at", "range_notes", "ranges_shown"]

MARK_REACH_M = 30.0
"""A waypoint set on board lies this near the track: what a plotter's mark and the GNSS of two receivers may differ."""

ANOTHER_VISIT_S = 60.0
AMBIGUOUS_M = 6.4
"""Two visits whose distances to the mark differ by less (three sigma of 2.12 m) cannot be told apart."""

NOTED_BEFORE_S = 3600.0
"""One range noted up to an hour before the log starts is believed to be that of its start."""

_OFFSETS_H = np.arange(-56, 57) / 4.0


@dataclass(frozen=True, eq=False, repr=False)
class RangeNotes(Table):
    """Changes of range: ``clock_s`` (k,), rising, and the ``range_m`` (k,) in force from then on, as displayed.
    ``outside``: a sentence for the user on each row that lies outside the outing."""

    clock_s: Floats
    range_m: Floats
    outside: tuple = ()


def ranges_shown(fixes, clean, settings):
    """Range in force at every clean fix.

    Parameters
    ----------
    fixes : Fixes
    clean : CleanFixes
    settings : TrackSettings
        ``range_field`` (the fixes' ``range_m`` come from it) or ``range_rows``; ``range_m`` before the first of either,
        or throughout.

    Returns
    -------
    ((m,) array, sequence of str)
        Metres as displayed, NaN where unknown; and sentences on changes that lie outside the outing.
    """
    if settings.range_field:
        values = held(np.asarray(fixes.range_m, float)[clean.all_rows], settings.range_field)
        values = values[np.searchsorted(clean.all_clock_s, clean.clock_s, "right") - 1]
        return (values if settings.range_m is None else np.where(np.isnan(values), settings.range_m, values)), ()
    if settings.range_rows is None:
        return np.full(len(clean.rows), settings.range_m, float), ()
    noted = settings.range_rows
    moments = np.array(noted.from_s, float)
    if np.isfinite(moments).any() and not clean.timed:
        raise InputError(Message("{range_rows} gives times, but the track has none. Give {range_rows.names} instead, "
                                 "or times for the track as {fixes.t_s}."))
    wanted = np.flatnonzero(np.isnan(moments) & np.isfinite(noted.x))
    lon, lat = clean.frame.to_lonlat(noted.x[wanted], noted.y[wanted])
    moments[wanted] = moments_at(clean.frame.geod, clean.lon, clean.lat, clean.clock_s, clean.stretch,
                                 [noted.names[k] for k in wanted], lon, lat)
    notes = range_notes(moments, noted.range_m, clean.clock_s, noted.time_offset)
    return in_force(clean.clock_s, notes, settings.range_m), notes.outside


def held(values_m, what):
    """A field's ranges, each held until the next one.

    Parameters
    ----------
    values_m : (n,) array
        Metres in order of time; NaN where the log says nothing.
    what : str
        The field's name, for the message.

    Returns
    -------
    (n,) array
        NaN before the first value.

    Raises
    ------
    InputError
        If there is no value at all, or one that is not above zero.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.depths.range_settings import held
    >>> held(np.array([np.nan, 30.0, np.nan, 25.0]), "range").tolist()
    [nan, 30.0, 30.0, 25.0]
    """
    values = np.asarray(values_m, float)
    known = np.isfinite(values)
    if not known.any():
        raise InputError(Message("The field {name}, given as {range_field}, holds no range at all. Choose another "
                                 "field, or give the range as {range_m}.", name=what))
    _demand_positive(values[known], Message("The field {name}, given as {range_field},", name=what))
    last = np.maximum.accumulate(np.where(known, np.arange(len(values)), -1))
    return np.where(last >= 0, values[last], np.nan)


def in_force(clock_s, notes, before_m=None):
    """Range at each moment.

    Parameters
    ----------
    clock_s : (n,) array
    notes : RangeNotes
    before_m : float, optional
        Range in force before the first note.

    Returns
    -------
    (n,) array
        Metres as displayed; NaN before the first note when ``before_m`` is None.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.depths.range_settings import in_force
    >>> from athwart.depths.range_settings import range_notes
    >>> clock = np.array([0.0, 30.0, 60.0, 90.0])
    >>> in_force(clock, range_notes([60.0], [30.0], clock), before_m=25.0).tolist()
    [25.0, 25.0, 30.0, 30.0]
    """
    at = np.searchsorted(notes.clock_s, clock_s, "right")
    ranges = np.concatenate([[np.nan if before_m is None else before_m], notes.range_m])
    return ranges[at]


def range_notes(from_s, range_m, clock_s, time_offset=0.0):
    """Notes of when the range was set, in order.

    Parameters
    ----------
    from_s : (k,) array
        Moments on the track's clock: seconds since 1970 UTC.
    range_m : (k,) array
        Metres as displayed.
    clock_s : (n,) array
        Times of the track, rising.
    time_offset : float
        Hours already added to ``from_s``, for the message.

    Returns
    -------
    RangeNotes

    Raises
    ------
    InputError
        If there is no row, a row lacks its moment or range, two rows disagree, or none fits the time of the track: then
        the offset that would make them fit is named.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.depths.range_settings import range_notes
    >>> notes = range_notes([0.0, 60.0], [25.0, 30.0], np.arange(0.0, 100.0))
    >>> notes.outside
    ()
    """
    from_s, range_m = np.asarray(from_s, float), np.asarray(range_m, float)
    if not len(from_s):
        raise InputError(Message("{range_rows} is empty. Give one row for each range: {range_rows.from_s} or "
                                 "{range_rows.names}, and {range_rows.range_m}."))
    missing = np.flatnonzero(~(np.isfinite(from_s) & np.isfinite(range_m)))
    if len(missing):
        raise InputError(Message("Row {row} of {range_rows} lacks its {range_rows.from_s} (or {range_rows.names}) or "
                                 "its {range_rows.range_m}; fill it in or delete the row.", row=missing[0] + 1))
    _demand_positive(range_m, Message("{range_rows}"))
    order = np.argsort(from_s, kind="stable")
    from_s, range_m = from_s[order], range_m[order]
    clash = np.flatnonzero((np.diff(from_s) == 0) & (np.diff(range_m) != 0))
    if len(clash):
        raise InputError(Message("{range_rows} gives two ranges for the same moment ({one:g} and {other:g} m); delete "
                                 "one of the rows.", one=range_m[clash[0]], other=range_m[clash[0] + 1]))
    first, last = clock_s[0], clock_s[-1]
    earliest = first - NOTED_BEFORE_S if len(from_s) == 1 else first
    if ((from_s < earliest) | (from_s > last)).all():
        raise InputError(_no_overlap(from_s, first, last, time_offset))
    return RangeNotes(from_s, range_m, tuple(_outside(order, from_s, range_m, first, last)))


def _outside(order, from_s, range_m, first, last):
    """Rows before or after the outing, in their words."""
    before = np.flatnonzero(from_s < first)
    for k in np.flatnonzero((from_s < first) | (from_s > last)):
        late = from_s[k] > last
        does = ("it changes nothing" if late or k != before[-1] else "its range holds from the first fix on")
        yield Message("Row {row} of {range_rows} ({noted}, {range_m:g} m) lies {span} {side} the outing ({first} to "
                      "{last}); {does}. Correct its {range_rows.from_s} if it belongs to the outing.",
                      row=order[k] + 1, noted=iso_time(from_s[k]), range_m=range_m[k],
                      span=_span(from_s[k] - last if late else first - from_s[k]), side="after" if late else "before",
                      first=iso_time(first), last=iso_time(last), does=does)


def _span(seconds):
    for unit, words in ((86400, "days"), (3600, "hours"), (60, "minutes")):
        if seconds >= 2 * unit:
            return f"{seconds / unit:.0f} {words}"
    return f"{seconds:.0f} seconds"


def moments_at(geod, lon, lat, clock_s, stretch, names, mark_lon, mark_lat):
    """Moments at which the boat was at marks set on board when the range was changed.

    Parameters
    ----------
    geod : pyproj.Geod
    lon, lat : (n,) arrays
        Fixes of the track, degrees.
    clock_s, stretch : (n,) arrays
        Their stamps and unbroken stretches.
    names : (k,) sequence of str
    mark_lon, mark_lat : (k,) arrays

    Returns
    -------
    (k,) array
        The stamp of the fix each mark shows: nothing is added for latency.

    Raises
    ------
    InputError
        If a mark lies off the track, or the boat came by it more than once.
    """
    return np.array([_moment_at(geod, lon, lat, clock_s, stretch, *mark) for mark in zip(names, mark_lon, mark_lat)])


def _demand_positive(range_m, what):
    wrong = range_m[~(range_m > 0)]
    if len(wrong):
        raise InputError(Message("{what} holds a range of {given:g}; a range is above zero. Correct it, or leave it "
                                 "out where it is not known.", what=what, given=wrong[0]))


def _no_overlap(from_s, first, last, time_offset):
    said = Message("{range_rows} runs from {since} to {until}, the track from {first} to {last}: no change of range "
                   "falls within the track. ", since=iso_time(from_s[0]), until=iso_time(from_s[-1]),
                   first=iso_time(first), last=iso_time(last))
    inside = [((from_s + 3600 * h >= first) & (from_s + 3600 * h <= last)).sum() for h in _OFFSETS_H]
    best = max(inside)
    if not best:
        return said + Message("No time zone would make them fit: check the dates, or give {range_m} for the whole "
                              "outing.")
    fitting = [h for h, count in zip(_OFFSETS_H, inside) if count == best]
    # whole hours are likelier than halves and quarters, and the first note is that of the start
    hours = min(fitting, key=lambda h: (h % 1 != 0, h % 0.5 != 0, h))
    return said + Message("Adding {hours:+g} hours would fit: set {time_offset} to {fitting:g}, or if that moves the "
                          "track's clock as well, write the times of {range_rows} with their zone, such as "
                          "14:05-05:00.", hours=hours, fitting=time_offset + hours)


def _moment_at(geod, lon, lat, clock_s, stretch, name, mark_lon, mark_lat):
    """Stamp at which the track came nearest to a mark."""
    east, north = ground.apart(geod, mark_lon, mark_lat, lon, lat)
    steps_e, steps_n = np.diff(east), np.diff(north)
    square = steps_e ** 2 + steps_n ** 2
    along = np.divide(-(east[:-1] * steps_e + north[:-1] * steps_n), square, out=np.zeros(len(square)),
                      where=square > 0)
    share = np.where(np.diff(stretch) == 0, np.clip(along, 0.0, 1.0), 0.0)
    share = np.append(share, 0.0)
    steps_e, steps_n = np.append(steps_e, 0.0), np.append(steps_n, 0.0)
    distance = np.hypot(east + share * steps_e, north + share * steps_n)
    moments = clock_s + share * np.append(np.diff(clock_s), 0.0)
    best = int(np.argmin(distance))
    if distance[best] > MARK_REACH_M:
        raise InputError(Message("Waypoint '{name}' of {range_rows} lies {off:.0f} m from the track; the boat was not "
                                 "there. Check its place, or give the row a {range_rows.from_s}.", name=name,
                                 off=distance[best]))
    others = (distance <= distance[best] + AMBIGUOUS_M) & (np.abs(moments - moments[best]) > ANOTHER_VISIT_S)
    if others.any():
        raise InputError(Message("The boat came by waypoint '{name}' of {range_rows} more than once, so the moment of "
                                 "the change is not clear. Give that row a {range_rows.from_s}.", name=name))
    return float(moments[best])
