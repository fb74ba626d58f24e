"""Locate targets: picks on a record -> places with error ellipses."""
from __future__ import annotations

import numpy as np
from qgis.core import QgsProcessingOutputNumber

from ...survey.model import schemas
from ...survey.model.messages import Message
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm, stepper
from ..common.kinds import OWN
from ..common.picks import places, read_picks, refuse_picks, rejected_rows
from ..common.rasters import depth_grid
from ..common.write import Carried, write_layer

__all__ = ["LocateTargets"]

_SIGMAS = (
    ("SIGMA_BIAS", "sigma_bias", "Error of positions all outing, each axis (m)", "The bias that stays the same all "
     "outing. Blank: the track's own, shared out between bias, drift and jitter as the errors to expect share it."),
    ("SIGMA_PASS", "sigma_pass", "Error of positions in a pass, each axis (m)", "The drift from pass to pass. Blank: "
     "as for the bias."),
    ("SIGMA_JITTER", "sigma_jitter", "Error of each fix, each axis (m)", "The jitter, fresh in every fix. Blank: as "
     "for the bias."),
    ("SIGMA_RANGE", "sigma_range", "Error of the range as read (m)", "How well a range can be read off the record."),
    ("SIGMA_DEPTH", "sigma_depth", "Error of the depth (m)", "Water under the transducer: half of the variance is "
     "counted as reading, half as an offset that stays all outing."),
    ("SIGMA_HEIGHT", "sigma_height", "Unknown height of objects (m)", "How high objects without a shadow stand (the "
     "size of a half-normal: 0.5 is 0.4 m on average, nine in ten under 0.8 m); it matters most close to the boat."),
    ("SIGMA_TIME", "sigma_time", "Error of the pick's time (s)", "How well the moment is known; in the ordinary set "
     "0.5 s when read off the record, 1 s for a mark made by hand (boat point)."),
    ("SIGMA_LATENCY", "sigma_latency", "Error of the latency (s)", "How well the delay of the positions is known."),
    ("SIGMA_OFFSET", "sigma_offset", "Error of the lever arm, each axis (m)", "How well the transducer's place on the "
     "boat is known."),
    ("SIGMA_MOUNT", "sigma_mount", "Error of mount and compass (degrees)", "How well the fan is known to lie athwart: "
     "mount angle and compass bias together."),
    ("SIGMA_TRIM", "sigma_trim", "Error of the trim (degrees)", "Bow up or down, which tilts the fan forward or back."),
    ("SIGMA_SOUND_SPEED", "sigma_sound_speed", "Error of the sound speed (m/s)", "Over the whole way: 15 where a warm "
     "surface may hide cold water, 5 where the column is known, 50 where not even the temperature is."),
)
"""(parameter, name in survey.uncertainty.sigmas, label, help) of the standard deviations that may be stated."""


class LocateTargets(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "locatetargets", "Locate targets", "targets"
    STEP, JOB, GUIDE = 1, 6, ("distance", "errors")
    TAKES = {"PICKS": (schemas.PICKS, schemas.MARKS, schemas.WAYPOINTS, OWN, schemas.REJECTED),
             "TRACK": (schemas.TRACK,), "WATER": (OWN, schemas.AREAS)}
    LAYERS = {"OUTPUT": schemas.TARGETS, "ELLIPSES": schemas.ELLIPSES, "REJECTED": schemas.REJECTED}
    SECTIONS = (
        ("What was picked, and the boat's track", ("PICKS", "TRACK", "LABEL_FIELD", "SOURCE")),
        ("When: what ties a pick to the track", ("TIE", "TIME_FIELD", "PING_FIELD", "DATE_ORDER", "TIME_OFFSET",
                                                "MARK_DELAY")),
        ("Side and range (picks read from an image bring their own)",
         ("SIDE_FIELD", "RANGE_FIELD", "RANGE_UNIT", "SIDE", "SLANT", "RANGE_KIND", "RANGE_MODEL")),
        ("Water and depth", ("WATER", "DEPTH_FIELD", "DEPTH_UNIT", "DEPTH_GRID")),
        ("Shadows", ("SHADOW_FIELD", "SHADOW_START_FIELD")),
        ("How far off it may be", ("ERRORS", "CONFIDENCE", *(row[0] for row in _SIGMAS), "BEAM_WIDTH")),
    )
    NEEDED = ("SIDE_FIELD", "RANGE_FIELD", "RANGE_UNIT")
    FILLS = (("SIDE_FIELD", "PICKS", schemas.WAYPOINTS, "name"), ("RANGE_FIELD", "PICKS", schemas.WAYPOINTS, "name"),
             ("SIDE_FIELD", "PICKS", schemas.MARKS, "side"), ("RANGE_FIELD", "PICKS", schemas.MARKS, "range"),
             ("DEPTH_FIELD", "PICKS", schemas.MARKS, "depth"), ("LABEL_FIELD", "PICKS", schemas.MARKS, "label"))
    FUNCTION = "locate"
    FIELDS = {"grid": "DEPTH_GRID", "picks.t_s": "TIME_FIELD", "picks.ping": "PING_FIELD",
              "picks.shadow_end_m": "SHADOW_FIELD", "source": "SOURCE", "picks.slant_m.unit": "RANGE_UNIT"}
    CAUTIOUS = True
    SUMMARY = "Place what was picked on the record, with the ellipse it lies in and the largest cause of its error."
    TAGS = "target,pick,contact,waypoint,mark,slant range,ground range,position,error,ellipse,uncertainty,shadow,height"
    HELP = """Turns picks (a side and a range at a moment) into places. A pick is tied to the prepared track by its
    time, by the record's ping count, or by where it was marked; the slant range is brought to the ground with the water
    under the transducer; and the place is laid off athwart of the boat.

    A mark made on the boat as the object passes by (boat point) shows the fix of the moment, which is as old as the
    latency; it is snapped to the nearest pass. A mark that already stands at the object (object point) stays where it
    is: side, range and moment are found from the track. A point picked on a mapped record,
    with the source of its cells given, counts as a pick on the picture. 'auto' takes each pick's time, else
    its ping, else its point as a boat point, says which, and never takes a point for the object.

    Waypoints need no fields of their own: choose the field of their names both for the sides and for the ranges, and
    names such as 'P 45', 'STUMP-P-40', 'Steuerbord 12 m' or "left 40'" are read; what can be read in two ways is
    rejected, not guessed. A cell that cannot be read costs its pick, which goes to the rejected ones with the reason.

    Every target carries its error ellipse, a circle of the same confidence, the share of each cause in its variance and
    the name of the largest: what to improve first. The standard deviations behind it are a judgement of what small
    boats reach, in three sets; the errors of position and heading come from the track. Replace what you have measured.

    Close to the nadir the ground range is an interval, and the status says so; the side that the record shows is used
    right down to the track. Only a pick without a side that may lie right under the boat is put on the track, with its
    side unsure; without one, any other is rejected. A pick nearer than the bottom, and than anything that stands on it,
    hangs in the water. Objects only stand up, so that what shows no shadow is taken to stand a little (the mean of its
    unknown height). A shadow that runs off the record gives the least height there can be. Where the water is given, a
    pick that lies behind the shore even within its error is rejected: land stops sound, so side, range or polygon must
    be wrong."""
    OUTPUT_HELP = {
        "OUTPUT": "Targets: points in the track's CRS, one for each pick that has a place, with your own fields after "
                  "ours. 'ground_m' is the ground range by the range model; the point is the centre of the ellipse.",
        "ELLIPSES": "The ellipse of each target at the stated confidence.",
        "REJECTED": "Picks without a place: their id, why, their name, and your own fields; with their points where "
                    "the picks have some.",
        "TARGET_COUNT": "Number of targets.",
        "REJECTED_COUNT": "Number of picks without a place.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.source("PICKS", "Picks", "Points or a table, one row for each pick. A table of 'Read picks from "
                        "record image' needs no fields chosen: its own are used, in metres.", make.TABLES),
            make.source("TRACK", "Prepared track", "The track of the outing, from 'Prepare track'.", make.POINTS),
            make.choice("TIE", "Tie picks by", "What ties a pick to the track: its time, the record's ping count, a "
                        "point marked on the boat as the object passed, or a point at the object itself.",
                        ["auto", "time", "ping", "boat point", "object point"], "auto"),
            make.field("TIME_FIELD", "Field of times", "Time of each pick. Blank: the field t_s, or a date-time field "
                       "named time, if there is one.", "PICKS"),
            make.field("SIDE_FIELD", "Field of sides", "port/starboard, p/s, l/r, left/right or -1/+1; or the field of "
                       "waypoint names that tell the side.", "PICKS"),
            make.field("RANGE_FIELD", "Field of ranges", "Range from the boat as displayed; or the field of waypoint "
                       "names that tell the range. A unit in the name goes before the unit of ranges.", "PICKS"),
            make.choice("RANGE_UNIT", "Unit of ranges", "Unit of ranges and shadows, as the display showed them.",
                        make.RANGE_UNITS),
            make.source("WATER", "Water", "Polygons of the water, islands cut out: sound ends at the first shore.",
                        make.POLYGONS, optional=True),
            make.choice("ERRORS", "Errors to expect", "Standard deviations to start from, a judgement: 'ordinary' for "
                        "a recreational receiver and sounder, 'careful' for corrected positions and measured offsets, "
                        "'survey' for a calibrated boat. Those of position and heading come from the track.",
                        ["ordinary", "careful", "survey"], "ordinary"),
            *make.advanced(*self._advanced()),
            make.sink("OUTPUT", "Targets", self.OUTPUT_HELP["OUTPUT"], "point"),
            make.sink("ELLIPSES", "Error ellipses", self.OUTPUT_HELP["ELLIPSES"], "polygon", optional=True),
            make.sink("REJECTED", "Rejected picks", self.OUTPUT_HELP["REJECTED"], "table", optional=True),
        )
        self.addOutput(QgsProcessingOutputNumber("TARGET_COUNT", "Number of targets"))
        self.addOutput(QgsProcessingOutputNumber("REJECTED_COUNT", "Number of rejected picks"))

    def _advanced(self):
        return (
            make.field("PING_FIELD", "Field of ping numbers", "The record's own ping count at each pick.", "PICKS"),
            make.choice("DATE_ORDER", "Order of written dates", "Only for times written like 03/04/2024 14:05: "
                        "whether the day or the month stands first. Blank: picks with such times are rejected, for "
                        "nothing shows which is meant.", make.DATE_ORDERS),
            make.number("TIME_OFFSET", "Time offset of the picks (hours)", "Hours to add to times without a zone to "
                        "get UTC: a clock at UTC-5 needs 5, one at UTC+2 needs -2.", 0.0),
            make.choice("SIDE", "Side of all picks", "Instead of a field of sides.", ["port", "starboard"]),
            make.number("SLANT", "Range of all picks", "Instead of a field of ranges, in the unit of ranges.", None, 0),
            make.choice("RANGE_KIND", "Kind of range", "'slant' is what a record shows, straight from the transducer; "
                        "'ground' only for a display that has already taken the water out.",
                        ["slant", "ground"], "slant"),
            make.field("DEPTH_FIELD", "Field of depths", "Water under the transducer at the pick as displayed, best "
                       "read off the dark band of the record; goes before the track's depth.", "PICKS"),
            make.choice("DEPTH_UNIT", "Unit of depths", "Unit of that field.", make.RANGE_UNITS),
            make.field("SHADOW_FIELD", "Field of the shadow's end", "Slant range from the boat to the end of the "
                       "object's shadow (not the shadow's length); gives the height and a truer place.", "PICKS"),
            make.field("SHADOW_START_FIELD", "Field of the shadow's start", "Slant range to the start of the shadow, "
                       "which is the object's top. Blank: the range of the pick.", "PICKS"),
            make.field("LABEL_FIELD", "Field of labels", "Name of each target. Blank: what a waypoint's name says "
                       "beside side and range, else the field name.", "PICKS"),
            make.choice("RANGE_MODEL", "Range model", "'slant': flat bottom. 'terrain': the bottom of the depth grid. "
                        "'subtract' (range minus depth) is always short of the truth and is refused here.",
                        ["slant", "subtract", "terrain"], "slant"),
            make.raster("DEPTH_GRID", "Depth grid", "Depths in metres, positive down, from 'Prepare depth grid': "
                        "bends the range with the range model 'terrain', and gives the bottom at each target with "
                        "either. Without it only the water under the boat is known."),
            make.raster("SOURCE", "Source of a mapped record", "For points picked on the raster of 'Georeference "
                        "record image': its output 'Source of each cell'. Tie the picks as object points; side, range "
                        "and moment are then found back, and the targets are those of picks on the picture."),
            make.number("CONFIDENCE", "Confidence (%)", "Probability that a target lies inside its ellipse, and inside "
                        "its circle; 0.95 counts as 95.", 95.0, 0, 99.99),
            make.number("MARK_DELAY", "Delay of the marks (s)", "How long after the object was abeam the mark was "
                        "made; positive when pressed late. Moves picks tied by time or as boat points.", 0.0),
            *(make.number(name, label, f"One standard deviation. {text}"
                          + ("" if "Blank" in text else " Blank: as in the errors to expect."), None, 0)
              for name, _, label, text in _SIGMAS),
            make.number("BEAM_WIDTH", "Beam width (degrees)", "Width of the beam along the track; the object may lie "
                        "anywhere in it. Blank: as in the errors to expect.", None, 0),
        )

    def refusal(self, parameters, context):
        for name in ("TIE", "RANGE_KIND", "DATE_ORDER"):
            values.option(self, parameters, name, context)
        for name in ("TIME_OFFSET", "MARK_DELAY"):
            values.number(self, parameters, name, context)
        self._settings(parameters, context).check(values.given(parameters, "DEPTH_GRID"))
        if values.given(parameters, "SOURCE"):
            if values.option(self, parameters, "TIE", context) != "object point":
                return Message("{SOURCE} is given, which is for points on a mapped record: choose {TIE} 'object "
                               "point', or leave {SOURCE} blank.")
            if values.number(self, parameters, "MARK_DELAY", context):
                return Message("{MARK_DELAY} is given, but picks on a mapped record have no delay. Leave it at 0.")
        return refuse_picks(self, parameters, context)

    def _stated(self, parameters, context):
        return {key: values.number(self, parameters, name, context)
                for name, key in (*(row[:2] for row in _SIGMAS), ("BEAM_WIDTH", "beam_width"))}

    def _settings(self, parameters, context):
        from ...survey import LocateSettings

        return LocateSettings(
            tie=values.option(self, parameters, "TIE", context),
            mark_delay=values.number(self, parameters, "MARK_DELAY", context),
            time_offset=values.number(self, parameters, "TIME_OFFSET", context),
            range_kind=values.option(self, parameters, "RANGE_KIND", context),
            range_model=values.option(self, parameters, "RANGE_MODEL", context),
            confidence=values.percent(self, parameters, "CONFIDENCE", context),
            errors=values.option(self, parameters, "ERRORS", context), stated=self._stated(parameters, context),
            unit=values.option(self, parameters, "RANGE_UNIT", context) or "m")

    def run_tool(self, parameters, context, feedback):
        from ...survey import locate

        track, crs = read.track(self, parameters, "TRACK", context, feedback)
        table, picks, rows, notes = read_picks(self, parameters, context, feedback, crs, set(track.outing),
                                               _span(track.t_s))
        water = read.polygons(self, parameters, "WATER", context, feedback, crs)
        step = stepper(feedback)
        step(0.4)
        settings = self._settings(parameters, context)
        picks = self._from_map(parameters, context, track, picks, settings)
        located = locate(track, picks, settings, water,
                         grid=depth_grid(self, parameters, "DEPTH_GRID", context))
        step(0.7)
        self.tell(feedback, (*notes, *located.notes), located.warnings)
        located.rejected["reason"] = np.array([self.worded(why) for why in located.rejected["reason"]], object)
        self._say_rejected(located.rejected, len(picks), feedback)
        lost = rejected_rows(located.rejected["source_id"], picks, table, rows,
                             places(self, parameters, context, feedback, crs))
        return self._write(parameters, context, feedback, located, crs, Carried(table, rows[located.source]), lost)

    def _from_map(self, parameters, context, track, picks, settings):
        """Picks as they are, or those on a mapped record as the record has them."""
        from ...survey import picks_from_map
        from ..common.recordsource import read_source

        if not values.given(parameters, "SOURCE"):
            return picks
        source, own_depth = read_source(self, parameters, "SOURCE", context, track.crs, picks.x, picks.y)
        settings.tie = "auto"
        return picks_from_map(track, picks, source, own_depth and settings.range_model == "slant")

    def _say_rejected(self, rejected, count, feedback):
        reasons = [f"pick {one}: {why}" for one, why in zip(rejected["source_id"], rejected["reason"])]
        if reasons:
            more = " The first five:" if len(reasons) > 5 else ""
            feedback.pushWarning(f"{len(reasons)} of {count} picks have no place.{more} {'; '.join(reasons[:5])}.")

    def _write(self, parameters, context, feedback, located, crs, carried, lost):
        columns = located.columns
        ellipses = {**{name: columns[name] for name in ("target_id", "confidence_pct")}, "doubt": located.doubt}
        return {
            "OUTPUT": write_layer(self, parameters, "OUTPUT", context, feedback, fields=schemas.TARGETS,
                                  columns=columns, crs=crs, places=(located.x, located.y), carried=carried),
            "ELLIPSES": write_layer(self, parameters, "ELLIPSES", context, feedback, fields=schemas.ELLIPSES,
                                    columns=ellipses, crs=crs, places=located.outlines),
            "REJECTED": write_layer(self, parameters, "REJECTED", context, feedback, fields=schemas.REJECTED,
                                    columns={**located.rejected, "name": lost.names}, crs=crs, places=lost.places,
                                    carried=Carried(table=carried.table, rows=lost.rows)),
            "TARGET_COUNT": len(located.x), "REJECTED_COUNT": len(located.rejected["reason"]),
        }


def _span(t_s):
    """First and last time, NaN where there is none."""
    known = t_s[np.isfinite(t_s)]
    return (float(known.min()), float(known.max())) if len(known) else (np.nan, np.nan)
