"""The lake: shoreline and floor as analytic functions of the map coordinates.

Everything is in local metres east ``u`` and north ``v`` of ``ORIGIN``, a point of the map grid ``EPSG``. The water is
where ``inside`` is positive; ``depth`` is metres down from the surface of the day and zero on the shore.
"""
from __future__ import annotations

import numpy as np

EPSG = 32619
ORIGIN = (305_000.0, 4_481_000.0)
"""Map coordinates of the local origin: open ocean, so that nobody takes the lake for a real one."""

BOX = (-960.0, -620.0, 980.0, 640.0)
"""Local west, south, east and north limits of the maps."""

LEDGE_ENDS = (-640.0, -165.0)
"""West and east end (local u) of the drop-off: shallow to its north, deep to its south."""

LEDGE_DROP_M = 4.6
LEDGE_HALF_WIDTH_M = 1.1

_SWELLS = 14
_WIGGLES = 16
_NOTCHES = 18


def _waves(seed, count, shortest, longest):
    """Direction, wave number and phase of ``count`` plane waves between two wavelengths (m)."""
    rng = np.random.default_rng(seed)
    length = np.exp(rng.uniform(np.log(shortest), np.log(longest), count))
    return rng.uniform(0, 2 * np.pi, count), 2 * np.pi / length, rng.uniform(0, 2 * np.pi, count)


def _ripple(u, v, waves):
    """Sum of the waves, of standard deviation about 1; longer waves weigh more."""
    direction, number, phase = waves
    weight = number ** -0.5
    weight = weight / np.sqrt((weight ** 2).sum() / 2)
    total = np.zeros(np.broadcast(u, v).shape)
    for a, k, p, w in zip(direction, number, phase, weight):
        total += w * np.sin(k * (u * np.cos(a) + v * np.sin(a)) + p)
    return total


_SHORE_WAVES = _waves(41, _WIGGLES, 60.0, 420.0)
_NOTCH_WAVES = _waves(43, _NOTCHES, 26.0, 90.0)
_PATCH_WAVES = _waves(44, 12, 9.0, 60.0)
_RIPPLE_WAVES = _waves(45, 8, 0.9, 4.0)
_FLOOR_WAVES = _waves(42, _SWELLS, 70.0, 500.0)


def _ellipse(u, v, east, north, half_length, half_width, turn_deg):
    """About the distance (m) to an ellipse, positive inside; ``turn_deg`` anticlockwise from east."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    x, y = (u - east) * c + (v - north) * s, -(u - east) * s + (v - north) * c
    k = np.hypot(x / half_length, y / half_width)
    slope = np.hypot(x / half_length ** 2, y / half_width ** 2)
    return k * (1 - k) / np.maximum(slope, 1e-9)


def _finger(u, v, start, end, start_radius, end_radius):
    """Distance (m) to a tapering finger along a segment, positive inside."""
    (a, b), (c, d) = start, end
    length2 = (c - a) ** 2 + (d - b) ** 2
    along = np.clip(((u - a) * (c - a) + (v - b) * (d - b)) / length2, 0, 1)
    gap = np.hypot(u - a - along * (c - a), v - b - along * (d - b))
    return start_radius + along * (end_radius - start_radius) - gap


def _join(p, q, blend):
    """Smooth union of two insides; ``blend`` (m) rounds the inner corner."""
    h = np.clip(0.5 + 0.5 * (p - q) / blend, 0, 1)
    return q + (p - q) * h + blend * h * (1 - h)


def _cut(p, q, blend):
    """The inside ``p`` less the inside ``q``, rounded."""
    return -_join(-p, q, blend)


def _island(u, v):
    return _ellipse(u, v, -60.0, -30.0, 105.0, 52.0, 28.0)


def inside(u, v):
    """About the distance (m) from the shore, positive in the water, negative on land and on the island."""
    u, v = np.asarray(u, float), np.asarray(v, float)
    water = _ellipse(u, v, -310.0, 130.0, 560.0, 330.0, -7.0)
    water = _join(water, _ellipse(u, v, 430.0, 10.0, 470.0, 300.0, 24.0), 90.0)
    water = _join(water, _ellipse(u, v, 90.0, -330.0, 330.0, 210.0, 8.0), 80.0)
    water = _join(water, _finger(u, v, (-560.0, 330.0), (-700.0, 520.0), 70.0, 34.0), 30.0)  # Otter Cove
    water = _join(water, _finger(u, v, (-790.0, 80.0), (-900.0, -40.0), 60.0, 26.0), 30.0)  # Mill Cove
    water = _join(water, _finger(u, v, (800.0, 210.0), (930.0, 330.0), 55.0, 20.0), 40.0)  # the inlet
    water = _join(water, _finger(u, v, (330.0, -420.0), (500.0, -520.0), 60.0, 38.0), 35.0)  # Reed Cove
    wiggles, notches = _ripple(u, v, _SHORE_WAVES), _ripple(u, v, _NOTCH_WAVES)
    water = water + 10.0 * wiggles + 2.2 * notches
    water = _cut(water, _finger(u, v, (110.0, 520.0), (60.0, 270.0), 64.0, 15.0), 26.0)  # Sickle Spit
    water = _cut(water, _finger(u, v, (60.0, 270.0), (5.0, 205.0), 15.0, 9.0), 12.0)  # and its hook
    return _cut(water, _island(u, v) + 9.0 * wiggles + 2.2 * notches, 20.0)


def ledge(u):
    """Local v of the brink of the drop-off at ``u``, and how fast it changes along ``u``."""
    v = 231.0 - 0.03 * (u + 400) + 6.0 * np.sin(u / 31.0) + 3.0 * np.sin(u / 13.7 + 1.0)
    return v, -0.03 + 6.0 / 31.0 * np.cos(u / 31.0) + 3.0 / 13.7 * np.cos(u / 13.7 + 1.0)


def _ledge_distance(u, v):
    """About the distance (m) from the brink, positive on the deep side, and how far past its ends the point is."""
    brink, slope = ledge(u)
    west, east = LEDGE_ENDS
    return (brink - v) / np.sqrt(1 + slope ** 2), np.maximum(np.maximum(west - u, u - east), 0.0)


def depth(u, v):
    """Depth of the floor (m, down from the surface); negative on land, where it only serves to draw the shore."""
    u, v = np.asarray(u, float), np.asarray(v, float)
    shore = inside(u, v)
    hollow = (6.4 + 4.4 * np.exp(-(((u + 330) / 330) ** 2 + ((v - 90) / 130) ** 2))
              + 5.6 * np.exp(-(((u - 420) / 260) ** 2 + ((v - 20) / 150) ** 2))
              + 0.9 * np.exp(-(((u - 90) / 260) ** 2 + ((v + 330) / 150) ** 2))
              - 1.6 * np.exp(-(((u - 120) / 90) ** 2 + ((v - 60) / 160) ** 2)))
    floor = hollow * (1 - np.exp(-np.maximum(shore, 0) / 42.0)) + np.minimum(shore, 0) * 0.15
    floor = floor + 0.32 * _ripple(u, v, _FLOOR_WAVES) * (1 - np.exp(-np.maximum(shore, 0) / 60.0))
    across, past = _ledge_distance(u, v)
    fade = np.exp(-(past / 75.0) ** 2)
    step = 0.5 * (1 + np.tanh(across / LEDGE_HALF_WIDTH_M))
    shelf = np.exp(-(np.minimum(across, 0) / 80.0) ** 2)  # the bench above the brink merges with the shelf to its north
    apron = np.exp(-(np.maximum(across, 0) / 110.0) ** 2)  # and the drop is taken up again by the basin to its south
    change = LEDGE_DROP_M * fade * (step * apron - 0.35 * (1 - step) * shelf)
    return np.where(shore > 0, np.maximum(floor + change * (1 - np.exp(-np.maximum(shore, 0) / 25.0)), 0.0), floor)


def mottle(u, v):
    """Two textures of the floor, each about standard normal: patches of 9 to 60 m and ripples of 1 to 4 m."""
    return _ripple(u, v, _PATCH_WAVES), _ripple(u, v, _RIPPLE_WAVES)
