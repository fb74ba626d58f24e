"""Splitting missed ground by cause, and naming each piece.

A gap is cut along causes, because the strips under the boat and the space between two lines nearly always open into
each other, and a planner mends them in different ways:

- causes that a raster knows (hidden, weak) and causes beside a pass (no bottom, break, nadir) cut out their own ground;
- ``unvisited``: what is left and hangs together with a place farther than a swath from every swath, out to a quarter
  more than that distance. Another line of its own fits there;
- of the rest, each connected piece is ``between`` if two passes border it and the second of them holds at least as much
  of its rim as the rim of the area does; ``edge`` if the area's rim borders a good part of it; else ``between`` (a pass
  that doubles back) or, without pass lines, ``nadir`` (both sides of one pass).

Pieces that come out narrower than the least width, or smaller than the least area, go back to their neighbour.
"""
from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from shapely.geometry import box

from ..geometry import shapes
from . import gap_zones

__all__ = ["Piece", "split"]

_ROOM = 1.25
_RIM_SAMPLES = 400
_RIM_SPACING_M = 0.5
_OUTSIDE_M = 0.05
_RIM_SHARE = 0.25
"""A strip beside the shore has about as much rim as pass; one that only ends there has little."""


@dataclass
class Piece:
    """One gap: a polygon in frame metres and its kind."""

    ground: Any
    kind: str


def split(gap, area, cover, lines, min_width, min_area):
    """Pieces of the missed ground, each of one kind.

    Parameters
    ----------
    gap : shapely polygon
        Missed ground in frame metres, already opened by the least width.
    area : shapely polygon
        The area to be covered.
    cover : survey.coverage.cover.Cover
    lines : list of gap_zones.PassLine
        Empty where unknown: then no bottom, breaks and the strips under the boat cannot be told from other gaps.
    min_width, min_area : float
        Pieces under either (m, m2) join the neighbour they share most rim with.

    Returns
    -------
    list of Piece
        Together they are the gap; none overlap.
    """
    causes = {"hidden": shapes.empty(), "weak": shapes.empty(), **cover.causes}
    if lines:
        causes.update(gap_zones.zones(lines, cover, gap))
    pieces, rest = [], gap
    for kind, zone in causes.items():
        if not zone.is_empty:
            pieces += [Piece(part, kind) for part in shapes.parts(rest.intersection(zone))]
            rest = rest.difference(zone)
    roomy = _unvisited(rest, area, cover)
    pieces += [Piece(part, "unvisited") for part in roomy]
    rest = rest.difference(shapes.union(roomy)) if roomy else rest
    left = shapes.parts(rest)
    kinds = _neighbourhood(left, area, cover, bool(lines))
    pieces += [Piece(part, kind) for part, kind in zip(left, kinds)]
    return _without_crumbs([piece for piece in pieces if piece.ground.area > 0], min_width, min_area)


def _unvisited(gap, area, cover):
    """Parts of the gap with room for another line."""
    if gap.is_empty:
        return []
    if cover.levels[0].is_empty or not np.isfinite(cover.reach_m):
        return shapes.parts(gap) if cover.levels[0].is_empty else []
    reach = cover.reach_m
    x0, y0, x1, y1 = area.bounds
    window = box(x0 - 2 * reach, y0 - 2 * reach, x1 + 2 * reach, y1 + 2 * reach)
    core = window.difference(cover.levels[0]).buffer(-reach, 4).intersection(area)
    if core.is_empty:
        return []
    near = gap.intersection(core.buffer(_ROOM * reach, 4))
    cores = shapes.parts(core)
    tree = shapes.Tree(cores)
    return [part for part in shapes.parts(near) if len(tree.query(part))]


def _neighbourhood(parts, area, cover, has_lines):
    """Kind of each part by what borders it."""
    if not parts:
        return []
    inside, outside, owner = _rim_places(parts, [max(_RIM_SPACING_M, part.length / _RIM_SAMPLES) for part in parts])
    size = len(parts)
    covered = np.bincount(owner[shapes.contains(cover.levels[0], *outside.T)], minlength=size)
    rim = np.bincount(owner[~shapes.contains(area, *outside.T)], minlength=size)
    first, second = covered.copy(), np.zeros(size, int)
    if cover.passes:
        first[:] = 0
        tree = shapes.Tree([_box_around(part) for part in parts])
        for one in cover.passes:
            near = np.zeros(size, bool)
            near[tree.query(one.outline)] = True
            chosen = np.flatnonzero(near[owner])
            chosen = chosen[shapes.contains(one.outline, *outside[chosen].T)]
            chosen = chosen[~shapes.contains(one.outline, *inside[chosen].T)]
            held = np.bincount(owner[chosen], minlength=size)
            second = np.maximum(np.minimum(first, held), second)
            first = np.maximum(first, held)
    else:
        second = covered // 2  # passes unknown: taken as bordered by two alike
    alone = "between" if has_lines or not cover.passes else "nadir"
    if not np.isfinite(cover.reach_m):
        return [_name(s, f, r, alone) if f else "unvisited" for s, f, r in zip(second, first, rim)]
    return [_name(s, f, r, alone) for s, f, r in zip(second, first, rim)]


def _box_around(part):
    """The bounding box, places just outside the rim included."""
    x0, y0, x1, y1 = np.add(part.bounds, [-2 * _OUTSIDE_M] * 2 + [2 * _OUTSIDE_M] * 2)
    return shapes.polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def _name(second, first, rim, alone):
    if second and second >= rim:
        return "between"
    return "edge" if rim and rim >= _RIM_SHARE * first else alone


def _rim_places(polygons, spacing):
    """Places 5 cm inside and 5 cm outside the rims of polygons, evenly spaced along each ring, and whose they are.

    Parameters
    ----------
    polygons : list of n shapely polygons
    spacing : (n,) float

    Returns
    -------
    inside, outside : (m, 2) arrays
    owner : (m,) int array, rising
    """
    rings, whose, sign = [], [], []
    for i, polygon in enumerate(polygons):
        for shell, holes in shapes.rings(polygon):
            rings += [shell, *holes]
            whose += [i] * (1 + len(holes))
            sign += [1] + [-1] * len(holes)
    whose, sizes, ring = np.array(whose), np.array([len(r) for r in rings]), np.concatenate(rings)
    start = np.cumsum(sizes) - sizes
    edge = np.diff(ring, axis=0)
    edge[start[1:] - 1] = 0  # from ring to ring
    length = np.hypot(*edge.T)
    run = np.concatenate([[0.0], np.cumsum(length)])
    long = run[start + sizes - 1] - run[start]
    count = np.maximum(3, (long / np.asarray(spacing)[whose]).astype(int))
    of = np.repeat(np.arange(len(rings)), count)
    number = np.arange(len(of)) - (np.cumsum(count) - count)[of]
    stations = run[start][of] + (number + 0.5) / count[of] * long[of]
    at = np.clip(np.searchsorted(run, stations, "right") - 1, start[of], (start + sizes - 2)[of])
    unit = edge[at] / np.maximum(length[at], 1e-12)[:, None]
    xy = ring[at] + (stations - run[at])[:, None] * unit
    turn = np.array(sign) * np.sign(_signed_areas(ring, start, sizes)) * _OUTSIDE_M
    out = turn[of][:, None] * np.column_stack([unit[:, 1], -unit[:, 0]])
    return xy - out, xy + out, whose[of]


def _signed_areas(rings, start, sizes):
    """Area of each of closed rings that stand one behind the other, negative if it turns clockwise."""
    x, y = (rings - np.repeat(rings[start], sizes, axis=0)).T
    return np.add.reduceat(x[:-1] * y[1:] - x[1:] * y[:-1], start) / 2


def _without_crumbs(pieces, min_width, min_area):
    """Pieces too small or too narrow to stand alone joined to the neighbour they share most rim with."""
    small = [_is_crumb(piece.ground, min_width, min_area) for piece in pieces]
    crumbs = [piece for piece, crumb in zip(pieces, small) if crumb]
    whole = [piece for piece, crumb in zip(pieces, small) if not crumb]
    if not crumbs:
        return whole
    _, outside, owner = _rim_places([crumb.ground for crumb in crumbs], np.full(len(crumbs), _RIM_SPACING_M))
    rims = np.split(outside, np.searchsorted(owner, np.arange(1, len(crumbs))))
    tree = shapes.Tree([_box_around(crumb.ground) for crumb in crumbs])
    most, host = np.zeros(len(crumbs), int), np.full(len(crumbs), -1)
    for i, piece in enumerate(whole):
        near = tree.boxed(piece.ground)
        if not len(near):
            continue
        sizes = [len(rims[k]) for k in near]
        inside = shapes.contains(piece.ground, *np.vstack([rims[k] for k in near]).T)
        shared = np.bincount(np.repeat(np.arange(len(near)), sizes)[inside], minlength=len(near))
        more = shared > most[near]
        host[near[more]], most[near[more]] = i, shared[more]
    for i in np.unique(host[host >= 0]):
        gained = [crumbs[k].ground for k in np.flatnonzero(host == i)]
        whole[i] = Piece(shapes.drop_small_holes(shapes.union([whole[i].ground, *gained])), whole[i].kind)
    return whole + [crumb for crumb, at in zip(crumbs, host) if at < 0]


def _is_crumb(polygon, min_width, min_area):
    if polygon.area < min_area:
        return True
    return polygon.area / polygon.length < min_width / 2 and polygon.buffer(-0.499 * min_width, 4).is_empty
