"""Cutting an area that one direction does not suit into parts that each have their own.

What lines cost beside the ground itself is their number, and along its best direction a part needs as many as its least
width holds spacings: so the sum of least widths is what a cut should lower (Huang 2001, Optimal line-sweep-based
decompositions for coverage algorithms, ICRA). Cuts begin at corners that reach into the area, and go on along an edge
that meets there, along the lines of the whole, or by the shortest way over to the other side. One after another the cut
is taken that saves most, until none saves anything. That is a search without going back: not always the best of all.
"""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely.geometry as sg

from ..geometry import scanfill, shapes
from ..model import patience
from .directions import headings, minimum_width

if TYPE_CHECKING:
    from typing import Any

__all__ = ["cut_in_parts", "sweep_cost"]

_ROWS, _SIMPLE, _NEAR = 4, 0.25, 0.02
"""Rows of cells to a spacing; shares of it by which an outline is made plain, and by which a corner is met."""

_MOST_PARTS, _MOST_CORNERS, _CLOSER_LOOK = 10, 30, 8
_LEAST_PART = 1.0
"""Least part, in squares of the spacing."""

_AS_GOOD = 1.05
"""A direction as good as the cheapest costs at most so many times as much."""

_WORTH = 0.99
"""The parts of a cut cost at most so much of the whole: what saves less is chance, and another GEOS cuts otherwise."""

_NECK = 2.5
"""A way over is a neck if the way round along the shore is so many times longer."""


def sweep_cost(area: Any, azimuth: float, spacing: float, turn_m: float) -> float:
    """Way (m) of lines that cover a polygon: their length and a turn for each.

    Parameters
    ----------
    area : shapely polygon, m
    azimuth : float
        Of the lines, degrees.
    spacing : float
        Breadth (m) that one line sees.
    turn_m : float
        Way that a line costs beside its length; a gap shorter than this is run through.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.planning.cuts import sweep_cost
    >>> round(sweep_cost(box(0, 0, 600, 100), 90.0, 50.0, 60.0))
    1320
    """
    a = np.radians(azimuth)
    along, across = np.array([np.sin(a), np.cos(a)]), np.array([np.cos(a), -np.sin(a)])
    xy = np.concatenate([shell for shell, _ in shapes.rings(area)])
    u, v = xy @ along, xy @ across
    lines = max(1, int(np.ceil(np.ptp(v) / spacing - 1e-6)))
    dv, columns = np.ptp(v) / (lines * _ROWS), max(1, int(np.ceil(np.ptp(u) / (spacing / _ROWS))))
    du, u0, v0 = np.ptp(u) / columns, u.min(), v.min()

    def to_cells(x: Any, y: Any) -> tuple[Any, Any]:
        return ((x * along[0] + y * along[1] - u0) / du - 0.5, (x * across[0] + y * across[1] - v0) / dv - 0.5)
    cells = scanfill.fill_polygon(area, (0, lines * _ROWS, 0, columns), to_cells)
    row, at = np.nonzero(cells.reshape(lines, _ROWS, columns).any(axis=1))
    if not len(row):
        return turn_m
    fresh = np.diff(row) > 0
    gap = np.where(fresh, 0, np.diff(at) - 1) * du
    apart = fresh | (gap > turn_m)
    return float(len(row) * du + gap[~apart].sum() + (1 + apart.sum()) * turn_m)


def cut_in_parts(area: Any, spacing: float, turn_m: float) -> list[tuple[Any, list[float]]]:
    """Parts of a polygon that cost fewer lines one by one than the whole of it.

    Parameters
    ----------
    area : shapely Polygon, frame metres
    spacing, turn_m : see ``sweep_cost``

    Returns
    -------
    list of (shapely MultiPolygon, [its cheapest azimuth, and another as good])
        One of them where no cut saves anything.
    """
    plain = area.simplify(_SIMPLE * spacing)
    if plain.geom_type != "Polygon" or plain.is_empty or plain.area < 2 * _LEAST_PART * spacing ** 2 \
            or plain.convex_hull.area - plain.area < spacing ** 2:
        return [(shapes.polygonal(area), headings(area, 2))]
    todo = [(plain, *_cost(plain, spacing, turn_m))]
    done: list[tuple[Any, list[float]]] = []
    while todo:
        patience.look()
        part, cost, azimuths = todo.pop()
        found = None
        if len(todo) + len(done) + 2 <= _MOST_PARTS:
            found = _best_cut(part, cost, azimuths[0], spacing, turn_m)
        if found is None:
            done.append((part, azimuths))
        else:
            todo += found
    whole = _shared_out(area, [part for part, _ in done]) if len(done) > 1 else [shapes.polygonal(area)]
    return [(part, azimuths) for part, (_, azimuths) in zip(whole, done) if not part.is_empty]


def _cost(part: Any, spacing: float, turn_m: float) -> tuple[float, list[float]]:
    """Least cost, its azimuth, and another that costs hardly more."""
    tried = sorted((sweep_cost(part, azimuth, spacing, turn_m), azimuth) for azimuth in headings(part))
    return tried[0][0], [azimuth for cost, azimuth in tried[:2] if cost < _AS_GOOD * tried[0][0]]


def _best_cut(part: Any, cost: float, azimuth: float, spacing: float,
              turn_m: float) -> list[tuple[Any, float, list[float]]] | None:
    """The two pieces, with their costs and azimuths, of the cut that saves most; None if none saves anything."""
    rings = [np.asarray(ring)[:-1] for ring in shapes.lines(sg.polygon.orient(part, 1.0))]
    tried = []
    for corner, edge, place in _ways_over(rings, azimuth, spacing):
        pieces = _two(rings, corner, edge, place)
        if pieces is not None and min(p.area for p in pieces) >= _LEAST_PART * spacing ** 2:
            tried.append((sum(minimum_width(p)[0] for p in pieces), pieces))
    tried.sort(key=lambda one: one[0])
    best, least = None, _WORTH * cost
    for _, pieces in tried[:_CLOSER_LOOK]:
        found = [(p, *_cost(p, spacing, turn_m)) for p in pieces]
        total = sum(one[1] for one in found)
        if total < least:
            best, least = found, total
    return best


def _two(rings: list[np.ndarray], corner: int, edge: int, place: np.ndarray) -> list[Any] | None:
    """A polygon cut from a corner of its outer ring to a place on an edge of it; None if that does not part it."""
    outer, n = rings[0], len(rings[0])
    if corner >= n or edge >= n:
        return None
    pieces = []
    for first, last, end in ((corner, edge, [place]), (edge + 1, corner, [])):
        xy = np.roll(outer, -first, axis=0)[:(last - first) % n + 1]
        xy = np.vstack([xy, *end] if end else [place, xy])
        piece = sg.Polygon(xy) if len(xy) > 2 else None
        if piece is None or not piece.is_valid or not piece.area > 0:
            return None
        pieces.append(piece)
    holes: list[list[Any]] = [[], []]
    for ring in rings[1:]:
        sides = [piece.contains(sg.Polygon(ring)) for piece in pieces]
        if not any(sides):
            return None
        holes[sides.index(True)].append(ring)
    return [sg.Polygon(piece.exterior.coords, inside) for piece, inside in zip(pieces, holes)]


def _ways_over(rings: list[np.ndarray], azimuth: float, spacing: float) -> list[tuple[int, int, np.ndarray]]:
    """(corner, edge, place on it (2,)) of the ways across a polygon that may be worth a cut; edges begin at the corner
    of their number."""
    start, end = np.concatenate(rings), np.concatenate([np.roll(ring, -1, axis=0) for ring in rings])
    before = np.concatenate([ring - np.roll(ring, 1, axis=0) for ring in rings])
    after = end - start
    bend = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    sharp = np.arctan2(bend, (before * after).sum(axis=1))
    corner = np.flatnonzero(sharp < -np.radians(5))
    # the corners that reach in farthest, long edges first: a wiggle of the shore is no corner of the area
    weight = -np.sin(np.maximum(sharp[corner], -np.pi / 2)) * np.minimum(*(np.hypot(*v[corner].T) for v in (
        before, after)))
    corner = corner[np.argsort(-weight, kind="stable")][:_MOST_CORNERS]
    lie = np.array([np.sin(np.radians(azimuth)), np.cos(np.radians(azimuth))])
    near, found = _NEAR * spacing, []
    for k in corner.tolist():
        v, back, on = start[k], _unit(before[k]), _unit(after[k])
        for aim in [back, -on] + [w for w in (lie, -lie) if _between(w, on, -back)]:
            away, edge = _hit(v, aim, start, end)
            # edges in one line, but for a hair: the cut goes from corner to corner
            ahead, aside = (start[corner] - v) @ aim, (start[corner] - v) @ np.array([aim[1], -aim[0]])
            met = np.flatnonzero((ahead > near) & (ahead < away + near) & (np.abs(aside) < near))
            if len(met):
                edge = int(corner[met[ahead[met].argmin()]])
                found.append((k, edge, start[edge]))
            elif np.isfinite(away):
                found.append((k, edge, v + away * aim))
        neck = _neck(k, start, end, rings)
        if neck is not None and _between(neck[1] - v, on, -back):
            found.append((k, *neck))
    return found


def _between(way: np.ndarray, on: np.ndarray, back: np.ndarray) -> bool:
    """True if a way from a corner leads into the area, which lies to the left of the edge ``on`` as far as ``back``."""
    turn, whole = (np.arctan2(on[0] * w[1] - on[1] * w[0], on @ w) % (2 * np.pi) for w in (way, back))
    return bool(1e-3 < turn < whole - 1e-3)


def _hit(v: np.ndarray, aim: np.ndarray, start: np.ndarray, end: np.ndarray) -> tuple[float, int]:
    """How far (m) a way from a place goes before it meets an edge, and that edge."""
    edge, off = end - start, start - v
    across = aim[0] * edge[:, 1] - aim[1] * edge[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (off[:, 0] * edge[:, 1] - off[:, 1] * edge[:, 0]) / across
        s = (off[:, 0] * aim[1] - off[:, 1] * aim[0]) / across
    good = (t > 1e-6) & (s >= -1e-9) & (s <= 1 + 1e-9)
    t = np.where(good, t, np.inf)
    return float(t.min()), int(t.argmin())


def _neck(k: int, start: np.ndarray, end: np.ndarray, rings: list[np.ndarray]) -> tuple[int, np.ndarray] | None:
    """(edge, place on it) of the nearest shore over water that is far off along the shore itself."""
    outer, v = len(rings[0]), start[k]
    if k >= outer:
        return None
    start, end = start[:outer], end[:outer]
    edge = end - start
    step = np.hypot(*edge.T)
    run = np.concatenate([[0.0], np.cumsum(step)])
    t = np.clip(((v - start) * edge).sum(axis=1) / np.maximum(step ** 2, 1e-12), 0, 1)
    place = start + t[:, None] * edge
    away, along = np.hypot(*(place - v).T), np.abs(run[:-1] + t * step - run[k])
    far = np.flatnonzero((away > 1e-6) & (np.minimum(along, run[-1] - along) > _NECK * away))
    if not len(far):
        return None
    nearest = int(far[away[far].argmin()])
    clear, _ = _hit(v, _unit(place[nearest] - v), start, end)
    return (nearest, place[nearest]) if clear > away[nearest] - 1e-3 else None


def _unit(v: np.ndarray) -> np.ndarray:
    return v / max(np.hypot(*v), 1e-12)


def _shared_out(area: Any, parts: list[Any]) -> list[Any]:
    """An area cut as its simplified outline was; the slivers between outline and area go to the nearest part."""
    found = [[area.intersection(part)] for part in parts]
    for sliver in shapes.parts(area.difference(shapes.union(parts))):
        nearest = int(np.argmin([part.distance(sliver.representative_point()) for part in parts]))
        found[nearest].append(sliver)
    return [shapes.polygonal(shapes.union([shapes.polygonal(p) for p in pieces])) for pieces in found]
