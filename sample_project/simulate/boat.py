"""How the boat really went: a helmsman following a plan, wind pushing him, carried along WGS84 geodesics."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from pyproj import Geod, Transformer

from . import lake

GEOD = Geod(ellps="WGS84")
STEP_S = 0.2
_LOOK_AHEAD_M = 14.0
_ARRIVED_M = 2.0
_WEAVE_DEG, _WEAVE_S = 1.6, 7.0

_to_map = Transformer.from_crs(4326, lake.EPSG, always_xy=True)
_to_degrees = Transformer.from_crs(lake.EPSG, 4326, always_xy=True)


def to_local(lon, lat):
    """WGS84 degrees -> local metres (u, v) of the lake."""
    east, north = _to_map.transform(lon, lat)
    return np.asarray(east) - lake.ORIGIN[0], np.asarray(north) - lake.ORIGIN[1]


def to_degrees(u, v):
    """Local metres of the lake -> WGS84 degrees (lon, lat)."""
    return _to_degrees.transform(np.asarray(u) + lake.ORIGIN[0], np.asarray(v) + lake.ORIGIN[1])


@dataclass(frozen=True)
class Leg:
    """Run from ``start`` to ``end`` (local metres) at ``speed`` (m/s); rest ``stop_s`` at ``stop_at_m`` along it.

    ``note`` names the leg in the truth; legs called 'turn' are not lines of the plan.
    """

    start: tuple
    end: tuple
    speed: float
    note: str
    stop_at_m: float = -1.0
    stop_s: float = 0.0


@dataclass(frozen=True)
class Motion:
    """True antenna positions every ``STEP_S`` seconds.

    ``t`` seconds since 1970 UTC; ``lon``, ``lat`` degrees; ``heading``, ``course`` degrees from true north; ``speed``
    over ground (m/s); ``turn`` heading rate (degrees/s); ``leg`` the number of the leg in the plan.
    """

    t: np.ndarray
    lon: np.ndarray
    lat: np.ndarray
    heading: np.ndarray
    course: np.ndarray
    speed: np.ndarray
    turn: np.ndarray
    leg: np.ndarray

    def at(self, t):
        """Longitude, latitude, heading, course and speed at the times ``t``, straight between steps."""
        angles = [np.degrees(np.unwrap(np.radians(a))) for a in (self.heading, self.course)]
        return (np.interp(t, self.t, self.lon), np.interp(t, self.t, self.lat),
                *(np.interp(t, self.t, a) % 360 for a in angles), np.interp(t, self.t, self.speed))


def sail(legs, start_s, drift, rng):
    """Sail the ``legs`` from ``start_s``; ``drift`` is the push of the wind (m/s towards east, towards north)."""
    convergence = _grid_convergence()
    lon, lat = (float(x) for x in to_degrees(*legs[0].start))
    heading = _azimuth(legs[0]) + convergence
    speed, weave, t, rows = 0.6, 0.0, start_s, []
    for number, leg in enumerate(legs):
        azimuth = _azimuth(leg)
        length = math.hypot(leg.end[0] - leg.start[0], leg.end[1] - leg.start[1])
        resting, rested = False, leg.stop_s <= 0
        rest_until = 0.0
        while True:
            u, v = (float(x) for x in to_local(lon, lat))
            along, across = _on_leg(leg, azimuth, u, v)
            if along > length - _ARRIVED_M:
                break
            if not rested and not resting and along > leg.stop_at_m:
                resting, rest_until = True, t + leg.stop_s
            if resting and t > rest_until:
                resting, rested = False, True
            # steer for a point ahead on the line; wind and hand make the bow wander
            aim = azimuth - math.degrees(math.atan2(across, _LOOK_AHEAD_M)) + convergence
            crab = _crab(aim, drift, max(speed, 0.8))
            weave += -weave * STEP_S / _WEAVE_S + _WEAVE_DEG * math.sqrt(2 * STEP_S / _WEAVE_S) * rng.standard_normal()
            error = (aim - crab + weave - heading + 180) % 360 - 180
            turn = max(-9.0, min(9.0, 0.45 * error)) * min(speed / 1.0, 1.0)
            heading = (heading + turn * STEP_S) % 360
            wanted = 0.0 if resting else leg.speed * (0.8 if abs(turn) > 4 else 1.0)
            speed += (wanted - speed) * STEP_S / 3.0 + 0.03 * math.sqrt(STEP_S) * rng.standard_normal()
            speed = max(speed, 0.0)
            east = speed * math.sin(math.radians(heading)) + drift[0]
            north = speed * math.cos(math.radians(heading)) + drift[1]
            course, over_ground = math.degrees(math.atan2(east, north)) % 360, math.hypot(east, north)
            rows.append((t, lon, lat, heading, course, over_ground, turn, number))
            lon, lat, _ = GEOD.fwd(lon, lat, course, over_ground * STEP_S)
            t += STEP_S
    return Motion(*np.array(rows).T)


def _azimuth(leg):
    return math.degrees(math.atan2(leg.end[0] - leg.start[0], leg.end[1] - leg.start[1]))


def _on_leg(leg, azimuth, u, v):
    """How far along the leg, and how far to its right, the point is."""
    s, c = math.sin(math.radians(azimuth)), math.cos(math.radians(azimuth))
    east, north = u - leg.start[0], v - leg.start[1]
    return east * s + north * c, east * c - north * s


def _crab(course, drift, speed):
    """Degrees the helmsman holds into the wind: most of what it takes, not all."""
    right = drift[0] * math.cos(math.radians(course)) - drift[1] * math.sin(math.radians(course))
    return 0.8 * math.degrees(math.asin(max(-0.5, min(0.5, right / speed))))


def _grid_convergence():
    """True azimuth of grid north at the lake, degrees."""
    (lon, lon2), (lat, lat2) = to_degrees([0.0, 0.0], [0.0, 100.0])
    return GEOD.inv(lon, lat, lon2, lat2)[0]


def transducer(motion, boat):
    """True place of the transducer at every step: longitude, latitude (degrees)."""
    lon, lat, _ = GEOD.fwd(motion.lon, motion.lat, motion.heading, np.full(len(motion.t), boat.forward_m))
    lon, lat, _ = GEOD.fwd(lon, lat, motion.heading + 90, np.full(len(motion.t), boat.starboard_m))
    return lon, lat
