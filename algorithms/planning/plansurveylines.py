"""Plan survey lines: where to put the boat so that an area is seen, with the least way."""
from __future__ import annotations

import numpy as np

from ...survey.model import schemas
from ...survey.model.errors import InputError
from ...survey.model.messages import Message
from ..common import parameters as make
from ..common import values
from ..common.base import AthwartAlgorithm, stepper
from ..common.kinds import OWN
from ..common.write import write_layer
from . import plan_form

__all__ = ["PlanSurveyLines"]

_DIRECTIONS = ["shortest", "contours", "across", "given"]
_ROUND = ["where shorter", "never", "always"]


class PlanSurveyLines(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "plansurveylines", "Plan survey lines", "planning"
    STEP, GUIDE = 2, ("plan",)
    LAYERS = {"OUTPUT": schemas.PLAN_LINES, "UNCOVERED": schemas.UNCOVERED, "SIMULATE": schemas.SIMULATED}
    FIELDS = plan_form.FIELDS
    TAKES = {"AREA": (OWN, schemas.AREAS, schemas.GAPS, schemas.UNCOVERED), "WATER": (OWN, schemas.AREAS),
             "EXCLUDE": (OWN, schemas.AREAS, schemas.GAPS)}
    SECTIONS = (
        ("What is to be covered", ("AREA", "REQUIRED_LOOKS", "WATER", "EXCLUDE")),
        ("Range of the record, or one chosen for each line (under Advanced)",
         ("RANGE", "RANGE_UNIT", "CHOOSE_RANGE", "RANGE_MODEL", "BLIND_ANGLE")),
        ("Depth: one for all, or a depth grid", ("DEPTH", "DEPTH_GRID")),
        ("Where the boat may go", ("SETBACK", "MIN_DEPTH")),
        ("How the lines lie", ("DIRECTION", "AZIMUTH", "ROUND_SHORE", "OVERLAP", "LINE_KEEPING", "LEAD")),
        ("The boat", ("SPEED", "SPEED_UNIT", "TURN_TIME", "MIN_RADIUS", "FUEL_PER_HOUR", "START")),
        ("The share to expect", ("RUNS",)),
    )
    NEEDED = ("RANGE", "DEPTH", "DEPTH_GRID")
    FUNCTION = "plan_lines"
    CAUTIOUS = True
    SUMMARY = "Lay the lines that see an area in the shortest run, in order, with hours, fuel and the share to expect."
    TAGS = "plan,lines,survey,route,spacing,overlap,transect,coverage,before,trip,fuel,hours,gpx"
    HELP = """Lays lines over an area before the trip. Each line lies as far from the last as the reach of both allows,
    where the depth changes unevenly: the reach is what the range shows on that bottom, less the overlap and the wander
    of the helm. A line may go round the edge of the area, where that is shorter: then the others need not lie close for
    the sake of slanting shores.

    By 'shortest' the directions across which the area is narrowest are tried, and the cheapest is
    taken. 'contours' and 'across' follow and cross the contours of the depth grid on the whole; 'given' is yours.
    For two looks and more, further sets of lines lie between the first, which also see what lay under the boat.

    No line, turn or way between lines crosses land, its setback, excluded ground or a shoal of the depth grid. Lines
    are run in an order and direction that lie close to each other, end to start.

    The share to expect comes from simulated runs: the boat steers by its receiver, wanders about its line, and every
    error of the audit's interval is drawn for each run. What is not seen is an output of its own, with the reason; the
    strip under the boat is most of it, unless two looks are asked for.

    The plan can be had as routes for a plotter, and as the log of a simulated run, to be taken through 'Prepare track'
    and audited as a real one."""
    OUTPUT_HELP = {
        "OUTPUT": "A line for each line, turn and way of the run, in order.",
        "UNCOVERED": "Ground that the plan does not see, with the reason: too deep, shoal, setback, nadir, or not "
                     "worth a "
                     "line.",
        "SIMULATE": "The log of a simulated run, as 'Read NMEA 0183 and GPX logs' would make it; range_m holds the "
                    "range.",
        "OUTPUT_GPX": "A GPX file with a route for each line, turns as route points, range and speed in the "
                      "description.",
        "LINE_COUNT": "Number of lines.",
        "LENGTH_M": "Length of the whole run, turns and runs between lines included, in m.",
        "HOURS": "Time of the run, turning time included.",
        "LITRES": "Fuel of the run, where the use is known.",
        "PREDICTED_PERCENT": "Share of the area to be seen, mean of the simulated runs.",
        "PREDICTED_LOW_PERCENT": "2.5 % of the simulated runs see less.",
        "PREDICTED_HIGH_PERCENT": "2.5 % of the simulated runs see more.",
        "NOMINAL_PERCENT": "Share seen on a run without any error.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.source("AREA", "Area to be covered", "Polygons: the lake, or part of it, islands cut out.",
                        make.POLYGONS),
            *make.advanced(
                make.source("WATER", "Water", "Polygons of the water, islands cut out, where the area is a part of it: "
                            "lines, leads and turns may leave the area then. Blank: the area is the water.",
                            make.POLYGONS, True),
                make.source("EXCLUDE", "Not to be entered", "Polygons such as bathing places and reed: neither covered "
                            "nor entered.", make.POLYGONS, True)),
            *plan_form.depth_boxes(),
            make.choice("DIRECTION", "Direction of lines", "shortest: the shortest run. contours, across: along or "
                        "across the contours of the depth grid. given: by the azimuth.", _DIRECTIONS, "shortest"),
            make.number("REQUIRED_LOOKS", "Looks wanted", "How many passes are to see each place. With 2 the strip "
                        "under the boat is seen, too.", 1, 1, 4, whole=True),
            *plan_form.limit_boxes(),
            *make.advanced(
                make.switch("CHOOSE_RANGE", "Choose the range for each line", "Leave the range blank: each line "
                            "gets the range that 'Make range table' chooses for its depth, an object of 1 m and the "
                            "speed.", False),
                make.choice("RANGE_MODEL", "Range model", "How slant range becomes ground range. slant: flat bottom. "
                            "terrain: along the depth grid. subtract: range less depth, a rule of thumb.",
                            ["slant", "terrain", "subtract"], "slant"),
                make.number("OVERLAP", "Overlap (%)", "Part of the swath that neighbours share, over and above the "
                            "wander.", 10.0, 0, 90),
                make.distance("LINE_KEEPING", "Wander of the helm", "One standard deviation of the boat off its line.",
                              2.0, 0),
                make.number("AZIMUTH", "Azimuth of lines (degrees, true)", "For the direction 'given'.", None, -360,
                            360),
                make.choice("ROUND_SHORE", "A line round the edge", "Whether a line goes round the edge of the area "
                            "and its islands.", _ROUND, "where shorter"),
                make.distance("LEAD", "Lead before and after a line", "Straight stretch on which the boat "
                              "steadies.", 10.0,
                              0),
                make.number("TURN_TIME", "Time for a turn (seconds)", "Added for every turn.", 0.0, 0),
                make.number("RUNS", "Simulated runs", "How many runs the share to expect is worked out from; 50 or "
                            "more.", 200, 50, 5000, whole=True)),
            *plan_form.boat_boxes(2.0),
            make.sink("OUTPUT", "Survey lines", self.OUTPUT_HELP["OUTPUT"], "line"),
            make.sink("UNCOVERED", "Not covered", self.OUTPUT_HELP["UNCOVERED"], "polygon", optional=True),
            make.sink("SIMULATE", "Simulated run", self.OUTPUT_HELP["SIMULATE"], "point", optional=True,
                      by_default=False),
            make.destination_file("OUTPUT_GPX", "Routes", self.OUTPUT_HELP["OUTPUT_GPX"], "GPX files (*.gpx)"))
        plan_form.add_numbers(
            self, ("LINE_COUNT", "Lines"), ("LENGTH_M", "Length of the run (m)"), ("HOURS", "Hours"),
            ("LITRES", "Fuel (litres)"), ("PREDICTED_PERCENT", "Share to expect (%)"),
            ("PREDICTED_LOW_PERCENT", "Lower bound, 95 % (%)"), ("PREDICTED_HIGH_PERCENT", "Upper bound, 95 % (%)"),
            ("NOMINAL_PERCENT", "Share without errors (%)"))

    def _settings(self, parameters, context, start=None):
        """LinePlanSettings of the form; raises InputError."""
        from ...survey import LinePlanSettings

        def number(name):
            return values.number(self, parameters, name, context)
        rule = plan_form.range_rule(
            self, parameters, context, model=values.option(self, parameters, "RANGE_MODEL", context),
            overlap=number("OVERLAP") / 100, wander_m=number("LINE_KEEPING"),
            looks=values.whole(self, parameters, "REQUIRED_LOOKS", context))
        return LinePlanSettings(
            rule, direction=values.option(self, parameters, "DIRECTION", context), azimuth=number("AZIMUTH"),
            round_shore=values.option(self, parameters, "ROUND_SHORE", context), lead_m=number("LEAD"),
            radius_m=number("MIN_RADIUS"), speed_mps=plan_form.speed(self, parameters, context),
            turn_s=number("TURN_TIME"), litres_per_hour=number("FUEL_PER_HOUR"),
            runs=values.whole(self, parameters, "RUNS", context), start=start)

    def refusal(self, parameters, context):
        chosen = self.parameterAsBool(parameters, "CHOOSE_RANGE", context)
        if values.given(parameters, "RANGE") == chosen:
            return Message("Give {RANGE}, or leave it blank and tick {CHOOSE_RANGE}.")
        told = plan_form.refused(self, parameters, context)
        if told:
            return told
        settings = self._settings(parameters, context)
        if not values.given(parameters, "DEPTH_GRID"):
            if settings.direction in ("contours", "across"):
                return Message("{DIRECTION} is '{given}', which needs {DEPTH_GRID}.", given=settings.direction)
            if settings.reach.model == "terrain":
                return Message("{RANGE_MODEL} is 'terrain', which needs {DEPTH_GRID}.")
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey import plan_lines

        area, crs = plan_form.geometries(self, parameters, "AREA", context, feedback)
        if not area:
            raise InputError("The area holds no polygon; give the lake, or the part of it that is to be covered.",
                             field="area")
        water, _ = plan_form.geometries(self, parameters, "WATER", context, feedback, crs)
        ground, grid = plan_form.ground_for(self, parameters, context, feedback, area, crs, water)
        settings = self._settings(parameters, context, plan_form.start_of(self, parameters, context, crs))
        plan = plan_lines(ground, settings, terrain=grid if settings.reach.model == "terrain" else None,
                          step=stepper(feedback, 5, 95))
        self._say(plan, settings, feedback)
        results = self._write(parameters, context, feedback, plan, settings, crs)
        found = plan.prediction
        return {**results, "LINE_COUNT": len(plan.run.lines), "LENGTH_M": float(plan.run.length),
                "HOURS": plan.hours, **({} if np.isnan(plan.litres) else {"LITRES": plan.litres}),
                "PREDICTED_PERCENT": found.expected, "PREDICTED_LOW_PERCENT": found.low,
                "PREDICTED_HIGH_PERCENT": found.high, "NOMINAL_PERCENT": found.nominal}

    def _say(self, plan, settings, feedback):
        self.tell(feedback, warnings=plan.notes)
        run, found, rule = plan.run, plan.prediction, settings.reach
        feedback.pushInfo(f"{len(run.lines)} lines, {run.length:.0f} m with turns and runs between, {plan.hours:.2f} h"
                          f"{'' if np.isnan(plan.litres) else f', {plan.litres:.1f} litres'}; azimuths "
                          f"{', '.join(f'{a:.0f}' for a in plan.azimuths) or 'along the shore'} degrees.")
        feedback.pushInfo(f"Laid with an overlap of {100 * rule.overlap:g} % and a helm that wanders "
                          f"{rule.wander_m:g} m, "
                          f"a blind angle of {rule.blind_deg:g} degrees, a setback of {plan.ground.setback_m:g} m.")
        if rule.range_m is None:
            chosen = sorted({line.range_m for line in run.lines})
            feedback.pushInfo(f"Ranges chosen: {', '.join(f'{r:g} m' for r in chosen)}.")
        best = "no order is shorter" if run.exact else f"any order needs {run.bound_m:.0f} m"
        feedback.pushInfo(f"{run.length - sum(line.length for line in run.lines):.0f} m lie between lines; {best}.")
        feedback.pushInfo(f"{found.expected:.1f} % of the area to be seen, {found.low:.1f} to {found.high:.1f} % in "
                          f"95 % of {found.runs} simulated runs; {found.nominal:.1f} % without any error.")
        for polygon, reason in plan.uncovered:
            feedback.pushInfo(f"Not seen, {reason}: {polygon.area:.0f} m2.")

    def _write(self, parameters, context, feedback, plan, settings, crs):
        from ...survey import plan_columns, plan_places, simulated_fixes, uncovered_rows

        ground, frame = plan.ground, plan.ground.frame

        def layer(name, **parts):
            return {name: write_layer(self, parameters, name, context, feedback, fields=self.LAYERS[name], crs=crs,
                                      **parts)}
        results = layer("OUTPUT", columns=plan_columns(plan.run, frame, settings.speed_mps, settings.turn_s,
                                                       settings.litres_per_hour),
                        places=plan_places(plan.run, frame))
        columns, places = uncovered_rows(plan)
        results.update(layer("UNCOVERED", columns=columns, places=places))
        if values.given(parameters, "SIMULATE"):
            x, y, columns = simulated_fixes(plan.run, ground, speed_mps=settings.speed_mps,
                                            wander_m=settings.reach.wander_m, turn_s=settings.turn_s)
            results.update(layer("SIMULATE", columns=columns, places=(x, y)))
        results.update(plan_form.save_gpx(self, parameters, context, feedback, plan.run, frame, settings.speed_mps))
        return {name: value for name, value in results.items() if value is not None}
