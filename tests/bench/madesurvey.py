"""An invented survey to measure with: a lake of 4.3 km2 run up and down at 1.5 m/s, one fix a second.

Lines 40 m apart, first east and west, then north and south, then east and west again between the first ones; smooth
turns; 60 m off the shore; a helm that wanders by 1 m; a slow crab of 3 degrees and 0.3 degrees of noise in the heading;
water of 3 to 16 m; 30 m of range.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely.geometry as sg

SPACING, RANGE, SPEED, SETBACK = 40.0, 30.0, 1.5, 60.0

WANDER_M, WANDER_S = 1.0, 20
"""Standard deviation off the line in both directions, and of the Gauss curve in time that makes it smooth."""

CRS = "+proj=tmerc +lat_0=45 +lon_0=-93 +k=1 +x_0=5000 +y_0=5000 +ellps=WGS84 +units=m +no_defs +type=crs"
"""Scale 1 in the middle of the lake, so that metres of the map are metres over ground for every method compared."""

_ORIGIN = np.array([5000.0, 5000.0])


@dataclass
class Survey:
    """(n,) arrays at one fix a second: ``east``, ``north`` and ``azimuth`` in ``CRS``, ``depth``, ``pass_id``; ``lake``
    a shapely polygon."""

    lake: object
    east: np.ndarray
    north: np.ndarray
    azimuth: np.ndarray
    depth: np.ndarray
    pass_id: np.ndarray

    def __len__(self):
        return len(self.east)

    def first(self, count):
        """The first ``count`` fixes."""
        return Survey(self.lake, self.east[:count], self.north[:count], self.azimuth[:count], self.depth[:count],
                      self.pass_id[:count])

    def finer(self, times):
        """Fixes set in between, straight from one to the next; passes stay apart."""
        at = np.arange((len(self) - 1) * times + 1) / times
        whole = np.arange(len(self))
        values = (np.interp(at, whole, v) for v in (self.east, self.north, self.azimuth, self.depth))
        number = self.pass_id[np.floor(at).astype(int)]
        change = np.flatnonzero(np.diff(self.pass_id)) * times
        kept = np.ones(len(at), bool)
        for start in change.tolist():  # nothing lies between the last fix of a pass and the first of the next
            kept[start + 1:start + times] = False
        return Survey(self.lake, *(v[kept] for v in values), number[kept])

    def edges(self):
        """Inner and outer points of port and starboard beams, four (n, 2) arrays; blind within 20 degrees."""
        azimuth = np.radians(self.azimuth)
        at, right = np.column_stack([self.east, self.north]), np.column_stack([np.cos(azimuth), -np.sin(azimuth)])
        near, far = self.depth * np.tan(np.radians(20.0)), np.sqrt(RANGE**2 - self.depth**2)
        return [at + side * reach[:, None] * right for side in (-1, 1) for reach in (near, far)]

    def quads(self):
        """(m, 4, 2) corners of what is seen between neighbouring fixes of a pass, and (m,) their pass."""
        joined = np.flatnonzero(self.pass_id[1:] == self.pass_id[:-1])
        sides = self.edges()
        found = [np.stack([near[joined], far[joined], far[joined + 1], near[joined + 1]], axis=1)
                 for near, far in (sides[:2], sides[2:])]
        return np.concatenate(found), np.tile(self.pass_id[joined], 2)


def lake():
    """A shore of 700 vertices, in metres about its middle."""
    angle = np.linspace(0, 2 * np.pi, 700, endpoint=False)
    radius = 1 + 0.10 * np.sin(2 * angle + 1) + 0.07 * np.sin(5 * angle) + 0.02 * np.sin(17 * angle)
    return sg.Polygon(np.column_stack([1370 * radius * np.cos(angle), 980 * radius * np.sin(angle)]))


def _lines(water, across, offset):
    """Ends of parallel lines, back and forth; ``across`` 0 runs them east and west, 1 north and south."""
    low, high = water.bounds[1 - across], water.bounds[3 - across]
    ends, back = [], False
    for position in np.arange(low + SPACING / 2 + offset, high, SPACING):
        line = sg.LineString([(-5000, position), (5000, position)] if across == 0
                             else [(position, -5000), (position, 5000)])
        chord = line.intersection(water)
        parts = sorted(getattr(chord, "geoms", [chord]), key=lambda part: -part.length)
        if not chord.is_empty and parts[0].length > 60:
            pair = np.array(parts[0].coords)
            ends.append(pair[::-1] if back else pair)
            back = not back
    return ends


def _path(ends):
    """Vertices of a smooth path along the lines, and the number of the line each belongs to (cut at mid-turn)."""
    points, number = [], []
    for i, (start, end) in enumerate(ends):
        count = max(2, int(np.hypot(*(end - start)) / 2))
        points.append(start + np.linspace(0, 1, count)[:, None] * (end - start))
        number.append(np.full(count, i))
        if i + 1 < len(ends):
            turn = _turn(end, end - start, ends[i + 1][0], ends[i + 1][1] - ends[i + 1][0])
            points.append(turn)
            number.append(np.where(np.arange(len(turn)) < len(turn) // 2, i, i + 1))
    return np.vstack(points), np.concatenate(number)


def _turn(start, away, end, onward):
    """From one line to the next: straight on until both ends lie abreast, then a half circle 20 m in radius."""
    away = away / np.hypot(*away)
    onward = onward / np.hypot(*onward)
    aside = end - start - ((end - start) @ away) * away
    if away @ onward > -0.99 or np.hypot(*aside) > 2 * SPACING:  # to another set of lines: a wide bend
        reach, t = 1.5 * np.hypot(*(end - start)), np.linspace(0, 1, 80)[1:-1, None]
        return ((2 * t**3 - 3 * t**2 + 1) * start + (t**3 - 2 * t**2 + t) * reach * away
                + (3 * t**2 - 2 * t**3) * end + (t**3 - t**2) * reach * onward)
    further = max((end - start) @ away, 0.0)
    angle = np.linspace(0, np.pi, 60)[:, None]
    centre = start + further * away + aside / 2
    return centre - np.cos(angle) * aside / 2 + np.sin(angle) * np.hypot(*aside) / 2 * away


def _wander(count, rng):
    """(n,) offsets in metres."""
    time = np.arange(-5 * WANDER_S, 5 * WANDER_S + 1)
    curve = np.exp(-np.square(time / WANDER_S) / 2)
    return WANDER_M * np.convolve(rng.normal(0, 1, count + len(time) - 1), curve / np.sqrt(np.sum(curve**2)), "valid")


def make(hours=50.0, seed=7, ruled=False):
    """The survey; the same every time. ``ruled``: every line dead straight, as no boat runs it."""
    water, rng, count = lake(), np.random.default_rng(seed), int(hours * 3600)
    inside = water.buffer(-SETBACK)
    ends = _lines(inside, 0, 0.0) + _lines(inside, 1, 0.0) + _lines(inside, 0, SPACING / 2) + _lines(inside, 1, 20.0)
    points, number = _path(ends)
    travel = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.arange(count) * SPEED
    if at[-1] > travel[-1]:
        raise ValueError(f"the lines last for {travel[-1] / SPEED / 3600:.1f} hours only")
    east, north = (np.interp(at, travel, points[:, k]) for k in (0, 1))
    if not ruled:
        wander = np.random.default_rng(seed + 1)
        east, north = east + _wander(count, wander), north + _wander(count, wander)
    course = np.degrees(np.unwrap(np.arctan2(np.gradient(east), np.gradient(north))))
    crab, kept = np.empty(count), np.exp(-1 / 60)
    noise, state = rng.normal(0, 3 * np.sqrt(1 - kept**2), count), 0.0
    for i in range(count):
        state = kept * state + noise[i]
        crab[i] = state
    depth = 9.3 + 4 * np.cos(east / 420) * np.cos(north / 350) + 2.5 * np.sin(east / 130 + north / 170)
    return Survey(sg.Polygon(np.array(water.exterior.coords) + _ORIGIN), east + _ORIGIN[0], north + _ORIGIN[1],
                  course + crab + rng.normal(0, 0.3, count), depth,
                  number[np.searchsorted(travel, at, "right") - 1] + 1)
