"""What each beam sees of an uneven bottom: the depth grid marched athwartships.

A ray leaves the transducer and runs over the ground; z(g) is the depth of the bottom below the transducer at ground
range g. The bottom at g is seen where no nearer ground hides it, that is where z / g is the least so far (itself
included), and is on the record where its slant range sqrt(g^2 + z^2) is within R. The whole of g = 0 .. R is marched:
the slant range may pass R and come back. Samples stand in the middle of strides of at most half a cell.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message
from ..model.table import Floats, Table

__all__ = ["Marched", "Rays", "Scratch", "march"]

_MOST_CELLS = 2**24
"""Cells of a window are counted in float32, which is exact up to here."""


@dataclass(eq=False, repr=False)
class Rays(Table):
    """(n,) arrays: ``col``, ``row`` the transducer in fractional cells of the grid, ``dcol``, ``drow`` cells a metre
    along the ray, ``offset`` (m) added to the grid's depths to have them from the transducer, ``depth`` (m) what stands
    where the grid knows nothing, ``reach`` (m) where the ray ends."""

    col: Floats
    row: Floats
    dcol: Floats
    drow: Floats
    offset: Floats
    depth: Floats
    reach: Floats

    def extents(self):
        """Lowest and highest col, lowest and highest row of each ray, four (n,) arrays."""
        col, row = self.col + self.dcol * self.reach, self.row + self.drow * self.reach
        return (np.minimum(self.col, col), np.maximum(self.col, col),
                np.minimum(self.row, row), np.maximum(self.row, row))


@dataclass
class Marched:
    """(count, n) views into a Scratch, good until its next march: ``depth`` z at each sample, ``least`` the least z / g
    so far, ``seen`` no nearer ground hides it, ``unknown`` where z is an assumption (None: nowhere). ``reach``: (n,)
    the rays' own, shortened where they run ashore on dry cells. ``step``: the stride, m."""

    step: float
    depth: np.ndarray
    least: np.ndarray
    seen: np.ndarray
    unknown: np.ndarray
    reach: np.ndarray


class Scratch:
    """Buffers that every march reuses: fresh temporaries of this size cost a page fault each.

    Parameters
    ----------
    samples : int
        Largest count times n of any march.
    dtype : float32 to look, float64 to measure
    """

    def __init__(self, samples, dtype=np.float32):
        self.samples, self.dtype = int(samples), np.dtype(dtype)
        self._numbers = [np.empty(self.samples, self.dtype) for _ in range(5)]
        self._cells = np.empty(self.samples, np.intp)
        self._flags = [np.empty(self.samples, bool) for _ in range(2)]

    def shaped(self, count, n):
        """Buffers of (count, n): five of numbers, one of cells, two of flags."""
        def cut(buffer):
            return buffer[:count * n].reshape(count, n)
        return [cut(b) for b in self._numbers], cut(self._cells), [cut(b) for b in self._flags]


def march(window, rays, step, count, scratch):
    """March rays over a window that holds them.

    Parameters
    ----------
    window : survey.bottom.depthgrid.DepthWindow
    rays : Rays
    step : float
        Stride, m; samples stand at (k + 1/2) step, k = 0 .. count - 1.
    count : int
    scratch : Scratch
        Of at least count * len(rays) samples.

    Returns
    -------
    Marched
    """
    n, dtype = len(rays), scratch.dtype
    (depth, x, y, a, b), cell, (seen, flag) = scratch.shaped(count, n)
    ground = ((np.arange(count) + 0.5) * step).astype(dtype)[:, None]
    rows, cols = window.values.shape
    if rows * cols >= _MOST_CELLS:
        raise InputError(Message("The depth grid's cells are too small for the range: {rows} x {cols} of them lie "
                                 "within reach. Run {DepthConversion()} on it with larger cells.", rows=rows,
                                 cols=cols))
    values = np.ascontiguousarray(window.values, dtype).ravel()
    _place(rays.col - window.col0, rays.dcol, ground, cols, a, x)
    _place(rays.row - window.row0, rays.drow, ground, rows, b, y)
    np.multiply(b, cols, out=b)
    np.add(a, b, out=a)
    np.copyto(cell, a, casting="unsafe")
    _between(values, values[1:], cell, x, depth, a)
    _between(values[cols:], values[cols + 1:], cell, x, b, a)
    np.subtract(b, depth, out=b)
    np.multiply(b, y, out=b)
    np.add(depth, b, out=depth)
    reach = _ashore(depth, rays.reach, step, flag)
    np.add(depth, rays.offset.astype(dtype), out=depth)
    np.isnan(depth, out=flag)
    unknown = flag if flag.any() else None
    if unknown is not None:
        np.copyto(depth, rays.depth.astype(dtype)[None, :], where=flag)
    np.divide(depth, ground, out=a)
    np.copyto(b[0], a[0])
    for k in range(1, count):  # several times quicker than numpy's accumulate along this axis
        np.minimum(b[k - 1], a[k], out=b[k])
    np.less_equal(a, b, out=seen)
    return Marched(step, depth, b, seen, unknown, reach)


def _place(start, per_metre, ground, size, cell, share):
    """Cell below each sample, a whole number, and how far past its middle it lies, along one axis."""
    ends = start + per_metre * float(ground[-1, 0])
    np.multiply(ground, per_metre.astype(ground.dtype), out=share)
    np.add(share, start.astype(ground.dtype), out=share)
    if min(start.min(), ends.min()) < 0 or max(start.max(), ends.max()) >= size - 1:
        np.clip(share, 0, size - 1.001, out=share)
    np.floor(share, out=cell)
    np.subtract(share, cell, out=share)


def _between(values, beyond, cell, share, out, spare):
    """Values at cells, shifted by the share towards those ``beyond``."""
    np.take(values, cell, out=out, mode="clip")
    np.take(beyond, cell, out=spare, mode="clip")
    np.subtract(spare, out, out=spare)
    np.multiply(spare, share, out=spare)
    np.add(out, spare, out=out)


def _ashore(depth, reach, step, flag):
    """(n,) reach, ended where a ray first meets dry cells (depth 0 or less) after wet ones.

    Dry cells round the boat itself contradict it (a coarse grid, a low water) and become unknown.
    """
    np.less_equal(depth, 0, out=flag)
    if not flag.any():
        return reach
    rays = np.flatnonzero(flag.any(axis=0))
    dry, here = flag[:, rays], depth[:, rays]
    wet = np.logical_or.accumulate(here > 0, axis=0)
    here[dry & ~wet] = np.nan
    depth[:, rays] = here
    landfall = dry & wet
    lands = landfall.any(axis=0)
    first = np.argmax(landfall[:, lands], axis=0)
    column = np.flatnonzero(lands)
    before, after = here[first - 1, column], here[first, column]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(np.isfinite(before), before / (before - after), 0.5)
    reach = np.array(reach, float)
    reach[rays[lands]] = np.minimum(reach[rays[lands]], (first - 0.5 + share) * step)
    return reach
