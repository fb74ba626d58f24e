"""Marks on a picture of the record -> picks, with what the user should know of them."""
from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from .image_picks import bottom_warning, read_marks, row_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..model.track import Track
    from .image_picks import Marks
    from .picture import Record

__all__ = ["ImagePicks", "read_picture"]


@dataclass
class ImagePicks:
    """``columns``: (n,) arrays by the names of ``schemas.PICKS`` (without source_id and label). ``reason`` (n,): why a
    mark could not be read, '' for the others. ``notes``, ``warnings``: sentences for the log."""

    columns: dict
    reason: np.ndarray
    notes: list = field(default_factory=list)
    warnings: list = field(default_factory=list)


def read_picture(record: Record, marks: Marks, track: Track | None = None, ids: Sequence[object] | None = None,
                 time_offset: float = 0.0) -> ImagePicks:
    """Read the marks somebody drew on a picture of the record.

    Parameters
    ----------
    record : Record
        How the picture shows the record.
    marks : Marks
    track : Track, optional
        Needed where the record has no ``edge_range_m``.
    ids : (n,) sequence, optional
        What each mark is called in warnings; its number from 1 if None.
    time_offset : float, h
        What was added to the record's clock already; only for the message.

    Returns
    -------
    ImagePicks

    Raises
    ------
    InputError
        See ``image_picks.read_marks``.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> record = athwart.Record(width=800, height=1000, edge_range_m=40.0, first_ping=1)
    >>> marks = athwart.Marks(*(np.array([value], kind) for value, kind in (
    ...     (600.0, float), (0.5, float), (np.nan, float), ("object", object), ("", object))))
    >>> picks = athwart.read_picture(record, marks)
    >>> picks.columns["side"][0], float(picks.columns["slant_m"][0]), float(picks.columns["ping"][0])
    ('starboard', 20.0, 1000.0)
    """
    columns, reason = read_marks(record, marks, track, time_offset)
    note, doubtful = row_words(record, track)
    ids = list(range(1, len(reason) + 1)) if ids is None else ids
    told = bottom_warning(record, marks, track, ids) if (reason == "").any() else ""
    return ImagePicks(columns, reason, [note] if note else [], [text for text in (told, doubtful) if text])
