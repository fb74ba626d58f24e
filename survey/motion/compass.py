"""A compass against the course: on straight runs the two agree, or the boat crabs, or the compass is off.

A compass that is off by a constant is off by it on every course. Wind and current set the boat to one side of its bow,
and to the other side on the way back; so does the deviation of a compass by the boat's own iron. Runs in both
directions tell them apart; runs in one direction cannot.
"""
from __future__ import annotations

import numpy as np

from ..geometry.ground import wrapped
from ..model.messages import Message

__all__ = ["compass_warning"]

_STRAIGHT_DPS = 0.5
_LEAST_MPS = 0.8
_FEWEST = 20
_NOTICED_DEG = 5.0
"""Less is within what a compass and the course over ground may differ by (judgement)."""

_SECTORS = 8
_BOTH_WAYS = 0.5
"""Courses spread so far (twice the smaller share of a half circle) that crab and compass can be told apart."""


def compass_warning(heading_deg, course_deg, turn_dps, speed_mps, compass, offset_deg):
    """Warn of a compass that is off the course by more than 5 degrees on straight runs.

    Parameters
    ----------
    heading_deg, course_deg, turn_dps, speed_mps : (n,) arrays
        Of the samples; headings from true north with ``offset_deg`` added.
    compass : (n,) bool array
        True where the heading is the compass's.
    offset_deg : float
        Heading offset in force.

    Returns
    -------
    str
        With the heading offset that would fit; '' where the two agree, or there is too little to tell.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.motion.compass import compass_warning
    >>> always, level = np.ones(200, bool), np.zeros(200)
    >>> compass_warning(level + 1.0, level, level, level + 2.0, always, 0.0)
    ''
    """
    straight = (compass & (np.abs(turn_dps) < _STRAIGHT_DPS) & (speed_mps >= _LEAST_MPS)
                & np.isfinite(heading_deg) & np.isfinite(course_deg))
    if straight.sum() < _FEWEST:
        return ""
    course = course_deg[straight] % 360.0
    off = _middle_angle(heading_deg[straight] - course)
    # each sector of courses counts once, or a long leg out would outweigh a short one home
    sector = np.floor((course + 180 / _SECTORS) % 360 / (360 / _SECTORS)).astype(int)
    sectors = np.unique(sector)
    few = [np.count_nonzero(sector == one) >= _FEWEST / 4 for one in sectors]
    sectors = sectors[few] if any(few) else sectors
    middles = np.array([_middle_angle(heading_deg[straight][sector == one] - course[sector == one]) for one in sectors])
    bearings = np.radians(sectors * 360 / _SECTORS)
    pairs = [(k, j) for k in range(len(sectors)) for j in range(k + 1, len(sectors))
             if np.cos(bearings[k] - bearings[j]) < -_BOTH_WAYS]
    if pairs:
        off = float(np.median([wrapped(middles[k] + wrapped(middles[j] - middles[k]) / 2) for k, j in pairs]))
    if abs(off) < _NOTICED_DEG:
        return ""
    fitting = float(wrapped(offset_deg - off))
    side = "starboard" if off > 0 else "port"
    said = Message("The compass lies {off:.0f} degrees to {side} of the course on straight runs ({count} samples). A "
                   "{heading_offset_deg} of {fitting:.0f} would fit. ", off=abs(off), side=side,
                   count=int(straight.sum()), fitting=fitting)
    if pairs:
        return said + Message("The runs go both ways, so it is the compass and not the boat's crab: a compass that is "
                              "not aligned, or magnetic headings that need their {variation_deg}.")
    return said + Message("All runs go much the same way, so it may as well be the crab of the boat in wind or "
                          "current, which is right as it is: a run the other way would show it. Also check whether the "
                          "headings are magnetic and need their {variation_deg}.")


def _middle_angle(degrees):
    """Median of angles, about their mean direction."""
    angle = np.radians(degrees)
    mean = np.degrees(np.arctan2(np.sin(angle).mean(), np.cos(angle).mean()))
    return float(wrapped(mean + np.median(wrapped(degrees - mean))))
