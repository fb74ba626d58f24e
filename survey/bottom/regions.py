"""The parts of a map between its lines, and the levels that lie around each: a depth in there is held by these."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["Regions", "regions_of"]


@dataclass
class Regions:
    """``of``: (rows, cols) region of each node; the rest one value a region: levels around it, ``low`` to ``high``,
    and whether the lowest, or the highest, does not close (a line that ends in the open lies inside the region);
    ``way`` the floor goes on within a region of one level, as the ground on the other side of its line has it:
    1 deeper, -1 shallower, 0 if that cannot be told.

    A region that touches no line has ``low`` inf and ``high`` -inf.
    """

    of: np.ndarray
    low: np.ndarray
    high: np.ndarray
    low_open: np.ndarray
    high_open: np.ndarray
    way: np.ndarray

    @property
    def single(self):
        """Regions with one level around: the tops and holes of a map."""
        return self.low == self.high


def regions_of(shape, cuts):
    """Regions of a grid.

    Parameters
    ----------
    shape : (rows, cols)
    cuts : (Cuts, Cuts)

    Returns
    -------
    Regions
    """
    of, count = _labelled(shape, *cuts)
    flat = of.ravel()
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    for one_way in cuts:
        for node, level in one_way.ends():
            np.minimum.at(low, flat[node], level)
            np.maximum.at(high, flat[node], level)
    opened = [np.zeros(count, bool), np.zeros(count, bool)]
    for one_way in cuts:
        region = flat[one_way.first]
        loose = region == flat[one_way.first + one_way.stride]
        for bound, flag in zip((low, high), opened):
            flag[region[loose & (one_way.level == bound[region])]] = True
    return Regions(of, low, high, *opened, _ways(flat, cuts, low, high))


def _ways(flat, cuts, low, high):
    votes = np.zeros(len(low))
    for one_way in cuts:
        one, two = flat[one_way.first], flat[one_way.first + one_way.stride]
        for own, other in ((one, two), (two, one)):
            told = (low[own] == high[own]) & (own != other) & np.isfinite(low[other])
            np.add.at(votes, own[told], np.sign(2 * low[own] - low[other] - high[other])[told])
    return np.sign(votes)


def _labelled(shape, down, along):
    """(region of each node, their number): runs of each row, joined over the edges down that no line cuts."""
    rows, cols = shape
    begins = np.zeros(rows * cols, bool)
    begins[::cols] = True
    begins[along.first + 1] = True
    run = np.cumsum(begins) - 1
    free = np.ones(rows * cols - cols, bool)
    free[down.first] = False
    count = run[-1] + 1
    pairs = np.unique(run[:-cols][free] * count + run[cols:][free])
    label, a, b = np.arange(count), pairs // count, pairs % count
    while len(a):  # hooks the higher label on the lower one, then lets every label run down to its root
        one, two = label[a], label[b]
        np.minimum.at(label, np.maximum(one, two), np.minimum(one, two))
        below = label[label]
        while (below != label).any():
            label, below = below, below[below]
        apart = label[a] != label[b]
        a, b = a[apart], b[apart]
    names, label = np.unique(label, return_inverse=True)
    return label.ravel()[run].reshape(shape).astype(np.int32), len(names)
