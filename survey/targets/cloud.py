"""How far off picks on a depth grid may be: a cloud of boats, each with its own beam over the grid.

On uneven ground an error of the boat's position is more than a shift of the place: the beam then meets other ground.
Where the bottom rises outward as fast as the slant range grows, a metre of position becomes many; beyond a brink the
beam may meet several grounds. Straight lines through one place of the grid know nothing of that: ellipses of 95 % then
hold fewer, the fewer the steeper (`make proof`). So the errors of the budget are drawn: 64 boats round the recorded
one, with the covariance that a flat bottom gives the place, range and depth that err as they may, and objects that
stand up from the bottom as high as they may. Every ground that a beam sees at its slant range counts as much as bottom
there shares that range, R / |G + z dz/dG|: objects lie anywhere on the bottom, not anywhere on the record.

The points have the mean and covariance of the errors exactly, so that on an even bottom the closed form comes out.
"""
from __future__ import annotations

from statistics import NormalDist

import numpy as np

from ..bottom.terrain import PickErrors
from ..model.constants import TWO_SIDED_95
from ..uncertainty import nadir
from .budget import Budget
from .covariance import HALF_NORMAL_MEAN, Spread, ellipse, motions, open_shadow, to_east_north, total

__all__ = ["POINTS", "with_cloud"]

POINTS = 64
_FEW = 6.0
"""Where fewer draws than this carry the weight, the closed form's spread holds if it is larger."""


def _points(count=POINTS, seed=20):
    """(count, 4) draws in antithetic pairs, mean 0 and covariance the unit matrix exactly; (count,) of how high objects
    stand, half-normal in units of its size, the same in both of a pair and so correlated with none of the rest."""
    rng = np.random.default_rng(seed)
    half = rng.normal(size=(count // 2, 4))
    half = half @ np.linalg.inv(np.linalg.cholesky(half.T @ half / len(half))).T
    normal = NormalDist()
    heights = np.array([normal.inv_cdf(0.5 + (i + 0.5) / count) for i in range(count // 2)])
    heights = rng.permutation(heights / heights.mean() * HALF_NORMAL_MEAN)
    return np.concatenate([half, -half]), np.concatenate([heights, heights])


def with_cloud(obs, errors, sigmas, frames, beams, sample, cloud):
    """A budget whose picks on the depth grid have the centre and spread of their cloud.

    Parameters
    ----------
    obs : survey.targets.observations.Observations
        With ``terrain``; where it knows no ground and the cloud does, the cloud's is put in.
    errors : survey.targets.budget.Budget
        From closed forms; not changed.
    sigmas : survey.uncertainty.sigmas.Sigmas
    frames : list of (Frame, (k,) indices)
    beams : callable
        ``beams(frame, index)`` -> east, north (k,) of the samples and (k, 2) unit vectors of the beams, frame metres.
    sample : (n,) int array
        Sample of each pick.
    cloud : callable
        ``terrain.GroundOn.cloud``.

    Returns
    -------
    survey.targets.budget.Budget
        ``own`` has what the spread grew by: errors that ground adds are fresh in each pick. ``shares`` stay those of
        the closed form.
    """
    known = np.isfinite(obs.slant) & (errors.status != nadir.WATER_COLUMN) & (errors.status != nadir.OFF_GRID)
    out = Budget(**{name: getattr(errors, name) for name in errors.__dataclass_fields__})
    out.ground, out.low, out.high, out.centre, out.own, out.sigma_across = (
        values.copy() for values in (errors.ground, errors.low, errors.high, errors.centre, errors.own,
                                     errors.sigma_across))
    spread = errors.spread
    rows = np.vstack([spread.cov.T, spread.semi_major, spread.semi_minor, spread.azimuth_deg])
    for frame, members in frames:
        index = members[known[members]]
        if len(index):
            met = _of_frame(obs.take(index), index, out, rows, sigmas, beams(frame, index), frame, sample[index],
                            cloud)
            only = index[met & np.isnan(obs.terrain.ground[index])]
            obs.terrain.ground[only] = out.ground[only]
    out.spread = Spread.of(rows)
    return out


def _of_frame(obs, index, out, rows, sigmas, beams, frame, sample, cloud):
    """Fill in the picks at ``index``, which ``obs`` holds; (k,) bool, those whose cloud met ground."""
    moves = motions(obs, sigmas)
    along, mixed, across = total(obs, sigmas, moves)
    shadow = np.isfinite(obs.shadow_end)
    reach = np.where(shadow, obs.shadow_end, obs.slant)
    shares = np.where(shadow, obs.slant / reach, 1.0)
    flat = np.maximum(across - moves.var_ground, 0.0)
    ahead = np.sqrt(along)
    lean = np.where(ahead > 0, mixed / np.maximum(ahead, 1e-12), 0.0)
    points, standing = _points()
    shift_ahead = ahead[:, None] * points[:, 0]
    shift_out = obs.side[:, None] * (lean[:, None] * points[:, 0]
                                      + np.sqrt(np.maximum(flat - lean**2, 0))[:, None] * points[:, 1])
    by_range = np.hypot(sigmas.sigma_range, moves.sigma_scale * reach)
    by_range = np.where(obs.ground_reading, np.hypot(sigmas.sigma_range * moves.ground_range.ground / reach,
                                                      moves.sigma_scale * reach), by_range)
    height = np.where(shadow & ~open_shadow(obs), 0.0, sigmas.sigma_height)
    pick, draw, ground, weight = cloud(
        frame, *beams, reach, obs.depth, sample,
        PickErrors(shift_out, obs.side[:, None] * shift_ahead, by_range[:, None] * points[:, 2],
                   sigmas.sigma_depth * points[:, 3] - height[:, None] * standing))
    count = len(index)
    whole = np.bincount(pick, weight, count)
    met = whole > 0
    share = weight / np.maximum(whole[pick], 1e-300)

    def mean(values):
        return np.bincount(pick, share * values, count)
    ground = ground * shares[pick]
    place, aside = shift_out[pick, draw] + ground, shift_ahead[pick, draw]
    middle, reached = mean(place), mean(ground)
    unsure = moves.ground_range.status == nadir.SIDE_UNSURE
    centre = np.where(unsure, 0.0, middle)
    reading = np.where(shadow, np.square(reached / obs.slant * sigmas.sigma_range), 0.0)  # of the shadow's start
    new = (mean(np.square(aside)), obs.side * mean((place - centre[pick]) * aside),
           mean(np.square(place - centre[pick])) + reading)
    few = met & (1 / np.maximum(np.bincount(pick, share**2, count), 1e-300) < _FEW)
    met &= ~few | (new[0] + new[2] > along + across)
    new = [np.where(met, mine, old) for mine, old in zip(new, (along, mixed, across))]
    grown = [mine - old for mine, old in zip(to_east_north(moves, *new), to_east_north(moves, along, mixed, across))]
    out.own[index] += _positive(*grown)
    out.centre[index] += np.where(met & ~unsure, obs.side * (centre - moves.ground_range.ground), 0.0)
    out.ground[index] = np.where(met, centre, out.ground[index])
    half = TWO_SIDED_95 * np.sqrt(np.maximum(mean(np.square(ground)) - np.square(reached), 0) + reading)
    many = moves.ground_range.status == nadir.AMBIGUOUS
    low, high = np.maximum(reached - half, 0.0), reached + half
    out.low[index] = np.where(met, np.where(many, np.minimum(low, out.low[index]), low), out.low[index])
    out.high[index] = np.where(met, np.where(many, np.maximum(high, out.high[index]), high), out.high[index])
    out.sigma_across[index] = np.sqrt(new[2])
    rows[:, index] = ellipse(moves, *new)
    return met


def _positive(ee, en, nn):
    """(n, 3) the part of symmetrical matrices that is not negative."""
    values, vectors = np.linalg.eigh(np.stack([np.stack([ee, en], axis=-1), np.stack([en, nn], axis=-1)], axis=-1))
    kept = np.einsum("nik,nk,njk->nij", vectors, np.maximum(values, 0), vectors)
    return np.stack([kept[:, 0, 0], kept[:, 0, 1], kept[:, 1, 1]], axis=1)
