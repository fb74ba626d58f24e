"""tools/run.sh tools.docs.mapped_record: the guide's pictures of records on the map, docs/images/mapped-record-*.png.

The sample's record as the display shows it, on the map over the lake's contours, its objects measured, and its known
targets drawn on it; and a simulated record of a turn over a floor with a straight line and a ring on it. Everything is
drawn by QGIS with the styles that users get. Look at the result.
"""
from __future__ import annotations

import pathlib
import tempfile

import jobs
import numpy as np
import sample_lines
import tracks
import waterfalls
from osgeo import gdal
from PIL import Image
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsFeature,
    QgsGeometry,
    QgsMapRendererSequentialJob,
    QgsMapSettings,
    QgsPointXY,
    QgsProcessingFeedback,
    QgsProject,
    QgsRasterLayer,
    QgsRectangle,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QImage

from sample_project.simulate import floors, ways
from sample_project.simulate.waterfall import Display, Noise, draw

from .. import inside
from ..basemap import contour_layer, depth_layer
from . import small_png

ROOT = pathlib.Path(__file__).resolve().parents[2]
IMAGES, STYLES = ROOT / "docs" / "images", ROOT / "plugin" / "styles"
SAMPLE = jobs.SAMPLE
BOAT = {**jobs.BOAT, "LATENCY": 0.9, "TRANSDUCER_FORWARD": -1.8, "TRANSDUCER_STARBOARD": 0.4, "MOUNT_ANGLE": 1.4,
        "WATER_TEMPERATURE": 18.4, "TEMPERATURE_UNIT": "C", "ASSUMED_SOUND_SPEED": 1500}
ROWS, WIDTH = 470, 960
"""Rows of the picture that are shown, and pixels across the map."""

FLOOR = floors.Floor(floors.rolling(6.0, 0.8, 70.0, 60.0), floors.texture(5, 0.3))
TURN = ways.Steered(((20, 1.5, 0), (84, 1.5, 100), (20, 1.5, 0)))
LINE, RING = ((0.0, 92.0), (100.0, 32.0)), (25.0, 36.0, 5.0)
"""On the floor of the turn: a straight line, by two of its points, and a ring, by its middle and radius (m)."""


def styled(layer, name):
    """A layer with one of our styles."""
    layer.loadNamedStyle(str(STYLES / f"{name}.qml"))
    return layer


def raster(path, name="mapped_record"):
    return styled(QgsRasterLayer(str(path), name), name)


def vector(path, name):
    return styled(QgsVectorLayer(str(path), name), name)


def save(name, layers, extent, crs, width=WIDTH):
    """Draw layers, the topmost first."""
    settings = QgsMapSettings()
    settings.setLayers(layers)
    settings.setDestinationCrs(crs)
    settings.setExtent(extent)
    settings.setOutputSize(QSize(width, int(width * extent.height() / extent.width())))
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    keep(name, job.renderedImage())


def keep(name, image, colours=96):
    """A picture of few colours, for the guide."""
    path = IMAGES / f"mapped-record-{name}.png"
    image.save(str(path))
    small_png.of_few_colours(Image.open(path).convert("RGB"), colours).save(path, optimize=True)


class Runs:
    """Tools run into a folder."""

    def __init__(self, folder):
        self.folder = folder

    def __call__(self, tool, **parameters):
        import processing  # is on the path from now on only
        name = tool if ":" in tool else f"athwart:{tool}"
        return processing.run(name, parameters, feedback=QgsProcessingFeedback(False))

    def to(self, name):
        return str(self.folder / name)


def of_the_sample(run):
    """The line of the sample's picture: on the map, measured, and its targets drawn on it."""
    frame = {name: row["value"] for name, row in sample_lines.table("north_record_frame", "name").items()}
    layout = {"LAYOUT": "both", "NEWEST": frame["newest"], "FIRST_TIME": frame["first_time"],
              "LAST_TIME": frame["last_time"]}
    path = str(SAMPLE / "north_record.png")
    fixes = run("readlogs", INPUT=[str(SAMPLE / "outing_north.nmea")], OUTPUT=run.to("fixes.gpkg"))["OUTPUT"]
    track = run("preparetrack", INPUT=fixes, **BOAT, OUTPUT=run.to("track.gpkg"))["OUTPUT"]
    mapped = run("georeferenceimage", IMAGE=[path], TRACK=track, **layout, BOTTOM_FROM="traced", BALANCE=True,
                 OUTPUT=run.to("map.tif"))["OUTPUT"]
    picture = QImage(path)
    keep("before", picture.copy(0, picture.height() - ROWS, picture.width(), ROWS), 32)
    record, utm = raster(mapped), QgsCoordinateReferenceSystem("EPSG:32619")
    contours, depths = contour_layer(SAMPLE), depth_layer(SAMPLE)
    extent = record.extent()
    west = QgsRectangle(extent.xMinimum(), extent.yMinimum() - 12, extent.xMinimum() + 320, extent.yMaximum() + 12)
    save("after", [contours, record, depths], west, utm)
    lines = sample_lines.layer()
    QgsProject.instance().addMapLayer(lines)
    names = {"record:Record": "r.tif", "objects:Objects": "o.gpkg", "targets:Targets": "t.gpkg",
             "targets:Ellipses": "e.gpkg"}
    made = run("recordtargets", TRACK=track, IMAGE=path, **layout, MARKS=lines, KIND_FIELD="kind",
               OBJECT_FIELD="object", ERRORS="survey", BOTTOM_FROM="traced", BALANCE=True,
               **{name: run.to(file) for name, file in names.items()})
    targets = made["targets:Targets"]
    place = next(f for f in QgsVectorLayer(targets).getFeatures() if f["label"] == "rowboat").geometry().asPoint()
    save("measured", [vector(targets, "targets"), vector(made["objects:Objects"], "objects"),
                      vector(made["targets:Ellipses"], "ellipses"), contours, raster(made["record:Record"])],
         QgsRectangle(place.x() - 14, place.y() - 8, place.x() + 14, place.y() + 8), utm, 760)
    drawn = run("drawtargets", TARGETS=targets, IMAGE=path, TRACK=track, **layout, OUTPUT=run.to("d.gpkg"),
                ELLIPSES=run.to("de.gpkg"))
    none = QgsCoordinateReferenceSystem()
    save("known", [vector(drawn["OUTPUT"], "drawn_targets"), vector(drawn["ELLIPSES"], "drawn_ellipses"),
                   QgsRasterLayer(path, "picture")],
         QgsRectangle(0, -picture.height() + 330, picture.width(), -picture.height() + 590), none, 720)
    return mapped


def of_a_turn(run):
    """A simulated record: before, and after over the contours of its floor."""
    cable = floors.marked((LINE,), (RING,), width_m=0.7, dark=0.0, light=8.0)
    floor = floors.Floor(FLOOR.depth, lambda u, v: 2.2 * FLOOR.bright(u, v) + cable(u, v))
    made = draw(TURN, floor, Display(((0.0, 25.0),), half=250, rate=0.2),
                Noise(speckle=6.0, clutter=0.006, fall_off=0.5, gamma=0.6), 4)
    path, crs = run.to("turn.png"), QgsCoordinateReferenceSystem("EPSG:32615")
    grey = np.ascontiguousarray(made.grey)
    data = gdal.GetDriverByName("MEM").Create("", grey.shape[1], grey.shape[0], 1, gdal.GDT_Byte)
    data.GetRasterBand(1).WriteRaster(0, 0, grey.shape[1], grey.shape[0], grey.tobytes())
    gdal.GetDriverByName("PNG").CreateCopy(path, data)
    track = layer_of(waterfalls.track_of(made, TURN, crs=waterfalls.CRS.from_epsg(32615)), run.to("turn.gpkg"), run)
    mapped = run("georeferenceimage", IMAGE=[path], TRACK=track, LAYOUT="both", NEWEST="top", FIRST_PING=1000,
                 BOTTOM_FROM="traced", BALANCE=True, OUTPUT=run.to("turn.tif"))["OUTPUT"]
    keep("turn-before", QImage(path), 32)
    record = raster(mapped)
    save("turn-after", [contours_of(FLOOR, record.extent(), run), record], record.extent().buffered(3), crs, 640)


def layer_of(track, path, run):
    """A Track in a GeoPackage."""
    fields, rows = tracks.as_rows(track)
    parts = "&".join(f"field={name}:{kind}" for name, kind in fields.items())
    layer = QgsVectorLayer(f"Point?crs=EPSG:32615&{parts}", "track", "memory")
    for (_, attributes), x, y in zip(rows, track.x.tolist(), track.y.tolist()):
        feature = QgsFeature(layer.fields())
        feature.setAttributes(attributes)
        feature.setGeometry(QgsGeometry.fromPointXY(QgsPointXY(x, y)))
        layer.dataProvider().addFeature(feature)
    return run("native:savefeatures", INPUT=layer, OUTPUT=path)["OUTPUT"]


def contours_of(floor, extent, run):
    """Contours of a simulated floor, half a metre apart, with the sample's style for them."""
    columns, rows = int(extent.width() + 20), int(extent.height() + 20)
    left, top = extent.xMinimum() - 10, extent.yMaximum() + 10
    x, y = np.meshgrid(left + np.arange(columns) + 0.5, top - np.arange(rows) - 0.5)
    back = waterfalls.Transformer.from_crs(32615, waterfalls.LOCAL, always_xy=True)
    u, v = back.transform(x, y)
    path = run.to("floor.tif")
    grid = gdal.GetDriverByName("GTiff").Create(path, columns, rows, 1, gdal.GDT_Float32)
    grid.SetGeoTransform((left, 1, 0, top, 0, -1))
    grid.SetProjection(QgsCoordinateReferenceSystem("EPSG:32615").toWkt())
    grid.GetRasterBand(1).WriteRaster(0, 0, columns, rows, floor.depth(u - waterfalls.EAST, v - waterfalls.NORTH)
                                      .astype(np.float32).tobytes())
    grid = None
    made = run("gdal:contour", INPUT=path, BAND=1, INTERVAL=0.5, FIELD_NAME="depth_m", OUTPUT=run.to("lines.gpkg"))
    return contour_layer(SAMPLE, QgsVectorLayer(made["OUTPUT"], "contours"))


def main():
    """Draw them all."""
    kept = inside.qgis(), inside.processing()
    run = Runs(pathlib.Path(tempfile.mkdtemp()))
    of_the_sample(run)
    of_a_turn(run)
    print(f"7 pictures in {IMAGES}")
    del kept
    inside.leave()


if __name__ == "__main__":
    main()
