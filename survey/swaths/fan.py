"""The beams of one side as rows to draw strips from: cut at breaks and range steps, thinned, ended at land."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..beams.land import near_shore, water_reach
from ..model.table import Bools, Floats, Ints, Table
from .quad_strips import quad_strips

__all__ = ["Fan", "StripRows", "strip_rows"]

SHORE_STEP_M = 1.0
"""Near land beams are set this close together along the track and along the outer edge."""

SHORE_FINE_M = 0.1
"""The same where one beam runs more than ``SHORE_STEP_M`` further than its neighbour: behind a point or an island."""

SAME_RANGE_M = 0.01
"""Ranges closer than this are one setting, told in other units or with other digits: no step."""

_SWING_DEG = 10.0


@dataclass(eq=False, repr=False)
class StripRows(Table):
    """(k,) arrays: ``sample`` an index into the track, ``strip`` a number, ``range_m`` the slant range in force.

    A strip is a stretch of one pass, without a break and of one range. Where the range changes, and where a turn ends
    the pass, the sample that begins the new strip stands in both: last in the old one, with the range held (``held``),
    and first in the new. So nothing is left undrawn at a cut.
    """

    sample: Ints
    strip: Ints
    range_m: Floats
    held: Bools

    @property
    def owner(self):
        """(k,) a sample of the row's own pass: the sample itself, or the one before it where it is held."""
        return self.sample - self.held


def strip_rows(track):
    """Rows of the strips of a track.

    Parameters
    ----------
    track : survey.model.track.Track

    Returns
    -------
    StripRows, of usable samples with a position only

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.swaths.fan import strip_rows
    >>> import athwart
    >>> away = np.arange(0.0, 60.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=13.0, depth_m=5.0)).track
    >>> len(strip_rows(track).sample)
    30
    """
    usable = track.usable & np.isfinite(track.x) & np.isfinite(track.y)
    joined = track.joined() & usable[1:] & usable[:-1]
    before, after = track.range_m[:-1], track.range_m[1:]
    steps = joined & ~(np.abs(after - before) < SAME_RANGE_M) & ~(np.isnan(before) & np.isnan(after))
    steps |= track.cut_between() & usable[1:] & usable[:-1]
    sample = np.flatnonzero(usable)
    if not len(sample):
        return StripRows(sample, sample, np.empty(0), np.empty(0, bool))
    at_step = np.concatenate([[False], steps])[sample]
    breaks = ~np.concatenate([[False], joined | steps])[sample]
    row = np.repeat(np.arange(len(sample)), 1 + at_step)
    held = np.zeros(len(row), bool)
    held[:-1] = row[1:] == row[:-1]
    starts = breaks[row]
    starts[1:] |= held[:-1]
    sample = sample[row]
    return StripRows(sample, np.cumsum(starts) - 1, track.range_m[sample - held], held)


@dataclass(eq=False, repr=False)
class Fan(Table):
    """(k,) beams of one side in frame metres.

    ``at`` (k, 2): the transducer; ``along`` (k, 2): unit vector of the beam over the ground; ``inner``, ``outer``:
    ground range of the edges, NaN where nothing was seen; ``strip``: beams of one strip are contiguous, and what lies
    between two of them was seen, unless there is a ``cut`` before the second; ``row``: index of the strip row, -1 for
    beams set in between; ``shore``: whether land may lie between this beam and the next.
    """

    at: Floats
    along: Floats
    inner: Floats
    outer: Floats
    strip: Ints
    row: Ints
    shore: Bools
    cut: Bools

    @classmethod
    def of(cls, beams, side, inner, outer, strip, row):
        """Fan of Beams (one per row) on ``side``, without cuts, nothing known about land."""
        return cls(np.column_stack([beams.east, beams.north]), side * beams.starboard, inner, outer, strip, row,
                   np.zeros(len(strip), bool), np.zeros(len(strip), bool))

    def _edge(self, ground):
        return self.at + ground[:, None] * self.along

    def drawn(self):
        """(k - 1,) bool: something is drawn between beam i and i + 1."""
        seen = np.isfinite(self.outer)
        return (self.strip[1:] == self.strip[:-1]) & seen[1:] & seen[:-1] & ~self.cut[1:]

    def quad_strips(self):
        """Ribbons of everything drawn; see ``survey.swaths.quad_strips``."""
        return quad_strips(self._edge(self.inner), self._edge(self.outer), self.drawn(), self._shared())

    def _shared(self):
        """(m,) the beams i that are the same as i + 1: one strip ends there and the next begins."""
        return np.flatnonzero((self.strip[1:] != self.strip[:-1]) & (self.at[1:] == self.at[:-1]).all(axis=1)
                              & (self.along[1:] == self.along[:-1]).all(axis=1)
                              & np.isfinite(self.outer[1:] + self.outer[:-1]))

    def thinned(self, spacing_m):
        """One beam for every ``spacing_m`` along the track.

        At ping rate the noise of a heading crosses neighbouring beams over and over, which costs much and shows
        nothing. Kept as they are: first and last beams of a strip, beams beside one that saw nothing, and stretches in
        which the fan swings by more than 10 degrees within one spacing.
        """
        count = len(self.strip)
        if count < 3 or not spacing_m > 0:
            return self
        change = self.strip[1:] != self.strip[:-1]
        travel = np.concatenate([[0.0], np.cumsum(np.where(change, 0.0, np.hypot(*np.diff(self.at, axis=0).T)))])
        bucket = np.floor(travel / spacing_m + 1e-6) + np.concatenate([[0.0], np.cumsum(change)]) * (travel[-1] + 2)
        fresh = np.concatenate([[True], bucket[1:] != bucket[:-1]])
        ends = np.concatenate([[True], change]) | np.concatenate([change, [True]])
        blank = ~np.isfinite(self.outer)
        beside = blank | np.concatenate([[False], blank[:-1]]) | np.concatenate([blank[1:], [False]])
        heads = np.flatnonzero(fresh)
        swing = np.unwrap(np.nan_to_num(np.arctan2(*self.along.T)))
        swings = np.maximum.reduceat(swing, heads) - np.minimum.reduceat(swing, heads) > np.radians(_SWING_DEG)
        swings = np.repeat(swings, np.diff(np.append(heads, count)))
        return self.take(fresh | ends | beside | swings)

    def ended_at_land(self, water):
        """The fan with every beam cut where it first leaves the water, and blank where that is short of its inner edge.

        Near land beams are added until neighbours are 1 m apart, and 0.1 m where one runs much further than the other.
        Apart from such beams nothing is changed away from land.

        Parameters
        ----------
        water : shapely Polygon or MultiPolygon, frame metres
        """
        fan = self._refined(self._near(water), SHORE_STEP_M)
        # a beam that just touches a corner may have no shore beside it, yet all the land's shadow on one side
        reach = fan._reach(water)
        ended = reach < fan.outer
        jump = (np.abs(np.diff(np.fmin(fan.outer, reach))) > SHORE_STEP_M) & (ended[1:] | ended[:-1])
        fan = fan._refined(jump & fan.drawn(), SHORE_FINE_M)
        reach = fan._reach(water)
        outer = np.fmin(fan.outer, reach)
        seen = np.isfinite(fan.outer) & (outer > fan.inner)
        fan.outer, fan.inner = np.where(seen, outer, np.nan), np.where(seen, fan.inner, np.nan)
        return fan

    def _reach(self, water):
        return water_reach(water, *self.at.T, *self.along.T, self.outer)

    def _near(self, water):
        """(k - 1,) bool: land may lie within the drawn patch between beam i and i + 1."""
        at = np.flatnonzero(self.drawn())
        tips = self._edge(self.outer)
        near = np.zeros(len(self.strip) - 1, bool)
        near[at] = near_shore(water, np.stack([self.at[at], tips[at], tips[at + 1], self.at[at + 1]], axis=1))
        return near

    def _refined(self, where, spacing_m):
        """The fan with land noted (``shore``) and beams set in between, until boat and outer edge step ``spacing_m``.

        ``where``: (k - 1,) bool, the drawn patches it is about.
        """
        low, share = self.places(where, spacing_m)
        fan = self.at_places(low, share)
        fan.shore |= np.append(where, False)[low]
        return fan

    def places(self, where, spacing_m):
        """Places of the beams of a finer fan, as (beam before, share of the way to the next): these, and in the patches
        ``where`` ((k - 1,) bool) as many more as let boat and outer edge step at most ``spacing_m``."""
        tips = self._edge(self.outer)
        moved = np.maximum(np.hypot(*np.diff(self.at, axis=0).T), np.hypot(*np.diff(tips, axis=0).T))
        pieces = np.ones(len(self.strip), int)
        pieces[:-1][where] = np.ceil(moved[where] / spacing_m).clip(1)
        low = np.repeat(np.arange(len(pieces)), pieces)
        return low, (np.arange(len(low)) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / pieces[low]

    def at_places(self, low, share):
        """The fan with beams at such places; those set in between have row -1."""
        between = share > 0
        fan = self.take(low)
        if not between.any():
            return fan
        low, share = low[between], share[between]

        def mixed(values):
            weight = share[:, None] if values.ndim == 2 else share
            return values[low] * (1 - weight) + values[low + 1] * weight
        fan.at[between], fan.inner[between], fan.outer[between] = map(mixed, (self.at, self.inner, self.outer))
        along = mixed(self.along)
        fan.along[between] = along / np.hypot(*along.T)[:, None]
        fan.row[between] = -1
        fan.cut[between] = False
        return fan
