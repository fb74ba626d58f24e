"""Points on the map -> positions along the track: marks made on the boat, and marks made at the object."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..beams.pointing import Beams
from ..geometry.frame import frames_for
from ..model.table import Floats, Table

__all__ = ["Abeam", "Nearest", "abeam", "nearest"]

_CHUNK = 2_000_000
END_SLACK_M = 0.5
"""Before its first and after its last sample a run still counts as abeam of a point this far along the track."""


@dataclass(eq=False, repr=False)
class Nearest(Table):
    """(n,) arrays: ``at`` position counted in samples of the nearest pass, ``distance`` to it (m), and the same of the
    nearest sample of any other pass; NaN and infinity where there is none."""

    at: Floats
    distance: Floats
    other_at: Floats
    other_distance: Floats


@dataclass(eq=False, repr=False)
class Abeam(Table):
    """(n,) arrays: ``at`` position counted in samples where the fan points at the mark, NaN where it nowhere does
    within range; ``ground`` distance to starboard of the track there (m), negative to port."""

    at: Floats
    ground: Floats


def nearest(track, x, y, within):
    """Nearest place of the antenna's way to each mark, and the nearest of another pass.

    Parameters
    ----------
    track : Track
    x, y : (n,) arrays
        Marks in the track's crs; NaN finds nothing.
    within : float, m
        Other passes are only looked for this near.

    Returns
    -------
    Nearest

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.targets.nearest_pass import nearest
    >>> import athwart
    >>> away = np.arange(0.0, 102.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=30.0, depth_m=5.0)).track
    >>> found = nearest(track, np.array([500003.0]), np.array([4500050.0]), 20.0)
    >>> found.distance.round(1).tolist()
    [3.0]
    """
    count = len(x)
    found = Nearest(np.full(count, np.nan), np.full(count, np.inf), np.full(count, np.nan), np.full(count, np.inf))
    owner = np.full(count, -1)
    for mark, way, first, key in _pieces(track, x, y, _antenna):
        for start, line in _lines(way):
            gap = _gap(line, mark)
            close = np.flatnonzero((gap <= np.maximum(within, found.distance)) & np.isfinite(gap))
            if not len(close):
                continue
            at, distance = _projected(line, mark[close])
            _merge(found, owner, close, at + first[start], distance, key[start])
    return found


def _merge(found, owner, rows, at, distance, key):
    """Keep the nearest place, and the nearest one of any other pass."""
    better = distance < found.distance[rows]
    moved = rows[better & (owner[rows] != key) & (owner[rows] >= 0)]
    found.other_at[moved], found.other_distance[moved] = found.at[moved], found.distance[moved]
    wins = rows[better]
    found.at[wins], found.distance[wins], owner[wins] = at[better], distance[better], key
    second = ~better & (owner[rows] != key) & (distance < found.other_distance[rows])
    found.other_at[rows[second]], found.other_distance[rows[second]] = at[second], distance[second]


def abeam(track, x, y, only):
    """Where along the track each mark lies abeam within range, nearest to the boat where several passes saw it.

    Parameters
    ----------
    track : Track
    x, y : (n,) arrays
        Marks in the track's crs.
    only : (n,) int array
        Number of the one pass (``Track.pass_key``) to look in, -1 for all.

    Returns
    -------
    Abeam
    """
    count = len(x)
    found = Abeam(np.full(count, np.nan), np.full(count, np.nan))
    best = np.full(count, np.inf)
    for mark, way, first, key in _pieces(track, x, y, _fan):
        for start, line in _lines(way):
            reach = np.nanmax(line[:, 6])
            rows = np.flatnonzero((_gap(line, mark) <= reach) & ((only < 0) | (only == key[start])))
            if not len(rows) or len(line) < 2:
                continue
            at, ground = _crossed(line, mark[rows])
            wins = np.abs(ground) < best[rows]
            best[rows[wins]] = np.abs(ground[wins])
            found.at[rows[wins]], found.ground[rows[wins]] = at[wins] + first[start], ground[wins]
    return found


def _pieces(track, x, y, columns):
    """Yield (marks, per-sample columns, index in the track, pass number) for each frame that serves a part of it.

    The first two columns are east and north.
    """
    usable = np.flatnonzero(track.usable)
    if not len(usable):
        return
    key = track.pass_key()
    for frame, piece in frames_for(track.crs, track.x[usable], track.y[usable], key[usable]):
        index = usable[piece]
        east, north = frame.forward(np.asarray(x, float), np.asarray(y, float))
        mark = np.column_stack([east, north])
        mark[~np.isfinite(mark).all(axis=1)] = np.nan
        part = track.take(index)
        yield mark, (part, columns(part, Beams.of(part, frame))), index, key[index]


def _antenna(part, beams):
    azimuth = np.radians(beams.azimuth_deg - part.mount_deg)
    sin_a, cos_a = np.sin(azimuth), np.cos(azimuth)
    forward, starboard = np.nan_to_num(part.lever_forward_m), np.nan_to_num(part.lever_starboard_m)
    return np.column_stack([beams.east - forward * sin_a - starboard * cos_a,
                            beams.north - forward * cos_a + starboard * sin_a])


def _fan(part, beams):
    depth = np.nan_to_num(part.depth_m)
    reach = np.sqrt(np.maximum(np.square(part.range_m) - np.square(depth), 0.0))
    return np.column_stack([beams.east, beams.north, beams.forward, beams.starboard, reach])


def _lines(way):
    part, columns = way
    for run in part.runs():
        yield run.start, columns[run]


def _gap(line, mark):
    """Distance (m) of each mark from the extent of a line; never more than that from the line itself."""
    low, high = line[:, :2].min(axis=0), line[:, :2].max(axis=0)
    return np.hypot(*np.maximum(np.maximum(low - mark, mark - high), 0.0).T)


def _projected(line, mark):
    """(k,) position along a line (counted in its vertices) nearest to each of (k, 2) marks, and the distance."""
    if len(line) == 1:
        return np.zeros(len(mark)), np.hypot(*(mark - line[0]).T)
    step = np.diff(line, axis=0)
    length2 = np.maximum(np.square(step).sum(axis=1), 1e-12)
    at, distance = np.empty(len(mark)), np.empty(len(mark))
    for rows in _chunks(len(mark), len(step)):
        away = mark[rows, None, :] - line[None, :-1, :]
        share = np.clip((away * step).sum(axis=2) / length2, 0.0, 1.0)
        off = np.hypot(*np.moveaxis(away - share[:, :, None] * step, 2, 0))
        which = off.argmin(axis=1)
        row = np.arange(len(which))
        at[rows], distance[rows] = which + share[row, which], off[row, which]
    return at, distance


def _crossed(line, mark):
    """Where the fan's axis sweeps over each mark, at the nearest crossing within reach: position and ground range."""
    at, ground = np.full(len(mark), np.nan), np.full(len(mark), np.inf)
    for rows in _chunks(len(mark), len(line)):
        away = mark[rows, None, :] - line[None, :, :2]
        ahead = (away * line[:, 2:4]).sum(axis=2)
        right = (away * line[:, 4:6]).sum(axis=2)
        with np.errstate(divide="ignore", invalid="ignore"):
            share = ahead[:, :-1] / (ahead[:, :-1] - ahead[:, 1:])
        share = np.where((share >= 0) & (share <= 1), share, np.nan)
        for end, column in ((0, 0), (-1, 1)):
            near = np.isnan(share[:, end]) & (np.abs(ahead[:, end]) <= END_SLACK_M)
            share[near, end] = column
        across = right[:, :-1] + share * np.diff(right, axis=1)
        seen = np.abs(across) <= line[:-1, 6] + share * np.diff(line[:, 6])
        size = np.where(seen, np.abs(across), np.inf)
        which = size.argmin(axis=1)
        row = np.arange(len(which))
        good = np.isfinite(size[row, which])
        at[rows] = np.where(good, which + share[row, which], np.nan)
        ground[rows] = np.where(good, across[row, which], np.inf)
    return at, ground


def _chunks(rows, columns):
    """Slices of rows that keep rows x columns tables small."""
    size = max(1, _CHUNK // max(columns, 1))
    return [slice(first, first + size) for first in range(0, rows, size)]
