"""What a form says beside its boxes while they are filled in."""
from __future__ import annotations

from typing import TYPE_CHECKING

from ...survey.model.units import metres
from .compat import is_null

if TYPE_CHECKING:
    from typing import Any

__all__ = ["fitting_ranges"]

BAND = (5.0, 12.5)
"""Range over depth at which side scan works as a rule; 8 to 20 % of the range under a towed body (common practice)."""


def fitting_ranges(range_shown: Any, range_unit: Any, depth: Any, depth_unit: Any) -> str:
    """Which ranges fit a depth, and a plain word where the range typed does not reach the bottom.

    Parameters
    ----------
    range_shown, depth : float or None
        As typed.
    range_unit, depth_unit : str or None
        Of ``parameters.RANGE_UNITS``.

    Returns
    -------
    str
        '' where there is nothing to say: no depth was typed, or its unit is not known.
    """
    if is_null(depth) or not depth or float(depth) <= 0 or is_null(depth_unit) or not depth_unit:
        return ""
    low, high = (factor * float(depth) for factor in BAND)
    fits = (f"For {float(depth):g} {depth_unit} of water, ranges of {low:.0f} to {high:.0f} {depth_unit} show the "
            "bottom best: 5 to 12.5 times the depth.")
    if is_null(range_shown) or not range_shown or is_null(range_unit) or not range_unit:
        return fits
    reach, water = metres(float(range_shown), range_unit), metres(float(depth), depth_unit)
    if reach <= water:
        return (f"The depth of {float(depth):g} {depth_unit} is over the range of {float(range_shown):g} {range_unit}: "
                f"nothing of the bottom would be on the record. {fits}")
    return "" if low <= reach / water * float(depth) <= high else fits
