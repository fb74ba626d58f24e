"""Plans from what lies on a map: gaps, objects and lines in a map's coordinates, and the rows that go back onto it."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..adjustment.solvability import WORDS
from ..geometry import shapes, transfer
from ..geometry.frame import Frame
from ..geometry.mixed_up import mixed_up
from ..model.messages import Message
from .calibration import plan_calibration
from .calibration_route import calibration_columns, calibration_route
from .clear_water import ClearWater
from .fill_in import plan_fill_in
from .plan_rows import plan_columns, plan_places
from .polygons import ground_of
from .sheet import PlanOnPaper

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Any

    from numpy.typing import ArrayLike

    from .calibration import CalibrationPlan, CalibrationSettings
    from .fill_in import FillPlan, FillSettings
    from .polygons import Ground

__all__ = ["CalibrationRun", "Surroundings", "calibrate", "calibration_told", "fill_gaps", "fill_rows", "paper_of"]


_UNITS = {"latency_s": (1, "s"), "mount_deg": (1, "degrees"), "lever_forward_m": (1, "m"),
          "lever_starboard_m": (1, "m"), "scale": (100, "%"), "trim_deg": (1, "degrees")}
"""Of an offset: what it is told in, and how many of that its unit is."""


def fill_gaps(ground: Ground, gaps: Sequence[Any], settings: FillSettings, open_share: ArrayLike = None,
              step: Callable[[float], object] = lambda fraction: None) -> FillPlan:
    """``plan_fill_in`` with gaps in units of the ground's crs; None counts as empty.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> import athwart
    >>> from athwart.planning.polygons import ground_of
    >>> from athwart.planning.spacing import ReachRule
    >>> x, y = 500_000, 4_983_000
    >>> lake = ground_of("EPSG:32632", [box(x, y, x + 500, y + 300)], depth=5.0)
    >>> settings = athwart.FillSettings(ReachRule(40.0))
    >>> plan = athwart.fill_gaps(lake, [box(x + 100, y + 140, x + 400, y + 160)], settings)
    >>> len(plan.run.lines)
    1
    """
    inside = [shapes.empty() if gap is None or gap.is_empty else transfer.to_frame(ground.frame, gap) for gap in gaps]
    plan = plan_fill_in(ground, inside, settings, open_share, step)
    if mixed_up([ground.water], [gap for gap in inside if gap.area > 0]):
        plan.notes.insert(0, Message("All of {area} lies inside {gaps} and is in much narrower pieces: the two look "
                                     "swapped. {area} is the lake, {gaps} is what is open in it. Swap them and run "
                                     "again."))
    return plan


def fill_rows(plan: FillPlan, ground: Ground, settings: FillSettings,
              ids: Sequence[Any]) -> tuple[dict[str, Any], list[Any], dict[str, Any], list[Any]]:
    """Rows of a FillPlan: columns of ``schemas.FILL_LINES``, lines in crs units; columns of ``schemas.UNCOVERED``,
    polygons. ``ids``: (g,) numbers by which the gaps are known.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> import athwart
    >>> from athwart.planning.polygons import ground_of
    >>> from athwart.planning.spacing import ReachRule
    >>> x, y = 500_000, 4_983_000
    >>> lake = ground_of("EPSG:32632", [box(x, y, x + 500, y + 300)], depth=5.0)
    >>> settings = athwart.FillSettings(ReachRule(40.0))
    >>> plan = athwart.fill_gaps(lake, [box(x + 100, y + 140, x + 400, y + 160)], settings)
    >>> columns, lines, left, polygons = athwart.fill_rows(plan, lake, settings, [7])
    >>> columns["closes"].tolist()
    ['7']
    """
    frame, legs = ground.frame, plan.run.legs
    columns = plan_columns(plan.run, frame, settings.speed_mps, settings.turn_s, settings.litres_per_hour)
    at = [k for k, leg in enumerate(legs) if leg.line is not None]
    closes, closed, share = np.full(len(legs), "", object), np.full(len(legs), np.nan), np.full(len(legs), np.nan)
    closes[at] = [", ".join(str(ids[k]) for k in gaps) for gaps in plan.closes]
    closed[at] = plan.closed_m2
    share[at] = np.minimum(100 * np.cumsum(plan.closed_m2) / max(plan.closable_m2, 1e-9), 100.0)
    columns.update(closes=closes, closed_m2=closed, closed_pct=share)
    left = {"reason": np.array([reason for _, reason in plan.left], object),
            "area_m2": np.array([polygon.area for polygon, _ in plan.left])}
    return columns, plan_places(plan.run, frame), left, [transfer.to_crs(frame, polygon) for polygon, _ in plan.left]


@dataclass
class CalibrationRun:
    """``plan``: CalibrationPlan; ``run``: route.Run; ``frame``; ``speeds`` of its lines; ``columns`` of
    ``schemas.CALIBRATION_LINES`` and ``places`` in crs units; ``predicted``: columns of
    ``schemas.CALIBRATION_PREDICTED``."""

    plan: Any
    run: Any
    frame: Any
    speeds: list
    columns: dict
    places: list
    predicted: dict


@dataclass(frozen=True)
class Surroundings:
    """Of a calibration: ``water`` polygons in crs units, None for open water all around; ``setback_m``; ``radius_m`` of
    turns; ``azimuth`` (true, degrees) of the runs, None chooses; ``start`` (x, y) in crs units, or None.

    Examples
    --------
    >>> import athwart
    >>> athwart.Surroundings(azimuth=45.0).radius_m
    0.0
    """

    water: Any = None
    setback_m: float = 0.0
    radius_m: float = 0.0
    azimuth: float = None
    start: tuple = None


def calibrate(crs: Any, x: ArrayLike, y: ArrayLike, settings: CalibrationSettings, around: Surroundings = None,
              step: Callable[[float], object] = None) -> CalibrationRun:
    """Plan the runs of a calibration past objects at ``x``, ``y`` (k,) in units of ``crs``; see ``plan_calibration``.

    Parameters
    ----------
    settings : CalibrationSettings
    around : Surroundings, optional

    Returns
    -------
    CalibrationRun

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> settings = athwart.CalibrationSettings(30.0, 5.0)
    >>> found = athwart.calibrate("EPSG:32632", np.array([5e5]), np.array([5e6]), settings)
    >>> bool(found.plan.told.all())
    True
    """
    around = Surroundings() if around is None else around
    clear, frame = None, None
    if around.water is not None:
        ground = ground_of(crs, around.water, depth=1.0, setback=around.setback_m)
        clear, frame = ClearWater(ground.boat), ground.frame
    frame = Frame.around(crs, x, y) if frame is None else frame
    objects = np.column_stack(frame.forward(np.asarray(x, float), np.asarray(y, float)))
    base = None if around.azimuth is None else around.azimuth - float(frame.convergence(*objects[0]))
    plan = plan_calibration(objects, settings, None if clear is None else _room(clear), step, base)
    start = None if around.start is None else np.ravel(frame.forward(*np.atleast_2d(around.start).T))
    run, order = calibration_route(plan.runs, settings.range_m, float(np.min(settings.depth_m)), clear,
                                   around.radius_m, start)
    speeds = [plan.runs[k].speed_mps for k in order]
    columns = calibration_columns(plan_columns(run, frame, speeds[0]), run, order, plan.runs)
    predicted = {
        "name": np.array(plan.names, object), "sigma": plan.sigma, "target": plan.target, "prior_sigma": plan.prior,
        "best_sigma": plan.best, "met": plan.met, "told": plan.told,
        "correlations": np.array([plan.correlations(k) for k in range(len(plan.names))], object),
        "why_not": np.array([plan.refused.get(name, "") for name in plan.names], object)}
    return CalibrationRun(plan, run, frame, speeds, columns, plan_places(run, frame), predicted)


def _room(clear: ClearWater) -> Callable[..., np.ndarray]:
    """``is_clear(starts, ends)`` of the boat's water."""
    return lambda starts, ends: np.array([clear.keeps(np.array(pair)) for pair in zip(starts, ends)], bool)


def calibration_told(plan: CalibrationPlan) -> tuple[list[str], list[str]]:
    """(notes, warnings) of a CalibrationPlan: its runs, each offset with its sigma, and what is not told.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> settings = athwart.CalibrationSettings(30.0, 5.0)
    >>> found = athwart.calibrate("EPSG:32632", np.array([5e5]), np.array([5e6]), settings)
    >>> athwart.calibration_told(found.plan)[1]
    []
    """
    least = "no fewer would do" if plan.fewest else "no fewer were found"
    reached = "reach what was asked for" if plan.met.all() else "are what this plan allows"
    notes = [f"{len(plan.runs)} runs {reached}; {least} among {plan.looked_at} kinds of runs."]
    warnings = [f"Not found. {why}" for why in plan.refused.values()]
    for k, name in enumerate(plan.names):
        if name in plan.refused:
            continue
        size, unit = _UNITS[name]
        sigma, target, prior, best = (f"{size * values[k]:.3g} {unit}" for values in (
            plan.sigma, plan.target, plan.prior, plan.best))
        said = f"{WORDS[name].capitalize()}: sigma {sigma}, asked for {target}, assumed before {prior}."
        if plan.met[k]:
            notes.append(said)
        elif plan.best[k] > plan.target[k]:
            warnings.append(f"{said} No number of runs past these objects gets below {best}; ask for no less.")
        else:
            warnings.append(f"{said} More runs would bring it down: allow more than {len(plan.runs)}, or ask for less.")
    return notes, warnings


def paper_of(crs: Any, columns: dict[str, Any], ways: Sequence[Any], variation_deg: float = None, start: Any = None,
             **under: Any) -> PlanOnPaper:
    """PlanOnPaper of rows of a plan.

    Parameters
    ----------
    columns : dict
        (n,) arrays by the names of ``schemas.PLAN_LINES``.
    ways : list of n shapely lines in units of ``crs``
        Rows without a line are left out.
    under : lists of shapely geometries
        ``water``, ``gaps`` and ``objects``.

    Examples
    --------
    >>> from shapely.geometry import LineString
    >>> import athwart
    >>> way = LineString([(5e5, 5e6), (5e5, 5e6 + 100)])
    >>> paper = athwart.paper_of("EPSG:32632", {"order": [1]}, [way])
    >>> round(paper.ways[0].length)
    100
    """
    kept = np.array([way is not None and not way.is_empty for way in ways], bool)
    order = np.flatnonzero(kept)[np.argsort(np.asarray(columns["order"])[kept], kind="stable")]
    bounds = np.array([ways[k].bounds for k in order])
    frame = Frame.around(crs, bounds[:, [0, 2]].ravel(), bounds[:, [1, 3]].ravel())
    drawn = {name: [transfer.to_frame(frame, shape) for shape in under.get(name) or () if not shape.is_empty]
             for name in ("water", "gaps", "objects")}
    return PlanOnPaper(
        {name: np.asarray(value)[order] for name, value in columns.items()},
        [_longest(transfer.to_frame(frame, ways[k])) for k in order], **drawn,
        start=None if start is None else np.ravel(frame.forward(*np.atleast_2d(start).T)),
        convergence_deg=float(frame.convergence(0.0, 0.0)), variation_deg=variation_deg)


def _longest(way: Any) -> Any:
    """The longest part of a line that came in several."""
    return max(way.geoms, key=lambda part: part.length) if hasattr(way, "geoms") else way
