"""A finished layer explains itself on the desktop: aliases, map tips, playback."""
import pytest
from qgis.core import QgsExpression, QgsExpressionContext, QgsExpressionContextUtils, QgsProcessingFeedback


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


NASTY = "<img src=x onerror=alert(1)> & \"[% 1 + 1 %]\" <b>log</b>"


def test_a_map_tip_shows_names_as_they_are(make_layer):
    """A name out of somebody else's GPX: no markup, no expression of it gets through."""
    from html import unescape

    from athwart.algorithms.common.styles import _explain
    layer = make_layer("Point", "EPSG:4326", {"name": "string", "depth_m": "double"}, [("POINT(1 2)", [NASTY, 7.25])])
    _explain(layer, "waypoints")
    feature = next(layer.getFeatures())
    context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    context.setFeature(feature)
    tip = QgsExpression.replaceExpressionText(layer.mapTipTemplate(), context)
    assert "<img" not in tip and "<b>" not in tip and "7.25" in tip
    assert NASTY in unescape(tip)


@pytest.mark.parametrize("bottom, boat, words", [(7.96, 6.2, "bottom 7.9 m"), (None, 6.29, "6.2 m under the boat"),
                                                 (None, None, "")])
@pytest.mark.parametrize("style", ["targets", "combined"])
def test_a_targets_tip_says_of_which_place_its_depth_is(make_layer, style, bottom, boat, words):
    from athwart.algorithms.common.styles import _explain
    layer = make_layer("Point", "EPSG:4326", {"target_id": "int", "depth_m": "double", "bottom_m": "double"},
                       [("POINT(1 2)", [1, boat, bottom])])
    _explain(layer, style)
    context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    context.setFeature(next(layer.getFeatures()))
    tip = QgsExpression.replaceExpressionText(layer.mapTipTemplate(), context)
    assert f"<td>depth</td><td>{words}</td>" in tip and "true water under" not in tip
