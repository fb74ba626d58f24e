"""Styles of the results: saved as the default of each layer in the GeoPackage, and a project beside it."""
from __future__ import annotations

import pathlib

from athwart.plugin.sheets import add_sheets
from qgis.core import Qgis, QgsCoordinateReferenceSystem, QgsProject, QgsRasterLayer, QgsReferencedRectangle
from qgis.PyQt.QtGui import QColor

from ..basemap import LAND, base_layers, vector

STYLES = pathlib.Path(__file__).resolve().parents[2] / "plugin" / "styles"
SUBJECTS = (
    ("Targets", True, (("combined", "objects", "combined"), ("combined_ellipses", "95 % ellipses", "ellipses"))),
    ("Single looks", False, (("targets", "looks", "targets"), ("ellipses", "95 % ellipses of looks", "ellipses"))),
    ("Casts", False, (("stations", "stations", "stations"), ("casts", "casts", "casts"))),
    ("Track", True, (("passes", "passes", "passes"), ("track", "track samples", "track"))),
    ("Coverage", True, (("shore", "shore", "shore"), ("areas", "search areas", "areas"), ("gaps", "gaps", "gaps"),
                        ("swaths", "bottom seen", "swaths"))),
    ("Lines that close the gaps", False, (("fill_in", "fill-in lines", "plan_lines"),
                                          ("fill_in_left", "still open", "uncovered"))),
    ("South bay as planned", False, (
        ("plan", "survey lines", "plan_lines"), ("plan_fill_in", "fill-in lines", "plan_lines"),
        ("plan_gaps", "gaps of the simulated run", "gaps"), ("plan_areas", "search area", "areas"),
        ("plan_swaths", "bottom seen by it", "swaths"))),
    ("Bottom seen over the true floor", False, (
        ("areas_grid", "search area", "areas"), ("gaps_grid", "gaps", "gaps"),
        ("seen_grid.tif", "hidden ground", "seen_hidden"), ("seen_grid.tif", "looks", "seen"),
        ("depth_grid.tif", "depths", "depths"))),
    ("Bottom seen over the contour map", False, (
        ("areas_contours", "search area", "areas"), ("gaps_contours", "gaps", "gaps"),
        ("seen_contours.tif", "hidden ground", "seen_hidden"), ("seen_contours.tif", "looks", "seen"),
        ("depth_contours.tif", "depths", "depths"))),
    ("Tables", True, (("rejected", "waypoints that are no picks", None), ("offsets", "offsets solved", None))))
"""Groups of the project, topmost first: title, whether shown, and of each layer its table or file, title and style."""
HIDDEN = ("track",)
"""Layers that are there to be asked for."""


def raster(path, title, style):
    """A raster of the results in one of the plugin's styles."""
    layer = QgsRasterLayer(str(path), title)
    if not layer.isValid():
        raise SystemExit(f"{path} does not open as a raster.")
    return _styled(layer, style)


def _styled(layer, style):
    message, ok = layer.loadNamedStyle(str(STYLES / f"{style}.qml"))
    if not ok:
        raise SystemExit(f"{style}: {message}")
    return layer


def _of_database(database, name, title, style):
    """A layer of the GeoPackage; its style becomes its default there."""
    layer = vector(f"{database}|layername={name}", title)
    if style:
        _styled(layer, style).saveStyleToDatabase(name, f"Style of {title}", True, "")
    return layer


def dressed(files):
    """The result layers in the order of ``SUBJECTS``: {group: {(source, style): layer}}."""
    return {group: {(source, style): raster(files.folder / source, title, style) if source.endswith(".tif")
                    else _of_database(files.database, source, title, style) for source, title, style in members}
            for group, _, members in SUBJECTS}


def project(groups, sample, target):
    """Results over the base map in the current project, saved as ``target`` with relative paths; the base layers."""
    result = QgsProject.instance()
    result.setTitle("Orrelmere: results")
    result.setCrs(QgsCoordinateReferenceSystem("EPSG:32619"))
    result.setFilePathStorage(Qgis.FilePathType.Relative)
    result.setBackgroundColor(QColor(LAND))
    base = {layer.name(): layer for layer in base_layers(sample)}
    base.pop("search areas")  # the results carry them with what was covered
    shown = {title: visible for title, visible, _ in SUBJECTS}
    for title, members in (*groups.items(), ("Orrelmere", base)):
        group = result.layerTreeRoot().addGroup(title)
        for key, layer in members.items():
            result.addMapLayer(layer, False)
            group.addLayer(layer).setItemVisibilityChecked(key[0] not in HIDDEN)
        group.setItemVisibilityChecked(shown.get(title, True))
        group.setExpanded(shown.get(title, False))
    add_sheets(result, groups["Coverage"]["areas", "areas"], base["lake"])
    extent = base["depth (m)"].extent()
    result.viewSettings().setDefaultViewExtent(QgsReferencedRectangle(extent, result.crs()))
    if not result.write(str(target)):
        raise SystemExit(f"{target} could not be written: {result.error()}")
    return base
