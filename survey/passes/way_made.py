"""The way a boat has made, free of the jitter of its fixes."""
from __future__ import annotations

import numpy as np

__all__ = ["way_made"]

_TURNED = 0.5

_LONG_M = 10.0
"""Jitter of half a metre makes a step of so many metres 0.2 % longer; a bend inside it counts for more."""


def way_made(east, north, course_deg):
    """Metres of each step along the course.

    Ten fixes a second that jitter by half a metre make a zigzag half as long again as the boat's way. Measured along
    the course, which is a least-squares fit over seconds, the jitter of one step takes back that of the one before.

    Parameters
    ----------
    east, north : (n - 1,) arrays
        Metres between neighbours.
    course_deg : (n,) array
        Course over ground at each, NaN where unknown.

    Returns
    -------
    (n - 1,) array
        Negative where a fix jitters back. The straight distance where that is 10 m or more, the course is unknown, or
        turns by more than 120 degrees from one end to the other.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.passes.way_made import way_made
    >>> way_made(np.array([0.0, 0.0]), np.array([0.0, 2.0]), np.array([0.0, 0.0])).tolist()
    [0.0, 2.0]
    """
    angle = np.radians(course_deg)
    across, along = ((values[1:] + values[:-1]) / 2 for values in (np.sin(angle), np.cos(angle)))
    size = np.hypot(across, along)
    with np.errstate(divide="ignore", invalid="ignore"):
        made = (east * across + north * along) / size
    straight = np.hypot(east, north)
    return np.where((size > _TURNED) & (straight < _LONG_M), made, straight)
