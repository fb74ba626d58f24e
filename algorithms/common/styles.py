"""Styles, temporal playback and grouping of finished layers; applied where QGIS loads them, harmless elsewhere."""
from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

from qgis.core import Qgis, QgsExpressionContextUtils, QgsProcessingLayerPostProcessorInterface

from ...survey.model.layers import STARTS
from ...survey.model.units import LENGTHS
from .compat import set_layer_group
from .remembered import display_unit
from .style_files import STYLES, has_users_style
from .tree import arrange, rank

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path
    from typing import Any

    from qgis.core import QgsProcessingContext, QgsProcessingFeedback, QgsVectorLayer

    from ...survey.model.layers import Field, Layer

__all__ = ["UNIT", "dress", "put_into_group", "then"]

_DEPTHS = ("depth_m", "bottom_m")
"""Of a target: its tip tells one of them, and of which place it is."""

UNIT = "athwart_unit"
"""Variable of a layer that its labels tell lengths by: m or ft."""

_FOOT = LENGTHS["ft"]

_held: deque[_Dresser] = deque(maxlen=200)
"""QGIS keeps no reference to a post-processor: one that nobody holds is never called."""


class _Dresser(QgsProcessingLayerPostProcessorInterface):
    def __init__(self, style: Path | None, more: Mapping[str, Path], schema: Layer | None = None,
                 outing: str = "") -> None:
        super().__init__()
        self._style, self._more, self._schema, self.outing = style, more, schema, outing
        self.then = None

    def postProcessLayer(self, layer: Any, context: QgsProcessingContext, feedback: QgsProcessingFeedback) -> None:
        if self._style is not None and not has_users_style(layer.source()):
            layer.loadNamedStyle(str(self._style))
        styles = layer.styleManager()
        own = styles.currentStyle()
        for name, path in self._more.items():
            if styles.addStyleFromLayer(name) and styles.setCurrentStyle(name):
                layer.loadNamedStyle(str(path))
        styles.setCurrentStyle(own)
        if self._schema is not None:
            unit = display_unit()
            QgsExpressionContextUtils.setLayerVariable(layer, UNIT, unit)
            _play_back(layer, self._schema)
            _explain(layer, self._schema, unit)
        arrange(layer, self.outing, rank(layer, self._schema))
        if self.then is not None:
            self.then(layer)
        layer.triggerRepaint()


def _play_back(layer: Any, told_of: Layer) -> None:
    """Let the temporal controller play the outing where the layer has times: what has come to pass stays.

    Without times of its own, a layer plays by those that came with the user's rows: rejected picks do.
    """
    has = layer.fields().names()
    start = next((name for name in (told_of.time_field, *STARTS) if name in has), None)
    if start is not None:
        temporal = layer.temporalProperties()
        temporal.setMode(Qgis.VectorTemporalMode.FeatureDateTimeInstantFromField)
        temporal.setStartField(start)
        temporal.setAccumulateFeatures(True)
        temporal.setIsActive(True)


def _explain(layer: QgsVectorLayer, told_of: Layer, unit: str = "m") -> None:
    """Every field's meaning as its alias in tables and forms, and the map tip that the schema asks for."""
    for index, name in enumerate(layer.fields().names()):
        if name in told_of:
            layer.setFieldAlias(index, told_of[name].alias)
    has = layer.fields().names()
    told = [_told(told_of[name], unit) for name in told_of.tip if name in has]
    depths = [name for name in _DEPTHS if name in has]
    if depths and told_of.tells_depth:
        told.append(_row("depth", _depth(depths, unit)))
    layer.setMapTipTemplate(f"<table>{''.join(told)}</table>")


def _told(field: Field, unit: str) -> str:
    """Row of a tip: lengths in the unit of who reads it."""
    if unit == "ft" and field.unit == "m" and field.kind == "double":
        return _row(f"{field.text} (ft)", f'round("{field.name}" / {_FOOT}, 1)')
    return _row(field.alias, _safe(field.name))


def _row(words: str, expression: str) -> str:
    return f"<tr><td>{words}</td><td>[% {expression} %]</td></tr>"


def _safe(name: str) -> str:
    """Expression of a field's value as text in which no markup is left: names come from other people's files."""
    text = f"to_string(coalesce(\"{name}\", ''))"
    for sign, written in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;")):
        text = f"replace({text}, '{sign}', '{written}')"
    return text


def _depth(names: Sequence[str], unit: str = "m") -> str:
    """Expression of a target's depth with its place, rounded down; see ``survey.report.depthwords``."""
    told = {"bottom_m": f"'bottom ' || {{}} || ' {unit}'", "depth_m": f"{{}} || ' {unit} under the boat when seen'"}
    scale = f" / {_FOOT}" if unit == "ft" else ""
    cases = [f'WHEN "{name}" IS NOT NULL THEN '
             + told[name].format(f'to_string(floor("{name}"{scale} * 10 + 1e-9) / 10)')
             for name in told if name in names]
    return f"CASE {' '.join(cases)} ELSE '' END"


def dress(context: QgsProcessingContext, dest: str | None, style: str, more: Mapping[str, str] | None = None,
          schema: Layer | None = None, outing: str = "") -> None:
    """Give the layer its style and the meaning of its fields when, and only when, QGIS is to load it.

    ``more``: further styles by the name they get in the layer's style menu; ``schema``: the Layer it is,
    None for rasters; ``outing``: name of the group of the layer tree that it is to stand in.
    """
    if not dest or not context.willLoadLayerOnCompletion(dest):
        return
    set_layer_group(context.layerToLoadOnCompletionDetails(dest), outing)
    path = STYLES / f"{style}.qml"
    dresser = _Dresser(path if style and path.exists() else None,
                       {name: STYLES / f"{one}.qml" for name, one in (more or {}).items()}, schema, outing)
    _held.append(dresser)
    context.layerToLoadOnCompletionDetails(dest).setPostProcessor(dresser)


def then(context: QgsProcessingContext, dest: str | None, call: Callable[..., object]) -> None:
    """Have ``call(layer)`` called when QGIS has loaded and dressed the layer; never where it does not load it."""
    if dest and context.willLoadLayerOnCompletion(dest):
        dresser: Any = context.layerToLoadOnCompletionDetails(dest).postProcessor()
        dresser.then = call


def put_into_group(context: QgsProcessingContext, dest: str | None, group: str) -> None:
    """Have the layer loaded into a group of the layer tree, which its name then tells; '' leaves it where it is."""
    if not group or not dest or not context.willLoadLayerOnCompletion(dest):
        return
    details = context.layerToLoadOnCompletionDetails(dest)
    dresser: Any = details.postProcessor()
    dresser.outing = group
    details.forceName = True
    if group not in details.name:
        details.name = f"{details.name} - {group}"
    set_layer_group(details, group)
