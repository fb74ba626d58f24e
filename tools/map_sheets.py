"""tools/run.sh tools.map_sheets: the print layouts of plugin/layouts, a page an area, for A4 and Letter.

Made with the oldest QGIS supported: newer ones read its files. Nothing in them names a layer of a project: the areas
are those of the layout's own atlas, the lake's outline is the layer that the layout's variable ``lake_layer`` names.
"""
from __future__ import annotations

import base64

from . import inside

kept = inside.qgis(window=True)  # from here on the clone is the package athwart

from athwart.plugin.sheets import LAYOUTS, NAME, PAPERS  # noqa: E402
from athwart.survey.model.palette import GREY, INK, PAPER, VERMILION  # noqa: E402
from athwart.survey.report.pages import CAUTION  # noqa: E402
from qgis.core import (  # noqa: E402
    QgsCoordinateReferenceSystem,
    QgsExpressionContextUtils,
    QgsLayoutItemLabel,
    QgsLayoutItemLegend,
    QgsLayoutItemMap,
    QgsLayoutItemMapGrid,
    QgsLayoutItemMapOverview,
    QgsLayoutItemPicture,
    QgsLayoutItemScaleBar,
    QgsLayoutMeasurement,
    QgsLayoutObject,
    QgsLayoutPoint,
    QgsLayoutSize,
    QgsLegendStyle,
    QgsPrintLayout,
    QgsProject,
    QgsProperty,
    QgsReadWriteContext,
    QgsRectangle,
    QgsScaleBarSettings,
    QgsTextFormat,
    QgsUnitTypes,
)
from qgis.PyQt.QtCore import Qt  # noqa: E402
from qgis.PyQt.QtGui import QColor, QFont  # noqa: E402
from qgis.PyQt.QtXml import QDomDocument  # noqa: E402

from .styles.parts import FONT, fill, line, line_symbol, polygon_symbol  # noqa: E402

MARGIN, COLUMN, TOP, FOOT, LABELS = 10.0, 66.0, 25.0, 36.0, 6.0
"""Millimetres: round the page, of the column on the right, above and below the map, of the coordinates at its edge."""

AREA = "coalesce({}, 'Area ' || @atlas_featurenumber)".format(
    ", ".join(f"attribute(@atlas_feature, '{name}')" for name in ("name", "label", "title", "area")))
PLACE = "item_variables('Map')"
GROUND = "transform(@atlas_geometry, layer_property(@atlas_layerid, 'crs'), @map_crs)"
STEPS = "0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1800, 3600"
"""Minutes between two coordinates at the edge."""

SHOWN = f"transform(map_get({PLACE}, 'map_extent'), {PLACE}['map_crs'], 'EPSG:4326')"
EDGE = f"""
if(@grid_axis = 'y' AND @grid_number < y_min({SHOWN}) + 0.06 * bounds_height({SHOWN}), '',
to_dm(round(@grid_number, 8), @grid_axis, 3, 'suffix'))
"""
"""A coordinate at the edge; in the corner there is room for one of two."""

FACTS = """
with_variable('feet', @unit = 'ft',
array_to_string(array_filter(array(
  with_variable('m2', attribute(@atlas_feature, 'area_m2'), 'Size: ' || if(@feet,
    format_number(@m2 / 4046.8564224, 2) || ' ac', format_number(@m2 / 10000, 2) || ' ha')),
  'Seen: ' || format_number(attribute(@atlas_feature, 'covered_pct'), 1) || ' %',
  '95 % interval: ' || format_number(attribute(@atlas_feature, 'low_pct'), 1) || ' to '
    || format_number(attribute(@atlas_feature, 'high_pct'), 1) || ' %'), @element IS NOT NULL), '\\n'))
"""

SCALE = f"""
CASE WHEN @map_units = 'meters' THEN with_variable('g', {GROUND},
with_variable('least', 1000 * 1.1 * max(bounds_width(@g) / {{wide}}, bounds_height(@g) / {{tall}}),
with_variable('power', 10 ^ floor(log10(@least)),
@power * array_first(array_filter(array(1, 1.25, 1.5, 1.75, 2, 2.5, 3, 3.5, 4, 4.5, 5, 6, 7, 8, 9, 10),
  @element * @power >= @least))))) END
"""
"""The least round scale that shows the area with a margin; none where the project's units are degrees."""

SCALE_WORDS = f"'1 : ' || format_number(round({PLACE}['map_scale'], -1), 0)"
GRID_WORDS = f"""
{PLACE}['map_crs_description'] || ' (' || {PLACE}['map_crs'] || '), ' || coalesce({PLACE}['map_crs_projection'], '')
|| '. Grid north is up, the arrow points to true north. Degrees and minutes along the edge: WGS 84.'
"""

ARROW = ('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 30" width="20" height="30"><path d="M10 10L17 29L10 '
         f'24L3 29Z" fill="{INK}"/><text x="10" y="8" font-size="9" font-family="sans-serif" font-weight="bold" '
         f'text-anchor="middle" fill="{INK}">N</text></svg>')


def said(expression):
    """A label's text that QGIS works out."""
    return f"[% {' '.join(expression.split())} %]"


class Sheet:
    """The page and what lies on it, all in millimetres."""

    def __init__(self, width, height):
        self.layout = QgsPrintLayout(QgsProject.instance())
        self.layout.initializeDefaults()
        self.layout.setName(NAME)
        page = self.layout.pageCollection().page(0)
        page.setPageSize(QgsLayoutSize(width, height))
        self.width, self.height = width, height

    def put(self, item, name, x, y, width, height):
        """Place an item."""
        item.setId(name)
        self.layout.addLayoutItem(item)
        item.attemptMove(QgsLayoutPoint(x, y))
        item.attemptResize(QgsLayoutSize(width, height))
        return item

    def label(self, name, text, box, size, bold=False, color=INK):
        """Words; ``box`` is x, y, width, height."""
        item = QgsLayoutItemLabel(self.layout)
        item.setText(text)
        font = QFont(FONT)
        font.setPointSizeF(size)
        font.setBold(bold)
        item.setFont(font)
        item.setFontColor(QColor(color))
        item.setMarginX(0)
        item.setMarginY(0)
        item.setVAlign(Qt.AlignmentFlag.AlignTop)
        item.setHAlign(Qt.AlignmentFlag.AlignLeft)
        return self.put(item, name, *box)


def text_format(size, color=INK):
    """Of words that items draw themselves."""
    made = QgsTextFormat()
    made.setFont(QFont(FONT))
    made.setSize(size)
    made.setColor(QColor(color))
    return made


def driven(item, **expressions):
    """Let QGIS work properties of an item out."""
    found = item.dataDefinedProperties()
    for name, expression in expressions.items():
        found.setProperty(getattr(QgsLayoutObject.DataDefinedProperty, name),
                          QgsProperty.fromExpression(" ".join(expression.split())))
    item.setDataDefinedProperties(found)


def main_map(sheet):
    """The area, framed, with its coordinates."""
    made = QgsLayoutItemMap(sheet.layout)
    wide, tall = sheet.width - 2 * MARGIN - LABELS - COLUMN - 8, sheet.height - TOP - FOOT
    sheet.put(made, "Map", MARGIN + LABELS, TOP, wide, tall)
    made.setExtent(QgsRectangle(0, 0, wide, tall))  # the areas of the atlas take its place
    made.setFrameEnabled(True)
    made.setFrameStrokeColor(QColor(INK))
    made.setFrameStrokeWidth(QgsLayoutMeasurement(0.3))
    made.setAtlasDriven(True)
    made.setAtlasScalingMode(QgsLayoutItemMap.AtlasScalingMode.Auto)
    made.setAtlasMargin(0.08)
    driven(made, MapScale=SCALE.format(wide=wide, tall=tall))
    grid = QgsLayoutItemMapGrid("Degrees and minutes", made)
    made.grids().addGrid(grid)
    grid.setCrs(QgsCoordinateReferenceSystem("EPSG:4326"))
    grid.setIntervalX(10)  # where the expressions below know nothing: QGIS would draw a fine one over half the Earth
    grid.setIntervalY(10)
    grid.setStyle(QgsLayoutItemMapGrid.GridStyle.Cross)
    grid.setCrossLength(2.5)
    grid.setLineSymbol(line_symbol(line(INK, 0.12, alpha=150)))
    grid.setAnnotationEnabled(True)
    grid.setAnnotationTextFormat(text_format(6.5))
    grid.setAnnotationFormat(QgsLayoutItemMapGrid.AnnotationFormat.CustomFormat)
    grid.setAnnotationExpression(" ".join(EDGE.split()))
    grid.setAnnotationFrameDistance(1.2)
    Side, Way = QgsLayoutItemMapGrid.BorderSide, QgsLayoutItemMapGrid.AnnotationDirection
    Shown, Where = QgsLayoutItemMapGrid.DisplayMode, QgsLayoutItemMapGrid.AnnotationPosition
    for side, shown, way in ((Side.Left, Shown.LatitudeOnly, Way.Vertical), (Side.Right, Shown.HideAll, Way.Vertical),
                             (Side.Top, Shown.HideAll, Way.Horizontal),
                             (Side.Bottom, Shown.LongitudeOnly, Way.Horizontal)):
        grid.setAnnotationDisplay(shown, side)
        grid.setAnnotationDirection(way, side)
        grid.setAnnotationPosition(Where.OutsideMapFrame, side)
    grid.setFrameStyle(QgsLayoutItemMapGrid.FrameStyle.InteriorTicks)
    grid.setFrameWidth(1.5)
    step = f"array_first(array_filter(array({STEPS}), @element >= {{}})) / 60"
    driven(grid, MapGridIntervalX=step.format(f"bounds_width({SHOWN}) * 60 / 5"),
           MapGridIntervalY=step.format(f"bounds_height({SHOWN}) * 60 / 4"))
    return made


def inset(sheet, main, box):
    """The lake, small, with the place of the map marked."""
    made = QgsLayoutItemMap(sheet.layout)
    sheet.put(made, "Lake", *box)
    made.setExtent(QgsRectangle(0, 0, *box[2:]))  # QGIS takes the shape of it for the page's
    made.setFrameEnabled(True)
    made.setFrameStrokeColor(QColor(GREY))
    made.setFrameStrokeWidth(QgsLayoutMeasurement(0.2))
    lake = "coalesce(if(layer_property(@lake_layer, 'type') = 'Vector', @lake_layer, NULL), @atlas_layerid)"
    whole = f"transform(layer_property({lake}, 'extent'), layer_property({lake}, 'crs'), @map_crs)"
    driven(made, MapXMin=f"x_min({whole})", MapXMax=f"x_max({whole})", MapYMin=f"y_min({whole})",
           MapYMax=f"y_max({whole})", MapLayers=f"layer_property({lake}, 'name')")
    around = QgsLayoutItemMapOverview("Place of the map", made)
    made.overviews().addOverview(around)
    around.setLinkedMap(main)
    around.setFrameSymbol(polygon_symbol(fill(None, 0, outline=VERMILION, width=0.7)))
    return made


def legend(sheet, main, box):
    """What the visible layers' colours mean, of what the page shows."""
    made = QgsLayoutItemLegend(sheet.layout)
    sheet.put(made, "Legend", *box)
    made.setLinkedMap(main)
    made.setAutoUpdateModel(True)
    made.setLegendFilterByMapEnabled(True)
    made.setBackgroundEnabled(False)
    made.setSymbolWidth(6)
    made.setSymbolHeight(2.4)
    Kind = QgsLegendStyle.Style
    for kind, size, above in ((Kind.Group, 6.5, 1.8), (Kind.Subgroup, 6, 1.4), (Kind.Symbol, 6, 0.9),
                              (Kind.SymbolLabel, 6, 0.9)):
        font = QFont(FONT)
        font.setPointSizeF(size)
        font.setBold(kind == Kind.Group)
        made.setStyleFont(kind, font)
        style = made.style(kind)
        style.setMargin(QgsLegendStyle.Side.Top, above)
        made.setStyle(kind, style)
    made.setBoxSpace(0)
    return made


def bar(sheet, main, name, unit, words, box):
    """A scale bar as long as there is room."""
    made = QgsLayoutItemScaleBar(sheet.layout)
    made.setStyle("Single Box")
    made.setLinkedMap(main)
    made.setUnits(unit)
    made.setUnitLabel(words)
    made.setMapUnitsPerScaleBarUnit(1)
    made.setSegmentSizeMode(QgsScaleBarSettings.SegmentSizeMode.SegmentSizeFitWidth)
    return sheet.put(made, name, *box)


def draw(paper, width, height):
    """One template."""
    sheet = Sheet(width, height)
    left, right = MARGIN, width - MARGIN - COLUMN
    sheet.label("Title", said(AREA), (left, 9, right - left - 4, 9), 17, bold=True)
    sheet.label("Under the title", said("concat(if(coalesce(@project_title, '') = '', '', "
                                        "concat(@project_title, ' \u00b7 ')), 'sheet ', "
                                        "@atlas_featurenumber, ' of ', @atlas_totalfeatures, ' \u00b7 ', "
                                        "format_date(now(), 'yyyy-MM-dd'))"),
                (left, 18, right - left - 4, 5), 8, color="#3b4f59")
    main = main_map(sheet)
    sheet.label("Facts", said(FACTS), (right, 9.5, COLUMN, 14), 8)
    inset(sheet, main, (right, TOP, COLUMN, 46))
    legend(sheet, main, (right, TOP + 49, COLUMN, height - TOP - 49 - FOOT))
    foot = height - FOOT + LABELS + 2
    north = QgsLayoutItemPicture(sheet.layout)
    sheet.put(north, "North", left + LABELS, foot, 8, 12)
    north.setPicturePath("base64:" + base64.b64encode(ARROW.encode()).decode())
    north.setLinkedMap(main)
    north.setNorthMode(QgsLayoutItemPicture.NorthMode.TrueNorth)
    sheet.label("Scale", said(SCALE_WORDS), (left + LABELS + 12, foot, 30, 5), 9, bold=True)
    sheet.label("Grid", said(GRID_WORDS), (left + LABELS + 12, foot + 13, width - 2 * MARGIN - LABELS - 12, 4), 6.5)
    sheet.label("Caution", "Caution. " + CAUTION, (left + LABELS + 12, foot + 18,
                                                   width - 2 * MARGIN - LABELS - 12, 8), 6.5)
    Kind = QgsUnitTypes.DistanceUnit
    for i, (name, unit, short) in enumerate((("Scale bar, metres", Kind.DistanceMeters, "m"),
                                             ("Scale bar, feet", Kind.DistanceFeet, "ft"))):
        made = bar(sheet, main, name, unit, short, (left + LABELS + 45 + 75 * i, foot, 70, 10))
        made.setTextFormat(text_format(7))
        made.setHeight(1.6)
        made.setNumberOfSegments(2)
        made.setNumberOfSegmentsLeft(0)
        made.setMinimumBarWidth(30)
        made.setMaximumBarWidth(58)
        made.setLineSymbol(line_symbol(line(INK, 0.2)))
        made.setFillSymbol(polygon_symbol(fill(INK, 255)))
        made.setAlternateFillSymbol(polygon_symbol(fill(PAPER, 255)))
        made.update()
    for name, value in (("lake_layer", "lake"), ("unit", "m")):
        QgsExpressionContextUtils.setLayoutVariable(sheet.layout, name, value)
    atlas = sheet.layout.atlas()
    atlas.setEnabled(True)
    atlas.setPageNameExpression(AREA)
    atlas.setFilenameExpression("'sheet_' || lpad(@atlas_featurenumber, 3, '0')")
    return sheet.layout


def save(layout, path):
    """Write a template."""
    document = QDomDocument()
    document.appendChild(layout.writeXml(document, QgsReadWriteContext()))
    path.write_text(document.toString(2), encoding="utf-8")


if __name__ == "__main__":
    QgsProject.instance().setCrs(QgsCoordinateReferenceSystem("EPSG:3857"))  # any in metres; not kept in the files
    LAYOUTS.mkdir(exist_ok=True)
    for paper, (width, height) in PAPERS.items():
        save(draw(paper, width, height), LAYOUTS / f"areas_{paper}.qpt")
        print(LAYOUTS / f"areas_{paper}.qpt")
    inside.leave()
