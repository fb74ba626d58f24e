"""The ground of a plan: what is to be covered, where sound runs, where the boat may go, and how deep it is there.

The boat's water is the water less whatever is nearer to land than the setback, and less every place that may be
shallower than the least depth. It is worn by a metre or so more, so that its outline can be drawn with few corners and
yet lies wholly inside.
"""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely.geometry as sg
from pyproj import Transformer

from ..geometry import overlap, scanfill, shapes, transfer
from ..geometry.frame import MAX_OFF_AXIS_M, Frame
from ..model.errors import InputError
from ..model.messages import Message
from ..share.places import strewn

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from numpy.typing import ArrayLike

    from ..bottom.depthgrid import DepthGrid

__all__ = ["DepthField", "Ground", "boxes", "ground_of"]

_CELLS = 700
"""Cells along the longer side of the local depth raster, at most."""

_LEAST_CELL_M = 1.0
_NO_BOAT_M2 = 25.0
"""A stretch of water smaller than this is no place for a boat."""

_MARGIN_M = 20.0

_MANY = np.dtype([("order", "<u1"), ("kind", "<u4"), ("count", "<u4")])
_RECTANGLE = np.dtype([("order", "<u1"), ("kind", "<u4"), ("rings", "<u4"), ("corners", "<u4"), ("xy", "<f8", 10)])
"""A MultiPolygon and a Polygon of one ring in well-known binary (OGC 06-103r4, 8.2)."""


class DepthField:
    """Depths (m) in frame metres: one for all, or a local raster, bilinear between its nodes.

    Parameters
    ----------
    values : float or (rows, columns) array
        NaN where unknown; row r, column c is the depth at (``east`` + c ``cell``, ``north`` + r ``cell``).
    east, north, cell : float
    """

    def __init__(self, values: ArrayLike, east: float = 0.0, north: float = 0.0, cell: float = 1.0) -> None:
        self.constant = float(np.asarray(values)) if np.ndim(values) == 0 else None
        self.values = None if self.constant is not None else np.asarray(values, float)
        self.east, self.north, self.cell = float(east), float(north), float(cell)
        self.unknown = self.constant is None and bool(np.isnan(self.values).any())
        if self.constant is None:
            known = self.values[np.isfinite(self.values)]
            if not len(known):
                raise InputError(Message("{depth_grid} knows no depth where the area lies. Give a grid that covers it, "
                                         "or {depth}."))
            self.usual = float(np.median(known[known > 0])) if (known > 0).any() else float(np.median(known))
        else:
            self.usual = self.constant

    @classmethod
    def of_grid(cls, grid: DepthGrid, frame: Frame, bounds: Any) -> DepthField:
        """Local raster of a ``survey.bottom.depthgrid.DepthGrid`` over a rectangle (frame metres)."""
        x0, y0, x1, y1 = np.add(bounds, (-_MARGIN_M, -_MARGIN_M, _MARGIN_M, _MARGIN_M))
        cell = max(_LEAST_CELL_M, max(x1 - x0, y1 - y0) / _CELLS)
        east, north = np.arange(x0, x1 + cell, cell), np.arange(y0, y1 + cell, cell)
        x, y = frame.inverse(*(v.ravel() for v in np.meshgrid(east, north)))
        values = grid.depth_at(x, y, frame.crs).reshape(len(north), len(east))
        return cls(values, x0, y0, cell)

    def at(self, east: ArrayLike, north: ArrayLike) -> np.ndarray:
        """Depths at places, arrays of one shape; NaN where unknown."""
        east, north = np.asarray(east, float), np.asarray(north, float)
        if self.constant is not None:
            return np.full(east.shape, self.constant)
        rows, columns = self.values.shape
        c, r = (east - self.east) / self.cell, (north - self.north) / self.cell
        off = (c < 0) | (r < 0) | (c > columns - 1) | (r > rows - 1)
        c0, r0 = (np.minimum(np.maximum(v, 0), most).astype(np.int32) for v, most in ((c, columns - 2), (r, rows - 2)))
        fc, fr = np.subtract(c, c0, out=c), np.subtract(r, r0, out=r)
        corner, first = self.values.ravel().take, r0 * np.int32(columns) + c0
        top, below = corner(first), corner(first + np.int32(columns))
        top += fc * (corner(first + np.int32(1)) - top)
        below += fc * (corner(first + np.int32(columns + 1)) - below)
        found = top + fr * (below - top)
        found[off] = np.nan
        return found

    def filled(self, east: ArrayLike, north: ArrayLike) -> np.ndarray:
        """Depths, the usual one where unknown, and never less than a hand's breadth."""
        found = self.at(east, north)
        return np.maximum(np.where(np.isfinite(found), found, self.usual), 0.1)

    def shallow(self, least: float, least_of: np.ndarray = None) -> Any:
        """Polygons of every cell that may be shallower than ``least`` (m), or unknown, its neighbours included."""
        if self.constant is not None:
            return shapes.empty()
        low = ~(self.values >= least)
        if least_of is not None:
            low |= least_of < least
        wide = low.copy()
        wide[1:] |= low[:-1]
        wide[:-1] |= low[1:]
        across = wide.copy()
        across[:, 1:] |= wide[:, :-1]
        across[:, :-1] |= wide[:, 1:]
        return boxes(across, self.east - self.cell / 2, self.north - self.cell / 2, self.cell)


def boxes(cells: np.ndarray, east: float, north: float, cell: float) -> Any:
    """Union of the filled cells of a mask, row runs first."""
    padded = np.zeros((cells.shape[0], cells.shape[1] + 2), np.int8)
    padded[:, 1:-1] = cells
    change = np.diff(padded, axis=1)
    row, start = np.nonzero(change == 1)
    stop = np.nonzero(change == -1)[1]
    if not len(row):
        return shapes.empty()
    e0, e1, n0 = east + start * cell, east + stop * cell, north + row * cell
    # as well-known binary: thousands of rectangles made one by one would take longer than their union
    runs = np.zeros(len(row), _RECTANGLE)
    runs["order"], runs["kind"], runs["rings"], runs["corners"] = 1, 3, 1, 5
    runs["xy"] = np.stack([e0, n0, e1, n0, e1, n0 + cell, e0, n0 + cell, e0, n0], axis=1)
    many = np.array([(1, 6, len(row))], _MANY)
    return shapes.union([shapes.from_wkb(many.tobytes() + runs.tobytes())])


@dataclass
class Ground:
    """Polygons in frame metres.

    ``area`` is to be covered; sound runs over ``water``; the boat over ``boat``, a part of it. ``shoal``: what is
    shut for want of depth. ``depth``: DepthField. ``frame``: survey.geometry.frame.Frame. ``notes``: what the user
    should know, worst first.
    """

    area: Any
    water: Any
    boat: Any
    shoal: Any
    depth: DepthField
    frame: Frame
    setback_m: float
    notes: list

    def __post_init__(self) -> None:
        self._water_crs = None

    @property
    def water_crs(self) -> Any:
        """The water in units of the frame's crs."""
        if self._water_crs is None:
            self._water_crs = transfer.to_crs(self.frame, self.water)
        return self._water_crs

    def over(self, area: Any) -> Ground:
        """The same ground with another area to be covered."""
        return Ground(area, self.water, self.boat, self.shoal, self.depth, self.frame, self.setback_m, self.notes)

    def mask(self, geometry: Any, window: Any, to_cells: Any) -> np.ndarray:
        """Cells of a window whose middles lie in a geometry; see ``scanfill.fill_polygon``."""
        return scanfill.fill_polygon(geometry, window, to_cells)


def ground_of(crs: Any, area: Sequence[Any], *, exclude: Sequence[Any] = (), water: Sequence[Any] = None,
              depth: float = None, depth_grid: DepthGrid = None, setback: float = 0.0,
              min_depth: float = 0.0) -> Ground:
    """The Ground of a plan.

    Parameters
    ----------
    crs : pyproj.CRS or str
        CRS of every polygon given.
    area, exclude, water : lists of shapely polygons
        ``exclude`` is neither covered nor entered. Without ``water`` the area is the water.
    depth : float, or
    depth_grid : survey.bottom.depthgrid.DepthGrid
    setback, min_depth : float, m

    Raises
    ------
    InputError
        Where there is nothing to cover, no depth, or no water left for the boat.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> import athwart
    >>> lake = athwart.ground_of("EPSG:32632", [box(500_000, 4_983_000, 500_300, 4_983_200)], depth=5.0)
    >>> round(lake.area.area), lake.depth.usual
    (60048, 5.0)
    """
    given = [g for g in area if g is not None and not g.is_empty]
    if not given:
        raise InputError("The area holds no polygon; give the lake, or the part of it that is to be covered.",
                         field="area")
    if setback < 0 or min_depth < 0:
        raise InputError("The setback and the least depth cannot be negative.", field="setback")
    x0, y0, x1, y1 = np.array([g.bounds for g in given]).T
    frame = Frame.around(crs, np.array([x0.min(), x1.max()]), np.array([y0.min(), y1.max()]))
    wanted = overlap.merged([transfer.to_frame(frame, g) for g in given])
    if frame.off_axis_m(np.array(wanted.bounds)[[0, 2]]) > MAX_OFF_AXIS_M:
        raise InputError("The area is more than 56 km wide from east to west. Plan it in parts.", field="area")
    notes: list[str] = []
    shut = overlap.merged([transfer.to_frame(frame, g) for g in exclude if g is not None and not g.is_empty])
    if water is None:
        wet = wanted
    else:
        wet = overlap.merged([transfer.to_frame(frame, g) for g in water if g is not None and not g.is_empty])
        whole, wanted = wanted, shapes.polygonal(wanted.intersection(wet))
        notes += _dry(whole, wanted, wet)
    wanted = shapes.polygonal(wanted.difference(shut))
    if wanted.is_empty or not wanted.area > 0:
        raise InputError(Message("Nothing is left to cover: {area} lies outside {water}, or all of it is excluded. "
                                 "Choose others."))
    if (depth is None) == (depth_grid is None):
        raise InputError("Give one depth for all of the area, or a depth grid; exactly one of them.", field="depth")
    shoal = shapes.empty()
    if depth is not None:
        if not depth > 0:
            raise InputError(f"A depth of {depth:g} m is no water; give a depth of more than 0 m.", field="depth")
        found = DepthField(depth)
        if depth < min_depth:
            raise InputError(f"The water is {depth:g} m deep, less than the least depth of {min_depth:g} m: the boat "
                             "may go nowhere.", field="min_depth")
    else:
        found = DepthField.of_grid(depth_grid, frame, wet.bounds)
        shoal = found.shallow(max(min_depth, 1e-6), _least_nodes(depth_grid, frame, found))
        notes += _unknown(found, wanted)
    boat = _boat_water(shapes.polygonal(wet.difference(shut)), shoal, setback)
    if boat.is_empty:
        raise InputError(f"No water is left for the boat: all of it is nearer to land than {setback:g} m or shallower "
                         f"than {min_depth:g} m. Lower the setback or the least depth.", field="setback")
    return Ground(wanted, wet, boat, shapes.polygonal(shoal.intersection(wet)), found, frame, setback, notes)


def _dry(whole: Any, wanted: Any, wet: Any) -> list[str]:
    """What of the area lies outside the water, where that is more than a hundredth of it."""
    if whole.area - wanted.area <= 0.01 * whole.area:
        return []
    within = wet.area - wanted.area <= 0.001 * wet.area
    return [Message("{lost:.0f} of {all:.0f} m2 of {area} lie outside {water} and are left out. {more}",
                    lost=whole.area - wanted.area, all=whole.area,
                    more=Message("All of {water} lies inside {area}: if the two were swapped, swap them and run again.")
                    if within else Message("Check that {area} and {water} show the same lake."))]


def _least_nodes(grid: DepthGrid, frame: Frame, found: DepthField) -> np.ndarray:
    """Least depth of the grid's own cells near each node of the local raster, +inf where none lies near.

    Between nodes a fine grid may be shallower than at them.
    """
    rows, columns = found.values.shape
    rim_e = found.east + found.cell * np.array([0, columns - 1, columns - 1, 0])
    rim_n = found.north + found.cell * np.array([0, 0, rows - 1, rows - 1])
    col, row = grid.cells_from(frame.crs)(*frame.inverse(rim_e, rim_n))
    window = grid.window(col, row)
    values = window.values
    least = np.full((rows, columns), np.inf)
    known = np.isfinite(values)
    if not known.any():
        return least
    r, c = np.nonzero(known)
    t = grid.transform
    x = t[0] + (c + window.col0 + 0.5) * t[1] + (r + window.row0 + 0.5) * t[2]
    y = t[3] + (c + window.col0 + 0.5) * t[4] + (r + window.row0 + 0.5) * t[5]
    if grid.crs != frame.crs:
        x, y = Transformer.from_crs(grid.crs, frame.crs, always_xy=True).transform(x, y)
    east, north = frame.forward(x, y)
    column = np.round((east - found.east) / found.cell).astype(int)
    line = np.round((north - found.north) / found.cell).astype(int)
    inside = (column >= 0) & (column < columns) & (line >= 0) & (line < rows)
    np.minimum.at(least, (line[inside], column[inside]), values[r[inside], c[inside]])
    return least


def _unknown(found: DepthField, wanted: Any) -> list[str]:
    if not found.unknown:
        return []
    places = strewn(wanted, 2000)
    share = float(np.isnan(found.at(*places.T)).mean())
    if share < 0.002:
        return []
    return [f"The depth grid knows nothing of {100 * share:.1f} % of the area: the boat is kept out of it, and where "
            f"its reach is asked for there it was taken from {found.usual:.1f} m, the median depth. Give a grid that "
            "covers the area, or plan the rest with one depth."]


def _boat_water(wet: Any, shoal: Any, setback: float) -> Any:
    worn = wet.buffer(-setback, 8) if setback > 0 else wet
    worn = shapes.polygonal(worn.difference(shoal)) if not shoal.is_empty else shapes.polygonal(worn)
    slack = float(np.clip(0.0015 * np.sqrt(max(worn.area, 1.0)), 0.5, 3.0))
    parts = [part for part in shapes.parts(worn.buffer(-slack, 4, join_style=2)) if part.area > _NO_BOAT_M2]
    kept = []
    for part in parts:
        plain = part.simplify(0.75 * slack)
        if plain.is_valid and not plain.is_empty and shapes.prepared(worn).covers(plain):
            kept += shapes.parts(plain)
        else:
            kept.append(part)
    return sg.MultiPolygon(kept)
