"""The smoothest surface through lines: a thin elastic plate with a little tension, by multigrid on the grid's nodes.

Minimises the sum over nodes of (Laplacian)^2 + ``tension`` (first differences)^2 + ``_HOLD`` (what is missed at each
cut of a line with an edge)^2: minimum curvature with tension (I. C. Briggs, Geophysics 39, 1974; W. H. F. Smith and P.
Wessel, Geophysics 55, 1990, from memory), with the data where the lines truly run instead of in the nearest cell. Land
is a plate fifty times softer under more tension: it carries no slope from one bay to the next, and nothing hangs loose.

Solved level by level from coarse to fine, by conjugate gradients on each; what comes before them is one V-cycle with
Chebyshev smoothing. A node belongs to every other column and row of the next finer level.
"""
from __future__ import annotations

import numpy as np

__all__ = ["padded", "plate"]

_HOLD = 5.0
"""Weight of a cut beside the bending of a node: a line is missed by millimetres, wriggles within a cell are let go."""

_LAND_STIFFNESS, _LAND_TENSION = 0.02, 0.02
_COARSEST = 600
"""Nodes of the level that is solved outright."""

_ROWS = 48
"""Rows worked on at a time, so that what is needed of them stays in the processor's own memory."""

_HIGHEST, _RATIO, _DEGREE = 5.0, 8.0, 3
"""Chebyshev smoothing of eigenvalues down to an eighth of the highest. Of the matrix over its diagonal none passes 5: a
bending term alone has 5, a cut and a tension term 2, and a sum of terms never more than its largest."""


def padded(shape):
    """The next larger (rows, cols) that can be halved down to the coarsest level.

    Examples
    --------
    >>> from athwart.bottom.plate import padded
    >>> padded((40, 70))
    (41, 73)
    """
    halvings = 0
    while np.prod([-(-(n - 1) // 2**halvings) + 1 for n in shape]) > _COARSEST:
        halvings += 1
    return tuple(int(-(-(n - 1) // 2**halvings) * 2**halvings + 1) for n in shape)


def plate(cuts_at, water, stiffness, tension, tolerance, until=0, step=None):
    """Heights of the plate at the nodes.

    Parameters
    ----------
    cuts_at : callable
        ``cuts_at(k, shape)`` -> cuts on the grid of every 2^k-th node (``crossings.cuts_of``).
    water : (rows, cols) bool array
        Of a ``padded`` shape.
    stiffness : (rows, cols) array
        Weight of the bending at each node; 1 is usual.
    tension : float
        One over the length, in cells and squared, over which a slope dies away where no line holds it.
    tolerance : float
        Largest step, in the unit of the levels, that may be left to do at most nodes.
    until : int
        Level to stop at: 0 for all nodes, 1 for every second one ...
    step : callable, optional
        ``step(fraction)``; may raise to cancel.

    Returns
    -------
    float array
        At ``water[::2**until, ::2**until]``.
    """
    step, levels, k = step or (lambda fraction: None), [], until
    while True:
        some = slice(None, None, 2**k), slice(None, None, 2**k)
        levels.append(_Level(cuts_at(k, water[some].shape), water[some], stiffness[some], tension, 0.25**k))
        if water[some].size <= _COARSEST or min(water[some].shape) < 5:
            break
        k += 1
    coarsest = levels[-1].inverse()
    most = [max(4, min(40, 4_000_000 // level.stiff.size)) for level in levels]
    work = [level.stiff.size * rounds for level, rounds in zip(levels, most)]
    heights = (coarsest @ levels[-1].pull.ravel()).reshape(levels[-1].stiff.shape)
    for k in range(len(levels) - 2, -1, -1):
        heights = _twice(_twice(heights, 0), 1)
        done = sum(work[k + 1:])
        heights = _descend(levels[k:], coarsest, heights, most[k], tolerance,
                           lambda share, done=done, k=k: step((done + share * work[k]) / sum(work)))
    step(1.0)
    return heights


class _Level:
    """The equations on one grid, matrix-free: ``apply`` is the matrix, ``pull`` the right-hand side."""

    def __init__(self, cuts, water, stiffness, tension, scale):
        self.water = water
        self.stiff = scale * np.where(water, stiffness, _LAND_STIFFNESS * stiffness)
        self.stiff[[0, -1]] = self.stiff[:, [0, -1]] = 0.0
        pull = np.where(water, tension, max(tension, _LAND_TENSION))
        self.across, self.down = np.minimum(pull[:, 1:], pull[:, :-1]), np.minimum(pull[1:], pull[:-1])
        self.pull, self.diagonal = np.zeros(water.shape), 16 * self.stiff
        for held, amount in ((self.stiff[1:], self.stiff[:-1]), (self.down, self.down)):
            self.diagonal[:-1] += held
            self.diagonal[1:] += amount
        for held, amount in ((self.stiff[:, 1:], self.stiff[:, :-1]), (self.across, self.across)):
            self.diagonal[:, :-1] += held
            self.diagonal[:, 1:] += amount
        self._ties = [self._tied(one_way) for one_way in cuts]
        self._typed = {}
        self.inverse_diagonal = (1 / self.diagonal).astype(np.float32)

    def _tied(self, cuts):
        """Nodes and the (2, 2) normal equations that the cuts of each edge add to them."""
        edge, group = np.unique(cuts.first, return_inverse=True)
        far, near = cuts.at, 1 - cuts.at

        def total(values):
            return _HOLD * np.bincount(group.ravel(), values, len(edge))
        a, b, c = total(near * near), total(near * far), total(far * far)
        for node, own, values in ((edge, a, near), (edge + cuts.stride, c, far)):
            self.diagonal.ravel()[node] += own
            self.pull.ravel()[node] += total(values * cuts.level)
        return edge, edge + cuts.stride, a, b, c

    def inverse(self):
        """The inverse matrix; for the coarsest level."""
        unit = np.eye(self.stiff.size)
        whole = np.array([self.apply(row.reshape(self.stiff.shape)).ravel() for row in unit])
        return np.linalg.inv((whole + whole.T) / 2 + 1e-9 * np.trace(whole) / len(unit) * unit)

    def _as(self, kind):
        if kind not in self._typed:
            self._typed[kind] = ([v.astype(kind) for v in (self.stiff, self.across, self.down)],
                                 [(i, j, *(v.astype(kind) for v in abc)) for i, j, *abc in self._ties])
        return self._typed[kind]

    def apply(self, u):
        """The matrix times ``u``, in the precision of ``u``."""
        (stiff, across, down), ties = self._as(u.dtype)
        out = np.empty_like(u)
        for a in range(0, len(u), _ROWS):
            _bent(u, stiff, a, out[a:a + _ROWS])
            _drawn(u, across, down, a, out[a:a + _ROWS])
        flat, given = out.ravel(), u.ravel()
        for i, j, near, both, far in ties:
            one, two = given[i], given[j]
            flat[i] += near * one + both * two
            flat[j] += both * one + far * two
        return out


def _bent(u, stiff, a, out):
    """Bending of the rows of ``out``, the first of which is ``a``: the Laplacian of stiffness times the Laplacian."""
    b = a + len(out)
    low, high = max(a - 1, 1), min(b + 1, len(u) - 1)
    moment = np.zeros((len(out) + 2, u.shape[1]), u.dtype)
    if high > low:
        v, inner = u[low - 1:high + 1], moment[low - a + 1:high - a + 1, 1:-1]
        np.add(v[:-2, 1:-1], v[2:, 1:-1], out=inner)
        inner += v[1:-1, :-2]
        inner += v[1:-1, 2:]
        inner -= 4 * v[1:-1, 1:-1]
        inner *= stiff[low:high, 1:-1]
    np.add(moment[:-2], moment[2:], out=out)
    out -= 4 * moment[1:-1]
    out[:, 1:] += moment[1:-1, :-1]
    out[:, :-1] += moment[1:-1, 1:]


def _drawn(u, across, down, a, out):
    """Adds the tension of the rows of ``out``, the first of which is ``a``."""
    b = a + len(out)
    flow = np.diff(u[a:b], axis=1)
    flow *= across[a:b]
    out[:, :-1] -= flow
    out[:, 1:] += flow
    low, high = max(a - 1, 0), min(b, len(u) - 1)
    flow = (u[low + 1:high + 1] - u[low:high]) * down[low:high]
    out[:high - a] -= flow[a - low:]
    out[low + 1 - a:] += flow[:b - low - 1]


def _descend(levels, coarsest, heights, most, tolerance, step):
    """Preconditioned conjugate gradients on the first of the levels, from ``heights``."""
    level = levels[0]
    sample = np.flatnonzero(level.water)
    sample = sample[::max(1, len(sample) // 50_000)]
    rest = level.pull - level.apply(heights)
    way = before = None
    for count in range(most):
        step(count / most)
        size = np.abs(rest).max()
        if not size:
            break
        ahead = _cycle(levels, coarsest, (rest / size).astype(np.float32)).astype(float)
        ahead *= size
        now = np.vdot(rest, ahead)
        if way is not None:
            way *= now / before
            way += ahead
        else:
            way = ahead
        before, image = now, level.apply(way)
        stride = now / np.vdot(way, image)
        heights += stride * way
        image *= stride
        rest -= image
        if not len(sample) or abs(stride) * np.percentile(np.abs(way.ravel()[sample]), 99.5) < tolerance:
            break
    return heights


def _cycle(levels, coarsest, rest):
    """One V-cycle for the correction; symmetric, in single precision."""
    level = levels[0]
    if len(levels) == 1:
        return (coarsest @ rest.ravel()).astype(np.float32).reshape(rest.shape)
    found = _smoothed(level, None, rest)
    coarse = _half(_half(rest - level.apply(found), 0), 1)
    found += _twice(_twice(_cycle(levels[1:], coarsest, coarse), 0), 1)
    return _smoothed(level, found, rest)


def _smoothed(level, found, rest):
    """Chebyshev iteration (Y. Saad, Iterative methods for sparse linear systems, 2nd ed., algorithm 12.1)."""
    middle, half = (_HIGHEST + _HIGHEST / _RATIO) / 2, (_HIGHEST - _HIGHEST / _RATIO) / 2
    sigma, single = middle / half, np.float32
    rho = 1 / sigma
    way = (rest if found is None else rest - level.apply(found)) * level.inverse_diagonal
    way *= single(1 / middle)
    found = way.copy() if found is None else found + way
    for _ in range(_DEGREE - 1):
        left = rest - level.apply(found)
        left *= level.inverse_diagonal
        rho, last = 1 / (2 * sigma - rho), rho
        way *= single(rho * last)
        left *= single(2 * rho / half)
        way += left
        found += way
    return found


def _twice(values, axis):
    """From one level to the next finer along an axis: cubic in between (-1, 9, 9, -1)/16, linear at both ends."""
    v = np.moveaxis(values, axis, 0)
    shape = list(values.shape)
    shape[axis] = 2 * len(v) - 1
    found = np.empty(shape, values.dtype)
    out = np.moveaxis(found, axis, 0)
    out[::2] = v
    between = out[1::2]
    np.add(v[:-1], v[1:], out=between)
    between *= 0.5
    if len(v) > 3:
        between[1:-1] *= 1.125
        between[1:-1] -= 0.0625 * (v[:-3] + v[3:])
    return found


def _half(values, axis):
    """The transpose of ``_twice``."""
    v = np.moveaxis(values, axis, 0)
    found = np.ascontiguousarray(v[::2])
    between = 0.5 * v[1::2]
    if len(found) > 3:
        outer = v[3:-3:2] * values.dtype.type(-0.0625)
        between[1:-1] *= 1.125
        found[:-3] += outer
        found[3:] += outer
    found[:-1] += between
    found[1:] += between
    return np.ascontiguousarray(np.moveaxis(found, 0, axis))
