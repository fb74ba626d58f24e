"""Which layers and fields a form opens on: those that the tool is for, the one at hand and the newest first."""
from __future__ import annotations

from typing import TYPE_CHECKING

from qgis.core import QgsMapLayerType, QgsProcessing, QgsProcessingParameterDefinition, QgsProject, QgsWkbTypes

from .compat import is_null
from .kinds import OWN, layer_kind

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

__all__ = ["fields", "layers"]

_LOOKED_AT = 500
"""Features in which a field must have a value to be offered."""

_NAMED = {"SHORELINE": ("shore", "lake", "water"), "AREA": ("area",), "SETTINGS": ("setting", "range")}
"""Words in the names of people's own layers, by the box they are for."""

_WATER = ("lake", "water")
"""The same for any box that is called so in the form."""


def layers(tool: Any) -> dict[str, Any]:
    """{parameter: layer} of the project to open a tool's form on.

    A required layer is offered whatever it is; an optional one where it comes from another of our tools and the tool
    does not ask for another in its place (``tool.OFFERED``).
    """
    found = {}
    for name, taken in tool.TAKES.items():
        definition = tool.parameterDefinition(name)
        needed = not definition.flags() & QgsProcessingParameterDefinition.Flag.FlagOptional
        if not needed and name not in tool.OFFERED:
            continue
        layer = _best(definition, taken if needed else [kind for kind in taken if kind is not OWN])
        if layer is not None:
            found[name] = layer
    return found


def fields(tool: Any, layer_of: Callable[[str], Any]) -> dict[str, Any]:
    """{parameter: value} that go with the layers chosen; fields that hold nothing are not offered.

    Parameters
    ----------
    layer_of : callable
        Parameter -> the layer chosen in it, or None.
    """
    found = {}
    for name, parent, kind, value in tool.FILLS:
        layer = layer_of(parent)
        if layer is None or layer_kind(layer) is not kind:
            continue
        field, _, word = value.partition("=")
        if _has_values(layer, field):
            found[name] = word or field
    return found


def _best(definition: Any, taken: Any) -> Any:
    candidates = [layer for layer in _in_order() if _fits(layer, definition)]
    kinds = [(layer, layer_kind(layer)) for layer in candidates]
    for kind in taken:
        of_kind = [layer for layer, own in kinds if own is kind]
        called = _WATER if definition.description().lower() in _WATER else _NAMED.get(definition.name(), ())
        words = called if kind is OWN else ()
        for word in words:
            named = [layer for layer in of_kind if word in layer.name().lower()]
            if named:
                return named[0]
        if of_kind:
            return of_kind[0]
    return None


def _in_order() -> list[Any]:
    """Vector layers of the project, the active one first, then from the top of the tree down."""
    from qgis.utils import iface

    project = QgsProject.instance()
    order = [layer for layer in project.layerTreeRoot().layerOrder() if layer is not None]
    active = iface.activeLayer() if iface is not None else None
    order.sort(key=lambda layer: layer is not active)
    return [layer for layer in order if layer.type() == QgsMapLayerType.VectorLayer]


def _fits(layer: Any, definition: Any) -> bool:
    kinds = {int(getattr(kind, "value", kind)) for kind in definition.dataTypes()}
    shape = layer.geometryType()
    points, lines, polygons, any_place, anything = (int(getattr(kind, "value", kind)) for kind in (
        QgsProcessing.SourceType.TypeVectorPoint, QgsProcessing.SourceType.TypeVectorLine,
        QgsProcessing.SourceType.TypeVectorPolygon, QgsProcessing.SourceType.TypeVectorAnyGeometry,
        QgsProcessing.SourceType.TypeVector))
    if not kinds or anything in kinds:
        return True
    own = {QgsWkbTypes.GeometryType.PointGeometry: points, QgsWkbTypes.GeometryType.LineGeometry: lines,
           QgsWkbTypes.GeometryType.PolygonGeometry: polygons}.get(shape)
    return own in kinds or (own is not None and any_place in kinds)


def _has_values(layer: Any, field: str) -> bool:
    index = layer.fields().indexOf(field)
    if index < 0:
        return False
    return any(not is_null(feature[index]) for feature, _ in zip(layer.getFeatures(), range(_LOOKED_AT)))
