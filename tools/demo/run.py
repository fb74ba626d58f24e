#!/usr/bin/env python3
"""tools/demo/run.py FOLDER: the demo's steps one after the other; started by tools/demo.sh, which sets the scene."""
from __future__ import annotations

import os
import pathlib
import sys
import time

import chain
import dress
import mapsheet
import summary
from basemap import LAND, truth_layer
from qgis.core import QgsApplication, QgsProject, QgsRectangle, QgsSettings
from qp import ROOT, StepFailed

NEAR = {"The Step: two objects, their picks and ellipses": (
            (304592, 4481203, 304728, 4481279), ("truth", "targets", "ellipses", "passes", "gaps", "swaths")),
        "South bay: what a boat without compass or depths saw": (
            (304860, 4480508, 305310, 4480775), ("areas", "targets", "passes", "shore", "gaps", "swaths"))}
RECORD = ("C   The record of one line\n\nBlack in the middle is the water under the boat; port to its left, starboard "
          "to its right.\n\nThe bright line on the left is the drop-off called the Step. The rowboat lies at its foot, "
          "the crib is on the right near the top, both with their shadows.")


def main():
    folder = pathlib.Path(sys.argv[1]).resolve()
    folder.mkdir(parents=True, exist_ok=True)
    files = chain.Files(ROOT / "sample_project", pathlib.Path(os.environ["TMPDIR"]) / "steps.gpkg",
                        folder / "athwart_demo.gpkg")
    for old in (files.database, folder / "map.png", folder / "athwart_demo.qgz"):
        old.unlink(missing_ok=True)
    began = time.monotonic()

    def say(text):
        print(f"{time.monotonic() - began:5.1f} s  {text}", flush=True)

    try:
        for part in (chain.north, chain.south, chain.together):
            part(files, say)
    except StepFailed as failure:
        sys.exit(f"The demo stopped. {failure}")
    figures = summary.figures(files)
    say("Drawing the map")
    draw(files, figures, folder)
    report(figures, folder, time.monotonic() - began)
    os._exit(0)  # a torn-down QGIS may crash after its work is done


def draw(files, figures, folder):
    """Styles, project and map sheet."""
    application = QgsApplication([], True)
    application.initQgis()
    QgsSettings().setValue("qgis/walForSqlite3", False)  # else two side files stay beside the GeoPackage
    layers = dress.dressed(files.database)
    base = dress.project(layers, files.sample, folder / "athwart_demo.qgz")
    layers["truth"] = truth_layer(files.sample)
    layers["truth"].setLabelsEnabled(False)
    QgsProject.instance().addMapLayer(layers["truth"], False)
    close = [(title, QgsRectangle(*extent), names) for title, (extent, names) in NEAR.items()]
    mapsheet.draw(layers, base, figures, close, (files.sample / "north_record.png", RECORD), folder / "map.png", LAND)


def report(figures, folder, seconds):
    """The closing lines."""
    print()
    for heading, text in figures:
        first, *others = text.split("\n")
        print(f"{heading:<12} {first}")
        for line in others:
            print(f"{'':<12} {line}")
    print(f"{'FILES':<12} {folder / 'map.png'}\n{'':<12} {folder / 'athwart_demo.gpkg'}\n"
          f"{'':<12} {folder / 'athwart_demo.qgz'}   ({seconds:.0f} s)", flush=True)


if __name__ == "__main__":
    main()
