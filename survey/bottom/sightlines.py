"""Seen stretches of marched rays, and where a slant range meets the bottom.

Between two samples the bottom is taken as straight, so every edge is solved in closed form: exact on flat and evenly
sloping ground, and within a stride elsewhere.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model.table import Bools, Floats, Ints, Table

__all__ = ["Meetings", "Stretches", "meetings", "seen_stretches"]

_SAME = 1e-9
"""Relative slack within which two sight lines count as one: rounding of the march."""


@dataclass(eq=False, repr=False)
class Stretches(Table):
    """(k,) arrays sorted by ``ray`` and then outward: ground ranges ``low`` to ``high`` (m) of each seen stretch."""

    ray: Ints
    low: Floats
    high: Floats


@dataclass(eq=False, repr=False)
class Meetings(Table):
    """(k,) arrays sorted by ``ray`` and then outward: where the bottom lies at the slant range asked for.

    ``ground``, ``depth`` (m) of the place, ``slope`` dz/dg there, ``seen`` whether no nearer ground hides it,
    ``brink``: z / g of the sight line over what lies nearer, ``unknown`` whether the depth there is an assumption.
    """

    ray: Ints
    ground: Floats
    depth: Floats
    slope: Floats
    seen: Bools
    brink: Floats
    unknown: Bools


def _chord(slope, rise, slant, sign):
    """Root of g^2 + (rise + slope g)^2 = slant^2: the farther for sign +1, the nearer for -1."""
    stretch = np.sqrt(1 + slope**2)
    inside = np.maximum((stretch * slant - rise) * (stretch * slant + rise), 0.0)
    return (-slope * rise + sign * np.sqrt(inside)) / stretch**2


def seen_stretches(marched, slant, tan_blind):
    """What each ray sees.

    Parameters
    ----------
    marched : survey.bottom.profile.Marched
        Far enough that the last sample lies beyond every slant range and reach.
    slant : (n,) array
        Slant range in force, m; the bottom beyond it is not on the record.
    tan_blind : float
        Tangent of the blind angle from the vertical: ground nearer than z times this is not counted.

    Returns
    -------
    Stretches
        Samples marked ``unknown`` count with their assumed depth.
    """
    z, step = marched.depth, marched.step
    count, n = z.shape
    g = (np.arange(count) + 0.5)[:, None] * step
    tests = np.stack([marched.seen, g * g + z * z <= slant**2, g >= z * tan_blind, g <= marched.reach])
    state = tests.all(axis=0)
    turns = np.diff(np.vstack([np.zeros((1, n), bool), state]).astype(np.int8), axis=0).T
    ray_in, k_in = np.nonzero(turns > 0)
    ray_out, k_out = np.nonzero(turns < 0)
    closed = np.zeros(n, int)
    np.add.at(closed, ray_in, 1)
    np.subtract.at(closed, ray_out, 1)
    still = np.flatnonzero(closed)
    if len(still):  # cannot be while the march goes past the slant range
        ray_out, k_out = np.append(ray_out, still), np.append(k_out, np.full(len(still), count))
        order = np.lexsort((k_out, ray_out))
        ray_out, k_out = ray_out[order], k_out[order]
    low = _edge(marched, tests, g, ray_in, k_in, slant, tan_blind, entering=True)
    high = _edge(marched, tests, g, ray_out, np.minimum(k_out, count - 1), slant, tan_blind, entering=False)
    keep = high > low
    return Stretches(ray_in[keep], low[keep], high[keep])


def _edge(marched, tests, g, ray, k, slant, tan_blind, entering):
    """Ground range where the state turns between samples k - 1 and k; for k = 0 from the transducer on."""
    z, step = marched.depth, marched.step
    here, before = z[k, ray], z[np.maximum(k - 1, 0), ray]
    slope = (here - before) / step
    rise = here - slope * g[k, 0]
    side = np.maximum(k - 1, 0)
    turned = [test[k, ray] != (test[side, ray] & (k > 0)) for test in tests]
    with np.errstate(divide="ignore", invalid="ignore"):
        crest = (rise / (marched.least[side, ray] - slope)) if entering else g[side, 0]
        blind = rise * tan_blind / (1 - slope * tan_blind)
    start = np.where(k > 0, g[side, 0], 0.0)
    crest = np.where(k > 0, crest, 0.0)
    edges = [crest, _chord(slope, rise, slant[ray], -1 if entering else 1), blind,
             np.zeros(len(ray)) if entering else marched.reach[ray]]
    if entering:  # from g = 0 everything but the blind angle and a bottom out of range holds
        edges[1] = np.where(k > 0, edges[1], 0.0)
    found = np.stack([np.where(t, np.clip(e, start, g[k, 0]), start if entering else g[k, 0])
                      for t, e in zip(turned, edges)])
    return found.max(axis=0) if entering else found.min(axis=0)


def meetings(marched, slant):
    """Every place where the bottom lies at a slant range.

    Parameters
    ----------
    marched : survey.bottom.profile.Marched
    slant : (n,) array
        Slant range of each ray, m.

    Returns
    -------
    Meetings, within the rays' reach
    """
    z, step = marched.depth, marched.step
    count, n = z.shape
    g = np.concatenate([[0.0], (np.arange(count) + 0.5) * step])[:, None]
    bed = np.vstack([z[:1], z])
    beyond = g * g + bed * bed >= slant**2
    ray, k = np.nonzero((beyond[1:] != beyond[:-1]).T)
    stride = np.where(k > 0, step, step / 2)
    slope = (bed[k + 1, ray] - bed[k, ray]) / stride
    rise = bed[k, ray] - slope * g[k, 0]
    ground = np.clip(_chord(slope, rise, slant[ray], np.where(beyond[k + 1, ray], 1, -1)), g[k, 0], g[k + 1, 0])
    depth = rise + slope * ground
    brink = np.where(k > 0, marched.least[np.maximum(k - 1, 0), ray], np.inf)
    with np.errstate(divide="ignore", invalid="ignore"):
        seen = ~(depth / ground > brink + _SAME * np.abs(brink))
    wide_low, wide_high = np.maximum(k - 2, 0), np.minimum(k + 1, count - 1)
    slope = (z[wide_high, ray] - z[wide_low, ray]) / ((wide_high - wide_low) * step)
    unknown = np.zeros(len(ray), bool)
    if marched.unknown is not None:
        unknown = marched.unknown[np.maximum(k - 1, 0), ray] | marched.unknown[k, ray]
    keep = ground <= marched.reach[ray]
    return Meetings(*(v[keep] for v in (ray, ground, depth, slope, seen, brink, unknown)))
