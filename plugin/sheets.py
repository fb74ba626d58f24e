"""Map sheets for print: a layout of a page an area, filled with a project's own layers."""
from __future__ import annotations

import pathlib

from qgis.core import QgsExpressionContextUtils, QgsPrintLayout, QgsReadWriteContext, QgsVectorLayer, QgsWkbTypes
from qgis.PyQt.QtCore import QLocale
from qgis.PyQt.QtXml import QDomDocument

__all__ = ["LAYOUTS", "NAME", "PAPERS", "add_sheets", "areas_of", "lake_of", "own_paper"]

LAYOUTS = pathlib.Path(__file__).resolve().parent / "layouts"
NAME = "Map sheets of the areas"
PAPERS = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}
"""Papers that there is a layout for: width and height, mm."""


def add_sheets(project, areas, lake=None, paper="a4"):
    """Add the layout to a project and let it run over the areas.

    Parameters
    ----------
    project : QgsProject
    areas : QgsVectorLayer
        A page each, such as the areas of 'Find coverage gaps'.
    lake : QgsVectorLayer, optional
        Outline of the water for the small map; else the extent of the areas.
    paper : str
        Of ``PAPERS``.

    Returns
    -------
    QgsPrintLayout
        Kept by the project's layout manager, under a name that was free.
    """
    document = QDomDocument()
    document.setContent((LAYOUTS / f"areas_{paper}.qpt").read_text(encoding="utf-8"))
    layout = QgsPrintLayout(project)
    layout.loadFromTemplate(document, QgsReadWriteContext())
    manager, name, number = project.layoutManager(), NAME, 2
    while manager.layoutByName(name) is not None:
        name, number = f"{NAME} {number}", number + 1
    layout.setName(name)
    unit = QgsExpressionContextUtils.layerScope(areas).variable("athwart_unit") or "m"
    for variable, value in (("lake_layer", lake.name() if lake is not None else ""), ("unit", unit)):
        QgsExpressionContextUtils.setLayoutVariable(layout, variable, value)
    layout.atlas().setCoverageLayer(areas)
    layout.atlas().setEnabled(True)
    manager.addLayout(layout)
    return layout


def areas_of(project, chosen=None):
    """The layer chosen if it holds polygons, else the first that tells the share of its areas seen, else None.

    Gaps and swaths count only where nothing tells a share: QGIS chooses the last layer loaded by itself.
    """
    told = next((layer for layer in _in_order(project) if _polygons(layer) and
                 {"area_m2", "covered_pct"} <= set(layer.fields().names())), None)
    if not _polygons(chosen) or (told and {"gap_id", "pass_id"} & set(chosen.fields().names())):
        return told
    return chosen


def lake_of(project):
    """The first layer of polygons with 'lake' or 'water' in its name, None where there is none."""
    return next((layer for layer in _in_order(project) if _polygons(layer) and
                 any(word in layer.name().lower() for word in ("lake", "water"))), None)


def own_paper():
    """What the reader's printer holds: Letter where inches are the measure of the land, else A4."""
    return "letter" if QLocale().measurementSystem() == QLocale.MeasurementSystem.ImperialUSSystem else "a4"


def _in_order(project):
    return project.layerTreeRoot().layerOrder()


def _polygons(layer):
    return isinstance(layer, QgsVectorLayer) and \
        layer.geometryType() == QgsWkbTypes.GeometryType.PolygonGeometry
