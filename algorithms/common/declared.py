"""What a tool's class says of the rasters it makes; layers are said by their schema alone."""
from __future__ import annotations

from typing import NamedTuple

__all__ = ["Raster"]


class Raster(NamedTuple):
    """A raster of real numbers that a tool writes.

    Attributes
    ----------
    style : str
        Name of the style it is loaded with (``plugin/styles/<style>.qml``).
    bands : tuple of survey.model.schemas.Field
        Those that it always has, in order.
    more : dict
        Further styles, by the names they get in the layer's style menu.
    """

    style: str
    bands: tuple
    more: dict = {}

    def named(self) -> list[tuple[str, str]]:
        """[(name, unit), ...] of the bands, as ``geotiff.RasterSink`` takes them."""
        return [(band.name, band.unit) for band in self.bands]
