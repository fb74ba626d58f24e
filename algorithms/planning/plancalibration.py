"""Plan calibration run: the fewest runs past known objects that tell the offsets of a boat."""
from __future__ import annotations

import numpy as np

from ...survey.model import schemas, units
from ...survey.model.errors import InputError
from ...survey.model.messages import Message
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm, stepper
from ..common.write import write_layer
from . import plan_form

__all__ = ["PlanCalibration"]

OFFSETS = ["latency", "beam azimuth", "lever arm forward", "lever arm to starboard", "range scale", "trim"]
NAMES = ["latency_s", "mount_deg", "lever_forward_m", "lever_starboard_m", "scale", "trim_deg"]
_GOALS = {"latency_s": "TARGET_LATENCY", "mount_deg": "TARGET_AZIMUTH", "lever_forward_m": "TARGET_LEVER",
          "lever_starboard_m": "TARGET_LEVER", "scale": "TARGET_SCALE", "trim_deg": "TARGET_TRIM"}


class PlanCalibration(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "plancalibration", "Plan calibration run", "planning"
    STEP, GUIDE = 5, ("plan-fill",)
    LAYERS = {"OUTPUT": schemas.CALIBRATION_LINES, "PREDICTED": schemas.CALIBRATION_PREDICTED}
    FIELDS = {**plan_form.FIELDS, "objects": "OBJECTS", "speeds_mps": "SPEEDS", "solve": "SOLVE",
              "targets": tuple(dict.fromkeys(_GOALS.values())), "max_runs": "MAX_RUNS", "depth_m": "DEPTH"}
    FUNCTION = "plan_calibration"
    CAUTIOUS = True
    SUMMARY = "The fewest runs past one or two objects that tell latency, beam azimuth and other offsets of the boat."
    TAGS = "calibrate,calibration,patch test,latency,mount,offset,lever arm,scale,runs,design,network,before,trip"
    HELP = """A boat is calibrated once: past one or two objects that the record shows well, such as a pile, a block or
    a mooring, in both directions, on both sides, at two speeds. This plans the fewest runs that bring the offsets asked
    for under the sigmas asked for, and says what those sigmas will be, with their correlations, before you drive. They
    are the sigmas that 'Combine repeated targets' will report of these runs, for they depend on where the boat goes
    and on how well it reads, not on what it will read.

    An offset that these runs cannot tell is named, with the reason and what would help: a line there and back shows
    the latency, but shifts by a wrong beam azimuth look the same from both ways. What no run can tell is refused.

    Drive the runs straight and steadily, mark each object each time, locate the marks with the same errors as here, and
    combine them by name, solving for the same offsets. The places of the objects need not be known beforehand."""
    OUTPUT_HELP = {
        "OUTPUT": "A line for each run and turn, in order, with speed, objects, sides and distances.",
        "PREDICTED": "A row for each offset: its sigma to come, the one asked for, the one assumed before, "
                     "correlations, and why it is not told if it is not.",
        "OUTPUT_GPX": "A GPX file with a route for each run, turns as route points, range and speed in the "
                      "description.",
        "RUN_COUNT": "Number of runs.",
        "LENGTH_M": "Length of the whole way, turns included, in m.",
        "HOURS": "Time of it.",
        "TOLD_COUNT": "Number of offsets that the runs tell.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.source("OBJECTS", "Objects", "One or two points, at most four: things that the record shows well. "
                        "Results come in their coordinate system.", make.POINTS),
            make.number("RANGE", "Range", "Slant range to set, to each side.", None, 0),
            make.choice("RANGE_UNIT", "Unit of the range and the depth", "Unit of the range and the depth.",
                        make.RANGE_UNITS, "m"),
            make.number("DEPTH", "Depth at the objects", "Water under the transducer there.", None, 0),
            make.choice("SOLVE", "Offsets to find", "'beam azimuth' is the mount angle together with the bias of the "
                        "compass.", OFFSETS, ["latency", "beam azimuth"], many=True),
            make.text("SPEEDS", "Speeds", "Speeds that the boat can hold, such as 1.2 2.4; two that differ much tell "
                      "most.", "1.2 2.4"),
            make.choice("SPEED_UNIT", "Unit of the speeds", "Unit of the speeds.", make.SPEED_UNITS, "m/s"),
            make.choice("ERRORS", "Errors", "How well the boat is equipped, as in 'Locate targets'.",
                        ["ordinary", "careful", "survey"], "ordinary"),
            make.source("WATER", "Water", "Polygons of the water, islands cut out: runs and turns keep to it. Blank: "
                        "open water all around.", make.POLYGONS, True),
            *make.advanced(
                make.number("MAX_RUNS", "Runs at most", "No plan has more.", 12, 1, 40, whole=True),
                make.number("TARGET_LATENCY", "Sigma for the latency (s)", "Blank: 60 % of what is assumed before.",
                            None, 0),
                make.number("TARGET_AZIMUTH", "Sigma for the beam azimuth (degrees)", "Blank: 60 % of what is assumed "
                            "before.", None, 0),
                make.distance("TARGET_LEVER", "Sigma for the lever arm", "Blank: 60 % of what is assumed before.", None,
                              0),
                make.number("TARGET_SCALE", "Sigma for the range scale (%)", "Blank: 60 % of what is assumed before.",
                            None, 0),
                make.number("TARGET_TRIM", "Sigma for the trim (degrees)", "Blank: 60 % of what is assumed before.",
                            None, 0),
                make.number("AZIMUTH", "Azimuth of the runs (degrees, true)", "Blank chooses; give the wind's, for "
                            "instance. Other runs lie at right angles.", None, -360, 360),
                make.distance("LEAD", "Lead before and after the objects", "Straight and steady way.", 40.0, 0),
                make.distance("SETBACK", "Setback from land", "The boat keeps so far off every shore and island.", 5.0,
                              0),
                make.distance("MIN_RADIUS", "Least radius of a turn", "The boat turns no tighter, where the water has "
                              "room.", 8.0, 0),
                make.point("START", "Start (a point on the map)", "Where the boat sets out."),
                make.number("BLIND_ANGLE", "Blind angle (degrees)", "Nothing is passed nearer to the vertical.", 20.0,
                            0, 79)),
            make.sink("OUTPUT", "Calibration runs", self.OUTPUT_HELP["OUTPUT"], "line"),
            make.sink("PREDICTED", "Sigmas to come", self.OUTPUT_HELP["PREDICTED"], "table", optional=True),
            make.destination_file("OUTPUT_GPX", "Routes", self.OUTPUT_HELP["OUTPUT_GPX"], "GPX files (*.gpx)"))
        plan_form.add_numbers(self, ("RUN_COUNT", "Runs"), ("LENGTH_M", "Length of the way (m)"), ("HOURS", "Hours"),
                              ("TOLD_COUNT", "Offsets told"))

    def _settings(self, parameters, context, base_deg=None):
        from ...survey.planning.calibration import CalibrationSettings
        from ...survey.uncertainty.sigmas import PRESETS

        def number(name):
            return values.number(self, parameters, name, context)
        asked = [NAMES[OFFSETS.index(word)] for word in self.parameterAsEnumStrings(parameters, "SOLVE", context)
                 if word]
        goals = {name: number(_GOALS[name]) for name in asked}
        goals = {name: value / 100 if name == "scale" else value for name, value in goals.items() if value is not None}
        return CalibrationSettings(
            plan_form.metres(self, parameters, "RANGE", context), plan_form.metres(self, parameters, "DEPTH", context),
            tuple(self._speeds(parameters, context)), tuple(asked), goals,
            PRESETS[values.option(self, parameters, "ERRORS", context)],
            values.whole(self, parameters, "MAX_RUNS", context), number("LEAD"), base_deg, number("BLIND_ANGLE"))

    def _speeds(self, parameters, context):
        words = values.text(self, parameters, "SPEEDS", context).replace(";", " ").split()
        try:
            found = [float(word.replace(",", ".")) for word in words]
        except ValueError:
            raise InputError(Message("{SPEEDS} is '{given}'; give numbers such as 1.2 2.4.",
                                     given=values.text(self, parameters, "SPEEDS", context))) from None
        return units.metres_per_second(found, values.option(self, parameters, "SPEED_UNIT", context))

    def refusal(self, parameters, context):
        for name in ("RANGE", "DEPTH"):
            value = values.number(self, parameters, name, context)
            if value is None or not value > 0:
                return Message("Give {" + name + "}, a number above 0.")
        for name in ("RANGE_UNIT", "SPEED_UNIT", "ERRORS"):
            values.option(self, parameters, name, context)
        self._settings(parameters, context)
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey.geometry.frame import Frame
        from ...survey.planning.calibration import plan_calibration
        from ...survey.planning.calibration_route import calibration_route
        from ...survey.planning.clear_water import ClearWater

        table = read.table(self, parameters, "OBJECTS", context, feedback, geometry="point")
        if not len(table):
            raise InputError("The layer holds no points; give one or two objects.", field="objects")
        crs = table.crs
        ground = self._ground(parameters, context, feedback, crs)
        frame = Frame.around(read.wkt(crs), table.x, table.y) if ground is None else ground.frame
        objects = np.column_stack(frame.forward(table.x, table.y))
        clear = None if ground is None else ClearWater(ground.boat)
        azimuth = values.number(self, parameters, "AZIMUTH", context)
        base = None if azimuth is None else azimuth - float(frame.convergence(*objects[0]))
        settings = self._settings(parameters, context, base)
        plan = plan_calibration(objects, settings, None if clear is None else _room(clear), stepper(feedback, 5, 90))
        start = plan_form.start_of(self, parameters, context, crs)
        start = None if start is None else np.ravel(frame.forward(np.array([start[0]]), np.array([start[1]])))
        run, order = calibration_route(plan.runs, settings.range_m, float(np.min(settings.depth_m)), clear,
                                       values.number(self, parameters, "MIN_RADIUS", context), start)
        self._say(plan, feedback)
        return self._write(parameters, context, feedback, plan, run, order, frame, crs)

    def _ground(self, parameters, context, feedback, crs):
        """The boat's water, None where none is given."""
        from ...survey.planning.polygons import ground_of

        water, _ = plan_form.geometries(self, parameters, "WATER", context, feedback, crs)
        if water is None:
            return None
        return ground_of(read.wkt(crs), water, depth=1.0,
                         setback=values.number(self, parameters, "SETBACK", context))

    def _say(self, plan, feedback):
        from ...survey.adjustment.solvability import WORDS

        least = "no fewer would do" if plan.fewest else "no fewer were found"
        reached = "reach what was asked for" if plan.met.all() else "are what this plan allows"
        feedback.pushInfo(f"{len(plan.runs)} runs {reached}; {least} among {plan.looked_at} kinds of runs.")
        for k, name in enumerate(plan.names):
            say = feedback.pushInfo if plan.met[k] else feedback.pushWarning
            say(f"{WORDS[name].capitalize()}: sigma {plan.sigma[k]:.3g}, asked for {plan.target[k]:.3g}, assumed "
                f"before {plan.prior[k]:.3g}; no number of runs gets below {plan.best[k]:.2g}.")
        self.tell(feedback, warnings=[f"Not told. {why}" for why in plan.refused.values()])

    def _write(self, parameters, context, feedback, plan, run, order, frame, crs):
        from ...survey.planning.calibration_route import calibration_columns
        from ...survey.planning.plan_rows import plan_columns, plan_places

        columns = calibration_columns(plan_columns(run, frame, plan.runs[0].speed_mps), run, order, plan.runs)
        results = {
            "OUTPUT": write_layer(self, parameters, "OUTPUT", context, feedback, fields=schemas.CALIBRATION_LINES,
                                  columns=columns, crs=crs, places=plan_places(run, frame)),
            "PREDICTED": write_layer(
                self, parameters, "PREDICTED", context, feedback, fields=schemas.CALIBRATION_PREDICTED,
                crs=crs, columns={
                    "name": np.array(plan.names, object), "sigma": plan.sigma, "target": plan.target,
                    "prior_sigma": plan.prior, "best_sigma": plan.best, "met": plan.met, "told": plan.told,
                    "correlations": np.array([plan.correlations(k) for k in range(len(plan.names))], object),
                    "why_not": np.array([plan.refused.get(name, "") for name in plan.names], object)}),
            **plan_form.save_gpx(self, parameters, context, feedback, run, frame,
                                 [plan.runs[k].speed_mps for k in order])}
        results = {name: value for name, value in results.items() if value is not None}
        return {**results, "RUN_COUNT": len(plan.runs), "LENGTH_M": float(run.length),
                "HOURS": float(columns["hours"].sum()), "TOLD_COUNT": int(plan.told.sum())}


def _room(clear):
    """``is_clear(starts, ends)`` of the boat's water."""
    return lambda starts, ends: np.array([clear.keeps(np.array(pair)) for pair in zip(starts, ends)], bool)
