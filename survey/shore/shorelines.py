"""Shoreline layers as lines and water: what people have as a lake's outline, in frame metres."""
from __future__ import annotations

import numpy as np
from shapely.geometry import LineString
from shapely.ops import polygonize, unary_union

from ..geometry import overlap, shapes, transfer
from ..model.errors import InputError
from ..model.messages import Message

__all__ = ["cut", "line_string", "lines_of", "places", "run_of", "water_of"]


def lines_of(frame, shoreline):
    """Every ring of polygons, and every line, as (n, 2) arrays in frame metres; mended where a polygon is invalid.

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.geometry.frame import Frame
    >>> from athwart.shore.shorelines import lines_of
    >>> frame = Frame.around("EPSG:32619", np.array([5e5, 500100]), np.array([4.5e6, 4500100]))
    >>> [len(line) for line in lines_of(frame, [box(500000, 4500000, 500100, 4500100)])]
    [5]
    """
    found = []
    for geometry in shoreline:
        if geometry is None or geometry.is_empty:
            continue
        carried = transfer.to_frame(frame, geometry)
        if carried.geom_type in ("Polygon", "MultiPolygon"):
            found += [ring for shell, holes in shapes.rings(carried) for ring in (shell, *holes)]
        else:
            found += [np.asarray(part.coords)[:, :2] for part in getattr(carried, "geoms", [carried])]
    found = [line[np.append(True, np.hypot(*np.diff(line, axis=0).T) > 0)] for line in found]
    found = [line for line in found if len(line) > 1]
    if not found:
        raise InputError("The shoreline layer holds no line longer than nothing; give it the lake's polygon or shore.")
    return found


def water_of(frame, shoreline, water):
    """The water in frame metres, and notes.

    Parameters
    ----------
    frame : survey.geometry.frame.Frame
    shoreline, water : lists of shapely geometries in crs units
        ``water`` may be None: then the polygons of the shoreline, or those its lines close.

    Raises
    ------
    InputError
        If the lines close nothing: then it cannot be known on which side of them the water is.

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.geometry.frame import Frame
    >>> from athwart.shore.shorelines import water_of
    >>> frame = Frame.around("EPSG:32619", np.array([5e5, 500100]), np.array([4.5e6, 4500100]))
    >>> water, notes = water_of(frame, [box(500000, 4500000, 500100, 4500100)], None)
    >>> round(water.area), notes
    (10008, [])
    """
    given = water if water is not None else shoreline
    polygons = [g for g in given if g is not None and g.geom_type in ("Polygon", "MultiPolygon") and not g.is_empty]
    crossed = sum(not g.is_valid for g in polygons)
    notes = [f"{crossed} polygon(s) of the shore crossed themselves and were repaired."] if crossed else []
    if water is not None and not polygons:
        raise InputError("The water layer holds no polygons; give it the lake's polygon, or leave it out.")
    if polygons:
        return overlap.merged([transfer.to_frame(frame, g) for g in polygons]), notes
    closed = polygonize(unary_union([LineString(line) for line in lines_of(frame, shoreline)]))
    inside = shapes.empty()
    for ring in closed:  # a ring in a ring is an island
        inside = inside.symmetric_difference(shapes.polygon(np.asarray(ring.exterior.coords)))
    if inside.is_empty:
        raise InputError(Message("The shoreline is made of lines that close no water, so it cannot be known where "
                                 "sound may run. Give the lake's polygon as {water}."))
    return shapes.polygonal(inside), notes


def run_of(line):
    """Distance along an (n, 2) line at each of its vertices.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.shore.shorelines import run_of
    >>> run_of(np.array([(0.0, 0.0), (3.0, 4.0), (3.0, 10.0)])).tolist()
    [0.0, 5.0, 11.0]
    """
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])


def places(line, run, stations):
    """Places at distances along a line, and the unit vectors to its left there: two (k, 2) arrays.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.shore.shorelines import places, run_of
    >>> line = np.array([(0.0, 0.0), (3.0, 4.0), (3.0, 10.0)])
    >>> [values.tolist() for values in places(line, run_of(line), np.array([5.0, 8.0]))]
    [[[3.0, 4.0], [3.0, 7.0]], [[-1.0, 0.0], [-1.0, 0.0]]]
    """
    edge = np.clip(np.searchsorted(run, stations, "right") - 1, 0, len(line) - 2)
    along = (line[edge + 1] - line[edge]) / (run[edge + 1] - run[edge])[:, None]
    return line[edge] + (stations - run[edge])[:, None] * along, np.column_stack([-along[:, 1], along[:, 0]])


def cut(line, run, start, end):
    """The vertices of a line between two distances along it, ends included.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.shore.shorelines import cut, run_of
    >>> line = np.array([(0.0, 0.0), (3.0, 4.0), (3.0, 10.0)])
    >>> cut(line, run_of(line), 5.0, 8.0).tolist()
    [[3.0, 4.0], [3.0, 7.0]]
    """
    ends = places(line, run, np.array([start, end]))[0]
    inside = (run > start + 1e-9) & (run < end - 1e-9)
    return np.vstack([ends[:1], line[inside], ends[1:]])


def line_string(vertices):
    """(n, 2) vertices as a line.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.shore.shorelines import line_string
    >>> line_string(np.array([(0.0, 0.0), (3.0, 4.0)])).length
    5.0
    """
    return LineString(vertices)
