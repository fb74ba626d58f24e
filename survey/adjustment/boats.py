"""Outings that are said to share a boat: do their offsets agree?

Each outing's offsets are solved by themselves, what the priors said is taken out again, and the differences of each
offset are held against their own covariance: a chi-square with as many degrees of freedom as differences.
"""
from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..uncertainty.chisquare import chi_square_quantile
from .least_squares import adjust
from .solvability import judge

__all__ = ["LEVEL", "Agreement", "agreements"]

LEVEL = 0.999
"""An offset whose outings differ by more than this quantile is named: one honest one in a thousand."""


@dataclass
class Agreement:
    """Of one boat with several outings: ``boat`` its number; of the offset ``name`` that agrees worst ``chi2``, ``dof``
    and ``limit``, and of its pair of outings farthest apart ``outings`` (their numbers), ``values`` and ``sigmas``.
    ``dof`` 0 where fewer than two outings can be solved alone."""

    boat: int
    chi2: float
    dof: int
    limit: float
    name: str = ""
    outings: tuple = ()
    values: tuple = ()
    sigmas: tuple = ()

    @property
    def agrees(self):
        """True unless the outings contradict each other."""
        return self.dof == 0 or self.chi2 <= self.limit


def agreements(looks, group, names):
    """Test of every boat with more than one outing.

    Parameters
    ----------
    looks : RepeatedLooks
        With ``boat_no`` as the user says.
    group : (n,) int array
    names : sequence of str
        Offsets asked for, from ``OFFSETS``.

    Returns
    -------
    list of Agreement
    """
    several = [boat for boat in np.unique(looks.boat_no).tolist()
               if len(np.unique(looks.outing_no[looks.boat_no == boat])) > 1]
    if not several or not names:
        return []
    apart = replace(looks, boat_no=looks.outing_no)
    keys = judge(apart, group, names).solvable
    if not keys:
        return [Agreement(boat, 0.0, 0, 0.0) for boat in several]
    found = adjust(apart, group, keys)
    value, spread = _by_looks_alone(found)
    return [_of_boat(looks, boat, found, value, spread) for boat in several]


def _by_looks_alone(found):
    """Values and covariance of solved offsets without their priors: what the looks say."""
    applied = found.unknowns.applied
    size = found.prior_sigma * np.where([name == "scale" for name in found.names], applied, 1.0)
    sd = found.sigma / size
    inverse = np.linalg.inv(found.correlation * np.outer(sd, sd))
    spread = np.linalg.inv(inverse - np.eye(len(sd)))
    step = spread @ inverse @ ((found.value - applied) / size)
    return applied + step * size, spread * np.outer(size, size)


def _of_boat(looks, boat, found, value, spread):
    mine = set(looks.outing_no[looks.boat_no == boat].tolist())
    tests = [Agreement(boat, 0.0, 0, 0.0)]
    for name in dict.fromkeys(found.names):
        at = [k for k, (other, outing) in enumerate(zip(found.names, found.boats)) if other == name and outing in mine]
        if len(at) > 1:
            tests.append(_of_offset(boat, name, at, found.boats, value, spread))
    return max(tests, key=lambda test: test.chi2 / test.limit if test.dof else 0.0)


def _of_offset(boat, name, at, outings, value, spread):
    value, spread = value[at], spread[np.ix_(at, at)]
    rows = np.column_stack([-np.ones(len(at) - 1), np.eye(len(at) - 1)])  # each against the first
    difference = rows @ value
    chi2 = float(difference @ np.linalg.solve(rows @ spread @ rows.T, difference))
    apart = np.abs(value[:, None] - value)
    variance = np.diag(spread)[:, None] + np.diag(spread) - 2 * spread
    i, j = np.unravel_index(np.argmax(apart / np.sqrt(np.where(variance > 0, variance, np.inf))), apart.shape)
    i, j = sorted((int(i), int(j)))
    return Agreement(boat, chi2, len(rows), chi_square_quantile(LEVEL, len(rows)), name,
                     (outings[at[i]], outings[at[j]]), (value[i], value[j]),
                     (float(np.sqrt(spread[i, i])), float(np.sqrt(spread[j, j]))))
