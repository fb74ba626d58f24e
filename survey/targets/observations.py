"""What a pick and its sample say, as the error budget takes it."""
from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

__all__ = ["Observations"]

ROWS = 8192
"""Picks worked on at a time, so that their figures stay in the processor's cache."""


@dataclass
class Observations:
    """What a pick and its sample say, (n,) arrays in true metres, degrees and seconds.

    ``side`` -1 or +1, 0 unknown; ``slant`` to the object, or to the start of its shadow where ``shadow_end`` is not
    NaN; ``depth`` under the transducer; ``azimuth_deg`` of the fan's forward axis from true north; velocity to true
    east and north; ``turn_dps`` positive to starboard; lever arm as applied; ``course_heading`` True where the heading
    is the course; ``depth_scales`` True where the depth came off a sounder, so that it errs with the sound speed as the
    range does; ``ground_reading`` True where a ground range was read; ``sound_speed`` of the water (m/s). Then the
    sigmas that differ from pick to pick: ``bias``, ``slow``, ``jitter`` (m), ``sigma_heading`` (degrees),
    ``sigma_time`` (s). ``terrain`` is None, or a ``nadir.TerrainGround`` from a depth grid. ``open_shadow`` is None, or
    True where the shadow runs off the record, so that ``shadow_end`` is the least it can be.
    """

    side: np.ndarray
    slant: np.ndarray
    shadow_end: np.ndarray
    depth: np.ndarray
    azimuth_deg: np.ndarray
    vel_east: np.ndarray
    vel_north: np.ndarray
    turn_dps: np.ndarray
    lever_forward: np.ndarray
    lever_starboard: np.ndarray
    course_heading: np.ndarray
    depth_scales: np.ndarray
    ground_reading: np.ndarray
    sound_speed: np.ndarray
    bias: np.ndarray
    slow: np.ndarray
    jitter: np.ndarray
    sigma_heading: np.ndarray
    sigma_time: np.ndarray
    terrain: object = None
    open_shadow: object = None

    def __len__(self):
        return len(self.side)

    def take(self, rows):
        """The picks of a slice."""
        columns = [getattr(self, f.name)[rows] for f in fields(self) if f.name not in ("terrain", "open_shadow")]
        return Observations(*columns, None if self.terrain is None else self.terrain.take(rows),
                            None if self.open_shadow is None else self.open_shadow[rows])

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
