"""Styles, temporal playback and grouping of finished layers; applied where QGIS loads them, harmless elsewhere."""
from __future__ import annotations

from collections import deque

from qgis.core import Qgis, QgsProcessingLayerPostProcessorInterface

from ...survey.model.layers import STARTS
from .compat import set_layer_group
from .style_files import STYLES, has_users_style

__all__ = ["dress", "put_into_group"]

_DEPTHS = ("depth_m", "bottom_m")
"""Of a target: its tip tells one of them, and of which place it is."""

_held = deque(maxlen=200)
"""QGIS keeps no reference to a post-processor: one that nobody holds is never called."""


class _Dresser(QgsProcessingLayerPostProcessorInterface):
    def __init__(self, style, more, schema=None):
        super().__init__()
        self._style, self._more, self._schema = style, more, schema

    def postProcessLayer(self, layer, context, feedback):
        if self._style is not None and not has_users_style(layer.source()):
            layer.loadNamedStyle(str(self._style))
        styles = layer.styleManager()
        own = styles.currentStyle()
        for name, path in self._more.items():
            if styles.addStyleFromLayer(name) and styles.setCurrentStyle(name):
                layer.loadNamedStyle(str(path))
        styles.setCurrentStyle(own)
        if self._schema is not None:
            _play_back(layer, self._schema)
            _explain(layer, self._schema)
        layer.triggerRepaint()


def _play_back(layer, told_of):
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


def _explain(layer, told_of):
    """Every field's meaning as its alias in tables and forms, and the map tip that the schema asks for."""
    for index, name in enumerate(layer.fields().names()):
        if name in told_of:
            layer.setFieldAlias(index, told_of[name].alias)
    has = layer.fields().names()
    told = [_row(told_of[name].alias, _safe(name)) for name in told_of.tip if name in has]
    depths = [name for name in _DEPTHS if name in has]
    if depths and told_of.tells_depth:
        told.append(_row("depth", _depth(depths)))
    layer.setMapTipTemplate(f"<table>{''.join(told)}</table>")


def _row(words, expression):
    return f"<tr><td>{words}</td><td>[% {expression} %]</td></tr>"


def _safe(name):
    """Expression of a field's value as text in which no markup is left: names come from other people's files."""
    text = f"to_string(coalesce(\"{name}\", ''))"
    for sign, written in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;")):
        text = f"replace({text}, '{sign}', '{written}')"
    return text


def _depth(names):
    """Expression of a target's depth with its place, rounded down; see ``survey.report.depthwords``."""
    told = {"bottom_m": "'bottom ' || {} || ' m'", "depth_m": "{} || ' m under the boat when seen'"}
    cases = [f'WHEN "{name}" IS NOT NULL THEN ' + told[name].format(f'to_string(floor("{name}" * 10 + 1e-9) / 10)')
             for name in told if name in names]
    return f"CASE {' '.join(cases)} ELSE '' END"


def dress(context, dest, style, more=None, schema=None):
    """Give the layer its style and the meaning of its fields when, and only when, QGIS is to load it.

    ``more``: further styles by the name they get in the layer's style menu; ``schema``: the Layer it is,
    None for rasters.
    """
    if not dest or not context.willLoadLayerOnCompletion(dest):
        return
    path = STYLES / f"{style}.qml"
    dresser = _Dresser(path if style and path.exists() else None,
                       {name: STYLES / f"{one}.qml" for name, one in (more or {}).items()}, schema)
    _held.append(dresser)
    context.layerToLoadOnCompletionDetails(dest).setPostProcessor(dresser)


def put_into_group(context, dest, group):
    """Have the layer loaded into a group of the layer tree, which its name then tells; '' leaves it where it is."""
    if not group or not dest or not context.willLoadLayerOnCompletion(dest):
        return
    details = context.layerToLoadOnCompletionDetails(dest)
    details.forceName = True
    if group not in details.name:
        details.name = f"{details.name} - {group}"
    set_layer_group(details, group)
