"""Ground range with its 95 % interval, right down to the nadir, where straight-line propagation fails.

With R the slant range and H the water over what was seen, q = G^2 = R^2 - H^2 is nearly normal at any geometry, while
G itself is not once its spread reaches its size: at G = 0.3 H linear propagation covers 91 % instead of 95. So q is
carried, and where straight lines fail G is what it must be on the side that the record shows: objects lie evenly strewn
across the track, so that given q its density is proportional to exp(-(G^2 - q)^2 / (2 var q)) for G >= 0 (Bayes, flat
in G, cut off at the track). With x = G / sd(q)^(1/2) that depends on t = q / sd(q) alone and stands in a table.
"""
from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from ..model.constants import TWO_SIDED_95
from ..model.table import Floats, Table, Texts

__all__ = ["AMBIGUOUS", "BOTTOM", "NEAR_NADIR", "OFF_GRID", "SIDE_UNSURE", "STATUSES", "WATER_COLUMN", "GroundRange",
           "TerrainGround", "from_square", "hang_in_water", "mapped_bounds"]

STATUSES = ("bottom", "near nadir", "side unsure", "water column", "ambiguous", "off grid")
BOTTOM, NEAR_NADIR, SIDE_UNSURE, WATER_COLUMN, AMBIGUOUS, OFF_GRID = range(len(STATUSES))

LEVEL = 0.95
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


@dataclass(eq=False, repr=False)
class TerrainGround(Table):
    """Where a depth grid puts each pick: (n,) arrays, metres.

    ``ground`` range (NaN: take the flat bottom), ``depth`` of the bed there below the transducer, its ``slope`` outward
    (dz/dG, positive where it falls away), ``low`` and ``high`` the nearest and farthest ground range at this slant
    range, ``status`` '' or 'ambiguous' (the beam meets the bed at this range more than once) or 'off grid'.
    """

    ground: Floats
    depth: Floats
    slope: Floats
    low: Floats
    high: Floats
    status: Texts


def from_square(q, mean_shift, var_q, interval=True, sided=None):
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
    sided : (n,) bool array, optional
        False where nobody knows the side. Default: all are known.

    Returns
    -------
    GroundRange
        Linear where sd(q) < 0.2 q. Nearer, mean and standard deviation of what G can be on its side (``near nadir``),
        with the shortest 95 % interval or, where it ends farther out, that of q mapped by the square root; without a
        side, where the interval of q takes in the nadir, centred on the track (``side unsure``).
    """
    flat = np.maximum(q, 0.0)
    linear, ground = var_q < np.square(LINEAR_LIMIT * flat), np.sqrt(flat)
    low, high = mapped_bounds(q + mean_shift, var_q) if interval else (np.empty_like(q), np.empty_like(q))
    with np.errstate(divide="ignore"):
        found = GroundRange(ground=ground, low=low, high=high, gain=0.5 / ground, linear=linear,
                            hanging_var=np.zeros_like(q), status=np.zeros(q.shape, int))  # all on the BOTTOM
    near = np.nonzero(~linear)
    if len(near[0]):
        _on_a_side(found, near, (q + mean_shift)[near], np.sqrt(var_q[near]),
                   np.ones(len(near[0]), bool) if sided is None else sided[near])
    return found


def mapped_bounds(mean, var_q):
    """(low, high) m: the 95 % interval of q, of this mean (m2) and variance (m4), mapped by the square root.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.uncertainty.nadir import mapped_bounds
    >>> low, high = mapped_bounds(np.array([144.0]), np.array([4.0]))
    >>> low.round(2).tolist(), high.round(2).tolist()
    ([11.84], [12.16])
    """
    reach = TWO_SIDED_95 * np.sqrt(var_q)
    return np.sqrt(np.maximum(mean - reach, 0.0)), np.sqrt(np.maximum(mean + reach, 0.0))


def _on_a_side(ranges, near, mean, sd, sided):
    """Put the picks at ``near``, where straight lines fail, where they can be on their side, or on the track."""
    scale = np.sqrt(sd)
    middle, spread, low, high, twice = scale * _one_sided(np.divide(mean, sd, out=np.full_like(mean, 1e9),
                                                                     where=sd > 0))
    exact = sd == 0  # no spread: nothing to carry
    root = np.sqrt(np.maximum(mean, 0.0))
    unsure = ~sided & (mean <= TWO_SIDED_95 * sd)
    # never shorter than the interval of q itself
    high = np.maximum(high, np.sqrt(np.maximum(mean + TWO_SIDED_95 * sd, 0.0)))
    ranges.ground[near] = np.where(exact, root, np.where(unsure, 0.0, middle))
    ranges.low[near] = np.where(exact, root, np.where(unsure, 0.0, low))
    ranges.high[near] = np.where(exact, root, np.where(unsure, twice, high))
    across = np.where(unsure, np.hypot(middle, spread), spread)
    ranges.gain[near] = np.divide(across, sd, out=np.zeros_like(sd), where=sd > 0)
    ranges.status[near] = np.where(unsure, SIDE_UNSURE, NEAR_NADIR)


def _one_sided(t):
    """(5, n): mean, standard deviation, shortest 95 % interval and 95 % point of x >= 0 with density
    exp(-(x^2 - t)^2 / 2); beyond the table a half-normal of size 1 / sqrt(2 |t|)."""
    at, rows = _side_table()
    found = np.array([np.interp(t, at, row) for row in rows])
    return np.where(t < at[0], found * np.sqrt(at[0] / np.minimum(t, at[0])), found)


@functools.lru_cache(maxsize=1)
def _side_table():
    at, x = np.linspace(-12, 12, 241), np.linspace(0, 4.2, 4201)
    density = np.exp(-0.5 * np.square(np.square(x) - at[:, None]) + 0.5 * np.square(np.minimum(at, 0))[:, None])
    density[:, 0] /= 2  # trapezium
    density /= density.sum(axis=1, keepdims=True)
    mean = density @ x
    spread = np.sqrt(density @ np.square(x) - np.square(mean))
    order = np.argsort(-density, axis=1)
    held = np.take_along_axis(density, order, axis=1).cumsum(axis=1) < LEVEL
    inside = np.zeros(density.shape, bool)
    np.put_along_axis(inside, order, held, axis=1)
    inside[:, 0] |= inside[:, 1]  # half a cell
    low, high = x[inside.argmax(axis=1)], x[-1 - inside[:, ::-1].argmax(axis=1)]
    twice = x[(density.cumsum(axis=1) < LEVEL).sum(axis=1)]
    return at, np.array([mean, spread, low, high, twice])


def hang_in_water(ranges, slant, where):
    """Put picks that lie above the bottom at an angle anywhere from the vertical to the surface.

    Parameters
    ----------
    ranges : GroundRange
        Changed in place.
    slant : (n,) array, m
    where : (n,) bool array
        Which of them. Angle uniform over 0 to 90 degrees: G has mean 2 R / pi = 0.637 R and standard deviation 0.308 R.
    """
    if not where.any():
        return
    slant = slant[where]
    ranges.ground[where] = _MEAN_SINE * slant
    ranges.hanging_var[where] = _VAR_SINE * slant**2
    ranges.low[where], ranges.high[where] = (slant * np.sin(np.pi / 2 * p) for p in (0.025, 0.975))
    ranges.gain[where] = 0.0
    ranges.linear[where] = False
    ranges.status[where] = WATER_COLUMN
