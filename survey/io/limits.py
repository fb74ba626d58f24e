"""What no instrument can have measured: such values are no readings, whatever sentence or file they stand in."""
from __future__ import annotations

import math

import numpy as np

__all__ = ["DEEPEST_M", "UNREAD", "leave_out_impossible"]

UNREAD = math.inf
"""Stands for a value that cannot be read; like one beyond its limits it is counted and left out."""

DEEPEST_M = 12_000.0
"""No water is deeper (the Challenger Deep has 10.9 km; from memory)."""

_LIMITS = {
    "speed_mps": (0.0, 300.0, "speeds"), "course_deg": (0.0, 360.0, "courses"),
    "variation_deg": (-180.0, 180.0, "magnetic variations"), "hdop": (0.0, 1000.0, "dilutions of precision (HDOP)"),
    "fix_quality": (0.0, 99.0, "fix qualities"), "satellites": (0.0, 999.0, "numbers of satellites"),
    "depth_m": (0.0, DEEPEST_M, "depths"), "depth_offset_m": (-100.0, 100.0, "offsets of depths"),
    "water_temp_c": (-50.0, 100.0, "temperatures"),
}
"""Column, least and most, and what to call it."""


def leave_out_impossible(table, numbers, name, tally, where=""):
    """Make values beyond their limits unknown, in place, and count them.

    Parameters
    ----------
    table : dict of (n,) float arrays
        By the names of ``schemas.FIXES``; NaN where unknown, ``UNREAD`` where a text is no number.
    numbers : (n,) array
        Lines or points of the file, for ``tally``.
    name : str
        Of the file.
    tally : Rejections
    where : str
        Such as ' of waypoints', for the reason.
    """
    for column, (least, most, words) in _LIMITS.items():
        if column in table:
            values = table[column]
            wrong = (values < least) | (values > most)
            tally.add(f"{words}{where} that cannot be right or cannot be read", name, np.asarray(numbers)[wrong])
            table[column] = np.where(wrong, math.nan, values)
