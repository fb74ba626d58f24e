"""The boat at a moment between two samples of one unbroken run: what a pick is laid off from."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry.frame import horizontal_crs
from ..model.table import Floats, Ints, Table

__all__ = ["Poses", "Runs", "turned_between"]

_SLACK = 1e-3
"""Seconds (or pings) by which rounding may put a pick past the end of a run."""


def turned_between(first_deg, second_deg, share):
    """Angle a ``share`` of the short way from the first to the second, degrees 0 <= angle < 360.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.targets.poses import turned_between
    >>> turned_between(np.array([350.0]), np.array([10.0]), np.array([0.5])).tolist()
    [0.0]
    """
    step = (np.asarray(second_deg, float) - first_deg + 180.0) % 360.0 - 180.0
    return (first_deg + share * step) % 360.0


@dataclass(eq=False, repr=False)
class Poses(Table):
    """(n,) arrays, one row a pick, interpolated within its run; NaN where unknown, rows without a tie all NaN.

    ``sample`` is the index in the track of the nearer of the two samples, -1 without a tie. ``x``, ``y`` are in the
    track's crs; angles and velocity refer to true north.
    """

    sample: Ints
    x: Floats
    y: Floats
    t_s: Floats
    heading_deg: Floats
    vel_east: Floats
    vel_north: Floats
    turn_dps: Floats
    depth_m: Floats
    range_m: Floats
    range_ratio: Floats
    sound_speed_mps: Floats
    latency_s: Floats
    lever_forward_m: Floats
    lever_starboard_m: Floats
    mount_deg: Floats
    sigma_pos_m: Floats
    sigma_heading_deg: Floats

    @property
    def tied(self):
        """(n,) bool"""
        return self.sample >= 0

    @classmethod
    def at(cls, track, at):
        """Poses at positions counted in samples.

        Parameters
        ----------
        track : Track
        at : (n,) float array
            Index into the track, with its fraction of the way to the next sample of the same run; NaN: no tie.
        """
        tied = np.isfinite(at)
        where = np.where(tied, at, 0.0)
        i = np.floor(where).astype(int)
        share = where - i
        j = i + (share > 0)
        nearer = np.where(share < 0.5, i, j)

        def mixed(values):
            values = np.asarray(values, float)
            return np.where(tied, np.where(share > 0, values[i] + share * (values[j] - values[i]), values[i]), np.nan)

        def stepped(values):
            """Of the nearer sample: these change by steps, and a mean of two would be neither."""
            return np.where(tied, np.asarray(values, float)[nearer], np.nan)

        course = np.radians(np.where(np.isfinite(track.course_deg), track.course_deg, track.heading_deg))
        speed = np.nan_to_num(track.speed_mps)
        x = track.x[i] + share * _short_way(track.crs, track.x[j] - track.x[i])
        return cls(
            np.where(tied, nearer, -1), np.where(tied, x, np.nan), mixed(track.y), mixed(track.t_s),
            np.where(tied, turned_between(track.heading_deg[i], track.heading_deg[j], share), np.nan),
            mixed(speed * np.sin(course)), mixed(speed * np.cos(course)), mixed(np.nan_to_num(track.turn_dps)),
            mixed(track.depth_m), stepped(track.range_m), stepped(track.range_ratio), stepped(track.sound_speed_mps),
            stepped(track.latency_s), stepped(track.lever_forward_m), stepped(track.lever_starboard_m),
            stepped(track.mount_deg), mixed(track.sigma_pos_m), mixed(track.sigma_heading_deg))


def _short_way(crs, step):
    """Steps of x; in a geographic CRS never the long way round the Earth."""
    crs = horizontal_crs(crs)
    if not crs.is_geographic:
        return step
    turn = 2 * np.pi / crs.axis_info[0].unit_conversion_factor
    return (step + turn / 2) % turn - turn / 2


class Runs:
    """The unbroken runs of a track in the order of a key, such as time or the record's ping count.

    Parameters
    ----------
    track : Track
    key : (n,) array
        One value a sample; runs with an unknown value, or whose values fall, are left out.
    """

    def __init__(self, track, key):
        key = np.asarray(key, float)
        runs = [run for run in track.runs() if np.isfinite(key[run]).all() and (np.diff(key[run]) >= 0).all()]
        self.slices = sorted(runs, key=lambda run: key[run.start])
        self.key = key
        self.start = np.array([key[run.start] for run in self.slices])
        self.end = np.array([key[run.stop - 1] for run in self.slices])
        self.outing = np.array([track.outing[run.start] for run in self.slices], object)
        self.pass_id = np.array([track.pass_id[run.start] for run in self.slices], int)

    def __len__(self):
        return len(self.slices)

    def find(self, values, outing):
        """The run each value falls into.

        Parameters
        ----------
        values : (n,) array
            NaN finds nothing.
        outing : (n,) object array of str
            Only runs of that outing; '' for any.

        Returns
        -------
        run : (n,) int array
            -1 where there is none.
        others : (n,) int array
            Another run that holds the value as well, -1 where there is none.
        """
        run, others = np.full(len(values), -1), np.full(len(values), -1)
        if not len(self):
            return run, others
        furthest = np.maximum.accumulate(self.end) + _SLACK
        now = np.searchsorted(self.start, values + _SLACK, side="right") - 1
        live = np.flatnonzero(np.isfinite(values) & (now >= 0))
        while True:
            live = live[furthest[now[live]] >= values[live]]
            if not len(live):
                return run, others
            here = now[live]
            mine = (outing[live] == "") | (outing[live] == self.outing[here])
            first = mine & (run[live] < 0) & (self.end[here] + _SLACK >= values[live])
            again = mine & (run[live] >= 0) & (self.end[here] - _SLACK > values[live])
            run[live[first]], others[live[again]] = here[first], here[again]
            now[live] -= 1
            live = live[now[live] >= 0]

    def position(self, run, values):
        """Positions counted in samples (for ``Poses.at``) of ``values`` in their ``run``; NaN where run is -1."""
        at = np.full(len(values), np.nan)
        order = np.argsort(run, kind="stable")
        for rows in np.split(order, np.flatnonzero(np.diff(run[order])) + 1):
            if len(rows) and run[rows[0]] >= 0:
                piece = self.slices[run[rows[0]]]
                at[rows] = np.interp(values[rows], self.key[piece], np.arange(piece.start, piece.stop))
        return at
