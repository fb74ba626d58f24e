"""Draws the ready-made models and saves them in plugin/models (or FOLDER).

Run it with the oldest QGIS supported: newer ones read its files, not the other way round. The inputs are made like the
parameters of the tools they feed, so that labels, limits, defaults and help never differ from the tools'.
"""
from __future__ import annotations

import pathlib
import sys
import xml.etree.ElementTree as ET
from functools import partial

from qgis.core import Qgis

from .. import inside
from .parts import Ask, Draft, Give, fixed, formula, given, of
from .record import record_to_targets
from .trip import plan_and_try

MODELS = pathlib.Path(__file__).resolve().parents[2] / "plugin" / "models"
OLDEST = "3.22."
GROUP = "G. Ready-made models"
BLUE, GREEN, SAND, LILAC = "#e6f0f5", "#e8f3ea", "#faf1e0", "#f1ebf5"
TITLE = "coalesce('Coverage report: ' || nullif(trim(@OUTING), ''), 'Coverage report')"

NEEDS = """What no log carries is asked for and has no default: the range, its unit, and a depth where nothing sounded.
Settings (blind angle, narrowest gap to list, reach to the shore) are the defaults of the tools; run the tools one by
one to change them, or change a copy of this model."""

AUDIT = """From the log of an outing to maps of what was seen and what was missed, and a page that sums it up. It runs,
one after the other: 'Read NMEA 0183 and GPX logs', 'Prepare track', 'Draw swaths', 'Find coverage gaps', 'Find
unscanned shoreline' and 'Write coverage report'."""

REPORT = """From the log of an outing and what was picked off its record to maps of what was seen, what was missed and
where the targets lie, and a page that sums it up. It does what 'Audit an outing' does, and locates the picks too."""

CASTS = """From a prepared track and what was picked off the record to a card that says where to cast, how far and how
many times, and to GPX files for the plotter. It runs 'Locate targets', 'Combine repeated targets' (several looks at one
object count as one target, in the place that fits them all), 'Plan casts' and 'Write GPX'.

Say where to cast from in one of three ways: a stand-off and the wind, for a boat that anchors to windward of each
target; a point on the map and the heading of the bow, for a boat that stays where it is; or a layer of such places."""


MAPPED = """From the log of an outing and pictures of its record to the record on the map. It runs, one after the other:
'Read NMEA 0183 and GPX logs', 'Prepare track' and 'Georeference record image'. Say how the pictures show the record:
which sides, where the newest row stands, and which ping or time the rows begin with."""


def in_metres():
    """Expression: metres in one DEPTH_UNIT, null where no unit was chosen."""
    from athwart.survey.model.units import LENGTHS
    pairs = ", ".join(f"'{unit}', {metres:g}" for unit, metres in LENGTHS.items())
    return f"map_get(map({pairs}), @DEPTH_UNIT)"


def paragraphs(*parts):
    """Help text in HTML, the caution last."""
    from athwart.algorithms.common.base import CAUTION
    plain = [" ".join(part.split()) for text in parts for part in text.split("\n\n")]
    return "<br><br>".join([*plain, f"<i>{CAUTION}</i>"])


def log_to_track(draft):
    """Files of a log -> prepared track and passes."""
    draft.stage("The track", BLUE)
    draft.step(
        "log", "athwart:readlogs", "All that the log holds is read: positions, soundings, compass, water temperature, "
        "waypoints.",
        asks=[Ask("INPUT", "LOGS", text="Files of NMEA 0183 sentences or GPX of one outing, one or several. GPX files "
                  "of waypoints may be among them: changes of range can name their waypoints.")])
    draft.step(
        "track", "athwart:preparetrack", "The log's soundings and compass go first. One depth serves where nothing "
        "sounded, the course where there is no compass. A typed depth is turned into metres, the unit of the log.",
        asks=[Ask("OUTING"),
              Ask("RANGE"),
              Ask("RANGE_UNIT", text="Unit of the ranges you give, as the display showed them."),
              Ask("DEPTH", text="Water under the transducer for the whole outing, as read off the display; serves "
                  "where the log has no sounding.", feeds=False),
              Ask("DEPTH_UNIT", text="Unit of the depths you give, as the display showed them. Soundings of a log are "
                  "in metres whatever is chosen here.", feeds=False),
              Ask("SETTINGS", folded=True, text="A table with the field range and one of from_time or from_waypoint: "
                  "each range holds from then on. from_time is a date and time in UTC, or a time of day such as 14:05. "
                  "from_waypoint names a waypoint of the logs."),
              *(Ask(name, folded=True) for name in (
                  "DEPTH_GRID", "TRANSDUCER_DRAFT", "TRANSDUCER_FORWARD", "TRANSDUCER_STARBOARD", "LATENCY", "OFFSETS",
                  "ASSUMED_SOUND_SPEED", "WATER_TEMPERATURE", "TEMPERATURE_UNIT"))],
        gives=[Give("OUTPUT", "Track"), Give("PASSES", "Passes")],
        INPUT=of("log", "OUTPUT"), WAYPOINTS=of("log", "WAYPOINTS"), DEPTH_FIELD=fixed("depth_m"),
        HEADING_FIELD=fixed("heading_deg"), DEPTH=formula(f"@DEPTH * coalesce({in_metres()}, 1)"),
        DEPTH_UNIT=formula(f"CASE WHEN @DEPTH IS NULL OR {in_metres()} IS NOT NULL THEN 'm' ELSE @DEPTH_UNIT END"))


def track_to_coverage(draft):
    """Track -> swaths, gaps, areas and shore."""
    draft.stage("What was seen, and what was missed", GREEN)
    draft.step(
        "swaths", "athwart:swathfootprint", "Over a flat bottom; ground within 20 degrees of the vertical is not "
        "counted. Sound ends at the lake's shore.",
        asks=[Ask("WATER", "LAKE", "Lake", "The water as polygons, islands cut out: sound ends at the first shore.",
                  needed=True)],
        gives=[Give("OUTPUT", "Swaths")], INPUT=of("track", "OUTPUT"))
    draft.step(
        "gaps", "athwart:coveragegaps", "One look is asked for. The passes tell breaks and water too deep for the "
        "range from other gaps.",
        asks=[Ask("AREA", text="What was to be seen: a search area, or the lake once more for all of it. Each feature "
                  "gets its own figures.")],
        gives=[Give("OUTPUT", "Gaps"), Give("AREAS", "Areas")],
        SWATHS=of("swaths", "OUTPUT"), PASSES=of("track", "PASSES"))
    draft.step(
        "shore", "athwart:unscannedshoreline", "A place on the shore counts as scanned if ground that was seen comes "
        "within 5 m of it over water.",
        asks=[Ask("SHORELINE", text="Lines of the shore, or the lake's polygon once more.")],
        gives=[Give("OUTPUT", "Shore")], SWATHS=of("swaths", "OUTPUT"), WATER=given("LAKE"))


def layers_to_report(draft, **more):
    """All layers -> page and table."""
    draft.stage("The report", LILAC)
    draft.step(
        "report", "athwart:coveragereport", "One page for people, one table for programs.",
        gives=[Give("OUTPUT_HTML", "Report"), Give("OUTPUT_TABLE", "Table", "Table of the areas", spared=True)],
        TRACK=of("track", "OUTPUT"), PASSES=of("track", "PASSES"), SWATHS=of("swaths", "OUTPUT"),
        GAPS=of("gaps", "OUTPUT"), AREAS=of("gaps", "AREAS"), SHORE=of("shore", "OUTPUT"), TITLE=formula(TITLE), **more)


def picks_to_targets(draft, first=(), units=(), **takes):
    """Picks -> targets. ``first`` and ``units``: what no earlier step has asked for."""
    fields = [Ask(name, label=f"Picks: {label}", parent="PICKS") for name, label in (
        ("TIME_FIELD", "field of times"), ("SIDE_FIELD", "field of sides"), ("RANGE_FIELD", "field of ranges"),
        ("DEPTH_FIELD", "field of depths"), ("SHADOW_FIELD", "field of the shadow's end"),
        ("SHADOW_START_FIELD", "field of the shadow's start"), ("LABEL_FIELD", "field of labels"))]
    draft.step(
        "targets", "athwart:locatetargets", "Over a flat bottom, with the ordinary set of errors, at 95 %. Picks "
        "without a place are listed with the reason.",
        asks=[*first, Ask("PICKS"), *fields, *units, Ask("TIE", folded=True), Ask("MARK_DELAY")],
        gives=[Give("OUTPUT", "Targets"), Give("ELLIPSES", "Ellipses", "Error ellipses", spared=True),
               Give("REJECTED", "Rejected", "Rejected picks", spared=True)], **takes)


def audit_an_outing():
    """Log -> maps of what was seen, and a page."""
    draft = Draft("Audit an outing", GROUP, "From a log (NMEA 0183 or GPX) to swaths, gaps, areas, unscanned shore and "
                  "a coverage report.", paragraphs(AUDIT, NEEDS))
    log_to_track(draft)
    track_to_coverage(draft)
    layers_to_report(draft)
    return draft


def outing_to_report():
    """Log and picks -> maps, targets, and a page."""
    draft = Draft("An outing to its report", GROUP, "From a log (NMEA 0183 or GPX) and picks to swaths, gaps, shore, "
                  "targets with error ellipses and a coverage report.", paragraphs(REPORT, NEEDS))
    log_to_track(draft)
    track_to_coverage(draft)
    draft.stage("The targets", SAND)
    picks_to_targets(draft, TRACK=of("track", "OUTPUT"), WATER=given("LAKE"), RANGE_UNIT=given("RANGE_UNIT"),
                     DEPTH_UNIT=given("DEPTH_UNIT"))
    layers_to_report(draft, TARGETS=of("targets", "OUTPUT"))
    return draft


def picks_to_cast_card():
    """Track and picks -> card and GPX."""
    draft = Draft("Picks to cast card", GROUP, "From a prepared track and picks to targets, a cast card and GPX "
                  "waypoints for the plotter.", paragraphs(CASTS))
    draft.stage("The targets", SAND)
    picks_to_targets(draft, [Ask("TRACK")], [Ask("RANGE_UNIT"), Ask("DEPTH_UNIT"), Ask("WATER", folded=True)])
    draft.step(
        "combined", "athwart:adjusttargets", "Looks that lie within each other's error are one object; objects seen in "
        "one pass stay apart.",
        gives=[Give("OUTPUT", "Combined", "Combined targets"),
               Give("ELLIPSES", "Ellipses", "Combined ellipses", spared=True)],
        TARGETS=of("targets", "OUTPUT"))
    draft.stage("The casts", LILAC)
    draft.step(
        "casts", "athwart:castplan", "The first cast goes to the target's place, each next one where it adds most.",
        asks=[Ask("STAND_OFF"), Ask("WIND_FROM"), Ask("MAX_CAST"),
              *(Ask(name, folded=True) for name in ("BOAT_POINT", "HEADING", "BOAT", "HIT_RADIUS", "METHOD",
                                                    "MAGNETIC_VARIATION", "DISPLAY_UNIT"))],
        gives=[Give("OUTPUT", "Casts"), Give("STATIONS", "Stations"), Give("OUTPUT_HTML", "Card", "Cast card")],
        TARGETS=of("combined", "OUTPUT"))
    for child_id, source, what in (("gpxtargets", of("combined", "OUTPUT"), "targets"),
                                   ("gpxstations", of("casts", "STATIONS"), "stations")):
        draft.step(child_id, "athwart:exportgpx", f"The {what} as waypoints, for a plotter or a phone.",
                   title=f"Write GPX of the {what}", gives=[Give("OUTPUT", "GPX", f"GPX of the {what}")],
                   WAYPOINTS=source, DISPLAY_UNIT=given("DISPLAY_UNIT"))
    return draft


def record_to_map():
    """Log and pictures -> the record on the map."""
    draft = Draft("Record to map", GROUP, "From a log (NMEA 0183 or GPX) and pictures of the record to a raster on the "
                  "map, without the water column.", paragraphs(MAPPED, NEEDS))
    log_to_track(draft)
    draft.stage("The record on the map", GREEN)
    draft.step(
        "record", "athwart:georeferenceimage", "The bottom is traced on the picture unless you say otherwise; sharp "
        "turns are cut, and of several looks the nearest is shown.",
        asks=[Ask("IMAGE"), Ask("LAYOUT"), Ask("NEWEST"), Ask("FIRST_TIME"), Ask("LAST_TIME"), Ask("CELL_SIZE"),
              Ask("FIRST_PING", folded=True), Ask("BALANCE", folded=True), Ask("BLEND", folded=True)],
        gives=[Give("OUTPUT", "Record", "Mapped record"),
               Give("BOTTOM", "Bottom", "Line of the bottom", spared=True)],
        TRACK=of("track", "OUTPUT"), BOTTOM_FROM=fixed("traced"))
    return draft


def write(folder):
    """Draw and save every model; the provider must be registered. Returns the paths."""
    version = f"saved by QGIS {Qgis.QGIS_VERSION.split('-')[0]}"
    paths = []
    for name, draw in (("auditouting", audit_an_outing), ("outingreport", outing_to_report),
                       ("castcard", picks_to_cast_card), ("recordmap", record_to_map),
                       ("plantrip", lambda: plan_and_try(GROUP, paragraphs)),
                       ("recordtargets", partial(record_to_targets, GROUP, paragraphs, (GREEN, LILAC, SAND)))):
        paths.append(pathlib.Path(folder, f"{name}.model3"))
        if not draw().finish(version).toFile(str(paths[-1])):
            raise OSError(f"{paths[-1]} could not be written")
        settle(paths[-1])
    return paths


def settle(path):
    """Qt writes attributes in an order that changes from run to run; here they are sorted."""
    root = ET.parse(path).getroot()
    for element in root.iter():
        element.attrib = dict(sorted(element.attrib.items()))
    path.write_text(f"<!DOCTYPE model>\n{ET.tostring(root, encoding='unicode')}\n", encoding="utf-8")


def main():
    if not Qgis.QGIS_VERSION.startswith(OLDEST):
        sys.exit(f"This is QGIS {Qgis.QGIS_VERSION}; models are saved with {OLDEST}x, which every later one reads.")
    kept = inside.qgis(), inside.processing()
    folder = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else MODELS
    folder.mkdir(parents=True, exist_ok=True)
    for path in write(folder):
        print(path)
    del kept
    inside.leave()
