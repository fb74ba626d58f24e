"""Looks that do not fit the others: found one after another, the worst first, with the slip that explains them best.

One look with its side swapped pulls on every object of its pass, so that many residuals grow. Taking the worst look
out, adjusting again and looking for the next one (data snooping after Baarda, 1968) leaves those that are in doubt by
themselves.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .least_squares import BLUNDER, LEAST_DOF, adjust

__all__ = ["Misfit", "Misfits", "doubts", "find_misfits"]

MOST = 8
"""Misfits looked for; where there are more, groups or errors are wrong rather than single looks."""

_TIED = 0.9
_MOVED2 = 0.25
"""An object counts as moved when leaving the misfits out shifts it by half of its standard deviation."""


@dataclass
class Misfit:
    """``look``: its number. ``w``: normalised residual, ``off`` (m) the residual itself, ``across`` the track or along
    it. ``chi2``, ``dof``: without it and those before it. ``swapped``: True where the other side would fit.
    ``others``: looks at the same object that disagree as much, so that the data cannot tell which is wrong."""

    look: int
    w: float
    off: float
    across: bool
    chi2: float
    dof: int
    swapped: bool
    others: list


@dataclass
class Misfits:
    """``worst_first``: Misfits, worst first. ``place``: (g, 2) of each object without them, NaN where no look is left.
    ``more``: True where there are more than were looked for."""

    worst_first: list
    place: np.ndarray
    more: bool


def find_misfits(looks, group, names, first, step=None):
    """Misfits of an adjustment.

    Parameters
    ----------
    looks : RepeatedLooks
    group : (n,) int array
    names : sequence
        As for ``adjust``.
    first : Adjustment
        Of all looks.
    step : callable, optional
        Called with the fraction done; may raise ``Cancelled``.

    Returns
    -------
    Misfits
    """
    kept, now, found = np.arange(len(looks)), first, []
    while len(found) < MOST and now.blunders.any():
        worst = np.nan_to_num(np.abs(now.w)).max(axis=1)
        at = int(worst.argmax())
        tied = np.flatnonzero((group[kept] == group[kept[at]]) & (worst > _TIED * worst[at]))
        swapped = {int(k): _swap(looks, group, kept, int(k), names) for k in tied}
        fits = {k: again.chi2 for k, again in swapped.items() if again.w_of <= BLUNDER and again.chi2 < now.chi2}
        culprit = min(fits, key=fits.get) if fits else at
        along, across = np.nan_to_num(np.abs(now.w[culprit]))
        off = abs(now.residual[culprit, int(across >= along)])
        others = [] if fits else [int(kept[k]) for k in tied if k != culprit]
        look = int(kept[culprit])
        kept = np.delete(kept, culprit)
        if step is not None:
            step(len(found) / MOST)
        if not len(kept):
            break
        now = _adjusted(looks, group, kept, names)
        found.append(Misfit(look, float(max(along, across)), float(off), bool(across >= along), now.chi2, now.dof,
                            bool(fits), others))
    place = np.full((len(first.place), 2), np.nan)
    place[np.unique(group[kept])] = now.place
    return Misfits(found, place, bool(now.blunders.any()))


def doubts(group, adjustment, misfits):
    """(g,) object array: why the ellipse of each object does not hold, '' where it does.

    An object is in doubt when a misfit is among its looks, or when leaving the misfits out moves it by half its
    standard deviation; all are when the looks disagree and no single look explains it.
    """
    count = len(adjustment.place)
    said = np.full(count, "", object)
    gone = [misfit.look for misfit in misfits.worst_first]
    apart = np.nan_to_num(misfits.place - adjustment.place)
    moved = np.einsum("gi,gij,gj->g", apart, np.linalg.inv(adjustment.covariance), apart) > _MOVED2
    said[moved] = "moved by a look of another object that does not fit"
    said[group[gone]] = "one of its looks does not fit the others"
    last_chi2, last_dof = ((misfits.worst_first[-1].chi2, misfits.worst_first[-1].dof) if misfits.worst_first else
                           (adjustment.chi2, adjustment.dof))
    wild = last_dof >= LEAST_DOF and last_chi2 > _upper(last_dof)
    if misfits.more or wild:
        said[said == ""] = "the looks disagree more than their standard deviations say"
    return said


def _upper(dof):
    from ..uncertainty.chisquare import chi_square_quantile

    return chi_square_quantile(0.975, dof)


@dataclass
class _Swapped:
    chi2: float
    w_of: float


def _adjusted(looks, group, kept, names):
    return adjust(looks.take(kept), np.unique(group[kept], return_inverse=True)[1], names)


def _swap(looks, group, kept, at, names):
    """How the look at ``at`` of those kept would do on the other side."""
    if looks.side[kept[at]] == 0:
        return _Swapped(np.inf, np.inf)
    again = _adjusted(looks.mirrored(int(kept[at])), group, kept, names)
    return _Swapped(again.chi2, float(np.nan_to_num(np.abs(again.w[at])).max()))
