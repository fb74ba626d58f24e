"""How many passes saw each of many places, in every draw of the survey's errors.

Truth is what was recorded less the error, so a draw asks at the place less the drawn shift, in the frame of the boat:
shifted back, turned back about the boat, and set back between inner and outer edge by what moves each of them.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely.geometry import box

from ..plane import shapes
from . import drawn_errors
from .boat_frames import boat_frames
from .masks import Mask, pieces

__all__ = ["Chances", "DrawnPass", "chances"]

_BATCH = 1 << 20

_FEW = 200
"""So few places are judged one by one first: most of a wide lake is far from any edge, and its cells would be many."""


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
    for number, one in enumerate(sorted((p for p in passes if not p.ground.is_empty), key=lambda p: -p.ground.area)):
        step(number / len(passes))
        reach = one.errors.reach(one.facts.outer_m)
        for window, ground in pieces(one.ground, reach + 1.0):
            x0, y0, x1, y1 = window
            some = order[np.searchsorted(eastings, x0):np.searchsorted(eastings, x1)]
            some = some[still[some] & (xy[some, 1] >= y0) & (xy[some, 1] < y1)]
            sure = some[:0]
            if len(some) < _FEW:
                sure, some = _settled(ground, xy, some, reach + 0.5)
            if len(some):
                mask = Mask(ground, (*xy[some].min(axis=0), *xy[some].max(axis=0)), reach + 1.0, area)
                any_near, all_near = mask.near(xy[some], reach + 0.5)
                sure, some = np.append(sure, some[all_near]), some[any_near & ~all_near]
            count[:, sure] = np.minimum(count[:, sure] + 1, looks)
            as_drawn[sure] += 1
            if len(some):
                as_drawn[some] += mask.holds(xy[some], 0.0, 0.0)
            size = max(1, _BATCH // draws)
            for first in range(0, len(some), size):
                batch = some[first:first + size]
                count[:, batch] = np.minimum(count[:, batch] + _held(one, mask, xy[batch]), looks)
            asked = np.append(sure, some)
            if not len(asked):
                continue
            still[asked] = count[:, asked].min(axis=0) < looks
            as_drawn[asked[~still[asked]]] = looks
    return Chances(count >= looks, as_drawn >= looks)


def _settled(ground, xy, some, reach):
    """Of places (their numbers ``some``), those that ground surrounds as far as the reach, and those near its edge."""
    ready = shapes.prepared(ground)
    around = [box(*(xy[i] - reach), *(xy[i] + reach)) for i in some.tolist()]
    touched = np.array([ready.intersects(square) for square in around], bool)
    held = np.array([hit and ready.contains(square) for hit, square in zip(touched, around)], bool)
    return some[held], some[touched & ~held]


def _held(one, mask, xy):
    """(draws, k) bool: whether the pass saw each place in each draw."""
    errors, facts = one.errors, one.facts
    frames = boat_frames(one.lines, xy)
    f, s = frames.forward.T, frames.starboard.T
    once = np.ones((1, len(xy)))
    ahead = _product(errors.shift, errors.forward, np.concatenate([f, once]))
    across = _product(errors.shift, errors.starboard, np.concatenate([s, once]))
    across += frames.across.astype(np.float32)
    # turned clockwise by a, the beam that meets a place at y abeam left the boat y tan(a) ahead and ran y / cos(a)
    ahead += across * _column(np.tan(errors.turn))
    width = facts.outer_m - facts.inner_m
    stretch = width / (width + errors.outer - errors.inner)
    nearer = np.copysign(_column(facts.inner_m - (facts.inner_m + errors.inner) * stretch), across)
    across *= _column(stretch / np.cos(errors.turn))
    across += nearer
    across -= frames.across.astype(np.float32)
    east = ahead * f[0].astype(np.float32) + across * s[0].astype(np.float32)
    north = ahead * f[1].astype(np.float32) + across * s[1].astype(np.float32)
    return mask.holds(xy, east, north)


def _product(shift, own, axes):
    """Minus the shift and the boat's own part along axes, (draws, k)."""
    return np.column_stack([-shift, -own]).astype(np.float32) @ axes.astype(np.float32)


def _column(values):
    return values.astype(np.float32)[:, None]
