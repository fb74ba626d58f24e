"""Which coordinate system a result gets."""
from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsCsException,
    QgsFeatureRequest,
    QgsProcessingFeatureSource,
    QgsUnitTypes,
    QgsWkbTypes,
)

from ...survey.model.errors import InputError
from .read import EMPTY, layer_crs

if TYPE_CHECKING:
    from typing import Any

    from qgis.core import QgsProcessingContext

__all__ = ["in_metres", "metric_crs"]

_PLACES = 2000
_POLE = 90.0
_SKIP = QgsProcessingFeatureSource.Flag.FlagSkipGeometryValidityChecks


def in_metres(crs: QgsCoordinateReferenceSystem) -> bool:
    """True for a projected CRS whose unit is the metre."""
    return not crs.isGeographic() and crs.mapUnits() == QgsUnitTypes.DistanceUnit.DistanceMeters


def metric_crs(source: Any, label: str, context: QgsProcessingContext) -> QgsCoordinateReferenceSystem:
    """The source's own CRS where it is projected in metres, else the UTM zone (WGS 84) of its median place.

    One fix at 0, 0 or far off tells nothing of where the lake is. Of large layers every so many-th place counts.
    """
    own = layer_crs(source, label)
    if in_metres(own):
        return own
    request = QgsFeatureRequest()
    request.setSubsetOfAttributes([])
    to_degrees = QgsCoordinateTransform(own, QgsCoordinateReferenceSystem("EPSG:4326"), context.transformContext())
    every = max(1, source.featureCount() // _PLACES)
    places: list[tuple[float, float]] = []
    # refusals run outside QGIS's own net: there its exception about a torn line would end the whole program
    for count, feature in enumerate(source.getFeatures(request, _SKIP)):
        if count % every and places:
            continue
        shape = feature.geometry()
        if shape.isNull() or shape.isEmpty():
            continue
        vertices = list(shape.vertices()) if shape.type() != QgsWkbTypes.GeometryType.PointGeometry else ()
        vertex = vertices[len(vertices) // 2] if vertices else shape.vertexAt(0)
        try:
            place = to_degrees.transform(vertex.x(), vertex.y())
        except QgsCsException:
            continue
        if math.isfinite(place.x()) and abs(place.y()) <= _POLE and (place.x() or place.y()):
            places.append((place.x(), place.y()))
    if places:
        lon, lat = np.array(places).T
        lon = lon[0] + np.median((lon - lon[0] + 180.0) % 360.0 - 180.0)
        zone = int((lon + 180.0) // 6.0) % 60 + 1
        return QgsCoordinateReferenceSystem(f"EPSG:{(32600 if np.median(lat) >= 0 else 32700) + zone}")
    if not source.featureCount():
        raise InputError(f"{label} '{source.sourceName()}' {EMPTY}")
    raise InputError(f"{label} '{source.sourceName()}' has no point that can be placed on the Earth. Check that the "
                     "right coordinate system is set in the layer's properties (Source).")
