"""What a row of the outings states, as the settings and picks of the core; metres are made here, once."""
from __future__ import annotations

import csv
import dataclasses
from dataclasses import replace
from typing import Any

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message
from ..model.times import parse_times
from ..model.units import COLDEST_C, LENGTHS, WARMEST_C, metres
from ..targets.picknames import read_ranges, read_sides
from ..targets.picks import Picks
from ..tracks.settings import RangeRows, TrackSettings

__all__ = ["SETTINGS", "number", "picks_of", "range_rows", "settings_of", "water_temperature"]

_SAID_OTHERWISE = ("outing", "range_m", "range_field", "range_rows", "depth_m", "depth_reference", "backwards")
SETTINGS = tuple(field.name for field in dataclasses.fields(TrackSettings) if field.name not in _SAID_OTHERWISE)
"""Settings of a track that a column of the outings may carry under their own names and units."""

_PICK_LENGTHS = {"slant_m": ("slant_m", "range"), "depth_m": ("depth_m", "depth"),
                 "shadow_start_m": ("shadow_start_m", "shadow_start"),
                 "shadow_end_m": ("shadow_end_m", "shadow_end", "shadow_m")}
"""Of a pick: names that a column may have; those that end in _m are metres, the others in the unit of the row."""


def number(row: Any, name: str) -> Any:
    """A number of a row, None where the cell is blank."""
    text = row.values.get(name, "")
    if not text:
        return None
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise InputError(f"The column {name} says '{text}', which is no number. Correct the cell.",
                         field=name) from None


def _unit(row: Any) -> Any:
    unit = row.values.get("unit", "")
    if unit not in LENGTHS:
        raise InputError(f"The column unit says '{unit}'; write the unit that the display showed, one of "
                         f"{', '.join(LENGTHS)}. It holds for range, ranges, depth and picks.", field="unit")
    return unit


def settings_of(row: Any, read: Any) -> Any:
    """TrackSettings of an outing.

    Parameters
    ----------
    row : tables.OutingRow
    read : callable
        Path -> path that can be opened here.

    Examples
    --------
    >>> from athwart.district.statements import settings_of
    >>> from athwart.district.tables import OutingRow
    >>> row = OutingRow("north", "Mill Pond", {"unit": "ft", "range": "80", "depth": "21", "latency_s": "0.5"}, ".")
    >>> settings = settings_of(row, str)
    >>> round(settings.range_m, 3), round(settings.depth_m, 3), settings.latency_s
    (24.384, 6.401, 0.5)
    """
    stated = {name: number(row, name) for name in SETTINGS if row.values.get(name)}
    range_, depth = number(row, "range"), number(row, "depth")
    paths = row.paths("ranges")
    if range_ is None and not paths:
        raise InputError("Neither range nor ranges is given, and no log carries it. Write the range of the record, or "
                         "the path of a table of its changes.", field="range")
    unit = _unit(row)
    made = TrackSettings(
        outing=row.name, range_m=None if range_ is None else float(metres(range_, unit)),
        range_rows=range_rows(read(paths[0]), unit, number(row, "time_offset_h") or 0.0) if paths else None,
        depth_m=None if depth is None else float(metres(depth, unit)), **stated)
    reference = row.values.get("depth_reference", "")
    return replace(made, depth_reference=reference) if reference else made


def range_rows(path: Any, unit: Any, offset_h: Any = 0.0) -> Any:
    """Changes of the range, of a CSV with the columns from_time and range."""
    rows = _rows(path, ("from_time", "range"))
    times = parse_times([row["from_time"] for row in rows], offset_h, f"{path}, from_time")
    return RangeRows.timed(times, [float(metres(_figure(row["range"], path, "range"), unit)) for row in rows])


def picks_of(row: Any, logs: Any, read: Any) -> Any:
    """Picks of an outing, None where it has none: a CSV, or the waypoints of its logs.

    Parameters
    ----------
    row : tables.OutingRow
    logs : survey.io.logs.Logs
    read : callable
        Path -> path that can be opened here.
    """
    paths = row.paths("picks")
    if paths:
        return _table_of_picks(read(paths[0]), row)
    if row.values.get("picks"):
        return _waypoints(logs, _unit(row))
    return None


def _table_of_picks(path: Any, row: Any) -> Any:
    rows = _rows(path, ("time", "side"))
    if not rows:
        return None
    unit, columns = _unit(row), {}
    for name, heads in _PICK_LENGTHS.items():
        head = next((one for one in heads if one in rows[0]), None)
        if head is not None:
            given = np.array([_figure(one[head], path, head) for one in rows])
            columns[name] = given if head.endswith("_m") else metres(given, unit)
    if "slant_m" not in columns:
        raise InputError(f"{path} has neither a column range nor slant_m. Name the column of the slant ranges.",
                         field="picks")
    side, reason = read_sides([one["side"] for one in rows])
    named = next((one for one in ("pick", "id", "source_id") if one in rows[0]), None)
    ids = [one[named] if named else str(k) for k, one in enumerate(rows, 1)]
    return Picks.of(len(rows), source_id=ids, side=side, reason=reason,
                    t_s=parse_times([one["time"] for one in rows], number(row, "time_offset_h") or 0.0,
                                    f"{path}, time"),
                    label=[one.get("label", "") for one in rows], **columns)


def _waypoints(logs: Any, unit: Any) -> Any:
    """Marks pressed on the boat; their names say side and range, others are no picks."""
    names, points = logs.waypoints["name"], logs.waypoints
    if not len(names):
        return None
    side, no_side = read_sides(names)
    slant, label, no_range = read_ranges(names, unit)
    marks = Picks.of(len(names), source_id=names, side=side, slant_m=slant, label=label, t_s=points["t_s"],
                     reason=np.where(no_range == "", no_side, no_range))
    marks.x, marks.y = points["lon"], points["lat"]
    return marks


def water_temperature(logs: Any) -> Any:
    """Median of the logged temperatures of the water, None where there is none that can be one."""
    known = logs.fixes["water_temp_c"]
    known = known[np.isfinite(known)]
    middle = float(np.median(known)) if len(known) else None
    return middle if middle is None or COLDEST_C <= middle <= WARMEST_C else None


def _rows(path: Any, needed: Any) -> Any:
    try:
        with open(path, encoding="utf-8-sig", newline="") as file:
            head = file.readline()
            file.seek(0)
            rows = [{str(name).strip().lower(): (value or "").strip() for name, value in one.items()
                     if isinstance(value, (str, type(None)))}
                    for one in csv.DictReader(file, delimiter=max(",;\t", key=head.count))]
    except OSError as error:
        raise InputError(f"{path} cannot be read ({error.strerror}). Correct the path.") from None
    except UnicodeDecodeError:
        raise InputError(f"{path} is not UTF-8. Save it as CSV in UTF-8.") from None
    missing = [name for name in needed if rows and name not in rows[0]]
    if missing:
        raise InputError(Message("{path} lacks the column(s) {names}. It has {there}.", path=path,
                                 names=", ".join(missing), there=", ".join(rows[0])))
    return rows


def _figure(text: str, path: Any, name: str) -> Any:
    try:
        return float(text.replace(",", ".")) if text else np.nan
    except ValueError:
        raise InputError(f"{path}, column {name}: '{text}' is no number. Correct the cell.") from None
