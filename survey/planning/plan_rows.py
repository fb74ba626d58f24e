"""A run as rows of a layer and as routes for a plotter."""
from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from shapely.geometry import LineString

from ..geometry import transfer
from ..io.gpxwrite import GpxLine, gpx_text
from ..model.units import LENGTHS, SPEEDS

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from ..geometry.frame import Frame
    from .route import Run
    from .shore_run import ShoreRun, ShoreRunSettings
    from .survey_plan import SurveyPlan

__all__ = ["plan_columns", "plan_gpx", "plan_places", "shore_columns", "uncovered_rows"]


def _names(run: Run) -> list[str]:
    """Short name of each leg: that of the line, or of the line it leads to."""
    found, number = [], 0
    for leg in run.legs:
        number += leg.line is not None
        found.append(f"L{number}" if leg.line is not None else f"L{number + 1}")
    last = max((k for k, leg in enumerate(run.legs) if leg.line is not None), default=-1)
    return found[:last + 1] + ["" for _ in run.legs[last + 1:]]


def plan_columns(run: Run, frame: Frame, speed_mps: float, turn_s: float = 0.0,
                 litres_per_hour: float = None) -> dict[str, Any]:
    """(n,) arrays by field of ``schemas.PLAN_LINES``, a row for each leg.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> import athwart
    >>> from athwart.planning.spacing import ReachRule
    >>> lake = athwart.ground_of("EPSG:32632", [box(500_000, 4_983_000, 500_300, 4_983_200)], depth=5.0)
    >>> settings = athwart.ShoreRunSettings(ReachRule(30.0))
    >>> plan = athwart.plan_shore_run(lake, settings, "EPSG:32632", [lake.water_crs])
    >>> columns = athwart.plan_columns(plan.run, lake.frame, speed_mps=1.5)
    >>> columns["line_id"].tolist(), columns["range_m"].tolist()
    (['L1'], [30.0])
    """
    legs = run.legs
    hours = np.array([leg.length / speed_mps + (turn_s if leg.line is None else 0.0) for leg in legs]) / 3600

    def of_line(value: Any) -> np.ndarray:
        return np.array([math.nan if leg.line is None else value(leg) for leg in legs], float)
    azimuth = []
    for leg in legs:
        grid = math.degrees(math.atan2(*(leg.xy[1] - leg.xy[0])))
        azimuth.append((grid + float(frame.convergence(*leg.xy[0]))) % 360)
    return {
        "order": np.arange(1, len(legs) + 1), "kind": np.array([leg.kind for leg in legs], object),
        "line_id": np.array(_names(run), object), "azimuth_deg": np.array(azimuth),
        "length_m": np.array([transfer.geodesic_length(frame, LineString(leg.xy)) for leg in legs]),
        "range_m": of_line(lambda leg: leg.line.range_m), "speed_mps": np.full(len(legs), float(speed_mps)),
        "depth_m": of_line(lambda leg: leg.line.depth_m), "reach_m": of_line(lambda leg: leg.line.reach_m),
        "least_reach_m": of_line(lambda leg: leg.line.least_reach_m), "look": of_line(lambda leg: leg.line.look + 1),
        "lead_in_m": of_line(lambda leg: leg.lead_in_m), "lead_out_m": of_line(lambda leg: leg.lead_out_m),
        "start_h": np.cumsum(hours) - hours, "hours": hours,
        "litres": hours * (math.nan if litres_per_hour is None else litres_per_hour)}


def shore_columns(plan: ShoreRun, settings: ShoreRunSettings) -> dict[str, Any]:
    """(n,) arrays by field of ``schemas.PLAN_SHORE`` of a ShoreRun, a row for each leg.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> import athwart
    >>> from athwart.planning.spacing import ReachRule
    >>> lake = athwart.ground_of("EPSG:32632", [box(500_000, 4_983_000, 500_300, 4_983_200)], depth=5.0)
    >>> settings = athwart.ShoreRunSettings(ReachRule(30.0))
    >>> plan = athwart.plan_shore_run(lake, settings, "EPSG:32632", [lake.water_crs])
    >>> athwart.shore_columns(plan, settings)["in_band_pct"].round().tolist()
    [100.0]
    """
    found = plan_columns(plan.run, plan.ground.frame, settings.speed_mps, 0.0, settings.litres_per_hour)
    return {**found, "shore_pct": plan.shore_pct, "in_band_pct": plan.in_band_pct}


def uncovered_rows(plan: SurveyPlan) -> tuple[dict[str, Any], list[Any]]:
    """(columns by field of ``schemas.UNCOVERED``, polygons in crs units) of a SurveyPlan.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> import athwart
    >>> from athwart.planning.spacing import ReachRule
    >>> lake = athwart.ground_of("EPSG:32632", [box(500_000, 4_983_000, 500_120, 4_983_080)], depth=5.0)
    >>> settings = athwart.LinePlanSettings(ReachRule(30.0), "given", 90.0, round_shore="never", runs=50)
    >>> plan = athwart.plan_lines(lake, settings)
    >>> columns, polygons = athwart.uncovered_rows(plan)
    >>> "nadir" in columns["reason"].tolist(), len(polygons) == len(columns["area_m2"])
    (True, True)
    """
    frame = plan.ground.frame
    return ({"reason": np.array([reason for _, reason in plan.uncovered], object),
             "area_m2": np.array([polygon.area for polygon, _ in plan.uncovered])},
            [transfer.to_crs(frame, polygon) for polygon, _ in plan.uncovered])


def plan_places(run: Run, frame: Frame) -> list[Any]:
    """Lines in crs units, one for each leg.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> import athwart
    >>> from athwart.planning.spacing import ReachRule
    >>> lake = athwart.ground_of("EPSG:32632", [box(500_000, 4_983_000, 500_300, 4_983_200)], depth=5.0)
    >>> settings = athwart.ShoreRunSettings(ReachRule(30.0))
    >>> plan = athwart.plan_shore_run(lake, settings, "EPSG:32632", [lake.water_crs])
    >>> [place.geom_type for place in athwart.plan_places(plan.run, lake.frame)]
    ['LineString']
    """
    return [transfer.to_crs(frame, LineString(leg.xy)) for leg in run.legs]


def plan_gpx(run: Run, frame: Frame, speed_mps: Any, note: str = "", unit: str = "m", speed_unit: str = "m/s",
             to_wgs84: Callable[..., Any] = None) -> str:
    """A GPX 1.1 document: a route for each line, from the end of the one before, turns as route points.

    Parameters
    ----------
    run : survey.planning.route.Run
    frame : survey.geometry.frame.Frame
    speed_mps : float or sequence of float
        Of all lines, or of each in the order run.
    note : str
        Description of the file.
    unit, speed_unit : str
        Of what the descriptions say, see ``survey.model.units``.
    to_wgs84 : callable, optional
        (lon, lat) of the frame's own datum -> WGS84; None takes them as they are.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> import athwart
    >>> from athwart.planning.spacing import ReachRule
    >>> lake = athwart.ground_of("EPSG:32632", [box(500_000, 4_983_000, 500_300, 4_983_200)], depth=5.0)
    >>> settings = athwart.ShoreRunSettings(ReachRule(30.0))
    >>> plan = athwart.plan_shore_run(lake, settings, "EPSG:32632", [lake.water_crs])
    >>> athwart.plan_gpx(plan.run, lake.frame, speed_mps=1.5).count("<rte>")
    1
    """
    routes: list[GpxLine] = []
    way: list[np.ndarray] = []
    speeds = np.broadcast_to(np.asarray(speed_mps, float), len(run.lines))
    for leg, name in zip(run.legs, _names(run)):
        way.append(leg.xy if not way else leg.xy[1:] if np.allclose(way[-1][-1], leg.xy[0]) else leg.xy)
        if leg.line is None:
            continue
        xy = np.concatenate(way)
        lon, lat = frame.frame_to_lonlat(*xy.T)
        if to_wgs84 is not None:
            lon, lat = to_wgs84(lon, lat)
        long = 1 / LENGTHS[unit]
        told = (f"range {long * leg.line.range_m:.3g} {unit}, {speeds[len(routes)] / SPEEDS[speed_unit]:.2g} "
                f"{speed_unit}, line {long * leg.length:.0f} {unit}, water {long * leg.line.depth_m:.1f} {unit}")
        routes.append(GpxLine([np.column_stack([lon, lat])], name, told))
        way = [leg.xy[-1:]]
    return gpx_text(lines=routes, lines_as="route", longest=8, note=note, empty=True)
