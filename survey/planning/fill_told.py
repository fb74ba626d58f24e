"""What fill-in lines close, what stays open and why, and where the run begins."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from shapely.geometry import Point
from shapely.ops import nearest_points

from ..geometry import shapes
from ..model import patience
from ..swaths.edges import SwathSettings
from .predict import seen_by_lines
from .uncovered import uncovered

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from .fill_gaps import WantedGaps
    from .lines import PlannedLine
    from .polygons import Ground
    from .route import Run
    from .spacing import ReachRule

__all__ = ["BEYOND_BUDGET", "Told", "pruned", "start_afloat", "swaths_of", "told_of"]

BEYOND_BUDGET = "beyond the budget"

_LEAST_M2 = 1.0
_TRIFLE = 0.002
_ASHORE_M = 0.5


@dataclass(frozen=True)
class Told:
    """By line in the order run: ``closes``, numbers of gaps, and ``closed_m2``; ``closed`` m2 of each gap taken on;
    ``left``: list of (polygon, reason), the largest first."""

    closes: list
    closed_m2: np.ndarray
    closed: np.ndarray
    left: list


def swaths_of(rule: ReachRule) -> SwathSettings:
    """The footprint of the audit for a rule."""
    return SwathSettings(blind_deg=rule.blind_deg, merge="pass",
                         range_model="subtract" if rule.model == "subtract" else "slant")


def pruned(lines: list[PlannedLine], gaps: Sequence[Any], closable: float, ground: Ground,
           rule: ReachRule) -> list[PlannedLine]:
    """The lines without those that close next to nothing beyond the others, the least first."""
    seen = seen_by_lines(lines, ground, swaths_of(rule))
    wanted = shapes.union(list(gaps))
    kept, spare = list(range(len(lines))), _TRIFLE * closable
    while len(kept) > 1:
        patience.look()
        alone = []
        for k in kept:
            others = shapes.union([seen[i] for i in kept if i != k])
            alone.append(seen[k].intersection(wanted).difference(others).area)
        least = int(np.argmin(alone))
        if alone[least] > spare:
            break
        spare -= alone[least]
        del kept[least]
    return [lines[k] for k in kept]


def told_of(run: Run, dropped: list[PlannedLine], wanted: WantedGaps, ground: Ground, rule: ReachRule) -> Told:
    """What each line closes, what is closed of each gap, and what is left with its reason."""
    settings, taken, gaps = swaths_of(rule), wanted.taken, wanted.gaps
    seen = seen_by_lines(run.lines, ground, settings)
    closes, closed_m2, left = [], [], list(gaps)
    area = np.array([g.area for g in gaps])
    for polygon in seen:
        now = [shapes.polygonal(g.difference(polygon)) if g.intersects(polygon) else g for g in left]
        gained = np.array([a.area - b.area for a, b in zip(left, now)])
        closes.append([int(taken[k]) for k in np.flatnonzero(gained > np.maximum(0.05 * area, _LEAST_M2))])
        closed_m2.append(float(gained.sum()))
        left = now
    closed = area - np.array([g.area for g in left])
    rest = shapes.union(left)
    reasons = []
    if dropped:
        later = shapes.union(seen_by_lines(dropped, ground, settings))
        part = shapes.polygonal(rest.intersection(later))
        if part.area > _LEAST_M2:
            reasons.append((part, BEYOND_BUDGET))
            rest = shapes.polygonal(rest.difference(later))
    reasons += uncovered(ground.over(rest), run.lines, shapes.empty(), rule)
    return Told(closes, np.array(closed_m2), closed, sorted(reasons, key=lambda pair: -pair[0].area))


def start_afloat(ground: Ground, start: Any) -> tuple[Any, list[str]]:
    """(place (2,) of the boat's water nearest to a start in units of the crs, or None; what there is to say of it)."""
    if start is None:
        return None, []
    at = np.ravel(ground.frame.forward(*np.atleast_2d(np.asarray(start, float)).T))
    off = ground.boat.distance(Point(*at))
    if not off > 0:
        return at, []
    said = [] if off < _ASHORE_M else [
        f"The start lies {off:.0f} m off the water where the boat may go: the run begins at the nearest place of it. "
        "Length and hours leave out the distance from the start to there."]
    return np.array(nearest_points(ground.boat, Point(*at))[0].coords[0]), said
