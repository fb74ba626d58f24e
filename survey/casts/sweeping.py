"""Casts that are drawn back: a hit is a target that the way from the landing to the boat passes within reach of.

Casts land at D ~ N(d, sigma_range) in the direction theta ~ N(theta_0, sigma_angle), both fresh in each, and the lure
is drawn back straight to the boat. A target at distance rho, turned by delta from the way, is within r of it when
rho |sin delta| <= r and D >= rho cos delta - (r^2 - rho^2 sin^2 delta)^(1/2): given theta the chance is a normal
integral, over theta it is summed by Gauss-Legendre. What errs alike in all casts is averaged over, as in ``casting``.
"""
from __future__ import annotations

import math

import numpy as np

from ..uncertainty.chisquare import normal_cdf
from .casting import GOAL, MAX_CASTS, Pattern, Places

__all__ = ["sweep_chance", "sweep_pattern"]

_NODES = 32
_FAR_OUT = 6.0
"""Standard deviations of the cast beyond which nothing is summed."""
_HALF = 40
"""Most grid steps each way from the middle of the target's error."""
_WAYS = 72
"""Most directions tried."""
_LONG = 2.0
"""Standard deviations by which a cast is aimed beyond the farthest place worth sweeping."""


def sweep_chance(points, distance, azimuth, sigma_range, sigma_angle, radius):
    """Chance that a cast drawn back to the boat passes within ``radius`` of each point.

    Parameters
    ----------
    points : (n, 2) array, m
        East and north of the boat.
    distance : float, m
        Where the cast is aimed.
    azimuth : float, rad
        From the grid's north.
    sigma_range : float, m
    sigma_angle : float, rad
    radius : float, m

    Returns
    -------
    (n,) array

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.casts.sweeping import sweep_chance
    >>> one = np.zeros((1, 2))
    >>> chance = sweep_chance(np.array([[0.0, 10.0]]), 20.0, 0.0, 1.0, np.radians(3.0), 1.5)
    >>> bool(chance[0] > 0.95)
    True
    """
    rho = np.hypot(*points.T)
    off = (np.arctan2(points[:, 0], points[:, 1]) - azimuth + math.pi) % (2 * math.pi) - math.pi
    sd, sd_range = max(sigma_angle, 1e-7), max(sigma_range, 1e-9)
    found = np.where(rho <= radius, 1.0, 0.0)  # the way ends at the boat
    window = np.arcsin(np.minimum(1.0, radius / np.maximum(rho, radius)))
    low, high = (np.clip((off + sign * window) / sd, -_FAR_OUT, _FAR_OUT) for sign in (-1, 1))
    near = np.flatnonzero((rho > radius) & (high > low) & (rho - radius < distance + _FAR_OUT * sd_range))
    if not len(near):
        return found
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    half = (high[near] - low[near])[:, None] / 2
    z = (high[near] + low[near])[:, None] / 2 + half * nodes
    delta, rho = off[near][:, None] - sd * z, rho[near][:, None]
    across = rho * np.sin(delta)
    first = rho * np.cos(delta) - np.sqrt(np.maximum(radius**2 - across**2, 0.0))
    passed = normal_cdf((distance - first) / sd_range)
    found[near] = (half * np.exp(-0.5 * z**2) * passed) @ weights / math.sqrt(2 * math.pi)
    return np.clip(found, 0.0, 1.0)


def sweep_pattern(covariance, radius, toward, sigma_range, sigma_angle, reach, *, goal=GOAL, limit=MAX_CASTS):
    """Casts drawn back, chosen one after another, each where it adds most to the chance of a hit.

    Parameters
    ----------
    covariance : (2, 2) array, m2
        Error common to all casts: the target's own plus the boat's fix.
    radius : float, m
    toward : (2,) array, m
        Target minus boat, east and north.
    sigma_range, sigma_angle : float, m and rad
        Scatter of one cast.
    reach : callable
        ``reach(azimuth)`` (n,) rad -> (n,) how far a cast can be aimed that way (m), 0 where it cannot.
    goal, limit
        As for ``casting.pattern``.

    Returns
    -------
    Pattern or None
        Aims relative to the target's place; each cast is thrown past everything worth sweeping on its way. None where
        no cast can be aimed anywhere near the target.
    """
    toward = np.asarray(toward, float)
    places = Places.of(covariance, radius / 4, _HALF)
    points, weight = toward + places.points.reshape(-1, 2), places.weight.ravel()
    worth = weight > 1e-9
    points, weight = points[worth], weight[worth] / weight[worth].sum()
    way = math.atan2(*toward)
    azimuth = way + _directions(points, weight, way, radius)
    distance = np.array([_aimed(points, weight, a, sigma_range, sigma_angle, radius) for a in azimuth])
    distance = np.minimum(distance, reach(azimuth))
    able = distance > radius / 10
    if not able.any():
        return None
    azimuth, distance = azimuth[able], distance[able]
    chance = np.array([sweep_chance(points, d, a, sigma_range, sigma_angle, radius)
                       for d, a in zip(distance, azimuth)])
    aims = distance[:, None] * np.column_stack([np.sin(azimuth), np.cos(azimuth)]) - toward
    left, taken, so_far = weight.copy(), [], []
    while len(taken) < limit and (not so_far or so_far[-1] < goal):
        gain = chance @ left
        best = int(np.argmax(gain - 1e-9 * np.abs(azimuth - way)))  # of equal gains the straightest
        taken.append(best)
        left *= 1 - chance[best]
        so_far.append(1 - float(left.sum()))
    return Pattern(aims[taken], chance[taken] @ weight, np.array(so_far), len(taken) if so_far[-1] >= goal else None)


def _directions(points, weight, way, radius):
    """Angles off ``way`` that are worth a cast, no wider apart than half the reach at the target's distance."""
    off = (np.arctan2(points[:, 0], points[:, 1]) - way + math.pi) % (2 * math.pi) - math.pi
    held = np.abs(off[weight > 1e-5 * weight.max()]).max(initial=0.0)
    distance = max(math.hypot(*(weight @ points)), radius)
    step = max(radius / 2 / distance, 2 * held / _WAYS)
    count = int(min(_WAYS // 2, math.ceil(held / step)))
    return np.linspace(-count * step, count * step, 2 * count + 1)


def _aimed(points, weight, azimuth, sigma_range, sigma_angle, radius):
    """How far to cast a way: past the farthest place that lies on it."""
    ahead, aside = points @ [math.sin(azimuth), math.cos(azimuth)], points @ [math.cos(azimuth), -math.sin(azimuth)]
    on_it = (ahead > 0) & (np.abs(aside) <= radius + 2 * sigma_angle * ahead) & (weight > 1e-3 * weight.max())
    return float(ahead[on_it].max(initial=0.0)) + _LONG * sigma_range if on_it.any() else 0.0
