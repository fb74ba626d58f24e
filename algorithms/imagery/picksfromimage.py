"""Read picks from record image: marks drawn on a picture of the record -> a table of picks."""
from __future__ import annotations

import numpy as np
from qgis.core import QgsWkbTypes

from ...survey.model import schemas
from ...survey.model.errors import InputError
from ..common import layout, read, values
from ..common import parameters as make
from ..common.base import AthwartAlgorithm
from ..common.kinds import OWN
from ..common.pixels import image_of, pixels_of
from ..common.write import Carried, write_layer

__all__ = ["PicksFromImage"]


class PicksFromImage(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "picksfromimage", "Read picks from record image", "imagery"
    STEP, GUIDE = 1, ("record", "distance")
    TAKES = {"PICKS": (schemas.MARKS, OWN), "TRACK": (schemas.TRACK,)}
    LAYERS = {"OUTPUT": schemas.PICKS}
    OFFERED = ("TRACK",)
    FILLS = (("KIND_FIELD", "PICKS", schemas.MARKS, "kind"), ("LABEL_FIELD", "PICKS", schemas.MARKS, "label"))
    SECTIONS = (
        ("The picture and what was marked on it", ("PICKS", "IMAGE", "KIND_FIELD", "LABEL_FIELD", "LAYOUT", "NEWEST",
                                                   "CENTRE_COLUMN", "DROPPED_ROWS")),
        ("Range: from the track, or at the edge", ("TRACK", "EDGE_RANGE", "RANGE_UNIT")),
        ("When: a ping, or two times", ("FIRST_PING", "PINGS_PER_ROW", "FIRST_TIME", "LAST_TIME", "TIME_OFFSET")),
    )
    NEEDED = ("TRACK", "LAYOUT", "NEWEST", "FIRST_PING", "FIRST_TIME", "LAST_TIME")
    FUNCTION = "read_picture"
    FIELDS = layout.FIELDS
    SUMMARY = "Turn points and lines drawn on a screenshot of the record into picks with side, range, shadow and depth."
    TAGS = "screenshot,picture,image,record,pick,digitise,shadow,waterfall,pixel,bottom"
    HELP = """Load a picture of the record as it is, without a georeference, and draw on it: a point on each object, or
    a line from the object to the end of its shadow. Add points on the bottom line (the edge of the dark band of water)
    with 'bottom' in a field of kinds, or trace it with a line: the depth there is the best there is, and objects take
    it from the bottom points before and after them on the same stretch of the track.

    Columns give the range: zero at the centre column, the range in force at the edge. Changes of the range on the way
    are followed ping by ping from the prepared track; the range at the edge is for pictures that show another range
    than was in force, or that were drawn again at one range. Rows give the moment: by the record's ping count, or by
    the times of the oldest and newest row. Between those times rows go by the record's own rate, by the track's ping
    count or, without one, by the range in force: a ping waits for its echo. Bottom points that do not lie at the
    track's depth are named: then rows are tied to the wrong moments. A line that ends at the edge of the picture, or
    beyond it, is a shadow that runs off the record: its object stands at least so high. Ranges and depths stay as
    displayed; 'Locate targets' corrects them with the track.

    The coordinate system of the drawn layer, or the lack of one, does not matter: its coordinates are pixels."""
    OUTPUT_HELP = {"OUTPUT": "A table with a row for each object and bottom point, ready for 'Locate targets', your "
                             "own fields after ours."}

    def initAlgorithm(self, config=None):
        self.add(
            make.source("PICKS", "Marks on the image", "Points on objects, or lines from the object to the end of its "
                        "shadow, drawn over the image.", make.ANY),
            make.field("KIND_FIELD", "Field of kinds", "'object' or 'bottom'; blank values are objects.", "PICKS"),
            make.raster("IMAGE", "Record image", "The picture, loaded without a georeference.", optional=False),
            make.source("TRACK", "Prepared track", "Gives the range in force at each ping and ties the picks; needed "
                        "unless the range at the edge is given.", make.POINTS, optional=True),
            *layout.usual(),
            *make.advanced(
                *layout.further(),
                make.field("LABEL_FIELD", "Field of labels", "Name of each object.", "PICKS")),
            make.sink("OUTPUT", "Picks", self.OUTPUT_HELP["OUTPUT"], "table"),
        )

    def packages(self, parameters):
        return ("numpy", "pyproj") if values.given(parameters, "TRACK") else ("numpy",)

    def refusal(self, parameters, context):
        source = self.parameterAsSource(parameters, "PICKS", context)
        polygon = QgsWkbTypes.GeometryType.PolygonGeometry
        if source is not None and QgsWkbTypes.geometryType(source.wkbType()) == polygon:
            return (f"'{source.sourceName()}' holds polygons. Draw points on objects, or lines from the object to the "
                    "shadow's end.")
        missing = layout.layout_refusal(self, parameters, context)
        if missing:
            return missing
        layout.record_of(self, parameters, context, 10**6, 10**6)
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey import read_picture

        image = image_of(self, parameters, "IMAGE", context)
        record = layout.record_of(self, parameters, context, image.width(), image.height())
        track = None
        if values.given(parameters, "TRACK"):
            track = read.track(self, parameters, "TRACK", context, feedback)[0]
        table = read.table(self, parameters, "PICKS", context, feedback, geometry="any", pixels=True)
        if not len(table):
            raise InputError(f"'{table.name}' is empty; draw a point on each object first.")
        marks, row = self._marks(parameters, context, table, image)
        found = read_picture(record, marks, track, table.ids[row],
                             values.number(self, parameters, "TIME_OFFSET", context))
        columns, reason = found.columns, found.reason
        good = np.flatnonzero(reason == "")
        said = [f"mark {table.ids[row[k]]}: " + self.worded(reason[k]) for k in np.flatnonzero(reason != "")]
        if not len(good):
            raise InputError(f"None of the {len(reason)} marks of '{table.name}' can be read. The first, {said[0]}. "
                             "Check that they were drawn on this picture, and the rows and sides given for it.")
        columns["source_id"] = table.ids[row].astype(str)
        field = values.text(self, parameters, "LABEL_FIELD", context)
        columns["label"] = read.texts(table, field)[row] if field else np.full(len(row), "", object)
        for text in ([f"{len(said)} of {len(reason)} marks were left out."] if said else []) + said[:5]:
            feedback.reportError(text, False)
        self.tell(feedback, found.notes, found.warnings)
        bottom = int((columns["kind"][good] == "bottom").sum())
        own = int(np.isfinite(columns["depth_m"][good]).sum()) - bottom
        feedback.pushInfo(f"{len(good) - bottom} objects, {own} of them with a depth from {bottom} bottom points.")
        return {"OUTPUT": write_layer(
            self, parameters, "OUTPUT", context, feedback, fields=schemas.PICKS, crs=table.crs,
            columns={name: column[good] for name, column in columns.items()}, carried=Carried(table, row[good]))}

    def _marks(self, parameters, context, table, image):
        """(Marks, row of the table of each); the vertices of a bottom line are bottom points each."""
        from ...survey import Marks

        field = values.text(self, parameters, "KIND_FIELD", context)
        kinds = read.texts(table, field) if field else np.full(len(table), "", object)
        rows, made = [], []
        for i, (geometry, kind) in enumerate(zip(table.geometries, np.char.lower(kinds.astype(str)))):
            for mark in _marks_of(geometry, kind or "object"):
                rows.append(i)
                made.append(mark)
        column, row = pixels_of(image, np.array([m[0] for m in made]), np.array([m[1] for m in made]))
        end, _ = pixels_of(image, np.array([m[2] for m in made]), np.array([m[1] for m in made]))
        return Marks(column, row, end, np.array([m[3] for m in made], object),
                     np.array([m[4] for m in made], object)), np.array(rows)


def _marks_of(geometry, kind):
    """Marks of one feature: (x, y, x of the shadow's end or NaN, kind, reason)."""
    nothing = float("nan")
    if geometry is None:
        return [(nothing, nothing, nothing, kind, "it has no geometry")]
    vertices = [(v.x(), v.y()) for v in geometry.vertices()]
    if kind == "bottom" or len(vertices) == 1:
        return [(x, y, nothing, kind, "") for x, y in vertices]
    if len(vertices) != 2:
        return [(*vertices[0], nothing, kind, f"it is a line of {len(vertices)} points; draw two, on the object and at "
                 "the end of its shadow")]
    return [(*vertices[0], vertices[1][0], kind, "")]
