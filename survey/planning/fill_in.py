"""The few lines that close gaps: each gap inside the useful swath and out of the blind angle, in a short order.

Places strewn over the gaps choose the lines (``fill_cover``); the gaps themselves, by the footprint of the audit, have
the last word on what is closed.
"""
from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..geometry import shapes
from ..model import patience
from ..model.errors import InputError
from .clear_water import ClearWater
from .fill_cover import Cover
from .fill_gaps import wanted_gaps
from .fill_rows import GapPlaces, Row, gap_places, reachable, rows_of, rows_to
from .fill_told import pruned, start_afloat, swaths_of, told_of
from .lines import PlannedLine
from .predict import seen_by_lines
from .route import Run, run_of
from .spacing import ReachRule
from .survey_plan import run_notes

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Any

    from numpy.typing import ArrayLike

    from .polygons import Ground

__all__ = ["FillPlan", "FillSettings", "plan_fill_in"]

_LEFT_OVER = 0.007
_LEAST_M2 = 1.0
_LEAST_LINE_M = 12.0
_ROUNDS = 3
_ENOUGH = 0.993


@dataclass(frozen=True)
class FillSettings:
    """``reach``: ReachRule, with a range and the helm's wander. ``speed_mps``; ``turn_s`` for each turn; ``lead_m``
    straight before and after a line; ``radius_m`` of turns; ``litres_per_hour``; ``start`` (x, y) in crs units;
    ``budget_h``: hours there are, None without end; ``least_open``: gaps less surely open (0 to 1) are left alone.

    Examples
    --------
    >>> import athwart
    >>> from athwart.planning.spacing import ReachRule
    >>> athwart.FillSettings(ReachRule(40.0), lead_m=10.0).turn_m
    40.0
    """

    reach: ReachRule
    speed_mps: float = 2.0
    turn_s: float = 0.0
    lead_m: float = 0.0
    radius_m: float = 0.0
    litres_per_hour: float = None
    start: tuple = None
    budget_h: float = None
    least_open: float = 0.0

    def __post_init__(self) -> None:
        if not 0.1 <= self.speed_mps <= 30:
            raise InputError(f"A speed of {self.speed_mps:g} m/s is not one to survey at; give 0.1 to 30 m/s.",
                             field="speed_mps")
        for name in ("turn_s", "lead_m", "radius_m", "litres_per_hour"):
            value = getattr(self, name)
            if value is not None and not 0 <= value < 10_000:
                raise InputError(f"{name.split('_')[0]} is {value:g}; give 0 or more.", field=name)
        if self.budget_h is not None and not self.budget_h > 0:
            raise InputError(f"A budget of {self.budget_h:g} hours is none; give more than 0, or leave it blank.",
                             field="budget_h")
        if not 0 <= self.least_open <= 1:
            raise InputError("The share of draws in which a gap must stay open lies between 0 and 1.",
                             field="least_open")

    @property
    def turn_m(self) -> float:
        """Way (m) that a further line is taken to cost."""
        return 2 * self.lead_m + 2 * self.radius_m + self.turn_s * self.speed_mps + 20.0


@dataclass
class FillPlan:
    """``run``: survey.planning.route.Run; by line of it: ``closes``: list of gap numbers it closes at least half of
    what can be closed of, or most of; ``closed_m2`` that it closes beyond the lines before it. ``gap_m2`` of all gaps
    taken on, ``closed`` (g,) m2 of each; ``closable_m2``; ``left``: list of (polygon, reason), the largest first;
    ``hours``, ``litres``; ``ignored``: gaps too surely closed; ``dropped``: lines beyond the budget; ``notes``: what
    the user should know, worst first; ``ignored_m2`` of the gaps left alone. What lies off the water, and what two
    gaps share, is counted in no gap, and stands in the notes."""

    run: Any
    closes: list
    closed_m2: np.ndarray
    gap_m2: float
    closable_m2: float
    closed: np.ndarray
    left: list
    hours: float
    litres: float
    ignored: int
    dropped: int
    notes: list = field(default_factory=list)
    ignored_m2: float = 0.0


def plan_fill_in(ground: Ground, gaps: Sequence[Any], settings: FillSettings, open_share: ArrayLike = None,
                 step: Callable[[float], object] = lambda fraction: None) -> FillPlan:
    """Lines that close gaps.

    Parameters
    ----------
    ground : survey.planning.polygons.Ground
        Where the boat may go; its area is not asked.
    gaps : list of shapely polygons, frame metres
        Where they overlap, the one more surely open counts.
    settings : FillSettings
    open_share : (g,) array, optional
        How surely each gap is open, 0 to 1 (``open_pct`` of the audit); unknown counts as 1.
    step : callable, optional

    Returns
    -------
    FillPlan
        Without a line where nothing is open, nothing can be seen from where the boat may go, or no line fits into the
        hours; the notes say which.

    Raises
    ------
    InputError
        Where there are gaps and all of them lie off the water.
    """
    wanted = wanted_gaps(gaps, open_share, settings.least_open, ground.water)
    rule, taken, gaps_on, share = settings.reach, wanted.taken, wanted.gaps, wanted.share
    lines: list[PlannedLine] = []
    closable = 0.0
    if gaps_on:
        lines, closable = _lines(ground, gaps_on, share, settings, None, lambda f: step(0.7 * f))
    for _ in range(_ROUNDS if lines else 0):  # places stand for ground; the ground itself has the last word
        left = _left(lines, gaps_on, ground, rule)
        short = sum(g.area for g in gaps_on) - sum(g.area for g in left)
        if short >= _ENOUGH * closable:
            break
        still = [k for k, g in enumerate(left) if g.area > 0.05]
        more, _ = _lines(ground, [left[k] for k in still], share[still], settings,
                         (1 - _ENOUGH) * closable, lambda f: None)
        if not more:
            break
        lines += more
    notes = []
    if gaps_on and not lines:
        notes.append("None of the gaps can be seen from where the boat may go. Check the range, the setback, the "
                     "least depth and the blind angle.")
    lines = pruned(lines, gaps_on, closable, ground, rule)
    clear = ClearWater(ground.boat)
    start, told = start_afloat(ground, settings.start)

    def joined(some: list[PlannedLine], thorough: bool = True) -> Run:
        return run_of(some, clear, lead=settings.lead_m, radius=settings.radius_m, start=start,
                      thorough=thorough) if some else Run([], 0.0, True, 0, 0, 0)
    kept = lines
    dropped: list[PlannedLine] = []
    if settings.budget_h is not None and lines:
        kept, dropped, least = _within(lines, gaps_on, share, ground, settings, joined)
        if not kept:
            notes.append(f"No line can be run in {settings.budget_h:.3g} hours; the shortest needs {least:.2g}. Give "
                         "more time, or start nearer.")
    run = joined(kept)
    step(0.9)
    found = told_of(run, dropped, wanted, ground, rule)
    hours = _hours(run, settings)
    litres = np.nan if settings.litres_per_hour is None else hours * settings.litres_per_hour
    notes += [*run_notes(run, settings), *told, *wanted.notes, *ground.notes]
    return FillPlan(run, found.closes, found.closed_m2, float(sum(g.area for g in gaps_on)), closable,
                    _by_number(found.closed, taken, len(gaps)), found.left, hours, float(litres),
                    wanted.ignored, len(dropped), notes, wanted.ignored_m2)


def _lines(ground: Ground, gaps: Sequence[Any], share: np.ndarray, settings: FillSettings, enough: float,
           step: Callable[[float], object]) -> tuple[list[PlannedLine], float]:
    """Lines that close gaps but for ``enough`` m2 (None: a trifle of what can be closed), and what can be (m2)."""
    rule = settings.reach
    places = gap_places(gaps, share, ground.water)
    rows = rows_of(places, gaps, ground, rule)
    step(0.3)
    can, where = reachable(places, ground, rule, _LEAST_LINE_M)
    seen = np.zeros(len(places), bool)
    for row in rows:
        seen[row.sees] = True
    odd = np.flatnonzero(can & ~seen)
    rows += rows_to(odd, where[odd], places, ground, rule)
    can |= seen
    closable = float(places.area[can].sum())
    if not rows or not closable > 0:
        return [], closable
    step(0.4)
    swath = 2 * max(float(rule.ground(row.range_m, ground.depth.usual)) for row in rows)
    cover = Cover(rows, np.where(can, places.worth, 0.0), places.area, settings.turn_m, swath,
                   _LEFT_OVER * closable if enough is None else 0.95 * enough)
    return [_line(rows[r], first, last, places, ground, rule)
            for r, first, last in cover.solved(lambda f: step(0.4 + 0.6 * f))], closable


def _left(lines: list[PlannedLine], gaps: Sequence[Any], ground: Ground, rule: ReachRule) -> list[Any]:
    """What of each gap stays open on a run without errors."""
    seen = shapes.union(seen_by_lines(lines, ground, swaths_of(rule)))
    return [shapes.polygonal(gap.difference(seen)) for gap in gaps]


def _by_number(closed: np.ndarray, taken: np.ndarray, count: int) -> np.ndarray:
    found = np.zeros(count)
    found[taken] = closed
    return found


def _hours(run: Run, settings: FillSettings) -> float:
    return float((run.length / settings.speed_mps + run.turns * settings.turn_s) / 3600)


def _line(row: Row, first: int, last: int, places: GapPlaces, ground: Ground, rule: ReachRule) -> PlannedLine:
    """The stretch as a line, long enough to bring all of what its places stand for abreast."""
    half = places.half[row.sees[[first, last]]]
    low, high = max(row.at[first] - half[0], row.low), min(row.at[last] + half[1], row.high)
    if high - low < _LEAST_LINE_M:
        middle = np.clip((low + high) / 2, row.low + _LEAST_LINE_M / 2, max(row.high - _LEAST_LINE_M / 2,
                                                                          row.low + _LEAST_LINE_M / 2))
        low, high = max(row.low, middle - _LEAST_LINE_M / 2), min(row.high, middle + _LEAST_LINE_M / 2)
    xy = row.origin + np.outer([low, high], row.unit)
    depth = ground.depth.filled(*(xy[0] + np.outer(np.linspace(0, 1, 20), xy[1] - xy[0])).T)
    reach = rule.ground(row.range_m, depth)
    return PlannedLine(xy, row.range_m, float(depth.mean()), float(reach.mean()), float(reach.min()))


def _within(lines: list[PlannedLine], gaps: Sequence[Any], share: np.ndarray, ground: Ground, settings: FillSettings,
            joined: Callable[..., Run]) -> tuple[list[PlannedLine], list[PlannedLine], float]:
    """Lines that can be run in the hours there are, the most closed in an hour first; those left; and the hours that
    the shortest takes by itself."""
    seen = seen_by_lines(lines, ground, swaths_of(settings.reach), settings.speed_mps)
    left = [shapes.polygonal(g) for g in gaps]
    kept: list[int] = []
    open_now, least = list(range(len(lines))), np.inf
    while open_now:
        patience.look()
        best = None
        before = _hours(joined([lines[k] for k in kept], False), settings) if kept else 0.0
        for k in open_now:
            worth = sum(s * g.intersection(seen[k]).area for g, s in zip(left, share))
            hours = _hours(joined([lines[i] for i in (*kept, k)], False), settings)
            least = min(least, hours)
            if hours > settings.budget_h or worth <= _LEAST_M2:
                continue
            rate = worth / max(hours - before, 1e-6)
            if best is None or rate > best[0]:
                best = (rate, k)
        if best is None:
            break
        kept.append(best[1])
        open_now.remove(best[1])
        left = [shapes.polygonal(g.difference(seen[best[1]])) for g in left]
    return [lines[k] for k in kept], [lines[k] for k in open_now], least
