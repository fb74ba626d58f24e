"""Print plan sheet: a plan of lines on one page, to print or to read on a phone."""
from __future__ import annotations

import numpy as np

from ...survey.model import schemas
from ...survey.model.errors import InputError
from ...survey.model.messages import Message
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm
from ..common.files import save_text
from ..common.kinds import OWN
from . import plan_form

__all__ = ["PlanSheet"]

_NEEDED = ("order", "kind", "line_id", "azimuth_deg", "length_m", "range_m", "speed_mps", "depth_m", "hours")


class PlanSheet(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "plansheet", "Print plan sheet", "planning"
    STEP, GUIDE = 6, ("plan-fill",)
    FIELDS = {"lines": "LINES"}
    TAKES = {"LINES": (schemas.PLAN_LINES, schemas.FILL_LINES, schemas.PLAN_SHORE, schemas.CALIBRATION_LINES, OWN),
             "WATER": (OWN, schemas.AREAS), "GAPS": (schemas.GAPS, schemas.UNCOVERED, OWN),
             "OBJECTS": (OWN, schemas.COMBINED, schemas.TARGETS, schemas.WAYPOINTS, schemas.MARKS)}
    SECTIONS = (
        ("The plan", ("LINES", "SHEET_TITLE")),
        ("What is drawn with it", ("WATER", "GAPS", "OBJECTS", "START")),
        ("Units and courses", ("DISPLAY_UNIT", "SPEED_UNIT", "MAGNETIC_VARIATION")),
    )
    FUNCTION = "plan_sheet"
    CAUTIOUS = True
    SUMMARY = "A page for the boat: a map of the lines in order, and a table with range, speed, course and length."
    TAGS = "plan,sheet,print,map,lines,card,boat,route,paper,phone"
    HELP = """Takes the lines of a plan (survey lines, shore run, fill-in lines or calibration runs) and makes one page
    to print, or to read on a phone: a north-up map of the lines as numbered, with the direction they are run, and a
    table of them in order with range, speed, course, length, depth, minutes, the turn to the next, and a box to tick.

    Up to about 20 lines print on one page. Open it in a browser; the messages say where it is."""
    OUTPUT_HELP = {"OUTPUT_HTML": "A page with a map of the lines and a table of them, to print or to read on a "
                                  "phone.", "LINE_COUNT": "Number of lines on it."}

    def initAlgorithm(self, config=None):
        self.add(
            make.source("LINES", "Lines of a plan", "Output of a planning tool, with its turns and runs between "
                        "lines.", make.LINES),
            make.source("WATER", "Water", "Polygons of the water, drawn under the lines.", make.POLYGONS, True),
            make.source("GAPS", "Gaps", "Polygons drawn under the lines, such as the gaps they close.", make.POLYGONS,
                        True),
            make.source("OBJECTS", "Objects", "Points drawn over them, such as those of a calibration.", make.POINTS,
                        True),
            make.text("SHEET_TITLE", "Title", "Heading of the page.", "Plan for the boat"),
            make.choice("DISPLAY_UNIT", "Unit on the sheet", "Unit of ranges, lengths and depths.", ["m", "ft", "yd"],
                        "m"),
            make.choice("SPEED_UNIT", "Unit of speeds", "Unit of the speeds on the sheet.", make.SPEED_UNITS, "m/s"),
            *make.advanced(make.number("MAGNETIC_VARIATION", "Magnetic variation (degrees, east positive)", "For "
                                       "magnetic courses; blank leaves them out.", None, -180, 180),
                           make.point("START", "Start (a point on the map)", "Marked on the map.")),
            make.destination_file("OUTPUT_HTML", "Plan sheet", self.OUTPUT_HELP["OUTPUT_HTML"], "HTML files (*.html)",
                                  optional=False))
        plan_form.add_numbers(self, ("LINE_COUNT", "Lines"))

    def refusal(self, parameters, context):
        for name in ("DISPLAY_UNIT", "SPEED_UNIT"):
            values.option(self, parameters, name, context)
        variation = values.number(self, parameters, "MAGNETIC_VARIATION", context)
        if variation is not None and not -180 <= variation <= 180:
            return Message("{MAGNETIC_VARIATION} is {given:g}; give -180 to 180.", given=variation)
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey import paper_of, plan_sheet

        table = read.table(self, parameters, "LINES", context, feedback, geometry="any")
        read.require(table, list(_NEEDED), "Lines", "Use the output of a planning tool.")
        shapes = read.shapes(table)
        kept = np.array([shape is not None and not shape.is_empty for shape in shapes], bool)
        if not kept.any():
            raise InputError("The layer holds no lines; run one of the planning tools first.", field="lines")
        kinds = {field.name: field.kind for field in schemas.PLAN_LINES}
        columns = {name: (read.texts if kinds[name] == "string" else read.numbers)(table, name)
                   for name in kinds if table.has(name)}
        if not np.isin(columns["kind"].astype(str), ("line", "shore")).any():
            raise InputError("None of these features is a line to run (field kind); give the whole plan.",
                             field="lines")
        under = {name.lower(): plan_form.geometries(self, parameters, name, context, feedback, table.crs)[0]
                 for name in ("WATER", "GAPS", "OBJECTS")}
        plan = paper_of(read.wkt(table.crs), columns, shapes,
                        values.number(self, parameters, "MAGNETIC_VARIATION", context),
                        plan_form.start_of(self, parameters, context, table.crs), **under)
        path = self.parameterAsFileOutput(parameters, "OUTPUT_HTML", context)
        save_text(path, plan_sheet(plan, values.option(self, parameters, "DISPLAY_UNIT", context),
                                   values.option(self, parameters, "SPEED_UNIT", context),
                                   values.text(self, parameters, "SHEET_TITLE", context) or "Plan for the boat"))
        feedback.pushInfo(f"The plan sheet is {path}; open it in a browser.")
        return {"OUTPUT_HTML": path,
                "LINE_COUNT": int(np.isin(columns["kind"].astype(str), ("line", "shore")).sum())}
