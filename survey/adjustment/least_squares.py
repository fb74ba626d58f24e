"""One least squares for all looks: places of the objects, errors of the passes, offsets of the outings.

Gauss-Markov with priors (random-effect) unknowns: p = X - B z + e with e ~ N(0, own) fresh in each look and z ~ N(0, I)
shared, in units of the prior standard deviations. Errors that looks share do not shrink with their number: they stay in
the covariance of every place, whether an offset is reported or not.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model import patience
from ..model.errors import InputError
from ..uncertainty.chisquare import chi_square_quantile
from .looks import OFFSETS, OUTING_ERRORS, PASS_ERRORS

__all__ = ["BLUNDER", "LEAST_DOF", "Adjustment", "Reduced", "Unknowns", "adjust", "asked", "reduce_normals"]

BLUNDER = 3.29
"""Normalised residual beyond which a look is called a blunder: two-sided 0.1 %."""

LEAST_DOF = 10
"""Under so many degrees of freedom the chi-square is not judged."""

_ROUNDS = 3
"""A range read too long also looks more sensitive to scale, and a beam turns on a circle, not a tangent: the later
rounds take slopes and curvature at the adjusted values."""

_PASS, _OUTING = len(PASS_ERRORS), len(OUTING_ERRORS)


@dataclass
class Unknowns:
    """Where each shared error of each look stands in the vector z.

    ``design``: (n, 2, 12) metres per prior standard deviation; ``index``: (n, 12) int position in z; ``count``: length
    of z; ``solved``: positions of the offsets asked for, in the order of ``names`` and ``boats``, the numbers of the
    boats whose they are; ``sigma``: their prior standard deviations; ``applied``: the values already in the track that
    the corrections are counted from; ``shift``: (n, 2) m by which looks prepared with other values are brought to
    those.
    """

    design: np.ndarray
    index: np.ndarray
    count: int
    names: tuple
    boats: tuple
    solved: np.ndarray
    sigma: np.ndarray
    applied: np.ndarray
    shift: np.ndarray

    @classmethod
    def of(cls, looks, names=()):
        """Unknowns of ``RepeatedLooks``; ``names`` from ``OFFSETS`` (of every boat), or (name, boat) pairs.

        Each is one unknown of its boat; every other outing error is an unknown of each outing by itself.
        """
        keys = asked(looks, names)
        passes, outings = int(looks.pass_no.max()) + 1, int(looks.outing_no.max()) + 1
        design = looks.sensitivities()
        index = np.empty((len(looks), _PASS + _OUTING), int)
        index[:, :_PASS] = looks.pass_no[:, None] * _PASS + np.arange(_PASS)
        index[:, _PASS:] = passes * _PASS + looks.outing_no[:, None] * _OUTING + np.arange(_OUTING)
        sigma, applied, solved = np.empty(len(keys)), np.empty(len(keys)), np.empty(len(keys), int)
        shift = np.zeros((len(looks), 2))
        for k, (name, boat) in enumerate(keys):
            mine = looks.boat_no == boat
            column, value = OUTING_ERRORS.index(name), looks.applied[mine, OFFSETS.index(name)]
            each = looks.outing_sigma[mine, column]
            best = int(np.argmin(np.where(each > 0, each, np.inf))) if (each > 0).any() else 0
            sigma[k], applied[k] = each[best], value[best]
            solved[k] = passes * _PASS + looks.outing_no[mine].min() * _OUTING + column
            with np.errstate(divide="ignore", invalid="ignore"):
                slope = np.where(each[:, None] > 0, design[mine, :, _PASS + column] / each[:, None], 0.0)
            if name != "scale":  # each outing's water has a sound speed of its own: there the factor is shared
                shift[mine] += slope * (applied[k] - value)[:, None]
            design[mine, :, _PASS + column] = slope * sigma[k]
            index[mine, _PASS + column] = solved[k]
        return cls(design, index, passes * _PASS + outings * _OUTING, tuple(name for name, _ in keys),
                   tuple(boat for _, boat in keys), solved, sigma, applied, shift)


def asked(looks, names):
    """(name, boat) pairs, boat by boat in the order of ``OFFSETS``; a name alone is asked of every boat."""
    names = set(names)
    return tuple((name, boat) for boat in np.unique(looks.boat_no).tolist() for name in OFFSETS
                 if name in names or (name, boat) in names)


@dataclass
class Reduced:
    """Normal equations with the places eliminated: ``matrix`` (m, m) of z without its prior, ``right`` (m,).

    ``weight`` (n, 2, 2) of each look, ``spread`` (g, 2, 2) covariance of each place were z known, ``lean`` (g, 2, m)
    change of each place with z, ``free`` (g, 2) place with z = 0.
    """

    matrix: np.ndarray
    right: np.ndarray
    weight: np.ndarray
    spread: np.ndarray
    lean: np.ndarray
    free: np.ndarray


def _by_group(values, group, count):
    summed = np.zeros((count, *values.shape[1:]))
    np.add.at(summed, group, values)
    return summed


def reduce_normals(place, own, group, unknowns):
    """Eliminate the places (Schur complement over 2 x 2 blocks).

    Parameters
    ----------
    place : (n, 2) array, m
    own : (n, 2, 2) array, m2
    group : (n,) int array, 0 .. g - 1, each used
    unknowns : Unknowns

    Returns
    -------
    Reduced
    """
    patience.look()
    n, size, count = len(place), unknowns.count, int(group.max()) + 1
    weight = np.linalg.inv(own)
    spread = np.linalg.inv(_by_group(weight, group, count))
    weighted = weight @ unknowns.design                                              # (n, 2, 12)
    crossed = np.zeros((count, 2, size))
    rows = np.arange(2)[None, :, None]
    np.add.at(crossed, (group[:, None, None], rows, unknowns.index[:, None, :]), weighted)
    middle = _by_group(place, group, count) / np.bincount(group, minlength=count)[:, None]
    moved = place - middle[group]                                                   # small numbers keep their digits
    pull = _by_group((weight @ moved[:, :, None])[:, :, 0], group, count)
    lean = spread @ crossed
    root = np.swapaxes(np.linalg.cholesky(spread), 1, 2) @ crossed
    root = root.reshape(2 * count, size)
    matrix = np.zeros((size, size))
    blocks = np.swapaxes(unknowns.design, 1, 2) @ weighted
    np.add.at(matrix, (unknowns.index[:, :, None], unknowns.index[:, None, :]), blocks)
    matrix -= root.T @ root
    right = np.zeros(size)
    np.add.at(right, unknowns.index, -(np.swapaxes(weighted, 1, 2) @ moved[:, :, None])[:, :, 0].reshape(n, -1))
    right += np.einsum("gki,gk->i", lean, pull)
    free = middle + (spread @ pull[:, :, None])[:, :, 0]
    return Reduced((matrix + matrix.T) / 2, right, weight, spread, lean, free)


@dataclass
class Adjustment:
    """Result of ``adjust``; frame metres.

    ``place`` (g, 2) and ``covariance`` (g, 2, 2) of the objects. ``shared`` (g, 2, m): covariance of place and shared
    errors in units of their priors. ``residual`` (n, 2) along and across the fan, and ``w`` (n, 2) the same normalised;
    NaN where a look cannot be tested. ``names``, ``boats``, ``value``, ``sigma``, ``prior_sigma``, ``correlation``:
    offsets asked for, whose they are, value in force after the adjustment. ``chi2``, ``dof`` and its 95 % limits
    ``chi2_low``, ``chi2_high``.
    """

    place: np.ndarray
    covariance: np.ndarray
    shared: np.ndarray
    residual: np.ndarray
    w: np.ndarray
    names: tuple
    boats: tuple
    value: np.ndarray
    sigma: np.ndarray
    prior_sigma: np.ndarray
    correlation: np.ndarray
    chi2: float
    dof: int
    chi2_low: float
    chi2_high: float
    unknowns: Unknowns

    @property
    def blunders(self):
        """(n,) bool: looks with a normalised residual over ``BLUNDER``; reported, never dropped."""
        return np.nan_to_num(np.abs(self.w)).max(axis=1) > BLUNDER


def adjust(looks, group, names=()):
    """Adjust all looks at once.

    Parameters
    ----------
    looks : RepeatedLooks
    group : (n,) int array
        Object of each look, 0 .. g - 1, each used.
    names : sequence
        Offsets of ``OFFSETS`` to report as values of each boat, or (name, boat) pairs. They, and those not named, are
        unknowns with their priors either way.

    Returns
    -------
    Adjustment

    Notes
    -----
    chi2 = sum v' W v + z'z with 2 (looks - groups) degrees of freedom: each prior is an observation and an unknown.
    """
    if not len(looks):
        raise InputError("There is no target to combine.")
    axes, linear, bend = _fan_axes(looks), looks, 0.0
    for _ in range(_ROUNDS):
        unknowns = Unknowns.of(linear, names)
        place = looks.place + unknowns.shift + bend
        reduced = reduce_normals(place, looks.own, group, unknowns)
        cofactor = patience.heard(np.linalg.inv, reduced.matrix + np.eye(unknowns.count))
        z = cofactor @ reduced.right
        places = reduced.free + reduced.lean @ z
        residual = place + (unknowns.design @ z[unknowns.index][:, :, None])[:, :, 0] - places[group]
        linear = looks.at_residual(np.einsum("nk,nk->n", axes[:, :, 1], residual))
        bend = _bend(linear, unknowns, axes, z, cofactor)
        patience.look()
    shared = reduced.lean @ cofactor
    covariance = reduced.spread + shared @ np.swapaxes(reduced.lean, 1, 2)
    pull = (reduced.weight @ residual[:, :, None])[:, :, 0]
    chi2 = float((residual * pull).sum() + z @ z)
    dof = 2 * (len(looks) - len(places))
    w = _normalised(looks.own, reduced.weight, pull, axes, covariance[group],
                    _gathered(shared, group, unknowns), cofactor, unknowns)
    block = cofactor[np.ix_(unknowns.solved, unknowns.solved)]
    deviation = np.sqrt(np.diag(block))
    step = z[unknowns.solved] * unknowns.sigma
    value = np.where([name == "scale" for name in unknowns.names], unknowns.applied * (1 + step),
                     unknowns.applied + step)
    sigma = deviation * unknowns.sigma * np.where([name == "scale" for name in unknowns.names], unknowns.applied, 1.0)
    low, high = (chi_square_quantile(p, dof) if dof else 0.0 for p in (0.025, 0.975))
    return Adjustment(places, (covariance + np.swapaxes(covariance, 1, 2)) / 2, shared,
                      np.einsum("nkc,nk->nc", axes, residual), w, unknowns.names, unknowns.boats, value, sigma,
                      unknowns.sigma, block / np.outer(deviation, deviation), chi2, dof, low, high, unknowns)


def _bend(looks, unknowns, axes, z, cofactor):
    """(n, 2) m: what turning the beam by its estimated angle does beyond the tangent.

    Targets are placed at side G exp(-s^2 / 2), the mean over the angles that the priors allow; once the angle is known
    to be t with variance v, the mean is side G exp(-v / 2) (cos t along the beam, -sin t across it).
    """
    columns = [PASS_ERRORS.index("heading_deg"), _PASS + OUTING_ERRORS.index("mount_deg")]
    sigma = np.radians(np.column_stack([looks.pass_sigma[:, columns[0]], looks.outing_sigma[:, columns[1] - _PASS]]))
    at = unknowns.index[:, columns]
    solved = np.full(unknowns.count, np.nan)
    solved[unknowns.solved] = np.radians(unknowns.sigma)
    sigma[:, 1] = np.where(np.isnan(solved[at[:, 1]]), sigma[:, 1], solved[at[:, 1]])
    turned = (z[at] * sigma).sum(axis=1)
    left = np.einsum("ni,nij,nj->n", sigma, cofactor[at[:, :, None], at[:, None, :]], sigma)
    known = (np.square(sigma).sum(axis=1) - left) / 2
    reach = looks.side * looks.ground
    return (reach * (np.cos(turned) - 1 + known))[:, None] * axes[:, :, 1] \
        + (reach * (turned - np.sin(turned)))[:, None] * axes[:, :, 0]


def _fan_axes(looks):
    """(n, 2, 2) unit vectors as columns: along track (where a moment is misread) and across it (a range)."""
    fan = np.radians(looks.azimuth_deg + looks.mount_deg)
    return np.stack([np.column_stack([np.sin(fan), np.cos(fan)]), np.column_stack([np.cos(fan), -np.sin(fan)])], axis=2)


def _gathered(shared, group, unknowns):
    """(n, 2, 12) covariance of each look's object with the look's own shared errors."""
    return shared[group[:, None, None], np.arange(2)[None, :, None], unknowns.index[:, None, :]]


def _normalised(own, weight, pull, axes, place_cov, crossed, cofactor, unknowns):
    """Baarda's w of each look for a slip along and across track, c' W v / sqrt(c' W Qvv W c); NaN if uncontrolled."""
    leaning = crossed @ np.swapaxes(unknowns.design, 1, 2)
    inner = cofactor[unknowns.index[:, :, None], unknowns.index[:, None, :]]
    fitted = place_cov - leaning - np.swapaxes(leaning, 1, 2)
    fitted = fitted + unknowns.design @ inner @ np.swapaxes(unknowns.design, 1, 2)
    q = weight @ (own - fitted) @ weight
    variance = np.einsum("nkc,nkl,nlc->nc", axes, q, axes)
    at_most = np.einsum("nkc,nkl,nlc->nc", axes, weight, axes)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(variance > 1e-6 * at_most, np.einsum("nkc,nk->nc", axes, pull) / np.sqrt(variance), np.nan)
