"""Find unscanned shoreline: stretches of shore that no swath came near over water."""
from __future__ import annotations

from qgis.core import QgsProcessingOutputNumber

from ...survey.model import schemas
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm, stepper
from ..common.kinds import OWN
from ..common.write import write_layer

__all__ = ["UnscannedShoreline"]


class UnscannedShoreline(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "unscannedshoreline", "Find unscanned shoreline", "coverage"
    STEP, JOB, GUIDE = 4, 5, ("audit",)
    TAKES = {"SWATHS": (schemas.SWATHS, OWN), "SHORELINE": (OWN, schemas.AREAS, schemas.SHORE),
             "WATER": (OWN, schemas.AREAS)}
    SECTIONS = (
        ("What was seen", ("SWATHS",)),
        ("The shore", ("SHORELINE", "WATER")),
        ("What counts as scanned", ("REACH", "MIN_LENGTH")),
    )
    LAYERS = {"OUTPUT": schemas.SHORE}
    FUNCTION = "find_unscanned"
    SUMMARY = "Split a shoreline into stretches that were scanned and stretches that no swath came near."
    TAGS = "shore,shoreline,bank,coverage,missed,unseen,docks,littoral"
    HELP = """Shows which parts of the shore were scanned. A place on the shore counts as scanned if ground that was
    seen lies within reach of it in a straight line over water: a swath on the far side of a spit or an island shows
    nothing of this side.

    The shoreline may be the lake's polygon, islands being holes in it, or lines. Lines that do not close need the water
    beside them, for otherwise it cannot be known on which side sound may run."""
    OUTPUT_HELP = {
        "SHORE_M": "Length of the whole shoreline over ground, in m.",
        "UNSCANNED_M": "Length of the unscanned shoreline over ground, in m.",
        "UNSCANNED_PERCENT": "Unscanned share of the shoreline, in percent.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.source("SWATHS", "Swaths", "Output of 'Draw swaths', or any polygons of ground that was seen.",
                        make.POLYGONS),
            make.source("SHORELINE", "Shoreline", "The lake's polygon, or lines of its shore. Results come in its "
                        "coordinate system.", make.SHORES),
            make.source("WATER", "Water", "Polygon of the water that sound can cross; blank takes the shoreline's own "
                        "polygons, or what its lines enclose.", make.POLYGONS, True),
            make.distance("REACH", "Reach over water", "How near to the shore the ground seen must come, over water.",
                          5.0, 0.0),
            make.distance("MIN_LENGTH", "Shortest stretch to list", "Unscanned stretches shorter than this count with "
                          "the scanned shore around them.", 5.0, 0.0),
            make.sink("OUTPUT", "Shore", "A line for each stretch: unscanned ones first, the longest first.", "line"),
        )
        for name, label in (("SHORE_M", "Shoreline (m)"), ("UNSCANNED_M", "Unscanned (m)"),
                            ("UNSCANNED_PERCENT", "Unscanned (%)")):
            self.addOutput(QgsProcessingOutputNumber(name, label))

    def refusal(self, parameters, context):
        reach = values.number(self, parameters, "REACH", context)
        if not reach > 0:
            return f"Reach over water (REACH) is {reach:g} m; give more than 0, such as 5."
        least = values.number(self, parameters, "MIN_LENGTH", context)
        if least < 0:
            return f"Shortest stretch to list (MIN_LENGTH) is {least:g} m; give 0 or more."
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey import find_unscanned

        shore = read.table(self, parameters, "SHORELINE", context, feedback, geometry="any")
        swaths = read.table(self, parameters, "SWATHS", context, feedback, crs=shore.crs, geometry="any")
        for tab, name, text in (
                (shore, "SHORELINE", "the shoreline layer is empty; give it the lake's polygon or the lines of its "
                 "shore."),
                (swaths, "SWATHS", "the swath layer holds no polygons; there is nothing to judge. Run 'Draw swaths' "
                 "first.")):
            read.refuse_hollow(tab, self.parameterDefinition(name).description(), text)
        water = read.polygons(self, parameters, "WATER", context, feedback, shore.crs)
        result = find_unscanned(
            read.wkt(shore.crs), read.shapes(swaths), read.shapes(shore), None if water is None else [water],
            reach=values.number(self, parameters, "REACH", context),
            min_length=values.number(self, parameters, "MIN_LENGTH", context), step=stepper(feedback, 5, 95))
        self.tell(feedback, warnings=result.notes)
        feedback.pushInfo(f"{result.unscanned_m:.0f} m of {result.shore_m:.0f} m of shore "
                          f"({result.unscanned_percent:.1f} %) were not scanned.")
        output = write_layer(self, parameters, "OUTPUT", context, feedback, fields=schemas.SHORE,
                             columns=result.columns, crs=shore.crs, places=result.geometries)
        return {"OUTPUT": output, "SHORE_M": result.shore_m, "UNSCANNED_M": result.unscanned_m,
                "UNSCANNED_PERCENT": result.unscanned_percent}
