"""Fill-in lines beside what people do without: the missing lines run again, on lakes that lost a quarter of them."""
from __future__ import annotations

import statistics
import time

import fill_in
from athwart.survey.planning.fill_in import FillSettings, plan_fill_in

from . import measure

__all__ = ["report"]

LAKES = range(8)
SETTINGS = FillSettings(fill_in.small.RULE, lead_m=10, radius_m=8)


def report():
    """A row for each lake, both ways on the same gaps; the medians."""
    rows, ratios, shares = [], [], []
    for seed in LAKES:
        ground, gaps, lost = fill_in.searched(seed)
        began = time.process_time()
        plan = plan_fill_in(ground, gaps, SETTINGS)
        took = time.process_time() - began
        run = fill_in.again(lost, ground)
        area = sum(g.area for g in gaps)
        closed, same = (fill_in.closed_by(lines, gaps) / area for lines in (plan.run.lines, run.lines))
        ratios.append(plan.run.length / run.length)
        shares.append(closed)
        rows.append((f"lake {seed}", f"{len(gaps)}", f"{len(run.lines)}", f"{run.length:.0f}", f"{100 * same:.1f}",
                     f"{len(plan.run.lines)}", f"{plan.run.length:.0f}", f"{100 * closed:.1f}", f"{ratios[-1]:.2f}",
                     f"{took:.1f}"))
    print("\nFill-in lines after a quarter of the passes was lost, beside the lost lines run again in the best order")
    measure.print_table(("", "gaps", "lost", "way (m)", "closed (%)", "fill-in", "way (m)", "closed (%)", "ratio", "s"),
                        rows)
    print(f"way: median {statistics.median(ratios):.2f} of running again, {min(ratios):.2f} to {max(ratios):.2f}; "
          f"closed: least {100 * min(shares):.1f} %, median {100 * statistics.median(shares):.1f} %", flush=True)
