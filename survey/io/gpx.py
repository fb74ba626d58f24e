"""A GPX file, 1.0 or 1.1 -> fixes of its tracks and its waypoints.

Source: the GPX 1.1 schema of topografix.com. Every segment of a track stands alone: a new one begins after a loss of
reception or power and is never bridged. ``ele`` is elevation, not depth; depth and water temperature come in extensions
of many makes and are known by their local names, at any depth of nesting.
"""
from __future__ import annotations

import math
import re
from xml.etree import ElementTree  # nosec B405: document types, and with them entities, are refused below

import numpy as np

from ..model.errors import InputError
from ..model.times import parse_times
from .limits import UNREAD, leave_out_impossible
from .logfile import LogFile, fix_columns, waypoint_columns

__all__ = ["read_gpx"]

_CHUNK = 1 << 20
_DEPTH_NAMES = ("depth", "waterdepth", "depthm")
_TEMPERATURE_NAMES = ("watertemp", "wtemp", "watertemperature", "temp", "temperature")  # the surer ones first
_FIX_QUALITY = {"none": 0, "2d": 1, "3d": 1, "dgps": 2, "pps": 3}
"""``fix`` of GPX as the quality of NMEA 0183's GGA."""

_NUMBERS = {"hdop": "hdop", "sat": "satellites", "speed": "speed_mps", "course": "course_deg"}
"""Elements of a point and the columns they fill; speed (m/s) and course are GPX 1.0, or a track point extension."""


def read_gpx(data, name, time_offset=0.0, step=None):
    """Read tracks and waypoints.

    Points without a time are kept in their order with ``t_s`` NaN. Points without a usable latitude and longitude, or
    marked as having no fix, are refused. A step back in time begins a new segment. GPX does not say what its depths are
    measured from: ``depth_kind`` stays ''.

    Parameters
    ----------
    data : bytes
        The file as it is; its encoding is XML's own matter.
    name : str
        Name of the file, for ``log_file`` and for messages.
    time_offset : float
        Hours added to times without a zone to give UTC.
    step : callable, optional
        Called with the fraction done.

    Returns
    -------
    LogFile
        ``log_line`` is the number of the track point, or waypoint, in the file, from 1.

    Raises
    ------
    InputError
        If the XML is cut short or carries a document type, is not GPX, or holds routes only, or nothing at all.

    Examples
    --------
    >>> from athwart.io.gpx import read_gpx
    >>> text = b'<gpx version="1.1"><wpt lat="44.6" lon="-70"><name>TANK P52</name></wpt></gpx>'
    >>> read_gpx(text, "marks.gpx").waypoints["name"].tolist()
    ['TANK P52']
    """
    root = _parse(data, name, step)
    if _local(root.tag) != "gpx":
        raise InputError(f"{name} is XML but not GPX (its outermost element is '{_local(root.tag)}'). "
                         "Export the track as GPX and read that file.")
    log = LogFile(name, " ".join(["GPX", root.get("version", "")]).strip(), {}, {})
    points, segments = _track_points(root)
    table = _Points(points, log, "points", time_offset)
    log.fixes = _fixes(table, np.array(segments, int)[table.kept], log)
    waypoints = [element for element in root if _local(element.tag) == "wpt"]
    log.waypoints = _waypoints(_Points(waypoints, log, "waypoints", time_offset), log)
    routes = sum(_local(element.tag) == "rte" for element in root)
    if not (len(log.fixes["t_s"]) or len(log.waypoints["t_s"])):
        raise InputError(_nothing(log, routes))
    if routes:
        log.warnings.append(f"{name}: its {routes} route(s) were left out; a route is a plan and not a track.")
    return log


class _Refusing(ElementTree.TreeBuilder):
    """Builds the tree of a document without a type: entity definitions could blow it up or read other files."""

    def doctype(self, name, pubid, system):
        raise InputError("document type")


def _parse(data, name, step):
    text = data.lstrip(b" \t\r\n")  # some writers begin with blank lines, which XML forbids before its declaration
    skipped = data[:len(data) - len(text)].count(b"\n")
    parser = ElementTree.XMLParser(target=_Refusing())  # nosec B314
    try:
        for start in range(0, len(text), _CHUNK):
            parser.feed(text[start:start + _CHUNK])
            if step is not None:
                step(start / len(text))
        return parser.close()
    except InputError:
        raise InputError(f"{name} carries a document type (DOCTYPE), which GPX never does and which can hide "
                         "harmful content. Export the track again as plain GPX.") from None
    except ElementTree.ParseError as error:
        raise InputError(f"{name}, line {error.position[0] + skipped}: the XML breaks off or is damaged here "
                         f"({str(error).split(':')[0]}). Copy or export the file again; if it is the only copy, repair "
                         "it in a text editor from that line on.") from None
    except (ValueError, LookupError) as error:
        raise InputError(f"{name}: its text encoding cannot be read ({error}). Save it again as UTF-8.") from None


def _local(tag):
    return tag.rpartition("}")[2].lower()


def _track_points(root):
    """Elements of all track points, and for each the number of its segment."""
    points, segments, number = [], [], 0
    for track in root:
        if _local(track.tag) != "trk":
            continue
        for segment in track:
            own = [element for element in segment if _local(element.tag) == "trkpt"]
            points += own
            segments += [number] * len(own)
            number += 1
    return points, segments


class _Points:
    """Track points or waypoints as columns; ``kept`` are the indices of those that can be used."""

    def __init__(self, elements, log, what, time_offset):
        self.name = log.name
        rows = [_point(element) for element in elements]
        place = np.array([(row["lon"], row["lat"]) for row in rows], float).reshape(-1, 2)
        off_earth = ~((np.abs(place[:, 0]) <= 180) & (np.abs(place[:, 1]) <= 90))
        no_fix = np.array([row.get("fix_quality", math.nan) == 0 for row in rows], bool)
        log.tally.add(f"{what} without a usable latitude and longitude", log.name, np.flatnonzero(off_earth) + 1)
        log.tally.add(f"{what} marked as having no fix", log.name, np.flatnonzero(no_fix & ~off_earth) + 1)
        self.kept = np.flatnonzero(~off_earth & ~no_fix)
        self.rows = [rows[index] for index in self.kept.tolist()]
        self.number = self.kept + 1
        self.lon, self.lat = place[self.kept].T
        texts = [row.get("time", "") for row in self.rows]
        self.t_s = parse_times(texts, time_offset, strict=False)
        unread = np.flatnonzero(np.isnan(self.t_s) & np.array([bool(text) for text in texts], bool))
        log.tally.add(f"times of {what} that cannot be read; kept without a time", log.name, self.number[unread])
        self.measured = {key: self.numbers(key) for key in (*_NUMBERS.values(), "depth_m", "water_temp_c")}
        leave_out_impossible(self.measured, self.number, log.name, log.tally, f" of {what}")
        self.depth_m = self.measured["depth_m"]

    def __len__(self):
        return len(self.rows)

    def numbers(self, key):
        return np.array([row.get(key, math.nan) for row in self.rows], float)

    def texts(self, key):
        texts = np.empty(len(self.rows), object)
        texts[:] = [row.get(key, "") for row in self.rows]
        return texts


def _point(element):
    """What one track point or waypoint says, as a dict of floats and texts; what it does not say is not in it."""
    row = {"lon": _number(element.get("lon", "")), "lat": _number(element.get("lat", ""))}
    temperatures = {}
    for child in element:
        key = _local(child.tag)
        text = (child.text or "").strip()
        if key in _NUMBERS:
            row[_NUMBERS[key]] = _number(text)
        elif key == "fix":
            row["fix_quality"] = _FIX_QUALITY.get(text.lower(), math.nan)
        elif key in ("time", "name", "cmt", "desc", "sym"):
            row[key] = text
        else:
            _read_extension(child, row, temperatures)
    for key in _TEMPERATURE_NAMES:
        if key in temperatures:
            row["water_temp_c"] = temperatures[key]
            break
    return row


def _read_extension(element, row, temperatures):
    """Depth, temperature, speed and course from an extension, however deep they lie in it."""
    for inner in element.iter():
        text = (inner.text or "").strip()
        key = re.sub(r"[^a-z]", "", _local(inner.tag))
        if not text:
            continue
        if key in _DEPTH_NAMES:
            row.setdefault("depth_m", _number(text))
        elif key in _TEMPERATURE_NAMES:
            temperatures.setdefault(key, _number(text))
        elif key in ("speed", "course") and "trackpointextension" in inner.tag.lower():
            row.setdefault(_NUMBERS[key], _number(text))


def _number(text):
    """A number with a decimal point or comma; NaN where it is blank, ``UNREAD`` where it is none."""
    if not text.strip():
        return math.nan
    try:
        number = float(text.strip().replace(",", "."))
    except ValueError:
        return UNREAD
    return number if math.isfinite(number) else UNREAD


def _fixes(table, segments, log):
    timeless = np.count_nonzero(np.isnan(table.t_s))
    if timeless:
        log.notes.append(f"{log.name}: {timeless} of {len(table)} points carry no time; they are kept in their order.")
    log.depth_count = int(np.count_nonzero(np.isfinite(table.depth_m)))
    return fix_columns(
        len(table), log.name, lon=table.lon, lat=table.lat, t_s=table.t_s, log_line=table.number,
        segment=_segments(segments, table.t_s), depth_m=table.depth_m,
        fix_quality=table.numbers("fix_quality"),
        **{key: table.measured[key] for key in (*_NUMBERS.values(), "water_temp_c")})


def _segments(own, t_s):
    """Segments as the file has them, and a new one where time steps back; timeless points between do not hide it."""
    if not len(own):
        return own
    new = np.diff(own, prepend=own[0]) != 0
    known = np.flatnonzero(np.isfinite(t_s))
    new[known[1:][np.diff(t_s[known]) < 0]] = True
    return np.cumsum(new)


def _waypoints(table, log):
    return waypoint_columns(
        len(table), log.name, lon=table.lon, lat=table.lat, t_s=table.t_s, log_line=table.number,
        name=table.texts("name"), comment=table.texts("cmt"), description=table.texts("desc"),
        symbol=table.texts("sym"), depth_m=table.depth_m, water_temp_c=table.measured["water_temp_c"])


def _nothing(log, routes):
    if routes:
        return (f"{log.name} holds only routes. A route is a plan and not a track: it says where the boat was meant to "
                "go, not where it went. Export the track that was recorded on the water.")
    refused = "; ".join(log.tally.lines())
    return (f"{log.name} is GPX but holds no usable track point or waypoint{': ' + refused if refused else ''}. "
            "Export the recorded track from the device again.")
