"""Which beam looks at a cell: the strip between two samples solved for the moment and the ground range of each cell.

Between rows i and i + 1 the transducer runs straight, P(t), and the beam's direction s(t) turns evenly, 0 <= t <= 1.
The beam that meets a point q is that for which q - P(t) is parallel to s(t): a quadratic in t.
"""
from __future__ import annotations

import numpy as np

from ..geometry.scanfill import fill_quads

__all__ = ["StripCells", "beam_through"]

_SLACK = 0.01


class StripCells:
    """Cells of a window whose middles lie in intervals of a sweep.

    (k,) arrays: ``cell`` flat index in the window; ``col``, ``row`` from the window's corner, float32; ``quad``
    position in ``interval``; ``moment`` t, 0 .. 1; ``ground`` range, m; ``side`` -1 or +1 (int8); ``beam`` which of
    ``subbeams``.

    Parameters
    ----------
    sweep : survey.ensonify.beam_rows.BeamRows
    interval : (m,) int array
    subbeams : survey.ensonify.beam_rows.Subbeams
        Of the same intervals.
    window : (row0, row1, col0, col1)
    """

    def __init__(self, sweep, interval, subbeams, window):
        runs = fill_quads(sweep.corners(interval), window)
        run, col = runs.cells()
        self.quad = runs.quad[run]
        row = (runs.row - window[0])[run]
        col = col - window[2]
        self.cell = row * (window[3] - window[2]) + col
        self.col, self.row = col.astype(np.float32), row.astype(np.float32)
        self._solve(sweep, interval, np.array([window[2], window[0]]))
        piece = np.clip((self.moment * subbeams.pieces[self.quad]).astype(np.intp), 0, subbeams.pieces[self.quad] - 1)
        self.beam = subbeams.first[self.quad] + piece

    def keep(self, these):
        """Drop the cells that are not among ``these`` ((k,) bool)."""
        for name in ("quad", "cell", "col", "row", "moment", "ground", "side", "beam"):
            setattr(self, name, getattr(self, name)[these])

    def mixed(self, values, interval):
        """Values at the rows of the sweep -> at the cells, straight in between."""
        start = values[interval].astype(np.float32)
        change = (values[interval + 1] - values[interval]).astype(np.float32)
        return start[self.quad] + self.moment * change[self.quad]

    def _solve(self, sweep, interval, corner):
        def both(values):
            start, end = values[interval], values[interval + 1]
            return start.astype(np.float32).T, (end - start).astype(np.float32).T
        (x0, y0), (dx, dy) = both(sweep.at - corner)
        (a0, b0), (da, db) = both(sweep.beam)
        quad = self.quad
        x, y = self.col - x0[quad], self.row - y0[quad]
        self.moment, self.ground, self.side = beam_through(x, y, (dx, dy), (a0, b0), (da, db), quad)


def beam_through(x, y, step, beam, swing, quad):
    """The beam that meets each of some points.

    Parameters
    ----------
    x, y : (k,) arrays
        Points, counted from where their interval begins.
    step : pair of (m,) arrays
        What the transducer moves in each interval.
    beam : pair of (m,) arrays
        One metre to starboard at the beginning of each.
    swing : pair of (m,) arrays
        What is added to that until its end.
    quad : (k,) int array
        Interval of each point.

    Returns
    -------
    moment : (k,) array
        Share of the interval, 0 .. 1.
    ground : (k,) array
        Range, m.
    side : (k,) int8 array
        -1 or +1.
    """
    (dx, dy), (a0, b0), (da, db) = step, beam, swing
    intervals = (*step, *beam, *swing, dx * b0 - dy * a0, 4 * (dy * da - dx * db), a0 * a0 + b0 * b0)
    # each point's interval is there: then wrap, which has none to refuse, is the quickest
    dx, dy, sine, cosine, turn, lean, b, a4, square = (values.take(quad, mode="wrap") for values in intervals)
    c = x * cosine - y * sine
    b = b - x * lean + y * turn
    # a t^2 - b t + c = 0: the root that stays finite as a goes to 0, else the other
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.copysign(np.sqrt(np.maximum(b * b - a4 * c, 0)), b)
        t = 2 * c / (b + root)
        if not (len(t) and t.min() > -_SLACK and t.max() < 1 + _SLACK):  # a nan also leads here
            out = np.flatnonzero(~((t > -_SLACK) & (t < 1 + _SLACK)))
            other = ((b + root).take(out)) / (0.5 * a4.take(out))
            t[out] = np.where((other > -_SLACK) & (other < 1 + _SLACK), other, t[out])
            t = np.nan_to_num(t, copy=False, nan=0.5)
    t = np.minimum(np.maximum(t, 0, out=t), 1, out=t)
    a, b = sine + t * turn, cosine + t * lean
    along = (x - t * dx) * a + (y - t * dy) * b
    long = np.sqrt((a * a + b * b) * square)
    side = 1 - 2 * (along < 0).view(np.int8)
    return t, np.abs(along, out=along) / long, side
