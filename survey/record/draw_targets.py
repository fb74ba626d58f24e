"""Known targets on a new picture of the record: where each of them will show, and how far off it may be.

A target shows in the row in which the fan points at it, at the slant range of its ground range over the depth of that
row. Its ellipse is carried over point by point, widened by what the new record may err: the position of the boat, and
its heading times the range. So it is where the object is to be looked for, at the confidence of the target.
"""
from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..geometry import shapes
from ..model import patience
from ..model.errors import InputError
from ..model.table import Floats, Table, Texts
from ..model.track import side_name
from ..uncertainty import ellipses
from .row_beams import lay_rows

__all__ = ["DrawnTargets", "KnownTargets", "draw_on_record"]


@dataclass(eq=False, repr=False)
class KnownTargets(Table):
    """(n,) arrays: ``target_id``, ``label``, ``x``, ``y`` in the track's crs, ``sigma_east_m``, ``sigma_north_m``,
    ``cov_en_m2`` and ``confidence_pct`` as in ``schemas.TARGETS``.

    Examples
    --------
    >>> import athwart
    >>> known = athwart.KnownTargets([1.0, 2.0], "log", [5.0, 6.0], [7.0, 8.0], 2.0, 2.0, 0.0, 95.0)
    >>> len(known), known.x.tolist()
    (2, [5.0, 6.0])
    """

    target_id: Floats
    label: Texts
    x: Floats
    y: Floats
    sigma_east_m: Floats
    sigma_north_m: Floats
    cov_en_m2: Floats
    confidence_pct: Floats


@dataclass
class DrawnTargets:
    """``columns``: (n,) arrays by the names of ``schemas.DRAWN_TARGETS``, a row for each time the picture shows a
    target; ``outlines``: n polygons in pixels (column, row from the top); ``source``: (n,) index of the target;
    ``unseen``: (k,) indices of targets that the picture does not show."""

    columns: dict
    outlines: list
    source: np.ndarray
    unseen: np.ndarray


def draw_on_record(record: Any, track: Any, targets: Any) -> Any:
    """Draw known targets on a picture's pixels.

    Parameters
    ----------
    record : Record
    track : Track
        Of the outing that the picture is of.
    targets : KnownTargets

    Returns
    -------
    DrawnTargets

    Raises
    ------
    InputError
        If the picture does not meet the track.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> away = np.arange(0.0, 202.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=30.0, depth_m=5.0)).track
    >>> record = athwart.Record(600, 101, newest="bottom", first_s=0.0, last_s=100.0)
    >>> one, name = np.ones(1), np.array(["crib"], object)
    >>> known = athwart.KnownTargets(one, name, 500012 * one, 4500100 * one, one, one, 0 * one, 95 * one)
    >>> found = athwart.draw_on_record(record, track, known)
    >>> found.columns["column"].round(0).tolist(), found.columns["row"].round(1).tolist()
    ([430.0], [50.5])
    """
    if not len(targets):
        raise InputError("There is no target to draw.", field="targets")
    rows, beams, frame = lay_rows(record, track, keep_turns=True)
    fans = _Fans(record, track, rows, beams)
    place = np.column_stack(frame.forward(targets.x, targets.y))
    east, north = place.T
    # true north of the ellipse to the grid of the frame
    convergence = np.radians(frame.convergence(east, north))
    sources: list[int] = []
    at, outlines = [], []
    for k in range(len(targets)):
        patience.look()
        if not np.isfinite(place[k]).all():
            continue
        for look in fans.looks(place[k]):
            sources.append(k)
            at.append(look)
            outlines.append(fans.ellipse(place[k], look, targets, k, convergence[k]))
    source = np.array(sources, int)
    columns = _columns(fans, targets, source, at)
    return DrawnTargets(columns, outlines, source, np.setdiff1d(np.arange(len(targets)), source))


class _Fans:
    """Fans of a picture that places are carried back to."""

    def __init__(self, record: Any, track: Any, rows: Any, beams: Any) -> None:
        self.record, self.track, self.rows, self.beams = record, track, rows, beams
        self.at = np.column_stack([beams.east, beams.north])
        self.ahead = np.column_stack([-beams.along[:, 1], beams.along[:, 0]])
        self.drawn = np.flatnonzero(beams.drawn[:-1])
        self.sides = {"both": (-1, 1), "port": (-1,), "starboard": (1,)}[record.layout]

    def crossings(self, place: Any, intervals: Any) -> Any:
        """(share, metres to starboard) of a place in intervals between fans; NaN where the beams do not meet it."""
        first, last = intervals, intervals + 1
        before = ((place - self.at[first]) * self.ahead[first]).sum(axis=1)
        after = ((place - self.at[last]) * self.ahead[last]).sum(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            share = before / (before - after)
        share = np.where((before >= 0) & (after < 0) | (before < 0) & (after >= 0), share, np.nan)
        starboard = [((place - self.at[end]) * self.beams.along[end]).sum(axis=1) for end in (first, last)]
        return share, starboard[0] + share * (starboard[1] - starboard[0])

    def row(self, interval: Any, share: Any) -> Any:
        """Row, with its fraction, of a share of an interval."""
        return self.beams.row[interval] + share * (self.beams.row[interval + 1] - self.beams.row[interval])

    def line(self, row: Any) -> Any:
        """The whole row of the picture that holds it."""
        return np.clip(np.asarray(row).astype(int), 0, self.record.height - 1)

    def column(self, row: Any, across: Any, side: Any) -> Any:
        """Column at a ground range to starboard (m) that counts on one side only: beyond the track it is zero."""
        line = self.line(row)
        slant = np.hypot(np.maximum(np.asarray(across) * side, 0.0), self.rows.depth_m[line])
        return self.record.centre + side * slant / self.rows.edge_m[line] * self.record.reach

    def looks(self, place: Any) -> Any:
        """[(interval, share, metres to starboard)] of every time that the picture shows a place."""
        share, across = self.crossings(place, self.drawn)
        found = []
        for k in np.flatnonzero(np.isfinite(share)).tolist():
            side = 1 if across[k] >= 0 else -1
            row = float(self.row(self.drawn[k], share[k]))
            column = float(self.column(row, across[k], side))
            if side in self.sides and np.isfinite(column) and 0 <= column <= self.record.width:
                found.append((int(self.drawn[k]), float(share[k]), float(across[k])))
        return found

    def spread(self, look: Any, targets: Any, k: Any, convergence: Any) -> Any:
        """(2, 2) covariance in the frame of a target and of the record at a look."""
        interval, _, across = look
        cos, sin = np.cos(convergence), np.sin(convergence)
        turn = np.array([[cos, -sin], [sin, cos]])  # true east, north -> grid
        own = np.array([[targets.sigma_east_m[k] ** 2, targets.cov_en_m2[k]],
                        [targets.cov_en_m2[k], targets.sigma_north_m[k] ** 2]])
        sample = self.beams.sample[interval]
        ahead = self.ahead[interval]
        heading = np.radians(np.nan_to_num(self.track.sigma_heading_deg[sample])) * across
        return (turn @ own @ turn.T + np.nan_to_num(self.track.sigma_pos_m[sample]) ** 2 * np.eye(2)
                + heading ** 2 * np.outer(ahead, ahead))

    def ellipse(self, place: Any, look: Any, targets: Any, k: Any, convergence: Any) -> Any:
        """The ellipse of a look in pixels; what lies beyond the track stands at the edge of the water column."""
        cov = self.spread(look, targets, k, convergence)
        major, minor, azimuth = ellipses.axes(np.array([cov[0, 0]]), np.array([cov[0, 1]]), np.array([cov[1, 1]]))
        scale = ellipses.scale_factor(targets.confidence_pct[k] / 100)
        ring = ellipses.rings(place[:1], place[1:], scale * major, scale * minor, azimuth)[0]
        interval, _, across = look
        side = 1 if across >= 0 else -1
        own_row = float(self.row(interval, look[1]))
        pixels = [self._near(point, own_row, interval, side) for point in ring]
        return shapes.polygon(np.array(pixels))

    def _near(self, point: Any, own_row: Any, interval: Any, side: Any) -> Any:
        """(column, row) of a point of an ellipse: at the crossing nearest to the row of its target, carried on straight
        from there where the picture ends."""
        share, across = self.crossings(point, self.drawn)
        hit = np.flatnonzero(np.isfinite(share))
        if len(hit):
            rows = self.row(self.drawn[hit], share[hit])
            best = int(np.argmin(np.abs(rows - own_row)))
            row, across = float(rows[best]), float(across[hit[best]])
        else:
            pace = float(np.hypot(*(self.at[interval + 1] - self.at[interval])))
            ahead = float((point - self.at[interval]) @ self.ahead[interval])
            row = float(self.row(interval, ahead / max(pace, 1e-6)))
            across = float((point - self.at[interval]) @ self.beams.along[interval])
        return float(self.column(row, across, side)), row


def _columns(fans: Any, targets: Any, source: Any, at: Any) -> Any:
    record, rows = fans.record, fans.rows
    interval = np.array([look[0] for look in at], int)
    share, across = (np.array([look[k] for look in at], float) for k in (1, 2))
    side = np.where(across >= 0, 1, -1)
    row = fans.row(interval, share) if len(at) else np.empty(0)
    line = fans.line(row)
    column = fans.column(row, across, side) if len(at) else np.empty(0)
    sample = fans.beams.sample[interval] if len(at) else interval
    east, north = (np.square(values[source]) for values in (targets.sigma_east_m, targets.sigma_north_m))
    ahead = fans.ahead[interval] if len(at) else np.empty((0, 2))
    mixed = 2 * targets.cov_en_m2[source] * ahead[:, 0] * ahead[:, 1]
    along2 = east * ahead[:, 0] ** 2 + north * ahead[:, 1] ** 2 + mixed
    across2 = east * ahead[:, 1] ** 2 + north * ahead[:, 0] ** 2 - mixed
    own2 = np.square(np.nan_to_num(fans.track.sigma_pos_m[sample]))
    heading2 = np.square(np.radians(np.nan_to_num(fans.track.sigma_heading_deg[sample])) * across)
    pace = np.hypot(*(fans.at[interval + 1] - fans.at[interval]).T) if len(at) else np.empty(0)
    many = np.abs(fans.beams.row[interval + 1] - fans.beams.row[interval]) if len(at) else np.empty(0)
    slant = np.hypot(across, rows.depth_m[line]) if len(at) else np.empty(0)
    with np.errstate(divide="ignore", invalid="ignore"):
        a_row = many / pace
        a_column = np.abs(across) / slant / rows.edge_m[line] * record.reach
    look = np.array([1 + np.count_nonzero(source[:k] == one) for k, one in enumerate(source)], int)
    count = rows.count[line]
    return {"target_id": targets.target_id[source], "label": targets.label[source], "look": look, "column": column,
            "row": row, "side": np.array([side_name(one) for one in side], object), "slant_m": slant / rows.ratio[line],
            "ping": np.asarray(fans.track.record_ping, float)[sample] if record.by_time else count,
            "t_s": rows.t_s[line], "sigma_row": np.sqrt(along2 + own2 + heading2) * a_row,
            "sigma_column": np.sqrt(across2 + own2) * a_column, "confidence_pct": targets.confidence_pct[source]}
