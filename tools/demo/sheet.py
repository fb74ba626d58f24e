"""A sheet of paper for maps and figures, alike for every picture of the demo."""
from __future__ import annotations

from athwart.survey.model.palette import INK
from qgis.core import (
    QgsExpressionContextUtils,
    QgsLayerTree,
    QgsLayoutExporter,
    QgsLayoutItemLabel,
    QgsLayoutItemLegend,
    QgsLayoutItemMap,
    QgsLayoutItemMapOverview,
    QgsLayoutItemPicture,
    QgsLayoutItemScaleBar,
    QgsLayoutItemShape,
    QgsLayoutPoint,
    QgsLayoutSize,
    QgsLegendRenderer,
    QgsLegendStyle,
    QgsMapLayerLegendUtils,
    QgsPrintLayout,
    QgsRectangle,
    QgsRenderContext,
    QgsUnitTypes,
)
from qgis.PyQt.QtCore import QSize, Qt
from qgis.PyQt.QtGui import QColor, QFont

from ..styles.parts import FONT, fill, polygon_symbol

WIDTH, DPI = 420.0, 170
MARGIN, COLUMN = 9.0, 103.0
FRAME = "#9aa5ab"
MM = QgsUnitTypes.LayoutUnit.LayoutMillimeters
QUIET = "#5a666e"
CAUTION = "Positions are estimates, not for navigation. Charts and local notices come first. The lake is invented."


class Sheet:
    """A page of layout items; places and sizes in millimetres from the top left corner."""

    def __init__(self, project, height, title, subtitle):
        self.layout, self.height = QgsPrintLayout(project), height
        self.layout.initializeDefaults()
        self.layout.pageCollection().page(0).setPageSize(QgsLayoutSize(WIDTH, height, MM))
        self.bold(title, (MARGIN, 7, WIDTH - 2 * MARGIN, 13), 25)
        self.words(subtitle, (MARGIN, 19.5, WIDTH - 2 * MARGIN, 7), 11.5, QUIET)
        self.words(CAUTION, (WIDTH - MARGIN - COLUMN, height - MARGIN - 4, COLUMN, 5), 6.5, QUIET)

    def place(self, item, x, y, width, height):
        """Put an item on the page."""
        self.layout.addLayoutItem(item)
        item.attemptMove(QgsLayoutPoint(x, y, MM))
        item.attemptResize(QgsLayoutSize(width, height, MM))
        return item

    def bold(self, text, box, size=9.5, color=INK, centred=False):
        """A heading in ``box``."""
        return self.words(text, box, size, color, QFont.Weight.DemiBold, centred)

    def words(self, text, box, size=9.0, color=INK, weight=QFont.Weight.Normal, centred=False):
        """A text in ``box`` (x, y, width, height)."""
        label = QgsLayoutItemLabel(self.layout)
        label.setText(text)
        font = QFont(FONT)
        font.setPointSizeF(size)
        font.setWeight(weight)
        label.setFont(font)
        label.setFontColor(QColor(color))
        label.setMarginX(0)
        label.setMarginY(0)
        label.setHAlign(Qt.AlignmentFlag.AlignHCenter if centred else Qt.AlignmentFlag.AlignLeft)
        return self.place(label, *box)

    def tag(self, text, x, y, color):
        """A short text on a pale ground, centred below (x, y)."""
        label = self.bold(text, (x, y, 10, 5), 9, color, centred=True)
        label.setBackgroundEnabled(True)
        label.setBackgroundColor(QColor(255, 255, 255, 210))
        label.adjustSizeToText()
        label.attemptMove(QgsLayoutPoint(x - label.rect().width() / 2, y, MM))
        return label

    def map(self, box, extent, layers, background):
        """A map of ``layers``, topmost first, that shows at least ``extent``."""
        item = QgsLayoutItemMap(self.layout)
        self.place(item, *box)
        item.setLayers(layers)
        item.setKeepLayerSet(True)
        item.setBackgroundColor(QColor(background))
        item.setExtent(_of_shape(extent, box[2] / box[3]))
        item.setFrameEnabled(True)
        item.setFrameStrokeColor(QColor(FRAME))
        return item

    def scale_bar(self, of_map, x, y, metres, segments=2):
        """A plain scale bar on a map."""
        bar = QgsLayoutItemScaleBar(self.layout)
        bar.setStyle("Line Ticks Up")
        bar.setLinkedMap(of_map)
        bar.setUnits(QgsUnitTypes.DistanceUnit.DistanceMeters)
        bar.setUnitLabel("m")
        bar.setUnitsPerSegment(metres)
        bar.setNumberOfSegments(segments)
        bar.setNumberOfSegmentsLeft(0)
        bar.setHeight(1.6)
        bar.setBackgroundEnabled(True)
        bar.setBackgroundColor(QColor(255, 255, 255, 200))
        form = bar.textFormat()
        font = QFont(FONT)
        form.setFont(font)
        form.setSize(7)
        form.setColor(QColor(INK))
        bar.setTextFormat(form)
        self.place(bar, x, y, 40, 9)
        bar.update()
        return bar

    def north_arrow(self, of_map, x, y, size):
        """A north arrow that follows true north of the map."""
        arrow = QgsLayoutItemPicture(self.layout)
        arrow.setPicturePath(":/images/north_arrows/layout_default_north_arrow.svg")
        arrow.setLinkedMap(of_map)
        arrow.setNorthMode(QgsLayoutItemPicture.NorthMode.TrueNorth)
        arrow.setSvgFillColor(QColor(INK))
        return self.place(arrow, x, y, size, size)

    def legend(self, layers, x, y):
        """A legend of these layers, in one list, without classes nothing falls in; returns where it ends."""
        legend = QgsLayoutItemLegend(self.layout)
        legend.setAutoUpdateModel(False)
        tree = QgsLayerTree()
        for layer in layers:
            node = tree.addLayer(layer)
            QgsLegendRenderer.setNodeLegendStyle(node, QgsLegendStyle.Style.Hidden)
            QgsMapLayerLegendUtils.setLegendNodeOrder(node, _used_classes(layer))
        legend.model().setRootGroup(tree)
        self._tree = tree  # the model does not keep it
        for part, size in ((QgsLegendStyle.Style.SymbolLabel, 8.5), (QgsLegendStyle.Style.Title, 9.5)):
            style = legend.style(part)
            font = QFont(FONT)
            font.setPointSizeF(size)
            style.setFont(font)
            legend.setStyle(part, style)
        legend.setFontColor(QColor(INK))
        legend.setSymbolWidth(8)
        legend.setSymbolHeight(4.2)
        legend.setBoxSpace(0)
        size = QgsLegendRenderer(legend.model(), legend.legendSettings()).minimumSize()
        self.place(legend, x, y, size.width(), size.height())
        return y + size.height()

    def rule(self, x, y, width):
        """A thin line across a column."""
        shape = QgsLayoutItemShape(self.layout)
        shape.setShapeType(QgsLayoutItemShape.Shape.Rectangle)
        shape.setSymbol(polygon_symbol(fill(FRAME, 255)))
        return self.place(shape, x, y, width, 0.25)

    def show_frame(self, main, near, letter):
        """Outline on the main map where a close look lies, with its letter."""
        overview = QgsLayoutItemMapOverview(letter, near)
        overview.setLinkedMap(near)
        overview.setFrameSymbol(polygon_symbol(fill(None, 0, outline=INK, width=0.35)))
        main.overviews().addOverview(overview)
        whole, part = main.extent(), near.visibleExtentPolygon().boundingRect()  # the map may be turned
        scale = main.rect().width() / whole.width()
        x = main.positionWithUnits().x() + (part.right() - whole.xMinimum()) * scale
        y = main.positionWithUnits().y() + (whole.yMaximum() - part.top()) * scale
        self.bold(letter, (x + 1, y - 4.6, 12, 4.5))

    def figure(self, heading, text, x, y):
        """A heading and its figures under a rule; returns where the next one starts."""
        lines = text.count("\n") + 1
        self.rule(x, y, COLUMN)
        self.bold(heading, (x, y + 2, COLUMN, 5), 8, QUIET)
        self.words(text, (x, y + 6.5, COLUMN, 5.2 * lines + 1), 10)
        return y + 10 + 5.2 * lines

    def picture(self, path, caption, x, y):
        """A picture twice as high as wide at the left of the column, its caption beside it."""
        height = self.height - MARGIN - 7 - y
        picture = QgsLayoutItemPicture(self.layout)
        picture.setPicturePath(str(path))
        picture.setResizeMode(QgsLayoutItemPicture.ResizeMode.Zoom)
        picture.setPictureAnchor(QgsLayoutItemPicture.ReferencePoint.UpperLeft)
        self.place(picture, x, y, height / 2, height)
        self.words(caption, (x + height / 2 + 4, y, COLUMN - height / 2 - 4, height), 8.5)

    def export(self, target):
        """Render the page as PNG."""
        if not QgsLayoutExporter(self.layout).renderPageToImage(0, QSize(), DPI).save(str(target)):
            raise SystemExit(f"{target} could not be drawn.")


def _used_classes(layer):
    """Numbers of the legend's entries that some feature of the layer falls in."""
    renderer = layer.renderer()
    items = renderer.legendSymbolItems()
    if len(items) < 2:
        return list(range(len(items)))
    context = QgsRenderContext()
    context.expressionContext().appendScopes(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    renderer = renderer.clone()
    renderer.startRender(context, layer.fields())
    used = set()
    for feature in layer.getFeatures():
        context.expressionContext().setFeature(feature)
        used |= set(renderer.legendKeysForFeature(feature, context))
    renderer.stopRender(context)
    return [k for k, item in enumerate(items) if item.ruleKey() in used]


def _of_shape(extent, ratio):
    """The extent grown to the ratio of width to height."""
    width, height = max(extent.width(), extent.height() * ratio), max(extent.height(), extent.width() / ratio)
    return QgsRectangle.fromCenterAndSize(extent.center(), width, height)
