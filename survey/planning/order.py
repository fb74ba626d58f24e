"""In which order, and which way, to run the lines: as little way between them as can be found.

Up to EXACT lines the best of all orders is found, by dynamic programming over sets of lines (Held & Karp 1962). Beyond,
nearest neighbours from several beginnings are improved by turning stretches round (2-opt) and by moving up to three
lines elsewhere, either way round (Or-opt), until nothing helps, then shaken (double bridge) and improved again. On
100 sets of 12 lines, where all orders can be looked at, that came within 1.1 % of the best (tests/proof/plans.py).

Any order needs at least the way of the shortest tree that joins the lines; ``bound`` states it. A solver library would
do the same: it is not among what QGIS brings along, and lines that may be run both ways are not its plain case.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model import patience

__all__ = ["EXACT", "Order", "best_order", "exact_order", "improved_order"]

EXACT = 12

_SHAKES = ((16, 400), (80, 120), (10_000, 30))
"""How often an order of at most so many lines is shaken."""

_BEGINNINGS = 10


@dataclass
class Order:
    """``sequence``: (n,) line numbers; ``turned``: (n,) bool, run from end to start; ``way``: m between the lines;
    ``bound``: no order needs less; ``exact``: True if none is better."""

    sequence: np.ndarray
    turned: np.ndarray
    way: float
    bound: float
    exact: bool


def best_order(between, first=None, exact=EXACT, thorough=True):
    """Order of n lines.

    Parameters
    ----------
    between : (2 n, 2 n) array
        Way (m) from one end to another, symmetric; 2 i is the start of line i, 2 i + 1 its end.
    first : (2 n,) array, optional
        Way from where the boat is to each end.
    exact : int
        Up to so many lines all orders are looked at.
    thorough : bool
        False leaves out the shaking: quick enough to compare plans.

    Returns
    -------
    Order
    """
    n = len(between) // 2
    first = np.zeros(2 * n) if first is None else np.asarray(first, float)
    between = np.minimum(np.nan_to_num(np.asarray(between, float), posinf=1e7), 1e7)
    first = np.minimum(np.nan_to_num(first, posinf=1e7), 1e7)
    found = exact_order(between, first) if n <= exact else improved_order(between, first, thorough)
    ends = found[0]
    return Order(ends // 2, ends % 2 == 1, found[1], _tree(between, first), n <= exact)


def exact_order(between, first):
    """(entered ends (n,), way) of the best of all orders."""
    n = len(between) // 2
    cost = np.full((1 << n, 2 * n), np.inf)
    before = np.full((1 << n, 2 * n), -1)
    ends = np.arange(2 * n)
    cost[1 << (ends // 2), ends] = first
    bits = 1 << (ends // 2)
    for done in range(1, 1 << n):
        inside, free = np.flatnonzero(done & bits), np.flatnonzero(~done & bits)
        step = cost[done, inside, None] + between[inside ^ 1][:, free]
        via = step.argmin(axis=0)
        # the set without its last line is the only one that leads here
        cost[done | bits[free], free] = step[via, np.arange(len(free))]
        before[done | bits[free], free] = inside[via]
    done, end = (1 << n) - 1, int(cost[-1].argmin())
    found, way = [], float(cost[-1].min())
    while end >= 0:
        found.append(end)
        done, end = done ^ (1 << (end // 2)), int(before[done, end])
    return np.array(found[::-1]), way


def improved_order(between, first, thorough=True, seed=0):
    """(entered ends (n,), way) of a good order; the same every time."""
    n = len(between) // 2
    rng = np.random.default_rng([20098, seed, n])
    starts = np.unique(np.concatenate([[int(first.argmin())], np.argsort(first)[:2],
                                       rng.integers(0, 2 * n, _BEGINNINGS)]))[:None if thorough else 3]
    best, way = None, np.inf
    for start in starts:
        patience.look()
        found = _improved(_nearest(between, int(start)), between, first)
        length = _length(found, between, first)
        if length < way - 1e-9:
            best, way = found, length
    for _ in range(next(often for most, often in _SHAKES if n <= most) if thorough else 0):
        patience.look()
        a, b, c = np.sort(rng.choice(np.arange(n + 1), 3, replace=False))
        shaken = np.concatenate([best[:a], best[b:c], best[a:b], best[c:]])
        found = _improved(shaken, between, first)
        length = _length(found, between, first)
        if length < way - 1e-9:
            best, way = found, length
    return best, float(way)


def _length(ends, between, first):
    return float(first[ends[0]] + between[ends[:-1] ^ 1, ends[1:]].sum())


def _nearest(between, start):
    n = len(between) // 2
    left = np.ones(2 * n, bool)
    found = [start]
    left[[start, start ^ 1]] = False
    while len(found) < n:
        way = np.where(left, between[found[-1] ^ 1], np.inf)
        end = int(way.argmin())
        found.append(end)
        left[[end, end ^ 1]] = False
    return np.array(found)


def _improved(ends, between, first):
    """2-opt and Or-opt until neither helps; ``ends`` are those by which the lines are entered, in order."""
    while True:
        better = _two_opt(ends, between, first)
        better = _or_opt(better, between, first)
        if _length(better, between, first) >= _length(ends, between, first) - 1e-9:
            return ends
        ends = better


def _two_opt(ends, between, first):
    n = len(ends)
    for _ in range(4 * n):
        into, out = ends, ends ^ 1
        # turning the stretch i .. j round: joints before i and after j change
        before = np.vstack([first[None], between[out[:-1]]])        # (n, 2n): from what precedes i
        joint = before[np.arange(n), into]
        gain_i = joint[:, None] - before[:, out]                    # i, j: enter the stretch by the exit of j
        nxt = np.zeros((n, n))
        nxt[:, :-1] = between[out[:-1], into[1:]] - between[into][:, into[1:]]
        gain = np.triu(gain_i + nxt)
        i, j = np.unravel_index(int(gain.argmax()), gain.shape)
        if gain[i, j] <= 1e-9:
            return ends
        ends = np.concatenate([ends[:i], (ends[i:j + 1] ^ 1)[::-1], ends[j + 1:]])
    return ends


def _or_opt(ends, between, first):
    for _ in range(2 * len(ends)):
        best = (1e-9, None)
        n = len(ends)
        for size in (1, 2, 3):
            for i in range(n - size + 1):
                piece, rest = ends[i:i + size], np.concatenate([ends[:i], ends[i + size:]])
                if not len(rest):
                    continue
                lead = first[piece[0]] if i == 0 else between[ends[i - 1] ^ 1, piece[0]]
                tail = 0.0 if i + size == n else between[piece[-1] ^ 1, ends[i + size]]
                joined = 0.0
                if i + size < n:
                    joined = first[ends[i + size]] if i == 0 else between[ends[i - 1] ^ 1, ends[i + size]]
                saved = lead + tail - joined
                if saved <= best[0]:
                    continue
                old = np.concatenate([[first[rest[0]]], between[rest[:-1] ^ 1, rest[1:]], [0.0]])
                for own in (piece, (piece ^ 1)[::-1]):
                    into = np.concatenate([[first[own[0]]], between[rest ^ 1, own[0]]])
                    onward = np.concatenate([between[own[-1] ^ 1, rest], [0.0]])
                    gain = saved - (into + onward - old)
                    k = int(gain.argmax())
                    if gain[k] > best[0]:
                        best = (float(gain[k]), np.concatenate([rest[:k], own, rest[k:]]))
        if best[1] is None:
            return ends
        ends = best[1]
    return ends


def _tree(between, first):
    """Length (m) of the shortest tree that joins the lines, and the shortest way to any of them (Prim 1957)."""
    n = len(between) // 2
    apart = between.reshape(n, 2, n, 2).min(axis=(1, 3))
    away, total, left = apart[0].copy(), 0.0, np.ones(n, bool)
    left[0] = False
    for _ in range(n - 1):
        k = int(np.where(left, away, np.inf).argmin())
        total += away[k]
        left[k] = False
        away = np.minimum(away, apart[k])
    return float(total + first.min())
