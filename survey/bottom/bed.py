"""What the beams of strips meet on a depth grid: the march behind the map of bottom seen."""
from __future__ import annotations

import math

import numpy as np

from ..beams.land import water_reach
from .depthgrid import bounded_parts
from .profile import Rays, Scratch, march

__all__ = ["Bed", "Looked", "flat_bed"]

_OWN_STRIDE = 0.5
"""Cells at the edge of a shadow get a ray of their own, marched with this share of the common stride."""

_SPAN = 100.0
"""Cells over which the map from raster to grid is taken as linear when its steps are measured."""


class Looked:
    """(k,) arrays of looks at cells: ``cell``, ``beam``, ``side`` as in ``StripCells``; ``ground``, ``depth`` and
    ``slant`` (m); ``plane``: how deep (m) the local ground would lie under the transducer if it ran on as it slopes at
    the cell; ``sine`` of the grazing angle, between ray and bottom; ``assumed``: the depth is an assumption, None where
    none is."""

    def __init__(self, cells, depth, plane, sine, assumed=None, keep=slice(None)):
        self.cell, self.beam, self.side = cells.cell[keep], cells.beam[keep], cells.side[keep]
        self.ground, self.depth, self.plane, self.sine = cells.ground[keep], depth, plane, sine
        self.slant = np.hypot(self.ground, depth)
        self.assumed = assumed


def flat_bed(sweep, interval, beams, cells):
    """Looks at the cells of strips whose edges are the model's own: all are seen.

    Returns
    -------
    (Looked, (0,) array of hidden cells)
    """
    depth = cells.mixed(sweep.depth, interval)
    with np.errstate(invalid="ignore"):
        return Looked(cells, depth, depth, depth / np.hypot(cells.ground, depth)), np.empty(0, int)


class Bed:
    """A depth grid under a raster.

    Parameters
    ----------
    grid : survey.bottom.depthgrid.DepthGrid
    raster : survey.bottom.rasters.Raster
    tan_blind : float
        Tangent of the blind angle from the vertical.
    samples : int
        Samples marched at once.
    """

    def __init__(self, grid, raster, tan_blind, samples=250_000):
        self.grid, self.raster, self.tan_blind = grid, raster, tan_blind
        self._scratch = Scratch(samples)
        self._cells_from_raster = grid.cells_from(raster.crs)

    def bounded(self, sweep, interval):
        """Slices of intervals whose beams meet a piece of the grid that can be read at once."""
        rows = np.stack([interval, interval + 1])
        ends = [sweep.grid_at[rows] + g[rows][..., None] * sweep.grid_beam[rows] for g in (sweep.low, sweep.high)]
        low, high = np.minimum(*ends).min(axis=0), np.maximum(*ends).max(axis=0)
        return bounded_parts(low[:, 0], high[:, 0], low[:, 1], high[:, 1])

    def looked(self, sweep, interval, beams, cells, corner):
        """Looks at cells of strips.

        Parameters
        ----------
        sweep : survey.ensonify.beam_rows.BeamRows
        interval : (m,) int array
        beams : survey.ensonify.beam_rows.Subbeams
        cells : survey.ensonify.stripcells.StripCells
        corner : (row, col)
            Cell of the raster that the cells are counted from.

        Returns
        -------
        (Looked, (h,) int array)
            What is seen, and the cells that nearer ground hides.
        """
        step = sweep.stride
        count = int(math.ceil(np.nanmax(sweep.range_m[interval]) / step)) + 1
        rays = self._rays(sweep, beams)
        low_col, high_col, low_row, high_row = rays.extents()
        window = self.grid.window(np.concatenate([low_col, high_col]), np.concatenate([low_row, high_row]))
        if self._scratch.samples < count * len(rays):
            self._scratch = Scratch(count * len(rays))
        marched = march(window, rays, step, count, self._scratch)
        depth, slopes, assumed = self._depths(sweep, interval, cells, corner, window)
        ray = cells.beam + (cells.side < 0) * len(beams)
        ground = cells.ground
        fits = (ground * ground + depth * depth <= np.square(sweep.range_m[interval].astype(np.float32))[cells.quad])
        fits &= ground >= depth * self.tan_blind
        fits &= ground <= marched.reach.astype(np.float32)[ray]
        sample = np.minimum((ground * (1 / step)).astype(np.intp), count - 1)
        clear = marched.seen.ravel()[sample * len(rays) + ray]
        unsure = np.flatnonzero(fits & _edges_of(marched.seen).ravel()[sample * len(rays) + ray])
        clear[unsure] = self._own_rays(sweep, interval, cells, unsure, depth, corner, window, _OWN_STRIDE * step)
        hidden = cells.cell[fits & ~clear]
        seen = np.flatnonzero(fits & clear)
        depth, ground = depth[seen], ground[seen]
        x, y = (beams.mixed(sweep.beam).astype(np.float32)[cells.beam[seen]] * cells.side[seen, None]).T
        per_metre = x * x + y * y
        zx, zy = slopes[0][seen], slopes[1][seen]
        plane = np.maximum(depth - ground * (zx * x + zy * y), 0)
        with np.errstate(invalid="ignore"):
            sine = plane / np.sqrt((ground * ground + depth * depth) * (1 + (zx * zx + zy * zy) * per_metre))
        return Looked(cells, depth, plane, sine, None if assumed is None else assumed[seen], seen), hidden

    def _rays(self, sweep, beams):
        """Starboard rays of the beams, then port rays."""
        col, row = beams.mixed(sweep.grid_at).T
        dcol, drow = beams.mixed(sweep.grid_beam).T
        reach = [beams.mixed(sweep.high), -beams.mixed(sweep.low)]
        if sweep.water is not None:
            near = np.flatnonzero(sweep.shore[beams.row])
            if len(near):
                self._end_at_land(sweep, beams, near, reach)
        both = np.concatenate
        return Rays(both([col, col]), both([row, row]), both([dcol, -dcol]), both([drow, -drow]),
                    *(np.tile(beams.mixed(v), 2) for v in (sweep.offset, sweep.depth)), both(reach))

    def _end_at_land(self, sweep, beams, near, reach):
        east, north, along = (beams.mixed(v)[near] for v in (sweep.east, sweep.north, sweep.along))
        along = along / np.hypot(*along.T)[:, None]
        for side, far in zip((1, -1), reach):
            far[near] = water_reach(sweep.water, east, north, *(side * along).T, far[near])

    def _depths(self, sweep, interval, cells, corner, window):
        """Depth below the transducer at cells, its slopes a cell of the raster to the right and down, and where it is
        assumed (None: nowhere)."""
        across, down, origin = self._raster_to_window(cells, corner, window)
        rows, cols = window.values.shape
        col = np.clip(origin[0] + across[0] * cells.col + down[0] * cells.row, 0, cols - 1.001)
        row = np.clip(origin[1] + across[1] * cells.col + down[1] * cells.row, 0, rows - 1.001)
        c, r = np.floor(col), np.floor(row)
        at = (r * cols + c).astype(np.intp)
        col -= c
        row -= r
        values = window.values.astype(np.float32, copy=False).ravel()
        top, below = values.take(at), values.take(at + cols)
        top_step, below_step = values.take(at + 1) - top, values.take(at + cols + 1) - below
        top += col * top_step
        below += col * below_step
        depth = top + row * (below - top) + cells.mixed(sweep.offset, interval)
        by_col, by_row = top_step + row * (below_step - top_step), below - top
        assumed = np.isnan(depth)
        if assumed.any():
            flat = cells.mixed(sweep.depth, interval)
            depth[assumed], by_col[assumed], by_row[assumed] = flat[assumed], 0, 0
        else:
            assumed = None
        slopes = (by_col * across[0] + by_row * across[1], by_col * down[0] + by_row * down[1])
        return depth, slopes, assumed

    def _raster_to_window(self, cells, corner, window):
        """Linear map from cells counted from a corner of the raster to cells of a window, exact in one CRS and within a
        few millimetres between two: (col, row) steps to the right, down, and the origin, float32."""
        middle = np.array([np.mean(cells.col), np.mean(cells.row)], float)
        places = middle + np.array([[0, 0], [_SPAN, 0], [0, _SPAN]])
        x = self.raster.left + (places[:, 0] + corner[1] + 0.5) * self.raster.cell
        y = self.raster.top - (places[:, 1] + corner[0] + 0.5) * self.raster.cell
        at = np.column_stack(self._cells_from_raster(x, y)) - [window.col0, window.row0]
        across, down = (at[1] - at[0]) / _SPAN, (at[2] - at[0]) / _SPAN
        origin = at[0] - middle[0] * across - middle[1] * down
        return across.astype(np.float32), down.astype(np.float32), origin.astype(np.float32)

    def _own_rays(self, sweep, interval, cells, which, depth, corner, window, step):
        """Whether cells are seen, each by a ray of its own."""
        seen = np.ones(len(which), bool)
        if not len(which):
            return seen
        across, down, origin = self._raster_to_window(cells, corner, window)
        start, end = sweep.grid_at[interval], sweep.grid_at[interval + 1]
        quad, ground = cells.quad[which], cells.ground[which].astype(float)
        moment = cells.moment[which, None]
        boat = start[quad] + moment * (end - start)[quad]
        place = origin + cells.col[which, None] * across + cells.row[which, None] * down
        place = place.astype(float) + [window.col0, window.row0]
        direction = (place - boat) / ground[:, None]
        offset = cells.mixed(sweep.offset, interval)[which]
        flat = cells.mixed(sweep.depth, interval)[which]
        count = int(ground.max() / step) + 1
        size = max(1, self._scratch.samples // count)
        order = np.argsort(ground)
        for block in np.array_split(order, -(-len(order) // size)):
            far = int(ground[block].max() / step) + 1
            rays = Rays(*boat[block].T, *direction[block].T, offset[block], flat[block], ground[block])
            least = march(window, rays, step, far, self._scratch).least
            last = np.floor(ground[block] / step - 0.5).astype(np.intp)
            own = depth[which[block]] / ground[block]
            seen[block] = (last < 0) | (own <= least[np.maximum(last, 0), np.arange(len(block))] * (1 + 1e-6))
        return seen


def _edges_of(flags):
    """Where a (samples, rays) table of flags differs from any of its eight neighbours."""
    some, every = flags.copy(), flags.copy()
    for axis in (0, 1):
        ahead = (slice(1, None),) if axis == 0 else (slice(None), slice(1, None))
        behind = (slice(None, -1),) if axis == 0 else (slice(None), slice(None, -1))
        for table, join in ((some, np.logical_or), (every, np.logical_and)):
            before = table.copy()
            join(table[ahead], before[behind], out=table[ahead])
            join(table[behind], before[ahead], out=table[behind])
    return some & ~every
