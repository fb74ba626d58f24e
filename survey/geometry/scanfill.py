"""Watertight filling of strips on a raster: every cell whose middle lies inside, none twice along a shared edge.

A cell middle is a whole number of columns and rows. Even-odd over the edges treats crossed quads right with no special
case; a row is met where ymin <= y < ymax and a column from the edge (itself included) up to the next one, and every
edge is evaluated from its lower end, so that neighbours that share an edge cut it at identical places.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import shapes

__all__ = ["Runs", "fill_polygon", "fill_quads", "fill_rings"]


@dataclass
class Runs:
    """(k,) int arrays: stretches of cells ``start`` .. ``stop`` - 1 in ``row``, filled by the quad ``quad``."""

    row: np.ndarray
    start: np.ndarray
    stop: np.ndarray
    quad: np.ndarray

    def cells(self):
        """(run, column) of every cell, in the order of the runs."""
        length = self.stop - self.start
        run = np.repeat(np.arange(len(length)), length)
        first = np.cumsum(length) - length
        return run, np.arange(len(run)) + (self.start - first)[run]


def fill_quads(corners, window):
    """Cells inside quads.

    Parameters
    ----------
    corners : (n, 4, 2) array
        Corners in order, (col, row); crossed ("bow-tie") quads have two lobes, both filled.
    window : (row0, row1, col0, col1)
        Cells to be filled, half open.

    Returns
    -------
    Runs
    """
    row0, row1, col0, col1 = window
    x, y = corners[..., 0].T, corners[..., 1].T
    low, high = (np.minimum(np.maximum(np.ceil(v), row0), row1).astype(int) for v in (y.min(axis=0), y.max(axis=0)))
    quad = np.repeat(np.arange(len(low)), high - low)
    first = np.cumsum(high - low) - (high - low)
    row = np.arange(len(quad)) + (low - first)[quad]
    # edge by edge: four at once are quicker for some hundred quads, and take twice the time for a lake of them
    cuts = np.stack([_cuts(x[k], y[k], x[k - 1], y[k - 1], quad, row) for k in range(4)])
    met = np.isfinite(cuts)
    left = cuts.min(axis=0)
    right = np.where(met, cuts, -np.inf).max(axis=0)
    many = np.flatnonzero(np.count_nonzero(met, axis=0) > 2)
    if len(many):
        four = np.sort(cuts[:, many], axis=0)
        right[many] = four[1]
        row, quad = np.append(row, row[many]), np.append(quad, quad[many])
        left, right = np.append(left, four[2]), np.append(right, four[3])
    some = left < right  # also drops rows that no edge crosses (infinite both ways)
    row, quad, left, right = row[some], quad[some], left[some], right[some]
    start, stop = (np.minimum(np.maximum(np.ceil(v), col0), col1).astype(int) for v in (left, right))
    some = start < stop
    return Runs(row[some], start[some], stop[some], quad[some])


def _cuts(x0, y0, x1, y1, quad, row):
    """Where one edge of each quad crosses each row, infinite where it does not."""
    up = y0 <= y1
    low_x, low_y = np.where(up, x0, x1), np.where(up, y0, y1)
    high_x, high_y = np.where(up, x1, x0), np.where(up, y1, y0)
    with np.errstate(divide="ignore", invalid="ignore"):
        lean = (high_x - low_x) / (high_y - low_y)
        from_y = low_y[quad]
        at = low_x[quad] + (row - from_y) * lean[quad]
    return np.where((from_y <= row) & (row < high_y[quad]), at, np.inf)


def fill_polygon(geometry, window, to_cells):
    """Cells inside a polygonal geometry, by the same rule.

    Parameters
    ----------
    geometry : shapely Polygon or MultiPolygon
        Parts that do not overlap; holes are left out.
    window : (row0, row1, col0, col1)
    to_cells : callable
        (x, y) arrays of the geometry's vertices -> (col, row).

    Returns
    -------
    (row1 - row0, col1 - col0) bool array

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.scanfill import fill_polygon
    >>> fill_polygon(box(1, 1, 3, 2), (0, 3, 0, 4), lambda x, y: (x, y)).astype(int).tolist()
    [[0, 0, 0, 0], [0, 1, 1, 0], [0, 0, 0, 0]]
    """
    return fill_rings(shapes.lines(geometry), window, to_cells)


def fill_rings(rings, window, to_cells):
    """As ``fill_polygon``, the closed (n, 2) rings of a polygonal geometry given, outer and inner alike.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.geometry.scanfill import fill_rings
    >>> square = np.array([(1, 1), (3, 1), (3, 2), (1, 2), (1, 1)], float)
    >>> fill_rings([square], (0, 3, 0, 4), lambda x, y: (x, y)).astype(int).tolist()
    [[0, 0, 0, 0], [0, 1, 1, 0], [0, 0, 0, 0]]
    """
    row0, row1, col0, col1 = window
    inside = np.zeros((row1 - row0, col1 - col0 + 1), np.uint8)  # only odd or even counts, so they may run over
    rows, cuts = [np.empty(0, int)], [np.empty(0)]
    for ring in rings:
        x, y = (np.asarray(v, float) for v in to_cells(ring[:, 0], ring[:, 1]))
        low = np.clip(np.ceil(np.minimum(y[:-1], y[1:])), row0, row1).astype(int)
        high = np.clip(np.ceil(np.maximum(y[:-1], y[1:])), row0, row1).astype(int)
        edge = np.repeat(np.arange(len(low)), high - low)
        first = np.cumsum(high - low) - (high - low)
        row = np.arange(len(edge)) + (low - first)[edge]
        rows.append(row)
        cuts.append(_cuts(x[:-1], y[:-1], x[1:], y[1:], edge, row))
    row, cut = np.concatenate(rows), np.concatenate(cuts)
    column = np.clip(np.ceil(cut), col0, col1).astype(int) - col0
    np.add.at(inside, (row - row0, column), 1)
    return (np.cumsum(inside, axis=1, dtype=np.uint8)[:, :-1] & 1).view(bool)
