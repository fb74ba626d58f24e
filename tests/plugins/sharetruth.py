"""Simulated outings whose true share seen is known: errors are drawn, a boat is steered, a log is kept.

Two worlds. ``receiver``: the boat follows the lines its receiver shows, so the record is straight and the truth strays.
``marks``: it follows true lines, and the record strays. Truth is Pythagoras on a plane bottom, quads and a union; it
shares nothing with the code under test. Metres east and north on a transverse Mercator of scale 1.
"""
from dataclasses import dataclass

import numpy as np
from shapely.geometry import Polygon, box
from shapely.ops import unary_union

CRS = "+proj=tmerc +lat_0=45 +lon_0=10 +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m"
RANGE, BLIND, SPEED, DEPTH = 30.0, np.tan(np.radians(20.0)), 2.0, 6.0
SOUND = 1450.0

# one sigma of each error, as design and manual name them for an ordinary boat
BIAS, DRIFT, JITTER, LATENCY, LEVER = 2.0, 0.5, 0.5, 0.5, 0.3
MOUNT, TRIM, COMPASS, CRAB_MPS = 2.0, 2.0, 3.0, 0.2
SOUND_SIGMA, DEPTH_SIGMA, RANGE_SIGMA, DEPTH_NOISE = 15.0, 0.2, 0.3, 0.1
HELM_M, HELM_S = 1.0, 15

FIELD = box(0, 0, 260, 170)


@dataclass
class Outing:
    """``legs``: list of dicts of (n,) arrays at the fixes: t, east, north, heading (None: course), depth. ``area``,
    ``water`` (None: open) and ``truth`` are polygons."""

    legs: list
    area: object
    water: object
    truth: object

    @property
    def share(self):
        """True share seen, percent."""
        return 100 * self.truth.intersection(self.area).area / self.area.area


def _rounded(angle):
    radius = 1 + 0.02 * np.sin(2 * angle + 1) + 0.01 * np.sin(3 * angle)
    return np.column_stack([150 * radius * np.cos(angle), 135 * radius * np.sin(angle)])


def _plan(rng, layout):
    """(legs as (n, 2) lines, area, water)."""
    if layout == "shore":
        lake = Polygon(_rounded(np.linspace(0, 2 * np.pi, 400, endpoint=False)))
        lines = []
        for setback in (rng.uniform(14, 20), rng.uniform(52, 58)):
            ring = np.array(lake.buffer(-setback).simplify(0.05).exterior.coords)
            start = rng.integers(len(ring) - 1)
            ring = np.roll(ring[:-1], -start, axis=0)
            lines.append(np.vstack([ring, ring[:1]]))
        return lines, lake.difference(lake.buffer(-68)), lake
    if layout == "random":
        lines = []
        for _ in range(9):
            middle, angle = rng.uniform((30, 30), (230, 140)), rng.uniform(0, 2 * np.pi)
            along = np.array([np.cos(angle), np.sin(angle)])
            back, ahead = rng.choice([60.0, 260.0]), rng.choice([60.0, 260.0])
            lines.append(np.array([middle - back * along, middle + ahead * along]))
        return lines, FIELD, None
    spacing, angle = rng.uniform(42, 62), np.radians(rng.uniform(-20, 20))
    along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    middle, lines = np.array([130.0, 85.0]), []
    for number, offset in enumerate(np.arange(-220 + rng.uniform(0, spacing), 221, spacing)):
        ends = middle + offset * across + np.array([[-240.0], [240.0]]) * along
        line = Polygon(np.vstack([ends, ends[::-1] + 0.01])).buffer(35)
        if line.intersects(FIELD):
            lines.append(ends if number % 2 else ends[::-1])
    return lines, FIELD, None


def _steered(rng, line):
    """(n, 2) places a second apart along a line, strayed from by the helm."""
    run = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.arange(0, run[-1], SPEED)
    xy = np.column_stack([np.interp(at, run, line[:, k]) for k in (0, 1)])
    bell = np.exp(-np.square(np.arange(-45, 46) / HELM_S) / 2)
    noise = rng.normal(0, 1, (2, len(at) + 90))
    return xy + HELM_M * np.column_stack([np.convolve(n, bell, "valid") for n in noise]) / np.sqrt((bell ** 2).sum())


def _course(xy):
    return np.unwrap(np.arctan2(*np.gradient(xy, axis=0).T))


def _moved(xy, seconds):
    """Where the boat is so many seconds later, straight on beyond the ends."""
    at, n = np.arange(len(xy)) + seconds, len(xy)
    found = np.column_stack([np.interp(at, np.arange(n), xy[:, k]) for k in (0, 1)])
    for end, step in ((at > n - 1, xy[-1] - xy[-2]), (at < 0, xy[1] - xy[0])):
        past = np.where(at > n - 1, at - n + 1, at)[end]
        found[end] += past[:, None] * step
    return found


def outing(rng, world, layout, compass, interval, slope):
    """One Outing; ``slope`` is the rise of the bottom to the north."""
    lines, area, water = _plan(rng, layout)
    bias, late = rng.normal(0, BIAS, 2), rng.normal(0, LATENCY)
    lever, mount, trim = rng.normal(0, LEVER, 2), *np.radians(rng.normal(0, (MOUNT, TRIM)))
    scale, offset = 1 + rng.normal(0, SOUND_SIGMA / SOUND), rng.normal(0, DEPTH_SIGMA)
    middle = np.array(area.envelope.centroid.coords[0])
    legs, seen, clock = [], [], 1_760_000_000.0
    for line in lines:
        path = _steered(rng, line)
        path = path[:(len(path) - 1) // interval * interval + 1]  # what no fix closes off, nobody can know
        error = bias + rng.normal(0, DRIFT, 2)
        shown, true = (path, _moved(path, late) - error) if world == "receiver" else (_moved(path, -late) + error, path)
        heading = _course(true) + rng.normal(0, np.arcsin(CRAB_MPS / SPEED))
        bow = np.column_stack([np.sin(heading), np.cos(heading)])
        right = np.column_stack([bow[:, 1], -bow[:, 0]])
        depth = np.maximum(DEPTH - slope * (true - middle)[:, 1], 2.0)
        fan = heading + mount
        ahead, beam = np.column_stack([np.sin(fan), np.cos(fan)]), np.column_stack([np.cos(fan), -np.sin(fan)])
        at = true + lever[0] * bow + lever[1] * right + (depth * np.tan(trim))[:, None] * ahead
        slant = (RANGE + rng.normal(0, RANGE_SIGMA)) * scale
        for side in (-1, 1):
            seen += _strip(at, side * beam, depth, slant, -slope * side * beam[:, 1])
        pick = np.arange(0, len(path), interval)
        logged = shown[pick] + rng.normal(0, JITTER, (len(pick), 2))
        legs.append({"t": clock + pick, "east": logged[:, 0], "north": logged[:, 1],
                     "heading": np.degrees(heading[pick]) + rng.normal(0, COMPASS) if compass else None,
                     "depth": depth[pick] / scale + offset + rng.normal(0, DEPTH_NOISE, len(pick))})
        clock += len(path) + 300.0
    truth = unary_union(seen)
    return Outing(legs, area, water, truth if water is None else truth.intersection(water))


def _strip(at, beam, depth, slant, dip):
    """Polygons of what one side saw of a plane bottom that falls by ``dip`` (n,) per metre outwards."""
    inner = depth * BLIND / (1 - dip * BLIND)
    half, whole = depth * dip, 1 + dip ** 2
    outer = (-half + np.sqrt(half ** 2 - whole * (depth ** 2 - slant ** 2))) / whole
    near, far = at + inner[:, None] * beam, at + outer[:, None] * beam
    ring = Polygon(np.vstack([near, far[::-1]]))
    if ring.is_valid:
        return [ring]
    quads = np.stack([near[:-1], far[:-1], far[1:], near[1:]], axis=1)
    return [Polygon(quad).convex_hull for quad in quads]
