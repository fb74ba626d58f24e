"""Georeference record image: pictures of the record become a north-up raster that lies on the map."""
from __future__ import annotations

import os

import numpy as np
from qgis.core import QgsCoordinateReferenceSystem, QgsProcessingOutputNumber

from ...survey.model import patience, schemas
from ...survey.model.errors import InputError
from ...survey.model.messages import Message
from ...survey.model.schemas import Field
from ..common import layout, read, values
from ..common import parameters as make
from ..common.base import AthwartAlgorithm, stepper
from ..common.declared import Raster
from ..common.geotiff import RasterSink
from ..common.kinds import OWN
from ..common.rasters import depth_grid
from ..common.styles import dress
from ..common.write import write_layer

__all__ = ["GeoreferenceImage"]

_FRAME_FIELDS = ("first_ping", "first_time", "last_time", "centre_column", "edge_range", "dropped_rows")


class GeoreferenceImage(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "georeferenceimage", "Georeference record image", "imagery"
    STEP, GUIDE = 2, ("mapped-record", "record")
    TAKES = {"TRACK": (schemas.TRACK,), "BOTTOM_PICKS": (schemas.PICKS, schemas.BOTTOM_LINE, OWN), "FRAMES": (OWN,)}
    SECTIONS = (
        ("The picture, and the boat's track", ("IMAGE", "TRACK", "LAYOUT", "NEWEST", "CENTRE_COLUMN", "DROPPED_ROWS",
                                               "FRAMES")),
        ("When: a ping, or two times", ("FIRST_PING", "PINGS_PER_ROW", "FIRST_TIME", "LAST_TIME", "TIME_OFFSET")),
        ("Range at the edge, where it is not the track's", ("EDGE_RANGE", "RANGE_UNIT")),
        ("Depth, to take the water column out", ("BOTTOM_FROM", "BOTTOM_PICKS", "RANGE_MODEL", "DEPTH_GRID")),
        ("The map", ("CELL_SIZE", "BLEND", "BALANCE", "KEEP_TURNS", "TARGET_CRS")),
    )
    NEEDED = ("LAYOUT", "NEWEST", "FIRST_PING", "FIRST_TIME", "LAST_TIME")
    LAYERS = {"BOTTOM": schemas.BOTTOM_LINE}
    RASTERS = {
        "OUTPUT": Raster("mapped_record", (
            Field("grey", "int", "", "brightness of the record, or red, green and blue; 0 where nothing is shown"),
            Field("alpha", "int", "", "the largest number where the record shows the cell, else 0"))),
        "SOURCE": Raster("record_source", (
            Field("grazing", "double", "degrees", "angle between ray and bottom"),
            Field("outing", "int", "", "number of the outing; its name stands in the raster's metadata"),
            Field("pass_id", "int", "", "number of the pass"),
            Field("sample_id", "int", "", "nearest sample of the track"),
            Field("image", "int", "", "number of the image; its name stands in the raster's metadata"),
            Field("row", "double", "pixels", "middle of the image's row, from the top"),
            Field("slant", "double", "m", "true slant range, negative to port")))}
    FUNCTION = "map_record"
    FIELDS = {**layout.FIELDS, "images": "IMAGE", "cell": "CELL_SIZE", "cell_m": "CELL_SIZE", "crs": "TARGET_CRS",
              "bottom": "BOTTOM_FROM", "picks": "BOTTOM_PICKS"}
    SUMMARY = "Lay pictures of the record on the map, true in both directions, without the water column."
    TAGS = "mosaic,georeference,image,record,picture,screenshot,waterfall,slant range,water column,raster,north up"
    HELP = """Turns pictures of the record (rows are pings, columns slant range) into a raster on the map. Every cell
    asks which pixel it is: so there are no holes, and nothing is drawn out. The water column is taken out, slant range
    becomes range over the ground, and the boat's way, speed and heading come from the prepared track. Rows and columns
    are read as in 'Read picks from record image': a mark on the picture and the same spot on the map are one place.

    The depth that takes the water column out is the track's, or comes from picks of the bottom, or is traced on the
    picture. The traced line can be written out: lay it over the picture to check it; where it is unsure it says so.
    Its points can be given back as picks of the bottom. On a depth grid the floor runs as the grid says, and ground
    that nearer ground hides stays empty; without one the floor is flat.

    Several pictures are taken in the order of their names, the oldest first, each going on where the one before it
    ends; pictures with gaps between them need a table. Rows that are missing stay empty. Where the boat turned
    so sharply that the centre of the turn lies within the range, the record is cut, unless turns are kept. Where looks
    overlap, the one from the nearest track is shown, or the newest, the mean, or the one whose grazing angle is nearest
    to 30 degrees. Balance evens out how the picture darkens outwards, by one factor for each range and side.

    Where the range changes between two samples of the track, rows are shared out half and half: there the picture may
    be off for less than one sample. A cell that holds several pixels shows their mean. Grey 0 is kept for 'no data', so
    black pixels become 1."""
    OUTPUT_HELP = {
        "OUTPUT": "GeoTIFF, grey or coloured like the picture, 8 or 16 bits, with an alpha band, tiles and overviews.",
        "SOURCE": "Where each cell comes from: grazing angle, outing, pass_id, sample_id, image, row and slant range "
                  "(negative to port).",
        "BOTTOM": "The line of the bottom in pixels of the picture, a point a row, as traced or picked; 'sure' says "
                  "where the picture shows it. Nothing is written where the track gives the depth.",
        "SHOWN_M2": "Ground shown, in m2.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.rasters("IMAGE", "Record images", "One picture, or several that go on from each other, loaded without "
                         "a georeference."),
            make.source("TRACK", "Prepared track", "Output of 'Prepare track' of the outing that was recorded.",
                        make.POINTS),
            *layout.usual(),
            make.distance("CELL_SIZE", "Cell size", "Side of a cell of the map.", 0.25, 0),
        )
        self.add(*make.advanced(
            make.source("FRAMES", "Table of images", "For several pictures with gaps between them: a row for each, "
                        f"with its name in the field image, and any of {', '.join(_FRAME_FIELDS)}.", make.TABLES, True),
            *layout.further(),
            make.choice("RANGE_MODEL", "Range model", "'slant': flat floor. 'terrain': the floor runs as the depth "
                        "grid says.", ["slant", "terrain"], "slant"),
            make.raster("DEPTH_GRID", "Depth grid", "Depths in metres, positive down, from 'Prepare depth grid', for "
                        "the range model 'terrain'."),
            make.choice("BOTTOM_FROM", "Depth from", "'track': the depth of the prepared track. 'picks': picks of the "
                        "bottom. 'traced': the bottom is traced on the picture.", ["track", "picks", "traced"],
                        "track"),
            make.source("BOTTOM_PICKS", "Picks of the bottom", "A table with ping or t_s, and depth_m as displayed: "
                        "the output of 'Read picks from record image', or a traced bottom. Objects in it are "
                        "left alone.",
                        make.TABLES, True),
            make.choice("BLEND", "Where looks overlap", "Which look is shown.",
                        ["nearest", "newest", "mean", "grazing"], "nearest"),
            make.switch("BALANCE", "Balance the fall-off", "Even out how the picture darkens outwards."),
            make.switch("KEEP_TURNS", "Keep turns", "Draw also where the centre of a turn lies within the range. There "
                        "the outer side is drawn out, and the inner one ends at the centre."),
            make.crs("TARGET_CRS", "Coordinate system", "Of the map, in metres. Blank: the track's, or its UTM zone.")))
        self.add(
            make.destination_raster("OUTPUT", "Mapped record", self.OUTPUT_HELP["OUTPUT"]),
            make.destination_raster("SOURCE", "Source of each cell", self.OUTPUT_HELP["SOURCE"], optional=True),
            make.sink("BOTTOM", "Line of the bottom", self.OUTPUT_HELP["BOTTOM"], "point", True, False))
        self.addOutput(QgsProcessingOutputNumber("SHOWN_M2", "Ground shown (m2)"))

    def refusal(self, parameters, context):
        missing = layout.layout_refusal(self, parameters, context)
        if missing:
            return missing
        option = {name: values.option(self, parameters, name, context) for name in ("RANGE_MODEL", "BOTTOM_FROM")}
        if option["RANGE_MODEL"] == "terrain" and not values.given(parameters, "DEPTH_GRID"):
            return Message("{RANGE_MODEL} is 'terrain', but there is no {DEPTH_GRID}. Give one, or choose 'slant'.")
        if option["BOTTOM_FROM"] == "picks" and not values.given(parameters, "BOTTOM_PICKS"):
            return Message("{BOTTOM_FROM} is 'picks', but there are no {BOTTOM_PICKS}. Give them, or choose 'traced'.")
        if not values.number(self, parameters, "CELL_SIZE", context) > 0:
            return Message("{CELL_SIZE} is {given:g} m; give a number above 0, such as 0.25.",
                           given=values.number(self, parameters, "CELL_SIZE", context))
        if not values.given(parameters, "FRAMES"):
            layout.record_of(self, parameters, context, 10**6, 10**6)
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey import MapSettings, RecordMap

        track = read.track(self, parameters, "TRACK", context, feedback)[0]
        with patience.listening(lambda: stepper(feedback)(0.0)):
            images = self._images(parameters, context, feedback)
        settings = MapSettings(
            cell_m=values.number(self, parameters, "CELL_SIZE", context), crs=self._crs(parameters, context),
            blend=values.option(self, parameters, "BLEND", context),
            balance=self.parameterAsBool(parameters, "BALANCE", context),
            bottom=values.option(self, parameters, "BOTTOM_FROM", context),
            keep_turns=self.parameterAsBool(parameters, "KEEP_TURNS", context))
        grid = None
        if values.option(self, parameters, "RANGE_MODEL", context) == "terrain":
            grid = depth_grid(self, parameters, "DEPTH_GRID", context)
        elif values.given(parameters, "DEPTH_GRID"):
            self.tell(feedback, warnings=[Message("{DEPTH_GRID} is given but not used: {RANGE_MODEL} is 'slant'.")])
        picks = self._picks(parameters, context, feedback) if settings.bottom == "picks" else None
        job = RecordMap(images, track, settings, grid, picks, stepper(feedback, 5, 25),
                        values.number(self, parameters, "TIME_OFFSET", context))
        self._say_before(job, feedback)
        made = self._write(parameters, context, feedback, job)
        self._say_after(job, feedback)
        made["BOTTOM"] = self._write_bottom(parameters, context, feedback, job)
        return {**made, "SHOWN_M2": float(job.totals.shown_m2)}

    def _crs(self, parameters, context):
        crs = self.parameterAsCrs(parameters, "TARGET_CRS", context)
        return read.wkt(crs) if isinstance(crs, QgsCoordinateReferenceSystem) and crs.isValid() else None

    def _images(self, parameters, context, feedback):
        from ...survey import RecordImage
        from ..common.images import opened, stacked

        found = opened(self, parameters, "IMAGE", context)
        frames = read.table(self, parameters, "FRAMES", context, feedback)
        newest = values.option(self, parameters, "NEWEST", context)
        if frames is None:
            pixels, clear = stacked(found, newest)
            record = layout.record_of(self, parameters, context, pixels.shape[1], pixels.shape[0])
            if len(found) > 1:
                feedback.pushInfo(f"{len(found)} images, each going on where the one before it ends: "
                                  f"{', '.join(image.name for image in found)}.")
            return [RecordImage("; ".join(image.name for image in found), record, pixels, clear)]
        told = self._frames(frames, parameters, context)
        made = []
        for image in found:
            instead = told.get(_stem(image.name))
            if instead is None:
                raise InputError(Message("The image '{name}' does not stand in {FRAMES} '{table}'. It has rows for: "
                                         "{known}.", name=image.name, table=frames.name, known=", ".join(told)))
            pixels, clear = stacked([image], newest)
            record = layout.record_of(self, parameters, context, image.width, image.height, **instead)
            made.append(RecordImage(image.name, record, pixels, clear))
        return made

    def _frames(self, table, parameters, context):
        """{name of the image without its ending: fields of Record} of the table of images."""
        from ...survey import read_dropped
        from ...survey.model.units import metres

        read.require(table, ["image"], self.parameterDefinition("FRAMES").description(),
                     f"Give it a field image, and any of {', '.join(_FRAME_FIELDS)}.")
        found = {_stem(name): {} for name in read.texts(table, "image")}
        offset = values.number(self, parameters, "TIME_OFFSET", context)
        unit = values.option(self, parameters, "RANGE_UNIT", context) or "m"
        for field, name, parse in (
                ("first_ping", "first_ping", read.numbers), ("centre_column", "centre_column", read.numbers),
                ("edge_range", "edge_range_m", lambda t, f: metres(read.numbers(t, f), unit)),
                ("first_time", "first_s", lambda t, f: read.times(t, f, offset)),
                ("last_time", "last_s", lambda t, f: read.times(t, f, offset)),
                ("dropped_rows", "dropped", lambda t, f: [read_dropped(text) for text in read.texts(t, f)])):
            if table.has(field):
                for own, value in zip(found.values(), parse(table, field)):
                    if isinstance(value, tuple) or np.isfinite(value):
                        own[name] = value if isinstance(value, tuple) else float(value)
        return found

    def _picks(self, parameters, context, feedback):
        from ...survey import BottomPicks

        table = read.table(self, parameters, "BOTTOM_PICKS", context, feedback, pixels=True)
        label = self.parameterDefinition("BOTTOM_PICKS").description()
        read.require(table, ["depth_m"], label, "Use the output of 'Read picks from record image'.")
        blank = np.full(len(table), np.nan)
        ping, t_s, depth = (read.numbers(table, name) if table.has(name) else blank
                            for name in ("ping", "t_s", "depth_m"))
        bottom = read.texts(table, "kind") == "bottom" if table.has("kind") else np.ones(len(table), bool)
        keep = bottom & np.isfinite(depth)
        return BottomPicks(ping[keep], t_s[keep], depth[keep])

    def _write(self, parameters, context, feedback, job):
        raster = job.raster
        colours = ["grey"] if job.bands == 1 else ["red", "green", "blue"]
        facts = {"BLEND": job.settings.blend, "BALANCE": job.settings.balance, "DEPTH_FROM": job.settings.bottom,
                 **{f"IMAGE_{k + 1}": image.name for k, image in enumerate(job.images)},
                 **{f"OUTING_{number}": name for name, number in job.outings.items()}}
        place = (raster.crs.to_wkt("WKT1_GDAL"), raster.transform, (raster.rows, raster.cols))
        made = {"OUTPUT": self.parameterAsOutputLayer(parameters, "OUTPUT", context)}
        sinks = [RasterSink(made["OUTPUT"], *place, [(name, "") for name in [*colours, "alpha"]], facts, job.kind)]
        if values.given(parameters, "SOURCE"):
            made["SOURCE"] = self.parameterAsOutputLayer(parameters, "SOURCE", context)
            sinks.append(RasterSink(made["SOURCE"], *place, self.RASTERS["SOURCE"].named(), facts))
        full = np.iinfo(job.kind).max
        style = f"mapped_record{'_colours' * (job.bands > 1)}{'_16' * (full > 255)}"
        with sinks[0] as picture, sinks[-1] if len(sinks) > 1 else _Nothing() as source:
            for row, col, tile in job.tiles(stepper(feedback, 25, 95), traced=len(sinks) > 1):
                pixels, shown = tile.pixels()
                picture.write(row, col, [*pixels, np.where(shown, full, 0).astype(job.kind)])
                if len(sinks) > 1:
                    source.write(row, col, list(tile.source(job.track, job.outings).values()))
            picture.finish(style)
            if len(sinks) > 1:
                source.finish("record_source")
        dress(context, made["OUTPUT"], style)
        if len(sinks) > 1:
            dress(context, made["SOURCE"], "record_source")
        return made

    def _write_bottom(self, parameters, context, feedback, job):
        parts = []
        for image, bottom, rows in zip(job.images, job.bottoms, job.rows):
            at = np.flatnonzero(np.isfinite(bottom.pixels) & (rows.sample >= 0))
            record = image.record
            column = record.centre + (-1 if record.layout == "port" else 1) * bottom.pixels[at]
            ping = np.full(len(at), np.nan) if record.by_time else rows.count[at]
            parts.append((np.full(len(at), image.name, object), at + 0.5, column, ping, rows.t_s[at],
                          np.full(len(at), "bottom", object), bottom.depth_m[at] / rows.ratio[at], bottom.sure[at]))
        names = ("image", "row", "column", "ping", "t_s", "kind", "depth_m", "sure")
        columns = {name: np.concatenate(part) for name, part in zip(names, zip(*parts))}
        return write_layer(self, parameters, "BOTTOM", context, feedback, fields=schemas.BOTTOM_LINE, columns=columns,
                           crs=QgsCoordinateReferenceSystem(),
                           places=(columns["column"], -columns["row"]))

    def _say_before(self, job, feedback):
        from ...survey import row_words

        raster = job.raster
        feedback.pushInfo(f"Map of {raster.cols} x {raster.rows} cells of {raster.cell:g} m in {raster.crs.name}, from "
                          f"{job.totals.rows} rows of {len(job.images)} image{'s' * (len(job.images) > 1)}.")
        for image in job.images:
            note, doubtful = row_words(image.record, job.track)
            self.tell(feedback, [note] if note else [], [doubtful] if doubtful else [])
        self.tell(feedback, warnings=job.anchors.warnings if job.anchors is not None else [])

    def _say_after(self, job, feedback):
        totals = job.totals
        told = (
            (totals.no_depth, Message("have no depth and are not shown: trace the bottom on the picture "
                                      "({BOTTOM_FROM})")),
            (totals.off_track, "lie on no stretch of the track that can be used, and are not shown"),
            (totals.turned, Message("lie in turns sharper than the range and were cut ({KEEP_TURNS} draws them)")),
            (totals.unsure, Message("show no clear bottom: there the line is carried over. Look at {BOTTOM}")),
            (totals.held, "are too far from a pick of the bottom: the track's depth was taken"))
        for count, text in told:
            if count:
                self.tell(feedback, warnings=[Message("{count} of {rows} rows {text}.", count=count, rows=totals.rows,
                                                      text=text)])
        if totals.assumed_m2 > 0:
            feedback.pushWarning(f"The depth grid knows nothing under {totals.assumed_m2:.0f} m2 of what is shown; "
                                 "there the floor was taken as flat.")
        if totals.missing:
            feedback.pushInfo(f"{totals.missing} rows are missing from the pictures and stay empty.")
        hidden = f", {totals.hidden_m2:.0f} m2 hidden by nearer ground left empty" if job.anchors is not None else ""
        feedback.pushInfo(f"{totals.shown_m2:.0f} m2 shown{hidden}.")


class _Nothing:
    """A sink for a raster that nobody asked for."""

    def __enter__(self):
        return self

    def __exit__(self, kind, error, trace):
        return False


def _stem(name):
    return os.path.splitext(os.path.basename(str(name)))[0].lower()
