"""Which layer is which: the right one offered in a form, a wrong one named."""
from __future__ import annotations

from typing import TYPE_CHECKING

from ...survey.model import schemas
from ...survey.model.errors import InputError
from .values import given
from .wording import label

if TYPE_CHECKING:
    from typing import Any

    from qgis.core import QgsProcessingContext

    from ...survey.model.layers import Layer

__all__ = ["OWN", "layer_kind", "refuse_other_kinds"]

OWN = None
"""Among what a parameter takes: a layer of the user's own, which none of our tools made."""


def layer_kind(layer: Any) -> Layer | None:
    """The ``Layer`` that a vector layer or source is, None for the user's own."""
    return schemas.kind_of(layer.fields().names())


def refuse_other_kinds(tool: Any, parameters: dict[str, Any], context: QgsProcessingContext) -> None:
    """Refuse a layer that another tool made for another purpose, by what it is and what is wanted.

    Raises
    ------
    InputError
        For the first of ``tool.TAKES`` that holds one.
    """
    for name, taken in tool.TAKES.items():
        source = tool.parameterAsSource(parameters, name, context) if given(parameters, name) else None
        if source is None:
            continue
        kind = layer_kind(source)
        if kind is not None and kind not in taken:
            raise InputError(f"{label(tool, name)} is '{source.sourceName()}', but this is {_named(kind)}; "
                             f"choose {_wanted(taken)}.")
        if kind is None:
            _refuse_raw_gpx(tool, parameters, name, context)


def _named(kind: Layer) -> str:
    from .. import maker_of

    tool = maker_of(kind)
    return f"'{kind.title}'" + (f" of '{tool.TITLE}'" if tool else "")


def _wanted(taken: Any) -> str:
    ours = [_named(kind) for kind in taken if kind is not OWN]
    return " or ".join([*ours, *(["a layer of your own"] if OWN in taken else [])])


def _refuse_raw_gpx(tool: Any, parameters: dict[str, Any], name: str, context: QgsProcessingContext) -> None:
    """A GPX file dropped onto QGIS opens by its waypoints, of which many logs have none."""
    layer = tool.parameterAsVectorLayer(parameters, name, context)
    if layer is None or layer.storageType() != "GPX" or layer.featureCount():
        return
    raise InputError(f"{label(tool, name)} is '{layer.name()}', of a GPX file: the layer in it that QGIS opened is "
                     "empty. Run 'Read NMEA 0183 and GPX logs' with the file and choose what it makes, or choose "
                     "track_points of the file.")
