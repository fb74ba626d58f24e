"""Tables put into a GeoPackage that holds others, all of them or none: one transaction, which SQLite keeps whole.

A copy of the file moved over the old one would part it from layers that QGIS has open, and from their unsaved edits.
"""
from __future__ import annotations

import contextlib
import os
import sqlite3
import urllib.parse
from typing import TYPE_CHECKING

from osgeo import gdal, ogr
from qgis.core import QgsProcessingException

from ...survey.model.errors import Cancelled
from .disk import not_written

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

__all__ = ["contents", "empty_copy", "holds_tables", "opened", "put_tables", "quiet", "unhurried"]

_STYLES = "layer_styles"
_SYNCHRONOUS = "OGR_SQLITE_SYNCHRONOUS"


@contextlib.contextmanager
def quiet() -> Iterator[list[str]]:
    """Hands out the list of what GDAL has to say from here on, which older versions would print."""
    told = []
    gdal.ErrorReset()
    gdal.PushErrorHandler(lambda kind, number, text: told.append(text) if kind >= gdal.CE_Warning else None)
    try:
        yield told
    finally:
        gdal.PopErrorHandler()


@contextlib.contextmanager
def unhurried() -> Iterator[None]:
    """This thread's new files are not put on the disk at each step; ``disk.settle`` does it once, at their end."""
    gdal.SetThreadLocalConfigOption(_SYNCHRONOUS, "OFF")
    try:
        yield
    finally:
        gdal.SetThreadLocalConfigOption(_SYNCHRONOUS, None)


def opened(path: str, update: bool = False) -> gdal.Dataset | None:
    """GDAL's vector dataset of a file, None where it is none."""
    with quiet():
        try:
            return gdal.OpenEx(path, gdal.OF_VECTOR | (gdal.OF_UPDATE if update else 0))
        except RuntimeError:
            return None


def holds_tables(path: str) -> bool:
    """True for a file of SQLite, as GeoPackages are: it takes one table more, or changes one, whole or not at all."""
    with open(path, "rb") as file:
        return file.read(15) == b"SQLite format 3"


def contents(path: str) -> list[str]:
    """Names of the tables and rasters in a file, [] where it is none that holds several; styles do not count."""
    if holds_tables(path):
        with contextlib.suppress(sqlite3.Error), contextlib.closing(sqlite3.connect(
                f"file:{urllib.parse.quote(os.path.abspath(path))}?mode=ro", uri=True)) as store:
            return [name for name, in store.execute("SELECT table_name FROM gpkg_contents") if name != _STYLES]
    data = opened(path)
    return [data.GetLayer(i).GetName() for i in range(data.GetLayerCount())] if data is not None else []


def empty_copy(path: str, table: str, scratch: str) -> None:
    """Make a file with a table of the same fields and no rows."""
    source = opened(path)
    with quiet():
        try:
            _created(gdal.GetDriverByName("GPKG").Create(scratch, 0, 0, 0, gdal.GDT_Unknown),
                     source.GetLayerByName(table), table)
        except (AttributeError, RuntimeError, _Failed) as error:
            raise QgsProcessingException(not_written(path, gdal.GetLastErrorMsg() or str(error))) from error


def put_tables(path: str, tables: Sequence[tuple[str, str, str, int, bool]], tell: Callable[[int], object]) -> None:
    """Put tables into the GeoPackage at ``path``: all of them, or none.

    Parameters
    ----------
    path : str
    tables : sequence of (made, path, table, rows, append)
        ``made``: file with the table alone; ``path``: the name the user knows; ``rows``: how many it holds; ``append``:
        its rows follow those that are there, else it takes the place of what has its name.
    tell : callable
        Called with the number of rows done; may raise Cancelled.

    Raises
    ------
    QgsProcessingException
        The transaction was taken back.
    """
    if not tables:
        return
    told = tables[0][1]
    target = opened(path, update=True)
    if target is None:
        raise QgsProcessingException(not_written(told, gdal.GetLastErrorMsg()))
    with quiet():
        try:
            _must(target.StartTransaction())
            done = 0
            for made, _, table, rows, append in tables:
                source = opened(made)
                layer = source.GetLayer(0)
                there = _there(target, table) if append else _emptied(target, layer, table)
                before = there.GetFeatureCount()
                _copy(layer, there, done, tell)
                done += rows
                if there.GetFeatureCount() != before + rows:
                    raise _Failed("it does not hold all rows")
                _must(there.SyncToDisk())
                tell(done)
            _must(target.CommitTransaction())
        except (_Failed, RuntimeError, Cancelled) as error:
            reason = gdal.GetLastErrorMsg() or str(error)
            with contextlib.suppress(RuntimeError):
                target.RollbackTransaction()
            if isinstance(error, Cancelled):
                raise
            raise QgsProcessingException(not_written(told, reason)) from error
        finally:
            source = layer = there = target = None  # what closes late has still something to say


class _Failed(Exception):
    """GDAL said no."""


def _must(code: int) -> None:
    if code:
        raise _Failed(gdal.GetLastErrorMsg() or "the file did not take it")


def _there(target: gdal.Dataset, table: str) -> ogr.Layer | None:
    for index in range(target.GetLayerCount()):
        if target.GetLayer(index).GetName().lower() == table.lower():
            return target.GetLayer(index)
    return None


def _emptied(target: gdal.Dataset, layer: ogr.Layer, table: str) -> ogr.Layer:
    """A new table like ``layer``, in the place of the one that has its name."""
    for index in range(target.GetLayerCount()):
        if target.GetLayer(index).GetName().lower() == table.lower():
            _must(target.DeleteLayer(index))
            break
    return _created(target, layer, table)


def _created(target: gdal.Dataset, layer: ogr.Layer, table: str) -> ogr.Layer:
    names = (("FID", layer.GetFIDColumn()), ("GEOMETRY_NAME", layer.GetGeometryColumn()))
    made = target.CreateLayer(table, layer.GetSpatialRef(), layer.GetGeomType(),
                              [f"{option}={name}" for option, name in names if name])
    if made is None:
        raise _Failed("the table could not be made")
    definition = layer.GetLayerDefn()
    for index in range(definition.GetFieldCount()):
        _must(made.CreateField(definition.GetFieldDefn(index)))
    return made


def _copy(layer: ogr.Layer, there: ogr.Layer, done: int, tell: Callable[[int], object]) -> None:
    definition = there.GetLayerDefn()
    for count, feature in enumerate(layer, done):
        tell(count)
        row = ogr.Feature(definition)
        row.SetFrom(feature)
        _must(there.CreateFeature(row))
