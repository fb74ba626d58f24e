"""Which files a run reads, so that no output is written over them."""
from __future__ import annotations

import os
import urllib.parse
from typing import TYPE_CHECKING

from qgis.core import QgsProcessing, QgsProviderRegistry

from .geopackage import opened
from .values import given

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import Any

    from qgis.core import QgsProcessingAlgorithm, QgsProcessingContext, QgsProcessingParameterDefinition

__all__ = ["files_read", "same_file"]


def files_read(alg: QgsProcessingAlgorithm, parameters: dict[str, Any],
               context: QgsProcessingContext) -> Iterator[tuple[QgsProcessingParameterDefinition, str, str]]:
    """(definition, path, table) of every file among the inputs; ``table`` '' where all of the file is read."""
    for definition in alg.parameterDefinitions():
        if definition.isDestination() or not given(parameters, definition.name()):
            continue
        for layer in _layers(alg, definition, parameters, context):
            if layer is not None:
                yield from ((definition, path, table) for path, table in _sources(layer))
        for path in _paths(alg, definition, parameters, context):
            yield definition, path, ""


def same_file(one: str, other: str) -> bool:
    """True if two paths lead to one file, by whatever links and spelling."""
    if os.path.realpath(one) == os.path.realpath(other):
        return True
    return os.path.exists(one) and os.path.exists(other) and os.path.samefile(one, other)


def _is_files(definition: Any) -> bool:
    return definition.type() == "multilayer" and definition.layerType() == QgsProcessing.SourceType.TypeFile


def _layers(alg: QgsProcessingAlgorithm, definition: QgsProcessingParameterDefinition, parameters: dict[str, Any],
            context: QgsProcessingContext) -> list[Any]:
    name = definition.name()
    if definition.type() in ("source", "vector"):
        return [alg.parameterAsVectorLayer(parameters, name, context)]
    if definition.type() == "raster":
        return [alg.parameterAsRasterLayer(parameters, name, context)]
    if definition.type() == "multilayer" and not _is_files(definition):
        return alg.parameterAsLayerList(parameters, name, context)
    return []


def _paths(alg: QgsProcessingAlgorithm, definition: QgsProcessingParameterDefinition, parameters: dict[str, Any],
           context: QgsProcessingContext) -> list[str]:
    if definition.type() == "file":
        found = [alg.parameterAsFile(parameters, definition.name(), context)]
    elif _is_files(definition):
        found = alg.parameterAsFileList(parameters, definition.name(), context)
    else:
        return []
    return [_plain(path) for path in found if path]


def _sources(layer: Any) -> Iterator[tuple[str, str]]:
    """(path, table) of the files behind a layer."""
    kind, source = layer.providerType(), layer.source()
    if kind == "memory":
        return
    if kind == "virtual":
        for value in urllib.parse.parse_qs(source.partition("?")[2]).get("layer", ()):
            provider, _, rest = value.partition(":")
            yield from _decoded(provider, rest.rsplit(":", 2)[0])
        return
    yield from _decoded(kind, source)


def _decoded(provider: str, source: str) -> Iterator[tuple[str, str]]:
    parts = QgsProviderRegistry.instance().decodeUri(provider, source)
    path = _plain(str(parts.get("path") or source.split("|", maxsplit=1)[0].split("?", maxsplit=1)[0]))
    if not os.path.exists(path):
        return
    table = parts.get("layerName")
    if provider == "ogr" and not isinstance(table, str):
        data = opened(path)
        number = parts.get("layerId")
        layer = data.GetLayer(number if isinstance(number, int) else 0) if data is not None else None
        table = layer.GetName() if layer is not None else ""
    yield path, table if provider == "ogr" and isinstance(table, str) else ""


def _plain(path: str) -> str:
    if path.lower().startswith("file:"):
        path = urllib.parse.unquote(urllib.parse.urlparse(path.partition("?")[0]).path)
    return os.path.abspath(path)
