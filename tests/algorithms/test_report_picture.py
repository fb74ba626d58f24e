"""The map of a report, rasterised by Qt and compared with the swath layer cell by cell."""
import pathlib
import re

import numpy as np
import pytest
import shapely.wkb
import svgpaint
import tracks
from athwart.survey.geometry.frame import Frame
from athwart.survey.model.palette import GREY, SEEN, TWICE, UNSEEN
from qgis.PyQt.QtCore import QByteArray
from qgis.PyQt.QtGui import QColor, QImage, QPainter
from shapely.geometry import Point
from shapely.prepared import prep

QtSvg = pytest.importorskip("qgis.PyQt.QtSvg")
UTM, LON, LAT = "EPSG:32615", -93.0, 45.0  # on the zone's middle meridian, where grid north is true north
WIDE = 1920


@pytest.fixture
def serpentine(make_layer):
    """Seven lines 24 m apart over 5 m of water at 30 m range, there and back, and one across them all: most of the
    ground is seen two or three times."""
    x0, y0 = (float(v[0]) for v in Frame(UTM, LON, LAT).inverse(np.zeros(1), np.zeros(1)))
    legs = [((24.0 * i, 0.0), (24.0 * i, 160.0)) if i % 2 == 0 else ((24.0 * i, 160.0), (24.0 * i, 0.0))
            for i in range(7)] + [((-10.0, 80.0), (154.0, 80.0))]
    x, y, heading, number = [], [], [], []
    for i, leg in enumerate(legs, 1):
        a, b = np.array(leg)
        count = int(np.hypot(*(b - a)) / 2) + 1
        at = a + np.linspace(0, 1, count)[:, None] * (b - a)
        x += (x0 + at[:, 0]).tolist()
        y += (y0 + at[:, 1]).tolist()
        heading += [float(np.degrees(np.arctan2(*(b - a))) % 360)] * count
        number += [i] * count
    sample = np.arange(len(x)) + 10 * np.array(number)  # a jump of the count parts the passes
    made = tracks.made(UTM, np.array(x), np.array(y), heading_deg=np.array(heading), pass_id=np.array(number),
                       sample_id=sample, t_s=1.7e9 + sample, speed_mps=2.0)
    fields, rows = tracks.as_rows(made)
    lake = (x0 - 60, y0 - 60, x0 + 210, y0 + 220)
    return make_layer("Point", UTM, fields, rows, "track"), lake


def picture(svg):
    """(rows, columns, 3) colours, and pixels for each drawing unit."""
    renderer = QtSvg.QSvgRenderer(QByteArray(svg.encode("utf-8")))
    size = renderer.viewBoxF()
    image = QImage(WIDE, round(WIDE * size.height() / size.width()), QImage.Format.Format_RGB32)
    image.fill(QColor("#ffffff"))
    painter = QPainter(image)
    renderer.render(painter)
    painter.end()
    bits = image.constBits()
    bits.setsize(image.sizeInBytes())
    pixels = np.frombuffer(bytes(bits), np.uint8).reshape(image.height(), image.bytesPerLine() // 4, 4)
    return pixels[:, :WIDE, 2::-1].astype(int), WIDE / size.width()


def test_every_cell_of_the_page_has_the_colour_its_looks_ask_for(run, serpentine, make_layer, tmp_path):
    track, (west, south, east, north) = serpentine
    drawn = run("swathfootprint", {"INPUT": track, "OUTPUT": "memory:"})["OUTPUT"]
    ring = f"(({west} {south},{east} {south},{east} {north},{west} {north},{west} {south}))"
    lake = make_layer("Polygon", UTM, {"name": "string"}, [(f"POLYGON{ring}", ["lake"])])
    areas = run("coveragegaps", {"SWATHS": drawn, "AREA": lake, "OUTPUT": "memory:", "AREAS": "memory:"})["AREAS"]
    run("coveragereport", {"SWATHS": drawn, "AREAS": areas, "OUTPUT_HTML": str(tmp_path / "r.html")})
    svg = re.search(r"<svg.*?</svg>", pathlib.Path(tmp_path / "r.html").read_text(encoding="utf-8"), re.S).group(0)
    svg = re.sub(r"<text.*?</text>", "", svg, flags=re.S)
    corners = np.vstack(svgpaint.paths(svg, UNSEEN)[0])
    scale = np.ptp(corners[:, 0]) / (east - west)
    x, y = (a.ravel() for a in np.meshgrid(np.arange(west + 2, east - 2, 1.9), np.arange(south + 2, north - 2, 1.9)))
    pixels, dense = picture(svg)
    column = ((corners[:, 0].min() + (x - west) * scale) * dense).astype(int)
    row = ((corners[:, 1].min() + (north - y) * scale) * dense).astype(int)
    shown = pixels[row, column]
    passes = {}
    for feature in drawn.getFeatures():
        strip = shapely.wkb.loads(bytes(feature.geometry().asWkb().data()))
        passes.setdefault(feature["pass_id"], []).append(strip)
    looks, edge = np.zeros(len(x), int), np.zeros(len(x), bool)
    points = [Point(p) for p in zip(x, y)]
    for strips in passes.values():
        inside = np.zeros(len(x), bool)
        for strip in strips:
            ready, rim = prep(strip), prep(strip.boundary.buffer(0.8))
            inside |= np.array([ready.contains(point) for point in points])
            edge |= np.array([rim.contains(point) for point in points])
        looks += inside
    assert (looks == 1).sum() > 800 and (looks >= 2).sum() > 5000 and (looks == 0).sum() > 2500
    colours = {0: UNSEEN, 1: SEEN, 2: TWICE}
    for count, colour in colours.items():
        there = (np.minimum(looks, 2) == count) & ~edge
        wanted = [int(colour[i:i + 2], 16) for i in (1, 3, 5)]
        wrong = np.abs(shown[there] - wanted).max(axis=1) > 3
        if count == 0:  # hatched: bare between the lines, and never the colour of what was seen
            assert 0.6 < 1 - wrong.mean() < 0.95
            ink = np.array([[int(c[i:i + 2], 16) for i in (1, 3, 5)] for c in (UNSEEN, GREY)])
            along = np.clip((shown[there] - ink[0]) @ (ink[1] - ink[0]) / ((ink[1] - ink[0]) ** 2).sum(), 0, 1)
            wrong = np.abs(shown[there] - ink[0] - along[:, None] * (ink[1] - ink[0])).max(axis=1) > 3
        assert not wrong.any(), f"{100 * wrong.mean():.1f} % of the ground seen {count} times has another colour"
