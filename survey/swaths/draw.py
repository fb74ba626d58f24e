"""Swaths: the ground each pass saw, as polygons with their areas and what drew them.

Between the inner edge H tan(blind) and the outer edge of the range model, less what lies beyond the centre of a turn,
behind land and, on a depth grid, behind nearer ground. See ``edges`` and ``visible_segments`` for what a sample saw,
``fan`` for strips, ``quad_strips`` for exactness.
"""
from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..beams.pointing import Beams
from ..bottom.terrain import anchored
from ..geometry import overlap, shapes, transfer
from ..geometry.clearance import cleared
from ..geometry.frame import frames_for
from ..model import patience
from ..model.errors import InputError
from ..model.messages import Message
from .arcs import laid
from .edges import SwathSettings, edges, reach_limit, used_range
from .fan import Fan, strip_rows
from .table import DrawnBeams, swath_columns
from .visible_segments import segments_on_terrain

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Any

    from shapely.geometry.base import BaseGeometry

    from ..bottom.depthgrid import DepthGrid
    from ..geometry.frame import Frame
    from ..model.track import Track

__all__ = ["SwathReport", "SwathResult", "SwathSettings", "draw_swaths", "pass_unions"]

_WATER_MARGIN_M = 100.0

_NOISY = 0.02
"""Share of quads drawn one by one from which each side is joined by itself first.

An overlay of both at once, where strips cross each other over and over, was seen to drop a piece: 1 % of the ground,
for 1 of 170 invented boats adrift.
"""

_DUST_M2 = 1e-6
"""Holes and parts that overlays leave by rounding; coordinates with a step of 1 nm would turn them inside out."""


@dataclass
class SwathReport:
    """Counts for the log.

    Of the ``usable`` samples ``no_range``, ``no_depth`` and ``no_heading`` lack the value, ``no_bottom`` have a range
    short of the depth (water column only), and ``aground`` lie outside the water; under ``off_grid`` of them the depth
    grid knows nothing. ``drawn`` beams, one a side, of which ``ended_at_land`` were cut short. ``rings`` and ``quads``:
    see ``survey.swaths.quad_strips``. ``frames``: how many local frames the survey needed.
    """

    usable: int = 0
    no_range: int = 0
    no_depth: int = 0
    no_heading: int = 0
    no_bottom: int = 0
    aground: int = 0
    off_grid: int = 0
    drawn: int = 0
    ended_at_land: int = 0
    rings: int = 0
    quads: int = 0
    frames: int = 0


@dataclass
class SwathResult:
    """What was drawn.

    ``columns``: (n,) arrays by name, see ``schemas.SWATHS``; times in seconds since 1970, pass_id NaN where passes are
    drawn as one. ``geometries``: n polygons in crs units. ``area_m2``: ground seen, each place counted once.
    ``report``: counts for the log; ``warnings``: sentences on a depth grid that does not fit the track.
    """

    columns: dict
    geometries: list
    area_m2: float
    report: SwathReport
    warnings: list = field(default_factory=list)


def draw_swaths(track: Track, settings: SwathSettings | None = None, water: BaseGeometry | None = None,
                step: Callable[[float], object] | None = None, grid: DepthGrid | None = None) -> SwathResult:
    """Swath polygons of a prepared track.

    Parameters
    ----------
    track : survey.model.track.Track
    settings : SwathSettings, optional
        ``merge`` 'strip': a feature for each side of each unbroken stretch of one range. 'pass': one for each pass,
        sides together. 'all': one for everything.
    water : shapely Polygon or MultiPolygon, optional
        In units of the track's crs; beams end where they first leave it.
    step : callable, optional
        Called with the fraction done; may raise ``errors.Cancelled``.
    grid : survey.bottom.depthgrid.DepthGrid, optional
        What the range model 'terrain' marches over, and that alone uses it.

    Returns
    -------
    SwathResult, in the order of the track; features that would be empty are left out

    Raises
    ------
    InputError
        If nothing at all was seen, saying why; if the range model is 'terrain' without a terrain.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> away = np.arange(0.0, 202.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=13.0, depth_m=5.0)).track
    >>> swaths = athwart.draw_swaths(track, athwart.SwathSettings(blind_deg=0.0))
    >>> swaths.columns["side"].tolist(), swaths.columns["outer_m"].tolist()  # sqrt(13 ** 2 - 5 ** 2)
    (['port', 'starboard'], [12.0, 12.0])
    >>> round(swaths.area_m2)  # two strips of 12 m by 200.08 m: here 200 m on the map are so long on the ground
    4802
    """
    settings = settings or SwathSettings()
    terrain = (grid, anchored(track, grid)) if grid is not None and settings.range_model == "terrain" else None
    drawing = _Drawing(track, settings, terrain)
    rows = drawing.rows
    frames = frames_for(track.crs, track.x[rows.sample], track.y[rows.sample], drawing.passes)
    for number, (frame, index) in enumerate(frames):
        def part_step(fraction: float, number: int = number) -> None:
            if step is not None:
                step(0.9 * (number + fraction) / len(frames))
        drawing.add(frame, index, water, part_step)
    made = drawing.finished()
    made.warnings += [] if terrain is None else terrain[1].warnings
    return made


def pass_unions(track: Track, settings: SwathSettings, frame: Frame,
                water: BaseGeometry | None = None) -> dict[Any, BaseGeometry]:
    """What each pass saw, both sides in one.

    Parameters
    ----------
    track : survey.model.track.Track
        Close enough to the frame's axis.
    settings : SwathSettings
    frame : survey.geometry.frame.Frame
    water : shapely Polygon or MultiPolygon, optional
        In units of the track's crs.

    Returns
    -------
    dict of {number of the pass, as ``track.pass_key()``: polygon in frame metres}, passes that saw nothing left out

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.geometry.frame import Frame
    >>> from athwart.swaths.draw import pass_unions
    >>> import athwart
    >>> away = np.arange(0.0, 102.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=13.0, depth_m=5.0)).track
    >>> frame = Frame.around(track.crs, track.x, track.y)
    >>> seen = pass_unions(track, athwart.SwathSettings(blind_deg=0.0), frame)
    >>> {number: round(ground.area) for number, ground in seen.items()}
    {0: 2401}
    """
    drawing = _Drawing(track, settings, None, "pass")
    drawing.add(frame, np.arange(len(drawing.rows.sample)), water, lambda fraction: None)
    return {key: ground for key, [(_, ground)] in drawing.parts.items()}


class _Drawing:
    """Features as they grow, frame by frame: ``parts`` by feature key, a list of (frame, ground in frame metres)."""

    def __init__(self, track: Track, settings: SwathSettings, terrain: Any, merge: str | None = None) -> None:
        self.track, self.settings, self.terrain = track, settings, terrain
        self.merge = merge or settings.merge
        self.rows = strip_rows(track)
        self.passes = track.pass_key()[self.rows.owner]
        _, first = np.unique(self.rows.strip, return_index=True)
        self.pass_of_strip = self.passes[first]
        self.report = _counts(track, settings)
        if terrain is not None:
            self.report.off_grid = int((track.usable & terrain[1].off_grid).sum())
        self.parts: dict[Any, list[Any]] = {}
        self.beams: list[tuple[np.ndarray, ...]] = []

    def keys(self, strip: np.ndarray, side: float) -> np.ndarray:
        """Number of the feature that each strip belongs to on a side."""
        if self.merge == "strip":
            return 2 * strip + (side > 0)
        return self.pass_of_strip[strip] if self.merge == "pass" else np.zeros(len(strip), int)

    def add(self, frame: Frame, index: np.ndarray, water: BaseGeometry | None, step: Callable[[float], object]) -> None:
        """Draw the strip rows at ``index`` in a frame."""
        self.report.frames += 1
        given = self.rows.take(index)
        track = self.track.take(given.sample)
        fan = laid(given, track, Beams.of(track, frame))
        if water is not None:
            beams = fan.beams
            water = _local_water(frame, beams, used_range(fan.rows.range_m, self.settings), water)
            own = (fan.real >= 0) & ~fan.rows.held
            self.report.aground += int((~shapes.contains(water, beams.east, beams.north) & own).sum())
        sides, before = [], self.report.quads
        for number, side in enumerate(self.settings.sides):
            segments = self._segments(fan, side, frame)
            if water is not None:
                whole, segments = segments, [fan.ended_at_land(water) for fan in segments]
                self.report.ended_at_land += _shortened(whole, segments)
            sides.append(self._draw(segments, side, np.where(fan.real >= 0, index[fan.real], -1)))
            step((number + 1) / 4)
        keys = sorted(set().union(*sides))
        noisy = self.report.quads - before > _NOISY * len(index)
        for number, key in enumerate(keys):
            if number % max(1, len(keys) // 100) == 0:
                step(0.5 + 0.5 * number / len(keys))
            own = [polygons[key] for polygons in sides if key in polygons]
            if not noisy:
                own = [[sum(lists, []) for lists in zip(*own)]]
            grounds = [_ground(afloat, at_shore, water) for afloat, at_shore in own]
            ground = grounds[0] if len(grounds) == 1 else shapes.union(grounds)
            ground = shapes.drop_small_holes(ground, _DUST_M2)
            if not ground.is_empty:
                self.parts.setdefault(key, []).append((frame, ground))

    def _segments(self, laid_rows: Any, side: float, frame: Frame) -> list[Fan]:
        """Fans of one side: one over a flat bottom, one for each stretch that beams see of a depth grid.

        Their ``row`` is the position among the rows that were laid.
        """
        rows, track, beams = laid_rows.rows, laid_rows.track, laid_rows.beams
        number = np.arange(len(rows.sample))
        if self.settings.range_model != "terrain" or self.terrain is None:
            inner, outer = edges(track, self.settings, side, rows.range_m)
            return [Fan.of(beams, side, inner, outer, rows.strip, number).thinned(self.settings.thin_m)]
        slant = used_range(rows.range_m, self.settings)
        reach = np.minimum(slant, reach_limit(track, self.settings, side))
        fan = Fan.of(beams, side, 0 * reach, reach, rows.strip, number).thinned(self.settings.thin_m)
        grid, anchors = self.terrain
        offset = anchors.offset[rows.sample]
        return segments_on_terrain(fan, frame, grid, offset[fan.row], track.depth_m[fan.row], slant[fan.row],
                                np.tan(np.radians(self.settings.blind_deg)))

    def _draw(self, segments: list[Fan], side: float, strip_row: np.ndarray) -> dict[Any, Any]:
        """One side's polygons by feature key, those with land in them apart; notes the beams that drew them.

        ``strip_row``: the strip row of each row that was laid, -1 for beams set in between.
        """
        polygons: dict[Any, Any] = {}
        drawn = []
        for fan in segments:
            patience.look()
            made = fan.quad_strips()
            patience.look()
            self.report.rings += made.rings
            self.report.quads += made.quads
            shores = np.concatenate([[0], np.cumsum(fan.shore)])
            at_shore = shores[made.starts + made.intervals] > shores[made.starts]
            keys = self.keys(fan.strip[made.starts], side)
            for key, polygon, trim in zip(keys.tolist(), made.polygons, at_shore.tolist()):
                polygons.setdefault(key, ([], []))[trim].append(polygon)
            seen = np.append(fan.drawn(), False)
            seen[1:] |= seen[:-1].copy()
            row = np.where(fan.row >= 0, strip_row[fan.row], -1)
            seen &= row >= 0
            drawn.append((row[seen], fan.strip[seen], fan.inner[seen], fan.outer[seen]))
        row, strip, inner, outer = map(np.concatenate, zip(*drawn))
        if len(segments) > 1:
            row, first, segment = np.unique(row, return_index=True, return_inverse=True)
            nearest, farthest = np.full(len(row), np.inf), np.zeros(len(row))
            np.minimum.at(nearest, segment, inner)
            np.maximum.at(farthest, segment, outer)
            strip, inner, outer = strip[first], nearest, farthest
        self.beams.append((self.keys(strip, side), row, inner, outer, np.full(len(row), side)))
        return polygons

    def finished(self) -> SwathResult:
        """The SwathResult."""
        if not self.parts:
            raise InputError(_nothing(self.report))
        keys = sorted(self.parts)
        carried = [_carried(self.parts[key]) for key in keys]
        geometries, areas = [ground for ground, _ in carried], np.array([area for _, area in carried])
        beams = DrawnBeams(*map(np.concatenate, zip(*self.beams)))
        self.report.drawn = len(beams.row)
        columns = swath_columns(self.track, self.rows, beams, keys, self.settings)
        columns["area_m2"] = areas
        frame = self.parts[keys[0]][0][0]
        if len(keys) == 1:
            area = float(areas[0])
        elif self.report.frames == 1:
            area = transfer.geodesic_area(frame, overlap.merged([self.parts[key][0][1] for key in keys]))
        else:
            area = transfer.crs_area(frame, overlap.merged(geometries))
        return SwathResult(columns, geometries, area, self.report)


def _ground(afloat: Sequence[BaseGeometry], at_shore: Sequence[BaseGeometry],
            water: BaseGeometry | None) -> BaseGeometry:
    """Union of polygons, some of which may have land in them."""
    ground = shapes.union(afloat)
    if not at_shore:
        return ground
    # between neighbouring beams the straight edge may cut a bay's corner
    return shapes.union([ground, shapes.polygonal(shapes.union(at_shore).intersection(water))])


def _shortened(before: list[Fan], after: list[Fan]) -> int:
    """How many beams of fans were cut short, or left blank, beams set in between not counted."""
    count = 0
    for whole, cut in zip(before, after):
        real = cut.row >= 0
        changed = cut.outer[real] != whole.outer[whole.row >= 0]
        count += int((changed & np.isfinite(whole.outer[whole.row >= 0])).sum())
    return count


def _local_water(frame: Frame, beams: Beams, reach: np.ndarray, water: BaseGeometry | None) -> BaseGeometry | None:
    """The water the beams can meet, in frame metres."""
    margin = np.nan_to_num(reach).max(initial=0.0) + _WATER_MARGIN_M
    return transfer.clipped_to_frame(frame, water, (beams.east.min() - margin, beams.north.min() - margin,
                                                  beams.east.max() + margin, beams.north.max() + margin))


def _carried(parts: list[Any]) -> tuple[BaseGeometry, float]:
    """(geometry in crs units, ground area in m2) of a feature drawn in one or several frames."""
    frame, ground = parts[0]
    if len(parts) == 1:
        ground = cleared(ground)
        return transfer.to_crs(frame, ground), transfer.geodesic_area(frame, ground)
    merged = overlap.merged([transfer.to_crs(frame, cleared(ground)) for frame, ground in parts])
    return merged, transfer.crs_area(frame, merged)


def _counts(track: Track, settings: SwathSettings) -> SwathReport:
    usable = track.usable
    slant = used_range(track.range_m, settings)
    return SwathReport(
        usable=int(usable.sum()), no_range=int((usable & np.isnan(slant)).sum()),
        no_depth=int((usable & np.isnan(track.depth_m)).sum()),
        no_heading=int((usable & np.isnan(track.heading_deg)).sum()),
        no_bottom=int((usable & (slant < track.depth_m)).sum()))


def _nothing(report: SwathReport) -> str:
    """Why nothing was drawn, for the user."""
    if not report.usable:
        return Message("No sample of the track is usable, so there is no swath. Look at the field reject_reason: it "
                       "says what {prepare()} missed.")
    reasons = [f"{count} " + text for count, text in (
        (report.no_range, Message("have no range (give {prepare(range_m)} to {prepare()})")),
        (report.no_depth, Message("have no depth (give {prepare(depth_m)}, or {prepare(fixes.depth_m)}, to "
                                  "{prepare()})")),
        (report.no_heading, "have no heading"),
        (report.no_bottom, "have a range shorter than the depth, so that no bottom is on the record (check the range, "
                           "the depth and their units)"),
        (report.aground, Message("lie outside the water polygon (check that {water} is the right lake)"))) if count]
    return (f"No swath can be drawn. Of {report.usable} usable samples " + Message.joined("; ", reasons) + "."
            if reasons else
            f"No swath can be drawn from {report.usable} usable samples: it takes two neighbouring samples of one "
            "pass, a boat that moves, and a range that reaches beyond the blind angle.")
