"""A finished layer explains itself on the desktop: aliases, map tips, playback."""
from qgis.core import QgsExpression, QgsExpressionContext, QgsProcessingFeedback


def test_a_dressed_layer_says_what_its_fields_mean(qgis_processing, make_layer):
    from athwart.algorithms.common.styles import STYLES, _Dresser
    from athwart.survey import fields

    layer = make_layer("Polygon", "EPSG:32632",
                       {"gap_id": "int", "kind": "string", "area_m2": "double", "mine": "string"},
                       [("POLYGON((0 0, 9 0, 9 9, 0 0))", [1, "nadir", 40.5, "x"])])
    _Dresser(STYLES / "gaps.qml", {}, fields.GAPS).postProcessLayer(layer, None, QgsProcessingFeedback(False))
    assert layer.attributeAlias(2) == "ground area (m2)" and layer.attributeAlias(3) == ""
    context = QgsExpressionContext()
    context.setFeature(next(layer.getFeatures()))
    tip = QgsExpression.replaceExpressionText(layer.mapTipTemplate(), context)
    assert "<td>ground area (m2)</td><td>40.5</td>" in tip and "nadir" in tip
