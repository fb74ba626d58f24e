"""One row and one line for each pass, with the figures that tell a good pass from a poor one."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely.geometry as sg

from ..geometry import ground, transfer
from ..geometry.frame import Frame
from ..model.constants import SOUND_SPEED_FOR_PINGS_MPS
from ..model.errors import InputError
from ..model.messages import Message
from .way_made import way_made

__all__ = ["BAND", "PINGS_A_METRE", "PING_SHARE", "PassTable", "no_length", "off_band", "pass_columns",
           "pass_lines", "pass_table", "too_fast"]

BAND = (0.08, 0.20)
"""Height over the bottom as a share of the range scale: 8 to 20 % (NOAA Field Procedures Manual 2014)."""

PINGS_A_METRE = 3.0
"""Pings per metre along track that show an object of 1 m by its shadow (NOAA Field Procedures Manual 2014)."""

PING_SHARE = 0.5
"""Share of the fastest possible ping rate c / (2 R) that a recorder is taken to reach (judgement)."""


def off_band(depth_m, range_m):
    """True where the water is less than 8 or more than 20 % of the range; (n,) arrays.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.passes.table import off_band
    >>> off_band(np.array([1.0, 4.0, 9.0]), np.array([30.0, 30.0, 30.0])).tolist()
    [True, False, True]
    """
    share = depth_m / range_m
    return (share < BAND[0]) | (share > BAND[1])


def too_fast(speed_mps, range_m, sound_speed_mps):
    """True where the boat makes more way than three pings a metre allow, v > f / 3; (n,) arrays.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.passes.table import too_fast
    >>> too_fast(np.array([1.0, 9.0]), np.array([30.0, 30.0]), np.array([1450.0, 1450.0])).tolist()
    [False, True]
    """
    speed = np.where(np.isfinite(sound_speed_mps), sound_speed_mps, SOUND_SPEED_FOR_PINGS_MPS)
    rate = PING_SHARE * speed / (2 * range_m)
    return speed_mps > rate / PINGS_A_METRE


LEAST_LENGTH_M = 0.01
"""A boat that made no more way than this has run no line; a receiver writes no finer."""


@dataclass
class PassTable:
    """``columns``: of the passes by field name, and ``lines`` their shapely lines in crs units; ``length_m`` of all of
    them. ``left_out``: columns of passes that are none, without a length or a usable sample."""

    columns: dict
    lines: list
    length_m: float
    left_out: dict


def pass_table(track, geod, lon, lat, under_way):
    """Rows and lines of the passes of a track; parameters are those of ``pass_columns``.

    Returns
    -------
    PassTable

    Raises
    ------
    InputError
        When no pass has both a length and a usable sample.
    """
    columns = pass_columns(track, geod, lon, lat, under_way)
    none = no_length(columns)
    if none.all():
        raise InputError(Message("No pass has both a length and a usable sample: every fix lies at the same place, or "
                                 "the ones that move cannot be used. Check the positions, {min_speed}, {range_m} and "
                                 "{depth_m}."))
    lines = pass_lines(track, lon, under_way)
    columns, left_out = ({name: values[mask] for name, values in columns.items()} for mask in (~none, none))
    return PassTable(columns, [line for line, gone in zip(lines, none) if not gone],
                     float(columns["length_m"].sum()), left_out)


def _onward(track, under_way):
    """(n - 1,) bool: the way from a sample to the next belongs to the first one's pass.

    Within a pass, and from its last sample on to the one at which a turn ends it.
    """
    both = under_way[1:] & under_way[:-1]
    return both & ((np.diff(track.pass_id) == 0) | (np.diff(track.sample_id) == 1))


def no_length(columns):
    """(p,) bool: passes of ``pass_columns`` that are none: without any way made, or without a usable sample.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.passes.table import no_length
    >>> no_length({"length_m": np.array([120.0, 0.0, 80.0]), "samples": np.array([60, 4, 0])}).tolist()
    [False, True, True]
    """
    return (columns["length_m"] < LEAST_LENGTH_M) | (columns["samples"] == 0)


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
        In order of pass_id. Means are over the usable samples, NaN where there is none; shares are of them, in %. A
        pass that a turn ends reaches to the first sample of the next, in length and in time.
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

    inside = _onward(track, under_way)
    way = way_made(*ground.steps(geod, lon, lat), track.course_deg)[inside]
    times = np.where(under_way, track.t_s, np.nan)
    ends = np.append(np.where(inside, np.fmax(times[:-1], times[1:]), times[:-1]), times[-1:])
    first = np.searchsorted(track.pass_id, ids)
    return {
        "outing": track.outing[first], "pass_id": ids,
        "start_time": np.fmin.reduceat(times, first), "end_time": np.fmax.reduceat(ends, first),
        "length_m": np.bincount(place[:-1][inside], way, minlength=size),
        "mean_speed_mps": mean(track.speed_mps, under_way), "mean_depth_m": mean(track.depth_m),
        "range_m": mean(track.range_m), "samples": np.bincount(place[good], minlength=size),
        "too_fast_pct": 100 * mean(too_fast(track.speed_mps, track.range_m, track.sound_speed_mps).astype(float)),
        "off_band_pct": 100 * mean(off_band(track.depth_m, track.range_m).astype(float)),
    }


def pass_lines(track, lon, under_way):
    """Lines through the samples of each pass, and on to the one at which a turn ends it; crs units, by pass_id.

    In a geographic CRS a line that crosses 180 degrees is cut there.
    """
    lines, onward = [], np.append(_onward(track, under_way), False)
    for pass_id in np.unique(track.pass_id[under_way]):
        begin, end = np.searchsorted(track.pass_id, [pass_id, pass_id + 1])
        own = np.flatnonzero(under_way[begin:end]) + begin
        own = np.append(own, end) if onward[end - 1] else own
        x, y = track.x[own], track.y[own]
        if track.crs.is_geographic and (np.abs(np.diff(ground.wrapped(lon[own]))) > 180).any():
            frame = Frame.around(track.crs, x, y)
            lines.append(transfer.to_crs(frame, sg.LineString(np.column_stack(frame.forward(x, y)))))
        else:
            lines.append(sg.LineString(np.column_stack([x, y])))
    return lines
