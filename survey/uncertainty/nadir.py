"""Ground range with its 95 % interval, right down to the nadir, where straight-line propagation fails.

With R the slant range and H the water under the transducer, q = G^2 = R^2 - H^2 is nearly normal at any geometry,
while G itself is not once its spread reaches its size. So q is carried, and G's interval is that of q mapped by the
square root: within 0.02 m of simulation down to G = 0.02 H, where linear propagation is ten times too wide and at
G = 0.3 H covers 91 % instead of 95.
"""
from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

__all__ = ["AMBIGUOUS", "BOTTOM", "NEAR_NADIR", "OFF_GRID", "SIDE_UNSURE", "STATUSES", "WATER_COLUMN", "GroundRange",
           "TerrainGround", "from_square", "hang_in_water"]

STATUSES = ("bottom", "near nadir", "side unsure", "water column", "ambiguous", "off grid")
BOTTOM, NEAR_NADIR, SIDE_UNSURE, WATER_COLUMN, AMBIGUOUS, OFF_GRID = range(len(STATUSES))

Z95 = 1.959964
LINEAR_LIMIT = 0.2
"""The sd(q) / q below which G is taken as normal with standard deviation sd(q) / (2 G)."""

_MEAN_SINE = 2 / np.pi
_VAR_SINE = 0.5 - _MEAN_SINE**2


@dataclass
class GroundRange:
    """(n,) arrays: ``ground`` the centre, ``low`` and ``high`` the 95 % interval (m), ``status`` an index into
    ``STATUSES``.

    ``gain`` (1/m) turns a small change of q into one of the ground range, so that each cause of q's spread keeps its
    share; ``linear`` says where second-order spread is left out of that; ``hanging_var`` (m2) is spread that does not
    come from q.
    """

    ground: np.ndarray
    low: np.ndarray
    high: np.ndarray
    gain: np.ndarray
    linear: np.ndarray
    hanging_var: np.ndarray
    status: np.ndarray


@dataclass
class TerrainGround:
    """Where a depth grid puts each pick: (n,) arrays, metres.

    ``ground`` range (NaN: take the flat bottom), ``depth`` of the bed there below the transducer, its ``slope`` outward
    (dz/dG, positive where it falls away), ``low`` and ``high`` the nearest and farthest ground range at this slant
    range, ``status`` '' or 'ambiguous' (the beam meets the bed at this range more than once) or 'off grid'.
    """

    ground: np.ndarray
    depth: np.ndarray
    slope: np.ndarray
    low: np.ndarray
    high: np.ndarray
    status: np.ndarray

    def take(self, index):
        """The picks at ``index``."""
        return TerrainGround(*(getattr(self, f.name)[index] for f in fields(self)))


def from_square(q, mean_shift, var_q, interval=True):
    """Ground range from its square.

    Parameters
    ----------
    q : (n,) array, m2
        R^2 - H^2; negative where noise puts the bottom beyond the pick.
    mean_shift : (n,) array, m2
        What the expectation of q adds to it, sigma_R^2 - sigma_H^2.
    var_q : (n,) array, m4
        Variance of q with its second-order terms, 4 (R^2 sigma_R^2 + H^2 sigma_H^2) + 2 (sigma_R^4 + sigma_H^4).
    interval : bool
        False leaves ``low`` and ``high`` unset, for whoever needs the middle and its spread only.

    Returns
    -------
    GroundRange
        Linear where sd(q) < 0.2 q. Nearer, the middle and half-width of the mapped interval (``near nadir``); where
        that interval takes in the nadir, centred on the track (``side unsure``).
    """
    flat = np.maximum(q, 0.0)
    linear, ground = var_q < np.square(LINEAR_LIMIT * flat), np.sqrt(flat)
    low, high = _bounds(q + mean_shift, var_q) if interval else (np.empty_like(q), np.empty_like(q))
    with np.errstate(divide="ignore"):
        found = GroundRange(ground=ground, low=low, high=high, gain=0.5 / ground, linear=linear,
                            hanging_var=np.zeros_like(q), status=np.zeros(q.shape, int))  # all on the BOTTOM
    near = np.nonzero(~linear)
    if len(near[0]):
        _map_interval(found, near, (q + mean_shift)[near], var_q[near])
    return found


def _bounds(mean, var_q):
    """The interval of q mapped by the square root."""
    reach = Z95 * np.sqrt(var_q)
    return np.sqrt(np.maximum(mean - reach, 0.0)), np.sqrt(np.maximum(mean + reach, 0.0))


def _map_interval(found, near, mean, var_q):
    """Put the picks at ``near``, where straight lines fail, into the middle of their mapped interval."""
    low, high = _bounds(mean, var_q)
    reach = Z95 * np.sqrt(var_q)
    unsure = mean <= reach
    half = np.where(unsure, high, (high - low) / 2)
    found.ground[near] = np.where(unsure, 0.0, (low + high) / 2)
    found.gain[near] = np.divide(half, reach, out=np.zeros_like(half), where=reach > 0)  # no spread: nothing to carry
    found.status[near] = np.where(unsure, SIDE_UNSURE, NEAR_NADIR)


def hang_in_water(found, slant, where):
    """Put picks that lie above the bottom at an angle anywhere from the vertical to the surface.

    Parameters
    ----------
    found : GroundRange
        Changed in place.
    slant : (n,) array, m
    where : (n,) bool array
        Which of them. Angle uniform over 0 to 90 degrees: G has mean 2 R / pi = 0.637 R and standard deviation 0.308 R.
    """
    if not where.any():
        return
    slant = slant[where]
    found.ground[where] = _MEAN_SINE * slant
    found.hanging_var[where] = _VAR_SINE * slant**2
    found.low[where], found.high[where] = (slant * np.sin(np.pi / 2 * p) for p in (0.025, 0.975))
    found.gain[where] = 0.0
    found.linear[where] = False
    found.status[where] = WATER_COLUMN
