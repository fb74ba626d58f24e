"""tools/run.sh bench [union|chain|targets|terrain|record|plan|fillin ...]: speed, memory and error beside what a GIS
user would do.

Ratios of one run are what counts; seconds depend on the machine and on what else it does.
"""
from __future__ import annotations

import sys

from tools import inside

kept = inside.qgis(), inside.processing()
from . import chain, fillin, mapped, measure, planned, terrain, union  # noqa: E402 these take the clone's modules

PARTS = {"union": union.report, "chain": chain.report, "targets": chain.targets, "terrain": terrain.report,
         "record": mapped.report, "plan": planned.report, "fillin": fillin.report}


def main():
    if sys.argv[1:2] == ["--once"]:
        kind, *arguments = sys.argv[2:]
        (chain if kind == chain.KIND else union).once(*([] if kind == chain.KIND else [kind]), *arguments)
        measure.say_peak()
    else:
        for part in sys.argv[1:] or PARTS:
            PARTS[part]()
    inside.leave()


if __name__ == "__main__":
    main()
