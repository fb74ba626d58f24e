"""Marks on a picture of the record -> picks: side, slant range, shadow and depth, tied to the track."""
from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message
from ..model.table import Floats, Table, Texts
from ..model.track import side_name
from ..targets.match import no_overlap
from ..targets.poses import Poses, Runs
from ..targets.rowtimes import row_times

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..model.track import Track
    from .picture import Record

__all__ = ["KINDS", "Marks", "bottom_warning", "depth_between", "read_marks", "row_words"]

KINDS = ("object", "bottom")

_APART_M, _APART_SHARE = 0.5, 0.1
"""A bottom mark may lie so far from the depth of the track, and this share of it; judgement, no source."""

_EDGE_PIXELS = 1.0
"""A shadow that ends so near the edge of the picture, or beyond it, runs off the record."""

HOLD_S, HOLD_PINGS = 10.0, 100.0
"""How far beyond the first and last bottom point of a stretch its depth is held."""


@dataclass(eq=False, repr=False)
class Marks(Table):
    """(n,) arrays in pixels of the record: ``column``, ``row`` of the object or bottom, ``end_column`` of the shadow's
    end (NaN for points), ``kind`` of ``KINDS``, ``reason`` why a mark was given up before it came here, '' else.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> marks = athwart.Marks(*(np.array([value], kind) for value, kind in (
    ...     (600.0, float), (0.5, float), (np.nan, float), ("object", object), ("", object))))
    >>> marks.column.tolist(), marks.kind.tolist()
    ([600.0], ['object'])
    """

    column: Floats
    row: Floats
    end_column: Floats
    kind: Texts
    reason: Texts


def read_marks(record: Record, marks: Marks, track: Track | None = None,
               time_offset: float = 0.0) -> tuple[dict[str, np.ndarray], Texts]:
    """Picks of every mark.

    Parameters
    ----------
    record : Record
    marks : Marks
    track : Track, optional
        Needed where the record has no ``edge_range_m``: the range in force is then that of each ping.

    time_offset : float, h
        What was added to the record's clock already; only for the message.

    Returns
    -------
    columns : dict
        (n,) arrays by the names of ``schemas.PICKS`` (without source_id and label); ranges and depths as displayed.
        Bottom points have their slant range as depth, objects the depth between the bottom points of their stretch.
    reason : (n,) object array of str
        Why a mark could not be read, '' for the others.

    Raises
    ------
    InputError
        If no mark falls within the track at all; for times, with the hours that would fit.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.record.image_picks import read_marks
    >>> import athwart
    >>> record = athwart.Record(width=800, height=1000, edge_range_m=40.0, first_ping=1)
    >>> marks = athwart.Marks(*(np.array([value], kind) for value, kind in (
    ...     (900.0, float), (0.5, float), (np.nan, float), ("object", object), ("", object))))
    >>> columns, reason = read_marks(record, marks)
    >>> bool(reason[0])  # column 900 lies outside the picture
    True
    """
    if track is None and record.edge_range_m is None:
        raise InputError(Message("{edge_range_m} is not given and there is no {track} to take the range in force from. "
                                 "Give one."))
    side, share = record.across(marks.column)
    count = _count(record, marks, track)
    reason = _readable(marks, side, share, count, record)
    stretch, position, poses = _on_track(record, track, count, time_offset)
    edge = _edge_range(record, poses, len(count))
    slant = share * edge
    shadow, open_shadow = _shadow(record, marks, side, share, reason)
    shadow = shadow * edge
    reason[(reason == "") & ~np.isfinite(slant)] = (
        Message("no stretch of the track covers its row, so the range in force is unknown: give {edge_range_m}"))
    bottom = (marks.kind == "bottom") & (reason == "")
    hold = HOLD_S if record.by_time else HOLD_PINGS
    depth = np.where(bottom, slant, depth_between(count, stretch, slant, bottom, hold))
    columns = {"ping": np.full(len(count), np.nan) if record.by_time else count,
               "t_s": count if record.by_time else np.full(len(count), np.nan),
               "side": np.array([side_name(s) if s else "" for s in side], object), "slant_m": slant,
               "depth_m": depth, "shadow_m": shadow, "kind": np.asarray(marks.kind, object), "shadow_open": open_shadow}
    if track is not None:
        columns.update(_of_track(track, poses, record, columns))
    return columns, reason


def depth_between(count: np.ndarray, stretch: np.ndarray, slant: np.ndarray, bottom: np.ndarray,
                  hold: float) -> np.ndarray:
    """Depth at each mark from the bottom points of its own stretch: between two of them, or held from the nearest.

    Parameters
    ----------
    count : (n,) array
        Pings or seconds.
    stretch : (n,) int array
        Run of the track, -1 for none.
    slant : (n,) array, m
        Of the bottom points; others are not looked at.
    bottom : (n,) bool array
        Which marks are bottom points.
    hold : float
        How far beyond the first and last bottom point of a stretch its depth is held, in counts.

    Returns
    -------
    (n,) array, m; NaN where no bottom point is near
    """
    depth = np.full(len(count), np.nan)
    for number in np.unique(stretch[bottom & (stretch >= 0)]):
        points = np.flatnonzero(bottom & (stretch == number))
        points = points[np.argsort(count[points])]
        mine = (stretch == number) & np.isfinite(count)
        depth[mine] = np.interp(count[mine], count[points], slant[points])
        beyond = np.maximum(count[points[0]] - count, count - count[points[-1]])
        depth[mine & (beyond > hold)] = np.nan
    return depth


def row_words(record: Record, track: Track | None) -> tuple[str, str]:
    """(note, warning) on how the rows of a picture told by times were timed; '' where there is nothing to say.

    Examples
    --------
    >>> from athwart.record.image_picks import row_words
    >>> import athwart
    >>> row_words(athwart.Record(width=800, height=1000, edge_range_m=40.0, first_ping=1), None)
    ('', '')
    """
    if not record.by_time:
        return "", ""
    times = row_times(record, np.empty(0), track)
    if track is None:
        return Message("Rows were spread evenly from {first_s} to {last_s}; with a change of the range on the way that "
                       "is wrong: give {track}."), ""
    if times.by == "ping":
        return "Rows were timed by the record's own ping count in the track.", ""
    if times.by == "range":
        return "", Message("The range changes {count} times within the picture and the track carries no ping count: "
                           "rows were taken to last in proportion to the range, since a ping waits for its echo. Surer "
                           "is to give rows by ping: {prepare(fixes.ping)} in {prepare()} and {first_ping} here, or a "
                           "picture a range.", count=times.changes)
    return Message("Rows were spread evenly from {first_s} to {last_s}: the range does not change in the picture."), ""


def bottom_warning(record: Record, marks: Marks, track: Track | None, ids: Sequence[object] | None) -> str:
    """A sentence where bottom marks do not lie at the track's depth, '' where they do or nothing tells.

    Parameters
    ----------
    record, marks, track
        As for ``read_marks``.
    ids : (n,) sequence
        What each mark is called.

    Examples
    --------
    >>> from athwart.record.image_picks import bottom_warning
    >>> import athwart
    >>> record = athwart.Record(width=800, height=1000, edge_range_m=40.0, first_ping=1)
    >>> bottom_warning(record, None, None, [])
    ''
    """
    if track is None or not (marks.kind == "bottom").any():
        return ""
    at, read, depth = _bottoms(record, marks, track)
    wrong = np.abs(read - depth) > _APART_M + _APART_SHARE * depth
    if not wrong.any():
        return ""
    worst = at[wrong][np.argsort(-np.abs(read - depth)[wrong])]
    said = dict(zip(at.tolist(), zip(read, depth)))
    shown = "; ".join(f"mark {ids[k]}: {said[k][0]:.1f} m on the image, {said[k][1]:.1f} m in the track"
                      for k in worst[:3].tolist())
    other = "top" if record.newest == "bottom" else "bottom"
    turned = ""
    try:
        _, read2, depth2 = _bottoms(replace(record, newest=other), marks, track)
        fits = len(read2) >= len(read) and (np.abs(read2 - depth2) <= _APART_M + _APART_SHARE * depth2).all()
        if fits and len(read2) > 1:
            turned = Message(" With {newest} '{other}' all of them would agree.", other=other)
    except InputError:  # turned over, the picture does not meet the track at all
        pass
    first = Message("{first_s} and {last_s}" if record.by_time else "{first_ping}")
    return Message("{wrong} of {count} bottom marks do not lie at the depth of the track, the worst first: {shown}. "
                   "Rows may be tied to the wrong moments: check {newest}, {first}, {dropped}, and the range at the "
                   "edge.{turned}", wrong=wrong.sum(), count=len(at), shown=shown, first=first, turned=turned)


def _bottoms(record: Record, marks: Marks, track: Track) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(index, depth read, depth of the track) of bottom marks where the track's depth was measured; true metres."""
    columns, reason = read_marks(record, marks, track)
    poses = _on_track(record, track, _count(record, marks, track), 0.0)[2]
    ratio = np.where(np.isfinite(poses.range_ratio), poses.range_ratio, 1.0)
    measured = poses.tied & (track.depth_source[np.maximum(poses.sample, 0)] != "constant")
    at = np.flatnonzero((marks.kind == "bottom") & (reason == "") & measured & np.isfinite(poses.depth_m))
    return at, columns["slant_m"][at] * ratio[at], poses.depth_m[at]


def _readable(marks: Marks, side: np.ndarray, share: np.ndarray, count: np.ndarray, record: Record) -> Texts:
    reason = np.array(marks.reason, object)
    said = ((~np.isin(marks.kind, KINDS), lambda k: f"its kind is '{marks.kind[k]}'; write object or bottom"),
            (np.isnan(count), lambda k: f"row {marks.row[k]:.1f} lies outside the image"),
            (np.isnan(share), lambda k: f"column {marks.column[k]:.1f} lies outside the {record.layout} side"
             if record.layout != "both" else f"column {marks.column[k]:.1f} lies outside the image"),
            (side == 0, lambda k: "it stands on the centre line, where port and starboard meet"))
    for wrong, words in said:
        for k in np.flatnonzero(wrong & (reason == "")):
            reason[k] = words(k)
    return reason


def _count(record: Record, marks: Marks, track: Track | None) -> np.ndarray:
    return row_times(record, marks.row, track).seconds if record.by_time else record.count(marks.row)


def _shadow(record: Record, marks: Marks, side: np.ndarray, share: np.ndarray,
            reason: Texts) -> tuple[np.ndarray, np.ndarray]:
    """Share of the edge's range at the shadow's end, NaN where there is none, and whether it runs off the record, which
    ends there; says what is wrong in ``reason``."""
    drawn = np.isfinite(marks.end_column)
    inner = np.clip(marks.end_column, 0, record.width)
    end_side, end_share = record.across(inner)
    off = drawn & ((marks.end_column <= _EDGE_PIXELS) & (side < 0)
                   | (marks.end_column >= record.width - _EDGE_PIXELS) & (side > 0))
    said = ((end_side != side, "object and shadow's end lie on different sides"),
            (np.isnan(end_share), "the shadow's end lies outside the image"),
            (end_share <= share, "the shadow's end is nearer than the object: draw the line from the object outwards"),
            (marks.kind == "bottom", "a bottom mark is a point, not a line"))
    for wrong, words in said:
        reason[drawn & wrong & (reason == "")] = words
    return np.where(drawn, end_share, np.nan), off


def _on_track(record: Record, track: Track | None, count: np.ndarray,
              time_offset: float) -> tuple[np.ndarray, np.ndarray, Poses | None]:
    """(stretch number, position in samples, Poses) of every mark; stretch 0 for all when there is no track."""
    if track is None:
        return np.zeros(len(count), int), np.full(len(count), np.nan), None
    # a depth of its own is what bottom points bring, so samples that lack nothing else are good enough
    track = replace(track, usable=track.usable | (track.reject_reason == "no depth"))
    runs = Runs(track, track.t_s if record.by_time else track.record_ping)
    if not len(runs):
        raise InputError("The track has no times; give the rows by ping." if record.by_time else
                         Message("The track carries no rising ping count. Give {prepare(fixes.ping)} in {prepare()}, "
                                 "or give the rows by {first_s} and {last_s}."))
    stretch = runs.find(count, np.full(len(count), "", object))[0]
    known = np.isfinite(count)
    if known.any() and not (stretch >= 0).any():
        raise InputError(no_overlap(count[known], runs, time_offset) if record.by_time else
                         Message("No pick falls on the track: the picks are on pings {low:.0f} to {high:.0f}, the "
                                 "track has {start:.0f} to {end:.0f}. Check {first_ping}, {pings_per_row} and "
                                 "{newest}.",
                                 low=count[known].min(), high=count[known].max(), start=runs.start.min(),
                                 end=runs.end.max()))
    position = runs.position(stretch, count)
    return stretch, position, Poses.at(track, position)


def _edge_range(record: Record, poses: Poses | None, size: int) -> np.ndarray:
    if record.edge_range_m is not None:
        return np.full(size, record.edge_range_m)
    return poses.range_m / np.where(np.isfinite(poses.range_ratio), poses.range_ratio, 1.0)


def _of_track(track: Track, poses: Poses, record: Record, columns: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """What the track says of each mark's moment: outing, pass, sample, and the other of time and ping."""
    tied = poses.tied
    sample = np.where(tied, poses.sample, 0)
    found = {"outing": np.where(tied, track.outing[sample], ""),
             "pass_id": np.where(tied, track.pass_id[sample], np.nan),
             "sample_id": np.where(tied, track.sample_id[sample], np.nan)}
    if record.by_time:
        found["ping"] = np.where(tied, track.record_ping[sample], np.nan)
    else:
        found["t_s"] = np.where(tied, poses.t_s, columns["t_s"])
    return found
