"""What beams see of an uneven bottom, as segments: stretches of ground that neighbouring beams share.

A beam may see several stretches with shadows, or ground out of range, between them. Where two neighbouring beams see as
many, each meeting its counterpart, the strip between them is drawn segment by segment. Where they do not, each beam
stands for its half of the interval. Beams are set in between samples before, or sparse fixes would draw over most
shadows.
"""
from __future__ import annotations

import math

import numpy as np

from ..bottom.depthgrid import bounded_parts
from ..bottom.profile import Scratch, march
from ..bottom.sightlines import seen_stretches
from ..bottom.terrain import rays_on
from .fan import Fan

__all__ = ["EDGE_SPACING_M", "MARCH_SPACING_M", "segments_on_terrain"]

MARCH_SPACING_M, EDGE_SPACING_M = 0.5, 0.125
"""Beams are marched this close together, along the track and along the outer edge, however far apart the fixes are; and
this close where two neighbours do not see the same segments."""

_STRAIGHT_M = 0.05
"""Beams set in where every edge runs straighter than this between two samples are not drawn: nothing would show."""

LEAST_SHADOW_M = 0.3
"""Shorter shadows are drawn over: they are neither a gap in the survey nor safely told from the grid's own noise."""

_STRIDES = 120
"""Samples of a march over the longest range, at least."""

_SAMPLES = 250_000


def segments_on_terrain(fan, frame, grid, offset, depth, slant, tan_blind):
    """Lanes of the beams of one side.

    Parameters
    ----------
    fan : survey.swaths.fan.Fan
        In frame metres; ``outer`` is how far each beam may run, NaN where there is none.
    frame : survey.geometry.frame.Frame
    grid : survey.bottom.depthgrid.DepthGrid
    offset, depth, slant : (k,) arrays, m
        Added to the grid's depths; depth where the grid knows nothing; slant range used.
    tan_blind : float
        Tangent of the angle from the vertical within which nothing is counted.

    Returns
    -------
    list of Fan, from the inside out; all hold the same beams, those of ``fan`` and pairs set in between (row -1)
    """
    fan, low, high = _marched(fan, (offset, depth, slant), lambda *beams: _stretches(frame, grid, tan_blind, *beams))
    needed = _needed(fan, low, high)
    fan, low, high = fan.take(needed), low[:, needed], high[:, needed]
    count, apart = _apart(fan, low, high)
    # between beams that do not match: one beam with the segments of the first, one with those of the second
    place = np.insert(np.arange(len(count), dtype=float), np.repeat(apart + 1, 2), np.repeat(apart + 0.5, 2))
    own = np.insert(np.arange(len(count)), np.repeat(apart + 1, 2), np.column_stack([apart, apart + 1]).ravel())
    before, share = np.floor(place).astype(int), (place % 1)[:, None]
    after = np.ceil(place).astype(int)
    at = (1 - share) * fan.at[before] + share * fan.at[after]
    along = (1 - share) * fan.along[before] + share * fan.along[after]
    along /= np.hypot(*along.T)[:, None]
    row = np.where(share[:, 0] > 0, -1, fan.row[own])
    cut = np.concatenate([[False], (place[1:] == place[:-1])])
    return [Fan(at, along, low[segment, own], high[segment, own], fan.strip[own], row, np.zeros(len(own), bool), cut)
            for segment in range(len(low))]


def _marched(fan, values, stretches):
    """The fan with beams set in, and (segments, k) lower and upper ground range of what each sees.

    ``values``: (k,) arrays of its beams; ``stretches(fan, *values)`` gives segments of all beams of a fan.
    """
    low, high = np.empty((0, 0)), np.empty((0, 0))
    where = fan.drawn()
    for spacing in (MARCH_SPACING_M, EDGE_SPACING_M):
        before, share = fan.places(where, spacing)
        after = np.minimum(before + 1, len(fan.strip) - 1)
        values = [v[before] + np.where(share > 0, share * (v[after] - v[before]), 0) for v in values]
        fan = fan.at_places(before, share)
        fresh = share > 0 if low.size else np.ones(len(share), bool)
        seen = stretches(fan.take(fresh), *(v[fresh] for v in values))
        low, high = (_joined(known, new, fresh) for known, new in zip((low, high), seen))
        where = np.zeros(len(share) - 1, bool)
        where[_apart(fan, low, high)[1]] = True
    return fan, low, high


def _joined(known, new, fresh):
    """(segments, k) table of what is known of some beams and new of the ``fresh`` ones."""
    table = np.full((max(len(known), len(new)), len(fresh)), np.nan)
    table[:len(known), ~fresh], table[:len(new), fresh] = known, new
    return table


def _apart(fan, low, high):
    """(k,) how many segments each beam has, and the beams that do not match the next one though both see something."""
    count = np.isfinite(low).sum(axis=0)
    meets = (np.maximum(low[:, 1:], low[:, :-1]) < np.minimum(high[:, 1:], high[:, :-1])).sum(axis=0)
    seen = (count[1:] > 0) & (count[:-1] > 0) & (fan.strip[1:] == fan.strip[:-1])
    return count, np.flatnonzero(seen & ((count[1:] != count[:-1]) | (meets != count[1:])))


def _needed(fan, low, high):
    """(k,) bool: beams of samples, beams that do not match a neighbour, and beams between two of these that differ from
    what would be drawn without them."""
    count, apart = _apart(fan, low, high)
    kept = fan.row >= 0
    kept[apart] = kept[apart + 1] = True
    blank = (count[1:] > 0) != (count[:-1] > 0)
    kept[:-1] |= blank
    kept[1:] |= blank
    number = np.arange(len(kept))
    before = np.maximum.accumulate(np.where(kept, number, 0))
    after = np.minimum.accumulate(np.where(kept, number, len(kept) - 1)[::-1])[::-1]
    way = np.hypot(*(fan.at[after] - fan.at[before]).T)
    share = np.hypot(*(fan.at - fan.at[before]).T) / np.where(way > 0, way, 1)
    bent = np.zeros(len(kept), bool)
    for edge in (*low, *high):
        points = fan.at + edge[:, None] * fan.along
        bent |= np.hypot(*(points - points[before] - share[:, None] * (points[after] - points[before])).T) > _STRAIGHT_M
    stretch = np.cumsum(kept)
    crooked = np.bincount(stretch, weights=bent & ~kept) > 0
    return kept | crooked[stretch]


def _stretches(frame, grid, tan_blind, fan, offset, depth, slant):
    """(segments, k) lower and upper ground range of what each beam sees, NaN where there are fewer."""
    reach = np.nan_to_num(fan.outer)
    rays = rays_on(grid, frame, *fan.at.T, *fan.along.T, reach, offset, depth)
    some = np.flatnonzero((reach > 0) & np.isfinite(rays.col + rays.row + slant))
    if not len(some):
        return np.full((1, len(reach)), np.nan), np.full((1, len(reach)), np.nan)
    step = min(grid.step_limit(rays.dcol[some], rays.drow[some]), slant[some].max() / _STRIDES)
    samples = int(math.ceil(slant[some].max() / step)) + 1
    most = max(1, _SAMPLES // samples)
    scratch = Scratch(samples * most)
    found = []
    for part in bounded_parts(*rays.take(some).extents(), most=most):
        chunk = rays.take(some[part])
        extents = chunk.extents()
        window = grid.window(np.concatenate(extents[:2]), np.concatenate(extents[2:]))
        seen = seen_stretches(march(window, chunk, step, samples, scratch), slant[some[part]], tan_blind)
        found.append((some[part][seen.ray], seen.low, seen.high))
    beam, low, high = map(np.concatenate, zip(*found))
    starts = np.ones(len(beam), bool)
    starts[1:] = (beam[1:] != beam[:-1]) | (low[1:] - high[:-1] >= LEAST_SHADOW_M)
    first = np.flatnonzero(starts)
    last = np.append(first[1:], len(beam)) - 1
    beam, low, high = beam[first], low[first], high[last]
    segment = np.arange(len(beam)) - np.searchsorted(beam, beam)
    lows, highs = (np.full((max(segment.max(initial=0) + 1, 1), len(reach)), np.nan) for _ in range(2))
    lows[segment, beam], highs[segment, beam] = low, high
    return lows, highs
