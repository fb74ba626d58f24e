"""Write GPX: targets, stations and lines for plotters and phones."""
from __future__ import annotations

import math

import numpy as np
from qgis.core import QgsCoordinateReferenceSystem

from ...survey.model.messages import Message
from ..common import parameters as make
from ..common import read, values
from ..common.base import CAUTION, AthwartAlgorithm
from ..common.files import save_text

__all__ = ["ExportGpx"]

_NAMES = ("label", "name", "target_id", "line_id", "station_id", "cast_no", "pass_id")
"""Fields that serve as names unasked, the first that the layer has."""


class ExportGpx(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "exportgpx", "Write GPX", "targets"
    STEP, GUIDE = 4, ("return",)
    NEEDED = ("WAYPOINTS", "LINES")
    SECTIONS = (
        ("Points", ("WAYPOINTS", "NAME_FIELD", "ROUTE")),
        ("Lines", ("LINES", "LINES_AS", "LINE_NAME_FIELD")),
        ("Names and units in the file", ("MAX_NAME", "DISPLAY_UNIT")),
    )
    FUNCTION = "write_gpx"
    FIELDS = {"longest": "MAX_NAME"}
    CAUTIOUS = True
    SUMMARY = "Write points as waypoints and lines as routes or tracks of a GPX 1.1 file for a plotter or a phone."
    TAGS = "gpx,export,waypoints,routes,tracks,plotter,phone,gps,navigate"
    HELP = """Writes a GPX 1.1 file: points become waypoints, lines become routes or tracks. The description of a target
    says how good its place is ('95 % within 6.2 m'), how deep the bottom is there or the water was under the boat, and
    what it is: side unsure, or in the water column. That of a station says what is cast at from there, from how far,
    and which way the bow points.

    Plotters show short names: names are cut to the longest name you allow, and those that would look alike end in a
    number, so that no two are the same; upper and lower case count as one. A line of several parts becomes one track of
    several segments, or several routes. Coordinates are brought to WGS 84, whatever the layers are in."""
    OUTPUT_HELP = {"OUTPUT": "The GPX file."}

    def initAlgorithm(self, config=None):
        self.add(
            make.source("WAYPOINTS", "Waypoints", "Points, such as targets or stations.", make.POINTS, optional=True),
            make.source("LINES", "Lines", "Lines, such as survey lines or passes.", make.LINES, optional=True),
            make.choice("LINES_AS", "Write lines as", "'route' to be followed point by point, 'track' to be seen on "
                        "the map.", ["route", "track"], "route"),
            make.field("NAME_FIELD", "Field of names", "Names of the waypoints. Blank: the label, else the name or "
                       "number that the layer carries.", "WAYPOINTS"),
            make.field("LINE_NAME_FIELD", "Field of line names", "Names of the lines. Blank: the name or number that "
                       "the layer carries.", "LINES"),
            make.number("MAX_NAME", "Longest name (characters)", "As many as your plotter shows.", 16, 2, 200,
                        whole=True),
            make.choice("DISPLAY_UNIT", "Unit in descriptions", "Unit of the distances and depths that the "
                        "descriptions give.", ["m", "ft", "yd"], "m"),
            make.destination_file("OUTPUT", "GPX file", "Where to write it.", "GPX files (*.gpx)", optional=False),
            *make.optional(
                make.switch("ROUTE", "Also write the waypoints as a route", "One route an outing, by the field "
                            "route_no where there is one, else in the order of the layer.")),
        )

    def packages(self, parameters):
        return ("numpy", "shapely") if values.given(parameters, "LINES") else ("numpy",)

    def refusal(self, parameters, context):
        if not values.given(parameters, "WAYPOINTS") and not values.given(parameters, "LINES"):
            return Message("There is nothing to write: give {WAYPOINTS}, {LINES} or both.")
        longest = values.whole(self, parameters, "MAX_NAME", context)
        if longest < 2:
            return Message("{MAX_NAME} is {given}; names need at least 2 characters to stay apart.", given=longest)
        values.option(self, parameters, "LINES_AS", context)
        values.option(self, parameters, "DISPLAY_UNIT", context)
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey import gpx_text

        waypoints, routes = self._waypoints(parameters, context, feedback)
        lines, empty = self._lines(parameters, context, feedback)
        if empty:
            feedback.pushWarning(f"{empty} line(s) without a vertex were left out.")
        text = gpx_text(waypoints, lines, values.option(self, parameters, "LINES_AS", context),
                        values.whole(self, parameters, "MAX_NAME", context), CAUTION, routes)
        path = self.parameterAsFileOutput(parameters, "OUTPUT", context)
        save_text(path, text)
        feedback.pushInfo(f"{len(waypoints)} waypoints and {len(lines)} lines are in {path}.")
        return {"OUTPUT": path}

    def _waypoints(self, parameters, context, feedback):
        from ...survey import Waypoint

        table = read.table(self, parameters, "WAYPOINTS", context, feedback, crs=_wgs84(), geometry="point")
        if table is None:
            return [], []
        names = _named(table, values.text(self, parameters, "NAME_FIELD", context))
        t_s = read.numbers(table, "t_s") if table.has("t_s") else np.full(len(table), np.nan)
        row_of = _rows(table)
        unit = values.option(self, parameters, "DISPLAY_UNIT", context)
        made = [Waypoint.described(table.x[i], table.y[i], names[i], row_of(i), t_s[i], unit)
                for i in range(len(table))]
        return made, _routes(table) if self.parameterAsBool(parameters, "ROUTE", context) else []

    def _lines(self, parameters, context, feedback):
        """(lines, number of those without a vertex)."""
        from ...survey import GpxLine

        table = read.table(self, parameters, "LINES", context, feedback, crs=_wgs84(), geometry="any")
        if table is None:
            return [], 0
        names = _named(table, values.text(self, parameters, "LINE_NAME_FIELD", context))
        made = []
        for shape, name in zip(read.shapes(table), names):
            if shape is not None:
                parts = [np.asarray(part.coords)[:, :2] for part in getattr(shape, "geoms", [shape])]
                made.append(GpxLine([part for part in parts if len(part)], name))
        return made, len(table) - len(made)


def _wgs84():
    return QgsCoordinateReferenceSystem("EPSG:4326")


def _named(table, field):
    """Name of each feature: from the field, else from the first of the usual ones; '' where there is none."""
    if field and not table.has(field):
        read.require(table, [field], "Layer", "Choose a field it has.")
    chosen = field or next((name for name in _NAMES if table.has(name)), "")
    names = read.texts(table, chosen) if chosen else np.full(len(table), "", object)
    if not field and chosen == "label" and table.has("target_id"):
        names = np.where(names == "", read.texts(table, "target_id"), names)
    return [str(name) for name in names]


def _routes(table):
    """(name, numbers of the waypoints in their order) of each outing's route."""
    outing = read.texts(table, "outing") if table.has("outing") else np.full(len(table), "", object)
    place = read.numbers(table, "route_no") if table.has("route_no") else np.arange(len(table))
    order = np.argsort(np.nan_to_num(place, nan=np.inf), kind="stable")
    return [(str(name) or "Route", [int(i) for i in order if outing[i] == name]) for name in dict.fromkeys(outing)]


def _rows(table):
    """``row_of(i)(field)`` -> value or None; numbers as floats."""
    numbers = {name: read.numbers(table, name) for name in (
        "radius_m", "confidence_pct", "depth_m", "bottom_m", "height_m", "target_id", "station_id", "nearest_m",
        "farthest_m", "heading_deg") if table.has(name)}
    words = {name: read.texts(table, name) for name in ("status", "label", "cast_at") if table.has(name)}

    def row_of(i):
        def value(name):
            if name in ("status", "label", "cast_at"):
                return words[name][i] if name in words else None
            found = numbers[name][i] if name in numbers else math.nan
            return float(found) if math.isfinite(found) else None
        return value
    return row_of
