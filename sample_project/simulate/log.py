"""What the instruments wrote: an NMEA 0183 log, and a GPX track with marks."""
from __future__ import annotations

from datetime import datetime, timezone
from xml.sax.saxutils import escape

import numpy as np

from . import lake
from .boat import GEOD, to_local, transducer
from .noise import compass, size

KNOT_MPS = 1852 / 3600
_SURE_AFTER_S = 6
_GGA_EVERY_S, _MTW_EVERY_S = 3, 15
_POINT_EVERY_S = 8
_POWER_CUT = (1536, 1584)
"""Seconds after the start between which the hand-held receiver was off: the track starts a new segment."""


def fixes(outing, motion, gnss, t):
    """Longitude, latitude, course and speed the receiver stamps ``t``: where the antenna was one latency before."""
    lon, lat, _, course, speed = motion.at(t - outing.boat.latency_s)
    east, north = gnss.at(t - outing.boat.latency_s)
    lon, lat, _ = GEOD.fwd(lon, lat, np.degrees(np.arctan2(east, north)), np.hypot(east, north))
    return lon, lat, course, speed


def _sentence(body):
    check = 0
    for byte in body.encode("ascii"):
        check ^= byte
    return f"${body}*{check:02X}"


def _angle(value, width):
    """Degrees and decimal minutes as NMEA 0183 writes them."""
    minutes = round(abs(value) * 60, 4)
    return f"{int(minutes // 60):0{width}d}{minutes % 60:07.4f}"


def _place(lon, lat):
    return f"{_angle(lat, 2)},{'N' if lat >= 0 else 'S'},{_angle(lon, 3)},{'E' if lon >= 0 else 'W'}"


def nmea(outing, motion, gnss, rng):
    """The log of the outing, one string with CR LF line ends."""
    boat = outing.boat
    t = np.arange(np.ceil(motion.t[0]) + 2, np.floor(motion.t[-1]))
    lon, lat, course, speed = fixes(outing, motion, gnss, t)
    speed = np.maximum(speed + rng.normal(0, 0.05, len(t)), 0.0) / KNOT_MPS
    course = (course + rng.normal(0, 1.5, len(t))) % 360
    heading = compass(boat, motion.at(t)[2], rng)
    depths = _sounder(outing, motion, t, rng)
    hdop = np.clip(1.0 + 0.15 * rng.standard_normal(len(t)), 0.7, 1.9)
    used = rng.integers(8, 13, len(t))
    variation = f"{abs(boat.variation_deg):.1f},{'E' if boat.variation_deg >= 0 else 'W'}"
    lines = ["", "$GPTXT,01,01,02,ANTENNA"]  # a half line: the plug was pushed in
    for k, stamp in enumerate(t):
        moment = datetime.fromtimestamp(stamp, timezone.utc)
        clock, day = f"{moment:%H%M%S}.00", f"{moment:%d%m%y}"
        if k < _SURE_AFTER_S:
            lines.append(_sentence(f"GPRMC,{clock},V,,,,,,,{day},,,N"))
            continue
        place = _place(lon[k], lat[k])
        lines.append(_sentence(f"GPRMC,{clock},A,{place},{speed[k]:.2f},{course[k]:.1f},{day},{variation},A"))
        if k % _GGA_EVERY_S == 0:
            lines.append(_sentence(f"GPGGA,{clock},{place},1,{used[k]:02d},{hdop[k]:.1f},96.{k % 10},M,-33.4,M,,"))
        lines.append(_sentence(f"HCHDG,{heading[k]:.1f},,,{variation}"))
        lines.append(_sentence(f"SDDPT,{depths[k]},{boat.draft_m:.2f},60.0"))
        if k % _MTW_EVERY_S == 0:
            lines.append(_sentence(f"SDMTW,{boat.water_c + 0.1 * np.sin(k / 900):.1f},C"))
    return "\r\n".join(_with_junk(lines, rng)) + "\r\n"


def _sounder(outing, motion, t, rng):
    """Depths as logged below the transducer: noise, a stretch without bottom, a few false echoes."""
    lon, lat = transducer(motion, outing.boat)
    u, v = to_local(np.interp(t, motion.t, lon), np.interp(t, motion.t, lat))
    below = (lake.depth(u, v) - outing.boat.draft_m) * outing.boat.displayed
    texts = [f"{d:.2f}" for d in below + rng.normal(0, size("own", "sounder_m"), len(t))]
    note, after, length = outing.lost_bottom
    leg = [leg.note for leg in outing.legs].index(note)
    begin = motion.t[motion.leg == leg][0] + after
    for k in np.flatnonzero((t >= begin) & (t < begin + length)):
        texts[k] = "0.00" if k % 3 else ""
    for k, factor in zip(rng.integers(200, len(t) - 200, 7), (2.0, 0.3, 2.0, 0.25, 2.0, 0.4, 2.0)):
        texts[k] = f"{below[k] * factor:.2f}"
    return texts


def _with_junk(lines, rng):
    """The same lines with what a serial cable adds: cut, run-together and damaged ones."""
    out = list(lines)
    for k in sorted(rng.integers(400, len(lines) - 400, 6), reverse=True):
        out.insert(k, out[k][: int(rng.integers(4, 18))])
    for k in rng.integers(400, len(lines) - 400, 4):
        out[k] = out[k].replace(".", ",", 1)
    out.insert(900, "~~#@ 7f 7f")
    out[1500] = "x8" + out[1500]
    return out


def _mark(tag, lon, lat, inside):
    return f'<{tag} lat="{lat:.6f}" lon="{lon:.6f}">{inside}</{tag}>'


def placed_by_nmea(motion):
    """(n,) bool: moments of the motion at which the receiver of ``nmea`` knew its place."""
    return motion.t - motion.t[0] >= _SURE_AFTER_S


def placed_by_gpx(motion):
    """(n,) bool: moments of the motion between two points of one segment of ``gpx_track``."""
    t = _moments(motion)
    return np.logical_or(*((motion.t >= t[part][0]) & (motion.t <= t[part][-1]) for part in _segments(motion, t)))


def _moments(motion):
    return np.arange(np.ceil(motion.t[0]) + 2, np.floor(motion.t[-1]), _POINT_EVERY_S)


def _segments(motion, t):
    since = t - motion.t[0]
    return since < _POWER_CUT[0], since > _POWER_CUT[1]


def gpx_track(outing, motion, gnss):
    """The outing's GPX 1.1 track: a point every few seconds, no depth, two segments."""
    t = _moments(motion)
    lon, lat, _, _ = fixes(outing, motion, gnss, t)
    segments = []
    for part in _segments(motion, t):
        segments.append("\n".join(
            _mark("trkpt", x, y, f"<time>{datetime.fromtimestamp(s, timezone.utc):%Y-%m-%dT%H:%M:%SZ}</time>")
            for x, y, s in zip(lon[part], lat[part], t[part])))
    body = "\n".join(f"<trkseg>\n{points}\n</trkseg>" for points in segments)
    return _gpx(f"<trk><name>South bay</name>\n{body}\n</trk>")


def gpx_marks(outing, motion, gnss, marks):
    """Waypoints without times: (name, time the button was pressed) -> GPX 1.1; the receiver shows its last fix."""
    pressed = np.floor([t for _, t in marks])
    lon, lat, _, _ = fixes(outing, motion, gnss, pressed)
    return _gpx("\n".join(_mark("wpt", x, y, f"<name>{escape(name)}</name>")
                          for (name, _), x, y in zip(marks, lon, lat)))


def _gpx(body):
    return ('<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="Orrelmere sample" '
            f'xmlns="http://www.topografix.com/GPX/1/1">\n{body}\n</gpx>\n')
