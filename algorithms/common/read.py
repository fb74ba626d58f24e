"""Layers -> arrays: tables, points, polygons, lines and prepared tracks, in one CRS."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from qgis.core import (
    Qgis,
    QgsCoordinateReferenceSystem,
    QgsFeatureRequest,
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingFeatureSource,
    QgsProcessingFeatureSourceDefinition,
    QgsWkbTypes,
)
from qgis.PyQt.QtCore import QDate, QDateTime, QTime, QTimeZone

from ...survey.model import patience
from ...survey.model import schemas as survey_fields
from ...survey.model.errors import Cancelled, InputError
from .columns import Columns
from .compat import is_null

if TYPE_CHECKING:
    from collections.abc import Iterable
    from typing import Any

    from qgis.core import (
        QgsFeature,
        QgsGeometry,
        QgsProcessingAlgorithm,
        QgsProcessingContext,
        QgsProcessingFeedback,
    )
    from shapely.geometry.base import BaseGeometry

    from ...survey.model.layers import Field
    from ...survey.model.track import Track

__all__ = ["EMPTY", "Table", "flags", "layer_crs", "numbers", "numbers_told", "polygons", "refuse_hollow",
           "refuse_shape", "require", "shapes", "table", "texts", "times", "times_told", "track", "wkt"]

EMPTY = "is empty; there is nothing to work with. Choose another layer, or take its filter or selection off."
"""What is said of a layer without a feature."""

_CHECK_EVERY = 500

_FEW = 8
"""Names that a message lists; more only say once again that it is another layer."""

_ALWAYS_KNOWN = ("pass_id", "sample_id", "range_ratio", "latency_s", "lever_forward_m", "lever_starboard_m",
                 "mount_deg", "sigma_pos_m")
"""Fields that 'Prepare track' fills in every row."""

_Check = QgsFeatureRequest.InvalidGeometryCheck

_HALF_TURN = 180.0

_SHAPES = {QgsWkbTypes.GeometryType.PointGeometry: "points", QgsWkbTypes.GeometryType.LineGeometry: "lines",
           QgsWkbTypes.GeometryType.PolygonGeometry: "polygons"}
"""Layers of mixed or unknown kind are none of these and are read as they come."""

_TAKEN = {int(getattr(kind, "value", kind)): word for kind, word in (
    (QgsProcessing.SourceType.TypeVectorPoint, "points"), (QgsProcessing.SourceType.TypeVectorLine, "lines"),
    (QgsProcessing.SourceType.TypeVectorPolygon, "polygons"))}
"""By the number of the kind: newer versions of QGIS hand out numbers where they take names."""


@dataclass
class Table:
    """Features of one layer: ``columns`` of object arrays by field name, None for null; see ``table``.

    ``x``, ``y`` where points were asked for; ``qgs_fields`` are the layer's own QgsFields, ``ids`` its feature ids,
    ``crs`` the QGIS CRS of ``x``, ``y`` (invalid for a table), ``name`` what the user calls the layer, ``geometries``
    QgsGeometry objects or None.
    """

    name: str
    crs: QgsCoordinateReferenceSystem
    qgs_fields: Any
    ids: np.ndarray
    columns: dict
    x: np.ndarray = None
    y: np.ndarray = None
    geometries: list = None

    def __len__(self) -> int:
        return len(self.ids)

    def has(self, name: str) -> bool:
        """True if the layer has the field."""
        return name in self.columns


def wkt(crs: QgsCoordinateReferenceSystem) -> str:
    """A QGIS CRS as the WKT that pyproj reads."""
    return crs.toWkt(QgsCoordinateReferenceSystem.WktVariant.WKT_PREFERRED)


def layer_crs(source: Any, label: str) -> QgsCoordinateReferenceSystem:
    """The source's CRS; a layer without one is refused by its label."""
    crs = source.sourceCrs()
    if not crs.isValid():
        raise InputError(f"{label} '{source.sourceName()}' has no coordinate reference system. "
                         "Set it in the layer's properties (Source), then run again.")
    return crs


def refuse_shape(source: Any, definition: Any) -> None:
    """Refuse a table, and a layer of another kind than its parameter takes; only the dialog keeps them away."""
    label = definition.description()
    kinds = {int(getattr(kind, "value", kind)) for kind in definition.dataTypes()}
    wanted = [word for kind, word in _TAKEN.items() if kind in kinds] or list(_SHAPES.values())
    kind = QgsWkbTypes.geometryType(source.wkbType())
    if kind == QgsWkbTypes.GeometryType.NullGeometry:
        raise InputError(f"{label} '{source.sourceName()}' is a table without geometry; this tool needs "
                         f"{' or '.join(wanted)}. A table of coordinates can be loaded as points (Layer > Add "
                         "Delimited Text Layer).")
    shape = _SHAPES.get(kind)
    if shape is not None and shape not in wanted:
        raise InputError(f"{label} '{source.sourceName()}' holds {shape}; this tool needs {' or '.join(wanted)}. "
                         "Choose another layer.")


def table(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str, context: QgsProcessingContext,
          feedback: QgsProcessingFeedback, *, crs: QgsCoordinateReferenceSystem | None = None, geometry: str = "none",
          contract: bool = False, pixels: bool = False, only: Iterable[Field] | None = None) -> Table | None:
    """Read a feature source.

    Parameters
    ----------
    crs : QgsCoordinateReferenceSystem, optional
        Bring geometries to this CRS; default the layer's own.
    geometry : {'none', 'point', 'point or blank', 'any'}
        'point': fill x, y (the first point of multipoints; features without one are refused by id).
        'point or blank': the same, but features without a point keep their row, x and y NaN.
        'any': keep QgsGeometry objects, None where empty; torn ones are refused, skipped or kept as the user has set.
    contract : bool
        True for layers known by their field names, which Shapefile cuts to ten letters: those are refused.
    pixels : bool
        True for layers drawn on a picture: their coordinate system, or the lack of one, says nothing.
    only : sequence of survey.model.schemas.Field, optional
        Read these only, those of them that are there, and their numbers as floats, NaN for null; default all.

    Returns
    -------
    Table, or None if an optional source was left blank.
    """
    source = alg.parameterAsSource(parameters, name, context)
    label = alg.parameterDefinition(name).description()
    if source is None:
        if name in parameters and not is_null(parameters[name]) and parameters[name] != "":
            raise QgsProcessingException(alg.invalidSourceError(parameters, name))
        return None
    if contract:
        _refuse_shapefile(alg, parameters, name, context, label)
    request = QgsFeatureRequest()
    out_crs = source.sourceCrs()
    if geometry == "none":
        request.setFlags(QgsFeatureRequest.Flag.NoGeometry)
    else:
        refuse_shape(source, alg.parameterDefinition(name))
        own = source.sourceCrs() if pixels else layer_crs(source, label)
        out_crs = crs or own
        if crs is not None and crs != own:
            request.setDestinationCrs(crs, context.transformContext())
    qgs_fields = source.fields()
    columns = Columns(qgs_fields, only)
    if only is not None:
        request.setSubsetOfAttributes(columns.indices)
    ids, torn = [], []
    places: list[Any] = []
    bad: list[Any] = []
    check = _geometry_check(parameters, name, context) if geometry == "any" else _Check.GeometryNoCheck
    # QGIS's own check throws through the interpreter, which breaks it (seen with 3.22 on Python 3.11): see _is_torn
    skip = QgsProcessingFeatureSource.Flag.FlagSkipGeometryValidityChecks
    for count, feature in enumerate(source.getFeatures(request, skip)):
        if count % _CHECK_EVERY == 0 and feedback.isCanceled():
            raise Cancelled
        if check != _Check.GeometryNoCheck and _is_torn(source, feature, out_crs, check, label):
            torn.append(feature.id())
            continue
        columns.add(feature.attributes())
        ids.append(feature.id())
        if geometry != "none":
            _keep_place(feature, geometry, places, None if geometry == "point or blank" else bad)
    feedback.setProgress(min(99.0, max(0.0, feedback.progress()) + 1.0))
    if torn:
        shown = ", ".join(str(i) for i in torn[:5])
        feedback.pushWarning(f"{label} '{source.sourceName()}': {len(torn)} invalid feature(s) were skipped, as set in "
                             f"the Processing options (first ids: {shown}).")
    if bad:
        shown = ", ".join(str(i) for i in bad[:5])
        raise InputError(f"{label} '{source.sourceName()}': {len(bad)} feature(s) have no point (first ids: {shown}). "
                         "Delete them or select the others, then run again.")
    result = Table(source.sourceName(), out_crs, qgs_fields, np.array(ids, dtype=np.int64), columns.by_name())
    if geometry.startswith("point"):
        xy = np.array(places, float).reshape(-1, 2)
        result.x, result.y = xy[:, 0].copy(), xy[:, 1].copy()
    elif geometry == "any":
        result.geometries = places
    return result


def _geometry_check(parameters: dict[str, Any], name: str, context: QgsProcessingContext) -> Any:
    """What is to happen to invalid geometries: set for this layer, or in the Processing options."""
    value = parameters.get(name)
    own = QgsProcessingFeatureSourceDefinition.Flag.FlagOverrideDefaultGeometryCheck
    if isinstance(value, QgsProcessingFeatureSourceDefinition) and value.flags & own:
        return value.geometryCheck
    return context.invalidGeometryCheck()


def _is_torn(source: Any, feature: QgsFeature, crs: QgsCoordinateReferenceSystem, check: Any, label: str) -> bool:
    """True for a geometry that is not valid; an InputError where the user has set that to stop the run."""
    shape = feature.geometry()
    if crs.isGeographic() and shape.boundingBox().width() > _HALF_TURN:
        return False  # it lies across 180 degrees, where no planar check holds
    if shape.isNull() or shape.isEmpty() or shape.isGeosValid():
        return False
    # carried to another CRS, vertices nanometres apart change places: the layer's own shape is what counts
    skip = QgsProcessingFeatureSource.Flag.FlagSkipGeometryValidityChecks
    shape = next(source.getFeatures(QgsFeatureRequest(feature.id()), skip), feature).geometry()
    if shape.isGeosValid():
        return False
    if check == _Check.GeometrySkipInvalid:
        return True
    found = [error for error in shape.validateGeometry(Qgis.GeometryValidationEngine.Geos) if error.hasWhere()]
    what = found[0].what() if found else "too few points"  # which have no place, and an engineer's words from 3.40 on
    where = f" at {found[0].where().x():.9g}, {found[0].where().y():.9g}" if found else ""
    raise InputError(f"{label} '{source.sourceName()}': feature {feature.id()} is not valid ({what}{where}). Repair it "
                     "with 'Fix geometries' and take the result, or let Processing pass over it (Settings > Options > "
                     "Processing > General > Invalid features filtering).")


def _keep_place(feature: QgsFeature, geometry: str, places: list[Any], bad: list[Any]) -> None:
    shape = feature.geometry()
    if geometry == "any":
        places.append(None if shape.isNull() or shape.isEmpty() else shape)
        return
    vertex = None if shape.isNull() or shape.isEmpty() else shape.vertexAt(0)
    if vertex is None or not (np.isfinite(vertex.x()) and np.isfinite(vertex.y())):
        if bad is None:
            places.append((np.nan, np.nan))
        else:
            bad.append(feature.id())
    else:
        places.append((vertex.x(), vertex.y()))


def _refuse_shapefile(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str, context: QgsProcessingContext,
                      label: str) -> None:
    layer = alg.parameterAsVectorLayer(parameters, name, context)
    if layer is not None and layer.storageType() == "ESRI Shapefile":
        raise InputError(f"{label} '{layer.name()}' is a Shapefile, which cuts field names to ten letters, so its "
                         "fields get the same names. Use the GeoPackage or temporary layer the earlier tool made.")


def require(tab: Table, names: Iterable[str], label: str, remedy: str) -> None:
    """Refuse a table that lacks fields, naming them and the remedy."""
    missing = [name for name in names if tab.qgs_fields.indexOf(name) < 0]
    if missing:
        plural = "s" if len(missing) > 1 else ""
        shown = ", ".join(missing[:_FEW]) + (f" and {len(missing) - _FEW} more" if len(missing) > _FEW else "")
        raise InputError(label + f" '{tab.name}' lacks the field{plural} {shown}. " + remedy)


def refuse_hollow(tab: Table, label: str, text: str) -> None:
    """Refuse a table read with ``geometry='any'`` none of whose features has a geometry, naming it; ``text`` says what
    it lacks and what to do."""
    if not any(shape is not None for shape in tab.geometries):
        raise InputError(f"{label} '{tab.name}': {text}")


def numbers(tab: Table, name: str) -> np.ndarray:
    """(n,) floats of a field, NaN where null or blank.

    Text with a decimal point or comma is read; other text and infinities are refused by row.
    """
    values, reason = numbers_told(tab, name)
    wrong = np.flatnonzero(reason != "")
    if len(wrong):
        raise InputError(f"'{tab.name}', field {name}, row {wrong[0] + 1}: {reason[wrong[0]]} Correct it, or leave it "
                         "blank where it is not known.")
    return values


def numbers_told(tab: Table, name: str) -> tuple[np.ndarray, np.ndarray]:
    """As ``numbers``, but nothing is refused: (n,) floats, NaN where there is no usable number, and (n,) object array
    of str, why not; '' where there is one, or the cell is blank."""
    patience.look()
    column = tab.columns[name]
    reason = np.full(len(column), "", object)
    try:
        values = np.array(column, dtype=float)  # the usual case: numbers, None for null
    except (TypeError, ValueError):
        values = np.full(len(column), np.nan)
        for row, value in enumerate(column):
            if is_null(value) or (isinstance(value, str) and not value.strip()):
                continue
            try:
                values[row] = float(value.strip().replace(",", ".") if isinstance(value, str) else value)
            except (TypeError, ValueError):
                reason[row] = f"'{value}' is not a number."
    endless = np.isinf(values)
    reason[endless] = "infinity is not a usable value."
    values[endless] = np.nan
    return values, reason


def texts(tab: Table, name: str) -> np.ndarray:
    """(n,) object array of str, '' where null."""
    patience.look()
    column = tab.columns[name]
    out = np.empty(len(column), object)
    out[:] = [value.strip() if type(value) is str else "" if is_null(value) else str(value).strip() for value in column]
    return out


def flags(tab: Table, name: str) -> np.ndarray:
    """(n,) bool; text files hold them as true/false, t/f, yes/no, 1/0."""
    truth = {"true", "t", "yes", "y", "1", "1.0"}
    return np.array([v if type(v) is bool else not is_null(v) and str(v).strip().lower() in truth
                     for v in tab.columns[name]], bool)


def times(tab: Table, name: str, offset_hours: float = 0.0) -> np.ndarray:
    """(n,) seconds since 1970 UTC, NaN where null; see ``survey.model.times`` for what text is understood.

    A date-time without a zone is UTC by its wall clock (QGIS 3.22 marks UTC files as local), plus ``offset_hours``.
    """
    from ...survey.model import times as clock

    return clock.parse_times(_plain_times(tab, name), offset_hours=offset_hours, what=f"'{tab.name}', field {name}")


def times_told(tab: Table, name: str, offset_hours: float = 0.0, date_order: str = "",
               first_s: float | None = None) -> tuple[np.ndarray, np.ndarray]:
    """As ``times``, but nothing is refused: seconds, and why a value could not be read; see ``survey.model.times``."""
    from ...survey.model import times as clock

    return clock.read_times(_plain_times(tab, name), offset_hours, date_order, first_s, name)


def _plain_times(tab: Table, name: str) -> np.ndarray:
    column = tab.columns[name]
    values = np.empty(len(column), object)
    values[:] = [_plain_time(value) for value in column]
    return values


def _plain_time(value: Any) -> Any:
    """QDateTime -> ISO text of its wall clock, without a zone; None for null; others as they are."""
    if is_null(value):
        return None
    if isinstance(value, QDateTime):
        if not value.isValid():
            return None
        return QDateTime(value.date(), value.time(), QTimeZone.utc()).toString("yyyy-MM-ddTHH:mm:ss.zzz")
    if isinstance(value, QTime):
        return value.toString("HH:mm:ss") if value.isValid() else None
    if isinstance(value, QDate):
        return value.toString("yyyy-MM-dd") if value.isValid() else None
    return value


def shapes(tab: Table) -> list[BaseGeometry]:
    """Shapely geometries of a Table read with ``geometry='any'``, None where empty; none jumps at 180 degrees."""
    from ...survey.geometry import shapes as core
    from ...survey.geometry import transfer

    found = []
    for row, g in enumerate(tab.geometries):
        if row % _CHECK_EVERY == 0:
            patience.look()
        found.append(None if g is None else core.from_wkb(_wkb(g)))
    if tab.crs.isGeographic():
        found = [None if g is None else transfer.unrolled(g, _HALF_TURN) for g in found]
    return found


def polygons(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str, context: QgsProcessingContext,
             feedback: QgsProcessingFeedback, crs: QgsCoordinateReferenceSystem) -> BaseGeometry | None:
    """All polygons of an optional layer as one shapely geometry in ``crs``, torn ones mended; None if left blank.

    Raises
    ------
    InputError
        If the layer holds no polygon.
    """
    from ...survey.geometry import shapes as core

    tab = table(alg, parameters, name, context, feedback, crs=crs, geometry="any")
    if tab is None:
        return None
    parts = [core.polygonal(core.valid(shape)) for shape in shapes(tab) if shape is not None]
    joined = core.union(parts)
    if joined.is_empty:
        label = alg.parameterDefinition(name).description()
        raise InputError(f"{label} '{tab.name}' holds no polygon. Choose the layer that outlines it, or leave it "
                         "blank.", field=name)
    return joined


def _wkb(geometry: QgsGeometry) -> bytes:
    if geometry.constGet().hasCurvedSegments():
        geometry = type(geometry)(geometry.constGet().segmentize())
    return geometry.asWkb().data()


def track(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str, context: QgsProcessingContext,
          feedback: QgsProcessingFeedback, picks: bool = True) -> tuple[Track, QgsCoordinateReferenceSystem]:
    """A prepared track and its QGIS CRS.

    Parameters
    ----------
    picks : bool
        False where no pick is to be placed: what only they need (``track.FOR_PICKS``) must be there but is not read.

    Returns
    -------
    (survey.model.track.Track, QgsCoordinateReferenceSystem)
    """
    from ...survey.geometry.frame import horizontal_crs
    from ...survey.model.track import FOR_PICKS, Track

    fields = [field for field in survey_fields.TRACK if field.name != "time"]
    wanted = [field for field in fields if picks or field.name not in FOR_PICKS]
    tab = table(alg, parameters, name, context, feedback, geometry="point", contract=True, only=wanted)
    label = alg.parameterDefinition(name).description()
    require(tab, survey_fields.names(fields), label, "Run 'Prepare track' first and use its output.")
    if not len(tab):
        raise InputError(f"{label} '{tab.name}' {EMPTY}")
    readers = {"string": texts, "bool": flags}
    columns = {field.name: readers.get(field.kind, numbers)(tab, field.name) for field in wanted}
    columns.update((name, None) for name in FOR_PICKS if not picks)
    for key in _ALWAYS_KNOWN:
        if columns[key] is not None and np.isnan(columns[key]).any():
            raise InputError(f"{label} '{tab.name}' has rows without {key}; run 'Prepare track' again.")
    for key in ("heading_deg", "sigma_heading_deg", "speed_mps"):
        lost = np.isnan(columns[key]) & columns["usable"]
        if lost.any():
            raise InputError(f"{label} '{tab.name}' has {lost.sum()} usable rows without {key} (first: row "
                             f"{int(np.argmax(lost)) + 1}); run 'Prepare track' again.")
    for key in ("depth_m", "range_m"):
        if (columns[key] < 0).any():
            row = int(np.argmax(columns[key] < 0))
            raise InputError(f"{label} '{tab.name}', row {row + 1}: {key} is {columns[key][row]:g}. Depths and ranges "
                             "are positive; run 'Prepare track' again.")
    for key in ("pass_id", "sample_id"):
        columns[key] = columns[key].astype(np.int64)
    return Track.from_columns(horizontal_crs(wkt(tab.crs)), tab.x, tab.y, columns), tab.crs

