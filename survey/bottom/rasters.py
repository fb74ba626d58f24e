"""The raster that looks are counted on: north up, square cells, in a projected CRS in metres."""
from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from pyproj import CRS, Proj, Transformer

from ..geometry.frame import horizontal_crs, lonlat, lonlat_transformer
from ..model.errors import InputError
from ..model.messages import Message

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["Raster", "metric_crs"]

MAX_CELLS = 8_000_000_000
"""Largest raster that is begun: six bands of it fill some 190 GB before compression."""


def metric_crs(crs: CRS | str, x: np.ndarray, y: np.ndarray) -> CRS:
    """``crs`` if a metre on its map is a metre on the ground (within 1 %), else the UTM zone of the points, on WGS 84.

    Parameters
    ----------
    crs : pyproj.CRS or str
    x, y : (n,) arrays
        Points in it.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> athwart.metric_crs("EPSG:4326", np.array([-70.0]), np.array([44.6])).to_epsg()
    32619
    >>> athwart.metric_crs("EPSG:26919", np.array([4e5]), np.array([4.9e6])).to_epsg()
    26919
    """
    flat: CRS = horizontal_crs(crs)
    lon, lat = lonlat(flat, x, y)
    good = np.isfinite(lon) & np.isfinite(lat)
    if not good.any():
        raise InputError("No point has coordinates that the layer's coordinate system can place on the Earth.")
    lon, lat = np.asarray(lon)[good], np.asarray(lat)[good]
    middle = lon[0] + np.median((lon - lon[0] + 180) % 360 - 180)
    if flat.is_projected and all(abs(axis.unit_conversion_factor - 1) < 1e-9 for axis in flat.axis_info):
        factors = Proj(flat).get_factors(middle, np.median(lat))
        if max(abs(factors.meridional_scale - 1), abs(factors.parallel_scale - 1)) < 0.01:
            return flat
    zone = int((middle + 180) // 6 % 60) + 1
    return CRS.from_epsg((32600 if np.median(lat) >= 0 else 32700) + zone)


@dataclass(frozen=True)
class Raster:
    """``left``, ``top`` the outer corner (crs units), ``cell`` the side of a cell (m), ``rows``, ``cols`` the size."""

    crs: CRS
    left: float
    top: float
    cell: float
    rows: int
    cols: int

    @classmethod
    def around(cls, crs: CRS | str, cell: float, x: np.ndarray, y: np.ndarray, margin: float) -> Raster:
        """Raster that holds every point and ``margin`` (m) round it, on whole multiples of the cell.

        Parameters
        ----------
        crs : pyproj.CRS
            Projected, in metres.
        cell, margin : float, m
        x, y : (n,) arrays in ``crs``
        """
        if not (math.isfinite(cell) and cell > 0):
            raise InputError(f"The cell size is {cell:g} m; give a number above 0, such as 0.5.", field="cell")
        left, bottom = (np.floor((np.nanmin(v) - margin) / cell) for v in (x, y))
        right, top = (np.ceil((np.nanmax(v) + margin) / cell) for v in (x, y))
        rows, cols = int(top - bottom), int(right - left)
        if rows * cols > MAX_CELLS:
            raise InputError(Message("With cells of {size:g} m the map would have {cols} x {rows} cells. Choose a "
                                     "larger {cell}, or run the outings one by one.", size=cell, cols=cols,
                                     rows=rows))
        return cls(CRS.from_user_input(crs), float(left * cell), float(top * cell), float(cell), rows, cols)

    @property
    def transform(self) -> tuple[float, ...]:
        """The six numbers of GDAL's geotransform."""
        return (self.left, self.cell, 0.0, self.top, 0.0, -self.cell)

    def cells_from(self, crs: CRS | str) -> Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
        """A function (x, y) in ``crs`` -> fractional (col, row), whole numbers at cell middles."""
        def of(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            return (np.asarray(x) - self.left) / self.cell - 0.5, (self.top - np.asarray(y)) / self.cell - 0.5
        crs = horizontal_crs(crs)
        if crs == self.crs:
            return of
        transformer = Transformer.from_crs(crs, self.crs, always_xy=True)
        return lambda x, y: of(*transformer.transform(x, y))

    @cached_property
    def _projection(self) -> tuple[Transformer, float, Proj]:
        return (*lonlat_transformer(self.crs), Proj(self.crs))

    def ground_area(self, row: float, col: float) -> float:
        """Area (m2) on the ellipsoid of the cell at (row, col): the projection's own scale taken out."""
        x, y = self.left + (col + 0.5) * self.cell, self.top - (row + 0.5) * self.cell
        transformer, degrees, projection = self._projection
        lon, lat = transformer.transform(x, y)
        scale = projection.get_factors(lon * degrees, lat * degrees).areal_scale
        return float(self.cell**2 / scale)
