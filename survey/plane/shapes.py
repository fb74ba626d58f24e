"""The one module that knows shapely 1.8 from shapely 2: building, joining, cleaning and carrying polygons.

Everything else in ``survey`` uses shapely geometries through their methods (``difference``, ``intersection``,
``buffer``, ``area``), which are the same in both, and through the functions here.
"""
from __future__ import annotations

import warnings

import numpy as np
import shapely
import shapely.affinity
import shapely.geometry as sg
import shapely.ops
import shapely.wkb
from shapely.prepared import prep
from shapely.validation import make_valid

__all__ = [
    "MIN_HOLE_M2", "Tree", "all_to_crs", "clipped_to_frame", "collected", "contains", "crs_area", "drop_short_edges",
    "drop_small_holes", "empty", "from_wkb", "geodesic_area", "geodesic_areas", "geodesic_length", "mended_to_frame",
    "parts", "pick", "polygon", "polygonal", "polygons", "prepared", "rings", "to_crs", "to_frame", "to_wkb", "union",
    "unrolled", "valid", "wound",
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
    if geometry.is_valid:
        return geometry
    # rings that only touch are many times quicker to part this way; where it drops a lobe the areas differ
    parted = geometry.buffer(0)
    return polygonal(parted if abs(parted.area - geometry.area) <= 1e-9 * geometry.area else make_valid(geometry))


def wound(rings_one_way):
    """Valid polygons of the ground that any of some polygons without holes winds round, as a list.

    Each may meet itself but must wind all points it winds round one way: reversed lobes would be lost. Where dozens of
    edges meet in all but one point, coordinates are rounded to 12 digits.
    """
    return parts(sg.MultiPolygon(rings_one_way).buffer(0))


def polygonal(geometry):
    """The polygons of any geometry as one MultiPolygon; lines and points that overlays leave behind are dropped."""
    if geometry is not None and geometry.geom_type == "MultiPolygon":
        return geometry
    return sg.MultiPolygon(parts(geometry))


def collected(geometries):
    """Polygons known not to touch one another as one MultiPolygon, without an overlay."""
    return sg.MultiPolygon([part for geometry in geometries for part in parts(geometry)])


def parts(geometry):
    """The single polygons of any geometry, as a list."""
    if geometry is None or geometry.is_empty:
        return []
    kind = geometry.geom_type
    if kind == "Polygon":
        return [geometry]
    if kind == "MultiPolygon":
        return [part for part in geometry.geoms if not part.is_empty]
    return [p for part in getattr(geometry, "geoms", ()) for p in parts(part)]


def rings(geometry):
    """Yield (shell, [holes]) as (n, 2) arrays, closed, for each polygon of a geometry."""
    for part in parts(geometry):
        yield np.asarray(part.exterior.coords)[:, :2], [np.asarray(r.coords)[:, :2] for r in part.interiors]


def drop_small_holes(geometry, min_area=MIN_HOLE_M2):
    """Holes and parts under ``min_area`` removed: noding leaves some of under 1 cm2 wherever strips touch."""
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
    """
    kept = []
    for part in parts(geometry):
        own = [np.asarray(ring.coords) for ring in (part.exterior, *part.interiors)]
        thin = [_without_short_edges(ring, shortest) for ring in own]
        changed = any(len(a) < len(b) for a, b in zip(thin, own))
        made = sg.Polygon(thin[0], thin[1:]) if changed and min(map(len, thin)) > 3 else part
        kept.append(made if made is part or made.is_valid else part)
    return sg.MultiPolygon(kept)


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
    """A geometry made ready to be asked many times whether it intersects, contains or covers another."""
    return prep(geometry)


def pick(geometries, positions):
    """The geometries at integer positions, as a list."""
    return [geometries[int(i)] for i in positions]


def from_wkb(data):
    """Geometry from bytes, two-dimensional, polygons made valid only by the caller."""
    geometry = shapely.wkb.loads(bytes(data))
    return shapely.wkb.loads(to_wkb(geometry)) if geometry.has_z else geometry


def to_wkb(geometry):
    """Two-dimensional little-endian WKB."""
    return shapely.wkb.dumps(geometry, output_dimension=2, big_endian=False)


def _carry(geometry, move):
    kind = geometry.geom_type
    if geometry.is_empty:
        return geometry
    if kind == "Polygon":
        return sg.Polygon(move(np.asarray(geometry.exterior.coords)[:, :2]),
                          [move(np.asarray(r.coords)[:, :2]) for r in geometry.interiors])
    if kind == "Point":
        return sg.Point(*move(np.asarray(geometry.coords)[:, :2])[0])
    if kind in ("LineString", "LinearRing"):
        return type(geometry)(move(np.asarray(geometry.coords)[:, :2]))
    return type(geometry)([_carry(part, move) for part in geometry.geoms])


def to_frame(frame, geometry):
    """A geometry in crs units carried into frame metres, edges true to 1 cm; invalid polygons are mended.

    In a geographic CRS polygons that were cut at 180 degrees are joined again.

    Parameters
    ----------
    frame : survey.plane.frame.Frame
    geometry : shapely geometry of any kind
    """
    return mended_to_frame(frame, geometry)[0]


def mended_to_frame(frame, geometry):
    """``to_frame``, and whether an invalid polygon was mended on the way."""
    carried = _carry(_turned(frame, geometry), frame.densified)
    mended = valid(carried) if carried.geom_type in _POLYGONAL else carried
    return mended, mended is not carried


def clipped_to_frame(frame, geometry, bounds):
    """The part of a polygonal geometry (crs units) near a rectangle of the frame, in frame metres.

    Parameters
    ----------
    frame : survey.plane.frame.Frame
    geometry : shapely Polygon or MultiPolygon
    bounds : (east, north, east, north)
        Lower left and upper right corner, frame metres. Most of what lies outside is left off, so that the ocean, or a
        shore of a million vertices, costs no more than the stretch the boat saw.
    """
    window = sg.box(*_carry(sg.box(*bounds), lambda xy: frame.densified(xy, inverse=True)).bounds)
    geometry = valid(geometry)
    half = frame.half_turn
    turns = (0.0,) if half is None else (-2 * half, 0.0, 2 * half)
    near = [_shifted(geometry.intersection(_shifted(window, turn)), -turn) for turn in turns]
    return to_frame(frame, union([polygonal(part) for part in near]))


def to_crs(frame, geometry):
    """Polygons or lines in frame metres carried to crs units, edges true to 1 cm; polygons come out valid.

    In a geographic CRS a geometry that crosses 180 degrees is cut there, so that nothing smears over the map.
    """
    return _cut_at_half_turn(frame, _carry(geometry, lambda xy: frame.densified(xy, inverse=True)))


def all_to_crs(frame, geometries):
    """``to_crs`` of each of many polygonal geometries, as MultiPolygons; many times quicker where they are small."""
    outlines = [ring for geometry in geometries for shell, holes in rings(geometry) for ring in (shell, *holes)]
    carried = iter(frame.densified_all(outlines, inverse=True))
    found = [sg.MultiPolygon([sg.Polygon(next(carried), [next(carried) for _ in part.interiors])
                              for part in parts(geometry)]) for geometry in geometries]
    return [polygonal(_cut_at_half_turn(frame, geometry)) for geometry in found]


def _cut_at_half_turn(frame, carried):
    """A geometry in crs units, its polygons mended and what lies past 180 degrees brought back."""
    are_polygons = carried.geom_type in _POLYGONAL
    if are_polygons:
        carried = valid(carried)
    half = frame.half_turn
    if half is None or carried.is_empty or (-half <= carried.bounds[0] and carried.bounds[2] <= half):
        return carried
    cut = [_shifted(carried.intersection(sg.box(turn - half, -half, turn + half, half)), -turn)
           for turn in (-2 * half, 0.0, 2 * half)]
    if are_polygons:
        return sg.MultiPolygon([q for part in cut for q in parts(part)])
    return shapely.ops.linemerge([q for part in cut for q in getattr(part, "geoms", [part]) if q.length])


_POLYGONAL = ("Polygon", "MultiPolygon")


def unrolled(geometry, half_turn):
    """A geographic geometry whose longitudes jump at 180 degrees, carried on past 180 instead.

    Parameters
    ----------
    geometry : shapely geometry of any kind
    half_turn : float
        180 degrees in its units. A part wider than this is taken to jump: no lake is that wide, and as a plane figure
        it would cross itself.
    """
    def eastward(xy):
        return np.column_stack([np.where(xy[:, 0] < 0, xy[:, 0] + 2 * half_turn, xy[:, 0]), xy[:, 1]])

    def jumps(shape):
        return not shape.is_empty and shape.bounds[2] - shape.bounds[0] > half_turn

    if not jumps(geometry):
        return geometry
    if not hasattr(geometry, "geoms"):
        return _carry(geometry, eastward)
    return type(geometry)([_carry(part, eastward) if jumps(part) else part for part in geometry.geoms])


def _shifted(geometry, x):
    return shapely.affinity.translate(geometry, x) if x else geometry


def _turned(frame, geometry):
    """Parts of a geographic geometry brought to the frame's side of 180 degrees, polygons joined over that line."""
    if frame.half_turn is None or geometry.is_empty:
        return geometry
    pieces = list(getattr(geometry, "geoms", [geometry]))
    turns = frame.turns([(piece.bounds[0] + piece.bounds[2]) / 2 for piece in pieces])
    if not turns.any():
        return geometry
    pieces = [_shifted(piece, -2 * frame.half_turn * turn) for piece, turn in zip(pieces, turns)]
    if geometry.geom_type in _POLYGONAL:
        return union([valid(piece) for piece in pieces])
    return type(geometry)(pieces) if hasattr(geometry, "geoms") else pieces[0]


def geodesic_area(frame, geometry):
    """Ground area (m2) of a polygonal geometry in frame metres, on the ellipsoid, holes taken off."""
    return float(geodesic_areas(frame, [geometry])[0])


def geodesic_areas(frame, geometries):
    """(n,) ground area (m2) of each of n polygonal geometries in frame metres, on the ellipsoid, holes taken off.

    The plane area less what the scale of transverse Mercator adds, k^2 = 1 + x^2 / R^2 with the Gaussian radius of the
    frame's centre: within 1e-9 up to 28 km off the axis, and true for a thousand small holes, where sums of geodesic
    areas lose some 0.1 cm2 for every edge.
    """
    outlines, owner, sign = [], [], []
    for i, geometry in enumerate(geometries):
        for shell, holes in rings(geometry):
            outlines += [shell, *holes]
            owner += [i] * (1 + len(holes))
            sign += [1.0] + [-1.0] * len(holes)
    if not outlines:
        return np.zeros(len(geometries))
    xy, sizes = np.concatenate(outlines), np.array([len(ring) for ring in outlines])
    start = np.cumsum(sizes) - sizes
    x0 = xy[start, 0]
    u, v = (xy - np.repeat(xy[start], sizes, axis=0)).T
    a, b = u[:-1], u[1:]
    wedge = a * v[1:] - b * v[:-1]  # 0 from ring to ring: each begins and ends at its own origin
    # Green's theorem: the area and the first and second moment of x
    area, first, second = (np.add.reduceat(moment, start) for moment in (
        wedge / 2, wedge * (a + b) / 6, wedge * (a * a + a * b + b * b) / 12))
    ground = np.abs(area - (x0 * x0 * area + 2 * x0 * first + second) / frame.radius_m ** 2)
    return np.bincount(owner, np.array(sign) * ground, minlength=len(geometries))


def crs_area(frame, geometry):
    """Ground area (m2) of a polygonal geometry in units of the frame's crs, on the ellipsoid, holes taken off."""
    def area(ring):
        return abs(frame.geod.polygon_area_perimeter(*frame.to_lonlat(ring[:, 0], ring[:, 1]))[0])
    return float(sum(area(shell) - sum(area(hole) for hole in holes) for shell, holes in rings(geometry)))


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
