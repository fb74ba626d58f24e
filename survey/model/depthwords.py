"""The depth given with a target, in words that say of what place it is."""
from __future__ import annotations

import math

__all__ = ["depth_words"]

_SLACK = 1e-9  # 8.3 m is 8.3 m, not 8.2, though no float is exactly that


def depth_words(bottom_m: float | None, boat_m: float | None, unit: str = "m", unit_m: float = 1.0, digits: int = 1,
                brief: bool = False) -> str:
    """'bottom 7.9 m' where a grid knows the bottom at the target, else '6.2 m under the boat when seen'; '' if neither
    is known.

    Parameters
    ----------
    bottom_m, boat_m : float or None
        Bottom at the target, and water under the transducer when it was seen; None or NaN where unknown.
    unit, unit_m, digits
        What it is told in: the unit's name, its length (m), decimals. Figures are rounded down: nowhere is the water
        shallower than said.
    brief : bool
        True where the reader is told elsewhere that the boat is the one that saw it, not the one he sits in.

    Examples
    --------
    >>> from athwart.model.depthwords import depth_words
    >>> depth_words(7.9, 6.2).split(), depth_words(float("nan"), 6.2, "ft", 0.3048, 0).split()
    (['bottom', '7.9', 'm'], ['20', 'ft', 'under', 'the', 'boat', 'when', 'seen'])
    """
    def figure(metres: float) -> str:
        whole = 10 ** digits
        return f"{math.floor(metres / unit_m * whole + _SLACK) / whole:.{digits}f}\u00a0{unit}"

    if bottom_m is not None and math.isfinite(bottom_m):
        return f"bottom {figure(bottom_m)}"
    if boat_m is not None and math.isfinite(boat_m):
        return f"{figure(boat_m)} under the boat{'' if brief else ' when seen'}"
    return ""
