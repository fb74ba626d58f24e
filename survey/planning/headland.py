"""Ways along a shore: closed lines that keep as far off it as the reach of the water there asks."""
from __future__ import annotations

import numpy as np
import shapely.geometry as sg

from ..geometry import shapes
from .lines import PlannedLine
from .polygons import boxes

__all__ = ["inside_of", "ring_lines"]

_BINS = 6
_SIMPLE_M = 0.4
_QUADRANT = 6


def inside_of(outline, ground, rule, distance_of):
    """The boat's water that lies at least ``distance_of`` inside an outline.

    Parameters
    ----------
    outline : shapely polygon, frame metres
    ground : survey.planning.polygons.Ground
    rule : survey.planning.spacing.ReachRule
    distance_of : callable
        (ranges, depths) arrays -> distance (m) that a boat there keeps off.

    Returns
    -------
    shapely MultiPolygon
    """
    if ground.depth.constant is not None:
        depth = np.array([ground.depth.constant])
        kept = outline.buffer(-float(distance_of(_ranges(rule, depth), depth)[0]), _QUADRANT)
        return shapes.polygonal(kept.intersection(ground.boat))
    field = ground.depth
    spread = np.asarray(shapes.parts(outline)[0].exterior.coords)[:, :2] if shapes.parts(outline) else np.zeros((1, 2))
    usual = float(np.median(distance_of(*_both(rule, field.filled(*spread.T)))))
    cell = max(field.cell, usual / 6)
    x0, y0, x1, y1 = outline.bounds
    east, north = np.arange(x0 + cell / 2, x1 + cell, cell), np.arange(y0 + cell / 2, y1 + cell, cell)
    depth = field.filled(east + 0 * north[:, None], 0 * east + north[:, None])
    away = distance_of(*_both(rule, depth))
    window = (0, len(north), 0, len(east))
    near = outline.difference(outline.buffer(-float(away.max()), 2))
    mask = ground.mask(near, window, lambda x, y: ((x - east[0]) / cell, (y - north[0]) / cell))
    if not mask.any():
        return shapes.polygonal(outline.buffer(-usual, _QUADRANT).intersection(ground.boat))
    steps = np.unique(np.quantile(away[mask], np.linspace(0, 1, _BINS + 1)))[1:]
    found = [outline.buffer(-float(away[mask].max()), _QUADRANT)]
    for most in steps[:-1]:
        cells = boxes(mask & (away <= most), x0, y0, cell)
        found.append(shapes.polygonal(cells.intersection(outline.buffer(-float(most), _QUADRANT))))
    return shapes.polygonal(shapes.union(found).intersection(ground.boat))


def _both(rule, depth):
    return _ranges(rule, depth), depth


def _ranges(rule, depth):
    return np.full(np.shape(depth), rule.range_m) if rule.range_m is not None else _chosen(rule, depth)


def _chosen(rule, depth):
    depth = np.asarray(depth, float)
    known = np.unique(np.round(depth, 1))
    chosen = np.asarray(rule.range_of(np.maximum(known, 0.1)), float)
    return chosen[np.searchsorted(known, np.round(depth, 1))]


def ring_lines(region, ground, rule, radius=0.0, least_m=40.0, starboard=True):
    """The outlines of a region as closed lines, corners rounded, land kept on one side.

    Parameters
    ----------
    region : shapely polygon, frame metres
        As ``inside_of`` has it.
    radius : float
        Least radius (m) of a turn, as far as the water allows.
    least_m : float
        Shorter outlines are left out.
    starboard : bool
        Land to starboard; False: to port.

    Returns
    -------
    list of PlannedLine of the kind 'shore'
    """
    smooth = region
    if radius > 0:
        smooth = region.buffer(-radius, _QUADRANT).buffer(2 * radius, _QUADRANT).buffer(-radius, _QUADRANT)
    smooth = shapes.polygonal(smooth.intersection(ground.boat)).simplify(_SIMPLE_M)
    found = []
    for part in shapes.parts(smooth):
        for xy in shapes.lines(sg.polygon.orient(part, 1.0 if starboard else -1.0)):
            if np.hypot(*np.diff(xy, axis=0).T).sum() >= least_m:
                found.append(shore_line(xy, ground, rule))
    return found


def shore_line(xy, ground, rule):
    """A PlannedLine along a way (n, 2), with the depth and reach it has there."""
    step = np.hypot(*np.diff(xy, axis=0).T)
    run = np.concatenate([[0.0], np.cumsum(step)])
    at = np.linspace(0, run[-1], max(2, int(run[-1] / 10)))
    depth = ground.depth.filled(np.interp(at, run, xy[:, 0]), np.interp(at, run, xy[:, 1]))
    chosen = float(_ranges(rule, np.array([depth.mean()]))[0])
    reach = rule.ground(chosen, depth)
    return PlannedLine(xy, chosen, float(depth.mean()), float(reach.mean()), float(reach.min()), 0, "shore")
