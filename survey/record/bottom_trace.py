"""The bottom traced on a record image: where the dark water ends and the floor begins, row by row.

Each pixel says by its grey how likely it is water rather than floor; the laws of both are taken from the image itself.
Along a row the evidence is summed: water for a stretch up to the bottom, floor for a stretch beyond it. Of all lines
through the rows that bend little the one with most evidence is taken (dynamic programming, Bellman 1957). Fish, bursts
of clutter and pings without an echo are outvoted by their neighbours.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model import patience
from ..model.table import Bools, Floats, Table

__all__ = ["BottomTrace", "TraceSettings", "trace_bottom"]

_LEVELS = 64
"""Greys told apart."""

_MOST = 2.0
"""Most that one pixel may say, as a natural logarithm of the odds: no single fish outvotes a row."""

_ROUNDS = 3
_BLOCK, _LAP = 4096, 256
"""Rows traced at once, and how far beyond them the line is followed so that blocks fit each other."""


@dataclass(frozen=True)
class TraceSettings:
    """How the bottom is followed; judgement, checked on simulated records.

    ``weighed_pixels``: how far before the bottom it must look like water, and beyond it like floor. ``most_step``:
    pixels the bottom may move from one row to the next, ``stiffness`` the evidence that each of them costs.
    ``first_pixel``: nearer ones are the sounder's own ringing. ``sure_evidence``: share of the image's usual contrast
    under which a row is unsure.
    """

    weighed_pixels: int = 16
    most_step: int = 3
    stiffness: float = 4.0
    first_pixel: int = 4
    sure_evidence: float = 0.4


@dataclass(eq=False, repr=False)
class BottomTrace(Table):
    """One row for each row of the image. ``pixels``: from the centre column to the bottom. ``sure``: the image shows it
    there; elsewhere the line is carried over from the rows around. ``evidence``: contrast at the line, as a share of
    what is usual in the image."""

    pixels: Floats
    sure: Bools
    evidence: Floats


def trace_bottom(pixels, record, stretch, settings=None, step=None):
    """Trace the bottom on an image.

    Parameters
    ----------
    pixels : (rows, columns) array of unsigned integers
        May be a memory map.
    record : survey.record.picture.Record
    stretch : (rows,) array
        Rows that belong together have equal numbers: across another range, a break or missing rows the line may jump.
    settings : TraceSettings, optional
    step : callable, optional
        Called with the fraction done; may raise ``errors.Cancelled``.

    Returns
    -------
    BottomTrace
    """
    settings = settings or TraceSettings()
    rows = record.height
    traced, evidence = np.full(rows, np.nan), np.full(rows, np.nan)
    cuts = np.flatnonzero(stretch[1:] != stretch[:-1]) + 1
    for first, end in zip([0, *cuts.tolist()], [*cuts.tolist(), rows]):
        for start in range(first, end, _BLOCK):
            stop = min(start + _BLOCK, end)
            low, high = max(start - _LAP, first), min(stop + _LAP, end)
            sides = _sides(pixels[low:high], record)
            line, said = _line(sides, settings)
            traced[start:stop], evidence[start:stop] = line[start - low:stop - low], said[start - low:stop - low]
            if step is not None:
                step(stop / rows)
    usual = np.median(evidence)
    share = evidence / usual if usual > 0 else np.zeros(rows)
    return BottomTrace(traced + 0.5, share >= settings.sure_evidence, share)


def _sides(rows, record):
    """(sides, rows, pixels) greys outward from the centre column, both sides cut to the shorter."""
    centre = int(round(record.centre))
    port, starboard = rows[:, :centre][:, ::-1], rows[:, centre:]
    wanted = {"both": [port, starboard], "port": [port], "starboard": [starboard]}[record.layout]
    wanted = [side for side in wanted if side.shape[1] > 0.5 * record.reach]
    width = min(side.shape[1] for side in wanted)
    greys = np.stack([side[:, :width] for side in wanted])
    return (greys // (np.iinfo(rows.dtype).max // _LEVELS + 1)).astype(np.uint8)


def _line(sides, settings):
    """(first pixel of the floor, evidence) of every row."""
    low = np.bincount(sides.ravel(), minlength=_LEVELS)
    odds = np.where(np.arange(_LEVELS) <= _parting(low), 1.0, -1.0)
    for turn in range(_ROUNDS):
        water = odds.astype(np.float32)[sides].mean(axis=0)
        line = _best_line(_scores(water, settings), settings)
        if turn + 1 < _ROUNDS:
            odds = _odds(sides, line, settings)
    return line, _evidence(water, line, settings)


def _parting(counts):
    """Grey that parts a histogram into two classes best (Otsu 1979)."""
    share = np.cumsum(counts) / counts.sum()
    mean = np.cumsum(counts * np.arange(len(counts))) / counts.sum()
    with np.errstate(divide="ignore", invalid="ignore"):
        between = np.square(mean[-1] * share - mean) / (share * (1 - share))
    return int(np.nanargmax(np.where(np.isfinite(between), between, -1)))


def _odds(sides, line, settings):
    """Log odds water : floor of each grey, from the pixels before and just beyond a line."""
    pixel = np.arange(sides.shape[2])
    inside = (pixel >= settings.first_pixel) & (pixel < line[:, None])
    beyond = (pixel >= line[:, None]) & (pixel < line[:, None] + settings.weighed_pixels)
    water, floor = (sum(np.bincount(side[these], minlength=_LEVELS) for side in sides) for these in (inside, beyond))
    smooth = np.array([0.25, 0.5, 0.25])
    water, floor = (np.convolve(counts + 0.5, smooth, "same") / (counts.sum() + _LEVELS / 2) + 1e-9
                    for counts in (water, floor))
    return np.clip(np.log(water / floor), -_MOST, _MOST)


def _scores(water, settings):
    """(rows, pixels) evidence that the bottom begins at a pixel: water on so many pixels before it, floor beyond.

    All else is left out: a dim floor far out may pass for water, and a row without an echo must not pull either way.
    """
    rows, width = water.shape
    total = np.zeros((rows, width + 1), np.float32)
    np.cumsum(water, axis=1, out=total[:, 1:])
    pixel, reach = np.arange(width), settings.weighed_pixels
    # in shallow water the stretch begins beyond the sounder's own ringing, which looks like floor
    begin, end = np.clip(pixel - reach, min(settings.first_pixel, width), width), np.minimum(pixel + reach, width)
    scores = 2 * total[:, :width] - total[:, end] - total[:, begin]
    scores[:, :settings.first_pixel] = -np.inf
    scores[:, max(width - reach, settings.first_pixel + 1):] = -np.inf
    return scores


def _best_line(scores, settings):
    """(rows,) pixel of the line with most evidence."""
    rows, width = scores.shape
    most = settings.most_step
    price = settings.stiffness * np.abs(np.arange(-most, most + 1)).astype(np.float32)
    came = np.zeros((rows, width), np.int8)
    padded = np.full(width + 2 * most, -np.inf, np.float32)
    ahead = np.lib.stride_tricks.sliding_window_view(padded, 2 * most + 1)
    best = scores[0]
    every = np.arange(width)
    for row in range(1, rows):
        if row % 256 == 0:
            patience.look()
        padded[most:-most] = best
        offers = ahead - price
        came[row] = offers.argmax(axis=1)
        best = offers[every, came[row]] + scores[row]
    line = np.empty(rows, int)
    line[-1] = int(np.argmax(best))
    for row in range(rows - 1, 0, -1):
        line[row - 1] = line[row] + came[row, line[row]] - most
    return line


def _evidence(water, line, settings):
    """(rows,) contrast at the line: how much more the pixels before it look like water than those beyond it."""
    rows, width = water.shape
    reach = settings.weighed_pixels // 2
    pixel = np.clip(line[:, None] + np.arange(-reach, reach), min(settings.first_pixel, width - 1), width - 1)
    near = water[np.arange(rows)[:, None], pixel]
    return near[:, :reach].mean(axis=1) - near[:, reach:].mean(axis=1)
