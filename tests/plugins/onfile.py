"""Tracks and depth grids as files, for the doors of a tool that take no layer objects. Needs GDAL only."""
import math

import numpy as np
from athwart.survey.model import schemas
from osgeo import gdal, ogr, osr

_TYPES = {"double": ogr.OFTReal, "int": ogr.OFTInteger, "int64": ogr.OFTInteger64, "string": ogr.OFTString,
          "bool": ogr.OFTInteger}


def _srs(epsg):
    system = osr.SpatialReference()
    system.ImportFromEPSG(epsg)
    system.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    return system


def track_file(path, track, epsg=32615):
    """A prepared track as GeoPackage."""
    store = ogr.GetDriverByName("GPKG").CreateDataSource(str(path))
    layer = store.CreateLayer("track", _srs(epsg), ogr.wkbPoint)
    wanted = [f for f in schemas.TRACK if f.name != "time"]
    for field in wanted:
        layer.CreateField(ogr.FieldDefn(field.name, _TYPES[field.kind]))
    layer.StartTransaction()
    for i in range(len(track)):
        feature = ogr.Feature(layer.GetLayerDefn())
        for field in wanted:
            value = getattr(track, field.name)[i]
            value = value.item() if hasattr(value, "item") else value
            if not (isinstance(value, float) and math.isnan(value)):
                feature.SetField(field.name, int(value) if field.kind == "bool" else value)
        place = ogr.Geometry(ogr.wkbPoint)
        place.AddPoint_2D(float(track.x[i]), float(track.y[i]))
        feature.SetGeometry(place)
        layer.CreateFeature(feature)
    layer.CommitTransaction()
    return str(path)


def raster_file(path, values, transform, epsg=32615, nodata=-9999.0, kind=gdal.GDT_Float32, unit=""):
    """Values, NaN for nodata, as GeoTIFF."""
    values = np.asarray(values, float)
    raster = gdal.GetDriverByName("GTiff").Create(str(path), values.shape[1], values.shape[0], 1, kind)
    raster.SetGeoTransform([float(v) for v in transform])
    if epsg:
        raster.SetProjection(_srs(epsg).ExportToWkt())
    band = raster.GetRasterBand(1)
    band.SetNoDataValue(nodata)
    band.SetUnitType(unit)
    filled = np.where(np.isfinite(values), values, nodata).astype(np.float32)
    band.WriteRaster(0, 0, *values.shape[::-1], filled.tobytes(), *values.shape[::-1], gdal.GDT_Float32)
    raster.FlushCache()
    return str(path)


def polygon_file(path, rings, epsg=32615, lines=False):
    """Rings, the first the outline and the others holes, as one polygon (or as lines) in a GeoPackage."""
    store = ogr.GetDriverByName("GPKG").CreateDataSource(str(path))
    layer = store.CreateLayer("shape", _srs(epsg), ogr.wkbLineString if lines else ogr.wkbPolygon)
    outline = ogr.Geometry(ogr.wkbPolygon)
    for xy in rings:
        ring = ogr.Geometry(ogr.wkbLineString if lines else ogr.wkbLinearRing)
        for x, y in [*xy, xy[0]]:
            ring.AddPoint_2D(float(x), float(y))
        if lines:
            _add(layer, ring)
        else:
            outline.AddGeometry(ring)
    if not lines:
        _add(layer, outline)
    return str(path)


def _add(layer, geometry):
    feature = ogr.Feature(layer.GetLayerDefn())
    feature.SetGeometry(geometry)
    layer.CreateFeature(feature)


def bands_of(path):
    """Bands of a raster by name, NaN for nodata, and the dataset."""
    raster = gdal.Open(str(path))
    found = {}
    for number in range(1, raster.RasterCount + 1):
        band = raster.GetRasterBand(number)
        raw = band.ReadRaster(buf_type=gdal.GDT_Float32)
        values = np.frombuffer(raw, np.float32).reshape(raster.RasterYSize, raster.RasterXSize).copy()
        values[values == np.float32(band.GetNoDataValue())] = np.nan
        found[band.GetDescription()] = values
    return found, raster
