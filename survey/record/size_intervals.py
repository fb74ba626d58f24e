"""Intervals of 95 % out of draws (JCGM 101:2008), for what follows its readings evenly and for what does not."""
from __future__ import annotations

from statistics import NormalDist

import numpy as np

from ..uncertainty.chisquare import normal_cdf

__all__ = ["at_most", "interval", "spread"]

_SIDES = NormalDist().inv_cdf(0.025), NormalDist().inv_cdf(0.975)

_SURELY = 99.9
"""Percent of the draws that a bound on what the beam hides leaves below it: small ones are picked out for being small,
errors and all."""


def interval(many: np.ndarray, best: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Ends of the interval of 95 %.

    Parameters
    ----------
    many : (draws, n) array
    best : (n,) array, optional
        Value without errors. The readings carry their errors once already and draws add them a second time, so where
        a value bends with its errors, draws lie to the side of ``best`` to which ``best`` lies of the truth. With it,
        the ends are moved against that by the median bias of the draws: bias-corrected percentiles (Efron 1981;
        Efron and Tibshirani, *An Introduction to the Bootstrap*, 1993, chapter 14).

    Returns
    -------
    low, high : (n,) arrays
        NaN where a draw is.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.record.size_intervals import interval
    >>> many = np.linspace(0, 1, 1001)[:, None]
    >>> [round(float(end[0]), 3) for end in interval(many)], [round(float(e[0]), 3) for e in interval(many, [0.4])]
    ([0.025, 0.975], [0.007, 0.927])
    """
    if best is None:
        low, high = _at(many, np.array([[0.025], [0.975]]))
        return low, high
    with np.errstate(invalid="ignore"):
        below = ((many < best).mean(axis=0) + (many <= best).mean(axis=0)) / 2
    bias = np.array([NormalDist().inv_cdf(share) for share in np.clip(below, 0.5 / len(many), 1 - 0.5 / len(many))])
    low, high = _at(many, normal_cdf(2 * bias + np.array(_SIDES)[:, None]))
    return low, high


def at_most(many: np.ndarray) -> np.ndarray:
    """(n,) bound of what is surely not larger."""
    return _at(many, np.array([[_SURELY / 100]]))[0]


def spread(many: np.ndarray, unknown: np.ndarray) -> np.ndarray:
    """(n,) standard deviation of the draws, NaN where it is unknown or a draw is."""
    known = np.isfinite(many).all(axis=0) & ~unknown
    return np.where(known, np.where(np.isfinite(many), many, 0.0).std(axis=0), np.nan)


def _at(many: np.ndarray, share: np.ndarray) -> np.ndarray:
    """(k, n) values of the draws below which a share (k, n) or (k, 1) of them lies."""
    known = np.isfinite(many).all(axis=0)
    ordered = np.sort(np.where(known, many, 0.0), axis=0)
    place = np.broadcast_to(share * (len(many) - 1), (len(share), many.shape[1]))
    whole = np.minimum(place.astype(int), len(many) - 2)
    below, above = (np.take_along_axis(ordered, whole + step, axis=0) for step in (0, 1))
    return np.where(known, below + (place - whole) * (above - below), np.nan)
