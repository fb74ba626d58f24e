"""Arrays -> sinks. Every value becomes a plain Python one, NaN becomes null, every refused feature is an error."""
from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from qgis.core import (
    QgsFeature,
    QgsField,
    QgsFields,
    QgsGeometry,
    QgsPointXY,
    QgsProcessingUtils,
    QgsWkbTypes,
)
from qgis.PyQt.QtCore import QDateTime, QTimeZone

from ...survey.model import patience, spreadsheets
from ...survey.model.layers import Layer
from .compat import is_null, make_field
from .geopackage import quiet, unhurried
from .sinks import Sink
from .stage import shared
from .styles import dress
from .tree import outing_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from typing import Any

    from qgis.core import (
        QgsCoordinateReferenceSystem,
        QgsProcessingAlgorithm,
        QgsProcessingContext,
        QgsProcessingFeedback,
    )
    from shapely.geometry.base import BaseGeometry

    from ...survey.model.layers import Field
    from .read import Table
    from .stage import Stage

__all__ = ["Carried", "write_layer"]

_KINDS = {"point": QgsWkbTypes.Type.Point, "line": QgsWkbTypes.Type.LineString,
          "multiline": QgsWkbTypes.Type.MultiLineString, "polygon": QgsWkbTypes.Type.Polygon,
          "multipolygon": QgsWkbTypes.Type.MultiPolygon, "table": QgsWkbTypes.Type.NoGeometry}


_SPREADSHEETS = (".csv", ".tsv", ".ods", ".xlsx")
"""Endings of what opens in a spreadsheet, where a text that begins like a formula would be one."""

_AT_ONCE = 2000


@dataclass
class Carried:
    """The user's own fields, to follow ours: ``table`` they stand in, ``rows`` (n,) int, -1 where there is none."""

    table: Table
    rows: np.ndarray


@dataclass(frozen=True)
class _Output:
    """One layer to be written; see ``write_layer``."""

    fields: Layer
    columns: Mapping[str, Any]
    places: Any
    carried: Carried | None

    @property
    def geometry(self) -> str:
        """The layer's own kind, or that of ``places`` where these have more parts, or a table has some."""
        kind = self.fields.geometry
        if kind == "table" and self.places is not None:
            return "point"
        if kind in ("line", "polygon") and any(shape is not None and shape.geom_type.startswith("Multi")
                                               for shape in (() if self.places is None else self.places)):
            return f"multi{kind}"
        return kind


def write_layer(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str, context: QgsProcessingContext,
                feedback: QgsProcessingFeedback, *, fields: Layer, columns: Mapping[str, Any],
                crs: QgsCoordinateReferenceSystem, places: Any = None, carried: Carried | None = None) -> str | None:
    """Write one output layer; it gets its place when the run has succeeded, with all the others.

    Parameters
    ----------
    alg, parameters, name, context, feedback : as QGIS hands them to a tool, and the output's name
    fields : survey.model.schemas.Layer
    columns : dict of (n,) arrays by field name
        A field without a column is written as null. Times (kind datetime) are seconds since 1970 UTC; fields of that
        kind without a column take ``t_s``.
    crs : QgsCoordinateReferenceSystem
    places : (x, y) arrays, list of shapely geometries, or None
        Arrays for points, for a table too, which then becomes points; geometries otherwise, of which one with several
        parts makes it a layer of such; None for tables.
    carried : Carried, optional

    Returns
    -------
    str or None
        Destination id, None when an optional output was not asked for.
    """
    output = _Output(fields, columns, places, carried)
    with shared() as stage, unhurried(), quiet() as told:
        stage.check()
        all_fields, kept = _fields(fields, carried)
        with Sink(stage, told, alg, parameters, name, context, all_fields, _KINDS[output.geometry], crs) as sink:
            if not sink.wanted:
                return None
            _fill(sink, stage, all_fields, kept, output)
            dest = sink.finish()
    if dest and context.willLoadLayerOnCompletion(dest):
        dress(context, dest, fields.style, schema=fields, outing=outing_of(alg, parameters, context))
    return dest


def _fields(fields: Layer, carried: Carried | None) -> tuple[QgsFields, list[tuple[int, QgsField]]]:
    """(QgsFields of ours and the user's, (index, QgsField) of the user's)."""
    qgs_fields = QgsFields()
    for field in fields:
        qgs_fields.append(make_field(field))
    kept = _kept_fields(carried)
    if kept:
        own = QgsFields()
        for _, carried_field in kept:
            own.append(carried_field)
        qgs_fields = QgsProcessingUtils.combineFields(qgs_fields, own)
    return qgs_fields, kept


def _fill(sink: Sink, stage: Stage, qgs_fields: QgsFields, kept: Sequence[tuple[int, QgsField]],
          output: _Output) -> None:
    size = _size(output.columns, output.places, output.geometry)
    tell = stage.pace(size)
    lists = []
    for field in output.fields:
        lists.append(_plain(field, output.columns))
        stage.check()
    for index, _ in kept:
        lists.append(_carried_values(output.carried, index))
        stage.check()
    lists = [values if values is not None else [None] * size for values in lists]
    if sink.path.lower().endswith(_SPREADSHEETS):
        lists = [[spreadsheets.cell(value) for value in values] for values in lists]
    feature = QgsFeature(qgs_fields)
    rows = zip(*lists) if lists else iter([()] * size)
    for done, (attributes, geometry) in enumerate(zip(rows, _geometries(output.geometry, output.places, size))):
        tell(done)
        feature.setAttributes(list(attributes))
        feature.setGeometry(geometry)
        sink.add(feature)
    tell(size)


def _size(columns: Mapping[str, Any], places: Any, kind: str) -> int:
    if kind == "point":
        return len(places[0])
    if places is not None:
        return len(places)
    return max((len(values) for values in columns.values()), default=0)


def _kept_fields(carried: Carried | None) -> list[tuple[int, QgsField]]:
    """(index, QgsField) of the user's own fields.

    ``fid`` would clash with a GeoPackage's key and becomes src_fid, unless an earlier tool already kept one.
    """
    if carried is None:
        return []
    kept = []
    has_source_fid = "src_fid" in carried.table.columns
    for index, field in enumerate(carried.table.qgs_fields):
        copy = QgsField(field)
        if copy.name().lower() == "fid":
            if has_source_fid:
                continue
            copy.setName("src_fid")
        kept.append((index, copy))
    return kept


def _carried_values(carried: Carried, index: int) -> list[Any]:
    name = carried.table.qgs_fields[index].name()
    column = carried.table.columns[name]
    return [None if row < 0 or is_null(column[row]) else column[row] for row in carried.rows.tolist()]


def _plain(field: Field, columns: Mapping[str, Any]) -> list[Any] | None:
    """Python values of one field, or None when there is no column for it."""
    if field.kind == "datetime":
        values = columns.get(field.name, columns.get("t_s"))
        return None if values is None else _moments(np.asarray(values, float))
    values = columns.get(field.name)
    if values is None:
        return None
    if isinstance(values, np.ndarray) and values.dtype.kind in "fiub" and field.kind != "string":
        return _from_numbers(field.kind, values)
    values = values.tolist() if isinstance(values, np.ndarray) else list(values)
    convert = {"double": _double, "int": _int, "int64": _int, "string": _text, "bool": _bool}[field.kind]
    return [convert(value) for value in values]


def _from_numbers(kind: str, values: np.ndarray) -> list[Any]:
    """Python values of an array of numbers, None where it is not finite; whole columns at a time."""
    unknown = np.flatnonzero(~np.isfinite(values)) if values.dtype.kind == "f" else ()
    if len(unknown):
        values = values.copy()
        values[unknown] = 0
    plain = values.astype({"double": float, "bool": bool}.get(kind, np.int64)).tolist()
    for row in unknown:
        plain[row] = None
    return plain


def _unknown(value: Any) -> bool:
    return is_null(value) or (isinstance(value, float) and not math.isfinite(value))


def _double(value: Any) -> float | None:
    return None if _unknown(value) else float(value)


def _int(value: Any) -> int | None:
    return None if _unknown(value) else int(value)


def _text(value: Any) -> str | None:
    if type(value) is str:
        return value or None
    return None if _unknown(value) or value == "" else str(value)


def _bool(value: Any) -> bool | None:
    return None if _unknown(value) else bool(value)


def _moments(values: np.ndarray) -> list[QDateTime | None]:
    made = []
    for start in range(0, len(values), _AT_ONCE):
        patience.look()
        made += [_moment(v) for v in values[start:start + _AT_ONCE].tolist()]
    return made


def _moment(t_s: float) -> QDateTime | None:
    """QDateTime in UTC, to the millisecond; null for NaN."""
    if not math.isfinite(t_s):
        return None
    return QDateTime.fromMSecsSinceEpoch(int(round(t_s * 1000)), QTimeZone.utc())


def _geometries(kind: str, places: Any, size: int) -> Iterator[QgsGeometry]:
    if kind == "table" or places is None:
        return (QgsGeometry() for _ in range(size))
    if kind == "point":
        return (QgsGeometry.fromPointXY(QgsPointXY(float(x), float(y))) if math.isfinite(x) else QgsGeometry()
                for x, y in zip(*places))
    return (_shape(kind, geometry) for geometry in places)


def _shape(kind: str, geometry: BaseGeometry | None) -> QgsGeometry:
    from ...survey.geometry import shapes

    made = QgsGeometry()
    if geometry is None or geometry.is_empty:
        return made
    made.fromWkb(shapes.to_wkb(geometry))
    if kind.startswith("multi"):
        made.convertToMultiType()
    return made
