"""Coverage of an area: how much of it was seen, how far off that figure may be, and every gap, its kind and size."""
from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from ..geometry import overlap, shapes, transfer, widths
from ..geometry.clearance import cleared, paced
from ..geometry.frame import Frame
from ..model.errors import InputError
from ..model.messages import Message, Setting
from ..share import merged_share
from ..share.drawn_errors import LEAST_DRAWS
from ..share.draws import drawn_passes, share_draws
from ..swaths.draw import SwathResult
from ..tracks.prepare import Prepared
from . import gap_kinds, gap_zones
from .cover import Swaths, cover_of_seen, cover_of_swaths
from .picture import Picture

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from typing import Any

    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

    from .cover import Cover
    from .gap_kinds import Piece

__all__ = ["CoverageResult", "GapSettings", "PassLayer", "SeenGround", "find_gaps"]

_QUADRANT = 8
_RIM_M = 0.05
_HALF = 0.5


@dataclass(frozen=True)
class GapSettings:
    """How the coverage of an area is judged.

    ``required_looks``: distinct passes that must have seen a place, at least 1. ``min_width``, ``min_area``: ground
    narrower than this, and gaps smaller, are not listed (m, m2). Width acts by morphological opening: what is kept is
    the ground that a circle of that diameter can sweep without leaving the gap, and its corners. ``position_error``:
    standard deviation per axis that the passes of one outing share (m). ``draws``: how many times the errors are drawn
    for the interval of the share, at least 200.
    """

    required_looks: int = 1
    min_width: float = 1.0
    min_area: float = 1.0
    position_error: float = 2.0
    draws: int = LEAST_DRAWS

    def __post_init__(self) -> None:
        if self.required_looks < 1:
            raise InputError(f"{self.required_looks} looks are required; the least is 1.", field="required_looks")
        for name, unit in (("min_width", "m"), ("min_area", "m2"), ("position_error", "m")):
            if not getattr(self, name) >= 0:
                raise InputError(Message("{setting} is {given:g} {unit}; it cannot be negative.", setting=Setting(name),
                                         given=getattr(self, name), unit=unit), field=name)
        if self.draws < LEAST_DRAWS:
            raise InputError(f"An interval of 95 % needs at least {LEAST_DRAWS} draws of the errors, not {self.draws}.",
                             field="draws")


@dataclass
class PassLayer:
    """Lines of the passes in crs units: ``geometries`` (list, None where empty), ``outing`` (n,) str, ``pass_id``,
    ``range_m``, ``depth_m`` (n,) float, NaN where unknown."""

    geometries: list
    outing: np.ndarray
    pass_id: np.ndarray
    range_m: np.ndarray
    depth_m: np.ndarray

    FIELDS: ClassVar = ("outing", "pass_id", "range_m", "mean_depth_m")

    @classmethod
    def of(cls, geometries: Iterable[BaseGeometry], columns: Mapping[str, Any]) -> PassLayer:
        """Passes of a layer: lines, None where empty, and columns by the names of ``schemas.PASSES``.

        Examples
        --------
        >>> import athwart
        >>> from shapely.geometry import LineString
        >>> known = {"outing": ["north"], "pass_id": [1], "range_m": [13.0], "mean_depth_m": [5.0]}
        >>> passes = athwart.PassLayer.of([LineString([(500000, 4500000), (500000, 4500200)])], known)
        >>> passes.depth_m.tolist()
        [5.0]
        """
        missing = [name for name in cls.FIELDS if name not in columns]
        if missing:
            raise InputError(f"These are not passes: they lack {', '.join(missing)}. Give what prepare made.",
                             field="passes")
        outing, *numbers = (columns[name] for name in cls.FIELDS)
        return cls(list(geometries), np.asarray(outing, object), *(np.asarray(values, float) for values in numbers))


@dataclass
class SeenGround:
    """Ground that a raster of looks says was seen, as polygons in crs units.

    ``looks``: ground seen by at least 1 .. required looks. ``causes``: ground missed, by kind ('hidden', 'weak').
    ``cell_m``: side of its cells on the ground.
    """

    looks: list
    causes: dict
    cell_m: float = 0.0


@dataclass
class CoverageResult:
    """Gaps (largest first), columns for each feature of the area, and totals.

    ``geometries``: list of shapely MultiPolygons in crs units; ``gaps`` and ``areas``: (n,) arrays by field name, see
    ``schemas.GAPS`` and ``schemas.AREAS``. Areas in ground m2, shares in percent, NaN where they cannot be known.
    ``low_percent`` .. ``high_percent`` is the 95 % interval of the share and ``expected_percent`` the mean of its draws
    (see ``share``); ``worst_percent`` and ``best_percent`` are what is seen with every edge moved at once.
    ``gap_m2`` is all missed ground; ``narrow_m2`` what of it is narrower than the least width, ``small_m2`` what else
    lies in gaps under the least area: the listed gaps are the rest. ``notes``: what the user should know.
    ``picture``: the chance of having been seen, None where not asked for. ``area_geometries``: the areas as given.
    """

    geometries: list
    gaps: dict
    areas: dict
    area_m2: float
    covered_m2: float
    covered_percent: float
    low_percent: float
    high_percent: float
    expected_percent: float
    worst_percent: float
    best_percent: float
    gap_m2: float
    narrow_m2: float
    small_m2: float
    notes: list = field(default_factory=list)
    picture: Picture = None
    area_geometries: list = None


def find_gaps(crs: CRS | str, areas: Sequence[BaseGeometry], swaths: Swaths | SwathResult | None = None,
              seen: SeenGround | None = None, settings: GapSettings = GapSettings(), *,
              exclude: Sequence[BaseGeometry] = (), passes: PassLayer | Prepared | None = None, picture: bool = False,
              step: Callable[[float], object] = lambda fraction: None) -> CoverageResult:
    """Judge the coverage of an area.

    Parameters
    ----------
    crs : pyproj.CRS or str
        CRS of every geometry handed in and out.
    areas : list of shapely polygons
        Features to be covered, None where a feature has no geometry. Overlapping features count once in the totals.
    swaths : cover.Swaths, or what ``draw_swaths`` made, or
    seen : SeenGround
        Exactly one of them.
    settings : GapSettings
    exclude : sequence of shapely polygons
        Ground that need not be seen.
    passes : PassLayer, or what ``prepare`` made, optional
        Without it the kinds no bottom and break are not told apart from others.
    picture : bool
        Whether a raster of the chance of having been seen is wanted.
    step : callable, optional
        Called with the fraction done; may raise Cancelled.

    Returns
    -------
    CoverageResult

    Raises
    ------
    InputError

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> from shapely.geometry import box
    >>> away = np.arange(0.0, 202.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> made = athwart.prepare(fixes, athwart.TrackSettings(range_m=13.0, depth_m=5.0))
    >>> bed = box(500000, 4500050, 500020, 4500150)
    >>> found = athwart.find_gaps("EPSG:32619", [bed], athwart.draw_swaths(made.track), passes=made)
    >>> round(found.covered_percent), sorted(found.gaps["kind"].tolist())
    (51, ['edge', 'edge'])
    """
    if isinstance(swaths, SwathResult):
        swaths = Swaths.of(swaths.geometries, swaths.columns)
    if isinstance(passes, Prepared):
        passes = PassLayer.of(passes.lines, passes.passes)
    frame, wanted, notes = _wanted(crs, areas, exclude)
    area = overlap.merged(wanted)
    bounds = area.bounds
    if (swaths is None) == (seen is None):
        raise InputError("Give either swaths or a raster of looks, one of the two.")
    if seen is None:
        cover = cover_of_swaths(frame, swaths, bounds, settings.required_looks, settings.position_error,
                                lambda f: step(0.5 * f))
    else:
        known = passes.range_m[np.isfinite(passes.range_m)] if passes else ()
        cover = cover_of_seen(frame, seen.looks, seen.causes, float(np.median(known)) if len(known) else np.nan,
                              settings.position_error, seen.cell_m)
    step(0.5)
    missed = [_Missed.of(frame, area, level) for level in cover.levels]
    gap = missed[-1]
    worst, best = (_Missed.of(frame, area, bound) for bound in (cover.low, cover.high))
    opened = _opened(gap.ground, settings.min_width)
    step(0.55)
    lines = [] if passes is None else gap_zones.pass_lines(
        frame, passes.geometries, passes.outing, passes.pass_id, passes.range_m, passes.depth_m, cover)
    pieces = gap_kinds.split(opened, area, cover, lines, settings.min_width, settings.min_area)
    step(0.6)
    kept, table, small = _listed(frame, pieces, missed, settings.min_area)
    columns = _by_area(frame, wanted, missed, worst, best, cover)
    area_m2 = transfer.geodesic_area(frame, area)
    percent, chance = _percent(gap.total, area_m2), Picture(frame, area) if picture else None
    drawn, said = _drawn(cover, swaths, lines, wanted, area, (percent, columns["covered_pct"]), kept,
                         settings, chance, lambda f: step(0.65 + 0.35 * f))
    for name in ("low", "high", "expected"):
        columns[f"{name}_pct"] = np.array([getattr(one, name) for one in drawn.areas])
    table["open_pct"] = drawn.open_pct
    table["certain_m2"] = table["area_m2"] * drawn.certain_share
    table["certain"] = drawn.certain_share >= _HALF
    step(1.0)
    outlines = transfer.all_to_crs(frame, [paced(cleared(ground, within=True)) for ground in kept])
    return CoverageResult(
        outlines, table, columns, area_m2, _seen(gap.total, area_m2), percent,
        drawn.total.low, drawn.total.high, drawn.total.expected, _percent(worst.total, area_m2),
        _percent(best.total, area_m2), gap.total, max(0.0, float(gap.total - table["area_m2"].sum() - small)), small,
        notes + cover.notes + said, chance, list(areas))


def _drawn(cover: Cover, swaths: Swaths | None, lines: list[Any], wanted: Sequence[BaseGeometry],
           area: BaseGeometry, exact: Any, gaps: Sequence[BaseGeometry], settings: GapSettings, picture: Picture | None,
           step: Callable[[float], object]) -> tuple[Any, Any]:
    """ShareDraws, and notes."""
    if not cover.tells_passes:
        body, outing = merged_share.merged_pass(cover.seen, settings.draws, settings.position_error)
        changes = merged_share.other_changes(cover.seen, [area, *wanted], lines, cover.reach_m, cover.cell_m, outing)
        with np.errstate(divide="ignore", invalid="ignore"):
            changes *= 100 / np.array([[one.area] for one in (area, *wanted)])
        return share_draws([body], wanted, area, exact, gaps, 1, settings.draws, None, (changes[0], changes[1:]),
                           step), []
    known: dict[Any, list[Any]] = {}
    for line in lines:
        known.setdefault(line.key, []).extend(line.parts)
    passes, said = drawn_passes(cover, swaths, known, settings.draws, settings.position_error)
    return share_draws(passes, wanted, area, exact, gaps, settings.required_looks, settings.draws, picture,
                       step=step), said


_ROUNDING = 1e-9
"""Share of an area that is rounding and not ground: nobody is to read of 2e-14 % seen."""


def _percent(missed_m2: float, area_m2: float) -> float:
    return 100 * _share(missed_m2, area_m2)


def _seen(missed_m2: float, area_m2: float) -> float:
    return area_m2 * _share(missed_m2, area_m2)


def _share(missed_m2: float, area_m2: float) -> float:
    """Share seen of an area with so much missed; NaN where that is unknown."""
    share = float(1 - missed_m2 / area_m2)
    return 0.0 if share < _ROUNDING else 1.0 if share > 1 - _ROUNDING else share


class _Missed:
    """Ground of the area that one level of looks leaves over: parts, their ground areas (m2), and the total.

    The total is NaN where the level is unknown.
    """

    def __init__(self, frame: Frame, parts: Sequence[BaseGeometry], total: float | None = None) -> None:
        self._frame = frame
        self.parts = parts
        self.areas = transfer.geodesic_areas(frame, parts)
        self.total = float(self.areas.sum()) if total is None else total
        self._tree = shapes.Tree(parts)
        self._prepared: dict[int, Any] = {}

    def _ready(self, k: int) -> BaseGeometry:
        if k not in self._prepared:
            self._prepared[k] = shapes.prepared(self.parts[k])
        return self._prepared[k]

    @classmethod
    def of(cls, frame: Frame, area: BaseGeometry, seen: BaseGeometry) -> _Missed:
        if seen is None:
            return cls(frame, [], np.nan)
        return cls(frame, shapes.parts(shapes.drop_small_holes(area.difference(seen))))

    @property
    def ground(self) -> BaseGeometry:
        """All of it as one MultiPolygon."""
        return shapes.collected(self.parts)

    def within(self, ground: BaseGeometry) -> float:
        """Ground area (m2) of what lies in a polygon."""
        if np.isnan(self.total):
            return np.nan
        total = 0.0
        for i in self._tree.query(ground):
            inside = ground.covers(self.parts[i])
            total += self.areas[i] if inside else transfer.geodesic_area(
                self._frame, shapes.polygonal(ground.intersection(self.parts[i])))
        return total

    def touches(self, grounds: Sequence[BaseGeometry]) -> np.ndarray:
        """(n,) bool: whether any of it, a rim of 5 cm left off, lies in each of n polygons."""
        found = np.zeros(len(grounds), bool)
        for i, ground in enumerate(grounds):
            middle = ground.representative_point()
            found[i] = any(self._ready(k).contains(middle) for k in self._tree.boxed(middle))
        if not found.all():
            worn = shapes.Tree([part.buffer(-_RIM_M, 1) for part in self.parts])
            for i in np.flatnonzero(~found).tolist():
                found[i] = len(worn.query(grounds[i])) > 0
        return found


def _wanted(crs: CRS | str, areas: Sequence[BaseGeometry],
            exclude: Sequence[BaseGeometry]) -> tuple[Frame, list[BaseGeometry], list[str]]:
    """Frame, the features of the area in it less the excluded ground, and notes."""
    with_shape = [g for g in areas if g is not None and not g.is_empty]
    if not with_shape:
        raise InputError("The area layer holds no polygons; draw the water that was to be covered.")
    vertices = np.vstack([ring for g in with_shape for shell, _ in shapes.rings(g) for ring in [shell]])
    frame = Frame.around(crs, *vertices.T)
    crossed = sum(not g.is_valid for g in with_shape)
    notes: list[str] = []
    if crossed:
        notes.append(Message("{count} area feature(s) crossed themselves and were repaired; look at {result.areas} to "
                             "see whether that is what you meant.", count=crossed))
    kept_out = overlap.merged([transfer.to_frame(frame, g) for g in exclude if g is not None and not g.is_empty])
    wanted = []
    for geometry in areas:
        inside = shapes.empty() if geometry is None or geometry.is_empty else transfer.to_frame(frame, geometry)
        wanted.append(shapes.polygonal(inside.difference(kept_out)))
    if not sum(g.area for g in wanted) > 0:
        raise InputError("Nothing is left of the area: its polygons are empty, or the excluded ground covers them.")
    return frame, wanted, notes


def _opened(gap: BaseGeometry, min_width: float) -> BaseGeometry:
    """The gap less what is narrower than the least width.

    A morphological opening, by a circle of that diameter, that spares the tips of corners: no circle fills a corner,
    yet nobody would call it narrow. A tip is small, and short all round.
    """
    if min_width <= 0 or gap.is_empty:
        return gap
    radius = min_width / 2
    worn = gap.buffer(-0.999 * radius, _QUADRANT)  # a gap of exactly the least width is not narrower than it
    left_over = gap.difference(worn.buffer(1.1 * radius, _QUADRANT))
    narrow = [part for part in shapes.parts(left_over)
              if part.area > 0.25 * min_width**2 or part.length > 3 * min_width]
    return shapes.drop_small_holes(gap.difference(shapes.union(narrow))) if narrow else gap


def _listed(frame: Frame, pieces: Sequence[Piece], missed: Sequence[_Missed],
            min_area: float) -> tuple[list[BaseGeometry], dict[str, Any], float]:
    """Gaps to list, frame metres, their columns, and the area of those too small for it."""
    sizes = transfer.geodesic_areas(frame, [piece.ground for piece in pieces])
    large = sizes >= max(min_area, shapes.MIN_HOLE_M2)
    order = [i for i in np.argsort(-sizes, kind="stable") if large[i]]
    kept = [pieces[i].ground for i in order]
    width = [widths.inscribed_diameter(ground) for ground in kept]
    table = {"gap_id": np.arange(1, len(kept) + 1), "kind": np.array([pieces[i].kind for i in order], object),
             "area_m2": sizes[order], "width_m": np.array(width, float),
             "length_m": np.array([widths.run_length(*pair) for pair in zip(kept, width)], float),
             "looks": _fewest(kept, missed[:-1])}
    return kept, table, float(sizes[~large].sum())


def _fewest(grounds: Sequence[BaseGeometry], missed: Sequence[_Missed]) -> np.ndarray:
    """(n,) fewest looks anywhere on each ground; at most the number of levels whose missed ground is given."""
    found = np.full(len(grounds), len(missed))
    for looks in range(len(missed) - 1, -1, -1):
        found[missed[looks].touches(grounds)] = looks
    return found


def _by_area(frame: Frame, wanted: Sequence[BaseGeometry], missed: Sequence[_Missed], worst: _Missed, best: _Missed,
             cover: Cover) -> dict[str, np.ndarray]:
    """Columns of the features of the area but for the interval."""
    rows = []
    for ground in wanted:
        size = transfer.geodesic_area(frame, ground)
        if not size > 0:
            rows.append((0.0, 0.0, np.nan, np.nan, np.nan, np.nan))
            continue
        gap, most, least = (m.total if len(wanted) == 1 else m.within(ground) for m in (missed[-1], worst, best))
        rows.append((size, _seen(gap, size), _percent(gap, size), _percent(most, size), _percent(least, size),
                     _looks_min(frame, ground, missed, cover)))
    names = ("area_m2", "covered_m2", "covered_pct", "worst_pct", "best_pct", "looks_min")
    return {name: np.array(column, float) for name, column in zip(names, zip(*rows))}


def _looks_min(frame: Frame, ground: BaseGeometry, missed: Sequence[_Missed], cover: Cover) -> int:
    """Fewest looks anywhere in the area; counted on beyond the looks asked for when all of it has as many."""
    fewest = int(_fewest([ground], missed)[0])
    if fewest < len(missed) or not cover.passes:
        return fewest
    tree = shapes.Tree([one.ground for one in cover.passes])
    here = [cover.passes[i].ground for i in tree.query(ground)]
    while fewest < len(here) and not _Missed.of(frame, ground, overlap.levels(here, fewest + 1)[-1]).parts:
        fewest += 1
    return fewest
