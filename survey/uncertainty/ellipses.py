"""Error ellipses and circles of a two-dimensional Gaussian.

Source: Hoover, *Algorithms for Confidence Circles and Ellipses*, NOAA Technical Report NOS 107 C&GS 3 (1984).
Every size here belongs to a stated probability: ``confidence`` is a fraction, 0.95 for 95 %.
"""
from __future__ import annotations

import functools

import numpy as np
from numpy.polynomial import chebyshev

from ..model.errors import InputError

__all__ = ["LEAST_CONFIDENCE", "MOST_CONFIDENCE", "axes", "circle_radius", "rings", "scale_factor"]

LEAST_CONFIDENCE, MOST_CONFIDENCE = 0.10, 0.9999

_ANGLES = (np.arange(256) + 0.5) * (np.pi / 512)
_DEGREE = 40


def scale_factor(confidence):
    """Semi-axis over standard deviation, k = sqrt(-2 ln(1 - p)): 2.4477 for 95 % (IHO S-44 prints 2.45).

    Raises
    ------
    InputError
        Outside 0.10 .. 0.9999.

    Examples
    --------
    >>> from athwart.uncertainty.ellipses import scale_factor
    >>> round(scale_factor(0.95), 4)
    2.4477
    """
    if not LEAST_CONFIDENCE <= confidence <= MOST_CONFIDENCE:
        raise InputError(f"A confidence of {100 * confidence:g} % cannot be used; give a percentage between "
                         f"{100 * LEAST_CONFIDENCE:g} and {100 * MOST_CONFIDENCE:g}, usually 95.", field="confidence")
    return float(np.sqrt(-2 * np.log1p(-confidence)))


def axes(var_east, cov_en, var_north):
    """Principal axes of 2 x 2 covariances, at one standard deviation.

    Parameters
    ----------
    var_east, cov_en, var_north : arrays of one shape, m2

    Returns
    -------
    semi_major, semi_minor : arrays, m
        Square roots of the eigenvalues; multiply by ``scale_factor`` for a confidence.
    azimuth_deg : array
        Direction of the major axis, 0 <= azimuth < 180, clockwise from the north axis of the covariance.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.uncertainty.ellipses import axes
    >>> major, minor, azimuth = axes(np.array([9.0]), np.array([0.0]), np.array([4.0]))
    >>> major.tolist(), minor.tolist(), azimuth.tolist()
    ([3.0], [2.0], [90.0])
    """
    var_east, cov_en, var_north = (np.asarray(v, float) for v in (var_east, cov_en, var_north))
    middle, lean = 0.5 * (var_east + var_north), -0.5 * (var_north - var_east)
    spread = np.sqrt(lean * lean + cov_en * cov_en)  # np.hypot takes ten times as long; these do not overflow
    azimuth = np.arctan2(-cov_en, lean) * (90 / np.pi) + 90  # half the angle of the double azimuth, a half turn on
    azimuth = np.where(azimuth < 180, azimuth, 0.0)[()]  # 180 is north, too
    return np.sqrt(middle + spread), np.sqrt(np.maximum(middle - spread, 0.0)), azimuth


def circle_radius(semi_major, semi_minor, confidence):
    """Radius of the circle round the mean that holds ``confidence`` of an elliptical Gaussian.

    Parameters
    ----------
    semi_major, semi_minor : arrays of one shape, m
        One standard deviation along each axis.
    confidence : float

    Returns
    -------
    array, m
        Within 1e-5 of the exact integral (1e-9 from 90 % on); shortcuts such as 2.4477 times the mean axis are up
        to 38 % short.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.uncertainty.ellipses import circle_radius
    >>> circle_radius(np.array([1.0, 1.0]), np.array([1.0, 0.0]), 0.95).round(3).tolist()  # a circle, a line
    [2.448, 1.96]
    """
    semi_major = np.asarray(semi_major, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(semi_major > 0, np.asarray(semi_minor, float) / semi_major, 1.0)
    return (semi_major * chebyshev.chebval(2 * ratio - 1, _radius_series(float(confidence))))[()]


@functools.lru_cache(maxsize=32)
def _radius_series(confidence):
    """Chebyshev series, in 2 c - 1, of the radius over the larger sd for axis ratio c = 0 .. 1."""
    scale_factor(confidence)  # refuses what the series was not tried on
    return chebyshev.chebinterpolate(lambda u: _unit_radius((u + 1) / 2, confidence), _DEGREE)


def _unit_radius(ratio, confidence):
    """Radius K for standard deviations 1 and ``ratio`` (1-D array): Newton's method on

    P(K) = mean over phi of 1 - exp(-K^2 / (2 (cos^2 phi + c^2 sin^2 phi))),

    the ring integral of the Gaussian in units of its own ellipse. The integrand is smooth and periodic, so equal steps
    in phi converge faster than any power.
    """
    spread = np.cos(_ANGLES) ** 2 + np.square(np.asarray(ratio, float))[:, None] * np.sin(_ANGLES) ** 2
    radius = np.full(len(spread), scale_factor(confidence))
    for _ in range(60):
        inside = np.exp(-np.square(radius)[:, None] / (2 * spread))
        excess = 1 - inside.mean(axis=1) - confidence
        slope = (inside / spread).mean(axis=1) * radius
        radius = np.maximum(radius - excess / slope, radius / 2)
        if np.abs(excess).max() < 1e-14:
            break
    return radius


def rings(east, north, semi_major, semi_minor, azimuth_deg, points=72):
    """Outlines of ellipses, ready for ``shapes.polygons``.

    Parameters
    ----------
    east, north, semi_major, semi_minor, azimuth_deg : (n,) arrays
        Metres; azimuths in the frame of ``east``, ``north``.
    points : int
        Vertices of each outline, on the ellipse itself.

    Returns
    -------
    (n, points, 2) array

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.uncertainty.ellipses import rings
    >>> outline = rings(np.array([0.0]), np.array([0.0]), np.array([3.0]), np.array([1.0]), np.array([90.0]), points=4)
    >>> (outline[0].round(6) + 0.0).tolist()
    [[3.0, 0.0], [0.0, -1.0], [-3.0, 0.0], [0.0, 1.0]]
    """
    turn = 2 * np.pi * np.arange(points) / points
    a = np.radians(np.asarray(azimuth_deg, float))[:, None]
    along = np.asarray(semi_major, float)[:, None] * np.cos(turn)
    across = np.asarray(semi_minor, float)[:, None] * np.sin(turn)
    return np.stack([np.asarray(east, float)[:, None] + along * np.sin(a) + across * np.cos(a),
                     np.asarray(north, float)[:, None] + along * np.cos(a) - across * np.sin(a)], axis=2)
