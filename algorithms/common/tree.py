"""Where finished layers stand in the layer tree: in a group of their outing, what is small above what hides it."""
from __future__ import annotations

from typing import TYPE_CHECKING

from qgis.core import QgsLayerTree, QgsMapLayerType, QgsProject, QgsWkbTypes
from qgis.PyQt.QtCore import QTimer

from .compat import is_null
from .values import given

if TYPE_CHECKING:
    from typing import Any

    from qgis.core import QgsProcessingContext

    from ...survey.model.layers import Layer

__all__ = ["arrange", "outing_of", "rank"]

_ORDER = ("marks", "waypoints", "cast_stations", "cast_lines", "combined", "targets", "rejected", "picks", "ellipses",
          "gaps", "areas", "shore", "passes", "track", "fixes", "swaths")
"""Names of layers from the top of the tree down."""

_PLANS = {"plan_lines": 8.5, "fill_lines": 8.5}
"""Lines to run, above the gaps that they close: a gap's colour would dim them. Saved projects keep their numbers."""

_KINDS = {QgsWkbTypes.GeometryType.PointGeometry: 6.5, QgsWkbTypes.GeometryType.LineGeometry: 10.5,
          QgsWkbTypes.GeometryType.PolygonGeometry: 13.5}
"""Places of layers that are not named there, by what they hold."""

_TABLE, _RASTER = 20.0, 30.0
_RANK = "athwart/rank"


def rank(layer: Any, schema: Layer | None = None) -> float:
    """Place of a layer from the top, a number."""
    if layer.type() != QgsMapLayerType.VectorLayer:
        return _RASTER
    if schema is not None and schema.name in _ORDER and layer.isSpatial():
        return float(_ORDER.index(schema.name))
    if schema is not None and schema.name in _PLANS:
        return _PLANS[schema.name]
    return _KINDS.get(layer.geometryType(), _TABLE)


def outing_of(tool: Any, parameters: dict[str, Any], context: QgsProcessingContext) -> str:
    """The one outing that the layers of a run are of, '' where they are of several or do not say."""
    names: set[str] = set()
    for name in tool.TAKES:
        source = tool.parameterAsSource(parameters, name, context) if given(parameters, name) else None
        index = source.fields().indexOf("outing") if source is not None else -1
        if index >= 0:
            names.update(str(value) for value in source.uniqueValues(index, 3) if not is_null(value))
    return names.pop() if len(names) == 1 else ""


def arrange(layer: Any, outing: str, place: Any) -> None:
    """Move a layer that QGIS has loaded to its place; where QGIS adds it only later, once it has done so.

    Parameters
    ----------
    layer : QgsMapLayer
    outing : str
        Name of the group; '' leaves the layer where it is put.
    place : float
        Of ``rank``.
    """
    layer.setCustomProperty(_RANK, place)
    _name_once(layer)
    if not _move(layer.id(), outing, place):
        key = layer.id()
        QTimer.singleShot(0, lambda: _move(key, outing, place))


def _name_once(layer: Any) -> None:
    taken = {other.name() for key, other in QgsProject.instance().mapLayers().items() if key != layer.id()}
    name, number = layer.name(), 2
    while layer.name() in taken:
        layer.setName(f"{name} ({number})")
        number += 1


def _move(key: str, outing: str, place: Any) -> bool:
    """True if the layer was found in the tree."""
    node = QgsProject.instance().layerTreeRoot().findLayer(key)
    if node is None:
        return False
    parent: Any = node.parent()
    group = parent
    if outing and parent.name() != outing:
        group = parent.findGroup(outing) or parent.insertGroup(0, outing)
    copy = node.clone()
    group.insertChildNode(_index(group, node, place), copy)
    parent.removeChildNode(node)
    return True


def _index(group: Any, node: Any, place: Any) -> int:
    """Before the first of our layers that belongs lower, else after the last of them; on top where there is none."""
    after = 0
    for index, child in enumerate(group.children()):
        if child is not node and _place(child) >= place:
            return index
        if child is not node and _place(child) >= 0:
            after = index + 1
    return after


def _place(node: Any) -> float:
    layer = node.layer() if QgsLayerTree.isLayer(node) else None
    return float(layer.customProperty(_RANK, -1.0)) if layer is not None else -1.0
