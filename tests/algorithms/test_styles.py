"""A finished layer explains itself on the desktop: aliases, map tips, playback."""
import pathlib

import numpy as np
import pytest
from athwart.algorithms import tool_classes
from athwart.algorithms.common.style_files import STYLES
from athwart.algorithms.common.styles import _Dresser
from athwart.survey.district.index_page import CLASSES
from athwart.survey.model import schemas
from athwart.survey.model.palette import BLUE
from osgeo import gdal
from qgis.core import (
    QgsDateTimeRange,
    QgsExpression,
    QgsExpressionContext,
    QgsExpressionContextUtils,
    QgsFeatureRequest,
    QgsMapRendererSequentialJob,
    QgsMapSettings,
    QgsProcessingContext,
    QgsProcessingFeedback,
    QgsRectangle,
    QgsRenderContext,
    QgsVectorLayer,
    QgsVectorLayerTemporalContext,
    QgsWkbTypes,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor

IDS = [tool.ID for tool in tool_classes()]
LAYERS = {tool.ID: tool.LAYERS for tool in tool_classes()}
ALSO = {("locatetargets", "REJECTED"): ["table", "point"]}
"""Layers whose geometry depends on the input: picks that were points leave points behind."""
RASTERS = [tool for tool in tool_classes() if tool.RASTERS]


@pytest.fixture
def loaded(sample_jobs):
    """loaded(tool) -> {output: layer}, as the desktop loads and dresses the results of the tool's job."""
    def call(tool):
        whole = sample_jobs.whole(tool)
        made = {}
        for name, dresser in whole.dressers.items():
            made[name] = QgsVectorLayer(whole.results[name], name, "ogr")
            dresser.postProcessLayer(made[name], QgsProcessingContext(), QgsProcessingFeedback(False))
        return made
    return call


@pytest.mark.parametrize("tool", RASTERS, ids=[tool.ID for tool in RASTERS])
def test_a_raster_has_the_bands_its_tool_says(sample_jobs, tool):
    for name, raster in tool.RASTERS.items():
        data = gdal.Open(str(sample_jobs.whole(tool.ID).made[name]))
        made = [data.GetRasterBand(number + 1) for number in range(data.RasterCount)]
        assert [(band.GetDescription(), band.GetUnitType()) for band in made] == raster.named()


@pytest.mark.parametrize("tool", IDS)
def test_every_layer_of_every_tool_explains_itself_and_plays(loaded, tool):
    for name, layer in loaded(tool).items():
        names = set(layer.fields().names())
        schema = LAYERS[tool][name]
        known, field_at = list(schema), layer.fields().indexOf
        assert [field for field in layer.fields().names() if field != "fid"][:len(known)] == schemas.names(known)
        for field in known:
            alias = layer.attributeAlias(field_at(field.name))
            assert alias == (f"{field.text} ({field.unit})" if field.unit else field.text), (tool, name, field.name)
        for told in schema.tip:
            assert f"<td>{layer.attributeAlias(field_at(told))}</td>" in layer.mapTipTemplate(), (tool, name, told)
        assert layer.temporalProperties().isActive() == bool({"time", "start_time"} & names), (tool, name)
        shape = "table" if not layer.isSpatial() else QgsWkbTypes.displayString(layer.wkbType()).lower()
        assert shape.replace("linestring", "line") in ALSO.get((tool, name), [schema.geometry]), (tool, name, shape)


@pytest.mark.parametrize("tool, output, start", [("preparetrack", "OUTPUT", "t_s"), ("readlogs", "OUTPUT", "t_s")])
def test_playing_an_outing_shows_what_had_come_to_pass(loaded, tool, output, start):
    """The controller's own filter, for a frame of two minutes in the middle, beside the seconds in the layer."""
    layer = loaded(tool)[output]
    rows = sorted(layer.getFeatures(), key=lambda row: row[start])
    t_s = np.array([row[start] for row in rows])
    first, last = len(rows) // 3, len(rows) // 3 + 120
    frame = QgsDateTimeRange(rows[first]["time"], rows[last]["time"])
    context = QgsVectorLayerTemporalContext()
    context.setLayer(layer)
    request = QgsFeatureRequest().setFilterExpression(layer.temporalProperties().createFilterString(context, frame))
    shown = sum(1 for _ in layer.getFeatures(request))
    assert abs(shown - np.count_nonzero(t_s <= t_s[last])) <= 2  # times in files are whole seconds on 3.22


def test_a_dressed_layer_says_what_its_fields_mean(qgis_processing, make_layer):
    layer = make_layer("Polygon", "EPSG:32632",
                       {"gap_id": "int", "kind": "string", "area_m2": "double", "mine": "string"},
                       [("POLYGON((0 0, 9 0, 9 9, 0 0))", [1, "nadir", 40.5, "x"])])
    _Dresser(STYLES / "gaps.qml", {}, schemas.GAPS).postProcessLayer(layer, None, QgsProcessingFeedback(False))
    assert layer.attributeAlias(2) == "ground area (m2)" and layer.attributeAlias(3) == ""
    context = QgsExpressionContext()
    context.setFeature(next(layer.getFeatures()))
    tip = QgsExpression.replaceExpressionText(layer.mapTipTemplate(), context)
    assert "<td>ground area (m2)</td><td>40.5</td>" in tip and "nadir" in tip


def test_a_gap_without_room_for_words_keeps_its_number(qgis_processing, make_layer):
    """At 1:2000: 120 x 40 m takes words, 30 x 30 m and a wedge numbers, 2 x 2 m and a strip under the boat nothing."""
    rows = [("0 0, 120 0, 120 40, 0 40, 0 0", [1, "between", 4800.0, 40.0]),
            ("0 60, 30 60, 30 90, 0 90, 0 60", [2, "edge", 900.0, 30.0]),
            ("60 60, 62 60, 62 62, 60 62, 60 60", [3, "edge", 4.0, 2.0]),
            ("80 60, 120 60, 120 90, 80 90, 80 60", [4, "nadir", 1200.0, 30.0]),
            ("0 -30, 120 -30, 120 -8, 0 -30", [5, "edge", 1320.0, 18.0])]
    layer = make_layer("Polygon", "EPSG:32632",
                       {"gap_id": "int", "kind": "string", "area_m2": "double", "width_m": "double"},
                       [(f"POLYGON(({ring}))", row) for ring, row in rows])
    layer.loadNamedStyle(str(STYLES / "gaps.qml"))
    settings = QgsMapSettings()
    settings.setLayers([layer])
    settings.setDestinationCrs(layer.crs())
    settings.setOutputDpi(96)
    settings.setOutputSize(QSize(400, 300))
    settings.setExtent(QgsRectangle(-46, -34, 166, 124))  # 400 points of 0.265 mm are 212 m
    assert settings.scale() == pytest.approx(2000, rel=0.01)
    context = QgsExpressionContext()
    context.appendScope(QgsExpressionContextUtils.mapSettingsScope(settings))
    settings.setExpressionContext(context)
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    texts = sorted(label.labelText for label in job.takeLabelingResults().allLabels())
    assert texts == ["gap 1, between\n4800 m²", "gap 2", "gap 5"]  # passes have bare numbers


NASTY = "<img src=x onerror=alert(1)> & \"[% 1 + 1 %]\" <b>log</b>"


def test_a_map_tip_shows_names_as_they_are(make_layer):
    """A name out of somebody else's GPX: no markup, no expression of it gets through."""
    from html import unescape

    from athwart.algorithms.common.styles import _explain
    layer = make_layer("Point", "EPSG:4326", {"name": "string", "depth_m": "double"}, [("POINT(1 2)", [NASTY, 7.25])])
    _explain(layer, schemas.WAYPOINTS)
    feature = next(layer.getFeatures())
    context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    context.setFeature(feature)
    tip = QgsExpression.replaceExpressionText(layer.mapTipTemplate(), context)
    assert "<img" not in tip and "<b>" not in tip and "7.25" in tip
    assert NASTY in unescape(tip)


@pytest.mark.parametrize("bottom, boat, words", [
    (7.96, 6.2, "bottom 7.9 m"), (None, 6.29, "6.2 m under the boat when seen"), (None, None, "")])
@pytest.mark.parametrize("style", ["targets", "combined"])
def test_a_targets_tip_says_of_which_place_its_depth_is(make_layer, style, bottom, boat, words):
    from athwart.algorithms.common.styles import _explain
    layer = make_layer("Point", "EPSG:4326", {"target_id": "int", "depth_m": "double", "bottom_m": "double"},
                       [("POINT(1 2)", [1, boat, bottom])])
    _explain(layer, getattr(schemas, style.upper()))
    context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    context.setFeature(next(layer.getFeatures()))
    tip = QgsExpression.replaceExpressionText(layer.mapTipTemplate(), context)
    assert f"<td>depth</td><td>{words}</td>" in tip and "true water under" not in tip


@pytest.mark.parametrize("mine", [True, False])
def test_a_layer_with_a_style_of_the_users_beside_it_is_loaded_with_that(loaded, tmp_path, mine):
    """The user's colour is kept; without a style of their own the layer gets ours."""
    source = tmp_path / "swaths.gpkg"
    source.write_bytes(pathlib.Path(loaded("swathfootprint")["OUTPUT"].source()).read_bytes())
    layer = QgsVectorLayer(str(source), "swaths", "ogr")
    layer.renderer().symbol().setColor(QColor("#123456"))
    layer.saveNamedStyle(str(source.with_suffix(".qml")) if mine else str(tmp_path / "elsewhere.qml"))
    again = QgsVectorLayer(str(source), "swaths", "ogr")
    _Dresser(STYLES / "swaths.qml", {}, schemas.SWATHS).postProcessLayer(again, None, QgsProcessingFeedback(False))
    symbols = again.renderer().symbols(QgsRenderContext())
    assert ([symbol.color().name() for symbol in symbols] == ["#123456"]) == mine
    assert again.attributeAlias(again.fields().indexOf("outing")) and again.temporalProperties().isActive()


def test_a_lake_has_one_colour_on_the_desktop_and_on_the_page_and_it_is_not_that_of_water():
    layer = QgsVectorLayer("Polygon?crs=EPSG:4326&field=covered_pct:double&field=state:string", "lakes", "memory")
    layer.loadNamedStyle(str(STYLES / "lakes.qml"))
    drawn = {rule.label(): rule.symbol().color().name() for rule in layer.renderer().rootRule().children()}
    assert {f"{words} seen": ink.lower() for _, ink, words in CLASSES}.items() <= drawn.items()
    assert BLUE not in drawn.values()
