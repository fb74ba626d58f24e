"""From times of the day, as NMEA 0183 sentences give them, to moments: dates, midnights, worn-out GPS week counters."""
from __future__ import annotations

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message
from ..model.times import DAY_S, iso_time

__all__ = ["ROLLOVER_DAYS", "date_positions", "nearest_day", "rollover_days", "rollover_warning"]

ROLLOVER_DAYS = 7168
"""GPS counts 1024 weeks and starts again; a receiver that does not know it gives dates so many days too early."""

_HALF_DAY_S = DAY_S / 2


def date_positions(order, clock, day, dates, log_day, name):
    """Seconds since 1970 of positions that carry a time of the day.

    Midnight has passed where the time of the day drops by more than 12 hours. The date comes from the positions' own
    sentences (RMC) if any has one, else from ZDA, else from ``log_day``.

    Parameters
    ----------
    order, clock, day : (n,) arrays
        Place in the log, seconds of the day, days since 1970 (NaN where the sentence has no date); n >= 1.
    dates : dict
        ``order``, ``clock``, ``day`` of the log's date sentences (ZDA).
    log_day : int or None
        Day of the first position, days since 1970, for a log without any date.
    name : str
        Of the file.

    Returns
    -------
    (n,) float array

    Raises
    ------
    InputError
        If there is no date at all.
    """
    step = np.diff(clock, prepend=clock[0])
    midnights = np.cumsum((step < -_HALF_DAY_S).astype(int) - (step > _HALF_DAY_S))
    own = np.isfinite(day)
    if own.any():
        known, first_day = order[own], (day - midnights)[own]
    elif len(dates["order"]):
        known = dates["order"]
        near = np.maximum(np.searchsorted(order, known) - 1, 0)
        first_day = dates["day"] - midnights[near] - np.round((clock[near] - dates["clock"]) / DAY_S)
    elif log_day is not None:
        known, first_day = order[:1], np.array([log_day])
    else:
        raise InputError(Message("{name} has times but no date (no RMC sentence, and no ZDA with a date). Give the day "
                                 "of its first position as {log_date}, such as 2024-05-31.", name=name))
    latest = np.maximum(np.searchsorted(known, order, side="right") - 1, 0)
    return (first_day[latest] + midnights) * DAY_S + clock


def nearest_day(clock, t_s):
    """Seconds since 1970 at the time of day ``clock``, on the day that brings it nearest to the moment ``t_s``.

    Examples
    --------
    >>> from athwart.io.dating import nearest_day
    >>> float(nearest_day(60.0, 2 * 86400.0 - 30.0))  # a minute past midnight, told half a minute before it
    172860.0
    """
    return clock + DAY_S * np.round((t_s - clock) / DAY_S)


def rollover_days(first_t_s, log_day):
    """Days by which ``log_day`` says a log's dates are too early; 0 unless that is a whole number of GPS rollovers.

    Examples
    --------
    >>> from athwart.io.dating import rollover_days
    >>> rollover_days(86400.0 * 12000, 12000 + 7168), rollover_days(86400.0 * 12000, 12007)  # 1024 weeks; one
    (7168, 0)
    """
    if log_day is None:
        return 0
    late = log_day - int(first_t_s // DAY_S)
    return late if late > 0 and late % ROLLOVER_DAYS == 0 else 0


def rollover_warning(first_t_s, now_t_s, name):
    """A warning when the log's date would also make sense one GPS rollover later, else ''."""
    later = first_t_s + ROLLOVER_DAYS * DAY_S
    if later > now_t_s:
        return ""
    return Message("{name} is dated {day}. If that is 1024 weeks too early, as in receivers whose GPS week counter has "
                   "started again, give {log_date} as {later}: the dates are then moved to it.", name=name,
                   day=iso_time(first_t_s)[:10], later=iso_time(later)[:10])
