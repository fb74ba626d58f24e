"""Bottoms given as formulas, as depth grids, for tests of the terrain model; and a slow march that is plainly right."""
import numpy as np
from athwart.survey.bottom.depthgrid import DepthGrid
from athwart.survey.bottom.profile import Rays

CRS = "EPSG:32615"
CELL = 0.5


def grid(depth, half=60.0, cell=CELL, crs=CRS, at=(500_000.0, 4_980_000.0), dtype=float):
    """DepthGrid of ``depth(e, n)``, m, over a square of ``half`` about ``at``; e, n are metres from there."""
    size = int(round(2 * half / cell))
    middle = (np.arange(size) + 0.5) * cell - half
    values = depth(*np.meshgrid(middle, -middle)) * np.ones((size, size))
    return DepthGrid.from_array(crs, (at[0] - half, cell, 0, at[1] + half, 0, -cell), values.astype(dtype))


def eastward(grid, reach, depth, offset=0.0, at=(500_000.0, 4_980_000.0)):
    """One ray to the grid's east."""
    col, row = grid.cells_of(np.array([at[0]]), np.array([at[1]]))
    one = np.ones(1)
    return Rays(col, row, one / grid.transform[1], 0 * one, offset * one, depth * one, reach * one)


def slow_depth(values, col, row):
    """Bilinear depth at one place of an array without unknown cells, by hand."""
    c, r = int(np.floor(col)), int(np.floor(row))
    a, b = col - c, row - r
    return ((1 - b) * ((1 - a) * values[r, c] + a * values[r, c + 1])
            + b * ((1 - a) * values[r + 1, c] + a * values[r + 1, c + 1]))


def slow_march(depths, grounds):
    """Which of the places at ``grounds`` (ascending) with ``depths`` are seen over all nearer ones."""
    return [all(depths[i] / grounds[i] <= depths[j] / grounds[j] for j in range(i)) for i in range(len(grounds))]


def virtual_grid(path, source, left, top, cell, size):
    """A VRT of size x size cells of ``cell`` m, filled from a small raster where that lies, 5 m deep elsewhere."""
    from osgeo import gdal
    piece = gdal.Open(str(source))
    t = piece.GetGeoTransform()
    col, row = (t[0] - left) / cell, (top - t[3]) / cell
    width, height = piece.RasterXSize * t[1] / cell, piece.RasterYSize * -t[5] / cell
    path.write_text(
        f'<VRTDataset rasterXSize="{size}" rasterYSize="{size}"><SRS>{piece.GetProjection()}</SRS>'
        f"<GeoTransform>{left}, {cell}, 0, {top}, 0, {-cell}</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><NoDataValue>-9999</NoDataValue><SimpleSource>'
        f'<SourceFilename relativeToVRT="0">{source}</SourceFilename><SourceBand>1</SourceBand>'
        f'<SrcRect xOff="0" yOff="0" xSize="{piece.RasterXSize}" ySize="{piece.RasterYSize}"/>'
        f'<DstRect xOff="{col}" yOff="{row}" xSize="{width}" ySize="{height}"/>'
        "</SimpleSource></VRTRasterBand></VRTDataset>", encoding="utf-8")
    return str(path)
