"""Stretches of rows that see all there is to see of some places, with as little way as can be found.

Stretches are picked one by one, each the one that sees most over the price of its way (greedy covering; no way to do it
in polynomial time comes closer to the best in general than its logarithm, Feige 1998). Then some are taken away and
their places seen anew, and lines are put together where one stretch will do, as long as that saves way.
"""
from __future__ import annotations

import itertools

import numpy as np

from ..model import patience
from .fill_rows import best_stretch

__all__ = ["Cover"]

_ANEW = 40
_PRICES = (0.006, 0.02, 0.06, 0.18)
_LEAST_PRICE = 1e-3
_SEATS, _FEW = 12, 9
_SEED = 20101
_FIFTHS = np.linspace(0, 1, 5)[:, None]


class Cover:
    """Search for stretches.

    Parameters
    ----------
    rows : list of survey.planning.fill_rows.Row
    worth, area : (n,) arrays
        What each place is worth (m2, 0 where it cannot be seen), and the ground it stands for.
    turn_m : float
        Way (m) that a further line costs.
    swath : float
        Width (m) of a swath.
    enough : float
        Ground (m2) that may be left.
    """

    def __init__(self, rows, worth, area, turn_m, swath, enough):
        self.rows, self.worth, self.area, self.turn_m, self.swath = rows, worth, area, turn_m, swath
        self.enough = enough
        self._known = {}
        self.flat = np.concatenate([row.sees for row in rows])
        self.first = np.cumsum([0, *(len(row.sees) for row in rows[:-1])])

    def solved(self, step):
        """List of (row, first, last)."""
        tries = [self._filled([], price * self.swath) for price in _PRICES]
        chosen = min(tries, key=self._cost)
        cost, rng = self._cost(chosen), np.random.default_rng(_SEED)
        idle = 0
        for turn in range(_ANEW if len(chosen) > 1 else 0):
            patience.look()
            if idle > 10 + 2 * len(chosen):
                break
            step(turn / _ANEW)
            out = self._neighbours(chosen, int(rng.integers(len(chosen))), int(rng.integers(2, 6)))
            rest = [pick for k, pick in enumerate(chosen) if k not in out]
            again = self._filled(rest, float(rng.choice(_PRICES)) * self.swath)
            idle += 1
            if self._cost(again) < cost - 1e-6:
                chosen, cost, idle = again, self._cost(again), 0
        return self._merged(chosen)

    def _merged(self, chosen):
        """Lines put together, and moved to a better way, wherever one stretch sees what they saw alone."""
        cost, better = self._cost(chosen), chosen
        while better is not None:
            chosen, better = better, None
            most = 3 if len(chosen) <= _FEW else 2
            alone = _Alone(self, [self._places(pick) for pick in chosen], most)
            for out in (some for n in range(1, most + 1) for some in itertools.combinations(range(len(chosen)), n)):
                patience.look()
                rest = [pick for k, pick in enumerate(chosen) if k not in out]
                left, missed = alone.without(out)
                for r in np.argsort(missed, kind="stable")[:_SEATS]:
                    if missed[r] > self.enough:
                        break
                    at = np.flatnonzero(left[self.rows[r].sees])
                    if len(at):
                        one = [*rest, (int(r), int(at[0]), int(at[-1]))]
                        now = self._cost(one)
                        if now < cost - 1e-6:
                            better, cost = one, now
        return chosen

    def _ends(self, pick):
        found = self._known.get(pick)
        if found is None:
            row, first, last = self.rows[pick[0]], pick[1], pick[2]
            found = self._known[pick] = row.origin + row.at[[first, last]][:, None] * row.unit
        return found

    def _cost(self, chosen):
        """Way (m) along the lines and at least between them, with a turn for each."""
        if not chosen:
            return np.inf
        ends = np.array([self._ends(pick) for pick in chosen])
        east, north = (ends[:, None, :, None, k] - ends[None, :, None, :, k] for k in (0, 1))
        apart = np.sqrt((east * east + north * north).min(axis=(2, 3)))
        along = sum(self.rows[r].at[last] - self.rows[r].at[first] for r, first, last in chosen)
        way = apart[0].copy()  # the shortest tree that joins them, as Prim (1957)
        way[0] = apart[:, 0] = np.inf
        for _ in range(len(chosen) - 1):
            k = int(way.argmin())
            along += way[k]
            way[k] = apart[:, k] = np.inf
            np.minimum(way, apart[k], out=way)
        return along + self.turn_m * len(chosen)

    def _away(self, pick, others):
        """Way (m) from the stretch to the nearest of others, an (n, 2, 2) array of ends; 0 where there are none."""
        if not len(others):
            return 0.0
        start, end = self._ends(pick)
        points = start + _FIFTHS * (end - start)
        way = others[:, 1] - others[:, 0]
        off = points[:, None] - others[:, 0]
        along = (off * way).sum(axis=2) / np.maximum((way * way).sum(axis=1), 1e-9)
        off -= np.minimum(np.maximum(along, 0.0), 1.0)[..., None] * way
        return float(np.sqrt((off * off).sum(axis=2).min()))

    def _neighbours(self, chosen, number, count):
        """Numbers of a line and of those whose middles lie nearest."""
        middle = np.array([self.rows[r].origin + (self.rows[r].at[a] + self.rows[r].at[b]) / 2 * self.rows[r].unit
                           for r, a, b in chosen])
        return set(np.argsort(np.hypot(*(middle - middle[number]).T), kind="stable")[:count].tolist())

    def _places(self, pick):
        row, first, last = pick
        return self.rows[row].sees[first:last + 1]

    def _filled(self, chosen, price):
        """More stretches until no more than a trifle is left: each the one that closes most over the price of its way,
        in m2 a metre; where none pays, the price falls."""
        left = self.worth.copy()
        for pick in chosen:
            left[self._places(pick)] = 0.0
        chosen, gains = list(chosen), None
        while self.area[left > 0].sum() > self.enough and price > _LEAST_PRICE:
            patience.look()
            if gains is None:  # what a row can gain only falls as places are taken
                gains = np.add.reduceat(left[self.flat], self.first) - price * self.turn_m
            best, most = None, 1e-9
            others = np.array([self._ends(pick) for pick in chosen])
            for r in np.argsort(-gains, kind="stable"):
                if gains[r] <= most:
                    break
                gains[r], first, last = best_stretch(self.rows[r], left, price, self.turn_m)
                if gains[r] <= most:
                    continue
                gain = gains[r] - price * self._away((int(r), first, last), others)
                if gain > most:
                    most, best = gain, (int(r), first, last)
            if best is None:
                price, gains = price / 2, None
                continue
            left[self._places(best)] = 0.0
            chosen.append(best)
        return self._trimmed(chosen)

    def _trimmed(self, chosen):
        """Each stretch cut to the places that no other sees, the longest last, and dropped where none is its own."""
        count = np.zeros(len(self.worth), int)
        for pick in chosen:
            count[self._places(pick)] += 1
        kept = list(chosen)
        for k in np.argsort([self.worth[self._places(pick)].sum() for pick in kept], kind="stable"):
            row, first, last = kept[k]
            sees = self.rows[row].sees
            own = np.flatnonzero((count[sees[first:last + 1]] == 1) & (self.worth[sees[first:last + 1]] > 0))
            count[sees[first:last + 1]] -= 1
            if not len(own):
                kept[k] = None
                continue
            kept[k] = (row, first + int(own[0]), first + int(own[-1]))
            count[self._places(kept[k])] += 1
        return [pick for pick in kept if pick is not None]


class _Alone:
    """What only some of the stretches see: places with the same stretches are one group, and rows see shares of groups.

    Sums by group, not a product of matrices: QGIS brings a BLAS that takes ten times as long for that.

    Parameters
    ----------
    cover : Cover
    places : list of arrays
        Numbers of the places that each stretch sees.
    most : int
        Of how many stretches at a time it will be asked.
    """

    def __init__(self, cover, places, most):
        by = np.zeros((len(cover.worth), len(places)), bool)
        for k, some in enumerate(places):
            by[some, k] = True
        few = np.flatnonzero((by.sum(axis=1) <= most) & (cover.worth > 0))
        self.by, group = np.unique(by[few], axis=0, return_inverse=True)
        groups = len(self.by)
        self.group = np.full(len(cover.worth), groups)
        self.group[few] = np.ravel(group)
        self.area = np.bincount(self.group, cover.area, groups + 1)[:groups]
        sizes = np.diff(np.append(cover.first, len(cover.flat)))
        row = np.repeat(np.arange(len(cover.rows)), sizes)
        heap = row * (groups + 1) + self.group[cover.flat]
        self.seen = np.bincount(heap, cover.area[cover.flat], len(cover.rows) * (groups + 1)).reshape(
            len(cover.rows), groups + 1)[:, :groups].T.copy()

    def without(self, out):
        """(places,) bool, what nothing sees without stretches ``out``; (rows,) m2 of it that each row would leave."""
        kept = np.ones(self.by.shape[1], bool)
        kept[list(out)] = False
        lost = np.flatnonzero(~self.by[:, kept].any(axis=1))
        left = np.zeros(len(self.by) + 1, bool)
        left[lost] = True
        return left[self.group], self.area[lost].sum() - self.seen[lost].sum(axis=0)
