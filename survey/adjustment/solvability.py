"""Which offsets the passes can tell apart, and which pass would tell apart the rest.

An offset is solvable when the looks alone, without its prior, say more about it than the prior does. Places, pass
errors and the offsets that are not asked for stay unknowns (with their priors); what is left for the offsets asked for
is their reduced normal matrix, scaled by their prior standard deviations. An eigenvalue under 1 is a direction the
looks know less about than the prior: the offsets that load on it are refused.
"""
from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..model import patience
from .least_squares import Unknowns, asked, reduce_normals
from .looks import RepeatedLooks

__all__ = ["LEAST_LOADING", "WORDS", "Verdict", "judge", "named"]

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
    """``solvable``: (name, boat) pairs, boat by boat in the order of ``OFFSETS``. ``refused``: dict of such a pair ->
    why, and what would help.

    ``eigenvalues``: of the reduced normal matrix of everything asked for, ascending.
    """

    solvable: tuple
    refused: dict
    eigenvalues: np.ndarray


def judge(looks, group, names, labels=()):
    """Which of the offsets asked for the looks can solve.

    Parameters
    ----------
    looks : RepeatedLooks
    group : (n,) int array
        Object of each look.
    names : sequence
        From ``OFFSETS``, of every boat, or (name, boat) pairs.
    labels : sequence of str, optional
        What each boat is called in the sentences, where there are several.

    Returns
    -------
    Verdict
        One weak direction is struck off at a time, the weakest first, since what is refused goes back to its prior and
        may free the others.
    """
    keys = asked(looks, names)
    if not keys:
        return Verdict((), {}, np.empty(0))
    all_values = _eigen(looks, group, keys)[0]
    left, struck = _strike(looks, group, keys)
    refused, advised = {}, {}
    for key, partners in struck.items():  # passes are tried out once for each offset, not for every boat's
        refused[key] = _sentence(looks, group, keys, key, partners, labels, advised)
    return Verdict(left, refused, all_values)


def _eigen(looks, group, names):
    unknowns = Unknowns.of(looks, names)
    matrix = reduce_normals(looks.place, looks.own, group, unknowns).matrix
    others = np.setdiff1d(np.arange(unknowns.count), unknowns.solved)
    crossed = matrix[np.ix_(others, unknowns.solved)]
    inner = matrix[np.ix_(others, others)] + np.eye(len(others))
    reduced = matrix[np.ix_(unknowns.solved, unknowns.solved)] - crossed.T @ patience.heard(
        np.linalg.solve, inner, crossed)
    return patience.heard(np.linalg.eigh, (reduced + reduced.T) / 2)


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


def _sentence(looks, group, keys, key, partners, labels, advised):
    told = "these passes say less about it than its prior does"
    if partners:
        told = f"these passes cannot separate it from {' and '.join(named(p, labels) for p in partners)}"
    title = named(key, labels)
    title = title[0].upper() + title[1:]
    if not _prior(looks, key):
        return f"{title}: its prior standard deviation is zero, so it counts as known exactly."
    if key[0] in advised:
        return f"{title}: {told}. What may help is as for {advised[key[0]]}."
    advised[key[0]] = labels[key[1]] if len(labels) > 1 else "the other boat"
    return f"{title}: {told}. {_remedy(looks, group, keys, key)}"


def named(key, labels=()):
    """An offset in words, with its boat's name where there are several boats.

    Examples
    --------
    >>> from athwart.adjustment.solvability import named
    >>> named(("latency_s", 0))
    'latency'
    """
    name, boat = key
    return f"{WORDS[name]} of {labels[boat]}" if len(labels) > 1 else WORDS[name]


def _prior(looks, key):
    return float(Unknowns.of(looks, (key,)).sigma[0])


def _remedy(looks, group, keys, key):
    """The plainest pass, or number of passes, after which the offset is no longer refused.

    Tried on the boat's own looks, at ``_ENOUGH`` objects at most: more would only need fewer passes.
    """
    few = (looks.boat_no == key[1]) & (group < _ENOUGH)
    names, name = [k for k in keys if k[1] == key[1]], key
    looks, group = looks.take(few), np.unique(group[few], return_inverse=True)[1]
    looks = replace(looks, pass_no=np.unique(looks.pass_no, return_inverse=True)[1],
                    outing_no=np.unique(looks.outing_no, return_inverse=True)[1])
    if not len(looks):
        return f"It has no look at the first {_ENOUGH} objects."
    first = np.unique(group, return_index=True)[1]
    for count in _REPEATS:
        for words, change in _PASSES:
            more, members = looks, group
            for _ in range(count):
                more = RepeatedLooks.concatenate([more, _another_pass(looks, more, first, **change)])
                members = np.concatenate([members, group[first]])
            if name in _strike(more, members, names)[0]:
                passes = "One more pass" if count == 1 else f"{count} more passes"
                return f"{passes} over the same objects, {words}, would separate it."
    return f"Not even {_REPEATS[-1]} more passes over these objects would; {_INSTEAD.get(name[0], _FEWER)}."


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
