"""Which stretches of a shoreline were scanned, sound counted over water only.

A place on the shore is scanned if ground that was seen lies within reach of it along a straight line over water: sound
does not bend round a point, and a swath behind a spit or an island shows nothing of the shore on this side.

The shore is judged at stations half a metre apart or less, and every change of verdict between two of them is then
closed in on to a millimetre. At a station the line to the nearest ground seen settles most cases. Where land crosses
it, lines are tried past every corner of land and of the seen ground within reach: between two such corners the first
thing a line meets does not change, so no way is missed.
"""
from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..geometry import overlap, shapes, transfer
from ..geometry.edge_index import EdgeIndex, first_crossing, nearest_on_edges
from ..geometry.frame import Frame
from ..geometry.mixed_up import mixed_up
from ..model import patience
from ..model.errors import InputError
from ..model.messages import Message
from . import shorelines

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from typing import Any

    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry


__all__ = ["ShoreResult", "find_unscanned"]

_AFLOAT_M = 0.002
"""A station is judged from this far off the shoreline, on the water."""

_SPACING_M = 0.5
"""Stretches shorter than this may be overlooked."""

_TOUCH_M = 1e-6
_HALVINGS = 12
_GRAZE = 1e-7


@dataclass
class ShoreResult:
    """Stretches of shore: unscanned ones first, the longest first.

    ``geometries``: list of lines in crs units. ``columns``: (n,) arrays by field name, see ``schemas.SHORE``.
    ``shore_m``, ``unscanned_m``: ground lengths; ``unscanned_percent``. ``notes``: what the user should know.
    """

    geometries: list
    columns: dict
    shore_m: float
    unscanned_m: float
    unscanned_percent: float
    notes: list = field(default_factory=list)


def find_unscanned(crs: CRS | str, swaths: Iterable[BaseGeometry], shoreline: Sequence[BaseGeometry],
                   water: BaseGeometry | None = None, *, reach: float = 5.0, min_length: float = 0.0,
                   step: Callable[[float], object] = lambda fraction: None) -> ShoreResult:
    """Scanned and unscanned stretches of a shoreline.

    Parameters
    ----------
    crs : pyproj.CRS or str
        CRS of every geometry handed in and out.
    swaths : list of shapely polygons
        Ground seen; None and empty ones are left out.
    shoreline : list of shapely lines or polygons
        Of polygons every ring is shore.
    water : list of shapely polygons, optional
        What sound can cross. Default: the shoreline's own polygons, or those its lines close.
    reach : float
        How near (m) the seen ground must come.
    min_length : float
        Unscanned stretches shorter than this (m) are counted with the scanned shore around them.
    step : callable, optional
        Called with the fraction done; may raise Cancelled.

    Returns
    -------
    ShoreResult

    Raises
    ------
    InputError

    Examples
    --------
    >>> import athwart
    >>> from shapely.geometry import box
    >>> lake, swath = box(500000, 4500000, 500100, 4500100), box(500000, 4500000, 500050, 4500100)
    >>> found = athwart.find_unscanned("EPSG:32619", [swath], [lake], reach=5.0)
    >>> round(found.shore_m), round(found.unscanned_m)  # half of it, less the reach at either end
    (400, 190)
    """
    if not reach > 0 or min_length < 0:
        raise InputError("The reach must be more than 0 m, and the least length cannot be negative.")
    frame = _frame(crs, shoreline)
    lines = shorelines.lines_of(frame, shoreline)
    afloat, notes = shorelines.water_of(frame, shoreline, water)
    strips = [transfer.to_frame(frame, g) for g in swaths if g is not None and not g.is_empty]
    seen = overlap.merged(strips)
    if seen.is_empty:
        raise InputError(Message("The swath layer holds no polygons; there is nothing to judge. Run {draw_swaths()} "
                                 "first."))
    step(0.2)
    sight = _Sight(shapes.polygonal(patience.heard(seen.intersection, afloat)), afloat, reach)
    stretches = []
    spacing = min(reach / 10, _SPACING_M)
    for number, line in enumerate(lines):
        stretches += _stretches(frame, line, sight, spacing, min_length)
        step(0.2 + 0.8 * (number + 1) / len(lines))
    stretches.sort(key=lambda s: (s[1], -s[2]))
    length, scanned = (np.array([s[k] for s in stretches], float) for k in (2, 1))
    shore, unscanned = float(length.sum()), float(length[scanned == 0].sum())
    if not shapes.parts(sight.seen):
        notes.append("No swath lies on the water of this shore. Check that both layers show the same lake and have the "
                     "right coordinate system.")
    banks = [transfer.to_frame(frame, g) for g in shoreline if g is not None and g.area > 0]
    if banks and all(any(strip.equals_exact(bank, 1e-6) for bank in banks) for strip in strips):
        notes.insert(0, Message("{swaths} has the very shapes of {shoreline}, as if one layer was given twice: all of "
                                "the shore counts as scanned. {swaths} is the ground that was seen: run "
                                "{draw_swaths()} for it."))
    if _swapped(banks, strips, afloat):
        notes.insert(0, Message("All of {shoreline} lies in {swaths}, and is in much narrower pieces: the two look "
                                "swapped. {swaths} is the ground that was seen, {shoreline} is the lake or its "
                                "shore. Swap them and run again."))
    columns = {"shore_id": np.arange(1, len(stretches) + 1), "length_m": length,
               "status": np.array(["scanned" if s[1] else "unscanned" for s in stretches], object)}
    return ShoreResult([transfer.to_crs(frame, shorelines.line_string(s[0])) for s in stretches], columns, shore,
                       unscanned, min(100.0, 100 * unscanned / shore), notes)


def _swapped(banks: list[Any], strips: list[Any], afloat: BaseGeometry) -> bool:
    """Whether the shore is given for the ground seen; islands as a shore lie outside the water, strips in it."""
    if not mixed_up(banks, strips):
        return False
    whole = overlap.merged(banks)
    return bool(whole.intersection(afloat).area >= 0.5 * whole.area)


def _frame(crs: CRS | str, shoreline: Sequence[BaseGeometry]) -> Frame:
    given = [g for g in shoreline if g is not None and not g.is_empty]
    if not given:
        raise InputError("The shoreline layer is empty; give it the lake's polygon or the lines of its shore.",
                         field="shoreline")
    x0, y0, x1, y1 = np.array([g.bounds for g in given]).T
    return Frame.around(crs, np.array([x0.min(), x1.max()]), np.array([y0.min(), y1.max()]))


def _stretches(frame: Frame, line: np.ndarray, sight: _Sight, spacing: float, min_length: float) -> list[Any]:
    """List of ((n, 2) vertices, scanned, ground length) along one line, in order, equal neighbours joined."""
    run = shorelines.run_of(line)
    stations = _stations(run, spacing)
    scanned = sight.scans(*shorelines.places(line, run, stations))
    changes = np.flatnonzero(scanned[1:] != scanned[:-1])
    at = _closed_in(line, run, sight, stations[changes], stations[changes + 1], scanned[changes])
    bounds = np.concatenate([[0.0], at, [run[-1]]])
    status = scanned[np.append(changes, len(scanned) - 1)]
    found = [[shorelines.cut(line, run, a, b), bool(s)] for a, b, s in zip(bounds, bounds[1:], status)]
    for stretch in found:
        stretch.append(transfer.geodesic_length(frame, shorelines.line_string(stretch[0])))
    closed = np.array_equal(line[0], line[-1])
    found = _joined(found, closed)
    for stretch in found:
        if stretch[2] < min_length and len(found) > 1:
            stretch[1] = True
    return _joined(found, closed)


def _stations(run: np.ndarray, spacing: float) -> np.ndarray:
    """Distances along a line, some on every edge and at most ``spacing`` apart."""
    length = np.diff(run)
    count = np.maximum(1, np.ceil(length / spacing)).astype(int)
    edge = np.repeat(np.arange(len(length)), count)
    place = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return run[edge] + length[edge] * (place + 0.5) / count[edge]


def _closed_in(line: np.ndarray, run: np.ndarray, sight: _Sight, low: np.ndarray, high: np.ndarray,
               low_scanned: np.ndarray) -> np.ndarray:
    """Where the verdict changes between stations, to 1 / 4096 of their distance."""
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        same = sight.scans(*shorelines.places(line, run, middle)) == low_scanned
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return (low + high) / 2


def _joined(stretches: list[Any], closed: bool) -> list[Any]:
    """Neighbours of one verdict made one; on a ring the last goes on into the first."""
    kept: list[Any] = []
    for vertices, scanned, length in stretches:
        if kept and kept[-1][1] == scanned:
            kept[-1] = [np.vstack([kept[-1][0], vertices[1:]]), scanned, kept[-1][2] + length]
        else:
            kept.append([vertices, scanned, length])
    if closed and len(kept) > 1 and kept[0][1] == kept[-1][1]:
        last = kept.pop()
        kept[0] = [np.vstack([last[0], kept[0][0][1:]]), last[1], last[2] + kept[0][2]]
    return kept


class _Sight:
    """What can be seen from where: ``seen`` ground on ``water`` (frame metres), within ``reach`` (m)."""

    def __init__(self, seen: BaseGeometry, water: BaseGeometry | None, reach: float) -> None:
        self.seen, self._water, self._reach = seen, water, reach
        self._ground, self._land = EdgeIndex.of(seen), EdgeIndex.of(water)

    def scans(self, places: np.ndarray, normals: np.ndarray) -> np.ndarray:
        """Whether each of (n, 2) shore places is scanned; ``normals`` are unit vectors to the left of the shore."""
        found = np.zeros(len(places), bool)
        near = np.flatnonzero(np.isfinite(self._ground.nearest(places, np.full(len(places), self._reach + 0.1))[1])
                              | shapes.contains(self.seen, *places.T))
        start, left = self._afloat(places[near], normals[near])
        on_water = np.isfinite(start).all(axis=1) & (left > 0)
        near, start, left = near[on_water], start[on_water], left[on_water]
        inside = shapes.contains(self.seen, *start.T)
        place, away = self._ground.nearest(start, left)
        within = np.isfinite(away)
        clear = np.zeros(len(near), bool)
        clear[within] = self._clear(start[within], place[within], away[within])
        found[near] = inside | clear
        for i in np.flatnonzero(within & ~clear & ~inside):
            found[near[i]] = self._way_round(start[i], left[i])
        return found

    def _afloat(self, places: np.ndarray, normals: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Starting points on the water beside shore places, NaN where none is within reach, and the reach left."""
        start, left = np.full(places.shape, np.nan), np.full(len(places), self._reach)
        for side in (1, -1):
            beside = places + side * _AFLOAT_M * normals
            wet = np.isnan(start[:, 0]) & shapes.contains(self._water, *beside.T)
            start[wet] = beside[wet]
        # a line drawn a little inland of the water's own edge
        dry = np.flatnonzero(np.isnan(start[:, 0]))
        bank, away = self._land.nearest(places[dry], left[dry])
        with np.errstate(invalid="ignore", divide="ignore"):
            beyond = bank + _AFLOAT_M * (bank - places[dry]) / away[:, None]
        wet = np.isfinite(beyond).all(axis=1)
        wet[wet] = shapes.contains(self._water, *beyond[wet].T)
        start[dry[wet]], left[dry[wet]] = beyond[wet], left[dry[wet]] - away[wet]
        return start, left

    def _clear(self, start: np.ndarray, goal: np.ndarray, away: np.ndarray) -> np.ndarray:
        """True where no land lies between."""
        along = (goal - start) / np.maximum(away, 1e-12)[:, None]
        return self._land.ray_length(start, along, away) >= away - _TOUCH_M

    def _way_round(self, start: np.ndarray, reach: float) -> bool:
        """True if any straight line from a place meets seen ground before land, within reach."""
        low, high = start - reach, start + reach
        land, ground = self._land.near(low, high), self._ground.near(low, high)
        walls = self._land.start[land], self._land.end[land]
        goals = self._ground.start[ground], self._ground.end[ground]
        corners = np.vstack([*walls, *goals])
        angle = np.arctan2(*(corners - start).T)
        foot = nearest_on_edges(start[None], *goals)[0]
        angle = np.concatenate([angle - _GRAZE, angle + _GRAZE, np.arctan2(*(foot - start).T)])
        along = np.column_stack([np.sin(angle), np.cos(angle)])
        at = np.broadcast_to(start, along.shape)
        to_goal = first_crossing(at, along, *goals)
        return bool(((to_goal <= reach) & (to_goal < first_crossing(at, along, *walls) + _TOUCH_M)).any())
