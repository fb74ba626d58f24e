"""tools/run.sh tools.demo FOLDER: the demo's steps one after the other; tools/demo.sh brings what is missing first."""
from __future__ import annotations

import os
import pathlib
import sys
import time

from qgis.core import QgsApplication, QgsProject, QgsRectangle, QgsSettings

from ..basemap import LAND, truth_layer
from . import chain, dress, ledgesheet, mapsheet, summary, trip
from .qp import ROOT, StepFailed

NEAR = {"The Step: two objects, their picks and ellipses": (
            (304592, 4481203, 304728, 4481279), ("truth", "targets", "ellipses", "passes", "gaps", "swaths")),
        "South bay: what a boat without compass or depths saw": (
            (304860, 4480508, 305310, 4480775), ("areas", "targets", "passes", "shore", "gaps", "swaths"))}
RECORD = ("C   The record of one line\n\nBlack in the middle is the water under the boat; port to its left, starboard "
          "to its right.\n\nThe bright line on the left is the drop-off called the Step. The rowboat lies at its foot, "
          "the crib is on the right near the top, both with their shadows.")
MADE = {"map.png": "the map", "ledge.png": "an object hidden from one side", "report.html": "coverage report",
        "report.csv": "its table of areas", "report_rows.csv": "its areas, gaps and targets",
        "casts.html": "cast card", "targets.gpx": "waypoints for a plotter",
        "fill_in.html": "sheet for the boat: lines that close the gaps", "fill_in.gpx": "their routes for a plotter",
        "plan.html": "sheet for the boat: the South bay as planned", "plan.gpx": "its routes",
        "athwart_demo.qgz": "QGIS project of it all", "athwart_demo.gpkg": "its layers, with their styles",
        "seen_grid.tif": "looks, hidden ground and smallest object over the true floor",
        "seen_contours.tif": "the same over the contour map"}
"""Files that the demo makes, and what they are."""


def main():
    folder = pathlib.Path(sys.argv[1]).resolve()
    folder.mkdir(parents=True, exist_ok=True)
    files = chain.Files(ROOT / "sample_project", pathlib.Path(os.environ["TMPDIR"]) / "steps.gpkg", folder)
    for name in MADE:
        (folder / name).unlink(missing_ok=True)
    began = time.monotonic()

    def say(text):
        print(f"{time.monotonic() - began:5.1f} s  {text}", flush=True)

    try:
        for part in (*chain.PARTS, *trip.PARTS):
            part(files, say)
    except StepFailed as failure:
        sys.exit(f"The demo stopped. {failure}")
    seen, audits = summary.figures(files), summary.audit_figures(files)
    say("Drawing the pictures")
    draw(files, seen, audits)
    report([*seen, *audits, *summary.return_figures(files), *trip.figures(files)], folder, time.monotonic() - began)
    os._exit(0)  # a torn-down QGIS may crash after its work is done


def draw(files, seen, audits):
    """Styles, project, map sheet and ledge sheet."""
    application = QgsApplication([], True)
    application.initQgis()
    QgsSettings().setValue("qgis/walForSqlite3", False)  # else two side files stay beside the GeoPackage
    groups = dress.dressed(files)
    base = dress.project(groups, files.sample, files.folder / "athwart_demo.qgz")
    layers = {source: layer for members in groups.values() for (source, _), layer in members.items()}
    layers["truth"] = truth_layer(files.sample)
    layers["truth"].setLabelsEnabled(False)
    QgsProject.instance().addMapLayer(layers["truth"], False)
    close = [(title, QgsRectangle(*extent), names) for title, (extent, names) in NEAR.items()]
    mapsheet.draw(layers, base, seen, close, (files.sample / "north_record.png", RECORD),
                  files.folder / "map.png", LAND)
    ledgesheet.draw(files, audits, base, files.folder / "ledge.png")


def report(figures, folder, seconds):
    """The closing lines."""
    print()
    for heading, text in [*figures, ("FILES", "\n".join(f"{folder / name}   {what}" for name, what in MADE.items()))]:
        first, *others = text.split("\n")
        print(f"{heading:<12} {first}")
        for line in others:
            print(f"{'':<12} {line}")
    print(f"{'':<12} ({seconds:.0f} s)", flush=True)


if __name__ == "__main__":
    main()
