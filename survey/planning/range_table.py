"""Depths by ranges: what each range shows in each depth, how fast to go, how far apart to run the lines."""
from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from ..beams.ranges import ground_range
from ..ensonify.detection import COLD_FRESH_MPS
from ..model.errors import InputError
from .range_rule import (
    LONGEST_DEPTHS,
    SHORTEST_DEPTHS,
    RangeRule,
    choose_range,
    fastest_speed,
    usable_reach,
)
from .spacing import line_spacing

if TYPE_CHECKING:
    from typing import Any

    from numpy.typing import ArrayLike

__all__ = ["BANDS", "MOST_ROWS", "RangeTable", "TableSettings", "range_table", "reach_on_slope"]

BANDS = ("no bottom", "short", "good", "long")
"""Range over depth: under 1, under 5, 5 to 12.5, more."""

MOST_ROWS = 400
"""Depths times ranges at most: more is no table to read."""


@dataclass(frozen=True)
class TableSettings:
    """``rule``: what a range is judged by. ``overlap_pct`` of the swath's width that neighbouring swaths share.
    ``slope_deg`` of the bottom, up and down from the boat. ``samples`` of the record on each side, across the range.

    Examples
    --------
    >>> import athwart
    >>> athwart.TableSettings(athwart.RangeRule(0.5, speed_mps=1.5)).overlap_pct
    20.0
    """

    rule: RangeRule = field(default_factory=RangeRule)
    overlap_pct: float = 20.0
    slope_deg: float = 5.0
    samples: float = 500.0

    def __post_init__(self) -> None:
        if not 0 <= self.overlap_pct < 100:
            raise InputError(f"An overlap of {self.overlap_pct:g} % leaves no line spacing; give 0 or more, below 100.",
                             field="overlap_pct")
        if not 0 <= self.slope_deg <= 45:
            raise InputError(f"The slope is {self.slope_deg:g} degrees; give 0 to 45.", field="slope_deg")
        if not self.samples >= 10:
            raise InputError(f"{self.samples:g} samples on each side are no record; give at least 10.", field="samples")


@dataclass(frozen=True)
class RangeTable:
    """``columns``: arrays by the names of ``schemas.RANGE_TABLE``, a row for each depth and range; ``choices``: the
    ``RangeChoice`` of each depth; ``depths``, ``ranges`` (m) ascending; ``settings``."""

    columns: dict
    choices: list
    depths: np.ndarray
    ranges: np.ndarray
    settings: TableSettings

    def rows_of(self, k: int) -> slice:
        """Slice of the rows of the k-th depth."""
        return slice(k * len(self.ranges), (k + 1) * len(self.ranges))


def reach_on_slope(range_m: ArrayLike, depth_m: ArrayLike, slope_deg: ArrayLike) -> Any:
    """Ground range at which the slant range is used up on a bottom of even slope.

    Parameters
    ----------
    range_m, depth_m : float or arrays, m
        Slant range, water under the transducer.
    slope_deg : float or array
        Positive where the bottom falls away from the boat.

    Returns
    -------
    float or array, m
        From R^2 = G^2 + (H + G tan b)^2; where the bottom rises to the surface before that, the distance to the water's
        edge H / tan(-b). NaN where R < H cos(b), the least distance to the slope.
    """
    slant, depth, slope = np.broadcast_arrays(*(np.asarray(v, float) for v in (range_m, depth_m, slope_deg)))
    t = np.tan(np.radians(slope))
    inner = np.square(slant) * (1 + t * t) - np.square(depth)
    with np.errstate(invalid="ignore", divide="ignore"):
        ground = (np.sqrt(inner) - depth * t) / (1 + t * t)
        edge = np.where(t < 0, depth / -t, np.inf)
    return np.where((inner >= 0) & (ground >= 0), np.minimum(ground, edge), np.nan)[()]


def range_table(depths_m: ArrayLike, ranges_m: ArrayLike, settings: TableSettings = None, unit: str = "m",
                speed_unit: str = "m/s") -> RangeTable:
    """The table, and the range to choose for each depth.

    Parameters
    ----------
    depths_m, ranges_m : sequences of float, m
        Each value counts once, in ascending order.
    settings : TableSettings
    unit, speed_unit : str
        Units in the reasons, keys of ``LENGTHS`` and ``SPEEDS``.

    Returns
    -------
    RangeTable

    Raises
    ------
    InputError
        For an empty list, a value that is not above 0, or more than ``MOST_ROWS`` rows.

    Examples
    --------
    >>> import athwart
    >>> table = athwart.range_table([2.0, 4.0], [10.0, 20.0, 40.0])
    >>> [choice.range_m for choice in table.choices]
    [40.0, 40.0]
    """
    settings = TableSettings() if settings is None else settings
    depths, ranges = _list(depths_m, "depths_m", "depths"), _list(ranges_m, "ranges_m", "ranges")
    if len(depths) * len(ranges) > MOST_ROWS:
        raise InputError(f"{len(depths)} depths by {len(ranges)} ranges are more than {MOST_ROWS} rows; name fewer.",
                         field="depths_m")
    rule = settings.rule
    depth, slant = (a.ravel() for a in np.meshgrid(depths, ranges, indexing="ij"))
    seen, shown = usable_reach(slant, depth, rule, seen_only=True), usable_reach(slant, depth, rule)
    fastest = fastest_speed(slant, rule)
    slow = np.ones(len(slant), bool) if rule.speed_mps is None else rule.speed_mps <= fastest * (1 + 1e-9)
    far = np.where(shown.far > 0, shown.far, np.nan)
    outer = np.where(shown.far > 0, shown.far, np.where(seen.far > 0, seen.far, np.nan))
    inner = np.where(shown.far > 0, shown.near, seen.near)
    bottom = seen.far > 0
    with np.errstate(divide="ignore", invalid="ignore"):
        sample = slant / settings.samples
        fine, coarse = (np.where(bottom & (g > 0), sample * np.hypot(g, depth) / g, np.nan) for g in (outer, inner))
    speed_of_sound = COLD_FRESH_MPS if rule.sound_speed_mps is None else rule.sound_speed_mps
    columns = {
        "depth_m": depth, "range_m": slant, "range_depths": slant / depth, "band": _bands(slant / depth),
        "reach_slant_m": ground_range(slant, depth), "reach_subtract_m": ground_range(slant, depth, "subtract"),
        "reach_up_m": reach_on_slope(slant, depth, -settings.slope_deg),
        "reach_down_m": reach_on_slope(slant, depth, settings.slope_deg),
        "water_pct": np.minimum(100 * depth / slant, 100.0),
        "effective_m": np.where(bottom, np.minimum(slant, LONGEST_DEPTHS * depth), np.nan),
        "near_m": np.where(np.isfinite(far), shown.near, np.nan), "far_m": far, "limit": shown.limit,
        "resolution_near_m": coarse, "resolution_far_m": fine,
        "beam_far_m": np.hypot(outer, depth) * 2 * math.tan(math.radians(rule.detection.beam_width_deg) / 2),
        "ping_limit_hz": speed_of_sound / (2 * slant), "fastest_mps": fastest,
        "spacing_m": line_spacing(outer, settings.overlap_pct / 100), "shows": np.isfinite(far) & slow,
    }
    choices = [choose_range(d, rule.object_m, rule.speed_mps, ranges, rule, unit, speed_unit) for d in depths]
    chosen = np.zeros(len(depth), bool)
    why = np.full(len(depth), "", object)
    for k, choice in enumerate(choices):
        at = k * len(ranges) + int(np.flatnonzero(ranges == choice.range_m)[0])
        chosen[at], why[at] = True, choice.why
    columns.update(chosen=chosen, why=why)
    return RangeTable(columns, choices, depths, ranges, replace(settings))


def _bands(depths: np.ndarray) -> np.ndarray:
    return np.array(BANDS, object)[np.where(depths < 1, 0, np.where(depths < SHORTEST_DEPTHS, 1, np.where(
        depths <= LONGEST_DEPTHS * (1 + 1e-9), 2, 3)))]


def _list(values: ArrayLike, name: str, word: str) -> np.ndarray:
    listed = np.unique(np.asarray(values, float).reshape(-1))
    if not len(listed):
        raise InputError(f"There are no {word}; give numbers such as 5 10 20.", field=name)
    if not (np.isfinite(listed) & (listed > 0) & (listed <= 1000)).all():
        bad = listed[~(np.isfinite(listed) & (listed > 0) & (listed <= 1000))][0]
        raise InputError(f"{bad:g} m among the {word} is not above 0 and at most 1000; correct it.", field=name)
    return listed
