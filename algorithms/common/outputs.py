"""Where results are to go, judged before anything is computed."""
from __future__ import annotations

import os
from typing import TYPE_CHECKING

from qgis.core import QgsProcessingParameterFeatureSink, QgsProcessingParameterRasterDestination, QgsVectorFileWriter

from .compat import sink_kind
from .destinations import destination
from .formats import raster_trouble, vector_trouble
from .geopackage import contents, holds_tables
from .inputs import files_read, same_file

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from typing import Any

    from qgis.core import QgsProcessingContext, QgsProcessingParameterDefinition

    from .declared import Raster
    from .destinations import Destination

__all__ = ["unusable_output"]

_SHOWN = 5


def unusable_output(alg: Any, parameters: dict[str, Any], context: QgsProcessingContext) -> str:
    """Why an output cannot be written where the user wants it, and what to do; '' when nothing speaks against it.

    Parameters
    ----------
    alg : AthwartAlgorithm
        Its destinations are judged.
    parameters : dict
    context : QgsProcessingContext
    """
    wanted = []
    for definition in alg.parameterDefinitions():
        place = destination(definition, parameters.get(definition.name())) if definition.isDestination() else None
        if place is not None:
            wanted.append((f"{definition.description()} ({definition.name()})", definition, place))
    for name, definition, place in wanted:
        trouble = (_unfit_place(name, place) or _unfit_format(name, definition, place, alg.RASTERS)
                   or _loses(name, definition, place))
        if trouble:
            return trouble
    return _twice(wanted) or _is_read(alg, parameters, context, wanted)


def _unfit_place(name: str, place: Destination) -> str:
    folder = os.path.dirname(place.path)
    if not os.path.isdir(folder):
        return f"{name} is to go into the folder {folder}, which does not exist. Make it first, or choose another."
    if os.path.isdir(place.path):
        return f"{name} is to be written to {place.path}, which is a folder. Give the name of a file in it."
    if os.path.exists(place.path) and not os.access(place.path, os.W_OK):
        return f"{name}: {place.path} may not be written. Choose another place, or change its permissions."
    if not os.access(os.path.dirname(os.path.realpath(place.path)), os.W_OK):
        return (f"{name} is to go into the folder {folder}, which may not be written. Choose another place, or change "
                "its permissions.")
    return ""


def _unfit_format(name: str, definition: QgsProcessingParameterDefinition, place: Destination,
                  rasters: Mapping[str, Raster]) -> str:
    ending = os.path.splitext(place.path)[1].lstrip(".").lower()
    if isinstance(definition, QgsProcessingParameterFeatureSink):
        if QgsVectorFileWriter.driverForExtension(ending) == "ESRI Shapefile":
            return (f"{name} is to go into a Shapefile, which cuts field names to ten letters and loses times. Give a "
                    "GeoPackage (.gpkg) instead.")
        driver, lost = ("", "") if place.append else vector_trouble(ending, sink_kind(definition))
        remedy = "GeoPackage (.gpkg)"
    elif isinstance(definition, QgsProcessingParameterRasterDestination):
        driver, lost = raster_trouble(ending, len(rasters[definition.name()].bands))
        remedy = "GeoTIFF (.tif)"
    else:
        return ""
    return (f"{name} is to be written as {driver} (.{ending}), which cannot hold {lost}. Give a {remedy} instead."
            if lost else "")


def _loses(name: str, definition: QgsProcessingParameterDefinition, place: Destination) -> str:
    """Refuse to write a file in the place of one that holds several tables, or anything of another kind."""
    if not os.path.exists(place.path) or os.path.getsize(place.path) == 0:
        return ""
    layer, database = isinstance(definition, QgsProcessingParameterFeatureSink), holds_tables(place.path)
    if database if layer and (place.table or place.append) else not (layer or database):
        return ""
    found = contents(place.path)
    if len(found) > layer:
        shown = ", ".join(found[:_SHOWN]) + (" and others" if len(found) > _SHOWN else "")
        remedy = "Choose a table in it ('Save to GeoPackage'), or another file." if layer else "Choose another file."
        return (f"{name} is to be written to {place.path}, which holds {len(found)} layer{'s' * (len(found) > 1)} "
                f"({shown}); they would be lost. {remedy}")
    return ""


def _twice(wanted: Sequence[tuple[str, QgsProcessingParameterDefinition, Destination]]) -> str:
    for k, (name, _, place) in enumerate(wanted):
        for other, _, there in wanted[:k]:
            apart = place.table and there.table and place.table.lower() != there.table.lower()
            if not apart and same_file(place.path, there.path):
                return (f"{name} and {other} are to go to the same place, {place.path}, where the second would take "
                        "the place of the first. Give each a place of its own.")
    return ""


def _is_read(alg: Any, parameters: dict[str, Any], context: QgsProcessingContext,
             wanted: Sequence[tuple[str, QgsProcessingParameterDefinition, Destination]]) -> str:
    there = [entry for entry in wanted if os.path.exists(entry[2].path)]
    if not there:
        return ""
    read = list(files_read(alg, parameters, context))
    for name, _, place in there:
        for source, path, table in read:
            apart = place.table and table and place.table.lower() != table.lower()
            if not apart and same_file(place.path, path):
                what = f"the table {table} of {path}" if place.table and table else path
                return (f"{name} is to be written over {what}, which this run reads as {source.description()} "
                        f"({source.name()}). Choose another place: an input is never written over.")
    return ""
