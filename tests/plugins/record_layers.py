"""A picture, a track and marks as QGIS layers, for the tools of the record: a straight way whose numbers are plain."""
import numpy as np
import tracks
from athwart.survey.geometry.frame import Frame
from osgeo import gdal
from qgis.core import QgsProject, QgsRasterLayer

CRS, T0, WIDTH, HEIGHT = "EPSG:32615", 1.7e9, 800, 600


def picture(path):
    """An empty picture of ``WIDTH`` x ``HEIGHT`` pixels without a georeference, in the project."""
    made = gdal.GetDriverByName("MEM").Create("", WIDTH, HEIGHT, 1, gdal.GDT_Byte)
    made.GetRasterBand(1).WriteRaster(0, 0, WIDTH, HEIGHT, np.zeros((HEIGHT, WIDTH), np.uint8).tobytes())
    gdal.GetDriverByName("PNG").CreateCopy(str(path), made)
    layer = QgsRasterLayer(str(path), "record", "gdal")
    QgsProject.instance().addMapLayer(layer)
    return layer


def track(depth=6.0, speed=1.5, count=61):
    """North at a speed, a sample a second, 10 pings a second from 1000 on; 40 m of range: 0.1 m a column."""
    frame, t = Frame(CRS, -93.0, 45.0), np.arange(count, dtype=float)
    x, y = frame.inverse(0 * t, speed * t)
    return tracks.made(CRS, x, y, 0 * t, t_s=T0 + t, record_ping=1000 + 10 * t, range_m=40.0, speed_mps=speed,
                       depth_m=depth, sigma_heading_deg=1.0)


def layer_of(make_layer, one):
    """A Track as a layer of the project."""
    layer = make_layer("Point", CRS, *tracks.as_rows(one), "track")
    QgsProject.instance().addMapLayer(layer)
    return layer


LAYOUT = {"LAYOUT": "both", "NEWEST": "bottom", "FIRST_PING": 1000}


def rows_of(layer):
    """Features as dicts."""
    return [dict(zip(f.fields().names(), f.attributes())) for f in layer.getFeatures()]
