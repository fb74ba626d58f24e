"""Draw targets on a record: where known targets will show on a new picture of the record."""
from __future__ import annotations

import numpy as np
from qgis.core import QgsCoordinateReferenceSystem, QgsProcessingOutputNumber

from ...survey.model import schemas
from ...survey.model.errors import InputError
from ...survey.model.messages import Message
from ..common import layout, read
from ..common import parameters as make
from ..common.base import AthwartAlgorithm
from ..common.pixels import image_of, map_of
from ..common.write import write_layer

__all__ = ["DrawTargets"]

_NEEDS = ("target_id", "sigma_east_m", "sigma_north_m", "cov_en_m2", "confidence_pct")


class DrawTargets(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "drawtargets", "Draw targets on a record", "imagery"
    STEP, GUIDE = 4, ("measure", "record", "return")
    TAKES = {"TARGETS": (schemas.COMBINED, schemas.TARGETS), "TRACK": (schemas.TRACK,)}
    SECTIONS = (
        ("The targets that are known", ("TARGETS",)),
        ("The new picture, and the boat's track", ("IMAGE", "TRACK", "LAYOUT", "NEWEST", "CENTRE_COLUMN",
                                                   "DROPPED_ROWS")),
        ("When: a ping, or two times", ("FIRST_PING", "PINGS_PER_ROW", "FIRST_TIME", "LAST_TIME", "TIME_OFFSET")),
        ("Range at the edge, where it is not the track's", ("EDGE_RANGE", "RANGE_UNIT")),
    )
    NEEDED = ("LAYOUT", "NEWEST", "FIRST_PING", "FIRST_TIME", "LAST_TIME")
    LAYERS = {"OUTPUT": schemas.DRAWN_TARGETS, "ELLIPSES": schemas.DRAWN_ELLIPSES}
    FUNCTION = "draw_on_record"
    FIELDS = {**layout.FIELDS, "targets": "TARGETS"}
    SUMMARY = "Show on a new picture of the record where targets that are known already will lie on it."
    TAGS = "target,known,return,again,overlay,record,image,picture,pixel,ellipse"
    HELP = """Who comes back to a place wants to know which of the things on the new record are old ones. This tool
    carries located targets onto a picture: to the row in which the boat had each of them abeam, and to the column of
    its slant range, every time the picture shows it. The layers have pixels for coordinates, no coordinate system, and
    lie over the picture where QGIS puts it.

    Rows and columns are given as in 'Read picks from record image'. The ellipse is that of the target, widened by what
    the new record may err itself: the position of the boat and its heading. It is drawn longer where the boat went
    slowly, and higher targets show a little nearer to the boat than drawn, for they are drawn as if they lay on the
    bottom."""
    OUTPUT_HELP = {
        "OUTPUT": "Points in pixels of the picture, one for each time it shows a target.",
        "ELLIPSES": "Where each of them is to be looked for, at the target's confidence; in pixels, too.",
        "DRAWN_COUNT": "Number of points.",
        "UNSEEN_COUNT": "Number of targets that the picture does not show.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.source("TARGETS", "Targets", "Targets of 'Locate targets' or 'Combine repeated targets'.",
                        make.POINTS),
            make.raster("IMAGE", "Record image", "The new picture, loaded without a georeference.", optional=False),
            make.source("TRACK", "Prepared track", "Output of 'Prepare track' of the outing that the picture is of.",
                        make.POINTS),
            *layout.usual(),
            *make.advanced(*layout.further()),
            make.sink("OUTPUT", "Targets on the record", self.OUTPUT_HELP["OUTPUT"], "point"),
            make.sink("ELLIPSES", "Ellipses on the record", self.OUTPUT_HELP["ELLIPSES"], "polygon", optional=True))
        self.addOutput(QgsProcessingOutputNumber("DRAWN_COUNT", "Number of points drawn"))
        self.addOutput(QgsProcessingOutputNumber("UNSEEN_COUNT", "Number of targets not shown"))

    def refusal(self, parameters, context):
        missing = layout.layout_refusal(self, parameters, context)
        if missing:
            return missing
        layout.record_of(self, parameters, context, 10**6, 10**6)
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey import draw_on_record
        from ...survey.geometry import shapes

        image = image_of(self, parameters, "IMAGE", context)
        record = layout.record_of(self, parameters, context, image.width(), image.height())
        track, crs = read.track(self, parameters, "TRACK", context, feedback)
        targets = self._targets(parameters, context, feedback, crs)
        found = draw_on_record(record, track, targets)
        if len(found.unseen):
            ids = ", ".join(f"{one:.0f}" for one in targets.target_id[found.unseen][:5])
            feedback.pushWarning(f"{len(found.unseen)} of {len(targets)} targets do not "
                                 f"lie abeam of the boat within the picture and its range (first: {ids}).")
        pixels = QgsCoordinateReferenceSystem()
        outlines = [shapes.polygon(np.column_stack(map_of(image, *np.array(outline.exterior.coords).T)))
                    for outline in found.outlines]
        place = map_of(image, found.columns["column"], found.columns["row"])
        return {
            "OUTPUT": write_layer(self, parameters, "OUTPUT", context, feedback, fields=schemas.DRAWN_TARGETS,
                                  columns=found.columns, crs=pixels, places=place),
            "ELLIPSES": write_layer(self, parameters, "ELLIPSES", context, feedback, fields=schemas.DRAWN_ELLIPSES,
                                    columns=found.columns, crs=pixels, places=outlines),
            "DRAWN_COUNT": len(found.outlines), "UNSEEN_COUNT": len(found.unseen)}

    def _targets(self, parameters, context, feedback, crs):
        from ...survey import KnownTargets

        table = read.table(self, parameters, "TARGETS", context, feedback, crs=crs, geometry="point")
        if not len(table):
            raise InputError(Message("{TARGETS} '{name}' {empty}", name=table.name, empty=read.EMPTY))
        read.require(table, _NEEDS, self.parameterDefinition("TARGETS").description(),
                     "Use the output of 'Locate targets' or 'Combine repeated targets'.")
        number = {name: read.numbers(table, name) for name in _NEEDS}
        label = read.texts(table, "label") if table.has("label") else np.full(len(table), "", object)
        return KnownTargets(number["target_id"], label, table.x, table.y, number["sigma_east_m"],
                            number["sigma_north_m"], number["cov_en_m2"], number["confidence_pct"])

