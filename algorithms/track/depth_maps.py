"""Depth maps as rasters north up in metres, whatever they come as: read by window through a virtual warp."""
from __future__ import annotations

import math

import numpy as np
from osgeo import gdal
from qgis.core import QgsProcessingException, QgsProcessingUtils, QgsRasterFileWriter, QgsRasterPipe

from ...survey.model.errors import InputError
from ..common.read import wkt

__all__ = ["DepthMap", "raster_map"]

_UNKNOWN = float(np.float32(-1e30))
_SAMPLE = 512


class DepthMap:
    """A depth map ready to be read by window.

    Parameters
    ----------
    dataset : gdal.Dataset
        Of one band, projected in metres; cells of ``_UNKNOWN`` or not finite have no value.
    source : gdal.Dataset, optional
        What it was made from, to take samples of without making all of it.

    Attributes
    ----------
    unit : str
        What the map says of its own unit.
    more : sequence of (name, unit)
        Of the bands that ``read`` gives after the first.
    """

    more = ()

    def __init__(self, dataset, source=None):
        self._dataset, self._source = dataset, source or dataset
        band = self._source.GetRasterBand(1)
        self._scale, self._offset, self.unit = band.GetScale() or 1.0, band.GetOffset() or 0.0, band.GetUnitType() or ""
        self.wkt, self.transform = dataset.GetProjection(), dataset.GetGeoTransform()
        self.shape = dataset.RasterYSize, dataset.RasterXSize

    def read(self, row, col, rows, cols):
        """(rows, cols) values in the map's own unit, NaN where it has none; alone in a tuple: see ``more``."""
        window = col, row, cols, rows
        values = _window(self._dataset, window, (cols, rows), gdal.GDT_Float64, np.float64)
        values[(values == _UNKNOWN) | ~np.isfinite(values)] = np.nan
        return (values * self._scale + self._offset,)

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
    from ...survey import metric_crs
    from ...survey.geometry.frame import horizontal_crs

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
    from ...survey.geometry.frame import carried

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
