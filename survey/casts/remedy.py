"""What would help with a target that is not found with 90 %, and by how much."""
from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from .casting import GOAL, Places
from .plan import FAR, IN_REACH, LONGEST, MANY, WATER, chances

if TYPE_CHECKING:
    from collections.abc import Callable

    from .plan import CastPlan

__all__ = ["remedy"]

_SPARE = 0.03
"""Share over the goal that must lie within the longest cast for casts to reach it."""


def remedy(plan: CastPlan, i: int, length: Callable[[float], str]) -> str:
    """A sentence, '' where the target is in reach or only another look helps.

    Parameters
    ----------
    plan : CastPlan
    i : int
        Of the target.
    length : callable
        Metres -> the length in the reader's unit.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> from athwart.casts.remedy import remedy
    >>> sure = {"sigma_east_m": np.array([1.0]), "sigma_north_m": np.array([1.0]), "cov_en_m2": np.array([0.0])}
    >>> boat = athwart.Boat(np.array([500000.0]), np.array([4500000.0]), np.array([90.0]))
    >>> made = athwart.plan_casts("EPSG:32619", np.array([500060.0]), np.array([4500000.0]), sure, boat)
    >>> remedy(made.plan, 0, lambda metres: f"{metres:.0f} m")
    'Lie 34 m nearer.'
    """
    if plan.reach[i] == IN_REACH:
        return ""
    if plan.reach[i] == FAR or (plan.reach[i] == MANY and plan.limit[i] == LONGEST):
        return f"Lie {length(_nearer(plan, i))} nearer."
    if plan.reach[i] != MANY or plan.limit[i] == WATER:
        return ""
    covariance = plan.quarry.covariance[i]
    better = chances(plan, i, covariance / 4)
    if better is None:
        return ""
    major, minor = np.sqrt(np.linalg.eigvalsh(covariance)[::-1])
    told = f"{better.needed} casts reach {100 * GOAL:.0f} %" if better.needed else \
        f"{math.floor(100 * better.so_far[-1])} % after {len(better.so_far)} casts"
    return (f"With its place twice as good (one standard deviation {length(major / 2)} by {length(minor / 2)}, after "
            f"more looks): {told}.")


def _nearer(plan: CastPlan, i: int) -> float:
    """How much nearer (m) the boat must lie for the goal to be within the longest cast."""
    settings, station = plan.settings, plan.station[i]
    toward = np.array([plan.quarry.east[i] - plan.stations.east[station],
                       plan.quarry.north[i] - plan.stations.north[station]])
    covariance = plan.quarry.covariance[i] + settings.sigma_boat ** 2 * np.eye(2)
    places = Places.of(covariance, settings.hit_radius / 2)
    away = np.hypot(*np.moveaxis(toward + places.points, -1, 0)).ravel()
    order = np.argsort(away)
    inside = np.cumsum(places.weight.ravel()[order])
    far = away[order][min(np.searchsorted(inside, GOAL + _SPARE), len(order) - 1)]
    return math.ceil(max(far - settings.max_cast, plan.distance_m[i] - settings.max_cast, 1.0))
