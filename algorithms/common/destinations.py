"""What the text of a destination means: which file, which table in it, replaced or appended to."""
from __future__ import annotations

import os
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from qgis.core import (
    QgsDataSourceUri,
    QgsProcessing,
    QgsProcessingOutputLayerDefinition,
    QgsProcessingParameterFeatureSink,
    QgsProperty,
    QgsVectorFileWriter,
)

if TYPE_CHECKING:
    from typing import Any

    from qgis.core import QgsProcessingParameterDefinition

__all__ = ["Destination", "destination"]


@dataclass(frozen=True)
class Destination:
    """A file that a run is to write.

    ``path``: the file; ``table``: the table in it, '' where the file is made anew; ``append``: rows follow those that
    are there; ``value``: as it was given.
    """

    path: str
    table: str
    append: bool
    value: object

    def moved(self, path: str) -> Any:
        """The same value with another file in it."""
        text = f"ogr:dbname={_quoted(path)} table=\"{self.table}\" (geom)" if self.table else path
        if not isinstance(self.value, QgsProcessingOutputLayerDefinition):
            return text
        copy = QgsProcessingOutputLayerDefinition(self.value)
        copy.sink = QgsProperty.fromValue(text)
        return copy


def destination(definition: QgsProcessingParameterDefinition, value: Any) -> Destination | None:
    """The Destination of an output's value; None for layers in memory, databases on servers and temporary files.

    Parameters
    ----------
    definition : QgsProcessingParameterDefinition
    value : object
        As it stands among the parameters of a run.
    """
    append, text = False, value
    if isinstance(text, QgsProcessingOutputLayerDefinition):
        append, text = text.useRemapping(), text.sink
    if isinstance(text, QgsProperty):
        text = text.staticValue()
    if not isinstance(text, str) or not text.strip() or text.startswith((QgsProcessing.TEMPORARY_OUTPUT, "/vsi")):
        return None
    if not isinstance(definition, QgsProcessingParameterFeatureSink):
        return Destination(os.path.abspath(text), "", False, value)
    named = re.fullmatch("ogr:(?://)?(.+)", text)
    if named:
        path, table = _in_database(named[1])
        return Destination(os.path.abspath(path), table, append, value) if path else None
    if re.match("[^/\\\\]{3,}?:", text):
        return None  # the name of a provider, such as memory or postgres
    return Destination(os.path.abspath(_with_ending(text)), "", append, value)


def _with_ending(path: str) -> str:
    """As QGIS completes the name of a layer's file."""
    ending = os.path.splitext(path)[1].lstrip(".").lower()
    driver, known = QgsVectorFileWriter.driverForExtension(ending), QgsVectorFileWriter.MetaData()
    if not driver:
        return path + ".gpkg"
    if not QgsVectorFileWriter.driverMetadata(driver, known) or ending in known.ext.split():
        return path
    return f"{path}.{known.ext.split()[0]}"


def _in_database(text: str) -> tuple[str, str]:
    uri = QgsDataSourceUri(text)
    if uri.database():
        return uri.database(), uri.table()
    path, *more = text.split("|")
    tables = [part[len("layername="):] for part in more if part.lower().startswith("layername=")]
    return path, tables[0] if tables else ""


def _quoted(text: str) -> str:
    return "'" + text.replace("\\", "\\\\").replace("'", "\\'") + "'"
