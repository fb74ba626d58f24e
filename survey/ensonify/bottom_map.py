"""The map of bottom seen: tile by tile, so that neither the map nor the depth grid need fit in memory."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..bottom.bed import Bed
from ..bottom.rasters import Raster, metric_crs
from ..bottom.terrain import anchored
from ..geometry.frame import carried
from ..geometry.scanfill import fill_polygon
from ..model.errors import InputError
from ..model.messages import Message
from ..swaths.edges import SwathSettings
from .beam_rows import lay_out
from .detection import DetectionSettings
from .tile import BANDS, Tile

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from typing import Any

    from shapely.geometry.base import BaseGeometry

    from ..bottom.depthgrid import DepthGrid
    from ..model.track import Track

__all__ = ["Ensonification", "Seen", "map_bottom"]

TILE = 2048
"""Side of a tile in cells: some 100 MB of counters."""

_CELLS_AT_ONCE, _SAMPLES_AT_ONCE = 60_000, 250_000


@dataclass
class Seen:
    """Totals: ground seen and with the detection grade, ground looked at but hidden, and ground seen on the assumption
    of a flat bottom (m2); ``passes`` that looked."""

    seen_m2: float = 0.0
    detection_m2: float = 0.0
    hidden_m2: float = 0.0
    assumed_m2: float = 0.0
    passes: int = 0


def map_bottom(track: Track, cell: float = 0.5, settings: DetectionSettings | None = None, *, blind_deg: float = 20.0,
               grid: DepthGrid | None = None, water: BaseGeometry | None = None) -> Ensonification:
    """Map the bottom seen: how often, from how many sides, at what grazing angle, and what would have shown there.

    Parameters
    ----------
    track : survey.model.track.Track
    cell : float
        Cell size of the map, m.
    settings : survey.ensonify.detection.DetectionSettings, optional
        The object to be detected, and what shows it.
    blind_deg : float
        Not counted on either side of the vertical.
    grid : survey.bottom.depthgrid.DepthGrid, optional
        Without it the bottom is flat, with the track's depth.
    water : shapely geometry, optional
        In the track's crs; land stops sound.

    Returns
    -------
    Ensonification
        Laid out, not yet computed: ``bands()`` makes the whole map, ``tiles()`` one part after another.

    Raises
    ------
    InputError
        If no sample can be used, or the depth grid cannot.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> away = np.arange(0.0, 60.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=13.0, depth_m=5.0)).track
    >>> made = athwart.map_bottom(track, 1.0)
    >>> bands = made.bands()
    >>> list(bands)
    ['looks', 'directions', 'grazing', 'hits', 'smallest_object', 'hidden', 'detecting_looks', 'detecting_directions']
    >>> float(round(made.totals.seen_m2, -2)), float(np.nanmax(bands["looks"]))
    (1200.0, 1.0)
    """
    return Ensonification(track, cell, settings, blind_deg, grid, water)


class Ensonification:
    """Looks of a track at the bottom.

    Parameters
    ----------
    track : survey.model.track.Track
    cell : float
        Cell size of the map, m.
    settings : survey.ensonify.detection.DetectionSettings
    blind_deg : float
        Not counted on either side of the vertical.
    grid : survey.bottom.depthgrid.DepthGrid, optional
        Without it the bottom is flat, with the track's depth.
    water : shapely geometry, optional
        In the track's crs; land stops sound.

    Attributes
    ----------
    names : tuple of str
        Of the bands.
    raster : survey.bottom.rasters.Raster
    anchors : survey.bottom.terrain.Anchors or None
    sweeps : list of survey.ensonify.beam_rows.BeamRows
    totals : Seen
        Filled by ``tiles``.

    Raises
    ------
    InputError
        If no sample can be used, or the depth grid cannot.
    """

    names = BANDS

    def __init__(self, track: Track, cell: float, settings: DetectionSettings | None = None, blind_deg: float = 20.0,
                 grid: DepthGrid | None = None, water: BaseGeometry | None = None) -> None:
        self.settings = settings or DetectionSettings()
        swath = SwathSettings(blind_deg=blind_deg)
        self._tan_blind = np.tan(np.radians(blind_deg))
        usable = np.flatnonzero(track.usable & np.isfinite(track.x + track.y + track.range_m))
        if not len(usable):
            raise InputError(Message("No sample of the track is usable and has a range, so nothing was seen. Look at "
                                     "the field reject_reason, and give {prepare(range_m)} to {prepare()}."))
        crs = metric_crs(track.crs, track.x[usable], track.y[usable])
        x, y = carried(track.crs, crs, track.x[usable], track.y[usable])
        self.raster = Raster.around(crs, cell, x, y, 1.01 * float(np.max(track.range_m[usable])) + cell)
        self.anchors = anchored(track, grid) if grid is not None else None
        self._water, self._track_crs = water, track.crs
        terrain = (grid, self.anchors) if grid is not None else None
        self.sweeps = [sweep for sweep in lay_out(track, self.settings, swath, self.raster, terrain, water)
                        if sweep.drawn.any()]
        if not self.sweeps:
            raise InputError("Nothing was seen: it takes two neighbouring samples of one pass with a heading, and a "
                             "range longer than the depth.")
        self._bed = Bed(grid, self.raster, self._tan_blind, _SAMPLES_AT_ONCE) if grid is not None else None
        self._extents = [sweep.extents() for sweep in self.sweeps]
        self.totals = Seen(passes=len({int(key) for s in self.sweeps for key in np.unique(s.pass_key[:-1][s.drawn])}))

    def bands(self, step: Callable[[float], object] | None = None) -> dict[str, np.ndarray]:
        """The whole map at once, which must fit in memory: (rows, cols) float32 arrays by the names of the bands."""
        made = {name: np.full((self.raster.rows, self.raster.cols), np.nan, np.float32) for name in self.names}
        for row, col, part in self.tiles(step):
            rows, cols = part[self.names[0]].shape
            for name, whole in made.items():
                whole[row:row + rows, col:col + cols] = part[name]
        return made

    def tiles(self, step: Callable[[float], object] | None = None) -> Iterator[tuple[int, int, dict[str, np.ndarray]]]:
        """Compute the map.

        Parameters
        ----------
        step : callable, optional
            Called with the fraction done; may raise ``errors.Cancelled``.

        Yields
        ------
        (row, col, bands) : int, int, dict
            First cell of the tile in the raster, and (rows, cols) float32 arrays by the names of ``tile.BANDS``.
        """
        self.totals = Seen(passes=self.totals.passes)
        corners = [(r, c) for r in range(0, self.raster.rows, TILE) for c in range(0, self.raster.cols, TILE)]
        for number, (row, col) in enumerate(corners):
            if step is not None:
                step(number / len(corners))
            window = (row, min(row + TILE, self.raster.rows), col, min(col + TILE, self.raster.cols))
            yield row, col, self._tile(window, _part_of(step, number, len(corners)))

    def _tile(self, window: Any, step: Callable[[float], object] | None) -> dict[str, np.ndarray]:
        parts = self._parts(window)
        tile = Tile(window, self.settings, self._inside(window))
        for number, (sweep, interval) in enumerate(parts):
            if step is not None and number % max(1, len(parts) // 50) == 0:
                step(number / len(parts))
            tile.add(sweep, interval, self._bed)
        area = self.raster.ground_area((window[0] + window[1]) / 2, (window[2] + window[3]) / 2)
        seen = tile.looks > 0
        self.totals.seen_m2 += area * np.count_nonzero(seen)
        self.totals.detection_m2 += area * np.count_nonzero(tile.detected())
        self.totals.hidden_m2 += area * np.count_nonzero(tile.hidden & ~seen)
        self.totals.assumed_m2 += area * np.count_nonzero(tile.assumed & seen)
        return tile.bands()

    def _inside(self, window: Any) -> np.ndarray | None:
        if self._water is None:
            return None
        return fill_polygon(self._water, window, self.raster.cells_from(self._track_crs))

    def _parts(self, window: Any) -> list[Any]:
        """(sweep, intervals of one pass) that touch the window, small enough to be worked on at once; pass by pass."""
        found: dict[int, list[Any]] = {}
        for sweep, (low_col, high_col, low_row, high_row) in zip(self.sweeps, self._extents):
            with np.errstate(invalid="ignore"):
                touches = (sweep.drawn & (high_row >= window[0]) & (low_row < window[1])
                           & (high_col >= window[2]) & (low_col < window[3]))
            interval = np.flatnonzero(touches)
            keys = sweep.pass_key[interval]
            for one in np.split(interval, np.flatnonzero(np.diff(keys)) + 1):
                if len(one):
                    found.setdefault(int(sweep.pass_key[one[0]]), []).append((sweep, one))
        return [(sweep, part) for key in sorted(found) for sweep, one in found[key] for part in self._cut(sweep, one)]

    def _cut(self, sweep: Any, interval: np.ndarray) -> list[np.ndarray]:
        """Stretches of intervals that are small enough."""
        reach = sweep.high[interval] - sweep.low[interval]
        cells = reach / self.raster.cell * sweep.pieces[interval]
        load = cells / _CELLS_AT_ONCE
        if self._bed is not None:
            samples = 2 * sweep.pieces[interval] * sweep.range_m[interval] / sweep.stride
            load = np.maximum(load, samples / _SAMPLES_AT_ONCE)
        groups = np.split(interval, np.flatnonzero(np.diff(np.floor(np.cumsum(load)))) + 1)
        if self._bed is None:
            return groups
        return [group[part] for group in groups for part in self._bed.bounded(sweep, group)]


def _part_of(step: Callable[[float], object] | None, number: int, count: int) -> Callable[[float], object] | None:
    """``step`` for one of so many parts of equal length."""
    return None if step is None else lambda fraction: step((number + fraction) / count)
