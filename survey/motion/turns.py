"""Where a turn ends a pass: the boat has come round, however wide the turn and however slow the boat.

A pass is a look at the bottom, so it ends where the boat can see the same ground again. Two kinds of turns do that:

- A corner. The mean course over the next ``CORNER_M`` metres differs by ``CORNER_DEG`` or more from that over the last.
  A winding shore has none: over such a stretch its wiggles even out. Nor is a bend wider than some 50 m a corner.
- Coming round. Since the last turn the course has changed by ``ROUND_DEG`` or more, however long that took. A river
  bend of less, and windings of up to 65 degrees to either side, are part of one pass.

All is measured along the way the boat made, by speeds and courses fitted over many fixes, so that neither the interval
between fixes nor their jitter decides. A pass is cut where half the turn is made.
"""
from __future__ import annotations

import numpy as np

from .course import unwrapped

__all__ = ["CORNER_DEG", "CORNER_M", "LEAST_TURN_DEG", "ROUND_DEG", "Sailed", "turn_cuts"]

CORNER_M, CORNER_DEG = 80.0, 67.5
"""A right angle on a circle of up to 47 m is a corner (judgement: with 30 m of range the fans cross on its inside)."""

ROUND_DEG = 135.0
"""Half-way between a right angle and a U-turn (judgement)."""

LEAST_TURN_DEG = 45.0
"""With a stated turn rate, a bend of less is a correction of course, not a turn (judgement)."""

HALF_TURN_DEG = 180.0

_AWAY_DEG, _MIDDLE_DEG, _THERE_DEG = 30.0, (60.0, 110.0), 170.0
"""Of a boat coming round: still on its old course, in the middle of the turn, and round."""

_BACK_DEG = 15.0

_STEADY_M = 10.0
"""To judge whether the boat has come round, its course is taken over so much of the way to either side."""

_WINDOW = 256


class Sailed:
    """How the boat ran, at (n,) samples.

    Parameters
    ----------
    course_deg, turn_dps : (n,) arrays
        Course over ground, and how fast it turns; finite wherever ``run`` is not negative.
    way_m : (n,) array
        Metres made good along the track, not falling.
    run : (n,) int array
        Equal within a stretch that nothing else breaks, contiguous; -1 where the boat makes no pass.
    """

    def __init__(self, course_deg, turn_dps, way_m, run):
        self.run, self.way, self.turn = run, np.asarray(way_m, float), np.asarray(turn_dps, float)
        self.course = unwrapped(np.nan_to_num(np.asarray(course_deg, float)), run)

    def runs(self):
        """(first, end) of every stretch in which the boat makes a pass."""
        heads = np.concatenate([[0], np.flatnonzero(np.diff(self.run)) + 1, [len(self.run)]])
        return [(a, b) for a, b in zip(heads[:-1].tolist(), heads[1:].tolist()) if b > a and self.run[a] >= 0]

    def corners(self, first, end):
        """(m, 2) first and last sample of the corners of one run."""
        return _spells((self._mean(first, end, 0.0, CORNER_M) - self._mean(first, end, -CORNER_M, 0.0)) / CORNER_DEG
                       ) + first

    def _mean(self, first, end, back, ahead):
        """Mean course from ``back`` to ``ahead`` (m) of each sample of a run, as far as the run reaches."""
        way, course = self.way[first:end], self.course[first:end]
        turned = np.concatenate([[0.0], np.cumsum((course[1:] + course[:-1]) / 2 * np.diff(way))])
        low, high = (np.clip(way + far, way[0], way[-1]) for far in (back, ahead))
        span = high - low
        return np.where(span > 0, (np.interp(high, way, turned) - np.interp(low, way, turned))
                        / np.where(span > 0, span, 1.0), course)

    def fast(self, first, end, max_turn_rate):
        """The same of bends faster than a stated rate (degrees/s), through 45 degrees or more."""
        found = _spells(self.turn[first:end] / max_turn_rate) + first
        # the samples just outside share in the turn
        found = np.column_stack([np.maximum(found[:, 0] - 1, first), np.minimum(found[:, 1] + 1, end - 1)])
        return found[np.abs(self.course[found[:, 1]] - self.course[found[:, 0]]) >= LEAST_TURN_DEG]

    def halves(self, start, last):
        """Samples at which half a turn is made; one that goes round and round has one every half circle."""
        made = np.maximum.accumulate(np.abs(self.course[start:last + 1] - self.course[start]))
        pieces = max(1, int(round(made[-1] / HALF_TURN_DEG)))
        return (start + np.searchsorted(made, made[-1] * (np.arange(pieces) + 0.5) / pieces)).tolist()

    def rounds(self, first, end):
        """Samples at which the boat comes round in a stretch without corners."""
        steady = self._mean(first, end, -_STEADY_M, _STEADY_M)
        return [first + at for at in self._rounds(steady, self.way[first:end])]

    @staticmethod
    def _rounds(whole, along):
        """The same as positions in a stretch, from its courses and its way."""
        found, begin = [], 0
        while True:
            at, way = _round_at(whole, begin)
            if at is None:
                return found
            course = way * whole[begin:]
            at -= begin
            low = course[:at + 1].min()
            steady = course[:at + 1][course[:at + 1] <= low + _AWAY_DEG].mean()
            leaves = np.flatnonzero(course[:at + 1] <= steady + _MIDDLE_DEG[0])[-1]
            comes = leaves + np.flatnonzero(course[leaves:] >= min(steady + _MIDDLE_DEG[1], course[at]))[0]
            half = (along[begin + leaves] + along[begin + comes]) / 2
            found.append(begin + leaves + int(np.searchsorted(along[begin + leaves:begin + comes + 1], half)))
            after = course[at:]
            done = (after >= steady + _THERE_DEG) | (after <= np.maximum.accumulate(after) - _BACK_DEG)
            if not done.any():
                return found
            begin += at + int(np.argmax(done))


def turn_cuts(sailed, max_turn_rate=None):
    """Where passes are cut in turns.

    Parameters
    ----------
    sailed : Sailed
    max_turn_rate : float, optional
        degrees/s; a bend of more, through 45 degrees or more, is then a turn in place of a corner.

    Returns
    -------
    (n,) bool array
        True at the first sample of the next pass. No cut leaves a single sample on either side.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.motion.turns import Sailed, turn_cuts
    >>> from athwart.motion.turns import turn_cuts
    >>> ahead = np.zeros(40)
    >>> bool(turn_cuts(Sailed(ahead, ahead, np.arange(40.0), np.zeros(40, int))).any())
    False
    """
    cut = np.zeros(len(sailed.run), bool)
    for first, end in sailed.runs():
        turns = sailed.corners(first, end) if max_turn_rate is None else sailed.fast(first, end, max_turn_rate)
        found, begin = [], first
        for start, last in turns.tolist():
            found += sailed.rounds(begin, start + 1) + sailed.halves(start, last)
            begin = last
        found += sailed.rounds(begin, end)
        latest = first
        for at in sorted(found):
            if at - latest >= 2 and end - at >= 2:
                cut[at] = True
                latest = at
    return cut


def _spells(measure):
    """(m, 2) first and last position of spells of one sign in which a measure passes 1, until it falls to a half."""
    side = np.where(np.abs(measure) > 0.5, np.sign(measure), 0.0)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(side)) + 1])
    ends = np.append(starts[1:], len(side)) - 1
    kept = (np.maximum.reduceat(np.abs(measure), starts) > 1) & (side[starts] != 0)
    return np.column_stack([starts[kept], ends[kept]])


def _round_at(course, begin):
    """First position at which a course has changed by ``ROUND_DEG`` since ``begin``, and the way round; or None."""
    low = high = course[begin]
    start, size = begin, _WINDOW
    while start < len(course):
        part = course[start:start + size]
        lows = np.minimum(np.minimum.accumulate(part), low)
        highs = np.maximum(np.maximum.accumulate(part), high)
        hit = (part - lows >= ROUND_DEG) | (highs - part >= ROUND_DEG)
        if hit.any():
            at = int(np.argmax(hit))
            return start + at, 1 if part[at] - lows[at] >= ROUND_DEG else -1
        low, high, start, size = lows[-1], highs[-1], start + len(part), 2 * size
    return None, 0
