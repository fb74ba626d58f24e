"""Times as people and instruments write them <-> seconds since 1970 UTC.

A clock without a zone is read as it stands and ``offset_hours`` is added to it: the offset is what must be *added to
that clock to give UTC*. A clock on Central European Summer Time (UTC+2) needs -2, one on Eastern Standard Time (UTC-5)
needs +5. Times that carry a zone, and numbers, which count from 1970 UTC, take no offset.
"""
from __future__ import annotations

import datetime
import math
import numbers
import re

import numpy as np

from .errors import InputError

__all__ = ["DAY_S", "day_number", "iso_time", "iso_times", "parse_date", "parse_times"]

DAY_S = 86400.0

_EPOCH_DAY = datetime.date(1970, 1, 1).toordinal()
_EPOCH = datetime.datetime(1970, 1, 1)
_LARGEST_SECONDS = 1e11
"""Larger numbers are milliseconds: as seconds this is the year 5138, as milliseconds it is 1973."""

_CLOCK = re.compile(
    r"(?P<year>\d{4})(?P<gap>[-/.]?)(?P<month>\d\d)(?P=gap)(?P<day>\d\d)"
    r"(?:[T ]\s*|(?<=\d{8})(?=\d{6}$))"
    r"(?P<hour>\d\d):?(?P<minute>\d\d)(?::?(?P<second>\d\d(?:[.,]\d*)?))?"
    r"\s*(?P<zone>Z|UTC|GMT|[+-]\d\d(?::?\d\d)?)?", re.IGNORECASE)
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d*)?(?:[eE][+-]?\d+)?")

_UNKNOWN = {"", "nan", "null", "none"}

_EXAMPLE = "Write times like 2024-05-31T14:05:09.5Z, or as seconds since 1970."


def parse_times(values, offset_hours=0.0, what="time", strict=True):
    """Read times of any of the usual kinds.

    Parameters
    ----------
    values : sequence or (n,) array
        ISO 8601 text, also with a space for the T, a comma for the decimal point, ``/`` in the date, no separators, no
        seconds, and any of the zones ``Z``, ``+00``, ``+0200``, ``+02:00``, ``UTC``; numbers (or digits in text) as
        seconds since 1970 UTC, as milliseconds from 1e11 on; ``datetime`` objects. None, NaN, blank text
        and the words nan, null, none are unknown.
    offset_hours : float
        Hours added to a clock that carries no zone to give UTC (a clock at UTC+2 needs -2).
    what : str
        Whose times these are, for the message, such as "'log', field time".
    strict : bool
        True: a value that cannot be read raises; False: it becomes NaN.

    Returns
    -------
    (n,) float array
        Seconds since 1970-01-01 UTC, NaN where unknown. Leap seconds are not counted, as in POSIX.

    Raises
    ------
    InputError
        Naming the row (from 1) and the value.
    """
    if not math.isfinite(offset_hours):
        raise InputError(f"The time offset is {offset_hours}; give the hours to add to the clock to get UTC.")
    shift = offset_hours * 3600.0
    found = np.full(len(values), np.nan)
    for row, value in enumerate(values):
        try:
            found[row] = math.nan if value is None else _seconds(value, shift)
        except (ValueError, OverflowError):
            if strict:
                raise InputError(f"{what}, row {row + 1}: '{value}' is not a time. {_EXAMPLE}") from None
    return found


def _seconds(value, shift):
    """Seconds since 1970 UTC of one value; NaN for blank text; ValueError if it is no time."""
    if isinstance(value, str):
        return _seconds_of_text(value.strip(), shift)
    if isinstance(value, datetime.datetime):
        if value.tzinfo is None:
            return (value - _EPOCH).total_seconds() + shift
        return value.timestamp()
    if isinstance(value, np.datetime64):
        return float((value - np.datetime64(0, "s")) / np.timedelta64(1, "us")) * 1e-6 + shift
    if isinstance(value, numbers.Real) and not isinstance(value, (bool, np.bool_)):
        return _seconds_of_number(float(value))
    raise ValueError(value)


def _seconds_of_number(number):
    if abs(number) >= 1000 * _LARGEST_SECONDS:
        raise ValueError(number)
    return number / 1000 if abs(number) >= _LARGEST_SECONDS else number


def _seconds_of_text(text, shift):
    if text.lower() in _UNKNOWN:
        return math.nan
    clock = _CLOCK.fullmatch(text)
    if clock is None:
        if _NUMBER.fullmatch(text):
            return _seconds_of_number(float(text.replace(",", ".")))
        raise ValueError(text)
    year, _, month, day, hour, minute, second, zone = clock.groups()
    hour, minute, second = int(hour), int(minute), float((second or "0").replace(",", "."))
    if hour > 24 or minute > 59 or second >= 61 or (hour == 24 and (minute or second)):
        raise ValueError(text)
    wall = day_number(int(year), int(month), int(day)) * DAY_S + hour * 3600 + minute * 60 + second
    return wall + (shift if zone is None else -_zone_seconds(zone))


def _zone_seconds(zone):
    """Seconds that a zone's clock is ahead of UTC."""
    if zone[0] not in "+-":
        return 0.0
    digits = zone[1:].replace(":", "").ljust(4, "0")
    hours, minutes = int(digits[:2]), int(digits[2:])
    if hours > 14 or minutes > 59:
        raise ValueError(zone)
    return math.copysign(hours * 3600 + minutes * 60, -1 if zone[0] == "-" else 1)


def day_number(year, month, day):
    """Days from 1970-01-01 to a date of the Gregorian calendar; ValueError if there is no such date."""
    return datetime.date(year, month, day).toordinal() - _EPOCH_DAY


def parse_date(value, what="LOG_DATE"):
    """A calendar date, given as ``datetime.date`` or text year-month-day, as days since 1970-01-01; None if blank.

    Raises
    ------
    InputError
        If it is no date.
    """
    if isinstance(value, datetime.date):
        return value.toordinal() - _EPOCH_DAY
    text = str(value or "").strip()
    if not text:
        return None
    parts = re.fullmatch(r"(\d{4})(?:([-/.])(\d\d?)\2(\d\d?)|(\d\d)(\d\d))", text)
    try:
        return day_number(int(parts[1]), int(parts[3] or parts[5]), int(parts[4] or parts[6]))
    except (TypeError, ValueError):
        raise InputError(f"{what}: '{text}' is not a date. Write year-month-day, such as 2024-05-31.") from None


def iso_time(t_s):
    """Seconds since 1970 UTC -> ISO 8601 text in UTC, to the millisecond where there are decimals; '' for NaN."""
    if not math.isfinite(t_s):
        return ""
    moment = _EPOCH + datetime.timedelta(milliseconds=round(t_s * 1000))
    return moment.isoformat(timespec="milliseconds" if moment.microsecond else "seconds") + "Z"


def iso_times(t_s):
    """``iso_time`` of each of (n,) seconds, as an object array of str."""
    out = np.empty(len(t_s), object)
    out[:] = [iso_time(value) for value in np.asarray(t_s, float).tolist()]
    return out
