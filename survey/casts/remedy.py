"""What would help with a target that is not found with 90 %, and by how much."""
from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from .casting import GOAL, Pattern, Places
from .plan import FAR, IN_REACH, LONGEST, MANY, NO_WATER, WATER, chances, share_in_reach
from .water import afloat, clear_ways, water_reaches

if TYPE_CHECKING:
    from collections.abc import Callable

    from .plan import CastPlan

__all__ = ["remedy"]

_SPARE = 0.03
"""Share over the goal that must lie within the longest cast for casts to reach it."""

_ROUND = 24
_SHARES = (1.0, 0.75, 0.5, 0.3)
_ALIKE = 0.01
_WORTH = 0.02
"""How much better the chance must be for a boat to be moved (judgement)."""


def remedy(plan: CastPlan, i: int, length: Callable[[float], str]) -> str:
    """A sentence, '' where the target is in reach or nothing that is known here helps.

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
    'Lie 34 m nearer: 30 casts then reach 90 %.'
    """
    if plan.reach[i] == IN_REACH:
        return ""
    if plan.reach[i] == FAR or (plan.reach[i] == MANY and plan.limit[i] == LONGEST):
        near = _nearer(plan, i)
        ahead = _target(plan, i) - _boat(plan, i)
        there = _boat(plan, i) + ahead * (near / np.hypot(*ahead))
        found = chances(plan, i, boat=there)
        more = "" if found is None or found.needed else " " + _surer(plan, i, length, there)
        return f"Lie {length(near)} nearer{_then(found)}.{more}".rstrip()
    if plan.reach[i] == NO_WATER or plan.limit[i] == WATER:
        return _moved(plan, i, length)
    return _surer(plan, i, length)


def _surer(plan: CastPlan, i: int, length: Callable[[float], str], boat: np.ndarray | None = None) -> str:
    """What a place twice as good would bring, from the boat's own place or from another one."""
    covariance = plan.quarry.covariance[i]
    better = chances(plan, i, covariance / 4, boat)
    if better is None:
        return ""
    major, minor = np.sqrt(np.linalg.eigvalsh(covariance)[::-1])
    return (f"With its place twice as good {'' if boat is None else 'as well '}(one standard deviation "
            f"{length(major / 2)} by {length(minor / 2)}, after more looks){_then(better)}.")


def _then(found: Pattern | None) -> str:
    """What the casts then come to."""
    if found is None:
        return ""
    if found.needed:  # then there are no more casts than that
        words = "casts then reach" if len(found.aims) > 1 else "cast then reaches"
        return f": {len(found.aims)} {words} {100 * GOAL:.0f} %"
    return f": {math.floor(100 * found.so_far[-1])} % after {len(found.so_far)} casts"


def _boat(plan: CastPlan, i: int) -> np.ndarray:
    return np.array([plan.stations.east[plan.station[i]], plan.stations.north[plan.station[i]]])


def _target(plan: CastPlan, i: int) -> np.ndarray:
    return np.array([plan.quarry.east[i], plan.quarry.north[i]])


def _places(plan: CastPlan, i: int) -> Places:
    """Where the target may lie, seen from a boat whose own place is in error, too."""
    covariance = plan.quarry.covariance[i] + plan.settings.sigma_boat ** 2 * np.eye(2)
    return Places.of(covariance, plan.settings.hit_radius / 2)


def _nearer(plan: CastPlan, i: int) -> float:
    """How much nearer (m) the boat must lie for the goal to be within the longest cast."""
    settings, places = plan.settings, _places(plan, i)
    away = np.hypot(*np.moveaxis(_target(plan, i) - _boat(plan, i) + places.points, -1, 0)).ravel()
    order = np.argsort(away)
    inside = np.cumsum(places.weight.ravel()[order])
    far = away[order][min(np.searchsorted(inside, GOAL + _SPARE), len(order) - 1)]
    return math.ceil(max(far - settings.max_cast, plan.distance_m[i] - settings.max_cast, 1.0))


def _moved(plan: CastPlan, i: int, length: Callable[[float], str]) -> str:
    """Where land stops the casts: the place round the target from which they get to most of where it may lie."""
    settings, places, target = plan.settings, _places(plan, i), _target(plan, i)
    a = np.arange(_ROUND) * (2 * math.pi / _ROUND)
    far = min(float(plan.distance_m[i]), settings.max_cast) * np.array(_SHARES)
    spots = target + (far[:, None, None] * np.column_stack([np.sin(a), np.cos(a)])).reshape(-1, 2)
    spots = spots[clear_ways(plan.water, target, spots) & afloat(plan.water, *spots.T)]
    shares = np.array([share_in_reach(places, target - spot, settings,
                                      water_reaches(plan.water, spot, settings.max_cast)) for spot in spots])
    now, found = 0.0 if plan.patterns[i] is None else plan.patterns[i].so_far[-1], None
    if len(spots):  # of those that do alike the one that is least far to go
        alike = spots[shares > shares.max() - _ALIKE]
        best = alike[np.argmin(np.hypot(*(alike - _boat(plan, i)).T))]
        found = chances(plan, i, boat=best)
    if found is None or not (found.needed or found.so_far[-1] > now + _WORTH):
        return f"No other place within {length(float(far[0]))} of it gets round the land."
    distance, bearing = plan.way(_boat(plan, i), best)
    return f"Move the boat {length(distance)} towards {bearing:03.0f}\u00b0 true{_then(found)}."
