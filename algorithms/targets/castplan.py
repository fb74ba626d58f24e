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
from ..common.write import write_layer

__all__ = ["CastPlan"]

_WAYS = Message("{BOAT}, points with a field heading_deg, {BOAT_POINT} with {HEADING}, or {STAND_OFF} with {WIND_FROM}")


class CastPlan(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "castplan", "Plan casts", "targets"
    STEP, GUIDE = 3, ("return",)
    LAYERS = {"OUTPUT": schemas.CAST_LINES, "STATIONS": schemas.CAST_STATIONS}
    FUNCTION = "plan_casts"
    FIELDS = {"sigma_range": "CAST_SIGMA_RANGE", "sigma_angle": "CAST_SIGMA_ANGLE", "variation": "MAGNETIC_VARIATION",
              "stations": "BOAT"}
    CAUTIOUS = True
    SUMMARY = "Distance, bearing and clock direction to each target, the chance of a cast, and a card to take along."
    TAGS = "cast,fishing,grapple,magnet,retrieve,drop,bearing,clock,distance,probability,card,print,angler"
    HELP = """Tells how to put a lure, a grapple or a magnet onto a target: from where the boat lies, or from stations
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

    The card is one HTML page to print or to read on a phone, with a north-up sketch of each target. Open it in a
    browser; the log says where it is."""
    OUTPUT_HELP = {
        "OUTPUT": "A line for each cast, in the order to throw them, with distance, bearings, clock direction and "
                  "chances; one line without a chance for a target out of reach.",
        "STATIONS": "Places to cast from, with the heading of the bow.",
        "OUTPUT_HTML": "The card. Up to six targets print large on one page, up to twenty small.",
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
            make.destination_file("OUTPUT_HTML", "Cast card", self.OUTPUT_HELP["OUTPUT_HTML"], "HTML files (*.html)"),
        )
        self.addOutput(QgsProcessingOutputNumber("TARGET_COUNT", "Targets within reach"))
        self.addOutput(QgsProcessingOutputNumber("CAST_COUNT", "Casts planned"))

    def refusal(self, parameters, context):
        given = [name for name in ("BOAT", "BOAT_POINT", "STAND_OFF") if values.given(parameters, name)]
        if len(given) > 1:
            return Message("{given} are given together; choose one way to cast from: {ways}.",
                           given=Message.joined(" and ", map(Setting, given)), ways=_WAYS)
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
        from ...survey.casts.castplan import CastSettings

        def number(name):
            return values.number(self, parameters, name, context)
        return CastSettings(number("SIGMA_BOAT"), number("CAST_SIGMA_RANGE"), number("CAST_SIGMA_ANGLE"),
                            number("HIT_RADIUS"), number("MAX_CAST"), number("MAGNETIC_VARIATION"),
                            values.option(self, parameters, "METHOD", context))

    def run_tool(self, parameters, context, feedback):
        from ...survey.casts.castcard import cast_card
        from ...survey.casts.castplan import plan_casts
        from ...survey.geometry import transfer
        from ...survey.geometry.frame import Frame

        table, quarry = self._targets(parameters, context, feedback)
        frame = Frame.around(read.wkt(table.crs), quarry.east, quarry.north)
        quarry.east, quarry.north = frame.forward(quarry.east, quarry.north)
        turn = float(frame.convergence(0.0, 0.0))
        water = read.polygons(self, parameters, "WATER", context, feedback, table.crs)
        water = None if water is None else transfer.to_frame(frame, water)
        stations = self._stations(parameters, context, feedback, quarry, frame, table.crs, turn, water)
        plan = plan_casts(quarry, stations, self._settings(parameters, context), turn, stepper(feedback, 5, 90), water)
        self._say_limits(plan, feedback)
        results = self._write(parameters, context, feedback, plan, frame, table.crs)
        if values.given(parameters, "OUTPUT_HTML"):
            results["OUTPUT_HTML"] = self.parameterAsFileOutput(parameters, "OUTPUT_HTML", context)
            save_text(results["OUTPUT_HTML"],
                      cast_card(plan, values.option(self, parameters, "DISPLAY_UNIT", context)))
            feedback.pushInfo(f"The card is {results['OUTPUT_HTML']}; open it in a browser.")
        return results

    def _say_limits(self, plan, feedback):
        """Warnings of targets that are not found with 90 %, by what stopped them, and of stations out of the wind."""
        from ...survey.casts.castplan import CASTS, FAR, LONGEST, MANY, NO_WATER, WATER

        for reach, limit, words in (
                (NO_WATER, WATER, "have no clear water between them and a boat in WATER; look where they lie, or give "
                                  "another boat or stand-off"),
                (FAR, LONGEST, "are out of reach of the longest cast; move the boat"),
                (MANY, LONGEST, "are not found with 90 %, since the longest cast ends short of where they may be; move "
                                "the boat nearer"),
                (MANY, WATER, "are not found with 90 %, since land keeps casts from where they may be; cast from "
                              "another side as well"),
                (MANY, CASTS, "are not found with 90 % by 50 casts; get a better place first")):
            late = _named(plan.quarry, (plan.reach == reach) & (plan.limit == limit))
            if late:
                feedback.pushWarning(f"{len(late)} target(s) {words}: {_few(late)}.")
        swung, near = plan.stations.swung, plan.stations.near
        if swung is not None and ((swung != 0) | (near < 1)).any():
            moved = _named(plan.quarry, (swung != 0) | (near < 1))
            feedback.pushWarning(
                f"{len(moved)} station(s) cannot lie to windward in WATER and were turned, by up to "
                f"{abs(swung).max():.0f} degrees, or brought in to as near as {100 * near.min():.0f} % of the "
                f"stand-off: those of {_few(moved)}. There casts do not go with the wind.")

    def _targets(self, parameters, context, feedback):
        """The table of targets, and the core's Quarry without its frame coordinates."""
        from ...survey.casts.castplan import CastTargets

        table = read.table(self, parameters, "TARGETS", context, feedback, geometry="point", contract=True)
        read.require(table, ["target_id", "sigma_east_m", "sigma_north_m", "cov_en_m2"], "Targets",
                     "Use the output of 'Locate targets' or 'Combine repeated targets'.")
        if not len(table):
            raise InputError(f"Targets '{table.name}' are empty; there is nothing to cast at. Choose the output of "
                             "'Locate targets' or 'Combine repeated targets'.")
        east, north, mixed = (read.numbers(table, n) for n in ("sigma_east_m", "sigma_north_m", "cov_en_m2"))
        covariance = np.stack([np.stack([east ** 2, mixed], -1), np.stack([mixed, north ** 2], -1)], -2)
        blank = np.full(len(table), "", object)
        quarry = CastTargets(
            table.x, table.y, covariance, _ids(table),
            read.texts(table, "label") if table.has("label") else blank,
            read.texts(table, "status") if table.has("status") else blank,
            *(read.numbers(table, name) if table.has(name) else np.full(len(table), np.nan)
              for name in ("depth_m", "bottom_m")))
        hanging = quarry.status == "water column"
        if not hanging.any() or self.parameterAsBool(parameters, "WATER_COLUMN", context):
            return table, quarry
        left_out = _few(_named(quarry, hanging))
        if hanging.all():
            raise InputError(f"All {len(quarry)} targets hang in the water column ({left_out}): they do not lie where "
                             "they were seen. To cast at them all the same, say so (WATER_COLUMN).")
        feedback.pushWarning(f"{hanging.sum()} of {len(quarry)} targets hang in the water column and were left out: "
                             f"{left_out}. They do not lie where they were seen; WATER_COLUMN casts at them "
                             "all the same.")
        return table, quarry.take(~hanging)

    def _stations(self, parameters, context, feedback, quarry, frame, crs, turn, water):
        from ...survey.casts.castplan import Stations

        stand_off = values.number(self, parameters, "STAND_OFF", context)
        if stand_off is not None:
            return Stations.to_windward(quarry, stand_off, values.number(self, parameters, "WIND_FROM", context), turn,
                                        water)
        heading = values.number(self, parameters, "HEADING", context)
        if values.given(parameters, "BOAT_POINT"):
            point = self.parameterAsPoint(parameters, "BOAT_POINT", context, crs)
            x, y, headings = np.array([point.x()]), np.array([point.y()]), np.array([heading])
        else:
            boat = read.table(self, parameters, "BOAT", context, feedback, crs=crs, geometry="point")
            if heading is None:
                read.require(boat, ["heading_deg"], "Boat", Message("Add it with the direction of the bow from true "
                                                                    "north, or give {HEADING}."))
            x, y = boat.x, boat.y
            headings = read.numbers(boat, "heading_deg") if boat.has("heading_deg") else np.full(len(boat), np.nan)
            headings = np.where(np.isfinite(headings), headings, np.nan if heading is None else heading)
            _refuse_blank(headings, boat)
        east, north = frame.forward(x, y)
        return Stations(np.asarray(east, float), np.asarray(north, float), headings % 360.0, "boat")

    def _write(self, parameters, context, feedback, plan, frame, crs):
        from shapely.geometry import LineString

        from ...survey.geometry import transfer

        columns, ends = plan.lines()
        lines = [transfer.to_crs(frame, LineString(pair)) for pair in ends]
        stations = plan.stations
        return {
            "OUTPUT": write_layer(self, parameters, "OUTPUT", context, feedback, fields=schemas.CAST_LINES,
                                  columns=columns, kind="line", crs=crs, places=lines, style="casts"),
            "STATIONS": write_layer(self, parameters, "STATIONS", context, feedback, fields=schemas.CAST_STATIONS,
                                    columns=plan.station_columns(), kind="point", crs=crs,
                                    places=frame.inverse(stations.east, stations.north), style="stations"),
            "TARGET_COUNT": sum(pattern is not None for pattern in plan.patterns),
            "CAST_COUNT": sum(len(pattern.aims) for pattern in plan.patterns if pattern is not None),
        }


def _ids(table):
    """Number of each target; its place in the layer where it has none."""
    ids = read.numbers(table, "target_id")
    return np.where(np.isfinite(ids), np.nan_to_num(ids), np.arange(1, len(ids) + 1)).astype(int)


def _named(quarry, which):
    """Id and label of some targets."""
    return [f"{i} {label}".strip() for i, label in zip(quarry.target_id[which], quarry.label[which])]


def _few(names):
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")


def _refuse_blank(headings, boat):
    blank = np.flatnonzero(np.isnan(headings))
    if len(blank):
        raise InputError(Message("Boat '{name}': feature {feature} has no heading_deg. Fill it in, or give {HEADING} "
                                 "for all.", name=boat.name, feature=boat.ids[blank[0]]))
