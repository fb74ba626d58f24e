"""Lines laid over an area from one side to the other, each as far from the last as the reach of both allows.

The lowest place that is still to be seen decides: of the rows from which it can be seen, the line goes along the one
that sees most new ground for its length and turn, less what it would leave behind it. So lines lie unevenly where the
depth changes, start and end where there is something to see, and go their own way behind each island. A scrap that
would cost far more way than ground elsewhere is given up, within a limit, and is part of what stays uncovered.
"""
from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from shapely.geometry import LineString

from ..model import patience

__all__ = ["LayRule", "PlannedLine", "cost_of", "lay", "length_of"]

_LOST = 4.0
"""How many times ground left behind counts: it would need a line of its own."""

_MOST_ROWS = 160


@dataclass(frozen=True)
class LayRule:
    """``turn_m``: way that a further line costs beside its length (m). ``worth``: a line that sees less ground for its
    way than this share of a full swath's is not laid, as long as what is given up stays under ``give_up``, a share of
    the area. ``least_m``: shortest line."""

    turn_m: float = 60.0
    worth: float = 0.2
    give_up: float = 0.002
    least_m: float = 10.0


@dataclass
class PlannedLine:
    """A line to be run, ``xy`` (n, 2) frame metres: straight, or along a shore, then perhaps closed.

    ``range_m`` in force; ``depth_m``, ``reach_m``: means along it; ``least_reach_m``; ``look``: which of the sets of
    lines it belongs to, from 0. ``kind``: 'line' or 'shore'.
    """

    xy: np.ndarray
    range_m: float
    depth_m: float
    reach_m: float
    least_reach_m: float
    look: int = 0
    kind: str = "line"

    @property
    def start(self):
        """(2,) where it begins."""
        return self.xy[0]

    @property
    def end(self):
        """(2,) where it ends."""
        return self.xy[-1]

    @property
    def closed(self):
        """True if it ends where it began."""
        return len(self.xy) > 3 and bool(np.allclose(self.xy[0], self.xy[-1]))

    @property
    def length(self):
        """m"""
        return float(np.hypot(*np.diff(self.xy, axis=0).T).sum())

    def azimuth(self, at=0):
        """Grid azimuth (degrees) of the course at the beginning (0) or the end (-1)."""
        step = self.xy[1] - self.xy[0] if at == 0 else self.xy[-1] - self.xy[-2]
        return float(np.degrees(np.arctan2(*step)) % 360)

    def turned(self):
        """The same line, run the other way."""
        return replace(self, xy=self.xy[::-1])

    def begun_at(self, vertex):
        """A closed line, begun at another of its vertices."""
        return replace(self, xy=np.vstack([self.xy[vertex:-1], self.xy[:vertex + 1]]))


def length_of(lines):
    """Summed length (m)."""
    return float(sum(line.length for line in lines))


def cost_of(lines, turn_m):
    """Summed length (m), and a turn for each."""
    return length_of(lines) + turn_m * len(lines)


def lay(ground, strips, rule, looks=1, boat=True):
    """Lines over the area of some strips.

    Parameters
    ----------
    ground : survey.planning.polygons.Ground
    strips : survey.planning.spacing.Strips
    rule : LayRule
    looks : int
        Sets of lines; each covers the area, and starts its part of a spacing beside the one before.
    boat : bool
        Cut the lines exactly at the boat's water; False leaves them as the raster has them, quick enough to compare.

    Returns
    -------
    list of PlannedLine
    """
    found = []
    for look in range(looks):
        patience.look()
        found += _Sweep(strips, rule, 1 - 2 * look / looks if look else 1.0, look).lines()
    return _cut(found, ground, rule) if boat else found


class _Sweep:
    """One covering of the strips' area, row by row upwards."""

    def __init__(self, strips, rule, first_share, look):
        s = self.s = strips
        self.rule, self.first_share, self.look = rule, max(first_share, 0.0), look
        rows, columns = s.area.shape
        self.rows, self.columns = rows, columns
        sees = s.boat & (np.maximum(s.left, s.right) > s.blind) & (s.left + s.right > 0)
        self.sees = sees
        self.need = s.area & self._within_reach(sees)
        self.low, self.high = self._reaches()
        self.start, self.stop = _runs(sees)
        self.window = int(2 * np.ceil(max(s.left.max(), s.right.max()) / s.dv)) + 8
        self.barren = np.zeros(s.area.shape, bool)  # by row and first column of a run: nothing left that it sees
        self.given_up, self.most_given_up = 0, rule.give_up * self.need.sum()
        self.ideal = 2 * float(np.median((s.keep_left + s.keep_right)[sees]) if sees.any() else 1.0) / 2
        self.seen_by_line = np.zeros(s.area.shape, bool) if self.first_share < 1 else None

    def _within_reach(self, sees):
        """Cells that some place of the boat sees along its column."""
        s, size = self.s, (self.rows + 1) * self.columns
        row, column = np.nonzero(sees)
        low = np.clip(row - np.floor(s.left[sees] / s.dv + 0.5).astype(int), 0, self.rows)
        high = np.clip(row + np.floor(s.right[sees] / s.dv + 0.5).astype(int), -1, self.rows - 1) + 1
        change = (np.bincount(low * self.columns + column, minlength=size)
                  - np.bincount(high * self.columns + column, minlength=size))
        return np.cumsum(change.reshape(self.rows + 1, self.columns), axis=0)[:-1] > 0

    def _reaches(self):
        """Lowest and highest row that a line along each row may count on seeing, column by column.

        Where the area ends within the whole reach there is no neighbour to lap over.
        """
        s, row = self.s, np.arange(self.rows, dtype=np.int32)[:, None]

        def rows_of(reach):  # whole cells only: two lines never lie farther apart than both reach
            return np.maximum(np.floor(reach / s.dv - 0.5 + 1e-6), 0).astype(np.int32)
        bottom = np.maximum.accumulate(np.where(self.need, -1, row), axis=0) + 1
        top = np.minimum.accumulate(np.where(self.need, self.rows, row)[::-1], axis=0)[::-1] - 1
        low, high = row - rows_of(s.keep_left), row + rows_of(s.keep_right)
        low = np.where((bottom < low) & (row - rows_of(s.edge_left) <= bottom), bottom, low)
        high = np.where((top > high) & (row + rows_of(s.edge_right) >= top), top, high)
        return np.clip(low, 0, self.rows), np.clip(high, -1, self.rows - 1)

    def lines(self):
        found = []
        lowest = self._lowest(slice(None), 0)
        for _ in range(20 * self.rows):
            column = int(lowest.argmin())
            base = int(lowest[column])
            if base >= self.rows:
                break
            chosen = self._best(column, base)
            first, last = column, column
            if chosen is None:
                self.need[base, column] = False  # no line sees it
            else:
                row, first, last, worth = chosen
                if worth >= self.rule.worth * self.ideal or not self._drop(row, first, last):
                    self._mark(row, first, last)
                    found.append(self._line(row, first, last))
            part = slice(first, last + 1)
            lowest[part] = self._lowest(part, base)
        return found

    def _lowest(self, part, base):
        """Lowest row of each column that is still to be seen, none below ``base``; the number of rows where none is."""
        near = self.need[base:base + self.window, part]
        found = np.where(near.any(axis=0), base + near.argmax(axis=0), self.rows)
        far = np.flatnonzero(found == self.rows)
        if len(far) and base + self.window < self.rows:
            rest = self.need[base + self.window:, part][:, far]
            found[far] = np.where(rest.any(axis=0), base + self.window + rest.argmax(axis=0), self.rows)
        return found

    def _best(self, column, base):
        """(row, first column, last column, new m2 a metre) of the line that sees the lowest cell best, None if none."""
        s = self.s
        most = int(np.ceil(max(s.left[:, column].max(), s.right[:, column].max()) / s.dv)) + 1
        rows = np.arange(max(0, base - most), min(self.rows, base + most + 1))
        near = np.where(rows >= base, rows - np.floor(s.left[rows, column] / s.dv + 0.5) <= base,
                        rows + np.floor(s.right[rows, column] / s.dv + 0.5) >= base)
        rows = rows[self.sees[rows, column] & near]
        if not len(rows):
            return None
        kept = (self.low[rows, column] <= base) & (base <= self.high[rows, column])
        if kept.any():
            rows = rows[kept]
        else:
            rows = rows[np.abs(rows - base).argmin()][None]
            if self.barren[rows[0], self.start[rows[0], column]]:
                return None
        if self.seen_by_line is not None and not (base and self.seen_by_line[base - 1, column]):
            limit = base + self.first_share * (s.keep_left[rows, column] / s.dv)
            rows = rows[rows <= limit] if (rows <= limit).any() else rows[:1]
        if len(rows) > _MOST_ROWS:
            rows = rows[np.linspace(0, len(rows) - 1, _MOST_ROWS).astype(int)]
        first, last = int(self.start[rows, column].min()), int(self.stop[rows, column].max())
        span = np.arange(first, last + 1)
        own = (span >= self.start[rows, column][:, None]) & (span <= self.stop[rows, column][:, None])
        low, high = self.low[rows, first:last + 1], self.high[rows, first:last + 1]
        top = int(high.max()) + 1
        sums = np.zeros((max(top - base, 0) + 1, last + 1 - first), np.int32)
        np.cumsum(self.need[base:max(top, base), first:last + 1], axis=0, out=sums[1:])
        low, high = (np.minimum(np.maximum(at - base, 0), len(sums) - 1) for at in (low, high + 1))
        span = span - first
        below = sums[low, span]
        new = np.where(own, np.maximum(sums[high, span] - below, 0), 0)
        a, b = _stretches(new > 0, column - first, max(1, int(self.rule.turn_m / s.du)))
        seen, left = _sums(new, a, b), _sums(below, a, b)
        way = (b - a + 1) * s.du + self.rule.turn_m
        score = np.where(seen > 0, (seen - _LOST * left) / way, -np.inf)
        i = int(score.argmax())
        if not seen[i]:
            self.barren[rows[0], self.start[rows[0], column]] = True
            return None
        return int(rows[i]), first + int(a[i]), first + int(b[i]), float(seen[i] * s.du * s.dv / way[i])

    def _mark(self, row, first, last):
        low, high = self.low[row, first:last + 1], self.high[row, first:last + 1]
        bottom, top = int(low.min()), int(high.max()) + 1
        rows = np.arange(bottom, top)[:, None]
        inside = (rows >= low) & (rows <= high)
        self.need[bottom:top, first:last + 1] &= ~inside
        if self.seen_by_line is not None:
            self.seen_by_line[bottom:top, first:last + 1] |= inside

    def _drop(self, row, first, last):
        """Give up what a line would see; False if too much has been given up already."""
        before = int(self.need[:, first:last + 1].sum())
        kept = self.need[:, first:last + 1].copy()
        self._mark(row, first, last)
        lost = before - int(self.need[:, first:last + 1].sum())
        if self.given_up + lost > self.most_given_up:
            self.need[:, first:last + 1] = kept
            return False
        self.given_up += lost
        return True

    def _line(self, row, first, last):
        s, part = self.s, slice(first, last + 1)
        u = s.u0 + np.array([first, last + 1]) * s.du
        ends = s.places(u, np.full(2, s.v0 + (row + 0.5) * s.dv))
        reach = np.minimum(s.left[row, part], s.right[row, part])
        flat = (s.left[row, part] + s.right[row, part]) / 2
        return PlannedLine(ends, float(s.range_m[row, part].max()), float(s.depth[row, part].mean()),
                           float(flat.mean()), float(reach.min()), self.look)


def _runs(cells):
    """First and last column of the run of filled cells that each cell lies in, (rows, columns) ints."""
    columns = np.arange(cells.shape[1], dtype=np.int32)
    start = np.maximum.accumulate(np.where(cells, -1, columns), axis=1) + 1
    stop = np.minimum.accumulate(np.where(cells, cells.shape[1], columns)[:, ::-1], axis=1)[:, ::-1] - 1
    return start, stop


def _stretches(useful, column, gap):
    """First and last useful columns, (rows,) ints, of the stretch nearest to ``column`` that no gap cuts.

    ``useful``: (rows, columns) bool; a row without any has the column itself.
    """
    first, last = np.full(len(useful), column), np.full(len(useful), column)
    row, at = np.nonzero(useful)
    if not len(row):
        return first, last
    cut = (at[1:] > at[:-1] + gap) | (row[1:] > row[:-1])
    begins = np.flatnonzero(np.append(True, cut))
    starts, stops, owner = at[begins], at[np.append(begins[1:], len(at)) - 1], row[begins]
    away = np.maximum(starts - column, column - stops)
    order = np.lexsort((away, owner))  # stable: of two as near the first stays first
    chosen = order[np.append(True, np.diff(owner[order]) > 0)]
    first[owner[chosen]], last[owner[chosen]] = starts[chosen], stops[chosen]
    return first, last


def _sums(cells, first, last):
    """Sum of each row of cells from a first to a last column, both included, floats."""
    total = np.zeros((len(cells), cells.shape[1] + 1), np.int64)
    np.cumsum(cells, axis=1, out=total[:, 1:])
    row = np.arange(len(cells))
    return (total[row, last + 1] - total[row, first]).astype(float)


def _cut(lines, ground, rule):
    """Lines inside the boat's water; pieces shorter than the shortest line are left out unless alone."""
    found = []
    for line in lines:
        kept = LineString(line.xy).intersection(ground.boat)
        pieces = [p for p in getattr(kept, "geoms", [kept]) if p.geom_type == "LineString" and p.length > 0]
        pieces = [p for p in pieces if p.length >= min(rule.least_m, 0.5 * line.length)]
        for piece in pieces:
            ends = np.asarray(piece.coords)
            if (ends[-1] - ends[0]) @ (line.end - line.start) < 0:
                ends = ends[::-1]
            found.append(replace(line, xy=ends))
    return found
