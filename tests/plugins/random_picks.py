"""Picks of invented objects with every error drawn from its prior: what a boat would record, and where the object is.

Written from first principles and without the code under test: an arc sailed at constant speed and turn rate, a fan that
sees what lies athwartships at its true azimuth, Pythagoras, and clocks that are late. Each pick is of a fresh outing.
Metres east and north on a transverse Mercator of scale 1, true north; port -1, starboard +1.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

CRS = "+proj=tmerc +lat_0=45 +lon_0=-93 +k=1 +x_0=0 +y_0=0 +ellps=GRS80 +units=m +type=crs"

PRIORS = {"bias": 2.0, "slow": 0.5, "jitter": 0.5, "heading": 3.0, "range": 0.3, "depth": 0.2, "height": 0.5,
          "time": 0.5, "latency": 0.5, "offset": 0.3, "mount": 2.0, "trim": 2.0, "sound_speed": 15.0, "beam_width": 1.5}
"""One standard deviation of each error: metres, degrees, seconds, metres per second; the beam's whole width."""

NOTHING = dict.fromkeys(PRIORS, 0.0)


def stated(sigma):
    """Sigmas of a simulation under the names by which the code under test takes them; headings come with the track."""
    names = {"slow": "sigma_pass", "beam_width": "beam_width"}
    return {names.get(name, f"sigma_{name}"): value for name, value in sigma.items() if name != "heading"}


WATER_SPEED = 1450.0
SAMPLES = np.arange(-7.0, 7.5, 1.0)


@dataclass
class Recorded:
    """``track``: columns of a prepared track, (n * samples,) arrays, with ``x``, ``y``; ``picks``: columns of n picks;
    ``east``, ``north``, ``ground``: (n,) the truth."""

    track: dict
    picks: dict
    east: np.ndarray
    north: np.ndarray
    ground: np.ndarray


def bow(azimuth_deg):
    """Unit vectors (n, 2) along azimuths."""
    a = np.radians(azimuth_deg)
    return np.stack([np.sin(a), np.cos(a)], axis=-1)


def beam(azimuth_deg):
    """Unit vectors to starboard of azimuths."""
    return bow(np.asarray(azimuth_deg) + 90)


def arc(t, speed, course_deg, turn_dps):
    """Way (n, k, 2) made good since t = 0 at constant speed and turn rate, (n,) each; t (n, k)."""
    half = np.radians(turn_dps)[:, None] * t / 2
    chord = speed[:, None] * t * np.sinc(half / np.pi)
    return chord[..., None] * bow(course_deg[:, None] + np.degrees(half))


def recorded(rng, count, over=(1.0, 2.0), sigma=PRIORS, *, ground=None, depth=(5.0, 12.0), speed=(1.0, 2.5), turn=3.0,
             compass=None, lever=(1.5, -0.4), mount=4.0, latency=0.8, grid=None, unknown_latency=0.0, samples=SAMPLES):
    """Draw picks.

    Parameters
    ----------
    over : (low, high)
        Ground range over depth, drawn evenly; or ``ground`` (m) for all.
    sigma : dict
        As ``PRIORS``.
    turn : float
        Largest turn rate, degrees a second.
    compass, grid : bool, optional
        All headings by compass, or by course; all depths from a grid, or a sounder. Default: half and half.
    lever, mount, latency
        What the boat is thought to have, and the track was prepared with.
    unknown_latency : float
        Seconds by which the true latency is longer than that, in no prior.
    samples : array or None
        Times of the track's samples about the true moment; None: one sample, at the moment the pick says.
    """
    def error(name, *shape):
        return rng.normal(0, sigma[name], (count, *shape))

    h = rng.uniform(*depth, count)
    g = rng.uniform(*over, count) * h if ground is None else np.full(count, float(ground))
    v, omega = rng.uniform(*speed, count), rng.uniform(-turn, turn, count)
    side = rng.choice([-1, 1], count)
    heading = rng.uniform(0, 360, count)
    course = heading + rng.uniform(-8, 8, count)
    by_compass = rng.random(count) < 0.5 if compass is None else np.full(count, compass)
    by_grid = rng.random(count) < 0.5 if grid is None else np.full(count, grid)
    start = rng.uniform(-500, 500, (count, 2))

    # where the object truly is: athwart of the transducer at t = 0
    slant = np.hypot(g, h - np.abs(error("height")))  # nothing stands below the bottom
    fan = heading + mount + error("mount")
    footprint = 2 * slant * np.tan(np.radians(sigma["beam_width"]) / 2)
    ahead = h * np.radians(error("trim")) + rng.uniform(-0.5, 0.5, count) * footprint
    place = start + (side * g)[:, None] * beam(fan) + ahead[:, None] * bow(fan)

    # what the track says: the antenna's fixes, late by an unknown part of the latency, laid off by the stated lever arm
    late = -(error("latency") + unknown_latency)[:, None]
    wait = error("time")
    t = wait[:, None] if samples is None else np.broadcast_to(samples, (count, len(samples)))
    true_lever = np.asarray(lever) + error("offset", 2)
    fix_heading = heading[:, None] + omega[:, None] * (t + late)
    antenna = (start[:, None] + arc(t + late, v, course, omega)
               - true_lever[:, None, :1] * bow(fix_heading) - true_lever[:, None, 1:] * beam(fix_heading))
    antenna = antenna + (error("bias", 2) + error("slow", 2) + error("jitter", 2))[:, None]
    said = heading[:, None] + omega[:, None] * np.where(by_compass[:, None], t, t + late) - error("heading")[:, None]
    sample = antenna + lever[0] * bow(said) + lever[1] * beam(said)

    scale = 1 + error("sound_speed") / WATER_SPEED
    wrong = (error("depth") + error("depth")) / np.sqrt(2)
    seen_depth = np.where(by_grid, h, h / scale) + wrong
    read = slant / scale + error("range")
    moment = 1.7e9 + 100.0 * np.arange(count)
    columns = {
        "x": sample[..., 0], "y": sample[..., 1], "t_s": moment[:, None] + t, "heading_deg": said % 360,
        "course_deg": (course[:, None] + omega[:, None] * t) % 360, "speed_mps": v[:, None], "turn_dps": omega[:, None],
        "depth_m": seen_depth[:, None], "pass_id": np.arange(count)[:, None],
        "heading_source": np.where(by_compass, "compass", "course").astype(object)[:, None],
        "depth_source": np.where(by_grid, "grid", "sounder").astype(object)[:, None],
        "sample_id": np.arange(t.size).reshape(t.shape) + np.arange(count)[:, None]}
    track = {name: np.broadcast_to(values, t.shape).ravel() for name, values in columns.items()}
    track.update(sigma_heading_deg=sigma["heading"], range_m=1000.0, sound_speed_mps=WATER_SPEED, latency_s=latency,
                 lever_forward_m=lever[0], lever_starboard_m=lever[1], mount_deg=mount,
                 sigma_pos_m=np.sqrt(sigma["bias"]**2 + sigma["slow"]**2 + sigma["jitter"]**2))
    picks = {"t_s": moment + wait, "side": side, "slant_m": read}
    return Recorded(track, picks, place[:, 0], place[:, 1], g)
