"""Labels of a map put where none lies on another: beside their point, else farther off with a line to it."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..model.palette import INK, PAPER
from .pages import text

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["Label", "Placed", "place_labels", "svg_labels"]

_EM, _BOLD_EM = 0.66, 0.74
"""Mean width of a letter over its size, of wide common fonts (judgement; DejaVu Sans has digits of 0.64 and 0.70)."""

_TALL = 1.1
_AIR = 2.0
_NEAR = ((1, 0), (-1, 0), (1, -1), (1, 1), (-1, -1), (-1, 1), (0, -1), (0, 1))
_FAR = np.column_stack([np.cos(np.arange(16) * np.pi / 8), np.sin(np.arange(16) * np.pi / 8)])
_RINGS = 14
_SPOT = 2.0
"""Half of what is kept free round the place of a label without a dot: another one there would seem to be its own."""

_ALONG = 12
_OFF_MAP = 1000.0
"""To be off the map is so much worse than to cover something."""



@dataclass(frozen=True)
class Label:
    """``x``, ``y`` of what is named, drawing units, y downwards; ``clear``: radius of its dot, 0 where the label may
    lie on the place itself; ``tied``: a line leads to its place where it had to go farther off."""

    x: float
    y: float
    words: str
    clear: float = 0.0
    bold: bool = False
    slanted: bool = False
    tied: bool = True


@dataclass(frozen=True)
class Placed:
    """A label with its ``box`` (left, top, right, bottom), and where its line begins and ends, None without one."""

    label: Label
    box: tuple[float, ...]
    line: tuple[float, ...] | None = None


def place_labels(labels: Sequence[Label], size: float, frame: tuple[float, ...]) -> list[Placed]:
    """Places for labels, the first ones served first.

    Parameters
    ----------
    labels : list of Label
    size : float
        Of the letters, drawing units.
    frame : (left, top, right, bottom)
        What they stay inside.

    Returns
    -------
    list of Placed
        No box on another or on a dot while there is room; where there is none, the place that covers least.

    Examples
    --------
    >>> from athwart.report.labels import Label, place_labels
    >>> two = place_labels([Label(50, 50, "62"), Label(52, 50, "6")], 14, (0, 0, 100, 100))
    >>> two[0].box[2] <= two[1].box[0] or two[1].box[2] <= two[0].box[0]
    True
    """
    at = np.array([(one.x, one.y) for one in labels]).reshape(-1, 2)
    free = np.array([max(one.clear, _SPOT if one.tied else 0.0) for one in labels])[:, None]
    spots, boxes, lines, made = np.hstack([at - free, at + free]), np.empty((0, 4)), np.empty((0, 4)), []
    for i, label in enumerate(labels):
        places, leads = _candidates(label, size)
        taken = np.vstack([boxes, np.delete(spots, i, axis=0)])
        cost = _shared(places, taken).sum(axis=1) + _crossed(lines, places).sum(axis=0) + \
            _crossed(leads, boxes).sum(axis=1) + _OFF_MAP * _outside(places, frame)
        best = int(np.argmin(cost))  # the first of those that cost nothing
        line = None if np.isnan(leads[best, 0]) else tuple(leads[best].tolist())
        made.append(Placed(label, tuple(places[best].tolist()), line))
        boxes = np.vstack([boxes, places[best]])
        lines = lines if line is None else np.vstack([lines, leads[best]])
    return made


def _candidates(label: Label, size: float) -> tuple[np.ndarray, np.ndarray]:
    """(k, 4) boxes, the best place first, and (k, 4) lines to them, NaN for none."""
    half = np.array([len(label.words) * size * (_BOLD_EM if label.bold else _EM) + _AIR, _TALL * size]) / 2
    at = np.array([label.x, label.y])
    near = np.array(_NEAR, float) * ((label.clear + 2) * np.where(np.abs(_NEAR).sum(axis=1) > 1, 0.6, 1.0)[:, None]
                                     + half)
    rings = label.clear + 0.8 * size * np.arange(1, _RINGS)
    far = (_FAR * (rings[:, None, None] + half)).reshape(-1, 2)
    middle = at + np.vstack([np.zeros((0 if label.clear else 1, 2)), near, far])
    boxes = np.hstack([middle - half, middle + half])
    lines = np.full((len(boxes), 4), np.nan)
    if label.tied:
        lines[-len(far):] = np.hstack([at + label.clear * np.tile(_FAR, (len(rings), 1)),
                                       np.clip(at, boxes[-len(far):, :2], boxes[-len(far):, 2:])])
    return boxes, lines


def _shared(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """(n, m) areas that boxes (n, 4) and (m, 4) share."""
    low, high = np.maximum(a[:, None, :2], b[None, :, :2]), np.minimum(a[:, None, 2:], b[None, :, 2:])
    return np.prod(np.maximum(high - low, 0.0), axis=2)


def _outside(boxes: np.ndarray, frame: tuple[float, ...]) -> np.ndarray:
    """(n,) areas of boxes beyond the frame."""
    return np.prod(boxes[:, 2:] - boxes[:, :2], axis=1) - _shared(boxes, np.array([frame], float))[:, 0]


def _crossed(lines: np.ndarray, boxes: np.ndarray) -> np.ndarray:
    """(n, m) lengths of lines within boxes: a line counts as one wide."""
    start, end = lines[:, None, :2], lines[:, None, 2:]
    points = start + (end - start) * ((np.arange(_ALONG) + 0.5) / _ALONG)[:, None]
    inside = ((points[:, None] > boxes[None, :, None, :2]) & (points[:, None] < boxes[None, :, None, 2:])).all(axis=3)
    return inside.mean(axis=2) * np.nan_to_num(np.hypot(*(lines[:, 2:] - lines[:, :2]).T))[:, None]


def svg_labels(placed: Sequence[Placed], size: float) -> str:
    """SVG of placed labels, each over a pale edge that keeps it legible."""
    parts = []
    for one in placed:
        at, (left, top, right, bottom) = one.label, one.box
        if one.line is not None:
            x0, y0, x1, y1 = one.line
            parts.append(f'<path d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" stroke="{INK}" fill="none"/>')
        look = (' font-weight="700"' if at.bold else "") + (' font-style="italic"' if at.slanted else "")
        place = f'x="{(left + right) / 2:.1f}" y="{(top + bottom) / 2 + 0.36 * size:.1f}" text-anchor="middle"{look}'
        parts += [f'<text {place} {ink}>{text(at.words)}</text>' for ink in (
            f'fill="{PAPER}" stroke="{PAPER}" stroke-width="3.5"', f'fill="{INK}" stroke="none"')]
    return "".join(parts)
