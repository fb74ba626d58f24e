"""What a GIS user would do with QGIS's own tools, in this process and in memory."""
from __future__ import annotations

import numpy as np
import shapely.wkb
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsFeature,
    QgsGeometry,
    QgsPointXY,
    QgsProcessingFeedback,
    QgsVectorLayer,
)

from . import madesurvey

__all__ = ["buffered_gaps", "lake_layer", "points_layer", "quad_gaps", "quads_layer"]


def _layer(kind, fields, rows):
    """Memory layer of (geometry, attributes) rows."""
    layer = QgsVectorLayer(f"{kind}?{fields}", kind.lower(), "memory")
    layer.setCrs(QgsCoordinateReferenceSystem.fromProj(madesurvey.CRS))
    features = []
    for geometry, attributes in rows:
        feature = QgsFeature(layer.fields())
        feature.setGeometry(geometry)
        feature.setAttributes(attributes)
        features.append(feature)
    layer.dataProvider().addFeatures(features)
    return layer


def points_layer(survey):
    """The fixes with their pass and order."""
    rows = zip(survey.east.tolist(), survey.north.tolist(), survey.pass_id.tolist(), range(len(survey)))
    return _layer("Point", "field=pass_id:integer&field=sample_id:integer",
                  ((QgsGeometry.fromPointXY(QgsPointXY(x, y)), [pass_id, i]) for x, y, pass_id, i in rows))


def quads_layer(survey):
    """A polygon for each side of each interval, as an expression would draw it."""
    quads, _ = survey.quads()
    return _layer("Polygon", "field=id:integer",
                  ((QgsGeometry.fromPolygonXY([[QgsPointXY(*corner) for corner in quad]]), [i])
                   for i, quad in enumerate(quads.tolist())))


def lake_layer(survey):
    """The shore."""
    geometry = QgsGeometry()
    geometry.fromWkb(shapely.wkb.dumps(survey.lake))
    return _layer("Polygon", "field=id:integer", [(geometry, [1])])


def _run(tool, **parameters):
    import processing
    return processing.run(f"native:{tool}", {**parameters, "OUTPUT": "memory:"},
                          feedback=QgsProcessingFeedback(False))["OUTPUT"]


def _shape(layer):
    return shapely.wkb.loads(bytes(next(layer.getFeatures()).geometry().asWkb()))


def buffered_gaps(points, lake, survey):
    """Points to path, buffer by the mean ground range, dissolve, difference: (ground seen, ground missed)."""
    reach = float(np.mean(np.sqrt(madesurvey.RANGE**2 - survey.depth**2)))
    lines = _run("pointstopath", INPUT=points, CLOSE_PATH=False, ORDER_EXPRESSION="sample_id",
                 GROUP_EXPRESSION="pass_id")
    wide = _run("buffer", INPUT=lines, DISTANCE=reach, SEGMENTS=8, END_CAP_STYLE=1, JOIN_STYLE=0, MITER_LIMIT=2,
                DISSOLVE=False)
    seen = _run("dissolve", INPUT=wide, FIELD=[])
    return _shape(seen), _shape(_run("difference", INPUT=lake, OVERLAY=seen))


def quad_gaps(quads, lake):
    """Fix geometries, dissolve, difference of a layer of quads: (ground seen, ground missed)."""
    fixed = _run("fixgeometries", INPUT=quads)
    seen = _run("dissolve", INPUT=fixed, FIELD=[])
    return _shape(seen), _shape(_run("difference", INPUT=lake, OVERLAY=seen))
