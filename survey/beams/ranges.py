"""Slant range, ground range and shadow height over a flat bottom.

Symbols: R slant range, H water under the transducer, G ground range, metres. Source: Green, *Maritime Archaeology: A
Technical Handbook*, 2nd ed. (2004), p. 80; NOAA OCS *Field Procedures Manual* (2014) 4.3.2.4 for G = sqrt(R^2 - H^2).
"""
from __future__ import annotations

import numpy as np

from ..model.errors import InputError

__all__ = [
    "FLAT_MODELS", "blind_range", "ground_range", "ground_range_behind_shadow", "shadow_height", "slant_range",
    "slope_of_ground_range",
]

FLAT_MODELS = ("slant", "subtract")


def ground_range(slant, depth, model="slant"):
    """Ground range to the flat bottom.

    Parameters
    ----------
    slant, depth : float or array
        Slant range R and water under the transducer H (m), broadcast together.
    model : {'slant', 'subtract'}
        ``slant``: sqrt(R^2 - H^2). ``subtract``: R - H, the boaters' rule of thumb (common practice, no source),
        always short of the truth.

    Returns
    -------
    float or array
        NaN where R < H: the sound has not reached the bottom, there is water column only.

    Examples
    --------
    >>> from athwart.beams.ranges import ground_range
    >>> ground_range([13.0, 4.0], 5.0).tolist(), float(ground_range(13.0, 5.0, "subtract"))
    ([12.0, nan], 8.0)
    """
    if model not in FLAT_MODELS:
        raise InputError(f"The range model '{model}' is not one of {', '.join(FLAT_MODELS)}.")
    slant, depth = np.asarray(slant, float), np.asarray(depth, float)
    reached = slant >= depth
    with np.errstate(invalid="ignore"):
        ground = slant - depth if model == "subtract" else np.sqrt((slant - depth) * (slant + depth))
    return np.where(reached, ground, np.nan)[()]


def slant_range(ground, depth):
    """Slant range sqrt(G^2 + H^2) to the flat bottom at ground range G (m).

    Examples
    --------
    >>> from athwart.beams.ranges import slant_range
    >>> float(slant_range(12.0, 5.0))
    13.0
    """
    return np.hypot(ground, depth)


def slope_of_ground_range(slant, depth):
    """Partial derivatives (dG/dR, dG/dH) = (R/G, -H/G) of the slant model; infinite at nadir.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.beams.ranges import slope_of_ground_range
    >>> [float(slope.round(4)) for slope in slope_of_ground_range(np.array(13.0), np.array(5.0))]
    [1.0833, -0.4167]
    """
    ground = ground_range(slant, depth)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(slant, float) / ground, -np.asarray(depth, float) / ground


def blind_range(depth, blind_deg):
    """Ground range H tan(blind) inside which nothing counts as seen; blind_deg is measured from the vertical.

    Examples
    --------
    >>> from athwart.beams.ranges import blind_range
    >>> float(blind_range(10.0, 45.0).round(6))
    10.0
    """
    return np.asarray(depth, float) * np.tan(np.radians(blind_deg))


def shadow_height(depth, shadow_start, shadow_end):
    """Height of an object above the flat bottom from its shadow, h = H (Re - Rt) / Re.

    Parameters
    ----------
    depth, shadow_start, shadow_end : float or array
        H, and the slant ranges Rt to the start of the shadow (the object's top) and Re to its end (m).

    Returns
    -------
    float or array
        Exact on a flat bottom by similar triangles.

    Examples
    --------
    >>> from athwart.beams.ranges import shadow_height
    >>> float(shadow_height(5.0, 12.0, 15.0))
    1.0
    """
    shadow_end = np.asarray(shadow_end, float)
    return np.asarray(depth, float) * (shadow_end - shadow_start) / shadow_end


def ground_range_behind_shadow(depth, shadow_start, shadow_end):
    """True ground range of an object with a shadow, G = (Rt / Re) sqrt(Re^2 - H^2).

    A tall top lies nearer in slant than the bottom under it; sqrt(Rt^2 - H^2) would place it too close to the boat.

    Examples
    --------
    >>> from athwart.beams.ranges import ground_range_behind_shadow
    >>> float(ground_range_behind_shadow(5.0, 13.0, 13.0)), float(ground_range_behind_shadow(5.0, 12.0, 13.0).round(3))
    (12.0, 11.077)
    """
    return np.asarray(shadow_start, float) / shadow_end * ground_range(shadow_end, depth)
