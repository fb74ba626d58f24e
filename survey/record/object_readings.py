"""Where an object begins and ends on the record: from lines drawn on a picture, or from a table of moments and ranges.

Three lines make an object: ``along`` from one end of its long axis to the other, ``across`` from its near edge to its
far one, ``shadow`` from where its shadow begins to where it ends.
"""
from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..model.errors import InputError
from ..model.table import Bools, Floats, Table, Texts
from .image_picks import Marks, read_marks

if TYPE_CHECKING:
    from typing import Any

    from ..model.track import Track
    from .picture import Record

__all__ = ["LINES", "ObjectLines", "ObjectReadings", "read_object_lines"]

LINES = ("along", "across", "shadow")

_CUT_PIXELS = 1.0
"""A line that ends so near the edge of the picture, or rows that are missing, may go on beyond it."""


@dataclass(eq=False, repr=False)
class ObjectLines(Table):
    """(n,) arrays in pixels: ``column``, ``row`` of the first vertex, ``end_column``, ``end_row`` of the second;
    ``kind`` of ``LINES``; ``object`` which object it belongs to, '' for the nearest; ``source_id``; ``reason`` why a
    line was given up before it came here, '' else.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> words = [np.array([text], object) for text in ("along", "", "7", "")]
    >>> lines = athwart.ObjectLines(*(np.array([v]) for v in (610.0, 100.0, 610.0, 120.0)), *words)
    >>> len(lines), lines.kind.tolist(), lines.source_id.tolist()
    (1, ['along'], ['7'])
    """

    column: Floats
    row: Floats
    end_column: Floats
    end_row: Floats
    kind: Texts
    object: Texts
    source_id: Texts
    reason: Texts


@dataclass(eq=False, repr=False)
class ObjectReadings(Table):
    """(n,) arrays, one row an object; NaN where nothing was read. Slant ranges and depths as displayed, m.

    ``begin``, ``end``: counts (pings, or seconds since 1970 UTC) of the two ends of the long axis, and their slant
    ranges ``begin_m``, ``end_m``; ``near``, ``far`` counts and ``near_m``, ``far_m`` slants of its near and far edge;
    ``shadow_start_m``, ``shadow_end_m``; ``depth_m`` of its own. ``length_cut``, ``width_cut``, ``shadow_open``: it may
    go on where the record ends. ``sigma_count``, ``sigma_slant_m``: standard deviation of one reading; ``row_count``:
    counts that one row or ping stands for, 0 where that is in the reading; ``column_m``: displayed metres a column,
    NaN off a picture. ``side`` -1 or +1. ``reason``: why it was given up, '' else.
    """

    source_id: Texts
    label: Texts
    outing: Texts
    side: Floats
    begin: Floats
    end: Floats
    begin_m: Floats
    end_m: Floats
    near: Floats
    far: Floats
    near_m: Floats
    far_m: Floats
    shadow_start_m: Floats
    shadow_end_m: Floats
    depth_m: Floats
    length_cut: Bools
    width_cut: Bools
    shadow_open: Bools
    sigma_count: Floats
    sigma_slant_m: Floats
    row_count: Floats
    column_m: Floats
    reason: Texts

    @classmethod
    def of(cls, count: int, **columns: Any) -> ObjectReadings:
        """Readings of which only some columns are known.

        Examples
        --------
        >>> import athwart
        >>> read = athwart.ObjectReadings.of(1, side=[1], begin=[40.0], end=[44.0], near_m=[12.0], far_m=[13.0])
        >>> read.source_id.tolist(), read.shadow_end_m.tolist(), read.begin_m.tolist()
        (['1'], [nan], [12.5])
        """
        texts, flags = ("source_id", "label", "outing", "reason"), ("length_cut", "width_cut", "shadow_open")
        unknown = set(columns) - set(cls.__dataclass_fields__)
        if unknown:
            raise TypeError(f"an object has no {', '.join(sorted(unknown))}")
        made = {}
        for name in cls.__dataclass_fields__:
            kind = object if name in texts else bool if name in flags else float
            blank = "" if name in texts else False if name in flags else 0.0 if name == "row_count" else np.nan
            made[name] = np.array(columns[name], kind) if name in columns else np.full(count, blank, kind)
        if "source_id" not in columns:
            made["source_id"] = np.arange(1, count + 1).astype(str).astype(object)
        middle, moment = (made["near_m"] + made["far_m"]) / 2, (made["begin"] + made["end"]) / 2
        usual = {"begin_m": middle, "end_m": middle, "near": moment, "far": moment}
        return cls(**{**made, **{name: value for name, value in usual.items() if name not in columns}})


def read_object_lines(record: Record, lines: ObjectLines, track: Track = None,
                      sigma_pixel: float = 1.0) -> tuple[ObjectReadings, list[str]]:
    """Objects out of the lines that somebody drew on a picture of the record.

    Parameters
    ----------
    record : Record
    lines : ObjectLines
    track : Track, optional
        Needed where the record has no ``edge_range_m``.
    sigma_pixel : float
        Standard deviation of a vertex, each way.

    Returns
    -------
    readings : ObjectReadings
        An object for each line along; of the other lines without one, an object of their own.
    warnings : list of str

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> record = athwart.Record(width=800, height=1000, edge_range_m=40.0, first_ping=1, newest="bottom")
    >>> words = [np.array(text, object) for text in (["along", "across"], ["", ""], ["1", "2"], ["", ""])]
    >>> lines = athwart.ObjectLines(*(np.array(v) for v in ([610.0, 600.0], [100.0, 110.0], [610.0, 620.0],
    ...                                                     [120.0, 110.0])), *words)
    >>> read, warnings = athwart.read_object_lines(record, lines)
    >>> read.begin.tolist(), read.end.tolist(), read.near_m.tolist(), read.far_m.tolist()
    ([100.5], [120.5], [20.0], [22.0])
    """
    if not len(lines):
        raise InputError("There is no line; draw one along each object first.", field="lines")
    lines = _onto_picture(record, lines)
    columns, reason = _vertices(record, lines, track)
    reason[~np.isin(lines.kind, LINES)] = "its kind is none of along, across and shadow"
    owner, warnings = _owners(lines, columns["side"][:len(lines)], reason)
    names = list(dict.fromkeys(owner[owner != ""].tolist()))
    read = ObjectReadings.of(len(names), source_id=names, label=["" if n.startswith("\0") else n for n in names])
    count = columns["t_s"] if record.by_time else columns["ping"]
    half = len(lines)
    for number, name in enumerate(names):
        mine = owner == name
        for kind in LINES:
            rows = np.flatnonzero(mine & (lines.kind == kind))
            if not len(rows):
                continue
            if len(rows) > 1:
                warnings.append(f"Object '{lines.source_id[rows[0]] if name[0] == chr(0) else name}' has {len(rows)} "
                                f"lines {kind}; the first of them, line {lines.source_id[rows[0]]}, was taken.")
            k = rows[0]
            _put(read, number, kind, record, lines, k, (count[[k, k + half]], columns["slant_m"][[k, k + half]]))
            read.side[number] = {"port": -1.0, "starboard": 1.0}.get(columns["side"][k], np.nan)
            read.outing[number] = str(columns["outing"][k]) if "outing" in columns else ""
            read.reason[number] = read.reason[number] or reason[k]
            read.column_m[number] = columns["slant_m"][k] / abs(lines.column[k] - record.centre)
        first = np.flatnonzero(mine)[0]
        read.source_id[number] = str(lines.source_id[first])
    read.sigma_slant_m[:] = sigma_pixel * read.column_m
    each = _row_count(record)
    read.row_count[:], read.sigma_count[:] = each, sigma_pixel * each
    return read, warnings


def _vertices(record: Record, lines: ObjectLines, track: Track) -> tuple[dict[str, Any], np.ndarray]:
    """Columns of ``read_marks`` of all first vertices, then all second ones, and why a line cannot be read."""
    twice, blank = (lambda a, b: np.concatenate([a, b])), np.full(2 * len(lines), "", object)
    marks = Marks(twice(lines.column, lines.end_column), twice(lines.row, lines.end_row),
                  np.full(2 * len(lines), np.nan), np.full(2 * len(lines), "object", object), blank)
    marks.reason = twice(lines.reason, lines.reason)
    columns, reason = read_marks(record, marks, track)
    one, two = reason[:len(lines)], reason[len(lines):]
    apart = columns["side"][:len(lines)] != columns["side"][len(lines):]
    return columns, np.where(one != "", one, np.where(two != "", two, np.where(
        apart, "its two ends lie on different sides", ""))).astype(object)


def _onto_picture(record: Record, lines: ObjectLines) -> ObjectLines:
    """Lines of which one end lies beyond the picture, ended at its edge."""
    def inside(column: np.ndarray, row: np.ndarray) -> np.ndarray:
        return (column >= 0) & (column <= record.width) & (row >= 0) & (row <= record.height)
    one = inside(lines.column, lines.row) != inside(lines.end_column, lines.end_row)

    def held(values: np.ndarray, most: float) -> np.ndarray:
        return np.where(one, np.clip(values, 0, most), values)
    return replace(lines, column=held(lines.column, record.width), end_column=held(lines.end_column, record.width),
                   row=held(lines.row, record.height), end_row=held(lines.end_row, record.height))


def _owners(lines: ObjectLines, side: np.ndarray, reason: np.ndarray) -> tuple[np.ndarray, list[str]]:
    """Name of the object of every line: its own, or that of the nearest line along on its side."""
    owner = lines.object.astype(object).copy()
    middle = np.column_stack([(lines.column + lines.end_column) / 2, (lines.row + lines.end_row) / 2])
    along = np.flatnonzero((lines.kind == "along") & np.isfinite(middle).all(axis=1))
    unnamed = np.flatnonzero((owner == "") & np.isfinite(middle).all(axis=1))
    for k in unnamed:
        if lines.kind[k] == "along":
            owner[k] = f"\0{lines.source_id[k]}"
    lost = []
    for k in unnamed[lines.kind[unnamed] != "along"]:
        near = along[side[along] == side[k]]
        if len(near):
            owner[k] = owner[near[np.argmin(np.hypot(*(middle[near] - middle[k]).T))]]
        else:
            owner[k] = f"\0{lines.source_id[k]}"
            lost.append(str(lines.source_id[k]))
    for k in np.flatnonzero(owner == ""):
        owner[k] = f"\0{lines.source_id[k]}"
        reason[k] = reason[k] or "it has no place"
    said = [f"{len(lost)} lines have no line along on their side and stand for objects without a length: "
            f"{', '.join(lost[:5])}."] if lost else []
    return owner, said


def _put(read: ObjectReadings, number: int, kind: str, record: Record, lines: ObjectLines, k: int,
         ends: tuple[np.ndarray, np.ndarray]) -> None:
    """One line of an object into its readings; ``ends``: counts and slants of both vertices."""
    count, slant = ends
    column, row = (np.array([one[k], two[k]]) for one, two in
                   ((lines.column, lines.end_column), (lines.row, lines.end_row)))
    edges = np.array([0.0, record.height, *(at for at, _ in record.dropped)])
    off_rows = bool((np.abs(row[:, None] - edges[None, :]) <= _CUT_PIXELS).any())
    shown = [edge for edge in (0.0, float(record.width)) if edge != record.centre]
    off_columns = bool((np.abs(column[:, None] - np.array(shown)[None, :]) <= _CUT_PIXELS).any())
    inner, outer = np.argsort(slant, kind="stable")
    if kind == "along":
        first, last = np.argsort(count, kind="stable")
        read.begin[number], read.end[number] = count[first], count[last]
        read.begin_m[number], read.end_m[number] = slant[first], slant[last]
        read.length_cut[number] = off_rows or off_columns
    elif kind == "across":
        read.near[number], read.far[number] = count[inner], count[outer]
        read.near_m[number], read.far_m[number] = slant[inner], slant[outer]
        read.width_cut[number] = off_columns or off_rows
    else:
        read.shadow_start_m[number], read.shadow_end_m[number] = slant[inner], slant[outer]
        read.shadow_open[number] = off_columns


def _row_count(record: Record) -> float:
    """Counts that one row of the picture stands for."""
    if not record.by_time:
        return record.pings_per_row
    rows = record.height + sum(missing for _, missing in record.dropped)
    return (record.last_s - record.first_s) / max(rows - 1, 1)
