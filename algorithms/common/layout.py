"""How a picture shows the record, on the form: which side, which row is which ping; one set of boxes for all tools."""
from __future__ import annotations

from typing import TYPE_CHECKING

from ...survey.model.messages import Message
from . import parameters as make
from . import values

if TYPE_CHECKING:
    from typing import Any

    from qgis.core import QgsProcessingAlgorithm, QgsProcessingContext

    from ...survey import Record

__all__ = ["FIELDS", "further", "layout_refusal", "record_of", "usual"]

FIELDS = {"edge_range_m": "EDGE_RANGE", "first_s": "FIRST_TIME", "last_s": "LAST_TIME", "dropped": "DROPPED_ROWS"}
"""Boxes of the settings that the core's messages name."""


def usual() -> list[Any]:
    """Definitions of the boxes that everybody fills in."""
    return [
        make.choice("LAYOUT", "Sides in the picture", "'both' has port on the left and starboard on the right of a "
                    "centre column; 'port' has zero range at its right edge, 'starboard' at its left.",
                    ["both", "port", "starboard"]),
        make.choice("NEWEST", "Newest row", "Where the latest ping stands in the picture: displays that scroll "
                    "down have it at the top. It has no default, since the wrong one mirrors every pick in time.",
                    ["top", "bottom"]),
        make.number("FIRST_PING", "Ping of the oldest row", "By the record's own count; give this, or the two "
                    "times.", None),
        make.text("FIRST_TIME", "Time of the oldest row", "Such as 2024-05-31T14:05:09; without a zone it is UTC, "
                  "plus the time offset."),
        make.text("LAST_TIME", "Time of the newest row", "In the same way as the first; the two belong together.")]


def further() -> list[Any]:
    """Definitions of the rest, for the advanced part."""
    return [
        make.number("PINGS_PER_ROW", "Pings per row", "More than one where the picture was squeezed.", 1.0, 0),
        make.number("TIME_OFFSET", "Time offset (hours)", "Hours to add to times without a zone to get UTC: a "
                    "clock at UTC-5 needs 5, one at UTC+2 needs -2.", 0.0),
        make.number("EDGE_RANGE", "Range at the edge", "Displayed range at the edge farthest from the centre "
                    "column. Blank: the range in force at each ping, from the track.", None, 0),
        make.choice("RANGE_UNIT", "Unit of the range at the edge", "Unit of the range at the edge.",
                    make.RANGE_UNITS),
        make.number("CENTRE_COLUMN", "Centre column (pixels)", "Column where the range is zero, for pictures "
                    "that were cropped. Blank: the middle, or the edge of a single side.", None),
        make.text("DROPPED_ROWS", "Dropped rows", "Where rows are missing from the picture: the pixel row from "
                  "the top at whose upper edge they are missing and, after a colon, how many: 120 340:5.")]


def layout_refusal(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], context: QgsProcessingContext) -> str:
    """What is missing or wrong in these boxes, '' if nothing is."""
    if values.option(alg, parameters, "LAYOUT", context) is None:
        return Message("{LAYOUT} is not given: does the picture show both sides, port or starboard? It cannot be "
                       "guessed.")
    if values.option(alg, parameters, "NEWEST", context) is None:
        return Message("{NEWEST} is not given: does the latest ping stand at the top or at the bottom of the "
                       "picture? Choose one; the wrong one would mirror every pick in time.")
    edge = values.number(alg, parameters, "EDGE_RANGE", context)
    if edge is not None and values.option(alg, parameters, "RANGE_UNIT", context) is None:
        return Message("{EDGE_RANGE} is given without its unit: choose {RANGE_UNIT} ({units}). It is the unit on "
                       "the display, and no other can be guessed.", units=", ".join(make.RANGE_UNITS))
    if edge is None and not values.given(parameters, "TRACK"):
        return Message("Give {TRACK}, for the range in force at each ping, or {EDGE_RANGE}.")
    return ""


def record_of(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], context: QgsProcessingContext, width: int,
              height: int, **instead: Any) -> Record:
    """The Record of a picture of so many pixels; fields of it that are given otherwise may be named.

    Raises
    ------
    InputError
        If the boxes contradict each other or the picture.
    """
    from ...survey import Record, read_dropped
    from ...survey.model.times import parse_times
    from ...survey.model.units import metres

    def number(name: str) -> Any:
        return values.number(alg, parameters, name, context)

    def moment(name: str) -> float | None:
        text = values.text(alg, parameters, name, context)
        return float(parse_times([text], number("TIME_OFFSET"), name)[0]) if text else None
    edge = number("EDGE_RANGE")
    if edge is not None:
        edge = float(metres(edge, values.option(alg, parameters, "RANGE_UNIT", context)))
    said = {"layout": values.option(alg, parameters, "LAYOUT", context), "centre_column": number("CENTRE_COLUMN"),
            "newest": values.option(alg, parameters, "NEWEST", context), "edge_range_m": edge,
            "first_ping": number("FIRST_PING"), "pings_per_row": number("PINGS_PER_ROW"),
            "first_s": moment("FIRST_TIME"), "last_s": moment("LAST_TIME"),
            "dropped": read_dropped(values.text(alg, parameters, "DROPPED_ROWS", context))}
    return Record(width, height, **{**said, **instead})
