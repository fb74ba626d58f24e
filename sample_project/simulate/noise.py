"""Everything that stands between what happened and what was written down, in three blocks.

outing: the same all day. pass: changes over minutes, from one line to the next. own: fresh in every reading.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

BLOCKS = {
    "outing": {
        "gnss_bias_m": (2.0, "standard deviation of the GNSS bias of the day, each axis; one draw an outing"),
    },
    "pass": {
        "gnss_drift_m": (0.5, "standard deviation of the slow GNSS drift, each axis"),
        "gnss_drift_s": (240.0, "its correlation time"),
        "compass_deviation_deg": (3.2, "amplitude of the compass deviation: it changes with the heading"),
    },
    "own": {
        "gnss_jitter_m": (0.5, "standard deviation of the GNSS jitter, each axis"),
        "gnss_jitter_s": (4.0, "its correlation time: the receiver smooths"),
        "compass_deg": (0.6, "standard deviation of a compass reading"),
        "sounder_m": (0.06, "standard deviation of a sounder reading"),
        "pick_time_s": (0.5, "standard deviation of the time read off the record"),
        "pick_slant_m": (0.3, "standard deviation of a slant range read off the record"),
        "pick_depth_m": (0.2, "standard deviation of a depth read off the record"),
        "mark_delay_s": (1.0, "mean delay of a hand that presses the mark button"),
        "mark_spread_s": (0.45, "standard deviation of that delay"),
    },
}


def size(block, name):
    """The number of an entry of ``BLOCKS``."""
    return BLOCKS[block][name][0]


@dataclass(frozen=True)
class Boat:
    """What is true of a boat and its instruments all day; nobody aboard knows it to the digit.

    ``latency_s``: a fix stamped T was true at T less this. ``forward_m``, ``starboard_m``: transducer minus antenna.
    ``mount_deg``: clockwise turn of the transducer. ``draft_m``: transducer below the surface. ``assumed_mps``: sound
    speed the sounder reckons with; ``water_c``: temperature of the water. ``compass_bias_deg``: constant deviation.
    ``variation_deg``: magnetic variation, east positive.
    """

    name: str
    latency_s: float
    forward_m: float
    starboard_m: float
    mount_deg: float
    draft_m: float
    assumed_mps: float
    water_c: float
    compass_bias_deg: float = 0.0
    variation_deg: float = 0.0

    @property
    def sound_mps(self):
        """Speed of sound in fresh water (m/s): Bilaniuk and Wong 1993, 148 points, as corrected in 1996."""
        return np.polynomial.polynomial.polyval(
            self.water_c, [1402.38744, 5.03836171, -5.81172916e-2, 3.34638117e-4, -1.48259672e-6, 3.16585020e-9])

    @property
    def displayed(self):
        """Displayed over true range and depth."""
        return self.assumed_mps / self.sound_mps


def wander(t, sigma, tau, rng):
    """A Gauss-Markov process of standard deviation ``sigma`` and correlation time ``tau`` (s) at the times ``t``."""
    keep = np.exp(-np.diff(t) / tau)
    shock = sigma * rng.standard_normal(len(t))
    out = np.empty(len(t))
    out[0] = shock[0]
    for k, r in enumerate(keep):
        out[k + 1] = r * out[k] + np.sqrt(1 - r * r) * shock[k + 1]
    return out


@dataclass(frozen=True)
class Gnss:
    """Errors of the receiver over an outing (m, east and north) at the times ``t``: bias, drift and jitter."""

    t: np.ndarray
    bias: np.ndarray
    drift: np.ndarray
    jitter: np.ndarray

    @classmethod
    def draw(cls, t, rng):
        """One day's errors."""
        def two(block, stem):
            return np.array([wander(t, size(block, f"{stem}_m"), size(block, f"{stem}_s"), rng) for _ in range(2)])

        return cls(t, rng.normal(0, size("outing", "gnss_bias_m"), 2), two("pass", "gnss_drift"),
                   two("own", "gnss_jitter"))

    def at(self, t):
        """East and north error (m) at the times ``t``."""
        total = self.bias[:, None] + self.drift + self.jitter
        return np.interp(t, self.t, total[0]), np.interp(t, self.t, total[1])


def compass(boat, heading, rng):
    """Magnetic reading (degrees) for true headings: constant and heading-dependent deviation, needle's swing."""
    h = np.radians(heading)
    swing = size("pass", "compass_deviation_deg")
    deviation = boat.compass_bias_deg + swing * (0.8 * np.sin(h + 0.7) + 0.45 * np.cos(2 * h))
    return (heading - boat.variation_deg + deviation + rng.normal(0, size("own", "compass_deg"), len(h))) % 360
