"""The record of one line as a picture: newest ping on top, port left, slant range across, nothing corrected."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import lake
from .boat import to_local, transducer
from .floors import raised

PINGS_PER_S = 4.0
PIXEL_M = 0.125
"""Displayed slant range of a pixel (m)."""

_GROUND_M = 0.04
_BEAM_DEG = 1.2
_GREYS = 18


@dataclass(frozen=True)
class Record:
    """``grey`` (rows, columns) uint8; ``t`` (rows,) true time of each row; ``centre`` the column where both sides meet;
    ``edge_m`` the displayed range at the outer edges."""

    grey: np.ndarray
    t: np.ndarray
    centre: int
    edge_m: float

    def pixel(self, t, side, slant_m):
        """Column and row, from the top left corner, of a displayed slant range (m) at a time."""
        row = np.interp(-t, -self.t, np.arange(len(self.t)) + 0.5)
        return self.centre + side * slant_m / PIXEL_M, row


def draw(outing, motion, things, rng):
    """The record of the outing's leg ``record_note``."""
    leg = [leg.note for leg in outing.legs].index(outing.record_note)
    begin, end = motion.t[motion.leg == leg][[0, -1]]
    steady = motion.t[(motion.leg == leg) & (np.abs(motion.turn) < 2.0) & (motion.t > begin + 20)]
    t = np.arange(steady[0], end - 2, 1 / PINGS_PER_S)
    edge = dict(outing.ranges)[outing.record_note] * outing.unit_m
    bins = int(edge / PIXEL_M)
    lon, lat = transducer(motion, outing.boat)
    u, v = to_local(np.interp(t, motion.t, lon), np.interp(t, motion.t, lat))
    ahead = np.radians(motion.at(t)[2] + outing.boat.mount_deg - _true_of_grid(outing, motion))
    halves = [_side(outing, u, v, ahead, side, things, bins, rng) for side in (-1, 1)]
    power = np.hstack([halves[0][:, ::-1], halves[1]])
    shown = np.clip(0.50 * power ** 0.6, 0, 1)
    grey = np.round(shown * (_GREYS - 1)) * (255 / (_GREYS - 1))
    return Record(grey[::-1].astype(np.uint8), t[::-1], bins, edge)


def _true_of_grid(outing, motion):
    """Convergence (degrees) where the boat is."""
    (u0, u1), (v0, v1) = to_local(motion.lon[[0, 0]], motion.lat[0] + np.array([0.0, 1e-3]))
    return -np.degrees(np.arctan2(u1 - u0, v1 - v0))


def _side(outing, u, v, ahead, side, things, bins, rng):
    """Echo power (pings, bins) of one side: flat returns about 1, shadow and water near 0."""
    displayed = outing.boat.displayed
    ground = np.arange(_GROUND_M, bins * PIXEL_M / displayed, _GROUND_M)
    east, north = np.cos(ahead) * side, -np.sin(ahead) * side
    eu, nv = u[:, None] + east[:, None] * ground, v[:, None] + north[:, None] * ground
    floor = lake.depth(eu, nv) - outing.boat.draft_m
    height, shine = raised(eu, nv, things)
    z = floor - height
    ray = z / ground
    seen = ray <= np.minimum.accumulate(ray, axis=1) + 1e-9
    slant = np.hypot(ground, z)
    slope = np.gradient(z, _GROUND_M, axis=1)
    facing = np.clip((z - ground * slope) / (slant * np.sqrt(1 + slope ** 2)), 0.02, 1.0)
    strength = np.where(seen, facing * _bottom(eu, nv) * shine, 0.0)
    index = (slant * displayed / PIXEL_M).astype(int)
    power = np.zeros((len(u), bins))
    for k in range(len(u)):
        inside = index[k] < bins
        power[k] = np.bincount(index[k][inside], strength[k][inside], bins)[:bins] * _GROUND_M / PIXEL_M
    power = _blur_along(power, np.hypot(np.diff(u), np.diff(v)).mean())
    speckle = rng.gamma(5.0, 1 / 5.0, power.shape)
    clutter = 0.008 * rng.gamma(1.0, 1.0, power.shape)
    return power * speckle + clutter


def _bottom(u, v):
    """Brightness of the floor: mud, sand and stony patches, rippled at the scale of metres."""
    patches = lake.mottle(u, v)
    return 0.85 * np.exp(0.55 * patches[0] + 0.30 * patches[1])


def _blur_along(power, step_m):
    """Smear along the track: a beam of ``_BEAM_DEG`` is wider the farther it goes."""
    out = np.empty_like(power)
    slant = (np.arange(power.shape[1]) + 0.5) * PIXEL_M
    sigma = slant * np.radians(_BEAM_DEG) / 2.355 / step_m
    for reach in range(3):
        weight = np.exp(-0.5 * (reach / np.maximum(sigma, 0.15)) ** 2)
        if reach == 0:
            out[:], total = power * weight, weight.copy()
            continue
        out[reach:] += power[:-reach] * weight
        out[:-reach] += power[reach:] * weight
        total += 2 * weight
    return out / total
