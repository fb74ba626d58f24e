"""Styles, temporal playback and grouping of finished layers; applied where QGIS loads them, harmless elsewhere."""
from __future__ import annotations

import os
import pathlib
from collections import deque

from qgis.core import Qgis, QgsProcessingLayerPostProcessorInterface

from .compat import set_layer_group
from .files import own_style

__all__ = ["STYLES", "dress"]

STYLES = pathlib.Path(__file__).resolve().parents[2] / "plugin" / "styles"

_TIP_ROWS = 12

_DEPTHS = ("depth_m", "bottom_m")
"""Of a target: its tip tells one of them, and of which place it is."""

_held = deque(maxlen=200)
"""QGIS keeps no reference to a post-processor: one that nobody holds is never called."""


class _Dresser(QgsProcessingLayerPostProcessorInterface):
    def __init__(self, style, more, meanings=()):
        super().__init__()
        self._style, self._more, self._meanings = style, more, meanings

    def postProcessLayer(self, layer, context, feedback):
        if self._style is not None and not has_own_style(layer.source()):
            layer.loadNamedStyle(str(self._style))
        styles = layer.styleManager()
        own = styles.currentStyle()
        for name, path in self._more.items():
            if styles.addStyleFromLayer(name) and styles.setCurrentStyle(name):
                layer.loadNamedStyle(str(path))
        styles.setCurrentStyle(own)
        _play_back(layer)
        _explain(layer, self._meanings)
        layer.triggerRepaint()


def _play_back(layer):
    """Let the temporal controller play the outing where the layer carries times: what has come to pass stays."""
    if not hasattr(layer, "fields"):
        return
    start = next((name for name in ("start_time", "time") if name in layer.fields().names()), None)
    if start is not None:
        temporal = layer.temporalProperties()
        temporal.setMode(Qgis.VectorTemporalMode.FeatureDateTimeInstantFromField)
        temporal.setStartField(start)
        temporal.setAccumulateFeatures(True)
        temporal.setIsActive(True)


def _explain(layer, told_of):
    """Every field's meaning as its alias in tables and forms, and a map tip of the first few."""
    meanings = {field.name: field for field in told_of}
    if not meanings or not hasattr(layer, "setFieldAlias"):
        return
    told = []
    for index, name in enumerate(layer.fields().names()):
        if name in meanings:
            meant = meanings[name]
            words = f"{meant.text} ({meant.unit})" if meant.unit else meant.text
            layer.setFieldAlias(index, words)
            if name not in _DEPTHS or "target_id" not in meanings:
                told.append(_row(words, _safe(name)))
    told = told[:_TIP_ROWS]
    depths = [name for name in _DEPTHS if layer.fields().indexOf(name) >= 0]
    if depths and "target_id" in meanings:
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


def dress(context, dest, style, group="", more=None, meanings=()):
    """Give the layer its style, the meaning of its fields and its group when, and only when, QGIS is to load it.

    ``more``: further styles by the name they get in the layer's style menu; ``meanings``: the schemas.Field it
    has.
    """
    if not dest or not context.willLoadLayerOnCompletion(dest):
        return
    details = context.layerToLoadOnCompletionDetails(dest)
    if group:
        details.forceName = True
        if group not in details.name:
            details.name = f"{details.name} - {group}"
        set_layer_group(details, group)
    path = STYLES / f"{style}.qml"
    dresser = _Dresser(path if style and path.exists() else None,
                       {name: STYLES / f"{one}.qml" for name, one in (more or {}).items()}, meanings)
    _held.append(dresser)
    details.setPostProcessor(dresser)


def has_own_style(source):
    """True if a style of the user's lies beside a layer's file; QGIS has taken it when it loaded the layer."""
    beside = os.path.splitext(source)[0] + ".qml"
    return "|" not in source and os.path.isfile(beside) and not own_style(beside)
