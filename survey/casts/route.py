"""The way round the stations: their order, and the names that card and waypoints share."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..planning.order import best_order

if TYPE_CHECKING:
    from .plan import CastPlan

__all__ = ["NAME_LENGTH", "route_columns", "route_order", "station_names"]

NAME_LENGTH = 16
"""Characters of a waypoint's name that plotters show (common practice, no source); ``gpx_text`` cuts there, too."""


def route_order(plan: CastPlan) -> np.ndarray:
    """(s,) stations in the order of the shortest way that calls at all of them, begun at the end nearer to the first.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> from athwart.casts.route import route_order
    >>> sure = {name: np.ones(3) for name in ("sigma_east_m", "sigma_north_m")}
    >>> east = np.array([500000.0, 500400.0, 500200.0])
    >>> made = athwart.plan_casts("EPSG:32619", east, np.full(3, 4.5e6), {**sure, "cov_en_m2": np.zeros(3)},
    ...                           athwart.StandOff(15.0, 0.0))
    >>> route_order(made.plan).tolist()
    [0, 2, 1]
    """
    east, north = plan.stations.east, plan.stations.north
    if len(east) < 2:
        return np.arange(len(east))
    at = np.repeat(np.arange(len(east)), 2)  # a station is a line without a length
    order = np.asarray(best_order(np.hypot(east[at, None] - east[at], north[at, None] - north[at]),
                                  thorough=False).sequence)
    return order if np.flatnonzero(order == 0)[0] <= (len(order) - 1) / 2 else order[::-1]


def station_names(plan: CastPlan) -> list[str]:
    """(s) names of the waypoints: 'S3 Crib' where target 3, the crib, is the only one cast at from there."""
    names = []
    for station in range(len(plan.stations.east)):
        here = np.flatnonzero(plan.station == station)
        name = f"S{plan.quarry.target_id[here[0]]} {plan.quarry.label[here[0]]}" if len(here) == 1 else \
            f"Boat {station + 1}"
        names.append(" ".join(name.split())[:NAME_LENGTH].rstrip())
    return names


def route_columns(plan: CastPlan) -> dict[str, np.ndarray]:
    """The columns ``name``, ``route_no`` and ``cast_at`` of ``schemas.CAST_STATIONS``."""
    order = route_order(plan)
    place = np.empty(len(order), int)
    place[order] = np.arange(1, len(order) + 1)
    quarry = plan.quarry
    cast_at = [", ".join(" ".join(f"{quarry.target_id[i]} {quarry.label[i]}".split())
                         for i in np.flatnonzero(plan.station == station)) for station in range(len(order))]
    return {"name": np.array(station_names(plan), object), "route_no": place, "cast_at": np.array(cast_at, object)}
