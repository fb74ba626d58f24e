"""Depth maps as rasters north up in metres, whatever they come as: a raster read through a virtual warp, or contours.

Both are read by window, so that neither need fit in memory.
"""
from __future__ import annotations

import math

import numpy as np
from osgeo import gdal, ogr, osr
from qgis.core import QgsProcessingException, QgsProcessingUtils, QgsRasterFileWriter, QgsRasterPipe

from ...survey.errors import Cancelled, InputError
from ..common.read import wkt

__all__ = ["DepthMap", "contour_map", "raster_map"]

_UNKNOWN = float(np.float32(-1e30))
_SAMPLE = 512
_SMOOTHING = 10
"""Passes of a 3 x 3 mean over what was filled in: takes the seams between contours out and leaves these alone."""


class DepthMap:
    """A depth map ready to be read by window.

    Parameters
    ----------
    dataset : gdal.Dataset
        Of one band, projected in metres; cells of ``_UNKNOWN`` or not finite have no value.
    source : gdal.Dataset, optional
        What it was made from, to take samples of without making all of it.
    mask : gdal.Dataset, optional
        0 where there is no water.

    Attributes
    ----------
    unit : str
        What the map says of its own unit.
    """

    def __init__(self, dataset, source=None, mask=None):
        self._dataset, self._source, self._mask = dataset, source or dataset, mask
        band = self._source.GetRasterBand(1)
        self._scale, self._offset, self.unit = band.GetScale() or 1.0, band.GetOffset() or 0.0, band.GetUnitType() or ""
        self.wkt, self.transform = dataset.GetProjection(), dataset.GetGeoTransform()
        self.shape = dataset.RasterYSize, dataset.RasterXSize

    def read(self, row, col, rows, cols):
        """(rows, cols) values in the map's own unit, NaN where it has none."""
        window = col, row, cols, rows
        values = _window(self._dataset, window, (cols, rows), gdal.GDT_Float64, np.float64)
        values[(values == _UNKNOWN) | ~np.isfinite(values)] = np.nan
        if self._mask is not None:
            values[_window(self._mask, window, (cols, rows), gdal.GDT_Byte, np.uint8) == 0] = np.nan
        return values * self._scale + self._offset

    def sample(self):
        """Values of cells spread over the map, some 260 000 at most."""
        size = self._source.RasterXSize, self._source.RasterYSize
        values = _window(self._source, (0, 0, *size), [min(n, _SAMPLE) for n in size], gdal.GDT_Float64, np.float64)
        nodata = self._source.GetRasterBand(1).GetNoDataValue()
        values[(values == nodata) | ~np.isfinite(values)] = np.nan
        return values.ravel() * self._scale + self._offset


def _window(dataset, window, size, kind, dtype):
    raw = dataset.GetRasterBand(1).ReadRaster(*window, *size, buf_type=kind)
    if raw is None:
        raise QgsProcessingException(f"The map could not be read: {gdal.GetLastErrorMsg()}")
    return np.frombuffer(raw, dtype).reshape(size[::-1]).copy()


def raster_map(layer, context, cell):
    """DepthMap of a raster layer.

    Parameters
    ----------
    layer : QgsRasterLayer
        Any provider, CRS, way round; first band.
    cell : float or None
        Cell size, m; None: about that of the layer.
    """
    from ...survey.bottom.rasters import metric_crs
    from ...survey.plane.frame import horizontal_crs

    if not layer.crs().isValid():
        raise InputError(f"The raster '{layer.name()}' has no coordinate reference system. Set it in the layer's "
                         "properties (Source), then run again.")
    source = gdal.Open(_file_of(layer, context))
    if source is None:
        raise InputError(f"The raster '{layer.name()}' could not be opened: {gdal.GetLastErrorMsg()}")
    own = wkt(layer.crs())
    middle = layer.extent().center()
    target = metric_crs(own, np.array([middle.x()]), np.array([middle.y()]))
    t, target_wkt = source.GetGeoTransform(), target.to_wkt("WKT1_GDAL")
    options = {"format": "VRT", "srcSRS": own, "dstSRS": target_wkt, "outputType": gdal.GDT_Float64,
               "dstNodata": _UNKNOWN, "multithread": False}
    native = _native_cell(t, (source.RasterXSize / 2, source.RasterYSize / 2), own, target)
    if target == horizontal_crs(own) and t[2] == t[4] == 0:
        x, y = (sorted((t[k], t[k] + t[k + step] * size)) for k, step, size in (
            (0, 1, source.RasterXSize), (3, 2, source.RasterYSize)))
        options["outputBounds"] = (x[0], y[0], x[1], y[1])
        if cell is None:
            options.update(xRes=abs(t[1]), yRes=abs(t[5]), resampleAlg="near")
    if "xRes" not in options:
        size = cell or native
        options.update(xRes=size, yRes=size, resampleAlg="average" if size > 1.5 * native else "bilinear")
    warped = gdal.Warp("", source, **options)
    if warped is None:
        raise InputError(f"The raster '{layer.name()}' could not be brought to {target.name}: {gdal.GetLastErrorMsg()}")
    return DepthMap(warped, source)


def _native_cell(t, middle, own, target):
    """Side (m) of a cell of about the size of the raster's own, in the middle of it."""
    from ...survey.bottom.rasters import carried

    col, row = (np.array([middle[k], middle[k] + (k == 0), middle[k] + (k == 1)]) for k in (0, 1))
    x, y = carried(own, target, t[0] + col * t[1] + row * t[2], t[3] + col * t[4] + row * t[5])
    size = math.sqrt(abs((x[1] - x[0]) * (y[2] - y[0]) - (x[2] - x[0]) * (y[1] - y[0])))
    return float(f"{size:.4g}")


def _file_of(layer, context):
    """What GDAL opens; layers of other providers are written out first."""
    if layer.providerType() == "gdal":
        return layer.dataProvider().dataSourceUri()
    path = QgsProcessingUtils.generateTempFilename("map.tif")
    pipe = QgsRasterPipe()
    pipe.set(layer.dataProvider().clone())
    writer = QgsRasterFileWriter(path)
    writer.writeRaster(pipe, layer.width(), layer.height(), layer.extent(), layer.crs(), context.transformContext())
    return path


def contour_map(contours, levels, water, shore, crs, cell, feedback):
    """DepthMap of contour lines inside the water, by GDAL's inverse-distance filling between what is drawn.

    Parameters
    ----------
    contours : list of shapely geometries
        Lines, in ``crs``.
    levels : (n,) array
        Value of each.
    water : shapely Polygon or MultiPolygon
        In ``crs``; its edge is the shore.
    shore : float
        Value of the shore.
    crs : QgsCoordinateReferenceSystem
        Projected, in metres.
    cell : float
        m

    Returns
    -------
    DepthMap
    """
    left, bottom, right, top = water.bounds
    cols, rows = (int(math.ceil((high - low) / cell)) + 2 for low, high in ((left, right), (bottom, top)))
    transform = (left - cell, cell, 0.0, top + cell, 0.0, -cell)
    drawn, mask = (_created(name, rows, cols, transform, wkt(crs), kind) for name, kind in (
        ("contours.tif", gdal.GDT_Float32), ("water.tif", gdal.GDT_Byte)))
    band = drawn.GetRasterBand(1)
    band.SetNoDataValue(_UNKNOWN)
    band.Fill(_UNKNOWN)
    shores = [(water.boundary, shore)]
    _burn(drawn, [*((line, float(level)) for line, level in zip(contours, levels)), *shores])
    _burn(mask, [(water, 1)])
    failed = gdal.FillNodata(band, None, max(rows, cols), _SMOOTHING, callback=_progress(feedback))
    if feedback.isCanceled():
        raise Cancelled
    if failed:
        raise QgsProcessingException(f"The contours could not be filled in: {gdal.GetLastErrorMsg()}")
    return DepthMap(drawn, mask=mask)


def _created(name, rows, cols, transform, projection, kind):
    made = gdal.GetDriverByName("GTiff").Create(QgsProcessingUtils.generateTempFilename(name), cols, rows, 1, kind,
                                                ["TILED=YES", "COMPRESS=DEFLATE", "BIGTIFF=IF_SAFER"])
    if made is None:
        raise QgsProcessingException(f"No room to work: {gdal.GetLastErrorMsg()}")
    made.SetGeoTransform(transform)
    made.SetProjection(projection)
    return made


def _burn(raster, shapes):
    """Write values along lines, or into polygons, of a raster: (shapely geometry, value) each."""
    system = osr.SpatialReference(wkt=raster.GetProjection())
    store = ogr.GetDriverByName("Memory").CreateDataSource("")
    layer = store.CreateLayer("shapes", system, ogr.wkbUnknown)
    layer.CreateField(ogr.FieldDefn("value", ogr.OFTReal))
    for shape, value in shapes:
        feature = ogr.Feature(layer.GetLayerDefn())
        feature.SetGeometry(ogr.CreateGeometryFromWkb(shape.wkb))
        feature.SetField(0, value)
        layer.CreateFeature(feature)
    if gdal.RasterizeLayer(raster, [1], layer, options=["ATTRIBUTE=value"]) != 0:
        raise QgsProcessingException(f"The contours could not be drawn: {gdal.GetLastErrorMsg()}")


def _progress(feedback):
    def tell(fraction, message, data):
        feedback.setProgress(10 + 60 * fraction)
        return 0 if feedback.isCanceled() else 1
    return tell
