"""Check record against log: does the bottom on the picture run like the depth of the track?"""
from __future__ import annotations

import numpy as np
from qgis.core import QgsProcessingOutputNumber, QgsProcessingOutputString, QgsWkbTypes

from ...survey.model import schemas
from ...survey.model.errors import InputError
from ...survey.model.messages import Message
from ..common import layout, read, values
from ..common import parameters as make
from ..common.base import AthwartAlgorithm
from ..common.kinds import OWN
from ..common.pixels import image_of, pixels_of
from ..common.write import write_layer

__all__ = ["CheckRecord"]


class CheckRecord(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "checkrecord", "Check record against log", "imagery"
    STEP, GUIDE = 5, ("measure", "record")
    TAKES = {"BOTTOM": (schemas.MARKS, schemas.BOTTOM_LINE, OWN), "TRACK": (schemas.TRACK,)}
    SECTIONS = (
        ("The bottom as marked on the picture", ("BOTTOM", "KIND_FIELD", "SIGMA_MARK")),
        ("The picture, and the boat's track", ("IMAGE", "TRACK", "LAYOUT", "NEWEST", "CENTRE_COLUMN", "DROPPED_ROWS")),
        ("When: a ping, or two times", ("FIRST_PING", "PINGS_PER_ROW", "FIRST_TIME", "LAST_TIME", "TIME_OFFSET")),
        ("Range at the edge, where it is not the track's", ("EDGE_RANGE", "RANGE_UNIT")),
    )
    NEEDED = ("LAYOUT", "NEWEST", "FIRST_PING", "FIRST_TIME", "LAST_TIME")
    LAYERS = {"OUTPUT": schemas.CHECKS}
    FUNCTION = "check_record"
    FIELDS = {**layout.FIELDS, "marks": "BOTTOM", "sigma_m": "SIGMA_MARK"}
    SUMMARY = "Check by the bottom line whether a picture's rows and ranges belong where they were said to."
    TAGS = "check,clock,offset,shift,reversed,upside down,bottom,ping,row,scale,range,record,image"
    HELP = """The edge of the dark band on the record is the depth under the boat, which the log has, too. So the
    bottom line of a picture shows whether its rows are tied to the right moments: mark the bottom in fifteen places or
    more, spread over the whole picture, on either side, and give the layout of the picture as for 'Read picks from
    record image'. Traced bottom points of 'Georeference record image' will do.

    The marks are moved along the whole track, drawn out and scaled until they agree with its depth best. This comes
    out: the shift of the rows, in seconds or pings, their rate, and the scale of the range, each with its standard
    deviation, and what to give for the first ping, the times and the range at the edge instead. A picture that is
    upside down is named.

    How sure that is depends on the bottom: where it is level, nothing can be said, and the marks are refused. So
    are marks that agree with the track no better than the same depths in any other order; fewer than one such order
    in 1000 may pass. Marks of another outing may fit by chance, but seldom closely: where they differ from the
    track by more than the error of a mark, you are warned. Where the bottom repeats itself, you get the place by
    which rows and ranges were given least wrong, and the other one is named."""
    OUTPUT_HELP = {
        "OUTPUT": "A row each for shift, rate and scale, and for the settings that come of them: as given, what would "
                  "fit, and its standard deviation.",
        "STATUS": "fits, shifted, reversed, or off (rate or range).",
        "SHIFT": "Shift of the rows, in seconds or pings; add it to what was given.",
        "SHIFT_SIGMA": "Standard deviation of the shift.",
        "RATE": "How long rows last, as a multiple of what was given.",
        "SCALE": "Ranges, as a multiple of what was given.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.source("BOTTOM", "Marks of the bottom", "Points, or a line along the bottom, drawn over the picture.",
                        make.ANY),
            make.field("KIND_FIELD", "Field of kinds", "Where objects are marked, too: only those that say 'bottom' "
                       "are taken. Blank: all.", "BOTTOM"),
            make.raster("IMAGE", "Record image", "The picture, loaded without a georeference.", optional=False),
            make.source("TRACK", "Prepared track", "Output of 'Prepare track', with the depths of a sounder.",
                        make.POINTS),
            *layout.usual(),
            *make.advanced(
                *layout.further(),
                make.number("SIGMA_MARK", "Error of a mark's depth (m)", "One standard deviation of what a mark and "
                            "the track's depth differ by. A bottom that varies less than twice as much is "
                            "level.", 0.2, 0)),
            make.sink("OUTPUT", "Check of the record", self.OUTPUT_HELP["OUTPUT"], "table"))
        self.addOutput(QgsProcessingOutputString("STATUS", "Status"))
        for name, label in (("SHIFT", "Shift (s or pings)"), ("SHIFT_SIGMA", "Standard deviation of the shift"),
                            ("RATE", "Rate of the rows"), ("SCALE", "Scale of the range")):
            self.addOutput(QgsProcessingOutputNumber(name, label))

    def packages(self, parameters):
        return ("numpy", "pyproj")

    def refusal(self, parameters, context):
        source = self.parameterAsSource(parameters, "BOTTOM", context)
        polygon = QgsWkbTypes.GeometryType.PolygonGeometry
        if source is not None and QgsWkbTypes.geometryType(source.wkbType()) == polygon:
            return Message("{BOTTOM} '{name}' holds polygons. Draw points or a line along the bottom.",
                           name=source.sourceName())
        missing = layout.layout_refusal(self, parameters, context)
        if missing:
            return missing
        layout.record_of(self, parameters, context, 10**6, 10**6)
        self._settings(parameters, context)
        return ""

    def _settings(self, parameters, context):
        from ...survey import CheckSettings

        return CheckSettings(values.number(self, parameters, "SIGMA_MARK", context))

    def run_tool(self, parameters, context, feedback):
        from ...survey import check_record

        image = image_of(self, parameters, "IMAGE", context)
        record = layout.record_of(self, parameters, context, image.width(), image.height())
        track, crs = read.track(self, parameters, "TRACK", context, feedback)
        table = read.table(self, parameters, "BOTTOM", context, feedback, geometry="any", pixels=True)
        if not len(table):
            raise InputError(Message("{BOTTOM} '{name}' {empty}", name=table.name, empty=read.EMPTY))
        field = values.text(self, parameters, "KIND_FIELD", context)
        kinds = [kind.lower() for kind in read.texts(table, field)] if field else ["bottom"] * len(table)
        places = [(vertex.x(), vertex.y()) for shape, kind in zip(table.geometries, kinds)
                  if shape is not None and kind == "bottom" for vertex in shape.vertices()]
        if not places:
            raise InputError(Message("{BOTTOM} '{name}' has no mark of the bottom: none has a geometry and says "
                                     "'bottom' in {KIND_FIELD}. Draw some along the bottom.", name=table.name))
        column, row = pixels_of(image, *np.array(places, float).T)
        found = check_record(record, column, row, track, self._settings(parameters, context))
        self.tell(feedback, found.notes, found.warnings)
        return {"OUTPUT": write_layer(self, parameters, "OUTPUT", context, feedback, fields=schemas.CHECKS,
                                      columns=found.columns, crs=crs),
                "STATUS": found.status, "SHIFT": found.shift, "SHIFT_SIGMA": found.sigmas[0], "RATE": found.rate,
                "SCALE": found.scale}
