"""The depth under each row of a record image: from the track, from picks of the bottom, or traced on the image."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message
from ..model.table import Bools, Floats, Table
from .bottom_trace import trace_bottom
from .image_picks import HOLD_PINGS, HOLD_S, depth_between

if TYPE_CHECKING:
    from collections.abc import Callable

    from .picture import Record
    from .record_image import RecordImage
    from .row_beams import Rows

__all__ = ["BOTTOMS", "BottomPicks", "RowDepths", "depth_of_rows"]

BOTTOMS = ("track", "picks", "traced")


@dataclass(eq=False, repr=False)
class BottomPicks(Table):
    """Picks of the bottom: ``ping`` by the record's count and ``t_s`` (s since 1970 UTC), one of the two known;
    ``depth_m`` as displayed.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> picks = athwart.BottomPicks(np.array([10.0, 20.0]), np.array([np.nan, np.nan]), np.array([4.5, 5.0]))
    >>> len(picks), picks.depth_m.tolist()
    (2, [4.5, 5.0])
    """

    ping: Floats
    t_s: Floats
    depth_m: Floats


@dataclass(eq=False, repr=False)
class RowDepths(Table):
    """For each row of an image ``depth_m``, water under the transducer (true m). ``pixels``: where the bottom was
    traced or picked, from the centre column, NaN where it was not. ``sure``: the image or the track shows it.
    ``held``: picks are too far, the track's depth stands."""

    depth_m: Floats
    pixels: Floats
    sure: Bools
    held: Bools


def depth_of_rows(image: RecordImage, rows: Rows, bottom: str, picks: BottomPicks = None,
                  step: Callable[[float], object] = None) -> RowDepths:
    """Depths under the rows of an image.

    Parameters
    ----------
    image : survey.record.record_image.RecordImage
    rows : survey.record.row_beams.Rows
        With the track's depths.
    bottom : str
        One of ``BOTTOMS``.
    picks : BottomPicks, optional
    step : callable, optional

    Returns
    -------
    RowDepths
    """
    count = len(rows)
    known = np.isfinite(rows.edge_m)
    if bottom == "track":
        return RowDepths(rows.depth_m, np.full(count, np.nan), np.ones(count, bool), np.zeros(count, bool))
    if bottom == "traced":
        traced = trace_bottom(image.greys(), image.record, _together(image.record, rows), step=step)
        depth = traced.pixels / image.record.reach * rows.edge_m
        return RowDepths(depth, traced.pixels, traced.sure | ~known, np.zeros(count, bool))
    if picks is None or not len(picks):
        raise InputError(Message("There are no bottom picks: give {picks}, or take the depth from the track or from "
                                 "the image."))
    by_time = image.record.by_time
    at = picks.t_s if by_time else picks.ping
    stretch = _stretch_of(at, rows)
    if not (stretch >= 0).any():
        raise InputError(Message("None of the {count} bottom picks falls on a row of the image '{name}'. They are "
                                 "given by {how}, as the rows are.", count=len(picks), name=image.name,
                                 how="their time" if by_time else "their ping"), field="picks")
    blank = np.full(count, np.nan)
    found = depth_between(np.append(at, rows.count), np.append(stretch, rows.stretch),
                          np.append(picks.depth_m, blank), np.append(np.ones(len(at), bool), np.zeros(count, bool)),
                          HOLD_S if by_time else HOLD_PINGS)[len(at):] * rows.ratio
    held = known & ~np.isfinite(found)
    pixels = found / rows.edge_m * image.record.reach
    return RowDepths(np.where(held, rows.depth_m, found), pixels, np.ones(count, bool), held)


def _together(record: Record, rows: Rows) -> np.ndarray:
    """(rows,) number of the stretch within which the bottom goes on: one range, one run, no missing rows."""
    new = np.zeros(len(rows), bool)
    edge = np.nan_to_num(rows.edge_m / rows.ratio)
    new[1:] = (np.abs(np.diff(edge)) > 1e-6) | (np.diff(rows.stretch) != 0)
    for at, _ in record.dropped:
        new[at] = True
    return np.cumsum(new)


def _stretch_of(at: np.ndarray, rows: Rows) -> np.ndarray:
    """(n,) the run of the track that picks lie on, by the rows of the image: -1 for none."""
    order = np.argsort(rows.count, kind="stable")
    order = order[np.isfinite(rows.count[order])]
    near = order[np.clip(np.searchsorted(rows.count[order], at), 0, len(order) - 1)]
    step = np.median(np.abs(np.diff(rows.count))) if len(rows) > 1 else 1.0
    return np.where(np.abs(rows.count[near] - at) <= 2 * step, rows.stretch[near], -1)
