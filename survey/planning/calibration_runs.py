"""Runs past known objects, and what each of them would tell of the boat's offsets, before anybody drives.

A run is a straight line at a steady speed that passes an object at a chosen distance on a chosen side; other objects
that it shows on its way count, too. What a look is worth is what the error budget of targets says of it, and how it
leans on the offsets is what the adjustment of repeated looks takes: so the plan speaks of the same sigmas as they will.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..adjustment.looks import OUTING_ERRORS, PASS_ERRORS, RepeatedLooks
from ..beams.ranges import blind_range, ground_range
from ..model.constants import SOUND_SPEED_FOR_ERRORS_MPS
from ..model.errors import InputError
from ..targets.budget import budget
from ..targets.covariance import standing
from ..targets.observations import Observations

__all__ = ["NEAREST_DEPTHS", "Run", "candidate_runs", "information", "predicted_looks"]

NEAREST_DEPTHS = 1.2
"""An object passed nearer than this many depths is placed badly: its ground range is not linear in the slant."""

_NEAR, _FAR = 0.3, 0.75
_QUARTERS = (0, 180, 90, 270)


@dataclass(frozen=True)
class Run:
    """``start``, ``end``: frame metres, in the direction of the run; ``azimuth_deg`` of the grid; ``speed_mps``;
    ``objects``: numbers of the objects it shows; ``side`` (-1 port, +1 starboard) and ``ground`` (m) of each."""

    start: tuple
    end: tuple
    azimuth_deg: float
    speed_mps: float
    objects: tuple
    side: tuple
    ground: tuple

    @property
    def length(self):
        """m"""
        return math.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1])


def candidate_runs(objects, depth_m, range_m, speeds_mps, base_deg=0.0, lead_m=40.0, blind_deg=20.0, is_clear=None):
    """Runs to choose from: both ways along two axes, each side of each object, near and far, at each speed.

    Parameters
    ----------
    objects : (k, 2) array, frame metres
    depth_m : (k,) array, m
        Water under the transducer at each.
    range_m : float, m
    speeds_mps : sequence of float
    base_deg : float
        Grid azimuth of the first axis; the other is at right angles to it.
    lead_m : float
        Way made straight before the first and after the last object.
    blind_deg : float
    is_clear : callable, optional
        ``is_clear(starts, ends)``, (n, 2) arrays -> (n,) bool: the boat can run there. None: everywhere.

    Returns
    -------
    list of Run
    """
    reach = ground_range(range_m, depth_m)
    near = np.maximum(blind_range(depth_m, blind_deg), NEAREST_DEPTHS * depth_m)
    far = 0.95 * reach
    if not (far > near).any():
        raise InputError(f"A range of {range_m:g} m does not show an object in {np.nanmin(depth_m):g} m of water from "
                         "a good distance; give a range of at least three times the depth.", field="range_m")
    found = []
    for azimuth in (base_deg + np.array(_QUARTERS)) % 360:
        a = math.radians(azimuth)
        ahead, right = np.array([math.sin(a), math.cos(a)]), np.array([math.cos(a), -math.sin(a)])
        along, across = objects @ ahead, objects @ right
        for focus in np.flatnonzero(far > near):
            for distance in np.unique([max(near[focus], _NEAR * reach[focus]), max(near[focus], _FAR * reach[focus])]):
                for side in (-1, 1):
                    offset = across - (across[focus] - side * distance)
                    seen = np.flatnonzero((np.abs(offset) >= near) & (np.abs(offset) <= far))
                    first, last = along[seen].min() - lead_m, along[seen].max() + lead_m
                    at = (across[focus] - side * distance) * right
                    found += [Run(tuple(first * ahead + at), tuple(last * ahead + at), float(azimuth), float(speed),
                                  tuple(seen.tolist()), tuple(np.sign(offset[seen]).tolist()),
                                  tuple(np.abs(offset[seen]).tolist())) for speed in speeds_mps]
    found = list({_key(run): run for run in found}.values())  # two objects abreast give the same run twice
    if is_clear is None or not found:
        return found
    clear = is_clear(np.array([run.start for run in found]), np.array([run.end for run in found]))
    return [run for run, ok in zip(found, clear) if ok]


def _key(run):
    return (*np.round((*run.start, *run.end), 2).tolist(), run.speed_mps)


def predicted_looks(runs, objects, depth_m, sigmas, sound_speed_mps=None):
    """The looks that these runs will give, as the adjustment takes them.

    Parameters
    ----------
    runs : sequence of Run
    objects : (k, 2) array, frame metres
    depth_m : (k,) array, m
    sigmas : survey.uncertainty.sigmas.Sigmas
    sound_speed_mps : float, optional

    Returns
    -------
    looks : RepeatedLooks
        A pass for each run, one outing.
    group : (n,) int array
        Object of each look.
    """
    number = np.concatenate([np.full(len(run.objects), i) for i, run in enumerate(runs)])
    group = np.concatenate([np.array(run.objects, int) for run in runs])
    side = np.concatenate([np.array(run.side, float) for run in runs])
    ground = np.concatenate([np.array(run.ground, float) for run in runs])
    azimuth = np.array([run.azimuth_deg for run in runs])[number]
    speed = np.array([run.speed_mps for run in runs])[number]
    depth, count = np.asarray(depth_m, float)[group], len(number)
    turn, nothing = np.radians(azimuth), np.zeros(count)
    velocity = speed[:, None] * np.column_stack([np.sin(turn), np.cos(turn)])

    def each(value):
        return np.full(count, float(value))

    # the echo comes from somewhere up the object: what locating takes for its place lies at this ground range
    slant = np.hypot(ground, depth - standing(sigmas.sigma_height))
    sound = SOUND_SPEED_FOR_ERRORS_MPS if sound_speed_mps is None else sound_speed_mps
    obs = Observations(
        side=side, slant=slant, shadow_end=each(np.nan), depth=depth, azimuth_deg=azimuth, vel_east=velocity[:, 0],
        vel_north=velocity[:, 1], turn_dps=nothing, lever_forward=nothing, lever_starboard=nothing,
        course_heading=np.zeros(count, bool), depth_scales=np.ones(count, bool), ground_reading=np.zeros(count, bool),
        sound_speed=each(sound), **{name: each(getattr(sigmas, name)) for name in (
            "sigma_bias", "sigma_pass", "sigma_jitter", "sigma_heading", "sigma_time")})
    found = budget(obs, sigmas)
    own = np.empty((count, 2, 2))
    own[:, 0, 0], own[:, 1, 1], own[:, 0, 1] = found.own[:, 0], found.own[:, 2], found.own[:, 1]
    own[:, 1, 0] = own[:, 0, 1]
    own += 1e-6 * np.eye(2)
    prior = {"latency_s": sigmas.sigma_latency, "mount_deg": sigmas.sigma_mount, "lever_forward_m": sigmas.sigma_offset,
             "lever_starboard_m": sigmas.sigma_offset, "trim_deg": sigmas.sigma_trim, "bias_east_m": sigmas.sigma_bias,
             "bias_north_m": sigmas.sigma_bias, "depth_offset_m": sigmas.sigma_depth / math.sqrt(2),
             "pass_east_m": sigmas.sigma_pass, "pass_north_m": sigmas.sigma_pass, "heading_deg": sigmas.sigma_heading}
    outing = np.column_stack([found.sigma_scale if name == "scale" else each(prior[name]) for name in OUTING_ERRORS])
    applied = np.zeros((count, 6))
    applied[:, 4] = 1.0
    looks = RepeatedLooks(
        np.asarray(objects, float)[group], own, number, np.zeros(count, int),
        np.column_stack([each(prior[name]) for name in PASS_ERRORS]), outing, applied, nothing, azimuth, nothing, side,
        ground, depth, velocity, nothing, found.dg_dscale, found.dg_ddepth)
    return looks, group


def information(runs, objects, depth_m, sigmas, sound_speed_mps=None):
    """What each run alone says: (n, m, m) normal matrices of places and outing errors, its own pass errors eliminated.

    The places (2 k) come first, then the outing's errors in units of their priors, in the order of ``OUTING_ERRORS``.
    Runs add up: the sum over runs plus the identity of the outing's errors is the normal matrix of the adjustment.
    """
    looks, group = predicted_looks(runs, objects, depth_m, sigmas, sound_speed_mps)
    lean, places = looks.sensitivities(), 2 * len(objects)
    passes, weight = len(PASS_ERRORS), np.linalg.inv(looks.own)
    design = np.zeros((len(looks), 2, places + lean.shape[2] - passes))
    rows = np.arange(len(looks))
    for axis in (0, 1):
        design[rows, axis, 2 * group + axis] = 1.0
    design[:, :, places:] = -lean[:, :, passes:]
    own_pass = -lean[:, :, :passes]

    def summed(left, right):
        each = np.swapaxes(left, 1, 2) @ weight @ right
        total = np.zeros((len(runs), *each.shape[1:]))
        np.add.at(total, looks.pass_no, each)
        return total

    inner = summed(own_pass, own_pass) + np.eye(passes)
    crossed = summed(own_pass, design)
    return summed(design, design) - np.swapaxes(crossed, 1, 2) @ np.linalg.solve(inner, crossed)
