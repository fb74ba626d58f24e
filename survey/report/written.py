"""The coverage report from layers in any coordinate system, or straight from what the other functions returned."""
from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from shapely.geometry import Point

from ..coverage.gaps import CoverageResult
from ..geometry import overlap, shapes, transfer
from ..geometry.frame import Frame
from ..model.errors import InputError
from ..model.schemas import TRACK, names
from ..shore.unscanned import ShoreResult
from ..swaths.draw import SwathResult
from ..targets.locate import Located
from ..tracks.prepare import Prepared
from .coverage_report import area_rows, coverage_page, doubts
from .figures import Figures
from .layers import NEEDED, Layers, ReportLayer, grades_inside
from .rows import all_rows

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from os import PathLike
    from typing import Any

    from pyproj import CRS

    from ..coverage.gaps import SeenGround

__all__ = ["Report", "write_report"]


class Report:
    """Layers brought into one frame, with what a report works out of them.

    Parameters
    ----------
    crs : pyproj.CRS or str
        Of every geometry; may be None where no layer has one.
    layers : dict of {str: ReportLayer}
        By the names in ``NEEDED``, their geometries in crs units, None where a feature has none.
    seen : survey.coverage.gaps.SeenGround, optional
        Graded 'detection' for one look: what the looks inside the areas are worth.
    step : callable, optional
        Called with the fraction done.
    unit : {'m', 'ft'}
        What figures are told in; the rows for programs keep metres.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> from shapely.geometry import box
    >>> values = {"gap_id": 1, "kind": "nadir", "area_m2": 400.0, "width_m": 4.0, "length_m": 100.0, "certain": True}
    >>> columns = {name: np.array([value]) for name, value in values.items()}
    >>> found = athwart.ReportLayer("gaps", columns, [box(500000, 4500000, 500004, 4500100)])
    >>> page = athwart.Report("EPSG:32619", {"gaps": found}).page("North bay")
    >>> "under the boat, between the two sides" in page
    True
    """

    NEEDED: ClassVar = NEEDED

    def __init__(self, crs: CRS | str, layers: Mapping[str, ReportLayer], seen: SeenGround | None = None,
                 step: Callable[[float], object] = lambda fraction: None, unit: str = "m") -> None:
        unknown = sorted(set(layers) - set(NEEDED))
        if unknown:
            raise InputError(f"A report has no layer {', '.join(unknown)}; it takes {', '.join(NEEDED)}.",
                             field="layers")
        bounds = np.array([g.bounds for name, layer in layers.items() if name not in ("lake", "places")
                           for g in layer.geometries if g is not None and not g.is_empty]).reshape(-1, 4)
        # nothing found is an ordinary outing: without a single place there is a page all the same, only no map
        frame = Frame.around(crs, bounds[:, [0, 2]].ravel(), bounds[:, [1, 3]].ravel()) if len(bounds) else None
        self._layers = Layers(frame, units=Figures(unit))
        for i, (name, layer) in enumerate(layers.items()):
            step(0.2 * i / len(layers))
            carried = [shapes.empty() if g is None or g.is_empty else transfer.to_frame(frame, g)
                       for g in layer.geometries]
            if name in ("targets", "places"):  # other tools save a point as a multipoint of one
                carried = [g if g.is_empty else g.centroid for g in carried]
            setattr(self._layers, name, ReportLayer(layer.name, layer.columns, carried))
        step(0.2)
        self._layers.overlay()
        if seen is not None:
            self._grade(seen)
        step(1.0)

    def _grade(self, seen: SeenGround) -> None:
        """Fill in what a look is worth inside the areas, and what was seen where no swaths say it."""
        made = self._layers
        if made.areas is None or not made.areas.placed().any():
            return
        made.grades = grades_inside(made.frame, {
            "An object would show": seen.looks[0],
            "Seen, but an object could be missed": seen.causes["weak"],
            "Hidden by nearer ground": seen.causes["hidden"]}, made.areas)
        if made.swaths is None:
            ground = overlap.merged([transfer.to_frame(made.frame, part) for part in
                                     (seen.looks[0], seen.causes["weak"]) if not part.is_empty])
            made.levels = [] if ground.is_empty else [ground]

    def doubts(self) -> list[str]:
        """Sentences on what is doubtful or left out; they stand in the page, too."""
        return doubts(self._layers)

    def page(self, title: str = "Coverage report", made_on: str | None = None,
             worded: Callable[[str], str] = str, record: Mapping[str, Any] | None = None) -> str:
        """The report as one HTML page; ``made_on``: when, for the line under the title, else now; ``worded`` puts a
        Message into the reader's words, see ``coverage_report.coverage_page``; ``record``: texts by ``people``,
        ``gear``, ``water_level``, ``datum``, ``weather``, ``notes``, and under ``rows`` an outing's table."""
        now = datetime.datetime.now(datetime.timezone.utc)
        return coverage_page(self._layers, title, made_on or f"{now:%Y-%m-%d %H:%M} UTC", worded, record)

    def area_rows(self) -> tuple[list[str], list[list[Any]]]:
        """(head, rows) of the table of areas for programs, unknown as empty text."""
        return area_rows(self._layers.areas)

    def all_rows(self) -> tuple[list[str], list[list[Any]]]:
        """(head, rows) of a table with a row for each area, gap and target, unknown as empty text."""
        return all_rows(self._layers)


def write_report(path: str | PathLike[str], *results: Any, title: str = "Coverage report",
                 unit: str = "m") -> list[str]:
    """Write the coverage report of an outing as one HTML page that needs no network.

    Parameters
    ----------
    path : path
        Of the page; a file that is there is replaced.
    *results
        What ``prepare``, ``draw_swaths``, ``find_gaps``, ``find_unscanned`` and ``locate`` returned, one of each at
        most, all in the CRS of the prepared track.
    title : str
        For example the lake and the date.
    unit : {'m', 'ft'}
        What figures are told in.

    Returns
    -------
    list of str
        What is doubtful or left out; the page says it, too.

    Raises
    ------
    InputError
        If the prepared track is not among the results, or one of them is of no use here.

    Examples
    --------
    >>> import numpy as np
    >>> import pathlib, tempfile
    >>> import athwart
    >>> away = np.arange(0.0, 202.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> made = athwart.prepare(fixes, athwart.TrackSettings(range_m=13.0, depth_m=5.0))
    >>> page = pathlib.Path(tempfile.mkdtemp(), "outing.html")
    >>> doubts = athwart.write_report(page, made, athwart.draw_swaths(made.track), title="North bay")
    >>> "North bay" in page.read_text(encoding="utf-8")
    True
    """
    prepared = [one for one in results if isinstance(one, Prepared)]
    if len(prepared) != 1:
        raise InputError(f"A report is written of one prepared track, and {len(prepared)} are given. Give what prepare "
                         "returned.", field="results")
    layers = {}
    for one in results:
        for name, layer in _layers_of(one).items():
            if name in layers:
                raise InputError(f"There are two results of the kind {type(one).__name__}; give one.", field="results")
            layers[name] = layer
    report = Report(prepared[0].track.crs, layers, unit=unit)
    with open(path, "w", encoding="utf-8") as file:
        file.write(report.page(title))
    return report.doubts()


def _layers_of(result: Any) -> dict[str, ReportLayer]:
    """{name of the layer: ReportLayer} of what another function returned."""
    if isinstance(result, Prepared):
        track = result.track
        columns = {name: getattr(track, name) for name in names(TRACK) if name != "time"}
        return {"track": ReportLayer("track", columns, [Point(x, y) for x, y in zip(track.x, track.y)]),
                "passes": ReportLayer("passes", result.passes, result.lines)}
    if isinstance(result, SwathResult):
        return {"swaths": ReportLayer("swaths", result.columns, result.geometries)}
    if isinstance(result, CoverageResult):
        return {"gaps": ReportLayer("gaps", result.gaps, result.geometries),
                "areas": ReportLayer("areas", result.areas, result.area_geometries)}
    if isinstance(result, ShoreResult):
        return {"shore": ReportLayer("shore", result.columns, result.geometries)}
    if isinstance(result, Located):
        return {"targets": ReportLayer("targets", result.columns, [Point(x, y) for x, y in zip(result.x, result.y)])}
    raise InputError(f"A {type(result).__name__} has no place in a report; give what prepare, draw_swaths, find_gaps, "
                     "find_unscanned or locate returned.", field="results")
