"""Waypoints, routes and tracks -> a GPX 1.1 file for plotters and phones.

Source: the GPX 1.1 schema (namespace topografix.com/GPX/1/1): order of elements, WGS84 degrees, longitude from -180
inclusive to 180 exclusive, times in UTC.
"""
from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.etree import ElementTree  # nosec B405: only writes

from ..model import patience
from ..model.depthwords import depth_words
from ..model.errors import InputError
from ..model.messages import Message
from ..model.times import iso_time
from ..model.units import LENGTHS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from os import PathLike
    from typing import Any
    from xml.etree.ElementTree import Element

__all__ = ["LINES_AS", "GpxLine", "Waypoint", "describe", "gpx_text", "unique_names", "write_gpx"]

NAMESPACE = "http://www.topografix.com/GPX/1/1"
LINES_AS = ("route", "track")

_LOOK = 200
"""Points between two looks for a cancel."""

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass
class Waypoint:
    """``lon``, ``lat`` in WGS84 degrees; ``description`` and ``t_s`` (seconds since 1970 UTC) may be '' and NaN;
    ``symbol`` and ``kind`` are the schema's free texts ``sym`` and ``type``.

    Examples
    --------
    >>> import athwart
    >>> row = {"radius_m": 4.0, "confidence_pct": 95.0, "status": "near nadir"}
    >>> athwart.Waypoint.described(-70.0, 44.6, "log", row.get).description
    '95 % within 4.0 m; near nadir'
    """

    lon: float
    lat: float
    name: str
    description: str = ""
    t_s: float = math.nan
    symbol: str = ""
    kind: str = ""

    @classmethod
    def described(cls, lon: float, lat: float, name: str, row: Callable[[str], Any], t_s: float = math.nan,
                  unit: str = "m") -> Waypoint:
        """A waypoint that says what it is and how near its place is; ``row(field name)`` is the target's or station's
        value, None where unknown."""
        what = "target" if row("target_id") is not None else "station" if row("station_id") is not None else ""
        return cls(lon, lat, name, describe(row, unit), t_s, what, str(row("status") or what) if what else "")


@dataclass
class GpxLine:
    """``parts``: list of (k, 2) arrays of WGS84 longitudes and latitudes; parts are never joined.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> casts = athwart.GpxLine([np.array([[-70.0, 44.6], [-70.001, 44.6]])], "to the log")
    >>> athwart.gpx_text(lines=[casts]).count("<rtept")
    2
    """

    parts: list
    name: str
    description: str = ""


def unique_names(names: Iterable[str], longest: int, prefix: str) -> list[str]:
    """Names no longer than ``longest`` characters, no two alike, upper and lower case counting as one.

    Parameters
    ----------
    names : sequence of str
        '' gets ``prefix`` and its number.
    longest : int
        Characters that the plotter shows.
    prefix : str
        One or a few letters.

    Returns
    -------
    list of str
        Whoever fits uncut keeps the name; of those cut alike, or named alike, the later ones end in a number.

    Raises
    ------
    InputError
        If there are more names than so few characters can tell apart.

    Examples
    --------
    >>> from athwart.io.gpxwrite import unique_names
    >>> unique_names(["Tyre", "tyre", "", "A very long name of a log"], 8, "W")
    ['Tyre', 'tyre2', 'W3', 'A very l']
    """
    wanted = [" ".join(_NOT_XML.sub("", name).split()) or f"{prefix}{i}" for i, name in enumerate(names, 1)]
    taken, found = set(), [""] * len(wanted)
    uncut = [i for i, name in enumerate(wanted) if len(name) <= longest]
    for i in uncut:
        if wanted[i].lower() not in taken:
            found[i] = wanted[i]
            taken.add(found[i].lower())
    for i, name in enumerate(wanted):
        if not found[i]:
            found[i] = _free(name, longest, taken)
            taken.add(found[i].lower())
    return found


def _free(name: str, longest: int, taken: set[str]) -> str:
    if name[:longest].rstrip().lower() not in taken:
        return name[:longest].rstrip()
    number = 2
    while len(str(number)) <= longest:
        candidate = name[:longest - len(str(number))] + str(number)
        if candidate.lower() not in taken:
            return candidate
        number += 1
    raise InputError(Message("{count} names would look the same with {most} characters. Raise {longest}.",
                             count=len(taken) + 1, most=longest))


def describe(row: Callable[[str], Any], unit: str = "m") -> str:
    """What a waypoint's description says about its accuracy, in the words of a person at the wheel.

    Parameters
    ----------
    row : callable
        ``row(field name)`` -> value, None where there is none.
    unit : {'m', 'ft', 'yd'}
        What lengths are told in.

    Returns
    -------
    str
        '' for layers that carry no accuracy.

    Examples
    --------
    >>> from athwart.io.gpxwrite import describe
    >>> row = {"radius_m": 4.0, "confidence_pct": 95.0, "height_m": 1.2, "status": "bottom"}
    >>> describe(row.get)
    '95 % within 4.0 m; stands 1.2 m high'
    """
    radius, confidence, depth, bottom, height = (_number(row(n)) for n in (
        "radius_m", "confidence_pct", "depth_m", "bottom_m", "height_m"))
    status = row("status")
    one, digits = LENGTHS[unit], 1 if unit == "m" else 0
    number, label = _number(row("target_id")), row("label")
    words = _of_station(row, one, unit) if number is None else [f"target {number:.0f} {label or ''}".strip()]
    if radius is not None and confidence is not None:
        words.append(f"{confidence:g} % within {radius / one:.{digits}f} {unit}")
    if radius is not None:
        words += [told.replace("\u00a0", " ") for told in [depth_words(bottom, depth, unit, one, digits)] if told]
    if height is not None:
        least = "at least " if row("height_at_least") is True else ""
        words.append(f"stands {least}{height / one:.{digits}f} {unit} high")
    if status and status != "bottom":
        words.append(str(status))
    return "; ".join(words)


def _of_station(row: Callable[[str], Any], one: float, unit: str) -> list[str]:
    """What is cast at from a station, how far off it lies, and which way the bow points."""
    if not row("cast_at"):
        return []
    near, far, bow = (_number(row(name)) for name in ("nearest_m", "farthest_m", "heading_deg"))
    words = [f"station for target{'s' if ', ' in row('cast_at') else ''} {row('cast_at')}"]
    if near is not None and far is not None:
        ends = [f"{near / one:.0f}", f"{far / one:.0f}"]
        words.append(f"{' to '.join(dict.fromkeys(ends))} {unit} off")
    return [*words, *([] if bow is None else [f"bow at {bow:03.0f}\u00b0 true"])]


def _number(value: float | None) -> float | None:
    return float(value) if value is not None and math.isfinite(value) else None


def gpx_text(waypoints: Sequence[Waypoint] = (), lines: Sequence[GpxLine] = (), lines_as: str = "route",
             longest: int = 16, note: str = "",
             routes: Sequence[tuple[str, Sequence[int]]] = (), empty: bool = False) -> str:
    """A GPX 1.1 document.

    Parameters
    ----------
    waypoints : sequence of Waypoint
    lines : sequence of GpxLine
    lines_as : {'route', 'track'}
        A line of several parts becomes one track of several segments, or several routes.
    longest : int
        Longest name.
    note : str
        Description of the whole file.
    routes : sequence of (name, indices)
        Waypoints to be called at, by their place in ``waypoints``; their points carry the waypoints' names.
    empty : bool
        Whether a document of nothing but its note will do.

    Returns
    -------
    str

    Raises
    ------
    InputError
        If there is nothing to write, or a coordinate is no place on Earth.

    Examples
    --------
    >>> import athwart
    >>> text = athwart.gpx_text([athwart.Waypoint(-70.0, 44.6, "log", "95 % within 4.0 m")])
    >>> print(text[text.index("  <wpt"):].rstrip())
      <wpt lat="44.60000000" lon="-70.00000000">
        <name>log</name>
        <desc>95 % within 4.0 m</desc>
      </wpt>
    </gpx>
    """
    if lines_as not in LINES_AS:
        raise InputError(Message("{lines_as} is '{given}'; choose one of {known}.", given=lines_as,
                                 known=", ".join(LINES_AS)))
    if not waypoints and not lines and not empty:
        raise InputError(Message("There is nothing to write: give {waypoints} or {lines} with at least one feature."))
    root = ElementTree.Element("gpx", {"xmlns": NAMESPACE, "version": "1.1", "creator": "Athwart"})
    if note:
        _text(ElementTree.SubElement(root, "metadata"), "desc", note)
    names = unique_names([p.name for p in waypoints], longest, "W")
    for number, (point, name) in enumerate(zip(waypoints, names)):
        if number % _LOOK == 0:
            patience.look()
        made = _point(root, "wpt", point.lon, point.lat)
        if math.isfinite(point.t_s):
            _text(made, "time", iso_time(point.t_s))
        _titled(made, name, point.description)
        for tag, value in (("sym", point.symbol), ("type", point.kind)):
            if value:
                _text(made, tag, value)
    for title, order in routes:
        made = ElementTree.SubElement(root, "rte")
        _text(made, "name", title)
        for i in order:
            _text(_point(made, "rtept", waypoints[i].lon, waypoints[i].lat), "name", names[i])
    if lines_as == "route":
        lines = [GpxLine([part], line.name, line.description) for line in lines for part in line.parts]
    for line, name in zip(lines, unique_names([line.name for line in lines], longest, "L")):
        made = ElementTree.SubElement(root, "rte" if lines_as == "route" else "trk")
        _titled(made, name, line.description)
        for part in line.parts:
            into = made if lines_as == "route" else ElementTree.SubElement(made, "trkseg")
            for number, (lon, lat) in enumerate(part):
                if number % _LOOK == 0:
                    patience.look()
                _point(into, "rtept" if lines_as == "route" else "trkpt", lon, lat)
    patience.heard(ElementTree.indent, root)
    text = patience.heard(lambda: ElementTree.tostring(root, encoding="unicode"))
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + text + "\n"


def write_gpx(path: str | PathLike[str], waypoints: Sequence[Waypoint] = (), lines: Sequence[GpxLine] = (),
              lines_as: str = "route", longest: int = 16, note: str = "") -> None:
    """Write waypoints and lines to a GPX 1.1 file; a file that is there is replaced. See ``gpx_text``.

    Raises
    ------
    InputError
        As ``gpx_text``; the file is then left as it was.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> import athwart
    >>> path = pathlib.Path(tempfile.mkdtemp(), "back.gpx")
    >>> athwart.write_gpx(path, [athwart.Waypoint(-70.0, 44.6, "log")])
    >>> athwart.read_logs([path]).waypoints["name"].tolist()
    ['log']
    """
    text = gpx_text(waypoints, lines, lines_as, longest, note)
    with open(path, "w", encoding="utf-8", newline="\n") as file:
        file.write(text)


def _point(parent: Element, tag: str, lon: float, lat: float) -> Element:
    if not (math.isfinite(lon) and math.isfinite(lat) and -90 <= lat <= 90):
        raise InputError(f"A place at longitude {lon}, latitude {lat} is not on the Earth; check the layer's "
                         "coordinate system.")
    turned = round((lon + 180) % 360 - 180, 8)
    turned = -180.0 if turned >= 180 else turned + 0.0  # the schema shuts 180 itself out; -0.0 reads badly
    return ElementTree.SubElement(parent, tag, {"lat": f"{lat:.8f}", "lon": f"{turned:.8f}"})


def _titled(parent: Element, name: str, description: str) -> None:
    _text(parent, "name", name)
    if description:
        _text(parent, "desc", description)


def _text(parent: Element, tag: str, value: str) -> None:
    ElementTree.SubElement(parent, tag).text = _NOT_XML.sub("", value)
