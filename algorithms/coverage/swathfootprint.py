"""Draw swaths: the bottom each pass saw, as polygons."""
from __future__ import annotations

from qgis.core import QgsProcessingOutputNumber

from ...survey.model import schemas
from ...survey.model.messages import Message
from ..common import parameters as make
from ..common import read, values
from ..common.base import AthwartAlgorithm, stepper
from ..common.kinds import OWN
from ..common.rasters import depth_grid
from ..common.styles import put_into_group
from ..common.write import write_layer

__all__ = ["SwathFootprint"]

_SIDES = {"both": (-1, 1), "port": (-1,), "starboard": (1,)}

_NOISY = 0.2
"""Share of intervals that need drawing one by one, beyond which the heading is called noisy."""


class SwathFootprint(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "swathfootprint", "Draw swaths", "coverage"
    STEP, JOB, GUIDE = 1, 3, ("range", "audit")
    TAKES = {"INPUT": (schemas.TRACK,), "WATER": (OWN, schemas.AREAS)}
    SECTIONS = (
        ("Where the boat was", ("INPUT",)),
        ("Bottom and water", ("RANGE_MODEL", "DEPTH_GRID", "WATER")),
        ("What of the record counts", ("SIDES", "BLIND_ANGLE", "RANGE_USED", "KEEP_TURNS")),
        ("The layer made", ("MERGE",)),
    )
    LAYERS = {"OUTPUT": schemas.SWATHS}
    FUNCTION = "draw_swaths"
    SUMMARY = "Draw the strips of bottom that the record really covers, from range, depth and heading."
    TAGS = "swath,footprint,coverage,strip,slant range,ground range,nadir,sonar"
    HELP = """Draws what each pass saw of the bottom. The range setting is a slant range: on a flat bottom it reaches
    the square root of range squared less depth squared to each side. Ground within the blind angle of the vertical is
    left out, and so is everything where the range is shorter than the water is deep.

    Strips follow the heading, not only the track. They are cut where the range changes and never carried across a break
    of the record. In a turn that parts two passes the beam at its middle closes the one and opens the other, and
    between sparse fixes the boat is taken along an arc. Where the water is given, sound stops at the first shore it
    meets: nothing is drawn behind an island
    or a spit. In a turn the inner side is not drawn beyond the centre of the turn.

    The model 'terrain' follows every beam over a depth grid instead: a slope lengthens or shortens the reach, a bank
    hides what lies behind it. The model 'subtract' is the rule of thumb range less depth, kept for comparison: it is
    always short of the truth.

    Areas are measured on the ground, whatever the coordinate system of the layer or the project."""
    OUTPUT_HELP = {"AREA_M2": "Ground seen, in m2; a place seen twice counts once."}

    def initAlgorithm(self, config=None):
        self.add(
            make.source("INPUT", "Prepared track", "Output of 'Prepare track', of one outing or several merged.",
                        make.POINTS),
            make.choice("RANGE_MODEL", "Range model", "How slant range becomes ground range. slant: the right triangle "
                        "over a flat bottom. terrain: along the bottom of the depth grid, shadows left out. subtract: "
                        "range less depth, a rule of thumb.", ["slant", "terrain", "subtract"], "slant"),
            make.raster("DEPTH_GRID", "Depth grid", "Depths in metres, positive down, from 'Prepare depth grid'; used "
                        "by the range model 'terrain' only."),
            make.source("WATER", "Water", "Polygons of the water, islands cut out: sound ends at the first shore.",
                        make.POLYGONS, True),
            make.choice("SIDES", "Sides", "Which sides of the record count.", list(_SIDES), "both"),
            make.number("BLIND_ANGLE", "Blind angle (degrees)", "Ground within this angle of the vertical is not "
                        "counted as seen; 20 is common practice.", 20.0, 0, 89),
            make.choice("MERGE", "One polygon for each", "strip: one for each side and stretch of one range. pass: one "
                        "for each pass. all: a single one, which no longer keeps looks apart.",
                        ["strip", "pass", "all"], "strip"),
        )
        self.add(*make.advanced(
            make.number("RANGE_USED", "Part of the range used (%)", "Share of the range in force that you trust; less "
                        "than 100 leaves out the weak outer end of the record.", 100.0, 1, 100),
            make.switch("KEEP_TURNS", "Keep turns whole", "Draw the inner side of a turn beyond the centre of the turn "
                        "as well, where the record runs backwards.", False)))
        self.add(make.sink("OUTPUT", "Swaths", "Polygons of the bottom seen, with side, mean range, depth and edges, "
                           "and the error of the outer edge.", "polygon"))
        self.addOutput(QgsProcessingOutputNumber("AREA_M2", "Ground seen (m2)"))

    def _settings(self, parameters, context):
        """SwathSettings of the form; raises InputError for values out of bounds."""
        from ...survey import SwathSettings

        def chosen(name):
            return values.option(self, parameters, name, context)
        return SwathSettings(
            range_model=chosen("RANGE_MODEL"), sides=_SIDES[chosen("SIDES")], merge=chosen("MERGE"),
            blind_deg=values.number(self, parameters, "BLIND_ANGLE", context),
            range_share=values.number(self, parameters, "RANGE_USED", context) / 100,
            keep_turns=self.parameterAsBool(parameters, "KEEP_TURNS", context))

    def refusal(self, parameters, context):
        settings = self._settings(parameters, context)
        if settings.range_model == "terrain" and not values.given(parameters, "DEPTH_GRID"):
            return ("The range model 'terrain' (RANGE_MODEL) needs a depth grid (DEPTH_GRID): give the output of "
                    "'Prepare depth grid', or choose 'slant' for a flat bottom.")
        return ""

    def run_tool(self, parameters, context, feedback):
        from ...survey import draw_swaths

        settings = self._settings(parameters, context)
        track, crs = read.track(self, parameters, "INPUT", context, feedback, picks=False)
        water = read.polygons(self, parameters, "WATER", context, feedback, crs)
        grid = self._grid(parameters, context, feedback, settings)
        result = draw_swaths(track, settings, water, stepper(feedback, 10, 90), grid)
        self.tell(feedback, warnings=result.warnings)
        self._say(result, settings, feedback)
        outings = set(result.columns["outing"])
        output = write_layer(
            self, parameters, "OUTPUT", context, feedback, fields=schemas.SWATHS, columns=result.columns,
            crs=crs, places=result.geometries)
        put_into_group(context, output, outings.pop() if len(outings) == 1 else "")
        return {"OUTPUT": output, "AREA_M2": float(result.area_m2)}

    def _grid(self, parameters, context, feedback, settings):
        """DepthGrid of the range model 'terrain', else None."""
        if settings.range_model != "terrain":
            if values.given(parameters, "DEPTH_GRID"):
                feedback.pushWarning(f"The range model '{settings.range_model}' takes the bottom as flat, so the depth "
                                     "grid (DEPTH_GRID) was not used. Choose 'terrain' to follow it.")
            return None
        return depth_grid(self, parameters, "DEPTH_GRID", context)

    def _say(self, result, settings, feedback):
        report = result.report
        feedback.pushInfo(f"{len(result.geometries)} features from {report.usable} usable samples, {report.drawn} "
                          f"beams drawn by the model '{settings.range_model}'; {result.area_m2:.0f} m2 of ground seen.")
        for count, text in ((report.no_bottom, "have a range shorter than the depth: water column only"),
                            (report.no_depth, "have no depth"), (report.no_range, "have no range"),
                            (report.no_heading, "have no heading"),
                            (report.off_grid, "lie where the depth grid knows nothing; the bottom there was taken as "
                                              "flat"),
                            (report.aground, "lie outside the water polygon; nothing is drawn from them")):
            if count:
                feedback.pushWarning(f"{count} usable samples {text}.")
        feedback.pushInfo(f"{report.rings} stretches went in as one ribbon, {report.quads} intervals one by one.")
        if report.quads > _NOISY * report.drawn:
            self.tell(feedback, warnings=[Message(
                "Beams of neighbouring samples keep crossing, which is slow: the heading is noisy. Smooth it with "
                "{prepare(smoothing_s)} of {prepare()}, or set samples further apart with {prepare(spacing_m)}.")])
        if report.ended_at_land:
            feedback.pushInfo(f"{report.ended_at_land} beams end at a shore.")
        if report.frames > 1:
            feedback.pushInfo(f"The survey is wide: it was drawn in {report.frames} local frames.")
