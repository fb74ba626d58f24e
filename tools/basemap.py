"""The sample lake as a map: depth tints, contours, shore and names, alike in the project and on the demo's map."""
from __future__ import annotations

from athwart.survey.model.palette import INK
from qgis.core import (
    QgsBilinearRasterResampler,
    QgsCategorizedSymbolRenderer,
    QgsColorRampShader,
    QgsInvertedPolygonRenderer,
    QgsLabeling,
    QgsPalLayerSettings,
    QgsProperty,
    QgsRasterLayer,
    QgsRasterShader,
    QgsRendererCategory,
    QgsRuleBasedRenderer,
    QgsSingleBandPseudoColorRenderer,
    QgsSingleSymbolRenderer,
    QgsVectorLayer,
    QgsVectorLayerSimpleLabeling,
)
from qgis.PyQt.QtGui import QColor, QFont

from .styles.parts import fill, label_text, line, line_symbol, mark, marker_symbol, polygon_symbol

LAND, SHORE, CONTOUR, WATER_NAME = "#f1ece1", "#4c5b52", "#4f7c98", "#1f5577"
TINTS = ((0.0, "#e9f4f8"), (3.0, "#d3e8f1"), (6.0, "#b9d8e8"), (9.0, "#98c2db"), (13.5, "#6b9fc2"))


def vector(path, name, provider="ogr"):
    """A vector layer that must open."""
    layer = QgsVectorLayer(str(path), name, provider)
    if not layer.isValid():
        raise SystemExit(f"{path} does not open as a layer; run 'make sample' first.")
    return layer


def depth_layer(folder):
    """The depth grid in tints of blue, the deeper the darker."""
    layer = QgsRasterLayer(str(folder / "depth_grid.tif"), "depth (m)")
    if not layer.isValid():
        raise SystemExit(f"{folder / 'depth_grid.tif'} does not open; run 'make sample' first.")
    ramp = QgsColorRampShader(0, TINTS[-1][0], None, QgsColorRampShader.Type.Interpolated)
    ramp.setColorRampItemList([QgsColorRampShader.ColorRampItem(v, QColor(c), f"{v:g} m") for v, c in TINTS])
    shader = QgsRasterShader()
    shader.setRasterShaderFunction(ramp)
    renderer = QgsSingleBandPseudoColorRenderer(layer.dataProvider(), 1, shader)
    renderer.setClassificationMin(TINTS[0][0])  # the legend tells them
    renderer.setClassificationMax(TINTS[-1][0])
    layer.setRenderer(renderer)
    layer.resampleFilter().setZoomedInResampler(QgsBilinearRasterResampler())
    return layer


def contour_layer(folder, layer=None):
    """Contours, the sample's or those of ``layer``: every second metre stronger and labelled, half metres only when
    near."""
    layer = layer or vector(f"{folder / 'lake.gpkg'}|layername=contours", "contours")
    root = QgsRuleBasedRenderer.Rule(None)
    for name, test, width, alpha, up_to in (("contour, every 2 m", '"depth_m" % 2 = 0', 0.22, 190, 0),
                                            ("contour, every metre", '"depth_m" % 2 = 1', 0.13, 150, 20000),
                                            ("contour, half metres", '"depth_m" % 1 <> 0', 0.08, 120, 4000)):
        rule = QgsRuleBasedRenderer.Rule(line_symbol(line(CONTOUR, width, alpha=alpha)), 0, 0, test, name)
        rule.setMinimumScale(up_to)
        root.appendChild(rule)
    layer.setRenderer(QgsRuleBasedRenderer(root))
    labels = label_text("if(\"depth_m\" % 2 = 0, \"depth_m\" || ' m', '')", 6, CONTOUR,
                        QgsPalLayerSettings.Placement.Line, up_to=20000)
    along = labels.lineSettings()
    along.setPlacementFlags(QgsLabeling.LinePlacementFlags(QgsLabeling.LinePlacementFlag.OnLine))
    labels.setLineSettings(along)
    layer.setLabeling(QgsVectorLayerSimpleLabeling(labels))
    layer.setLabelsEnabled(True)
    return layer


def lake_layer(folder):
    """Land round the lake and on the island, with the shore as its edge."""
    layer = vector(f"{folder / 'lake.gpkg'}|layername=lake", "lake")
    land = polygon_symbol(fill(LAND, 255, outline=SHORE, width=0.35))
    layer.setRenderer(QgsInvertedPolygonRenderer(QgsSingleSymbolRenderer(land)))
    return layer


def area_layer(folder):
    """What the outings set out to search."""
    layer = vector(f"{folder / 'lake.gpkg'}|layername=search_areas", "search areas")
    layer.setRenderer(QgsSingleSymbolRenderer(polygon_symbol(fill(None, 0, outline=INK, width=0.4, dash=True))))
    return layer


def place_layer(folder):
    """Names: the lake and its coves slanted and blue, land upright."""
    layer = vector(f"{folder / 'lake.gpkg'}|layername=places", "names")
    nothing = marker_symbol(mark("circle", 0.1, None, None))
    layer.setRenderer(QgsCategorizedSymbolRenderer("", [QgsRendererCategory(None, nothing, "")]))
    labels = label_text('"name"', 8, WATER_NAME, QgsPalLayerSettings.Placement.OverPoint)
    form = labels.format()
    font = QFont(form.font())
    font.setItalic(True)
    form.setFont(font)
    labels.setFormat(form)
    by_kind = labels.dataDefinedProperties()
    by_kind.setProperty(QgsPalLayerSettings.Property.Size,
                        QgsProperty.fromExpression("CASE WHEN \"kind\" = 'lake' THEN 15 ELSE 7.5 END"))
    by_kind.setProperty(QgsPalLayerSettings.Property.Color,
                        QgsProperty.fromExpression(f"if(\"kind\" IN ('land', 'island'), '{SHORE}', '{WATER_NAME}')"))
    by_kind.setProperty(QgsPalLayerSettings.Property.Italic,
                        QgsProperty.fromExpression("\"kind\" NOT IN ('land', 'island')"))
    labels.setDataDefinedProperties(by_kind)
    layer.setLabeling(QgsVectorLayerSimpleLabeling(labels))
    layer.setLabelsEnabled(True)
    return layer


def base_layers(folder):
    """The base map of a sample folder (pathlib.Path), topmost layer first."""
    return [make(folder) for make in (place_layer, area_layer, lake_layer, contour_layer, depth_layer)]


def truth_layer(folder):
    """The known places of the objects."""
    layer = vector(f"file://{folder}/truth/objects.csv?type=csv&detectTypes=yes&xField=lon&yField=lat&crs=EPSG:4326",
                   "true place", "delimitedtext")
    layer.setRenderer(QgsSingleSymbolRenderer(marker_symbol(mark("cross", 3.0, None, "#b00020", 0.5))))
    layer.setLabeling(QgsVectorLayerSimpleLabeling(label_text('"label"', 7)))
    layer.setLabelsEnabled(True)
    return layer
