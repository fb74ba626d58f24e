"""Moments of the rows of a picture that is told by the times of its oldest and newest row.

A row is a ping, or always as many: rows go by the record's own rate. That rate changes with the range, since a ping
waits for its echo from the range's end. Where the track carries the record's ping count it tells the rate; else pings
are taken to last in proportion to the range in force (2 R / c, dead time left out).
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["RowTimes", "row_times"]

_RATE_OF = 20
"""Samples at either end of the track that tell the rate beyond it."""


@dataclass
class RowTimes:
    """``seconds``: (n,) since 1970 UTC, NaN outside the picture. ``by``: ping, range or even: what spread the rows.
    ``changes``: how often the range changes in the picture."""

    seconds: np.ndarray
    by: str
    changes: int


def row_times(record, rows, track):
    """Moments of pixel rows.

    Parameters
    ----------
    record : Record
        Told by times.
    rows : (n,) array
    track : Track or None

    Returns
    -------
    RowTimes

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.targets.rowtimes import row_times
    >>> import athwart
    >>> record = athwart.Record(width=800, height=101, edge_range_m=40.0, first_s=0.0, last_s=100.0)
    >>> row_times(record, np.array([100.5, 50.5, 0.5]), None).seconds.tolist()
    [0.0, 50.0, 100.0]
    """
    even = RowTimes(record.count(rows), "even", 0)
    if track is None:
        return even
    order = np.argsort(track.t_s, kind="stable")
    order = order[np.isfinite(track.t_s[order])]
    order = order[np.append(True, np.diff(track.t_s[order]) > 0)] if len(order) else order
    t, ping, range_m = track.t_s[order], np.asarray(track.record_ping, float)[order], track.range_m[order]
    inside = _about(t, record.first_s, record.last_s)
    t, ping, range_m = t[inside], ping[inside], range_m[inside]
    if len(t) < 2:
        return even
    changes = int((np.diff(range_m[np.isfinite(range_m)]) != 0).sum())
    if np.isfinite(ping).all() and (np.diff(ping) > 0).all():
        return RowTimes(_spread(record, rows, t, ping), "ping", changes)
    known = np.isfinite(range_m) & (range_m > 0)
    if changes == 0 or not known.all():
        return RowTimes(even.seconds, "even", changes)
    pings = np.append(0.0, np.cumsum(np.diff(t) / range_m[:-1]))  # the range set at a sample holds till the next
    return RowTimes(_spread(record, rows, t, pings), "range", changes)


def _about(t, first, last):
    """Samples of the picture and one more to either side, where there is one."""
    start = max(int(np.searchsorted(t, first, side="right")) - 1, 0)
    return slice(start, int(np.searchsorted(t, last, side="left")) + 1)


def _spread(record, rows, t, count):
    """Rows spread evenly over a count that rises with time; beyond the track it goes on at the rate of its ends."""
    ends = [np.polyfit(part_t - part_t[0], part_c, 1)[0] for part_t, part_c in
            ((t[:_RATE_OF], count[:_RATE_OF]), (t[-_RATE_OF:], count[-_RATE_OF:]))]
    if record.first_s < t[0]:
        t, count = np.append(record.first_s, t), np.append(count[0] - ends[0] * (t[0] - record.first_s), count)
    if record.last_s > t[-1]:
        t, count = np.append(t, record.last_s), np.append(count, count[-1] + ends[1] * (record.last_s - t[-1]))
    first, last = np.interp([record.first_s, record.last_s], t, count)
    return np.interp(first + record.progress(rows) * (last - first), count, t)
