"""Bench part "plan": lines over a lake of 5 km2 beside the usual way, evenly spaced parallel lines at the best heading.

The headings are 36, every 5 degrees; for each the widest spacing is taken that sees as much of the lake as the plan.
They are favoured: land hides nothing from them. Length is that of the whole run, turns and ways between lines included.
Small lakes show how it varies; 200 of them, and what simulated runs see of them, are in tests/proof/plans.py.
"""
from __future__ import annotations

import time

import numpy as np
import plans
from planlakes import Lake

from . import measure

__all__ = ["report"]

WIDE, SMALL = (5, 710.0), [(seed, 120.0) for seed in range(5)]
"""(seed, size) of ``planlakes.Lake``: 5.0 km2 with two islands, and 5 to 12 ha."""


def compared(seed, size):
    """Of one lake: ha, lines, km of the plan and of the best parallel lines, their heading, seconds of both."""
    lake = Lake(seed, size)
    plan, ours = plans.plan_of(lake, 0.0, 0.0, runs=200)
    began = time.process_time()
    shorter, spacing, azimuth = plans.against_parallel(lake, plan)
    length = plan.run.length / 1000
    return (lake.polygon.area / 1e4, len(plan.run.lines), length, length / (1 - shorter / 100), shorter, spacing,
            azimuth, ours, time.process_time() - began)


def report():
    """Print the tables."""
    print("\nPlans of survey lines, range 30 m: beside the best of 36 headings of evenly spaced parallel lines\n")
    rows = np.array([compared(*WIDE), *(compared(*lake) for lake in SMALL)])
    head = ("lake", "ha", "lines", "km", "parallel km", "shorter %", "spacing m", "heading", "plan s", "36 headings s")
    names = ["5 km2", *(f"seed {seed}" for seed, _ in SMALL)]
    places = (1, 0, 2, 2, 1, 1, 0, 1, 1)
    measure.print_table(head, [(name, *(f"{v:.{p}f}" for v, p in zip(row, places))) for name, row in zip(names, rows)])
    least, median, most = np.percentile(rows[:, 4], [0, 50, 100])
    print(f"\nshorter by {median:.1f} % in the median of {len(rows)} lakes, {least:.1f} to {most:.1f} %; "
          f"a lake of {rows[0, 0] / 100:.1f} km2 took {rows[0, -2]:.1f} s of the processor\n", flush=True)
