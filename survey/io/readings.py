"""One NMEA 0183 sentence -> what it says, in metres, m/s and degrees.

Field orders are pynmea2's; meanings follow "NMEA Revealed" (gpsd): times are UTC; a variation or deviation to the east
is positive and turns magnetic into true by addition; the offset of DPT is positive from the transducer to the waterline
and negative to the keel.
"""
from __future__ import annotations

import math
import re
from datetime import date, time
from typing import NamedTuple

import numpy as np

from ..ext import pynmea2
from ..model.times import day_number
from ..model.units import LENGTHS, SPEEDS
from .limits import UNREAD, leave_out_impossible

__all__ = [
    "DEPTH_KINDS", "DEPTH_TYPES", "HEADING_TYPES", "TYPES", "UNSTATED", "VALID", "VOID", "Readings", "read_sentences",
]

POSITION_TYPES = ("RMC", "GGA", "GLL", "GNS")
DEPTH_TYPES = ("DPT", "DBT", "DBS", "DBK")
DEPTH_KINDS = {"DPT": "transducer", "DBT": "transducer", "DBS": "surface", "DBK": "keel"}
HEADING_TYPES = ("HDT", "HDG", "HDM")
TYPES = (*POSITION_TYPES, *DEPTH_TYPES, *HEADING_TYPES, "VTG", "MTW", "ZDA")

VALID, VOID, UNSTATED = 1, 0, -1
"""What a sentence says of its own position: good, not a fix, or nothing (an empty status or quality)."""

_TWO_DIGIT_PIVOT = 80  # two-digit years from 80 on are of the last century: GPS time begins in 1980

_DEGREES_MINUTES = re.compile(r"(\d{1,3})(\d\d(?:\.\d*)?)")
_GNSS = {"GP", "GN", "GL", "GA", "GB", "GI", "GQ", "BD", "QZ"}

POSITION = ("order", "line", "talker", "source", "clock", "lat", "lon", "state", "day", "speed_mps", "course_deg",
            "variation_deg", "hdop", "fix_quality", "satellites")
DATES = ("order", "line", "clock", "day")
DEPTH = ("order", "line", "type", "depth_m", "depth_offset_m")
HEADING = ("order", "line", "type", "heading_deg", "variation_deg")
MOTION = ("order", "line", "speed_mps", "course_deg")
TEMPERATURE = ("order", "line", "water_temp_c")


_LARGEST_DEVIATION = 180.0

_SUBJECTS = {"date", "depth", "heading", "latitude", "longitude", "temperature", "time"}

class DBK(pynmea2.TalkerSentence):
    """Depth below keel: laid out as DBT. Defining it makes it known to pynmea2, which lacks it."""

    fields = pynmea2.DBT.fields


class Readings(NamedTuple):
    """What a log says, one dict of (n,) float arrays for each subject, NaN where a field was empty.

    ``order`` is the place of the sentence among those read, ``line`` its line in the file. ``clock`` is seconds of the
    day, ``day`` days since 1970, ``talker`` an index into ``talkers`` (receivers of satellites all count as ``GN``),
    ``source`` one into ``sources``, talker and type as logged (GPRMC), ``type`` an index into ``DEPTH_TYPES`` or
    ``HEADING_TYPES``. A heading of HDG has its deviation taken
    out; its ``variation_deg`` is still to be added, and is 0 for HDT.
    """

    position: dict
    dates: dict
    depth: dict
    heading: dict
    motion: dict
    temperature: dict
    talkers: list
    sources: list


def read_sentences(framed, name, tally, step=None):
    """Read framed sentences of ``TYPES``.

    Parameters
    ----------
    framed : sentences.Framed
    name : str
        Of the file, for ``tally``.
    tally : Rejections
        Takes the sentences whose values cannot be read.
    step : callable, optional
        Called with the fraction done, about a hundred times.

    Returns
    -------
    Readings
    """
    rows = {kind: [] for kind in _READERS}
    talkers, sources, unreadable = {}, {}, {}
    size = len(framed.lines)
    for order, (text, line) in enumerate(zip(framed.texts, framed.lines.tolist())):
        if step is not None and order % (size // 100 + 1) == 0:
            step(order / size)
        try:
            message = pynmea2.parse(text)
            values = _READERS[message.sentence_type](message)
        except (ValueError, TypeError, AttributeError, LookupError, ArithmeticError) as error:
            # what a parser may do with junk: one bad sentence never costs the file
            what = str(error) if type(error) is ValueError and str(error) in _SUBJECTS else "text"
            unreadable.setdefault(f"{text[2:5]} sentences whose {what} cannot be read", []).append(line)
            continue
        if values is None:
            continue
        if message.sentence_type in POSITION_TYPES:
            family = "GN" if message.talker in _GNSS else message.talker
            source = message.talker + message.sentence_type
            values = (talkers.setdefault(family, len(talkers)), sources.setdefault(source, len(sources)), *values)
        rows[message.sentence_type].append((order, line, *values))
    for reason, lines in unreadable.items():
        tally.add(reason, name, lines)
    tables = [_table(POSITION, rows, POSITION_TYPES), _table(DATES, rows, ("ZDA",)), _table(DEPTH, rows, DEPTH_TYPES),
              _table(HEADING, rows, HEADING_TYPES), _table(MOTION, rows, ("VTG",)),
              _table(TEMPERATURE, rows, ("MTW",))]
    for table in tables:
        leave_out_impossible(table, table["line"], name, tally)
    tables[2], tables[5] = _known(tables[2], "depth_m"), _known(tables[5], "water_temp_c")
    return Readings(*tables, list(talkers), list(sources))


def _known(table, subject):
    """Without the rows that have nothing left to say."""
    known = np.isfinite(table[subject])
    return {column: values[known] for column, values in table.items()}


def _table(names, rows, kinds):
    """Columns by name of the rows of some sentence types, in the order of the log."""
    table = np.array([row for kind in kinds for row in rows[kind]], float).reshape(-1, len(names))
    table = table[np.argsort(table[:, 0], kind="stable")]
    return dict(zip(names, table.T))


def _rmc(message):
    state = {"A": VALID, "V": VOID}.get(message.status, UNSTATED)
    if message.mode_indicator == "N":
        state = VOID
    speed = _spare(message.spd_over_grnd) * SPEEDS["kn"]
    variation = _signed(message.mag_variation, message.mag_var_dir, "E", "W")
    return (*_place(message, state), _day_of(message.datestamp), speed, _spare(message.true_course), variation,
            math.nan, math.nan, math.nan)


def _gga(message):
    quality = _spare(message.gps_qual)
    state = UNSTATED if not math.isfinite(quality) else VOID if quality == 0 else VALID
    return (*_place(message, state), *_NO_MOTION, _spare(message.horizontal_dil), quality, _spare(message.num_sats))


def _gll(message):
    # sentences of the first versions end before the status, or even before the time
    status = message.status if len(message.data) > type(message).name_to_idx["status"] else "A"
    state = {"A": VALID, "V": VOID}.get(status, UNSTATED)
    if message.faa_mode == "N":
        state = VOID
    return (*_place(message, state), *_NO_MOTION, math.nan, math.nan, math.nan)


def _gns(message):
    modes = set(message.mode_indicator)
    state = UNSTATED if not modes else VOID if modes == {"N"} else VALID
    return (*_place(message, state), *_NO_MOTION, _spare(message.hdop), math.nan, _spare(message.num_sats))


_NO_MOTION = (math.nan,) * 4  # day, speed, course, variation


def _zda(message):
    if not (message.day and message.month and message.year) or message.timestamp is None:
        return None
    year = _number(message.year, "date")
    if not 0 <= year <= 9999:
        raise ValueError("date")
    if year < 100:
        year += 1900 if year >= _TWO_DIGIT_PIVOT else 2000
    try:
        day = day_number(int(year), int(message.month), int(message.day))
    except (ValueError, OverflowError):
        raise ValueError("date") from None
    return _clock(message.timestamp), day


def _dpt(message):
    return _depth("DPT", _number(message.depth, "depth"), _spare(message.offset))


def _depth_in_units(message):
    """DBT, DBS and DBK say one depth in feet, metres and fathoms; any of the three may be empty."""
    feet, metres, fathoms = ([*message.data, "", "", "", "", ""][place] for place in (0, 2, 4))
    for text, unit in ((metres, LENGTHS["m"]), (feet, LENGTHS["ft"]), (fathoms, LENGTHS["fathom"])):
        if text.strip():
            return _depth(message.sentence_type, _number(text, "depth") * unit, math.nan)
    return None


def _depth(kind, metres, offset):
    if math.isnan(metres):
        return None
    if metres < 0:
        raise ValueError("depth")
    return DEPTH_TYPES.index(kind), metres, offset


def _hdt(message):
    return _heading("HDT", message, 0.0)


def _hdg(message):
    variation = _signed(message.variation, message.var_dir, "E", "W")
    deviation = _signed(message.deviation, message.dev_dir, "E", "W")
    deviation = 0.0 if math.isnan(deviation) else deviation
    if abs(deviation) > _LARGEST_DEVIATION:
        raise ValueError("heading")
    return _heading("HDG", message, variation, deviation)


def _hdm(message):
    return _heading("HDM", message, math.nan)


def _heading(kind, message, variation, deviation=0.0):
    heading = _number(message.heading, "heading")
    if math.isnan(heading):
        return None
    if not 0 <= heading <= 360:
        raise ValueError("heading")
    return HEADING_TYPES.index(kind), heading + deviation, variation


def _vtg(message):
    data = [*message.data, "", "", "", "", "", "", ""]
    # the old form has four bare numbers, the new one a letter after each
    old = data[1] != "T" and len(message.data) <= 4
    course, knots, kmh = (data[0], data[2], data[3]) if old else (data[0], data[4], data[6])
    speed = _spare(knots) * SPEEDS["kn"]
    if not math.isfinite(speed) and kmh.strip():
        speed = _spare(kmh) * SPEEDS["km/h"]
    course = _spare(course)
    return None if math.isnan(speed) and math.isnan(course) else (speed, course)


def _mtw(message):
    celsius = _number(message.temperature, "temperature")
    return None if math.isnan(celsius) else (celsius,)


_READERS = {"RMC": _rmc, "GGA": _gga, "GLL": _gll, "GNS": _gns, "ZDA": _zda, "DPT": _dpt, "DBT": _depth_in_units,
            "DBS": _depth_in_units, "DBK": _depth_in_units, "HDT": _hdt, "HDG": _hdg, "HDM": _hdm, "VTG": _vtg,
            "MTW": _mtw}


def _place(message, state):
    """Clock, latitude, longitude and state of a position sentence; a void one may hold anything."""
    clock = math.nan if message.timestamp is None else _clock(message.timestamp, state)
    if state != VALID:
        return clock, math.nan, math.nan, state
    lat = _degrees(message.lat, message.lat_dir, "N", "S", 90, "latitude")
    lon = _degrees(message.lon, message.lon_dir, "E", "W", 180, "longitude")
    if math.isnan(clock):
        raise ValueError("time")
    # instruments without a fix also send zeros for "nothing"
    return clock, lat, lon, VOID if lat == 0 and lon == 0 else state


def _clock(stamp, state=VALID):
    if isinstance(stamp, time):
        return stamp.hour * 3600 + stamp.minute * 60 + stamp.second + stamp.microsecond * 1e-6
    if state == VALID:
        raise ValueError("time")
    return math.nan


def _degrees(text, letter, positive, negative, limit, what):
    """Degrees of (d)ddmm.mmm and its hemisphere: the two digits left of the point are minutes."""
    parts = _DEGREES_MINUTES.fullmatch(text)
    if parts is None or letter not in (positive, negative) or float(parts[2]) >= 60:
        raise ValueError(what)
    degrees = int(parts[1]) + float(parts[2]) / 60
    if degrees > limit:
        raise ValueError(what)
    return degrees if letter == positive else -degrees


def _day_of(stamp):
    """Days since 1970 of RMC's date, NaN where it is empty or zero."""
    if not isinstance(stamp, date):
        if stamp is None or not stamp.strip("0"):
            return math.nan
        raise ValueError("date")
    century = stamp.year % 100
    return day_number(century + (1900 if century >= _TWO_DIGIT_PIVOT else 2000), stamp.month, stamp.day)


def _signed(value, letter, positive, negative):
    """A number with its direction letter; NaN where either is empty or not readable."""
    sign = {positive: 1, negative: -1}.get(letter, math.nan)
    return _spare(value) * sign


def _number(value, what):
    """A number that the sentence exists for: NaN when empty, ValueError when not readable."""
    if value is None or (isinstance(value, str) and not value.strip()):
        return math.nan
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError):
        raise ValueError(what) from None
    if not math.isfinite(number):
        raise ValueError(what)
    return number


def _spare(value):
    """A number beside what matters: NaN when empty, ``UNREAD`` when not readable."""
    try:
        return _number(value, "")
    except ValueError:
        return UNREAD
