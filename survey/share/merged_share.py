"""Draws of the errors of ground whose passes cannot be told apart: a raster of looks, or swaths drawn as one.

All of it is moved as one body by the bias and a drift. What moves edges off the boat or towards it, and what a raster's
cells make of an edge, change the area by edge length times the move. How far the boat was off an edge is told by the
passes' lines; without them every edge is taken as an outer one. Ground seen from two sides that came apart in truth
cannot be known: neighbours that only just meet are taken to meet.

A cell counts where its middle is seen, so along a straight run of cell edges the true edge lies anywhere within half a
cell of it: a variance of run^2 cell^2 / 12. Along edges that follow the grid this is large, and rightly. It is taken
twice: the two edges of ground narrower than a cell err together (a width w, in cells, is counted as the whole number
below or above it, with a variance of up to 1/4 instead of 1/12 each), and where such ground falls between two middles
no edge is left to tell.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry import shapes
from ..model.constants import SOUND_SPEED_FOR_ERRORS_MPS
from . import drawn_errors
from .boat_frames import boat_frames
from .chances import DrawnPass
from .pass_facts import PassFacts

__all__ = ["merged_pass", "other_changes"]

_INNER = 0.5
"""Edges nearer to the boat than this share of the reach are inner ones."""

_TOGETHER = 2.0
"""Factor on the variance of cells for edges that err together; see above."""

_PIECE_M = 5.0
_STRAIGHT_COS = np.cos(np.radians(30.0))
_FAR_M = 1e6
_SOUND = drawn_errors.DEFAULTS.sigma_sound_speed / SOUND_SPEED_FOR_ERRORS_MPS


def merged_pass(ground, draws, position_error, sigmas=drawn_errors.DEFAULTS):
    """A DrawnPass of all ground, moved as one body, and the OutingErrors behind it."""
    outing = drawn_errors.drawn_for_outing("", draws, position_error, _SOUND, sigmas)
    drift = drawn_errors.drawn_for_outing("drift", draws, np.hypot(sigmas.sigma_pass, sigmas.sigma_offset), 0.0,
                                          sigmas).bias
    none = np.zeros(draws)
    errors = drawn_errors.PassErrors(outing.bias + drift, none, none, none, none, none)
    facts = PassFacts(0.0, 1.0, 1.0, *[0.0] * 7)
    return DrawnPass(ground, errors, facts, [np.array([[0.0, 0.0], [1.0, 0.0]])]), outing


@dataclass
class _Edges:
    """(m,) pieces of rim: ``middle`` (m, 2), ``length``, and ``variance`` (m4) that cells give each."""

    middle: np.ndarray
    length: np.ndarray
    variance: np.ndarray


def other_changes(ground, areas, lines, reach_m, cell_m, outing, sigmas=drawn_errors.DEFAULTS):
    """What moved edges and cells change in the ground seen of each area.

    Parameters
    ----------
    ground : shapely polygon, frame metres
    areas : list of n shapely polygons
    lines : list of survey.coverage.gap_zones.PassLine
        May be empty.
    reach_m : float
        Usual ground range of the outer edge; NaN if unknown.
    cell_m : float
        Side of a raster's cells; 0 for polygons.
    outing : survey.share.drawn_errors.OutingErrors

    Returns
    -------
    (n, draws) array, m2
    """
    draws = len(outing.sound)
    edges = _edges(ground, cell_m)
    reach = reach_m if np.isfinite(reach_m) else 30.0
    off, owner = _beside(edges.middle, lines, reach)
    outer, off = off >= _INNER * reach, np.clip(off, 0.1 * reach, reach)
    fresh = np.random.default_rng([20092, draws]).standard_normal((owner.max(initial=0) + 2, draws))
    found = np.zeros((len(areas), draws))
    for number, area in enumerate(areas):
        here = shapes.contains(area, *edges.middle.T)
        sign = np.where(outer, 1.0, -1.0) * edges.length * here
        found[number] += (sign * off).sum() * outing.sound
        own = np.bincount(owner, sign * outer, minlength=len(fresh) - 1)
        found[number] += sigmas.sigma_range * own @ fresh[:-1]
        # the depth's part is the smaller one: 20 degrees of blind angle inside, H / G outside
        found[number] -= (edges.length * here).sum() * 0.3 * sigmas.sigma_depth * outing.depth
        found[number] += np.sqrt(edges.variance[here].sum()) * fresh[-1]
    return found


def _edges(ground, cell):
    middles, lengths, variances = [np.empty((0, 2))], [np.empty(0)], [np.empty(0)]
    for ring in shapes.lines(ground):
        step = np.diff(ring, axis=0)
        length = np.hypot(*step.T)
        step, start, length = step[length > 0], ring[:-1][length > 0], length[length > 0]
        if not len(step):
            continue
        unit = step / length[:, None]
        straight = (unit * np.roll(unit, 1, axis=0)).sum(axis=1) > _STRAIGHT_COS
        straight[0] = False
        run = np.cumsum(~straight) - 1
        whole = np.bincount(run, length)[run]
        pieces = np.maximum(np.ceil(length / _PIECE_M), 1).astype(int)
        which = np.repeat(np.arange(len(step)), pieces)
        share = (np.arange(len(which)) - (np.cumsum(pieces) - pieces)[which] + 0.5) / pieces[which]
        own = length[which] / pieces[which]
        middles.append(start[which] + share[:, None] * step[which])
        lengths.append(own)
        variances.append(_TOGETHER * own * whole[which] * cell ** 2 / 12)
    return _Edges(*map(np.concatenate, (middles, lengths, variances)))


def _beside(places, lines, reach):
    """(m,) distance of each place from the nearest pass, and number of that pass; the reach where there are none."""
    off, owner = np.full(len(places), reach if not lines else _FAR_M), np.zeros(len(places), int)
    for number, line in enumerate(lines):
        low, high = (pick([pick(part, axis=0) for part in line.parts], axis=0)
                     for pick in (np.min, np.max))
        near = np.flatnonzero(((places > low - 1.5 * reach) & (places < high + 1.5 * reach)).all(axis=1))
        if not len(near):
            continue
        away = np.abs(boat_frames(line.parts, places[near]).across)
        closer = np.abs(away - reach) < np.abs(off[near] - reach)
        inner = away < _INNER * reach
        closer |= inner & (away < off[near])
        closer &= ~((off[near] < _INNER * reach) & ~inner)
        off[near[closer]], owner[near[closer]] = away[closer], number
    return np.where(off >= _FAR_M, reach, off), owner
