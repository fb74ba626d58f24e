"""The parts that symbols are made of: colours, fills, lines, markers. Widths and sizes are millimetres on paper."""
from __future__ import annotations

from athwart.survey.model.palette import INK, PAPER
from qgis.core import (
    QgsFillSymbol,
    QgsLinePatternFillSymbolLayer,
    QgsLineSymbol,
    QgsMarkerLineSymbolLayer,
    QgsMarkerSymbol,
    QgsPalLayerSettings,
    QgsSimpleFillSymbolLayer,
    QgsSimpleLineSymbolLayer,
    QgsSimpleMarkerSymbolLayer,
    QgsTextBufferSettings,
    QgsTextFormat,
)
from qgis.PyQt.QtGui import QColor, QFont

FONT = "DejaVu Sans"


def _rgba(color, alpha=255):
    """Colour text of a symbol layer; None is transparent."""
    if color is None:
        return "0,0,0,0"
    c = QColor(color)
    return f"{c.red()},{c.green()},{c.blue()},{alpha}"


def fill(color, alpha, outline=None, outline_alpha=255, width=0.26, dash=False):
    """A plain fill with or without an outline."""
    style = "no" if outline is None else "dash" if dash else "solid"
    return QgsSimpleFillSymbolLayer.create({
        "color": _rgba(color, alpha), "style": "no" if color is None else "solid", "outline_style": style,
        "outline_color": _rgba(outline, outline_alpha), "outline_width": str(width), "joinstyle": "round"})


def hatch(color, angle, distance, width):
    """Parallel lines that fill an area."""
    layer = QgsLinePatternFillSymbolLayer.create({"angle": str(angle), "distance": str(distance)})
    layer.setSubSymbol(line_symbol(line(color, width)))
    return layer


def line(color, width, dash=None, alpha=255):
    """A line; ``dash`` is the length of a dash and of the space after it."""
    properties = {"line_color": _rgba(color, alpha), "line_width": str(width), "capstyle": "round",
                  "joinstyle": "round"}
    if dash:
        properties.update(use_custom_dash="1", customdash=f"{dash[0]};{dash[1]}", capstyle="flat")
    return QgsSimpleLineSymbolLayer.create(properties)


def casing(width):
    """The pale line under a line that keeps it clear of what lies below."""
    return line(PAPER, width, alpha=215)


def arrows(color, size, every):
    """Arrow heads along a line, the way it was drawn."""
    layer = QgsMarkerLineSymbolLayer(True, every)
    layer.setSubSymbol(marker_symbol(mark("filled_arrowhead", size, color, None)))
    return layer


def mark(shape, size, color, outline, width=0.2, alpha=255):
    """A simple marker."""
    return QgsSimpleMarkerSymbolLayer.create({
        "name": shape, "size": str(size), "color": _rgba(color, alpha), "outline_color": _rgba(outline),
        "outline_style": "no" if outline is None else "solid", "outline_width": str(width), "joinstyle": "round"})


def _stacked(symbol, layers):
    """The symbol with these layers instead of its own, handed over one by one: a list is not taken over safely."""
    symbol.deleteSymbolLayer(0)
    for layer in layers:
        symbol.appendSymbolLayer(layer)
    return symbol


def polygon_symbol(*layers):
    """A symbol of fills, the first at the bottom."""
    return _stacked(QgsFillSymbol(), layers)


def line_symbol(*layers):
    """A symbol of lines, the first at the bottom."""
    return _stacked(QgsLineSymbol(), layers)


def marker_symbol(*layers):
    """A symbol of markers, the first at the bottom."""
    return _stacked(QgsMarkerSymbol(), layers)


def label_text(expression, size=8.0, color=INK, placement=None, weight=QFont.Weight.Normal, up_to=0, distance=1.2,
               first=None):
    """Label settings; ``up_to`` is the largest scale denominator at which the label is drawn (0: always).

    ``first``: True for labels that get their place before all others, False for those that give way to them.
    """
    form = QgsTextFormat()
    font = QFont(FONT)
    font.setWeight(weight)
    form.setFont(font)
    form.setSize(size)
    form.setColor(QColor(color))
    halo = QgsTextBufferSettings()
    halo.setEnabled(True)
    halo.setSize(0.8)
    halo.setColor(QColor(PAPER))
    halo.setOpacity(0.9)
    form.setBuffer(halo)
    settings = QgsPalLayerSettings()
    settings.fieldName, settings.isExpression = expression, True
    settings.setFormat(form)
    settings.placement = placement or QgsPalLayerSettings.Placement.OrderedPositionsAroundPoint
    settings.dist = distance
    if first is not None:
        settings.priority = 10 if first else 1
        settings.obstacleSettings().setIsObstacle(first)
    if up_to:
        settings.scaleVisibility, settings.minimumScale, settings.maximumScale = True, up_to, 0
    return settings
