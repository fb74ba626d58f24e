"""Record images on the map: every cell asks which pixel of which image it is, tile by tile."""
from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..bottom.rasters import Raster, metric_crs
from ..bottom.terrain import anchored
from ..geometry.frame import carried, horizontal_crs
from ..model.errors import InputError
from ..model.messages import Message
from .balance import column_gains
from .bottom_depth import BOTTOMS, depth_of_rows
from .ground_cells import GridUnder
from .laid_image import LaidImage
from .record_tile import BLENDS, RecordTile
from .row_beams import lay_rows

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from typing import Any

    from ..bottom.depthgrid import DepthGrid
    from ..bottom.terrain import Anchors
    from ..model.track import Track
    from .bottom_depth import BottomPicks, RowDepths
    from .record_image import RecordImage
    from .row_beams import Rows

__all__ = ["MapSettings", "RecordMap", "Shown"]



@dataclass(frozen=True)
class MapSettings:
    """How record images are laid on the map.

    ``cell_m``: side of a cell. ``crs``: of the map, projected in metres; None for the track's own, or its UTM zone.
    ``blend``: of several looks the one from the ``nearest`` track, the ``newest``, the one whose ``grazing`` angle is
    best, or the ``mean`` of all. ``balance``: even out how the picture darkens outwards. ``bottom``: where the depth
    comes from: the ``track``, ``picks`` of the bottom, or ``traced`` on the image. ``keep_turns``: draw also where the
    boat turned on a smaller radius than the range. ``tile``: side of a tile in cells.
    """

    cell_m: float = 0.25
    crs: Any = None
    blend: str = "nearest"
    balance: bool = False
    bottom: str = "track"
    keep_turns: bool = False
    tile: int = 1024

    def __post_init__(self) -> None:
        if self.blend not in BLENDS:
            raise InputError(Message("{blend} is '{given}'; choose one of {known}.", given=self.blend,
                                     known=", ".join(BLENDS)))
        if self.bottom not in BOTTOMS:
            raise InputError(Message("{bottom} is '{given}'; choose one of {known}.", given=self.bottom,
                                     known=", ".join(BOTTOMS)))


@dataclass
class Shown:
    """What became of the images. Rows: ``rows`` in all, ``off_track`` on no stretch of the track, ``turned`` left out
    in turns, ``no_depth`` without a depth, ``missing`` dropped from the image; ``unsure`` of the traced bottom,
    ``held`` where bottom picks were too far and the track's depth stands. Ground (m2): ``shown_m2``, ``hidden_m2``
    behind nearer ground, ``assumed_m2`` where the depth grid knows nothing. ``cells`` that show something."""

    rows: int = 0
    off_track: int = 0
    turned: int = 0
    no_depth: int = 0
    missing: int = 0
    unsure: int = 0
    held: int = 0
    shown_m2: float = 0.0
    hidden_m2: float = 0.0
    assumed_m2: float = 0.0
    cells: int = 0


class RecordMap:
    """Images laid on the map.

    Parameters
    ----------
    images : list of survey.record.record_image.RecordImage
    track : survey.model.track.Track
    settings : MapSettings
    grid : survey.bottom.depthgrid.DepthGrid, optional
        The floor then runs as the grid says, and what nearer ground hides is left out; else it is flat.
    picks : survey.record.bottom_depth.BottomPicks, optional
        For ``bottom="picks"``.
    step : callable, optional
        Called with the fraction done while the images are prepared; may raise ``errors.Cancelled``.
    time_offset : float, h
        Of the images' clock, only for a message.

    Attributes
    ----------
    raster : survey.bottom.rasters.Raster
    totals : Shown
        Ground is filled by ``tiles``.
    bottoms : list of survey.record.bottom_depth.RowDepths
        One for each image.
    rows : list of survey.record.row_beams.Rows
        One for each image, with the depth that holds.
    anchors : survey.bottom.terrain.Anchors or None
    bands, kind : int, numpy dtype
        Of the map: 1 or 3, uint8 or uint16.
    outings : dict
        Number of each outing in the source, from 1 on.

    Raises
    ------
    InputError
        If an image does not meet the track, or nothing of them can be shown.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> from athwart.record.record_map import MapSettings
    >>> away = np.arange(0.0, 42.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2, ping=np.arange(len(away)))
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=10.0, depth_m=5.0)).track
    >>> record = athwart.Record(width=40, height=20, edge_range_m=10.0, first_ping=0, newest="bottom")
    >>> image = athwart.RecordImage("a.png", record, np.full((20, 40), 90, np.uint8))
    >>> made = athwart.RecordMap([image], track, MapSettings(cell_m=1.0))
    >>> [tile.count() > 0 for _, _, tile in made.tiles()], made.totals.rows
    ([True], 20)
    """

    def __init__(self, images: Sequence[RecordImage], track: Track, settings: MapSettings = None,
                 grid: DepthGrid = None, picks: BottomPicks = None, step: Callable[[float], object] = None,
                 time_offset: float = 0.0) -> None:
        if not images:
            raise InputError(Message("There is no image to lay on the map: give {images}."))
        self.settings = settings = settings or MapSettings()
        self.images, self.track = list(images), track
        self.bands = max(image.bands for image in images)
        self.kind = max((image.pixels.dtype for image in images), key=lambda kind: kind.itemsize)
        self.outings = {name: k + 1 for k, name in enumerate(dict.fromkeys(track.outing.tolist()))}
        self.totals = Shown()
        laid = [self._rows_of(image, picks, time_offset, step, k) for k, image in enumerate(self.images)]
        self.bottoms = [bottom for _, bottom, _, _ in laid]
        self.rows = [rows for rows, *_ in laid]
        self.raster = self._raster_round(laid)
        self.anchors, under = self._floor(grid, laid)
        self._laid = [LaidImage(image, rows, beams, frame, self.raster, below)
                      for image, (rows, _, beams, frame), below in zip(self.images, laid, under)]
        since = np.nanmin(np.concatenate([rows.t_s for rows, *_ in laid] + [[np.inf]]))
        for one in self._laid:
            one.since = since if np.isfinite(since) else 0.0
        self._count(laid)
        if not any(one.blocks and np.isfinite(one.rows.depth_m).any() for one in self._laid):
            turned = " Some of it lies in turns, which are cut." if self.totals.turned else ""
            raise InputError("Nothing of the images can be shown: no row has a place on the track, a heading and a "
                             f"depth.{turned}", field="images")
        self._gains = [self._gains_of(image, rows) if settings.balance else None
                       for image, (rows, _, _, _) in zip(self.images, laid)]

    def _rows_of(self, image: RecordImage, picks: BottomPicks, time_offset: float, step: Callable[[float], object],
                 number: int) -> tuple[Rows, RowDepths, Any, Any]:
        own = self.settings.bottom != "track"
        rows, beams, frame = lay_rows(image.record, self.track, self.settings.keep_turns, own, time_offset)
        bottom = depth_of_rows(image, rows, self.settings.bottom, picks, None if step is None else
                               lambda f: step((number + f) / len(self.images)))
        rows = replace(rows, depth_m=bottom.depth_m)
        return rows, bottom, beams, frame

    def _raster_round(self, laid: list[Any]) -> Raster:
        settings, track = self.settings, self.track
        sample = np.unique(np.concatenate([rows.sample[rows.sample >= 0] for rows, *_ in laid]))
        x, y = track.x[sample], track.y[sample]
        crs = metric_crs(track.crs, x, y) if settings.crs is None else horizontal_crs(settings.crs)
        if not crs.is_projected or any(abs(axis.unit_conversion_factor - 1) > 1e-9 for axis in crs.axis_info):
            raise InputError(f"The coordinate system '{crs.name}' does not count in metres. Choose one that does, such "
                             "as a UTM zone: a map of the record in degrees would be drawn out.", field="crs")
        reach = max(float(np.nanmax(rows.edge_m)) for rows, *_ in laid)
        x, y = carried(track.crs, crs, x, y)
        return Raster.around(crs, settings.cell_m, x, y, 1.02 * reach + settings.cell_m)

    def _floor(self, grid: DepthGrid, laid: list[Any]) -> tuple[Anchors, list[Any]]:
        if grid is None:
            return None, [None] * len(laid)
        track = self.track
        if self.settings.bottom != "track":
            depth, source = track.depth_m.copy(), track.depth_source.copy()
            for rows, *_ in laid:
                at = np.flatnonzero((rows.sample >= 0) & np.isfinite(rows.depth_m))
                depth[rows.sample[at]], source[rows.sample[at]] = rows.depth_m[at], "record"
            track = replace(track, depth_m=depth, depth_source=source)
        anchors = anchored(track, grid)
        return anchors, [GridUnder(grid, anchors.offset[np.maximum(beams.sample, 0)], self.settings.cell_m)
                         for _, _, beams, _ in laid]

    def _count(self, laid: list[Any]) -> None:
        totals = self.totals
        for image, (rows, bottom, beams, _) in zip(self.images, laid):
            totals.rows += image.record.height
            totals.off_track += int((rows.sample < 0).sum())
            totals.no_depth += int(((rows.sample >= 0) & ~np.isfinite(rows.depth_m)).sum())
            totals.missing += sum(missing for _, missing in image.record.dropped)
            totals.unsure += int((~bottom.sure & (rows.sample >= 0)).sum())
            totals.held += int(bottom.held.sum())
            span = np.abs(np.diff(beams.row))
            totals.turned += int(round(float(span[beams.turned[:-1]].sum())))

    def _gains_of(self, image: RecordImage, rows: Rows) -> tuple[np.ndarray, Any]:
        edge, known = np.round(np.nan_to_num(rows.edge_m / rows.ratio), 2), rows.sample >= 0
        group = np.full(len(edge), -1)
        group[known] = np.unique(edge[known], return_inverse=True)[1]
        water = rows.depth_m / rows.edge_m * image.record.reach
        gains = column_gains(image.greys(), image.record, group, np.where(known, water, np.nan))
        return np.maximum(group, 0), gains

    def tiles(self, step: Callable[[float], object] = None,
              traced: bool = True) -> Iterator[tuple[int, int, RecordTile]]:
        """Compute the map.

        Parameters
        ----------
        step : callable, optional
            Called with the fraction done; may raise ``errors.Cancelled``.
        traced : bool
            The tiles are to tell where each cell comes from (``RecordTile.source``); without it they cost less.

        Yields
        ------
        (row, col, tile) : int, int, survey.record.record_tile.RecordTile
            First cell of the tile in the raster. Tiles that show nothing are left out.
        """
        size, raster = self.settings.tile, self.raster
        corners = [(r, c) for r in range(0, raster.rows, size) for c in range(0, raster.cols, size)]
        for number, (row, col) in enumerate(corners):
            window = (row, min(row + size, raster.rows), col, min(col + size, raster.cols))
            part = None if step is None else self._part(step, number, len(corners))
            tile = self._tile(window, traced, part)
            if tile is not None:
                yield row, col, tile

    @staticmethod
    def _part(step: Callable[[float], object], number: int, count: int) -> Callable[[float], object]:
        """What tells ``step`` how far one tile of so many is."""
        return lambda fraction: step((number + fraction) / count)

    def _tile(self, window: tuple[int, int, int, int], traced: bool, step: Callable[[float], object]) -> RecordTile:
        work = [(k, block) for k, laid in enumerate(self._laid) for block in laid.blocks if block.meets(window)]
        if not work:
            return None
        tile = RecordTile(window, self.bands, self.kind, self.settings.blend, self._laid, traced)
        for number, (k, block) in enumerate(work):
            if step is not None:
                step(number / len(work))
            tile.add(k, block, self._gains[k])
        area = self.raster.ground_area((window[0] + window[1]) / 2, (window[2] + window[3]) / 2)
        cells = tile.count()
        self.totals.cells += cells
        self.totals.shown_m2 += area * cells
        self.totals.hidden_m2 += area * tile.hidden
        self.totals.assumed_m2 += area * tile.assumed
        return tile if cells else None
