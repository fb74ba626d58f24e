"""Which looks show the same object: by a field, or by a gate on the distance in units of its error."""
from __future__ import annotations

import numpy as np

from ..model.errors import InputError
from ..uncertainty.chisquare import chi_square_quantile
from .looks import OUTING_ERRORS, PASS_ERRORS

__all__ = ["GATE", "assign", "group_by_gate", "group_by_name"]

GATE = 0.999


def group_by_name(values):
    """Groups of looks with the same name.

    Parameters
    ----------
    values : sequence
        Name of each look; blank, None and NaN stand alone.

    Returns
    -------
    (n,) int array
        Numbered from 0 in order of first appearance.

    Examples
    --------
    >>> from athwart.adjustment.association import group_by_name
    >>> group_by_name(["tyre", "log", "tyre", ""]).tolist()
    [0, 1, 0, 2]
    """
    seen, group = {}, np.empty(len(values), int)
    for i, value in enumerate(values):
        text = "" if value is None else str(value).strip()
        group[i] = seen.setdefault((i,) if text in ("", "nan") else text, len(seen))
    return group


def assign(cost, limit):
    """One-to-one assignment of rows to columns of least total cost, a row left alone costing ``limit``.

    Parameters
    ----------
    cost : (r, c) array
    limit : float

    Returns
    -------
    (r,) int array
        Column of each row, -1 for none. Shortest augmenting paths with potentials (Hungarian method), O(r^2 (r + c)).

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.adjustment.association import assign
    >>> assign(np.array([[1.0, 9.0], [2.0, 3.0]]), 5.0).tolist(), assign(np.array([[9.0]]), 5.0).tolist()
    ([0, 1], [-1])
    """
    rows, columns = cost.shape
    full = np.full((rows, columns + rows), np.inf)
    full[:, :columns] = np.where(cost < limit, cost, np.inf)
    full[np.arange(rows), columns + np.arange(rows)] = limit
    taken = np.full(columns + rows, -1)  # row that holds each column
    u, v = np.zeros(rows), np.zeros(columns + rows)
    for row in range(rows):
        least, back = np.full(columns + rows, np.inf), np.full(columns + rows, -1)
        done = np.zeros(columns + rows, bool)
        at, last = row, -1
        while True:
            slack = full[at] - u[at] - v
            better = ~done & (slack < least)
            least[better], back[better] = slack[better], last
            nearest = int(np.argmin(np.where(done, np.inf, least)))
            delta = least[nearest]
            u[row] += delta
            held = np.flatnonzero(done)
            u[taken[held]] += delta
            v[held] -= delta
            least[~done] -= delta
            done[nearest], last = True, nearest
            if taken[nearest] < 0:
                break
            at = taken[nearest]
        while last >= 0:
            taken[last] = taken[back[last]] if back[last] >= 0 else row
            last = back[last]
    found = np.full(rows, -1)
    held = np.flatnonzero(taken[:columns] >= 0)
    found[taken[held]] = held
    return found


class _Objects:
    """Objects found so far: best place of each from its looks, and how it leans on each outing's shared errors."""

    def __init__(self, outings):
        self.place, self.fresh = np.empty((0, 2)), np.empty((0, 2, 2))
        self.lean = np.empty((0, outings, 2, len(OUTING_ERRORS)))

    def covariance(self):
        return self.fresh + np.einsum("goki,goli->gkl", self.lean, self.lean)

    def add(self, place, fresh, lean, outing):
        leans = np.zeros((len(place), *self.lean.shape[1:]))
        leans[:, outing] = lean
        self.place, self.fresh = np.concatenate([self.place, place]), np.concatenate([self.fresh, fresh])
        self.lean = np.concatenate([self.lean, leans])

    def improve(self, at, place, fresh, lean, outing):
        """Best linear combination of object ``at`` with one more look, all covariances kept."""
        crossed = self.lean[at, outing] @ lean.T
        mine = self.covariance()[at]
        gain = (mine - crossed) @ np.linalg.inv(mine + fresh + lean @ lean.T - crossed - crossed.T)
        keep = np.eye(2) - gain
        self.place[at] = keep @ self.place[at] + gain @ place
        self.fresh[at] = keep @ self.fresh[at] @ keep.T + gain @ fresh @ gain.T
        self.lean[at] = keep @ self.lean[at]
        self.lean[at, outing] += gain @ lean


def group_by_gate(looks, gate=GATE, alone=None):
    """Groups of looks that may show one object, pass after pass.

    Parameters
    ----------
    looks : RepeatedLooks
    gate : float
        Probability inside the gate, d^2 below its chi-square(2) quantile (13.8 for 0.999).
    alone : (n,) bool array, optional
        Looks that no other may join: what hangs in the water has an ellipse that everything near would pass, and swims.

    Returns
    -------
    (n,) int array
        Numbered from 0 in order of first appearance. Two looks of one pass never share a group.

    Notes
    -----
    d^2 = (p1 - p2)' (C1 + C2 - C12 - C21)^-1 (p1 - p2): what two looks of an outing share (bias, latency on one course)
    does not part them. Inside a pass the looks are given to the objects one to one, at the least total d^2.
    """
    if not 0.5 <= gate < 1:
        raise InputError(f"A gate of {100 * gate:g} % cannot be used; give 50 to 99.99, usually 99.9.",
                         field="gate")
    limit = chi_square_quantile(gate, 2)
    design = looks.sensitivities()
    on_pass, on_outing = design[:, :, :len(PASS_ERRORS)], design[:, :, len(PASS_ERRORS):]
    fresh = looks.own + on_pass @ np.swapaxes(on_pass, 1, 2)
    objects = _Objects(int(looks.outing_no.max()) + 1 if len(looks) else 1)
    found = np.full(len(looks), -1)
    alone = np.zeros(len(looks), bool) if alone is None else alone
    found[alone] = len(looks) + np.arange(alone.sum())  # past all objects' numbers
    for number in np.unique(looks.pass_no[~alone]):
        rows = np.flatnonzero((looks.pass_no == number) & ~alone)
        outing = looks.outing_no[rows[0]]
        to = _nearest(objects, looks.place[rows], fresh[rows], on_outing[rows], outing, limit)
        for row, at in zip(rows[to >= 0], to[to >= 0]):
            objects.improve(at, looks.place[row], fresh[row], on_outing[row], outing)
        new = rows[to < 0]
        found[rows[to >= 0]] = to[to >= 0]
        found[new] = len(objects.place) + np.arange(len(new))
        objects.add(looks.place[new], fresh[new], on_outing[new], outing)
    return group_by_name(found)


def _nearest(objects, place, fresh, lean, outing, limit):
    """Object of each look of a pass, -1 for a new one."""
    if not len(objects.place):
        return np.full(len(place), -1)
    crossed = np.einsum("gki,rli->rgkl", objects.lean[:, outing], lean)
    spread = (objects.covariance()[None] + (fresh + lean @ np.swapaxes(lean, 1, 2))[:, None]
              - crossed - np.swapaxes(crossed, 2, 3))
    apart = place[:, None] - objects.place[None]
    return assign(np.einsum("rgk,rgkl,rgl->rg", apart, np.linalg.inv(spread), apart), limit)
