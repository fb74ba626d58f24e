"""Depth grids of any size: read by window, interpolated between cell middles, placed in a survey frame.

A depth is metres down from the water surface of the day; zero and less is dry land, NaN is unknown. Cells count to half
a cell beyond the last known one, so that a grid masked at the shore reaches the shore.
"""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from pyproj import Transformer

from ..geometry.frame import horizontal_crs
from ..model.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from pyproj import CRS

__all__ = ["MAX_WINDOW_CELLS", "DepthGrid", "DepthWindow", "bounded_parts"]

MAX_WINDOW_CELLS = 4_000_000
"""Largest window read at once (16 MB of float32); longer jobs are cut in pieces."""

_MARGIN = 2
"""Cells read round a window: one for the interpolation, one for carrying known cells outward."""


@dataclass
class DepthWindow:
    """A piece of a grid: ``values`` (rows, columns), NaN unknown, whose first cell is (``row0``, ``col0``)."""

    values: np.ndarray
    row0: int
    col0: int

    def at(self, col: np.ndarray, row: np.ndarray) -> np.ndarray:
        """Bilinear depth at fractional cells (whole numbers are cell middles), NaN where a neighbour is unknown."""
        values = self.values
        col, row = np.asarray(col, float) - self.col0, np.asarray(row, float) - self.row0
        c = np.clip(np.floor(np.nan_to_num(col)), 0, values.shape[1] - 2).astype(int)
        r = np.clip(np.floor(np.nan_to_num(row)), 0, values.shape[0] - 2).astype(int)
        fc, fr = col - c, row - r
        top = values[r, c] + fc * (values[r, c + 1] - values[r, c])
        bottom = values[r + 1, c] + fc * (values[r + 1, c + 1] - values[r + 1, c])
        return top + fr * (bottom - top)


class DepthGrid:
    """A raster of depths that need not fit in memory.

    Parameters
    ----------
    crs : pyproj.CRS or str
    transform : six floats
        x = t0 + col t1 + row t2, y = t3 + col t4 + row t5 from the corner of the first cell, as GDAL has it; rotated
        and south-up rasters included.
    shape : (rows, columns)
    read : callable
        ``read(row0, row1, col0, col1)`` -> (row1 - row0, col1 - col0) floats, NaN where unknown; always inside.
    name : str
        What the user calls it.
    """

    def __init__(self, crs: CRS | str, transform: Sequence[float], shape: tuple[int, int],
                 read: Callable[[int, int, int, int], np.ndarray], name: str = "depth grid") -> None:
        self.crs, self.shape, self.name = horizontal_crs(crs), (int(shape[0]), int(shape[1])), name
        self.transform = tuple(float(v) for v in transform)
        _, a, b, _, d, e = self.transform
        if not abs(a * e - b * d) > 0 or min(self.shape) < 1:
            raise InputError(f"The depth grid '{name}' has no cells that can be placed on the map.")
        self._inverse = np.linalg.inv(np.array([[a, b], [d, e]]))
        self._read = read

    @classmethod
    def from_array(cls, crs: CRS | str, transform: Sequence[float], values: np.ndarray,
                   name: str = "depth grid") -> DepthGrid:
        """Grid of an array in memory.

        Examples
        --------
        >>> import numpy as np
        >>> import athwart
        >>> values = np.array([[4.0, 6.0], [4.0, 6.0]])
        >>> grid = athwart.DepthGrid.from_array("EPSG:32619", (0, 10, 0, 20, 0, -10), values)
        >>> grid.depth_at(np.array([5.0, 10.0, 99.0]), np.array([10.0, 10.0, 10.0])).tolist()
        [4.0, 5.0, nan]
        """
        values = np.asarray(values)
        rows, cols = values.shape
        return cls(crs, transform, (rows, cols), lambda r0, r1, c0, c1: values[r0:r1, c0:c1], name)

    def cells_of(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Fractional (col, row) of map coordinates in the grid's own CRS; whole numbers are cell middles."""
        x, y = np.asarray(x, float) - self.transform[0], np.asarray(y, float) - self.transform[3]
        i = self._inverse
        return i[0, 0] * x + i[0, 1] * y - 0.5, i[1, 0] * x + i[1, 1] * y - 0.5

    def cells_from(self, crs: CRS | str) -> Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
        """A function (x, y) in ``crs`` -> fractional (col, row)."""
        crs = horizontal_crs(crs)
        if crs == self.crs:
            return self.cells_of
        transformer = Transformer.from_crs(crs, self.crs, always_xy=True)
        return lambda x, y: self.cells_of(*transformer.transform(x, y))

    def window(self, col: np.ndarray, row: np.ndarray) -> DepthWindow:
        """The piece that holds every one of the fractional cells ``col``, ``row`` (finite arrays).

        Cells outside the raster come as unknown.
        """
        rows, cols = self.shape
        c0, c1 = (int(np.clip(v, -_MARGIN, cols + _MARGIN)) for v in (np.floor(np.min(col)), np.floor(np.max(col)) + 1))
        r0, r1 = (int(np.clip(v, -_MARGIN, rows + _MARGIN)) for v in (np.floor(np.min(row)), np.floor(np.max(row)) + 1))
        c0, c1, r0, r1 = c0 - _MARGIN, c1 + _MARGIN + 1, r0 - _MARGIN, r1 + _MARGIN + 1
        inside = (max(r0, 0), min(r1, rows), max(c0, 0), min(c1, cols))
        if inside[0] >= inside[1] or inside[2] >= inside[3]:
            return DepthWindow(np.full((r1 - r0, c1 - c0), np.nan, np.float32), r0, c0)
        values = np.asarray(self._read(*inside))
        if values.dtype.kind != "f":
            values = values.astype(np.float32)
        if inside != (r0, r1, c0, c1):
            pads = ((inside[0] - r0, r1 - inside[1]), (inside[2] - c0, c1 - inside[3]))
            values = np.pad(values, pads, constant_values=np.nan)
        return DepthWindow(_carried_outward(values), r0, c0)

    def depth_at(self, x: np.ndarray, y: np.ndarray, crs: CRS | str | None = None) -> np.ndarray:
        """Depths at points.

        Parameters
        ----------
        x, y : (n,) arrays
            In ``crs``, default the grid's own.

        Returns
        -------
        (n,) float array, m; NaN off the grid and where it is unknown
        """
        col, row = (self.cells_of if crs is None else self.cells_from(crs))(x, y)
        return self.depth_in_cells(col, row)

    def depth_in_cells(self, col: np.ndarray, row: np.ndarray) -> np.ndarray:
        """Depths at fractional cells, (n,) arrays; NaN off the grid and where it is unknown."""
        col, row = np.asarray(col, float), np.asarray(row, float)
        found = np.full(col.shape, np.nan)
        near = np.flatnonzero((col > -2) & (col < self.shape[1] + 1) & (row > -2) & (row < self.shape[0] + 1))
        for part in bounded_parts(col[near], col[near], row[near], row[near]):
            index = near[part]
            found[index] = self.window(col[index], row[index]).at(col[index], row[index])
        return found

    def step_limit(self, dcol: np.ndarray, drow: np.ndarray) -> float:
        """Longest stride (m) along rays of ``dcol``, ``drow`` cells a metre that no cell's half is stepped over."""
        fastest = max(np.nanmax(np.abs(dcol), initial=0.0), np.nanmax(np.abs(drow), initial=0.0))
        return 0.5 / fastest if fastest > 0 else np.inf


def bounded_parts(col_low: np.ndarray, col_high: np.ndarray, row_low: np.ndarray, row_high: np.ndarray, first: int = 0,
                  most: int | None = None) -> Iterator[slice]:
    """Slices of neighbouring things whose common extent in cells stays within ``MAX_WINDOW_CELLS``.

    Parameters
    ----------
    col_low, col_high, row_low, row_high : (n,) arrays
        Extent of each thing in cells; a thing larger than the limit stands alone.
    first : int
        Added to the slices.
    most : int, optional
        Longest slice.

    Yields
    ------
    slice

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.bottom.depthgrid import bounded_parts
    >>> low, high = np.array([0, 10, 20]), np.array([9, 19, 29])
    >>> list(bounded_parts(low, high, low, high))
    [slice(0, 3, None)]
    """
    count = len(col_low)
    if not count:
        return
    cells = (np.max(col_high) - np.min(col_low) + 1) * (np.max(row_high) - np.min(row_low) + 1)
    if count == 1 or (cells <= MAX_WINDOW_CELLS and (most is None or count <= most)):
        yield slice(first, first + count)
        return
    half = count // 2
    for a, b in ((0, half), (half, count)):
        yield from bounded_parts(col_low[a:b], col_high[a:b], row_low[a:b], row_high[a:b], first + a, most)


def _carried_outward(values: np.ndarray) -> np.ndarray:
    """Unknown cells beside known ones take the mean of those; the rest stay unknown."""
    known = np.isfinite(values)
    if known.all() or not known.any():
        return values if known.any() else np.full(values.shape, np.nan, np.float32)
    total, count = np.where(known, values, 0).astype(float), known.astype(float)
    for axis in (0, 1):
        total, count = _with_neighbours(total, axis), _with_neighbours(count, axis)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(known, values, total / count).astype(values.dtype)


def _with_neighbours(values: np.ndarray, axis: int) -> np.ndarray:
    """Each value plus the one before and the one after along an axis."""
    out = values.copy()
    ahead, behind = [slice(None)] * 2, [slice(None)] * 2
    ahead[axis], behind[axis] = slice(1, None), slice(None, -1)
    out[tuple(behind)] += values[tuple(ahead)]
    out[tuple(ahead)] += values[tuple(behind)]
    return out
