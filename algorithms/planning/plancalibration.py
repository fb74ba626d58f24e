"""Plan calibration run: the fewest runs past known objects that tell the offsets of a boat."""
from __future__ import annotations

from ...survey.model import schemas, units
from ...survey.model.errors import InputError
from ...survey.model.messages import Message
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm, stepper
from ..common.kinds import OWN
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
    FIELDS = {**plan_form.fields_but("area", "min_depth", "model", "overlap", "wander_m", "looks", "direction",
                       "round_shore", "turn_s", "litres_per_hour", "speed_mps", "runs"), "area": "WATER",
                       "objects": "OBJECTS", "speeds_mps": "SPEEDS", "solve": "SOLVE",
              "targets": tuple(dict.fromkeys(_GOALS.values())), "max_runs": "MAX_RUNS", "depth_m": "DEPTH"}
    TAKES = {"OBJECTS": (OWN, schemas.COMBINED, schemas.TARGETS, schemas.WAYPOINTS, schemas.MARKS),
             "WATER": (OWN, schemas.AREAS)}
    SECTIONS = (
        ("What the boat runs past", ("OBJECTS", "WATER", "SETBACK")),
        ("Range of the record, and depth there", ("RANGE", "RANGE_UNIT", "DEPTH", "BLIND_ANGLE")),
        ("What is to be found, and how well", ("SOLVE", "ERRORS", "TARGET_LATENCY", "TARGET_AZIMUTH", "TARGET_LEVER",
                                               "TARGET_SCALE", "TARGET_TRIM", "MAX_RUNS")),
        ("The boat", ("SPEEDS", "SPEED_UNIT", "AZIMUTH", "LEAD", "MIN_RADIUS", "START")),
    )
    NEEDED = ("RANGE", "DEPTH")
    FUNCTION = "plan_calibration"
    CAUTIOUS = True
    SUMMARY = "The fewest runs past one or two objects that find latency, beam azimuth and other offsets of the boat."
    TAGS = "calibrate,calibration,patch test,latency,mount,offset,lever arm,scale,runs,design,network,before,trip"
    HELP = """A boat is calibrated once: past one or two objects that the record shows well, such as a pile, a block or
    a mooring, in both directions, on both sides, at two speeds. This plans the fewest runs that bring the offsets asked
    for under the sigmas asked for, and says what those sigmas will be, with their correlations, before you drive. They
    are the sigmas that 'Combine repeated targets' will report of these runs, for they depend on where the boat goes
    and on how well it reads, not on what it will read.

    An offset that these runs cannot find is named, with the reason and what would help: a line there and back shows
    the latency, but shifts by a wrong beam azimuth look the same from both ways. What no run can find is refused.

    Drive the runs straight and steadily, mark each object each time, locate the marks with the same errors as here, and
    combine them by name, solving for the same offsets. The places of the objects need not be known beforehand."""
    OUTPUT_HELP = {
        "OUTPUT": "A line for each run and turn, in order, with speed, objects, sides and distances.",
        "PREDICTED": "A row for each offset: its sigma to come, the one asked for, the one assumed before, "
                     "correlations, and why it is not found if it is not.",
        "OUTPUT_GPX": "A GPX file with a route for each run, turns as route points, range and speed in the "
                      "description.",
        "RUN_COUNT": "Number of runs.",
        "LENGTH_M": "Length of the whole run, turns included, in m.",
        "HOURS": "Time of it.",
        "TOLD_COUNT": "Number of offsets that the runs find.",
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
            make.text("SPEEDS", "Speeds", "Speeds that the boat can hold, such as 1.2 2.4; two that differ much find "
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
                make.distance("LEAD", "Lead before and after the objects", "Straight and steady stretch.", 40.0, 0),
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
        plan_form.add_numbers(self, ("RUN_COUNT", "Runs"), ("LENGTH_M", "Length of the run (m)"), ("HOURS", "Hours"),
                              ("TOLD_COUNT", "Offsets found"))

    def _settings(self, parameters, context):
        from ...survey import CalibrationSettings

        def number(name):
            return values.number(self, parameters, name, context)
        asked = [NAMES[OFFSETS.index(word)] for word in self.parameterAsEnumStrings(parameters, "SOLVE", context)
                 if word]
        goals = {name: number(_GOALS[name]) for name in asked}
        goals = {name: value / 100 if name == "scale" else value for name, value in goals.items() if value is not None}
        return CalibrationSettings(
            plan_form.metres(self, parameters, "RANGE", context), plan_form.metres(self, parameters, "DEPTH", context),
            tuple(self._speeds(parameters, context)), tuple(asked), goals,
            values.option(self, parameters, "ERRORS", context), values.whole(self, parameters, "MAX_RUNS", context),
            number("LEAD"), number("BLIND_ANGLE"))

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
        from ...survey import Surroundings, calibrate, calibration_told

        table = read.table(self, parameters, "OBJECTS", context, feedback, geometry="point")
        if not len(table):
            raise InputError("The layer holds no points; give one or two objects.", field="objects")
        water, _ = plan_form.geometries(self, parameters, "WATER", context, feedback, table.crs)
        setback, radius, azimuth = (values.number(self, parameters, name, context)
                                    for name in ("SETBACK", "MIN_RADIUS", "AZIMUTH"))
        around = Surroundings(water, setback, radius, azimuth,
                              plan_form.start_of(self, parameters, context, table.crs))
        found = calibrate(read.wkt(table.crs), table.x, table.y, self._settings(parameters, context), around,
                          stepper(feedback, 5, 90))
        notes, warnings = calibration_told(found.plan)
        self.tell(feedback, notes, warnings)
        results = {
            "OUTPUT": write_layer(self, parameters, "OUTPUT", context, feedback, fields=schemas.CALIBRATION_LINES,
                                  columns=found.columns, crs=table.crs, places=found.places),
            "PREDICTED": write_layer(self, parameters, "PREDICTED", context, feedback, columns=found.predicted,
                                     fields=schemas.CALIBRATION_PREDICTED, crs=table.crs),
            **plan_form.save_gpx(self, parameters, context, feedback, found.run, found.frame, found.speeds)}
        results = {name: value for name, value in results.items() if value is not None}
        return {**results, "RUN_COUNT": len(found.plan.runs), "LENGTH_M": float(found.run.length),
                "HOURS": float(found.columns["hours"].sum()), "TOLD_COUNT": int(found.plan.told.sum())}
