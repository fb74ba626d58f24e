"""The areas of a report taken together: no ground counted twice, no unknown bound taken for nothing."""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..geometry import overlap, shapes, transfer
from ..uncertainty.counts import poisson_interval

__all__ = ["Density", "Totals", "density", "totals"]

_SAME = 1e-3
"""Sizes that differ by less than this share are the same: drawn outlines carried between coordinate systems."""


@dataclass
class Totals:
    """Figures of all areas together; m2 and percent, NaN where they cannot be known from the layers.

    ``area_m2``, ``seen_m2`` and ``seen_pct`` as drawn, ``seen_once_m2`` by at least one pass; ``low_pct``,
    ``high_pct``, ``expected_pct``, ``worst_pct``, ``best_pct`` as in ``schemas.AREAS``. ``looks`` asked for, 0 where
    the layer does not say; ``grade`` seen, detection or ''. ``drawn``: low and high are points of the share itself
    rather than every edge moved at once, as layers made earlier have them. ``count`` of areas whose own intervals
    were added up.
    ``doubled_m2``: ground that lies in more than one area; ``partly``: some of these areas overlap in part, so that
    their intervals do not add up; ``excluded``: the areas' sizes leave ground out that lies inside their outlines.
    """

    area_m2: float
    seen_m2: float
    seen_once_m2: float
    seen_pct: float
    low_pct: float
    high_pct: float
    expected_pct: float
    worst_pct: float
    best_pct: float
    looks: int
    grade: str
    drawn: bool
    count: int
    doubled_m2: float
    partly: bool
    excluded: bool


def totals(layers):
    """Totals of ``layers.areas``; see ``Totals``.

    An area that lies inside others adds nothing. Areas that overlap in part are measured as one, and what was seen of
    them is cut from the swaths; without swaths, or where ground was excluded, that is not known.
    """
    areas = layers.areas
    size, covered = areas.numbers("area_m2"), areas.numbers("covered_m2")
    rows = np.flatnonzero(np.nan_to_num(size) > 0)
    outlines = _sizes(layers.frame, areas.geometries, rows)
    kept, doubled, partly = _apart(layers.frame, areas.geometries, rows, outlines)
    excluded = bool(len(rows)) and size[rows].sum() < (1 - _SAME) * outlines[rows].sum()
    looks, grade = _agreed(areas.numbers("looks_asked")), _agreed(areas.words("grade"))
    looks, grade = int(looks or 0), str(grade or "")
    whole = float(size[kept].sum()) if len(kept) else math.nan

    def added(name):
        values = areas.numbers(name)[kept]
        return float((size[kept] * values).sum() / whole) if len(kept) and not partly else math.nan

    by_looks = dict(layers.looks)
    once = by_looks.get(1, 0.0) if layers.swaths is not None and not excluded else math.nan
    seen = float(covered[kept].sum()) if len(kept) else math.nan
    if partly:
        whole = math.nan if excluded else float(outlines[rows].sum() - doubled)
        cut = layers.swaths is not None and grade != "detection" and looks and not excluded
        seen = by_looks.get(looks, 0.0) if cut else math.nan
    if looks == 1 and grade != "detection" and not partly:
        once = seen
    return Totals(
        whole, seen, once, 100 * seen / whole if whole else math.nan, *(added(name) for name in (
            "low_pct", "high_pct", "expected_pct", "worst_pct", "best_pct")), looks, grade, areas.has("worst_pct"),
        len(kept), doubled, partly, excluded)


def _sizes(frame, geometries, rows):
    """(n,) ground areas (m2) of the outlines, 0 where there is none."""
    found = np.zeros(len(geometries))
    if len(rows) and frame is not None:
        found[rows] = transfer.geodesic_areas(frame, [shapes.polygonal(geometries[i]) for i in rows])
    return found


def _apart(frame, geometries, rows, sizes):
    """(rows less those that lie inside others, ground in more than one area, whether the rest still overlap)."""
    if len(rows) < 2 or frame is None:
        return rows, 0.0, False
    whole = transfer.geodesic_area(frame, overlap.merged([geometries[i] for i in rows]))
    if sizes[rows].sum() <= (1 + _SAME) * whole:
        return rows, 0.0, False
    kept, joined = [], shapes.empty()
    for i in rows[np.argsort(-sizes[rows], kind="stable")]:  # the largest first: what it holds is inside it
        new = transfer.geodesic_area(frame, shapes.polygonal(geometries[i].difference(joined)))
        if new > _SAME * sizes[i]:
            kept.append(i)
            joined = overlap.merged([joined, geometries[i]])
    partly = bool(sizes[kept].sum() > (1 + _SAME) * whole)
    return np.sort(np.array(kept, int)), float(sizes[rows].sum() - whole), partly


def _agreed(values):
    """The one value that all features share; None where they differ or do not know it."""
    found = {v for v in np.asarray(values).tolist() if v and not (isinstance(v, float) and math.isnan(v))}
    return found.pop() if len(found) == 1 else None


@dataclass
class Density:
    """``inside`` of ``all`` targets lie in the areas on the bottom; ``low`` to ``high`` is the exact 95 % Poisson
    interval of ``per_ha``, targets a hectare of ground seen, NaN where that ground is not known. ``outside`` lie in no
    area, ``hanging`` in the water column, ``unplaced`` nowhere. ``combined``: repeated looks were made one target."""

    inside: int
    all: int
    outside: int
    hanging: int
    unplaced: int
    per_ha: float
    low: float
    high: float
    seen_m2: float
    combined: bool


def density(layers, whole):
    """Density of the targets on the ground seen at least once inside the areas.

    Parameters
    ----------
    layers : Layers
        With targets and areas.
    whole : Totals
    """
    targets = layers.targets
    placed = targets.placed()
    ground = shapes.prepared(overlap.merged(layers.areas.geometries))
    inside = np.array([there and ground.covers(g) for g, there in zip(targets.geometries, placed)], bool)
    hanging = inside & (targets.words("status") == "water column")
    count = int((inside & ~hanging).sum())
    seen = whole.seen_once_m2
    scale = 1e4 / seen if seen > 0 else math.nan
    low, high = poisson_interval(count)
    return Density(count, len(targets), int((placed & ~inside).sum()), int(hanging.sum()), int((~placed).sum()),
                   scale * count, scale * low, scale * high, seen, targets.has("members"))
