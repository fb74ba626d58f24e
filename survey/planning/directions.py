"""Which way lines run: the least width of an area, and the lie of the contours.

Fewest lines, and so fewest turns, run along the direction across which the area is narrowest. The least width of a
convex polygon is met with one edge of the hull flush (Houle & Toussaint 1988), so every edge is tried; the box of least
area is another thing.
"""
from __future__ import annotations

import numpy as np

__all__ = ["contour_azimuth", "headings", "hull_widths", "minimum_width"]

_APART_DEG = 4.0


def hull_widths(geometry):
    """Width of a polygon across each edge of its convex hull.

    Parameters
    ----------
    geometry : shapely geometry

    Returns
    -------
    azimuth : (n,) array
        Of the edges, degrees from 0 to under 180.
    width : (n,) array
    """
    hull = geometry.convex_hull
    if hull.geom_type != "Polygon":
        xy = np.asarray(hull.coords)[:, :2]
        return np.array([np.degrees(np.arctan2(*(xy[-1] - xy[0]))) % 180]), np.zeros(1)
    xy = np.asarray(hull.exterior.coords)[:, :2]
    edge = np.diff(xy, axis=0)
    edge = edge[np.hypot(*edge.T) > 0]
    unit = edge / np.hypot(*edge.T)[:, None]
    across = xy @ np.column_stack([unit[:, 1], -unit[:, 0]]).T
    return np.degrees(np.arctan2(*unit.T)) % 180, np.ptp(across, axis=0)


def minimum_width(geometry):
    """(least width, azimuth of lines along it) of a polygon; the azimuth in degrees from 0 to under 180."""
    azimuth, width = hull_widths(geometry)
    best = int(np.round(width, 9).argmin())
    return float(width[best]), float(azimuth[best])


def headings(geometry, most=6):
    """Azimuths worth trying, the narrowest way across first: edges of the hull, no two within 4 degrees."""
    azimuth, width = hull_widths(geometry)
    found = []
    for k in np.argsort(np.round(width, 6), kind="stable"):
        apart = [abs((azimuth[k] - other + 90) % 180 - 90) for other in found]
        if all(a > _APART_DEG for a in apart):
            found.append(float(azimuth[k]))
        if len(found) == most:
            break
    return found


def contour_azimuth(depth, places):
    """Azimuth (degrees, 0 to under 180) that the contours follow over some places, on the whole.

    Parameters
    ----------
    depth : survey.planning.polygons.DepthField
    places : (n, 2) array

    Returns
    -------
    azimuth : float
        NaN where the bottom is level.
    strength : float
        From 0, contours run every way, to 1, all run one way.
    """
    step = depth.cell
    east = depth.at(places[:, 0] + step, places[:, 1]) - depth.at(places[:, 0] - step, places[:, 1])
    north = depth.at(places[:, 0], places[:, 1] + step) - depth.at(places[:, 0], places[:, 1] - step)
    known = np.isfinite(east + north)
    # the axis of the gradients: angles doubled, so that up and down a slope count as one
    doubled = ((north[known] + 1j * east[known]) ** 2).sum()
    weight = (east[known] ** 2 + north[known] ** 2).sum()
    if not weight > 0:
        return np.nan, 0.0
    uphill = np.degrees(np.angle(doubled)) / 2
    return float((uphill + 90) % 180), float(abs(doubled) / weight)
