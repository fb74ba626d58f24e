"""The rows of a record image laid on the track: where the fan stood, and at which rows of the image.

Between two samples of the track the transducer runs straight, its heading turns evenly and the rows go by evenly, as
for picks: what is read off the image and what is seen on the map is one place.
"""
from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..beams.pointing import Beams, turn_reach
from ..geometry.frame import Frame
from ..model import patience
from ..model.errors import InputError
from ..model.messages import Message
from ..model.table import Bools, Floats, Ints, Table
from ..targets.match import no_overlap
from ..targets.poses import Poses, Runs
from ..targets.rowtimes import row_times

__all__ = ["RowBeams", "Rows", "counts_of", "lay_rows"]


@dataclass(eq=False, repr=False)
class Rows(Table):
    """What stands in each row of an image, from the top; NaN and -1 where no stretch of the track covers the row.

    ``count``: the record's ping, or seconds since 1970 UTC. ``stretch``: the unbroken run of the track. ``sample``: the
    nearest sample of the track. ``edge_m``: true slant range at the edge of the image (m). ``ratio``: true over
    displayed range. ``depth_m``: water under the transducer (true m). ``t_s``: seconds since 1970 UTC.
    """

    count: Floats
    stretch: Ints
    sample: Ints
    edge_m: Floats
    ratio: Floats
    depth_m: Floats
    t_s: Floats


@dataclass(eq=False, repr=False)
class RowBeams(Table):
    """Fans set at samples of the track, at the ends of runs, and where rows are missing.

    ``east``, ``north`` (frame metres) and ``along`` (n, 2), one metre to starboard. ``row``: at which row of the image,
    counted from its top edge. ``sample``: nearest sample of the track, ``position`` the same with its fraction.
    ``reach_port``, ``reach_starboard``: ground range (m) where the beam starts to run backwards. ``drawn``: the image
    shows what lies between this fan and the next, ``turned`` that it is left out because the boat turned too sharply.
    """

    east: Floats
    north: Floats
    along: Floats
    row: Floats
    sample: Ints
    position: Floats
    reach_port: Floats
    reach_starboard: Floats
    drawn: Bools
    turned: Bools


def counts_of(record, rows, track):
    """The record's own count at pixel rows, by ping or seconds; see ``picture.Record.count``."""
    return row_times(record, rows, track).seconds if record.by_time else record.count(rows)


def lay_rows(record, track, keep_turns=False, own_depth=False, time_offset=0.0):
    """Rows and fans of an image.

    Parameters
    ----------
    record : survey.record.picture.Record
    track : survey.model.track.Track
    keep_turns : bool
        Draw also where the centre of a turn lies within the range.
    own_depth : bool
        The depth comes from the record, so samples without one will do.
    time_offset : float, h
        What was added to the record's clock already; only for the message.

    Returns
    -------
    (Rows, RowBeams, Frame)

    Raises
    ------
    InputError
        If the image does not meet the track, or two outings at once.
    """
    if own_depth:
        track = replace(track, usable=track.usable | (track.reject_reason == "no depth"))
    runs = Runs(track, track.t_s if record.by_time else track.record_ping)
    middles = np.arange(record.height) + 0.5
    count = counts_of(record, middles, track)
    if not len(runs):
        raise InputError(Message("The track has no times; give the rows by ping with {first_ping}.")
                         if record.by_time else
                         Message("The track carries no rising ping count. Give {prepare(fixes.ping)} in {prepare()}, "
                                 "or give the rows by {first_s} and {last_s}."))
    stretch, other = runs.find(count, np.full(len(count), "", object))
    _refuse_two(runs, stretch, other)
    if not (stretch >= 0).any():
        raise InputError(no_overlap(count, runs, time_offset) if record.by_time else
                         Message("No row falls on the track: the image has pings {low:.0f} to {high:.0f}, the track "
                                 "{start:.0f} to {end:.0f}. Check {first_ping}, {pings_per_row} and {newest}.",
                                 low=count.min(), high=count.max(), start=runs.start.min(), end=runs.end.max()))
    position = runs.position(stretch, count)
    poses = Poses.at(track, position)
    ratio = np.where(np.isfinite(poses.range_ratio), poses.range_ratio, 1.0)
    edge = poses.range_m if record.edge_range_m is None else np.where(poses.tied, record.edge_range_m * ratio, np.nan)
    rows = Rows(count, stretch, poses.sample, edge, np.where(poses.tied, ratio, np.nan), poses.depth_m, poses.t_s)
    patience.look()
    frame = Frame.around(track.crs, poses.x[poses.tied], poses.y[poses.tied])
    return rows, _fans(record, track, frame, runs, rows, keep_turns), frame


def _refuse_two(runs, stretch, other):
    twice = np.flatnonzero(other >= 0)
    if not len(twice):
        return
    row = twice[0]
    one, two = (f"outing '{runs.outing[k]}', pass {runs.pass_id[k]}" for k in (stretch[row], other[row]))
    raise InputError(Message("{count} rows of the image fall on two stretches of the track at once, such as row {row} "
                             "on {one} and {two}. Select the outing that the image is of.", count=len(twice), row=row,
                             one=one, two=two), field="track")


def _pieces(record):
    """(first, end) rows of the stretches between rows that are missing, the oldest first."""
    cuts = sorted({0, record.height, *(at for at, _ in record.dropped)})
    pieces = list(zip(cuts[:-1], cuts[1:]))
    return pieces if record.newest == "bottom" else pieces[::-1]


def _fans(record, track, frame, runs, rows, keep_turns):
    found = []
    for first, end in _pieces(record):
        edges = np.arange(first, end + 1, dtype=float)
        edges[-1] = np.nextafter(end, -np.inf)  # at the very edge the missing rows would be counted
        count = counts_of(record, edges, track)
        edges[-1] = end
        order = slice(None) if record.newest == "bottom" else slice(None, None, -1)
        edges, count = edges[order], count[order]
        for number in range(len(runs)):
            low, high = max(count[0], runs.start[number]), min(count[-1], runs.end[number])
            if low < high:
                found.append(_stretch(runs, number, low, high, edges, count))
    if not found:
        raise InputError("The image has one row on the track only; it takes two to draw a strip.", field="track")
    position, row = (np.concatenate(part) for part in zip(*found))
    last = np.zeros(len(row), bool)
    last[np.cumsum([len(part[0]) for part in found]) - 1] = True
    poses = Poses.at(track, position)
    beams = Beams.of(_Posed(poses), frame)
    speed, turn = np.hypot(poses.vel_east, poses.vel_north), poses.turn_dps
    reach = {side: turn_reach(speed, turn, side) for side in (-1, 1)}
    edge = rows.edge_m[np.clip(row.astype(int), 0, record.height - 1)]
    sharp = np.minimum(reach[-1], reach[1]) < edge
    turned = ~last & (sharp | np.append(sharp[1:], False)) & (not keep_turns)
    known = np.isfinite(beams.azimuth_deg)
    drawn = ~last & ~turned & known & np.append(known[1:], False)
    return RowBeams(beams.east, beams.north, beams.starboard, row, poses.sample, position, reach[-1], reach[1], drawn,
                    turned)


def _stretch(runs, number, low, high, edges, count):
    """(position in samples, row) of the fans of one run within one stretch of rows."""
    piece = runs.slices[number]
    key = runs.key[piece]
    at = np.unique(np.concatenate([[low, high], key[(key > low) & (key < high)]]))
    return np.interp(at, key, np.arange(piece.start, piece.stop)), np.interp(at, count, edges)


class _Posed:
    """Poses as the track that ``Beams.of`` reads."""

    def __init__(self, poses):
        self.x, self.y, self.heading_deg, self.mount_deg = poses.x, poses.y, poses.heading_deg, poses.mount_deg
