"""Tracks that break strips, and what they should give: every quad on its own."""
import numpy as np
import shapely.geometry as sg
import tracks
from shapely.ops import unary_union
from shapely.validation import make_valid

NAMES = ["survey", "loops of 10 m", "figure of eight", "moored and swinging", "reversing", "jump of 400 m",
         "zero speed", "too deep in places", "spiral"]


def raw_quads(track, frame, blind=20.0):
    """(pass, (4, 2) corners) of both sides of every interval, straight from the definition; no ranges change.

    An interval between two passes is a turn cut at its second sample: it belongs to the first of them.
    """
    east, north = frame.forward(track.x, track.y)
    azimuth = np.radians(track.heading_deg - frame.convergence(east, north))
    at, right = np.column_stack([east, north]), np.column_stack([np.cos(azimuth), -np.sin(azimuth)])
    inner = track.depth_m * np.tan(np.radians(blind))
    outer = np.sqrt(np.maximum(track.range_m**2 - track.depth_m**2, 0))
    for i in range(len(track) - 1):
        if track.sample_id[i + 1] == track.sample_id[i] + 1 and outer[i] > inner[i] and outer[i + 1] > inner[i + 1]:
            for side in (-1, 1):
                yield track.pass_id[i], np.array([at[j] + side * g[j] * right[j] for j, g in (
                    (i, inner), (i, outer), (i + 1, outer), (i + 1, inner))])


def brute_quads(track, frame):
    """The same as valid polygons, by pass."""
    found = {}
    for pass_id, corners in raw_quads(track, frame):
        quad = sg.Polygon(corners)
        found.setdefault(pass_id, []).append(quad if quad.is_valid else make_valid(quad))
    return found


def whole_union(polygons):
    """Union by three orders, the largest: where dozens of edges all but meet, an overlay may drop a piece."""
    orders = polygons, polygons[::2] + polygons[1::2], [unary_union(polygons[k::5]) for k in range(5)]
    return max(map(unary_union, orders), key=lambda found: found.area)


def circle(turns, radius, step, rate=0.0):
    """A path that goes round (and outwards by ``rate`` m a turn)."""
    angle = np.arange(0, 2 * np.pi * turns, step / radius)
    reach = radius + rate * angle / (2 * np.pi)
    return reach * np.sin(angle), reach * np.cos(angle)


def path(name):
    """Tracks that break strips: (east, north, azimuth, other columns)."""
    rng = np.random.default_rng(3)
    n = 200
    if name == "survey":
        east, north, azimuth, pass_id = tracks.boustrophedon()
        return east, north, azimuth, {"pass_id": pass_id, "depth_m": 5 + 2 * np.sin(north / 60)}
    if name == "loops of 10 m":
        return (*circle(14, 10.0, 1.5), None, {})
    if name == "figure of eight":
        a = np.linspace(0, 4 * np.pi, 300)
        return 60 * np.sin(a), 30 * np.sin(2 * a), None, {}
    if name == "moored and swinging":
        return rng.normal(0, 0.4, n), rng.normal(0, 0.4, n), np.cumsum(rng.normal(0, 8, n)), {}
    if name == "reversing":
        along = np.concatenate([np.arange(60), np.arange(60, 0, -1), np.arange(60)]) * 1.5
        return 0.02 * along, along, np.zeros(len(along)), {}
    if name == "jump of 400 m":
        along = np.arange(80) * 1.5
        return np.where(along > 60, 400.0, 0.0), along, np.where(along > 60, 40.0, 0.0), {}
    if name == "zero speed":
        along = np.concatenate([np.arange(40), np.full(30, 40), np.arange(40, 80)]) * 1.5
        return np.zeros(len(along)), along, np.zeros(len(along)), {}
    if name == "too deep in places":
        along = np.arange(150) * 1.5
        return np.zeros(150), along, rng.normal(0, 2, 150), {"depth_m": 22 + 12 * np.sin(along / 9)}
    return (*circle(6, 12.0, 1.5, rate=25.0), None, {})  # spiral
