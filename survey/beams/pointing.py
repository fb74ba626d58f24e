"""Where the fan of each sample points, in a survey frame."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model.table import Floats, Table

__all__ = ["Beams", "turn_reach"]


@dataclass(eq=False, repr=False)
class Beams(Table):
    """Athwartships geometry of (n,) samples in frame metres.

    ``east``, ``north``: the transducer. ``azimuth_deg``: grid azimuth of the fan's forward axis, heading plus mount
    angle minus convergence. ``forward``, ``starboard``: (n, 2) unit vectors (east, north) of that axis and its right.
    A point at ground range G on ``side`` (-1 port, +1 starboard) is ``position + side * G * starboard``.
    """

    east: Floats
    north: Floats
    azimuth_deg: Floats
    forward: Floats
    starboard: Floats

    @classmethod
    def of(cls, track, frame):
        """Beams of every sample of a Track in a Frame."""
        east, north = (np.asarray(v, float) for v in frame.forward(track.x, track.y))
        azimuth = track.heading_deg + track.mount_deg - frame.convergence(east, north)
        a = np.radians(azimuth)
        return cls(east, north, azimuth, np.column_stack([np.sin(a), np.cos(a)]),
                   np.column_stack([np.cos(a), -np.sin(a)]))

    def points(self, side, ground):
        """(n, 2) positions at ground range ``ground`` (m, (n,) or scalar) on ``side`` (-1 or +1)."""
        reach = np.broadcast_to(side * np.asarray(ground, float), self.east.shape)
        return np.column_stack([self.east, self.north]) + reach[:, None] * self.starboard


def turn_reach(speed_mps, turn_dps, side):
    """Ground range beyond which the inner side of a turn runs backwards, v / |omega|.

    Parameters
    ----------
    speed_mps, turn_dps : (n,) arrays
        Turn rate positive to starboard; NaN counts as straight.
    side : {-1, +1}

    Returns
    -------
    (n,) array, m
        Infinite on the outer side and where the boat does not turn.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.beams.pointing import turn_reach
    >>> turn_reach(np.array([2.0, 2.0]), np.array([5.0, 0.0]), 1).round(2).tolist()
    [22.92, inf]
    """
    omega = np.radians(np.nan_to_num(np.asarray(turn_dps, float)))
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = np.asarray(speed_mps, float) / np.abs(omega)
    return np.where(omega * side > 0, reach, np.inf)
