"""What a pick and its sample say, as the error budget takes it."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model.table import Bools, Floats, Table
from ..uncertainty.nadir import TerrainGround

__all__ = ["Observations"]

ROWS = 8192
"""Picks worked on at a time, so that their figures stay in the processor's cache."""


@dataclass(eq=False, repr=False)
class Observations(Table):
    """What a pick and its sample say, (n,) arrays in true metres, degrees and seconds.

    ``side`` -1 or +1, 0 unknown; ``slant`` to the object, or to the start of its shadow where ``shadow_end`` is not
    NaN; ``depth`` under the transducer; ``azimuth_deg`` of the fan's forward axis from true north; velocity to true
    east and north; ``turn_dps`` positive to starboard; lever arm as applied; ``course_heading`` True where the heading
    is the course; ``depth_scales`` True where the depth came off a sounder, so that it errs with the sound speed as the
    range does; ``ground_reading`` True where a ground range was read; ``sound_speed`` of the water (m/s). Then the
    sigmas that differ from pick to pick: ``sigma_bias``, ``sigma_pass``, ``sigma_jitter`` (m), ``sigma_heading``
    (degrees), ``sigma_time`` (s). ``terrain`` is None, or a ``nadir.TerrainGround`` from a depth grid. ``open_shadow``
    is None, or True where the shadow runs off the record, so that ``shadow_end`` is the least it can be.
    """

    side: Floats
    slant: Floats
    shadow_end: Floats
    depth: Floats
    azimuth_deg: Floats
    vel_east: Floats
    vel_north: Floats
    turn_dps: Floats
    lever_forward: Floats
    lever_starboard: Floats
    course_heading: Bools
    depth_scales: Bools
    ground_reading: Bools
    sound_speed: Floats
    sigma_bias: Floats
    sigma_pass: Floats
    sigma_jitter: Floats
    sigma_heading: Floats
    sigma_time: Floats
    terrain: TerrainGround | None = None
    open_shadow: Bools | None = None

    def tabulate(self, columns):
        """(k, n) table of the k columns that ``columns(picks)`` gives.

        Asked for ``ROWS`` picks at a time, and written into one table: memory for it comes in larger pages than for
        as many arrays.
        """
        table = None
        for start in range(0, max(len(self), 1), ROWS):
            rows = slice(start, start + ROWS)
            found = columns(self.take(rows))
            if table is None:
                table = np.empty((len(found), len(self)))
            for row, values in zip(table, found):
                row[rows] = values
        return table
