"""A record image laid on the cells of a map: which pixel any cell is, solved in blocks that no tile can change."""
from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..ensonify.stripcells import beam_through
from ..geometry.scanfill import fill_quads

__all__ = ["Block", "LaidImage", "Looks", "in_cells"]

_CELLS_A_BLOCK = 60_000
_ROWS_A_BLOCK = 4096

_MARGIN_CELLS = 2.0

_BOX_PIXELS = 32
"""Boxes of more pixels are summed by a table of sums, which costs as much for any size of them."""


@dataclass(frozen=True)
class Block:
    """Intervals ``first`` .. ``end`` - 1 between fans. ``corner``: (col, row) cell that its places are counted from,
    ``extent``: lowest col, highest col, lowest row, highest row; ``rows``: rows of the image in it, (first, end)."""

    first: int
    end: int
    corner: tuple
    extent: tuple
    rows: tuple

    def meets(self, window):
        """Whether any of it lies in a window (row0, row1, col0, col1)."""
        low_col, high_col, low_row, high_row = self.extent
        return low_row < window[1] and high_row >= window[0] and low_col < window[3] and high_col >= window[2]


class Looks(NamedTuple):
    """Cells of a window that beams of a block meet, whether the image shows them or not; (k,) arrays.

    ``cell``: flat index in the window. ``part``: stretch of cells it belongs to, ``quads`` the interval of each stretch
    counted from the block's first. ``row``: of the image; ``place``: column with its fraction, float32. ``ground`` and
    ``slant`` (true m), ``side``, ``sine`` of the grazing angle. ``shown``: the image shows it. ``assumed``: the depth
    grid knows nothing there, or None. ``hidden``: count of cells that nearer ground hides.
    """

    cell: np.ndarray
    part: np.ndarray
    quads: np.ndarray
    row: np.ndarray
    place: np.ndarray
    ground: np.ndarray
    slant: np.ndarray
    side: np.ndarray
    sine: np.ndarray
    shown: np.ndarray
    assumed: np.ndarray
    hidden: int


class LaidImage:
    """See the module.

    Parameters
    ----------
    image : survey.record.record_image.RecordImage
    rows : survey.record.row_beams.Rows
        With the depth that is to hold.
    beams : survey.record.row_beams.RowBeams
    frame : survey.geometry.frame.Frame
    raster : survey.bottom.rasters.Raster
    ground : survey.record.ground_cells.GridUnder, optional
        The depth grid; without it the bottom is flat.

    Attributes
    ----------
    since : float
        Moment that ages are counted from, one for all images.
    """

    def __init__(self, image, rows, beams, frame, raster, ground=None):
        self.image, self.rows, self.beams, self._raster, self._ground = image, rows, beams, raster, ground
        record = image.record
        # flat views: they are read about three times as fast as by row and column
        self._pixels = np.asarray(image.pixels).reshape(-1)
        self._clear = None if image.clear is None else np.asarray(image.clear).reshape(-1)
        self._side_shown = {"both": (-1, 1), "port": (-1,), "starboard": (1,)}[record.layout]
        self._scale = (record.reach / rows.edge_m).astype(np.float32)
        self._depth = rows.depth_m.astype(np.float32)
        self.since = 0.0
        self._lay_out(frame)
        self.blocks = list(self._cut())

    def _lay_out(self, frame):
        beams, record = self.beams, self.image.record
        at = np.column_stack([beams.east, beams.north])
        row = np.clip(beams.row.astype(int), 0, record.height - 1)
        edge = np.nan_to_num(self.rows.edge_m)
        # a fan stands at the edge of two rows, and what lies between two fans goes as far as the longer of them
        far = np.maximum(edge[row], edge[np.maximum(row - 1, 0)])
        if self._ground is None:
            depth = np.nan_to_num(np.fmin(self.rows.depth_m[row], self.rows.depth_m[np.maximum(row - 1, 0)]))
            depth = np.fmin(depth, np.append(depth[1:], np.inf))
            depth = np.fmin(depth, np.append(np.inf, depth[:-1]))
            far = np.sqrt(np.maximum(far ** 2 - (0.9 * depth) ** 2, 0))
        far = np.maximum(far, np.append(far[1:], 0)) + _MARGIN_CELLS * self._raster.cell
        far = np.maximum(far, np.append(0, far[:-1]))
        self.low = -np.minimum(far, beams.reach_port) * (-1 in self._side_shown)
        self.high = np.minimum(far, beams.reach_starboard) * (1 in self._side_shown)
        self.at, self.beam = in_cells(frame, at, beams.along, far.max(initial=1.0),
                                       self._raster.cells_from(frame.crs))
        if self._ground is not None:
            self._ground.lay(frame, at, beams.along, far.max(initial=1.0))

    def _corners(self, interval):
        def ends(row):
            return [self.at[row] + g[row, None] * self.beam[row] for g in (self.low, self.high)]
        return np.stack([*ends(interval), *ends(interval + 1)[::-1]], axis=1)

    def _cut(self):
        """Blocks of neighbouring intervals, the oldest first."""
        interval = np.flatnonzero(self.beams.drawn[:-1])
        if not len(interval):
            return
        corners = self._corners(interval)
        sides = np.hypot(*np.moveaxis(np.diff(corners[:, [0, 1, 2, 3, 0]], axis=1), 2, 0))
        size = np.maximum(sides[:, 1], sides[:, 3]) * np.maximum(sides[:, 0], sides[:, 2])
        span = np.abs(self.beams.row[interval + 1] - self.beams.row[interval])
        apart = np.append(0, np.cumsum(np.diff(interval) != 1))
        key = (apart, (np.cumsum(size) // _CELLS_A_BLOCK), (np.cumsum(span) // _ROWS_A_BLOCK))
        new = np.flatnonzero(np.any([np.diff(part) != 0 for part in key], axis=0)) + 1
        for part in np.split(np.arange(len(interval)), new):
            mine = corners[part].reshape(-1, 2)
            low, high = np.floor(mine.min(axis=0)), np.ceil(mine.max(axis=0))
            row = self.beams.row[[interval[part[0]], interval[part[-1]] + 1]]
            yield Block(int(interval[part[0]]), int(interval[part[-1]]) + 1, (int(low[0]), int(low[1])),
                        (low[0], high[0], low[1], high[1]), (int(row.min()), int(np.ceil(row.max()))))

    def looks(self, block, window):
        """What the beams of a block meet in a window.

        Returns
        -------
        Looks
        """
        interval = np.arange(block.first, block.end)
        runs = fill_quads(self._corners(interval), window)
        length = runs.stop - runs.start
        part = np.repeat(np.arange(len(length)), length)
        number = np.arange(len(part))
        begin = runs.start - (np.cumsum(length) - length)
        cell = number + ((runs.row - window[0]) * (window[3] - window[2]) + begin - window[2]).take(part, mode="wrap")
        number += (begin - block.corner[0]).take(part, mode="wrap")
        x, y, line, span, beam = self._stretches(interval, block, runs)
        x = number.astype(np.float32) - x.take(part, mode="wrap")
        moment, ground, side = beam_through(x, y.take(part, mode="wrap"), *beam, part)
        last = min(block.rows[1], self.image.record.height) - block.rows[0] - 1
        row = (line.take(part, mode="wrap") + moment * span.take(part, mode="wrap")).astype(np.intp)
        row = np.minimum(row, last, out=row)
        row += block.rows[0]
        depth = self._depth.take(row)
        if self._ground is None:
            slant = np.sqrt(ground * ground + depth * depth)
            sine, shown, assumed, hidden = depth / slant, None, None, 0
        else:
            slant, sine, shown, assumed, hidden = self._ground.under(self, block, runs.quad.take(part), moment, ground,
                                                                     side, depth)
        place, shown = self._shown(row, slant, side, shown)
        return Looks(cell, part, runs.quad, row, place, ground, slant, side, sine, shown, assumed, hidden)

    def _stretches(self, interval, block, runs):
        """Of each stretch of cells in a row of the map where its interval begins, seen from the block's corner and from
        that row, its first row of the image and their number, and step, beam and swing as in ``beam_through``."""
        def both(values, less=0.0):
            start, end = values[interval] - less, values[interval + 1] - less
            return start.astype(np.float32).T[:, runs.quad], (end - start).astype(np.float32).T[:, runs.quad]
        (x, y), step = both(self.at, np.array(block.corner))
        first, last = self.beams.row[interval], self.beams.row[interval + 1]
        line, span = (first - block.rows[0]).astype(np.float32), (last - first).astype(np.float32)
        return (x, (runs.row - block.corner[1]).astype(np.float32) - y, line[runs.quad], span[runs.quad],
                (step, *both(self.beam)))

    def _shown(self, row, slant, side, shown):
        """Column of each look, and whether the image shows it."""
        record = self.image.record
        away = slant * self._scale.take(row)
        place = np.float32(record.centre) + side * away
        with np.errstate(invalid="ignore"):
            within = (away <= record.reach) & (place >= 0) & (place < record.width)
        if shown is not None:
            within &= shown
        if len(self._side_shown) == 1:
            within &= side == self._side_shown[0]
        if self._clear is not None:
            at = np.flatnonzero(within)
            within[at] = ~self._clear.take(row[at] * record.width + place[at].astype(np.intp))
        return place, within

    def ages(self, row):
        """Seconds between the first of all rows with a time and these, float32."""
        return np.nan_to_num(self.rows.t_s[row] - self.since).astype(np.float32)

    def values(self, block, looks, which, gains=None):
        """Greys or colours of looks: the pixel itself, or the mean of those that lie in the cell.

        Parameters
        ----------
        block : Block
        looks : Looks
        which : (m,) int array
            Of the looks.
        gains : (rows,) int array and (groups, columns) array, optional
            Group of each row, and gains of its columns.

        Returns
        -------
        (bands, m) float32 array
        """
        row, column = looks.row.take(which), np.floor(looks.place.take(which))
        size = np.float32(self._raster.cell) * looks.ground.take(which) / looks.slant.take(which)
        across = np.floor(np.maximum((size * self._scale.take(row) - 0.5) * 0.5, 0))
        interval = np.arange(block.first, block.end)
        moved = np.hypot(*(self.at[interval + 1] - self.at[interval]).T)
        rows = np.abs(self.beams.row[interval + 1] - self.beams.row[interval]) / np.maximum(moved, 1e-6)
        along = np.maximum((rows - 0.5) * 0.5, 0).astype(np.intp)
        along = along[looks.quads].take(looks.part.take(which)) if along.any() else None
        made = self._means(block, row, column, across, along)
        if gains is not None:
            group, table = gains
            made *= table[group[row], column.astype(np.intp)]
        return made

    def _means(self, block, row, column, across, along):
        """Means over boxes so many pixels to either side; sums of whole numbers, alike however they are made.

        Columns are whole float32 numbers, which are half as long as integers; factors do what where() does at a tenth
        of its time.
        """
        record = self.image.record
        centre = np.float32(round(record.centre))
        right = column >= centre
        low = np.maximum(column - across, right * centre)
        wide = np.minimum(column + across + 1, centre + right * np.float32(record.width - centre)) - low
        top, tall = row, None
        if along is not None:
            top = np.maximum(row - along, block.rows[0])
            tall = (np.minimum(row + along + 1, min(block.rows[1], record.height)) - top).astype(np.float32)
        most = int(wide.max(initial=0)) * (1 if tall is None else int(tall.max(initial=0)))
        made = np.empty((self.image.bands, len(row)), np.float32)
        count = wide if tall is None else wide * tall
        sums = self._sums_by_pixel if most <= _BOX_PIXELS else self._sums_by_table
        for band, total in enumerate(sums(top, tall, low, wide)):
            np.divide(total, count, out=made[band], casting="unsafe")
        return made

    def _sums_by_pixel(self, top, tall, low, wide):
        """Yields for each band the sums over boxes, pixel by pixel of the widest box."""
        bands, width = self.image.bands, self.image.record.width
        first = top * width
        first += low.astype(np.intp)
        first *= bands
        wide, tall = (None if size is None else size.astype(np.uint8) for size in (wide, tall))  # quicker to compare
        for band in range(bands):
            total = np.zeros(len(first), np.uint32)
            for i in range(1 if tall is None else int(tall.max(initial=0))):
                for j in range(int(wide.max(initial=0))):
                    # that many pixels on: places stay as they are; the few past the end are multiplied by 0
                    grey = self._pixels[(i * width + j) * bands + band:].take(first, mode="wrap")
                    if j:
                        grey *= j < wide
                    if i:
                        grey *= i < tall
                    total += grey
            yield total

    def _sums_by_table(self, top, tall, low, wide):
        """Yields for each band the sums over boxes, from a summed-area table (Crow 1984) of the rows they need."""
        low, wide = low.astype(np.intp), wide.astype(np.intp)
        bottom = top + (1 if tall is None else tall.astype(np.intp))
        rows, cols = slice(int(top.min()), int(bottom.max())), slice(int(low.min()), int((low + wide).max()))
        r0, r1, c0, c1 = top - rows.start, bottom - rows.start, low - cols.start, low + wide - cols.start
        pixels = self.image.pixels[rows, cols]
        pixels = pixels[..., None] if pixels.ndim == 2 else pixels
        # sums that pass 2^32 wrap round, and so do their differences: each box comes out right
        table = np.zeros((pixels.shape[0] + 1, pixels.shape[1] + 1), np.uint32)
        for band in range(pixels.shape[2]):
            np.cumsum(pixels[..., band], axis=1, dtype=np.uint32, out=table[1:, 1:])
            if tall is None:
                yield table[r1, c1] - table[r1, c0]
            else:
                np.cumsum(table[1:, 1:], axis=0, out=table[1:, 1:])
                yield table[r1, c1] - table[r0, c1] - table[r1, c0] + table[r0, c0]


def in_cells(frame, at, along, far, to_cells):
    """Places, and one metre along from each of them, in cells: straight lines stay straight within a millimetre."""
    tips = at + far * along
    cells = np.column_stack(to_cells(*frame.inverse(*at.T)))
    return cells, (np.column_stack(to_cells(*frame.inverse(*tips.T))) - cells) / far
