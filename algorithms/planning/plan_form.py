"""What the forms of the planning tools share: depth, range, boat and fuel, the way from form to core, outputs."""
from __future__ import annotations

import functools

import numpy as np
from qgis.core import QgsProcessingOutputNumber

from ...survey import CAUTION
from ...survey.model.errors import InputError
from ...survey.model.messages import Message
from ..common import parameters as make
from ..common import read, values
from ..common.files import save_text
from ..common.rasters import depth_grid

__all__ = ["FIELDS", "add_numbers", "boat_boxes", "depth_boxes", "fields_but", "geometries", "ground_for",
           "limit_boxes", "metres",
           "range_rule", "refused", "save_gpx", "speed", "start_of"]

FIELDS = {"area": "AREA", "water": "WATER", "depth": "DEPTH", "setback": "SETBACK", "min_depth": "MIN_DEPTH",
          "range_m": "RANGE", "model": "RANGE_MODEL", "blind_deg": "BLIND_ANGLE", "overlap": "OVERLAP",
          "wander_m": "LINE_KEEPING", "looks": "REQUIRED_LOOKS", "direction": "DIRECTION", "azimuth": "AZIMUTH",
          "round_shore": "ROUND_SHORE", "lead_m": "LEAD", "radius_m": "MIN_RADIUS", "turn_s": "TURN_TIME",
          "litres_per_hour": "FUEL_PER_HOUR", "speed_mps": "SPEED", "runs": "RUNS", "start": "START"}
"""Parameter of each setting that the core's messages name."""


_OBJECT_M = 1.0
"""Side (m) of the object that the range of each line is chosen for."""


def fields_but(*settings):
    """``FIELDS`` of a form that has no box for some settings."""
    return {name: box for name, box in FIELDS.items() if name not in settings}


def depth_boxes():
    """Range and depth."""
    return [
        make.number("RANGE", "Range", "Slant range to set, to each side. Blank where the range is to be chosen.", None,
                    0),
        make.choice("RANGE_UNIT", "Unit of ranges and depths", "Unit of the range, the depth and the least depth.",
                    make.RANGE_UNITS, "m"),
        make.raster("DEPTH_GRID", "Depth grid", "Depths in metres, positive down, from 'Prepare depth grid'. With it "
                    "lines lie as the reach of each place allows, and shoals are kept clear of."),
        make.number("DEPTH", "One depth for all", "Instead of a grid: water under the boat, the same everywhere.", None,
                    0)]


def limit_boxes():
    """Where the boat may go."""
    return [
        make.distance("SETBACK", "Setback from land", "The boat keeps so far off every shore, island and excluded "
                      "ground.", 5.0, 0),
        make.number("MIN_DEPTH", "Least depth for the boat", "Shallower or unknown water of the depth grid is not "
                    "entered. In the unit of depths.", 0.0, 0)]


def boat_boxes(speed_mps, wander=True):
    """The boat, folded under Advanced."""
    return list(make.advanced(
        make.point("START", "Start (a point on the map)", "Where the boat sets out; blank begins with whichever "
                   "line is best."),
        make.number("SPEED", "Speed", "Speed over ground along the run.", speed_mps, 0),
        make.choice("SPEED_UNIT", "Unit of the speed", "Unit of the speed.", make.SPEED_UNITS, "m/s"),
        make.number("FUEL_PER_HOUR", "Fuel (litres an hour)", "For the fuel of the run; blank leaves it out.", None, 0),
        make.distance("MIN_RADIUS", "Least radius of a turn", "The boat turns no tighter, where the water has room.",
                      8.0, 0),
        make.number("BLIND_ANGLE", "Blind angle (degrees)", "Ground within this angle of the vertical is not "
                    "counted as seen; 20 is common practice.", 20.0, 0, 79)))


def add_numbers(alg, *pairs):
    """Numbers that a tool hands back."""
    for name, label in pairs:
        alg.addOutput(QgsProcessingOutputNumber(name, label))


def refused(alg, parameters, context):
    """A refusal that can be told from the form, '' if there is none."""
    depth, grid = values.given(parameters, "DEPTH"), values.given(parameters, "DEPTH_GRID")
    if depth == grid:
        return Message("Give {DEPTH_GRID} or one depth for all of the area ({DEPTH}), exactly one of them.")
    if depth and not values.number(alg, parameters, "DEPTH", context) > 0:
        return Message("{DEPTH} must be more than 0.")
    if values.given(parameters, "RANGE") and not values.number(alg, parameters, "RANGE", context) > 0:
        return Message("{RANGE} must be more than 0.")
    for name, unit in (("SETBACK", " m"), ("MIN_DEPTH", ""), ("MIN_RADIUS", " m"), ("FUEL_PER_HOUR", "")):
        value = values.number(alg, parameters, name, context)
        if value is not None and value < 0:
            return Message("{" + name + "} is {given:g}{unit}; give 0 or more.", given=value, unit=unit)
    for name in ("RANGE_UNIT", "SPEED_UNIT"):
        values.option(alg, parameters, name, context)
    speed(alg, parameters, context)
    return ""


def metres(alg, parameters, name, context):
    """A range or depth in metres, None where blank."""
    from ...survey.model import units

    value = values.number(alg, parameters, name, context)
    return None if value is None else float(units.metres(value, values.option(alg, parameters, "RANGE_UNIT", context)))


def speed(alg, parameters, context):
    """The speed in m/s.

    Raises
    ------
    InputError
        Where it is not one to survey at.
    """
    from ...survey.model import units

    found = float(units.metres_per_second(values.number(alg, parameters, "SPEED", context),
                                          values.option(alg, parameters, "SPEED_UNIT", context)))
    if not 0.1 <= found <= 30:
        raise InputError(f"A speed of {found:g} m/s is not one to survey at; give 0.1 to 30 m/s.", field="speed_mps")
    return found


def range_rule(alg, parameters, context, **more):
    """The ReachRule of the form."""
    from ...survey import RangeRule, ReachRule

    range_m = metres(alg, parameters, "RANGE", context)
    blind_deg = values.number(alg, parameters, "BLIND_ANGLE", context)
    chosen = None
    if range_m is None:
        chosen = _by_depth(RangeRule(_OBJECT_M, speed(alg, parameters, context), blind_deg))
    return ReachRule(range_m=range_m, range_of=chosen, blind_deg=blind_deg, **more)


def _by_depth(rule):
    """Ranges (n,) for depths (n,), to the next 0.1 m, as the range table chooses them."""
    from ...survey import choose_range

    @functools.cache
    def one(tenths):
        return choose_range(tenths / 10, rule.object_m, rule.speed_mps, rule=rule).range_m
    return lambda depths: np.array([one(max(1, tenths)) for tenths in np.rint(10 * np.asarray(depths)).astype(int)])


def geometries(alg, parameters, name, context, feedback, crs=None):
    """(shapely geometries, crs) of a layer; (None, None) where it was left blank."""
    tab = read.table(alg, parameters, name, context, feedback, crs=crs, geometry="any")
    if tab is None:
        return None, None
    return [g for g in read.shapes(tab) if g is not None], tab.crs


def ground_for(alg, parameters, context, feedback, area, crs, water=None):
    """(Ground, DepthGrid or None) of a plan.

    Parameters
    ----------
    area, water : lists of shapely polygons in ``crs``
    crs : QgsCoordinateReferenceSystem
    """
    from ...survey import ground_of

    shut, _ = geometries(alg, parameters, "EXCLUDE", context, feedback, crs)
    grid = depth_grid(alg, parameters, "DEPTH_GRID", context)
    return ground_of(read.wkt(crs), area, exclude=shut or (), water=water, depth_grid=grid,
                     depth=metres(alg, parameters, "DEPTH", context),
                     setback=values.number(alg, parameters, "SETBACK", context),
                     min_depth=metres(alg, parameters, "MIN_DEPTH", context)), grid


def start_of(alg, parameters, context, crs):
    """(x, y) of START in ``crs``, None where blank."""
    if not values.given(parameters, "START"):
        return None
    point = alg.parameterAsPoint(parameters, "START", context, crs)
    return point.x(), point.y()


def save_gpx(alg, parameters, context, feedback, run, frame, speed_mps):
    """Write the routes of a run where OUTPUT_GPX asks for them; what the tool hands back of it."""
    from ...survey import plan_gpx

    if not values.given(parameters, "OUTPUT_GPX"):
        return {}
    path = alg.parameterAsFileOutput(parameters, "OUTPUT_GPX", context)
    save_text(path, plan_gpx(run, frame, speed_mps, CAUTION, values.option(alg, parameters, "RANGE_UNIT", context),
                             values.option(alg, parameters, "SPEED_UNIT", context)))
    feedback.pushInfo(f"{len(run.lines)} routes are in {path}: each leads from the end of the one before, over its "
                      f"turn, "
                      "to the end of its line.")
    return {"OUTPUT_GPX": path}
