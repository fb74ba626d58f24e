"""Layers by their schemas into one GeoPackage with their styles inside, written beside its place and counted."""
from __future__ import annotations

import math
import os
import pathlib
import sqlite3
from collections import Counter
from typing import Any

import numpy as np

from ..geometry import shapes
from ..geometry.frame import carried, horizontal_crs
from ..model.errors import InputError
from .layers import LAYERS
from .tables import need_pyogrio

__all__ = ["style_text", "write_geopackage"]

_AT_ONCE = 100_000
"""Rows that are held back before they are written."""

_GEOMETRIES = {"point": "Point", "line": "MultiLineString", "multiline": "MultiLineString", "polygon": "MultiPolygon",
               "multipolygon": "MultiPolygon"}
_TYPES = {"double": np.float64, "int": np.int32, "int64": np.int64, "bool": bool}
_UTC = 100
"""What GDAL calls UTC among its time zones."""

_STYLES = """
CREATE TABLE layer_styles (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256),
f_table_schema TEXT(256), f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT,
styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30),
update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ', 'now')))"""
"""As QGIS makes it, so that it finds its styles there."""


def write_geopackage(path: Any, crs: Any, layers: Any) -> Any:
    """Write a GeoPackage; what is there under its name is replaced when the new one is whole.

    Parameters
    ----------
    path : path
    crs : pyproj.CRS
        Of everything in the file.
    layers : iterable of (name in ``layers.LAYERS``, Part, CRS of its places or None)
        In any order, one layer as often as there are pieces of it.

    Returns
    -------
    dict of {name: rows}

    Raises
    ------
    InputError
        If not every row is found in the file that was written.
    """
    path = pathlib.Path(path)
    aside = path.with_name(f".{path.stem}.{os.getpid()}.part.gpkg")
    aside.unlink(missing_ok=True)
    try:
        counts = _fill(aside, crs, layers)
        with sqlite3.connect(aside) as database:
            _dress(database)
            found = {name: database.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in counts}
        database.close()
        if found != counts:
            raise InputError(f"{path.name} was not written whole ({found} of {counts}). Is the disk full?")
        os.replace(aside, path)
    finally:
        for left in path.parent.glob(f"{aside.name}*"):
            left.unlink()
    return counts


def _fill(aside: Any, crs: Any, layers: Any) -> Any:
    """Write all pieces, many rows at a time; rows by layer. Layers without a row are written, too."""
    held: dict[str, list[Any]] = {}
    rows: Counter[str] = Counter()
    counts = Counter(dict.fromkeys(LAYERS, 0))
    started = set()

    def flush(name: str) -> None:
        _write(aside, name, held.pop(name, []), crs, name in started)
        started.add(name)
        rows[name] = 0
    for name, part, own in layers:
        held.setdefault(name, []).append((part, own))
        rows[name] += len(part)
        counts[name] += len(part)
        if rows[name] >= _AT_ONCE:
            flush(name)
    for name in LAYERS:
        if name in held or name not in started:
            flush(name)
    return dict(counts)


def _write(aside: Any, name: str, pieces: Any, crs: Any, append: Any) -> None:
    schema = LAYERS[name]
    spatial = schema.geometry != "table"
    data, masks = [], []
    for field in schema:
        values, mask = _column(field, pieces)
        data.append(values)
        masks.append(mask)
    geometry = None
    if spatial:
        geometry = np.array([block for part, own in pieces for block in _blocks(part, own, crs)] or [], object)
    need_pyogrio().raw.write(
        str(aside), geometry, data, [field.name for field in schema], masks, layer=name, driver="GPKG",
        geometry_type=_GEOMETRIES.get(schema.geometry), crs=crs.to_wkt() if spatial else None, append=append,
        dataset_options=None if aside.exists() else {"VERSION": "1.2"},  # newer ones make QGIS 3.22 complain
        gdal_tz_offsets={field.name: np.full(sum(len(part) for part, _ in pieces), _UTC)
                         for field in schema if field.kind == "datetime"})


def _column(field: Any, pieces: Any) -> Any:
    """(values, mask of nulls) of a field over all pieces."""
    values: list[Any] = []
    for part, _ in pieces:
        column = part.columns.get(field.name)
        if column is None and field.kind == "datetime":
            column = part.columns.get("t_s")
        if column is None:
            column = [None] * len(part)
        values += column.tolist() if isinstance(column, np.ndarray) else list(column)
    unknown = np.array([value is None or _is_nan(value) or value == "" for value in values], dtype=bool)
    if field.kind == "string":
        return np.array([None if no else str(value) for value, no in zip(values, unknown)], dtype=object), unknown
    filled = [0 if no else value for value, no in zip(values, unknown)]
    if field.kind == "datetime":
        return np.round(np.array(filled, float) * 1000).astype("datetime64[ms]"), unknown
    return np.array(filled).astype(_TYPES[field.kind]), unknown


def _is_nan(value: Any) -> Any:
    return isinstance(value, float) and math.isnan(value)


def _blocks(part: Any, own: Any, crs: Any) -> Any:
    """WKB of each place of a piece, in the system of the file."""
    same = horizontal_crs(own) == crs
    if isinstance(part.places, tuple):
        x, y = part.places if same else carried(own, crs, *part.places)
        head = np.frombuffer(b"\x01\x01\x00\x00\x00", np.uint8)  # little-endian point, OGC 06-103r4
        rows = np.hstack([np.tile(head, (len(x), 1)), np.column_stack([x, y]).astype("<f8").view(np.uint8)])
        return [row.tobytes() for row in rows]
    made: list[Any] = []
    for one in part.places:
        if one is None or one.is_empty:
            made.append(None)
            continue
        if not same:
            lines = [np.column_stack(carried(own, crs, *line.T)) for line in shapes.lines(one)]
            made.append(_many(shapes.of_lines(one, iter(lines))))
            continue
        made.append(_many(one))
    return made


def _many(one: Any) -> Any:
    """WKB of a line or polygon as one of many, which all features of a layer are alike as."""
    block = shapes.to_wkb(one)
    code = {"Polygon": 6, "LineString": 5}.get(one.geom_type)
    if code is None:
        return block
    return b"\x01" + code.to_bytes(4, "little") + (1).to_bytes(4, "little") + block


def style_text(name: str) -> Any:
    """The style of that name, '' where there is none; styles lie beside the core in a wheel, in the plugin otherwise.

    Examples
    --------
    >>> from athwart.district.geopackage import style_text
    >>> "qgis" in style_text("gaps"), style_text("")
    (True, '')
    """
    core = pathlib.Path(__file__).resolve().parents[1]
    for folder in (core / "styles", core.parent / "plugin" / "styles"):
        path = folder / f"{name}.qml"
        if name and path.is_file():
            return path.read_text(encoding="utf-8")
    return ""


def _dress(database: Any) -> None:
    """Put the style of each layer into the file, as its default."""
    database.execute(_STYLES)
    database.execute("INSERT INTO gpkg_contents (table_name, data_type, identifier) VALUES ('layer_styles', "
                     "'attributes', 'layer_styles')")
    for name, schema in LAYERS.items():
        text = style_text(schema.style)
        if text:
            database.execute(
                "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, "
                "styleName, styleQML, styleSLD, useAsDefault, description, owner, ui) "
                "VALUES ('', '', ?, 'geom', ?, ?, '', 1, ?, '', '')",
                (name, schema.title, text, f"Style of {schema.title}"))
