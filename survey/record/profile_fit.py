"""Shift, rate and scale that make the marks on a picture run like the depth of the track; see ``check``."""
from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..model import patience

if TYPE_CHECKING:
    from typing import Any

    from .bottom_profile import MarkedBottom, Profile

__all__ = ["Fit", "better_than_chance"]

_OTHER_FIT = 9.21
"""Chi-square(2) at 99 %: another place on the track that fits hardly worse than this is as good."""

_DEALS = 99
_CHANCE = 0.001
"""How often depths dealt out anew may fit as well as the marks; judgement: such a fit moves a whole picture."""

_UNEXPLAINED = 0.5
"""What fits leaves less than this share of the marks' own relief (standard deviation); judgement, no source."""

_TOLD_OFF = 0.1
"""Standard deviation of how far rate and scale are told wrong (logarithm); judgement, only to choose between what fits
alike."""

_RATES = np.exp(np.arange(-20, 21) * math.log(2.5) / 20)
_MOMENTS = 4000
_SCALES = (0.6, 1.7)
_PRESENT = 0.8
"""So many of the marks must lie on the track."""

_STEPS = 30


class Fit:
    """Shift, rate and scale that make the marks agree with the track."""

    def __init__(self, told: MarkedBottom, profile: Profile, values: np.ndarray, noise: float) -> None:
        self.told, self.profile, self.values = told, profile, values
        rest, normal, _ = self._linear(values)
        self.used = len(rest)
        self.rss = float(rest @ rest) * told.count_of_marks / max(self.used, 1)
        free = max(self.used - 3, 1)
        self.noise = max(math.sqrt(float(rest @ rest) / free), noise)
        try:
            self.covariance = np.linalg.inv(normal) * self.noise ** 2
        except np.linalg.LinAlgError:
            self.covariance = np.full((3, 3), np.inf)
        self.searched = math.inf
        self.residual = math.sqrt(float(rest @ rest) / max(self.used, 1))

    @classmethod
    def places(cls, told: MarkedBottom, profile: Profile, sigma_m: float) -> list[Fit]:
        """The best fit of each place of the track, the best first; empty where nothing fits."""
        table = _search(told, profile)
        if table is None:
            return []
        moments, rates, rss = table
        order = np.argsort(rss, axis=None)
        tried: list[tuple[float, float, Fit | None]] = []
        for flat in order[:4000].tolist():
            i, j = np.unravel_index(flat, rss.shape)
            if not np.isfinite(rss[i, j]) or len(tried) >= 6:
                break
            if any(abs(moments[j] - a) < max(4 * profile.step, 0.1 * np.ptp(told.count))
                   and abs(math.log(rates[i] / b)) < 0.2 for a, b, _ in tried):
                continue
            tried.append((moments[j], rates[i], cls._refined(told, profile, moments[j] - told.middle, rates[i],
                                                              sigma_m)))
        fits = sorted((one for _, _, one in tried if one is not None), key=lambda one: one.rss)
        places: list[Fit] = []
        for one in fits:
            one.searched = float(rss.min())
            if all(one._elsewhere(other) for other in places):
                places.append(one)
        return places

    def as_good_as(self, best: Fit) -> bool:
        """Whether it fits hardly worse than the best."""
        return self.rss < best.rss + _OTHER_FIT * best.noise ** 2

    def unlikely(self, best: Fit) -> float:
        """Minus twice the logarithm of how likely it is, of what fits as well as the best: by the misfit, and by how
        far off rate and scale were told."""
        return self.rss / best.noise ** 2 + float(np.square(np.log(self.values[1:]) / _TOLD_OFF).sum())

    def _elsewhere(self, other: Fit) -> bool:
        """Whether it is another place of the track."""
        apart = abs(self.values[0] - other.values[0])
        return apart > 4 * math.sqrt(other.covariance[0, 0]) + self.profile.step

    @classmethod
    def _refined(cls, told: MarkedBottom, profile: Profile, shift: float, rate: float, noise: float) -> Fit | None:
        """Levenberg's steps from a place of the search."""
        values, damping = np.array([shift, rate, 1.0]), 1e-3
        y = profile.at(told.middle + shift + rate * told.away)
        ok = np.isfinite(y)
        values[2] = (y[ok] @ told.share[ok]) / (told.share[ok] @ told.share[ok])
        here = cls(told, profile, values, noise)
        for _ in range(_STEPS):
            rest, normal, gradient = here._linear(values)
            step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)) + 1e-12 * np.eye(3), -gradient)
            new = values + step
            there = cls(told, profile, new, noise) if 0.2 < new[1] < 5 else None
            if there is not None and there.used >= _PRESENT * told.count_of_marks and there.rss < here.rss:
                values, here, damping = new, there, damping / 5
                if np.abs(step / np.array([profile.step, 1.0, 1.0])).max() < 1e-5:
                    break
            else:
                damping *= 10
                if damping > 1e6:
                    break
        return here if _SCALES[0] < here.values[2] < _SCALES[1] else None

    def _linear(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Residuals (m), normal matrix and gradient."""
        told, (shift, rate, scale) = self.told, values
        moment = told.middle + shift + rate * told.away
        y = self.profile.at(moment)
        ok = np.isfinite(y)
        rest = (scale * told.share - y)[ok] * told.edge
        slope = -self.profile.slope(moment)[ok] * told.edge
        by = np.column_stack([slope, slope * told.away[ok], told.share[ok] * told.edge])
        return rest, by.T @ by, by.T @ rest

    def explains(self) -> bool:
        """Whether it leaves less than half of the relief of the marks."""
        return self.residual <= _UNEXPLAINED * np.std(self.told.share) * self.told.edge * self.values[2]


def better_than_chance(fit: Fit) -> bool:
    """Whether no deal out of 99 of the marks' depths fits as well over the same search, and under one in 1000 would.

    What a deal fits best is the least of many misfits, so the logarithms follow Gumbel's law of least values
    (Gumbel, *Statistics of Extremes*, 1958), here with the mean and standard deviation of the 99.
    """
    rng, told = np.random.default_rng(99), fit.told
    found = _search(told, fit.profile, np.column_stack([rng.permutation(told.share) for _ in range(_DEALS)]))
    if found is None or (found <= fit.searched).any():
        return False
    dealt = np.log(found)
    scale = max(float(dealt.std(ddof=1)) * math.sqrt(6) / math.pi, 1e-9)
    away = (math.log(max(fit.searched, 1e-300)) - float(dealt.mean())) / scale - np.euler_gamma
    return -math.expm1(-math.exp(min(away, 1.0))) < _CHANCE


def _search(told: MarkedBottom, profile: Profile, deals: np.ndarray | None = None) -> Any:
    """Mean square misfit over shifts and rates: (moments of the middle, rates, (rates, moments) array), None where the
    marks nowhere lie on the track; for deals of their depths, the least of each."""
    first, last = profile.key[0], profile.key[-1]
    moments = np.arange(first, last, max(profile.step, (last - first) / _MOMENTS))
    shares = told.share[:, None] if deals is None else deals
    best, rows = np.full(shares.shape[1], np.inf), []
    for rate in _RATES:
        patience.look()
        y = profile.at(moments[:, None] + rate * told.away[None, :])
        known = np.isfinite(y)
        many = known.sum(axis=1)
        there = np.flatnonzero(many >= _PRESENT * told.count_of_marks)
        row = np.full(len(moments), np.inf)
        if len(there):
            known, y = known[there], y[there]
            if known.all():
                square = np.square(shares).sum(axis=0)[None]
            else:
                y, square = np.where(known, y, 0.0), known.astype(float) @ np.square(shares)
            mixed = y @ shares
            scale = mixed / square
            np.clip(scale, *_SCALES, out=scale)
            rss = scale * square  # (sum of y squared - 2 scale mixed + scale squared square) / many, in place
            rss -= mixed
            rss -= mixed
            rss *= scale
            rss += np.square(y).sum(axis=1)[:, None]
            rss /= many[there, None]
            best = np.minimum(best, rss.min(axis=0))
            row[there] = rss[:, 0]
        rows.append(row)
    if not np.isfinite(best).any():
        return None
    return best if deals is not None else (moments, _RATES, np.array(rows))
