"""Which coordinate system a result gets."""
from __future__ import annotations

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsCsException,
    QgsFeatureRequest,
    QgsProcessingFeatureSource,
    QgsUnitTypes,
)

from ...survey.errors import InputError
from .read import EMPTY, layer_crs

__all__ = ["in_metres", "metric_crs"]


def in_metres(crs):
    """True for a projected CRS whose unit is the metre."""
    return not crs.isGeographic() and crs.mapUnits() == QgsUnitTypes.DistanceUnit.DistanceMeters


def metric_crs(source, label, context):
    """The source's own CRS where it is projected in metres, else the UTM zone (WGS 84) of its first place."""
    own = layer_crs(source, label)
    if in_metres(own):
        return own
    request = QgsFeatureRequest()
    request.setSubsetOfAttributes([])
    degrees = QgsCoordinateReferenceSystem("EPSG:4326")
    to_degrees = QgsCoordinateTransform(own, degrees, context.transformContext())
    # refusals run outside QGIS's own net: there its exception about a torn line would end the whole program
    for feature in source.getFeatures(request, QgsProcessingFeatureSource.Flag.FlagSkipGeometryValidityChecks):
        shape = feature.geometry()
        if shape.isNull() or shape.isEmpty():
            continue
        vertex = shape.vertexAt(0)
        try:
            place = to_degrees.transform(vertex.x(), vertex.y())
        except QgsCsException:
            continue
        zone = int((place.x() + 180) // 6) % 60 + 1
        return QgsCoordinateReferenceSystem(f"EPSG:{(32600 if place.y() >= 0 else 32700) + zone}")
    if not source.featureCount():
        raise InputError(f"{label} '{source.sourceName()}' {EMPTY}")
    raise InputError(f"{label} '{source.sourceName()}' has no point that can be placed on the Earth. Check that the "
                     "right coordinate system is set in the layer's properties (Source).")
