"""Signs that two layers of polygons were given in each other's place."""
from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ..model import patience
from . import overlap

__all__ = ["mixed_up"]

_NARROWER = 0.5
_LEFT_OUT = 1e-3


def mixed_up(whole: Sequence[Any], parts: Sequence[Any]) -> bool:
    """True where a lake and the strips or patches in it look swapped.

    Strips of bottom seen, or gaps, lie in the lake and are narrower than it. Where the 'lake' lies wholly within the
    'strips' and is made of much narrower pieces, it is the other way round. A small lake that was seen from shore to
    shore lies within its strips, too, but is no narrower than they are.

    Parameters
    ----------
    whole, parts : lists of shapely polygons, in one metric frame
        What ought to hold the others, and what ought to lie in it.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.mixed_up import mixed_up
    >>> lake, strips = [box(0, 0, 300, 300)], [box(10, 20 * k, 290, 20 * k + 15) for k in range(1, 12)]
    >>> mixed_up(lake, strips), mixed_up(strips, lake)
    (False, True)
    """
    if not whole or not parts or _width(whole) >= _NARROWER * _width(parts):
        return False
    inside = overlap.merged(list(whole))
    left = patience.heard(inside.difference, overlap.merged(list(parts)))
    return bool(left.area <= _LEFT_OUT * inside.area)


def _width(polygons: Sequence[Any]) -> float:
    """How wide pieces are in the mean: twice the area over the rim, which for a long strip is its width."""
    rim = sum(polygon.length for polygon in polygons)
    return 2 * sum(polygon.area for polygon in polygons) / rim if rim > 0 else 0.0
