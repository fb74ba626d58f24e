"""Does a picture of the record belong where it was said to? Bottom marks on it against the depths of the track.

The edge of the dark band is the depth under the boat. So the marks of one picture draw the same profile as the track,
moved in time, drawn out, and scaled, if rows or range were told wrongly. With x the mark's share of the range at the
edge, y the track's depth over its range, and t' = middle + shift + rate (t - middle), the fit is

    scale x = y(t'),   least squares over shift, rate and scale.

How well that can be told is the business of the bottom: the inverse of the normal matrix is the Cramer-Rao bound,
and on a level bottom, where dy/dt' is nothing, there is none. A search over the whole track finds the profile
wherever it is, and the other way round; against chance stand 99 fits to the same marks with their depths dealt out
anew (a permutation test, Fisher 1935; Phipson and Smyth 2010 for its count).
"""
from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ..model import patience
from ..model.errors import InputError
from ..model.messages import Message
from ..targets.poses import Runs
from .row_beams import counts_of

__all__ = ["CheckSettings", "Checked", "check_record"]

LEAST_MARKS = 6

_DEALS = 99
_UNEXPLAINED = 0.5
"""What fits leaves less than this share of the marks' own relief (standard deviation); judgement, no source."""

_RATES = np.exp(np.arange(-20, 21) * math.log(2.5) / 20)
_MOMENTS = 4000
_SCALES = (0.6, 1.7)
_PRESENT = 0.8
"""So many of the marks must lie on the track."""

_STEPS = 30
_RELIEF = 2.0
_SURE = 3.0
"""Standard deviations from which on a difference is one."""

_OTHER_FIT = 9.21
"""Chi-square(2) at 99 %: another place on the track that fits hardly worse than this is as good."""


@dataclass(frozen=True)
class CheckSettings:
    """``sigma_m``: standard deviation of a mark's depth against the track's (m); the fit's own scatter, where that is
    larger, takes its place in the results.

    Examples
    --------
    >>> import athwart
    >>> athwart.CheckSettings().sigma_m
    0.2
    """

    sigma_m: float = 0.2

    def __post_init__(self) -> None:
        if not (math.isfinite(self.sigma_m) and self.sigma_m > 0):
            raise InputError(Message("{sigma_m} is {given:g}; give a length above 0, such as 0.2.",
                                     given=self.sigma_m))


@dataclass
class Checked:
    """``columns``: arrays by the names of ``schemas.CHECKS``. ``status``: fits, shifted, reversed or off: what is wrong
    first. ``shift`` (counts: pings or seconds), ``rate``, ``scale`` and their sigmas; ``residual_m``; ``marks`` used.
    ``record``: as it should be told. ``notes``, ``warnings``: sentences for the log."""

    columns: dict
    status: str
    shift: float
    rate: float
    scale: float
    sigmas: tuple
    residual_m: float
    marks: int
    record: object
    notes: list = field(default_factory=list)
    warnings: list = field(default_factory=list)


def check_record(record: Any, column: Any, row: Any, track: Any, settings: Any = None) -> Any:
    """Check a picture's rows and range against the track.

    Parameters
    ----------
    record : Record
        As the picture was said to show the record.
    column, row : (n,) arrays
        Pixels of marks on the bottom line.
    track : Track
        With depths of a sounder.
    settings : CheckSettings, optional

    Returns
    -------
    Checked

    Raises
    ------
    InputError
        With too few marks, over a level bottom, and where nothing on the track fits.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> away, t = np.arange(0.0, 402.0, 2.0), np.arange(0.0, 201.0)
    >>> depth = 6 + np.sin(t / 17) + 0.02 * t
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=1e9 + t, depth_m=depth)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=30.0)).track
    >>> record = athwart.Record(600, 101, newest="bottom", first_s=1e9 + 50, last_s=1e9 + 150)
    >>> row = np.arange(0.5, 101, 10)  # drawn eight seconds too late
    >>> found = athwart.check_record(record, 300 + 10 * np.interp(row - 0.5 + 42, t, depth), row, track)
    >>> found.status, round(found.shift), round(found.rate, 2), round(found.scale, 2)
    ('shifted', -8, 1.0, 1.0)
    """
    settings = settings or CheckSettings()
    column, row = np.asarray(column, float), np.asarray(row, float)
    side, share = record.across(column)
    profile = _Profile(record, track)
    told = _Told(record, row, share, profile, track)
    if told.count_of_marks < LEAST_MARKS:
        raise InputError(f"{told.count_of_marks} bottom marks lie on the picture; it takes {LEAST_MARKS} to find "
                         "shift, rate and scale, better 15, spread over all of it.", field="marks")
    told.refuse_level(settings.sigma_m)
    turned = _Told(replace(record, newest="top" if record.newest == "bottom" else "bottom"), row, share, profile, track)
    fits = [_Fit.best(one, profile, settings) for one in (told, turned)]
    good = [one for one in fits if one is not None]
    if not good:
        raise InputError("Nowhere on the track does its depth run like the marks, nor the other way round. Check that "
                         "picture and track are of the same outing, and that the marks stand on the bottom line.",
                         field="marks")
    best = min(good, key=lambda one: one.rss)
    reversed_ = best is fits[1]
    if reversed_ and fits[0] is not None and fits[0].rss < best.rss + _OTHER_FIT * best.noise ** 2:
        best, reversed_ = fits[0], False  # as good the right way round
    if not best.better_than_chance():
        raise InputError("The marks fit the track no better than the same depths in any other order would: nothing can "
                         "be said. Check that picture and track are of the same outing, and mark more of the bottom.",
                         field="marks")
    return _told_of(record, turned.record if reversed_ else record, best, reversed_, profile)


class _Profile:
    """Depth of the track over its range, by the record's count."""

    def __init__(self, record: Any, track: Any) -> None:
        track = replace(track, usable=track.usable | (track.reject_reason == "no depth"))
        measured = track.depth_source != "constant"
        if not (measured & np.isfinite(track.depth_m)).any():
            raise InputError("The track's depth is a constant, or there is none: nothing on the picture can be checked "
                             "by it. Prepare the track with the depths of a sounder, or from a depth grid.",
                             field="track")
        runs = Runs(track, track.t_s if record.by_time else track.record_ping)
        if not len(runs):
            raise InputError(Message("The track has no times; give the rows by ping.") if record.by_time else
                             Message("The track carries no rising ping count. Give {prepare(fixes.ping)} in "
                                     "{prepare()}, or give the rows by {first_s} and {last_s}."))
        key, depth, edge = [], [], []
        ratio = np.where(np.isfinite(track.range_ratio), track.range_ratio, 1.0)
        full = track.range_m if record.edge_range_m is None else record.edge_range_m * ratio
        for piece in runs.slices:
            own = runs.key[piece]
            if key and own[0] < key[-1][-1] - 1e-6:
                raise InputError("Two stretches of the track have the same moments. Select the outing that the picture "
                                 "is of.", field="track")
            key.append(np.concatenate([[own[0] - 1e-6], own, [own[-1] + 1e-6]]))
            depth.append(np.concatenate([[np.nan], np.where(measured, track.depth_m, np.nan)[piece], [np.nan]]))
            edge.append(np.concatenate([[np.nan], full[piece], [np.nan]]))
        self.key = np.maximum.accumulate(np.concatenate(key))
        self.share, self.edge = np.concatenate(depth) / np.concatenate(edge), np.concatenate(edge)
        self.step = float(np.median(np.diff(self.key)[np.diff(self.key) > 1e-5])) if len(self.key) > 3 else 1.0

    def at(self, moment: Any) -> Any:
        """Share of the range at which the bottom lies, NaN off the track."""
        found = np.interp(moment, self.key, np.nan_to_num(self.share), left=np.nan, right=np.nan)
        known = np.interp(moment, self.key, np.isfinite(self.share).astype(float), left=0.0, right=0.0)
        return np.where(known > 1 - 1e-9, found, np.nan)

    def slope(self, moment: Any) -> Any:
        """Change of that for one count."""
        after, before = self.at(moment + self.step / 2), self.at(moment - self.step / 2)
        here = self.at(moment)
        first, last = (after - here) * 2, (here - before) * 2
        return np.where(np.isfinite(after - before), after - before,
                        np.where(np.isfinite(first), first, np.nan_to_num(last))) / self.step


class _Told:
    """The marks as a picture told one way has them."""

    def __init__(self, record: Any, row: Any, share: Any, profile: Any, track: Any) -> None:
        self.record = record
        count = np.asarray(counts_of(record, row, track), float)
        keep = np.isfinite(count) & np.isfinite(share) & (share > 0)
        order = np.argsort(count[keep], kind="stable")
        self.count, self.share = count[keep][order], share[keep][order]
        self.count_of_marks = len(self.count)
        self.middle = float(self.count.mean()) if self.count_of_marks else 0.0
        self.away = self.count - self.middle
        self.edge = float(np.nanmedian(profile.edge))

    def refuse_level(self, sigma: Any) -> Any:
        """Refuse marks that are all as deep as the errors allow."""
        relief = float(np.std(self.share) * self.edge)
        if relief < _RELIEF * sigma:
            raise InputError(Message("The bottom under the marks rises and falls by {relief:.2f} m only (one standard "
                                     "deviation), and a mark errs by {sigma:.2f} m: on a bottom so level nothing shows "
                                     "a shift. Mark where it slopes, over a longer stretch.", relief=relief,
                                     sigma=sigma),
                             field="marks")


class _Fit:
    """Shift, rate and scale that make the marks agree with the track."""

    def __init__(self, told: Any, profile: Any, values: Any, noise: Any) -> None:
        self.told, self.profile, self.values = told, profile, values
        rest, normal = self._linear(values)
        self.used = len(rest)
        self.rss = float(rest @ rest) * told.count_of_marks / max(self.used, 1)
        free = max(self.used - 3, 1)
        self.noise = max(math.sqrt(float(rest @ rest) / free), noise)
        try:
            self.covariance = np.linalg.inv(normal) * self.noise ** 2
        except np.linalg.LinAlgError:
            self.covariance = np.full((3, 3), np.inf)
        self.searched, self.others = math.inf, []
        self.residual = math.sqrt(float(rest @ rest) / max(self.used, 1))

    @classmethod
    def best(cls, told: Any, profile: Any, settings: Any) -> Any:
        """The best of all; None where nothing fits. Refuses marks that fit at two places alike."""
        table = _search(told, profile)
        if table is None:
            return None
        moments, rates, rss = table
        order = np.argsort(rss, axis=None)
        tried = []
        for flat in order[:4000].tolist():
            i, j = np.unravel_index(flat, rss.shape)
            if not np.isfinite(rss[i, j]) or len(tried) >= 6:
                break
            if any(abs(moments[j] - a) < max(4 * profile.step, 0.1 * np.ptp(told.count))
                   and abs(math.log(rates[i] / b)) < 0.2 for a, b, _ in tried):
                continue
            tried.append((moments[j], rates[i], cls._refined(told, profile, moments[j] - told.middle, rates[i],
                                                              settings.sigma_m)))
        fits = sorted((one for _, _, one in tried if one is not None), key=lambda one: one.rss)
        if not fits:
            return None
        best = fits[0]
        best.searched = float(rss.min())
        best.others = [one for one in fits[1:] if one.rss < best.rss + _OTHER_FIT * best.noise ** 2
                       and abs(one.values[0] - best.values[0]) > 4 * math.sqrt(best.covariance[0, 0]) + profile.step]
        return best

    @classmethod
    def _refined(cls, told: Any, profile: Any, shift: Any, rate: Any, noise: Any) -> Any:
        """Levenberg's steps from a place of the search."""
        values, damping = np.array([shift, rate, 1.0]), 1e-3
        y = profile.at(told.middle + shift + rate * told.away)
        ok = np.isfinite(y)
        values[2] = (y[ok] @ told.share[ok]) / (told.share[ok] @ told.share[ok])
        here = cls(told, profile, values, noise)
        for _ in range(_STEPS):
            rest, normal, gradient = here._linear(values, gradient=True)
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

    def _linear(self, values: Any, gradient: Any = False) -> Any:
        """Residuals (m) and normal matrix, and the gradient if asked for."""
        told, (shift, rate, scale) = self.told, values
        moment = told.middle + shift + rate * told.away
        y = self.profile.at(moment)
        ok = np.isfinite(y)
        rest = (scale * told.share - y)[ok] * told.edge
        slope = -self.profile.slope(moment)[ok] * told.edge
        by = np.column_stack([slope, slope * told.away[ok], told.share[ok] * told.edge])
        return (rest, by.T @ by, by.T @ rest) if gradient else (rest, by.T @ by)

    def better_than_chance(self) -> Any:
        """Whether the fit explains the relief, and none of 99 deals of the same depths fits as well over the same
        search: by chance that is 1 in 100."""
        if self.residual > _UNEXPLAINED * np.std(self.told.share) * self.told.edge * self.values[2]:
            return False
        rng, told = np.random.default_rng(99), self.told
        deals = np.column_stack([rng.permutation(told.share) for _ in range(_DEALS)])
        found = _search(told, self.profile, deals)
        return found is not None and not (found <= self.searched).any()


def _search(told: Any, profile: Any, deals: Any = None) -> Any:
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
        y = np.where(known, y, 0.0)
        many = known.sum(axis=1)
        square, mixed = known.astype(float) @ np.square(shares), y @ shares
        with np.errstate(all="ignore"):
            scale = np.clip(mixed / square, *_SCALES)
            rss = (np.square(y).sum(axis=1)[:, None] - 2 * scale * mixed + scale ** 2 * square) / many[:, None]
        rss = np.where((many >= _PRESENT * told.count_of_marks)[:, None], rss, np.inf)
        best = np.minimum(best, rss.min(axis=0, initial=np.inf))
        rows.append(rss[:, 0])
    if not np.isfinite(best).any():
        return None
    return best if deals is not None else (moments, _RATES, np.array(rows))


def _told_of(record: Any, told_record: Any, fit: Any, reversed_: Any, profile: Any) -> Any:
    """Checked of a fit."""
    told, (shift, rate, scale) = fit.told, fit.values
    sigmas = np.sqrt(np.maximum(np.diag(fit.covariance), 0))

    def moved(count: Any) -> Any:
        return told.middle + shift + rate * (count - told.middle)
    if record.by_time:
        rows = (("first_time_s", record.first_s, moved(told_record.first_s)),
                ("last_time_s", record.last_s, moved(told_record.last_s)))
        mended = replace(told_record, first_s=float(rows[0][2]), last_s=float(rows[1][2]))
        ends = [told_record.first_s, told_record.last_s]
    else:
        rows = (("first_ping", record.first_ping, moved(told_record.first_ping)),
                ("pings_per_row", record.pings_per_row, rate * record.pings_per_row))
        mended = replace(told_record, first_ping=float(rows[0][2]), pings_per_row=float(rows[1][2]))
        ends = [told_record.first_ping]
    spread = []
    for count in ends:
        away = count - told.middle
        spread.append(math.sqrt(max(float(np.array([1, away]) @ fit.covariance[:2, :2] @ np.array([1, away])), 0)))
    if not record.by_time:
        spread.append(float(sigmas[1]) * record.pings_per_row)
    edge = record.edge_range_m
    mended = replace(mended, edge_range_m=None if edge is None else edge * scale)
    unit = "s" if record.by_time else "pings"
    table = [("shift", unit, 0.0, shift, sigmas[0]), ("rate", "", 1.0, rate, sigmas[1]),
             ("scale", "", 1.0, scale, sigmas[2]),
             *((name, "s" if record.by_time else "pings", given, found, s) for (name, given, found), s in
               zip(rows, spread))]
    if edge is not None:
        table.append(("edge_range_m", "m", edge, edge * scale, sigmas[2] * edge))
    off = [abs(found - given) > _SURE * s for _, _, given, found, s in table]
    status = "reversed" if reversed_ else "shifted" if off[0] else "off" if off[1] or off[2] else "fits"
    columns = {"name": np.array([line[0] for line in table], object), "unit": np.array([line[1] for line in table],
                                                                                       object)}
    for k, name in enumerate(("told", "value", "sigma"), 2):
        columns[name] = np.array([float(line[k]) for line in table])
    columns["differs"] = np.array(off)
    columns["status"] = np.full(len(table), status, object)
    notes, warnings = _words(status, table, off, fit, mended, told)
    return Checked(columns, status, float(shift), float(rate), float(scale), tuple(map(float, sigmas)),
                   fit.residual, told.count_of_marks, mended, notes, warnings)


def _words(status: Any, table: Any, off: Any, fit: Any, mended: Any, told: Any) -> Any:
    shift, unit = fit.values[0], table[0][1]
    sigma = math.sqrt(fit.covariance[0, 0])
    notes = [f"{told.count_of_marks} bottom marks agree with the track's depth within {fit.residual:.2f} m (root mean "
             f"square) after the fit."]
    warnings = []
    if status == "reversed":
        warnings.append(Message("The picture is upside down: with {newest} '{other}' the bottom runs like the track's.",
                                other=mended.newest))
    if off[0]:
        warnings.append(Message("The picture is shifted: its rows are {shift:.1f} {unit} {way} than the track's, give "
                                "or take {sigma:.1f} (one standard deviation).", shift=abs(shift), unit=unit,
                                way="earlier" if shift > 0 else "later", sigma=sigma))
    if off[1]:
        warnings.append(Message("Rows last {rate:.3f} times as long as was given, give or take {sigma:.3f}.",
                                rate=fit.values[1], sigma=table[1][4]))
    if off[2]:
        warnings.append(Message("Ranges on the picture are to be taken {scale:.3f} times, give or take {sigma:.3f}: "
                                "check the range at the edge, its unit, and the sound speed.", scale=fit.values[2],
                                sigma=table[2][4]))
    if off[0] or off[1] or status == "reversed":
        ask = Message("{first_s} and {last_s}") if mended.by_time else Message("{first_ping} and {pings_per_row}")
        given = (f"{mended.first_s:.1f} and {mended.last_s:.1f} s" if mended.by_time else
                 f"{mended.first_ping:.1f} and {mended.pings_per_row:.3f}")
        warnings.append(Message("What would fit as {ask}: {given}.", ask=ask, given=given))
    if fit.others:
        warnings.insert(0, f"Another place of the track fits hardly worse: a shift of "
                        f"{fit.others[0].values[0]:.1f} {unit}. The bottom repeats itself; mark a longer stretch.")
    if not any(off) and status == "fits":
        notes.append("Rows and range are right, as far as the bottom can show: "
                     f"the shift is {shift:.1f} {unit}, give or take {sigma:.1f}.")
    return notes, warnings
