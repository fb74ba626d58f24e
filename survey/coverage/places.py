"""Places strewn evenly over ground, to stand for its area."""
from __future__ import annotations

import numpy as np

from ..plane import shapes

__all__ = ["strewn", "strewn_in_each"]

_SEED = 20091
_TRIES = 4


def strewn(ground, count):
    """About ``count`` places in a polygon, one at random in each cell of a square grid; the same every time.

    Parameters
    ----------
    ground : shapely polygon, m
    count : int

    Returns
    -------
    (k, 2) array; k is 0 only where the ground is empty
    """
    if ground.is_empty or not ground.area > 0:
        return np.empty((0, 2))
    x0, y0, x1, y1 = ground.bounds
    spacing = float(np.sqrt(ground.area / count))
    for attempt in range(_TRIES):
        rng = np.random.default_rng([_SEED, attempt])
        columns, rows = (int(np.ceil(size / spacing)) for size in (x1 - x0, y1 - y0))
        if columns * rows > 64 * count + 4096:  # slivers askew: fewer tries than cells
            found = _along(ground, count)
            break
        cell = rng.random((2, rows, columns))
        x = x0 + (np.arange(columns) + cell[0]) * spacing
        y = y0 + (np.arange(rows)[:, None] + cell[1]) * spacing
        inside = shapes.contains(ground, x, y)
        found = np.column_stack([x[inside], y[inside]])
        if len(found) >= 0.5 * count:
            break
        spacing /= 2
    if not len(found):
        middle = ground.representative_point()
        found = np.array([[middle.x, middle.y]])
    return found


def _along(ground, count):
    """Places in long thin ground: evenly along the rim, each half-way to where the rim is met again."""
    from ..plane.edge_index import EdgeIndex

    rim = max((line for line in shapes.lines(ground)), key=lambda line: np.hypot(*np.diff(line, axis=0).T).sum())
    steps = np.hypot(*np.diff(rim, axis=0).T)
    run = np.concatenate([[0.0], np.cumsum(steps)])
    at = (np.arange(count) + 0.5) / count * run[-1]
    edge = np.clip(np.searchsorted(run, at, "right") - 1, 0, len(steps) - 1)
    unit = np.diff(rim, axis=0)[edge] / np.maximum(steps[edge], 1e-12)[:, None]
    place = rim[edge] + (at - run[edge])[:, None] * unit
    index, found = EdgeIndex.of(ground), []
    for turn in (1, -1):
        inward = turn * np.column_stack([-unit[:, 1], unit[:, 0]])
        start = place + 1e-4 * inward
        far = index.ray_length(start, inward, np.full(count, 50.0))
        middle = start + far[:, None] / 2 * inward
        found.append(middle[shapes.contains(ground, *middle.T)])
    return np.concatenate(found)


def strewn_in_each(grounds, count):
    """(places (k, 2), owner (k,) int rising) of about ``count`` places in each of several polygons."""
    each = [strewn(ground, count) for ground in grounds]
    owner = np.repeat(np.arange(len(each)), [len(xy) for xy in each])
    return (np.concatenate(each) if each else np.empty((0, 2))), owner
