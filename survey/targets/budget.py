"""Error budget of a pick: where it lies, how far off that may be, and why.

A pick lies at ``sample + side G s(heading + mount)``; f and s are the fan's forward and starboard unit vectors. Each
cause moves it by its own small vector, and the causes are independent (JCGM 100, equation 10):

    GNSS                bias, slow drift and jitter per axis, isotropic
    pick time           v + side G ds/dt: the boat and, in a turn, its fan move on
    latency             the same for a course-derived heading; v alone beside a compass
    heading             -side G f, and the lever arm turns with it; mount: -side G f
    lever arm           f and s, isotropic
    slant, depth        through G^2 = R^2 - H^2 (see ``nadir``); an unknown object height acts as depth
    sound speed         side dG/dscale s
    trim                H f
    beam                along the track, footprint / sqrt 12

Errors come in three blocks: **own** (fresh in each pick: jitter, time, readings, beam), **pass** (slow drift, heading)
and **outing** (bias, latency, mount, lever, scale, trim, depth offset). A stated depth sigma is shared equally, by
variance, between the reading (own) and a constant offset (outing).

Angles enter by exact moments: for a beam of length G turned by an angle of standard deviation s the mean lies at
G exp(-s^2/2), with variance G^2 [(1 + exp(-2 s^2)) / 2 - exp(-s^2)] across and G^2 (1 - exp(-2 s^2)) / 2 along.

All of it together is summed in ``spread``; here it is told apart, by cause and by block.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..beams.ranges import shadow_height
from ..uncertainty import nadir
from .covariance import Spread, bed_and_gain, ellipse, motions, to_east_north, total
from .observations import Observations

__all__ = ["CAUSES", "Budget", "Observations", "budget"]

CAUSES = ("position", "heading", "range", "depth", "timing", "beam", "sound", "offsets")
"""What shares are told by, the fields ``pct_<cause>``. ``position``: bias, drift and jitter; ``depth``: its reading and
its offset, and the height of an object without a shadow; ``timing``: pick time and latency; ``offsets``: lever arm,
mount and trim."""


@dataclass
class Budget:
    """(n,) arrays unless said otherwise; metres, true east and north.

    ``ground`` range with its 95 % interval ``low`` to ``high``, and its ``status``, as in ``nadir.GroundRange``;
    ``spread`` covariance and ellipse of all errors; ``centre`` the across-track distance of the ellipse's centre from
    the sample; ``own`` (n, 3): var east, cov, var north of the own block; ``shares`` (n, 8): percent of the total
    variance (trace) by cause, in the order of ``CAUSES``; ``height`` and ``sigma_height`` of objects with a shadow,
    else NaN; ``dg_dscale`` (m) and ``dg_ddepth``: sensitivities of the ground range; ``sigma_scale``; ``sigma_across``
    (m) of the place; ``bent`` True where the heading is so uncertain that the true error region is a crescent rather
    than an ellipse.
    """

    ground: np.ndarray
    low: np.ndarray
    high: np.ndarray
    status: np.ndarray
    spread: Spread
    centre: np.ndarray
    own: np.ndarray
    shares: np.ndarray
    height: np.ndarray
    sigma_height: np.ndarray
    dg_dscale: np.ndarray
    dg_ddepth: np.ndarray
    sigma_scale: np.ndarray
    sigma_across: np.ndarray
    bent: np.ndarray

    @property
    def cov(self):
        """(n, 3) var east, cov, var north of all errors together."""
        return self.spread.cov


def budget(obs, sigmas):
    """Error budget of many picks at once.

    Parameters
    ----------
    obs : Observations
    sigmas : survey.uncertainty.sigmas.Sigmas
        Those that are the same for every pick.

    Returns
    -------
    Budget
    """
    table = obs.tabulate(lambda piece: _of_piece(piece, sigmas))
    (ground, low, high, status, bent, centre, sigma_across, height, sigma_height, dg_dscale, dg_ddepth,
     sigma_scale) = table[:12]
    return Budget(
        ground=ground, low=low, high=high, status=status.astype(int), spread=Spread.of(table[12:18]), centre=centre,
        own=table[18:21].T, shares=table[21:].T, height=height, sigma_height=sigma_height, dg_dscale=dg_dscale,
        dg_ddepth=dg_ddepth, sigma_scale=sigma_scale, sigma_across=sigma_across, bent=bent != 0)


def _of_piece(obs, sigmas):
    """The rows of one piece, in the order in which ``budget`` takes them apart."""
    moves = motions(obs, sigmas)
    along, mixed, across = total(obs, sigmas, moves)
    square, ranges = moves.square, moves.ground_range
    sure = ranges.status != nadir.SIDE_UNSURE
    swung = moves.swing_across + moves.heading2 * np.square(obs.lever_forward)
    gain, percent = sure * ranges.gain, 100 / np.maximum(along + across, 1e-300)
    return (ranges.ground, ranges.low, ranges.high, ranges.status,
            np.square(ranges.ground * moves.turn2) > across - swung,
            moves.reach * np.exp(-0.5 * moves.turn2), np.sqrt(across), *_heights(obs, sigmas, moves.sigma_scale),
            gain * square.d_scale, gain * square.d_depth, moves.sigma_scale, *ellipse(moves, along, mixed, across),
            *to_east_north(moves, *_own(obs, sigmas, moves, sure)),
            *(percent * trace for trace in _traces(obs, sigmas, moves)))


def _traces(obs, sigmas, moves):
    """Variance along and across together, by cause."""
    square, heading2 = moves.square, moves.heading2
    of_range, of_depth, of_height = (first + ~moves.ground_range.linear * second for first, second in
                                     zip((square.by_range, square.by_depth, square.by_height), square.second))
    swing = moves.swing_along + moves.swing_across
    by_heading = heading2 / np.maximum(moves.turn2, 1e-300) * swing
    lever = obs.lever_starboard * (moves.reach + moves.arm) + np.square(obs.lever_forward)
    return (
        2 * (np.square(obs.sigma_bias) + np.square(obs.sigma_pass) + np.square(obs.sigma_jitter)),
        by_heading + heading2 * lever,
        moves.gain2 * of_range,
        moves.gain2 * (of_depth + of_height) + moves.ground_range.hanging_var,
        np.square(obs.sigma_time) * (np.square(moves.ahead) + np.square(moves.aside))
        + sigmas.sigma_latency**2 * (np.square(moves.late_ahead) + np.square(moves.late_aside)),
        moves.beam,
        moves.gain2 * square.by_scale,
        2 * sigmas.sigma_offset**2 + moves.tilt + swing - by_heading)


def _own(obs, sigmas, moves, sure):
    """Variance along, covariance, variance across of what is fresh in each pick.

    Where the side is unsure, so is the sign of what depth and sound speed do: that counts as fresh, too.
    """
    square = moves.square
    jitter, time = np.square(obs.sigma_jitter), np.square(obs.sigma_time)
    constant = square.by_depth / 2 + square.by_scale
    return (jitter + time * np.square(moves.ahead) + moves.beam, time * moves.ahead * moves.aside,
            jitter + time * np.square(moves.aside) + moves.var_ground - sure * moves.gain2 * constant)


def _heights(obs, sigmas, sigma_scale):
    """h = H (Re - Rt) / Re of objects with a shadow, and its standard deviation; NaN elsewhere."""
    if not np.isfinite(obs.shadow_end).any():
        return np.full(len(obs), np.nan), np.full(len(obs), np.nan)
    bed, _ = bed_and_gain(obs)
    height = shadow_height(bed, obs.slant, obs.shadow_end)
    if obs.terrain is not None:  # the bed rises or falls between the object and the end of its shadow
        height = height - np.nan_to_num(obs.terrain.slope * obs.terrain.ground) * (1 - obs.slant / obs.shadow_end)
    by_start, by_end = bed / obs.shadow_end, bed * obs.slant / np.square(obs.shadow_end)
    by_depth = (obs.shadow_end - obs.slant) / obs.shadow_end
    by_scale = np.where(obs.depth_scales, height, 0.0)
    return height, np.sqrt((np.square(by_start) + np.square(by_end)) * sigmas.sigma_range**2
                           + np.square(by_depth * sigmas.sigma_depth) + np.square(by_scale * sigma_scale))
