"""Errors of a survey drawn at random, so that a share can be worked out again for each draw (JCGM 101:2008, 5.9).

Errors that all passes of an outing share: satellite bias, latency, mount and compass bias, lever arm, trim, depth
offset, sound speed. Errors that differ from pass to pass: slow drift of the receiver, crab or deviation, the range.
Jitter from fix to fix is not drawn again: the record already carries it, and it averages out along an edge.

A draw moves the ground that a pass saw as one body, turns its beams about the boat, and moves the inner and the outer
edge, each by what moves it: the inner edge, depth times the tangent of the blind angle, by depth and sound only.
"""
from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np

from ..uncertainty.sigmas import PRESETS

__all__ = ["DEFAULTS", "LEAST_DRAWS", "OutingErrors", "PassErrors", "drawn_for_outing", "drawn_for_pass"]

DEFAULTS = PRESETS["ordinary"]

LEAST_DRAWS = 200

_SEED = 20090

_TURN_LIMIT = np.radians(60.0)
"""A beam turned by more would point along the track; a heading as bad as that is no heading."""


@dataclass
class OutingErrors:
    """(n,) draws of what all passes of an outing share, m, s, radians; ``bias`` (n, 2) east and north; ``depth`` in
    standard deviations, which each pass states."""

    bias: np.ndarray
    latency: np.ndarray
    mount: np.ndarray
    forward: np.ndarray
    starboard: np.ndarray
    trim: np.ndarray
    depth: np.ndarray
    sound: np.ndarray


@dataclass
class PassErrors:
    """(n,) draws for one pass.

    ``shift`` (n, 2): to the east and north; ``forward``, ``starboard``: along and across the boat, all m; ``turn``:
    radians, clockwise; ``inner``, ``outer``: by how much either edge lies farther off, m.
    """

    shift: np.ndarray
    forward: np.ndarray
    starboard: np.ndarray
    turn: np.ndarray
    inner: np.ndarray
    outer: np.ndarray

    def reach(self, ground):
        """Farthest (m) that any draw moves a place that it may bring within that ground range."""
        aside = np.hypot(*self.shift.T) + np.abs(self.starboard) + np.maximum(np.abs(self.inner), np.abs(self.outer))
        turned = np.abs(np.tan(self.turn)) + 1 / np.cos(self.turn) - 1
        return float((aside + np.abs(self.forward) + (ground + aside) * turned).max(initial=0.0))


def _rng(*key):
    return np.random.default_rng([_SEED, *(zlib.crc32(str(part).encode()) for part in key)])


def drawn_for_outing(name, count, position_error, sound_relative, sigmas=DEFAULTS):
    """Draws of the errors an outing shares; the same for the same name and count.

    Parameters
    ----------
    name : str
    count : int
    position_error : float
        Satellite bias, each axis, one sigma (m).
    sound_relative : float
        One sigma of the sound speed over the sound speed.
    sigmas : survey.uncertainty.sigmas.Sigmas

    Examples
    --------
    >>> from athwart.share.drawn_errors import drawn_for_outing
    >>> once, again = (drawn_for_outing("north", 300, 2.0, 0.01) for _ in range(2))
    >>> once.bias.shape, bool((once.bias == again.bias).all())
    ((300, 2), True)
    """
    draw = _rng("outing", name).standard_normal((9, count))
    radians = np.radians([sigmas.sigma_mount, sigmas.sigma_trim])
    return OutingErrors(position_error * draw[:2].T, sigmas.sigma_latency * draw[2], radians[0] * draw[3],
                        sigmas.sigma_offset * draw[4], sigmas.sigma_offset * draw[5], radians[1] * draw[6],
                        draw[7], sound_relative * draw[8])


def drawn_for_pass(outing, name, pass_id, facts, sigmas=DEFAULTS):
    """Draws of a pass: what its outing shares, and its own.

    Parameters
    ----------
    outing : OutingErrors
    name, pass_id : str, float
        Of the outing and the pass.
    facts : survey.share.pass_facts.PassFacts
    """
    count = len(outing.latency)
    draw = _rng("pass", name, pass_id).standard_normal((4, count))
    shift = outing.bias + facts.sigma_drift_m * draw[:2].T
    turn = np.clip(outing.mount + np.radians(facts.sigma_heading_deg) * draw[2], -_TURN_LIMIT, _TURN_LIMIT)
    reading = sigmas.sigma_range * draw[3]
    deeper = facts.sigma_depth_m * outing.depth
    outer = (facts.range_m * reading - facts.depth_m * deeper) / facts.outer_m + facts.outer_m * outing.sound
    inner = facts.blind_tan * deeper + facts.inner_m * outing.sound
    # near the nadir the slope R / G runs away; an edge cannot move by more than half the strip
    most = 0.5 * (facts.outer_m - facts.inner_m)
    forward = facts.speed_mps * outing.latency + outing.forward + facts.depth_m * np.tan(outing.trim)
    return PassErrors(shift, forward, outing.starboard, turn, np.clip(inner, -facts.inner_m, most),
                      np.clip(outer, -most, most))
