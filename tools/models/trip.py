"""The model of a trip: plan, run of the plan, its audit, lines that fill what it would leave open."""
from __future__ import annotations

from .parts import Ask, Draft, Give, fixed, formula, given, of

__all__ = ["plan_and_try"]

BLUE, GREEN, SAND = "#e6f0f5", "#e8f3ea", "#faf1e0"

TRIP = """Before a trip: where to put the boat, what that would show, and what it would leave open. It runs, one after
the other: 'Plan survey lines', whose simulated run goes through 'Prepare track', 'Draw swaths' and 'Find coverage gaps'
as the log of a real one would, 'Plan fill-in lines' for the gaps, and 'Print plan sheet'.

The simulated run strays from its lines as a helm does, so that the gaps are those of a real day: the strip under the
boat, and holidays between lines. The fill-in lines show what it takes to close them, the strip under the boat among
them; give hours if only so many are left. After the real trip, run 'Audit an outing' on its log, and 'Plan fill-in
lines' on the gaps that it found.

Give the depth grid or one depth for all, one of the two. Leave the range blank, and each line gets the range that 'Make
range table' chooses for its depth and an object of 1 m."""

FILL = """The gaps of the simulated run, the strip under the boat among them, closed by as few lines as will do. Where
nothing is open there is no line."""


def plan_and_try(group, paragraphs):
    """Lake, depths and a range -> lines, the audit of a simulated run of them, and fill-in lines.

    ``paragraphs``: help text in HTML of plain paragraphs.
    """
    draft = Draft("Plan a trip and try it", group, "From a lake, its depths, a range and a speed to survey lines, the "
                  "audit of a simulated run, fill-in lines for its gaps and a sheet for the boat.", paragraphs(TRIP))
    draft.stage("The plan", BLUE)
    draft.step(
        "plan", "athwart:plansurveylines", "Lines by the shortest way unless you say otherwise, with the share of the "
        "area to expect and its interval. The simulated run is the log of a boat that runs them.",
        asks=[Ask("AREA"), Ask("WATER", "LAKE", "Lake", "The water as polygons, islands cut out: sound and boat keep "
                               "to it. The area once more, if that is all of the lake.", needed=True, folded=False),
              Ask("DEPTH_GRID"), Ask("DEPTH"), Ask("RANGE"), Ask("RANGE_UNIT"),
              *(Ask(name, folded=False) for name in ("SPEED", "SPEED_UNIT")),
              *(Ask(name, folded=True) for name in (
                  "EXCLUDE", "DIRECTION", "AZIMUTH", "REQUIRED_LOOKS", "SETBACK", "MIN_DEPTH", "START", "LINE_KEEPING",
                  "MIN_RADIUS", "TURN_TIME", "FUEL_PER_HOUR"))],
        gives=[Give("OUTPUT", "Plan", "Survey lines"), Give("UNCOVERED", "Uncovered", "Not covered", spared=True),
               Give("OUTPUT_GPX", "Routes", spared=True)],
        CHOOSE_RANGE=formula("@RANGE IS NULL"), RUNS=fixed(100))
    draft.step(
        "sheet", "athwart:plansheet", "A page for the boat: the lines on a map, and a table of them in order.",
        gives=[Give("OUTPUT_HTML", "Sheet", "Plan sheet")],
        LINES=of("plan", "OUTPUT"), WATER=given("LAKE"), START=given("START"), SPEED_UNIT=given("SPEED_UNIT"),
        DISPLAY_UNIT=formula("CASE WHEN @RANGE_UNIT = 'fathom' THEN 'ft' ELSE @RANGE_UNIT END"))
    draft.stage("The simulated run and its audit", GREEN)
    draft.step("track", "athwart:preparetrack", "The log of the simulated run, as that of a real one.",
               INPUT=of("plan", "SIMULATE"), OUTING=fixed("plan"), RANGE_FIELD=fixed("range_m"), RANGE_UNIT=fixed("m"),
               DEPTH_FIELD=fixed("depth_m"), DEPTH_UNIT=fixed("m"))
    draft.step("swaths", "athwart:swathfootprint", "What the run shows of the bottom.",
               gives=[Give("OUTPUT", "Swaths")], INPUT=of("track", "OUTPUT"), WATER=given("LAKE"))
    draft.step("gaps", "athwart:coveragegaps", "What it would miss, with the share seen and its interval, as the audit "
               "of a real run would say.", gives=[Give("OUTPUT", "Gaps"), Give("AREAS", "Areas")],
               SWATHS=of("swaths", "OUTPUT"), AREA=given("AREA"), EXCLUDE=given("EXCLUDE"),
               PASSES=of("track", "PASSES"), REQUIRED_LOOKS=given("REQUIRED_LOOKS"))
    draft.stage("What closes the gaps", SAND)
    same = ("RANGE", "RANGE_UNIT", "DEPTH", "DEPTH_GRID", "EXCLUDE", "SETBACK", "MIN_DEPTH", "START", "SPEED",
            "SPEED_UNIT", "LINE_KEEPING", "MIN_RADIUS", "TURN_TIME", "FUEL_PER_HOUR")
    draft.step("fill", "athwart:planfillinlines", " ".join(FILL.split()),
               asks=[Ask("BUDGET", label="Hours for the fill-in")],
               gives=[Give("OUTPUT", "Lines", "Fill-in lines"), Give("LEFT", "Left", "Still open", spared=True),
                      Give("OUTPUT_GPX", "Routes", "Routes of the fill-in", spared=True)],
               GAPS=of("gaps", "OUTPUT"), AREA=given("LAKE"), **{name: given(name) for name in same})
    return draft
