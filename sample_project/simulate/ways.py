"""Ways of a transducer over a plane floor: straight legs and arcs in closed form, or the steps of a sailed motion."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["Sailed", "Steered"]


@dataclass(frozen=True)
class Steered:
    """A way of pieces, each (length in m, speed in m/s, turn in degrees to starboard), from ``start`` (u, v in m) and
    ``azimuth_deg`` on at the time ``begin`` (s). ``crab_deg``: how far the bow points to starboard of the way."""

    pieces: tuple
    start: tuple = (0.0, 0.0)
    azimuth_deg: float = 0.0
    begin: float = 0.0
    crab_deg: float = 0.0

    @property
    def end(self):
        """Time at which the way ends."""
        return self.begin + sum(length / speed for length, speed, _ in self.pieces)

    def at(self, t):
        """(u, v, azimuth of the bow in rad, speed) at the times ``t``; straight on beyond both ends."""
        t = np.asarray(t, float)
        u, v, azimuth, speed = (np.zeros(t.shape) for _ in range(4))
        (u0, v0), a0, clock = self.start, np.radians(self.azimuth_deg), self.begin
        for number, (length, pace, turn) in enumerate(self.pieces):
            last = number == len(self.pieces) - 1
            mine = ((t >= clock) | (number == 0)) & ((t < clock + length / pace) | last)
            along = (t[mine] - clock) * pace
            inside = np.clip(along, 0, length)
            bend = np.radians(turn) / length
            du, dv, da = _arc(inside, a0, bend)
            over = along - inside  # beyond the ends: straight on
            azimuth[mine] = a0 + da
            u[mine], v[mine] = u0 + du + over * np.sin(a0 + da), v0 + dv + over * np.cos(a0 + da)
            speed[mine] = pace
            du, dv, da = _arc(np.array(length), a0, bend)
            u0, v0, a0, clock = u0 + du, v0 + dv, a0 + da, clock + length / pace
        return u, v, azimuth + np.radians(self.crab_deg), speed


def _arc(along, azimuth, bend):
    """Steps east and north and the turn (rad) after ``along`` metres on a curve of ``bend`` rad a metre."""
    turned = along * bend
    chord = along * np.sinc(turned / (2 * np.pi))
    return chord * np.sin(azimuth + turned / 2), chord * np.cos(azimuth + turned / 2), turned


@dataclass(frozen=True)
class Sailed:
    """A way by its steps, straight between them: (n,) arrays of time, u, v (m), azimuth of the fan's axis (rad, without
    jumps) and speed."""

    t: np.ndarray
    u: np.ndarray
    v: np.ndarray
    azimuth: np.ndarray
    speed: np.ndarray

    @property
    def begin(self):
        """First time."""
        return float(self.t[0])

    @property
    def end(self):
        """Last time."""
        return float(self.t[-1])

    def at(self, t):
        """(u, v, azimuth, speed) at the times ``t``."""
        return tuple(np.interp(t, self.t, values) for values in (self.u, self.v, self.azimuth, self.speed))
