"""Boats that run straight lines and circular arcs, and the ground a continuous fan of theirs sees.

Plane geometry and shapely only; nothing of the core's own. A course is a list of legs (length m, radius m): radius 0 is
straight, positive turns to starboard, negative to port. Places in metres east and north, azimuths in degrees.
"""
from __future__ import annotations

import numpy as np
import shapely.geometry as sg
from shapely.ops import unary_union

BEAM_M, BEAM_DEG = 0.5, 1.0
"""Distance and angle from beam to beam of the truth."""


def bend(degrees, radius):
    """Leg of a turn, positive to starboard."""
    return (radius * abs(np.radians(degrees)), np.copysign(radius, degrees))


def total(legs):
    """Length of a course."""
    return sum(length for length, _ in legs)


def poses(legs, way):
    """East, north, azimuth and curvature (1/m, positive to starboard) at distances along a course that begins north."""
    way = np.asarray(way, float)
    out = np.zeros((4, len(way)))
    at, azimuth, begun = np.zeros(2), 0.0, 0.0
    for k, (length, radius) in enumerate(legs):
        last = k + 1 == len(legs)
        own = (way >= begun) & ((way < begun + length) | last)
        s = way[own] - begun
        for where, run in ((own, s), (None, np.array([length]))):
            if radius:
                turned = azimuth + run / radius
                east = at[0] + radius * (np.cos(azimuth) - np.cos(turned))
                north = at[1] + radius * (np.sin(turned) - np.sin(azimuth))
            else:
                turned = np.full(len(run), azimuth)
                east, north = at[0] + run * np.sin(azimuth), at[1] + run * np.cos(azimuth)
            if where is not None:
                curve = np.full(len(run), 1 / radius if radius else 0.0)
                out[:, where] = east, north, np.degrees(turned), curve
        at, azimuth, begun = np.array([east[0], north[0]]), turned[0], begun + length
    return out


def seen(legs, near, far, start=0.0, end=None, sides=(-1, 1)):
    """Union of the ground between ``near`` and ``far`` metres abeam, the inner side of a turn up to its centre only."""
    end = total(legs) if end is None else end
    marks, begun = [], 0.0
    for length, radius in legs:
        step = min(BEAM_M, np.radians(BEAM_DEG) * abs(radius)) if radius else 5.0
        marks.append(begun + np.linspace(0, length, int(np.ceil(length / step)) + 1))
        begun += length
    quads = []
    for planned, (_, radius) in zip(marks, legs):
        way = np.unique(np.clip(planned, start, end))
        if len(way) < 2:
            continue
        # the last of a leg is the first of the next: of the leg's own curvature, not the next one's
        inside = np.clip(way, way[0] + 1e-9, way[-1] - 1e-9)
        east, north, azimuth, bent = poses(legs, inside)
        a = np.radians(azimuth)
        right = np.column_stack([np.cos(a), -np.sin(a)])
        at = np.column_stack([east, north])
        for side in sides:
            reach = min(far, abs(radius)) if radius * side > 0 else far
            if reach <= near:
                continue
            low, high = at + side * near * right, at + side * reach * right
            quads += [sg.Polygon(q).buffer(0) for q in zip(low[:-1], high[:-1], high[1:], low[1:])]
    return unary_union(quads)


def fixes(legs, speed, interval, jitter=0.0, seed=0, phase=0.0):
    """Times, easts and norths of a receiver's fixes; the first at ``phase`` seconds."""
    t = np.arange(phase, total(legs) / speed, interval)
    east, north, _, _ = poses(legs, t * speed)
    noise = np.random.default_rng(seed).normal(0, 1, (2, len(t))) * jitter
    return t, east + noise[0], north + noise[1]


def lawnmower(lines, length, radius, lead=0.0):
    """Legs of parallel lines joined by half circles, to starboard and to port in turn."""
    legs = []
    for k in range(lines):
        legs.append((length, 0.0))
        if k + 1 < lines:
            legs.append(bend(180.0 if k % 2 == 0 else -180.0, radius))
    return legs
