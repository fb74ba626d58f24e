"""Make range table: what each range shows in each depth, which to set, how fast to go, how far apart to run lines."""
from __future__ import annotations

from ...survey.model import schemas, units
from ...survey.model.messages import Message
from ..common import parameters as make
from ..common import values
from ..common.base import AthwartAlgorithm
from ..common.files import save_text
from ..common.write import write_layer

__all__ = ["RangeTable"]

_PAGE_UNITS = ["m", "ft", "yd"]


class RangeTable(AthwartAlgorithm):
    """See the module."""

    ID, TITLE, GROUP = "rangetable", "Make range table", "planning"
    STEP, GUIDE = 1, ("plan-range",)
    LAYERS = {"OUTPUT": schemas.RANGE_TABLE}
    FUNCTION = "range_table"
    FIELDS = {"depths_m": "DEPTHS", "ranges_m": "RANGES", "object_m": "OBJECT_SIZE", "speed_mps": "SPEED",
              "sound_speed_mps": "SOUND_SPEED", "blind_deg": "BLIND_ANGLE", "overlap_pct": "OVERLAP",
              "slope_deg": "SLOPE", "samples": "SAMPLES", "object_size_m": "OBJECT_SIZE",
              "beam_width_deg": "BEAM_WIDTH", "min_hits": "MIN_HITS", "min_shadow_m": "MIN_SHADOW",
              "ping_rate_hz": "PING_RATE", "ping_share": "PING_SHARE"}
    SECTIONS = (
        ("Depths and ranges, in one unit", ("DEPTHS", "RANGES", "RANGE_UNIT")),
        ("What is to be seen, and how fast the boat goes", ("OBJECT_SIZE", "SPEED", "SPEED_UNIT", "OVERLAP")),
        ("Unit on the page", ("DISPLAY_UNIT",)),
        ("Beam and pings", ("BEAM_WIDTH", "PING_RATE", "PING_SHARE", "MIN_HITS", "MIN_SHADOW", "BLIND_ANGLE",
                            "SAMPLES")),
        ("Bottom and water", ("SLOPE", "SOUND_SPEED")),
    )
    NEEDED = ("DEPTHS", "RANGES", "RANGE_UNIT")
    CAUTIOUS = True
    SUMMARY = "Depths by ranges: what each shows of the bottom and of an object, how fast to go, and the range to set."
    TAGS = "range,setting,depth,speed,ping,resolution,spacing,table,card,before,trip,choose"
    HELP = """Which range to set? For each depth and range it gives how far each side reaches (by the slant range, by
    range less depth, and up and down a slope), the share of the record that shows only water, whether the range lies
    between 5 and 12.5 times the depth, the ground across the track that one sample of the record stands for, how many
    pings a second there can be, the fastest speed for the hits asked for, and how far apart lines may lie.

    An object shows where its echo and its shadow fit on the record, the beam is no wider than it, and the sound does
    not just graze the bottom: that is the strip from near_m to far_m. The range chosen for a depth is the one with the
    widest such strip at your speed; of ranges that are alike, the shortest, since it shows more detail. The reason
    stands beside it in words.

    The page has a card to print, one plot, and all figures. Open it in a browser; the messages say where it is."""
    OUTPUT_HELP = {
        "OUTPUT": "A row for each depth and range.",
        "OUTPUT_HTML": "A page with a card for the boat, a plot, all figures and the reasons.",
    }

    def initAlgorithm(self, config=None):
        self.add(
            make.text("DEPTHS", "Depths", "Water under the transducer: one number or several, such as 2 4 6 10."),
            make.text("RANGES", "Ranges", "Ranges the sounder has, such as 10 20 30 50. Each side counts by itself."),
            make.choice("RANGE_UNIT", "Unit of depths and ranges", "Unit of the depths and the ranges.",
                        make.RANGE_UNITS, None),
            make.number("SPEED", "Speed", "Speed over ground while searching; blank leaves it open.", None, 0),
            make.choice("SPEED_UNIT", "Unit of the speed", "Unit of the speed.", make.SPEED_UNITS, "m/s"),
            make.distance("OBJECT_SIZE", "Size of the object", "Side of the smallest thing that is to be seen.", 1.0,
                          0),
            make.number("OVERLAP", "Overlap of swaths (%)", "Share of a swath's width that its neighbour also covers; "
                        "20 is NOAA's rule of lines 1.6 ranges apart.", 20.0, 0, 99),
            make.choice("DISPLAY_UNIT", "Unit on the page", "Unit of the lengths on the page. A script that leaves it "
                        "out gets the unit of the ranges.", _PAGE_UNITS, "m"),
            *make.advanced(
                make.number("BEAM_WIDTH", "Beam width along the track (degrees)", "Full width of the beam.", 1.5, 0.01,
                            89),
                make.number("PING_RATE", "Pings a second", "If you know it; blank takes a share of the highest "
                            "possible.", None, 0),
                make.number("PING_SHARE", "Share of the highest ping rate (%)", "Sounders that also do other work ping "
                            "less often than they could.", 50.0, 1, 100),
                make.number("MIN_HITS", "Hits on the object", "Pings that must strike it; NOAA asks for 3.", 3.0, 0.1),
                make.distance("MIN_SHADOW", "Shortest shadow", "Length of the shadow along the slant range.", 0.3,
                              0.01),
                make.number("BLIND_ANGLE", "Blind angle (degrees)", "Ground within it of the vertical does not count. "
                            "20 is common practice.", 20.0, 0, 79),
                make.number("SLOPE", "Slope of the bottom (degrees)", "For the reach up and down a slope.", 5.0, 0, 45),
                make.number("SAMPLES", "Samples on each side of the record", "Columns of the record from the centre to "
                            "the edge; for its resolution.", 500.0, 10),
                make.number("SOUND_SPEED", "Sound speed (m/s)", "Blank takes the slowest of fresh water, 1402.4, so "
                            "that nothing looks better than it is.", None, 1350, 1600)),
            make.sink("OUTPUT", "Range table", self.OUTPUT_HELP["OUTPUT"], "table"),
            make.destination_file("OUTPUT_HTML", "Range card", self.OUTPUT_HELP["OUTPUT_HTML"], "HTML files (*.html)",
                                  by_default=True))

    def _list(self, parameters, name, context):
        """Numbers of a text, in metres; None where one is no number."""
        words = values.text(self, parameters, name, context).replace(";", " ").split()
        if len(words) == 1:
            words = words[0].split(",") if words[0].count(",") != 1 else [words[0].replace(",", ".")]
        try:
            found = [float(word.strip(",").replace(",", ".")) for word in words if word.strip(",")]
        except ValueError:
            return None
        return units.metres(found, values.option(self, parameters, "RANGE_UNIT", context))

    def _settings(self, parameters, context):
        from ...survey import DetectionSettings, RangeRule, TableSettings

        def number(name):
            return values.number(self, parameters, name, context)
        speed = number("SPEED")
        if speed is not None:
            speed = float(units.metres_per_second(speed, values.option(self, parameters, "SPEED_UNIT", context)))
        detection = DetectionSettings(
            object_size_m=number("OBJECT_SIZE"), beam_width_deg=number("BEAM_WIDTH"), min_hits=number("MIN_HITS"),
            min_shadow_m=number("MIN_SHADOW"), ping_rate_hz=number("PING_RATE"), ping_share=number("PING_SHARE") / 100)
        rule = RangeRule(number("OBJECT_SIZE"), speed, number("BLIND_ANGLE"), detection, number("SOUND_SPEED"))
        return TableSettings(rule, number("OVERLAP"), number("SLOPE"), number("SAMPLES"))

    def refusal(self, parameters, context):
        if values.option(self, parameters, "RANGE_UNIT", context) is None:
            return Message("Say what unit the depths and ranges are in ({RANGE_UNIT}).")
        for name in ("DEPTHS", "RANGES"):
            if not values.given(parameters, name):
                return Message("{" + name + "} is empty; give numbers such as 5 10 20.")
            if self._list(parameters, name, context) is None:
                return Message("{" + name + "} is '{given}', which is no list of numbers; give numbers such as 5 10 "
                               "20.", given=values.text(self, parameters, name, context))
        self._settings(parameters, context)
        return ""

    def run_tool(self, parameters, context, feedback):
        from qgis.core import QgsCoordinateReferenceSystem

        from ...survey import range_page, range_table

        unit = values.option(self, parameters, "DISPLAY_UNIT", context)
        given = values.option(self, parameters, "RANGE_UNIT", context)
        if not values.given(parameters, "DISPLAY_UNIT") and given in _PAGE_UNITS:  # a script that says ft once
            unit = given
        fast = values.option(self, parameters, "SPEED_UNIT", context)
        table = range_table(self._list(parameters, "DEPTHS", context), self._list(parameters, "RANGES", context),
                            self._settings(parameters, context), unit, fast)
        for depth, choice in zip(table.depths, table.choices):
            say = feedback.pushInfo if choice.shows else feedback.pushWarning
            say(f"Depth {depth / units.LENGTHS[unit]:.3g} {unit}: {choice.why}")
        results = {"OUTPUT": write_layer(
            self, parameters, "OUTPUT", context, feedback, fields=schemas.RANGE_TABLE, columns=table.columns,
            crs=QgsCoordinateReferenceSystem())}
        if values.given(parameters, "OUTPUT_HTML"):
            results["OUTPUT_HTML"] = self.parameterAsFileOutput(parameters, "OUTPUT_HTML", context)
            save_text(results["OUTPUT_HTML"], range_page(table, unit, fast))
            feedback.pushInfo(f"The range card is {results['OUTPUT_HTML']}; open it in a browser.")
        return results
