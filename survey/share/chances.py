"""How many passes saw each of many places, in every draw of the survey's errors.

Truth is what was recorded less the error, so a draw asks at the place less the drawn shift, in the frame of the boat:
shifted back, turned back about the boat, and set back between inner and outer edge by what moves each of them.
"""
from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from shapely.geometry import box

from ..geometry import shapes
from . import drawn_errors
from .boat_frames import boat_frames
from .masks import RIM_M, Mask, pieces

__all__ = ["Chances", "DrawnPass", "chances"]

_BATCH = 1 << 16
"""Numbers at once: a handful of such arrays stay in the processor's own memory."""

_FEW = 200
"""So few places are judged one by one first: most of a wide lake is far from any edge, and its cells would be many."""


@dataclass
class DrawnPass:
    """A pass to be drawn: ``ground`` seen (frame metres), ``errors`` (PassErrors), ``facts`` (PassFacts) and its boat's
    ``lines``, a list of (n, 2) arrays."""

    ground: Any
    errors: drawn_errors.PassErrors
    facts: Any
    lines: list


@dataclass
class Chances:
    """``seen`` (k, draws) bool: by as many passes as asked for; ``as_drawn`` (k,): without any error."""

    seen: np.ndarray
    as_drawn: np.ndarray


def chances(passes, xy, looks, draws, area, step=lambda fraction: None, short=False):
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
    short : bool
        The passes are so short that hardly a place lies clear of all their edges: none is looked for.

    Returns
    -------
    Chances
    """
    # what enough passes see in every draw need not be asked of the rest
    count = np.zeros((len(xy), draws), np.uint8)
    still, as_drawn = np.ones(len(xy), bool), np.zeros(len(xy), np.int32)
    rim = shapes.prepared(area.boundary.buffer(RIM_M, 4))
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
            if len(some) < _FEW and not short:
                sure, some = _settled(ground, xy, some, reach + 0.5)
            if len(some):
                mask = Mask(ground, (*xy[some].min(axis=0), *xy[some].max(axis=0)), reach + 1.0,
                            area if rim.intersects(ground) else None)
                if not short:
                    any_near, all_near = mask.near(xy[some], reach + 0.5)
                    sure, some = np.append(sure, some[all_near]), some[any_near & ~all_near]
            count[sure] = np.minimum(count[sure] + 1, looks)
            as_drawn[sure] += 1
            if len(some):
                as_drawn[some] += mask.holds(xy[some, :1], xy[some, 1:], 0.0, 0.0)[:, 0]
                moves, frames = _Moves(one), boat_frames(one.lines, xy[some])
            size = max(1, _BATCH // draws)
            for first in range(0, len(some), size):
                batch = slice(first, first + size)
                east, north = moves.of(frames.forward[batch], frames.across[batch])
                held = mask.holds(xy[some[batch], :1], xy[some[batch], 1:], east, north)
                count[some[batch]] = np.minimum(count[some[batch]] + held, looks)
            asked = np.append(sure, some)
            if not len(asked):
                continue
            still[asked] = count[asked].min(axis=1) < looks
            as_drawn[asked[~still[asked]]] = looks
    return Chances(count >= looks, as_drawn >= looks)


def _settled(ground, xy, some, reach):
    """Of places (their numbers ``some``), those that ground surrounds as far as the reach, and those near its edge."""
    ready = shapes.prepared(ground)
    around = [box(*(xy[i] - reach), *(xy[i] + reach)) for i in some.tolist()]
    touched = np.array([ready.intersects(square) for square in around], bool)
    held = np.array([hit and ready.contains(square) for hit, square in zip(touched, around)], bool)
    return some[held], some[touched & ~held]


class _Moves:
    """By how much places are moved in each draw before it is asked whether a pass saw them."""

    def __init__(self, one):
        errors, facts = one.errors, one.facts
        width = facts.outer_m - facts.inner_m
        stretch = width / (width + errors.outer - errors.inner)
        # turned clockwise by a, the beam that meets a place at y abeam left the boat y tan(a) ahead and ran y / cos(a)
        self._ahead, self._across = (np.vstack([-errors.shift.T, -own]).astype(np.float32)
                                     for own in (errors.forward, errors.starboard))
        self._turn, self._stretch, self._nearer = (values.astype(np.float32) for values in (
            np.tan(errors.turn), stretch / np.cos(errors.turn),
            facts.inner_m - (facts.inner_m + errors.inner) * stretch))

    def of(self, forward, across):
        """(k, draws) m to the east and to the north, for (k, 2) ``forward`` and (k,) ``across`` of BoatFrames."""
        f, abeam = forward.astype(np.float32), across.astype(np.float32)[:, None]
        s = np.column_stack([f[:, 1], -f[:, 0]])
        once = np.ones((len(f), 1), np.float32)
        ahead, aside = np.hstack([f, once]) @ self._ahead, np.hstack([s, once]) @ self._across
        aside += abeam
        ahead += aside * self._turn
        side = np.sign(aside)
        aside *= side * self._stretch
        aside += self._nearer
        np.maximum(aside, 0, out=aside)
        aside *= side
        aside -= abeam
        return ahead * f[:, :1] + aside * s[:, :1], ahead * f[:, 1:] + aside * s[:, 1:]
