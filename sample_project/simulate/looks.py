"""When the fan swept each object, where on the record it stands, and what hid it: marched over the true floor."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import lake
from .boat import GEOD, to_degrees, to_local, transducer

_MARCH_M = 0.1
_STEADY_DPS = 2.5
_SLOWEST_MPS = 0.7


@dataclass(frozen=True)
class Look:
    """One sweep of the fan over an object, all true.

    ``ground`` distance and the slants to the top of the object (``echo``, where its shadow begins) and to the end of
    its shadow (NaN when that leaves the record), ``depth`` the water under the transducer, all in metres; ``side`` -1
    port, +1 starboard; ``hidden`` when ground nearer the boat hides it.
    """

    label: str
    t: float
    leg: str
    side: int
    ground: float
    echo: float
    shadow_end: float
    depth: float
    range_m: float
    hidden: bool


def ranges_at(outing, motion):
    """Displayed range in force at every step of the outing (m)."""
    notes = np.array([leg.note for leg in outing.legs])[motion.leg.astype(int)]
    out = np.zeros(len(motion.t))
    for note, value in outing.ranges:
        out[np.flatnonzero(notes == note)[0]:] = value * outing.unit_m
    return out


def looks(outing, motion, things):
    """Every look of the outing at every thing within range on a steady stretch, in order of time."""
    lon, lat = transducer(motion, outing.boat)
    axis = motion.heading + outing.boat.mount_deg
    reach = ranges_at(outing, motion) / outing.boat.displayed
    steady = (np.abs(_smooth(motion.turn, 11)) < _STEADY_DPS) & (motion.speed > _SLOWEST_MPS)
    found = []
    for thing in things:
        place = [np.full(len(lon), float(x)) for x in to_degrees(thing.u, thing.v)]
        azimuth, _, distance = GEOD.inv(lon, lat, *place)
        relative = np.radians(azimuth - axis)
        ahead = distance * np.cos(relative)
        crossed = np.flatnonzero((ahead[:-1] > 0) & (ahead[1:] <= 0) & (distance[:-1] < reach[:-1]) & steady[:-1])
        for i in crossed:
            f = ahead[i] / (ahead[i] - ahead[i + 1])
            look = _look(outing, motion, thing, i, f, 1 if np.sin(relative[i]) > 0 else -1, lon, lat,
                         distance[i] + f * (distance[i + 1] - distance[i]), reach[i])
            if look is not None:
                found.append(look)
    return sorted(found, key=lambda look: look.t)


def _look(outing, motion, thing, i, f, side, lon, lat, ground, reach):
    """The look between steps ``i`` and ``i + 1``, or None when the object's echo lies past the range."""
    u, v = to_local(lon[i] + f * (lon[i + 1] - lon[i]), lat[i] + f * (lat[i + 1] - lat[i]))
    g = np.arange(_MARCH_M, reach, _MARCH_M)
    scale = g / max(ground, 0.5)
    draft = outing.boat.draft_m
    floor = lake.depth(u + scale * (thing.u - u), v + scale * (thing.v - v)) - draft
    under = float(lake.depth(u, v)) - draft
    foot = float(lake.depth(thing.u, thing.v)) - draft
    top = foot - thing.height
    echo = np.hypot(ground, top)
    if echo > reach:
        return None
    ray = top / max(ground, 0.5) * g
    hidden = bool(np.any(floor[g < ground - 0.5] < ray[g < ground - 0.5]))
    behind = np.flatnonzero((g > ground) & (ray >= floor))
    end = np.hypot(g[behind[0]], floor[behind[0]]) if len(behind) else np.nan
    return Look(thing.label, motion.t[i] + f * (motion.t[i + 1] - motion.t[i]),
                outing.legs[int(motion.leg[i])].note, side, ground, echo,
                end if end <= reach else np.nan, under, reach, hidden)


def _smooth(values, width):
    return np.convolve(values, np.ones(width) / width, mode="same")
