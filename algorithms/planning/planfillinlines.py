"""Plan fill-in lines: the few lines that close the gaps an audit has found."""
from __future__ import annotations

import numpy as np

from ...survey.model import schemas
from ...survey.model.errors import InputError
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm, stepper
from ..common.kinds import OWN
from ..common.write import write_layer
from . import plan_form

__all__ = ["PlanFillInLines"]


class PlanFillInLines(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "planfillinlines", "Plan fill-in lines", "planning"
    STEP, GUIDE = 4, ("plan-fill",)
    LAYERS = {"OUTPUT": schemas.FILL_LINES, "LEFT": schemas.UNCOVERED}
    FIELDS = {**plan_form.fields_but("water", "model", "overlap", "looks", "direction", "azimuth", "round_shore",
                       "runs"), "gaps": "GAPS", "budget_h": "BUDGET", "least_open": "LEAST_OPEN"}
    TAKES = {"GAPS": (schemas.GAPS, schemas.UNCOVERED, OWN), "AREA": (OWN, schemas.AREAS),
             "EXCLUDE": (OWN, schemas.AREAS, schemas.GAPS)}
    SECTIONS = (
        ("What is open, and the water it lies in", ("GAPS", "AREA", "LEAST_OPEN", "EXCLUDE")),
        ("Range of the record; blank: one is chosen for each line", ("RANGE", "RANGE_UNIT", "BLIND_ANGLE")),
        ("Depth: one for all, or a depth grid", ("DEPTH", "DEPTH_GRID")),
        ("Where the boat may go", ("SETBACK", "MIN_DEPTH")),
        ("Hours and lines", ("BUDGET", "LINE_KEEPING", "LEAD")),
        ("The boat", ("SPEED", "SPEED_UNIT", "TURN_TIME", "MIN_RADIUS", "FUEL_PER_HOUR", "START")),
    )
    NEEDED = ("DEPTH", "DEPTH_GRID")
    FUNCTION = "plan_fill_in"
    CAUTIOUS = True
    SUMMARY = "Lay the few lines that close the gaps of an audit, in a short order; where hours are few, the best."
    TAGS = "gaps,holidays,fill,infill,lines,rerun,missed,coverage,route,budget,hours,gpx"
    HELP = """After the audit: where to put the boat so that what is open gets closed. Lines lie so that each gap falls
    into the useful part of a swath, out of the blind angle and inside the reach less the wander of the helm, with no
    land between. One line closes what it can on both sides; gaps in a row share one. Lines and turns keep off land, its
    setback and shoals.

    Where hours are short, give them: lines that close most in an hour are taken first, gaps that are surely open (field
    open_pct of the audit) counting more. What cannot be closed, or is beyond the hours, is an output of its own, with
    the reason.

    The lines go to a plotter as routes, onto paper by 'Print plan sheet', and after the run through 'Prepare track' as
    any outing: merge its swaths with those before and find gaps again."""
    OUTPUT_HELP = {
        "OUTPUT": "A line for each line, turn and way of the run, in order, with the gaps that each line closes.",
        "LEFT": "Ground of gaps that stays open, with the reason.",
        "OUTPUT_GPX": "A GPX file with a route for each line, turns as route points, range and speed in the "
                      "description.",
        "LINE_COUNT": "Number of lines.",
        "LENGTH_M": "Length of the whole run, turns and runs between lines included, in m.",
        "HOURS": "Time of the run, turning time included.",
        "CLOSED_PERCENT": "Share of the ground of all gaps that the run closes.",
        "CLOSABLE_PERCENT": "Share of it that can be closed from where the boat may go.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.source("GAPS", "Gaps", "Output of 'Find coverage gaps', or any polygons that are to be seen.",
                        make.POLYGONS),
            make.source("AREA", "Water", "Polygons of the water, islands cut out. Results come in its coordinate "
                        "system.", make.POLYGONS),
            *make.advanced(make.source("EXCLUDE", "Not to be entered", "Polygons such as bathing places and reed.",
                                       make.POLYGONS, True)),
            *plan_form.depth_boxes(),
            make.number("BUDGET", "Hours there are", "The best lines that fit into so many hours; blank closes all "
                        "that can be closed.", None, 0),
            *plan_form.limit_boxes(),
            *make.advanced(
                make.number("LEAST_OPEN", "Least chance of being open (%)", "Gaps with a smaller open_pct are left "
                            "alone.", 0.0, 0, 100),
                make.distance("LINE_KEEPING", "Wander of the helm", "One standard deviation of the boat off its line.",
                              2.0, 0),
                make.distance("LEAD", "Lead before and after a line", "Straight stretch on which the boat "
                              "steadies.", 10.0,
                              0),
                make.number("TURN_TIME", "Time for a turn (seconds)", "Added for every turn.", 0.0, 0)),
            *plan_form.boat_boxes(2.0),
            make.sink("OUTPUT", "Fill-in lines", self.OUTPUT_HELP["OUTPUT"], "line"),
            make.sink("LEFT", "Still open", self.OUTPUT_HELP["LEFT"], "polygon", optional=True),
            make.destination_file("OUTPUT_GPX", "Routes", self.OUTPUT_HELP["OUTPUT_GPX"], "GPX files (*.gpx)"))
        plan_form.add_numbers(
            self, ("LINE_COUNT", "Lines"), ("LENGTH_M", "Length of the run (m)"), ("HOURS", "Hours"),
            ("CLOSED_PERCENT", "Closed (%)"), ("CLOSABLE_PERCENT", "Can be closed (%)"))

    def _settings(self, parameters, context, start=None):
        from ...survey import FillSettings

        def number(name):
            return values.number(self, parameters, name, context)
        return FillSettings(
            plan_form.range_rule(self, parameters, context, wander_m=number("LINE_KEEPING")),
            speed_mps=plan_form.speed(self, parameters, context), turn_s=number("TURN_TIME"), lead_m=number("LEAD"),
            radius_m=number("MIN_RADIUS"), litres_per_hour=number("FUEL_PER_HOUR"), start=start,
            budget_h=number("BUDGET"), least_open=number("LEAST_OPEN") / 100)

    def refusal(self, parameters, context):
        told = plan_form.refused(self, parameters, context)
        if told:
            return told
        self._settings(parameters, context)
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey import fill_gaps

        area, crs = plan_form.geometries(self, parameters, "AREA", context, feedback)
        if not area:
            raise InputError("The layer holds no polygon; give the lake.", field="area")
        table = read.table(self, parameters, "GAPS", context, feedback, crs=crs, geometry="any")
        if len(table) or not (table.has("gap_id") and table.has("open_pct")):
            read.refuse_hollow(table, "Gaps", "the layer holds no polygons. Choose the gaps of 'Find coverage gaps'.")
        shapes = read.shapes(table)
        share = read.numbers(table, "open_pct") / 100 if table.has("open_pct") else np.ones(len(shapes))
        ids = read.numbers(table, "gap_id") if table.has("gap_id") else np.full(len(shapes), np.nan)
        ids = np.where(np.isfinite(ids), np.nan_to_num(ids), np.arange(1, len(ids) + 1)).astype(int)
        ground, _ = plan_form.ground_for(self, parameters, context, feedback, area, crs)
        settings = self._settings(parameters, context, plan_form.start_of(self, parameters, context, crs))
        plan = fill_gaps(ground, shapes, settings, share, stepper(feedback, 5, 95))
        self._say(plan, feedback)
        results = self._write(parameters, context, feedback, plan, ground, settings, crs, ids)
        return {**results, "LINE_COUNT": len(plan.run.lines), "LENGTH_M": float(plan.run.length), "HOURS": plan.hours,
                "CLOSED_PERCENT": _share(float(plan.closed.sum()), plan.gap_m2),
                "CLOSABLE_PERCENT": _share(plan.closable_m2, plan.gap_m2)}

    def _say(self, plan, feedback):
        self.tell(feedback, warnings=plan.notes)
        for polygon, reason in plan.left:
            feedback.pushWarning(f"Stays open, {reason}: {polygon.area:.0f} m2.")
        if plan.dropped:
            feedback.pushWarning(f"{plan.dropped} more lines would be needed than the hours allow.")
        if not plan.gap_m2:
            feedback.pushInfo("There is no gap to fill: nothing is open.")
        else:
            feedback.pushInfo(f"{len(plan.run.lines)} lines, {plan.run.length:.0f} m with turns and runs between, "
                              f"{plan.hours:.2f} h, close {plan.closed.sum():.0f} of {plan.gap_m2:.0f} m2 of gaps; "
                              f"{plan.closable_m2:.0f} m2 can be closed.")
        if plan.ignored:
            feedback.pushInfo(f"{plan.ignored} gaps of {plan.ignored_m2:.0f} m2 were left alone: closed in more draws "
                              "than asked for.")

    def _write(self, parameters, context, feedback, plan, ground, settings, crs, ids):
        from ...survey import fill_rows

        columns, lines, left, polygons = fill_rows(plan, ground, settings, ids)
        results = {
            "OUTPUT": write_layer(self, parameters, "OUTPUT", context, feedback, fields=schemas.FILL_LINES, crs=crs,
                                  columns=columns, places=lines),
            "LEFT": write_layer(self, parameters, "LEFT", context, feedback, fields=schemas.UNCOVERED, crs=crs,
                                columns=left, places=polygons),
            **plan_form.save_gpx(self, parameters, context, feedback, plan.run, ground.frame, settings.speed_mps)}
        return {name: value for name, value in results.items() if value is not None}


def _share(part, whole):
    """Percent; of nothing, all."""
    return 100 * part / whole if whole else 100.0
