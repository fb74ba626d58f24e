"""Plan casts: from where, how far, which way and how many times to cast at each target."""
from __future__ import annotations

import numpy as np
from qgis.core import QgsProcessingOutputNumber

from ...survey.model import schemas
from ...survey.model.errors import InputError
from ...survey.model.messages import Message, Setting
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm, stepper
from ..common.files import save_text
from ..common.kinds import OWN
from ..common.write import write_layer

__all__ = ["CastPlan"]

_ERRORS = ("sigma_east_m", "sigma_north_m", "cov_en_m2")

_WAYS = Message("{BOAT}, points with a field heading_deg, {BOAT_POINT} with {HEADING}, or {STAND_OFF} with {WIND_FROM}")


class CastPlan(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "castplan", "Plan casts", "targets"
    STEP, GUIDE = 3, ("return",)
    TAKES = {"TARGETS": (schemas.COMBINED, schemas.TARGETS, OWN), "BOAT": (OWN, schemas.CAST_STATIONS),
             "WATER": (OWN, schemas.AREAS)}
    LAYERS = {"OUTPUT": schemas.CAST_LINES, "STATIONS": schemas.CAST_STATIONS}
    SECTIONS = (
        ("What to cast at", ("TARGETS", "WATER_COLUMN")),
        ("From where: a layer, or a point and heading, or a stand-off and wind",
         ("BOAT", "BOAT_POINT", "HEADING", "STAND_OFF", "WIND_FROM", "WATER", "SIGMA_BOAT", "MAGNETIC_VARIATION")),
        ("The cast", ("HIT_RADIUS", "MAX_CAST", "METHOD", "CAST_SIGMA_RANGE", "CAST_SIGMA_ANGLE")),
        ("The card", ("DISPLAY_UNIT", "CARD_LAKE", "CARD_DATE", "CARD_OUTING", "CARD_NOTES", "NIGHT")),
    )
    NEEDED = ("BOAT", "BOAT_POINT", "HEADING", "STAND_OFF", "WIND_FROM")
    FUNCTION = "plan_casts"
    FIELDS = {"sigma_range": "CAST_SIGMA_RANGE", "sigma_angle": "CAST_SIGMA_ANGLE", "variation": "MAGNETIC_VARIATION",
              "stations": "BOAT"}
    CAUTIOUS = True
    SUMMARY = "Distance, bearing and clock direction to each target, the chance of a cast, and a card to take along."
    TAGS = "cast,fishing,grapple,magnet,retrieve,drop,bearing,clock,distance,probability,card,print,angler"
    HELP = """Shows how to put a lure, a grapple or a magnet onto a target: from where the boat lies, or from stations
    at a stand-off to windward of each target, where an anchored boat lies bow to the wind and casts over its stern.

    For each target it gives distance, true and magnetic bearing and clock direction off the bow; the chance that one
    cast lands within the hit radius; and a pattern of casts, the first at the target's place and each next one where
    it adds most, with the number that reaches 90 %. Targets out of reach, and those that 50 casts do not find, are said
    to be so, with the limit that stopped them: the longest cast, the water, or the 50 casts.

    Where the water is given, a boat floats at every station and the whole way of every cast lies in the water, for what
    is thrown over a spit or an island is drawn back through it. A station that cannot lie to windward is turned from
    there, or brought nearer, no more than it must be.

    By the method 'retrieve' a cast hits when the way from its landing back to the boat passes within the hit radius, as
    for a grapple or a lure that is drawn along the bottom; casts are then thrown past the target. What hangs in the
    water column is no place to cast at: it is left out unless asked for.

    The error of the target and of the boat's own fix is the same for every cast of a visit, only the caster's scatter
    is fresh in each. So casts are not independent tries: the chance of several is averaged over where the target may
    be, and casting at one spot again and again helps less than a pattern.

    The card is one HTML page to print or to read on a phone, in the order of the shortest way round: for each target
    where it and the station lie, how near its place is known, the first casts in words with the chance after each, a
    north-up sketch, and, where 90 % is out of reach, what helps: how much nearer to lie, where to move the boat if
    land is in the way, or how many casts a better place would take. Open it in a browser; the messages say where it
    is."""
    OUTPUT_HELP = {
        "OUTPUT": "A line for each cast, in the order to throw them, with distance, bearings, clock direction and "
                  "chances; one line without a chance for a target out of reach.",
        "STATIONS": "Places to cast from, with the heading of the bow.",
        "OUTPUT_HTML": "The card, its targets in the order of the route; it prints on as many pages as it takes.",
        "TARGET_COUNT": "Number of targets within reach.",
        "CAST_COUNT": "Number of casts planned.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.source("TARGETS", "Targets", "Output of 'Locate targets' or 'Combine repeated targets'.", make.POINTS),
            make.source("BOAT", "Boat (layer of points)", "One point or more where the boat will lie, with the "
                        "direction of its bow (true) in a field heading_deg; each target is cast at from the nearest.",
                        make.POINTS, optional=True),
            make.point("BOAT_POINT", "Boat (a point on the map)", "Instead of a layer: where the boat will lie."),
            make.number("HEADING", "Heading of the bow (degrees, true)", "Which way the bow points; for the clock "
                        "directions.", None, -360, 360),
            make.distance("STAND_OFF", "Stand-off to windward", "Instead of a boat: plan a station for each target, "
                          "this far from it into the wind.", None, 0),
            make.number("WIND_FROM", "Wind from (degrees, true)", "Where the wind comes from; 270 is a west wind.",
                        None, -360, 360),
            make.distance("HIT_RADIUS", "Hit radius", "How near to the object a cast must land to count.", 1.5, 0),
            make.distance("MAX_CAST", "Longest cast", "Targets farther off are out of reach.", 30.0, 0),
            make.choice("DISPLAY_UNIT", "Unit on the card", "Unit of the distances on the card.", ["ft", "yd", "m"],
                        "ft"),
            *make.advanced(
                make.distance("SIGMA_BOAT", "Error of the boat's own place", "One standard deviation, each axis, of "
                              "the fix that the boat is brought to its place by.", 2.0, 0),
                make.distance("CAST_SIGMA_RANGE", "Error of a cast's distance", "One standard deviation of how far "
                              "casts fall short or long.", 1.0, 0),
                make.number("CAST_SIGMA_ANGLE", "Error of a cast's direction (degrees)", "One standard deviation of "
                            "how far casts go left or right.", 3.0, 0, 45),
                *make.optional(make.choice(
                    "METHOD", "What hits", "'landing': the place where a cast lands. 'retrieve': all of the way from "
                    "there back to the boat.", ["landing", "retrieve"], "landing")),
                make.source("WATER", "Water", "Polygons of the water, islands cut out: boats float and casts land in "
                            "it, and no cast crosses land.", make.POLYGONS, optional=True),
                *make.optional(make.switch(
                    "WATER_COLUMN", "Cast at what hangs in the water, too", "Targets of the status 'water column', "
                    "such as fish: they do not lie where they were seen.")),
                make.number("MAGNETIC_VARIATION", "Magnetic variation (degrees, east positive)", "For the magnetic "
                            "bearings; blank leaves them out.", None, -180, 180)),
            make.sink("OUTPUT", "Casts", self.OUTPUT_HELP["OUTPUT"], "line"),
            make.sink("STATIONS", "Stations", self.OUTPUT_HELP["STATIONS"], "point", optional=True),
            make.destination_file("OUTPUT_HTML", "Cast card", self.OUTPUT_HELP["OUTPUT_HTML"], "HTML files (*.html)",
                                  by_default=True),
            *make.advanced(*make.optional(
                make.text("CARD_LAKE", "Lake (for the card)", "Stands at the head of the card."),
                make.text("CARD_DATE", "Date (for the card)", "Stands at the head of the card."),
                make.text("CARD_OUTING", "Outing (for the card)", "Stands at the head of the card."),
                make.text("CARD_NOTES", "Notes (for the card)", "Stands at the head of the card."),
                make.switch("NIGHT", "Card for the night", "Light on black on a screen; prints black on white."))),
        )
        self.addOutput(QgsProcessingOutputNumber("TARGET_COUNT", "Targets within reach"))
        self.addOutput(QgsProcessingOutputNumber("CAST_COUNT", "Casts planned"))

    def refusal(self, parameters, context):
        given = [name for name in ("BOAT", "BOAT_POINT", "STAND_OFF") if values.given(parameters, name)]
        if len(given) > 1:
            return Message("{given} are given together; choose one way to cast from: {ways}.",
                           given=Message.joined(" and ", [Setting(name) for name in given]), ways=_WAYS)
        if not given:
            return Message("Nothing says where to cast from. Give {ways}.", ways=_WAYS)
        if given == ["BOAT_POINT"] and values.number(self, parameters, "HEADING", context) is None:
            return Message("{BOAT_POINT} needs {HEADING}, the direction of the bow, for the clock directions.")
        if given == ["STAND_OFF"] and values.number(self, parameters, "WIND_FROM", context) is None:
            return Message("{STAND_OFF} needs {WIND_FROM}, where the wind comes from: the stations lie to windward.")
        if given == ["STAND_OFF"] and not values.number(self, parameters, "STAND_OFF", context) > 0:
            return Message("{STAND_OFF} is not above zero; give the distance between boat and target.")
        values.option(self, parameters, "DISPLAY_UNIT", context)
        self._settings(parameters, context)
        return ""

    def _settings(self, parameters, context):
        from ...survey import CastSettings

        def number(name):
            return values.number(self, parameters, name, context)
        return CastSettings(number("SIGMA_BOAT"), number("CAST_SIGMA_RANGE"), number("CAST_SIGMA_ANGLE"),
                            number("HIT_RADIUS"), number("MAX_CAST"), number("MAGNETIC_VARIATION"),
                            values.option(self, parameters, "METHOD", context))

    def run_tool(self, parameters, context, feedback):
        from ...survey import cast_card, plan_casts

        table, x, y, columns = self._targets(parameters, context, feedback)
        water = read.polygons(self, parameters, "WATER", context, feedback, table.crs)
        casts = plan_casts(read.wkt(table.crs), x, y, columns, self._boat(parameters, context, feedback, table.crs),
                           self._settings(parameters, context), water=water, step=stepper(feedback, 5, 90))
        self.tell(feedback, warnings=casts.warnings)
        results = self._write(parameters, context, feedback, casts, table.crs)
        if values.given(parameters, "OUTPUT_HTML"):
            results["OUTPUT_HTML"] = self.parameterAsFileOutput(parameters, "OUTPUT_HTML", context)
            save_text(results["OUTPUT_HTML"],
                      cast_card(casts.plan, values.option(self, parameters, "DISPLAY_UNIT", context),
                                written={name: values.text(self, parameters, f"CARD_{name.upper()}", context)
                                         for name in ("lake", "date", "outing", "notes")},
                                night=self.parameterAsBool(parameters, "NIGHT", context)))
            feedback.pushInfo(f"The card is {results['OUTPUT_HTML']}; open it in a browser.")
        return results

    def _targets(self, parameters, context, feedback):
        """(table, x, y, columns) of the targets; those in the water column are left out unless they are asked for."""
        table = read.table(self, parameters, "TARGETS", context, feedback, geometry="point", contract=True)
        read.require(table, ["target_id", *_ERRORS], "Targets",
                     "Use the output of 'Locate targets' or 'Combine repeated targets'.")
        if not len(table):
            raise InputError(f"Targets '{table.name}' are empty; there is nothing to cast at. Choose the output of "
                             "'Locate targets' or 'Combine repeated targets'.")
        columns = {"target_id": _ids(table),
                   **{name: read.texts(table, name) for name in ("label", "status") if table.has(name)},
                   **{name: read.numbers(table, name) for name in (*_ERRORS, "depth_m", "bottom_m")
                      if table.has(name)}}
        hanging = np.asarray(columns.get("status", np.full(len(table), ""))) == "water column"
        if not hanging.any() or self.parameterAsBool(parameters, "WATER_COLUMN", context):
            return table, table.x, table.y, columns
        labels = columns.get("label", np.full(len(table), "", object))
        left_out = _few([f"{i} {label}".strip() for i, label in zip(columns["target_id"][hanging], labels[hanging])])
        if hanging.all():
            raise InputError(f"All {len(table)} targets hang in the water column ({left_out}): they do not lie where "
                             "they were seen. To cast at them all the same, say so (WATER_COLUMN).")
        feedback.pushWarning(f"{hanging.sum()} of {len(table)} targets hang in the water column and were left out: "
                             f"{left_out}. They do not lie where they were seen; WATER_COLUMN casts at them "
                             "all the same.")
        return table, table.x[~hanging], table.y[~hanging], {name: v[~hanging] for name, v in columns.items()}

    def _boat(self, parameters, context, feedback, crs):
        from ...survey import Boat, StandOff

        stand_off = values.number(self, parameters, "STAND_OFF", context)
        if stand_off is not None:
            return StandOff(stand_off, values.number(self, parameters, "WIND_FROM", context))
        heading = values.number(self, parameters, "HEADING", context)
        if values.given(parameters, "BOAT_POINT"):
            point = self.parameterAsPoint(parameters, "BOAT_POINT", context, crs)
            return Boat(np.array([point.x()]), np.array([point.y()]), np.array([heading]))
        boat = read.table(self, parameters, "BOAT", context, feedback, crs=crs, geometry="point")
        if heading is None:
            read.require(boat, ["heading_deg"], "Boat", Message("Add it with the direction of the bow from true "
                                                                "north, or give {HEADING}."))
        headings = read.numbers(boat, "heading_deg") if boat.has("heading_deg") else np.full(len(boat), np.nan)
        headings = np.where(np.isfinite(headings), headings, np.nan if heading is None else heading)
        _refuse_blank(headings, boat)
        return Boat(boat.x, boat.y, headings)

    def _write(self, parameters, context, feedback, casts, crs):
        columns, lines = casts.lines()
        stations, *places = casts.stations()
        patterns = [pattern for pattern in casts.plan.patterns if pattern is not None]
        return {
            "OUTPUT": write_layer(self, parameters, "OUTPUT", context, feedback, fields=schemas.CAST_LINES,
                                  columns=columns, crs=crs, places=lines),
            "STATIONS": write_layer(self, parameters, "STATIONS", context, feedback, fields=schemas.CAST_STATIONS,
                                    columns=stations, crs=crs, places=tuple(places)),
            "TARGET_COUNT": len(patterns), "CAST_COUNT": sum(len(pattern.aims) for pattern in patterns),
        }


def _ids(table):
    """Number of each target; its place in the layer where it has none."""
    ids = read.numbers(table, "target_id")
    return np.where(np.isfinite(ids), np.nan_to_num(ids), np.arange(1, len(ids) + 1)).astype(int)


def _few(names):
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")


def _refuse_blank(headings, boat):
    blank = np.flatnonzero(np.isnan(headings))
    if len(blank):
        raise InputError(Message("Boat '{name}': feature {feature} has no heading_deg. Fill it in, or give {HEADING} "
                                 "for all.", name=boat.name, feature=boat.ids[blank[0]]))
