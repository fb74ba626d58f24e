"""Styles of the results: saved as the default of each layer in the GeoPackage, and a project beside it."""
from __future__ import annotations

import pathlib

from basemap import LAND, base_layers, vector
from qgis.core import Qgis, QgsCoordinateReferenceSystem, QgsProject, QgsReferencedRectangle
from qgis.PyQt.QtGui import QColor

STYLES = pathlib.Path(__file__).resolve().parents[2] / "plugin" / "styles"
SHOWN = (("targets", "targets"), ("ellipses", "95 % ellipses"), ("passes", "passes"), ("shore", "shore"),
         ("areas", "search areas"), ("gaps", "gaps"), ("swaths", "bottom seen"), ("track", "track samples"))
"""Layer and name of the results, topmost first."""


def dressed(database):
    """The result layers by name, styled, each with its style saved as its default in the GeoPackage."""
    layers = {}
    for name, title in SHOWN:
        layer = vector(f"{database}|layername={name}", title)
        message, ok = layer.loadNamedStyle(str(STYLES / f"{name}.qml"))
        if not ok:
            raise SystemExit(f"{name}: {message}")
        layer.saveStyleToDatabase(name, f"Style of {title}", True, "")
        layers[name] = layer
    return layers


def project(layers, sample, target):
    """Results over the base map in the current project, saved as ``target`` with relative paths."""
    result = QgsProject.instance()
    result.setTitle("Orrelmere: results")
    result.setCrs(QgsCoordinateReferenceSystem("EPSG:32619"))
    result.setFilePathStorage(Qgis.FilePathType.Relative)
    result.setBackgroundColor(QColor(LAND))
    base = {layer.name(): layer for layer in base_layers(sample)}
    base.pop("search areas")  # the results carry them with what was covered
    for title, members in (("Results", list(layers.values())), ("Orrelmere", list(base.values()))):
        group = result.layerTreeRoot().addGroup(title)
        for layer in members:
            result.addMapLayer(layer, False)
            group.addLayer(layer).setItemVisibilityChecked(layer is not layers["track"])
    extent = base["depth (m)"].extent()
    result.viewSettings().setDefaultViewExtent(QgsReferencedRectangle(extent, result.crs()))
    if not result.write(str(target)):
        raise SystemExit(f"{target} could not be written: {result.error()}")
    return base
