"""Contour lines and a shoreline as layers -> a depth map that is read by window; what the lines do not say, said."""
from __future__ import annotations

import math
from collections import Counter

import numpy as np
from qgis.core import QgsCoordinateReferenceSystem

from ..common import read
from ..common.base import stepper

__all__ = ["ContourDepths", "contour_depths"]

_NAMED = 5
"""Places named in one warning."""


class ContourDepths:
    """A contour map as ``depth_maps.DepthMap`` has it, in the map's own unit.

    Parameters
    ----------
    found : survey.bottom.contours.ContourMap
    conversion : survey.bottom.bathymetry.Conversion
    wkt : str
    transform : six floats
    """

    unit, more = "", (("invented", ""),)

    def __init__(self, found, conversion, wkt, transform):
        self._found, self._conversion = found, conversion
        self.wkt, self.transform, self.shape = wkt, transform, found.shape

    def read(self, row, col, rows, cols):
        """(values, invented) of a window, NaN where the map knows nothing."""
        depth, invented = self._found.read(row, col, rows, cols)
        return self._conversion.values(depth), invented

    def sample(self):
        """Values spread over the water."""
        return self._conversion.values(self._found.sample())


def contour_depths(alg, parameters, context, feedback, conversion, cell):
    """(what to call the map, ContourDepths) of the parameters CONTOURS, CONTOUR_DEPTH_FIELD and SHORELINE.

    Parameters
    ----------
    conversion : survey.bottom.bathymetry.Conversion
    cell : float or None
        m; None: a round size.
    """
    from ...survey.bottom.bathymetry import nice_cell
    from ...survey.bottom.contours import contour_map, crossed
    from ...survey.geometry import transfer
    from ...survey.geometry.frame import Frame
    from ...survey.model.errors import InputError
    from ...survey.shore.shorelines import water_of

    source = alg.parameterAsSource(parameters, "CONTOURS", context)
    if source is None:
        raise InputError(alg.invalidSourceError(parameters, "CONTOURS"))
    crs = _metric(source)
    tab = read.table(alg, parameters, "CONTOURS", context, feedback, crs=crs, geometry="any")
    shore = read.table(alg, parameters, "SHORELINE", context, feedback, crs=crs, geometry="any")
    name = alg.parameterAsString(parameters, "CONTOUR_DEPTH_FIELD", context)
    read.require(tab, [name], "Contour lines", "Choose the field that holds the depth of each line.")
    what = f"The contour map '{tab.name}'"
    levels, lines = read.numbers(tab, name), read.shapes(tab)
    usable = [i for i, line in enumerate(lines) if line is not None and not line.is_empty and np.isfinite(levels[i])]
    if not usable:
        raise InputError(f"{what} has no line with a value in the field {name}. Choose the layer, and the field, "
                         "that hold the depths.")
    if len(usable) < len(lines):
        feedback.pushWarning(f"{len(lines) - len(usable)} of {len(lines)} contour lines have no value or no line "
                             "and were left out.")
    lines, levels = [lines[i] for i in usable], levels[usable]
    outline = [shape for shape in read.shapes(shore) if shape is not None]
    if not outline:
        raise InputError(f"The shoreline '{shore.name}' is empty. Choose the outline of the water.")
    points = np.vstack([np.asarray(shape.bounds).reshape(2, 2) for shape in outline])
    frame = Frame.around(read.wkt(crs), *points.T)
    water, notes = water_of(frame, outline, None)
    water = transfer.to_crs(frame, water)
    left, bottom, right, top = water.bounds
    cell = cell or nice_cell(max(right - left, top - bottom))
    cols, rows = (int(math.ceil((high - low) / cell)) + 2 for low, high in ((left, right), (bottom, top)))
    transform = (left - cell, cell, 0.0, top + cell, 0.0, -cell)
    depths = conversion.below(levels)
    found = contour_map(lines, depths, water, transform, (rows, cols), stepper(feedback, 5, 70))
    drawn = np.unique(levels)
    feedback.pushInfo(f"{len(lines)} contour lines of {len(drawn)} levels, {drawn[0]:g} to {drawn[-1]:g}, on cells of "
                      f"{cell:g} m; a smooth surface was laid through them and the shore"
                      + (f", made on every {found.every}. cell." if found.every > 1 else "."))
    meetings = crossed(lines, depths, water.boundary)
    alg.tell(feedback, warnings=(*_crossings(meetings, conversion), *_unknown(found), *_unused(found, lines),
                                 *_dry(lines, depths, found), *_invented(found, conversion, water.area), *notes))
    return what, ContourDepths(found, conversion, read.wkt(crs), transform)


def _metric(source):
    """The layer's own CRS where a metre on its map is one on the ground, else the UTM zone, as a QGIS CRS."""
    from ...survey.bottom.rasters import metric_crs
    from ...survey.geometry.frame import horizontal_crs

    own = read.layer_crs(source, "Contour lines")
    middle = source.sourceExtent().center()
    if not (math.isfinite(middle.x()) and math.isfinite(middle.y())):
        return own  # an empty layer has no extent from 3.34 on; what it lacks is said where it is read
    found = metric_crs(read.wkt(own), np.array([middle.x()]), np.array([middle.y()]))
    if found == horizontal_crs(read.wkt(own)):
        return own
    return QgsCoordinateReferenceSystem(f"EPSG:{found.to_epsg()}")


def _listed(texts):
    """The first few of many, and how many more there are."""
    more = f" and {len(texts) - _NAMED} more" if len(texts) > _NAMED else ""
    return "; ".join(texts[:_NAMED]) + more


def _crossings(places, conversion):
    """Lines that cannot both be right, the pair that meets most often first."""
    if not places:
        return
    often = Counter(place[2:] for place in places)
    first = {place[2:]: place[:2] for place in reversed(places)}

    def word(depth):
        return "the shore" if depth == 0 else f"{float(conversion.values(depth)):g}"
    texts = [f"{word(pair[0])} and {word(pair[1])} near {first[pair][0]:.0f}, {first[pair][1]:.0f}"
             + (f" ({count} times)" if count > 1 else "") for pair, count in often.most_common()]
    yield (f"Lines of different depth cross or touch: {_listed(texts)}. The surface runs between the two there. Mend "
           "the lines; if the shoreline cuts through the lake, its cut edge counts as shore and makes the depths there "
           "wrong.")


def _unknown(found):
    parts = [part for part in found.parts if part.kind == "unknown"]
    if parts:
        texts = [f"{part.area_m2:.0f} m2 near {part.x:.0f}, {part.y:.0f}" for part in parts]
        yield (f"{len(parts)} part(s) of the water have no contour line, so their depth is unknown and their cells are "
               f"empty: {_listed(texts)}. Draw one there, or leave that water out.")


def _unused(found, lines):
    for which, why in ((found.outside, "lie outside the water"), (found.small, "are smaller than the cells")):
        if len(which):
            texts = ["{:.0f}, {:.0f}".format(*lines[i].representative_point().coords[0][:2]) for i in which]
            yield f"{len(which)} of {len(lines)} contour lines {why} and were not used: near {_listed(texts)}."


def _dry(lines, depths, found):
    """Ground above the water's edge inside the water."""
    dry = [i for i in np.flatnonzero(depths < 0) if i not in set(found.outside) | set(found.small)]
    if dry:
        texts = ["{:.0f}, {:.0f}".format(*lines[i].representative_point().coords[0][:2]) for i in dry]
        yield (f"{len(dry)} contour line(s) inside the water lie above its edge: near {_listed(texts)}. The ground "
               "there is dry land that stops sound. If it is an island, cut it out of the shoreline.")


def _invented(found, conversion, area):
    """Tops and holes, which the map leaves open."""
    parts = [part for part in found.parts if part.kind != "unknown"]
    if parts:
        number = Counter(part.kind for part in parts)
        total = sum(part.area_m2 for part in parts)
        texts = [f"{part.kind} inside {float(conversion.values(part.level)):g} near {part.x:.0f}, {part.y:.0f} "
                 f"({part.area_m2:.0f} m2)" for part in parts]
        yield (f"Inside the last line of {number['hole']} hole(s) and {number['shoal']} shoal(s), {total:.0f} m2 or "
               f"{100 * total / area:.1f} % of the water, the depth is invented: the slope runs on and rounds off, at "
               f"most half an interval past the line. The band 'invented' marks it. Largest: {_listed(texts)}.")
