"""One tile of the map of bottom seen: what the strips of each pass add to it, cell by cell.

A cell is looked at where its middle lies in a strip; which beam looks at it, and at what ground range, comes from
solving the strip for the moment between two samples, never from the nearest sample. It is seen if that beam's slant
range to it is within R, it lies outside the blind angle, before land and the centre of a turn, and no nearer ground
hides it. Both sides of a pass are one look.
"""
from __future__ import annotations

import numpy as np

from ..bottom.bed import flat_bed
from .detection import smallest_object
from .directions import direction_count, sector_bit
from .stripcells import StripCells

__all__ = ["BANDS", "Tile"]

BANDS = ("looks", "directions", "grazing", "hits", "smallest_object", "hidden", "detecting_looks",
         "detecting_directions")

_UNKNOWN_UNSEEN = ("grazing", "hits", "smallest_object")

MOST_HITS = 9999.0
"""Hits are not counted beyond this: the beam stands still over the centre of a turn."""

_NEVER = -1


class Tile:
    """Counts for a window of the raster.

    Parameters
    ----------
    window : (row0, row1, col0, col1)
        Cells of the raster, half open.
    settings : survey.ensonify.detection.DetectionSettings
    inside : (rows, cols) bool array, optional
        Cells on the water; others are never looked at.
    """

    def __init__(self, window, settings, inside=None):
        self.window, self.settings = window, settings
        self.shape = (window[1] - window[0], window[3] - window[2])
        count = self.shape[0] * self.shape[1]
        self.inside = None if inside is None else inside.ravel()
        self._looks, self._detecting = _Counted(count), _Counted(count)
        self.sine = np.full(count, -1, np.float32)
        self.pitch = np.full(count, np.inf, np.float32)
        self.smallest = np.full(count, np.inf, np.float32)
        self.hidden = np.zeros(count, bool)
        self.assumed = np.zeros(count, bool)

    @property
    def looks(self):
        """(cells,) passes that looked."""
        return self._looks.passes

    def add(self, sweep, interval, bed=None):
        """Add intervals of one pass.

        Parameters
        ----------
        sweep : survey.ensonify.beam_rows.BeamRows
        interval : (m,) int array
            Intervals of the sweep, all of one pass; passes are added one after the other.
        bed : survey.bottom.bed.Bed, optional
            What the beams meet; without it the bottom is flat and everything in the strips is seen.
        """
        beams = sweep.subbeams(interval)
        cells = StripCells(sweep, interval, beams, self.window)
        if self.inside is not None:
            cells.keep(self.inside[cells.cell])
        if not len(cells.cell):
            return
        if bed is None:
            looked, hidden = flat_bed(sweep, interval, beams, cells)
        else:
            looked, hidden = bed.looked(sweep, interval, beams, cells, (self.window[0], self.window[2]))
        self.hidden[hidden] = True
        self._count(sweep, beams, looked, int(sweep.pass_key[interval[0]]))

    def _count(self, sweep, beams, looked, number):
        cell, beam = looked.cell, looked.beam
        if looked.assumed is not None:
            self.assumed[cell[looked.assumed]] = True
        azimuth = beams.mixed(sweep.azimuth)
        bits = np.stack([sector_bit(azimuth), sector_bit(azimuth + 180)]).ravel()[beam + (looked.side < 0) * len(beams)]
        self._looks.add(cell, bits, number)
        _raise_to(self.sine, cell, looked.sine)
        pitch = np.abs(beams.mixed(sweep.pitch).astype(np.float32)[beam]
                       - looked.side * looked.ground * beams.mixed(sweep.swing).astype(np.float32)[beam])
        _raise_to(self.pitch, cell, pitch, np.less)
        range_m = beams.mixed(sweep.range_m).astype(np.float32)[beam]
        size = smallest_object(pitch, looked.slant, looked.plane, range_m, self.settings)
        size[looked.sine < np.sin(np.radians(self.settings.min_grazing_deg))] = np.inf
        _raise_to(self.smallest, cell, size, np.less)
        detecting = np.flatnonzero(size <= self.settings.object_size_m)
        self._detecting.add(cell[detecting], bits[detecting], number)

    def bands(self):
        """Finished bands.

        Returns
        -------
        dict of (rows, cols) float32 arrays by the names of ``BANDS``
            NaN where there is nothing to say: no look, or for ``smallest_object`` none that would show anything.
        """
        seen = np.flatnonzero(self.looks)
        found = {name: np.full(len(self.looks), np.nan, np.float32) if name in _UNKNOWN_UNSEEN else
                 np.zeros(len(self.looks), np.float32) for name in BANDS}
        found["hidden"][self.hidden] = 1
        found["hidden"][seen] = 0
        for counted, grade in ((self._looks, ""), (self._detecting, "detecting_")):
            found[f"{grade}looks"][seen] = counted.passes[seen]
            found[f"{grade}directions"][seen] = direction_count(counted.sectors[seen])
        found["grazing"][seen] = np.degrees(np.arcsin(np.minimum(self.sine[seen], 1)))
        with np.errstate(divide="ignore"):
            found["hits"][seen] = np.minimum(self.settings.object_size_m / self.pitch[seen], MOST_HITS)
        size = self.smallest[seen]
        found["smallest_object"][seen] = np.where(np.isfinite(size), size, np.nan)
        if self.inside is not None:
            for values in found.values():
                values[~self.inside] = np.nan
        return {name: found[name].reshape(self.shape) for name in BANDS}

    def detected(self):
        """(cells,) bool: some look would show an object of the size asked for."""
        return self._detecting.passes > 0


class _Counted:
    """Looks of one grade, cell by cell: ``passes`` that took one, ``sectors`` they looked from."""

    def __init__(self, count):
        self.passes = np.zeros(count, np.uint16)
        self.sectors = np.zeros(count, np.uint32)
        self._last_pass = np.full(count, _NEVER, np.int32)

    def add(self, cell, bits, number):
        """Count looks of a pass of that number; a cell may stand in it several times."""
        fresh = cell[self._last_pass[cell] != number]
        self._last_pass[fresh] = number
        self.passes[fresh] += 1  # a cell that stands in it twice is counted once
        _set_bits(self.sectors, cell, bits)


def _raise_to(values, cell, new, better=np.greater):
    """values[cell] = the better of itself and ``new``, also where a cell stands in it several times."""
    while len(cell):
        improves = np.flatnonzero(better(new, values[cell]))
        cell, new = cell[improves], new[improves]
        values[cell] = new


def _set_bits(values, cell, bits):
    """values[cell] |= bits, also where a cell stands in it several times."""
    while len(cell):
        lacks = np.flatnonzero(bits & ~values[cell])
        cell, bits = cell[lacks], bits[lacks]
        values[cell] |= bits
