"""The frame of the tools' pictures: what is given, an arrow, what is made; maps, records, text, tables, pages."""
from __future__ import annotations

import pathlib
import shutil
import subprocess
import tempfile

from athwart.survey.model.palette import BLUE, GREY, INK, PAPER
from PIL import Image
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsMapRendererSequentialJob,
    QgsMapSettings,
    QgsPointXY,
    QgsRectangle,
)
from qgis.PyQt.QtCore import QPointF, QRectF, QSize, Qt
from qgis.PyQt.QtGui import QColor, QFont, QImage, QPainter, QPen, QPolygonF

from . import small_png

WIDE, TALL, GAP = 372, 300, 32
"""Pixels of a pane, and between the two."""
MAP_CRS = QgsCoordinateReferenceSystem("EPSG:32619")
DOTS = 110
"""Dots an inch: labels stay legible where a page is read on a phone."""
COLOURS = 72
"""Of the file: few, so that it is small."""


def framed(extent, grow=1.06):
    """An extent in the shape of a pane."""
    box = QgsRectangle(extent)
    box.scale(grow)
    width, height = max(box.width(), box.height() * WIDE / TALL), max(box.height(), box.width() * TALL / WIDE)
    middle = box.center()
    return QgsRectangle.fromCenterAndSize(middle, width, height)


def around(x, y, width):
    """The extent of a pane round a place, so wide."""
    return QgsRectangle.fromCenterAndSize(QgsPointXY(x, y), width, width * TALL / WIDE)


def pane():
    """An empty one."""
    image = QImage(WIDE, TALL, QImage.Format.Format_RGB32)
    image.fill(QColor(PAPER))
    return image


def map_pane(layers, extent, background=PAPER, bar=True):
    """Layers (topmost first) in the sample's coordinates; ``extent`` is brought into the pane's shape."""
    box = framed(extent, 1.0)
    image = _rendered(layers, box, MAP_CRS, background)
    if bar:
        _scale_bar(image, box.width() / WIDE)
    return image


def record_pane(layers, extent):
    """Layers in pixels of a picture of the record."""
    return _rendered(layers, framed(extent, 1.0), QgsCoordinateReferenceSystem(), "#1b1410")


def _rendered(layers, box, crs, background):
    settings = QgsMapSettings()
    settings.setLayers(layers)
    settings.setDestinationCrs(crs)
    settings.setExtent(box)
    settings.setOutputSize(QSize(WIDE, TALL))
    settings.setOutputDpi(DOTS)
    settings.setBackgroundColor(QColor(background))
    labels = settings.labelingEngineSettings()
    labels.setFlag(labels.Flag.UsePartialCandidates, False)  # no label is cut at the pane's edge
    settings.setLabelingEngineSettings(labels)
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    return job.renderedImage()


def _font(size, fixed=False, bold=False):
    font = QFont("DejaVu Sans Mono" if fixed else "DejaVu Sans")
    font.setPixelSize(size)
    font.setBold(bold)
    return font


def _scale_bar(image, metres_a_pixel):
    """A length in round metres at the lower left."""
    length = max((n for n in (5, 10, 20, 50, 100, 200, 500) if n / metres_a_pixel < WIDE * 0.32), default=5)
    pixels = length / metres_a_pixel
    with _painting(image) as painter:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(255, 255, 255, 210))
        painter.drawRoundedRect(QRectF(6, TALL - 34, pixels + 16, 28), 3, 3)
        painter.setBrush(QColor(INK))
        painter.drawRect(QRectF(14, TALL - 14, pixels, 4))
        painter.setPen(QColor(INK))
        painter.setFont(_font(13))
        painter.drawText(QRectF(14, TALL - 33, max(pixels, 60), 18), Qt.AlignmentFlag.AlignLeft, f"{length} m")


def text_pane(lines, size=13):
    """Lines of a file, as they stand in it; what is too long is cut at the pane's edge."""
    image = pane()
    with _painting(image) as painter:
        painter.setFont(_font(size, fixed=True))
        painter.setPen(QColor(INK))
        for k, line in enumerate(lines):
            painter.drawText(QPointF(12, 14 + size + k * size * 1.5), line)
    return image


def table_pane(head, rows, size=14, share=None):
    """A table: its head, its rows of text, and each column's share of the width."""
    image = pane()
    share = share or [1 / len(head)] * len(head)
    step = size * 1.72
    with _painting(image) as painter:
        for k, row in enumerate([head, *rows]):
            x, y = 12.0, 10 + k * step
            painter.setFont(_font(size, bold=k == 0))
            painter.setPen(QColor(INK))
            for text, part in zip(row, share):
                box = QRectF(x, y, part * (WIDE - 24) - 4, step)
                painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, str(text))
                x += part * (WIDE - 24)
            painter.setPen(QPen(QColor(INK if k == 0 else "#d5dee2"), 2 if k == 0 else 1))
            painter.drawLine(QPointF(12, y + step), QPointF(WIDE - 12, y + step))
    return image


def page_pane(path, width=560):
    """The upper part of a page (HTML), laid out ``width`` pixels wide; None where there is no Chromium."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if browser is None:
        return None
    height = round(width * TALL / WIDE)
    with tempfile.TemporaryDirectory() as folder:
        shot = pathlib.Path(folder, "page.png")
        subprocess.run([browser, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
                        f"--user-data-dir={folder}", f"--window-size={width},{height}", f"--screenshot={shot}",
                        pathlib.Path(path).as_uri()], check=True, capture_output=True, timeout=120)
        picture = Image.open(shot).convert("RGB")
        picture.resize((WIDE, TALL), Image.Resampling.LANCZOS).save(shot)
        return QImage(str(shot)).convertToFormat(QImage.Format.Format_RGB32)


class _painting:
    """A painter that ends with its block."""

    def __init__(self, image):
        self.painter = QPainter(image)
        self.painter.setRenderHint(QPainter.RenderHint.Antialiasing)

    def __enter__(self):
        return self.painter

    def __exit__(self, *_):
        self.painter.end()


def put_together(given, made, target):
    """Both panes and the arrow, as a small PNG."""
    image = QImage(2 * WIDE + GAP, TALL, QImage.Format.Format_RGB32)
    image.fill(QColor(PAPER))
    with _painting(image) as painter:
        for part, x in ((given, 0), (made, WIDE + GAP)):
            painter.drawImage(x, 0, part)
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(GREY), 1))
            painter.drawRect(QRectF(x + 0.5, 0.5, WIDE - 1, TALL - 1))
        x, y = WIDE + GAP / 2, TALL / 2
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(BLUE))
        painter.drawPolygon(QPolygonF([QPointF(x - 9, y - 13), QPointF(x + 10, y), QPointF(x - 9, y + 13)]))
    image.save(str(target))
    small_png.of_few_colours(Image.open(target).convert("RGB"), COLOURS).save(target, optimize=True)
