"""Beams set in between where the boat turns: between sparse fixes a turn is an arc, not a corner.

The path from one sample to the next is the cubic that has their courses at its ends and the length of a circle's arc
(its handles are those that come closest to a circle); the fan turns evenly along it. On such an arc the centre of the
turn lies at its own v / |omega|, length over angle.
"""
from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from ..beams.pointing import Beams
from ..geometry.ground import wrapped

__all__ = ["Laid", "laid"]

SAGITTA_M = 0.05
"""How far the outer edge between two beams may stray from its arc."""

OVERLAP_M = 1e-3
"""Where the range changes, the strip that ends reaches so far into the next: two that only abut part again by
nanometres when they are joined, and a margin taken off such a seam eats metres."""

_LEAST_DEG, _MOST_DEG = 2.0, 15.0

_STEADY = 3.0
"""A fan that swings more than this many times as fast as the boat turns is noisy, not turning."""

_ASTRAY_DEG = 120.0
"""A course this far off the way to the next sample is none to draw an arc with."""


@dataclass
class Laid:
    """Strip rows with beams set between them.

    ``rows``, ``track``, ``beams``: StripRows, Track and Beams of (m,) rows. ``real`` (m,): position among the rows that
    were given, -1 for those set in between. ``low`` (m,): that position, of the row before for those in between, and
    ``share`` how far they lie from it to the next.
    """

    rows: Any
    track: Any
    beams: Beams
    real: np.ndarray
    low: np.ndarray
    share: np.ndarray

    def mixed(self, values):
        """(k,) values at the rows given -> (m,), straight in between."""
        high = np.minimum(self.low + 1, len(values) - 1)
        return np.where(self.share > 0, values[self.low] * (1 - self.share) + values[high] * self.share,
                        values[self.low])


def laid(rows, track, beams):
    """Beams set in between where the boat turns.

    Parameters
    ----------
    rows : survey.swaths.fan.StripRows
    track : survey.model.track.Track
        One sample for each row.
    beams : survey.beams.pointing.Beams
        Likewise, in a frame.

    Returns
    -------
    Laid
    """
    number = np.arange(len(rows.sample))
    beams = _overlapping(rows, track, beams)
    turns = _Turns(rows, track, beams) if len(number) > 1 else None
    if turns is None or not (turns.pieces > 1).any():
        return Laid(rows, track, beams, number, number, np.zeros(len(number)))
    pieces = np.append(turns.pieces, 1)
    low = np.repeat(number, pieces)
    share = (np.arange(len(low)) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / pieces[low]
    between = np.flatnonzero(share > 0)
    made = Laid(rows.take(low), turns.track.take(low), None, np.where(share > 0, -1, low), low, share)
    made.beams = Beams(*(getattr(beams, f.name)[low] for f in fields(Beams)))
    turns.place(made, between)
    for name in ("t_s", "depth_m", "sigma_heading_deg", "sigma_pos_m"):
        getattr(made.track, name)[between] = made.mixed(getattr(track, name))[between]
    return made


def _overlapping(rows, track, beams):
    """The beams, those that end a strip within a pass put ``OVERLAP_M`` further on."""
    lent = np.flatnonzero(rows.held[:-2] & (rows.strip[2:] == rows.strip[1:-1]))
    lent = lent[track.pass_id[lent] == track.pass_id[np.maximum(lent - 1, 0)]]
    if not len(lent):
        return beams
    at = np.column_stack([beams.east, beams.north])
    onward = at[lent + 2] - at[lent]
    step = OVERLAP_M * onward / np.maximum(np.hypot(*onward.T), OVERLAP_M)[:, None]
    east, north = beams.east.copy(), beams.north.copy()
    east[lent] += step[:, 0]
    north[lent] += step[:, 1]
    return replace(beams, east=east, north=north)


class _Turns:
    """Arcs from each row to the next: into how many ``pieces`` (k - 1,) they are cut, 1 where there is none.

    ``track``: the Track with speed and turn rate, where arcs meet, as they are on the arcs.
    """

    def __init__(self, rows, track, beams):
        self.beams = beams
        self.swing = np.nan_to_num(wrapped(np.diff(beams.azimuth_deg)))
        at = np.column_stack([beams.east, beams.north])
        self.chord = np.diff(at, axis=0)
        step = np.hypot(*self.chord.T)
        reach = np.fmax(rows.range_m[:-1], rows.range_m[1:])
        with np.errstate(invalid="ignore", divide="ignore"):
            allowed = np.degrees(2 * np.arccos(np.clip(1 - SAGITTA_M / reach, -1, 1))).clip(_LEAST_DEG, _MOST_DEG)
            clock = np.diff(track.t_s)
            speed = np.fmax(track.speed_mps[:-1], track.speed_mps[1:])
            self.seconds = np.where(clock > 0, clock, step / speed)
            way = np.sign(self.swing)
            rate = np.fmax(np.fmax(way * track.turn_dps[:-1], way * track.turn_dps[1:]), 0.0)
            bent = ((rows.strip[1:] == rows.strip[:-1]) & (step > 0) & (np.abs(self.swing) > allowed)
                    & (np.abs(self.swing) <= _STEADY * rate * self.seconds))
        self.pieces = np.where(bent, np.ceil(np.abs(self.swing) / np.where(bent, allowed, 1)), 1).astype(int)
        self._handles(track, step)
        with np.errstate(invalid="ignore", divide="ignore"):
            self.speed, self.rate = self.length / self.seconds, self.swing / self.seconds
        self.track = track
        both = np.flatnonzero(bent[1:] & bent[:-1] & (self.swing[1:] * self.swing[:-1] > 0)) + 1
        if len(both):
            self.track = track.take(slice(None))
            for name, values in (("speed_mps", self.speed), ("turn_dps", self.rate)):
                own = getattr(track, name).copy()
                own[both] = (values[both - 1] + values[both]) / 2
                setattr(self.track, name, own)

    def _handles(self, track, step):
        """Tangents (k - 1, 2) of the cubics at both ends, three handles long, and their ``length``."""
        convergence = track.heading_deg + track.mount_deg - self.beams.azimuth_deg
        course = np.radians(track.course_deg - convergence)
        along = np.column_stack([np.sin(course), np.cos(course)])
        leaving, arriving = along[:-1], along[1:]
        bend = np.abs(wrapped(np.degrees(np.diff(course))))
        with np.errstate(invalid="ignore", divide="ignore"):
            ahead = [(end * self.chord).sum(axis=1) / step for end in (leaving, arriving)]
            sound = np.minimum(*ahead) > np.cos(np.radians(_ASTRAY_DEG))
        long = step / np.square(np.cos(np.radians(np.where(sound, bend, 0.0) / 4)))
        self.leaving = np.where(sound[:, None], long[:, None] * leaving, self.chord)
        self.arriving = np.where(sound[:, None], long[:, None] * arriving, self.chord)
        half = np.radians(np.where(sound, bend, 0.0) / 2)
        self.length = step * np.where(half > 0, half / np.where(half > 0, np.sin(half), 1), 1.0)

    def place(self, laid, between):
        """Put the beams set in between on their arcs."""
        low, share = laid.low[between], laid.share[between]
        t = share[:, None]
        start = np.column_stack([self.beams.east, self.beams.north])
        moved = ((3 * t**2 - 2 * t**3) * self.chord[low] + (t - 2 * t**2 + t**3) * self.leaving[low]
                 + (t**3 - t**2) * self.arriving[low])
        at = start[low] + moved
        azimuth = self.beams.azimuth_deg[low] + share * self.swing[low]
        a = np.radians(azimuth)
        beams, track = laid.beams, laid.track
        beams.east[between], beams.north[between], beams.azimuth_deg[between] = at[:, 0], at[:, 1], azimuth
        beams.forward[between] = np.column_stack([np.sin(a), np.cos(a)])
        beams.starboard[between] = np.column_stack([np.cos(a), -np.sin(a)])
        track.heading_deg[between] = track.heading_deg[between] + share * self.swing[low]
        track.speed_mps[between], track.turn_dps[between] = self.speed[low], self.rate[low]
