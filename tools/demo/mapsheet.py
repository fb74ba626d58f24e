"""The map sheet: the lake with what was seen and missed, two close looks, a legend and the figures."""
from __future__ import annotations

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
    QgsProject,
    QgsRectangle,
    QgsRenderContext,
    QgsUnitTypes,
)
from qgis.PyQt.QtCore import QSize, Qt
from qgis.PyQt.QtGui import QColor, QFont
from style_parts import FONT, INK, fill, polygon_symbol

WIDTH, HEIGHT, DPI = 420.0, 297.0, 170
MARGIN, COLUMN = 9.0, 103.0
FRAME = "#9aa5ab"
MM = QgsUnitTypes.LayoutUnit.LayoutMillimeters
QUIET = "#5a666e"


class Sheet:
    """A page of layout items; places and sizes in millimetres from the top left corner."""

    def __init__(self, project):
        self.layout = QgsPrintLayout(project)
        self.layout.initializeDefaults()
        self.layout.pageCollection().page(0).setPageSize(QgsLayoutSize(WIDTH, HEIGHT, MM))

    def place(self, item, x, y, width, height):
        """Put an item on the page."""
        self.layout.addLayoutItem(item)
        item.attemptMove(QgsLayoutPoint(x, y, MM))
        item.attemptResize(QgsLayoutSize(width, height, MM))
        return item

    def words(self, text, box, size=9.0, color=INK, weight=QFont.Weight.Normal):
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
        label.setHAlign(Qt.AlignmentFlag.AlignLeft)
        return self.place(label, *box)

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
        whole, part = main.extent(), near.extent()
        scale = main.rect().width() / whole.width()
        x = main.positionWithUnits().x() + (part.xMaximum() - whole.xMinimum()) * scale
        y = main.positionWithUnits().y() + (whole.yMaximum() - part.yMinimum()) * scale
        self.words(letter, (x + 1, y - 4.6, 5, 4.5), 9.5, INK, QFont.Weight.DemiBold)

    def figure(self, heading, text, x, y):
        """A heading and its figures under a rule; returns where the next one starts."""
        lines = text.count("\n") + 1
        self.rule(x, y, COLUMN)
        self.words(heading, (x, y + 2, COLUMN, 5), 8, QUIET, QFont.Weight.DemiBold)
        self.words(text, (x, y + 6.5, COLUMN, 5.2 * lines + 1), 10)
        return y + 10 + 5.2 * lines

    def picture(self, path, caption, x, y):
        """A picture twice as high as wide at the left of the column, its caption beside it."""
        height = HEIGHT - MARGIN - 7 - y
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


def _stack(layers, base, names):
    """The named result layers between the layers of the base map, topmost first: the floor keeps its contours."""
    over = [layers[n] for n in ("truth", "targets", "ellipses", "passes", "shore", "areas") if n in names]
    return [base["names"], *over, base["lake"], *(layers[n] for n in ("gaps",) if n in names), base["contours"],
            *(layers[n] for n in ("swaths",) if n in names), base["depth (m)"]]


def draw(layers, base, figures, close, record, target, background):
    """Draw the sheet.

    Parameters
    ----------
    layers, base : dict
        Result layers by name (and 'truth'), and base layers by title.
    figures : list of (str, str)
        Heading and text of the figures beside the map.
    close : list of (str, QgsRectangle, list of str)
        Title, extent and result layers of the two close looks.
    record : (pathlib.Path, str)
        Picture of a record, and its caption.
    target : pathlib.Path
    background : str
    """
    sheet = Sheet(QgsProject.instance())
    wide, column = WIDTH - 3 * MARGIN - COLUMN, WIDTH - MARGIN - COLUMN
    top, tall = 28.5, 168.0
    sheet.words("Orrelmere", (MARGIN, 7, 200, 13), 25, INK, QFont.Weight.DemiBold)
    sheet.words("Side-scan outings of June 2024: the bottom seen, what was missed, and where the picks lie",
                (MARGIN, 19.5, wide, 7), 11.5, QUIET)
    lake = base["lake"].extent()
    lake.scale(1.03)
    main = sheet.map((MARGIN, top, wide, tall), lake,
                     _stack(layers, base, ("shore", "areas", "gaps", "swaths", "targets")), background)
    sheet.scale_bar(main, MARGIN + 3, top + tall - 12, 100, 4)
    sheet.north_arrow(main, MARGIN + wide - 16, top + 4, 12)
    below, half = top + tall + 9.5, (wide - MARGIN) / 2
    low = HEIGHT - MARGIN - below
    for k, (title, extent, names) in enumerate(close):
        x = MARGIN + k * (half + MARGIN)
        sheet.words(f"{'AB'[k]}   {title}", (x, below - 6, half, 5), 9.5, INK, QFont.Weight.DemiBold)
        near = sheet.map((x, below, half, low), extent, _stack(layers, base, names), background)
        bar = below + 3 if k == 0 else below + low - 12  # the corner with the least in it
        sheet.scale_bar(near, x + 3, bar, 10 if near.extent().width() < 200 else 50)
        sheet.show_frame(main, near, "AB"[k])
    y = top
    for heading, text in figures:
        y = sheet.figure(heading, text, column, y)
    sheet.rule(column, y, COLUMN)
    explained = ("swaths", "gaps", "areas", "shore", "passes", "targets", "ellipses", "truth")
    y = sheet.legend([layers[name] for name in explained], column, y + 3)
    sheet.picture(*record, column, y + 5)
    sheet.words("Positions are estimates, not for navigation. Charts and local notices come first. "
                "The lake is invented.", (column, HEIGHT - MARGIN - 4, COLUMN, 5), 6.5, QUIET)
    sheet.export(target)
