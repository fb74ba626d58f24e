"""A run along the shore, at the distance at which the record shows it best, the shore always on one side."""
from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..geometry import transfer
from ..geometry.edge_index import EdgeIndex
from ..model.errors import InputError
from ..shore.unscanned import find_unscanned
from ..swaths.edges import SwathSettings
from . import headland
from .clear_water import ClearWater
from .predict import seen_by_lines
from .route import run_of
from .spacing import ReachRule

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Any

    from .lines import PlannedLine
    from .polygons import Ground
    from .route import Run

__all__ = ["BAND", "ShoreRun", "ShoreRunSettings", "plan_shore_run"]

BAND = (0.4, 0.9)
"""Nearer than this share of the reach the shore lies by the water column of the record, or under the boat; farther off
it lies in the record's weak outer end (a judgement)."""

_STATION_M = 5.0


@dataclass(frozen=True)
class ShoreRunSettings:
    """``reach``: ReachRule. ``shore_share``: distance of the shore, as a share of the reach. ``starboard``: the side
    the shore is kept on. ``radius_m``: least radius of a turn; ``speed_mps``; ``litres_per_hour``; ``start`` (x, y) in
    crs units; ``scan_reach_m``: how near to the shore the ground seen must come.

    Examples
    --------
    >>> import athwart
    >>> from athwart.planning.spacing import ReachRule
    >>> athwart.ShoreRunSettings(ReachRule(30.0), starboard=False).shore_share
    0.65
    """

    reach: ReachRule
    shore_share: float = 0.65
    starboard: bool = True
    radius_m: float = 0.0
    speed_mps: float = 1.5
    litres_per_hour: float = None
    start: tuple = None
    scan_reach_m: float = 5.0

    def __post_init__(self) -> None:
        if not BAND[0] <= self.shore_share <= BAND[1]:
            raise InputError(f"The shore cannot lie at {100 * self.shore_share:g} % of the reach; give "
                             f"{100 * BAND[0]:g} to {100 * BAND[1]:g} %.", field="shore_share")
        if not 0.1 <= self.speed_mps <= 30:
            raise InputError(f"A speed of {self.speed_mps:g} m/s is not one to survey at; give 0.1 to 30 m/s.",
                             field="speed_mps")


@dataclass
class ShoreRun:
    """``run``: survey.planning.route.Run; ``hours``, ``litres``; ``shore_pct``, ``in_band_pct``: (n,) of each leg, NaN
    between lines; ``predicted_percent`` of the shore scanned on a run without errors; ``notes``, worst first."""

    ground: Any
    run: Any
    hours: float
    litres: float
    shore_pct: np.ndarray
    in_band_pct: np.ndarray
    predicted_percent: float
    notes: list = field(default_factory=list)


def plan_shore_run(ground: Ground, settings: ShoreRunSettings, crs: Any, shoreline: Sequence[Any],
                   step: Callable[[float], object] = lambda fraction: None) -> ShoreRun:
    """Plan a run along a shore.

    Parameters
    ----------
    ground : survey.planning.polygons.Ground
        Its area is the water whose shore is to be run.
    settings : ShoreRunSettings
    crs : pyproj.CRS or str
        Of the shoreline.
    shoreline : list of shapely lines or polygons
        What counts as shore.

    Returns
    -------
    ShoreRun

    Raises
    ------
    InputError
        Where no way along the shore is left.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> import athwart
    >>> from athwart.planning.spacing import ReachRule
    >>> lake = athwart.ground_of("EPSG:32632", [box(500_000, 4_983_000, 500_300, 4_983_200)], depth=5.0)
    >>> settings = athwart.ShoreRunSettings(ReachRule(30.0))
    >>> plan = athwart.plan_shore_run(lake, settings, "EPSG:32632", [lake.water_crs])
    >>> len(plan.run.lines), plan.predicted_percent > 50
    (1, True)
    """
    rule = settings.reach

    def off(ranges: Any, depth: Any) -> np.ndarray:
        return np.maximum(settings.shore_share * rule.ground(ranges, depth), 0.5)
    region = headland.inside_of(ground.water, ground, rule, off)
    lines = headland.ring_lines(region, ground, rule, settings.radius_m, 40.0, settings.starboard)
    lines = [line for line in lines if _shows_shore(line, ground, rule)]
    if not lines:
        raise InputError("No way along the shore is left for the boat. Lower the setback or the least depth, or take a "
                         "shorter range.", field="range_m")
    step(0.3)
    start = None
    if settings.start is not None:
        start = np.ravel(ground.frame.forward(*np.atleast_2d(np.asarray(settings.start, float)).T))
    run = run_of(lines, ClearWater(ground.boat), radius=settings.radius_m, start=start)
    hours = run.length / settings.speed_mps / 3600
    step(0.5)
    share, band = _at_shore(run, ground, rule)
    seen = seen_by_lines(run.lines, ground, SwathSettings(range_model="slant", blind_deg=rule.blind_deg, merge="pass"),
                         settings.speed_mps)
    swaths = [transfer.to_crs(ground.frame, g) for g in seen if not g.is_empty]
    predicted = 0.0
    if swaths:
        found = find_unscanned(crs, swaths, shoreline, [ground.water_crs], reach=settings.scan_reach_m,
                               step=lambda f: step(0.5 + 0.5 * f))
        predicted = 100.0 - found.unscanned_percent
    litres = np.nan if settings.litres_per_hour is None else hours * settings.litres_per_hour
    return ShoreRun(ground, run, float(hours), float(litres), share, band, predicted, _notes(run, band) + ground.notes)


def _shows_shore(line: PlannedLine, ground: Ground, rule: ReachRule) -> bool:
    """False for a way round a shoal far out."""
    away = EdgeIndex.of(ground.water).nearest(line.xy, np.full(len(line.xy), 1000.0))[1]
    return bool((away < rule.ground(line.range_m, ground.depth.filled(*line.xy.T))).any())


def _at_shore(run: Run, ground: Ground, rule: ReachRule) -> tuple[np.ndarray, np.ndarray]:
    """Mean distance of the shore in percent of the reach, and percent of the way within BAND, for each leg."""
    index = EdgeIndex.of(ground.water)
    share, band = np.full(len(run.legs), np.nan), np.full(len(run.legs), np.nan)
    for k, leg in enumerate(run.legs):
        if leg.line is None:
            continue
        at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(leg.xy, axis=0).T))])
        stations = np.arange(0, at[-1], _STATION_M)
        places = np.column_stack([np.interp(stations, at, leg.xy[:, i]) for i in (0, 1)])
        away = index.nearest(places, np.full(len(places), 1000.0))[1]
        depth = ground.depth.filled(*places.T)
        part = np.minimum(away, 1000.0) / np.maximum(rule.ground(leg.line.range_m, depth), 0.1)
        share[k], band[k] = 100 * part.mean(), 100 * ((part >= BAND[0]) & (part <= BAND[1])).mean()
    return share, band


def _notes(run: Run, band: np.ndarray) -> list[str]:
    notes = []
    if run.apart:
        notes.append(f"{run.apart} of {len(run.lines)} ways along a shore lie on water that no way leads to from the "
                     "one before: carry the boat over, or lower the setback or the least depth.")
    length = np.array([leg.length for leg in run.legs])
    known = np.isfinite(band)
    off = float((length[known] * (100 - band[known])).sum() / max(length[known].sum(), 1e-9))
    if off > 5:
        notes.append(f"On {off:.0f} % of the run the shore lies nearer than {100 * BAND[0]:.0f} % or farther than "
                     f"{100 * BAND[1]:.0f} % of the reach: setback, shoals or what is shut keep the boat off. A longer "
                     "range brings it back in.")
    return notes
