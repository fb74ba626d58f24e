#!/usr/bin/env python3
"""tools/sample_pages.py FOLDER: the pages that tools write, of the tutorial's outing: report.html, card.html."""
from __future__ import annotations

import os
import pathlib
import shutil
import sys

import first_hour


def main():
    folder = pathlib.Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    kept = first_hour.start()
    import processing
    results, layers = first_hour.run(first_hour.ROOT / "sample_project")
    shutil.copyfile(results["coveragereport"]["OUTPUT_HTML"], folder / "report.html")
    processing.run("athwart:castplan", {
        "TARGETS": layers["Targets"], "STAND_OFF": 15, "WIND_FROM": 240, "MAGNETIC_VARIATION": -14,
        "OUTPUT": "memory:", "STATIONS": "memory:", "OUTPUT_HTML": str(folder / "card.html")})
    print(f"report.html and card.html in {folder}", flush=True)
    del kept
    os._exit(0)  # QGIS may crash while it is torn down


if __name__ == "__main__":
    main()
