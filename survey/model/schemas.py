"""Every public layer once: its fields, geometry, style and map tip. Names are public and pinned by a snapshot test."""
from __future__ import annotations

from collections.abc import Iterable

from .layers import Field, Layer, names

__all__ = [
    "AREAS", "BOTTOM_LINE", "CALIBRATION_LINES", "CALIBRATION_PREDICTED", "CAST_LINES", "CAST_STATIONS", "CHECKS",
    "COMBINED", "DRAWN_ELLIPSES", "DRAWN_TARGETS", "ELLIPSES", "FILL_LINES", "FIXES", "Field", "GAPS", "Layer", "MARKS",
    "OBJECTS", "OFFSETS", "PASSES", "PICKS",
    "PLAN_LINES", "PLAN_SHORE", "RANGE_TABLE", "REJECTED", "SHORE", "SIMULATED", "SWATHS", "TARGETS", "TRACK",
    "UNCOVERED", "WAYPOINTS", "all_layers", "kind_of", "names",
]

_ENOUGH = 0.75
"""Share of a layer's fields by which it is known: fields were added to layers in the course of time."""

_T_S = Field("t_s", "double", "s", "seconds since 1970-01-01 UTC; what the tools compute with")
_TIME = Field("time", "datetime", "", "the same moment for people and the temporal controller, UTC")
_OUTING = Field("outing", "string", "", "name of the outing")
_PASS = Field("pass_id", "int", "", "number of the pass within its outing")
_SAMPLE = Field("sample_id", "int", "", "number of the sample within its outing; a jump is a break")
_HEADING = Field("heading_deg", "double", "degrees", "heading, clockwise from true north")
_SPEED = Field("speed_mps", "double", "m/s", "speed over ground")
_TURN = Field("turn_dps", "double", "degrees/s", "turn rate, positive to starboard")
_CONFIDENCE = Field("confidence_pct", "double", "%", "probability that the place lies inside the ellipse")
_AREA = Field("area_m2", "double", "m2", "ground area")
_LENGTH = Field("length_m", "double", "m", "ground length")
_RANGE_MODEL = Field("range_model", "string", "", "slant, subtract or terrain")
_LATENCY = Field("latency_s", "double", "s", "latency taken out: a fix stamped T was true at T minus this")
_LEVER_F = Field("lever_forward_m", "double", "m", "transducer forward of the antenna, as applied")
_LEVER_S = Field("lever_starboard_m", "double", "m", "transducer to starboard of the antenna, as applied")
_MOUNT = Field("mount_deg", "double", "degrees", "mount angle applied, clockwise")
_RATIO = Field("range_ratio", "double", "", "true range over displayed range, c / c0")
_START = Field("start_time", "datetime", "", "first sample, UTC")
_END = Field("end_time", "datetime", "", "last sample, UTC")

FIXES = Layer("fixes", "Fixes", "point", (
    _T_S, _TIME,
    Field("segment", "int", "", "unbroken stretch of the log; never bridged"),
    _SPEED,
    Field("course_deg", "double", "degrees", "course over ground, clockwise from true north"),
    Field("heading_deg", "double", "degrees", "compass heading, clockwise from true north"),
    Field("depth_m", "double", "m", "depth as logged, below what depth_kind says"),
    Field("depth_kind", "string", "", "transducer, surface or keel"),
    Field("depth_offset_m", "double", "m", "logged offset: + transducer to waterline, - transducer to keel"),
    Field("water_temp_c", "double", "degrees C", "water temperature"),
    Field("hdop", "double", "", "horizontal dilution of precision"),
    Field("fix_quality", "int", "", "GNSS fix quality indicator as logged"),
    Field("satellites", "int", "", "satellites in use"),
    Field("log_file", "string", "", "file the fix came from"),
    Field("log_line", "int", "", "line, or point number, in that file"),
), style="fixes")

WAYPOINTS = Layer("waypoints", "Waypoints", "point", (
    Field("name", "string", "", "waypoint name"),
    _T_S, _TIME,
    Field("comment", "string", "", "comment of the waypoint"),
    Field("description", "string", "", "description of the waypoint"),
    Field("symbol", "string", "", "symbol text as logged"),
    Field("depth_m", "double", "m", "depth carried by the waypoint"),
    Field("water_temp_c", "double", "degrees C", "water temperature carried by the waypoint"),
    Field("log_file", "string", "", "file the waypoint came from"),
    Field("log_line", "int", "", "line, or point number, in that file"),
), style="waypoints")

TRACK = Layer("track", "Track", "point", (
    _OUTING, _PASS, _SAMPLE,
    Field("record_ping", "double", "", "the record's own ping count, null if unknown"),
    _T_S, _TIME, _HEADING,
    Field("heading_source", "string", "", "compass or course"),
    Field("sigma_heading_deg", "double", "degrees", "standard deviation of the heading"),
    Field("course_deg", "double", "degrees", "course over ground, clockwise from true north"),
    _SPEED, _TURN,
    Field("depth_m", "double", "m", "true water under the transducer"),
    Field("depth_source", "string", "", "sounder, interpolated, grid or constant"),
    Field("range_m", "double", "m", "true slant range in force, each side"),
    _RATIO,
    Field("sound_speed_mps", "double", "m/s", "sound speed in the water"),
    _LATENCY, _LEVER_F, _LEVER_S, _MOUNT,
    Field("sigma_pos_m", "double", "m", "standard deviation of the position, each axis, all causes"),
    Field("usable", "bool", "", "false where the sample must not be used"),
    Field("reject_reason", "string", "", "why it must not be used"),
), style="track")

PASSES = Layer("passes", "Passes", "line", (
    _OUTING, _PASS, _START, _END, _LENGTH,
    Field("mean_speed_mps", "double", "m/s", "mean speed over ground"),
    Field("mean_depth_m", "double", "m", "mean water under the transducer"),
    Field("range_m", "double", "m", "mean true slant range, each side"),
    Field("samples", "int", "", "usable samples"),
    Field("too_fast_pct", "double", "%", "share of the pass too fast for the pings an object needs"),
    Field("off_band_pct", "double", "%", "share of the pass with water outside 8 to 20 % of the range"),
), style="passes")

SWATHS = Layer("swaths", "Swaths", "multipolygon", (
    _OUTING, _PASS,
    Field("side", "string", "", "port, starboard or both"),
    _START, _END,
    Field("range_m", "double", "m", "mean true slant range"),
    Field("depth_m", "double", "m", "mean water under the transducer"),
    Field("inner_m", "double", "m", "mean ground range of the inner edge"),
    Field("outer_m", "double", "m", "mean ground range of the outer edge"),
    _SPEED,
    Field("samples", "int", "", "samples that drew the strip"),
    _RANGE_MODEL,
    Field("blind_deg", "double", "degrees", "angle from the vertical not counted as seen"),
    Field("sigma_edge_m", "double", "m", "standard deviation across track of the outer edge, own and pass errors"),
    _AREA,
    Field("range_used_pct", "double", "%", "part of the range in force that was counted, mean of the samples"),
    Field("sigma_drift_m", "double", "m", "standard deviation of the position from pass to pass, each axis"),
    Field("sigma_heading_deg", "double", "degrees", "standard deviation of the heading"),
    Field("sigma_sound_mps", "double", "m/s", "standard deviation of the sound speed"),
    Field("sigma_depth_m", "double", "m", "standard deviation of the depth, the same all day; more by a tenth of it "
          "where one depth was stated for all"),
), style="swaths")

GAPS = Layer("gaps", "Coverage gaps", "multipolygon", (
    Field("gap_id", "int", "", "number, largest first"),
    Field("kind", "string", "", "hidden, weak, no bottom, break, nadir, between, edge or unvisited"),
    _AREA,
    Field("width_m", "double", "m", "diameter of the widest circle that fits inside"),
    _LENGTH,
    Field("looks", "int", "", "passes that saw it, fewer than required"),
    Field("certain", "bool", "", "true if at least half of it is ground unseen in 95 % of the draws"),
    Field("certain_m2", "double", "m2", "ground of it that is unseen in at least 95 % of the draws of the errors"),
    Field("open_pct", "double", "%", "share of the draws in which at least half of it stays unseen"),
), style="gaps")

AREAS = Layer("areas", "Areas covered", "multipolygon", (
    _AREA,
    Field("covered_m2", "double", "m2", "ground area seen"),
    Field("covered_pct", "double", "%", "share of the area seen"),
    Field("low_pct", "double", "%", "low end of the 95 % interval of the share seen"),
    Field("high_pct", "double", "%", "high end of the 95 % interval of the share seen"),
    Field("looks_min", "int", "", "fewest looks anywhere in the area"),
    Field("looks_asked", "int", "", "separate passes that must have seen a place for it to count as seen"),
    Field("grade", "string", "", "what counts as a look: seen, or detection of an object"),
    Field("worst_pct", "double", "%", "share seen with every edge moved inwards at once by 1.645 sigma"),
    Field("best_pct", "double", "%", "share seen with every edge moved outwards at once by 1.645 sigma"),
    Field("expected_pct", "double", "%", "mean of the draws: the share to expect if the boat steered by its receiver"),
), style="areas")

SHORE = Layer("shore", "Shoreline", "multiline", (
    Field("shore_id", "int", "", "number of the stretch"),
    Field("status", "string", "", "scanned or unscanned"),
    _LENGTH,
), style="shore")

PICKS = Layer("picks", "Picks", "table", (
    Field("source_id", "string", "", "id of the pick in its layer"),
    _OUTING, _PASS, _SAMPLE, _T_S, _TIME,
    Field("ping", "double", "", "the record's own ping count"),
    Field("side", "string", "", "port or starboard"),
    Field("slant_m", "double", "m", "slant range as displayed"),
    Field("depth_m", "double", "m", "depth at the pick as displayed"),
    Field("shadow_m", "double", "m", "slant range to the end of the shadow as displayed"),
    Field("kind", "string", "", "object or bottom"),
    Field("label", "string", "", "label of the pick"),
    Field("shadow_open", "bool", "", "true where the shadow runs off the record: shadow_m is the least it can be"),
))

MARKS = Layer("marks", "Marks", "point", (
    Field("label", "string", "", "what it is"),
    Field("kind", "string", "", "on a record image: object or bottom"),
    Field("side", "string", "", "port or starboard"),
    Field("range", "double", "", "range to the object as displayed"),
    Field("depth", "double", "", "depth as displayed"),
    Field("remarks", "string", "", "remarks of the person who made the mark"),
), style="marks")

_BOTTOM = Field("bottom_m", "double", "m", "bottom at the target from a depth grid, the shallower of the grid's own "
                "depth and that brought to the sounder; null where no grid knows it")

_TARGETS = (
    Field("target_id", "int", "", "number of the target"),
    Field("label", "string", "", "label of the pick"),
    _OUTING, _PASS, _SAMPLE, _T_S, _TIME,
    Field("side", "string", "", "port or starboard"),
    Field("status", "string", "", "bottom, near nadir, side unsure, water column, ambiguous or off grid"),
    _RANGE_MODEL,
    Field("slant_m", "double", "m", "true slant range"),
    Field("ground_m", "double", "m", "ground range of the place given"),
    Field("ground_lo_m", "double", "m", "low end of the 95 % interval of ground range"),
    Field("ground_hi_m", "double", "m", "high end of the 95 % interval of ground range"),
    Field("depth_m", "double", "m", "true water under the transducer"),
    _HEADING,
    Field("bearing_deg", "double", "degrees", "bearing from the transducer to the target, from true north"),
    Field("height_m", "double", "m", "height of the object from its shadow"),
    Field("sigma_height_m", "double", "m", "standard deviation of that height"),
    Field("sigma_east_m", "double", "m", "standard deviation to the east"),
    Field("sigma_north_m", "double", "m", "standard deviation to the north"),
    Field("cov_en_m2", "double", "m2", "covariance of east and north"),
    Field("semi_major_m", "double", "m", "semi-major axis of the ellipse at confidence_pct"),
    Field("semi_minor_m", "double", "m", "semi-minor axis of the ellipse at confidence_pct"),
    Field("azimuth_deg", "double", "degrees", "azimuth of the major axis, 0 to 180 from true north"),
    _CONFIDENCE,
    Field("radius_m", "double", "m", "radius of the circle of the same confidence"),
    Field("main_cause", "string", "", "largest share of the variance: what to improve first"),
    Field("pct_position", "double", "%", "share of the variance from the GNSS position"),
    Field("pct_heading", "double", "%", "share from the heading"),
    Field("pct_range", "double", "%", "share from reading the slant range"),
    Field("pct_depth", "double", "%", "share from the depth and the object's height"),
    Field("pct_timing", "double", "%", "share from pick time and latency"),
    Field("pct_beam", "double", "%", "share from the along-track beam"),
    Field("pct_sound", "double", "%", "share from sound speed"),
    Field("pct_offsets", "double", "%", "share from lever arm, mount and trim"),
    Field("own_ee_m2", "double", "m2", "variance to the east of errors fresh in each pick"),
    Field("own_en_m2", "double", "m2", "covariance of errors fresh in each pick"),
    Field("own_nn_m2", "double", "m2", "variance to the north of errors fresh in each pick"),
    Field("vel_east_mps", "double", "m/s", "velocity to the east at the pick"),
    Field("vel_north_mps", "double", "m/s", "velocity to the north at the pick"),
    _TURN,
    Field("dg_dscale_m", "double", "m", "change of ground range for a unit change of range scale"),
    Field("dg_ddepth", "double", "", "change of ground range for a unit change of depth"),
    _LATENCY, _MOUNT, _LEVER_F, _LEVER_S, _RATIO,
    Field("sig_bias_m", "double", "m", "prior: GNSS bias of the outing, each axis"),
    Field("sig_pass_m", "double", "m", "prior: slow GNSS drift of the pass, each axis"),
    Field("sig_heading_deg", "double", "degrees", "prior: crab or compass deviation of the pass"),
    Field("sig_latency_s", "double", "s", "prior: latency"),
    Field("sig_mount_deg", "double", "degrees", "prior: mount angle with compass bias"),
    Field("sig_lever_m", "double", "m", "prior: lever arm, each axis"),
    Field("sig_scale", "double", "", "prior: range scale, from sound speed"),
    Field("sig_trim_deg", "double", "degrees", "prior: trim"),
    Field("sig_depth_offset_m", "double", "m", "prior: depth offset"),
    Field("heading_source", "string", "", "compass or course; a course shifts with the latency"),
)

_AT_LEAST = Field("height_at_least", "bool", "", "true where the shadow runs off the record: at least height_m high")

TARGETS = Layer("targets", "Targets", "point", (*_TARGETS, _AT_LEAST, _BOTTOM), style="targets")

_DOUBT = Field("doubt", "string", "", "why the ellipse does not hold at its confidence; empty where it does")

ELLIPSES = Layer("ellipses", "Error ellipses", "polygon", (
    Field("target_id", "int", "", "number of the target"),
    _CONFIDENCE,
    _DOUBT,
), style="ellipses")

REJECTED = Layer("rejected", "Rejected picks", "table", (
    Field("source_id", "string", "", "id of the pick in its layer"),
    Field("reason", "string", "", "why it has no place"),
    Field("name", "string", "", "name of the pick"),
))

COMBINED = Layer("combined", "Combined targets", "point", (
    *_TARGETS,
    Field("looks", "int", "", "picks that show this object"),
    Field("passes", "int", "", "passes they come from"),
    Field("members", "string", "", "target_id of each pick"),
    Field("max_w", "double", "", "largest normalised residual of its picks"),
    Field("blunders", "int", "", "picks with a normalised residual over 3.29; counted in all the same"),
    _BOTTOM,
    _DOUBT,
    _AT_LEAST,
), style="combined")

OFFSETS = Layer("offsets", "Offsets", "table", (
    Field("name", "string", "", "latency_s, mount_deg, lever_forward_m, lever_starboard_m, scale or trim_deg"),
    Field("value", "double", "", "in force after the adjustment, in the unit of the name; scale is the range_ratio"),
    Field("sigma", "double", "", "its standard deviation, in the same unit"),
    Field("applied", "double", "", "the value the targets were located with"),
    Field("prior_sigma", "double", "", "standard deviation assumed before the adjustment"),
    Field("correlations", "string", "", "correlation with each other offset of the same boat"),
    Field("boat", "string", "", "whose offset it is: the boat, or the outing where no field names boats"),
    Field("outings", "string", "", "outings it was solved from, parted by semicolons"),
))

CAST_LINES = Layer("cast_lines", "Casts", "line", (
    Field("target_id", "int", "", "number of the target"),
    Field("label", "string", "", "label of the target"),
    Field("status", "string", "", "bottom, near nadir, side unsure, water column, ambiguous or off grid"),
    Field("station_id", "int", "", "number of the station cast from"),
    Field("cast_no", "int", "", "order of the cast; the first goes to the target's place"),
    Field("distance_m", "double", "m", "from the boat to where the cast is aimed"),
    Field("bearing_deg", "double", "degrees", "bearing from the boat, from true north"),
    Field("magnetic_deg", "double", "degrees", "the same by a magnetic compass, null without a variation"),
    Field("clock", "string", "", "direction from the bow as hours and minutes of a clock face"),
    Field("hit_pct", "double", "%", "probability that this cast by itself lands within the hit radius"),
    Field("so_far_pct", "double", "%", "probability that one of the casts up to this one has"),
    Field("casts_needed", "int", "", "casts of this pattern for 90 %, null if 50 are not enough"),
    Field("reach", "string", "", "in reach, out of reach, over 50 casts, or no clear water"),
    Field("limit", "string", "", "what keeps it under 90 %: longest cast, water, 50 casts; empty where nothing does"),
), style="casts")

CAST_STATIONS = Layer("cast_stations", "Stations", "point", (
    Field("station_id", "int", "", "number of the station"),
    Field("kind", "string", "", "boat, or stand-off to windward"),
    _HEADING,
    Field("targets", "int", "", "targets cast at from here"),
    Field("nearest_m", "double", "m", "distance of the nearest of them"),
    Field("farthest_m", "double", "m", "distance of the farthest of them"),
    Field("name", "string", "", "name of the waypoint, as on the card: S and the target's number, or the boat's"),
    Field("route_no", "int", "", "place on the shortest way round the stations, from 1"),
    Field("cast_at", "string", "", "number and label of each target cast at from here"),
), style="stations")

PLAN_LINES = Layer("plan_lines", "Survey lines", "line", (
    Field("order", "int", "", "place in the run, from 1"),
    Field("kind", "string", "", "line, shore (a line along a shore), turn, or way (round land, or no room to turn)"),
    Field("line_id", "string", "", "short name of the line, as on the plotter; of a turn or way, the line it leads to"),
    Field("azimuth_deg", "double", "degrees", "course at the beginning, clockwise from true north"),
    _LENGTH,
    Field("range_m", "double", "m", "slant range to set; null on turns and ways"),
    _SPEED,
    Field("depth_m", "double", "m", "mean water along the line"),
    Field("reach_m", "double", "m", "mean ground range that the record reaches to each side"),
    Field("least_reach_m", "double", "m", "the same where it is least"),
    Field("look", "int", "", "which of the looks asked for it is laid for, from 1"),
    Field("lead_in_m", "double", "m", "straight way before the line"),
    Field("lead_out_m", "double", "m", "straight way after the line"),
    Field("start_h", "double", "h", "hours from the beginning of the run to its beginning"),
    Field("hours", "double", "h", "hours it takes, turning time counted in"),
    Field("litres", "double", "l", "fuel it takes; null where the use is not known"),
), style="plan_lines")

PLAN_SHORE = Layer("plan_shore", "Shore run", "line", (
    *PLAN_LINES,
    Field("shore_pct", "double", "%", "mean distance of the shore, in percent of the reach"),
    Field("in_band_pct", "double", "%", "part of the way on which the shore lies at 40 to 90 % of the reach"),
), style="plan_lines")

UNCOVERED = Layer("uncovered", "Not covered", "multipolygon", (
    Field("reason", "string", "", "too deep, shoal, setback, nadir, not worth a line, or beyond the budget"),
    _AREA,
), style="uncovered")

SIMULATED = Layer("simulated", "Simulated run", "point", (
    *FIXES,
    Field("range_m", "double", "m", "slant range of the line, or of the one before or after"),
    Field("line_id", "string", "", "line that is run; empty between lines"),
), style="fixes")

RANGE_TABLE = Layer("range_table", "Range table", "table", (
    Field("depth_m", "double", "m", "water under the transducer"),
    Field("range_m", "double", "m", "range set, to each side"),
    Field("range_depths", "double", "", "range over depth"),
    Field("band", "string", "", "no bottom, short (under 5 depths), good (5 to 12.5) or long"),
    Field("reach_slant_m", "double", "m", "ground reached on each side of a flat bottom"),
    Field("reach_subtract_m", "double", "m", "the same by the rule of thumb, range less depth"),
    Field("reach_up_m", "double", "m", "ground reached up the slope, at most to the water's edge"),
    Field("reach_down_m", "double", "m", "ground reached down the slope"),
    Field("water_pct", "double", "%", "share of each side of the record that shows water"),
    Field("effective_m", "double", "m", "slant range that counts, at most 12.5 times the depth"),
    Field("near_m", "double", "m", "ground from which the object shows; null where it does not"),
    Field("far_m", "double", "m", "ground up to which the object shows; null where it does not"),
    Field("limit", "string", "", "what ends it: range, grazing, shadow, beam, blind or no bottom"),
    Field("resolution_near_m", "double", "m", "ground under one sample across the track at the inner edge"),
    Field("resolution_far_m", "double", "m", "the same at the outer edge"),
    Field("beam_far_m", "double", "m", "width of the beam along the track at the outer edge"),
    Field("ping_limit_hz", "double", "Hz", "pings a second at most, c / 2R"),
    Field("fastest_mps", "double", "m/s", "fastest speed for the hits asked for"),
    Field("spacing_m", "double", "m", "distance between lines for the overlap asked for"),
    Field("shows", "bool", "", "true where the object shows at the speed"),
    Field("chosen", "bool", "", "true for the range to choose at this depth"),
    Field("why", "string", "", "why it was chosen"),
))

FILL_LINES = Layer("fill_lines", "Fill-in lines", "line", (
    *PLAN_LINES,
    Field("closes", "string", "", "numbers of the gaps that the line closes, whole or in part, after those before"),
    Field("closed_m2", "double", "m2", "ground of gaps that it closes beyond the lines before it"),
    Field("closed_pct", "double", "%", "share of what can be closed that is closed when it has been run"),
), style="plan_lines")

CALIBRATION_LINES = Layer("calibration_lines", "Calibration runs", "line", (
    *PLAN_LINES,
    Field("objects", "string", "", "numbers of the objects that the run passes"),
    Field("sides", "string", "", "side on which each of them lies, port or starboard"),
    Field("distances_m", "string", "m", "distance at which each of them is passed"),
), style="plan_lines")

CALIBRATION_PREDICTED = Layer("calibration_predicted", "Sigmas to come", "table", (
    Field("name", "string", "", "offset: latency_s, mount_deg, lever_forward_m, lever_starboard_m, scale or trim_deg"),
    Field("sigma", "double", "", "standard deviation that these runs will bring, in the unit of the name"),
    Field("target", "double", "", "standard deviation asked for"),
    Field("prior_sigma", "double", "", "standard deviation assumed before"),
    Field("best_sigma", "double", "", "what no number of runs past these objects gets below"),
    Field("met", "bool", "", "true where the runs reach what was asked for"),
    Field("told", "bool", "", "true where the runs say more about the offset than was assumed before"),
    Field("correlations", "string", "", "correlation with each other offset asked for"),
    Field("why_not", "string", "", "why it is not found, and what would find it; empty where it is found"),
))

BOTTOM_LINE = Layer("bottom_line", "Line of the bottom", "point", (
    Field("image", "string", "", "names of the images"),
    Field("row", "double", "pixels", "middle of the row, from the top"),
    Field("column", "double", "pixels", "where the bottom begins, from the left"),
    Field("ping", "double", "", "the record's own ping count"),
    _T_S, _TIME,
    Field("kind", "string", "", "bottom, so that the points can be picks again"),
    Field("depth_m", "double", "m", "depth at the row as displayed"),
    Field("sure", "bool", "", "false where the image shows no clear bottom and the line is carried over"),
), style="bottom_line")

OBJECTS = Layer("objects", "Measured objects", "polygon", (
    Field("object_id", "int", "", "number of the object"),
    Field("label", "string", "", "label of the object"),
    _OUTING, _PASS, _SAMPLE, _T_S, _TIME,
    Field("side", "string", "", "port or starboard"),
    Field("length_m", "double", "m", "length of the object"),
    Field("sigma_length_m", "double", "m", "standard deviation of it, null where it is a bound"),
    Field("length_lo_m", "double", "m", "low end of its 95 % interval"),
    Field("length_hi_m", "double", "m", "high end of its 95 % interval"),
    Field("length_at_least", "bool", "", "true where the object or its shadow runs off the record: at least so much"),
    Field("length_at_most", "bool", "", "true where it is hardly larger than the beam: at most so much"),
    Field("width_m", "double", "m", "width of the object, square to its length"),
    Field("sigma_width_m", "double", "m", "standard deviation of it, null where it is a bound"),
    Field("width_lo_m", "double", "m", "low end of its 95 % interval"),
    Field("width_hi_m", "double", "m", "high end of its 95 % interval"),
    Field("width_at_least", "bool", "", "true where the object or its shadow runs off the record: at least so much"),
    Field("width_at_most", "bool", "", "true where it is hardly larger than the beam: at most so much"),
    Field("height_m", "double", "m", "height of the object from its shadow"),
    Field("sigma_height_m", "double", "m", "standard deviation of it, null where it is a bound"),
    Field("height_lo_m", "double", "m", "low end of its 95 % interval"),
    Field("height_hi_m", "double", "m", "high end of its 95 % interval"),
    Field("height_at_least", "bool", "", "true where the object or its shadow runs off the record: at least so much"),
    Field("azimuth_deg", "double", "degrees", "azimuth of its length, 0 to 180 from true north; null where "
          "the beam hides it"),
    Field("sigma_azimuth_deg", "double", "degrees", "standard deviation of it"),
    Field("least_depth_m", "double", "m", "water over its top, below what depth_from names"),
    Field("sigma_least_depth_m", "double", "m", "standard deviation of it"),
    Field("least_depth_at_most", "bool", "", "true where the shadow runs off the record: at most so much water"),
    Field("depth_from", "string", "", "what the water over it is counted from: transducer, or, with a depth grid, "
          "water surface"),
    Field("slant_m", "double", "m", "true slant range of its middle"),
    Field("ground_m", "double", "m", "ground range of its middle"),
    _SPEED,
    Field("footprint_m", "double", "m", "footprint of the beam along the track, taken off once"),
    Field("stretch", "double", "", "how many times too long along the track the picture shows what is square"),
    Field("source_id", "string", "", "id of its first line, or of its row, in the layer it was read from"),
), style="objects")


CHECKS = Layer("checks", "Checks of a record", "table", (
    Field("name", "string", "", "shift, rate and scale of the picture, and the settings that come of them"),
    Field("unit", "string", "", "unit of the values"),
    Field("told", "double", "", "as the picture was said to show the record"),
    Field("value", "double", "", "what makes the bottom marks agree with the depth of the track"),
    Field("sigma", "double", "", "standard deviation of it"),
    Field("differs", "bool", "", "true where value and told lie more than three standard deviations apart"),
    Field("status", "string", "", "of the picture: fits, shifted, reversed or off (rate or range)"),
))

_ON_PICTURE = (
    Field("target_id", "int", "", "number of the target"),
    Field("label", "string", "", "label of the target"),
    Field("look", "int", "", "which time the picture shows it, the oldest first"),
    Field("column", "double", "pixels", "where it is to be looked for, from the left"),
    Field("row", "double", "pixels", "the same from the top"),
    Field("side", "string", "", "port or starboard"),
    Field("slant_m", "double", "m", "slant range as displayed"),
    Field("ping", "double", "", "the record's own ping count"),
    _T_S, _TIME,
    Field("sigma_row", "double", "pixels", "standard deviation along the track, in rows"),
    Field("sigma_column", "double", "pixels", "standard deviation across it, in columns"),
    _CONFIDENCE,
)

DRAWN_TARGETS = Layer("drawn_targets", "Targets on a record", "point", _ON_PICTURE, style="drawn_targets")

DRAWN_ELLIPSES = Layer("drawn_ellipses", "Ellipses on a record", "polygon", _ON_PICTURE, style="drawn_ellipses")


def all_layers() -> list[Layer]:
    """Every layer of this module.

    Examples
    --------
    >>> from athwart.model.schemas import all_layers
    >>> {layer.name for layer in all_layers()} >= {"track", "swaths", "gaps", "targets"}
    True
    """
    return [value for value in globals().values() if isinstance(value, Layer)]


def kind_of(field_names: Iterable[str]) -> Layer | None:
    """Which layer of ours these fields belong to; None where they are somebody's own.

    Parameters
    ----------
    field_names : iterable of str
        In the order of the layer. A user's fields that were carried along stand behind ours and do not count.

    Examples
    --------
    >>> from athwart.model import schemas
    >>> schemas.kind_of(["fid", *schemas.names(schemas.COMBINED)]) is schemas.COMBINED
    True
    >>> schemas.kind_of(["name", "owner"]) is None
    True
    """
    has = [name for name in field_names if name.lower() != "fid"]
    known = []
    for layer in all_layers():
        own = set(names(layer))
        if len(own.intersection(has)) >= _ENOUGH * len(own):
            known.append((len(own.intersection(has[:len(own)])) / len(own), len(own), layer))
    return max(known, key=lambda found: found[:2])[2] if known else None
