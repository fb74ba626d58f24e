"""The runs of a calibration in a short order: each is driven in its own direction, at its own speed."""
from __future__ import annotations

import numpy as np

from ..beams.ranges import ground_range
from .lines import PlannedLine
from .order import best_order
from .route import Leg, Run, dubins_length, dubins_ways

__all__ = ["calibration_columns", "calibration_route"]


def calibration_route(runs, range_m, depth_m, clear=None, radius_m=0.0, start=None):
    """Order runs and join them.

    Parameters
    ----------
    runs : list of survey.planning.calibration_runs.Run
        Leads are part of them; none may be turned round.
    range_m, depth_m : float, m
    clear : survey.planning.clear_water.ClearWater, optional
        None: open water.
    radius_m : float
    start : (2,) array, optional

    Returns
    -------
    survey.planning.route.Run, and (n,) int array: number in ``runs`` of each line of it
    """
    begin, end = np.array([run.start for run in runs]), np.array([run.end for run in runs])
    course = np.array([run.azimuth_deg for run in runs])
    ends = np.stack([begin, end], axis=1).reshape(-1, 2)
    between = np.hypot(*(ends[:, None] - ends).transpose(2, 0, 1)) if clear is None else clear.distances(ends, ends)
    if radius_m > 0:
        turned = dubins_length(end[:, None], course[:, None], begin[None], course[None], radius_m)
        between[1::2, 0::2] = np.where(np.isfinite(between[1::2, 0::2]), turned, np.inf)
    between[:, 1::2] = np.inf  # no run is entered by its end
    first = np.zeros(len(ends)) if start is None else np.hypot(*(ends - np.asarray(start, float)).T)
    first[1::2] = np.inf
    order = best_order(between, first)
    legs, apart, spot = [], 0, 0
    place, out = (None if start is None else np.asarray(start, float)), None
    reach = float(np.nan_to_num(ground_range(range_m, depth_m)))
    for number in order.sequence:
        run = runs[number]
        if place is not None:
            kind, xy = _way(place, out, np.array(run.start), run.azimuth_deg, clear, radius_m)
            spot += kind == "way" and out is not None
            if xy is None:
                apart += 1
            elif np.hypot(*np.diff(xy, axis=0).T).sum() > 0.01:
                legs.append(Leg(kind, xy))
        line = PlannedLine(np.array([run.start, run.end]), float(range_m), float(depth_m), reach, reach)
        legs.append(Leg("line", line.xy, line))
        place, out = line.end, run.azimuth_deg
    return Run(legs, order.bound, order.exact, 0, int(spot), int(apart)), np.asarray(order.sequence)


def _way(place, out, goal, into, clear, radius):
    """(kind, way (n, 2)) to the beginning of a run."""
    if out is not None and radius > 0:
        for xy in dubins_ways(place, out, goal, into, radius):
            if clear is None or clear.keeps(xy):
                return "turn", xy
    if clear is None:
        return "turn", np.array([place, goal])
    return "way", clear.way(place, goal)


def calibration_columns(columns, run, order, runs, turn_s=0.0):
    """Columns of ``schemas.CALIBRATION_LINES``: those of a plan, with each run's own speed, objects and distances."""
    speed, found = np.array(columns["speed_mps"], float), dict(columns)
    lines = [k for k, leg in enumerate(run.legs) if leg.line is not None]
    for name in ("objects", "sides", "distances_m"):
        found[name] = np.full(len(run.legs), "", object)
    for k, number in zip(lines, order):
        one = runs[number]
        speed[k] = one.speed_mps
        found["objects"][k] = ", ".join(str(g + 1) for g in one.objects)
        found["sides"][k] = ", ".join("starboard" if side > 0 else "port" for side in one.side)
        found["distances_m"][k] = ", ".join(f"{ground:.0f}" for ground in one.ground)
    for k in range(len(speed)):  # a turn is made at the speed of the run it leads to
        if k not in lines:
            speed[k] = next((speed[i] for i in lines if i > k), speed[k])
    turned = np.array([turn_s * (leg.line is None) for leg in run.legs])
    hours = (np.array([leg.length for leg in run.legs]) / speed + turned) / 3600
    rate = columns["litres"] / np.maximum(columns["hours"], 1e-12)
    found.update(speed_mps=speed, hours=hours, start_h=np.cumsum(hours) - hours, litres=hours * rate)
    return found
