"""A record as a picture: which ping and which slant range each pixel shows.

Pixels are counted from the upper left corner: column to the right, row downwards, fractions allowed; the middle of the
first pixel is (0.5, 0.5). Ranges are as displayed.
"""
from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message

__all__ = ["LAYOUTS", "NEWEST", "Record", "read_dropped"]

LAYOUTS = ("both", "port", "starboard")
NEWEST = ("top", "bottom")

_ENTRY = re.compile(r"(\d+)(?::(\d+))?")


def read_dropped(text: str | None) -> tuple[tuple[int, int], ...]:
    """Rows missing from a picture, written like ``120 340:5``.

    Parameters
    ----------
    text : str
        Entries parted by blanks, commas or semicolons: the pixel row at whose upper edge rows are missing, and after a
        colon how many, one if not said.

    Returns
    -------
    tuple of (row, count)

    Examples
    --------
    >>> import athwart
    >>> athwart.read_dropped("120 340:5")
    ((120, 1), (340, 5))
    """
    found = []
    for entry in re.split(r"[\s,;]+", re.sub(r"\s*:\s*", ":", text or "")):
        if not entry:
            continue
        match = _ENTRY.fullmatch(entry)
        if match is None:
            raise InputError(Message("{dropped} holds '{entry}'; write a pixel row and, after a colon, how many rows "
                                     "are missing at its upper edge, such as 120 340:5.", entry=entry))
        found.append((int(match[1]), int(match[2] or 1)))
    return tuple(sorted(found))


@dataclass(frozen=True)
class Record:
    """How a picture shows the record.

    ``width``, ``height`` in pixels. ``layout``: both sides, or one. ``centre_column``: where the range is zero, None
    for the middle (both), the right edge (port) or the left (starboard). ``newest``: where the latest ping stands.
    ``edge_range_m``: displayed range at the edge farthest from the centre column, None for the range in force at each
    ping. Either ``first_ping`` with ``pings_per_row``, or ``first_s`` and ``last_s`` (seconds since 1970 UTC): oldest
    and newest row of the picture. ``dropped``: as ``read_dropped`` gives.

    Examples
    --------
    >>> import athwart
    >>> record = athwart.Record(width=800, height=1000, edge_range_m=40.0, first_ping=1)
    >>> side, share = record.across([200.0, 700.0])
    >>> side.tolist(), share.tolist(), float(record.count(999.5))
    ([-1, 1], [0.5, 0.75], 1.0)
    """

    width: int
    height: int
    layout: str = "both"
    centre_column: float = None
    newest: str = "top"
    edge_range_m: float = None
    first_ping: float = None
    pings_per_row: float = 1.0
    first_s: float = None
    last_s: float = None
    dropped: tuple = ()

    def __post_init__(self) -> None:
        timed = (self.first_s is not None) + (self.last_s is not None)
        _demand(self.width > 0 and self.height > 0, "The image is empty: it has no pixels.")
        _demand(self.layout in LAYOUTS, "{layout} is '{given}'; choose one of {known}.", given=self.layout,
                known=", ".join(LAYOUTS))
        _demand(self.newest in NEWEST, "{newest} is {given!r}; choose one of {known}.", given=self.newest,
                known=", ".join(NEWEST))
        _demand(timed or self.first_ping is not None,
                "Nothing says which ping a row is. Give {first_ping} (of the oldest row) and {pings_per_row}, or "
                "{first_s} and {last_s}.")
        _demand(not (timed and self.first_ping is not None),
                "Both {first_ping} and times are given and could contradict each other; leave one of them out.")
        _demand(timed != 1, "{first_s} and {last_s} belong together: give both, the times of the oldest and of the "
                            "newest row.")
        _demand(timed == 0 or self.first_s < self.last_s,
                "{first_s} is not before {last_s}. {first_s} is the oldest row, wherever it stands in the picture (see "
                "{newest}).")
        _demand(timed == 0 or self.height > 1, "An image of one row cannot have two times; use {first_ping}.")
        _demand(self.pings_per_row > 0, "{pings_per_row} is {given:g}; it is above zero.", given=self.pings_per_row)
        _demand(self.edge_range_m is None or self.edge_range_m > 0,
                "{edge_range_m} is {given}; a range is above zero.", given=self.edge_range_m)
        _demand(self.centre_column is None or 0 <= self.centre_column <= self.width,
                "{centre_column} is {given}, but the image has columns 0 to {width}.", given=self.centre_column,
                width=self.width)
        _demand(self.reach > 0, "{centre_column} {given} leaves no column for the {side} side.",
                given=self.centre_column, side=self.layout)
        outside = [str(row) for row, _ in self.dropped if not 0 < row < self.height]
        _demand(not outside, "{dropped} names row {rows}, but rows can only be missing between two rows of the image, "
                             "at 1 to {last}.", rows=", ".join(outside), last=self.height - 1)

    @property
    def by_time(self) -> bool:
        """True where rows are told by time, False by ping."""
        return self.first_s is not None

    @property
    def centre(self) -> float:
        """Column where the range is zero."""
        if self.centre_column is not None:
            return float(self.centre_column)
        return {"both": self.width / 2, "port": float(self.width), "starboard": 0.0}[self.layout]

    @property
    def reach(self) -> float:
        """Pixels from the centre column to the edge that ``edge_range_m`` belongs to."""
        left, right = self.centre, self.width - self.centre
        return {"both": max(left, right), "port": left, "starboard": right}[self.layout]

    def across(self, column: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Side and share of the edge's range of pixel columns.

        Parameters
        ----------
        column : (n,) array

        Returns
        -------
        side : (n,) int array
            -1 port (left of the centre column), +1 starboard; 0 on it.
        share : (n,) array
            0 at the centre column, 1 at the edge; NaN outside the picture, or on the side that the layout lacks.
        """
        column = np.asarray(column, float)
        away = column - self.centre
        side = np.sign(np.nan_to_num(away)).astype(int)
        shown = (column >= 0) & (column <= self.width) & (side != {"both": 2, "port": 1, "starboard": -1}[self.layout])
        return side, np.where(shown, np.abs(away) / self.reach, np.nan)

    def count(self, row: np.ndarray) -> np.ndarray:
        """The record's own count of pixel rows: pings, or seconds since 1970 UTC; NaN outside the picture.

        A dropped row counts as if it stood there: everything newer moves on by one. Seconds are spread evenly over the
        rows, which holds while the range is not changed; see ``rowtimes``.
        """
        if self.by_time:
            return self.first_s + self.progress(row) * (self.last_s - self.first_s)
        return np.where(self._shown(row), self.first_ping - 0.5 + self._age(row) * self.pings_per_row, np.nan)

    def progress(self, row: np.ndarray) -> np.ndarray:
        """How far pixel rows are from the middle of the oldest row (0) to that of the newest (1), dropped ones
        counted; NaN outside the picture."""
        rows = self.height + sum(missing for _, missing in self.dropped)
        return np.where(self._shown(row), (self._age(row) - 0.5) / max(rows - 1, 1), np.nan)

    def _shown(self, row: np.ndarray) -> np.ndarray:
        row = np.asarray(row, float)
        return (row >= 0) & (row <= self.height)

    def _age(self, row: np.ndarray) -> np.ndarray:
        """Rows between the oldest edge of the picture and pixel rows."""
        row = np.asarray(row, float)
        if self.newest == "bottom":
            return row + sum(missing * (row >= at) for at, missing in self.dropped)
        return (self.height - row) + sum(missing * (row < at) for at, missing in self.dropped)


def _demand(holds: object, template: str, **values: object) -> None:
    if not holds:
        raise InputError(Message(template, **values))
