"""One row and one line for each pass, with the figures that tell a good pass from a poor one."""
from __future__ import annotations

import numpy as np
import shapely.geometry as sg

from ..beams.soundspeed import CUSTOMARY
from ..plane import ground, transfer
from ..plane.frame import Frame

__all__ = ["BAND", "PINGS_A_METRE", "PING_SHARE", "off_band", "pass_columns", "pass_lines", "too_fast"]

BAND = (0.08, 0.20)
"""Height over the bottom as a share of the range scale: 8 to 20 % (NOAA Field Procedures Manual 2014)."""

PINGS_A_METRE = 3.0
"""Pings per metre along track that show an object of 1 m by its shadow (NOAA Field Procedures Manual 2014)."""

PING_SHARE = 0.5
"""Share of the fastest possible ping rate c / (2 R) that a recorder is taken to reach (judgement)."""


def off_band(depth_m, range_m):
    """True where the water is less than 8 or more than 20 % of the range; (n,) arrays."""
    share = depth_m / range_m
    return (share < BAND[0]) | (share > BAND[1])


def too_fast(speed_mps, range_m, sound_speed_mps):
    """True where the boat makes more way than three pings a metre allow, v > f / 3; (n,) arrays."""
    speed = np.where(np.isfinite(sound_speed_mps), sound_speed_mps, CUSTOMARY)
    rate = PING_SHARE * speed / (2 * range_m)
    return speed_mps > rate / PINGS_A_METRE


def pass_columns(track, geod, lon, lat, under_way):
    """Columns of the passes layer.

    Parameters
    ----------
    track : Track
        Of one outing.
    geod : pyproj.Geod
    lon, lat : (n,) arrays
        Places of the samples, degrees.
    under_way : (n,) bool array
        Samples that belong to their pass, as against stops and the like that only carry its number.

    Returns
    -------
    dict of (p,) arrays by field name
        In order of pass_id. Means are over the usable samples, NaN where there is none; shares are of them, in %.
    """
    ids = np.unique(track.pass_id[under_way])
    place = np.searchsorted(ids, track.pass_id)
    size = len(ids)
    good = track.usable & under_way

    def mean(values, of=good):
        known = of & np.isfinite(values)
        count = np.bincount(place[known], minlength=size)
        total = np.bincount(place[known], values[known], minlength=size)
        return np.divide(total, count, out=np.full(size, np.nan), where=count > 0)

    inside = under_way[1:] & under_way[:-1] & (np.diff(track.pass_id) == 0)
    way = np.hypot(*ground.steps(geod, lon, lat))[inside]
    times = np.where(under_way, track.t_s, np.nan)
    first = np.searchsorted(track.pass_id, ids)
    return {
        "outing": track.outing[first], "pass_id": ids,
        "start_time": np.fmin.reduceat(times, first), "end_time": np.fmax.reduceat(times, first),
        "length_m": np.bincount(place[1:][inside], way, minlength=size),
        "mean_speed_mps": mean(track.speed_mps, under_way), "mean_depth_m": mean(track.depth_m),
        "range_m": mean(track.range_m), "samples": np.bincount(place[good], minlength=size),
        "too_fast_pct": 100 * mean(too_fast(track.speed_mps, track.range_m, track.sound_speed_mps).astype(float)),
        "off_band_pct": 100 * mean(off_band(track.depth_m, track.range_m).astype(float)),
    }


def pass_lines(track, lon, under_way):
    """Lines through the samples of each pass, in crs units, in order of pass_id.

    In a geographic CRS a line that crosses 180 degrees is cut there.
    """
    lines = []
    for pass_id in np.unique(track.pass_id[under_way]):
        begin, end = np.searchsorted(track.pass_id, [pass_id, pass_id + 1])
        own = np.flatnonzero(under_way[begin:end]) + begin
        x, y = track.x[own], track.y[own]
        if track.crs.is_geographic and (np.abs(np.diff(ground.wrapped(lon[own]))) > 180).any():
            frame = Frame.around(track.crs, x, y)
            lines.append(transfer.to_crs(frame, sg.LineString(np.column_stack(frame.forward(x, y)))))
        else:
            lines.append(sg.LineString(np.column_stack([x, y])))
    return lines
