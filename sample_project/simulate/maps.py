"""The maps: depth grid, contours, shoreline and water, as files a GIS reads."""
from __future__ import annotations

import functools

import numpy as np
from osgeo import gdal, ogr, osr
from shapely.geometry import LineString, Polygon

from . import lake

CELL_M = 2.0
CONTOUR_STEP_M = 0.5
NODATA = -9999.0
_OUTSIDE = -9.0

gdal.UseExceptions()
ogr.UseExceptions()
gdal.SetConfigOption("OGR_CURRENT_DATE", "2024-07-01T00:00:00Z")  # a GeoPackage dates its layers: the same every time


def srs():
    """The map grid, as the GIS library wants it."""
    system = osr.SpatialReference()
    system.ImportFromEPSG(lake.EPSG)
    system.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    return system


@functools.lru_cache(maxsize=1)
def _surface():
    """Distance from the shore and depth at the middles of the grid's cells."""
    west, south, east, north = lake.BOX
    u, v = np.meshgrid(np.arange(west + CELL_M / 2, east, CELL_M), np.arange(north - CELL_M / 2, south, -CELL_M))
    return lake.inside(u, v), lake.depth(u, v)


def _raster(values, nodata=None, path=""):
    """The values as a raster, in memory or in a GeoTIFF."""
    options = ["COMPRESS=DEFLATE", "PREDICTOR=3", "ZLEVEL=9", "TILED=YES"] if path else []
    raster = gdal.GetDriverByName("GTiff" if path else "MEM").Create(
        path, values.shape[1], values.shape[0], 1, gdal.GDT_Float32, options)
    raster.SetGeoTransform((lake.ORIGIN[0] + lake.BOX[0], CELL_M, 0.0, lake.ORIGIN[1] + lake.BOX[3], 0.0, -CELL_M))
    raster.SetProjection(srs().ExportToWkt())
    if nodata is not None:
        raster.GetRasterBand(1).SetNoDataValue(nodata)
    raster.GetRasterBand(1).WriteArray(values.astype(np.float32))
    return raster


def write_depth_grid(path):
    """Depths in metres, down positive, at cell middles; nothing outside the water."""
    inside, depth = _surface()
    depth = np.round(depth * 64) / 64  # to 16 mm: more would only be noise, and larger
    raster = _raster(np.where(inside > 0, depth, NODATA), NODATA, str(path))
    raster.GetRasterBand(1).SetDescription("depth_m")
    raster.GetRasterBand(1).SetUnitType("m")
    raster.FlushCache()


def _isolines(values, levels):
    """(level, (n, 2) map coordinates) of the lines of equal value."""
    raster = _raster(values)
    store = ogr.GetDriverByName("Memory").CreateDataSource("")
    layer = store.CreateLayer("lines", srs(), ogr.wkbLineString)
    layer.CreateField(ogr.FieldDefn("level", ogr.OFTReal))
    gdal.ContourGenerateEx(raster.GetRasterBand(1), layer,
                           options=["FIXED_LEVELS=" + ",".join(map(str, levels)), "ELEV_FIELD=0"])
    return [(f.GetField(0), np.array(f.GetGeometryRef().GetPoints())[:, :2]) for f in layer]


def shore_rings():
    """Shore of the mainland and of the island, as closed rings (n, 2) in map coordinates."""
    rings = [LineString(xy).simplify(0.15) for _, xy in _isolines(_surface()[0], [0.0])]
    rings = sorted((r for r in rings if r.is_ring), key=lambda r: -Polygon(r).area)
    return [np.round(np.array(r.coords), 2) for r in rings[:2]]


def contours():
    """(depth, (n, 2) map coordinates) every ``CONTOUR_STEP_M``."""
    inside, depth = _surface()
    depth = np.where(inside > 0, depth, np.minimum(inside, 0) * 0.15)
    levels = np.arange(CONTOUR_STEP_M, depth.max(), CONTOUR_STEP_M)
    lines = [(level, LineString(xy).simplify(0.12)) for level, xy in _isolines(depth, levels)]
    return [(level, np.round(np.array(line.coords), 2)) for level, line in lines if line.length > 15.0]


def _line(xy):
    line = ogr.Geometry(ogr.wkbLineString)
    for x, y in xy:
        line.AddPoint_2D(x, y)
    return line


def _polygon(*rings):
    polygon = ogr.Geometry(ogr.wkbPolygon)
    for xy in rings:
        ring = ogr.Geometry(ogr.wkbLinearRing)
        for x, y in xy:
            ring.AddPoint_2D(x, y)
        ring.CloseRings()
        polygon.AddGeometry(ring)
    return polygon


def _point(u, v):
    point = ogr.Geometry(ogr.wkbPoint)
    point.AddPoint_2D(lake.ORIGIN[0] + u, lake.ORIGIN[1] + v)
    return point


_TYPES = {str: ogr.OFTString, float: ogr.OFTReal}


def _layer(store, name, kind, fields, rows):
    """Write a layer: ``fields`` {name: type}, ``rows`` (geometry, values...)."""
    layer = store.CreateLayer(name, srs(), kind)
    for field, of in fields.items():
        layer.CreateField(ogr.FieldDefn(field, _TYPES[of]))
    for geometry, *values in rows:
        feature = ogr.Feature(layer.GetLayerDefn())
        feature.SetGeometry(geometry)
        for k, value in enumerate(values):
            feature.SetField(k, value)
        layer.CreateFeature(feature)


def write_lake(path, areas, places):
    """lake.gpkg: the water with the island cut out, the shore as lines, contours, search areas and place names."""
    mainland, island = shore_rings()
    store = ogr.GetDriverByName("GPKG").CreateDataSource(str(path))
    _layer(store, "lake", ogr.wkbPolygon, {"name": str}, [(_polygon(mainland, island), "Orrelmere")])
    _layer(store, "shoreline", ogr.wkbLineString, {"name": str},
           [(_line(mainland), "mainland"), (_line(island), "Heron Isle")])
    _layer(store, "contours", ogr.wkbLineString, {"depth_m": float}, [(_line(xy), level) for level, xy in contours()])
    _layer(store, "search_areas", ogr.wkbPolygon, {"name": str},
           [(_polygon(np.array(corners) + lake.ORIGIN), name) for name, corners in areas])
    _layer(store, "places", ogr.wkbPoint, {"name": str, "kind": str},
           [(_point(u, v), name, kind) for name, u, v, kind in places])
    store.FlushCache()


def write_picture(path, grey):
    """A grey picture as PNG."""
    raster = gdal.GetDriverByName("MEM").Create("", grey.shape[1], grey.shape[0], 1, gdal.GDT_Byte)
    raster.GetRasterBand(1).WriteArray(grey)
    gdal.GetDriverByName("PNG").CreateCopy(str(path), raster, options=["ZLEVEL=9"])
    path.with_suffix(path.suffix + ".aux.xml").unlink(missing_ok=True)


def filled(strips, shape, cell):
    """Bool (rows, columns) over ``lake.BOX``: cells whose middle lies in one of the polygons, lists of (u, v)."""
    west, _, _, north = lake.BOX
    grid = gdal.GetDriverByName("MEM").Create("", shape[1], shape[0], 1, gdal.GDT_Byte)
    grid.SetGeoTransform((west, cell, 0, north, 0, -cell))
    grid.SetProjection(srs().ExportToWkt())
    source = ogr.GetDriverByName("Memory").CreateDataSource("")
    layer = source.CreateLayer("strips", srs(), ogr.wkbPolygon)
    for strip in strips:
        feature = ogr.Feature(layer.GetLayerDefn())
        corners = ", ".join(f"{x:.6f} {y:.6f}" for x, y in [*strip, strip[0]])
        feature.SetGeometryDirectly(ogr.CreateGeometryFromWkt(f"POLYGON(({corners}))"))
        layer.CreateFeature(feature)
    gdal.RasterizeLayer(grid, [1], layer, burn_values=[1])
    return grid.ReadAsArray() > 0
