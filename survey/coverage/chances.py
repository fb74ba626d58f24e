"""How many passes saw each of many places, in every draw of the survey's errors.

Truth is what was recorded less the error, so a draw asks at the place less the drawn shift, in the frame of the boat:
shifted back, turned back about the boat, and set back between inner and outer edge by what moves each of them.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import drawn_errors
from .boat_frames import boat_frames
from .masks import masks

__all__ = ["Chances", "DrawnPass", "chances"]

_BATCH = 1 << 20


@dataclass
class DrawnPass:
    """A pass to be drawn: ``ground`` seen (frame metres), ``errors`` (PassErrors), ``facts`` (PassFacts) and its boat's
    ``lines``, a list of (n, 2) arrays."""

    ground: object
    errors: drawn_errors.PassErrors
    facts: object
    lines: list


@dataclass
class Chances:
    """``seen`` (draws, k) bool: by as many passes as asked for; ``as_drawn`` (k,): without any error."""

    seen: np.ndarray
    as_drawn: np.ndarray


def chances(passes, xy, looks, draws, area, step=lambda fraction: None):
    """Whether places were seen often enough, draw by draw.

    Parameters
    ----------
    passes : list of DrawnPass
    xy : (k, 2) array, frame metres
    looks : int
        Passes that must have seen a place.
    draws : int
    area : shapely polygon
        See ``masks.Mask``.
    step : callable, optional

    Returns
    -------
    Chances
    """
    # what enough passes see in every draw need not be asked of the rest
    count = np.zeros((draws, len(xy)), np.uint8)
    still, as_drawn = np.ones(len(xy), bool), np.zeros(len(xy), np.int32)
    order = np.argsort(xy[:, 0], kind="stable")
    eastings = xy[order, 0]
    for number, one in enumerate(sorted(passes, key=lambda p: -p.ground.area)):
        step(number / len(passes))
        reach = one.errors.reach(one.facts.outer_m)
        for mask in masks(one.ground, reach + 1.0, area):
            x0, y0, x1, y1 = mask.window
            some = order[np.searchsorted(eastings, x0):np.searchsorted(eastings, x1)]
            some = some[still[some] & (xy[some, 1] >= y0) & (xy[some, 1] < y1)]
            if not len(some):
                continue
            any_near, all_near = mask.near(xy[some], reach + 0.5)
            sure, some = some[all_near], some[any_near & ~all_near]
            count[:, sure] += 1
            as_drawn[sure] += 1
            as_drawn[some] += mask.holds(*xy[some].T)
            size = max(1, _BATCH // draws)
            for first in range(0, len(some), size):
                batch = some[first:first + size]
                count[:, batch] += mask.holds(*_set_back(one, xy[batch]))
            asked = np.concatenate([sure, some])
            still[asked] = count[:, asked].min(axis=0) < looks
            as_drawn[asked[~still[asked]]] = looks
    return Chances(count >= looks, as_drawn >= looks)


def _set_back(one, xy):
    """(draws, k) east and north of the places to ask at."""
    errors, facts = one.errors, one.facts
    frames = boat_frames(one.lines, xy)
    f, s = frames.forward, frames.starboard
    ahead = -(errors.shift @ f.T) - errors.forward[:, None]
    across = frames.across - errors.shift @ s.T - errors.starboard[:, None]
    side, ground = np.sign(across), np.abs(across)
    ahead += across * np.tan(errors.turn)[:, None]
    ground /= np.cos(errors.turn)[:, None]
    width = facts.outer_m - facts.inner_m
    stretch = width / (width + errors.outer - errors.inner)
    ground = np.maximum(0.0, facts.inner_m + (ground - facts.inner_m - errors.inner[:, None]) * stretch[:, None])
    across = side * ground - frames.across
    return (xy[:, 0] + ahead * f[:, 0] + across * s[:, 0], xy[:, 1] + ahead * f[:, 1] + across * s[:, 1])
