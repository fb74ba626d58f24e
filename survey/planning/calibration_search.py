"""Sets of runs, and the least that serves: added one by one, exchanged, and where that can be done all tried."""
from __future__ import annotations

import itertools
import math

import numpy as np

from ..adjustment.looks import OUTING_ERRORS
from ..model import patience

__all__ = ["DEFAULT_SHARE", "MOST_RUNS", "Search", "balanced"]

DEFAULT_SHARE = 0.6
"""Of the sigma assumed before, to come down to where no other is asked for (a judgement: under 0.7 the runs say more
than was assumed)."""

MOST_RUNS = 40

TOLD = 0.7
"""Of the sigma assumed before: an offset known no better than this is not told by the runs."""

MEASURE = {"lever_forward_m": "measure it with a tape", "lever_starboard_m": "measure it with a tape",
           "trim_deg": "measure it with a level", "scale": "take the water temperature"}

_TRIED = 60_000
_ROUNDS = 40
_MANY = 1e6
_BETTER = 1e-9


def balanced(chosen, runs, meets):
    """The same number of runs with both directions, both sides and two speeds, where the targets still hold.

    A slip in one look shows only beside looks of another kind; so of sets that serve, one with all kinds is taken.
    """
    def kinds(some):
        picked = [runs[i] for i in some]
        ways = {round(run.azimuth_deg) % 360 for run in picked}
        return (any((way + 180) % 360 in ways for way in ways), len({s for run in picked for s in run.side}) > 1,
                len({run.speed_mps for run in picked}) > 1)

    held = kinds(chosen)
    for trait in range(3):
        for k, i in itertools.product(range(len(chosen)), range(len(runs))):
            if held[trait]:
                break
            other = [*chosen[:k], i, *chosen[k + 1:]]
            now = kinds(other)
            if now[trait] and all(now[t] for t in range(3) if held[t]) and meets(other):
                chosen, held = other, now
    return chosen


class Search:
    """Sets of runs, by the numbers of the candidates; the same run may be driven more than once.

    Parameters
    ----------
    parts : (n, m, m) array
        Of ``calibration_runs.information``.
    places : int
        Unknowns of places, which come first.
    names : sequence of str
        Offsets asked for.
    unit : (k,) array
        Their sigmas assumed before.
    targets : dict
        Sigma to reach, by name.
    runs : sequence of Run
    """

    def __init__(self, parts, places, names, unit, targets, runs):
        self.parts, self.places, self.unit = parts, places, unit
        self.prior = np.eye(parts.shape[1])
        self.prior[:places, :places] *= 1e-9  # two looks decide a place; before them nothing is known of it
        self.at = np.array([places + OUTING_ERRORS.index(name) for name in names])
        self.target = np.array([targets.get(name, DEFAULT_SHARE * prior)
                                for name, prior in zip(names, self.unit)])
        self.limit = self.sigmas(_MANY * parts.sum(axis=0))
        self.within = self.limit <= self.target
        minutes = np.array([run.length / run.speed_mps for run in runs])
        self.cost = minutes / minutes.max() * 1e-6  # of equals, the quicker

    def sigmas(self, total):
        """(..., k) predicted sigmas of sums of information."""
        cofactor = np.linalg.inv(total + self.prior)
        return np.sqrt(np.maximum(cofactor[..., self.at, self.at], 0)) * self.unit

    def score(self, total):
        """What is missing to the targets that can be reached, then the rest: smaller is better."""
        ratio = self.sigmas(total) / self.target
        goal = np.maximum(np.log(np.maximum(ratio, 1e-12)), 0.0)
        goal = np.where(self.within, goal, 0.0)
        return goal.sum(axis=-1) + 1e-3 * np.log(ratio).sum(axis=-1)

    def meets(self, total):
        """True where every target that can be reached is."""
        return ((self.sigmas(total) <= self.target) | ~self.within).all(axis=-1)

    def remedy(self, name):
        """How many runs would tell an offset at all, or that no number would."""
        k = [OUTING_ERRORS[at - self.places] for at in self.at].index(name)
        if self.limit[k] > TOLD * self.unit[k]:
            return f"No number of runs past these objects would; {MEASURE.get(name, 'ask for fewer offsets at once')}."
        alone = Search.__new__(Search)
        alone.__dict__.update(self.__dict__, target=np.where(np.arange(len(self.at)) == k, TOLD, _MANY) * self.unit,
                              within=np.arange(len(self.at)) == k)
        chosen = []
        while len(chosen) < MOST_RUNS:
            chosen.append(alone._best_to_add(chosen))
            if alone.meets(self.parts[chosen].sum(axis=0)):
                return f"About {len(chosen)} runs for it alone would begin to find it."
        return f"Not even {MOST_RUNS} runs would; {MEASURE.get(name, 'ask for fewer offsets at once')}."

    def fewest(self, most, step):
        """(numbers of the runs, True if no smaller set would do)."""
        chosen = []
        for count in range(1, most + 1):
            patience.look()
            step(count / most)
            chosen = self._exchanged([*chosen, self._best_to_add(chosen)])
            if count > 1 and self.within.any() and self.meets(self.parts[chosen].sum(axis=0)):
                break
        if not self.meets(self.parts[chosen].sum(axis=0)) or not self.within.any():
            return chosen, False
        for count in range(2, len(chosen)):
            if math.comb(len(self.parts) + count - 1, count) > _TRIED:
                return chosen, False
            smaller = self._every(count)
            if smaller is not None:
                return smaller, True
        return chosen, True

    def _best_to_add(self, chosen):
        total = self.parts[chosen].sum(axis=0) if chosen else 0.0
        return int(np.argmin(self.score(total + self.parts) + self.cost))

    def _exchanged(self, chosen):
        """Each run in turn replaced by the one that serves best beside the others, until nothing gains."""
        best = float(self.score(self.parts[chosen].sum(axis=0)) + self.cost[chosen].sum())
        for _ in range(_ROUNDS):
            gained = False
            for k in range(len(chosen)):
                rest = chosen[:k] + chosen[k + 1:]
                total = self.parts[rest].sum(axis=0) if rest else np.zeros_like(self.prior)
                score = self.score(total + self.parts) + self.cost + self.cost[rest].sum()
                at = int(np.argmin(score))
                if score[at] < best - _BETTER:
                    chosen, best, gained = [*chosen[:k], at, *chosen[k + 1:]], float(score[at]), True
            if not gained:
                break
        return chosen

    def _every(self, count):
        """A set of ``count`` runs that meets the targets, of all there are; None if there is none."""
        sets = np.array(list(itertools.combinations_with_replacement(range(len(self.parts)), count)))
        for start in range(0, len(sets), 4096):
            patience.look()
            some = sets[start:start + 4096]
            good = np.flatnonzero(self.meets(self.parts[some].sum(axis=1)))
            if len(good):
                cost = self.cost[some[good]].sum(axis=1)
                return some[good[int(np.argmin(cost))]].tolist()
        return None
