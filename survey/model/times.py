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
from collections.abc import Iterable
from typing import Any

import numpy as np

from .errors import InputError
from .messages import Message
from .table import Floats, Texts

__all__ = ["DATE_ORDERS", "DAY_S", "day_number", "iso_time", "iso_times", "parse_date", "parse_times", "read_times",
           "times_of_day"]

DAY_S = 86400.0

_EPOCH_DAY = datetime.date(1970, 1, 1).toordinal()
_EPOCH = datetime.datetime(1970, 1, 1)
_LARGEST_SECONDS = 1e11
"""Larger numbers are milliseconds: as seconds this is the year 5138, as milliseconds it is 1973."""

_ZONE = r"(?P<zone>(?:Z|UTC|GMT)?[+-]\d\d?(?::?\d\d)?|Z|UTC|GMT)?"
_DAYTIME = r"(?P<hour>\d\d?):(?P<minute>\d\d)(?::(?P<second>\d\d(?:[.,]\d*)?))?(?:\s*(?P<half>[ap])\.?m\.?)?"
_CLOCK = re.compile(
    r"(?P<year>\d{4})(?P<gap>[-/.]?)(?P<month>\d\d)(?P=gap)(?P<day>\d\d)"
    r"(?:[T ]\s*|(?<=\d{8})(?=\d{6}$))"
    r"(?P<hour>\d\d):?(?P<minute>\d\d)(?::?(?P<second>\d\d(?:[.,]\d*)?))?"
    rf"\s*{_ZONE}", re.IGNORECASE)
_ORDERED = re.compile(r"(?P<one>\d\d?)(?P<gap>[-/.])(?P<two>\d\d?)(?P=gap)(?P<year>\d{4}),?[T ]\s*"
                      rf"{_DAYTIME}\s*{_ZONE}", re.IGNORECASE)
_TIME_OF_DAY = re.compile(r"(\d?\d)([:.])(\d\d)(?::(\d\d(?:\.\d+)?))?(?:\s*([ap])\.?m\.?)?", re.IGNORECASE)
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d*)?(?:[eE][+-]?\d+)?")

_UNKNOWN = {"", "nan", "null", "none"}

DATE_ORDERS = ("day month year", "month day year")
"""How dates such as 03/04/2024 are meant; nothing tells but the person who wrote them."""

_EXAMPLE = "Write times like 2024-05-31T14:05:09.5Z, or as seconds since 1970."


def parse_times(values: Any, offset_hours: float = 0.0, what: str = "time", strict: bool = True) -> Floats:
    """Read times of any of the usual kinds; see ``read_times``.

    Parameters
    ----------
    values, offset_hours
        As in ``read_times``.
    what : str
        Whose times these are, for the message, such as "'log', field time".
    strict : bool
        True: a value that cannot be read raises; False: it becomes NaN.

    Returns
    -------
    (n,) float array
        Seconds since 1970-01-01 UTC, NaN where unknown.

    Raises
    ------
    InputError
        Naming the row (from 1) and the value.

    Examples
    --------
    >>> import athwart
    >>> athwart.parse_times(["1970-01-02 00:00:01", "1970-01-01T19:00:00-05:00", None]).tolist()
    [86401.0, 86400.0, nan]
    """
    found, reason = read_times(values, offset_hours)
    wrong = np.flatnonzero(reason != "")
    if strict and len(wrong):
        raise InputError(f"{what}, row {wrong[0] + 1}: " + reason[wrong[0]])
    return found


def read_times(values: Any, offset_hours: float = 0.0, date_order: str | None = None, first_s: float | None = None,
               field: str = "time") -> tuple[Floats, Texts]:
    """Read times of any of the usual kinds, and say of each that cannot be read why.

    Parameters
    ----------
    values : sequence or (n,) array
        ISO 8601 text, also with a space for the T, a comma for the decimal point, ``/`` in the date, no separators, no
        seconds, and any of the zones ``Z``, ``+00``, ``+0200``, ``+02:00``, ``UTC``, ``GMT+02:00``; dates such as
        31.05.2024 by ``date_order``; times of day by ``first_s``; numbers (or digits in text) as seconds since 1970
        UTC, as milliseconds from 1e11 on; ``datetime`` objects. None, NaN, blank text and the words nan, null, none
        are unknown.
    offset_hours : float
        Hours added to a clock that carries no zone to give UTC (a clock at UTC+2 needs -2).
    date_order : str, optional
        One of DATE_ORDERS; '' where none was chosen, None where none can be.
    first_s : float, optional
        Begin of the outing: a time of day is the first such that is not more than 12 hours before it.
    field : str
        Name of the field, for the expression that a message offers.

    Returns
    -------
    t_s : (n,) float array
        Seconds since 1970-01-01 UTC, NaN where unknown. Leap seconds are not counted, as in POSIX.
    reason : (n,) object array of str
        '' where a value was read or is unknown.

    Examples
    --------
    >>> from athwart.model.times import read_times
    >>> seconds, reasons = read_times(["1970-01-01 00:01", "soon", None])
    >>> seconds.tolist(), [bool(reason) for reason in reasons]
    ([60.0, nan, nan], [False, True, False])
    """
    if not math.isfinite(offset_hours):
        raise InputError(Message("{time_offset} is {given}; give the hours to add to the clock to get UTC.",
                                 given=offset_hours))
    shift = offset_hours * 3600.0
    found, reason = np.full(len(values), np.nan), np.full(len(values), "", object)
    for row, value in enumerate(values):
        try:
            found[row] = math.nan if value is None else _seconds(value, shift, date_order)
        except (ValueError, OverflowError):
            text = str(value).strip()
            if first_s is not None:
                found[row] = _at_time_of_day(text, first_s, offset_hours)
            if math.isnan(found[row]):
                reason[row] = _not_read(text, date_order, field)
    return found, reason


def _not_read(text: str, date_order: str | None, field: str) -> str:
    if _ORDERED.fullmatch(text) and not date_order:
        gap = text.replace(" ", "").lstrip("0123456789")[0]
        shape = f"dd{gap}MM{gap}yyyy HH:mm" + (":ss" if text.count(":") > 1 else "")
        return Message("'{text}' may have its day or its month first: {choose}write year-month-day, or make a field of "
                       "times in the field calculator: to_datetime(\"{field}\", '{shape}').", text=text, field=field,
                       shape=shape, choose="" if date_order is None else Message("give the order as {date_order}, "))
    if _TIME_OF_DAY.fullmatch(text) and ":" in text and ".m" not in text.lower():  # QGIS reads no 'p.m.'
        seconds = ":ss" if text.count(":") > 1 else ""
        space = " " if " " in text else ""
        shape = f"yyyy-MM-dd h:mm{seconds}{space}AP" if "m" in text.lower() else f"yyyy-MM-dd HH:mm{seconds}"
        return (f"'{text}' has no date. Make a field of times in the field calculator: "
                f"to_datetime('2024-05-31 ' || \"{field}\", '{shape}'), with the day of the outing.")
    return f"'{text}' is not a time. {_EXAMPLE}"


def times_of_day(texts: Iterable[str], first_s: float, time_offset: float = 0.0) -> Floats:
    """Notes that give no date, such as 14:05, 14.05, 14:05:30 or 2:05 PM, as moments of the outing.

    Parameters
    ----------
    texts : (k,) sequence of str
    first_s : float
        First time of the track, seconds since 1970 UTC.
    time_offset : float
        Hours to add to that clock to get UTC.

    Returns
    -------
    (k,) array
        Seconds since 1970 UTC: the first such time of day that is not more than 12 hours before the track begins; NaN
        where the text is none.

    Examples
    --------
    >>> from athwart.model.times import times_of_day
    >>> times_of_day(["14:05", "2.30", "2:30 PM", "noon"], first_s=13 * 3600.0).tolist()
    [50700.0, 9000.0, 52200.0, nan]
    """
    return np.array([_at_time_of_day(words.strip(), first_s, time_offset) for words in texts], np.float64).reshape(-1)


def _at_time_of_day(text: str, first_s: float, time_offset: float) -> float:
    clock = _TIME_OF_DAY.fullmatch(text)
    if not clock or int(clock[1]) > 23 or int(clock[3]) > 59 or (clock[5] and not 1 <= int(clock[1]) <= 12):
        return math.nan
    hour = int(clock[1]) if not clock[5] else int(clock[1]) % 12 + (12 if clock[5] in "pP" else 0)
    shift = 3600 * time_offset
    midnight = math.floor((first_s - shift) / DAY_S) * DAY_S
    moment = midnight + hour * 3600 + int(clock[3]) * 60 + float(clock[4] or 0) + shift
    return moment + DAY_S * math.ceil((first_s - moment) / DAY_S - 0.5)


def _seconds(value: Any, shift: float, date_order: str | None) -> float:
    """Seconds since 1970 UTC of one value; NaN for blank text; ValueError if it is no time."""
    if isinstance(value, str):
        return _seconds_of_text(value.strip(), shift, date_order)
    if isinstance(value, datetime.datetime):
        if value.tzinfo is None:
            return (value - _EPOCH).total_seconds() + shift
        return value.timestamp()
    if isinstance(value, np.datetime64):
        return float((value - np.datetime64(0, "s")) / np.timedelta64(1, "us")) * 1e-6 + shift
    if isinstance(value, numbers.Real) and not isinstance(value, (bool, np.bool_)):
        return _seconds_of_number(float(value))
    raise ValueError(value)


def _seconds_of_number(number: float) -> float:
    if abs(number) >= 1000 * _LARGEST_SECONDS:
        raise ValueError(number)
    return number / 1000 if abs(number) >= _LARGEST_SECONDS else number


def _seconds_of_text(text: str, shift: float, date_order: str | None) -> float:
    if text.lower() in _UNKNOWN:
        return math.nan
    clock = _CLOCK.fullmatch(text)
    if clock is not None:
        day = day_number(int(clock["year"]), int(clock["month"]), int(clock["day"]))
        return _on_day(day, clock, "", shift)
    clock = _ORDERED.fullmatch(text) if date_order else None
    if clock is not None:
        first, second = int(clock["one"]), int(clock["two"])
        day, month = (first, second) if date_order == DATE_ORDERS[0] else (second, first)
        return _on_day(day_number(int(clock["year"]), month, day), clock, (clock["half"] or "").lower(), shift)
    if _NUMBER.fullmatch(text):
        return _seconds_of_number(float(text.replace(",", ".")))
    raise ValueError(text)


def _on_day(day: int, clock: re.Match[str], half: str, shift: float) -> float:
    """Seconds since 1970 UTC of a clock's groups on a day; ``half`` is 'a' or 'p' where it counts 12 hours."""
    hour, minute, second = int(clock["hour"]), int(clock["minute"]), float((clock["second"] or "0").replace(",", "."))
    if half:
        if not 1 <= hour <= 12:
            raise ValueError(clock[0])
        hour = hour % 12 + (12 if half == "p" else 0)
    if hour > 24 or minute > 59 or second >= 61 or (hour == 24 and (minute or second)):
        raise ValueError(clock[0])
    wall = day * DAY_S + hour * 3600 + minute * 60 + second
    return wall + (shift if clock["zone"] is None else -_zone_seconds(clock["zone"]))


def _zone_seconds(zone: str) -> float:
    """Seconds that a zone's clock is ahead of UTC."""
    offset = zone.upper().lstrip("UTCGMZ")
    if not offset:
        return 0.0
    digits = offset[1:].replace(":", "")
    digits = digits.zfill(2) if len(digits) < 3 else digits.zfill(4)
    hours, minutes = int(digits[:2]), int(digits[2:] or 0)
    if hours > 14 or minutes > 59:
        raise ValueError(zone)
    return math.copysign(hours * 3600 + minutes * 60, -1 if offset[0] == "-" else 1)


def day_number(year: int, month: int, day: int) -> int:
    """Days from 1970-01-01 to a date of the Gregorian calendar; ValueError if there is no such date.

    Examples
    --------
    >>> from athwart.model.times import day_number
    >>> day_number(1970, 1, 2), day_number(2000, 1, 1)
    (1, 10957)
    """
    return datetime.date(year, month, day).toordinal() - _EPOCH_DAY


def parse_date(value: datetime.date | str | None) -> int | None:
    """A calendar date, given as ``datetime.date`` or text year-month-day, as days since 1970-01-01; None if blank.

    Raises
    ------
    InputError
        If it is no date.

    Examples
    --------
    >>> from athwart.model.times import parse_date
    >>> parse_date("1970-01-11"), parse_date("")
    (10, None)
    """
    if isinstance(value, datetime.date):
        return value.toordinal() - _EPOCH_DAY
    text = str(value or "").strip()
    if not text:
        return None
    parts: Any = re.fullmatch(r"(\d{4})(?:([-/.])(\d\d?)\2(\d\d?)|(\d\d)(\d\d))", text)
    try:
        return day_number(int(parts[1]), int(parts[3] or parts[5]), int(parts[4] or parts[6]))
    except (TypeError, ValueError):
        raise InputError(Message("{log_date} '{given}' is not a date. Write year-month-day, such as 2024-05-31.",
                                 given=text)) from None


def iso_time(t_s: float) -> str:
    """Seconds since 1970 UTC -> ISO 8601 text in UTC, to the millisecond where there are decimals; '' for NaN.

    Examples
    --------
    >>> from athwart.model.times import iso_time
    >>> iso_time(86400.5), iso_time(float("nan"))
    ('1970-01-02T00:00:00.500Z', '')
    """
    if not math.isfinite(t_s):
        return ""
    moment = _EPOCH + datetime.timedelta(milliseconds=round(t_s * 1000))
    return moment.isoformat(timespec="milliseconds" if moment.microsecond else "seconds") + "Z"


def iso_times(t_s: Any) -> Texts:
    """``iso_time`` of each of (n,) seconds, as an object array of str.

    Examples
    --------
    >>> from athwart.model.times import iso_times
    >>> iso_times([0.0, 1e9]).tolist()
    ['1970-01-01T00:00:00Z', '2001-09-09T01:46:40Z']
    """
    out = np.empty(len(t_s), object)
    out[:] = [iso_time(value) for value in np.asarray(t_s, float).tolist()]
    return out
