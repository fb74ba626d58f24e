"""Find coverage gaps: how much of an area was seen, between which bounds, and every gap with its kind and size."""
from __future__ import annotations

import numpy as np
from qgis.core import QgsProcessingOutputNumber

from ...survey import fields
from ...survey.errors import InputError
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm, stepper
from ..common.write import Carried, write_layer

__all__ = ["CoverageGaps"]

_SWATH_FIELDS = ("outing", "pass_id", "outer_m", "sigma_edge_m")
_PASS_FIELDS = ("outing", "pass_id", "range_m", "mean_depth_m")


class CoverageGaps(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "coveragegaps", "Find coverage gaps", "coverage"
    SUMMARY = "Find what of an area was not seen, why, and how sure the share seen is."
    TAGS = "coverage,gap,holiday,missed,unseen,percent,overlap,looks,nadir"
    HELP = """Takes what was seen off the area that was to be seen. What is left are the gaps, each with its kind, its
    size, the widest circle that fits inside and the length to run along it.

    The share seen comes with two bounds, because the edge of a swath is only known to a few metres. For the low bound
    every pass is narrowed by 1.645 times the error of its edge, for the high bound widened: errors of a single pass
    between passes of one outing, the position error of the whole outing as well against the shore and between
    outings. A gap is certain if some of it stays when every pass is widened.

    Kinds: hidden and weak (from a raster of looks: in the shadow of nearer ground, or seen too poorly for the object),
    no bottom (the range was shorter than the depth), break (the log was interrupted), nadir (the strip under the
    boat), between (two passes), edge (between a pass and the rim of the area) and unvisited (room for another line).
    Gaps are cut where one kind goes over into another. No bottom and break, and a nadir strip that opens into
    something else, are told apart only with the passes.

    Port and starboard of one pass are one look. Ask for 2 looks to find what only one pass saw, as a survey of 200 %
    needs."""
    OUTPUT_HELP = {
        "AREA_M2": "Ground area that was to be seen, in m2, excluded ground taken off.",
        "COVERED_M2": "Ground area seen, in m2.",
        "COVERED_PERCENT": "Share of the area seen, in percent.",
        "LOW_PERCENT": "Share seen with every pass narrowed by its 95 % error; empty where passes are drawn as one.",
        "HIGH_PERCENT": "Share seen with every pass widened by its 95 % error.",
        "GAP_M2": "All ground missed, in m2, before narrow and small gaps are left out.",
        "NARROW_M2": "Ground missed that is narrower than the narrowest gap to list, in m2.",
        "SMALL_M2": "Ground missed in gaps smaller than the smallest to list, in m2. The gaps listed, what is too "
                    "narrow and what is too small make up all ground missed.",
        "GAP_COUNT": "Number of gaps listed.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.source("SWATHS", "Swaths", "Output of 'Draw swaths', of one outing or several merged. Give this or a "
                        "raster of looks.", make.POLYGONS, True),
            make.raster("SEEN", "Raster of looks", "Output of 'Map bottom seen', instead of swaths: shadows and poor "
                        "looks count as gaps."),
            make.choice("GRADE", "What counts as seen", "What counts in a raster of looks: 'seen' once looked at, "
                        "'detection' only in passes in which an object of the size it was made for would show.",
                        ["seen", "detection"], "seen"),
            make.source("AREA", "Area", "The water that was to be seen; each feature gets its own figures. Results "
                        "come in its coordinate system.", make.POLYGONS),
            make.source("EXCLUDE", "Excluded ground", "Ground inside the area that need not be seen, such as weed beds "
                        "or a swimming place.", make.POLYGONS, True),
            make.source("PASSES", "Passes", "Passes of 'Prepare track', to tell breaks, water too deep for the range "
                        "and the strip under the boat.", make.LINES, True),
            make.number("REQUIRED_LOOKS", "Required looks", "How many different passes must have seen a place.", 1, 1,
                        20, whole=True),
            make.distance("MIN_WIDTH", "Narrowest gap to list", "Ground missed that is narrower than this is counted, "
                          "but not listed as a gap.", 1.0, 0.0),
        )
        self.add(*make.advanced(
            make.number("MIN_AREA", "Smallest gap to list (m2)", "Gaps smaller than this are not listed.", 1.0, 0.0),
            make.distance("POSITION_ERROR", "Position error of an outing", "Standard deviation, on each axis, of the "
                          "error that all passes of one outing share: the bias of the satellite position. 2 m is a "
                          "judgement for ordinary receivers.", 2.0, 0.0)))
        self.add(
            make.sink("OUTPUT", "Gaps", "A polygon for each gap, the largest first.", "polygon"),
            make.sink("AREAS", "Areas", "The area's features with the share seen, its bounds and the fewest looks.",
                      "polygon"))
        for name, label in (
                ("AREA_M2", "Area (m2)"), ("COVERED_M2", "Seen (m2)"), ("COVERED_PERCENT", "Seen (%)"),
                ("LOW_PERCENT", "Seen at least (%)"), ("HIGH_PERCENT", "Seen at most (%)"), ("GAP_M2", "Missed (m2)"),
                ("NARROW_M2", "Missed, too narrow to list (m2)"), ("SMALL_M2", "Missed, too small to list (m2)"),
                ("GAP_COUNT", "Number of gaps")):
            self.addOutput(QgsProcessingOutputNumber(name, label))

    def refusal(self, parameters, context):
        chosen = [name for name in ("SWATHS", "SEEN") if values.given(parameters, name)]
        if len(chosen) != 1:
            return ("Give either swaths (SWATHS) or a raster of looks (SEEN), one of the two; "
                    f"{'both' if chosen else 'neither'} of them {'are' if chosen else 'is'} given.")
        if chosen == ["SWATHS"] and values.option(self, parameters, "GRADE", context) != "seen":
            return ("The grade 'detection' (GRADE) needs a raster of looks (SEEN): swaths do not say how small an "
                    "object would show. Leave it at 'seen', or give the output of 'Map bottom seen'.")
        looks = values.whole(self, parameters, "REQUIRED_LOOKS", context)
        if not 1 <= looks <= 20:
            return f"Required looks (REQUIRED_LOOKS) is {looks}; give a whole number from 1 to 20."
        for name in ("MIN_WIDTH", "MIN_AREA", "POSITION_ERROR"):
            value = values.number(self, parameters, name, context)
            if value < 0:
                return f"{self.parameterDefinition(name).description()} ({name}) is {value:g}; give 0 or more."
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey.coverage.gaps import find_gaps

        area = read.table(self, parameters, "AREA", context, feedback, geometry="any")
        read.refuse_hollow(area, self.parameterDefinition("AREA").description(),
                           "the area layer holds no polygons; draw the water that was to be covered.")
        shapes = read.shapes(area)
        exclude = read.polygons(self, parameters, "EXCLUDE", context, feedback, area.crs)
        looks = values.whole(self, parameters, "REQUIRED_LOOKS", context)
        swaths, seen = self._seen(parameters, context, feedback, area.crs, shapes, looks)
        result = find_gaps(
            read.wkt(area.crs), shapes, swaths, seen, exclude=[] if exclude is None else [exclude],
            passes=self._passes(parameters, context, feedback, area.crs), required_looks=looks,
            min_width=values.number(self, parameters, "MIN_WIDTH", context),
            min_area=values.number(self, parameters, "MIN_AREA", context),
            position_error=values.number(self, parameters, "POSITION_ERROR", context), step=stepper(feedback, 20, 95))
        self._say(result, feedback)
        grade = np.full(len(area), values.option(self, parameters, "GRADE", context), object)
        result.areas.update(looks_asked=np.full(len(area), looks), grade=grade)
        return {
            "OUTPUT": write_layer(self, parameters, "OUTPUT", context, feedback, fields=fields.GAPS,
                                  columns=result.gaps, kind="multipolygon", crs=area.crs, places=result.geometries,
                                  style="gaps"),
            "AREAS": write_layer(self, parameters, "AREAS", context, feedback, fields=fields.AREAS,
                                 columns=result.areas, kind="multipolygon", crs=area.crs, places=shapes,
                                 carried=Carried(area, np.arange(len(area))), style="areas"),
            "AREA_M2": result.area_m2, "COVERED_M2": result.covered_m2, "COVERED_PERCENT": result.covered_percent,
            "LOW_PERCENT": _known(result.low_percent), "HIGH_PERCENT": result.high_percent, "GAP_M2": result.gap_m2,
            "NARROW_M2": result.narrow_m2, "SMALL_M2": result.small_m2, "GAP_COUNT": len(result.geometries),
        }

    def _seen(self, parameters, context, feedback, crs, shapes, looks):
        """(Swaths, None) or (None, SeenGround)."""
        from ...survey.coverage.cover import Swaths
        from ..common.seen import seen_ground

        tab = read.table(self, parameters, "SWATHS", context, feedback, crs=crs, geometry="any", contract=True)
        if tab is not None:
            read.require(tab, _SWATH_FIELDS, self.parameterDefinition("SWATHS").description(),
                         "Run 'Draw swaths' and use its output.")
            read.refuse_hollow(tab, self.parameterDefinition("SWATHS").description(), "the swath layer holds no "
                               "polygons; there is nothing to judge. Run 'Draw swaths' first.")
            number = {name: read.numbers(tab, name) for name in _SWATH_FIELDS[1:]}
            if (number["sigma_edge_m"] < 0).any():
                raise InputError(f"Swaths '{tab.name}' hold a negative sigma_edge_m, row "
                                 f"{int(np.argmax(number['sigma_edge_m'] < 0)) + 1}. Correct it, or leave it blank.")
            return Swaths(read.shapes(tab), read.texts(tab, "outing"), number["pass_id"], number["outer_m"],
                          number["sigma_edge_m"]), None
        bounds = np.array([shape.bounds for shape in shapes if shape is not None]).reshape(-1, 4)
        extent = (*bounds[:, :2].min(axis=0), *bounds[:, 2:].max(axis=0)) if len(bounds) else (0, 0, 0, 0)
        ground, notes = seen_ground(self, parameters, "SEEN", context, crs, extent, looks,
                                    values.option(self, parameters, "GRADE", context), stepper(feedback, 0, 20))
        for note in notes:
            feedback.pushWarning(note)
        return None, ground

    def _passes(self, parameters, context, feedback, crs):
        from ...survey.coverage.gaps import PassLayer

        tab = read.table(self, parameters, "PASSES", context, feedback, crs=crs, geometry="any", contract=True)
        if tab is None:
            return None
        read.require(tab, _PASS_FIELDS, self.parameterDefinition("PASSES").description(),
                     "Use the passes of 'Prepare track'.")
        return PassLayer(read.shapes(tab), read.texts(tab, "outing"),
                         *(read.numbers(tab, name) for name in _PASS_FIELDS[1:]))

    def _say(self, result, feedback):
        for note in result.notes:
            feedback.pushWarning(note)
        low = "an unknown share" if np.isnan(result.low_percent) else f"{result.low_percent:.1f} %"
        feedback.pushInfo(f"{result.covered_percent:.1f} % of {result.area_m2:.0f} m2 seen; with 95 % errors of place "
                          f"and range between {low} and {result.high_percent:.1f} %.")
        feedback.pushInfo(f"Missed {result.gap_m2:.0f} m2: {len(result.geometries)} gaps listed, "
                          f"{int(result.gaps['certain'].sum())} of them certain. Not listed: {result.narrow_m2:.0f} m2 "
                          f"narrower than the least width, {result.small_m2:.0f} m2 in gaps under the least area.")


def _known(value):
    return None if np.isnan(value) else value
