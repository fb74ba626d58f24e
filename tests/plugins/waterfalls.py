"""Prepared tracks under simulated records: what a faultless log of the way would say."""
import numpy as np
import tracks
from pyproj import CRS, Transformer

LOCAL = CRS.from_proj4("+proj=tmerc +lat_0=45 +lon_0=-93 +k=1 +x_0=5000 +y_0=5000 +ellps=GRS80 +units=m +no_defs")
"""A plane of true metres: (u, v) of the simulator is (x - 5000, y - 5000) of this one."""

EAST = NORTH = 5000.0


def track_of(waterfall, way, every_s=1.0, crs=LOCAL, **given):
    """A Track at the transducer with a sample every so many seconds, the ping count of the record in it.

    Depth and range are true metres. Fields of ``tracks.made`` may be given.
    """
    t = np.arange(waterfall.t[0], waterfall.t[-1] + 1e-9, every_s)
    u, v, azimuth, speed = way.at(t)
    display = waterfall.display
    ping = np.interp(t, waterfall.t, np.arange(len(waterfall.t))) + display.first_ping
    turn = np.degrees(np.gradient(azimuth, t))
    x, y = u + EAST, v + NORTH
    if crs is not LOCAL:
        x, y = Transformer.from_crs(LOCAL, crs, always_xy=True).transform(x, y)
    columns = {"t_s": 1.7e9 + t, "record_ping": ping, "speed_mps": speed, "turn_dps": turn,
               "depth_m": waterfall.floor.depth(u, v), "range_m": display.range_at(t) / display.displayed,
               "range_ratio": 1 / display.displayed, "sound_speed_mps": display.sound_mps}
    heading = np.degrees(azimuth) - _convergence(u, v)
    return tracks.made(crs, x, y, heading % 360, **{**columns, **given})


def _convergence(u, v):
    """Grid azimuth of true north on the plane, degrees."""
    to_degrees = Transformer.from_crs(LOCAL, LOCAL.geodetic_crs, always_xy=True)
    lon, lat = to_degrees.transform(u + EAST, v + NORTH)
    x0, y0 = to_degrees.transform(lon, lat - 1e-3, direction="INVERSE")
    x1, y1 = to_degrees.transform(lon, lat + 1e-3, direction="INVERSE")
    return np.degrees(np.arctan2(x1 - x0, y1 - y0))


def picture_of(waterfall, **given):
    """The keywords of ``picture.Record`` that describe the picture, rows told by ping."""
    display = waterfall.display
    return {"width": waterfall.grey.shape[1], "height": waterfall.grey.shape[0], "layout": display.layout,
            "newest": display.newest, "pings_per_row": float(display.squeeze), "dropped": waterfall.missing(),
            "first_ping": float(display.first_ping + waterfall.shown.min()), **given}
