"""Where results are to go, judged before anything is computed."""
from __future__ import annotations

import os
import re

from qgis.core import QgsProcessingOutputLayerDefinition, QgsProcessingParameterFeatureSink, QgsProperty

__all__ = ["unusable_output"]


def unusable_output(definitions, parameters):
    """Why an output cannot be written where the user wants it, and what to do; '' when nothing speaks against it.

    Parameters
    ----------
    definitions : sequence of QgsProcessingParameterDefinition
        Destinations among them are judged.
    parameters : dict
    """
    for definition in definitions:
        path = _path(parameters.get(definition.name())) if definition.isDestination() else ""
        if not path:
            continue
        name = f"{definition.description()} ({definition.name()})"
        if isinstance(definition, QgsProcessingParameterFeatureSink) and path.lower().endswith(".shp"):
            return (f"{name} is to go into a Shapefile, which cuts field names to ten letters and loses times. Give a "
                    "GeoPackage (.gpkg) instead.")
        folder = os.path.dirname(path)
        if not os.path.isdir(folder):
            return f"{name} is to go into the folder {folder}, which does not exist. Make it first, or choose another."
        if not os.access(path if os.path.exists(path) else folder, os.W_OK):
            return f"{name}: {path} may not be written. Choose another place, or change its permissions."
    return ""


def _path(value):
    """The file a destination means, where it is told in full; '' for layers in memory, databases, temporary files."""
    if isinstance(value, QgsProcessingOutputLayerDefinition):
        value = value.sink
    if isinstance(value, QgsProperty):
        value = value.staticValue()
    if not isinstance(value, str):
        return ""
    table = re.match(r"ogr:dbname='([^']+)'", value)
    path = table[1] if table else value
    return path if os.path.isabs(path) else ""
