"""Depths between contour lines: one smooth surface through all of them and the shore, never past the lines around.

Where the lines around a place have two depths, its depth lies between them. Inside the last line of a shoal or a hole
the slope runs on and rounds off, at most half an interval beyond the line; nobody measured that, so it is marked.
"""
from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from shapely.geometry import LineString

from ..geometry import shapes
from ..geometry.scanfill import fill_rings
from .crossings import cuts_of
from .plate import padded
from .regions import regions_of
from .walls import steady_plate

__all__ = ["ContourMap", "Part", "contour_map", "crossed"]

MAX_NODES = 2_500_000
"""Nodes the surface is made on at most, some 600 MB; a larger grid has one at every second, third ... of its cells."""

LEAST_WATER_M = 0.01
"""Depth of water whose lines do not say that it is dry: zero would be land to every other tool."""

_PIECE = 40
"""Vertices of a line that are compared at once with those of others."""


@dataclass
class Part:
    """A part of the water: ``kind`` ('shoal', 'hole' or 'unknown'), ``level`` (m) of the line around it, its middle and
    area."""

    kind: str
    level: float
    x: float
    y: float
    area_m2: float


@dataclass
class ContourMap:
    """Depths at nodes and what reads them by window.

    Parameters
    ----------
    nodes : (rows, cols) float array
        m, NaN where the lines say nothing.
    invented : (rows, cols) bool array
        Beyond the last line of a shoal or a hole.
    water : (rows, cols) bool array
        Nodes in the water.
    every : int
        Nodes lie at every this many-th cell.
    rings : list of (n, 2) arrays
        Of the water, in cells (whole numbers at middles).
    shape : (rows, cols)
        Of the cells.
    parts : list of Part
        Largest first.
    outside, small : (k,) int arrays
        Lines that are not in the water, and those that pass between all nodes: not used.
    """

    nodes: np.ndarray
    invented: np.ndarray
    water: np.ndarray
    every: int
    rings: list
    shape: tuple
    parts: list = field(default_factory=list)
    outside: np.ndarray = None
    small: np.ndarray = None

    def read(self, row, col, rows, cols):
        """(depth, invented) of a window of cells: NaN outside the water; 1.0 or 0.0, NaN where depth is."""
        water = fill_rings(self.rings, (row, row + rows, col, col + cols), lambda x, y: (x, y))
        if self.every == 1:
            window = slice(row, row + rows), slice(col, col + cols)
            depth, invented = self.nodes[window].copy(), self.invented[window].astype(float)
        else:
            r, c = (np.arange(first, first + count) / self.every for first, count in ((row, rows), (col, cols)))
            depth = _between(self.nodes, r, c)
            invented = self.invented[np.ix_(np.rint(r).astype(int), np.rint(c).astype(int))].astype(float)
        for values in (depth, invented):
            values[~water] = np.nan
        invented[np.isnan(depth)] = np.nan
        return depth, invented

    def sample(self):
        """Depths of nodes spread over the water, some 260 000 at most."""
        known = self.nodes[self.water]
        return known[::max(1, len(known) // 260_000)].astype(float)


def contour_map(lines, depths, water, transform, shape, step=None):
    """The surface through contour lines.

    Parameters
    ----------
    lines : list of shapely geometries
        Lines in a plane in metres.
    depths : (n,) array
        m below the shore of each, negative above it.
    water : shapely Polygon or MultiPolygon
        Its edge has depth 0.
    transform : six floats
        Of GDAL, north up, square cells.
    shape : (rows, cols)
        Cells, all the water among them.
    step : callable, optional
        ``step(fraction)``; may raise to cancel.

    Returns
    -------
    ContourMap

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import Point
    >>> from athwart.bottom.contours import contour_map
    >>> lake, line = Point(100, 100).buffer(90), Point(100, 100).buffer(50).exterior
    >>> made = contour_map([line], np.array([5.0]), lake, (0, 5, 0, 200, 0, -5), (40, 40))
    >>> depths, invented = made.read(0, 0, 40, 40)
    >>> bool(abs(depths[20, 10] - 5.0) < 0.3), bool(np.isnan(depths[0, 0]))
    (True, True)
    """
    every = max(1, math.ceil(math.sqrt(shape[0] * shape[1] / MAX_NODES)))
    rings = [_in_cells(ring, transform) for ring in shapes.lines(water)]
    drawn, owner = _pieces(lines, transform)
    levels = np.append(np.asarray(depths, float)[owner], np.zeros(len(rings)))
    nodes = padded([-(-n // every) + 1 for n in shape])
    spread = [line / every for line in drawn + rings]
    inside = fill_rings(spread[len(drawn):], (0, nodes[0], 0, nodes[1]), lambda x, y: (x, y))
    cuts = cuts_of(spread, levels, nodes)
    wet = [inside.ravel()[one.first] | inside.ravel()[one.first + one.stride] for one in cuts]
    used = np.unique(np.concatenate([owner[one.line[w & (one.line < len(drawn))]] for one, w in zip(cuts, wet)]))
    regions = regions_of(nodes, cuts)

    def cuts_at(k, grid):
        found = cuts if k == 0 else cuts_of([line / 2**k for line in spread], levels, grid)
        near = inside[::2**k, ::2**k].ravel()
        return [one.where(near[one.first] | near[one.first + one.stride]) for one in found]
    intervals = np.unique(np.append(levels, 0.0))
    interval = float(np.median(np.diff(intervals))) if len(intervals) > 1 else 1.0
    length = sum(np.count_nonzero(w) for w in wet) * math.pi / 4  # cells: Crofton, as in walls
    spacing = float(np.clip(np.count_nonzero(inside) / max(length, 1.0), 4.5, 1000.0))
    above, below = _leeway(regions, intervals)
    bounds = [np.where(np.isfinite(v), v, out)[regions.of] for v, out in (
        (regions.low - 2 * above, -np.inf), (regions.high + 2 * below, np.inf))]
    heights = steady_plate(cuts_at, inside, bounds, spacing, 0.005 * interval, step or (lambda share: None))
    depth, invented = _held(heights, regions, above, below, inside)
    parts = _parts(regions, heights, inside, transform, every)
    unused = np.setdiff1d(np.arange(len(lines)), used)
    ready = shapes.prepared(water)
    small = np.array([i for i in unused if ready.intersects(lines[i])], int)
    return ContourMap(depth, invented, inside, every, rings, tuple(shape), parts, np.setdiff1d(unused, small), small)


def _in_cells(line, transform):
    return np.column_stack([(line[:, 0] - transform[0]) / transform[1] - 0.5,
                            (line[:, 1] - transform[3]) / transform[5] - 0.5])


def _pieces(lines, transform):
    """(n, 2) arrays in cells of all single lines, and which geometry each is of."""
    found = [(_in_cells(part, transform), i) for i, line in enumerate(lines) for part in shapes.lines(line)]
    return [line for line, _ in found], np.array([i for _, i in found], int)


def _leeway(regions, intervals):
    """How far past its lowest and its highest line a depth may lie in each region, 0 where the lines close."""
    at_low, at_high = (np.searchsorted(intervals, np.where(np.isfinite(v), v, 0.0))
                       for v in (regions.low, regions.high))
    gaps = np.append(np.diff(intervals), 0.0) if len(intervals) > 1 else np.ones(1)
    last = max(len(intervals) - 2, 0)
    up, down = regions.single & (regions.way <= 0), regions.single & (regions.way >= 0)
    above = np.where(up | regions.low_open & ~regions.single, gaps[np.maximum(at_low - 1, 0)] / 2, 0.0)
    below = np.where(down | regions.high_open & ~regions.single, gaps[np.minimum(at_high, last)] / 2, 0.0)
    above[(regions.low == 0) & ~_drying(regions)] = 0.0  # the shore is the end of the water
    return above, below


def _drying(regions):
    """Banks: regions within a line of depth 0 that has deeper water outside."""
    return regions.single & (regions.low == 0) & (regions.way < 0)


def _untold(regions):
    """Regions with nothing but shore around."""
    return regions.single & (regions.low == 0) & (regions.way == 0)


def _held(heights, regions, above, below, water):
    """Depths held within the lines around, and where they lie beyond the last one."""
    low, high = (np.where(np.isfinite(v), v, 0.0) for v in (regions.low, regions.high))
    of, depth = regions.of, heights
    up, down = low[of] - depth, depth - high[of]
    invented = regions.single[of] | (up > 0) & (above[of] > 0) | (down > 0) & (below[of] > 0)
    depth = np.where(up > 0, low[of] - _rounded(up, above[of]), depth)
    depth = np.where(down > 0, high[of] + _rounded(down, below[of]), depth)
    depth = np.where(((low >= 0) & ~_drying(regions))[of], np.maximum(depth, LEAST_WATER_M), depth)
    depth[_untold(regions)[of] & water] = np.nan
    return depth.astype(np.float32), invented & water & np.isfinite(depth)


def _rounded(beyond, most):
    """A rise beyond a line: itself at first, from half of ``most`` on bent towards ``most``, which it never passes."""
    half = np.maximum(most / 2, 1e-12)
    return np.where(beyond <= half, np.minimum(beyond, most), half * (1 + np.tanh((beyond - half) / half)) * (most > 0))


def _parts(regions, heights, water, transform, every):
    """Shoals, holes and unknown parts of the water, largest first."""
    flat, size = regions.of[water], len(regions.low)
    cells, known = np.bincount(flat, minlength=size), np.isfinite(regions.low)
    rise = np.bincount(flat, heights[water], size) / np.maximum(cells, 1) - np.where(known, regions.low, 0.0)
    rise, untold = np.where(regions.way == 0, rise, regions.way), _untold(regions)
    row, col = np.nonzero(water)
    side, found = every * transform[1], []
    middle = [np.bincount(flat, v, size) / np.maximum(cells, 1) * every + 0.5 for v in (col, row)]
    for i in np.flatnonzero(regions.single & (cells > 0)):
        kind = "unknown" if untold[i] else "hole" if rise[i] > 0 else "shoal"
        found.append(Part(kind, float(regions.low[i]), float(transform[0] + middle[0][i] * transform[1]),
                          float(transform[3] + middle[1][i] * transform[5]), float(cells[i] * side**2)))
    return sorted(found, key=lambda part: -part.area_m2)


def _between(nodes, r, c):
    """Bilinear values at fractional rows and columns; NaN where a neighbour is."""
    row, col = (np.minimum(np.floor(v).astype(int), n - 2) for v, n in zip((r, c), nodes.shape))
    down, right = (r - row)[:, None].astype(np.float32), (c - col)[None, :].astype(np.float32)
    upper = nodes[row] * (1 - down) + nodes[row + 1] * down
    return upper[:, col] * (1 - right) + upper[:, col + 1] * right


def crossed(lines, depths, shore):
    """Places where lines of two depths meet.

    Parameters
    ----------
    lines : list of shapely geometries
    depths : (n,) array
    shore : shapely geometry
        Line of depth 0.

    Returns
    -------
    list of (x, y, depth, depth)
        One for each piece of a line and each that it meets; the depths in rising order.

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import LineString, box
    >>> from athwart.bottom.contours import crossed
    >>> cross = [LineString([(0, 5), (10, 5)]), LineString([(5, 0), (5, 10)])]
    >>> [[float(value) for value in place] for place in
    ...     crossed(cross, np.array([2.0, 4.0]), box(-20, -20, 20, 20).boundary)]
    [[5.0, 5.0, 2.0, 4.0]]
    """
    pieces, level = [], []
    for geometry, depth in [*zip(lines, depths), (shore, 0.0)]:
        for line in shapes.lines(geometry):
            for a in range(0, len(line) - 1, _PIECE):
                pieces.append(LineString(line[a:a + _PIECE + 1]))
                level.append(float(depth))
    tree, level, found = shapes.Tree(pieces), np.array(level), []
    for i, piece in enumerate(pieces):
        near = tree.boxed(piece)
        for j in near[(near > i) & (level[near] != level[i])].tolist():
            if piece.intersects(pieces[j]):
                point = piece.intersection(pieces[j]).representative_point()
                found.append((point.x, point.y, *sorted((level[i], level[j]))))
    return found
