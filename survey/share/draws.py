"""The share seen, its 95 % interval, and the chance of each gap, from draws of the survey's errors.

Two kinds of survey leave the same layer of swaths. A boat steered by its receiver records the lines it meant to run,
and its true lines stray from them by the errors: the true share is spread as that of the draws. One steered by marks
ran true lines, and the record strays from them: the true share lies on the other side of the share as drawn from where
the draws lie (the basic, or reflected, interval). A log does not tell which it was, so the interval is taken from both
together. Whatever the bias of the draws, it then holds at least as often as it says in either.

GUM Supplement 1 (JCGM 101:2008), 7.7, for intervals from draws.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model.messages import Message
from . import drawn_errors
from .boat_frames import line_from_shape, simplified
from .chances import DrawnPass, chances
from .pass_facts import pass_facts
from .places import strewn, strewn_in_each

__all__ = ["ALL_PLACES", "Interval", "ShareDraws", "drawn_passes", "interval", "share_draws"]

ALL_PLACES = (4_000, 50_000)
"""Fewest and most places that stand for all areas together, one for each 2 m2 in between. A draw's share is the exact
one and the change at the places, so that a few thousand do."""

_PLACE_M2 = 2.0

_LEAST_PLACES, _MOST_PLACES = 750, 15_000
_GAP_PLACES = 40
_SURE = 0.95
_OPEN = 0.5


@dataclass(frozen=True)
class Interval:
    """Percent: the 2.5 and 97.5 % points of the share, and the mean of the draws; NaN where unknown."""

    low: float = np.nan
    high: float = np.nan
    expected: float = np.nan


@dataclass
class ShareDraws:
    """``total`` and each of ``areas``: Interval. For each gap: ``open_pct``, share of draws in which half of it or more
    stays unseen; ``certain_share``, the part of it that is unseen in 95 % of them."""

    total: Interval
    areas: list
    open_pct: np.ndarray
    certain_share: np.ndarray


def interval(exact, change):
    """Interval of a share.

    Parameters
    ----------
    exact : float
        The share as drawn, percent.
    change : (n,) array
        What each draw adds to it, percent.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.share.draws import interval
    >>> found = interval(50.0, np.linspace(-1.0, 1.0, 201))
    >>> round(found.low, 2), round(found.high, 2)
    (49.05, 50.95)
    """
    if not np.isfinite(exact) or not len(change):
        return Interval()
    low, high = np.percentile(np.clip(exact + np.concatenate([change, -change]), 0, 100), [2.5, 97.5])
    return Interval(float(low), float(high), float(np.clip(exact + change, 0, 100).mean()))


def drawn_passes(cover, swaths, lines, draws, position_error, sigmas=drawn_errors.DEFAULTS):
    """DrawnPasses of a cover, and notes on what was taken for want of better.

    Parameters
    ----------
    cover : survey.coverage.cover.Cover
        One that tells passes apart.
    swaths : survey.coverage.cover.Swaths
    lines : dict of {(outing, pass_id): list of (n, 2) arrays, frame metres}
        Where the boat went; of passes that are not there the shape of the swath tells.
    draws : int
    position_error : float
        Standard deviation, each axis, that an outing shares (m).
    """
    outings, found, unknown, shapeless = {}, [], {}, 0
    for one in cover.passes:
        facts = pass_facts(swaths, one.rows, one.ground, cover.reach_m)
        for name in facts.taken:
            unknown[name] = unknown.get(name, 0) + 1
        if one.outing not in outings:
            outings[one.outing] = drawn_errors.drawn_for_outing(one.outing, draws, position_error, facts.sigma_sound,
                                                                sigmas)
        errors = drawn_errors.drawn_for_pass(outings[one.outing], one.outing, one.pass_id, facts, sigmas)
        line = simplified(lines.get(one.key, []))
        shapeless += not line
        found.append(DrawnPass(one.ground, errors, facts, line or line_from_shape(one.ground)))
    notes = []
    if unknown:
        notes.append(Message("{count} of {all} passes do not state {names}; the interval of the share was drawn with "
                             "usual values for them. Swaths of {draw_swaths()} state all.",
                             count=max(unknown.values()), all=len(found), names=", ".join(sorted(unknown))))
    if shapeless:
        notes.append(Message("The boat's line is not known for {count} of {all} passes; for the interval of the share "
                             "it was taken as the middle of the swath. Give the passes of {prepare()} as {passes}, "
                             "above all where passes are curved or drawn on one side only.", count=shapeless,
                             all=len(found)))
    return found, notes


def share_draws(passes, wanted, area, exact, gaps, looks, draws, picture=None, more=None,
                step=lambda fraction: None):
    """Work the share out again for every draw.

    Parameters
    ----------
    passes : list of chances.DrawnPass
    wanted : list of shapely polygons
        Areas, frame metres; they may overlap.
    area : shapely polygon
        All of them together.
    exact : (percent of all together, (n,) percent of each of ``wanted``)
    gaps : list of shapely polygons
    looks : int
    draws : int
    picture : survey.coverage.picture.Picture, optional
        To be filled with the chance of having been seen.
    more : ((draws,) array, (n, draws) array), optional
        What else each draw adds to the share of all together and of each area, percent.
    step : callable, optional

    Returns
    -------
    ShareDraws
    """
    pooled = strewn(area, int(np.clip(area.area / _PLACE_M2, *ALL_PLACES)))
    own, owner = [pooled], []
    if len(wanted) > 1:
        size = int(np.clip(ALL_PLACES[1] / len(wanted), _LEAST_PLACES, _MOST_PLACES))
        places, owner = strewn_in_each(wanted, size)
        own.append(places)
    inside_gaps, gap = strewn_in_each(gaps, _GAP_PLACES)
    own.append(inside_gaps)
    if picture is not None:
        own.append(picture.places)
    found = chances(passes, np.concatenate(own), looks, draws, area, step)
    ends = np.cumsum([len(xy) for xy in own])
    parts = iter(zip(np.split(found.seen, ends[:-1]), np.split(found.as_drawn, ends[:-1])))
    seen, before = next(parts)
    more = (0.0, np.zeros((len(wanted), 1))) if more is None else more
    total = interval(exact[0], 100 * (seen.mean(axis=0) - before.mean()) + more[0])
    areas = [total] if len(wanted) == 1 else []
    if len(wanted) > 1:
        seen, before = next(parts)
        changes = _by_owner(seen.astype(np.int8) - before.astype(np.int8)[:, None], owner, len(wanted))
        areas = [interval(*pair) for pair in zip(exact[1], 100 * changes + more[1])]
    seen, _ = next(parts)
    unseen = 1 - _by_owner(seen, gap, len(gaps))
    sure = ((1 - seen.mean(axis=1)) >= _SURE)[:, None]
    if picture is not None:
        picture.fill(next(parts)[0].mean(axis=1))
    return ShareDraws(total, areas, 100 * (unseen >= _OPEN).mean(axis=1), _by_owner(sure, gap, len(gaps))[:, 0])


def _by_owner(values, owner, count):
    """(count, n) means of the rows of (k, n) values by their owner (rising), NaN for those without any."""
    found, owner = np.full((count, values.shape[1]), np.nan), np.asarray(owner, int)
    if len(owner):
        known, first, size = np.unique(owner, return_index=True, return_counts=True)
        found[known] = np.add.reduceat(values, first, axis=0, dtype=np.int32) / size[:, None]
    return found
