"""Where the boat was for a place that a pass looked at: ahead, to starboard, and how far off the line."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely.geometry import LineString

__all__ = ["BoatFrames", "boat_frames", "line_from_shape", "simplified"]

_TOLERANCE_M = 0.5
_BINS = 64
_BATCH = 1 << 22


@dataclass
class BoatFrames:
    """(k, 2) unit vectors ``forward`` at the nearest place of the boat's line, and (k,) ``across``, m, + starboard."""

    forward: np.ndarray
    across: np.ndarray

    @property
    def starboard(self):
        """(k, 2) unit vectors."""
        return np.column_stack([self.forward[:, 1], -self.forward[:, 0]])


def simplified(lines):
    """Lines, (n, 2) arrays, without the vertices that stray less than 0.5 m from their neighbours' chord.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.share.boat_frames import simplified
    >>> [line.tolist() for line in simplified([np.array([(0.0, 0.0), (5.0, 0.1), (10.0, 0.0)])])]
    [[[0.0, 0.0], [10.0, 0.0]]]
    """
    found = [np.asarray(LineString(line).simplify(_TOLERANCE_M, preserve_topology=False).coords)
             for line in lines if len(line) > 1]
    return [line for line in found if np.hypot(*np.diff(line, axis=0).T).sum() > 0]


def line_from_shape(ground):
    """The middle line of a polygon along its longer axis, as a list of one (n, 2) array: the boat's, as far as known.

    Parameters
    ----------
    ground : shapely polygon, frame metres
        Both sides of a pass. Of one side alone it is the middle of the strip.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.share.boat_frames import line_from_shape
    >>> [abs(line[-1] - line[0]).round().tolist() for line in line_from_shape(box(0, 0, 100, 10))]
    [[100.0, 0.0]]
    """
    xy = np.concatenate([np.asarray(part.exterior.coords)[:, :2] for part in getattr(ground, "geoms", [ground])])
    middle = xy.mean(axis=0)
    _, _, axes = np.linalg.svd(np.cov((xy - middle).T))
    along, across = (xy - middle) @ axes.T[:, 0], (xy - middle) @ axes.T[:, 1]
    low, high = along.min(), along.max()
    bins = int(np.clip((high - low) / 20.0, 1, _BINS))
    number = np.clip(((along - low) / max(high - low, 1e-9) * bins).astype(int), 0, bins - 1)
    least, most = np.full(bins, np.inf), np.full(bins, -np.inf)
    np.minimum.at(least, number, across)
    np.maximum.at(most, number, across)
    known = np.flatnonzero(np.isfinite(least))
    at = low + (known + 0.5) / bins * (high - low)
    mid = (least[known] + most[known]) / 2
    at, mid = np.concatenate([[low], at, [high]]), np.concatenate([mid[:1], mid, mid[-1:]])
    return [middle + at[:, None] * axes[0] + mid[:, None] * axes[1]]


def boat_frames(lines, xy):
    """BoatFrames of (k, 2) places beside lines, (n, 2) arrays of at least two vertices, in one plane (m)."""
    start = np.concatenate([line[:-1] for line in lines])
    edge = np.concatenate([np.diff(line, axis=0) for line in lines])
    length = np.hypot(*edge.T)
    start, edge, length = start[length > 0], edge[length > 0], length[length > 0]
    unit = edge / length[:, None]
    nearest = np.empty(len(xy), int)
    size = max(1, _BATCH // len(start))
    for first in range(0, len(xy), size):
        away = xy[first:first + size, None] - start
        along = np.clip((away * unit).sum(axis=2), 0, length)
        away -= along[..., None] * unit
        nearest[first:first + size] = (away ** 2).sum(axis=2).argmin(axis=1)
    forward, away = unit[nearest], xy - start[nearest]
    return BoatFrames(forward, away[:, 0] * forward[:, 1] - away[:, 1] * forward[:, 0])
