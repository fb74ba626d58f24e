"""Find coverage gaps: how much of an area was seen, how sure that is, and every gap with its kind and size."""
from __future__ import annotations

import numpy as np
from qgis.core import QgsProcessingOutputNumber

from ...survey.model import schemas
from ...survey.model.errors import InputError
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm, stepper
from ..common.declared import Raster
from ..common.geotiff import RasterSink
from ..common.kinds import OWN
from ..common.styles import dress
from ..common.tree import outing_of
from ..common.write import Carried, write_layer

__all__ = ["CoverageGaps"]



class CoverageGaps(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "coveragegaps", "Find coverage gaps", "coverage"
    STEP, JOB, GUIDE = 3, 4, ("audit",)
    TAKES = {"SWATHS": (schemas.SWATHS, OWN), "AREA": (OWN, schemas.AREAS, schemas.GAPS),
             "EXCLUDE": (OWN, schemas.AREAS, schemas.GAPS), "PASSES": (schemas.PASSES, OWN)}
    LAYERS = {"OUTPUT": schemas.GAPS, "AREAS": schemas.AREAS}
    RASTERS = {"PROBABILITY_SEEN": Raster("probability_seen", (
        schemas.Field("probability_seen", "double", "", "share of the draws in which the cell was seen"),))}
    OFFERED = ("SWATHS", "PASSES")
    SECTIONS = (
        ("What was seen: swaths, or a raster of looks", ("SWATHS", "SEEN", "GRADE", "PASSES")),
        ("What was to be seen", ("AREA", "EXCLUDE", "REQUIRED_LOOKS")),
        ("Which gaps to list", ("MIN_WIDTH", "MIN_AREA")),
        ("How sure", ("POSITION_ERROR", "DRAWS")),
    )
    NEEDED = ("SWATHS", "SEEN")
    FUNCTION = "find_gaps"
    FIELDS = {"result.areas": "AREAS"}
    SUMMARY = "Find what of an area was not seen, why, and how sure the share seen is."
    TAGS = "coverage,gap,holiday,missed,unseen,percent,overlap,looks,nadir"
    HELP = """Takes what was seen off the area that was to be seen. What is left are the gaps, each with its kind, its
    size, the widest circle that fits inside and the length to run along it.

    The share seen comes with a 95 % interval, because the boat was not quite where its receiver said: the errors of
    every outing and every pass (position, heading, latency, range, depth, sound speed) are drawn 200 times or more, the
    same way every time, and the share is worked out again for each. The interval holds whether the boat steered by its
    receiver, and strayed from the recorded lines, or by marks on the shore, and the record strays. The expected share
    is that of a boat steered by its receiver; one steered by marks has as much more, or less, on the other side of the
    share as drawn. Worst and best case are no interval: they move every edge at once, inwards or outwards, by its 95 %
    error, which never happens.

    For each gap you get in how many of the draws at least half of its ground stays unseen, and how much of it is
    unseen in at least 95 % of them. A gap is certain if that is at least half of it. A gap of kind break is another
    doubt: the log stopped there, and if the boat went on looking, its ground was seen after all. The interval leaves
    that out; the messages name it.

    Kinds: hidden and weak (from a raster of looks: in the shadow of nearer ground, or seen too poorly for the object),
    no bottom (the range was shorter than the depth), break (the log was interrupted), nadir (the strip under the
    boat), between (two passes), edge (between a pass and the rim of the area) and unvisited (room for another line).
    Gaps are cut where one kind goes over into another. No bottom and break, and a nadir strip that opens into
    something else, are kept apart only with the passes.

    Port and starboard of one pass are one look. Ask for 2 looks to find what only one pass saw, as a survey of 200 %
    needs."""
    OUTPUT_HELP = {
        "AREA_M2": "Ground area that was to be seen, in m2, excluded ground taken off.",
        "COVERED_M2": "Ground area seen, in m2.",
        "COVERED_PERCENT": "Share of the area seen, in percent.",
        "LOW_PERCENT": "Low end of the 95 % interval of the share seen; empty where it cannot be known.",
        "HIGH_PERCENT": "High end of the 95 % interval of the share seen; empty where it cannot be known.",
        "EXPECTED_PERCENT": "Mean of the draws: the share to expect if the boat steered by its receiver.",
        "WORST_PERCENT": "Share seen with every edge moved inwards at once by 1.645 times its error; empty where "
                         "passes are drawn as one.",
        "BEST_PERCENT": "Share seen with every edge moved outwards at once by 1.645 times its error.",
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
            make.source("PASSES", "Passes", "Passes of 'Prepare track', to name breaks, water too deep for the range "
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
                          "judgement for ordinary receivers.", 2.0, 0.0),
            make.number("DRAWS", "Draws of the errors", "How many times the errors are drawn for the interval of the "
                        "share; more give steadier ends. At least 200.", 200, 200, 2000, whole=True)))
        self.add(
            make.sink("OUTPUT", "Gaps", "A polygon for each gap, the largest first.", "polygon"),
            make.sink("AREAS", "Areas", "The area's features with the share seen, its interval and the fewest looks.",
                      "polygon"),
            make.destination_raster("PROBABILITY_SEEN", "Probability of having been seen", "Raster of the share of "
                                    "draws in which each cell was seen, 0 to 1. Not made unless asked for; not from a "
                                    "raster of looks.", True))
        for name, label in (
                ("AREA_M2", "Area (m2)"), ("COVERED_M2", "Seen (m2)"), ("COVERED_PERCENT", "Seen (%)"),
                ("LOW_PERCENT", "Seen, low end of 95 % (%)"), ("HIGH_PERCENT", "Seen, high end of 95 % (%)"),
                ("EXPECTED_PERCENT", "Seen, expected (%)"), ("WORST_PERCENT", "Seen in the worst case (%)"),
                ("BEST_PERCENT", "Seen in the best case (%)"), ("GAP_M2", "Missed (m2)"),
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
        draws = values.whole(self, parameters, "DRAWS", context)
        if not 200 <= draws <= 2000:
            return f"Draws of the errors (DRAWS) is {draws}; give a whole number from 200 to 2000."
        if values.given(parameters, "PROBABILITY_SEEN") and chosen == ["SEEN"]:
            return ("The probability of having been seen (PROBABILITY_SEEN) is drawn pass by pass, and a raster of "
                    "looks (SEEN) does not keep passes apart. Give swaths (SWATHS), or leave it blank.")
        for name in ("MIN_WIDTH", "MIN_AREA", "POSITION_ERROR"):
            value = values.number(self, parameters, name, context)
            if value < 0:
                return f"{self.parameterDefinition(name).description()} ({name}) is {value:g}; give 0 or more."
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey import GapSettings, find_gaps

        area = read.table(self, parameters, "AREA", context, feedback, geometry="any")
        read.refuse_hollow(area, self.parameterDefinition("AREA").description(),
                           "the area layer holds no polygons; draw the water that was to be covered.")
        shapes = read.shapes(area)
        exclude = read.polygons(self, parameters, "EXCLUDE", context, feedback, area.crs)
        looks = values.whole(self, parameters, "REQUIRED_LOOKS", context)
        swaths, seen = self._seen(parameters, context, feedback, area.crs, shapes, looks)
        settings = GapSettings(
            required_looks=looks, min_width=values.number(self, parameters, "MIN_WIDTH", context),
            min_area=values.number(self, parameters, "MIN_AREA", context),
            position_error=values.number(self, parameters, "POSITION_ERROR", context),
            draws=values.whole(self, parameters, "DRAWS", context))
        result = find_gaps(
            read.wkt(area.crs), shapes, swaths, seen, settings, exclude=[] if exclude is None else [exclude],
            passes=self._passes(parameters, context, feedback, area.crs),
            picture=values.given(parameters, "PROBABILITY_SEEN"), step=stepper(feedback, 20, 95))
        self._say(result, feedback)
        grade = np.full(len(area), values.option(self, parameters, "GRADE", context), object)
        result.areas.update(looks_asked=np.full(len(area), looks), grade=grade)
        return {
            "OUTPUT": write_layer(self, parameters, "OUTPUT", context, feedback, fields=schemas.GAPS,
                                  columns=result.gaps, crs=area.crs, places=result.geometries),
            "AREAS": write_layer(self, parameters, "AREAS", context, feedback, fields=schemas.AREAS,
                                 columns=result.areas, crs=area.crs, places=shapes,
                                 carried=Carried(area, np.arange(len(area)))),
            "AREA_M2": result.area_m2, "COVERED_M2": result.covered_m2, "COVERED_PERCENT": result.covered_percent,
            "PROBABILITY_SEEN": self._picture(parameters, context, feedback, result.picture),
            "LOW_PERCENT": _known(result.low_percent), "HIGH_PERCENT": _known(result.high_percent),
            "EXPECTED_PERCENT": _known(result.expected_percent), "WORST_PERCENT": _known(result.worst_percent),
            "BEST_PERCENT": _known(result.best_percent), "GAP_M2": result.gap_m2,
            "NARROW_M2": result.narrow_m2, "SMALL_M2": result.small_m2, "GAP_COUNT": len(result.geometries),
        }

    def _seen(self, parameters, context, feedback, crs, shapes, looks):
        """(Swaths, None) or (None, SeenGround)."""
        from ...survey import Swaths
        from ..common.seen import seen_ground

        tab = read.table(self, parameters, "SWATHS", context, feedback, crs=crs, geometry="any", contract=True)
        if tab is not None:
            read.require(tab, Swaths.FIELDS, self.parameterDefinition("SWATHS").description(),
                         "Run 'Draw swaths' and use its output.")
            read.refuse_hollow(tab, self.parameterDefinition("SWATHS").description(), "the swath layer holds no "
                               "polygons; there is nothing to judge. Run 'Draw swaths' first.")
            columns = _columns(tab, (*Swaths.FIELDS, *Swaths.MORE))
            if (columns["sigma_edge_m"] < 0).any():
                raise InputError(f"Swaths '{tab.name}' hold a negative sigma_edge_m, row "
                                 f"{int(np.argmax(columns['sigma_edge_m'] < 0)) + 1}. Correct it, or leave it blank.")
            return Swaths.of(read.shapes(tab), columns), None
        bounds = np.array([shape.bounds for shape in shapes if shape is not None]).reshape(-1, 4)
        extent = (*bounds[:, :2].min(axis=0), *bounds[:, 2:].max(axis=0)) if len(bounds) else (0, 0, 0, 0)
        ground, notes = seen_ground(self, parameters, "SEEN", context, crs, extent, looks,
                                    values.option(self, parameters, "GRADE", context), stepper(feedback, 0, 20))
        self.tell(feedback, warnings=notes)
        return None, ground

    def _passes(self, parameters, context, feedback, crs):
        from ...survey import PassLayer

        tab = read.table(self, parameters, "PASSES", context, feedback, crs=crs, geometry="any", contract=True)
        if tab is None:
            return None
        read.require(tab, PassLayer.FIELDS, self.parameterDefinition("PASSES").description(),
                     "Use the passes of 'Prepare track'.")
        return PassLayer.of(read.shapes(tab), _columns(tab, PassLayer.FIELDS))

    def _picture(self, parameters, context, feedback, picture):
        """Path of the raster of the chance of having been seen, None if it was not asked for."""
        if picture is None:
            return None
        path, raster = self.parameterAsOutputLayer(parameters, "PROBABILITY_SEEN", context), picture.raster
        kind = self.RASTERS["PROBABILITY_SEEN"]
        with RasterSink(path, raster.crs.to_wkt("WKT1_GDAL"), raster.transform, picture.seen.shape,
                        kind.named(), {}) as sink:
            sink.write(0, 0, [picture.seen])
            sink.finish(kind.style)
        dress(context, path, kind.style, outing=outing_of(self, parameters, context))
        feedback.pushInfo(f"Probability of having been seen: {raster.cols} x {raster.rows} cells of {raster.cell:g} m.")
        return path

    def _say(self, result, feedback):
        self.tell(feedback, warnings=result.notes)
        share = f"{result.covered_percent:.1f} % of {result.area_m2:.0f} m2 seen"
        if np.isnan(result.low_percent):
            feedback.pushInfo(f"{share}; its 95 % interval is unknown.")
        else:
            feedback.pushInfo(f"{share}; 95 % interval {result.low_percent:.1f} to {result.high_percent:.1f} %, "
                              "whether the boat steered by its receiver or by marks. Expected if it steered by its "
                              "receiver: "
                              f"{result.expected_percent:.1f} %.")
        worst = "unknown" if np.isnan(result.worst_percent) else f"{result.worst_percent:.1f} %"
        feedback.pushInfo(f"With every edge moved at once by its 95 % error, which is no interval: worst case {worst}, "
                          f"best case {result.best_percent:.1f} %.")
        broken = result.gaps["area_m2"][result.gaps["kind"] == "break"]
        if len(broken):
            feedback.pushWarning(f"{broken.sum():.0f} m2 in {len(broken)} gap(s) of kind break: the log stopped "
                                 "there. If the sonar went on, that ground was seen, and the interval of the share "
                                 "does not "
                                 "allow for it. Look at the record.")
        feedback.pushInfo(f"Missed {result.gap_m2:.0f} m2: {len(result.geometries)} gaps listed, "
                          f"{int(result.gaps['certain'].sum())} of them certain. Not listed: {result.narrow_m2:.0f} m2 "
                          f"narrower than the least width, {result.small_m2:.0f} m2 in gaps under the least area.")


def _columns(tab, names):
    """Columns of those fields that a table has: the outing as text, the rest as numbers."""
    return {name: (read.texts if name == "outing" else read.numbers)(tab, name) for name in names if tab.has(name)}


def _known(value):
    return None if np.isnan(value) else value
