"""Straight ways over the boat's water from which gaps can be seen, and the stretches of them worth running.

Gaps stand for themselves by places strewn over them. A place is seen from a way if it lies abreast of it, beyond the
blind angle and inside the reach, both less the wander of the helm, with no land between. The ways tried run along the
gaps, along their neighbours and across, at the distances at which a gap's edge and the swath's edge meet.
"""
from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from shapely.geometry import LineString

from ..beams.land import water_reach
from ..beams.ranges import blind_range
from ..geometry import shapes
from ..geometry.edge_index import EdgeIndex
from ..model import patience
from ..share.places import strewn
from .spacing import PAIR_SURE

__all__ = ["GapPlaces", "Row", "best_stretch", "gap_places", "reachable", "rows_of", "rows_to"]

_PLACES = 5000
_MOST_EACH = 1500
_FINEST_M, _COARSEST_M = 0.4, 6.0
_DIRECTIONS, _ROWS = 7, 140
_STEPS = 10
_BIN, _APART = 1.0, 4
_RIMS, _RIM_M = 24, 0.5
_ALIKE_M = 0.15
_BEARINGS = 32


@dataclass
class GapPlaces:
    """(n,) places that stand for gaps: ``xy`` (n, 2) frame metres, ``area`` (m2) and ``worth`` (m2, weighted by how
    surely it is open) of each, ``owner`` the number of its gap, ``half`` (m) half the distance between such places,
    ``to_land`` (m) how near the shore is."""

    xy: np.ndarray
    area: np.ndarray
    worth: np.ndarray
    owner: np.ndarray
    half: np.ndarray
    to_land: np.ndarray

    def __len__(self):
        return len(self.xy)


@dataclass
class Row:
    """A straight way: from ``origin`` + ``low`` to ``origin`` + ``high`` metres along ``unit``; ``sees`` the numbers of
    places seen from it in the order ``at`` (m along it) in which they come abreast; ``range_m`` in force."""

    origin: np.ndarray
    unit: np.ndarray
    low: float
    high: float
    sees: np.ndarray
    at: np.ndarray
    range_m: float


def gap_places(gaps, weights, water, count=_PLACES):
    """Places over gaps, denser in narrow ones.

    Parameters
    ----------
    gaps : list of shapely polygons, frame metres
    weights : (g,) array
        How surely each is open, 0 to 1.
    water : shapely polygon
    """
    area = np.array([gap.area for gap in gaps])
    even = float(np.clip(np.sqrt(area.sum() / count), _FINEST_M, _COARSEST_M))
    wide = np.array([2 * gap.area / max(gap.length, 1e-9) for gap in gaps])
    step = np.clip(np.minimum(even, wide / 2.5), 0.25, None)
    xy, owner, each, half = [], [], [], []
    for number, gap in enumerate(gaps):
        patience.look()
        places = strewn(gap, int(np.clip(area[number] / step[number] ** 2, 6, _MOST_EACH)))
        xy.append(places)
        owner.append(np.full(len(places), number))
        each.append(np.full(len(places), area[number] / len(places)))
        half.append(np.full(len(places), min(0.5 * math.sqrt(area[number] / len(places)), wide[number])))
    xy, owner, each, half = map(np.concatenate, (xy, owner, each, half))
    to_land = EdgeIndex.of(water).nearest(xy, np.full(len(xy), 1e4))[1]
    return GapPlaces(xy, each, each * np.asarray(weights, float)[owner], owner, half, to_land)


def rows_of(places, gaps, ground, rule):
    """Ways to choose from.

    Parameters
    ----------
    places : GapPlaces
    gaps : list of shapely polygons, frame metres
    ground : survey.planning.polygons.Ground
    rule : survey.planning.spacing.ReachRule

    Returns
    -------
    list of Row
    """
    rows = []
    edges = _edges(gaps)
    for azimuth in _directions(edges):
        a = math.radians(azimuth)
        unit, right = np.array([math.sin(a), math.cos(a)]), np.array([math.cos(a), -math.sin(a)])
        abreast = _Abreast.of(places, unit)
        for offset in _offsets(places, edges, azimuth, right, ground, rule):
            patience.look()
            rows += _along(offset, abreast, places, ground, rule)
    return rows


def rows_to(numbers, positions, places, ground, rule):
    """Ways through single positions, each at right angles to the place that is seen from there."""
    rows = []
    for number, position in zip(numbers, positions):
        away = places.xy[number] - position
        unit = np.array([-away[1], away[0]]) / max(np.hypot(*away), 1e-9)
        abreast = _Abreast.of(places, unit)
        rows += [row for row in _along(position @ abreast.right, abreast, places, ground, rule) if number in row.sees]
    return rows


def _edges(gaps):
    """Middles (n, 2), azimuths (0 to 180) and lengths of the edges of all gaps."""
    rims = [line for gap in gaps for line in shapes.lines(gap)]
    start, end = np.concatenate([r[:-1] for r in rims]), np.concatenate([r[1:] for r in rims])
    way = end - start
    return (start + end) / 2, np.degrees(np.arctan2(*way.T)) % 180, np.hypot(*way.T)


def _directions(edges):
    """Grid azimuths (0 to 180) along which the edges of the gaps run, the longest first, and across the first."""
    _, azimuth, length = edges
    heap = np.bincount((azimuth / _BIN).astype(int) % int(180 / _BIN), length, int(180 / _BIN))
    heap = heap + np.roll(heap, 1)  # what lies on both sides of a boundary counts whole
    found = []
    while len(found) < _DIRECTIONS and heap.any():
        k = int(heap.argmax())
        off = (azimuth - k * _BIN + 90) % 180 - 90
        near_by = np.abs(off) <= _BIN
        if found and length[near_by].sum() < 0.02 * length.sum():
            break
        found.append(float((k * _BIN + np.average(off[near_by], weights=length[near_by] ** 2)) % 180))
        heap[np.arange(k - _APART, k + _APART + 1) % len(heap)] = 0.0
    across = (found[0] + 90) % 180
    return found if any(abs((a - across + 90) % 180 - 90) < 5 for a in found) else [*found, across]


def _limits(ground, rule, east, north, range_m):
    """Inner and outer ground range (m) that count from places of the boat.

    The outer edge gives up the helm's wander; at the inner edge what one side loses by it the other gains.
    """
    depth = ground.depth.filled(east, north)
    return blind_range(depth, rule.blind_deg), rule.at_edge(rule.ground(range_m, depth))


def _inside(rule):
    """What of the wander's margin (m) also serves for the ground that a place stands for."""
    return PAIR_SURE * rule.wander_m / 2


def _usual(ground, rule):
    depth = np.array([ground.depth.usual])
    range_m = rule.range_m if rule.range_m is not None else float(rule.range_of(depth)[0])
    near = float(blind_range(depth, rule.blind_deg)[0])
    return near, max(float(rule.at_edge(rule.ground(range_m, depth))[0]), 0.1)


def _offsets(places, edges, azimuth, right, ground, rule):
    """Distances of ways from the origin: where an edge of a gap meets an edge of the swath, and evenly between."""
    near, far = _usual(ground, rule)
    v = places.xy @ right
    low = np.full(places.owner.max() + 1, np.inf)
    high = -low
    np.minimum.at(low, places.owner, v - places.half / 2)
    np.maximum.at(high, places.owner, v + places.half / 2)
    known = np.isfinite(low)
    low, high = low[known], high[known]
    middle, beside = (low + high) / 2, (near + far) / 2
    rim = _rims(edges, azimuth, right)
    aligned = np.concatenate([rim - far, rim - near, rim + far, rim + near, high - far, low + far, middle - beside,
                              middle + beside, middle])
    step = max((far - near) / _STEPS, 0.5, (high.max() - low.min() + 2 * far) / _ROWS)
    even = np.arange(low.min() - far, high.max() + far + step, step)
    found = np.sort(np.concatenate([aligned, even]))
    found = found[np.append(True, np.diff(found) > _ALIKE_M)]
    if len(found) > 3 * _ROWS:
        found = found[np.linspace(0, len(found) - 1, 3 * _ROWS).astype(int)]
    # a way from which nothing lies abreast within reach is none
    ordered = np.sort(v)
    return found[np.searchsorted(ordered, found + far) > np.searchsorted(ordered, found - far)]


def _rims(edges, azimuth, right):
    """Where the edges that run along an azimuth lie across it, the longest of them."""
    middle, course, length = edges
    along = np.abs((course - azimuth + 90) % 180 - 90) < 3
    if not along.any():
        return np.empty(0)
    at = middle[along] @ right
    heap, where = np.unique(np.round(at / _RIM_M).astype(int), return_inverse=True)
    total = np.bincount(where, length[along])
    place = np.bincount(where, length[along] * at) / np.maximum(total, 1e-9)
    return place[np.argsort(-total, kind="stable")[:_RIMS]]


class _Abreast(NamedTuple):
    """How places lie to ways along ``unit``: (n,) metres ``along`` and to the ``right`` of it (``beside``), and their
    numbers in the order of the latter."""

    unit: np.ndarray
    right: np.ndarray
    along: np.ndarray
    beside: np.ndarray
    order: np.ndarray

    @classmethod
    def of(cls, places, unit):
        right = np.array([unit[1], -unit[0]])
        beside = places.xy @ right
        return cls(unit, right, places.xy @ unit, beside, np.argsort(beside, kind="stable"))

    def within(self, offset, most):
        """Numbers of the places less than ``most`` metres beside the way at ``offset``, in their own order."""
        first, last = np.searchsorted(self.beside, (offset - most, offset + most), sorter=self.order)
        return np.sort(self.order[first:last])


def _along(offset, abreast, places, ground, rule):
    """Rows on the straight line ``offset`` metres to the right: a row for each stretch of it on the boat's water."""
    near_by = abreast.within(offset, _usual(ground, rule)[1] * 1.5 + 5)
    if not len(near_by):
        return []
    u, unit, base = abreast.along[near_by], abreast.unit, offset * abreast.right
    cut = ground.boat.intersection(LineString(base + np.outer([u.min() - 1, u.max() + 1], unit)))
    rows = []
    for part in getattr(cut, "geoms", [cut]):
        if part.geom_type != "LineString" or part.length < 1:
            continue
        way = np.sort(np.asarray(part.coords) @ unit)
        row = _row(_Way(base, unit, way[0], way[-1]), near_by, abreast.beside - offset, places, ground, rule)
        if row is not None:
            rows.append(row)
    return rows


class _Way(NamedTuple):
    """``low`` to ``high`` metres along ``unit`` from ``base``."""

    base: np.ndarray
    unit: np.ndarray
    low: float
    high: float


def _row(way, near_by, offset, places, ground, rule):
    """The row on a stretch of clear water; None where nothing is seen from it. ``offset`` (n,): how far to starboard
    of the way each place lies; ``near_by``: numbers of those that may be in reach."""
    u = places.xy[near_by] @ way.unit
    inside = (u >= way.low) & (u <= way.high)
    at, u = near_by[inside], u[inside]
    if not len(at):
        return None
    feet = way.base + np.outer(u, way.unit)
    depth = ground.depth.filled(*feet.T)
    range_m = rule.range_m if rule.range_m is not None else float(rule.range_of(np.array([depth.mean()]))[0])
    inner, outer = _limits(ground, rule, *feet.T, range_m)
    away = np.abs(offset[at])
    good = (away >= inner) & (away + places.half[at] <= outer + _inside(rule))
    shore = np.flatnonzero(good & (places.to_land[at] < away + 1))
    if len(shore):
        beam = np.sign(offset[at[shore]])[:, None] * np.array([way.unit[1], -way.unit[0]])
        free = water_reach(ground.water, *feet[shore].T, *beam.T, away[shore])
        good[shore] &= free >= away[shore] - 0.01
    at, u = at[good], u[good]
    if not len(at):
        return None
    order = np.argsort(u, kind="stable")
    return Row(way.base, way.unit, float(way.low), float(way.high), at[order], u[order], float(range_m))


def best_stretch(row, worth, rate, turn_m):
    """The stretch of a row that gains most over a rate: (gain, first, last) positions in ``row.sees``.

    Parameters
    ----------
    worth : (n,) array
        What each place is still worth, m2.
    rate : float
        m2 that a metre of way must bring.
    turn_m : float
        Way (m) that a further line costs beside its length.
    """
    value = worth[row.sees]
    way = rate * row.at
    ahead = value.cumsum() - way                # of a stretch that ends here, less what lies before its beginning
    before = ahead - value                      # of one that begins here, what lies before it
    gain = ahead - np.minimum.accumulate(before)
    last = int(gain.argmax())
    first = int(before[:last + 1].argmin())
    return float(gain[last] - rate * turn_m), first, last


def reachable(places, ground, rule, least_m):
    """Which places can be seen from some position of the boat: (n,) bool, and (n, 2) such a position."""
    found, where = np.zeros(len(places), bool), np.full((len(places), 2), np.nan)
    near, far = _usual(ground, rule)
    for share in (0.5, 0.25, 0.75, 0.08, 0.95):
        for bearing in np.arange(_BEARINGS) * 2 * math.pi / _BEARINGS:
            left = np.flatnonzero(~found)
            if not len(left):
                return found, where
            patience.look()
            unit = np.array([math.sin(bearing), math.cos(bearing)])
            away = near + share * (far - near) + np.zeros(len(left))
            at = places.xy[left] - away[:, None] * unit
            afloat = shapes.contains(ground.boat, *at.T)
            left, at, away = left[afloat], at[afloat], away[afloat]
            if not len(left):
                continue
            depth = ground.depth.filled(*at.T)
            ranges = np.full(len(at), rule.range_m) if rule.range_m is not None else rule.range_of(depth)
            inner, outer = _limits(ground, rule, *at.T, ranges)
            half = places.half[left]
            good = (away >= inner) & (away + half <= outer + _inside(rule))
            left, at, away = left[good], at[good], away[good]
            if len(left):
                free = water_reach(ground.water, *at.T, np.full(len(left), unit[0]), np.full(len(left), unit[1]), away)
                # a stretch of the least length lies on the boat's water, athwart of the place
                side = np.array([unit[1], -unit[0]]) * least_m / 2
                room = shapes.contains(ground.boat, *(at + side).T) & shapes.contains(ground.boat, *(at - side).T)
                good = (free >= away - 0.01) & room
                found[left[good]], where[left[good]] = True, at[good]
    return found, where
