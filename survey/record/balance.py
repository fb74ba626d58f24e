"""The fall-off of the beam evened out: one gain for each range and side, the same in every row.

The gain brings the median grey of a column to that of all of them. It changes neither rows against each other nor
neighbouring pixels by more than the fall-off does, so nothing is drawn that was not there.
"""
from __future__ import annotations

import numpy as np

from ..model import patience

__all__ = ["GAIN_LIMITS", "column_gains"]

GAIN_LIMITS = (0.2, 5.0)
"""A column that is darker yet is noise, and stays dark; a judgement."""

_FEWEST_ROWS = 20
"""Rows that must show the floor in a column for its own median to count."""

_SAMPLE_ROWS = 2000
"""Rows, evenly spread, that the medians are taken from."""

_SMOOTH_SHARE = 1 / 50
"""Width of the running mean over the medians, as a share of a side."""


def column_gains(pixels, record, group, first_column):
    """Gains of the columns.

    Parameters
    ----------
    pixels : (rows, columns) array of unsigned integers
        May be a memory map.
    record : survey.record.picture.Record
    group : (rows,) int array
        Rows of one range setting have one number, from 0 on; -1 for rows that are not drawn.
    first_column : (rows,) array
        Pixels from the centre column within which there is only water; NaN where unknown.

    Returns
    -------
    (groups, columns) float32 array
    """
    side, _ = record.across(np.arange(record.width) + 0.5)
    away = np.abs(np.arange(record.width) + 0.5 - record.centre)
    gains = np.ones((max(group.max(initial=-1) + 1, 1), record.width), np.float32)
    for number in range(len(gains)):
        rows = np.flatnonzero((group == number) & np.isfinite(first_column))
        rows = rows[:: max(1, -(-len(rows) // _SAMPLE_ROWS))]
        if len(rows) < _FEWEST_ROWS:
            continue
        medians = np.full(record.width, np.nan)
        for start in range(0, record.width, 256):
            patience.look()
            part = slice(start, start + 256)
            greys = np.stack([pixels[row, part] for row in rows]).astype(np.float32)
            floor = away[part] > first_column[rows][:, None] + 1
            enough = floor.sum(axis=0) >= _FEWEST_ROWS
            if enough.any():
                medians[part][enough] = np.nanmedian(np.where(floor, greys, np.nan)[:, enough], axis=0)
        gains[number] = _gains(medians, side, away)
    return gains


def _gains(medians, side, away):
    """Gains that bring medians to the median of both sides, smoothly outward on each side."""
    known = np.isfinite(medians) & (medians > 0)
    if not known.any():
        return np.ones(len(medians), np.float32)
    wanted = np.median(medians[known])
    gains = np.ones(len(medians))
    for one in (-1, 1):
        at = np.flatnonzero(known & (side == one))
        mine = np.flatnonzero(side == one)
        if len(at):
            order = at[np.argsort(away[at])]
            level = np.interp(away[mine], away[order], _smoothed(medians[order], len(mine)))
            gains[mine] = wanted / level
    return np.clip(gains, *GAIN_LIMITS).astype(np.float32)


def _smoothed(values, width):
    """Running mean, shorter at the ends."""
    half = max(int(width * _SMOOTH_SHARE / 2), 1)
    total = np.concatenate([[0.0], np.cumsum(values)])
    index = np.arange(len(values))
    low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, len(values))
    return (total[high] - total[low]) / (high - low)
