"""The next trip: what closes the gaps of both outings; the South bay again, planned, tried, audited and filled in."""
from __future__ import annotations

from .chain import OUTINGS
from .qp import layer, run, table
from .summary import rows

RANGE_FT, SPEED_MPH = 75, 4.5
AGAIN = "South bay"


def fill_in(files, say):
    """Lines that close what both outings left open, and the sheet for the boat."""
    database, folder = files.database, files.folder
    say("Planning lines that close the gaps")
    results = {"planfillinlines": run(
        "athwart:planfillinlines", GAPS=layer(database, "gaps"), AREA=files.lake, DEPTH_GRID=folder / "depth_grid.tif",
        RANGE=25, RANGE_UNIT="m", OUTPUT=table(database, "fill_in"), LEFT=table(database, "fill_in_left"),
        OUTPUT_GPX=folder / "fill_in.gpx")}
    say("Writing the sheet for the boat")
    results["plansheet"] = run(
        "athwart:plansheet", LINES=layer(database, "fill_in"), WATER=files.lake, GAPS=layer(database, "gaps"),
        SHEET_TITLE="Orrelmere: lines that close the gaps", MAGNETIC_VARIATION=-13.8,
        OUTPUT_HTML=folder / "fill_in.html")
    return results


def planned(files, say):
    """The South bay as it could have been run: the model from plan to fill-in."""
    database, folder = files.database, files.folder
    say(f"{AGAIN} again: planning it, a simulated run, its audit and its fill-in")
    return {"plantrip": run(
        "athwart:plantrip", AREA=f"{files.areas}|subset=name = '{AGAIN}'", LAKE=files.lake,
        DEPTH_GRID=folder / "depth_grid.tif", RANGE=RANGE_FT, RANGE_UNIT="ft", SPEED=SPEED_MPH, SPEED_UNIT="mph",
        **{"plan:Plan": table(database, "plan"), "plan:Routes": folder / "plan.gpx",
           "sheet:Sheet": folder / "plan.html", "swaths:Swaths": table(database, "plan_swaths"),
           "gaps:Gaps": table(database, "plan_gaps"), "gaps:Areas": table(database, "plan_areas"),
           "fill:Lines": table(database, "plan_fill_in")})}


PARTS = (fill_in, planned)
"""In this order, after those of ``chain``."""


def figures(files):
    """(heading, text) of the fill-in and of the planned trip."""
    return [("FILL-IN", _fill_in(files)), ("PLANNED", _planned(files))]


def _length(found):
    return f"{sum(row['length_m'] for row in found) / 1000:.1f} km, {sum(row['hours'] for row in found):.1f} h"


def _lines(found):
    return sum(row["kind"] in ("line", "shore") for row in found)  # a line round the edge is of kind shore


def _fill_in(files):
    found, gaps = rows(files.database, "fill_in"), rows(files.database, "gaps")
    closed, open_now = (sum(row[name] or 0 for row in layer_) for name, layer_ in (("closed_m2", found),
                                                                                   ("area_m2", gaps)))
    left = [f"{row['area_m2']:,.0f} m² {row['reason']}" for row in rows(files.database, "fill_in_left")]
    return (f"{_lines(found)} lines, {_length(found)} with turns, close {closed:,.0f} of {open_now:,.0f} m² of gaps\n"
            f"left: {', '.join(left) or 'nothing'}")


def _planned(files):
    database = files.database
    plan, more, gaps = (rows(database, name) for name in ("plan", "plan_fill_in", "plan_gaps"))
    (seen,) = rows(database, "plan_areas")
    as_run, = (row for row in rows(database, "areas") if row["name"] == AGAIN)
    passes = [row for row in rows(database, "passes") if row["outing"] == OUTINGS[1]]
    hours = sum(row["length_m"] / row["mean_speed_mps"] for row in passes) / 3600
    closed, open_now = sum(row["closed_m2"] or 0 for row in more), sum(row["area_m2"] for row in gaps)
    return (f"{AGAIN} as it was run: {len(passes)} passes, {hours:.1f} h, {as_run['covered_pct']:.1f} % seen\n"
            f"by a plan at {RANGE_FT} ft and {SPEED_MPH} mph: {_lines(plan)} lines, {_length(plan)}; its simulated run "
            f"sees {seen['covered_pct']:.1f} %, {seen['low_pct']:.1f} to {seen['high_pct']:.1f}\n"
            f"{_lines(more)} more lines, {_length(more)}, close {100 * closed / max(open_now, 1e-9):.1f} % of what "
            "that leaves open, the strip under the boat among it")
