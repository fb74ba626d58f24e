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
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import nadir
from .ranges import shadow_height

__all__ = ["CAUSES", "Budget", "Sightings", "budget"]

CAUSES = {
    "position": ("bias", "slow", "jitter"), "heading": ("heading",), "range": ("slant",),
    "depth": ("depth", "offset of depth", "height"), "timing": ("time", "latency"), "beam": ("beam",),
    "sound": ("sound speed",), "offsets": ("lever", "mount", "trim"),
}
"""The terms behind each share; the keys are those of the fields ``pct_<cause>``."""

_OWN = ("jitter", "time", "slant", "depth", "height", "beam")

WATER_SIGMAS = 2.0
"""A slant range shorter than the depth by more than this many standard deviations is of something in the water."""


@dataclass
class Sightings:
    """What a pick and its sample say, (n,) arrays in true metres, degrees and seconds.

    ``side`` -1 or +1; ``slant`` to the object, or to the start of its shadow where ``shadow_end`` is not NaN;
    ``depth`` under the transducer; ``azimuth_deg`` of the fan's forward axis from true north; velocity to true east
    and north; ``turn_dps`` positive to starboard; lever arm as applied; ``course_heading`` True where the heading is
    the course; ``depth_scales`` True where the depth came off a sounder, so that it errs with the sound speed as the
    range does; ``ground_reading`` True where a ground range was read; ``sound_speed`` of the water (m/s). Then the
    sigmas that differ from pick to pick: ``bias``, ``slow``, ``jitter`` (m), ``sigma_heading`` (degrees),
    ``sigma_time`` (s). ``terrain`` is None, or a ``nadir.TerrainGround`` from a depth grid.
    """

    side: np.ndarray
    slant: np.ndarray
    shadow_end: np.ndarray
    depth: np.ndarray
    azimuth_deg: np.ndarray
    vel_east: np.ndarray
    vel_north: np.ndarray
    turn_dps: np.ndarray
    lever_forward: np.ndarray
    lever_starboard: np.ndarray
    course_heading: np.ndarray
    depth_scales: np.ndarray
    ground_reading: np.ndarray
    sound_speed: np.ndarray
    bias: np.ndarray
    slow: np.ndarray
    jitter: np.ndarray
    sigma_heading: np.ndarray
    sigma_time: np.ndarray
    terrain: object = None

    def __len__(self):
        return len(self.side)


@dataclass
class Budget:
    """(n,) arrays unless said otherwise; metres, true east and north.

    ``found`` the ground ranges (``nadir.GroundRange``); ``centre`` the across-track distance of the ellipse's centre
    from the sample; ``cov`` and ``own`` (n, 3): var east, cov, var north of all errors and of the own block;
    ``shares`` (n, 8): percent of the total variance (trace) by cause, in the order of ``CAUSES``; ``height`` and
    ``sigma_height`` of objects with a shadow, else NaN; ``dg_dscale`` (m) and ``dg_ddepth``: sensitivities of the
    ground range; ``sigma_scale``; ``sigma_across`` (m) of the place; ``bent`` True where the heading is so
    uncertain that the true error region is a crescent rather than an ellipse.
    """

    found: nadir.GroundRange
    centre: np.ndarray
    cov: np.ndarray
    own: np.ndarray
    shares: np.ndarray
    height: np.ndarray
    sigma_height: np.ndarray
    dg_dscale: np.ndarray
    dg_ddepth: np.ndarray
    sigma_scale: np.ndarray
    sigma_across: np.ndarray
    bent: np.ndarray


@dataclass
class _Square:
    """q = G^2 (m2), its change for a unit of depth or scale, and its variance by cause, first and second order (m4)."""

    q: np.ndarray
    d_depth: np.ndarray
    d_scale: np.ndarray
    range_first: np.ndarray
    range_second: np.ndarray
    depth_first: np.ndarray
    depth_second: np.ndarray
    height_first: np.ndarray
    height_second: np.ndarray
    mean_shift: np.ndarray

    def variance(self, sigma_scale):
        """Of q, m4, to second order."""
        return (self.range_first + self.range_second + self.depth_first + self.depth_second + self.height_first
                + self.height_second + np.square(self.d_scale * sigma_scale))


def budget(seen, sigmas):
    """Error budget of many picks at once.

    Parameters
    ----------
    seen : Sightings
    sigmas : survey.sigmas.Sigmas
        Those that are the same for every pick.

    Returns
    -------
    Budget
    """
    sigma_scale = sigmas.sound_speed / seen.sound_speed
    square = _square(seen, sigmas)
    found = nadir.from_square(square.q, square.mean_shift, square.variance(sigma_scale))
    hanging = seen.depth - seen.slant > WATER_SIGMAS * np.hypot(sigmas.range, sigmas.depth)
    if seen.terrain is not None:
        _terrain_limits(found, seen)
        hanging &= np.isnan(seen.terrain.ground)  # on a bank the bottom is nearer than under the boat
    nadir.hang_in_water(found, seen.slant, hanging)
    ranging = _ranging(found, square, sigma_scale)
    swing = np.square(np.radians(seen.sigma_heading)), np.radians(sigmas.mount) ** 2
    terms = {**ranging, **_swinging(seen, found.ground, sum(v[2] for v in ranging.values()), *swing),
             **_moving(seen, sigmas, found.ground)}
    total = _summed(terms.values())
    percent = 100 / np.maximum(total[0] + total[2], 1e-300)
    shares = [sum(terms[name][0] + terms[name][2] for name in names) * percent for names in CAUSES.values()]
    height, sigma_height = _heights(seen, sigmas, sigma_scale)
    sure = found.status != nadir.SIDE_UNSURE
    apart = _summed([terms[name] for name in _OWN])
    apart[2] += ~sure * (terms["offset of depth"][2] + terms["sound speed"][2])
    swing = sum(swing)
    rest = total[2] - terms["heading"][2] - terms["mount"][2]
    cov, own = _to_east_north((total, apart), seen.azimuth_deg)
    return Budget(
        found=found, centre=seen.side * found.ground * np.exp(-swing / 2), cov=cov, own=own, shares=np.array(shares).T,
        height=height, sigma_height=sigma_height, dg_dscale=sure * found.gain * square.d_scale,
        dg_ddepth=sure * found.gain * square.d_depth, sigma_scale=sigma_scale,
        sigma_across=np.sqrt(total[2]), bent=np.square(found.ground * swing) > rest)


def _square(seen, sigmas):
    """G^2 with its sensitivities: without a shadow R^2 - H^2, with one (Rt/Re)^2 (Re^2 - H^2).

    A shadow ends where the sight line over the object's top meets the bed, so on terrain, too, the top lies Rt/Re of
    the way to that place.
    """
    shadow = np.isfinite(seen.shadow_end)
    slant, depth = seen.slant, seen.depth
    end, ratio2, height = slant, 1.0, sigmas.height
    if shadow.any():
        end = np.where(shadow, seen.shadow_end, slant)
        ratio2, height = np.square(slant / end), np.where(shadow, 0.0, height)
    q = ratio2 * (end - depth) * (end + depth)
    bed, terrain = _terrain_gain(seen)
    d_depth = -2 * bed * ratio2 * terrain
    if seen.terrain is not None:
        q = np.where(np.isfinite(seen.terrain.ground), ratio2 * np.square(seen.terrain.ground), q)
    range2 = np.square(2 * slant * terrain)
    if shadow.any():
        by_end = 2 * ratio2 * end * terrain - 2 * q / end
        range2 = np.where(shadow, np.square(2 * q / slant) + np.square(by_end), range2)
    reading2 = sigmas.range**2
    if seen.ground_reading.any():  # read off a corrected record: its error is that of G itself
        reading2 = np.where(seen.ground_reading, np.maximum(q, 0) / np.square(slant), 1.0) * reading2
    var_depth, var_height, depth2 = sigmas.depth**2, height**2, np.square(d_depth)
    return _Square(
        q=q, d_depth=d_depth, d_scale=np.where(seen.depth_scales, 2 * q, 2 * np.square(slant)) * terrain,
        range_first=range2 * reading2, range_second=2 * reading2**2,
        depth_first=depth2 * var_depth, depth_second=2 * (ratio2 * var_depth) ** 2,
        height_first=depth2 * var_height, height_second=2 * var_height**2 + 4 * var_height * var_depth,
        mean_shift=reading2 - ratio2 * (var_depth + var_height))


def _terrain_gain(seen):
    """Depth of the bed at the object or its shadow's end, and dG/dR over its flat value: G / (G + z dz/dG).

    From R^2 = G^2 + z(G)^2. Where the bed rises so steeply that the slant range hardly grows, the gain is held at 10.
    """
    if seen.terrain is None:
        return seen.depth, 1.0
    ground, bed, slope = seen.terrain.ground, seen.terrain.depth, seen.terrain.slope
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = ground / np.maximum(ground + bed * slope, ground / 10)
    known = np.isfinite(gain)
    return np.where(known, bed, seen.depth), np.where(known, gain, 1.0)


def _terrain_limits(found, seen):
    """Where the beam meets the bed more than once at this slant range, the interval takes in every meeting."""
    terrain = seen.terrain
    many, off = terrain.status == "ambiguous", terrain.status == "off grid"
    ratio = np.where(np.isfinite(seen.shadow_end), seen.slant / seen.shadow_end, 1.0)[many]
    near, far = terrain.low[many] * ratio, terrain.high[many] * ratio
    found.low[many], found.high[many] = np.minimum(found.low[many], near), np.maximum(found.high[many], far)
    found.ground[many] = (found.low[many] + found.high[many]) / 2
    found.hanging_var[many] = np.square((far - near) / (2 * nadir.Z95))
    found.status[many], found.status[off] = nadir.AMBIGUOUS, nadir.OFF_GRID


def _summed(terms):
    """[variance along, covariance, variance across] of independent causes."""
    return [sum(parts) for parts in zip(*terms)]


def _spread(along, across, variance):
    """(variance along, covariance, variance across) of a cause that moves the place by (along, across) a unit."""
    return along * along * variance, along * across * variance, across * across * variance


def _ranging(found, square, sigma_scale):
    """What reaches the place through the ground range alone, across the track."""
    first, second = np.square(found.gain), np.where(found.linear, 0.0, np.square(found.gain))
    return {
        "slant": (0.0, 0.0, first * square.range_first + second * square.range_second),
        "depth": (0.0, 0.0, first * square.depth_first / 2 + second * square.depth_second),
        "offset of depth": (0.0, 0.0, first * square.depth_first / 2),
        "height": (0.0, 0.0, first * square.height_first + second * square.height_second + found.hanging_var),
        "sound speed": (0.0, 0.0, first * np.square(square.d_scale * sigma_scale)),
    }


def _swinging(seen, ground, var_ground, heading2, mount2):
    """What turns the beam, by exact moments; the heading turns the lever arm with it.

    E[G^2] = G^2 + var_ground counts along the track; var_ground itself stands with its own causes.
    """
    angle2 = heading2 + mount2
    once = np.exp(-angle2)
    half = (1 - once * once) / 2
    ground2 = np.square(ground)
    along = (ground2 + var_ground) * half
    across = ground2 * (1 - half - once) - var_ground * half
    share = heading2 / np.maximum(angle2, 1e-300)
    reach = seen.side * ground
    arm = reach + seen.lever_starboard
    heading = (share * along + heading2 * (arm * arm - reach * reach), -heading2 * arm * seen.lever_forward,
               share * across + heading2 * np.square(seen.lever_forward))
    return {"heading": heading, "mount": ((1 - share) * along, 0.0, (1 - share) * across)}


def _moving(seen, sigmas, ground):
    """What moves the sample, or tilts or widens the fan."""
    a = np.radians(seen.azimuth_deg)
    along = seen.vel_east * np.sin(a) + seen.vel_north * np.cos(a)
    across = seen.vel_east * np.cos(a) - seen.vel_north * np.sin(a)
    reach, turn = seen.side * ground, np.radians(seen.turn_dps)
    follows = np.where(seen.course_heading, turn, 0.0)
    footprint = 2 * seen.slant * np.tan(np.radians(sigmas.beam_width) / 2)
    round_ = {"bias": seen.bias, "slow": seen.slow, "jitter": seen.jitter, "lever": sigmas.offset}
    return {
        **{name: (sigma * sigma, 0.0, sigma * sigma) for name, sigma in round_.items()},
        "time": _spread(along - reach * turn, across, np.square(seen.sigma_time)),
        "latency": _spread(along - (reach + seen.lever_starboard) * follows, across + seen.lever_forward * follows,
                           sigmas.latency**2),
        "trim": _spread(seen.depth, 0.0, np.radians(sigmas.trim) ** 2),
        "beam": _spread(footprint, 0.0, 1 / 12),
    }


def _to_east_north(planes, azimuth_deg):
    """(n, 3) var east, cov, var north of each of what is given along f = (sin, cos) and across s = (cos, -sin)."""
    twice = np.radians(2 * azimuth_deg)
    sin_2a, cos_2a = np.sin(twice), np.cos(twice)
    turned = []
    for along, mixed, across in planes:
        middle, half = (along + across) / 2, (along - across) / 2
        lean = half * cos_2a - mixed * sin_2a
        turned.append(np.array([middle - lean, half * sin_2a + mixed * cos_2a, middle + lean]).T)
    return turned


def _heights(seen, sigmas, sigma_scale):
    """h = H (Re - Rt) / Re of objects with a shadow, and its standard deviation; NaN elsewhere."""
    if not np.isfinite(seen.shadow_end).any():
        return np.full(len(seen), np.nan), np.full(len(seen), np.nan)
    bed, _ = _terrain_gain(seen)
    height = shadow_height(bed, seen.slant, seen.shadow_end)
    if seen.terrain is not None:  # the bed rises or falls between the object and the end of its shadow
        height = height - np.nan_to_num(seen.terrain.slope * seen.terrain.ground) * (1 - seen.slant / seen.shadow_end)
    by_start, by_end = bed / seen.shadow_end, bed * seen.slant / np.square(seen.shadow_end)
    by_depth = (seen.shadow_end - seen.slant) / seen.shadow_end
    by_scale = np.where(seen.depth_scales, height, 0.0)
    return height, np.sqrt((np.square(by_start) + np.square(by_end)) * sigmas.range**2
                           + np.square(by_depth * sigmas.depth) + np.square(by_scale * sigma_scale))
