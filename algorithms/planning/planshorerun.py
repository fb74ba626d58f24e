"""Plan shore run: a way along the shore at which the record shows it best."""
from __future__ import annotations

import numpy as np

from ...survey.model import schemas
from ...survey.model.errors import InputError
from ...survey.model.messages import Message
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm, stepper
from ..common.kinds import OWN
from ..common.write import write_layer
from . import plan_form

__all__ = ["PlanShoreRun"]


class PlanShoreRun(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "planshorerun", "Plan shore run", "planning"
    STEP, GUIDE = 3, ("plan",)
    LAYERS = {"OUTPUT": schemas.PLAN_SHORE, "SIMULATE": schemas.SIMULATED}
    FIELDS = {**plan_form.fields_but("area", "model", "overlap", "looks", "direction", "azimuth", "round_shore",
                       "lead_m", "turn_s", "runs"), "shore_share": "SHORE_AT"}
    TAKES = {"SHORELINE": (OWN, schemas.AREAS, schemas.SHORE), "WATER": (OWN, schemas.AREAS),
             "EXCLUDE": (OWN, schemas.AREAS, schemas.GAPS)}
    SECTIONS = (
        ("The shore", ("SHORELINE", "SIDE", "SHORE_AT", "REACH", "WATER")),
        ("Range of the record", ("RANGE", "RANGE_UNIT", "BLIND_ANGLE")),
        ("Depth: one for all, or a depth grid", ("DEPTH", "DEPTH_GRID")),
        ("Where the boat may go", ("EXCLUDE", "SETBACK", "MIN_DEPTH")),
        ("The boat", ("SPEED", "SPEED_UNIT", "LINE_KEEPING", "MIN_RADIUS", "FUEL_PER_HOUR", "START")),
    )
    NEEDED = ("RANGE", "DEPTH", "DEPTH_GRID")
    FUNCTION = "plan_shore_run"
    CAUTIOUS = True
    SUMMARY = "Lay a run along the shore, the shore on one side at the distance at which the record shows it best."
    TAGS = "plan,shore,shoreline,bank,docks,littoral,route,run,gpx"
    HELP = """Lays a run round the lake and its islands at which the shore lies at a chosen part of the reach, between
    40 and 90 %: nearer it is lost beside the water column, farther out in the weak end of the record. Where the water
    changes its depth the run bends in and out with the reach. The shore stays on one side all the way.

    Where the setback, excluded ground such as docks, or the least depth keep the boat off, the run follows their edge.
    The messages and the field in_band_pct say on how much of the run the shore lies in the 40 to 90 %.

    The share of the shore to be scanned is what 'Find unscanned shoreline' finds for a run without errors."""
    OUTPUT_HELP = {
        "OUTPUT": "A line for each way along a shore and each way between, in order.",
        "SIMULATE": "The log of a simulated run, as 'Read NMEA 0183 and GPX logs' would make it; range_m holds the "
                    "range.",
        "OUTPUT_GPX": "A GPX file with a route for each shore, range and speed in the description.",
        "LENGTH_M": "Length of the whole run in m.",
        "HOURS": "Time of the run.",
        "LITRES": "Fuel of the run, where the use is known.",
        "PREDICTED_PERCENT": "Share of the shore to be scanned on a run without errors.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.source("SHORELINE", "Shoreline", "The lake's polygon, or lines of its shore.", make.SHORES),
            *make.advanced(make.source("WATER", "Water", "Polygons of the water, islands cut out; blank takes the "
                                       "shoreline's own polygons.", make.POLYGONS, True)),
            make.source("EXCLUDE", "Not to be entered", "Polygons such as docks and bathing places.", make.POLYGONS,
                        True),
            *plan_form.depth_boxes(),
            make.choice("SIDE", "Shore on", "The side of the boat on which the shore stays.", ["starboard", "port"],
                        "starboard"),
            *plan_form.limit_boxes(),
            *make.advanced(
                make.number("SHORE_AT", "Distance of the shore (% of the reach)", "Between 40 and 90.", 65.0, 40, 90),
                make.distance("REACH", "Reach over water", "How near to the shore the ground seen must come, for the "
                              "share to be scanned.", 5.0, 0),
                make.distance("LINE_KEEPING", "Wander of the helm", "One standard deviation of the boat off its "
                              "line, for the simulated run.", 2.0, 0)),
            *plan_form.boat_boxes(1.5),
            make.sink("OUTPUT", "Shore run", self.OUTPUT_HELP["OUTPUT"], "line"),
            make.sink("SIMULATE", "Simulated run", self.OUTPUT_HELP["SIMULATE"], "point", optional=True,
                      by_default=False),
            make.destination_file("OUTPUT_GPX", "Routes", self.OUTPUT_HELP["OUTPUT_GPX"], "GPX files (*.gpx)"))
        plan_form.add_numbers(self, ("LENGTH_M", "Length of the run (m)"), ("HOURS", "Hours"),
                              ("LITRES", "Fuel (litres)"), ("PREDICTED_PERCENT", "Shore to be scanned (%)"))

    def _settings(self, parameters, context, start=None):
        from ...survey import ShoreRunSettings

        def number(name):
            return values.number(self, parameters, name, context)
        return ShoreRunSettings(
            plan_form.range_rule(self, parameters, context, wander_m=number("LINE_KEEPING"), overlap=0.0),
            shore_share=number("SHORE_AT") / 100,
            starboard=values.option(self, parameters, "SIDE", context) == "starboard", radius_m=number("MIN_RADIUS"),
            speed_mps=plan_form.speed(self, parameters, context), litres_per_hour=number("FUEL_PER_HOUR"), start=start,
            scan_reach_m=number("REACH"))

    def refusal(self, parameters, context):
        if not values.given(parameters, "RANGE"):
            return Message("{RANGE} is blank; give the range that will be set.")
        told = plan_form.refused(self, parameters, context)
        if told:
            return told
        if not values.number(self, parameters, "REACH", context) > 0:
            return Message("{REACH} must be more than 0.")
        self._settings(parameters, context)
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey import plan_shore_run

        shore, crs = plan_form.geometries(self, parameters, "SHORELINE", context, feedback)
        water, _ = plan_form.geometries(self, parameters, "WATER", context, feedback, crs)
        if water is None:
            water = [g for g in shore or [] if g.geom_type in ("Polygon", "MultiPolygon")]
        if not water:
            raise InputError(Message("Give {WATER}, the lake: {SHORELINE} holds no polygon, so it cannot be known "
                                     "on which side of it the boat floats."))
        ground, _ = plan_form.ground_for(self, parameters, context, feedback, water, crs)
        settings = self._settings(parameters, context, plan_form.start_of(self, parameters, context, crs))
        plan = plan_shore_run(ground, settings, read.wkt(crs), shore, stepper(feedback, 5, 95))
        self.tell(feedback, warnings=plan.notes)
        feedback.pushInfo(f"{plan.run.length:.0f} m, {plan.hours:.2f} h"
                          f"{'' if np.isnan(plan.litres) else f', {plan.litres:.1f} litres'}; "
                          f"{plan.predicted_percent:.1f} % of the shore to be scanned on a run without errors.")
        results = self._write(parameters, context, feedback, plan, settings, crs)
        return {**results, "LENGTH_M": float(plan.run.length), "HOURS": plan.hours,
                **({} if np.isnan(plan.litres) else {"LITRES": plan.litres}),
                "PREDICTED_PERCENT": float(plan.predicted_percent)}

    def _write(self, parameters, context, feedback, plan, settings, crs):
        from ...survey import plan_places, shore_columns, simulated_fixes

        frame = plan.ground.frame
        results = {"OUTPUT": write_layer(
            self, parameters, "OUTPUT", context, feedback, fields=self.LAYERS["OUTPUT"],
            columns=shore_columns(plan, settings), crs=crs, places=plan_places(plan.run, frame))}
        if values.given(parameters, "SIMULATE"):
            x, y, fixes = simulated_fixes(plan.run, plan.ground, speed_mps=settings.speed_mps,
                                          wander_m=settings.reach.wander_m)
            results["SIMULATE"] = write_layer(self, parameters, "SIMULATE", context, feedback,
                                              fields=self.LAYERS["SIMULATE"], columns=fixes, crs=crs,
                                              places=(x, y))
        results.update(plan_form.save_gpx(self, parameters, context, feedback, plan.run, frame, settings.speed_mps))
        return results
