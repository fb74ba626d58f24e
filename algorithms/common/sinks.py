"""Sinks for output layers: what goes into a file is made beside its place and read back first (see ``stage``)."""
from __future__ import annotations

import os
import shutil
from typing import TYPE_CHECKING

from qgis.core import QgsFeature, QgsFeatureSink, QgsProcessingException

from .compat import is_null
from .destinations import destination
from .disk import not_written, settle
from .geopackage import contents, empty_copy, holds_tables, opened, quiet

if TYPE_CHECKING:
    from typing import Any

    from qgis.core import QgsCoordinateReferenceSystem, QgsFields, QgsProcessingAlgorithm, QgsProcessingContext

    from .stage import Stage

__all__ = ["Sink"]

_AT_ONCE = 200
_FAST = QgsFeatureSink.Flag.FastInsert


class Sink:
    """The sink of one output layer.

    Parameters
    ----------
    stage : Stage
    told : list of str
        What GDAL says while the layer is written, see ``geopackage.quiet``.
    alg, parameters, name, context : as QGIS hands them to a tool
    qgs_fields, kind, crs : QgsFields, QgsWkbTypes.Type, QgsCoordinateReferenceSystem

    Attributes
    ----------
    wanted : bool
        False where an optional output was not asked for.
    """

    def __init__(self, stage: Stage, told: list[str], alg: QgsProcessingAlgorithm, parameters: dict[str, Any],
                 name: str, context: QgsProcessingContext, qgs_fields: QgsFields, kind: Any,
                 crs: QgsCoordinateReferenceSystem) -> None:
        self._stage, self._told, self._context, self._count = stage, told, context, 0
        self._waiting: list[QgsFeature] = []
        self._label = f"'{alg.parameterDefinition(name).description()}' ({name})"
        self._place = destination(alg.parameterDefinition(name), parameters.get(name))
        if self._place is not None:
            self._before, self._made = 0, stage.room(self._place.path)
            self._into_table = self._prepare()
            parameters = {**parameters, name: self._place.moved(self._made)}
            if self._place.append:  # 3.22 finds no field to take values from without
                context.expressionContext().setFields(qgs_fields)
        try:
            self._sink, self._dest = alg.parameterAsSink(parameters, name, context, qgs_fields, kind, crs)
        except QgsProcessingException as error:
            raise QgsProcessingException(f"{self._why(str(error))} ({self._label})") from error
        self.wanted = self._sink is not None
        if not self.wanted:
            definition: Any = alg.parameterDefinition(name)
            value = parameters.get(name)
            if (not is_null(value) and value != "") or not definition.flags() & definition.Flag.FlagOptional:
                raise QgsProcessingException(alg.invalidSinkError(parameters, name))

    @property
    def path(self) -> str:
        """The file asked for, '' where the layer goes elsewhere."""
        return "" if self._place is None else self._place.path

    def __enter__(self) -> Sink:
        return self

    def __exit__(self, kind: Any, error: Any, trace: Any) -> None:
        self._sink = None  # before its file is taken away: a traceback would keep it open

    def add(self, feature: QgsFeature) -> None:
        """Add one feature; QgsProcessingException if it was not taken."""
        self._count += 1
        if self._place is None or not self._place.append:
            if not self._sink.addFeature(feature, _FAST):
                raise QgsProcessingException(self._why(self._sink.lastError()))
            return
        self._waiting.append(QgsFeature(feature))  # one by one each would be a transaction of its own
        if len(self._waiting) == _AT_ONCE:
            self._add_waiting()

    def _add_waiting(self) -> None:
        if self._waiting and not self._sink.addFeatures(self._waiting, _FAST):
            raise QgsProcessingException(self._why(self._sink.lastError()))
        self._waiting = []

    def finish(self) -> str:
        """Close the layer, read it back, and hand it to the stage; its id or address, as QGIS is to know it."""
        self._add_waiting()
        self._sink = None
        if self._place is None:
            return self._dest
        if self._place.append:
            self._let_go()
        self._stage.check()
        made, path = self._made, self._place.path
        try:
            settle(made)
        except OSError as error:
            raise QgsProcessingException(not_written(path, error)) from error
        self._stage.check()
        self._verify()
        if self._into_table:
            self._stage.keep_table(made, path, self._table(), self._count, self._place.append)
        else:
            self._stage.keep(made, path)
        return self._renamed()

    def _prepare(self) -> bool:
        """True if the layer is to become a table of a file that may hold others; what is appended to is laid ready."""
        place = self._place
        there = os.path.exists(place.path)
        whole = there and not holds_tables(place.path)
        if place.append and not there:
            raise QgsProcessingException(f"{self._label} is to be appended to {place.path}, which does not exist.")
        if not place.append:
            return bool(place.table) and not whole
        if whole:
            shutil.copyfile(place.path, self._made)
            self._before = _rows(self._made, place.table)
            return False
        if self._table() not in contents(place.path):
            raise QgsProcessingException(f"{self._label} is to be appended to the table {self._table()} of "
                                         f"{place.path}, which is not there.")
        empty_copy(place.path, self._table(), self._made)
        return True

    def _table(self) -> str:
        return self._place.table or os.path.splitext(os.path.basename(self._place.path))[0]

    def _why(self, reason: str) -> str:
        reason = "; ".join(dict.fromkeys([reason, *self._told]))
        path = self._place.path if self._place is not None else self._label
        return not_written(path, self._stage.in_place(reason))

    def _let_go(self) -> None:
        """QGIS keeps the layer that was appended to."""
        store = self._context.temporaryLayerStore()
        if store.mapLayer(self._dest) is not None:
            store.removeMapLayer(self._dest)

    def _verify(self) -> None:
        found = _rows(self._made, "")
        if found != self._before + self._count:
            raise QgsProcessingException(self._why(f"it holds {found or 'no'} rows of {self._before + self._count}"))

    def _renamed(self) -> str:
        """The final address, under which QGIS will load the layer."""
        path = self._place.path
        if self._into_table or self._place.table:
            dest = f"{path}|layername={self._table()}"
        else:
            dest = path + self._dest[len(self._made):] if self._dest.startswith(self._made) else path
        loading = self._context.layersToLoadOnCompletion()
        if self._dest in loading:
            loading[dest] = loading.pop(self._dest)
            self._context.setLayersToLoadOnCompletion(loading)
        return dest


def _rows(path: str, table: str) -> int | None:
    """How many features a file really hands out, None where it cannot be read."""
    data = opened(path)
    layer = None if data is None else data.GetLayerByName(table) if table else data.GetLayer(0)
    if layer is None:
        return None
    with quiet():
        try:
            return sum(1 for _ in layer) if layer.TestCapability("FastFeatureCount") == 0 else layer.GetFeatureCount()
        except RuntimeError:
            return None
