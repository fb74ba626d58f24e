"""How far a count may be from the number expected: the exact interval of a Poisson mean."""
from __future__ import annotations

import math

from .chisquare import chi_square_quantile

__all__ = ["poisson_interval"]


def poisson_interval(count, confidence=0.95):
    """Exact two-sided interval of a Poisson mean, of which ``count`` events were seen.

    F. Garwood (1936), Fiducial limits for the Poisson distribution, Biometrika 28, 437-442: half the quantiles of
    chi-square with 2 n and 2 n + 2 degrees of freedom.

    Parameters
    ----------
    count : int, 0 or more
    confidence : float, 0 to 1

    Returns
    -------
    (low, high) : floats
        ``low`` is 0 for no event.

    Examples
    --------
    >>> from athwart.uncertainty.counts import poisson_interval
    >>> low, high = poisson_interval(0)
    >>> low, round(high, 3)
    (0.0, 3.689)
    """
    if count < 0 or count != math.floor(count):
        raise ValueError(f"{count} is no count")
    tail = (1 - confidence) / 2
    low = chi_square_quantile(tail, 2 * count) / 2 if count else 0.0
    return low, chi_square_quantile(1 - tail, 2 * count + 2) / 2
