"""Where the bow points: the compass where there is one, else the course over ground."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model.constants import SIGMA_COMPASS_DEG
from ..model.table import Floats, Table, Texts
from .course import steadied, turn_of, unwrapped
from .infill import infill

__all__ = ["COMPASS", "COMPASS_GAP_S", "COURSE", "MAX_COURSE_SIGMA_DEG", "Headings", "headings"]

COMPASS, COURSE = "compass", "course"

MAX_COURSE_SIGMA_DEG = 20.0
"""A course worse than this is no heading."""

COMPASS_GAP_S = 5.0
"""Longest gap in a compass that is bridged; a boat can turn away in more."""


@dataclass(eq=False, repr=False)
class Headings(Table):
    """At (m,) samples: ``degrees`` from true north, NaN where unknown; ``source``: 'compass', 'course' or ''; ``sigma``
    (degrees), of the course it would be where it is too bad to use; ``turn`` (degrees/s) of the heading; ``course``
    over ground, free of jumps at 360 within a stretch."""

    degrees: Floats
    source: Texts
    sigma: Floats
    turn: Floats
    course: Floats


def headings(settings, compass_deg, clock_s, stretch, motion, late, kept):
    """Headings of samples.

    Parameters
    ----------
    settings : TrackSettings
    compass_deg : (n,) array or None
        As logged at the sonar time of each fix, NaN where missing; numbers beyond 360 are an instrument's way of saying
        that it has none.
    clock_s, stretch : (n,) arrays
    motion : Motion
        At the stamps of the fixes.
    late : Latency
        Gives the course at sonar time: it comes from positions, which are late; the compass is not.
    kept : (m,) int array
        Fixes that make a sample.

    Returns
    -------
    Headings
    """
    course = late.mixed(motion.unwrapped_deg)
    sigma = late.mixed(motion.sigma_deg)
    turn = late.mixed(motion.turn_dps)
    usable = sigma <= MAX_COURSE_SIGMA_DEG
    bow = course + (180.0 if settings.backwards else 0.0) + settings.heading_offset_deg
    degrees = np.where(usable, bow % 360.0, np.nan)
    source = np.where(usable, COURSE, "").astype(object)
    if settings.sigma_heading_deg is not None:
        sigma = np.where(usable, settings.sigma_heading_deg, sigma)
    if compass_deg is not None and np.isfinite(compass_deg).any():
        logged = np.asarray(compass_deg, float)
        full = _bridged(np.where(np.abs(logged) <= 360.0, logged, np.nan), clock_s, stretch)
        full = steadied(full, clock_s, stretch, settings.smoothing_s)
        compass = (full + settings.variation_deg + settings.heading_offset_deg) % 360.0
        known = np.isfinite(compass[kept])
        degrees = np.where(known, compass[kept], degrees)
        source[known] = COMPASS
        stated = SIGMA_COMPASS_DEG if settings.sigma_heading_deg is None else settings.sigma_heading_deg
        sigma = np.where(known, stated, sigma)
        turn = np.where(known, turn_of(compass, clock_s, stretch, motion)[kept], turn)
    return Headings(degrees, source, sigma, turn, course)


def _bridged(compass_deg, clock_s, stretch):
    """Compass headings with short gaps filled, the short way round."""
    known = np.isfinite(compass_deg)
    straight = unwrapped(compass_deg[known], stretch[known])
    return infill(clock_s, stretch, clock_s[known], stretch[known], straight, COMPASS_GAP_S) % 360.0
