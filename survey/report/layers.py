"""What a coverage report is made of: the columns and shapes of its layers, whichever version of the tools made them."""
from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..geometry import overlap, shapes, transfer
from .figures import METRES, Figures

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from typing import Any

    from shapely.geometry import Point
    from shapely.geometry.base import BaseGeometry

    from ..geometry.frame import Frame

__all__ = ["NEEDED", "Layers", "ReportLayer", "grades_inside", "looks_inside", "seen_levels"]

NEEDED = {
    "track": ("outing", "t_s", "heading_source", "depth_source", "range_m", "range_ratio", "sound_speed_mps",
              "latency_s", "lever_forward_m", "lever_starboard_m", "mount_deg", "usable", "reject_reason"),
    "passes": ("outing", "pass_id", "length_m", "mean_speed_mps", "mean_depth_m", "range_m", "too_fast_pct",
               "off_band_pct"),
    "swaths": ("outing", "pass_id", "side", "range_model", "blind_deg"),
    "areas": ("area_m2", "covered_m2", "covered_pct", "low_pct", "high_pct", "looks_min"),
    "gaps": ("gap_id", "kind", "area_m2", "width_m", "length_m", "certain"),
    "shore": ("status", "length_m"),
    "lake": (),
    "places": (),
    "targets": ("target_id", "label", "status", "semi_major_m", "semi_minor_m", "azimuth_deg", "confidence_pct",
                "main_cause"),
}
"""Fields without which a layer is not what it is taken for; all others may be missing, as in layers made earlier."""

_MOST_LOOKS = 3
_NAME_FIELDS = ("name", "label", "title", "area", "id")


@dataclass
class ReportLayer:
    """A layer's columns (arrays by field name, NaN or '' for unknown; times in seconds since 1970) and its geometries
    in frame metres, empty where a feature has none.

    Examples
    --------
    >>> import athwart
    >>> from shapely.geometry import Point
    >>> layer = athwart.ReportLayer("targets", {"label": ["log", ""]}, [Point(0, 0), Point(0, 9)])
    >>> layer.words("label").tolist(), layer.numbers("height_m").tolist()
    (['log', ''], [nan, nan])
    """

    name: str
    columns: dict
    geometries: list

    def __len__(self) -> int:
        return len(self.geometries)

    def has(self, name: str) -> bool:
        """True if the layer has the field."""
        return name in self.columns

    def numbers(self, name: str) -> np.ndarray:
        """(n,) floats of a field, NaN where it is unknown or the layer has no such field."""
        column = self.columns.get(name)
        if column is None:
            return np.full(len(self), np.nan)
        if np.asarray(column).dtype.kind in "fiub":
            return np.asarray(column, float)
        return np.array([_figure(value) for value in column], float)

    def words(self, name: str) -> np.ndarray:
        """(n,) texts of a field, '' where it is unknown or the layer has no such field."""
        column = self.columns.get(name)
        return np.full(len(self), "", object) if column is None else np.array([str(v) for v in column], object)

    def labels(self, word: str) -> list[str]:
        """What each feature is called: the layer's own name field, else ``word`` and a number."""
        for name in self.columns:
            if name.lower() in _NAME_FIELDS and any(str(v) for v in self.columns[name]):
                return [str(v) for v in self.columns[name]]
        return [f"{word} {i + 1}" for i in range(len(self))]

    def placed(self) -> np.ndarray:
        """(n,) bool: features that have a geometry."""
        return np.array([not g.is_empty for g in self.geometries], bool)


@dataclass
class Layers:
    """What the report is made of; any may be None.

    ``frame`` carries the geometries, None where no layer has any. ``levels``: ground seen by at least 1, 2 ... passes,
    polygons in the frame, see ``seen_levels``; ``looks``: (looks, m2) rows of it inside the areas; ``grades``: (what it
    is worth, m2) rows. ``lake``: outline for the inset. ``places``: points with names.
    ``units``: what the reader is told figures in.
    """

    frame: Frame
    track: ReportLayer = None
    passes: ReportLayer = None
    swaths: ReportLayer = None
    areas: ReportLayer = None
    gaps: ReportLayer = None
    shore: ReportLayer = None
    targets: ReportLayer = None
    lake: ReportLayer = None
    places: ReportLayer = None
    levels: list = field(default_factory=list)
    looks: list = field(default_factory=list)
    grades: list = field(default_factory=list)
    units: Figures = METRES

    def given(self) -> list[tuple[str, ReportLayer]]:
        """(name, layer) of those that are there."""
        names = ("track", "passes", "swaths", "areas", "gaps", "shore", "targets")
        return [(name, getattr(self, name)) for name in names if getattr(self, name) is not None]

    def lonlat(self, point: Point) -> tuple[float, float]:
        """Degrees of a point in the frame."""
        lon, lat = self.frame.frame_to_lonlat(point.x, point.y)
        return float(lon), float(lat)

    def overlay(self) -> None:
        """Fill in ``levels`` and ``looks`` from the swaths and the areas."""
        if self.swaths is None:
            return
        asked = np.nanmax(np.append(0 if self.areas is None else self.areas.numbers("looks_asked"), 0))
        self.levels = seen_levels(self.swaths, max(_MOST_LOOKS, int(asked)))
        if self.areas is not None and self.levels:
            self.looks = looks_inside(self.frame, self.levels, self.areas)


def _figure(value: Any) -> float:
    """A number, also where a layer holds it as text; NaN for what is none."""
    try:
        return float(value)
    except (TypeError, ValueError):
        return np.nan


def seen_levels(swaths: ReportLayer, depth: int = _MOST_LOOKS) -> list[BaseGeometry]:
    """Ground seen by at least 1, 2 ... ``depth`` separate passes; both sides of a pass are one look.

    Parameters
    ----------
    swaths : ReportLayer
        By outing and pass.
    depth : int

    Returns
    -------
    list of shapely polygons in the frame
        Ends before the first that is empty; one level only where passes were drawn as one and cannot be told apart.

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.report.layers import seen_levels
    >>> import athwart
    >>> two = athwart.ReportLayer("swaths", {"outing": ["north", "north"], "pass_id": np.array([1.0, 2.0])},
    ...                           [box(0, 0, 20, 10), box(10, 0, 30, 10)])
    >>> [level.area for level in seen_levels(two)]
    [300.0, 100.0]
    """
    passes: dict[Any, list[Any]] = {}
    for outing, number, geometry in zip(swaths.words("outing"), swaths.numbers("pass_id"), swaths.geometries):
        passes.setdefault((outing, number), []).append(geometry)
    if any(np.isnan(number) for _, number in passes):
        depth = 1
    found = overlap.levels([overlap.merged(strips) for strips in passes.values()], depth)
    return [level for level in found if not level.is_empty]


def looks_inside(frame: Frame, seen: Sequence[BaseGeometry], areas: ReportLayer) -> list[tuple[int, float]]:
    """Ground of the areas, each place counted once, by how many passes saw it at least.

    Parameters
    ----------
    frame : survey.geometry.frame.Frame
    seen : list of shapely polygons, see ``seen_levels``
    areas : ReportLayer

    Returns
    -------
    list of (looks, ground m2)
        Ends before the first level that is empty inside.

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.geometry.frame import Frame
    >>> from athwart.report.layers import looks_inside
    >>> import athwart
    >>> frame = Frame.around("EPSG:32619", np.array([5e5]), np.array([4.5e6]))
    >>> areas = athwart.ReportLayer("areas", {}, [box(0, 0, 20, 20)])
    >>> [(looks, round(m2)) for looks, m2 in looks_inside(frame, [box(0, 0, 30, 10), box(0, 0, 10, 10)], areas)]
    [(1, 200), (2, 100)]
    """
    inside = overlap.merged(areas.geometries)
    sizes = [transfer.geodesic_area(frame, shapes.polygonal(level.intersection(inside))) for level in seen]
    return [(k, size) for k, size in enumerate(sizes, 1) if size > 0]


def grades_inside(frame: Frame, ground: Mapping[str, BaseGeometry], areas: ReportLayer) -> list[tuple[str, float]]:
    """Ground of the areas by what a look there is worth.

    Parameters
    ----------
    frame : survey.geometry.frame.Frame
    ground : dict of {words: shapely polygons in crs units}
    areas : ReportLayer

    Returns
    -------
    list of (words, ground m2), in the order given

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.geometry.frame import Frame
    >>> from athwart.report.layers import grades_inside
    >>> import athwart
    >>> frame = Frame.around("EPSG:32619", np.array([5e5]), np.array([4.5e6]))
    >>> areas = athwart.ReportLayer("areas", {}, [box(-50, -50, 50, 50)])
    >>> ground = {"An object would show": box(499990, 4499990, 500010, 4500010)}
    >>> [(words, round(m2)) for words, m2 in grades_inside(frame, ground, areas)]
    [('An object would show', 400)]
    """
    inside = overlap.merged(areas.geometries)
    cut = [transfer.to_frame(frame, part).intersection(inside) for part in ground.values()]
    return list(zip(ground, transfer.geodesic_areas(frame, [shapes.polygonal(part) for part in cut]).tolist()))
