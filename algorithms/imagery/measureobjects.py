"""Measure objects: how long, wide and high what stands on the record is, as boxes on the map."""
from __future__ import annotations

import numpy as np
from qgis.core import QgsProcessingOutputNumber, QgsWkbTypes

from ...survey.model import schemas
from ...survey.model.errors import InputError
from ...survey.model.messages import Message
from ...survey.model.units import LENGTHS, metres
from ..common import layout, read, values
from ..common import parameters as make
from ..common.base import AthwartAlgorithm, stepper
from ..common.kinds import OWN
from ..common.pixels import image_of, pixels_of
from ..common.rasters import depth_grid
from ..common.write import Carried, write_layer

__all__ = ["MeasureObjects"]

_LENGTHS = {"near": "near_m", "far": "far_m", "start": "begin_m", "end": "end_m", "shadow_start": "shadow_start_m",
            "shadow_end": "shadow_end_m", "depth": "depth_m"}
"""Fields of a table of objects without their unit, and what they are in ``ObjectReadings``."""


class MeasureObjects(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "measureobjects", "Measure objects", "imagery"
    STEP, GUIDE = 3, ("measure", "record")
    TAKES = {"MARKS": (schemas.MARKS, OWN, schemas.PICKS), "TRACK": (schemas.TRACK,)}
    SECTIONS = (
        ("What was marked, and the boat's track", ("MARKS", "KIND_FIELD", "OBJECT_FIELD", "TRACK")),
        ("The picture it was drawn on (blank for a table)", ("IMAGE", "LAYOUT", "NEWEST", "CENTRE_COLUMN",
                                                             "DROPPED_ROWS")),
        ("When: a ping, or two times", ("FIRST_PING", "PINGS_PER_ROW", "FIRST_TIME", "LAST_TIME", "TIME_OFFSET")),
        ("Range at the edge, where it is not the track's", ("EDGE_RANGE", "RANGE_UNIT")),
        ("The bed, and how far off it may be", ("DEPTH_GRID", "ERRORS", "SIGMA_PIXEL", "SIGMA_TIME", "SIGMA_RANGE",
                                                "BEAM_WIDTH")),
    )
    NEEDED = ("LAYOUT", "NEWEST", "FIRST_PING", "FIRST_TIME", "LAST_TIME")
    LAYERS = {"OUTPUT": schemas.OBJECTS, "REJECTED": schemas.REJECTED}
    FUNCTION = "measure_objects"
    FIELDS = {**layout.FIELDS, "lines": "MARKS", "readings": "MARKS", "grid": "DEPTH_GRID"}
    CAUTIOUS = True
    SUMMARY = "Find how long, wide and high objects on the record are, how they lie, and the water over them."
    TAGS = "measure,length,width,height,size,object,shadow,dimension,contact,least depth,stretch,record,image"
    HELP = """On the picture of a record the length of a thing depends on the speed of the boat, its width is slant
    range and its height lies in its shadow. This tool brings all three to metres.

    Draw lines of two points on the picture, with along, across or shadow in a field of kinds: along the object from the
    first row it shows in to the last, across it from the near edge to the far one, and along its shadow from where that
    begins to where it ends. Lines with the same name in the field of objects belong together; without such a field,
    each goes with the nearest line along. Or give a table, without a picture: side, start_time and end_time (or
    start_ping and end_ping), near_m and far_m, and where there are some shadow_start_m, shadow_end_m, start_m and end_m
    (slant ranges of the two ends), depth_m, object, outing. These are ranges as displayed; in feet they are near_ft,
    far_ft and so on, in yards _yd, in fathoms _fathom.

    Both ends are laid off on the ground from where the boat was, so speed and clock do not matter. The beam has a
    width: an object is drawn longer along the track by about its footprint, which is taken off once, give or take half
    of it; what lies aslant is drawn wider, too, and loses the share of the footprint that runs across it. Where more
    would be taken off than is left, the beam is seen and not the object: then you get how large it is at most. Ends at
    the edge of the picture, at missing rows or at the end of the track are cut: then you get how large it is at least.
    Height and least water come from the shadow on an even bed, sloping where a depth grid is given.

    Intervals hold 95 %. They know the reading of the picture, the jitter of positions, heading, depth, sound speed and
    the beam, and not the place: for how far off that may be, take the object to 'Locate targets'. A width that is not
    much larger than its error has an interval down to 0, and that is all that can be known of it."""
    OUTPUT_HELP = {
        "OUTPUT": "A box for each object, as it lies: length, width, height, azimuth, least depth, each with its "
                  "standard deviation; your own fields after ours. A size that nobody marked is null and drawn as 0.1 "
                  "m. 'stretch' says how many times too long the picture shows things along the track.",
        "REJECTED": "Objects that could not be measured, and why.",
        "OBJECT_COUNT": "Number of objects measured.",
        "REJECTED_COUNT": "Number of those that were not.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.source("MARKS", "Marks of objects", "Lines of two points drawn on the picture, or a table of times "
                        "and slant ranges.", make.TABLES),
            make.field("KIND_FIELD", "Field of kinds", "along, across or shadow; blank values are along.", "MARKS"),
            make.raster("IMAGE", "Record image", "The picture the lines were drawn on, loaded without a georeference. "
                        "Blank for a table."),
            make.source("TRACK", "Prepared track", "Output of 'Prepare track' of the outing.", make.POINTS),
            *layout.usual())
        self.add(*make.advanced(
            make.field("OBJECT_FIELD", "Field of objects", "Name of the object each line belongs to. Blank: each "
                       "goes with the nearest line along.", "MARKS"),
            *layout.further(),
            make.raster("DEPTH_GRID", "Depth grid", "Depths in metres, positive down, from 'Prepare depth grid': how "
                        "the bed slopes, and the water from the surface. Without it the bed is level, and the water "
                        "over an object is counted from the transducer."),
            make.choice("ERRORS", "Errors to expect", "Standard deviations to start from, as in 'Locate targets'.",
                        ["ordinary", "careful", "survey"], "ordinary"),
            make.number("SIGMA_PIXEL", "Error of a mark (pixels)", "One standard deviation, each way, of the points of "
                        "lines drawn on a picture.", 1.0, 0),
            make.number("SIGMA_TIME", "Error of a time (s)", "One standard deviation of start and end in a table. "
                        "Blank: as in the errors to expect.", None, 0),
            make.number("SIGMA_RANGE", "Error of a range (m)", "One standard deviation of slant ranges in a table. "
                        "Blank: as in the errors to expect.", None, 0),
            make.number("BEAM_WIDTH", "Beam width (degrees)", "Width of the beam along the track between its "
                        "half-power points. Blank: as in the errors to expect.", None, 0, 90)))
        self.add(
            make.sink("OUTPUT", "Measured objects", self.OUTPUT_HELP["OUTPUT"], "polygon"),
            make.sink("REJECTED", "Objects not measured", self.OUTPUT_HELP["REJECTED"], "table", True, False))
        self.addOutput(QgsProcessingOutputNumber("OBJECT_COUNT", "Number of objects"))
        self.addOutput(QgsProcessingOutputNumber("REJECTED_COUNT", "Number of objects not measured"))

    def refusal(self, parameters, context):
        self._settings(parameters, context, True).sigmas()
        source = self.parameterAsSource(parameters, "MARKS", context)
        line = QgsWkbTypes.GeometryType.LineGeometry
        drawn = source is not None and QgsWkbTypes.geometryType(source.wkbType()) == line
        if not values.given(parameters, "IMAGE"):
            return Message("The marks are lines, but there is no {IMAGE}: give the picture they were drawn on.") \
                if drawn else ""
        if source is not None and not drawn:
            return Message("{IMAGE} is given, but '{name}' holds no lines. Draw lines of two points on it, or leave "
                           "{IMAGE} blank for a table.", name=source.sourceName())
        missing = layout.layout_refusal(self, parameters, context)
        if missing:
            return missing
        layout.record_of(self, parameters, context, 10**6, 10**6)
        return ""

    def _settings(self, parameters, context, by_time):
        from ...survey import MeasureSettings

        return MeasureSettings(
            by_time=by_time, errors=values.option(self, parameters, "ERRORS", context),
            stated={"sigma_time": values.number(self, parameters, "SIGMA_TIME", context),
                    "sigma_range": values.number(self, parameters, "SIGMA_RANGE", context),
                    "beam_width": values.number(self, parameters, "BEAM_WIDTH", context)},
            time_offset=values.number(self, parameters, "TIME_OFFSET", context))

    def run_tool(self, parameters, context, feedback):
        from ...survey import measure_objects

        track, crs = read.track(self, parameters, "TRACK", context, feedback)
        by_picture = values.given(parameters, "IMAGE")
        table = read.table(self, parameters, "MARKS", context, feedback, geometry="any" if by_picture else "none",
                           pixels=True)
        if not len(table):
            raise InputError(Message("{MARKS} '{name}' {empty}", name=table.name, empty=read.EMPTY))
        make_readings = self._drawn if by_picture else self._told
        readings, by_time, rows, warnings = make_readings(parameters, context, table, track)
        found = measure_objects(track, readings, self._settings(parameters, context, by_time),
                                depth_grid(self, parameters, "DEPTH_GRID", context), stepper(feedback, 10, 90))
        found.rejected["reason"] = np.array([self.worded(why) for why in found.rejected["reason"]], object)
        lost = [f"object {name}: {why}" for name, why in zip(found.rejected["source_id"], found.rejected["reason"])]
        if lost:
            first = " The first five:" if len(lost) > 5 else ""
            warnings.insert(0, f"{len(lost)} of {len(readings)} objects could not be measured.{first} "
                            f"{'; '.join(lost[:5])}.")
        self.tell(feedback, found.notes, [*warnings, *found.warnings])
        carried = Carried(table, np.array([rows[name] for name in found.columns.get("source_id", [])], int))
        return {
            "OUTPUT": write_layer(self, parameters, "OUTPUT", context, feedback, fields=schemas.OBJECTS,
                                  columns=found.columns, crs=crs, places=found.boxes, carried=carried),
            "REJECTED": write_layer(self, parameters, "REJECTED", context, feedback, fields=schemas.REJECTED,
                                    columns=found.rejected, crs=crs),
            "OBJECT_COUNT": len(found.boxes), "REJECTED_COUNT": len(lost)}

    def _drawn(self, parameters, context, table, track):
        """(ObjectReadings, whether by time, {source id: row of the table}, warnings) of lines on a picture."""
        from ...survey import ObjectLines, read_object_lines

        image = image_of(self, parameters, "IMAGE", context)
        record = layout.record_of(self, parameters, context, image.width(), image.height())

        def words(name, instead):
            field = values.text(self, parameters, name, context)
            return np.array([text or instead for text in read.texts(table, field)] if field else
                            [instead] * len(table), object)
        ends = [_ends_of(geometry) for geometry in table.geometries]
        place = np.array([end[:4] for end in ends], float)
        column, row = pixels_of(image, place[:, 0], place[:, 1])
        end_column, end_row = pixels_of(image, place[:, 2], place[:, 3])
        ids = table.ids.astype(str).astype(object)
        lines = ObjectLines(column, row, end_column, end_row,
                            np.array([word.lower() for word in words("KIND_FIELD", "along")], object),
                            words("OBJECT_FIELD", ""), ids, np.array([end[4] for end in ends], object))
        readings, warnings = read_object_lines(record, lines, track,
                                               values.number(self, parameters, "SIGMA_PIXEL", context))
        return readings, record.by_time, {name: k for k, name in enumerate(ids)}, warnings

    def _told(self, parameters, context, table, track):
        """The same of a table."""
        from ...survey import ObjectReadings, read_sides

        by_time = table.has("start_time")
        moment = "time" if by_time else "ping"
        lengths = {name: _field_of(table, name) for name in _LENGTHS}
        read.require(table, ["side", f"start_{moment}", f"end_{moment}", lengths["near"][0] or "near_m",
                             lengths["far"][0] or "far_m"], self.parameterDefinition("MARKS").description(),
                     "A table of objects has start_time and end_time or start_ping and end_ping, side, near_m and "
                     "far_m, or near_ft and far_ft.")
        offset = values.number(self, parameters, "TIME_OFFSET", context)

        def count(name):
            return read.times(table, name, offset) if by_time else read.numbers(table, name)
        side, reason = read_sides(table.columns["side"])
        ids = table.ids.astype(str).astype(object)
        said = {"source_id": ids, "side": side, "reason": np.where(reason != "", reason, ""),
                "begin": count(f"start_{moment}"), "end": count(f"end_{moment}")}
        turned = said["begin"] > said["end"]
        said["reason"] = np.where(turned & (reason == ""), "it ends before it starts", said["reason"])
        said.update({_LENGTHS[name]: metres(read.numbers(table, field), unit)
                     for name, (field, unit) in lengths.items() if field})
        for point in ("begin_m", "end_m"):
            if point in said:
                said[point] = np.where(np.isnan(said[point]), (said["near_m"] + said["far_m"]) / 2, said[point])
        for field, ours in (("object", "label"), ("outing", "outing")):
            if table.has(field):
                said[ours] = read.texts(table, field)
        if "outing" in said and not set(said["outing"]) & set(track.outing):
            del said["outing"]
        return ObjectReadings.of(len(table), **said), by_time, {name: k for k, name in enumerate(ids)}, []


def _ends_of(geometry):
    """(x, y, x, y, reason) of the two vertices of a line."""
    nothing = (np.nan,) * 4
    if geometry is None:
        return (*nothing, "it has no geometry")
    vertices = [(v.x(), v.y()) for v in geometry.vertices()]
    if len(vertices) != 2:
        return (*nothing, f"it is a line of {len(vertices)} points; draw two, where it begins and where it ends")
    return (*vertices[0], *vertices[1], "")


def _field_of(table, name):
    """(field, unit) of a length whose unit ends its name, such as near_ft; ('', '') where there is none."""
    found = [(f"{name}_{unit}", unit) for unit in LENGTHS if table.has(f"{name}_{unit}")]
    if len(found) > 1:
        raise InputError(Message("{MARKS} '{name}' has {fields}: leave one of them, in the unit of the display.",
                                 name=table.name, fields=" and ".join(field for field, _ in found)))
    return found[0] if found else ("", "")
