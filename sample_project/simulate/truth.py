"""The truth beside the data: where things lie, what the boats were like, what each look was, what was really seen."""
from __future__ import annotations

import numpy as np

from . import lake, maps
from .boat import to_degrees, to_local, transducer
from .looks import ranges_at
from .noise import BLOCKS

BLIND_DEG = 20.0
_SLOWEST_MPS = 0.3
_CELL_M, _BEAM_STEP_M = 1.0, 0.4


def objects(things):
    """Rows of the known places, header first."""
    rows = [("label", "lon", "lat", "easting", "northing", "depth_m", "length_m", "width_m", "height_m", "what")]
    for thing in things:
        lon, lat = to_degrees(thing.u, thing.v)
        rows.append((thing.label, f"{lon:.8f}", f"{lat:.8f}", f"{lake.ORIGIN[0] + thing.u:.2f}",
                     f"{lake.ORIGIN[1] + thing.v:.2f}", f"{float(lake.depth(thing.u, thing.v)):.2f}",
                     thing.length, thing.width, thing.height, thing.what))
    return rows


def offsets(days):
    """Rows of what was true of each boat and its day, header first; ``days`` are (outing, gnss) pairs."""
    rows = [("outing", "name", "value", "unit", "meaning")]
    for outing, gnss in days:
        boat = outing.boat
        for name, value, unit, meaning in (
                ("latency_s", boat.latency_s, "s", "a fix stamped T was true at T minus this"),
                ("lever_forward_m", boat.forward_m, "m", "transducer forward of the antenna"),
                ("lever_starboard_m", boat.starboard_m, "m", "transducer to starboard of the antenna"),
                ("mount_deg", boat.mount_deg, "degrees", "transducer turned clockwise"),
                ("draft_m", boat.draft_m, "m", "transducer below the surface"),
                ("assumed_sound_speed_mps", round(boat.assumed_mps, 2), "m/s", "sound speed the sounder reckons with"),
                ("sound_speed_mps", round(float(boat.sound_mps), 2), "m/s", "sound speed in the water"),
                ("range_ratio", round(1 / float(boat.displayed), 6), "", "true range over displayed range"),
                ("compass_bias_deg", boat.compass_bias_deg, "degrees", "constant deviation of the compass"),
                ("variation_deg", boat.variation_deg, "degrees", "magnetic variation, east positive"),
                ("gnss_bias_east_m", round(float(gnss.bias[0]), 3), "m", "bias of the receiver that day"),
                ("gnss_bias_north_m", round(float(gnss.bias[1]), 3), "m", "bias of the receiver that day")):
            rows.append((outing.name, name, value, unit, meaning))
    return rows


def noise():
    """Rows of the noise the simulator added, by block, header first."""
    rows = [("block", "name", "value", "meaning")]
    for block, entries in BLOCKS.items():
        rows += [(block, name, value, meaning) for name, (value, meaning) in entries.items()]
    return rows


def look_rows(outing, looks):
    """Rows of every look of an outing."""
    def text(value):
        return "" if np.isnan(value) else f"{value:.2f}"

    return [(outing.name, look.label, f"{look.t:.2f}", look.leg, "port" if look.side < 0 else "starboard",
             text(look.ground), text(look.echo), text(look.shadow_end), text(look.depth), int(look.hidden))
            for look in looks]


LOOK_HEADER = ("outing", "label", "t_s", "leg", "side", "ground_m", "slant_m", "shadow_end_m", "depth_m", "hidden")


def _seen_cells(outing, motion, placed, water):
    """Bool like ``water`` (rows, columns over ``lake.BOX``), twice: cells whose middle was swept under way, and those
    among them swept while the receiver knew its place. In a turn the inner side counts out to the turn's centre."""
    u, v = to_local(*transducer(motion, outing.boat))
    depth = lake.depth(u, v) - outing.boat.draft_m
    reach = np.sqrt(np.maximum((ranges_at(outing, motion) / outing.boat.displayed) ** 2 - depth ** 2, 0))
    inner = depth * np.tan(np.radians(BLIND_DEG))
    turn = np.radians(np.convolve(motion.turn, np.ones(25) / 25, mode="same"))
    grid_axis = _grid_heading(motion, outing.boat.mount_deg)
    told, lost = [], []
    for side in (-1, 1):
        east, north = side * np.cos(grid_axis), -side * np.sin(grid_axis)
        centre = np.where(side * turn > 0, motion.speed / np.maximum(np.abs(turn), 1e-9), np.inf)
        outer = np.minimum(np.minimum(reach, centre), _dry_from(u, v, east, north, reach.max(), water))
        use = (motion.speed > _SLOWEST_MPS) & (outer > inner)
        ends = [np.column_stack([u + g * east, v + g * north]) for g in (inner, outer)]
        for k in np.flatnonzero(use[1:] & use[:-1]).tolist():
            strip = [ends[0][k], ends[0][k + 1], ends[1][k + 1], ends[1][k]]
            (told if placed[k] and placed[k + 1] else lost).append(strip)
    known = maps.filled(told, water.shape, _CELL_M)
    return known | maps.filled(lost, water.shape, _CELL_M), known


def _dry_from(u, v, east, north, far, water):
    """(n,) ground range at which beams first meet land."""
    west, _, _, top = lake.BOX
    found = np.full(len(u), np.inf)
    for g in np.arange(0, far, _BEAM_STEP_M):
        x, y = u + g * east, v + g * north
        land = ~water[((top - y) / _CELL_M).astype(int), ((x - west) / _CELL_M).astype(int)]
        found[land & np.isinf(found)] = g
    return found


def _grid_heading(motion, mount_deg):
    """Grid azimuth (rad) of the fan's forward axis."""
    u0, v0 = to_local(motion.lon, motion.lat)
    u1, v1 = to_local(motion.lon, motion.lat + 1e-4)
    return np.radians(motion.heading + mount_deg) + np.arctan2(u1 - u0, v1 - v0)


def coverage(areas, outings):
    """Rows of the share of each search area really seen by the (outing, motion, placed) triples, header first.

    ``placed`` says for each moment of the motion whether the receiver knew its place: what was swept while it was off
    was seen in truth, and no log can tell.
    """
    west, south, east, north = lake.BOX
    u, v = np.meshgrid(np.arange(west + _CELL_M / 2, east, _CELL_M), np.arange(north - _CELL_M / 2, south, -_CELL_M))
    water = lake.inside(u, v) > 0
    swept, told = np.any([_seen_cells(*one, water) for one in outings], axis=0)
    rows = [("area", "covered_pct", "placed_pct", "blind_deg")]
    for name, corners in areas:
        here = water & _within(corners, u, v)
        rows.append((name, f"{100 * swept[here].mean():.2f}", f"{100 * told[here].mean():.2f}", BLIND_DEG))
    return rows


def _within(corners, u, v):
    """Even-odd test of points against a polygon."""
    odd = np.zeros(u.shape, bool)
    for (a, b), (c, d) in zip(corners, corners[1:] + corners[:1]):
        if b != d:
            odd ^= ((v >= min(b, d)) & (v < max(b, d))) & (u < a + (v - b) * (c - a) / (d - b))
    return odd
