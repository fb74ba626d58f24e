"""tools/run.sh tools.docs.mapped_record: pictures of the record before and after, docs/images/mapped-record-*.png.

The sample's record as the display shows it, and on the map over the lake's contours. Look at the result.
"""
from __future__ import annotations

import pathlib
import tempfile

import jobs
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsMapRendererSequentialJob,
    QgsMapSettings,
    QgsRasterLayer,
    QgsRectangle,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QImage

from .. import inside

IMAGES = pathlib.Path(__file__).resolve().parents[2] / "docs" / "images"
SAMPLE = jobs.SAMPLE
BOAT = {**jobs.BOAT, "LATENCY": 0.9, "TRANSDUCER_FORWARD": -1.8, "TRANSDUCER_STARBOARD": 0.4, "MOUNT_ANGLE": 1.4,
        "WATER_TEMPERATURE": 18.4, "TEMPERATURE_UNIT": "C", "ASSUMED_SOUND_SPEED": 1500}
ROWS, WIDTH = 470, 960
"""Rows of the picture that are shown, and pixels across the map."""


def main():
    """Draw both."""
    kept = inside.qgis(), inside.processing()
    import processing  # is on the path from now on only

    folder = pathlib.Path(tempfile.mkdtemp())

    def run(tool, output="OUTPUT", ending="gpkg", **parameters):
        path = str(folder / f"{tool}.{ending}")
        return processing.run(f"athwart:{tool}", {**parameters, output: path})[output]
    frame = {row.split(",")[0]: row.split(",")[1]
             for row in (SAMPLE / "north_record_frame.csv").read_text("utf-8").splitlines()}
    fixes = run("readlogs", INPUT=[str(SAMPLE / "outing_north.nmea")])
    track = run("preparetrack", INPUT=fixes, **BOAT)
    mapped = run("georeferenceimage", ending="tif", IMAGE=[str(SAMPLE / "north_record.png")], TRACK=track,
                 LAYOUT="both", NEWEST=frame["newest"], FIRST_TIME=frame["first_time"], LAST_TIME=frame["last_time"],
                 BOTTOM_FROM="traced", BALANCE=True)
    picture = QImage(str(SAMPLE / "north_record.png"))
    picture.copy(0, picture.height() - ROWS, picture.width(), ROWS).save(str(IMAGES / "mapped-record-before.png"))
    layer = QgsRasterLayer(mapped, "record")
    layer.loadNamedStyle(str(pathlib.Path(mapped).with_suffix(".qml")))
    contours = QgsVectorLayer(jobs.layer(SAMPLE / "lake.gpkg", "contours"), "contours")
    extent = layer.extent()
    east = QgsRectangle(extent.xMinimum(), extent.yMinimum() - 12, extent.xMinimum() + 320, extent.yMaximum() + 12)
    settings = QgsMapSettings()
    settings.setLayers([contours, layer])
    settings.setDestinationCrs(QgsCoordinateReferenceSystem("EPSG:32619"))
    settings.setExtent(east)
    settings.setOutputSize(QSize(WIDTH, int(WIDTH * east.height() / east.width())))
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    job.renderedImage().save(str(IMAGES / "mapped-record-after.png"))
    print(f"2 pictures in {IMAGES}")
    del kept
    inside.leave()


if __name__ == "__main__":
    main()
