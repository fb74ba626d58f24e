"""tools/run.sh tools.make_sample_project: sample_project/athwart_sample.qgz, the sample data styled.

Run it with the oldest QGIS supported, after ``python3 -m sample_project.simulate``.
"""
from __future__ import annotations

import os
import pathlib
import re
import zipfile

from athwart.plugin.sheets import add_sheets
from athwart.survey.model.palette import AMBER, GREY, INK, PAPER
from qgis.core import (
    Qgis,
    QgsApplication,
    QgsCoordinateReferenceSystem,
    QgsProject,
    QgsReferencedRectangle,
    QgsSingleSymbolRenderer,
    QgsVectorLayerSimpleLabeling,
)
from qgis.PyQt.QtGui import QColor

from .basemap import LAND, base_layers, truth_layer, vector
from .styles.parts import label_text, line, line_symbol, mark, marker_symbol

SAMPLE = pathlib.Path(__file__).resolve().parents[1] / "sample_project"


def south_layers():
    """The South outing as it came off the receiver."""
    gpx = SAMPLE / "outing_south.gpx"
    marks = vector(f"{SAMPLE / 'south_marks.gpx'}|layername=waypoints", "south marks")
    marks.setRenderer(QgsSingleSymbolRenderer(marker_symbol(mark("square", 1.9, AMBER, INK, 0.25))))
    marks.setLabeling(QgsVectorLayerSimpleLabeling(label_text('"name"', 7, up_to=12000)))
    marks.setLabelsEnabled(True)
    points = vector(f"{gpx}|layername=track_points", "south track, points")
    points.setRenderer(QgsSingleSymbolRenderer(marker_symbol(mark("circle", 1.1, PAPER, INK, 0.25))))
    track = vector(f"{gpx}|layername=tracks", "south track")
    track.setRenderer(QgsSingleSymbolRenderer(line_symbol(line(GREY, 0.35))))
    return [marks, points, track]


def tables():
    """Tables to give to the tools."""
    return [vector(SAMPLE / f"{name}.csv", name.replace("_", " "))
            for name in ("north_picks", "north_settings", "south_settings")]


def add(project, title, layers, visible=True, expanded=True):
    """Put the layers into the project under a group."""
    group = project.layerTreeRoot().addGroup(title)
    for layer in layers:
        project.addMapLayer(layer, False)
        group.addLayer(layer)
    group.setItemVisibilityChecked(visible)
    group.setExpanded(expanded)


def unpathed(target):
    """Take the whole path of the areas out of the layouts, which QGIS puts in however paths are stored: it finds them
    by their id."""
    with zipfile.ZipFile(target) as archive:
        members = [(info, archive.read(info)) for info in archive.infolist()]
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for info, data in members:
            archive.writestr(info, re.sub(rb'(?<=coverageLayerSource=")[^"]*', b"", data), zipfile.ZIP_DEFLATED)


def main():
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    app = QgsApplication([], True)
    app.initQgis()
    project = QgsProject.instance()
    project.setTitle("Orrelmere: sample outings")
    project.setCrs(QgsCoordinateReferenceSystem("EPSG:32619"))
    project.setEllipsoid("EPSG:7030")
    project.setFilePathStorage(Qgis.FilePathType.Relative)
    project.setBackgroundColor(QColor(LAND))
    base = base_layers(SAMPLE)
    areas = next(layer for layer in base if layer.name() == "search areas")
    base.remove(areas)
    project.addMapLayer(areas, False)
    project.layerTreeRoot().addLayer(areas)  # first, in no group: QGIS puts results above it, where they are seen
    add(project, "South outing as recorded", south_layers())
    add(project, "Truth, known to the simulator only", [truth_layer(SAMPLE)], visible=False, expanded=False)
    add(project, "Tables for the tools", tables(), expanded=False)
    add(project, "Orrelmere", base, expanded=False)
    extent = base[-1].extent()
    extent.scale(1.04)
    project.viewSettings().setDefaultViewExtent(QgsReferencedRectangle(extent, project.crs()))
    for paper, words in (("a4", "A4"), ("letter", "Letter")):
        lake = next(layer for layer in base if layer.name() == "lake")
        add_sheets(project, areas, lake, paper).setName(f"Map sheets of the areas ({words})")
    target = SAMPLE / "athwart_sample.qgz"
    if not project.write(str(target)):
        raise SystemExit(f"{target} could not be written: {project.error()}")
    unpathed(target)
    print(f"{target}: {len(project.mapLayers())} layers", flush=True)
    os._exit(0)  # a torn-down QGIS may crash after its work is done


if __name__ == "__main__":
    main()
