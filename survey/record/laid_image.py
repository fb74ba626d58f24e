"""A record image laid on the cells of a map: which pixel any cell is, solved in blocks that no tile can change."""
from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..ensonify.stripcells import beam_through
from ..geometry.scanfill import fill_quads

__all__ = ["Block", "Found", "LaidImage", "in_cells"]

_CELLS_A_BLOCK = 60_000
_ROWS_A_BLOCK = 4096

_MARGIN_CELLS = 2.0


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


@dataclass
class Found:
    """Cells of a window and what each of them is; (k,) arrays.

    ``cell``: flat index in the window. ``row``, ``column``: pixel of the image. ``across``, ``along``: pixels to either
    side that also lie in the cell. ``ground``, ``slant`` (true m), ``side``, ``sine`` of the grazing angle.
    ``assumed``: the depth grid knows nothing there. ``hidden``: count of cells that nearer ground hides.
    """

    cell: np.ndarray
    row: np.ndarray
    column: np.ndarray
    across: np.ndarray
    along: np.ndarray
    ground: np.ndarray
    slant: np.ndarray
    side: np.ndarray
    sine: np.ndarray
    assumed: np.ndarray
    hidden: int


class Look(NamedTuple):
    """(k,) arrays: cells of a window that beams meet, whether they are on the image or not: ``cell``, ``quad`` the
    interval, ``line`` the row of the image, and the rest as in Found; ``shown``: nothing speaks against it yet."""

    cell: np.ndarray
    quad: np.ndarray
    line: np.ndarray
    ground: np.ndarray
    slant: np.ndarray
    side: np.ndarray
    sine: np.ndarray
    shown: np.ndarray
    assumed: np.ndarray


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

    def found(self, block, window):
        """Cells of a window that a block shows.

        Returns
        -------
        Found
        """
        interval = np.arange(block.first, block.end)
        runs = fill_quads(self._corners(interval), window)
        run, col = runs.cells()
        quad, row = runs.quad[run], runs.row[run]
        cell = (row - window[0]) * (window[3] - window[2]) + col - window[2]
        moment, ground, side = self._beams_at(interval, block.corner, col, row, quad)
        first, last = self.beams.row[interval], self.beams.row[interval + 1]
        line = (first - block.rows[0]).astype(np.float32)[quad] + moment * (last - first).astype(np.float32)[quad]
        line = np.clip(line.astype(np.intp), 0, block.rows[1] - block.rows[0] - 1) + block.rows[0]
        line = np.minimum(line, self.image.record.height - 1)
        depth = self._depth[line]
        if self._ground is None:
            slant = np.sqrt(ground * ground + depth * depth)
            sine, shown, assumed = depth / slant, np.isfinite(slant), None
            hidden = 0
        else:
            slant, sine, shown, assumed, hidden = self._ground.under(self, block, quad, moment, ground, side, depth)
        look = Look(cell, quad, line, ground, slant, side, sine, shown, assumed)
        return self._pixels(interval, look, hidden)

    def age(self, row):
        """Seconds between the first of all rows with a time and these, float32."""
        return np.nan_to_num(self.rows.t_s[row] - self.since).astype(np.float32)

    def _beams_at(self, interval, corner, col, row, quad):
        def both(values, less=0.0):
            start, end = values[interval] - less, values[interval + 1] - less
            return start.astype(np.float32).T, (end - start).astype(np.float32).T
        (x0, y0), step = both(self.at, np.array(corner))
        beam, swing = both(self.beam)
        x = (col - corner[0]).astype(np.float32) - x0[quad]
        y = (row - corner[1]).astype(np.float32) - y0[quad]
        return beam_through(x, y, step, beam, swing, quad)

    def _pixels(self, interval, look, hidden):
        """Found of all looks that meet a pixel."""
        record, line, quad = self.image.record, look.line, look.quad
        away = look.slant * self._scale[line]
        place = np.float32(record.centre) + look.side * away
        with np.errstate(invalid="ignore"):
            shown = look.shown & (away <= record.reach) & (place >= 0) & (place < record.width)
        if len(self._side_shown) == 1:
            shown &= look.side == self._side_shown[0]
        keep = np.flatnonzero(shown)
        column = place[keep].astype(np.intp)
        line, quad = line[keep], quad[keep]
        if self.image.clear is not None:
            solid = ~self.image.clear[line, column]
            keep, column, line, quad = keep[solid], column[solid], line[solid], quad[solid]
        ground, slant, size = look.ground[keep], look.slant[keep], self._raster.cell
        across = np.maximum((size * ground / slant * self._scale[line] - 0.5) * 0.5, 0).astype(np.intp)
        moved = np.hypot(*(self.at[interval + 1] - self.at[interval]).T)
        rows = np.abs(self.beams.row[interval + 1] - self.beams.row[interval]) / np.maximum(moved, 1e-6)
        along = np.maximum((rows - 0.5) * 0.5, 0).astype(np.intp)[quad]
        return Found(look.cell[keep], line, column, across, along, ground, slant, look.side[keep], look.sine[keep],
                     None if look.assumed is None else look.assumed[keep], hidden)

    def values(self, block, cells, which, gains=None):
        """Greys or colours of found cells: the pixel itself, or the mean of those that lie in the cell.

        Parameters
        ----------
        cells : Found
        which : (m,) int array
            Of the found cells.
        gains : (rows,) int array and (groups, columns) array, optional
            Group of each row, and gains of its columns.

        Returns
        -------
        (bands, m) float32 array
        """
        pixels = self.image.pixels
        row, column = cells.row[which], cells.column[which]
        across, along = cells.across[which], cells.along[which]
        if len(which) and (across.any() or along.any()):
            made = self._means(block, row, column, across, along)
        else:
            made = pixels[row, column].astype(np.float32).reshape(len(which), self.image.bands).T
        if gains is not None:
            group, table = gains
            made = made * table[group[row], column]
        return made

    def _means(self, block, row, column, across, along):
        """Means over boxes; sums of whole numbers, so that they come out alike wherever they are begun."""
        record = self.image.record
        rows = slice(block.rows[0], min(block.rows[1], record.height))
        centre = int(round(record.centre))
        right = column >= centre
        c0 = np.maximum(column - across, np.where(right, centre, 0))
        c1 = np.minimum(column + across + 1, np.where(right, record.width, centre))
        r0, r1 = np.maximum(row - along, rows.start), np.minimum(row + along + 1, rows.stop)
        tall = bool(along.any())
        many = ((r1 - r0) * (c1 - c0)).astype(np.float32)
        cols = slice(int(c0.min()), int(c1.max()))
        c0, c1, r0, r1 = c0 - cols.start, c1 - cols.start, r0 - rows.start, r1 - rows.start
        pixels = self.image.pixels[rows, cols]
        pixels = pixels[..., None] if pixels.ndim == 2 else pixels
        # sums that pass 2^32 wrap round, and so do their differences: each box comes out right
        table = np.zeros((pixels.shape[0] + 1, pixels.shape[1] + 1), np.uint32)
        made = []
        for band in range(pixels.shape[2]):
            np.cumsum(pixels[..., band], axis=1, dtype=np.uint32, out=table[1:, 1:])
            if tall:
                np.cumsum(table[1:, 1:], axis=0, out=table[1:, 1:])
                total = table[r1, c1] - table[r0, c1] - table[r1, c0] + table[r0, c0]
            else:
                total = table[r1, c1] - table[r1, c0]
            made.append(total.astype(np.float32) / many)
        return np.stack(made)


def in_cells(frame, at, along, far, to_cells):
    """Places, and one metre along from each of them, in cells: straight lines stay straight within a millimetre."""
    tips = at + far * along
    cells = np.column_stack(to_cells(*frame.inverse(*at.T)))
    return cells, (np.column_stack(to_cells(*frame.inverse(*tips.T))) - cells) / far
