"""A plan as the log of a boat that runs it: fixes with time, the helm's wander and the receiver's noise.

The boat steers by what its receiver shows, so the log strays from the plan by the wander and by the jitter from fix to
fix; how far the boat truly was from where its receiver showed it does not stand in a log.
"""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .predict import WANDER_M

if TYPE_CHECKING:
    from typing import Any

    from .polygons import Ground
    from .route import Run

__all__ = ["simulated_fixes"]

START_S = 1_780_300_800.0
"""2026-06-01 08:00 UTC: a summer's morning, the same every time."""


def simulated_fixes(run: Run, ground: Ground, *, speed_mps: float = 2.0, wander_m: float = 2.0, jitter_m: float = 0.3,
                    interval_s: float = 1.0, turn_s: float = 0.0,
                    seed: int = 0) -> tuple[np.ndarray, np.ndarray, dict[str, Any]]:
    """Fixes of a run of a plan.

    Parameters
    ----------
    run : survey.planning.route.Run
    ground : survey.planning.polygons.Ground
    speed_mps : float
    wander_m, jitter_m : float
        Standard deviations: of the boat off its line, and of a fix, each axis.
    interval_s : float
        Between fixes.
    turn_s : float
        Added for each turn, on which the boat goes slower by as much.
    seed : int

    Returns
    -------
    x, y : (n,) arrays
        crs units of the ground's frame.
    columns : dict of (n,) arrays by field of ``schemas.SIMULATED``

    Examples
    --------
    >>> from shapely.geometry import box
    >>> import athwart
    >>> from athwart.planning.spacing import ReachRule
    >>> lake = athwart.ground_of("EPSG:32632", [box(500_000, 4_983_000, 500_300, 4_983_200)], depth=5.0)
    >>> settings = athwart.ShoreRunSettings(ReachRule(30.0))
    >>> plan = athwart.plan_shore_run(lake, settings, "EPSG:32632", [lake.water_crs])
    >>> x, y, columns = athwart.simulated_fixes(plan.run, lake, speed_mps=1.5)
    >>> columns["line_id"][0], columns["depth_m"][0].tolist(), len(x) == len(columns["t_s"])
    ('L1', 5.0, True)
    """
    rng = np.random.default_rng([20099, seed])
    corners: list[np.ndarray] = []
    owners: list[np.ndarray] = []
    clocks = [np.zeros(1)]
    for number, leg in enumerate(run.legs):
        step = np.hypot(*np.diff(leg.xy, axis=0).T)
        pace = step / speed_mps
        if leg.line is None and leg.length > 0:
            pace = pace * (1 + turn_s * speed_mps / leg.length)
        jump = 0.0 if not corners else float(np.hypot(*(leg.xy[0] - corners[-1][-1]))) / speed_mps
        clocks.append(clocks[-1][-1] + jump + np.cumsum(pace))
        if not corners:
            corners.append(leg.xy[:1])
            owners.append(np.array([number]))
        corners.append(leg.xy[1:])
        owners.append(np.full(len(leg.xy) - 1, number))
    xy, owner, clock = np.concatenate(corners), np.concatenate(owners), np.concatenate(clocks)
    t = np.arange(0.0, clock[-1] + 0.5 * interval_s, interval_s)
    way = np.column_stack([np.interp(t, clock, xy[:, k]) for k in (0, 1)])
    leg_of = owner[np.clip(np.searchsorted(clock, t), 0, len(owner) - 1)]
    ahead = np.gradient(way, axis=0)
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    wander = _walk(rng, np.hypot(*np.diff(way, axis=0, prepend=way[:1]).T), wander_m)
    boat = way + wander[:, None] * np.column_stack([ahead[:, 1], -ahead[:, 0]])
    shown = boat + rng.normal(0, jitter_m, boat.shape)
    move = np.gradient(boat, interval_s, axis=0)
    course = np.degrees(np.arctan2(*move.T)) + ground.frame.convergence(*boat.T)
    x, y = ground.frame.inverse(*shown.T)
    n, ranges, names, number = len(t), np.full(len(run.legs), np.nan), [], 0
    for k, leg in enumerate(run.legs):
        number += leg.line is not None
        ranges[k] = np.nan if leg.line is None else leg.line.range_m
        names.append("" if leg.line is None else f"L{number}")
    known = np.flatnonzero(np.isfinite(ranges))
    ranges = ranges[known[np.abs(np.arange(len(ranges))[:, None] - known).argmin(axis=1)]]
    none, depth = np.full(n, np.nan), ground.depth.filled(*boat.T)
    columns = {
        "t_s": START_S + t, "time": START_S + t, "segment": np.ones(n, int), "speed_mps": np.hypot(*move.T),
        "course_deg": course % 360, "heading_deg": none, "depth_m": depth,
        "depth_kind": np.full(n, "transducer", object), "depth_offset_m": none, "water_temp_c": none, "hdop": none,
        "fix_quality": none, "satellites": none, "log_file": np.full(n, "simulated", object),
        "log_line": np.arange(1, n + 1), "range_m": ranges[leg_of], "line_id": np.array(names, object)[leg_of]}
    return np.asarray(x), np.asarray(y), columns


def _walk(rng: np.random.Generator, steps: np.ndarray, sigma: float) -> np.ndarray:
    """(n,) Gauss-Markov walk over steps (m), correlation exp(-d / WANDER_M)."""
    kept, fresh = np.exp(-steps / WANDER_M), rng.standard_normal(len(steps))
    found = np.empty(len(steps))
    value = fresh[0]
    for k in range(len(steps)):
        value = kept[k] * value + np.sqrt(1 - kept[k] ** 2) * fresh[k]
        found[k] = value
    return sigma * found
