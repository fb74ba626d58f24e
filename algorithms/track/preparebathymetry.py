"""Prepare depth grid: any raster of depths or elevations, or contour lines, to the one grid every tool takes."""
from __future__ import annotations

import numpy as np

from ...survey.model import schemas
from ...survey.model.schemas import Field
from ..common import parameters as make
from ..common import values
from ..common.base import AthwartAlgorithm, stepper
from ..common.declared import Raster
from ..common.geotiff import RasterSink
from ..common.kinds import OWN
from ..common.styles import dress
from .contours import contour_depths
from .depth_maps import raster_map

__all__ = ["PrepareBathymetry"]

_BLOCK = 1024


class PrepareBathymetry(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "preparebathymetry", "Prepare depth grid", "track"
    STEP, GUIDE = 3, ("record",)
    SECTIONS = (
        ("A raster, or contour lines with the shoreline", ("INPUT", "CONTOURS", "CONTOUR_DEPTH_FIELD", "SHORELINE")),
        ("What the values are", ("KIND", "UNIT")),
        ("The water on the day", ("SURFACE_ELEVATION", "WATER_RISE")),
        ("The grid made", ("CELL_SIZE",)),
    )
    NEEDED = ("INPUT", "CONTOURS", "KIND", "UNIT")
    TAKES = {"CONTOURS": (OWN,), "SHORELINE": (OWN, schemas.AREAS, schemas.SHORE)}
    RASTERS = {"OUTPUT": Raster("depths", (
        Field("depth_m", "double", "m", "depth below the water surface of the day; 0 or less on land"),))}
    FUNCTION = "DepthConversion"
    FIELDS = {"surface": "SURFACE_ELEVATION", "rise": "WATER_RISE"}
    SUMMARY = "Turn a raster of depths or elevations, or contour lines, into the depth grid every tool takes."
    TAGS = "bathymetry,depth,contour,isobath,elevation,dem,grid,lake map,raster,feet,fathom,interpolate"
    HELP = """Makes a depth grid: metres, positive down, from the water surface on the day of the outing, north up, in a
    coordinate system in metres.

    From a raster of depths or elevations of any unit, coordinate system and way round, also one larger than memory.
    Elevations need the elevation of the water surface; depths written as negative numbers are elevations
    with a surface at 0. Land comes out as depth 0 or less, and stops sound.

    Or from contour lines with a field that holds their depth, and the shoreline, which counts as the contour of the
    water's edge. A smooth surface of least bending is laid through them: between contours of two depths it stays
    between these, never in steps. Inside the last contour of a hole or a shoal the slope runs on and rounds off, at
    most half an interval past the line; nobody measured that, so a second band, invented, marks it and the messages say
    where and how much. Such a map hides what lies between its lines: boulders, ledges, the real deepest place.

    The rise of the water is how much higher it stood on the day than the map's own zero.

    What looks negative down, in the wrong unit, far from the water surface, or like the surface of the lake instead
    of its floor, is refused with the reason."""
    OUTPUT_HELP = {
        "OUTPUT": "GeoTIFF of depths in metres, down positive, from the water surface of the day; empty where the map "
                  "knows nothing. The other tools ask for it as depth grid. From contours it has a second band, "
                  "invented: 1 beyond the last contour of a hole or a shoal.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.raster("INPUT", "Raster of depths or elevations", "First band is taken. Leave blank for contours."),
            make.source("CONTOURS", "Contour lines", "Instead of a raster: lines of equal depth or elevation.",
                        make.LINES, optional=True),
            make.field("CONTOUR_DEPTH_FIELD", "Field of contour values", "Depth or elevation of each line.",
                       "CONTOURS"),
            make.source("SHORELINE", "Shoreline", "For contours: the water as polygons with islands cut out, or closed "
                        "lines of the shore.", make.SHORES, optional=True),
            make.choice("KIND", "Kind of values", "'depth' is counted down from the water, 'elevation' up from sea "
                        "level or another datum.", ["depth", "elevation"]),
            make.choice("UNIT", "Unit of the values", "Unit of the map, of the elevation of the water surface and of "
                        "its rise.", make.RANGE_UNITS),
            make.number("SURFACE_ELEVATION", "Elevation of the water surface", "For elevations: the water level the "
                        "map goes with, from the same datum, in the map's unit."),
            make.number("WATER_RISE", "Rise of the water", "How much higher the water stood on the day than the map's "
                        "own zero, in the map's unit; negative for low water.", 0.0),
            make.distance("CELL_SIZE", "Cell size", "Blank: about the raster's own; for contours a round size that "
                          "cuts the lake into some 1500 cells.", None, 0),
            make.destination_raster("OUTPUT", "Depth grid", self.OUTPUT_HELP["OUTPUT"]))

    def _conversion(self, parameters, context):
        from ...survey import DepthConversion

        return DepthConversion(values.option(self, parameters, "KIND", context),
                          values.option(self, parameters, "UNIT", context),
                          values.number(self, parameters, "SURFACE_ELEVATION", context),
                          values.number(self, parameters, "WATER_RISE", context))

    def packages(self, parameters):
        contours = values.given(parameters, "CONTOURS")
        return ("numpy", "pyproj", "shapely") if contours else ("numpy", "pyproj")

    def refusal(self, parameters, context):
        raster, contours = (values.given(parameters, name) for name in ("INPUT", "CONTOURS"))
        if raster == contours:
            return (f"Give either a raster (INPUT) or contour lines (CONTOURS); {'both' if raster else 'neither'} of "
                    f"them {'are' if raster else 'is'} given.")
        if contours:
            for name, text in (("CONTOUR_DEPTH_FIELD", "the field that holds their depth"),
                               ("SHORELINE", "the shoreline: without it nobody knows where the water ends")):
                if not values.given(parameters, name):
                    return f"Contour lines need {text} ({name})."
        cell = values.number(self, parameters, "CELL_SIZE", context)
        if cell is not None and not cell > 0:
            return f"Cell size (CELL_SIZE) is {cell:g} m; give a number above 0, or leave it blank."
        self._conversion(parameters, context)
        return ""

    def run_tool(self, parameters, context, feedback):
        conversion = self._conversion(parameters, context)
        cell = values.number(self, parameters, "CELL_SIZE", context)
        layer = self.parameterAsRasterLayer(parameters, "INPUT", context)
        if layer is not None:
            what, source = f"The raster '{layer.name()}'", raster_map(layer, context, cell)
        else:
            what, source = contour_depths(self, parameters, context, feedback, conversion, cell)
        self.tell(feedback, [conversion.judged(source.sample(), what, source.unit)])
        path = self.parameterAsOutputLayer(parameters, "OUTPUT", context)
        (rows, cols), kind = source.shape, self.RASTERS["OUTPUT"]
        step = stepper(feedback, 70 if layer is None else 0, 100)
        known = dry = 0
        with RasterSink(path, source.wkt, source.transform, source.shape, [*kind.named(), *source.more],
                        {"MADE_FROM": what, "POSITIVE": "down", "ZERO": "water surface on the day"}) as sink:
            for row in range(0, rows, _BLOCK):
                for col in range(0, cols, _BLOCK):
                    step((row + _BLOCK * col / cols) / rows)
                    drawn, *more = source.read(row, col, min(_BLOCK, rows - row), min(_BLOCK, cols - col))
                    depth = conversion.depths(drawn)
                    known += np.count_nonzero(np.isfinite(depth))
                    dry += np.count_nonzero(depth <= 0)
                    sink.write(row, col, [depth, *more])
            sink.finish(kind.style)
        self._say(source, conversion, known, dry, feedback)
        dress(context, path, kind.style)
        return {"OUTPUT": path}

    def _say(self, source, conversion, known, dry, feedback):
        rows, cols = source.shape
        rule = ("depth" if conversion.kind == "depth" else f"{conversion.surface:g} - elevation")
        feedback.pushInfo(f"Depth (m) = ({rule} + {conversion.rise:g}) {conversion.unit} x "
                          f"{abs(conversion.scale):g}, on {cols} x {rows} cells of {source.transform[1]:g} m.")
        feedback.pushInfo(f"{100 * known / (rows * cols):.1f} % of the cells have a value, {dry} of them are shore or "
                          "dry land (depth 0 or less).")
