"""What the picture on each tool's page shows: its left half, and its right half."""
from __future__ import annotations

__all__ = ["halves_of"]

HALVES = {
    "rangetable": (
        "Your depths, your ranges and the smallest thing that must show.",
        "The top of the page: the range to set, what it shows, how fast to go, how far apart lines may lie."),
    "plansurveylines": (
        "An area (dashed) in a lake with a depth map.",
        "Lines in order, with arrows; hatched, a scrap that is not worth a line."),
    "planshorerun": (
        "A lake and its depths.",
        "The way along the shore and round the island, at the distance that shows the shore best."),
    "planfillinlines": (
        "Gaps of an audit: filled ones are certain, grey ones lay under the boat.",
        "The lines that close them, numbered in the order of the run."),
    "plancalibration": (
        "A thing that the record shows well.",
        "Runs past all its sides, there and back, with the turns between them."),
    "plansheet": (
        "Planned lines.",
        "The top of the sheet for the boat: totals and a map; the table of lines follows below."),
    "readlogs": (
        "Lines of a log, as the receiver wrote them.",
        "Its fixes on the map. The white ones have no depth: there the sounder had lost the bottom."),
    "preparetrack": (
        "Fixes of an outing.",
        "The track: passes with their numbers, and in orange samples that must not be used, here where the boat lay"
        " still."),
    "preparebathymetry": (
        "Contour lines of a lake map.",
        "The depth grid made of them, the deeper the darker."),
    "swathfootprint": (
        "A prepared track.",
        "The strips of bottom that the record shows; the light line within each is the blind strip under the boat."),
    "ensonify": (
        "Passes over a depth map.",
        "How often each spot was seen, the oftener the darker; white was never seen."),
    "coveragegaps": (
        "Strips that were seen, and the area (dashed) that was to be covered.",
        "What was missed. Filled gaps are certain; hatched ones may be closed in truth; grey ones lay under the "
        "boat."),
    "unscannedshoreline": (
        "Strips that were seen, and the shore.",
        "The shore that was scanned (plain) and that was not (dashed)."),
    "coveragereport": (
        "All the layers of an audit.",
        "The top of the page: key figures and the map."),
    "opendistrict": (
        "The lakes of a district by the share seen (these are invented, and all of one shape).",
        "The layers of one of them."),
    "picksfromimage": (
        "A picture of the record, with marks: two objects and the first bottom.",
        "The picks: side and slant range of each."),
    "georeferenceimage": (
        "The record as the display shows it, with the dark band of water in the middle.",
        "The same on the map, over the contours: no water, and every echo in its place."),
    "measureobjects": (
        "Three lines on the record: along an object, across it, and along its shadow.",
        "Its box on the map. This crib is 3 by 3 m in truth."),
    "drawtargets": (
        "Targets that are known already.",
        "Where to look for two of them on a new record."),
    "checkrecord": (
        "Marks on the first bottom, down a record.",
        "By how much its rows are shifted and its range is off, with sigmas: here by nothing that counts."),
    "newpicks": (
        "A record image, with one mark made by a click.",
        "What the form that opens asks for."),
    "locatetargets": (
        "Picks: when, on which side, how far out.",
        "Their places on the map, with the ellipse each lies in."),
    "adjusttargets": (
        "Three looks at one crib, each with its ellipse, as located one by one.",
        "One place for all of them, with a smaller ellipse."),
    "castplan": (
        "A target with its ellipse, the station of the boat and the casts.",
        "The top of the card to take along."),
    "exportgpx": (
        "Targets and passes.",
        "The same as waypoints of a GPX file."),
}
"""(left, right) by id of the tool."""


def halves_of(tool):
    """(left, right) of a tool's picture; one that is not described here shows what goes in and what comes out."""
    return HALVES.get(tool, ("The layers that go in.", "The layers that come out."))
