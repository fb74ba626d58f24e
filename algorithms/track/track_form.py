"""The form of 'Prepare track': its parameters, each with its help."""
from __future__ import annotations

from ..common import parameters as make

__all__ = ["FIELDS", "NEEDED", "SECTIONS", "folded", "standing_open"]

FIELDS = {
    "range_m": "RANGE", "range_m.unit": "RANGE_UNIT", "range_rows": "SETTINGS", "range_rows.from_s": "from_time",
    "range_rows.names": "from_waypoint", "range_rows.range_m": "range", "depth_m": "DEPTH",
    "depth_m.unit": "DEPTH_UNIT", "depth_at": "DEPTH_GRID", "draft_m": "TRANSDUCER_DRAFT", "keel_m": "KEEL_OFFSET",
    "speed_mps": "SPEED", "fixes.t_s": "TIME_FIELD", "fixes.order": "ORDER_FIELD", "fixes.ping": "PING_FIELD",
    "fixes.depth_m": "DEPTH_FIELD", "fixes.heading_deg": "HEADING_FIELD",
    "variation_deg": ("HEADING_KIND", "MAGNETIC_VARIATION"), "heading_offset_deg": "HEADING_OFFSET",
    "lever_forward_m": "TRANSDUCER_FORWARD", "lever_starboard_m": "TRANSDUCER_STARBOARD", "mount_deg": "MOUNT_ANGLE",
    "latency_s": "LATENCY", "trim_deg": "OFFSETS", "scale": "OFFSETS", "assumed_mps": "ASSUMED_SOUND_SPEED",
    "temperature_c": "WATER_TEMPERATURE", "max_gap_s": "MAX_GAP", "smoothing_s": "SMOOTHING", "spacing_m": "SPACING",
    "sigma_position_m": "SIGMA_POSITION", "sigma_heading_deg": "SIGMA_HEADING",
}
"""Box of each setting of ``prepare``, or the column that holds it, where their names differ."""


SECTIONS = (
    ("Where the boat was", ("INPUT", "OUTING")),
    ("Range: give one of these three, with its unit", ("RANGE", "RANGE_UNIT", "SETTINGS", "RANGE_FIELD", "WAYPOINTS")),
    ("Depth: soundings or one depth, with the unit; or a depth grid (under Advanced)",
     ("DEPTH_FIELD", "DEPTH", "DEPTH_UNIT", "DEPTH_GRID", "DEPTH_REFERENCE", "TRANSDUCER_DRAFT", "KEEL_OFFSET")),
    ("Heading", ("HEADING_FIELD", "HEADING_KIND", "MAGNETIC_VARIATION", "HEADING_OFFSET", "BACKWARDS", "SMOOTHING",
                 "DRIFT_SPEED")),
    ("Boat and transducer", ("TRANSDUCER_FORWARD", "TRANSDUCER_STARBOARD", "MOUNT_ANGLE", "LATENCY", "OFFSETS")),
    ("Sound speed", ("ASSUMED_SOUND_SPEED", "WATER_TEMPERATURE", "TEMPERATURE_UNIT", "SALINITY")),
    ("Times and order of the fixes", ("TIME_FIELD", "DATE_ORDER", "TIME_OFFSET", "ORDER_FIELD", "PING_FIELD")),
    ("Where passes end", ("PASS_FIELD", "MIN_SPEED", "MAX_SPEED", "SPEED", "SPEED_UNIT", "MAX_GAP", "MAX_TURN_RATE",
                          "SPACING")),
    ("Errors, and the layer made", ("SIGMA_POSITION", "SIGMA_HEADING", "TARGET_CRS")),
)
"""Of the form, in the order somebody knows the facts."""

NEEDED = ("RANGE", "RANGE_UNIT", "SETTINGS", "RANGE_FIELD", "DEPTH_FIELD", "DEPTH", "DEPTH_UNIT")


def standing_open():
    """What nearly every outing has to state."""
    return (
        make.source("INPUT", "Fixes", "Where the boat was: the output of 'Read NMEA 0183 and GPX logs', any other "
                    "layer of points, or lines whose M is time in seconds since 1970. Fixes are sorted by time; "
                    "repeated ones and GNSS jumps are left out and counted.", make.POINTS + make.LINES),
        make.text("OUTING", "Name of the outing", "Keeps outings apart once their layers are merged. Blank: the date "
                  "of the first fix, or the layer's name where there are no times."),
        make.number("RANGE", "Range", "Range the record was made with, to each side, as the display says it. No log "
                    "carries it, so one of range, changes of range and field of ranges must be given. Where changes of "
                    "range are given, it holds until the first of them."),
        make.choice("RANGE_UNIT", "Unit of ranges", "Unit of every range given here: the range, its changes, the field "
                    "of ranges.", make.RANGE_UNITS),
        make.source("SETTINGS", "Changes of range", "A table with the field range and one of from_time or "
                    "from_waypoint: each range holds from then on, never interpolated. from_time is a date and time "
                    "(without a zone it is UTC, plus the time offset), or a time of day such as 14:05 or 2:05 PM. "
                    "from_waypoint names one of the waypoints of the changes (under Advanced).",
                    make.TABLES, optional=True),
        make.field("DEPTH_FIELD", "Field of depths", "Soundings of the fixes layer (depth_m of a log). Lost bottoms "
                   "and spikes are taken out, short gaps bridged.", "INPUT"),
        make.number("DEPTH", "One depth for the outing", "Water under the transducer for the whole outing, as read off "
                    "the display; serves where there is neither sounding nor depth grid."),
        make.choice("DEPTH_UNIT", "Unit of depths", "Unit of the field of depths and of the one depth. depth_m of a "
                    "log is in m.", make.RANGE_UNITS),
        make.field("RANGE_FIELD", "Field of ranges", "Range in force in the fixes layer, in the unit of ranges; where "
                   "it is empty the last value holds.", "INPUT"),
    )


def folded():
    """What has a sensible default or serves some outings only."""
    return make.advanced(
        make.field("HEADING_FIELD", "Field of compass headings", "Where the bow points, in degrees (heading_deg of a "
                   "log). Blank, or where the field is null: the course over ground stands in, which is off by the "
                   "boat's crab.",
                   "INPUT"),
        make.source("WAYPOINTS", "Waypoints of the changes", "Points that from_waypoint names in the changes of range, "
                    "with their names in a field called name. A waypoint with a time (t_s or time) counts by it, one "
                    "without by the moment the boat came by.", make.POINTS, optional=True),
        make.choice("DEPTH_REFERENCE", "Depths are measured from", "The transducer, the water surface or the keel. "
                    "logged: what the field depth_kind says of each sounding, the transducer where it says nothing.",
                    ["logged", "transducer", "surface", "keel"], "logged"),
        make.distance("TRANSDUCER_DRAFT", "Transducer below the surface", "Taken off depths from the surface and "
                      "off the depth grid. Blank: the offset that the log carries with its soundings, else "
                      "0.", None, 0, 100),
        make.distance("KEEL_OFFSET", "Keel below the transducer", "Added to depths under the keel. Blank: the "
                      "offset that the log carries with its soundings.", None, -100, 100),
        make.raster("DEPTH_GRID", "Depth grid", "Depths in metres, positive down from the surface of the day (see "
                    "'Prepare depth grid'). Serves where there is no sounding."),
        make.field("TIME_FIELD", "Field of times", "Date and time of each fix, or seconds since 1970. Blank: t_s or "
                   "else time, where the layer has them.", "INPUT"),
        make.choice("DATE_ORDER", "Order of written dates", "Only for times written like 03/04/2024 14:05: whether "
                    "the day or the month stands first. Blank: such times are not read, for nothing shows which is "
                    "meant. Year-month-day needs no choice.", make.DATE_ORDERS),
        make.number("TIME_OFFSET", "Time offset (hours)", "Added to times without a zone to give UTC: 5 for a clock at "
                    "UTC-5. Times with a zone and seconds since 1970 are not moved.", 0.0, -100000, 100000),
        make.field("ORDER_FIELD", "Field of order", "For fixes without times: a number that rises in the order they "
                   "were sailed. Blank: the order of the layer.", "INPUT"),
        make.field("PASS_FIELD", "Fields whose change ends a pass", "A change in any of these ends a pass, besides the "
                   "breaks found. Segments of a log or GPX track always do.", "INPUT", many=True),
        make.field("PING_FIELD", "Field of pings", "The record's own count at each fix; picks can then be tied by it.",
                   "INPUT"),
        make.number("SPEED", "Speed of fixes without times", "Speed over ground of the whole outing. Only for fixes "
                    "without times: the way is timed by it.", None, 0),
        make.choice("SPEED_UNIT", "Unit of speeds", "Unit of every speed given here, but not of the sound's.",
                    make.SPEED_UNITS, "m/s"),
        make.choice("HEADING_KIND", "Headings are", "True, or magnetic: then the magnetic variation is added. A "
                    "compass shows magnetic ones. Blank serves heading_deg of 'Read NMEA 0183 and GPX logs' only, "
                    "which is true.", ["true", "magnetic"]),
        make.number("MAGNETIC_VARIATION", "Magnetic variation (degrees, east positive)", "From true to magnetic north "
                    "at the place and date. Needed for magnetic headings.", None, -180, 180),
        make.number("HEADING_OFFSET", "Heading offset (degrees)", "Added to every heading, clockwise: a compass that "
                    "is off, or a known crab.", 0.0, -360, 360),
        make.switch("BACKWARDS", "The boat went astern", "The bow pointed against the course. Headings by compass "
                                                         "stay."),
        make.number("DRIFT_SPEED", "Speed of drift sideways", "What wind and current set the boat sideways, one "
                    "standard deviation: it makes a course a less sure heading. Blank: 0.2 m/s.", None, 0),
        make.distance("TRANSDUCER_FORWARD", "Transducer forward of the antenna", "Negative where the transducer is "
                      "aft of the GNSS antenna.", 0.0, -1000, 1000),
        make.distance("TRANSDUCER_STARBOARD", "Transducer to starboard of the antenna", "Negative where it is to "
                                                                                            "port.",
                      0.0, -1000, 1000),
        make.number("MOUNT_ANGLE", "Mount angle (degrees)", "How far the transducer is turned clockwise from the "
                                                            "bow.", 0.0,
                    -180, 180),
        make.number("LATENCY", "Latency of positions (s)", "How late the positions are: a fix stamped T was true at T "
                    "minus this. Soundings and compass are taken to be on time.", 0.0, -60, 60),
        make.source("OFFSETS", "Solved offsets", "The table of solved offsets from 'Combine repeated targets'. What "
                    "it holds takes the place of the latency, the mount angle, the transducer's place and the sound "
                    "speed given here, and applies a trim. Of a table of several boats the rows of this outing are "
                    "taken.", make.TABLES, optional=True),
        make.number("ASSUMED_SOUND_SPEED", "Sound speed of the display (m/s)", "What the display turns echo time into "
                    "metres with; 1500 and 1463 (4800 ft/s) are common. Blank: not known, ranges stay as "
                    "displayed.", None, 0),
        make.number("WATER_TEMPERATURE", "Water temperature", "With the display's sound speed: true ranges. "
                    "Blank: the middle of water_temp_c in the fixes layer, if that is there.", None),
        make.choice("TEMPERATURE_UNIT", "Unit of temperature", "Unit of the water temperature.", make.TEMPERATURE_UNITS,
                    "C"),
        make.number("SALINITY", "Salinity (g/kg)", "Salt in the water: 0 for a lake, about 35 for the sea.", 0.0, 0,
                    42),
        make.number("MIN_SPEED", "Slowest speed", "Slower is a stop, which ends a pass. Blank: 0.3 m/s.", None, 0),
        make.number("MAX_SPEED", "Fastest speed", "Faster samples do not count, and a single fix that far away is "
                    "a GNSS jump. Blank: 10 m/s.", None, 0),
        make.number("MAX_GAP", "Longest gap (s)", "A longer time without a fix ends a pass, and without a sounding is "
                    "not bridged. Blank: 10 s or three usual intervals, at most 30 s.", None, 0),
        make.number("MAX_TURN_RATE", "Fastest bend within a pass (degrees/s)", "A bend that is faster, through 45 "
                    "degrees or more, is a turn: passes are cut half-way through it. Blank: a corner is a turn, found "
                    "by the mean course over 80 m before and after it, 67.5 degrees apart or more. Either way a pass "
                    "ends, too, where the boat has come round by 135 degrees or more.", None, 0),
        make.number("SMOOTHING", "Smoothing of the compass (s)", "Length of the running mean of compass headings; 0 "
                    "for none.", 0.0, 0, 3600),
        make.distance("SPACING", "Distance between samples", "Fixes closer together are left out, except at the "
                      "ends of passes and where the range changes. Blank: 1 m where fixes come more often than once a "
                      "second, else none are left out. 0 keeps all.", None, 0),
        make.distance("SIGMA_POSITION", "Error of positions", "One standard deviation, each axis, all causes. Blank: "
                      "2.12 m, more in proportion where the field hdop is over 1.", None, 0),
        make.number("SIGMA_HEADING", "Error of headings (degrees)", "One standard deviation. Blank: 3 for a compass; "
                    "for courses, what drift and jitter make at the boat's speed.", None, 0, 180),
        make.crs("TARGET_CRS", "Coordinate system of the track", "Blank: that of the fixes if it is projected in "
                 "metres, else their UTM zone."),
    )
