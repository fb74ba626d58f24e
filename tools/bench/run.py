#!/usr/bin/env python3
"""tools/bench/run.py [union|chain|targets|terrain ...]: speed, memory and error beside what a GIS user would do.

Ratios of one run are what counts; seconds depend on the machine and on what else it does.
"""
from __future__ import annotations

import os
import pathlib
import sys

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(HERE), str(ROOT / "tests" / "plugins"), str(ROOT / "tests" / "proof")]
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import clone  # noqa: E402

clone.load()

import chain  # noqa: E402
import measure  # noqa: E402
import native  # noqa: E402
import terrain  # noqa: E402
import union  # noqa: E402

PARTS = ("union", "chain", "targets", "terrain")


def main():
    application = native.start()
    if sys.argv[1:2] == ["--once"]:
        kind, *arguments = sys.argv[2:]
        (chain if kind == chain.KIND else union).once(*([] if kind == chain.KIND else [kind]), *arguments)
        measure.say_peak()
    else:
        for part in sys.argv[1:] or PARTS:
            {"union": union.report, "chain": chain.report, "targets": chain.targets, "terrain": terrain.report}[part]()
    sys.stdout.flush()
    del application
    os._exit(0)  # a torn-down QGIS may crash after its work is done


if __name__ == "__main__":
    main()
