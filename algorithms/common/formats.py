"""Which formats can hold a result: a small one is written and read back before any work is done."""
from __future__ import annotations

import os
import tempfile
from functools import cache

import numpy as np
from osgeo import gdal, osr
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransformContext,
    QgsFeature,
    QgsFields,
    QgsGeometry,
    QgsProcessingUtils,
    QgsRasterFileWriter,
    QgsVectorFileWriter,
    QgsVectorLayer,
    QgsWkbTypes,
)
from qgis.PyQt.QtCore import QDateTime, QTimeZone

from ...survey.model.schemas import Field
from .compat import make_field
from .geopackage import quiet

__all__ = ["raster_trouble", "vector_trouble"]

_PROBE = (Field("sig_depth_offset_m", "double", "", ""), Field("pass_id", "int", "", ""),
          Field("record_ping", "int64", "", ""), Field("outing", "string", "", ""), Field("usable", "bool", "", ""),
          Field("time", "datetime", "", ""))
_ROW = [1.25, 7, 12345678, "a", True, QDateTime.fromMSecsSinceEpoch(1_700_000_000_000, QTimeZone.utc())]
_SHAPES = {"point": (QgsWkbTypes.Type.Point, "POINT(1 2)"),
           "line": (QgsWkbTypes.Type.LineString, "LINESTRING(1 2, 3 4)"),
           "polygon": (QgsWkbTypes.Type.MultiPolygon, "MULTIPOLYGON(((1 2, 3 4, 3 2, 1 2)))"),
           "table": (QgsWkbTypes.Type.NoGeometry, "")}
_CELLS = np.array([[-1.5, 2.25], [1e-3, -9999.0]], np.float32)


@cache
def vector_trouble(ending: str, kind: str) -> tuple[str, str]:
    """(name of the format, what it cannot hold of a layer): the second '' where it holds all.

    Parameters
    ----------
    ending : str
        Without the dot.
    kind : {'point', 'line', 'polygon', 'table'}
    """
    driver = QgsVectorFileWriter.driverForExtension(ending)
    if driver == "GPKG":
        return driver, ""
    with tempfile.TemporaryDirectory(dir=QgsProcessingUtils.tempFolder()) as folder, quiet():
        return driver, _layer_lost(driver, os.path.join(folder, f"probe.{ending}"), kind)


def _layer_lost(driver: str, path: str, kind: str) -> str:
    shape, wkt = _SHAPES[kind]
    fields = QgsFields()
    for field in _PROBE:
        fields.append(make_field(field))
    options = QgsVectorFileWriter.SaveVectorOptions()
    options.driverName = driver
    options.datasourceOptions = QgsVectorFileWriter.defaultDatasetOptions(driver)
    options.layerOptions = QgsVectorFileWriter.defaultLayerOptions(driver)
    writer = QgsVectorFileWriter.create(path, fields, shape, QgsCoordinateReferenceSystem("EPSG:4326"),
                                        QgsCoordinateTransformContext(), options)
    feature = QgsFeature(fields)
    feature.setAttributes(_ROW)
    if wkt:
        feature.setGeometry(QgsGeometry.fromWkt(wkt))
    taken = writer.hasError() == QgsVectorFileWriter.WriterError.NoError and writer.addFeature(feature)
    del writer
    layer = QgsVectorLayer(path, "probe", "ogr") if taken else None
    rows = list(layer.getFeatures()) if layer is not None and layer.isValid() else []
    if len(rows) != 1:
        return "rows without a place" if kind == "table" else f"a layer of {kind}s"
    if wkt and rows[0].geometry().isNull():
        return "places"
    there = layer.fields().names()
    lost = [field.name for field in _PROBE if field.name not in there]
    return f"the field {lost[0]}" if lost else ""


@cache
def raster_trouble(ending: str, bands: int) -> tuple[str, str]:
    """(name of the format, what it cannot hold of a raster of so many named bands of real numbers): '' as above."""
    driver = QgsRasterFileWriter.driverForExtension(ending)
    if driver == "GTiff":
        return driver, ""
    if not driver:
        other = QgsVectorFileWriter.driverForExtension(ending)
        return other or "GTiff", "rasters" if other else ""
    with tempfile.TemporaryDirectory(dir=QgsProcessingUtils.tempFolder()) as folder, quiet():
        try:
            return driver, _raster_lost(driver, folder, ending, bands)
        except RuntimeError:  # GDAL's own, from QGIS 3.38 on
            return driver, _many(bands)


def _many(bands: int) -> str:
    return f"{bands} bands of real numbers" if bands > 1 else "real numbers"


def _raster_lost(driver: str, folder: str, ending: str, bands: int) -> str:
    source_path, path = os.path.join(folder, "source.tif"), os.path.join(folder, f"probe.{ending}")
    rows, cols = 32, 48
    cells = np.tile(_CELLS, (rows // 2, cols // 2))
    source = gdal.GetDriverByName("GTiff").Create(source_path, cols, rows, bands, gdal.GDT_Float32)
    source.SetGeoTransform((500_000.0, 2.0, 0.0, 4_983_000.0, 0.0, -2.0))
    system = osr.SpatialReference()
    system.ImportFromEPSG(32632)
    source.SetProjection(system.ExportToWkt())
    for number in range(1, bands + 1):
        band = source.GetRasterBand(number)
        band.SetNoDataValue(-9999.0)
        band.SetDescription(f"band {number}")
        band.WriteRaster(0, 0, cols, rows, (cells + number).astype(np.float32).tobytes())
    made = gdal.GetDriverByName(driver).CreateCopy(path, source, 0)
    del band, source, made
    os.remove(source_path)  # a format that only points at another file falls here
    copy = gdal.Open(path)
    if copy is None or (copy.RasterXSize, copy.RasterYSize) != (cols, rows) or copy.RasterCount != bands:
        return _many(bands)
    for number in range(1, bands + 1):
        band = copy.GetRasterBand(number)
        raw = band.ReadRaster(0, 0, cols, rows, buf_type=gdal.GDT_Float32)
        if raw is None or not np.allclose(np.frombuffer(raw, np.float32).reshape(rows, cols), cells + number):
            return _many(bands)
        if bands > 1 and band.GetDescription() != f"band {number}":
            return "names of bands"
    if not np.allclose(copy.GetGeoTransform(), (500_000.0, 2.0, 0.0, 4_983_000.0, 0.0, -2.0)):
        return "the place of its cells"
    return ""
