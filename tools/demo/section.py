"""The water in the plane of one beam: what a pass reaches of the floor, and what nearer ground hides from it.

Reckoned with straight rays in the plane alone, without the tools, so that it can be held against what they map.
Across: metres of grid northing. Up: metres above the water surface.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from osgeo import gdal
from pyproj import Geod, Transformer

BLIND_DEG = 20.0
STEP = 0.05


@dataclass(frozen=True)
class Section:
    """The plane through the beams of one look.

    Attributes
    ----------
    across, floor : (n,) arrays
        The floor along the plane.
    head : (float, float)
        The transducer.
    seen, hidden : list of (k, 2) arrays
        Stretches of the floor that the pass reaches, and that nearer ground hides from it.
    lit, shadow : list of (k, 2) arrays
        Rings round the water on the way to the one and in front of the other.
    ray : (2, 2) array or None
        From the transducer over the edge of the ground that hides something.
    plan : (2, 2) array
        The ends of the plane on the map: east and north.
    """

    across: np.ndarray
    floor: np.ndarray
    head: tuple
    seen: list
    hidden: list
    lit: list
    shadow: list
    ray: np.ndarray
    plan: np.ndarray


class Floor:
    """Depth of a grid at places (arrays of east and north), straight between the middles of its cells."""

    def __init__(self, path):
        raster = gdal.Open(str(path))
        self._left, self._width, _, self._top, _, self._height = raster.GetGeoTransform()
        shape = raster.RasterYSize, raster.RasterXSize
        self._depth = np.frombuffer(raster.GetRasterBand(1).ReadRaster(buf_type=gdal.GDT_Float64), float).reshape(shape)

    def __call__(self, east, north):
        col, row = (east - self._left) / self._width - 0.5, (north - self._top) / self._height - 0.5
        i, j = np.floor(row).astype(int), np.floor(col).astype(int)
        down, right = row - i, col - j
        upper, lower = (self._depth[k, j] * (1 - right) + self._depth[k, j + 1] * right for k in (i, i + 1))
        return upper * (1 - down) + lower * down


def beam_of(look):
    """Unit vector (east, north) on the grid, EPSG:32619, along the beam of a look (see ``chain.looks_at``)."""
    to_degrees = Transformer.from_crs(32619, 4326, always_xy=True)
    lon, lat = to_degrees.transform(look["x"], look["y"])
    azimuth = look["heading_deg"] + (90 if look["side"] == "starboard" else -90)
    lon, lat, _ = Geod(ellps="WGS84").fwd(lon, lat, azimuth, 100)
    east, north = to_degrees.transform(lon, lat, direction="INVERSE")
    away = np.array([east - look["x"], north - look["y"]])
    return away / np.hypot(*away)


def section(look, floor_at, south, north):
    """Cut the water along the beam of a look, between two northings."""
    beam = beam_of(look)
    across = np.arange(south, north + STEP / 2, STEP)
    along = (across - look["y"]) / beam[1]
    floor = -floor_at(look["x"] + along * beam[0], across)
    under = int(np.argmin(np.abs(along)))
    head = (look["y"], floor[under] + look["depth_m"])
    found = {"seen": [], "hidden": [], "lit": [], "shadow": []}
    ray = None
    for outward in (slice(under, None), slice(under, None, -1)):
        ground = np.column_stack([across[outward], floor[outward]])
        ray = _one_side(ground, head, look["range_m"], found) if ray is None else ray
    ends = np.array([along[0], along[-1]])
    return Section(across, floor, head, **found, ray=ray,
                   plan=np.column_stack([look["x"] + ends * beam[0], look["y"] + ends * beam[1]]))


def _one_side(ground, head, reach, found):
    """Add what one side sees of the ground (n, 2), from below the boat outward; returns the ray over what hides."""
    way = ground - head
    slant = np.hypot(*way.T)
    angle = np.degrees(np.arctan2(np.abs(way[:, 0]), -way[:, 1]))  # from straight down
    clear = angle >= np.maximum.accumulate(angle) - 1e-9
    heard = (slant <= reach) & (angle >= BLIND_DEG)
    found["seen"] += [ground[k] for k in _runs(clear & heard)]
    outline = np.flatnonzero(clear & heard)
    if not len(outline):
        return None
    away = math.copysign(1.0, way[outline[-1], 0])

    def arc(start, stop):
        turn = np.radians(np.linspace(start, stop, 40))
        return np.column_stack([head[0] + away * reach * np.sin(turn), head[1] - reach * np.cos(turn)])

    surface = math.degrees(math.acos(head[1] / reach))
    found["lit"].append(np.vstack([[head], ground[outline], arc(angle[outline[-1]], surface)]))
    ray = None
    for k in _runs(~clear & heard):
        edge = max(k[0] - 1, 0)
        found["hidden"].append(ground[k])
        if k[-1] + 1 < len(ground) and slant[k[-1] + 1] <= reach:
            found["shadow"].append(np.vstack([ground[edge], ground[k]]))
            far = ground[k[-1]]
        else:
            rim = arc(angle[k[-1]], angle[edge])
            found["shadow"].append(np.vstack([ground[edge], ground[k], rim]))
            far = rim[-1]
        ray = np.array([head, far])
    return ray


def _runs(mask):
    """Indices of each unbroken stretch of a mask."""
    index = np.flatnonzero(mask)
    return [k for k in np.split(index, np.flatnonzero(np.diff(index) > 1) + 1) if len(k) > 1]
