"""Contour lines and a shoreline as layers -> a depth map that is read by window; what the lines do not say, said."""
from __future__ import annotations

import math

import numpy as np
from qgis.core import QgsCoordinateReferenceSystem

from ..common import read
from ..common.base import stepper

__all__ = ["ContourDepths", "contour_depths"]

class ContourDepths:
    """A ContourFloor as ``depth_maps.DepthMap`` has it."""

    unit, more = "", (("invented", ""),)

    def __init__(self, floor, wkt):
        self.read, self.sample = floor.read, floor.sample
        self.wkt, self.transform, self.shape = wkt, floor.transform, floor.shape


def contour_depths(alg, parameters, context, feedback, conversion, cell):
    """(what to call the map, ContourDepths) of the parameters CONTOURS, CONTOUR_DEPTH_FIELD and SHORELINE.

    Parameters
    ----------
    conversion : survey.DepthConversion
    cell : float or None
        m; None: a round size.
    """
    from ...survey import contour_floor
    from ...survey.model.errors import InputError

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
    floor = contour_floor(read.wkt(crs), lines, levels, outline, conversion, cell, stepper(feedback, 5, 70))
    alg.tell(feedback, floor.notes, floor.warnings)
    return what, ContourDepths(floor, read.wkt(crs))


def _metric(source):
    """The layer's own CRS where a metre on its map is one on the ground, else the UTM zone, as a QGIS CRS."""
    from ...survey import metric_crs
    from ...survey.geometry.frame import horizontal_crs

    own = read.layer_crs(source, "Contour lines")
    middle = source.sourceExtent().center()
    if not (math.isfinite(middle.x()) and math.isfinite(middle.y())):
        return own  # an empty layer has no extent from 3.34 on; what it lacks is said where it is read
    found = metric_crs(read.wkt(own), np.array([middle.x()]), np.array([middle.y()]))
    if found == horizontal_crs(read.wkt(own)):
        return own
    return QgsCoordinateReferenceSystem(f"EPSG:{found.to_epsg()}")
