"""Picks made on a mapped record -> picks as the record has them: side, slant range and moment found back.

The map was made from the record, and its source says of each cell which pass, sample and slant range it shows. A point
on it is carried back the same way: the moment at which the fan of that pass points at it, the side, and the slant range
over the depth that the map was made with. So it comes to the same target, with the same errors, as a pick on the
picture.
"""
from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..geometry.frame import frames_for
from ..model.errors import InputError
from ..model.messages import Message
from ..model.table import Floats, Table, Texts
from ..targets.poses import Poses

if TYPE_CHECKING:
    from ..geometry.frame import Frame
    from ..model.track import Track
    from ..targets.picks import Picks

__all__ = ["MapSource", "picks_from_map"]

_SAMPLES = 2.0
"""The moment lies within so many samples of the one that the source names."""

_HALVINGS = 50


@dataclass(eq=False, repr=False)
class MapSource(Table):
    """What the source of a mapped record says at (n,) points; NaN and '' beside the map.

    ``x``, ``y``: the middle of the cell, in the track's crs. ``outing``, ``pass_id``, ``sample_id``: what it shows.
    ``slant_m``: true slant range of the cell's middle, negative to port.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> one = np.array([1.0])
    >>> cell = athwart.MapSource(500012 * one, 4500101 * one, np.array(["a"], object), one, 50 * one, -13 * one)
    >>> len(cell), cell.slant_m.tolist()
    (1, [-13.0])
    """

    x: Floats
    y: Floats
    outing: Texts
    pass_id: Floats
    sample_id: Floats
    slant_m: Floats


def picks_from_map(track: Track, picks: Picks, source: MapSource, own_depth: bool = False) -> Picks:
    """Picks on a mapped record as picks on the record.

    Parameters
    ----------
    track : Track
    picks : Picks
        With ``x``, ``y`` in the track's crs.
    source : MapSource
        At the same points.
    own_depth : bool
        The map was made with depths off the record (picked or traced) over a flat floor: they go along as the picks'
        own.

    Returns
    -------
    Picks
        With side, slant and moment (time, ping) of the record, without their points; ``reason`` says why one has none.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> away = np.arange(0.0, 202.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=30.0, depth_m=5.0)).track
    >>> x, y = np.array([500012.0]), np.array([4500101.0])
    >>> cell = athwart.MapSource(x, y, track.outing[:1], np.array([1.0]), track.sample_id[50:51], np.array([13.0]))
    >>> found = athwart.picks_from_map(track, athwart.Picks.of(1, x=x, y=y), cell)
    >>> found.side.tolist(), found.slant_m.round(2).tolist(), found.t_s.round(2).tolist()
    ([1.0], [13.0], [50.5])
    """
    track = replace(track, usable=track.usable | (track.reject_reason == "no depth") & np.isfinite(track.heading_deg))
    reason = picks.reason.astype(object).copy()
    sample = _samples(track, source)
    beside = ~np.isfinite(source.slant_m)
    reason[beside & (reason == "")] = "it lies where the map shows nothing of the record"
    lost = ~beside & (sample < 0)
    for k in np.flatnonzero(lost & (reason == "")):
        reason[k] = (f"the map shows pass {source.pass_id[k]:.0f} of outing '{source.outing[k]}' there, sample "
                     f"{source.sample_id[k]:.0f}, which the track lacks")
    if not (sample >= 0).any() and lost.any():
        raise InputError(Message("The map's source names passes that the track does not have, such as pass "
                                 "{pass_id:.0f} of outing '{outing}'. Give the track that the map was made with.",
                                 pass_id=source.pass_id[lost][0], outing=source.outing[lost][0]), field="source")
    at, across = _abeam(track, sample, picks.x, picks.y)
    middle = _abeam(track, sample, source.x, source.y)[1]
    reason[np.isnan(at) & (sample >= 0) & (reason == "")] = "the fan of its pass points at it nowhere near that sample"
    poses = Poses.at(track, at)
    # what the map was made with: R^2 - G^2 is the same all over a cell, however the bed lies
    under2 = np.maximum(np.square(source.slant_m) - np.square(middle), 0.0)
    ratio = np.where(np.isfinite(poses.range_ratio), poses.range_ratio, 1.0)
    good = (reason == "") & np.isfinite(at)
    side = np.where(good, np.sign(source.slant_m), 0)
    slant = np.where(good, np.sqrt(np.square(across) + under2) / ratio, np.nan)
    depth = np.where(good, np.sqrt(under2) / ratio, np.nan) if own_depth else picks.depth_m
    blank = np.full(len(picks), np.nan)
    return replace(picks, x=blank, y=blank.copy(), t_s=np.where(good, poses.t_s, np.nan), ping=_pings(track, at),
                   outing=np.where(good, track.outing[np.maximum(sample, 0)], "").astype(object),
                   side=side, slant_m=slant, depth_m=depth, reason=reason)


def _samples(track: Track, source: MapSource) -> np.ndarray:
    """(n,) index in the track of each point's sample, -1 for none."""
    of = {(outing, pass_id, sample): k for k, (outing, pass_id, sample) in enumerate(zip(
        track.outing.tolist(), track.pass_id.tolist(), track.sample_id.tolist())) if track.usable[k]}
    known = np.isfinite(source.slant_m)
    return np.array([of.get((outing, int(a), int(b)), -1) if ok else -1 for ok, outing, a, b in zip(
        known, source.outing, np.nan_to_num(source.pass_id), np.nan_to_num(source.sample_id))], int)


def _abeam(track: Track, sample: np.ndarray, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n,) position in samples near ``sample`` at which the fan points at a place, and the place's distance to
    starboard there (m); NaN where there is none."""
    at, across = np.full(len(sample), np.nan), np.full(len(sample), np.nan)
    ok = np.flatnonzero((sample >= 0) & np.isfinite(x) & np.isfinite(y))
    if not len(ok):
        return at, across
    first, last = np.zeros(len(track)), np.zeros(len(track))
    for run in track.runs():
        first[run], last[run] = run.start, run.stop - 1
    for frame, piece in frames_for(track.crs, track.x[sample[ok]], track.y[sample[ok]], track.pass_key()[sample[ok]]):
        rows = ok[piece]
        place = np.column_stack(frame.forward(x[rows], y[rows]))

        def off(position: np.ndarray, frame: Frame = frame, place: np.ndarray = place) -> tuple[np.ndarray, np.ndarray]:
            """(ahead, to starboard) of the transducer, m."""
            poses = Poses.at(track, position)
            at_boat = np.column_stack(frame.forward(poses.x, poses.y))
            a = np.radians(poses.heading_deg + np.nan_to_num(poses.mount_deg) - frame.convergence(*at_boat.T))
            away = place - at_boat
            return (away[:, 0] * np.sin(a) + away[:, 1] * np.cos(a), away[:, 0] * np.cos(a) - away[:, 1] * np.sin(a))
        low = np.maximum(sample[rows] - _SAMPLES, first[sample[rows]])
        high = np.minimum(sample[rows] + _SAMPLES, last[sample[rows]])
        ends = off(low)[0], off(high)[0]
        met = (ends[0] >= -0.01) & (ends[1] <= 0.01) & (high > low)
        for _ in range(_HALVINGS):
            half = (low + high) / 2
            before = off(half)[0] > 0
            low, high = np.where(before, half, low), np.where(before, high, half)
        at[rows[met]], across[rows[met]] = low[met], off(low)[1][met]
    return at, across


def _pings(track: Track, at: np.ndarray) -> np.ndarray:
    tied = np.isfinite(at)
    where = np.where(tied, at, 0.0)
    i = np.floor(where).astype(int)
    j = np.minimum(i + 1, len(track) - 1)
    ping = np.asarray(track.record_ping, float)
    share = where - i
    return np.where(tied, np.where(share > 0, ping[i] + share * (ping[j] - ping[i]), ping[i]), np.nan)
