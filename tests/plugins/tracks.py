"""Prepared tracks made from arrays, for tests of everything that starts from a track."""
import math

import numpy as np
from athwart.survey.model.schemas import TRACK
from athwart.survey.model.track import Track

DEFAULTS = {
    "outing": "day 1", "pass_id": 1, "record_ping": np.nan, "heading_source": "compass", "sigma_heading_deg": 3.0,
    "speed_mps": 1.5, "turn_dps": 0.0, "depth_m": 5.0, "depth_source": "sounder", "range_m": 30.0, "range_ratio": 1.0,
    "sound_speed_mps": 1450.0, "latency_s": 0.0, "lever_forward_m": 0.0, "lever_starboard_m": 0.0, "mount_deg": 0.0,
    "sigma_pos_m": 2.12, "usable": True, "reject_reason": "",
}


def made(crs, x, y, heading_deg, **given):
    """A Track with ``x``, ``y`` in crs units; anything not given takes a plain default, scalars are spread."""
    n = len(x)
    columns = {**DEFAULTS, "sample_id": np.arange(n), "t_s": 1.7e9 + np.arange(n), "heading_deg": heading_deg,
               "course_deg": heading_deg, **given}
    kinds = {"string": object, "bool": bool, "int": np.int64, "int64": np.int64, "double": float}
    columns = {f.name: np.broadcast_to(np.asarray(columns[f.name], kinds[f.kind]), n).copy()
               for f in TRACK if f.name != "time"}
    return Track.from_columns(crs, x, y, columns)


def in_frame(frame, east, north, azimuth_deg=None, **given):
    """A Track laid out in frame metres; ``azimuth_deg`` is the grid azimuth, default along the path."""
    east, north = np.asarray(east, float), np.asarray(north, float)
    if azimuth_deg is None:
        azimuth_deg = np.degrees(np.arctan2(np.gradient(east), np.gradient(north)))
    x, y = frame.inverse(east, north)
    return made(frame.crs, x, y, np.asarray(azimuth_deg) + frame.convergence(east, north), **given)


def boustrophedon(lines=4, length=400.0, spacing=40.0, step=1.5, crab=3.0, seed=1):
    """East, north, grid azimuth and pass number of parallel lines joined by half circles, cut at mid-turn.

    Azimuths carry a slow crab (degrees, one sigma) and 0.3 degree of noise.
    """
    rng = np.random.default_rng(seed)
    radius, pieces = spacing / 2, []
    for line in range(lines):
        up = line % 2 == 0
        along = np.arange(0, length, step)
        pieces.append(np.column_stack([np.full(len(along), line * spacing), along if up else length - along]))
        if line + 1 < lines:
            turn = np.arange(0, np.pi, step / radius)
            centre = np.array([line * spacing + radius, length if up else 0.0])
            pieces.append(centre + radius * np.column_stack([-np.cos(turn), np.sin(turn) * (1 if up else -1)]))
    path = np.vstack(pieces)
    azimuth = np.degrees(np.unwrap(np.arctan2(np.gradient(path[:, 0]), np.gradient(path[:, 1]))))
    slow = np.convolve(rng.normal(size=len(path) + 60), np.hanning(61), "valid")
    azimuth = azimuth + crab * slow / slow.std() + rng.normal(0, 0.3, len(path))
    cuts = [sum(map(len, pieces[:2 * i + 1])) + len(pieces[2 * i + 1]) // 2 for i in range(lines - 1)]
    return path[:, 0], path[:, 1], azimuth, np.searchsorted(cuts, np.arange(len(path)), "right") + 1


LAYER_TYPES = {"double": "double", "int": "integer", "int64": "int8", "string": "string", "bool": "integer"}


def as_rows(track):
    """({field: type}, [(WKT, values)]) of a Track, for the fixture ``make_layer``."""
    wanted = [f for f in TRACK if f.name != "time"]
    rows = []
    for i in range(len(track)):
        values = [getattr(track, f.name)[i] for f in wanted]
        values = [v.item() if hasattr(v, "item") else v for v in values]
        rows.append((f"POINT({track.x[i]} {track.y[i]})",
                     [None if isinstance(v, float) and math.isnan(v) else v for v in values]))
    return {f.name: LAYER_TYPES[f.kind] for f in wanted}, rows
