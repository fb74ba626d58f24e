"""tools/run.sh tools.docs.sample_pages FOLDER: a report and a cast card of the tutorial's outing."""
from __future__ import annotations

import pathlib
import shutil
import sys

from .. import inside
from . import first_hour


def main():
    folder = pathlib.Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    kept = inside.qgis(), inside.processing()
    import processing
    results, layers = first_hour.run(first_hour.ROOT / "sample_project")
    shutil.copyfile(results["coveragereport"]["OUTPUT_HTML"], folder / "report.html")
    processing.run("athwart:castplan", {
        "TARGETS": layers["Targets"], "STAND_OFF": 15, "WIND_FROM": 240, "MAGNETIC_VARIATION": -14,
        "OUTPUT": "memory:", "STATIONS": "memory:", "OUTPUT_HTML": str(folder / "card.html")})
    print(f"report.html and card.html in {folder}")
    del kept
    inside.leave()


if __name__ == "__main__":
    main()
