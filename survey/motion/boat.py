"""Stage 2 of a track: where the transducer was at sonar time, how the boat ran and where its bow pointed."""
from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..geometry import ground
from ..model.errors import InputError
from ..model.messages import Message
from .compass import compass_warning
from .course import motion_of
from .headings import COMPASS, Headings, headings
from .latency import Latency

__all__ = ["BoatMotion", "boat_motion", "compass_doubt"]


@dataclass
class BoatMotion:
    """The boat at (n,) samples: fixes that a latency leaves inside their stretch.

    ``kept``: places of the samples among the clean fixes, ``lost`` those of the others. ``rows`` of the input.
    ``clock_s``: sonar time. ``stretch``: unbroken where equal. ``lon``, ``lat`` (degrees): of the transducer, later of
    where its fan strikes. ``speed_mps``, ``turn_dps``: over ground. ``bow``: Headings. ``way_m``: metres made good.
    """

    kept: np.ndarray
    lost: np.ndarray
    rows: np.ndarray
    clock_s: np.ndarray
    stretch: np.ndarray
    lon: np.ndarray
    lat: np.ndarray
    speed_mps: np.ndarray
    turn_dps: np.ndarray
    bow: Headings
    way_m: np.ndarray

    def moved(self, geod, forward_m, starboard_m):
        """The same with places moved in body axes (metres, floats or (n,) arrays); not where the heading is unknown."""
        lon, lat = _moved(geod, self.lon, self.lat, self.bow.degrees, forward_m, starboard_m)
        return replace(self, lon=lon, lat=lat)


def boat_motion(fixes, clean, settings):
    """Motion and heading of the boat, read at sonar times.

    Parameters
    ----------
    fixes : Fixes
        ``heading_deg`` is the compass, as logged at the sonar time of each fix.
    clean : CleanFixes
    settings : TrackSettings
        ``latency_s``, ``lever_*``, ``drift_speed`` and what ``headings`` takes.

    Returns
    -------
    BoatMotion
        Places are the transducer's.

    Raises
    ------
    InputError
        A latency longer than every stretch.
    """
    geod = clean.frame.geod
    motion = motion_of(clean.clock_s, *ground.steps(geod, clean.lon, clean.lat), clean.stretch, settings.drift_speed)
    late = Latency(clean.clock_s, clean.stretch, settings.latency_s)
    kept = np.flatnonzero(late.reached)
    if not len(kept):
        raise InputError(Message("A {latency_s} of {given:g} s is longer than every unbroken stretch of the log.",
                                 given=settings.latency_s))
    compass = None if fixes.heading_deg is None else np.asarray(fixes.heading_deg, float)[clean.rows]
    bow = headings(settings, compass, clean.clock_s, clean.stretch, motion, late, kept)
    lon, lat = _moved(geod, late.mixed_lon(clean.lon), late.mixed(clean.lat), bow.degrees, settings.lever_forward_m,
                      settings.lever_starboard_m)
    clock, speed = clean.clock_s[kept], late.mixed(motion.speed_mps)
    # jitter lengthens the sum of steps, but not a speed fitted over a window
    way = np.concatenate([[0.0], np.cumsum(np.nan_to_num(speed[1:] + speed[:-1]) / 2 * np.diff(clock))])
    return BoatMotion(kept, np.flatnonzero(~late.reached), clean.rows[kept], clock, clean.stretch[kept], lon, lat,
                      speed, late.mixed(motion.turn_dps), bow, way)


def compass_doubt(boat, settings):
    """A sentence on a compass that is off the course; '' where there is nothing to say."""
    ahead = boat.bow.course + (180.0 if settings.backwards else 0.0)
    return compass_warning(boat.bow.degrees, ahead, boat.bow.turn, boat.speed_mps, boat.bow.source == COMPASS,
                           settings.heading_offset_deg)


def _moved(geod, lon, lat, heading_deg, forward_m, starboard_m):
    known = np.isfinite(heading_deg)
    angle = np.radians(np.where(known, heading_deg, 0.0))
    forward, starboard = np.where(known, forward_m, 0.0), np.where(known, starboard_m, 0.0)
    return ground.moved(geod, lon, lat, forward * np.sin(angle) + starboard * np.cos(angle),
                        forward * np.cos(angle) - starboard * np.sin(angle))
