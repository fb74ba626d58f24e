"""Where lines cut the edges of a grid: which lines part two neighbours, and how deep it is on the way between them.

A node is a whole number of columns and rows. A cut lies on the edge from the node ``first`` (its flat index) to the one
``stride`` further on, a share ``at`` of the way; this is exact, however coarse the grid.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["Cuts", "cuts_of"]


@dataclass
class Cuts:
    """(k,) arrays of cuts on edges one way: ``first`` node, ``at`` share of the edge, ``level``, ``line`` that cuts."""

    first: np.ndarray
    stride: int
    at: np.ndarray
    level: np.ndarray
    line: np.ndarray

    def where(self, wanted):
        """The cuts at which a bool array is true."""
        return Cuts(self.first[wanted], self.stride, self.at[wanted], self.level[wanted], self.line[wanted])

    def ends(self):
        """(nodes, levels of the cut next to each) as two pairs: seen from the first nodes, and from the last ones."""
        order = np.lexsort((self.at, self.first))
        edge, level = self.first[order], self.level[order]
        new = edge[1:] != edge[:-1]
        begins, stops = np.append(True, new)[:len(edge)], np.append(new, True)[:len(edge)]
        return (edge[begins], level[begins]), (edge[stops] + self.stride, level[stops])


def cuts_of(lines, levels, shape):
    """Cuts of all lines.

    Parameters
    ----------
    lines : list of (n, 2) arrays
        (col, row), whole numbers at nodes.
    levels : (len(lines),) array
    shape : (rows, cols)

    Returns
    -------
    (Cuts, Cuts)
        On edges down the columns, and along the rows.
    """
    rows, cols = shape
    points, owner = np.concatenate(lines), np.repeat(np.arange(len(lines)), [len(line) for line in lines])
    same = owner[1:] == owner[:-1]
    start, end, owner = points[:-1][same], points[1:][same], owner[:-1][same]
    found = []
    for along, stride in ((0, cols), (1, 1)):  # grid lines of one column, then of one row
        low = np.ceil(np.minimum(start[:, along], end[:, along])).clip(0, shape[1 - along]).astype(int)
        high = np.ceil(np.maximum(start[:, along], end[:, along])).clip(0, shape[1 - along]).astype(int)
        segment = np.repeat(np.arange(len(low)), high - low)
        grid = np.arange(len(segment)) - np.repeat(np.cumsum(high - low) - high, high - low)
        a, b = start[segment], end[segment]
        across = 1 - along
        place = a[:, across] + (grid - a[:, along]) / (b[:, along] - a[:, along]) * (b[:, across] - a[:, across])
        node = np.floor(place).astype(int)
        inside = (node >= 0) & (node < shape[along] - 1)
        grid, node, at, line = grid[inside], node[inside], (place - node)[inside], owner[segment][inside]
        first = node * cols + grid if along == 0 else grid * cols + node
        found.append(Cuts(first, stride, at, np.asarray(levels, float)[line], line))
    return tuple(found)
