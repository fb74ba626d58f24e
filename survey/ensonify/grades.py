"""Which cells of a raster of looks count as seen, and why others do not."""
from __future__ import annotations

import numpy as np

from ..model.errors import InputError

__all__ = ["BANDS", "GRADES", "HIDDEN", "WEAK", "codes"]

BANDS = {"seen": ("looks", "hidden"), "detection": ("looks", "hidden", "detecting_looks")}
"""Bands of the map of bottom seen that the verdict rests on, by grade."""

GRADES = tuple(BANDS)

WEAK, HIDDEN = 128, 255
"""Codes of cells that would count but for the grade asked for, ``WEAK`` and the looks of that grade, and of cells that
nearer ground hides."""


def codes(bands, required_looks, grade="seen"):
    """One code for each cell: looks that count, or why too few do.

    Parameters
    ----------
    bands : dict of (rows, cols) arrays
        By the names of ``BANDS``: passes that looked at the cell; 1 where nearer ground hides the cell from every pass;
        passes whose look would show the object that the raster was made for. NaN where unknown.
    required_looks : int
        At least 1, at most 126.
    grade : {'seen', 'detection'}
        ``detection``: only looks that would show the object count.

    Returns
    -------
    (rows, cols) uint8 array
        Looks of the grade, capped at those required; ``WEAK`` more where they are too few and looks of any grade would
        do; ``HIDDEN`` where nothing was seen because ground is in the way; 0 elsewhere.

    Raises
    ------
    InputError
        If a value is out of bounds.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.ensonify.grades import codes
    >>> codes({"looks": np.array([0.0, 1.0, 3.0]), "hidden": np.array([1.0, 0.0, 0.0])}, 2).tolist()
    [255, 1, 2]
    """
    if grade not in GRADES:
        raise InputError(f"The grade '{grade}' is not one of {', '.join(GRADES)}.", field="grade")
    if not 1 <= required_looks < WEAK - 1:
        raise InputError(f"{required_looks} looks cannot be asked for; give a number from 1 to {WEAK - 2}.")
    looks = np.nan_to_num(np.asarray(bands["looks"], float))
    counted = looks if grade == "seen" else np.nan_to_num(np.asarray(bands["detecting_looks"], float))
    found = np.clip(counted, 0, required_looks).astype(np.uint8)
    found[(counted < required_looks) & (looks >= required_looks)] += WEAK
    found[(np.nan_to_num(np.asarray(bands["hidden"], float)) > 0) & (looks <= 0)] = HIDDEN
    return found
