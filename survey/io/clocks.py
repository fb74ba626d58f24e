"""Clocks of a log's sources of positions: those that stand still are left out, slow ticks are filled in between.

A source is one talker's sentences of one type. Instruments repeat the last time and place they knew: such a source, or
one whose clock is another than the log's, must not fill silences of the others. A receiver may also tell the time
less often than the place: its positions between two ticks are new ones.
"""
from __future__ import annotations

import numpy as np

from ..model.times import DAY_S

__all__ = ["LATE_S", "between_ticks", "foreign_clock", "late"]

LATE_S = 5.0
"""A sentence may come this long after a newer one, or run ahead of the next: instruments take their time."""

_CROWDED = 0.2
_ZIGZAG = 1.5
_SILENT_TICKS = 1.5


def foreign_clock(order, clock, source):
    """Sentences whose time does not fit into the log where they stand.

    Parameters
    ----------
    order, clock : (n,) arrays
        Place in the log, rising, and seconds of the day; NaN where there is no time.
    source : (n,) int array

    Returns
    -------
    foreign : (n,) bool array
        Times outside those of the reference just before and just after, by more than 5 s. A source of which most are
        so is foreign as a whole.
    reference : int
        The source whose clock ticks most often, whose own times always stand.
    """
    known = np.isfinite(clock)
    ticks = {}
    for one in np.unique(source[known]):
        ticks[int(one)] = np.count_nonzero(np.diff(clock[known & (source == one)]))
    foreign = np.zeros(len(order), bool)
    if len(ticks) < 2:
        return foreign, next(iter(ticks), -1)
    reference = max(ticks, key=ticks.get)
    own = known & (source == reference)
    others = np.flatnonzero(known & ~own)
    after = np.searchsorted(order[own], order[others])
    last = int(own.sum()) - 1
    since = _wrapped(clock[others] - clock[own][np.clip(after - 1, 0, last)])
    until = _wrapped(clock[others] - clock[own][np.minimum(after, last)])
    not_before, not_after = (since >= -LATE_S) | (after == 0), (until <= LATE_S) | (after > last)
    near = ((np.abs(since) <= LATE_S) & (after > 0)) | ((np.abs(until) <= LATE_S) & (after <= last))
    foreign[others] = ~(not_before & not_after | near)
    for one in ticks:
        theirs = source == one
        if 2 * foreign[theirs].sum() > (known & theirs).sum():
            foreign |= theirs
    return foreign, reference


def late(t_s):
    """True for positions up to 5 s older than one before them; after a longer step back the log begins anew.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.io.clocks import late
    >>> late(np.array([10.0, 11.0, 9.0, 12.0])).tolist()
    [False, False, True, False]
    """
    found = np.zeros(len(t_s), bool)
    newest = -np.inf
    for row, moment in enumerate(t_s.tolist()):
        if newest - LATE_S <= moment < newest:
            found[row] = True
        else:
            newest = moment
    return found


def between_ticks(t_s, source, lon, lat):
    """Times of positions that come more often than the clock ticks, by their order in the log.

    Parameters
    ----------
    t_s : (n,) array
        As logged, in the order of the log.
    source : (n,) int array
    lon, lat : (n,) arrays
        Degrees.

    Returns
    -------
    t_s : (n,) array
        Spread evenly from one tick to the next; as given where the clock keeps up with the positions.
    tick_s : float
        Usual seconds from tick to tick, NaN where nothing was spread.
    """
    group = np.cumsum(np.diff(t_s, prepend=t_s[0]) != 0)
    nth = _nth(group, source)
    moved = _moved(group, source, lon, lat)
    crowded = np.unique(group[moved])
    ticks = np.unique(group, return_index=True)[1]
    steps = np.diff(t_s[ticks])
    if len(crowded) < max(2, _CROWDED * len(ticks)) or not (steps > 0).any():
        return t_s, np.nan
    main = np.bincount(source[moved]).argmax()
    own = source == main
    # other sentences of the moment go with the main one before them
    index = np.flatnonzero(own)
    before = np.searchsorted(index, np.arange(len(t_s)), "right") - 1
    leads = (before >= 0) & (group[index[np.maximum(before, 0)]] == group)
    place = np.where(leads, nth[index[np.maximum(before, 0)]], 0)
    count = np.bincount(group, minlength=len(ticks)) * 0
    np.maximum.at(count, group, place + 1)
    usual = float(np.median(count[np.unique(group[own])]))
    if usual < 3 and _zigzags(group[own], nth[own], lon[own], lat[own]):
        return t_s, np.nan
    tick = float(np.median(steps[steps > 0]))
    return _spread(t_s, group, place, count, ticks, tick, tick / max(usual, 1.0)), tick


def _wrapped(seconds):
    """Differences of times of the day, -12 h to 12 h."""
    return (seconds + DAY_S / 2) % DAY_S - DAY_S / 2


def _nth(group, source):
    """How many of the same source stand before each row in its group."""
    by = np.lexsort((np.arange(len(group)), source, group))
    new = np.ones(len(by), bool)
    new[1:] = (np.diff(group[by]) != 0) | (np.diff(source[by]) != 0)
    place = np.arange(len(by))
    nth = np.empty(len(by), int)
    nth[by] = place - np.maximum.accumulate(np.where(new, place, 0))
    return nth


def _moved(group, source, lon, lat):
    """True where a source gives another place than it gave just before in the same group."""
    by = np.lexsort((np.arange(len(group)), source, group))
    same = (np.diff(group[by]) == 0) & (np.diff(source[by]) == 0)
    moved = np.zeros(len(by), bool)
    moved[by[1:]] = same & ((np.diff(lon[by]) != 0) | (np.diff(lat[by]) != 0))
    return moved


def _zigzags(group, nth, lon, lat):
    """Two receivers that talk in turn: the way through all places is much longer than the way through every other."""
    east, north = lon * np.cos(np.radians(lat)), lat
    whole = np.hypot(np.diff(east), np.diff(north)).sum()
    first = nth == 0
    return whole > _ZIGZAG * np.hypot(np.diff(east[first]), np.diff(north[first])).sum()


def _spread(t_s, group, place, count, ticks, tick, step):
    """Times by place in the group: to the next tick, or by the usual step where none follows soon."""
    start = t_s[ticks]
    ahead = np.append(np.diff(start), np.inf)
    follows = (ahead > 0) & (ahead <= _SILENT_TICKS * tick)
    behind = np.concatenate([[False], follows[:-1]])
    own_step = np.where(follows, ahead / count, step)
    begun = follows & ~behind & (count * step < ahead)  # the log, or its positions, began between two ticks
    own_step[begun] = step
    offset = np.where(begun, ahead - count * step, 0.0)
    return start[group] + offset[group] + place * own_step[group]
