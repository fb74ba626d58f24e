"""From how many different directions a place was looked at.

Two looks count as from different directions when their beams run more than 60 degrees apart over the ground; one up and
one down the same line do, two up it do not. Directions are kept in 24 sectors of 15 degrees, one bit each, and two
count as different only where their sectors leave no doubt, so that the number is never too large: beams 75 degrees
apart or more are always told apart, 60 or less never. A judgement; no source fixes the angle.
"""
from __future__ import annotations

import numpy as np

__all__ = ["APART_SECTORS", "SECTORS", "direction_count", "sector_bit"]

SECTORS = 24
APART_SECTORS = 5
"""Sectors this far apart hold directions at least 60 degrees apart."""


def sector_bit(azimuth_deg):
    """(n,) uint32 with the bit of each direction's sector.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.ensonify.directions import sector_bit
    >>> sector_bit(np.array([0.0, 90.0])).tolist()[0] != sector_bit(np.array([180.0])).tolist()[0]
    True
    """
    sector = np.floor(np.asarray(azimuth_deg, float) % 360.0 / (360.0 / SECTORS)).astype(np.uint32) % SECTORS
    return np.left_shift(np.uint32(1), sector).astype(np.uint32)


def direction_count(bits):
    """Largest number of directions that are pairwise apart.

    Parameters
    ----------
    bits : array of uint32
        Sectors looked from, as ``sector_bit`` sets them.

    Returns
    -------
    uint8 array of that shape, at most 4

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.ensonify.directions import direction_count
    >>> from athwart.ensonify.directions import sector_bit
    >>> north, east = sector_bit(np.array([0.0, 90.0]))
    >>> direction_count(np.array([north, north | east], np.uint32)).tolist()
    [1, 2]
    """
    bits = np.asarray(bits)
    count = (bits != 0).astype(np.uint8)
    several = np.flatnonzero(bits & (bits - (bits != 0).astype(bits.dtype)))
    masks, where = np.unique(bits.ravel()[several], return_inverse=True)
    count.ravel()[several] = np.array([_most(int(mask)) for mask in masks], np.uint8)[where]
    return count


def _most(mask):
    """The same for one mask: from each sector in turn, take the next one far enough on."""
    held = [sector for sector in range(SECTORS) if mask >> sector & 1]
    best = 0
    for start in held:
        count, last = 1, 0
        for ahead in sorted((sector - start) % SECTORS for sector in held):
            if ahead - last >= APART_SECTORS and ahead <= SECTORS - APART_SECTORS:
                count, last = count + 1, ahead
        best = max(best, count)
    return best
