"""Which cells of a raster of looks count as seen, and why others do not."""
from __future__ import annotations

import numpy as np

from ..errors import InputError

__all__ = ["BANDS", "GRADES", "HIDDEN", "WEAK", "codes"]

BANDS = ("looks", "smallest_object", "hidden")
"""Bands of 'Map bottom seen' that the verdict rests on."""

GRADES = ("seen", "detection")

WEAK, HIDDEN = 254, 255
"""Codes of cells that would count but for the grade asked for, and of cells that nearer ground hides."""


def codes(bands, required_looks, grade="seen", object_size=None):
    """One code for each cell: looks that count, or why none does.

    Parameters
    ----------
    bands : dict of (rows, cols) arrays
        By the names of ``BANDS``: passes that looked at the cell; side of the smallest cube (m) some look would show,
        NaN where none would; 1 where nearer ground hides the cell from every pass. NaN where unknown.
    required_looks : int
        At least 1, at most 253.
    grade : {'seen', 'detection'}
        ``detection``: only cells where a cube of ``object_size`` would show count.
    object_size : float, optional
        Side of that cube (m).

    Returns
    -------
    (rows, cols) uint8 array
        Looks, capped at those required; ``WEAK`` where the looks would do but the cube would not show; ``HIDDEN`` where
        nothing was seen because ground is in the way; 0 elsewhere.

    Raises
    ------
    InputError
        If a value is out of bounds, or detection is asked of a raster that does not say for what object.
    """
    if grade not in GRADES:
        raise InputError(f"The grade '{grade}' is not one of {', '.join(GRADES)}.")
    if not 1 <= required_looks < WEAK:
        raise InputError(f"{required_looks} looks cannot be asked for; give a number from 1 to {WEAK - 1}.")
    looks = np.nan_to_num(np.asarray(bands["looks"], float))
    found = np.clip(looks, 0, required_looks).astype(np.uint8)
    if grade == "detection":
        if object_size is None or not object_size > 0:
            raise InputError("The raster does not say for what size of object it was made, so detection cannot be "
                             "judged. Run 'Map bottom seen' again and use its output, or take the grade 'seen'.")
        shows = np.nan_to_num(np.asarray(bands["smallest_object"], float), nan=np.inf) <= object_size * (1 + 1e-6)
        found[~shows] = 0
        found[~shows & (looks >= required_looks)] = WEAK
    found[(np.nan_to_num(np.asarray(bands["hidden"], float)) > 0) & (looks <= 0)] = HIDDEN
    return found
