"""Map sheets for print: QGIS's own layout engine draws a page an area, framed, with its facts; nothing is photographed
that is not also measured."""
import pathlib
import re

import numpy as np
import pytest
from athwart.plugin import sheets
from qgis.core import (
    QgsExpressionContextUtils,
    QgsFeature,
    QgsGeometry,
    QgsLayoutExporter,
    QgsLayoutItemMap,
    QgsProject,
    QgsRectangle,
    QgsVectorLayer,
)
from qgis.PyQt.QtGui import QImage

ROOT = pathlib.Path(__file__).resolve().parents[2]
INK = np.array([0x22, 0x30, 0x3A])


@pytest.fixture(scope="module")
def sample(qgis_app):
    project = QgsProject.instance()  # the expressions of a layout look for layers in no other
    assert project.read(str(ROOT / "sample_project" / "athwart_sample.qgz"))
    yield project
    project.clear()


def item(layout, name):
    return next(one for one in layout.items() if getattr(one, "id", str)() == name)


def pages(layout):
    """The page's number and feature, one after the other, as the atlas turns them."""
    atlas = layout.atlas()
    assert atlas.beginRender() and atlas.first()
    for number in range(atlas.count()):
        yield number, atlas.coverageLayer().getFeature(layout.reportContext().feature().id())
        atlas.next()
    atlas.endRender()


def test_the_sample_s_layout_prints_a_page_an_area(sample, tmp_path):
    layout = sample.layoutManager().layoutByName("Map sheets of the areas (Letter)")
    settings = QgsLayoutExporter.PdfExportSettings()
    settings.dpi = 30
    path = tmp_path / "sheets.pdf"
    assert QgsLayoutExporter.exportToPdf(layout.atlas(), str(path), settings)[0] == \
        QgsLayoutExporter.ExportResult.Success
    pdf = path.read_bytes()
    count = sample.mapLayersByName("search areas")[0].featureCount()
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf)) == count == 2
    width, height = (float(v) * 25.4 / 72 for v in re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf).groups())
    assert (width, height) == pytest.approx((11 * 25.4, 8.5 * 25.4), abs=0.5)


def test_each_page_frames_its_area_at_the_scale_it_tells(sample):
    """A map w mm wide that shows W m has the scale 1 : 1000 W / w."""
    layout = sample.layoutManager().layoutByName("Map sheets of the areas (A4)")
    lake, shown = sample.mapLayersByName("lake")[0].extent(), item(layout, "Map")
    for _, area in pages(layout):
        box = area.geometry().boundingBox()
        assert shown.extent().contains(box)
        assert max(box.width() / shown.extent().width(), box.height() / shown.extent().height()) > 0.7
        scale = 1000 * shown.extent().width() / shown.rect().width()
        told = float(item(layout, "Scale").currentText().split(":")[1].replace(",", ""))
        assert told == pytest.approx(scale, rel=0.005) and told % 250 == 0
        assert item(layout, "Title").currentText() == area["name"]
        assert "EPSG:32619" in item(layout, "Grid").currentText() and "not for navigation" in \
            item(layout, "Caution").currentText()
        assert item(layout, "Lake").extent().contains(lake)


def test_the_picture_has_the_area_s_outline_where_the_frame_says(sample):
    layout = sample.layoutManager().layoutByName("Map sheets of the areas (A4)")
    exporter, shown = QgsLayoutExporter(layout), item(layout, "Map")
    for number, area in pages(layout):
        image = exporter.renderPageToImage(0, dpi=90).convertToFormat(QImage.Format.Format_RGB32)  # blue, green, red
        bits = image.constBits()
        bits.setsize(image.sizeInBytes())
        pixels = np.frombuffer(bits, np.uint8).reshape(image.height(), image.width(), 4)[:, :, 2::-1].astype(float)
        per_mm, extent = image.width() / 297, shown.extent()
        found = []
        for inwards in (0.0, -9.0):  # metres; a pixel is one of them
            ring = area.geometry().buffer(inwards, 5)
            at = [ring.interpolate(d).asPoint() for d in np.arange(0, ring.length() - 1, 2.0)]
            x = shown.pos().x() + (np.array([p.x() for p in at]) - extent.xMinimum()) / extent.width() * \
                shown.rect().width()
            y = shown.pos().y() + (extent.yMaximum() - np.array([p.y() for p in at])) / extent.height() * \
                shown.rect().height()
            row, column = (y * per_mm).astype(int), (x * per_mm).astype(int)
            away = np.min([np.linalg.norm(pixels[row + i, column + j] - INK, axis=1)
                           for i in (-1, 0, 1) for j in (-1, 0, 1)], axis=0)
            found.append((away < 100).mean())
        assert found[0] > 0.3 and found[0] > 3 * found[1], (number, found)


def test_any_layer_of_areas_gets_sheets_in_its_own_unit(qgis_new_project):
    """8093.7128448 m2 are two acres of 43 560 square feet of 0.3048 m."""
    project = QgsProject.instance()
    areas = QgsVectorLayer("Polygon?crs=EPSG:32619&field=id:int&field=area_m2:double&field=covered_pct:double", "mine",
                           "memory")
    for i in range(3):
        feature = QgsFeature(areas.fields())
        feature.setGeometry(QgsGeometry.fromRect(QgsRectangle(5e5 + 900 * i, 4e6, 5e5 + 900 * i + 400, 4e6 + 50)))
        feature.setAttributes([i, 8093.7128448, 81.04])
        areas.dataProvider().addFeature(feature)
    QgsExpressionContextUtils.setLayerVariable(areas, "athwart_unit", "ft")
    project.addMapLayer(areas)
    project.setCrs(areas.crs())
    assert sheets.areas_of(project) is areas and sheets.lake_of(project) is None
    gaps = QgsVectorLayer("Polygon?crs=EPSG:32619&field=gap_id:int&field=area_m2:double", "gaps", "memory")
    beds = QgsVectorLayer("Polygon?crs=EPSG:32619&field=name:string", "beds", "memory")
    assert sheets.areas_of(project, gaps) is areas  # QGIS chooses the layer loaded last
    assert sheets.areas_of(project, beds) is beds
    made = [sheets.add_sheets(project, areas, paper=paper) for paper in sheets.PAPERS]
    assert [layout.name() for layout in made] == [sheets.NAME, f"{sheets.NAME} 2"]
    titles = []
    for _, area in pages(made[0]):
        titles.append(item(made[0], "Title").currentText())
        assert item(made[0], "Map").extent().contains(area.geometry().boundingBox())
        assert item(made[0], "Facts").currentText().split("\n") == ["Size: 2.00 ac", "Seen: 81.0 %"]
        assert item(made[0], "Lake").extent().contains(areas.extent())  # without a lake, where the areas lie
    assert titles == ["Area 1", "Area 2", "Area 3"]
    assert isinstance(item(made[1], "Map"), QgsLayoutItemMap)
