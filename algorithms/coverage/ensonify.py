"""Map bottom seen: a raster of how often, from where and how well each cell of the bottom was looked at."""
from __future__ import annotations

from qgis.core import QgsProcessingOutputNumber

from ...survey.model import schemas
from ...survey.model.schemas import Field
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm, stepper
from ..common.declared import Raster
from ..common.geotiff import RasterSink
from ..common.kinds import OWN
from ..common.rasters import depth_grid
from ..common.seen import OBJECT_SIZE
from ..common.styles import dress
from ..common.tree import outing_of

__all__ = ["Ensonify"]


class Ensonify(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "ensonify", "Map bottom seen", "coverage"
    STEP, GUIDE = 2, ("audit",)
    RASTERS = {"OUTPUT": Raster("seen", (
        Field("looks", "int", "", "passes that saw the cell"),
        Field("directions", "int", "", "directions, more than 60 degrees apart, it was seen from"),
        Field("grazing", "double", "degrees", "largest angle between ray and bottom"),
        Field("hits", "double", "", "pings on an object of the given size in the best look"),
        Field("smallest_object", "double", "m", "side of the smallest cube that some look would show"),
        Field("hidden", "bool", "", "1 where sound came by, but nearer ground was in the way every time"),
        Field("detecting_looks", "int", "", "passes in which an object of the given size would show"),
        Field("detecting_directions", "int", "", "directions from which it would show")),
        {"hidden ground": "seen_hidden", "smallest object": "seen_smallest", "detecting looks": "seen_detecting",
         "detecting directions": "seen_from_sides"})}
    TAKES = {"INPUT": (schemas.TRACK,), "WATER": (OWN, schemas.AREAS)}
    SECTIONS = (
        ("Where the boat was", ("INPUT",)),
        ("Bottom and water", ("DEPTH_GRID", "WATER", "BLIND_ANGLE", "MIN_GRAZING")),
        ("What is to be found", ("OBJECT_SIZE", "MIN_HITS", "MIN_SHADOW")),
        ("Sounder", ("PING_RATE", "PING_SHARE", "BEAM_WIDTH")),
        ("The map", ("CELL_SIZE",)),
    )
    FUNCTION = "map_bottom"
    FIELDS = {"cell": "CELL_SIZE"}
    SUMMARY = "Map how often, from where and how well the bottom was seen, with shadows, cell by cell."
    TAGS = "coverage,ensonification,looks,shadow,hidden,terrain,bathymetry,detection,grazing,hits,insonify,raster"
    HELP = """Counts, for every cell of a raster, what the prepared track saw of it. With a depth grid each beam is
    followed over the bottom: what lies behind a ledge or a boulder is hidden, a bank may leave the range and come back.
    Without one the bottom is flat. Between samples the strip is filled, so that neither speed nor cell size makes
    holes. Land stops sound. Both sides of one pass are one look.

    The grid says how the bottom runs; how deep it lies the track says: one slowly varying offset a pass brings the grid
    to the sounder. Where the two still disagree by more than a metre and a tenth of the depth, a message names the
    place. Where the grid has no value the bottom is taken as flat, and a message says how much ground that is.

    Bands: looks (passes that saw the cell); directions (from how many directions more than 60 degrees apart); grazing
    (largest angle between ray and bottom, in degrees); hits (pings on an object of the given size in the best look);
    smallest_object (side, in metres, of the smallest cube some look would show; empty where none would); hidden (1
    where the sound came by, but nearer ground was in the way every time); detecting_looks and detecting_directions (the
    same as looks and directions, but only of passes in which an object of the given size would show: a boat that is too
    fast looks and detects nothing).

    The smallest object is the largest of three: enough pings must fall on it, it must be as wide as the beam, and high
    enough for the shortest shadow that shows, on ground that slopes as the depth grid does there. The ping rate, unless
    you know it, is taken as half of what sound in water allows for the range. These are rules of detection by shadow on
    clean ground; weed and waves only make it worse.

    The raster is in the track's coordinate system if that is in metres, else in the UTM zone."""
    OUTPUT_HELP = {
        "OUTPUT": "GeoTIFF with the bands looks, directions, grazing, hits, smallest_object, hidden, "
                  "detecting_looks and detecting_directions. Load it again and the style comes with it (.qml). Goes "
                  "into 'Find coverage gaps' as raster of looks.",
        "SEEN_M2": "Ground seen at least once, in m2.",
        "DETECTION_M2": "Ground where an object of the given size would show, in m2.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.source("INPUT", "Prepared track", "Output of 'Prepare track', of one outing or several.", make.POINTS),
            make.raster("DEPTH_GRID", "Depth grid", "Depths in metres, positive down, from 'Prepare depth grid'. "
                        "Blank: a flat bottom with the track's depth."),
            make.source("WATER", "Water", "Polygons of the water, islands cut out: sound ends at the first shore.",
                        make.POLYGONS, optional=True),
            make.distance("CELL_SIZE", "Cell size", "Side of a cell of the map.", 0.5, 0),
            make.distance("OBJECT_SIZE", "Size of the object to find", "Side of the cube that is to be found: what the "
                          "hits and the area with detection are about.", 1.0, 0),
            make.number("PING_RATE", "Ping rate (Hz)", "Pings a second, if known; never taken as faster than sound "
                        "allows for the range. Blank: a share of that limit (see Advanced).", None, 0),
        )
        self.add(*make.advanced(
            make.number("BLIND_ANGLE", "Blind angle (degrees)", "Ground within this angle of the vertical is not "
                        "counted; 20 is common practice.", 20.0, 0, 90),
            make.number("MIN_GRAZING", "Flattest angle that counts (degrees)", "Looks flatter than this show no "
                        "object. 4.6 stands for the rule that only 12.5 times the height over the bottom counts.", 4.6,
                        0, 90),
            make.number("BEAM_WIDTH", "Beam width (degrees)", "Full width of the beam along the track.", 1.5, 0, 90),
            make.number("MIN_HITS", "Fewest pings on the object", "Pings that must fall on an object.", 3.0, 0),
            make.distance("MIN_SHADOW", "Shortest shadow that shows", "Length of shadow, along the slant range, by "
                          "which an object is known; three samples of the record, but not less than 0.3 m.", 0.3, 0),
            make.number("PING_SHARE", "Share of the highest ping rate (%)", "What your sounder reaches of the rate at "
                        "which each ping is just back before the next, where the ping rate is blank.", 50.0, 0, 100)))
        self.add(make.destination_raster("OUTPUT", "Bottom seen", self.OUTPUT_HELP["OUTPUT"]))
        self.addOutput(QgsProcessingOutputNumber("SEEN_M2", "Ground seen (m2)"))
        self.addOutput(QgsProcessingOutputNumber("DETECTION_M2", "Ground seen with detection (m2)"))

    def _settings(self, parameters, context):
        """(DetectionSettings, blind angle, cell size); raises InputError for values out of bounds."""
        from ...survey import DetectionSettings, SwathSettings
        from ...survey.model.errors import InputError

        def number(name):
            return values.number(self, parameters, name, context)
        cell = number("CELL_SIZE")
        if not cell > 0:
            raise InputError(f"Cell size (CELL_SIZE) is {cell:g} m; give a number above 0, such as 0.5.")
        detection = DetectionSettings(
            object_size_m=number("OBJECT_SIZE"), beam_width_deg=number("BEAM_WIDTH"), min_hits=number("MIN_HITS"),
            min_shadow_m=number("MIN_SHADOW"), min_grazing_deg=number("MIN_GRAZING"), ping_rate_hz=number("PING_RATE"),
            ping_share=number("PING_SHARE") / 100)
        return detection, SwathSettings(blind_deg=number("BLIND_ANGLE")).blind_deg, cell

    def refusal(self, parameters, context):
        self._settings(parameters, context)
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey import map_bottom

        settings, blind, cell = self._settings(parameters, context)
        track, crs = read.track(self, parameters, "INPUT", context, feedback, picks=False)
        water = read.polygons(self, parameters, "WATER", context, feedback, crs)
        grid = depth_grid(self, parameters, "DEPTH_GRID", context)
        job = map_bottom(track, cell, settings, blind_deg=blind, grid=grid, water=water)
        self._say_before(job, grid, feedback)
        path, kind = self.parameterAsOutputLayer(parameters, "OUTPUT", context), self.RASTERS["OUTPUT"]
        raster = job.raster
        facts = {OBJECT_SIZE: settings.object_size_m, "MIN_HITS": settings.min_hits,
                 "MIN_SHADOW_M": settings.min_shadow_m, "MIN_GRAZING_DEG": settings.min_grazing_deg,
                 "BEAM_WIDTH_DEG": settings.beam_width_deg, "BLIND_ANGLE_DEG": blind,
                 "DEPTH_GRID": grid.name if grid is not None else "none: flat bottom"}
        with RasterSink(path, raster.crs.to_wkt("WKT1_GDAL"), raster.transform, (raster.rows, raster.cols),
                        kind.named(), facts) as sink:
            for row, col, bands in job.tiles(stepper(feedback, 5, 100)):
                sink.write(row, col, [bands[name] for name, _ in kind.named()])
            sink.finish(kind.style)
        self._say_after(job, grid, settings, feedback)
        dress(context, path, kind.style, more=kind.more, outing=outing_of(self, parameters, context))
        return {"OUTPUT": path, "SEEN_M2": float(job.totals.seen_m2), "DETECTION_M2": float(job.totals.detection_m2)}

    def _say_before(self, job, grid, feedback):
        raster = job.raster
        feedback.pushInfo(f"Map of {raster.cols} x {raster.rows} cells of {raster.cell:g} m in {raster.crs.name}, from "
                          f"{job.totals.passes} passes.")
        if grid is None:
            feedback.pushInfo("No depth grid: the bottom is taken as flat, with the track's depth.")
            return
        self.tell(feedback, warnings=job.anchors.warnings)
        if job.anchors.compared:
            feedback.pushInfo(f"Depth grid less track depth: median {job.anchors.median_m:.2f} m over "
                              f"{job.anchors.compared} samples, 90 % within {job.anchors.spread_m:.2f} m of it; one "
                              "slowly varying offset a pass brings the grid to the track's depth.")
        else:
            feedback.pushInfo("The track has no depths of its own to compare with the grid; the grid's stand.")

    def _say_after(self, job, grid, settings, feedback):
        totals = job.totals
        rate = (f"taken as {100 * settings.ping_share:g} % of the highest possible"
                if settings.ping_rate_hz is None else f"given as {settings.ping_rate_hz:g} Hz")
        feedback.pushInfo(f"Seen {totals.seen_m2:.0f} m2; an object of {settings.object_size_m:g} m would show on "
                          f"{totals.detection_m2:.0f} m2 (ping rate {rate}).")
        if grid is not None:
            off = int(job.anchors.off_grid.sum())
            feedback.pushInfo(f"Hidden by nearer ground every time: {totals.hidden_m2:.0f} m2.")
            if totals.assumed_m2 > 0 or off:
                feedback.pushWarning(f"The depth grid knows nothing under {off} samples and {totals.assumed_m2:.0f} m2 "
                                     "of what was seen; there the bottom was taken as flat.")
