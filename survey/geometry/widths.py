"""Width and length of a gap: the widest circle that fits inside, and how far a boat must run to cross it lengthwise."""
from __future__ import annotations

import numpy as np

from . import shapes

__all__ = ["inscribed_diameter", "rectangle_sides", "run_length"]

_STEP = 0.01
_SIMPLER = 0.005
_QUADRANT = 8


def inscribed_diameter(polygon):
    """Diameter of the widest circle inside a polygon, holes kept clear of, within 1 %.

    Parameters
    ----------
    polygon : shapely Polygon or MultiPolygon

    Returns
    -------
    float
        In the polygon's own units; 0 for an empty one.

    Notes
    -----
    The polygon is worn down from its edge until nothing is left. No circle inside has a radius under area / perimeter
    (the rim of that width holds at most perimeter times width), so a step of that size never wears all of it away;
    steps of 1 % of the radius reached so far settle the rest. Wiggles under 0.5 % of area / perimeter are smoothed out.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.widths import inscribed_diameter
    >>> round(inscribed_diameter(box(0, 0, 30, 4)), 1)
    4.0
    """
    if polygon.is_empty:
        return 0.0
    smooth = polygon.simplify(_SIMPLER * polygon.area / polygon.length, preserve_topology=False)
    radius, left = 0.0, smooth if smooth.is_valid and smooth.area > 0 else polygon
    while True:
        sure = left.area / left.length
        step = max(0.98 * sure, _STEP * radius)
        worn = left.buffer(-step, _QUADRANT)
        if worn.is_empty:
            return 2 * radius + (step if step <= _STEP * radius else 2 * sure)
        radius, left = radius + step, _widest(worn)


def _widest(geometry):
    """The parts that may still hold the widest circle: radius between area / perimeter and that of a full disc."""
    if geometry.geom_type == "Polygon":
        return geometry
    parts = shapes.parts(geometry)
    least = max(part.area / part.length for part in parts)
    return shapes.collected([part for part in parts if part.area >= np.pi * least**2])


def rectangle_sides(polygon):
    """(long, short) sides of the smallest rectangle around a polygon.

    One of its sides lies along an edge of the convex hull (Freeman and Shapira, Comm. ACM 18, 1975, p. 409).

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.widths import rectangle_sides
    >>> [round(side, 6) for side in rectangle_sides(box(0, 0, 30, 4))]
    [30.0, 4.0]
    """
    hull = polygon.convex_hull
    if hull.geom_type != "Polygon":
        return hull.length, 0.0
    xy = np.asarray(hull.exterior.coords)[:, :2]
    along = np.diff(xy, axis=0)
    along = along[np.hypot(*along.T) > 0]
    along /= np.hypot(*along.T)[:, None]
    u, v = xy @ along.T, xy @ np.column_stack([-along[:, 1], along[:, 0]]).T
    sides = np.sort(np.column_stack([np.ptp(u, axis=0), np.ptp(v, axis=0)]))
    short, long = sides[np.argmin(sides.prod(axis=1))]
    return float(long), float(short)


def run_length(polygon, width):
    """How long a gap is for somebody who runs along it (m).

    The longer side of the smallest rectangle around it, or its area over its width where that is longer: the former is
    right for straight gaps, the latter for strips that bend, branch or close on themselves.

    Parameters
    ----------
    polygon : shapely Polygon or MultiPolygon
    width : float
        ``inscribed_diameter`` of it.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.widths import run_length
    >>> round(run_length(box(0, 0, 30, 4), 4.0), 1)
    30.0
    """
    long = rectangle_sides(polygon)[0]
    return max(long, polygon.area / width) if width > 0 else long
