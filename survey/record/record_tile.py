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
    laid : list of survey.record.laid_image.LaidImage
        All images.
    traced : bool
        It is to be told where each cell comes from.
    """

    def __init__(self, window, bands, kind, blend, laid, traced=True):
        self.window, self._kind, self._blend, self._laid = window, np.dtype(kind), blend, laid
        self.shape = (window[1] - window[0], window[3] - window[2])
        size = self.shape[0] * self.shape[1]
        self._score = np.full(size, np.inf, np.float32)
        self._values = np.zeros((bands, size), np.float64 if blend == "mean" else self._kind)
        self._looks = np.zeros(size, np.uint16) if blend == "mean" else None
        self._last = np.empty(size, np.int32)
        self._traced = traced
        if traced:
            self._sine, self._slant = (np.full(size, np.nan, np.float32) for _ in range(2))
            self._image, self._row = (np.full(size, -1, np.int32) for _ in range(2))
        self.hidden = 0
        self.assumed = 0

    def add(self, number, block, gains=None):
        """Lay a block of image ``number`` on the tile; ``gains`` as in ``LaidImage.values``."""
        laid = self._laid[number]
        looks = laid.looks(block, self.window)
        self.hidden += looks.hidden
        won, cell = self._won(looks, laid)
        which = np.flatnonzero(looks.shown) if self._blend == "mean" else won
        if not len(which):
            return
        values = laid.values(block, looks, which, gains)
        if laid.image.pixels.dtype == np.uint8 and self._kind == np.uint16:
            values *= np.float32(257)
        if len(values) < len(self._values):
            values = np.repeat(values, len(self._values), axis=0)
        if self._blend == "mean":
            every = looks.cell.take(which)
            for band, mine in enumerate(values):
                self._values[band] += np.bincount(every, mine, self._values.shape[1])
            self._looks += np.bincount(every, minlength=len(self._looks)).astype(np.uint16)
        else:
            for band, whole in zip(self._values, self._whole(values)):
                band[cell] = whole
        if self._traced:
            self._sine[cell], self._slant[cell] = looks.sine.take(won), (looks.side * looks.slant).take(won)
            self._image[cell], self._row[cell] = number, looks.row.take(won)
        if looks.assumed is not None:
            self.assumed += len(np.unique(cell[looks.assumed.take(won)]))

    def _won(self, looks, laid):
        """(w,) the looks that are shown from now on, and their cells; of looks at one cell that score alike the last
        is put there last."""
        if self._blend == "newest":
            score = -laid.ages(looks.row)
        elif self._blend == "grazing":
            score = np.abs(looks.sine - np.float32(BEST_GRAZING_SINE))
        else:
            score = looks.ground
        won = np.flatnonzero(looks.shown & (score < self._score.take(looks.cell)))
        at, mine = looks.cell.take(won), score.take(won)
        self._score[at] = mine
        if not np.array_equal(self._score.take(at), mine):
            best = self._best_of_each(at, mine)
            won = won.take(best)
            at = at.take(best)
        return won, at

    def _best_of_each(self, cell, score):
        """Of looks at cells, where one cell stands here several times, the one with the lowest score; the last such."""
        at, mine = cell, score
        while len(at):
            self._score[at] = mine
            again = np.flatnonzero(mine < self._score.take(at))
            at, mine = at[again], mine[again]
        best = np.flatnonzero(score == self._score.take(cell))
        number = np.arange(len(best), dtype=np.int32)
        self._last[cell[best]] = number
        return best[self._last.take(cell[best]) == number]

    def count(self):
        """How many cells show something."""
        return int(np.count_nonzero(self._score < np.inf))

    def _whole(self, values):
        """Values as pixels: whole numbers from 1 on."""
        return np.minimum(np.maximum(np.rint(values), 1), np.iinfo(self._kind).max).astype(self._kind)

    def pixels(self):
        """(bands, rows, cols) of numbers from 1 on, 0 where nothing is shown; and (rows, cols) bool of what is."""
        shown = (self._score < np.inf).reshape(self.shape)
        if self._blend != "mean":
            return self._values.reshape(-1, *self.shape), shown
        whole = self._whole(self._values / np.maximum(self._looks, 1)).reshape(-1, *self.shape)
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
        sample = np.full(len(shown), -1)
        for number in np.unique(self._image[shown]):
            mine = np.flatnonzero(self._image == number)
            sample[mine] = self._laid[number].rows.sample.take(self._row.take(mine))
        number = np.array([outings[name] for name in track.outing], np.float32)
        bands = {"grazing": np.degrees(np.arcsin(np.clip(self._sine, 0, 1))), "outing": number[sample],
                 "pass_id": track.pass_id[sample], "sample_id": track.sample_id[sample], "image": self._image + 1,
                 "row": self._row + 0.5, "slant": self._slant}
        return {name: np.where(shown, bands[name], np.nan).astype(np.float32).reshape(self.shape)
                for name in SOURCE_BANDS}
