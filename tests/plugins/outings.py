"""Invented outings for the tests of the adjustment: true objects, true errors, and what a boat would record of them.

Nothing here comes from the code under test: a straight pass, a fan athwartships, Pythagoras, and errors drawn from
their priors. Metres east and north on a transverse Mercator of scale 1; port -1, starboard +1.
"""
from __future__ import annotations

import math

import numpy as np

CRS = "+proj=tmerc +lat_0=45 +lon_0=-93 +k=1 +x_0=5000 +y_0=5000 +ellps=GRS80 +units=m +type=crs"

PRIORS = {"sig_bias_m": 2.0, "sig_pass_m": 0.5, "sig_heading_deg": 3.0, "sig_latency_s": 0.5, "sig_mount_deg": 2.0,
          "sig_lever_m": 0.3, "sig_scale": 0.01, "sig_trim_deg": 2.0, "sig_depth_offset_m": 0.2}
FRESH = {"jitter": 0.5, "time": 0.5, "range": 0.3, "depth": 0.2, "beam_deg": 1.5}

SIX = {"latency_s": "sig_latency_s", "mount_deg": "sig_mount_deg", "lever_forward_m": "sig_lever_m",
       "lever_starboard_m": "sig_lever_m", "scale": "sig_scale", "trim_deg": "sig_trim_deg"}


def unit(azimuth_deg):
    """Unit vector (east, north) of an azimuth."""
    a = math.radians(azimuth_deg)
    return np.array([math.sin(a), math.cos(a)])


def draw_offsets(rng, priors=PRIORS):
    """True errors of an outing, one draw from the priors each."""
    offsets = {name: rng.normal(0, priors[sigma]) for name, sigma in SIX.items()}
    offsets["bias"] = rng.normal(0, priors["sig_bias_m"], 2)
    offsets["depth_offset_m"] = rng.normal(0, priors["sig_depth_offset_m"])
    return offsets


def look(rng, obj, heading, side, ground, depth, speed, offsets, drift, twist, applied, priors=PRIORS, fresh=FRESH):
    """One pick of ``obj`` on a pass, as a row of the targets layer, placed by ``applied`` offsets.

    ``drift`` and ``twist``: true errors of the pass. The boat's bow truly points along ``heading + twist``.
    """
    bow = heading + twist
    fan = bow + offsets["mount_deg"] + applied["mount_deg"]
    ahead = depth * math.tan(math.radians(offsets["trim_deg"]))
    transducer = obj - side * ground * unit(fan + 90) - ahead * unit(fan)
    lever = [offsets[n] + applied[n] for n in ("lever_forward_m", "lever_starboard_m")]
    antenna = transducer - lever[0] * unit(bow) - lever[1] * unit(bow + 90)
    velocity = speed * unit(heading)
    late = offsets["latency_s"]
    fix = antenna - velocity * (late + rng.normal(0, fresh["time"])) - offsets["bias"] - drift
    fix = fix + rng.normal(0, fresh["jitter"], 2)
    scale = 1 + offsets["scale"]
    seen_depth = depth / scale - offsets["depth_offset_m"] + rng.normal(0, fresh["depth"])
    slant = math.hypot(ground, depth) / scale + rng.normal(0, fresh["range"])
    g = math.sqrt(max(slant ** 2 - seen_depth ** 2, 0.01))
    axis = heading + applied["mount_deg"]
    turn = math.radians(priors["sig_heading_deg"]) ** 2 + math.radians(priors["sig_mount_deg"]) ** 2
    place = (fix + applied["lever_forward_m"] * unit(heading) + applied["lever_starboard_m"] * unit(heading + 90)
             + side * g * math.exp(-turn / 2) * unit(axis + 90))  # the mean over the angles that the priors allow
    place = place + rng.normal(0, slant * math.radians(fresh["beam_deg"]) / math.sqrt(12)) * unit(axis)
    along = fresh["jitter"] ** 2 + (speed * fresh["time"]) ** 2 + (slant * math.radians(fresh["beam_deg"])) ** 2 / 12
    across = fresh["jitter"] ** 2 + (slant * fresh["range"] / g) ** 2 + (seen_depth * fresh["depth"] / g) ** 2
    f, s = unit(axis), unit(axis + 90)
    total = (along + across + 2 * (priors["sig_bias_m"] ** 2 + priors["sig_pass_m"] ** 2 + priors["sig_lever_m"] ** 2)
             + (speed * priors["sig_latency_s"]) ** 2 + g ** 2 * turn + (g * priors["sig_scale"]) ** 2
             + (seen_depth * math.radians(priors["sig_trim_deg"])) ** 2
             + (seen_depth / g * priors["sig_depth_offset_m"]) ** 2)
    own = along * np.outer(f, f) + across * np.outer(s, s)
    return {"x": place[0], "y": place[1], "side": "starboard" if side > 0 else "port", "heading_deg": heading % 360,
            "ground_m": g, "depth_m": seen_depth, "own_ee_m2": own[0, 0], "own_en_m2": own[0, 1],
            "own_nn_m2": own[1, 1], "vel_east_mps": velocity[0], "vel_north_mps": velocity[1], "turn_dps": 0.0,
            "heading_source": "course",
            "dg_dscale_m": g, "dg_ddepth": -seen_depth / g, "latency_s": applied["latency_s"],
            "mount_deg": applied["mount_deg"], "lever_forward_m": applied["lever_forward_m"],
            "sigma_east_m": math.sqrt(total / 2), "sigma_north_m": math.sqrt(total / 2),  # only the sum is used
            "pct_range": 100 * (slant * fresh["range"] / g) ** 2 / total,
            "pct_depth": 100 * (seen_depth / g) ** 2
            * (fresh["depth"] ** 2 + priors["sig_depth_offset_m"] ** 2) / total,
            "lever_starboard_m": applied["lever_starboard_m"], "range_ratio": applied["scale"], **priors}


NOTHING_APPLIED = {"latency_s": 0.0, "mount_deg": 0.0, "lever_forward_m": 0.0, "lever_starboard_m": 0.0, "scale": 1.0}


def run_pass(rng, objects, start, heading, length, speed, reach, depths, offsets, *, applied=NOTHING_APPLIED,
             priors=PRIORS, fresh=FRESH, sides=(-1, 1)):
    """Picks of every object that one straight pass shows: list of (object number, row)."""
    drift = rng.normal(0, priors["sig_pass_m"], 2)
    twist = rng.normal(0, priors["sig_heading_deg"])
    found = []
    for number, obj in enumerate(objects):
        along = (obj - start) @ unit(heading)
        across = (obj - start) @ unit(heading + 90)
        side, ground = (1 if across > 0 else -1), abs(across)
        if 0 < along < length and 1.0 * depths[number] < ground < reach and side in sides:
            found.append((number, look(rng, obj, heading, side, ground, depths[number], speed, offsets, drift, twist,
                                       applied, priors, fresh)))
    return found


LINES = [((5040, 4990), 0, 1.4), ((5080, 5310), 180, 2.0), ((5120, 4990), 0, 1.4), ((5160, 5310), 180, 2.0),
         ((4990, 5060), 90, 1.2), ((5210, 5110), 270, 1.8), ((4990, 5170), 90, 1.6)]


def outing(rng, objects=16, lines=LINES, offsets=None, name="day", **options):
    """A small search: lines both ways and across, over objects strewn in 160 x 220 m, water 5 to 12 m deep.

    Returns columns (a dict of arrays), the object number of each row, the true places and the true offsets.
    """
    offsets = draw_offsets(rng, options.get("priors", PRIORS)) if offsets is None else offsets
    places = np.column_stack([rng.uniform(5020, 5180, objects), rng.uniform(5020, 5240, objects)])
    depths = rng.uniform(5, 12, objects)
    rows, numbers = [], []
    for pass_id, (start, heading, speed) in enumerate(lines, 1):
        for number, row in run_pass(rng, places, np.array(start, float), heading, 330, speed, 38, depths, offsets,
                                    **options):
            rows.append({**row, "outing": name, "pass_id": pass_id})
            numbers.append(number)
    columns = {key: np.array([row[key] for row in rows]) for key in rows[0]}
    return columns, np.array(numbers), places, offsets
