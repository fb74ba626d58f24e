"""What of an area a plan does not see, and why."""
from __future__ import annotations

import numpy as np
import shapely.geometry as sg

from ..beams.ranges import blind_range
from ..geometry import shapes
from .polygons import boxes

__all__ = ["REASONS", "uncovered"]

REASONS = ("too deep", "shoal", "setback", "nadir", "not worth a line")

_LEAST_M2 = 1.0
_PIECE_M, _MOST_PIECES, _GRACE_M = 40.0, 20, 0.3


def uncovered(ground, lines, seen, rule):
    """Ground that stays unseen on a run without errors.

    Parameters
    ----------
    ground : survey.planning.polygons.Ground
    lines : list of survey.planning.lines.PlannedLine
    seen : shapely polygon
        Ground seen by enough passes.
    rule : survey.planning.spacing.ReachRule

    Returns
    -------
    list of (shapely MultiPolygon in frame metres, reason), the largest first; the reason is the first that fits:
    too deep for the range; a shoal, or beyond one; nearer to land than the boat may go, out of reach from where it may;
    under the boat; else no line for it would be worth its way.
    """
    left = shapes.drop_small_holes(shapes.polygonal(ground.area.difference(seen)), _LEAST_M2)
    found = []
    for reason, where in zip(REASONS, (_deep(ground, rule), ground.shoal, _out_of_reach(ground, rule),
                                       _nadir(ground, lines, rule), None)):
        part = left if where is None else shapes.polygonal(left.intersection(where))
        part = shapes.drop_small_holes(part, _LEAST_M2)
        if part.is_empty or part.area < _LEAST_M2:
            continue
        found.append((part, reason))
        if where is not None:
            left = shapes.drop_small_holes(shapes.polygonal(left.difference(where)), _LEAST_M2)
    found.sort(key=lambda pair: -pair[0].area)
    return found


def _deep(ground, rule):
    if rule.range_m is None:
        return shapes.empty()
    if ground.depth.constant is not None:
        return ground.area if ground.depth.constant >= rule.range_m else shapes.empty()
    field = ground.depth
    return boxes(np.nan_to_num(field.values, nan=0.0) >= rule.range_m, field.east - field.cell / 2,
                  field.north - field.cell / 2, field.cell)


def _out_of_reach(ground, rule):
    usual = rule.range_m if rule.range_m is not None else float(rule.range_of(np.array([ground.depth.usual]))[0])
    reach = float(rule.ground(usual, min(ground.depth.usual, 0.5 * usual)))
    near = ground.area.difference(ground.boat.buffer(min(reach, 0.98 * usual)))
    if not ground.setback_m > 0:  # the boat's water ends a little before the shore, for no rule's sake
        return shapes.polygonal(near)
    return shapes.union([shapes.polygonal(near), shapes.polygonal(ground.area.difference(ground.boat))])


def _nadir(ground, lines, rule):
    found = []
    for line in lines:
        run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line.xy, axis=0).T))])
        pieces = 1 if ground.depth.constant is not None else int(np.clip(run[-1] / _PIECE_M, 1, _MOST_PIECES))
        ends = np.linspace(0, run[-1], pieces + 1)
        asked = np.linspace(ends[:-1], ends[1:], 4)
        deepest = ground.depth.filled(*(np.interp(asked, run, line.xy[:, k]) for k in (0, 1))).max(axis=0)
        wide = blind_range(deepest, rule.blind_deg) + _GRACE_M
        for a, b, half in zip(ends[:-1], ends[1:], wide):
            at = np.concatenate([[a], run[(run > a) & (run < b)], [b]])
            piece = np.column_stack([np.interp(at, run, line.xy[:, k]) for k in (0, 1)])
            found.append(sg.LineString(piece).buffer(float(half), 2, cap_style=3))
    return shapes.union(found)
