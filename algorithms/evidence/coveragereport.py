"""Write coverage report: one page for people, one table for programs."""
from __future__ import annotations

import csv
import io
from typing import Any

import numpy as np
from qgis.PyQt.QtCore import QDateTime

from ...survey.model import schemas
from ...survey.model.errors import SurveyError
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm, stepper
from ..common.files import save_text
from ..common.kinds import OWN
from ..common.seen import seen_ground

__all__ = ["CoverageReport"]

_LAYERS = ("TRACK", "PASSES", "SWATHS", "AREAS", "GAPS", "SHORE", "TARGETS", "LAKE", "PLACES")
_WRITTEN = ("PEOPLE", "GEAR", "WATER_LEVEL", "DATUM", "WEATHER", "NOTES")
_REMEDY = {"TRACK": "Use the output of 'Prepare track'.", "PASSES": "Use the passes of 'Prepare track'.",
           "SWATHS": "Use the output of 'Draw swaths'.", "AREAS": "Use the areas of 'Find coverage gaps'.",
           "GAPS": "Use the gaps of 'Find coverage gaps'.", "SHORE": "Use the output of 'Find unscanned shoreline'.",
           "TARGETS": "Use the output of 'Locate targets' or 'Combine repeated targets'.",
           "LAKE": "Give the outline of the lake.", "PLACES": "Give points with their names."}


class CoverageReport(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "coveragereport", "Write coverage report", "evidence"
    STEP, JOB, GUIDE = 1, 7, ("audit",)
    TAKES = {"TRACK": (schemas.TRACK,), "PASSES": (schemas.PASSES,), "SWATHS": (schemas.SWATHS,),
             "AREAS": (schemas.AREAS,), "GAPS": (schemas.GAPS,), "SHORE": (schemas.SHORE,),
             "TARGETS": (schemas.COMBINED, schemas.TARGETS), "LAKE": (OWN, schemas.AREAS), "OUTING_TABLE": (OWN,)}
    SECTIONS = (
        ("What was run and seen", ("TRACK", "PASSES", "SWATHS", "SEEN")),
        ("What was found: the areas, gaps, shore, targets", ("AREAS", "GAPS", "SHORE", "TARGETS", "LAKE", "PLACES")),
        ("The page", ("TITLE", "DISPLAY_UNIT")),
        ("For the file", ("OUTING_TABLE", "PEOPLE", "GEAR", "WATER_LEVEL", "DATUM", "WEATHER", "NOTES")),
    )
    OFFERED = ("TRACK", "PASSES", "SWATHS", "AREAS", "GAPS", "SHORE", "TARGETS")
    FUNCTION = "write_report"
    SUMMARY = "Write a page with map, key figures, gaps, shore, passes and targets, and a table of the areas."
    TAGS = "report,coverage,html,csv,gaps,shoreline,targets,summary,print"
    CAUTIOUS = True
    HELP = """Puts the layers of an outing together in one page: key figures first, then a map, how much was seen and
    between which bounds, what was missed and where, the shore nobody scanned, the passes, with the range
    that would have fitted, the targets with their error ellipses and what to improve first, and a methods paragraph to
    paste into a report.

    The page is one file that needs no network: it opens in a browser, reads on a phone and prints on paper. Give the
    layers you have; each adds its part, and what is doubtful in them is named. The table has one row for each area, for
    spreadsheets.

    Shares come with the 95 % interval that 'Find coverage gaps' gave them. Areas that overlap are counted once. The
    density of targets counts those inside the areas and comes with its exact 95 % Poisson interval; combine repeated
    looks first, or one object counts several times. An empty layer of targets or gaps is an ordinary result."""

    def initAlgorithm(self, config=None):
        self.add(
            make.source("TRACK", "Track", "Prepared track: settings and sources are read from it.", make.POINTS, True),
            make.source("PASSES", "Passes", "Passes from 'Prepare track': speed, depth band, why a pass is poor.",
                        make.LINES, True),
            make.source("SWATHS", "Swaths", "Swaths from 'Draw swaths': the map and the number of looks.",
                        make.POLYGONS, True),
            make.source("AREAS", "Areas", "Areas from 'Find coverage gaps': the share seen, with its bounds.",
                        make.POLYGONS, True),
            make.source("GAPS", "Gaps", "Gaps from 'Find coverage gaps'.", make.POLYGONS, True),
            make.source("SHORE", "Shore", "Output of 'Find unscanned shoreline'.", make.LINES, True),
            make.source("TARGETS", "Targets", "Output of 'Locate targets' or 'Combine repeated targets'.", make.POINTS,
                        True),
            make.raster("SEEN", "Map of bottom seen", "Raster from 'Map bottom seen': how much of the areas would have "
                        "shown an object, was seen too poorly, or was hidden."),
            make.text("TITLE", "Title", "Title of the report, for example the lake and the date.", "Coverage report"),
            make.destination_file("OUTPUT_HTML", "Report", "The page, for the system's browser.", "HTML files (*.html)",
                                  optional=False),
            make.destination_file("OUTPUT_TABLE", "Table", "A row for each area: sizes in m2, shares in %.",
                                  "CSV files (*.csv)"),
            *make.advanced(
                *make.optional(make.choice("DISPLAY_UNIT", "Unit of the report", "Figures are given in metres and "
                                           "hectares, or feet and acres. The table keeps metres.", ["m", "ft"], "m")),
                make.source("LAKE", "Lake", "Outline of the water, for the small map that shows where the areas lie; "
                            "else the shore is taken.", make.POLYGONS, True),
                make.source("PLACES", "Names of places", "Points with a field called name or label, such as coves and "
                            "ramps: those that the map shows are named on it.", make.POINTS, True),
                make.source("OUTING_TABLE", "Table of the outings", "Any table with a row for each outing, such as a "
                            "log sheet: its columns stand in the report as they are.", make.TABLES, True),
                make.text("PEOPLE", "People on board", "Who surveyed, for the file."),
                make.text("GEAR", "Gear", "Boat, sounder and receiver, with their settings if they are of use."),
                make.text("WATER_LEVEL", "Water level", "As read, for example 212.4 m at the dam."),
                make.text("DATUM", "Datum of the water level", "What the level is above."),
                make.text("WEATHER", "Weather", "Wind, waves, sky."),
                make.text("NOTES", "Notes", "What else belongs to the file.")),
            make.destination_file("OUTPUT_ROWS", "Table of areas, gaps and targets", "A row for each, with the figures "
                                  "of the page in metres.", "CSV files (*.csv)"),
        )

    def refusal(self, parameters, context):
        if not any(values.given(parameters, name) for name in _LAYERS[:-2]):
            return "There is nothing to report on: give at least one layer, such as the areas of 'Find coverage gaps'."
        if values.given(parameters, "OUTPUT_TABLE") and not values.given(parameters, "AREAS"):
            return ("The table has a row for each area: give Areas (AREAS), made by 'Find coverage gaps', "
                    "or leave the table out.")
        if values.given(parameters, "SEEN") and not values.given(parameters, "AREAS"):
            return "A map of bottom seen (SEEN) is judged inside areas: give Areas (AREAS) as well, or leave it out."
        values.option(self, parameters, "DISPLAY_UNIT", context)
        return ""

    def run_tool(self, parameters, context, feedback):
        step = stepper(feedback)
        report = self._report(parameters, context, feedback, step)
        title = values.text(self, parameters, "TITLE", context) or "Coverage report"
        self.tell(feedback, warnings=report.doubts())
        page = report.page(title, QDateTime.currentDateTimeUtc().toString("yyyy-MM-dd HH:mm") + " UTC", self.worded,
                           self._record(parameters, context, feedback))
        step(0.9)
        results = {"OUTPUT_HTML": self.parameterAsFileOutput(parameters, "OUTPUT_HTML", context)}
        save_text(results["OUTPUT_HTML"], page)
        feedback.pushInfo(f"The report is {results['OUTPUT_HTML']}; open it in a browser.")
        if values.given(parameters, "OUTPUT_TABLE"):
            results["OUTPUT_TABLE"] = self.parameterAsFileOutput(parameters, "OUTPUT_TABLE", context)
            _save_table(results["OUTPUT_TABLE"], *report.area_rows())
        if values.given(parameters, "OUTPUT_ROWS"):
            results["OUTPUT_ROWS"] = self.parameterAsFileOutput(parameters, "OUTPUT_ROWS", context)
            _save_table(results["OUTPUT_ROWS"], *report.all_rows())
        return results

    def _record(self, parameters, context, feedback):
        """What was written down about the outings."""
        record: dict[str, Any] = {name.lower(): values.text(self, parameters, name, context) for name in _WRITTEN}
        table = read.table(self, parameters, "OUTING_TABLE", context, feedback)
        if table is not None:
            shown = {name: read.texts(table, name) for name in table.columns if name != "fid"}
            record["rows"] = [{name: column[i] for name, column in shown.items()} for i in range(len(table))]
        return record

    def _report(self, parameters, context, feedback, step):
        """The Report of the layers given; the first of them sets the CRS of all."""
        from ...survey import Report, ReportLayer

        layers, crs = {}, None
        for i, name in enumerate(_LAYERS):
            step(0.3 * i / len(_LAYERS))
            tab = read.table(self, parameters, name, context, feedback, geometry="any", contract=True, crs=crs)
            if tab is not None:
                label = self.parameterDefinition(name).description()
                read.require(tab, Report.NEEDED[name.lower()], label, _REMEDY[name])
                crs = crs or tab.crs
                columns = _columns(tab, getattr(schemas, name, ()), feedback)
                layers[name.lower()] = ReportLayer(tab.name, columns, read.shapes(tab))
        seen = None
        if values.given(parameters, "SEEN"):
            seen = self._seen(parameters, context, crs, layers["areas"].geometries,
                              lambda fraction: step(0.3 + 0.4 * fraction))
        return Report(read.wkt(crs), layers, seen, lambda fraction: step(0.7 + 0.15 * fraction),
                      values.option(self, parameters, "DISPLAY_UNIT", context))

    def _seen(self, parameters, context, crs, areas, step):
        """SeenGround of the raster round the areas, None where no area has a place."""
        bounds = np.array([g.bounds for g in areas if g is not None]).reshape(-1, 4)
        if not len(bounds):
            return None
        extent = (*bounds[:, :2].min(axis=0), *bounds[:, 2:].max(axis=0))
        return seen_ground(self, parameters, "SEEN", context, crs, extent, 1, "detection", step)[0]


def _columns(tab, wanted, feedback):
    """Columns by the type the contract gives them, rows without a number counted; the user's own fields as text."""
    readers = {"string": read.texts, "bool": read.flags, "datetime": lambda tab, name: _moments(tab, name, feedback)}
    kinds = {f.name: f.kind for f in wanted}
    columns = {name: readers.get(kinds.get(name, "string"), read.numbers)(tab, name) for name in tab.columns}
    for name in {"target_id", "gap_id", "shore_id"} & set(kinds) & set(columns):
        columns[name] = np.where(np.isfinite(columns[name]), columns[name], np.arange(1, len(tab) + 1))
    return columns


def _moments(tab, name, feedback):
    """Seconds since 1970; a column that holds no times says so and is unknown: only the dates are read from it."""
    try:
        return read.times(tab, name)
    except SurveyError as error:
        feedback.pushWarning(f"{error} The report goes on without these times.")
        return np.full(len(tab), np.nan)


def _save_table(path, head, rows):
    text = io.StringIO()
    csv.writer(text).writerows([head, *rows])
    save_text(path, text.getvalue())
