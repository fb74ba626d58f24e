"""A plan of survey lines: directions and lines that cost least way, in order, with what they take and what they see."""
from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..beams.ranges import blind_range
from ..geometry import overlap, shapes
from ..model import patience
from ..model.errors import InputError
from ..share.places import strewn
from ..swaths.edges import SwathSettings
from . import headland
from .clear_water import ClearWater
from .cuts import cut_in_parts
from .directions import contour_azimuth, headings
from .lines import LayRule, cost_of, lay
from .predict import PredictSettings, predict, seen_by_lines
from .route import joints_of, run_of
from .spacing import ReachRule, strips_of
from .uncovered import uncovered

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from ..bottom.depthgrid import DepthGrid
    from .lines import PlannedLine
    from .polygons import Ground
    from .route import Run

__all__ = ["DIRECTIONS", "ROUND_SHORE", "LinePlanSettings", "SurveyPlan", "plan_lines", "run_notes"]

DIRECTIONS = ("shortest", "contours", "across", "given")
ROUND_SHORE = ("where shorter", "never", "always")

_COARSE, _FINE = (16, 1.5), (64, 3.0)
_FINALISTS = 3
_FAR_OFF = 1.25
"""Lines straight through are looked at no farther if they cost so many times as much as with a line round the edge."""

_STILL_IN = 1.1
"""A plan of another kind is worked out if its first cost is at most so many times the least."""

_LOST = 4.0
"""How many times ground not seen counts against a plan: it would need lines of its own."""


@dataclass(frozen=True)
class LinePlanSettings:
    """``reach``: ReachRule. ``direction``: one of DIRECTIONS; ``azimuth`` (true, degrees) for 'given'. ``round_shore``:
    ``where shorter``, ``always`` or ``never``, whether a line goes round the edge of the area. ``lead_m`` straight
    before and after each line, ``radius_m`` least radius of a turn; ``speed_mps``; ``turn_s`` added for each turn;
    ``litres_per_hour``; ``runs`` simulated for the share expected; ``start`` (x, y) in crs units."""

    reach: ReachRule
    direction: str = "shortest"
    azimuth: float = None
    round_shore: str = "where shorter"
    lead_m: float = 0.0
    radius_m: float = 0.0
    speed_mps: float = 2.0
    turn_s: float = 0.0
    litres_per_hour: float = None
    runs: int = 200
    start: tuple = None

    def __post_init__(self) -> None:
        if self.direction not in DIRECTIONS:
            raise InputError(f"Lines cannot run '{self.direction}'; choose one of {', '.join(DIRECTIONS)}.",
                             field="direction")
        if self.round_shore not in ROUND_SHORE:
            raise InputError(f"'{self.round_shore}' is not one of {', '.join(ROUND_SHORE)}.", field="round_shore")
        if self.direction == "given" and self.azimuth is None:
            raise InputError("Lines in a given direction need their azimuth.", field="azimuth")
        for name in ("lead_m", "radius_m", "turn_s", "litres_per_hour"):
            value = getattr(self, name)
            if value is not None and not 0 <= value < 10_000:
                raise InputError(f"{name.split('_')[0]} is {value:g}; give 0 or more.", field=name)
        if not 0.1 <= self.speed_mps <= 30:
            raise InputError(f"A speed of {self.speed_mps:g} m/s is not one to survey at; give 0.1 to 30 m/s.",
                             field="speed_mps")
        if self.runs < 50:
            raise InputError(f"{self.runs} simulated runs give no interval; give 50 or more.", field="runs")

    @property
    def turn_m(self) -> float:
        """Way (m) that a further line is taken to cost."""
        return 2 * self.lead_m + 2 * self.radius_m + self.turn_s * self.speed_mps + 20.0


@dataclass
class SurveyPlan:
    """``run``: survey.planning.route.Run; ``prediction``: Prediction; ``uncovered``: list of (polygon in frame metres,
    reason), largest first; ``hours``, ``litres`` (NaN where the use is unknown); ``azimuths``: those of its parts,
    true; ``notes``: what the user should know, worst first."""

    ground: Any
    run: Any
    prediction: Any
    uncovered: list
    hours: float
    litres: float
    azimuths: list = field(default_factory=list)
    notes: list = field(default_factory=list)


def plan_lines(ground: Ground, settings: LinePlanSettings, *, terrain: DepthGrid = None,
               step: Callable[[float], object] = lambda fraction: None) -> SurveyPlan:
    """Plan lines over a ground.

    Parameters
    ----------
    ground : survey.planning.polygons.Ground
    settings : LinePlanSettings
    terrain : survey.bottom.depthgrid.DepthGrid, optional
        For the range model 'terrain'.
    step : callable, optional

    Returns
    -------
    SurveyPlan

    Raises
    ------
    InputError
        Where no line can be laid.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> import athwart
    >>> from athwart.planning.spacing import ReachRule
    >>> lake = athwart.ground_of("EPSG:32632", [box(500_000, 4_983_000, 500_120, 4_983_080)], depth=5.0)
    >>> settings = athwart.LinePlanSettings(ReachRule(30.0), "given", 90.0, round_shore="never", runs=50)
    >>> plan = athwart.plan_lines(lake, settings)
    >>> len(plan.run.lines), [leg.kind for leg in plan.run.legs]
    (2, ['line', 'turn', 'line'])
    """
    if ground.depth.constant is not None and settings.reach.range_m is not None \
            and settings.reach.range_m <= ground.depth.constant:
        raise InputError(_nothing(ground, settings), field="range_m")
    plans = _laid(ground, settings, lambda f: step(0.4 * f))
    if not any(plan.lines for plan in plans):
        raise InputError(_nothing(ground, settings), field="range_m")
    clear = ClearWater(ground.boat)
    start = None
    if settings.start is not None:
        start = np.ravel(ground.frame.forward(*np.atleast_2d(np.asarray(settings.start, float)).T))

    given = {"lead": settings.lead_m, "radius": settings.radius_m, "start": start}
    plans = [plan for plan in plans if plan.lines]
    joints = [joints_of(plan.lines, clear, **given) for plan in plans]
    efforts = [_effort(run_of(plan.lines, clear, thorough=False, joints=known, **given), settings)
               for plan, known in zip(plans, joints)]
    best = _cheapest(plans, efforts, ground, settings)
    run = run_of(plans[best].lines, clear, joints=joints[best], **given)
    step(0.6)
    rule = settings.reach
    found = predict(run.lines, ground, PredictSettings(
        blind_deg=rule.blind_deg, model=rule.model, looks=rule.looks, wander_m=rule.wander_m,
        speed_mps=settings.speed_mps, runs=settings.runs), terrain, lambda f: step(0.6 + 0.35 * f))
    left = uncovered(ground, run.lines, found.seen, rule)
    hours = (run.length / settings.speed_mps + run.turns * settings.turn_s) / 3600
    litres = np.nan if settings.litres_per_hour is None else hours * settings.litres_per_hour
    return SurveyPlan(ground, run, found, left, float(hours), float(litres), plans[best].azimuths,
                      run_notes(run, settings) + ground.notes)


def _effort(run: Run, settings: LinePlanSettings) -> float:
    return run.length + run.turns * settings.turn_s * settings.speed_mps + 1e6 * run.apart


@dataclass
class _Choice:
    """``lines`` to choose; ``azimuths``, true; ``cut``: an area in one piece was cut in parts for them."""

    lines: list
    azimuths: list
    cut: bool


def _cheapest(plans: list[_Choice], efforts: list[float], ground: Ground, settings: LinePlanSettings) -> int:
    """Number of the plan of least effort; one that cuts an area only if it is less for what it sees, too.

    Ground that it sees less of than the best plan without a cut counts ``_LOST`` times. Where one look is enough the
    strips under the boat count as seen: every plan leaves them.
    """
    best, whole = int(np.argmin(efforts)), [k for k, plan in enumerate(plans) if not plan.cut]
    if not plans[best].cut or not whole:
        return best
    other = min(whole, key=lambda k: efforts[k])
    rule = settings.reach
    swaths = SwathSettings(range_model="slant" if rule.model == "terrain" else rule.model, merge="pass",
                           blind_deg=rule.blind_deg if rule.looks > 1 else 0.0)
    seen = [overlap.levels(seen_by_lines(plans[k].lines, ground, swaths), rule.looks)[-1].intersection(ground.area).area
            for k in (best, other)]
    lost = max(seen[1] - seen[0], 0.0) / seen[1]
    return best if efforts[best] * (1 + _LOST * lost) < efforts[other] else other


def _laid(ground: Ground, settings: LinePlanSettings, step: Callable[[float], object]) -> list[_Choice]:
    """Lines to choose from."""
    rule = LayRule(turn_m=settings.turn_m)
    choices = []
    least = np.inf
    for ring in reversed(_rings(ground, settings)):
        rest = _rest(ground, ring, settings.reach)
        parts = _parts(rest, ground, settings)
        told = [_tried(part, ground, settings, rule, _FAR_OFF * least if len(parts) == 1 else np.inf) for part in parts]
        choices.append((ring, told))
        least = min(least, cost_of(ring, rule.turn_m) + sum(tried[0][0] for tried in told))
        step(0.35 if len(choices) == 1 else 0.7)
    plans = []
    for _, ring, pairs, cut in _finalists(choices, rule.turn_m):
        patience.look()
        lines = list(ring)
        for part, azimuth in pairs:
            strips = strips_of(ground.over(part), settings.reach, azimuth, *_FINE)
            lines += lay(ground, strips, rule, settings.reach.looks)
        plans.append(_Choice(lines, sorted({round(_true(ground, azimuth), 1) % 180 for _, azimuth in pairs}), cut))
    step(1.0)
    return plans


def _finalists(choices: list[tuple[list[PlannedLine], list[Any]]],
                turn_m: float) -> list[tuple[float, list[PlannedLine], list[tuple[Any, float]], bool]]:
    """(cost, lines round the edge, [(area, grid azimuth), ...], whether one is cut) of the plans to be worked out: the
    cheapest that cut nothing, the cheapest that does, and those of a kind that would else not be among them."""
    plain, cut = [], []
    for ring, told in choices:
        base = cost_of(ring, turn_m)
        whole = [[one for one in tried if len(one[1]) == 1] for tried in told if tried]
        for k in range(min(max(map(len, whole), default=1), _FINALISTS)):
            picked = [options[min(k, len(options) - 1)] for options in whole]
            cost = base + sum(cost for cost, _ in picked)
            plain.append((cost, ring, [pair for _, pairs in picked for pair in pairs], False))
        first = [tried[0] for tried in told if tried]
        if any(len(pairs) > 1 for _, pairs in first):
            cost = base + sum(cost for cost, _ in first)
            cut.append((cost, ring, [pair for _, pairs in first for pair in pairs], True))
    plain.sort(key=lambda option: option[0])
    found, least = plain[:_FINALISTS], min(option[0] for option in plain + cut)
    for option in plain[_FINALISTS:] + sorted(cut, key=lambda option: option[0]):
        alike = any(bool(other[1]) == bool(option[1]) and other[3] == option[3] for other in found)
        if not alike and option[0] < _STILL_IN * least:
            found.append(option)
    return found


def _rings(ground: Ground, settings: LinePlanSettings) -> list[list[PlannedLine]]:
    """[no line round the edge], [lines round it], or both."""
    rings: list[list[PlannedLine]] = []
    if settings.round_shore != "always":
        rings.append([])
    if settings.round_shore != "never" and settings.reach.looks == 1:
        rule = settings.reach

        def off(ranges: Any, depth: Any) -> np.ndarray:
            return 0.97 * rule.at_edge(rule.ground(ranges, depth))
        region = headland.inside_of(ground.area, ground, rule, off)
        usual = float(rule.ground(rule.range_m, ground.depth.usual)) if rule.range_m is not None else 20.0
        made = headland.ring_lines(region, ground, rule, settings.radius_m, 6 * max(usual, 1.0))
        made = [line for line in made if line.reach_m > float(blind_range(line.depth_m, rule.blind_deg))]
        if made:
            rings.append(made)
    return rings or [[]]


def _rest(ground: Ground, ring: list[PlannedLine], rule: ReachRule) -> Any:
    """What of the area lines round its edge do not see, nadir and laps counted as seen."""
    if not ring:
        return ground.area
    kept = [float(rule.kept(line.reach_m, line.depth_m)) for line in ring]
    seen = seen_by_lines(ring, ground, SwathSettings(blind_deg=0.0, merge="pass"), reaches=kept)
    # the way to the edge is as wide as the water there
    whole = seen_by_lines(ring, ground, SwathSettings(blind_deg=0.0, merge="pass"))
    inner = ground.area.buffer(-2 * max(kept))
    return shapes.polygonal(shapes.drop_small_holes(
        ground.area.difference(shapes.union(seen)).difference(shapes.union(whole).difference(inner)), 1.0))


def _parts(rest: Any, ground: Ground, settings: LinePlanSettings) -> list[list[Any]]:
    """Parts of an area that are planned by themselves."""
    usual = _usual_reach(ground, settings.reach)
    whole = [p for p in shapes.parts(rest) if p.area > 0.05 * usual ** 2]
    return [whole] if settings.direction != "shortest" else [[p] for p in whole if p.area > usual ** 2] + \
        ([[p for p in whole if p.area <= usual ** 2]] if any(p.area <= usual ** 2 for p in whole) else [])


def _tried(parts: list[Any], ground: Ground, settings: LinePlanSettings,
           rule: LayRule, limit: float) -> list[tuple[float, list[tuple[Any, float]]]]:
    """(cost, [(area, grid azimuth), ...]) of every direction looked at, and of the parts that it is best cut in, the
    cheapest first. Where the first directions cost more than the limit other directions and cuts are left out."""
    area = shapes.collected(parts)
    if settings.direction != "shortest":
        azimuth = _asked(ground, settings)
        return [(_coarse(area, azimuth, ground, settings, rule), [(area, azimuth)])]
    found: list[tuple[float, list[tuple[Any, float]]]] = []
    for azimuth in headings(area):
        if len(found) == _FINALISTS and min(cost for cost, _ in found) > limit:
            break
        found.append((_coarse(area, azimuth, ground, settings, rule), [(area, azimuth)]))
    if len(parts) == 1 and min(cost for cost, _ in found) <= limit:
        reach = _usual_reach(ground, settings.reach)
        cut = cut_in_parts(parts[0], 2 * float(settings.reach.kept(reach, ground.depth.usual)), rule.turn_m)
        if len(cut) > 1:
            best = [min((_coarse(part, az, ground, settings, rule), az) for az in azimuths) for part, azimuths in cut]
            found.append((sum(cost for cost, _ in best), [(part, az) for (part, _), (_, az) in zip(cut, best)]))
    found.sort(key=lambda one: one[0])
    return found


def _usual_reach(ground: Ground, rule: ReachRule) -> float:
    """Ground range (m) over the usual depth, 1 or more."""
    usual = rule.range_m if rule.range_m is not None else float(rule.range_of(np.array([ground.depth.usual]))[0])
    return max(float(rule.ground(usual, ground.depth.usual)), 1.0)


def _coarse(area: Any, azimuth: float, ground: Ground, settings: LinePlanSettings,
            rule: LayRule) -> float:
    patience.look()
    strips = strips_of(ground.over(area), settings.reach, azimuth, *_COARSE)
    return cost_of(lay(ground, strips, rule, settings.reach.looks, boat=False), rule.turn_m)


def _asked(ground: Ground, settings: LinePlanSettings) -> float:
    """Grid azimuth of the direction asked for."""
    middle = ground.area.representative_point()
    if settings.direction == "given":
        return float((settings.azimuth - ground.frame.convergence(middle.x, middle.y)) % 180)
    if ground.depth.constant is not None:
        raise InputError("One depth for all has no contours to follow or to cross; give a depth grid, or choose the "
                         "shortest or a given direction.", field="direction")
    azimuth, _ = contour_azimuth(ground.depth, strewn(ground.area, 3000))
    if not np.isfinite(azimuth):
        raise InputError("The bottom is level, so there are no contours to follow or to cross; choose the shortest or "
                         "a given direction.", field="direction")
    return azimuth if settings.direction == "contours" else (azimuth + 90) % 180


def _true(ground: Ground, azimuth: float) -> float:
    middle = ground.area.representative_point()
    return float(azimuth + ground.frame.convergence(middle.x, middle.y))


def _nothing(ground: Ground, settings: LinePlanSettings) -> str:
    depth, rule = ground.depth.usual, settings.reach
    if rule.range_m is not None and rule.range_m <= depth:
        return (f"The range of {rule.range_m:g} m is short of the water, {depth:.1f} m deep: no bottom would be on the "
                "record. Take a longer range.")
    return ("No line of the boat's water sees anything of the area. Check the setback, the least depth, the range and "
            "the blind angle.")


def run_notes(run: Run, settings: Any) -> list[str]:
    """What the boat meets on the way, worst first. ``settings``: the ``lead_m`` and ``radius_m`` asked for."""
    notes = []
    if run.apart:
        notes.append(f"{run.apart} of {len(run.lines)} lines lie on water that no way leads to from the line before: "
                     "carry the boat over, or lower the setback or the least depth.")
    if run.on_the_spot:
        notes.append(f"{run.on_the_spot} of {run.turns} ways between lines have no room for a radius of "
                     f"{settings.radius_m:g} m: slow down there and turn on the spot.")
    if run.short_leads:
        notes.append(f"{run.short_leads} of {len(run.lines)} lines have less lead than the {settings.lead_m:g} m asked "
                     "for: land, a shoal or the setback is in the way.")
    return notes
