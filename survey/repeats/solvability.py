"""Which offsets the passes can tell apart, and which pass would tell apart the rest.

An offset is solvable when the looks alone, without its prior, say more about it than the prior does. Places, pass
errors and the offsets that are not asked for stay unknowns (with their priors); what is left for the offsets asked for
is their reduced normal matrix, scaled by their prior standard deviations. An eigenvalue under 1 is a direction the
looks know less about than the prior: the offsets that load on it are refused.
"""
from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .adjustment import Unknowns, reduce_normals
from .repeats import OFFSETS

__all__ = ["LEAST_LOADING", "WORDS", "Verdict", "judge"]

LEAST_LOADING = 0.5
_PARTNER = 0.2
_SAME = 1e-6
_REPEATS = (1, 2, 4, 8)
_ENOUGH = 40
_FEWER = "ask for fewer offsets at once"
_INSTEAD = {"lever_forward_m": "measure it with a tape", "lever_starboard_m": "measure it with a tape",
            "trim_deg": "measure it with a level", "scale": "take the water temperature"}

WORDS = {"latency_s": "latency", "mount_deg": "beam azimuth", "lever_forward_m": "lever arm forward",
         "lever_starboard_m": "lever arm to starboard", "scale": "range scale", "trim_deg": "trim"}

_PASSES = (
    ("along the same lines in the opposite direction", {"turn": 180, "flip": True}),
    ("in the same direction with the objects on the other side", {"flip": True}),
    ("in the opposite direction with the objects on the same side as before", {"turn": 180}),
    ("along the same lines at twice the speed", {"speed": 2.0}),
    ("along the same lines in the opposite direction at twice the speed", {"turn": 180, "flip": True, "speed": 2.0}),
    ("in the same direction with the objects at half the distance", {"ground": 0.5}),
    ("in the same direction with the objects on the other side at half the distance", {"flip": True, "ground": 0.5}),
    ("at right angles to the others", {"turn": 90}),
    ("in the opposite direction at half the distance and twice the speed", {"turn": 180, "ground": 0.5, "speed": 2.0}),
)
"""Passes a boat can add, the plainest first."""


@dataclass
class Verdict:
    """``solvable``: names, in the order of ``OFFSETS``. ``refused``: dict name -> why, and what would help.

    ``eigenvalues``: of the reduced normal matrix of everything asked for, ascending.
    """

    solvable: tuple
    refused: dict
    eigenvalues: np.ndarray


def judge(looks, group, names):
    """Which of the offsets asked for the looks can solve.

    Parameters
    ----------
    looks : Repeats
    group : (n,) int array
        Object of each look.
    names : sequence of str
        From ``OFFSETS``.

    Returns
    -------
    Verdict
        One weak direction is struck off at a time, the weakest first, since what is refused goes back to its prior and
        may free the others.
    """
    names = tuple(name for name in OFFSETS if name in names)
    if not names:
        return Verdict((), {}, np.empty(0))
    all_values = _eigen(looks, group, names)[0]
    left, struck = _strike(looks, group, names)
    refused = {name: _sentence(looks, group, names, name, partners) for name, partners in struck.items()}
    return Verdict(left, refused, all_values)


def _eigen(looks, group, names):
    unknowns = Unknowns.of(looks, names)
    matrix = reduce_normals(looks.place, looks.own, group, unknowns).matrix
    others = np.setdiff1d(np.arange(unknowns.count), unknowns.solved)
    crossed = matrix[np.ix_(others, unknowns.solved)]
    inner = matrix[np.ix_(others, others)] + np.eye(len(others))
    reduced = matrix[np.ix_(unknowns.solved, unknowns.solved)] - crossed.T @ np.linalg.solve(inner, crossed)
    return np.linalg.eigh((reduced + reduced.T) / 2)


def _strike(looks, group, names):
    """(solvable names, dict of refused name -> names it cannot be told from)."""
    left, struck = list(names), {}
    while left:
        values, vectors = _eigen(looks, group, left)
        if values[0] >= 1:
            break
        # equal eigenvalues have no directions of their own: take the plane they span
        weak = values <= values[0] + _SAME * max(1.0, abs(values[-1]))
        loading = np.sqrt(np.square(vectors[:, weak]).sum(axis=1))
        out = np.flatnonzero((loading > LEAST_LOADING) | (loading == loading.max()))
        linked = np.abs(vectors[:, weak] @ vectors[:, weak].T)
        names_now = list(left)
        for i in out:
            struck[names_now[i]] = [names_now[j] for j in np.flatnonzero(linked[i] > _PARTNER) if j != i]
            left.remove(names_now[i])
    return tuple(left), struck


def _sentence(looks, group, names, name, partners):
    told = "these passes say less about it than its prior does"
    if partners:
        told = f"these passes cannot tell it from {' and '.join(WORDS[p] for p in partners)}"
    title = WORDS[name].capitalize()
    if not _prior(looks, name):
        return f"{title}: its prior standard deviation is zero, so it counts as known exactly."
    return f"{title}: {told}. {_remedy(looks, group, names, name)}"


def _prior(looks, name):
    return float(Unknowns.of(looks, (name,)).sigma[0])


def _remedy(looks, group, names, name):
    """The plainest pass, or number of passes, after which the offset is no longer refused.

    Tried on ``_ENOUGH`` objects at most: more would only need fewer passes.
    """
    few = group < _ENOUGH
    looks, group = looks.take(few), group[few]
    looks = replace(looks, pass_no=np.unique(looks.pass_no, return_inverse=True)[1])
    first = np.unique(group, return_index=True)[1]
    for count in _REPEATS:
        for words, change in _PASSES:
            more, members = looks, group
            for _ in range(count):
                more = more.with_looks(_another_pass(looks, more, first, **change))
                members = np.concatenate([members, group[first]])
            if name in _strike(more, members, names)[0]:
                passes = "One more pass" if count == 1 else f"{count} more passes"
                return f"{passes} over the same objects, {words}, would separate it."
    return f"Not even {_REPEATS[-1]} more passes over these objects would; {_INSTEAD.get(name, _FEWER)}."


def _another_pass(looks, so_far, first, turn=0, flip=False, speed=1.0, ground=1.0):
    """Looks of one more pass over every object, as the first look of each would change."""
    base = looks.take(first)
    cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    east, north = speed * base.velocity.T
    return replace(
        base, pass_no=np.full(len(first), so_far.pass_no.max() + 1), azimuth_deg=base.azimuth_deg + turn,
        side=-base.side if flip else base.side, velocity=np.column_stack([east * cos + north * sin,
                                                                          north * cos - east * sin]),
        ground=base.ground * ground, dg_dscale=base.dg_dscale * ground, dg_ddepth=base.dg_ddepth / ground)
