"""Places strewn evenly over ground, to stand for its area."""
from __future__ import annotations

import numpy as np

from ..geometry import shapes

__all__ = ["strewn", "strewn_in_each"]

_TRIES = 4
_OFFSET = 0.382
_ASKEW = np.array([[np.cos(0.6), np.sin(0.6)], [-np.sin(0.6), np.cos(0.6)]])


def strewn(ground, count):
    """About ``count`` places in a polygon, on a square grid askew; the same every time.

    A grid counts an area far better than places at random do, and one askew lies along no lake's edges and no boat's
    lines for long.

    Parameters
    ----------
    ground : shapely polygon, m
    count : int

    Returns
    -------
    (k, 2) array; k is 0 only where the ground is empty

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.share.places import strewn
    >>> bool(abs(len(strewn(box(0, 0, 100, 100), 400)) - 400) < 40)
    True
    """
    if ground.is_empty or not ground.area > 0:
        return np.empty((0, 2))
    bounds = np.reshape(ground.bounds, (2, 2))
    middle, half = bounds.mean(axis=0), np.ptp(bounds, axis=0) / 2
    spacing = float(np.sqrt(ground.area / count))
    for _ in range(_TRIES):
        reach = np.abs(_ASKEW) @ half / spacing
        columns, rows = (np.arange(np.floor(-r), np.ceil(r) + 1) + _OFFSET for r in reach)
        if len(columns) * len(rows) > 64 * count + 4096:  # slivers: fewer tries than cells
            found = _along(ground, count)
            break
        grid = np.stack(np.broadcast_arrays(columns, rows[:, None]), axis=-1).reshape(-1, 2)
        found = middle + spacing * grid @ _ASKEW
        found = found[shapes.contains(ground, *found.T)]
        if len(found) >= 0.5 * count:
            break
        spacing /= 2
    if not len(found):
        middle = ground.representative_point()
        found = np.array([[middle.x, middle.y]])
    return found


def _along(ground, count):
    """Places in long thin ground: evenly along the rim, each half-way to where the rim is met again."""
    from ..geometry.edge_index import EdgeIndex

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
    """(places (k, 2), owner (k,) int rising) of about ``count`` places in each of several polygons.

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.share.places import strewn_in_each
    >>> places, owner = strewn_in_each([box(0, 0, 10, 10), box(50, 0, 60, 10)], 50)
    >>> np.unique(owner).tolist(), bool((places[owner == 1][:, 0] >= 50).all())
    ([0, 1], True)
    """
    each = [strewn(ground, count) for ground in grounds]
    owner = np.repeat(np.arange(len(each)), [len(xy) for xy in each])
    return (np.concatenate(each) if each else np.empty((0, 2))), owner
