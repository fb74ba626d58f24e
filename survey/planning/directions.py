"""Which way lines run: the least width of an area, its parts where it is concave, and the lie of the contours.

Fewest lines, and so fewest turns, run along the direction across which the area is narrowest. The least width of a
convex polygon is met with one edge of the hull flush (Houle & Toussaint 1988), so every edge is tried; the box of least
area is another thing. A concave area may be narrower in parts: the sum of their widths is what counts (Huang 2001).
"""
from __future__ import annotations

import numpy as np
from shapely.geometry import LineString, Point
from shapely.ops import split

from ..geometry import shapes

__all__ = ["contour_azimuth", "headings", "hull_widths", "minimum_width", "split_where_narrow"]

_ROUND = 0.93
"""Share of its hull that an area must fill to be left whole (a judgement)."""

_APART_DEG = 4.0
_TRIES = 8


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


def split_where_narrow(polygon, least_m2):
    """Ways to cut a concave polygon in two, the least sum of widths first.

    Parameters
    ----------
    polygon : shapely Polygon, m
    least_m2 : float
        No part is smaller.

    Returns
    -------
    list of lists of polygons
    """
    plain = polygon.simplify(0.01 * np.sqrt(polygon.area))
    if plain.geom_type != "Polygon" or polygon.area > _ROUND * polygon.convex_hull.area:
        return []
    ring = np.asarray(plain.exterior.coords)[:-1]
    if not plain.exterior.is_ccw:
        ring = ring[::-1]
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    bent = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0] < 0
    hull = plain.convex_hull.exterior
    deep = np.array([hull.distance(Point(*p)) for p in ring])
    corners = np.flatnonzero(bent)
    corners = corners[np.argsort(-deep[corners])][:_TRIES]
    size, whole = float(np.hypot(*np.ptp(ring, axis=0))), minimum_width(polygon)[0]
    found = []
    for corner in corners:
        at = ring[corner]
        others = np.argsort(np.hypot(*(ring - at).T))
        ways = [before[corner], -after[corner], *(ring[k] - at for k in others[3:12])]
        for way in ways:
            if not np.hypot(*way) > 0:
                continue
            unit = way / np.hypot(*way)
            chord = LineString([at - 1e-3 * unit * size, at + size * unit]).intersection(polygon.buffer(0.01))
            pieces = [p for p in getattr(chord, "geoms", [chord]) if p.geom_type == "LineString"]
            if not pieces:
                continue
            nearest = min(pieces, key=lambda p: p.distance(Point(*at)))
            ends = np.asarray(nearest.coords)
            longer = LineString([ends[0] - 0.05 * unit, ends[-1] + 0.05 * unit])
            parts = shapes.parts(split(polygon, longer))
            if len(parts) != 2 or min(p.area for p in parts) < least_m2:
                continue
            found.append((sum(minimum_width(p)[0] for p in parts), parts))
    found.sort(key=lambda pair: pair[0])
    return [parts for width, parts in found[:2] if width < 1.25 * whole]
