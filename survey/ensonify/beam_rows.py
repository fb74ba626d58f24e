"""The strips of a track laid on a raster: what to fill, which pass looked, and the beams set between samples."""
from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..beams.land import near_shore
from ..beams.pointing import Beams, turn_reach
from ..geometry import transfer
from ..geometry.frame import frames_for
from ..model import patience
from ..swaths.arcs import laid
from ..swaths.edges import edges
from ..swaths.fan import Fan, strip_rows
from .detection import ping_rate

__all__ = ["BEAM_SPACING", "Subbeams", "BeamRows", "lay_out"]

BEAM_SPACING = 1.0
"""Beams are marched a cell apart: closer together shows nothing more (`make proof`)."""

_PATCH_MARGIN_M = 1.0


@dataclass
class BeamRows:
    """Rows of beams of one frame, and the interval between each row and the next.

    (n, 2) arrays in cells of the raster: ``at`` the transducer, ``beam`` one metre to starboard. (n,) arrays: ``low``,
    ``high`` signed ground ranges (port negative) between which the interval after a row is filled; ``pass_key``;
    ``range_m``, ``depth`` and ``offset`` (m, see ``profile.Rays``); ``pitch``, ``swing``: distance between pings at the
    track (m) and what each metre to starboard takes off it; ``azimuth`` of the starboard beam (degrees, no jumps);
    ``east``, ``north`` and (n, 2) ``along`` in frame metres. (n - 1,) arrays: ``drawn``: the interval is filled;
    ``shore``: land may lie in it; ``pieces``: beams set in it. ``grid_at``, ``grid_beam``: (n, 2), the same in cells of
    the depth grid, and ``stride`` (m) of the march over it, half a cell of grid or raster at most; None on a flat
    bottom. ``water``: polygon in frame metres or None.
    """

    at: np.ndarray
    beam: np.ndarray
    low: np.ndarray
    high: np.ndarray
    pass_key: np.ndarray
    range_m: np.ndarray
    depth: np.ndarray
    offset: np.ndarray
    pitch: np.ndarray
    swing: np.ndarray
    azimuth: np.ndarray
    east: np.ndarray
    north: np.ndarray
    along: np.ndarray
    drawn: np.ndarray
    shore: np.ndarray
    pieces: np.ndarray
    grid_at: np.ndarray = None
    grid_beam: np.ndarray = None
    stride: float = None
    water: Any = None

    def corners(self, interval):
        """(k, 4, 2) corners of intervals, in cells."""
        def ends(row):
            return [self.at[row] + g[row, None] * self.beam[row] for g in (self.low, self.high)]
        return np.stack([*ends(interval), *ends(interval + 1)[::-1]], axis=1)

    def extents(self):
        """(n - 1,) lowest col, highest col, lowest row, highest row of each interval."""
        low, high = (self.at + g[:, None] * self.beam for g in (self.low, self.high))
        least, most = np.minimum(low, high), np.maximum(low, high)
        least, most = np.minimum(least[:-1], least[1:]), np.maximum(most[:-1], most[1:])
        return least[:, 0], most[:, 0], least[:, 1], most[:, 1]

    def subbeams(self, interval):
        """Beams set in intervals, evenly, each in the middle of its share."""
        return Subbeams(self, interval)


class Subbeams:
    """Beams between rows: ``first`` (k,) the first beam of each interval, ``pieces`` (k,) how many; every value of a
    BeamRows can be had at them with ``mixed``."""

    def __init__(self, sweep, interval):
        self.pieces = sweep.pieces[interval]
        self.first = np.cumsum(self.pieces) - self.pieces
        owner = np.repeat(np.arange(len(interval)), self.pieces)
        self.row = interval[owner]
        self.share = (np.arange(len(owner)) - self.first[owner] + 0.5) / self.pieces[owner]

    def __len__(self):
        return len(self.row)

    def mixed(self, values):
        """Values at the rows -> values at the beams, straight in between."""
        share = self.share if values.ndim == 1 else self.share[:, None]
        return values[self.row] + share * (values[self.row + 1] - values[self.row])


def lay_out(track, settings, swath, raster, terrain=None, water=None):
    """Sweeps of a track.

    Parameters
    ----------
    track : survey.model.track.Track
    settings : survey.ensonify.detection.DetectionSettings
    swath : survey.swaths.edges.SwathSettings
        Blind angle, sides, share of the range.
    raster : survey.bottom.rasters.Raster
    terrain : (DepthGrid, Anchors), optional
        Without it the bottom is flat, and the strips are those of ``draw.draw_swaths``.
    water : shapely geometry, optional
        In the track's crs.

    Returns
    -------
    list of Sweep; all of one frame before those of the next
    """
    rows = strip_rows(track)
    found = []
    if not len(rows.sample):
        return found
    passes = track.pass_key()[rows.owner]
    for frame, index in frames_for(track.crs, track.x[rows.sample], track.y[rows.sample], passes):
        part = _Part(track, settings, swath, raster, rows.take(index), passes[index], frame, water)
        found += part.on_terrain(*terrain) if terrain is not None else part.flat()
    return found


class _Part:
    """The rows of one frame."""

    def __init__(self, track, settings, swath, raster, rows, passes, frame, water):
        self.frame, self.raster, self.swath = frame, raster, swath
        track = track.take(rows.sample)
        patience.look()
        self.laid = laid(rows, track, Beams.of(track, frame))
        self.rows, self.track, self.beams = self.laid.rows, self.laid.track, self.laid.beams
        patience.look()
        self.passes = passes[self.laid.low]
        rows = self.rows
        self.rate = ping_rate(rows.range_m, self.track.sound_speed_mps, settings)
        self.water = None
        if water is not None:
            margin = float(np.nanmax(rows.range_m, initial=0.0)) + _PATCH_MARGIN_M
            east, north = self.beams.east, self.beams.north
            self.water = transfer.clipped_to_frame(
                frame, water, (east.min() - margin, north.min() - margin, east.max() + margin, north.max() + margin))

    def flat(self):
        """A sweep a side, with the edges of the swaths."""
        found, number = [], np.arange(len(self.rows.sample))
        for side in self.swath.sides:
            inner, outer = edges(self.track, self.swath, side, self.rows.range_m)
            fan = Fan.of(self.beams, side, inner, outer, self.rows.strip, number).thinned(self.swath.thin_m)
            if self.water is not None:
                fan = fan.ended_at_land(self.water)
            low, high = (side * np.nan_to_num(edge) for edge in (fan.inner, fan.outer)[::side])
            found.append(self._sweep(fan, side, low, high, np.maximum.accumulate(fan.row)))
        return found

    def on_terrain(self, grid, anchors):
        """One sweep over the whole fan, with beams to be marched."""
        number = np.arange(len(self.rows.sample))
        known = np.isfinite(self.rows.range_m) & np.isfinite(self.track.heading_deg + self.track.mount_deg)
        reach = np.where(known, self.rows.range_m, np.nan)
        fan = Fan.of(self.beams, 1, 0 * reach, reach, self.rows.strip, number).thinned(self.raster.cell)
        row = fan.row
        low, high = (np.nan_to_num(np.minimum(reach, turn_reach(self.track.speed_mps, self.track.turn_dps, side)))[row]
                     for side in (-1, 1))
        sweep = self._sweep(fan, 1, -low, high, row)
        sweep.offset = anchors.offset[self.rows.sample[row]]
        sweep.grid_at, sweep.grid_beam = self._laid(fan, 1, grid.cells_from(self.frame.crs))
        sweep.stride = min(grid.step_limit(*sweep.grid_beam.T), 0.5 * self.raster.cell)
        if self.water is not None:
            sweep.water = self.water
            corners = np.stack([fan.at - low[:, None] * fan.along, fan.at + high[:, None] * fan.along], axis=1)
            at = np.flatnonzero(sweep.drawn)
            sweep.shore[at] = near_shore(self.water, np.concatenate([corners[at], corners[at + 1]], axis=1))
        tips = [sweep.at, sweep.at + sweep.low[:, None] * sweep.beam, sweep.at + sweep.high[:, None] * sweep.beam]
        moved = np.max([np.hypot(*np.diff(tip, axis=0).T) for tip in tips], axis=0, initial=0.0)
        sweep.pieces = np.maximum(1, np.ceil(moved / BEAM_SPACING)).astype(int)
        return [sweep]

    def _laid(self, fan, side, to_cells):
        """Transducer, and one metre to starboard, of a fan's beams in cells."""
        long = max(float(np.nanmax(fan.outer, initial=0.0)), 1.0)
        tips = fan.at + long * fan.along
        at = np.column_stack(to_cells(*self.frame.inverse(*fan.at.T)))
        return at, side * (np.column_stack(to_cells(*self.frame.inverse(*tips.T))) - at) / long

    def _sweep(self, fan, side, low, high, row):
        at, beam = self._laid(fan, side, self.raster.cells_from(self.frame.crs))
        along = side * fan.along
        rate, count = self.rate[row], len(row)
        return BeamRows(
            at=at, beam=beam, low=low, high=high, pass_key=self.passes[row], range_m=self.rows.range_m[row],
            depth=self.track.depth_m[row], offset=np.zeros(count), pitch=self.track.speed_mps[row] / rate,
            swing=np.radians(np.nan_to_num(self.track.turn_dps[row])) / rate,
            azimuth=np.degrees(np.unwrap(np.arctan2(along[:, 0], along[:, 1]))), east=fan.at[:, 0], north=fan.at[:, 1],
            along=along, drawn=fan.drawn(), shore=np.zeros(max(count - 1, 0), bool),
            pieces=np.ones(max(count - 1, 0), int))
