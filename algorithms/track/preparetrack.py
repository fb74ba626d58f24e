"""Prepare track: a log's fixes -> samples at the transducer with heading, depth, range and their errors, and passes."""
from __future__ import annotations

from dataclasses import replace

import numpy as np
from qgis.core import QgsProcessingOutputNumber

from ...survey.model import schemas
from ...survey.model.errors import InputError
from ...survey.model.messages import Message, Setting
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm, stepper
from ..common.kinds import OWN
from ..common.places import metric_crs
from ..common.rasters import depth_grid
from ..common.styles import put_into_group
from ..common.write import Carried, write_layer
from . import track_form, track_inputs

__all__ = ["PrepareTrack"]


class PrepareTrack(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "preparetrack", "Prepare track", "track"
    STEP, JOB, GUIDE = 2, 2, ("range", "distance")
    TAKES = {"INPUT": (schemas.FIXES, OWN, schemas.SIMULATED), "SETTINGS": (OWN, schemas.WAYPOINTS),
             "WAYPOINTS": (schemas.WAYPOINTS, OWN), "OFFSETS": (schemas.OFFSETS, OWN)}
    LAYERS = {"OUTPUT": schemas.TRACK, "PASSES": schemas.PASSES}
    SECTIONS, NEEDED = track_form.SECTIONS, track_form.NEEDED
    FILLS = (("DEPTH_FIELD", "INPUT", schemas.FIXES, "depth_m"), ("DEPTH_UNIT", "INPUT", schemas.FIXES, "depth_m=m"),
             ("HEADING_FIELD", "INPUT", schemas.FIXES, "heading_deg"),
             ("RANGE_FIELD", "INPUT", schemas.SIMULATED, "range_m"),
             ("RANGE_UNIT", "INPUT", schemas.SIMULATED, "range_m=m"),
             ("DEPTH_FIELD", "INPUT", schemas.SIMULATED, "depth_m"),
             ("DEPTH_UNIT", "INPUT", schemas.SIMULATED, "depth_m=m"))
    FUNCTION = "prepare"
    FIELDS = track_form.FIELDS
    SUMMARY = "Turn a boat's fixes into a track at the transducer, with range, depth, heading and passes."
    TAGS = ("track,fixes,gpx,nmea,pass,heading,course,depth,range,latency,lever arm,offset,sound speed,side scan,"
            "sonar,transducer,layback")
    HELP = """Makes the track every other tool stands on: one sample for each fix, at the transducer, with the heading,
    the water under it, the range in force, and how far off they may be. Corrections of an outing are made here, once,
    and travel with the track: latency, lever arm, mount, sound speed, draft.

    A pass ends at a break of the log, a stop, and half-way through a turn: at a corner, or where the boat has come
    round by 135 degrees or more, however wide the turn. A change of range is a step within it. Nothing is carried over
    a break. Samples that must not be used stay in the layer with the reason; a pass without any length or without a
    usable sample is not written.

    Sparse logs (a fix every 5 to 10 seconds) serve as they are: no samples are invented between fixes, and swaths are
    drawn along an arc from one to the next. Fixes denser than one a second are thinned to a metre.

    Soundings that have lost the bottom are left out: those near zero, and those that leap away and back. What goes on
    from its neighbours, rises step by step or stays at its level is bottom. The one depth never takes the place of a
    sounding that was left out. Fixes at places the boat cannot have come to are left out, a whole excursion as one.

    Messages warn of all that was left out and where, of the way lost in gaps, of a clock that stepped back, and of a
    compass that is off the course on straight runs. They say what was taken for what: the source of every heading and
    depth, the sound speed, the defaults used."""
    OUTPUT_HELP = {
        "OUTPUT": "Track: points at the transducer, the fixes' own fields behind ours. The input of most other tools.",
        "PASSES": "Passes: a line each, from one cut to the next, with length, mean speed, depth and range, and the "
                  "share of it that was too "
                  "fast for three pings a metre, or had water outside 8 to 20 % of the range.",
        "SAMPLE_COUNT": "Number of samples in the track.",
        "PASS_COUNT": "Number of passes.",
        "REJECTED_COUNT": "Number of fixes left out (repeats, jumps, no time) and of samples that must not be used.",
        "LENGTH_M": "Ground length of all passes, in metres, measured along the course so that jitter does not count.",
    }

    def initAlgorithm(self, config=None):
        self.add(*track_form.standing_open(), *track_form.folded(),
                 make.sink("OUTPUT", "Track", self.OUTPUT_HELP["OUTPUT"], "point"),
                 make.sink("PASSES", "Passes", self.OUTPUT_HELP["PASSES"], "line", optional=True))
        for name, label in (("SAMPLE_COUNT", "Number of samples"), ("PASS_COUNT", "Number of passes"),
                            ("REJECTED_COUNT", "Number of rejected fixes and samples"),
                            ("LENGTH_M", "Length of all passes (m)")):
            self.addOutput(QgsProcessingOutputNumber(name, label))

    def refusal(self, parameters, context):
        source = self.parameterAsSource(parameters, "INPUT", context)
        if source is None:
            return "No fixes were given (INPUT); choose the layer with the boat's positions."
        read.refuse_shape(source, self.parameterDefinition("INPUT"))
        read.layer_crs(source, "Fixes")
        track_inputs.refuse_other_layers(self, parameters, context, source)
        names = track_inputs.field_names(self, parameters, context, source)
        self._statements(parameters, context, names)
        self._target(parameters, context, source)
        return ""

    def _number(self, parameters, context, name, convert=None):
        value = values.number(self, parameters, name, context)
        return value if value is None or convert is None else float(convert(value))

    def _scale(self, parameters, context, name, needed, of):
        """Metres in the unit chosen; a fact without a default."""
        from ...survey.model.units import metres

        unit = values.option(self, parameters, name, context)
        if unit is None and needed:
            label = self.parameterDefinition(name).description()
            raise InputError(f"{label} ({name}) is not given. Choose the unit that {of} stand in: "
                             f"{', '.join(make.RANGE_UNITS)}.")
        return None if unit is None else float(metres(1.0, unit))

    def _target(self, parameters, context, source):
        if not values.given(parameters, "TARGET_CRS"):
            return metric_crs(source, "Fixes", context)
        crs = self.parameterAsCrs(parameters, "TARGET_CRS", context)
        if not crs.isValid():
            raise InputError(Message("{TARGET_CRS} '{given}' is not a coordinate system that QGIS knows.",
                                     given=parameters["TARGET_CRS"]))
        return crs

    def _scales(self, parameters, context, names):
        depths = bool(names["DEPTH_FIELD"]) or values.given(parameters, "DEPTH")
        return {"RANGE_FIELD": self._scale(parameters, context, "RANGE_UNIT", True, "the ranges"),
                "DEPTH_FIELD": self._scale(parameters, context, "DEPTH_UNIT", depths, "the depths")}

    def _statements(self, parameters, context, names):
        """The Preparation, without what stands in tables; every refusal of a value is made here."""
        from ...survey import RangeRows, TrackSettings
        from ...survey.model import units

        def number(name, convert=None):
            return self._number(parameters, context, name, convert)

        def option(name):
            return values.option(self, parameters, name, context)

        def speed(value):
            return units.metres_per_second(value, option("SPEED_UNIT"))

        for name in ("RANGE", "DEPTH", "SPEED"):
            value = number(name)
            if value is not None and not value > 0:
                raise InputError(Message("{name} is {given:g}; give a number above zero.", name=Setting(name),
                                         given=value))
        none = np.empty(0)
        changes = RangeRows(none, [], none, none, none) if values.given(parameters, "SETTINGS") else None
        stated = {"max_speed": number("MAX_SPEED", speed), "min_speed": number("MIN_SPEED", speed),
                  "drift_speed": number("DRIFT_SPEED", speed)}
        has_range = any(values.given(parameters, name) for name in ("RANGE", "RANGE_FIELD", "SETTINGS"))
        unit_m = self._scales(parameters, context, names)["RANGE_FIELD"] if has_range else 1.0
        depth_m = self._scale(parameters, context, "DEPTH_UNIT", values.given(parameters, "DEPTH"), "the depths")
        settings = TrackSettings(
            outing=values.text(self, parameters, "OUTING", context),
            range_m=number("RANGE", lambda value: value * unit_m), range_field=names["RANGE_FIELD"], range_rows=changes,
            depth_m=number("DEPTH", lambda value: value * depth_m), depth_reference=option("DEPTH_REFERENCE"),
            draft_m=number("TRANSDUCER_DRAFT"), keel_m=number("KEEL_OFFSET"), speed_mps=number("SPEED", speed),
            heading_offset_deg=number("HEADING_OFFSET"),
            backwards=self.parameterAsBool(parameters, "BACKWARDS", context),
            lever_forward_m=number("TRANSDUCER_FORWARD"), lever_starboard_m=number("TRANSDUCER_STARBOARD"),
            mount_deg=number("MOUNT_ANGLE"), latency_s=number("LATENCY"), assumed_mps=number("ASSUMED_SOUND_SPEED"),
            temperature_c=number("WATER_TEMPERATURE", lambda value: units.celsius(value, option("TEMPERATURE_UNIT"))),
            salinity=number("SALINITY"), max_gap_s=number("MAX_GAP"), max_turn_rate=number("MAX_TURN_RATE"),
            smoothing_s=number("SMOOTHING"), spacing_m=number("SPACING"), sigma_position_m=number("SIGMA_POSITION"),
            sigma_heading_deg=number("SIGMA_HEADING"), **{name: v for name, v in stated.items() if v is not None})
        if not (names["DEPTH_FIELD"] or values.given(parameters, "DEPTH") or values.given(parameters, "DEPTH_GRID")):
            raise InputError("No depth is given: choose the field of soundings (DEPTH_FIELD), type one depth for the "
                             "outing (DEPTH), or give a depth grid (DEPTH_GRID).")
        if names["HEADING_FIELD"] and option("HEADING_KIND") is None:
            track_inputs.refuse_unknown_headings(names["HEADING_FIELD"],
                                                 self.parameterAsSource(parameters, "INPUT", context))
        option("DATE_ORDER")
        if names["HEADING_FIELD"] and option("HEADING_KIND") == "magnetic":
            variation = number("MAGNETIC_VARIATION")
            if variation is None:
                raise InputError(Message("Headings are magnetic, but {MAGNETIC_VARIATION} is not given. Type the "
                                         "variation of the place and year, east positive."))
            settings = replace(settings, variation_deg=variation)
        number("TIME_OFFSET")
        return settings

    def run_tool(self, parameters, context, feedback):
        from ...survey import prepare
        from ...survey.model.times import iso_time

        source = self.parameterAsSource(parameters, "INPUT", context)
        crs = self._target(parameters, context, source)
        names = track_inputs.field_names(self, parameters, context, source)
        scales = self._scales(parameters, context, names)
        offset_h = values.number(self, parameters, "TIME_OFFSET", context)
        settings = self._statements(parameters, context, names)
        fixes, tab, rows = track_inputs.read_fixes(self, parameters, context, feedback, crs, names, scales, offset_h)
        known = np.empty(0) if fixes.t_s is None else fixes.t_s[np.isfinite(fixes.t_s)]
        first_s = float(known.min()) if len(known) else 0.0
        day = iso_time(first_s)[:10] if len(known) else tab.name
        changes = track_inputs.range_rows(self, parameters, context, feedback, crs, scales["RANGE_FIELD"], first_s,
                                          offset_h)
        settings = replace(settings, range_rows=changes, outing=settings.outing or day)
        if settings.temperature_c is None:
            settings = replace(settings, temperature_c=track_inputs.middle_temperature(self, tab, feedback))
        solved = track_inputs.offset_rows(self, parameters, context, feedback)
        notes = []
        if solved is not None:
            settings, notes = settings.with_offsets(*solved)
        grid = depth_grid(self, parameters, "DEPTH_GRID", context)
        place_crs = fixes.crs
        prepared = prepare(fixes, settings, None if grid is None else lambda x, y: grid.depth_at(x, y, place_crs),
                           stepper(feedback, 20, 70))
        self.tell(feedback, (*notes, *prepared.notes), prepared.warnings)
        if names["DEPTH_FIELD"] == "depth_m" and scales["DEPTH_FIELD"] != 1:
            self.tell(feedback, warnings=[Message("{DEPTH_FIELD} is depth_m, which holds metres in a layer of "
                                                  "{read_logs()}, but {DEPTH_UNIT} says otherwise. Check the unit.")])
        return self._write(parameters, context, feedback, prepared, crs, Carried(tab, rows[prepared.rows]))

    def _write(self, parameters, context, feedback, prepared, crs, carried):
        track = prepared.track
        columns = {name: getattr(track, name) for name in schemas.names(schemas.TRACK) if name != "time"}
        results = {
            "OUTPUT": write_layer(self, parameters, "OUTPUT", context, feedback, fields=schemas.TRACK, columns=columns,
                                  crs=crs, places=(track.x, track.y), carried=carried),
            "PASSES": write_layer(self, parameters, "PASSES", context, feedback, fields=schemas.PASSES,
                                  columns=prepared.passes, crs=crs, places=prepared.lines),
            "SAMPLE_COUNT": len(track), "PASS_COUNT": len(prepared.lines), "REJECTED_COUNT": prepared.rejected,
            "LENGTH_M": prepared.length_m,
        }
        for layer in (results["OUTPUT"], results["PASSES"]):
            put_into_group(context, layer, track.outing[0])
        return results
