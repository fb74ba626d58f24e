"""A tile of the mapped record: of all looks at a cell one is shown, or their mean, and it is noted which."""
from __future__ import annotations

import numpy as np

__all__ = ["BEST_GRAZING_SINE", "BLENDS", "SOURCE_BANDS", "RecordTile"]

BLENDS = ("nearest", "newest", "mean", "grazing")

BEST_GRAZING_SINE = 0.5
"""Of a grazing angle of 30 degrees: steeper ground shows no shadows, flatter ground little else; a judgement."""

SOURCE_BANDS = ("grazing", "outing", "pass_id", "sample_id", "image", "row", "slant")


class RecordTile:
    """Pixels of a window.

    Parameters
    ----------
    window : (row0, row1, col0, col1)
    bands : int
        1 or 3.
    kind : numpy dtype
        uint8 or uint16.
    blend : str
        One of ``BLENDS``.
    """

    def __init__(self, window, bands, kind, blend):
        self.window, self._kind, self._blend = window, np.dtype(kind), blend
        self.shape = (window[1] - window[0], window[3] - window[2])
        size = self.shape[0] * self.shape[1]
        self._score = np.full(size, np.inf, np.float32)
        self._values = np.zeros((bands, size), np.float64 if blend == "mean" else np.float32)
        self._looks = np.zeros(size, np.uint16) if blend == "mean" else None
        self._sine, self._slant = (np.full(size, np.nan, np.float32) for _ in range(2))
        self._image, self._row, self._sample = (np.full(size, -1, np.int32) for _ in range(3))
        self._last = np.empty(size, np.int32)
        self.hidden = 0
        self.assumed = 0

    def add(self, number, laid, block, gains=None):
        """Lay a block of image ``number`` on the tile; ``gains`` as in ``LaidImage.values``."""
        found = laid.found(block, self.window)
        self.hidden += found.hidden
        if not len(found.cell):
            return
        won = self._won(found, laid)
        which = np.arange(len(found.cell)) if self._blend == "mean" else won
        values = laid.values(block, found, which, gains)
        if len(values) < len(self._values):
            values = np.repeat(values, len(self._values), axis=0)
        if laid.image.pixels.dtype == np.uint8 and self._kind == np.uint16:
            values = values * np.float32(257)
        if self._blend == "mean":
            for band, mine in enumerate(values):
                self._values[band] += np.bincount(found.cell, mine, self._values.shape[1])
            self._looks += np.bincount(found.cell, minlength=len(self._looks)).astype(np.uint16)
        else:
            self._values[:, found.cell[won]] = values
        cell = found.cell[won]
        self._sine[cell], self._slant[cell] = found.sine[won], (found.side * found.slant)[won]
        self._image[cell], self._row[cell] = number, found.row[won]
        self._sample[cell] = laid.rows.sample[found.row[won]]
        if found.assumed is not None:
            self.assumed += int(np.count_nonzero(found.assumed[won]))

    def _won(self, found, laid):
        """(w,) the found cells that are shown from now on, each cell once."""
        if self._blend == "newest":
            score = -laid.age(found.row)
        elif self._blend == "grazing":
            score = np.abs(found.sine - np.float32(BEST_GRAZING_SINE))
        else:
            score = found.ground
        better = np.flatnonzero(score < self._score[found.cell])
        at, mine = found.cell[better], score[better]
        last = at, mine
        while len(at):
            self._score[at] = mine
            again = np.flatnonzero(mine < self._score[at])
            at, mine = at[again], mine[again]
        at, mine = last
        won = better[mine == self._score[at]]
        cell, number = found.cell[won], np.arange(len(won), dtype=np.int32)
        self._last[cell] = number  # where a cell stands here twice, one of the two stays
        return won[self._last[cell] == number]

    def count(self):
        """How many cells show something."""
        return int(np.count_nonzero(self._image >= 0))

    def pixels(self):
        """(bands, rows, cols) of numbers from 1 on, 0 where nothing is shown; and (rows, cols) bool of what is."""
        shown = (self._image >= 0).reshape(self.shape)
        values = self._values / np.maximum(self._looks, 1) if self._blend == "mean" else self._values
        whole = np.clip(np.rint(values), 1, np.iinfo(self._kind).max).astype(self._kind)
        whole = whole.reshape(-1, *self.shape)
        whole[:, ~shown] = 0
        return whole, shown

    def source(self, track, outings):
        """(rows, cols) float32 arrays by the names of ``SOURCE_BANDS``, NaN where nothing is shown.

        Parameters
        ----------
        track : survey.model.track.Track
        outings : dict
            Number of each outing.
        """
        shown = self._image >= 0
        sample = self._sample
        number = np.array([outings[name] for name in track.outing], np.float32)
        bands = {"grazing": np.degrees(np.arcsin(np.clip(self._sine, 0, 1))), "outing": number[sample],
                 "pass_id": track.pass_id[sample], "sample_id": track.sample_id[sample], "image": self._image + 1,
                 "row": self._row + 0.5, "slant": self._slant}
        return {name: np.where(shown, bands[name], np.nan).astype(np.float32).reshape(self.shape)
                for name in SOURCE_BANDS}
