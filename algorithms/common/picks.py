"""A layer of picks -> ``targets.picks.Picks``: facts from fields, from one value for all, or from waypoint names."""
from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from qgis.core import QgsWkbTypes
from qgis.PyQt.QtCore import QDateTime

from ...survey.model.errors import InputError
from ...survey.model.messages import Message, Setting
from . import read, values
from .compat import is_null

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

    from qgis.core import (
        QgsCoordinateReferenceSystem,
        QgsProcessingAlgorithm,
        QgsProcessingContext,
        QgsProcessingFeedback,
    )

    from ...survey import Picks
    from .read import Table

__all__ = ["field_names", "places", "read_picks", "refuse_picks", "rejected_rows"]

_HALF_DAY_S = 43_200.0

FIELDS = ("TIME_FIELD", "PING_FIELD", "SIDE_FIELD", "RANGE_FIELD", "DEPTH_FIELD", "SHADOW_FIELD", "SHADOW_START_FIELD",
          "LABEL_FIELD")

_OURS = {"PING_FIELD": "ping", "SIDE_FIELD": "side", "RANGE_FIELD": "slant_m", "DEPTH_FIELD": "depth_m",
         "SHADOW_FIELD": "shadow_m", "LABEL_FIELD": "label"}
"""Fields of 'Read picks from record image', used unasked in a layer that has side and slant_m; lengths are metres."""


def field_names(alg: QgsProcessingAlgorithm, parameters: dict[str, Any],
                context: QgsProcessingContext) -> dict[str, str]:
    """Field in use for each of ``FIELDS``, '' for none: the one given, else the one our own picks carry."""
    source = alg.parameterAsSource(parameters, "PICKS", context)
    there = source.fields().names() if source is not None else []
    chosen = {name: values.text(alg, parameters, name, context) for name in FIELDS}
    for name, field in chosen.items():
        if field and field not in there:
            raise InputError(f"The picks have no field '{field}' ({name}). They have {', '.join(there) or 'none'}.")
    if {"side", "slant_m"} <= set(there):
        for name, field in _OURS.items():
            own_value = {"SIDE_FIELD": "SIDE", "RANGE_FIELD": "SLANT"}.get(name)
            if not chosen[name] and field in there and not (own_value and values.given(parameters, own_value)):
                chosen[name] = field
    if not chosen["TIME_FIELD"] and "t_s" in there:
        chosen["TIME_FIELD"] = "t_s"
    return chosen


def refuse_picks(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], context: QgsProcessingContext) -> str:
    """Why the facts of the picks do not suffice, '' when they do."""
    source = alg.parameterAsSource(parameters, "PICKS", context)
    if source is not None and QgsWkbTypes.geometryType(source.wkbType()) not in (
            QgsWkbTypes.GeometryType.PointGeometry, QgsWkbTypes.GeometryType.NullGeometry):
        return (f"'{source.sourceName()}' holds lines or polygons; picks are points or rows of a table. Lines drawn on "
                "a record image go through 'Read picks from record image' first.")
    names = field_names(alg, parameters, context)
    for field, value, what in (("SIDE_FIELD", "SIDE", "side"), ("RANGE_FIELD", "SLANT", "range")):
        if values.given(parameters, value) and values.given(parameters, field):
            return Message("Give {field} or {value}, not both: which {what} is meant?", field=Setting(field),
                           value=Setting(value), what=what)
    slant = values.number(alg, parameters, "SLANT", context)
    if slant is not None and slant <= 0:
        return f"The range of all picks (SLANT) is {slant:g}; give a positive number."
    if values.option(alg, parameters, "TIE", context) != "object point":
        missing = _missing(parameters, names, slant)
        if missing:
            return missing
    for unit, wanted in (("RANGE_UNIT", ("RANGE_FIELD", "SHADOW_FIELD", "SHADOW_START_FIELD")),
                         ("DEPTH_UNIT", ("DEPTH_FIELD",))):
        used = [name for name in wanted if names[name] and _unit(alg, parameters, context, names, name, unit) is None]
        if unit == "RANGE_UNIT" and slant is not None and values.option(alg, parameters, unit, context) is None:
            used.append("SLANT")
        if used:
            definition: Any = alg.parameterDefinition(unit)
            units = ", ".join(definition.options())
            return Message("{used} is given without its unit: choose {unit} ({units}). It is the unit on the display, "
                           "and no other can be guessed.", used=Setting(used[0]), unit=Setting(unit), units=units)
    return ""


def _missing(parameters: dict[str, Any], names: Mapping[str, str], slant: Any) -> str:
    if not names["SIDE_FIELD"] and not values.given(parameters, "SIDE"):
        return ("The side of the picks is missing: choose the field that holds it (SIDE_FIELD), or one side for all "
                "(SIDE). Names such as 'P 45' or 'stbd 32ft trunk' can be read, too: choose the field of the names.")
    if not names["RANGE_FIELD"] and slant is None:
        return ("The range of the picks is missing: choose the field that holds it (RANGE_FIELD), or one range for all "
                "(SLANT). Names such as 'P 45' can be read, too: choose the field of the names.")
    return ""


def _unit(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], context: QgsProcessingContext,
          names: Mapping[str, str], name: str, unit: str) -> str | None:
    """Unit of a field: the one given, or metres for a field of our own picks; None when nothing tells it."""
    chosen = values.option(alg, parameters, unit, context) if values.given(parameters, name) else None
    return chosen or ("m" if names[name] == _OURS.get(name) else None)


def read_picks(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], context: QgsProcessingContext,
               feedback: QgsProcessingFeedback, track_crs: QgsCoordinateReferenceSystem, outings: set[str],
               span_s: tuple[float, float] = (np.nan, np.nan)) -> tuple[Table, Picks, np.ndarray, list[str]]:
    """Read the picks. A cell that cannot be read costs its row, with the reason, and never the run.

    Parameters
    ----------
    track_crs : QgsCoordinateReferenceSystem
        Points are brought to it.
    outings : set of str
        Outings of the track; a field named outing counts only if it names one of them.
    span_s : (first, last)
        Times of the track, seconds since 1970 UTC: picks may tell the time of day alone if it is one day's.

    Returns
    -------
    tab : read.Table
    picks : survey.targets.picks.Picks
    rows : (n,) int array
        Row of the table each pick comes from.
    notes : list of str
    """
    from ...survey import Picks

    source = alg.parameterAsSource(parameters, "PICKS", context)
    tie = values.option(alg, parameters, "TIE", context)
    pointed = (source is not None and tie not in ("time", "ping")
               and QgsWkbTypes.geometryType(source.wkbType()) == QgsWkbTypes.GeometryType.PointGeometry)
    tab = read.table(alg, parameters, "PICKS", context, feedback, crs=track_crs if pointed else None,
                     geometry="any" if pointed else "none")
    if not len(tab):
        raise InputError(f"The picks '{tab.name}' are empty; there is nothing to locate. Choose the layer that holds "
                         "them; an outing on which nothing was picked goes on without targets.")
    names = field_names(alg, parameters, context)
    notes = [f"{name}: the picks' own field '{field}'." for name, field in names.items()
             if field and not values.given(parameters, name)]
    why = np.full(len(tab), "", object)
    made = {"source_id": tab.ids.astype(str),
            **_times(alg, parameters, context, tab, names, notes, span_s, _Row(tab, why))}
    if pointed:
        made["x"], made["y"] = _points(tab)
    if names["PING_FIELD"]:
        made["ping"] = _Row(tab, why).told(names["PING_FIELD"], read.numbers_told(tab, names["PING_FIELD"]))
    if tab.has("outing"):
        own = read.texts(tab, "outing")
        if outings & set(own):
            made["outing"] = own
    _lengths(alg, parameters, context, tab, names, made, _Row(tab, why))
    _side_and_range(alg, parameters, context, tab, names, made, tie)
    made["reason"] = np.where(why != "", why, made.get("reason", why))
    picks = Picks.of(len(tab), **made)
    keep = _objects(tab, notes)
    return tab, Picks(*(getattr(picks, name)[keep] for name in Picks.__dataclass_fields__)), keep, notes


class _Row:
    """Collects, for each row, why one of its cells cannot be read: ``why`` (n,), the first reason stands."""

    def __init__(self, tab: Table, why: np.ndarray) -> None:
        self.tab, self.why = tab, why

    def told(self, field: str, values_and_reasons: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
        """Values of (values, reasons); the reasons are kept."""
        values_, reason = values_and_reasons
        for row in np.flatnonzero((reason != "") & (self.why == "")):
            self.why[row] = f"field {field}: " + reason[row].rstrip(".")
        return values_


def _times(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], context: QgsProcessingContext, tab: Table,
           names: Mapping[str, str], notes: list[str], span_s: tuple[float, float], row: _Row) -> dict[str, np.ndarray]:
    field = names["TIME_FIELD"]
    if not field and tab.has("time") and any(isinstance(value, QDateTime) for value in tab.columns["time"]):
        field = "time"
        notes.append(Message("{TIME_FIELD}: the picks' own field 'time'."))
    if not field:
        return {}
    offset = values.number(alg, parameters, "TIME_OFFSET", context)
    order = values.option(alg, parameters, "DATE_ORDER", context) or ""
    one_day = span_s[1] - span_s[0] < _HALF_DAY_S
    return {"t_s": row.told(field, read.times_told(tab, field, offset, order, span_s[0] if one_day else None))}


def places(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], context: QgsProcessingContext,
           feedback: QgsProcessingFeedback,
           track_crs: QgsCoordinateReferenceSystem) -> tuple[np.ndarray, np.ndarray] | None:
    """(x, y) of all picks in the track's CRS, NaN where there is no point; None for a table."""
    source = alg.parameterAsSource(parameters, "PICKS", context)
    if QgsWkbTypes.geometryType(source.wkbType()) != QgsWkbTypes.GeometryType.PointGeometry:
        return None
    return _points(read.table(alg, parameters, "PICKS", context, feedback, crs=track_crs, geometry="any"))


class Lost(NamedTuple):
    """Rejected picks: ``names``, ``rows`` of the table they came from, ``places`` (x, y) or None for a table."""

    names: np.ndarray
    rows: np.ndarray
    places: tuple


def rejected_rows(source_ids: np.ndarray, picks: Picks, tab: Table, rows: np.ndarray,
                  points: tuple[np.ndarray, np.ndarray] | None) -> Lost:
    """What a layer of rejected picks carries beside their ids and the reasons.

    Parameters
    ----------
    source_ids : (k,) sequence of str
    picks, tab, rows
        Of ``read_picks``.
    points : (x, y) or None
        Of ``places``.

    Returns
    -------
    Lost
    """
    by_id = {one: k for k, one in enumerate(picks.source_id)}
    at = np.array([by_id[one] for one in source_ids], int)
    names = picks.label[at]
    if tab.has("name"):
        own = read.texts(tab, "name")[rows[at]]
        names = np.where(own != "", own, names)
    return Lost(names, rows[at], None if points is None else tuple(values[rows[at]] for values in points))


def _points(tab: Table) -> tuple[np.ndarray, np.ndarray]:
    x, y = np.full(len(tab), np.nan), np.full(len(tab), np.nan)
    for row, geometry in enumerate(tab.geometries):
        if geometry is not None:
            vertex = geometry.vertexAt(0)
            x[row], y[row] = vertex.x(), vertex.y()
    return x, y


def _lengths(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], context: QgsProcessingContext, tab: Table,
             names: Mapping[str, str], columns: dict[str, Any], row: _Row) -> None:
    from ...survey.model.units import metres

    for name, unit, column in (("DEPTH_FIELD", "DEPTH_UNIT", "depth_m"), ("SHADOW_FIELD", "RANGE_UNIT", "shadow_end_m"),
                               ("SHADOW_START_FIELD", "RANGE_UNIT", "shadow_start_m")):
        field = names[name]
        if field:
            columns[column] = metres(row.told(field, read.numbers_told(tab, field)),
                                  _unit(alg, parameters, context, names, name, unit))
    if names["SHADOW_FIELD"] == _OURS["SHADOW_FIELD"] and tab.has("shadow_open"):
        columns["shadow_open"] = read.flags(tab, "shadow_open")


def _side_and_range(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], context: QgsProcessingContext, tab: Table,
                    names: Mapping[str, str], columns: dict[str, Any], tie: str) -> None:
    """Sides, ranges, labels, and why a row's cannot be read."""
    from ...survey import read_ranges, read_sides
    from ...survey.model.track import SIDES
    from ...survey.model.units import metres

    blank = np.full(len(tab), "", object)
    label = blank
    if tie != "object point":
        if names["SIDE_FIELD"]:
            columns["side"], no_side = read_sides(_known(tab, names["SIDE_FIELD"]))
        else:
            columns["side"] = np.full(len(tab), SIDES[values.option(alg, parameters, "SIDE", context)])
            no_side = blank
        if names["RANGE_FIELD"]:
            unit = _unit(alg, parameters, context, names, "RANGE_FIELD", "RANGE_UNIT")
            columns["slant_m"], label, no_range = read_ranges(_known(tab, names["RANGE_FIELD"]), unit)
        else:
            unit = values.option(alg, parameters, "RANGE_UNIT", context)
            columns["slant_m"] = np.full(len(tab), metres(values.number(alg, parameters, "SLANT", context), unit))
            no_range = blank
        columns["reason"] = np.where(no_side != "", no_side, no_range)
    field = names["LABEL_FIELD"] or ("name" if tab.has("name") else "")
    own = read.texts(tab, field) if field else blank
    columns["label"] = own if names["LABEL_FIELD"] else np.where(label != "", label, own)


def _known(tab: Table, field: str) -> list[Any]:
    """A column with None in place of QGIS's NULL, which would read as text."""
    return [None if is_null(value) else value for value in tab.columns[field]]


def _objects(tab: Table, notes: list[str]) -> np.ndarray:
    """Rows that are objects: picks of the bottom line tell depths and have no place of their own."""
    if not (tab.has("kind") and tab.has("slant_m")):
        return np.arange(len(tab))
    bottom = read.texts(tab, "kind") == "bottom"
    if bottom.any():
        notes.append(f"{int(bottom.sum())} picks of the bottom were passed over.")
    return np.flatnonzero(~bottom)
