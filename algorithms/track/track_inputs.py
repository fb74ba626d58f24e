"""Layers of 'Prepare track' -> the core's arrays: fixes, changes of range, solved offsets."""
from __future__ import annotations

from dataclasses import replace

import numpy as np
from qgis.core import QgsWkbTypes
from qgis.PyQt.QtCore import QTime

from ...survey.model.errors import InputError
from ...survey.model.messages import Message
from ...survey.model.units import COLDEST_C, WARMEST_C
from ..common import read, values
from ..common.compat import chosen_fields

__all__ = ["FIELDS", "field_names", "middle_temperature", "offset_rows", "range_rows", "read_fixes",
           "refuse_other_layers", "refuse_unknown_headings"]

FIELDS = ("RANGE_FIELD", "DEPTH_FIELD", "HEADING_FIELD", "TIME_FIELD", "ORDER_FIELD", "PING_FIELD", "PASS_FIELD")

SEGMENTS = ("log_file", "segment", "track_fid", "track_seg_id")
"""Fields that part unbroken stretches in our own fixes and in a GPX file's track points, where a layer has them."""

_LEAST_SECONDS = 1e8
"""Of a moment as seconds since 1970 (March 1973)."""

_PREPARED = {"sample_id", "lever_forward_m", "range_ratio", "reject_reason"}
_CUT_NAMES = {"heading_de", "depth_offs", "water_temp", "fix_qualit"}


def field_names(alg, parameters, context, source):
    """Field names chosen, by parameter; '' (or an empty list for PASS_FIELD) where blank.

    Raises
    ------
    InputError
        If the layer lacks one of them.
    """
    has = source.fields().names()
    chosen = {}
    for name in FIELDS:
        wanted = chosen_fields(alg, parameters, name, context)
        for field in wanted:
            if field not in has:
                raise InputError(f"{alg.parameterDefinition(name).description()} ({name}) is '{field}', but the layer "
                                 f"'{source.sourceName()}' has no such field. It has {', '.join(has)}.")
        chosen[name] = wanted if name == "PASS_FIELD" else (wanted[0] if wanted else "")
    return chosen


def refuse_other_layers(alg, parameters, context, source):
    """Layers that are no fixes: a track that was prepared before, and fixes whose names a Shapefile has cut."""
    has = set(source.fields().names())
    if has >= _PREPARED:
        raise InputError(f"'{source.sourceName()}' is a prepared track: its corrections are applied, and would be "
                         "applied twice. Choose the fixes it was made from.")
    layer = alg.parameterAsVectorLayer(parameters, "INPUT", context)
    if layer is not None and layer.storageType() == "ESRI Shapefile" and _CUT_NAMES & has:
        raise InputError(f"Fixes '{layer.name()}' is a Shapefile, which cuts field names to ten letters and times to "
                         "dates. Use the GeoPackage or temporary layer that 'Read NMEA 0183 and GPX logs' made.")


def refuse_unknown_headings(field, source):
    """Refuse headings that nothing says to be true or magnetic: only those of our own log reader are known."""
    from ...survey.model import schemas

    ours = set(schemas.names(schemas.FIXES)) - {"time"} <= set(source.fields().names())
    if not (ours and field == "heading_deg"):
        raise InputError(Message("{HEADING_KIND} is not given, and nothing shows whether the headings of the field "
                                 "'{field}' are true or magnetic. Choose 'magnetic' for what a compass shows (and give "
                                 "the magnetic variation), 'true' for a GNSS compass or headings corrected already.",
                                 field=field))


def read_fixes(alg, parameters, context, feedback, crs, names, scales, time_offset):
    """Fixes of INPUT.

    Parameters
    ----------
    crs : QgsCoordinateReferenceSystem
        To bring them to.
    names : dict
        Of ``field_names``.
    scales : dict
        Metres in one unit for RANGE_FIELD and DEPTH_FIELD.
    time_offset : float, hours

    Returns
    -------
    (survey.fixes.arrange.Fixes, Table, (n,) int array)
        And the row of the table each fix came from.
    """
    from ...survey import Fixes

    source = alg.parameterAsSource(parameters, "INPUT", context)
    lines = QgsWkbTypes.geometryType(source.wkbType()) == QgsWkbTypes.GeometryType.LineGeometry
    tab = read.table(alg, parameters, "INPUT", context, feedback, crs=crs,
                     geometry="any" if lines else "point or blank")
    if lines:
        x, y, stamps, rows, parts = _vertices(tab)
        stamps = stamps if np.isfinite(stamps).any() else None
        if stamps is None and not values.given(parameters, "SPEED"):
            raise InputError(Message("The lines of '{name}' carry no time in M, so no point has a time. Of a GPX file "
                                     "choose track_points; of lines without times, give {SPEED}, the boat's speed over "
                                     "ground.", name=tab.name))
    else:
        x, y, rows, parts = tab.x, tab.y, np.arange(len(tab)), None
        clock = names["TIME_FIELD"] or next((name for name in ("t_s", "time") if tab.has(name)), "")
        order = values.option(alg, parameters, "DATE_ORDER", context) or ""
        stamps = _told(tab, clock, read.times_told(tab, clock, time_offset, order), feedback) if clock else None

    def numbers(name, scale=1.0):
        return _told(tab, name, read.numbers_told(tab, name), feedback)[rows] * scale if name else None

    own_depths = names["DEPTH_FIELD"] == "depth_m"  # then the layer's other fields say what they are
    return Fixes(
        read.wkt(crs), x, y, t_s=stamps, order=numbers(names["ORDER_FIELD"]),
        stretch=_stretches(tab, rows, parts, names),
        ping=numbers(names["PING_FIELD"]), heading_deg=numbers(names["HEADING_FIELD"]),
        depth_m=numbers(names["DEPTH_FIELD"], scales["DEPTH_FIELD"]),
        depth_kind=read.texts(tab, "depth_kind")[rows] if own_depths and tab.has("depth_kind") else None,
        depth_offset_m=numbers("depth_offset_m" if own_depths and tab.has("depth_offset_m") else ""),
        range_m=numbers(names["RANGE_FIELD"], scales["RANGE_FIELD"]), hdop=numbers("hdop" if tab.has("hdop") else ""),
    ), tab, rows


def _told(tab, field, told, feedback):
    """Values of a field; cells that cannot be read are blank and warned of, a field of nothing else is refused."""
    found, reason = told
    wrong = np.flatnonzero(reason != "")
    if len(wrong) and not np.isfinite(found).any():
        raise InputError(Message("'{name}', field {field}, row {row}: {reason} Correct it, leave it blank where it is "
                                 "not known, or choose another field.", name=tab.name, field=field, row=wrong[0] + 1,
                                 reason=reason[wrong[0]]))
    if len(wrong):
        shown = ", ".join(str(row + 1) for row in wrong[:5])
        feedback.pushWarning(f"'{tab.name}', field {field}: {len(wrong)} of {len(found)} values cannot be read and "
                             f"count as blank (rows {shown}{', ...' if len(wrong) > 5 else ''}). The first: "
                             f"{reason[wrong[0]]}")
    return found


def middle_temperature(alg, tab, feedback):
    """Median of water_temp_c; None where the layer has none, or what it has is no temperature of water."""
    known = read.numbers(tab, "water_temp_c") if tab.has("water_temp_c") else np.empty(0)
    known = known[np.isfinite(known)]
    middle = float(np.median(known)) if len(known) else None
    if middle is None or COLDEST_C <= middle <= WARMEST_C:
        return middle
    alg.tell(feedback, warnings=[Message("The middle of the field water_temp_c is {middle:g}, no water temperature in "
                                         "degrees C; it was not used. Give {WATER_TEMPERATURE} and its unit.",
                                         middle=middle)])
    return None


def range_rows(alg, parameters, context, feedback, crs, unit_m, first_s, time_offset):
    """Changes of range of SETTINGS, as ``survey.tracks.settings.RangeRows``; None if it was left blank."""
    from ...survey import RangeRows

    source = alg.parameterAsSource(parameters, "SETTINGS", context)
    if source is None:
        return None
    placed = QgsWkbTypes.geometryType(source.wkbType()) == QgsWkbTypes.GeometryType.PointGeometry
    tab = read.table(alg, parameters, "SETTINGS", context, feedback, crs=crs if placed else None,
                     geometry="point" if placed else "none")
    columns = {name.lower(): name for name in tab.columns}
    if "range" not in columns or not {"from_time", "from_waypoint"} & set(columns):
        raise InputError(Message("{SETTINGS} '{name}' needs the field range, and from_time or from_waypoint; it has "
                                 "{has}.", name=tab.name, has=", ".join(tab.columns)))
    typed = read.numbers(tab, columns["range"])
    if (typed <= 0).any():  # in the words and the unit that were typed
        raise InputError(Message("{SETTINGS} holds a range of {given:g} {unit}; a range is above zero. Correct it, or "
                                 "leave it out.", given=typed[typed <= 0][0],
                                 unit=values.option(alg, parameters, "RANGE_UNIT", context) or ""))
    ranges = typed * unit_m
    moments = np.full(len(tab), np.nan)
    if "from_time" in columns:
        moments = _from_times(alg, tab, columns["from_time"], first_s, time_offset, feedback)
    names = read.texts(tab, columns["from_waypoint"]) if "from_waypoint" in columns else np.full(len(tab), "", object)
    x = tab.x if placed else np.full(len(tab), np.nan)
    y = tab.y if placed else np.full(len(tab), np.nan)
    marks = _waypoints(alg, parameters, context, feedback, crs, time_offset)
    for row in np.flatnonzero(np.isnan(moments) & (names != "")):
        if marks is not None:
            moments[row], x[row], y[row] = _mark(marks, names[row])
        elif not placed:
            raise InputError(Message("{SETTINGS} names the waypoint '{name}'; give the layer that holds it in "
                                     "{WAYPOINTS}.", name=names[row]))
    return RangeRows(moments, list(names), x, y, ranges, time_offset)


def offset_rows(alg, parameters, context, feedback):
    """(names, values, sigmas, boats, outings) of the rows of OFFSETS, None if it was left blank."""
    tab = read.table(alg, parameters, "OFFSETS", context, feedback)
    if tab is None:
        return None
    read.require(tab, ("name", "value", "sigma"), Message("{OFFSETS}"),
                 Message("Use the {adjust(OFFSETS)} of {adjust()}."))
    boats, outings = (read.texts(tab, name) if tab.has(name) else np.full(len(tab), "", object)
                      for name in ("boat", "outings"))
    return read.texts(tab, "name"), read.numbers(tab, "value"), read.numbers(tab, "sigma"), boats, outings


def _vertices(tab):
    """Vertices of lines: x, y, M (seconds since 1970, NaN where none), row of the line, number of the part."""
    from ...survey.model.times import parse_times

    pieces, rows, parts, part = [np.empty((0, 3))], [], [], 0
    for row, shape in enumerate(tab.geometries):
        for line in shape.constParts() if shape is not None else ():
            pieces.append(np.array([(point.x(), point.y(), point.m()) for point in line.points()], float))
            rows.append(np.full(len(pieces[-1]), row))
            parts.append(np.full(len(pieces[-1]), part))
            part += 1
    if part == 0:
        raise InputError(f"Fixes '{tab.name}' holds no line; choose a layer with the boat's track.")
    places = np.concatenate(pieces)
    return (places[:, 0], places[:, 1], parse_times(places[:, 2], what=f"'{tab.name}', M"), np.concatenate(rows),
            np.concatenate(parts))


def _stretches(tab, rows, parts, names):
    """Numbers that differ wherever the source itself says that something ends."""
    codes = np.zeros(len(rows), np.int64) if parts is None else parts
    for name in (*(name for name in SEGMENTS if tab.has(name)), *names["PASS_FIELD"]):
        _, one = np.unique(read.texts(tab, name).astype(str), return_inverse=True)
        _, codes = np.unique(codes * (int(one.max(initial=0)) + 1) + one[rows], return_inverse=True)
    return codes


def _from_times(alg, tab, name, first_s, time_offset, feedback):
    from ...survey.model.times import times_of_day

    column = tab.columns[name].copy()
    words = [value.toString("HH:mm:ss") if isinstance(value, QTime) else value if isinstance(value, str) else ""
             for value in column]
    found = times_of_day(words, first_s, time_offset)
    for row in np.flatnonzero(np.isfinite(found)):
        if ":" not in words[row]:
            alg.tell(feedback, warnings=[Message(
                "{SETTINGS} '{name}', row {row}: from_time '{given}' was read as the time of day {time}.",
                name=tab.name, row=row + 1, given=words[row], time=words[row].strip().replace(".", ":", 1))])
    column[np.isfinite(found)] = None
    for row, value in enumerate(column):
        if _is_bare(value):
            raise InputError(Message("{SETTINGS} '{name}', row {row}: from_time is {value}, a bare number and no time. "
                                     "Write a time of day such as 08:03 (as text), or date and time such as 2024-05-31 "
                                     "08:03; seconds since 1970 are above 100000000.", name=tab.name, row=row + 1,
                                     value=value))
    dated = read.times(replace(tab, columns={name: column}), name, time_offset)
    return np.where(np.isfinite(found), found, dated)


def _is_bare(value):
    """A number, or its digits in text, that is too small for seconds since 1970."""
    try:
        return not isinstance(value, bool) and abs(float(value)) < _LEAST_SECONDS
    except (TypeError, ValueError):
        return False


def _waypoints(alg, parameters, context, feedback, crs, time_offset):
    """{name: [(moment, x, y)]} of WAYPOINTS, None if it was left blank."""
    tab = read.table(alg, parameters, "WAYPOINTS", context, feedback, crs=crs, geometry="point")
    if tab is None:
        return None
    read.require(tab, ("name",), Message("{WAYPOINTS}"), "Rename the field that holds the names.")
    clock = next((name for name in ("t_s", "time") if tab.has(name)), "")
    moments = read.times(tab, clock, time_offset) if clock else np.full(len(tab), np.nan)
    marks = {}
    for name, moment, x, y in zip(read.texts(tab, "name"), moments, tab.x, tab.y):
        marks.setdefault(name, []).append((moment, x, y))
    return marks


def _mark(marks, name):
    found = marks.get(name, [])
    if len(found) != 1:
        raise InputError(Message("{SETTINGS} names the waypoint '{name}', which {WAYPOINTS} holds {count} times. "
                                 "Correct the name, or give that row a from_time.", name=name, count=len(found)))
    return found[0]
