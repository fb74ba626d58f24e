"""How far off picks may be, all causes together: covariances and ellipses in closed form.

Every cause moves a pick along and across the fan (``budget`` says how and why). Variances are added up in those two
directions and turned to east and north once.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model.constants import TWO_SIDED_95
from ..uncertainty import ellipses, nadir

__all__ = ["Motions", "Spread", "Square", "WATER_SIGMAS", "bed_and_gain", "ellipse", "motions", "open_shadow",
           "spread", "standing", "to_east_north", "total"]

WATER_SIGMAS = 2.0
"""A slant range shorter than the depth by more than an object stands, and this many standard deviations, is of
something in the water."""

HALF_NORMAL_MEAN, HALF_NORMAL_VAR = np.sqrt(2 / np.pi), 1 - 2 / np.pi
"""Of the absolute value of a standard normal (Leone, Nelson and Nottingham, Technometrics 3, 1961)."""

_RADIAN = np.pi / 180


@dataclass
class Spread:
    """(n,) arrays, metres; east and north are true.

    ``cov`` (n, 3): var east, cov, var north; ``semi_major``, ``semi_minor`` at one standard deviation, ``azimuth_deg``
    of the major axis as in ``ellipses.axes``.
    """

    cov: np.ndarray
    semi_major: np.ndarray
    semi_minor: np.ndarray
    azimuth_deg: np.ndarray

    @classmethod
    def of(cls, rows):
        """From six rows: var east, cov, var north, axes, azimuth."""
        return cls(rows[:3].T, *rows[3:])


@dataclass
class Square:
    """q = G^2 (m2), its change for a unit of depth or scale, and its variance (m4): of first order by cause,
    ``second`` what the second order adds by range, depth and height; ``mean_shift`` what expectation adds to q."""

    q: np.ndarray
    d_depth: np.ndarray
    d_scale: np.ndarray
    by_range: np.ndarray
    by_depth: np.ndarray
    by_height: np.ndarray
    by_scale: np.ndarray
    second: tuple
    mean_shift: np.ndarray


@dataclass
class Motions:
    """How the causes move each of (n,) picks.

    ``ground_range`` and ``square``: that of the place and its square; ``gain2`` variance of the range for a unit of
    variance of q; ``var_ground`` (m2); ``sin``, ``cos`` of the fan's azimuth; ``reach`` starboard of the sample (m),
    ``arm`` of the antenna; ``ahead``, ``aside`` what a second of pick time moves, ``late_ahead``, ``late_aside`` a
    second of latency (m); ``heading2``, ``turn2`` variances of the heading, and of heading and mount (rad2);
    ``swing_along``, ``swing_across`` what such turning gives the place, E[G^2] = G^2 + var_ground counting along the
    track and var_ground itself standing with its own causes; ``tilt``, ``beam`` variances along (m2) by trim and
    footprint.
    """

    square: Square
    ground_range: nadir.GroundRange
    sigma_scale: np.ndarray
    gain2: np.ndarray
    var_ground: np.ndarray
    sin: np.ndarray
    cos: np.ndarray
    reach: np.ndarray
    arm: np.ndarray
    ahead: np.ndarray
    aside: np.ndarray
    late_ahead: np.ndarray
    late_aside: np.ndarray
    heading2: np.ndarray
    turn2: np.ndarray
    swing_along: np.ndarray
    swing_across: np.ndarray
    tilt: np.ndarray
    beam: np.ndarray


def spread(obs, sigmas):
    """Covariance and ellipse of many picks at once, all causes together.

    Parameters
    ----------
    obs : Observations
    sigmas : survey.uncertainty.sigmas.Sigmas
        Those that are the same for every pick.

    Returns
    -------
    Spread
        The same as ``budget.budget`` gives, without its causes and blocks.
    """
    return Spread.of(obs.tabulate(lambda piece: _of_piece(piece, sigmas)))


def _of_piece(obs, sigmas):
    moves = motions(obs, sigmas, interval=False)
    return ellipse(moves, *total(obs, sigmas, moves))


def ellipse(moves, along, mixed, across):
    """The six rows of ``Spread.of``, from variances and covariance along and across the fan."""
    cov = to_east_north(moves, along, mixed, across)
    return *cov, *ellipses.axes(*cov)


def to_east_north(moves, along, mixed, across):
    """Var east, cov, var north of what is given along f = (sin, cos) and across s = (cos, -sin)."""
    sin_2a, cos_2a = 2 * moves.sin * moves.cos, 1 - 2 * moves.sin * moves.sin
    middle, half = 0.5 * (along + across), 0.5 * (along - across)
    lean = half * cos_2a - mixed * sin_2a
    return middle - lean, half * sin_2a + mixed * cos_2a, middle + lean


def total(obs, sigmas, moves):
    """Variance along, covariance, variance across of all causes together: the sum of what ``budget`` tells apart."""
    even = ((np.square(obs.sigma_bias) + sigmas.sigma_offset**2) + np.square(obs.sigma_pass)
            + np.square(obs.sigma_jitter))
    time, late = np.square(obs.sigma_time), sigmas.sigma_latency**2
    slid, slipped = time * moves.aside, late * moves.late_aside
    turned = moves.heading2 * obs.lever_forward
    along = (even + time * moves.ahead * moves.ahead + late * moves.late_ahead * moves.late_ahead + moves.tilt
             + moves.beam + moves.swing_along + moves.heading2 * obs.lever_starboard * (moves.reach + moves.arm))
    mixed = slid * moves.ahead + slipped * moves.late_ahead - turned * moves.arm
    across = (even + slid * moves.aside + slipped * moves.late_aside + moves.var_ground + moves.swing_across
              + turned * obs.lever_forward)
    return along, mixed, across


def motions(obs, sigmas, interval=True):
    """How each cause moves each pick, see ``Motions``."""
    sigma_scale = sigmas.sigma_sound_speed / obs.sound_speed
    square = _square(obs, sigmas, sigma_scale)
    second = sum(square.second)
    var_q = square.by_range + square.by_depth + square.by_height + square.by_scale + second
    ranges = nadir.from_square(square.q, square.mean_shift, var_q, interval or obs.terrain is not None, obs.side != 0)
    high = standing(sigmas.sigma_height) + WATER_SIGMAS * np.sqrt(
        sigmas.sigma_range**2 + sigmas.sigma_depth**2 + HALF_NORMAL_VAR * sigmas.sigma_height**2)
    hanging = obs.slant < obs.depth - high
    if obs.terrain is not None:
        _terrain_limits(ranges, obs)
        hanging &= np.isnan(obs.terrain.ground)  # on a bank the bottom is nearer than under the boat
    nadir.hang_in_water(ranges, obs.slant, hanging)
    gain2 = np.square(ranges.gain)
    var_ground = gain2 * (var_q - second * ranges.linear) + ranges.hanging_var
    a, turn = _RADIAN * obs.azimuth_deg, _RADIAN * obs.turn_dps
    sin, cos = np.sin(a), np.cos(a)
    along, across = obs.vel_east * sin + obs.vel_north * cos, obs.vel_east * cos - obs.vel_north * sin
    reach = obs.side * ranges.ground
    arm, follows = reach + obs.lever_starboard, turn * obs.course_heading
    heading2 = np.square(_RADIAN * obs.sigma_heading)
    turn2 = heading2 + (_RADIAN * sigmas.sigma_mount) ** 2
    shrunk = -np.expm1(-turn2)
    bend = 0.5 * np.square(shrunk)  # (1 + exp(-2 s^2)) / 2 - exp(-s^2)
    swing, ground2 = shrunk - bend, np.square(ranges.ground)  # (1 - exp(-2 s^2)) / 2
    return Motions(
        square=square, ground_range=ranges, sigma_scale=sigma_scale, gain2=gain2, var_ground=var_ground, sin=sin,
        cos=cos, reach=reach, arm=arm, ahead=along - reach * turn, aside=across, late_ahead=along - arm * follows,
        late_aside=across + obs.lever_forward * follows, heading2=heading2, turn2=turn2,
        swing_along=swing * (ground2 + var_ground), swing_across=bend * ground2 - swing * var_ground,
        tilt=(_RADIAN * sigmas.sigma_trim) ** 2 * np.square(obs.depth),
        beam=np.tan(_RADIAN * sigmas.beam_width / 2) ** 2 / 3 * np.square(obs.slant))


def _square(obs, sigmas, sigma_scale):
    """G^2 with its sensitivities: without a shadow R^2 - H^2, with one (Rt/Re)^2 (Re^2 - H^2).

    A shadow ends where the sight line over the object's top meets the bed, so on terrain, too, the top lies Rt/Re of
    the way to that place. Objects only stand up: an unknown height is half-normal, so that the echo came from ``lift``
    above the bed, give or take; above the height that an open shadow shows.
    """
    shadow = np.isfinite(obs.shadow_end)
    slant, depth = obs.slant, obs.depth
    end, ratio2, height = slant, 1.0, sigmas.sigma_height
    if shadow.any():
        end = np.where(shadow, obs.shadow_end, slant)
        ratio2, height = np.square(slant / end), np.where(shadow & ~open_shadow(obs), 0.0, height)
    q = (end - depth) * (end + depth)
    if shadow.any():
        q *= ratio2
    bed, terrain = bed_and_gain(obs)
    d_depth = -2 * ratio2 * terrain * bed
    if obs.terrain is not None:
        q = np.where(np.isfinite(obs.terrain.ground), ratio2 * np.square(obs.terrain.ground), q)
    lift, top = standing(height), np.sqrt(ratio2) * bed
    q = q + terrain * lift * (2 * top - lift)
    d_height = 2 * terrain * (top - lift)
    d_depth = d_depth + 2 * terrain * np.sqrt(ratio2) * lift
    slant2 = np.square(slant)
    range2 = 4 * terrain**2 * slant2
    if shadow.any():
        by_end = 2 * ratio2 * end * terrain - 2 * q / end
        range2 = np.where(shadow, np.square(2 * q / slant) + np.square(by_end), range2)
    reading2 = sigmas.sigma_range**2
    if obs.ground_reading.any():  # read off a corrected record: its error is that of G itself
        reading2 = np.where(obs.ground_reading, np.maximum(q, 0) / slant2, 1.0) * reading2
    var_depth, var_height = sigmas.sigma_depth**2, np.square(height) * HALF_NORMAL_VAR
    d_scale = 2 * terrain * np.where(obs.depth_scales, q - terrain * lift * (top - lift), slant2)
    return Square(
        q=q, d_depth=d_depth, d_scale=d_scale, by_range=reading2 * range2, by_depth=var_depth * np.square(d_depth),
        by_height=var_height * np.square(d_height), by_scale=np.square(d_scale * sigma_scale),
        second=(2 * reading2**2, 2 * (ratio2 * var_depth) ** 2, 2 * var_height**2 + 4 * var_height * var_depth),
        mean_shift=reading2 - ratio2 * (var_depth + var_height))


def standing(sigma):
    """How high an object of unknown height stands, on average (m): the mean of a half-normal of this size.

    Examples
    --------
    >>> from athwart.targets.covariance import standing
    >>> float(round(standing(0.5), 3))  # sqrt(2 / pi) of it
    0.399
    """
    return HALF_NORMAL_MEAN * sigma


def open_shadow(obs):
    """Where the shadow runs off the record, so that it shows the least height only."""
    return np.zeros(len(obs), bool) if obs.open_shadow is None else obs.open_shadow


def bed_and_gain(obs):
    """Depth of the bed at the object or its shadow's end, and dG/dR over its flat value: G / (G + z dz/dG).

    From R^2 = G^2 + z(G)^2. Where the bed rises so steeply that the slant range hardly grows, the gain is held at 10.
    """
    if obs.terrain is None:
        return obs.depth, 1.0
    ground, bed, slope = obs.terrain.ground, obs.terrain.depth, obs.terrain.slope
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = ground / np.maximum(ground + bed * slope, ground / 10)
    known = np.isfinite(gain)
    return np.where(known, bed, obs.depth), np.where(known, gain, 1.0)


def _terrain_limits(ranges, obs):
    """Where the beam meets the bed more than once at this slant range, the interval takes in every meeting."""
    terrain = obs.terrain
    many, off = terrain.status == "ambiguous", terrain.status == "off grid"
    ratio = np.where(np.isfinite(obs.shadow_end), obs.slant / obs.shadow_end, 1.0)[many]
    near, far = terrain.low[many] * ratio, terrain.high[many] * ratio
    ranges.low[many], ranges.high[many] = np.minimum(ranges.low[many], near), np.maximum(ranges.high[many], far)
    ranges.ground[many] = (ranges.low[many] + ranges.high[many]) / 2
    ranges.hanging_var[many] = np.square((far - near) / (2 * TWO_SIDED_95))
    ranges.status[many], ranges.status[off] = nadir.AMBIGUOUS, nadir.OFF_GRID
