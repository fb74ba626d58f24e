"""The plate beside walls: where it would swing past the lines around, it is made soft where lines stand close.

Lines close together say themselves how the ground runs; a stiff plate only carries their slope on into the flat beside
them, and back and forth there. Elsewhere the plate keeps its stiffness, which serves gentle ground better.
"""
from __future__ import annotations

import math

import numpy as np

from .plate import plate

__all__ = ["steady_plate"]

_FEW = 0.001
"""Share of the nodes that may swing past the lines around before anything is done about it."""

_REACH, _AROUND = 0.5, 2.0
"""Over what part of the mean distance between lines their closeness is taken, and how many of it round what swings the
plate is softened; with ``_SOFTEST`` judged on the walls of the tests."""

_SOFTEST = 1e-4
_TRIAL = 0.2
"""Share of the work that the trial on every second node takes."""


def steady_plate(cuts_at, water, bounds, spacing, tolerance, step):
    """Heights of the plate at all nodes (see ``plate.plate``).

    Parameters
    ----------
    cuts_at, water, tolerance, step
        As ``plate`` takes them.
    bounds : (low, high), (rows, cols) arrays
        Of the lines around each node.
    spacing : float
        Mean distance between lines, cells: over that length a slope dies away where no line holds it.

    Returns
    -------
    (rows, cols) float array
    """
    stiffness, half = np.ones(water.shape), (slice(None, None, 2), slice(None, None, 2))
    tension = 1 / spacing**2
    trial = plate(cuts_at, water, stiffness, tension, tolerance, 1, lambda share: step(_TRIAL * share))
    low, high = (bound[half] for bound in bounds)
    past = water[half] & ((trial < low - 4 * tolerance) | (trial > high + 4 * tolerance))
    if np.count_nonzero(past) > _FEW * np.count_nonzero(water[half]):
        near = _summed(past, _cells(_AROUND * spacing / 2)) > 0
        near = near.repeat(2, 0).repeat(2, 1)[:water.shape[0], :water.shape[1]]
        stiffness[near] = _softened(cuts_at(0, water.shape), water.shape, spacing)[near]
    return plate(cuts_at, water, stiffness, tension, tolerance, 0, lambda share: step(_TRIAL + (1 - _TRIAL) * share))


def _softened(cuts, shape, spacing):
    """Stiffness by the cube of the distance between the lines near each node, over its mean."""
    count = np.zeros(shape[0] * shape[1])
    for one_way in cuts:
        for node in (one_way.first, one_way.first + one_way.stride):
            count += np.bincount(node, minlength=len(count))
    reach = _cells(_REACH * spacing)
    # each cut counts at two nodes; length of line per cell = pi / 4 times cuts per cell (Crofton)
    length = _summed(count.reshape(shape), reach) / (2 * reach + 1)**2 / 2 * math.pi / 4
    return np.clip(np.maximum(length * spacing, 0.1)**-3.0, _SOFTEST, 1.0)


def _cells(length):
    return int(np.clip(length, 1, 64))


def _summed(values, reach):
    """Sums over squares of 2 ``reach`` + 1 cells, cut at the rim."""
    for axis in (0, 1):
        total = np.cumsum(np.moveaxis(values, axis, 0), axis=0, dtype=float)
        at = np.arange(len(total))
        upto, before = total[np.minimum(at + reach, len(total) - 1)], total[np.maximum(at - reach - 1, 0)]
        before[at <= reach] = 0
        values = np.moveaxis(upto - before, 0, axis)
    return values
