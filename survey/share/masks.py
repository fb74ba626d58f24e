"""What a pass saw as cells of half a metre, window by window, to be asked whether a place lies in it."""
from __future__ import annotations

import numpy as np
from shapely.geometry import box

from ..geometry import scanfill, shapes

__all__ = ["CELL_M", "RIM_M", "Mask", "pieces"]

CELL_M = 0.5
"""Asked with and without errors in the same cells, so that only what errors change counts."""

RIM_M = 1.5
"""Ground this near to the rim of the area may end there as at a shore: two cells, and a half."""

_MOST_CELLS = 1 << 22
_TILE_M = 640.0
_SHIFTS = 4
_AROUND = 8
_BLOCK = 4


class Mask:
    """Cells of a window whose middles lie in a polygon.

    Parameters
    ----------
    ground : shapely polygon, m
    window : (east, north, east, north)
        What is asked about lies within it.
    margin : float
        How far outside the window a moved place may lie (m).
    area : shapely polygon or None
        The ground to be judged, None if the pass stays clear of its rim (``RIM_M``). Where a pass ends at its rim and
        nowhere beyond, as at a shore, what lies beyond counts as seen: a boat moved off the shore still looks as far
        as the shore.
    """

    def __init__(self, ground, window, margin, area):
        self.window, self._margin = window, int(np.ceil(margin / CELL_M)) + 1
        low = np.floor(np.array(window[:2]) / CELL_M).astype(int) - self._margin
        high = np.ceil(np.array(window[2:]) / CELL_M).astype(int) + self._margin
        self._low, (self._columns, self._rows) = low, (high - low).tolist()
        self.cells = self._filled(ground, (0, self._rows, 0, self._columns))
        if area is not None:
            self._carry_on(ground, area)

    def _filled(self, geometry, part):
        """Cells of a part of the window, (row0, row1, column0, column1), whose middles lie in a polygon."""
        row0, row1, column0, column1 = part
        x0, y0 = self._low * CELL_M
        low, high = (np.array(at) * CELL_M + (x0, y0) for at in ((column0, row0), (column1, row1)))
        near = [ring for ring in shapes.lines(geometry)
                if (ring.max(axis=0) > low).all() and ring[:, 1].min() < high[1]]
        if not near:
            return np.zeros((row1 - row0, column1 - column0), bool)
        return scanfill.fill_rings(near, part, lambda x, y: ((x - x0) / CELL_M - 0.5, (y - y0) / CELL_M - 0.5))

    def _carry_on(self, ground, area):
        """Fill cells beyond the rim of the area wherever the ground ends right at that rim."""
        x0, y0 = self._low * CELL_M
        whole = box(x0, y0, x0 + self._columns * CELL_M, y0 + self._rows * CELL_M)
        band = area.boundary.intersection(whole).buffer(RIM_M, 4)
        drawn = self.cells.copy()
        for place in shapes.parts(band.intersection(ground)):
            low = np.floor(np.array(place.bounds[:2]) / CELL_M).astype(int) - self._low - self._margin - _AROUND
            high = np.ceil(np.array(place.bounds[2:]) / CELL_M).astype(int) - self._low + self._margin + _AROUND
            (column0, row0), (column1, row1) = low.clip(0), np.minimum(high, (self._columns, self._rows))
            if column0 >= column1 or row0 >= row1:
                continue
            cells = drawn[row0:row1, column0:column1]
            outside = ~self._filled(area, (row0, row1, column0, column1))
            running_on = cells & outside & ~_grown(~outside, 2)
            touching = cells & _grown(outside & ~cells, 2) & ~_grown(running_on, 4)
            if touching.any():
                self.cells[row0:row1, column0:column1] |= outside & _grown(touching, self._margin)

    def holds(self, x, y, east, north):
        """Whether places moved to the east and north lie in the ground.

        Parameters
        ----------
        x, y : (k, 1) arrays
            Places within the window.
        east, north : (k, n) arrays or 0, m
            At most the margin.

        Returns
        -------
        (k, n) array of 0 and 1
        """
        column, row = ((at / CELL_M - low).astype(np.float32) for at, low in zip((x, y), self._low))
        per = np.float32(1 / CELL_M)
        column = (column + per * east).astype(np.int32)
        row = (row + per * north).astype(np.int32)
        row *= np.int32(self._columns)
        row += column
        return self.cells.view(np.uint8).ravel().take(row, mode="clip")

    def near(self, xy, distance):
        """For (k, 2) places: whether any cell, and whether every cell, within a square of that half-width is filled.

        Blocks of cells are judged whole, so that the square may be larger by one of them.
        """
        reach = int(np.ceil(distance / CELL_M))
        column, row = (np.floor(xy / CELL_M).astype(int) - self._low).T
        left, low = (np.clip(at - reach, 0, None) // _BLOCK for at in (column, row))
        right, high = ((np.clip(at + reach + 1, None, size) - 1) // _BLOCK + 1
                       for at, size in ((column, self._columns), (row, self._rows)))
        found = []
        for some in (_blocks(self.cells), _blocks(~self.cells)):
            sums = np.zeros((some.shape[0] + 1, some.shape[1] + 1), np.int32)
            np.cumsum(np.cumsum(some, axis=0, dtype=np.int32), axis=1, out=sums[1:, 1:])
            found.append(sums[high, right] - sums[low, right] - sums[high, left] + sums[low, left] > 0)
        return found[0], ~found[1]


def pieces(ground, margin):
    """Yield (window, part of the ground in it and near it): its bounding box, or tiles of that where it is large.

    Parameters
    ----------
    ground : shapely polygon, m
    margin : float
        How far outside the ground a place may lie that is asked about (m).

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.share.masks import pieces
    >>> [round(part.area) for window, part in pieces(box(0, 0, 10, 10), 1.0)]
    [100]
    """
    x0, y0, x1, y1 = np.add(ground.bounds, (-margin, -margin, margin, margin))
    if (x1 - x0) * (y1 - y0) <= _MOST_CELLS * CELL_M ** 2:
        yield (x0, y0, x1, y1), ground
        return
    around = margin + 1
    for east in np.arange(np.floor(x0 / _TILE_M), np.ceil(x1 / _TILE_M)) * _TILE_M:
        column = shapes.polygonal(ground.intersection(box(east - around, y0, east + _TILE_M + around, y1)))
        if column.is_empty:
            continue
        low, high = column.bounds[1] - margin, column.bounds[3] + margin
        for north in np.arange(np.floor(low / _TILE_M), np.ceil(high / _TILE_M)) * _TILE_M:
            window = (east, north, east + _TILE_M, north + _TILE_M)
            part = shapes.polygonal(column.intersection(box(*np.add(window, (-around, -around, around, around)))))
            if not part.is_empty:
                yield window, part


def _grown(cells, by):
    """Cells and all within ``by`` rows and columns of them."""
    if by <= _SHIFTS:
        found = cells.copy()
        for axis in (found, found.T):
            before = axis.copy()
            for step in range(1, by + 1):
                axis[step:] |= before[:-step]
                axis[:-step] |= before[step:]
        return found
    sums = np.zeros((cells.shape[0] + 1, cells.shape[1] + 1), np.int32)
    np.cumsum(np.cumsum(cells, axis=0, dtype=np.int32), axis=1, out=sums[1:, 1:])
    rows, columns = (np.arange(n) for n in cells.shape)
    low, high = np.clip(rows - by, 0, None), np.clip(rows + by + 1, None, cells.shape[0])
    left, right = np.clip(columns - by, 0, None), np.clip(columns + by + 1, None, cells.shape[1])
    tall = sums[high] - sums[low]
    return tall[:, right] - tall[:, left] > 0


def _blocks(cells):
    """Whether any cell is filled in each square block of ``_BLOCK`` rows and columns, the last ones cut short."""
    for _ in range(2):
        whole = len(cells) // _BLOCK * _BLOCK
        found = cells[:whole:_BLOCK].copy()
        for k in range(1, _BLOCK):
            found |= cells[k:whole:_BLOCK]
        rest = cells[whole:].any(axis=0)[None] if whole < len(cells) else cells[:0]
        cells = np.concatenate([found, rest]).T
    return cells
