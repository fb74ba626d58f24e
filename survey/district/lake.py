"""One lake from all its outings: the share seen with its interval, gaps, shore, combined targets, a report."""
from __future__ import annotations

import time
from typing import Any

import numpy as np
from shapely.geometry import Point

from ..adjustment.repeated import adjust
from ..coverage.cover import Swaths
from ..coverage.gaps import PassLayer, find_gaps
from ..geometry import shapes
from ..model import schemas
from ..model.errors import InputError
from ..report.layers import ReportLayer
from ..report.written import Report
from ..shore.unscanned import find_unscanned
from .parcel import Parcel, Part

__all__ = ["judge_lake", "joined"]


def judge_lake(lake: Any, outings: Any, settings: Any) -> Any:
    """Judge a lake.

    Parameters
    ----------
    lake : tables.Lake
    outings : sequence of bytes or of paths
        Parcels of its outings, in the order of the table.
    settings : settings.DistrictSettings

    Returns
    -------
    bytes
        Of a Parcel: areas, gaps, shore, combined, combined_ellipses; its facts are those of the layer of lakes, the
        report, notes and warnings.

    Raises
    ------
    InputError
    """
    began = time.process_time()
    given = [Parcel.of(one if isinstance(one, bytes) else _content(one)) for one in outings]
    layers = {name: joined([one.parts[name] for one in given if name in one.parts])
              for name in ("track", "passes", "swaths", "targets")}
    area, water = shapes.from_wkb(lake.area), shapes.from_wkb(lake.water)
    swaths, passes, targets = (layers[name] for name in ("swaths", "passes", "targets"))
    found = find_gaps(lake.crs, [area], Swaths.of(swaths.places, swaths.columns), settings=settings.gaps(),
                      passes=PassLayer.of(passes.places, passes.columns))
    found.areas.update(looks_asked=np.array([settings.required_looks]), grade=np.array(["seen"], object))
    shore = find_unscanned(lake.crs, swaths.places, [shapes.from_wkb(one) for one in lake.shore], [water],
                           reach=settings.reach, min_length=settings.min_length)
    parcel = Parcel(lake.crs, {"areas": Part(found.areas, [area]), "gaps": Part(found.gaps, found.geometries),
                               "shore": Part(shore.columns, shore.geometries)})
    said = [*found.notes, *shore.notes]
    if len(targets):
        x, y = targets.places
        once = adjust(lake.crs, x, y, targets.columns, settings.combining(),
                      names=targets.columns["label"] if settings.by_label else None)
        parcel.parts["combined"] = Part(once.columns, (once.x, once.y))
        parcel.parts["combined_ellipses"] = Part(
            {name: once.columns[name] for name in schemas.names(schemas.ELLIPSES)}, list(once.outlines))
        said += once.warnings
    parcel.facts = {
        "lake": lake.name, "outings": len(given), "area_m2": found.area_m2, "covered_m2": found.covered_m2,
        "covered_pct": found.covered_percent, "low_pct": found.low_percent, "high_pct": found.high_percent,
        "expected_pct": found.expected_percent, "worst_pct": found.worst_percent, "best_pct": found.best_percent,
        "gaps": len(found.geometries), "gap_m2": found.gap_m2, "shore_m": shore.shore_m,
        "unscanned_m": shore.unscanned_m, "unscanned_pct": shore.unscanned_percent,
        "targets": len(parcel.parts["combined"]) if "combined" in parcel.parts else 0,
        "track_m": sum(one.facts["track_m"] for one in given), "warnings": [str(one) for one in said],
        "page": _page(lake, layers, parcel)}
    parcel.facts["worked_s"] = time.process_time() - began
    return parcel.packed()


def joined(parts: Any) -> Any:
    """Layers one after another; a column that only some have is unknown in the others.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.district.lake import joined
    >>> from athwart.district.parcel import Part
    >>> both = joined([Part({"n": np.array([1.0])}), Part({"n": np.array([2.0]), "t": np.array(["a"], object)})])
    >>> both.columns["n"].tolist(), both.columns["t"].tolist()
    ([1.0, 2.0], ['', 'a'])
    """
    if not parts:
        return Part({}, [])
    kinds = {name: values.dtype.kind for part in parts for name, values in part.columns.items()}
    columns = {name: np.concatenate([
        part.columns[name] if name in part.columns else np.full(len(part), "" if kind == "O" else np.nan,
                                                               object if kind == "O" else float)
        for part in parts]) for name, kind in kinds.items()}
    if isinstance(parts[0].places, tuple):
        return Part(columns, tuple(np.concatenate([part.places[k] for part in parts]) for k in (0, 1)))
    if parts[0].places is None:
        return Part(columns)
    return Part(columns, [one for part in parts for one in part.places])


def _content(path: Any) -> Any:
    try:
        with open(path, "rb") as file:
            return file.read()
    except OSError as error:
        raise InputError(f"{path} cannot be read here ({error.strerror}). Give the workers the same folder, or send "
                         "the data to them.", field="send") from None


def _page(lake: Any, layers: Any, parcel: Any) -> Any:
    """The lake's report; the combined targets are what people go back to."""
    given = {**{name: layers[name] for name in ("track", "passes", "swaths")},
             **{name: parcel.parts[name] for name in ("areas", "gaps", "shore")}}
    if "combined" in parcel.parts:
        given["targets"] = parcel.parts["combined"]
    return Report(lake.crs, {name: ReportLayer(name, part.columns, [Point(x, y) for x, y in zip(*part.places)]
                                               if isinstance(part.places, tuple) else part.places)
                             for name, part in given.items()}).page(lake.name)
