"""What a survey saw of an area: swath polygons, or a raster of looks turned into polygons, as levels of looks."""
from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from ..geometry import overlap, transfer
from ..model.errors import InputError
from ..model.messages import Message
from . import edge_error, seams, thinning

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from typing import Any

    from shapely.geometry.base import BaseGeometry

    from ..geometry.frame import Frame

__all__ = ["ASKED", "Cover", "PassCover", "Swaths", "cover_of_seen", "cover_of_swaths"]

MERGED = "The swaths were drawn with all passes in one, so passes cannot be kept apart"


TAKEN = Message("95 % interval was drawn as if all passes had moved together: ground that opens between two of them is "
                "not in it. Swaths drawn with {draw_swaths(merge)} 'strip' or 'pass' are drawn pass by pass.")

_MARGINS, _REACH_M = 2, 10.0
"""A draw may move a pass by twice the 95 % margin, and the end of a pass farther, by its heading."""

ASKED = ("samples", "inner_m", "range_m", "depth_m", "blind_deg", "speed_mps", "sigma_drift_m", "sigma_heading_deg",
         "sigma_sound_mps", "sigma_depth_m")
"""Further fields of a swath layer by which errors are drawn."""


@dataclass
class Swaths:
    """Swath polygons, one row each: a strip, a pass, or a whole outing in one.

    ``geometries``: list of shapely polygons in crs units, None where empty. ``outing``: (n,) str. ``pass_id``: (n,)
    float, NaN where several passes were drawn as one. ``outer_m``, ``sigma_edge_m``: (n,) float, NaN where unknown.
    ``more``: (n,) floats of other fields of ``schemas.SWATHS`` by name, as far as they are known; see ``ASKED``.
    """

    geometries: list
    outing: np.ndarray
    pass_id: np.ndarray
    outer_m: np.ndarray
    sigma_edge_m: np.ndarray
    more: dict = field(default_factory=dict)

    FIELDS: ClassVar = ("outing", "pass_id", "outer_m", "sigma_edge_m")
    MORE: ClassVar = ASKED

    @classmethod
    def of(cls, geometries: Iterable[BaseGeometry], columns: Mapping[str, Any]) -> Swaths:
        """Swaths of a layer.

        Parameters
        ----------
        geometries : list of shapely polygons
            In crs units, None where empty.
        columns : dict of (n,) arrays
            By the names of ``schemas.SWATHS``: those of ``FIELDS``, and of ``MORE`` what is known. Others are ignored.

        Examples
        --------
        >>> import athwart
        >>> from shapely.geometry import box
        >>> known = {"outing": ["north"], "pass_id": [1], "outer_m": [12.0], "sigma_edge_m": [0.9], "colour": ["red"]}
        >>> swaths = athwart.Swaths.of([box(500000, 4500000, 500012, 4500200)], known)
        >>> swaths.sigma_edge_m.tolist(), swaths.more
        ([0.9], {})
        """
        missing = [name for name in cls.FIELDS if name not in columns]
        if missing:
            raise InputError(f"These are not swaths: they lack {', '.join(missing)}. Give what draw_swaths made.",
                             field="swaths")
        known = {name: np.asarray(columns[name], object if name == "outing" else float) for name in cls.FIELDS}
        return cls(list(geometries), **known,
                   more={name: np.asarray(columns[name], float) for name in cls.MORE if name in columns})

    def column(self, name: str) -> np.ndarray:
        """(n,) floats of a field, NaN where unknown."""
        values = self.more.get(name) if name in ASKED else getattr(self, name)
        return np.full(len(self.geometries), np.nan) if values is None else np.asarray(values, float)


@dataclass
class PassCover:
    """One pass in frame metres: ``ground``, the union of its strips, whose ``rows`` of the layer these are.

    ``sigma_m``: standard deviation of its edge, the same whether its strips came as one feature or as many.
    ``outline`` is the ground with its edges thinned out where other passes saw what lies on both sides of them.
    """

    outing: str
    pass_id: float
    rows: list
    sigma_m: float
    reach_m: float
    ground: Any
    outline: Any = None

    @property
    def key(self) -> tuple[str, float]:
        """(outing, pass_id)."""
        return self.outing, self.pass_id


@dataclass
class Cover:
    """Ground seen, in frame metres.

    ``levels``: ground seen by at least 1 .. n passes. ``low``, ``high``: the last level as it is at least, and at most,
    with 95 % confidence, true in the rectangle of interest; ``low`` is None where passes cannot be told apart.
    ``passes``: what each pass saw, empty where unknown. ``reach_m``: usual ground range of the outer edge.
    ``causes``: polygons by kind of gap where a raster knows why ground was missed; ``cell_m``: side of its cells.
    ``notes``: what the user should know.
    """

    levels: list
    low: Any
    high: Any
    passes: list
    reach_m: float
    causes: dict = field(default_factory=dict)
    cell_m: float = 0.0
    notes: list = field(default_factory=list)

    @property
    def seen(self) -> BaseGeometry:
        """Ground that counts as seen: by as many passes as were asked for."""
        return self.levels[-1]

    @property
    def tells_passes(self) -> bool:
        """True if passes can be told apart."""
        return self.low is not None


def cover_of_swaths(frame: Frame, swaths: Swaths, bounds: np.ndarray, required_looks: int = 1,
                    position_error: float = 2.0, step: Callable[[float], object] = lambda fraction: None) -> Cover:
    """Cover of swath polygons.

    Parameters
    ----------
    frame : survey.geometry.frame.Frame
    swaths : Swaths
    bounds : (east, north, east, north)
        Rectangle of interest in frame metres; swaths that stay clear of it are left out.
    required_looks : int
        Passes that must have seen a place; port and starboard of one pass are one look.
    position_error : float
        Standard deviation per axis that all passes of one outing share (m).
    step : callable, optional

    Raises
    ------
    InputError
        If there are no swaths, or more than one look is asked of swaths that do not tell passes apart.

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.coverage.cover import cover_of_swaths
    >>> from athwart.geometry.frame import Frame
    >>> import athwart
    >>> known = {"outing": ["north"], "pass_id": [1], "outer_m": [12.0], "sigma_edge_m": [0.9]}
    >>> swaths = athwart.Swaths.of([box(500000, 4500000, 500012, 4500200)], known)
    >>> frame = Frame.around("EPSG:32619", np.array([5e5, 500012]), np.array([4.5e6, 4500200]))
    >>> cover = cover_of_swaths(frame, swaths, (-50, -150, 50, 150))
    >>> round(cover.seen.area), cover.tells_passes
    (2402, True)
    """
    if not any(g is not None and not g.is_empty for g in swaths.geometries):
        raise InputError(Message("The swath layer holds no polygons; there is nothing to judge. Run {draw_swaths()} "
                                 "first."))
    merged = bool(np.isnan(swaths.pass_id).any())
    if merged and required_looks > 1:
        raise InputError(Message("{merged} and {looks} looks cannot be counted. Run {draw_swaths()} again with "
                                 "{draw_swaths(merge)} 'strip' or 'pass', or ask for 1 look.", merged=MERGED,
                                 looks=required_looks))
    passes, notes = _passes(frame, swaths, bounds, position_error)
    step(0.2)
    outings = _thinned(passes, required_looks, position_error, lambda f: step(0.2 + 0.15 * f))
    step(0.35)
    seen = overlap.levels([p.outline for p in passes], required_looks)
    step(0.5)
    high = edge_error.moved_levels(outings, required_looks, position_error, 1, lambda f: step(0.5 + 0.2 * f),
                                   bounds)[-1]
    low = None
    if merged:
        notes.append(f"{MERGED}: the worst case is left empty, and the " + TAKEN)
    else:
        low = edge_error.moved_levels(outings, required_looks, position_error, -1, lambda f: step(0.7 + 0.3 * f),
                                      bounds)[-1]
    if not passes:
        notes.append("No swath touches the area. Check that both lie on the same lake and have the right coordinate "
                     "system.")
    known = swaths.outer_m[np.isfinite(swaths.outer_m)]
    return Cover(seen, low, high, [] if merged else passes, float(np.median(known)) if len(known) else np.nan,
                 notes=notes)


def _passes(frame: Frame, swaths: Swaths, bounds: np.ndarray,
            position_error: float) -> tuple[list[PassCover], list[str]]:
    """PassCovers whose edge, moved by its error, comes near the rectangle; notes on what was filled in or mended."""
    sigma = np.where(np.isfinite(swaths.sigma_edge_m), swaths.sigma_edge_m, edge_error.DEFAULT_SIGMA_M)
    strips: dict[Any, list[Any]] = {}
    mended = 0
    for row, geometry in enumerate(swaths.geometries):
        if geometry is None or geometry.is_empty:
            continue
        polygon, crossed = transfer.mended_to_frame(frame, geometry)
        mended += crossed
        if _near(polygon.bounds, bounds, _REACH_M + _MARGINS * sum(edge_error.margins(sigma[row], position_error))):
            strips.setdefault((swaths.outing[row], swaths.pass_id[row]), []).append((row, polygon))
    passes = []
    weight = np.nan_to_num(swaths.column("samples"), nan=1.0).clip(1)
    for (outing, pass_id), members in strips.items():
        rows = [row for row, _ in members]
        reach = swaths.outer_m[rows]
        pooled = np.sqrt(np.average(np.square(sigma[rows]), weights=weight[rows]))
        passes.append(PassCover(outing, float(pass_id), rows, float(pooled),
                                float(np.nanmax(reach)) if np.isfinite(reach).any() else np.nan,
                                seams.joined([polygon for _, polygon in members])))
    notes = []
    unstated = int((~np.isfinite(swaths.sigma_edge_m)).sum())
    if unstated:
        notes.append(f"{unstated} swath(s) do not state sigma_edge_m; {edge_error.DEFAULT_SIGMA_M:.1f} m was taken.")
    if mended:
        notes.append(f"{mended} swath(s) crossed themselves and were repaired.")
    return passes, notes


def _thinned(passes: list[PassCover], depth: int, position_error: float, step: Callable[[float], object]) -> list[Any]:
    """Outings, as ``edge_error`` takes them, of passes whose edges are thinned out; fills in ``outline``."""
    outings = [[p for p in passes if p.outing == outing] for outing in dict.fromkeys(p.outing for p in passes)]
    within, rest = edge_error.margins([p.sigma_m for p in passes], position_error)
    thin = thinning.thinned([[[p.ground] for p in members] for members in outings], depth,
                            within.max(initial=0), rest.max(initial=0), step)
    for members, grounds in zip(outings, thin):
        for one, (ground,) in zip(members, grounds):
            one.outline = ground
    return [[[(one.outline, one.sigma_m)] for one in members] for members in outings]


def _near(a: Any, b: Any, reach: float) -> bool:
    return a[0] - reach < b[2] and b[0] < a[2] + reach and a[1] - reach < b[3] and b[1] < a[3] + reach


def cover_of_seen(frame: Frame, looks: Sequence[BaseGeometry], causes: Mapping[str, BaseGeometry], reach_m: float,
                  position_error: float = 2.0, cell_m: float = 0.0) -> Cover:
    """Cover of ground that a raster says was seen; passes cannot be told apart in it, so the worst case stays unknown.

    Parameters
    ----------
    frame : survey.geometry.frame.Frame
    looks : list of shapely polygons
        Ground seen by at least 1 .. n looks, crs units; see ``grades.masks``.
    causes : dict of shapely polygons
        By kind of gap ('hidden', 'weak'), ground missed for a reason the raster knows, crs units.
    reach_m : float
        Usual ground range of the outer edge (m), NaN if unknown.
    position_error : float
        Standard deviation per axis that all passes share (m).
    cell_m : float
        Side of the raster's cells on the ground (m).

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.coverage.cover import cover_of_seen
    >>> from athwart.geometry.frame import Frame
    >>> frame = Frame.around("EPSG:32619", np.array([5e5, 500012]), np.array([4.5e6, 4500200]))
    >>> cover = cover_of_seen(frame, [box(500000, 4500000, 500012, 4500200)], {}, 12.0)
    >>> round(cover.seen.area), cover.tells_passes
    (2402, False)
    """
    found = [transfer.to_frame(frame, level) for level in looks]
    within, rest = edge_error.margins(edge_error.DEFAULT_SIGMA_M, position_error)
    return Cover(found, None, edge_error.moved_edge(found[-1], float(within + rest)), [], reach_m,
                 {kind: transfer.to_frame(frame, ground) for kind, ground in causes.items()}, cell_m,
                 [f"A raster of looks does not keep passes apart: the worst case is left empty, and the {TAKEN} The "
                  f"error of cells of {cell_m:g} m is counted in: where edges run along the grid it is large, and "
                  "smaller cells make it small."])
