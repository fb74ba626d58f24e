"""A lake's floor from its contour lines and its shore: a depth map read by window, and what the lines do not say."""
from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from ..bottom.bathymetry import nice_cell
from ..bottom.contours import contour_map, crossed
from ..geometry import transfer
from ..geometry.frame import Frame
from .shorelines import water_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from typing import Any

    from numpy.typing import ArrayLike
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from ..bottom.bathymetry import DepthConversion
    from ..bottom.contours import ContourMap

__all__ = ["ContourFloor", "contour_floor"]

_NAMED = 5
"""Places named in one warning."""


class ContourFloor:
    """A smooth floor, in the map's own unit.

    Attributes
    ----------
    transform : six floats
        Of its cells, north up, in crs units; ``shape`` (rows, cols), ``cell`` (m).
    notes, warnings : lists of str
        For the log, worst first.
    """

    def __init__(self, floor: ContourMap, conversion: DepthConversion, transform: Sequence[float], notes: list[str],
                 warnings: list[str]) -> None:
        self._floor, self._conversion = floor, conversion
        self.transform, self.shape, self.cell = transform, floor.shape, transform[1]
        self.notes, self.warnings = notes, warnings

    def read(self, row: int, col: int, rows: int, cols: int) -> tuple[np.ndarray, np.ndarray]:
        """(values, invented) of a window, NaN where the map knows nothing."""
        depth, invented = self._floor.read(row, col, rows, cols)
        return self._conversion.values(depth), invented

    def sample(self) -> np.ndarray:
        """Values spread over the water."""
        return self._conversion.values(self._floor.sample())


def contour_floor(crs: CRS | str, lines: Sequence[BaseGeometry], levels: ArrayLike, shoreline: Sequence[BaseGeometry],
                  conversion: DepthConversion, cell: float | None = None,
                  step: Callable[[float], object] | None = None) -> ContourFloor:
    """Lay a smooth floor through contour lines and the shore.

    Parameters
    ----------
    crs : pyproj.CRS or str
        In metres that are metres on the ground; of every geometry handed in and out.
    lines : list of shapely lines
    levels : (n,) array
        Value of each, in the map's own unit.
    shoreline : list of shapely polygons or closed lines
        The water, with islands cut out.
    conversion : DepthConversion
        What the values are.
    cell : float, optional
        m; a round size if None.
    step : callable, optional
        Called with the fraction done; may raise Cancelled.

    Returns
    -------
    ContourFloor

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> from shapely.geometry import LineString, Point
    >>> lake, line = Point(500100, 4500100).buffer(100), Point(500100, 4500100).buffer(50).exterior
    >>> depth = athwart.DepthConversion("depth", "m")
    >>> floor = athwart.contour_floor("EPSG:32619", [line], np.array([5.0]), [lake], depth, cell=5.0)
    >>> depths, invented = floor.read(0, 0, *floor.shape)
    >>> floor.shape, round(float(np.nanmax(np.where(invented == 0, depths, np.nan))), 1)
    ((42, 42), 4.9)
    >>> print(floor.notes[0])
    1 contour lines of 1 levels, 5 to 5, on cells of 5 m; a smooth surface was laid through them and the shore.
    """
    points = np.vstack([np.asarray(shape.bounds).reshape(2, 2) for shape in shoreline])
    frame = Frame.around(crs, *points.T)
    water, notes = water_of(frame, shoreline, None)
    water = transfer.to_crs(frame, water)
    left, bottom, right, top = water.bounds
    cell = cell or nice_cell(max(right - left, top - bottom))
    cols, rows = (int(math.ceil((high - low) / cell)) + 2 for low, high in ((left, right), (bottom, top)))
    transform = (left - cell, cell, 0.0, top + cell, 0.0, -cell)
    depths = conversion.below(levels)
    found = contour_map(lines, depths, water, transform, (rows, cols), step)
    drawn = np.unique(levels)
    told = (f"{len(lines)} contour lines of {len(drawn)} levels, {drawn[0]:g} to {drawn[-1]:g}, on cells of "
            f"{cell:g} m; a smooth surface was laid through them and the shore"
            + (f", made on every {found.every}. cell." if found.every > 1 else "."))
    meetings = crossed(lines, depths, water.boundary)
    return ContourFloor(found, conversion, transform, [told], [
        *_crossings(meetings, conversion), *_unknown(found), *_unused(found, lines), *_dry(lines, depths, found),
        *_invented(found, conversion, water.area), *notes])


def _listed(texts: Sequence[str]) -> str:
    """The first few of many, and how many more there are."""
    more = f" and {len(texts) - _NAMED} more" if len(texts) > _NAMED else ""
    return "; ".join(texts[:_NAMED]) + more


def _crossings(places: Any, conversion: DepthConversion) -> Iterator[str]:
    """Lines that cannot both be right, the pair that meets most often first."""
    if not places:
        return
    often = Counter(place[2:] for place in places)
    first = {place[2:]: place[:2] for place in reversed(places)}

    def word(depth: float) -> str:
        return "the shore" if depth == 0 else f"{float(conversion.values(depth)):g}"
    texts = [f"{word(pair[0])} and {word(pair[1])} near {first[pair][0]:.0f}, {first[pair][1]:.0f}"
             + (f" ({count} times)" if count > 1 else "") for pair, count in often.most_common()]
    yield (f"Lines of different depth cross or touch: {_listed(texts)}. The surface runs between the two there. "
           "Correct the lines; if the shoreline cuts through the lake, its cut edge counts as shore and makes the "
           "depths there wrong.")


def _unknown(floor: ContourMap) -> Iterator[str]:
    parts = [part for part in floor.parts if part.kind == "unknown"]
    if parts:
        texts = [f"{part.area_m2:.0f} m2 near {part.x:.0f}, {part.y:.0f}" for part in parts]
        yield (f"{len(parts)} part(s) of the water have no contour line, so their depth is unknown and their cells are "
               f"empty: {_listed(texts)}. Draw one there, or leave that water out.")


def _unused(floor: ContourMap, lines: Sequence[Any]) -> Iterator[str]:
    for which, why in ((floor.outside, "lie outside the water"), (floor.small, "are smaller than the cells")):
        if len(which):
            texts = ["{:.0f}, {:.0f}".format(*lines[i].representative_point().coords[0][:2]) for i in which]
            yield f"{len(which)} of {len(lines)} contour lines {why} and were not used: near {_listed(texts)}."


def _dry(lines: Sequence[Any], depths: np.ndarray, floor: ContourMap) -> Iterator[str]:
    """Ground above the water's edge inside the water."""
    dry = [i for i in np.flatnonzero(depths < 0).tolist() if i not in set(floor.outside) | set(floor.small)]
    if dry:
        texts = ["{:.0f}, {:.0f}".format(*lines[i].representative_point().coords[0][:2]) for i in dry]
        yield (f"{len(dry)} contour line(s) inside the water lie above its edge: near {_listed(texts)}. The ground "
               "there is dry land that stops sound. If it is an island, cut it out of the shoreline.")


def _invented(floor: ContourMap, conversion: DepthConversion, area: float) -> Iterator[str]:
    """Tops and holes, which the map leaves open."""
    parts = [part for part in floor.parts if part.kind != "unknown"]
    if parts:
        number = Counter(part.kind for part in parts)
        total = sum(part.area_m2 for part in parts)
        texts = [f"{part.kind} inside {float(conversion.values(part.level)):g} near {part.x:.0f}, {part.y:.0f} "
                 f"({part.area_m2:.0f} m2)" for part in parts]
        yield (f"Inside the last line of {number['hole']} hole(s) and {number['shoal']} shoal(s), {total:.0f} m2 or "
               f"{100 * total / area:.1f} % of the water, the depth is invented: the slope runs on and rounds off, at "
               f"most half an interval past the line. The band 'invented' marks it. Largest: {_listed(texts)}.")
