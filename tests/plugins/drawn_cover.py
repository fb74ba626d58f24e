"""Invented outings drawn twice: as the log has them, and as they were, with every error drawn from its sigma.

The truth is Pythagoras and a shift; nothing of it comes from the code under test. Metres in a plane.
"""
import numpy as np
from shapely.geometry import Polygon, box
from shapely.ops import unary_union

RANGE, DEPTH, BLIND = 30.0, 6.0, np.tan(np.radians(20))
BIAS, DRIFT, JITTER, SIGMA_RANGE, SIGMA_DEPTH = 2.0, 0.5, 0.5, 0.3, 0.2
GROUND = np.sqrt(RANGE**2 - DEPTH**2)
SIGMA_EDGE = np.sqrt(DRIFT**2 + JITTER**2 + (RANGE / GROUND * SIGMA_RANGE)**2 + (DEPTH / GROUND * SIGMA_DEPTH)**2)
AREA = box(0, 0, 400, 330)


def planned(rng, spacing):
    """Reported tracks, list of (outing, pass_id, (n, 2) array): lines that waver, of two outings that take over."""
    tracks = []
    for number, y in enumerate(np.arange(20, 330, spacing)):
        x = np.arange(-20, 421, 8.0)
        phase, wave = rng.uniform(0, 6.28), rng.uniform(2, 5)
        xy = np.column_stack([x, y + rng.normal(0, 2) + wave * np.sin(x / 70 + phase)])
        tracks.append(("am" if y < 160 else "pm", number, xy if number % 2 else xy[::-1]))
    return tracks


def strips(xy, slant=RANGE, depth=DEPTH):
    """Port and starboard polygon along a line of (n, 2) places."""
    along = np.gradient(xy, axis=0)
    starboard = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
    inner, outer = (np.broadcast_to(v, len(xy))[:, None] for v in (BLIND * depth, np.sqrt(slant**2 - depth**2)))
    return [Polygon(np.vstack([xy + side * inner * starboard, (xy + side * outer * starboard)[::-1]])).buffer(0)
            for side in (-1, 1)]


def as_logged(tracks):
    """List of (outing, pass_id, polygon, outer edge), two strips to a pass."""
    return [(outing, number, strip, GROUND) for outing, number, xy in tracks for strip in strips(xy)]


def as_it_was(rng, tracks):
    """Union of what was truly seen: a bias for each outing, a drift for each pass, the rest fresh along the track."""
    bias = {outing: rng.normal(0, BIAS, 2) for outing in ("am", "pm")}
    seen = []
    for outing, _, xy in tracks:
        n = len(xy)
        moved = xy + bias[outing] + rng.normal(0, DRIFT, 2) + rng.normal(0, JITTER, (n, 2))
        along = np.gradient(xy, axis=0)
        starboard = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
        slant, depth = RANGE + rng.normal(0, SIGMA_RANGE, n), DEPTH + rng.normal(0, SIGMA_DEPTH, n)
        for side in (-1, 1):  # the beam keeps its direction: errors of place do not turn the boat
            inner, outer = BLIND * depth, np.sqrt(slant**2 - depth**2)
            edges = [moved + side * g[:, None] * starboard for g in (inner, outer)]
            quads = [Polygon([edges[0][i], edges[0][i + 1], edges[1][i + 1], edges[1][i]]).convex_hull
                     for i in range(n - 1)]
            seen.append(unary_union(quads))
    return unary_union(seen)
