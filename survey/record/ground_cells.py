"""Cells of a map on a depth grid, seen from the beam that meets them: slant range, grazing angle, what is hidden."""
from __future__ import annotations

import math

import numpy as np

from ..bottom.profile import Rays, Scratch, march
from .laid_image import in_cells

__all__ = ["GridUnder"]

_SLOPE_CELLS = 0.5
"""Slopes are taken over so many cells of the grid to either side."""


class GridUnder:
    """A depth grid under one image.

    Parameters
    ----------
    grid : survey.bottom.depthgrid.DepthGrid
    offset : (n,) array, m
        What is added to the grid's depths at each fan of the image to have them from the transducer.
    cell : float, m
        Side of a cell of the map.
    """

    def __init__(self, grid, offset, cell):
        self._grid, self._offset, self._cell = grid, offset, cell
        self._scratch = Scratch(1)

    def lay(self, frame, at, along, far):
        """Fans in cells of the grid; see ``laid_image.in_cells``."""
        self._at, self._beam = in_cells(frame, at, along, far, self._grid.cells_from(frame.crs))
        self._step = min(self._grid.step_limit(*self._beam.T), 0.5 * self._cell)

    def under(self, laid, block, quad, moment, ground, side, depth):
        """What a block's cells are.

        Parameters
        ----------
        laid : survey.record.laid_image.LaidImage
        block : survey.record.laid_image.Block
        quad, moment, ground, side : (k,) arrays
            Interval of each cell counted from the block's first, share of it, range (m) and side.
        depth : (k,) array, m
            That stands where the grid knows nothing.

        Returns
        -------
        slant, sine : (k,) arrays
            True slant range (m) and sine of the grazing angle.
        shown : (k,) bool array
        assumed : (k,) bool array
        hidden : int
            Cells that nearer ground hides.
        """
        fans = slice(block.first, block.end + 1)
        at, beam, offset = self._at[fans], self._beam[fans], self._offset[fans]
        low, high = laid.low[fans], laid.high[fans]
        tips = np.concatenate([at + low[:, None] * beam, at + high[:, None] * beam])
        window = self._grid.window(*tips.T)
        where = at[quad] + moment[:, None] * (at[quad + 1] - at[quad])
        ahead = (beam[quad] + moment[:, None] * (beam[quad + 1] - beam[quad])) * side[:, None]
        own = offset[quad] + moment * (offset[quad + 1] - offset[quad])
        far = ground.astype(float)

        def floor(out):
            place = where + out[:, None] * ahead
            return window.at(*place.T) + own
        bed = floor(far)
        assumed = np.isnan(bed)
        reach = _SLOPE_CELLS * 2 * self._step
        slope = np.nan_to_num((floor(far + reach) - floor(far - reach)) / (2 * reach))
        bed = np.where(assumed, depth, bed)
        slant = np.sqrt(far * far + bed * bed)
        sine = np.maximum(bed - far * slope, 0) / (slant * np.sqrt(1 + slope * slope))
        clear, reached = self._seen(laid, block, window, (quad, moment, ground, side))
        wet = np.isfinite(slant) & (bed > 0) & reached
        edge = laid.rows.edge_m[np.clip(laid.beams.row[fans].astype(int), 0, len(laid.rows) - 1)]
        hidden = int(np.count_nonzero(wet & ~clear & (slant <= np.nanmax(edge, initial=0.0))))
        return slant.astype(np.float32), sine.astype(np.float32), wet & clear, assumed, hidden

    def _seen(self, laid, block, window, cells):
        """(k,) whether no nearer ground hides a cell, and whether the sound comes so far before it meets land.

        ``cells``: interval, share of it, ground range and side of each.
        """
        quad, moment, ground, side = cells
        fans = slice(block.first, block.end + 1)
        at, beam, offset = self._at[fans], self._beam[fans], self._offset[fans]
        low, high = laid.low[fans], laid.high[fans]
        tips = [at, at + low[:, None] * beam, at + high[:, None] * beam]
        moved = np.max([np.hypot(*np.diff(tip, axis=0).T) for tip in tips], axis=0) * 2 * self._step
        pieces = np.clip(np.ceil(moved / self._cell), 1, 10_000).astype(int)
        first = np.cumsum(pieces) - pieces
        owner = np.repeat(np.arange(len(pieces)), pieces)
        share = (np.arange(len(owner)) - first[owner] + 0.5) / pieces[owner]

        def mixed(values):
            part = share if values.ndim == 1 else share[:, None]
            return values[owner] + part * (values[owner + 1] - values[owner])
        (col, row), (dcol, drow) = mixed(at).T, mixed(beam).T
        depth = np.nan_to_num(laid.rows.depth_m)[np.clip(laid.beams.row[fans].astype(int), 0, len(laid.rows) - 1)]
        both = np.concatenate
        rays = Rays(both([col, col]), both([row, row]), both([dcol, -dcol]), both([drow, -drow]),
                    np.tile(mixed(offset), 2), np.tile(mixed(depth), 2), both([mixed(high), -mixed(low)]))
        count = int(math.ceil(max(float(rays.reach.max()), self._step) / self._step)) + 1
        if self._scratch.samples < count * len(rays):
            self._scratch = Scratch(count * len(rays))
        marched = march(window, rays, self._step, count, self._scratch)
        piece = np.minimum((moment * pieces[quad]).astype(np.intp), pieces[quad] - 1)
        ray = first[quad] + piece + (side < 0) * len(owner)
        sample = np.minimum((ground / self._step).astype(np.intp), count - 1)
        return marched.seen[sample, ray], ground <= marched.reach[ray]
