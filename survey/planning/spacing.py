"""How far apart lines may lie: the rules for a flat bottom, and the reach of every place on a raster along the lines.

S = 2 Go (1 - k) for a usable ground range Go to each side and an overlap k of the swath. NOAA's 1.6 x range scale is
k = 0.2 on the slant range (Field Procedures Manual 2014, 2.5.3.1.2). Lines run half that apart fill each other's nadir.
"""
from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..beams.ranges import blind_range, ground_range
from ..geometry import shapes
from ..model.constants import ONE_SIDED_95
from ..model.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from numpy.typing import ArrayLike

    from .polygons import Ground

__all__ = ["MODELS", "RANGES_M", "ReachRule", "Strips", "lines_needed", "line_spacing", "share_between",
           "strips_of"]

MODELS = ("slant", "terrain", "subtract")

RANGES_M = (5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 75.0, 100.0)
"""Ranges to choose from (a judgement: round numbers, each about a third longer than the one before)."""

PAIR_SURE = ONE_SIDED_95
"""Of pairs of neighbouring lines 95 % come no farther apart than this many standard deviations of their distance."""

_FAR = 10_000


def line_spacing(reach: Any, overlap: float = 0.0) -> Any:
    """Distance (m) of lines that reach ``reach`` (m) to each side, with ``overlap`` as a share of the swath."""
    return 2 * np.asarray(reach, float)[()] * (1 - overlap)


def lines_needed(width: float, reach: float, spacing: float) -> int:
    """Lines that cover a block ``width`` across: 1 if both sides of one do, else ceil((W - 2 Go) / S) + 1."""
    if width <= 2 * reach:
        return 1
    return math.ceil((width - 2 * reach) / spacing - 1e-9) + 1


def share_between(reach: float, blind: float, spacing: float) -> float:
    """Share seen of the ground between endless lines, ``spacing`` apart; ``blind`` to each side is not.

    1 - 2 Gi / S, and 1 where neighbours see each other's nadir, S <= Go; past 2 Go the strips part.
    """
    return 1.0 if spacing <= reach else min(1 - 2 * blind / spacing, 2 * (reach - blind) / spacing)


@dataclass(frozen=True)
class ReachRule:
    """What lines are laid by.

    ``model`` : how slant range becomes ground range, see MODELS. ``blind_deg``: ground nearer to the vertical does not
    count. ``overlap``: share of the swath, 0 to under 1. ``wander_m``: standard deviation of the boat off its line.
    ``looks``: passes that are to see each place. ``range_m``: slant range, or None, then ``range_of`` (depths (n,) ->
    ranges (n,)) gives each line its own.
    """

    range_m: float = None
    model: str = "slant"
    blind_deg: float = 20.0
    overlap: float = 0.1
    wander_m: float = 2.0
    looks: int = 1
    range_of: Callable[[np.ndarray], np.ndarray] | None = None

    def __post_init__(self) -> None:
        if (self.range_m is None) == (self.range_of is None):
            raise InputError("Give one range for all lines, or let a rule choose it for each.", field="range_m")
        if self.range_m is not None and not 0 < self.range_m <= 1000:
            raise InputError(f"A range of {self.range_m:g} m is none that a record of a lake is made with; give more "
                             "than 0 and at most 1000 m.", field="range_m")
        if self.model not in MODELS:
            raise InputError(f"The range model '{self.model}' is not one of {', '.join(MODELS)}.", field="model")
        if not 0 <= self.blind_deg < 80:
            raise InputError(f"The blind angle is {self.blind_deg:g} degrees; give 0 or more, below 80.",
                             field="blind_deg")
        if not 0 <= self.overlap <= 0.9:
            raise InputError(f"An overlap of {100 * self.overlap:g} % leaves no way across; give 0 to 90 %.",
                             field="overlap")
        if not 0 <= self.wander_m <= 50:
            raise InputError(f"A helm that wanders {self.wander_m:g} m off the line keeps none; give 0 to 50 m.",
                             field="wander_m")
        if not 1 <= self.looks <= 4:
            raise InputError(f"{self.looks} looks cannot be planned; ask for 1 to 4.", field="looks")

    def ground(self, range_m: ArrayLike, depth: ArrayLike) -> np.ndarray:
        """Ground range (m) to each side over a flat bottom, 0 where the range is short of the depth."""
        return np.nan_to_num(ground_range(range_m, depth, "subtract" if self.model == "subtract" else "slant"))

    def kept(self, reach: ArrayLike, depth: ArrayLike) -> np.ndarray:
        """Of a reach (m) to one side, what neighbours may count on: less the overlap and the wander of the helm.

        The two sides that meet give up PAIR_SURE times the standard deviation of their lines' distance. For two looks
        and more neighbours also see each other's nadir.
        """
        reach = np.asarray(reach, float)
        kept = reach * (1 - self.overlap) - PAIR_SURE / math.sqrt(2) * self.wander_m
        if self.looks > 1:
            kept = np.minimum(kept, reach - blind_range(depth, self.blind_deg))
        return np.maximum(kept, 0.3 * reach)

    def at_edge(self, reach: ArrayLike) -> np.ndarray:
        """Of a reach (m), what may be counted on where no neighbour follows: less the wander of one boat."""
        return np.maximum(np.asarray(reach, float) - PAIR_SURE * self.wander_m, 0.3 * np.asarray(reach, float))


@dataclass
class Strips:
    """A raster whose rows run along the lines: row r lies at ``v0`` + (r + 0.5) ``dv``, column c at ``u0`` + (c + 0.5)
    ``du``; u runs along the azimuth, v to starboard of it (frame metres, unit vectors ``along`` and ``across``).

    Bool: ``area`` to be covered, ``boat`` where it may go. ``depth``; ``range_m`` in force on a line there; ``left``
    and ``right``: how far (m) a beam sees to the side of lower and of higher v; ``keep_left``, ``keep_right`` what
    neighbours may count on, ``edge_left``, ``edge_right`` what the edge of the area may; ``blind``: ground (m) to each
    side that does not count.
    """

    azimuth: float
    u0: float
    v0: float
    du: float
    dv: float
    area: np.ndarray
    boat: np.ndarray
    depth: np.ndarray
    range_m: np.ndarray
    left: np.ndarray
    right: np.ndarray
    keep_left: np.ndarray
    keep_right: np.ndarray
    edge_left: np.ndarray
    edge_right: np.ndarray
    blind: np.ndarray

    @property
    def along(self) -> np.ndarray:
        """Unit vector (2,) of the azimuth."""
        return _axes(self.azimuth)[0]

    def places(self, u: ArrayLike, v: ArrayLike) -> np.ndarray:
        """(n, 2) frame metres of raster coordinates (m)."""
        along, across = _axes(self.azimuth)
        return np.multiply.outer(np.asarray(u, float), along) + np.multiply.outer(np.asarray(v, float), across)


def _axes(azimuth: float) -> tuple[np.ndarray, np.ndarray]:
    a = math.radians(azimuth)
    return np.array([math.sin(a), math.cos(a)]), np.array([math.cos(a), -math.sin(a)])


def strips_of(ground: Ground, rule: ReachRule, azimuth: float, fine: float = 40, coarse: float = 4.0) -> Strips:
    """Strips of a ground along a grid azimuth.

    Parameters
    ----------
    ground : survey.planning.polygons.Ground
    rule : ReachRule
    azimuth : float
        Degrees from grid north of the frame.
    fine : float
        Rows to a usual ground range.
    coarse : float
        Columns to a usual ground range.
    """
    along, across = _axes(azimuth)
    usual = rule.range_m if rule.range_m is not None else float(rule.range_of(np.array([ground.depth.usual]))[0])
    reach = max(float(rule.ground(usual, ground.depth.usual)), 0.25 * usual)
    bounds = np.array(ground.area.bounds)
    corners = np.array([[bounds[i], bounds[j]] for i in (0, 2) for j in (1, 3)])
    if not ground.area.is_empty:
        corners = np.concatenate([shell for shell, _ in shapes.rings(ground.area)])
    u, v = corners @ along, corners @ across
    margin = usual
    u0, u1, v0, v1 = u.min() - margin, u.max() + margin, v.min() - margin, v.max() + margin
    du, dv = reach / coarse, reach / fine
    columns, rows = int(np.ceil((u1 - u0) / du)), int(np.ceil((v1 - v0) / dv))
    window = (0, rows, 0, columns)

    def to_cells(x: Any, y: Any) -> tuple[Any, Any]:
        return ((x * along[0] + y * along[1] - u0) / du - 0.5, (x * across[0] + y * across[1] - v0) / dv - 0.5)
    area, boat, water = (ground.mask(g, window, to_cells) for g in (ground.area, ground.boat, ground.water))
    uu, vv = u0 + (np.arange(columns) + 0.5) * du, v0 + (np.arange(rows) + 0.5) * dv
    depth = np.full((rows, columns), ground.depth.usual)
    if ground.depth.constant is None:
        row, column = np.nonzero(water)
        east, north = (uu[column] * along[k] + vv[row] * across[k] for k in (0, 1))
        depth[row, column] = ground.depth.filled(east, north)
    ranges = np.full(depth.shape, rule.range_m) if rule.range_m is not None else _range_by_run(rule, boat, depth)
    if rule.model == "terrain":
        left, right = (_over_terrain(depth, ranges, dv, side) for side in (-1, 1))
    else:
        left = right = rule.ground(ranges, depth)
    blind = blind_range(depth, rule.blind_deg)
    to_left, to_right = _to_land(water, dv)
    sides = (left,) if left is right else (left, right)
    kept, edge = [rule.kept(side, depth) for side in sides], [rule.at_edge(side) for side in sides]
    return Strips(float(azimuth), u0, v0, du, dv, area & water, boat, depth, ranges, np.minimum(left, to_left),
                  np.minimum(right, to_right), np.minimum(kept[0], to_left), np.minimum(kept[-1], to_right),
                  np.minimum(edge[0], to_left), np.minimum(edge[-1], to_right), blind)


def _range_by_run(rule: ReachRule, boat: np.ndarray, depth: np.ndarray) -> np.ndarray:
    """One range for each run of boat's water in each row, by its mean depth."""
    rows, columns = boat.shape
    start = boat.copy()
    start[:, 1:] &= ~boat[:, :-1]
    run = np.cumsum(start.ravel()) - 1
    inside = boat.ravel()
    ranges = np.full(rows * columns, np.nan)
    if inside.any():
        total = np.bincount(run[inside], depth.ravel()[inside])
        count = np.bincount(run[inside])
        chosen = np.asarray(rule.range_of(total / np.maximum(count, 1)), float)
        ranges[inside] = chosen[run[inside]]
    ranges[~inside] = np.nanmedian(ranges) if inside.any() else 1.0
    return ranges.reshape(rows, columns)


def _to_land(water: np.ndarray, dv: float) -> tuple[np.ndarray, np.ndarray]:
    """How far (m) sound runs over water from each cell, to lower and to higher rows."""
    rows = np.arange(len(water), dtype=np.int32)[:, None]
    last = np.maximum.accumulate(np.where(water, -1, rows), axis=0)
    last = np.where(last < 0, -_FAR, last)
    following = np.minimum.accumulate(np.where(water, _FAR + len(water), rows)[::-1], axis=0)[::-1]
    return (np.maximum(rows - last - 0.5, 0)) * dv, (np.maximum(following - rows - 0.5, 0)) * dv


def _over_terrain(depth: np.ndarray, ranges: np.ndarray, dv: float, side: int) -> np.ndarray:
    """Ground range (m) to one side as far as no slant has passed the range."""
    reach, still = np.zeros(depth.shape), np.ones(depth.shape, bool)
    for k in range(1, int(np.ceil(np.nanmax(ranges) / dv)) + 1):
        beside = np.full(depth.shape, np.inf)
        if k < len(depth):
            if side > 0:
                beside[:-k] = depth[k:]
            else:
                beside[k:] = depth[:-k]
        still &= np.hypot(k * dv, beside) <= ranges
        reach[still] = k * dv
    return reach
