"""What somebody read off the record or marked on the receiver, with the errors of eye and hand."""
from __future__ import annotations

from datetime import datetime, timezone

import numpy as np

from .noise import size

_BOTTOM_EVERY_ROWS = 90
_WATER_GREY = 60

PICK_FIELDS = ("pick", "time", "side", "slant_m", "depth_m", "shadow_start_m", "shadow_end_m", "label")


def clock(t):
    """Seconds since 1970 UTC -> ISO text to the tenth of a second."""
    tenths = round(t * 10)
    return f"{datetime.fromtimestamp(tenths // 10, timezone.utc):%Y-%m-%dT%H:%M:%S}.{tenths % 10}Z"


def seen(looks):
    """The looks that show the object."""
    return [look for look in looks if not look.hidden]


def picks(outing, looks, rng):
    """Rows of ``PICK_FIELDS``: as displayed, to the tenth; the shadow is left out when it leaves the record."""
    shown = outing.boat.displayed
    rows = []
    for number, look in enumerate(seen(looks), 1):
        slant, start, end = (x * shown + rng.normal(0, size("own", "pick_slant_m"))
                             for x in (look.echo, look.echo, look.shadow_end))
        start = max(start, slant)  # nobody reads a shadow that begins before its echo
        depth = look.depth * shown + rng.normal(0, size("own", "pick_depth_m"))
        moment = clock(look.t + rng.normal(0, size("own", "pick_time_s")))
        shadow = ("", "") if np.isnan(end) or end <= start else (f"{start:.1f}", f"{end:.1f}")
        rows.append((number, moment, "port" if look.side < 0 else "starboard", f"{slant:.1f}", f"{depth:.1f}",
                     *shadow, look.label))
    return rows


def marks(outing, motion, looks, rng):
    """(name, time pressed) of the marks: side and displayed range stand in the name, with the changes of range."""
    out = [("RAMP", motion.t[0] + 3)]
    for look in seen(looks):
        late = max(rng.normal(size("own", "mark_delay_s"), size("own", "mark_spread_s")), 0.1)
        slant = (look.echo * outing.boat.displayed + rng.normal(0, size("own", "pick_slant_m"))) / outing.unit_m
        out.append((f"{look.label.upper()} {'P' if look.side < 0 else 'S'}{slant:.0f}", look.t + late))
    notes = np.array([leg.note for leg in outing.legs])[motion.leg.astype(int)]
    for note, value in outing.ranges[1:]:
        out.append((f"RANGE {value:.0f}", motion.t[np.flatnonzero(notes == note)[0]]))
    return sorted(out, key=lambda mark: mark[1])


def range_times(outing, motion):
    """(time of the change, displayed range) in order; the first is the start of the outing."""
    notes = np.array([leg.note for leg in outing.legs])[motion.leg.astype(int)]
    return [(motion.t[np.flatnonzero(notes == note)[0]], value) for note, value in outing.ranges]


def frame(record):
    """(name, value, meaning): what places a pixel of the record in time and range."""
    rows, columns = record.grey.shape
    return [("layout", "both", "port half left, starboard half right"),
            ("newest", "top", "the last ping is the top row"),
            ("centre_column", record.centre, "columns left of the middle of the record"),
            ("edge_range_m", f"{record.edge_m:g}", "displayed slant range at the outer edge, metres"),
            ("first_time", clock(record.t[-1]), "time of the bottom row"),
            ("last_time", clock(record.t[0]), "time of the top row"),
            ("rows", rows, "one ping a row"), ("columns", columns, "")]


def pixel_picks(outing, looks, record, rng):
    """Picks in pixels as a GIS shows a raw picture: x to the right from 0, y down from 0 and so negative.

    Returns
    -------
    points, lines : lists of (WKT, kind, label)
        ``points`` mark the echo of each object, and the first echo of the bottom (kind 'bottom') every so many rows;
        ``lines`` run from an object's echo to the end of its shadow.
    """
    shown = outing.boat.displayed
    points, lines = [], []
    for look in seen(looks):
        if look.leg != outing.record_note or not record.t[-1] < look.t < record.t[0]:
            continue
        x, y = record.pixel(look.t, look.side, look.echo * shown)
        end, _ = record.pixel(look.t, look.side, look.shadow_end * shown)
        x, y, end = (value + rng.normal(0, 1.0) for value in (x, y, end))
        points.append((f"POINT ({x:.1f} {-y:.1f})", "object", look.label))
        lines.append((f"LINESTRING ({x:.1f} {-y:.1f}, {end:.1f} {-y:.1f})", "object", look.label))
    for row in range(20, len(record.t), _BOTTOM_EVERY_ROWS):
        dark = record.grey[row, record.centre:] < _WATER_GREY
        x = record.centre + int(np.argmin(dark)) + rng.normal(0, 1.0)
        points.append((f"POINT ({x:.1f} {-row - 0.5:.1f})", "bottom", ""))
    return points, lines
