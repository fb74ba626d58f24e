"""Chance that a cast, or a pattern of casts, lands near a target whose own place is uncertain.

The error of the target (and of the boat's fix) is the same for every cast of a visit, the caster's scatter is fresh in
each. So n casts do not hit with 1 - (1 - p)^n: the right figure averages over where the target may be,
P(n) = integral of p(x) [1 - prod(1 - q_i(x))] dx, q_i the chance that cast i lands within reach of x.
"""
from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from ..uncertainty.chisquare import normal_cdf

__all__ = ["GOAL", "MAX_CASTS", "Pattern", "Places", "chance_of_casts", "circle_probability", "pattern", "thrower"]

GOAL = 0.9
MAX_CASTS = 50

_SPAN = 4.5
"""Standard deviations of the target's error taken into the integral; beyond lies exp(-10) of it."""
_HALF_NODES = 140
"""Most grid steps each way from the middle of the target's error."""
_BLOCK = 400_000


@functools.lru_cache(maxsize=32)
def _legendre(count):
    return np.polynomial.legendre.leggauss(count)


def _disc(along, across, sd_along, sd_across, radius):
    """Probability that a normal point lands within ``radius`` of points offset by (along, across), any shape.

    The integral across the disc is closed (normal integral), the one along it Gauss-Legendre in the angle
    asin(x / radius), where the chord is smooth to its ends.
    """
    if sd_along < sd_across:
        along, across, sd_along, sd_across = across, along, sd_across, sd_along
    # narrower than this the nodes would step over it; across, where the integral is closed, only zero is barred
    sd_along, sd_across = max(sd_along, radius / 100), max(sd_across, radius / 10_000)
    count = int(min(480, 8 * math.ceil((24 + 12 * radius / sd_across) / 8)))
    nodes, weights = _legendre(count)
    x, half_chord = radius * np.sin(nodes * math.pi / 2), radius * np.cos(nodes * math.pi / 2)
    weights = weights * half_chord * (math.pi / 2) / (sd_along * math.sqrt(2 * math.pi))
    shape = np.shape(along)
    along, across = np.ravel(along)[:, None], np.ravel(across)[:, None]
    found = np.empty(len(along))
    rows = max(1, _BLOCK // count)
    for start in range(0, len(found), rows):
        a, c = along[start:start + rows], across[start:start + rows]
        inside = normal_cdf((half_chord - c) / sd_across) - normal_cdf((-half_chord - c) / sd_across)
        found[start:start + rows] = (np.exp(-0.5 * ((x - a) / sd_along) ** 2) * inside) @ weights
    return np.clip(found, 0.0, 1.0).reshape(shape)


def circle_probability(covariance, radius, offset=(0.0, 0.0)):
    """Probability that a normal point lands within a circle.

    Parameters
    ----------
    covariance : (2, 2) array, m2
    radius : float, m
    offset : (2,) or (k, 2) array, m
        Centre of the circle minus the mean of the point.

    Returns
    -------
    float or (k,) array
        Centred and circular: 1 - exp(-R^2 / 2 s^2); offset and circular: the noncentral chi-square (Rice); in general
        the elliptical integral of Hoover, NOAA Tech. Rep. NOS 107 C&GS 3 (1984). Right to 1e-6.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.casts.casting import circle_probability
    >>> float(round(circle_probability(np.eye(2), 2.4477), 3)), float(round(circle_probability(np.eye(2), 1.0), 4))
    (0.95, 0.3935)
    """
    values, axes = np.linalg.eigh(np.asarray(covariance, float))
    turned = np.asarray(offset, float) @ axes
    sds = np.sqrt(np.maximum(values, 0.0))
    found = _disc(turned[..., 0], turned[..., 1], sds[0], sds[1], radius)
    return float(found) if found.ndim == 0 else found


def thrower(toward, sigma_range, sigma_angle_deg):
    """Scatter of one cast as a function of where it is aimed.

    Parameters
    ----------
    toward : (2,) array, m
        Target minus boat, east and north.
    sigma_range : float, m
        Standard deviation of the distance thrown.
    sigma_angle_deg : float
        Standard deviation of the direction thrown.

    Returns
    -------
    callable
        ``aim`` ((2,) array, east and north of the target) -> (2, 2) covariance, m2: along the cast sigma_range, across
        it the distance times the angle.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.casts.casting import thrower
    >>> scatter = thrower(np.array([0.0, 20.0]), 1.0, 3.0)
    >>> scatter(np.zeros(2)).round(3).tolist()  # across it 20 m times 3 degrees
    [[1.097, 0.0], [0.0, 1.0]]
    """
    def scatter(aim):
        reach = np.asarray(toward, float) + aim
        distance = math.hypot(*reach)
        ahead = reach / distance if distance > 0 else np.array([0.0, 1.0])
        right = np.array([ahead[1], -ahead[0]])
        across = distance * math.radians(sigma_angle_deg)
        return sigma_range ** 2 * np.outer(ahead, ahead) + across ** 2 * np.outer(right, right)
    return scatter


@dataclass
class Pattern:
    """Casts in the order to throw them.

    ``aims``: (n, 2) east and north of the target's given place, m. ``alone``: (n,) chance of each cast by itself.
    ``so_far``: (n,) chance of at least one hit after each. ``needed``: casts that reach the goal, None if
    ``MAX_CASTS`` do not.
    """

    aims: np.ndarray
    alone: np.ndarray
    so_far: np.ndarray
    needed: int | None


@dataclass
class Places:
    """Where the target may be: a grid along the axes of its ellipse, with the weight of each node."""

    axes: np.ndarray      # (2, 2), columns unit vectors (east, north)
    step: np.ndarray      # (2,)
    half: np.ndarray      # (2,) int, nodes each way
    points: np.ndarray    # (nu, nv, 2) east and north of the given place
    weight: np.ndarray    # (nu, nv), sums to 1

    @classmethod
    def of(cls, covariance, feature, most=_HALF_NODES):
        """Grid fine enough for a chance that changes over ``feature`` metres, of ``most`` steps each way at most."""
        values, axes = np.linalg.eigh(np.asarray(covariance, float))
        sds = np.sqrt(np.maximum(values, 1e-6))
        half = np.minimum(np.ceil(_SPAN * sds / np.minimum(feature, sds / 2)), most).astype(int)
        step = _SPAN * sds / half
        u, v = (np.arange(-h, h + 1) * s for h, s in zip(half, step))
        weight = np.outer(np.exp(-0.5 * (u / sds[0]) ** 2), np.exp(-0.5 * (v / sds[1]) ** 2))
        points = u[:, None, None] * axes[:, 0] + v[None, :, None] * axes[:, 1]
        return cls(axes, step, half, points, weight / weight.sum())

    def chance(self, aim, scatter, radius):
        """(nu, nv) chance that one cast at ``aim`` lands within ``radius`` of each node."""
        return _chance_at(self.points - aim, scatter, radius)


def _chance_at(offsets, scatter, radius):
    """Chance of landing within ``radius`` of points offset from the aim; nothing is computed where it is nil."""
    values, axes = np.linalg.eigh(scatter)
    sds = np.sqrt(np.maximum(values, 0.0))
    along, across = offsets @ axes[:, 0], offsets @ axes[:, 1]
    near = (np.abs(along) < radius + 6 * sds[0] + 1e-9) & (np.abs(across) < radius + 6 * sds[1] + 1e-9)
    found = np.zeros(along.shape)
    found[near] = _disc(along[near], across[near], sds[0], sds[1], radius)
    return found


def _feature(scatter, radius):
    """Length over which the chance of a hit changes: the caster's smaller sd and the rim of the circle."""
    return math.hypot(math.sqrt(max(np.linalg.eigvalsh(scatter)[0], 0.0)), radius / 5)


def chance_of_casts(covariance, radius, scatter, aims):
    """Chance of at least one hit after each of a list of casts.

    Parameters
    ----------
    covariance : (2, 2) array, m2
        Error common to all casts: the target's own plus the boat's fix.
    radius : float, m
    scatter : callable
        As made by ``thrower``.
    aims : (n, 2) array, m
        East and north of the target's given place.

    Returns
    -------
    (n,) array

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.casts.casting import chance_of_casts, thrower
    >>> scatter = thrower(np.array([0.0, 20.0]), 1.0, 3.0)
    >>> chances = chance_of_casts(np.eye(2), 1.5, scatter, [np.zeros(2), np.zeros(2)])
    >>> bool(0 < chances[0] < chances[1] < 1)
    True
    """
    aims = np.asarray(aims, float)
    places = Places.of(covariance, min(_feature(scatter(aim), radius) for aim in aims))
    survives = np.ones(places.weight.shape)
    found = np.empty(len(aims))
    for i, aim in enumerate(aims):
        survives *= 1 - places.chance(aim, scatter(aim), radius)
        found[i] = 1 - float((places.weight * survives).sum())
    return found


def pattern(covariance, radius, scatter, *, reachable=None, goal=GOAL, limit=MAX_CASTS):
    """Casts chosen one after another, each where it adds most to the chance of a hit.

    Parameters
    ----------
    covariance, radius, scatter
        As in ``chance_of_casts``.
    reachable : callable, optional
        (..., 2) offsets from the target -> bool array: where a cast can be aimed at all.
    goal : float
        Chance at which to stop.
    limit : int
        Most casts.

    Returns
    -------
    Pattern
        The first aim is the given place, the middle of the ellipse. The gain of an aim is the convolution of what is
        left of the target's distribution with the chance of one cast, by FFT on the grid of the target's error. The
        scatter changes a little with the aim, so the best aim, the one opposite and the middle are weighed exactly.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.casts.casting import pattern, thrower
    >>> found = pattern(np.eye(2), 1.5, thrower(np.array([0.0, 20.0]), 1.0, 3.0))
    >>> found.aims[0].tolist(), found.needed == len(found.aims)
    ([0.0, 0.0], True)
    """
    at_middle = scatter(np.zeros(2))
    places = Places.of(covariance, _feature(at_middle, radius))
    size = 2 * places.half + 1
    u, v = (np.arange(-2 * h, 2 * h + 1) * s for h, s in zip(places.half, places.step))
    kernel = _chance_at(u[:, None, None] * places.axes[:, 0] + v[None, :, None] * places.axes[:, 1], at_middle, radius)
    full = tuple(3 * size - 2)
    spectrum = np.fft.rfft2(kernel, full)
    allowed = np.ones(places.weight.shape, bool) if reachable is None else reachable(places.points)
    # of equal gains take the one nearest the middle, whatever the rounding of the FFT says
    tie = 1e-9 * np.sum(places.points ** 2, axis=-1) / np.sum(places.points ** 2, axis=-1).max()
    middle_chance = places.chance(np.zeros(2), at_middle, radius)
    left = places.weight.copy()
    aims, alone, so_far = [], [], []
    while len(aims) < limit and (not so_far or so_far[-1] < goal):
        gain = np.fft.irfft2(np.fft.rfft2(left, full) * spectrum, full)
        gain = gain[2 * places.half[0]:, 2 * places.half[1]:][:size[0], :size[1]] - tie
        best = np.unravel_index(np.argmax(np.where(allowed, gain, -np.inf)), gain.shape)
        options = [(np.zeros(2), middle_chance)] if allowed[tuple(places.half)] else []
        for node in {best, tuple(size - 1 - np.array(best))} - {tuple(places.half)}:
            if allowed[node] and gain[node] > 0.95 * gain[best]:
                options.append((places.points[node], places.chance(places.points[node], scatter(places.points[node]),
                                                                   radius)))
        if not options:  # nothing that can be aimed at adds anything any more
            node = places.points[best]
            options.append((node, places.chance(node, scatter(node), radius)))
        aim, chance = max(options, key=lambda option: float((left * option[1]).sum()))
        alone.append(float((places.weight * chance).sum()))
        left *= 1 - chance
        aims.append(aim)
        so_far.append(1 - float(left.sum()))
    needed = len(aims) if so_far[-1] >= goal else None
    return Pattern(np.array(aims), np.array(alone), np.array(so_far), needed)
