"""The one module that knows shapely 1.8 from shapely 2: building, joining and cleaning polygons.

Everything else in ``survey`` uses shapely geometries through their methods (``difference``, ``intersection``,
``buffer``, ``area``), which are the same in both, and through the functions here.
"""
from __future__ import annotations

import warnings

import numpy as np
import shapely
import shapely.geometry as sg
import shapely.ops
import shapely.wkb
from shapely.prepared import prep
from shapely.validation import make_valid

from ..model import patience

__all__ = [
    "MIN_HOLE_M2", "Tree", "collected", "contains", "drop_short_edges", "drop_small_holes", "empty", "from_wkb",
    "lines", "of_lines", "parts", "pick", "polygon", "polygonal", "polygons", "prepared", "rings", "to_wkb", "union",
    "valid", "wound",
]

MIN_HOLE_M2 = 0.01
"""Holes smaller than this are noding dust of floating-point unions, never a gap in the survey."""

_SHAPELY_2 = hasattr(shapely, "union_all")


def empty():
    """An empty MultiPolygon.

    Examples
    --------
    >>> from athwart.geometry.shapes import empty
    >>> empty().is_empty
    True
    """
    return sg.MultiPolygon()


def polygon(shell, holes=()):
    """Polygon from (n, 2) rings, closed or not; not checked for validity.

    Examples
    --------
    >>> from athwart.geometry.shapes import polygon
    >>> polygon([(0, 0), (4, 0), (4, 3)]).area
    6.0
    """
    return sg.Polygon(shell, holes)


def polygons(rings_xy):
    """Polygons from an (n, k, 2) array of rings of one length, closed or not.

    Returns
    -------
    list of shapely Polygon

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.geometry.shapes import polygons
    >>> [one.area for one in polygons(np.array([[(0, 0), (4, 0), (4, 3)], [(0, 0), (2, 0), (0, 2)]], float))]
    [6.0, 2.0]
    """
    rings_xy = np.asarray(rings_xy, float)
    if _SHAPELY_2:
        return list(shapely.polygons(rings_xy)) if len(rings_xy) else []
    return [sg.Polygon(ring) for ring in rings_xy]


def union(geometries):
    """Union of polygons in one operation; empty MultiPolygon for none.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.shapes import union
    >>> union([box(0, 0, 2, 1), box(1, 0, 3, 1)]).area, union([]).is_empty
    (3.0, True)
    """
    geometries = [g for g in geometries if g is not None and not g.is_empty]
    if not geometries:
        return empty()
    return patience.heard(shapely.union_all if _SHAPELY_2 else shapely.ops.unary_union, geometries)


def valid(geometry):
    """The geometry itself if valid, else made valid (even-odd) and reduced to its polygons.

    Examples
    --------
    >>> from shapely.geometry import Polygon
    >>> from athwart.geometry.shapes import valid
    >>> valid(Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])).area
    2.0
    """
    if geometry.is_valid:
        return geometry
    # rings that only touch are many times quicker to part this way; where it drops a lobe the areas differ
    parted = geometry.buffer(0)
    return polygonal(parted if abs(parted.area - geometry.area) <= 1e-9 * geometry.area else make_valid(geometry))


def wound(rings_one_way):
    """Valid polygons of the ground that any of some polygons without holes winds round, as a list.

    Each may meet itself but must wind all points it winds round one way: reversed lobes would be lost. Where dozens of
    edges meet in all but one point, coordinates are rounded to 12 digits.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.shapes import wound
    >>> sum(one.area for one in wound([box(0, 0, 2, 1), box(1, 0, 3, 1)]))
    3.0
    """
    return parts(valid(sg.MultiPolygon(rings_one_way).buffer(0)))


def polygonal(geometry):
    """The polygons of any geometry as one MultiPolygon; lines and points that overlays leave behind are dropped.

    Examples
    --------
    >>> from shapely.geometry import GeometryCollection, LineString, box
    >>> from athwart.geometry.shapes import polygonal
    >>> polygonal(GeometryCollection([box(0, 0, 1, 1), LineString([(0, 0), (9, 9)])])).area
    1.0
    """
    if geometry is not None and geometry.geom_type == "MultiPolygon":
        return geometry
    return sg.MultiPolygon(parts(geometry))


def collected(geometries):
    """Polygons known not to touch one another as one MultiPolygon, without an overlay.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.shapes import collected
    >>> collected([box(0, 0, 1, 1), box(5, 0, 6, 1)]).area
    2.0
    """
    return sg.MultiPolygon([part for geometry in geometries for part in parts(geometry)])


def parts(geometry):
    """The single polygons of any geometry, as a list.

    Examples
    --------
    >>> from shapely.geometry import MultiPolygon, box
    >>> from athwart.geometry.shapes import parts
    >>> [part.area for part in parts(MultiPolygon([box(0, 0, 1, 1), box(5, 0, 7, 1)]))]
    [1.0, 2.0]
    """
    if geometry is None or geometry.is_empty:
        return []
    kind = geometry.geom_type
    if kind == "Polygon":
        return [geometry]
    if kind == "MultiPolygon":
        return [part for part in geometry.geoms if not part.is_empty]
    return [p for part in getattr(geometry, "geoms", ()) for p in parts(part)]


def rings(geometry):
    """Yield (shell, [holes]) as (n, 2) arrays, closed, for each polygon of a geometry.

    Examples
    --------
    >>> from shapely.geometry import Polygon, box
    >>> from athwart.geometry.shapes import rings
    >>> holed = Polygon(box(0, 0, 9, 9).exterior, [box(1, 1, 2, 2).exterior])
    >>> [(len(shell), len(holes)) for shell, holes in rings(holed)]
    [(5, 1)]
    """
    for part in parts(geometry):
        yield np.asarray(part.exterior.coords)[:, :2], [np.asarray(r.coords)[:, :2] for r in part.interiors]


def drop_small_holes(geometry, min_area=MIN_HOLE_M2):
    """Holes and parts under ``min_area`` removed: noding leaves some of under 1 cm2 wherever strips touch.

    Examples
    --------
    >>> from shapely.geometry import Polygon, box
    >>> from athwart.geometry.shapes import drop_small_holes
    >>> holed = Polygon(box(0, 0, 10, 10).exterior, [box(1, 1, 1.05, 1.05).exterior, box(5, 5, 6, 6).exterior])
    >>> round(drop_small_holes(holed).area, 4)
    99.0
    """
    kept, dropped = [], False
    for part in parts(geometry):
        if part.area < min_area:
            dropped = True
            continue
        holes = [r for r in part.interiors if sg.Polygon(r).area >= min_area]
        full = len(holes) == len(part.interiors)
        kept.append(part if full else sg.Polygon(part.exterior, holes))
        dropped |= not full
    return sg.MultiPolygon(kept) if dropped else polygonal(geometry)


def drop_short_edges(geometry, shortest):
    """Polygons without vertices closer than ``shortest`` to the one before; parts that this would spoil stay.

    Noding leaves vertices nanometres apart where many edges meet, and a ring through them crosses itself as soon as its
    coordinates are carried to another CRS.

    Examples
    --------
    >>> from shapely.geometry import Polygon
    >>> from athwart.geometry.shapes import drop_short_edges
    >>> jagged = Polygon([(0, 0), (10, 0), (10, 10), (9.999, 10), (0, 10)])
    >>> len(drop_short_edges(jagged, 0.01).geoms[0].exterior.coords)
    5
    """
    whole = parts(geometry)
    if not whole:
        return empty()
    own = lines(sg.MultiPolygon(whole))
    owner = [i for i, part in enumerate(whole) for _ in range(1 + len(part.interiors))]
    owner = np.repeat(owner, [len(ring) for ring in own])
    short = np.hypot(*np.diff(np.concatenate(own), axis=0).T) <= shortest
    for i in np.unique(owner[:-1][short]):
        thin = [_without_short_edges(ring, shortest) for ring in lines(whole[i])]
        made = sg.Polygon(thin[0], thin[1:]) if min(map(len, thin)) > 3 else whole[i]
        whole[i] = made if made.is_valid else whole[i]
    return sg.MultiPolygon(whole)


def _without_short_edges(ring, shortest):
    far = np.hypot(*np.diff(ring, axis=0).T) > shortest
    keep = np.concatenate([[True], far])
    if not far[-1]:
        keep[-2:] = False, True  # the last vertex is the first
    return ring[keep]


def contains(geometry, x, y):
    """Which points lie inside a polygonal geometry.

    Parameters
    ----------
    geometry : shapely geometry
    x, y : arrays of one shape

    Returns
    -------
    bool array of that shape; points on the edge count as outside.

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.geometry.shapes import contains
    >>> contains(box(0, 0, 2, 2), np.array([1.0, 2.0, 3.0]), np.array([1.0, 1.0, 1.0])).tolist()
    [True, False, False]
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    inside = np.zeros(x.shape, bool)
    if geometry.is_empty or not x.size:
        return inside
    x0, y0, x1, y1 = geometry.bounds
    near = (x > x0) & (x < x1) & (y > y0) & (y < y1)
    if _SHAPELY_2:
        shapely.prepare(geometry)
        inside[near] = shapely.contains_xy(geometry, x[near], y[near])
    else:
        from shapely.vectorized import contains as contains_all
        inside[near] = contains_all(geometry, x[near], y[near])
    return inside


class Tree:
    """Spatial index over geometries whose query returns positions, as shapely 2's does.

    Parameters
    ----------
    geometries : list of shapely geometry
    """

    def __init__(self, geometries):
        from shapely.strtree import STRtree
        self._geometries = list(geometries)
        with warnings.catch_warnings():  # shapely 1.8 announces the index of 2.0, which is used where it exists
            warnings.simplefilter("ignore")
            self._tree = STRtree(self._geometries)

    def query(self, geometry):
        """Positions (int array, sorted) of the geometries that intersect ``geometry``."""
        ready = prep(geometry)
        return np.array([i for i in self.boxed(geometry).tolist() if ready.intersects(self._geometries[i])], int)

    def boxed(self, geometry):
        """Positions (int array, sorted) of the geometries whose bounding box meets that of ``geometry``."""
        query = getattr(self._tree, "query_items", self._tree.query)
        return np.sort(np.asarray(query(geometry), int))


def prepared(geometry):
    """A geometry made ready to be asked many times whether it intersects, contains or covers another.

    Examples
    --------
    >>> from shapely.geometry import Point, box
    >>> from athwart.geometry.shapes import prepared
    >>> prepared(box(0, 0, 2, 2)).contains(Point(1, 1))
    True
    """
    return prep(geometry)


def pick(geometries, positions):
    """The geometries at integer positions, as a list.

    Examples
    --------
    >>> from shapely.geometry import Point
    >>> from athwart.geometry.shapes import pick
    >>> [point.x for point in pick([Point(1, 0), Point(2, 0), Point(3, 0)], [2, 0])]
    [3.0, 1.0]
    """
    return [geometries[int(i)] for i in positions]


def from_wkb(data):
    """Geometry from bytes, two-dimensional, polygons made valid only by the caller.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.shapes import from_wkb
    >>> from_wkb(box(0, 0, 2, 1).wkb).area
    2.0
    """
    geometry = shapely.wkb.loads(bytes(data))
    return shapely.wkb.loads(to_wkb(geometry)) if geometry.has_z else geometry


def to_wkb(geometry):
    """Two-dimensional little-endian WKB.

    Examples
    --------
    >>> from shapely.geometry import Point
    >>> from athwart.geometry.shapes import to_wkb
    >>> len(to_wkb(Point(1, 2)))
    21
    """
    return shapely.wkb.dumps(geometry, output_dimension=2, big_endian=False)


def lines(geometry):
    """Rings or lines of a geometry of any kind as a list of (n, 2) arrays, in order; empty ones are left out.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.geometry.shapes import lines
    >>> [len(ring) for ring in lines(box(0, 0, 2, 1))]
    [5]
    """
    if hasattr(geometry, "geoms"):
        return [line for part in geometry.geoms if not part.is_empty for line in lines(part)]
    own = [geometry.exterior, *_holes(geometry)] if geometry.geom_type == "Polygon" else [geometry]
    return [np.asarray(line.coords)[:, :2] for line in own]


def of_lines(geometry, others):
    """A geometry like another, of other rings or lines, taken from an iterator in the order of ``lines``.

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import LineString
    >>> from athwart.geometry.shapes import of_lines
    >>> made = of_lines(LineString([(0, 0), (1, 1)]), iter([np.array([[5.0, 5.0], [5.0, 9.0]])]))
    >>> made.length
    4.0
    """
    if hasattr(geometry, "geoms"):
        return type(geometry)([of_lines(part, others) for part in geometry.geoms if not part.is_empty])
    if geometry.geom_type == "Polygon":
        return sg.Polygon(next(others), [next(others) for _ in _holes(geometry)])
    return sg.Point(*next(others)[0]) if geometry.geom_type == "Point" else type(geometry)(next(others))


def _holes(one):
    return [ring for ring in one.interiors if not ring.is_empty]
