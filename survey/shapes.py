"""The one module that knows shapely 1.8 from shapely 2: building, joining, cleaning and carrying polygons.

Everything else in ``survey`` uses shapely geometries through their methods (``difference``, ``intersection``,
``buffer``, ``area``), which are the same in both, and through the functions here.
"""
from __future__ import annotations

import numpy as np
import shapely
import shapely.geometry as sg
import shapely.ops
import shapely.wkb
from shapely.prepared import prep
from shapely.validation import make_valid

__all__ = [
    "MIN_HOLE_M2", "Tree", "contains", "drop_small_holes", "empty", "from_wkb", "geodesic_area", "geodesic_length",
    "polygon", "polygonal", "polygons", "pick", "rings", "to_crs", "to_frame", "to_wkb", "union", "valid",
]

MIN_HOLE_M2 = 0.01
"""Holes smaller than this are noding dust of floating-point unions, never a gap in the survey."""

_SHAPELY_2 = hasattr(shapely, "union_all")


def empty():
    """An empty MultiPolygon."""
    return sg.MultiPolygon()


def polygon(shell, holes=()):
    """Polygon from (n, 2) rings, closed or not; not checked for validity."""
    return sg.Polygon(shell, holes)


def polygons(rings_xy):
    """Polygons from an (n, k, 2) array of rings of one length, closed or not.

    Returns
    -------
    list of shapely Polygon
    """
    rings_xy = np.asarray(rings_xy, float)
    if _SHAPELY_2:
        return list(shapely.polygons(rings_xy)) if len(rings_xy) else []
    return [sg.Polygon(ring) for ring in rings_xy]


def union(geometries):
    """Union of polygons in one operation; empty MultiPolygon for none."""
    geometries = [g for g in geometries if g is not None and not g.is_empty]
    if not geometries:
        return empty()
    if _SHAPELY_2:
        return shapely.union_all(geometries)
    return shapely.ops.unary_union(geometries)


def valid(geometry):
    """The geometry itself if valid, else made valid (even-odd) and reduced to its polygons."""
    return geometry if geometry.is_valid else polygonal(make_valid(geometry))


def polygonal(geometry):
    """The polygons of any geometry as one MultiPolygon; lines and points that overlays leave behind are dropped."""
    return sg.MultiPolygon(_polygons_of(geometry))


def _polygons_of(geometry):
    if geometry is None or geometry.is_empty:
        return []
    if geometry.geom_type == "Polygon":
        return [geometry]
    return [p for part in getattr(geometry, "geoms", ()) for p in _polygons_of(part)]


def rings(geometry):
    """Yield (shell, [holes]) as (n, 2) arrays, closed, for each polygon of a geometry."""
    for part in _polygons_of(geometry):
        yield np.asarray(part.exterior.coords)[:, :2], [np.asarray(r.coords)[:, :2] for r in part.interiors]


def drop_small_holes(geometry, min_area=MIN_HOLE_M2):
    """Holes and parts under ``min_area`` removed: noding leaves some of under 1 cm2 wherever strips touch."""
    kept = []
    for part in _polygons_of(geometry):
        if part.area < min_area:
            continue
        holes = [r for r in part.interiors if sg.Polygon(r).area >= min_area]
        kept.append(part if len(holes) == len(part.interiors) else sg.Polygon(part.exterior, holes))
    return sg.MultiPolygon(kept)


def contains(geometry, x, y):
    """Which points lie inside a polygonal geometry.

    Parameters
    ----------
    geometry : shapely geometry
    x, y : arrays of one shape

    Returns
    -------
    bool array of that shape; points on the edge count as outside.
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    if geometry.is_empty or not x.size:
        return np.zeros(x.shape, bool)
    if _SHAPELY_2:
        shapely.prepare(geometry)
        return shapely.contains_xy(geometry, x, y)
    from shapely.vectorized import contains as contains_all
    return contains_all(geometry, x, y)


class Tree:
    """Spatial index over geometries whose query returns positions, as shapely 2's does.

    Parameters
    ----------
    geometries : list of shapely geometry
    """

    def __init__(self, geometries):
        from shapely.strtree import STRtree
        self._geometries = list(geometries)
        self._tree = STRtree(self._geometries)
        self._position = {id(g): i for i, g in enumerate(self._geometries)}

    def query(self, geometry):
        """Positions (int array, sorted) of the geometries that intersect ``geometry``."""
        found = self._tree.query(geometry)
        if not _SHAPELY_2:
            found = [self._position[id(g)] for g in found]
        ready = prep(geometry)
        return np.array(sorted(int(i) for i in found if ready.intersects(self._geometries[int(i)])), int)


def pick(geometries, positions):
    """The geometries at integer positions, as a list."""
    return [geometries[int(i)] for i in positions]


def from_wkb(data):
    """Geometry from bytes, two-dimensional, polygons made valid only by the caller."""
    geometry = shapely.wkb.loads(bytes(data))
    return shapely.ops.transform(lambda x, y, z=None: (x, y), geometry) if geometry.has_z else geometry


def to_wkb(geometry):
    """Two-dimensional little-endian WKB."""
    return shapely.wkb.dumps(geometry, output_dimension=2, byte_order=1)


def _carry(geometry, move):
    kind = geometry.geom_type
    if geometry.is_empty:
        return geometry
    if kind == "Polygon":
        return sg.Polygon(move(np.asarray(geometry.exterior.coords)[:, :2]),
                          [move(np.asarray(r.coords)[:, :2]) for r in geometry.interiors])
    if kind in ("LineString", "LinearRing", "Point"):
        return type(geometry)(move(np.asarray(geometry.coords)[:, :2]))
    return type(geometry)([_carry(part, move) for part in geometry.geoms])


def to_frame(frame, geometry):
    """A geometry in crs units carried into frame metres, edges true to 1 cm; invalid polygons are mended.

    Parameters
    ----------
    frame : survey.frame.Frame
    geometry : shapely geometry of any kind
    """
    carried = _carry(geometry, frame.densified)
    return valid(carried) if carried.geom_type in ("Polygon", "MultiPolygon") else carried


def to_crs(frame, geometry):
    """A geometry in frame metres carried to crs units, edges true to 1 cm.

    In a geographic CRS a geometry that crosses 180 degrees is cut there, so that nothing smears over the map.
    """
    if frame.crs.is_geographic and not geometry.is_empty:
        east, west = _antimeridian_halves(frame, geometry)
        if west is not None:
            parts = [_carry_side(frame, half, sign) for half, sign in ((east, 1), (west, -1)) if not half.is_empty]
            return _merged(parts)
    return _carry(geometry, lambda xy: frame.densified(xy, inverse=True))


def _antimeridian_halves(frame, geometry):
    """The geometry on either side of 180 degrees, or (geometry, None) when it does not come near it."""
    x0, y0, x1, y1 = geometry.bounds
    lon, _ = frame.frame_to_lonlat(np.array([x0, x0, x1, x1]), np.array([y0, y1, y0, y1]))
    turned = frame.lon0 + (np.asarray(lon) - frame.lon0 + 180) % 360 - 180
    edge = 180.0 if frame.lon0 >= 0 else -180.0
    if turned.max() <= edge and turned.min() >= edge or (turned.max() < edge) == (turned.min() < edge):
        return geometry, None
    lats = np.linspace(frame.lat0 - 1, frame.lat0 + 1, 201)
    x, y = frame.forward(*frame.from_lonlat(np.full(201, edge), lats))
    reach = 4 * frame.off_axis_m([x0, x1]) + 1e5
    low, high = min(y.min(), y0) - 1.0, max(y.max(), y1) + 1.0
    line = np.vstack([[x[0], low], np.column_stack([x, y]), [x[-1], high]])
    side = sg.Polygon(np.vstack([line, [x[-1] - reach, high], [x[0] - reach, low]]))
    return geometry.intersection(side), geometry.difference(side)


def _carry_side(frame, half, sign):
    turn = 360.0

    def move(xy):
        xy = frame.densified(xy, inverse=True)
        wrong = xy[:, 0] * sign < 0
        xy[wrong, 0] += sign * turn
        return xy
    return _carry(half, move)


def _merged(parts):
    if not parts:
        return empty()
    if all(p.geom_type in ("Polygon", "MultiPolygon") for p in parts):
        return sg.MultiPolygon([q for p in parts for q in _polygons_of(p)])
    flat = [q for p in parts for q in getattr(p, "geoms", [p])]
    return sg.MultiLineString([q for q in flat if q.geom_type == "LineString"])


def geodesic_area(frame, geometry):
    """Ground area (m2) of a polygonal geometry in frame metres, on the ellipsoid, holes taken off."""
    total = 0.0
    for shell, holes in rings(geometry):
        total += _ring_area(frame, shell) - sum(_ring_area(frame, hole) for hole in holes)
    return total


def _ring_area(frame, xy):
    lon, lat = frame.frame_to_lonlat(xy[:, 0], xy[:, 1])
    return abs(frame.geod.polygon_area_perimeter(lon, lat)[0])


def geodesic_length(frame, geometry):
    """Ground length (m) of lines, or of the rings of polygons, in frame metres, on the ellipsoid."""
    if geometry.is_empty:
        return 0.0
    kind = geometry.geom_type
    if kind == "Polygon":
        return sum(geodesic_length(frame, ring) for ring in (geometry.exterior, *geometry.interiors))
    if kind in ("LineString", "LinearRing"):
        xy = np.asarray(geometry.coords)
        lon, lat = frame.frame_to_lonlat(xy[:, 0], xy[:, 1])
        return float(frame.geod.line_length(lon, lat))
    return sum(geodesic_length(frame, part) for part in getattr(geometry, "geoms", ()))
