"""The two tables of a district, of outings and of lakes, from CSV or a GeoPackage; every row as it was written."""
from __future__ import annotations

import csv
import pathlib
import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from shapely import wkt as well_known_text

from ..bottom.rasters import metric_crs
from ..geometry import shapes
from ..geometry.frame import carried, horizontal_crs
from ..model.errors import InputError, MissingPackage

__all__ = ["FILES", "LAKE_COLUMNS", "OUTING_COLUMNS", "Lake", "OutingRow", "need_pyogrio", "read_lake", "read_rows",
           "the_outings"]

FILES = ("logs", "ranges", "picks")
"""Columns of the outings that name files."""

WAYPOINTS = "waypoints"
"""In the column ``picks``: the waypoints of the logs are the picks, their names say side and range."""

OUTING_COLUMNS = ("outing", "lake", "logs", "unit", "range", "ranges", "depth", "picks", "who", "gear", "log_date",
                  "time_offset_h", "depth_reference")
LAKE_COLUMNS = ("lake", "area", "crs", "water", "shoreline", "depth_map")
_GEOMETRY = "_wkb"
_LISTS = ";|"
_DRAWN = re.compile(r"\s*(MULTI)?(POLYGON|LINESTRING)\s*(Z|M|ZM)?\s*\(", re.IGNORECASE)
"""How a geometry as WKT begins (OGC 06-103r4); anything else is a path."""

_LONGEST_CELL = 2**31 - 1
"""An outline in one cell of a CSV is far longer than the 131 072 letters that Python's reader takes by itself."""


@dataclass(frozen=True)
class OutingRow:
    """``name`` and ``lake`` of an outing, the ``values`` of its row as texts, and the ``folder`` that its paths start
    from; ``files`` are those it names, in order."""

    name: str
    lake: str
    values: dict
    folder: str

    def paths(self, column: Any) -> Any:
        """Paths in a column, each beside the table unless absolute."""
        text = self.values.get(column, "")
        if column == "picks" and text == WAYPOINTS:
            return []
        for mark in _LISTS:
            text = text.replace(mark, "\n")
        return [str(pathlib.Path(self.folder, part.strip())) for part in text.splitlines() if part.strip()]

    @property
    def files(self) -> Any:
        """All files that the row names."""
        return [path for column in FILES for path in self.paths(column)]


@dataclass(frozen=True)
class Lake:
    """A lake in its own coordinate system in metres.

    ``crs``: WKT. ``area``: WKB of the water that was to be seen. ``water``: WKB of what sound can cross. ``shore``:
    WKB of each line or polygon of the shore. ``depth_map``: path of an Esri ASCII grid, '' for none.
    """

    name: str
    crs: str
    area: bytes
    water: bytes
    shore: tuple
    depth_map: str = ""

    @property
    def files(self) -> Any:
        """Files that are read besides."""
        return [self.depth_map] if self.depth_map else []


def need_pyogrio() -> Any:
    """The library that reads and writes GeoPackages, or how to get it."""
    try:
        import pyogrio
    except ImportError:
        raise MissingPackage("A district reads and writes GeoPackages with pyogrio, which is not installed: "
                             "pip install 'athwart[district]'") from None
    return pyogrio


def read_rows(path: Any, layer: Any = None) -> Any:
    """Rows of a table.

    Parameters
    ----------
    path : path
        CSV in UTF-8 parted by commas or semicolons, or anything that GDAL reads as a vector layer.
    layer : str, optional
        Of a file that holds several.

    Returns
    -------
    (list of dict of str, str)
        Texts by the names in the first line, lower case, and the WKT of the layer's system, '' for a CSV; WKB stands
        in '_wkb'.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from athwart.district.tables import read_rows
    >>> table = pathlib.Path(tempfile.mkdtemp(), "lakes.csv")
    >>> _ = table.write_text("lake,crs" + chr(10) + "Mill Pond,EPSG:32619" + chr(10))
    >>> read_rows(table)[0]
    [{'lake': 'Mill Pond', 'crs': 'EPSG:32619'}]
    """
    path = pathlib.Path(path)
    if not path.is_file():
        raise InputError(f"There is no table {path}. Give a CSV or a GeoPackage.", field="path")
    if path.suffix.lower() in (".csv", ".tsv", ".txt"):
        csv.field_size_limit(_LONGEST_CELL)
        try:
            with open(path, encoding="utf-8-sig", newline="") as file:
                head = file.readline()
                mark = max(",;\t", key=head.count)
                file.seek(0)
                rows = list(csv.DictReader(file, delimiter=mark))
        except UnicodeDecodeError:
            raise InputError(f"{path.name} is not UTF-8. Save it as CSV in UTF-8.", field="path") from None
        return [{str(name).strip().lower(): (value or "").strip() for name, value in row.items()
                 if name is not None and isinstance(value, (str, type(None)))} for row in rows], ""
    meta, _, geometry, columns = need_pyogrio().raw.read(str(path), layer=layer)
    made: list[dict[str, Any]] = [{} for _ in range(len(columns[0]) if len(columns) else len(geometry))]
    for name, values in zip(meta["fields"], columns):
        for row, value in zip(made, values):
            row[str(name).lower()] = _plain(value)
    if geometry is not None:
        for row, block in zip(made, geometry):
            row[_GEOMETRY] = b"" if block is None else bytes(block)
    return made, meta["crs"] or ""


def _plain(value: Any) -> Any:
    """A cell as the text that a person would have typed."""
    if isinstance(value, (float, np.floating)):
        return "" if np.isnan(value) else f"{value:.15g}"
    return "" if value is None else str(value).strip()


def the_outings(rows: Any, folder: Any) -> Any:
    """Outings of a table, and columns that nobody reads.

    Parameters
    ----------
    rows : list of dict of str
    folder : path
        That relative paths start from.

    Returns
    -------
    (list of OutingRow, list of str)

    Raises
    ------
    InputError
        If the table as a whole cannot be used: a column is missing, a name is missing or there twice.

    Examples
    --------
    >>> from athwart.district.tables import the_outings
    >>> outings, more = the_outings([{"outing": "north", "lake": "Mill Pond", "logs": "a.nmea;b.gpx"}], "/data")
    >>> len(outings[0].files), more
    (2, [])
    """
    from .statements import SETTINGS

    if not rows:
        raise InputError("The table of outings has no row. Write one row for each outing.", field="rows")
    missing = [name for name in ("outing", "lake", "logs") if name not in rows[0]]
    if missing:
        raise InputError(f"The table of outings lacks the column(s) {', '.join(missing)}. It has "
                         f"{', '.join(name for name in rows[0] if name != _GEOMETRY)}.", field="rows")
    made: list[OutingRow] = []
    seen: dict[str, int] = {}
    for number, row in enumerate(rows, 1):
        name = row["outing"]
        if not name:
            raise InputError(f"Row {number} of the outings has no name in the column outing. Name it.", field="rows")
        if name in seen:
            raise InputError(f"Rows {seen[name]} and {number} of the outings are both called '{name}'. Give every "
                             "outing a name of its own.", field="rows")
        seen[name] = number
        values = {key: value for key, value in row.items() if key != _GEOMETRY and value}
        made.append(OutingRow(name, row["lake"], values, str(folder)))
    unread = [name for name in rows[0] if name not in (*OUTING_COLUMNS, *SETTINGS, _GEOMETRY, "fid")]
    return made, unread


def read_lake(row: Any, own_crs: Any, folder: Any) -> Any:
    """A lake of a row of the table.

    Parameters
    ----------
    row : dict of str
        The water to be seen is the row's own geometry, or stands in ``area``: WKT, or a path (``lakes.gpkg|name`` for
        one layer of several).
    own_crs : str
        Of the row's geometry; of WKT it stands in the column ``crs``.
    folder : path

    Raises
    ------
    InputError

    Examples
    --------
    >>> from athwart.district.tables import read_lake
    >>> square = "POLYGON ((500000 4500000, 500100 4500000, 500100 4500100, 500000 4500000))"
    >>> lake = read_lake({"lake": "Mill Pond", "area": square, "crs": "EPSG:32619"}, "", ".")
    >>> lake.name, len(lake.shore), lake.area == lake.water
    ('Mill Pond', 1, True)
    """
    name = row.get("lake", "")
    said = row.get("area", "")
    if said:
        areas, crs = _drawn(said, row.get("crs", ""), folder, name, "area")
    elif row.get(_GEOMETRY):
        areas, crs = [shapes.from_wkb(row[_GEOMETRY])], own_crs
    else:
        raise InputError(f"The lake '{name}' has no area. Draw it, or give WKT or a path in the column area.",
                         field="area")
    if not crs:
        raise InputError(f"The area of the lake '{name}' has no coordinate system. Write it in the column crs, such as "
                         "EPSG:4326.", field="crs")
    area = shapes.polygonal(shapes.union([shapes.valid(one) for one in areas]))
    if area.is_empty:
        raise InputError(f"The area of the lake '{name}' holds no polygon. Draw the water that was to be seen.",
                         field="area")
    x, y = np.vstack([shell for shell, _ in shapes.rings(area)]).T
    metric = metric_crs(crs, x, y)
    area = _moved(area, crs, metric)

    def more(column: Any) -> Any:
        if not row.get(column):
            return None
        found, system = _drawn(row[column], row.get("crs", ""), folder, name, column)
        return [_moved(one, system or crs, metric) for one in found]

    drawn = more("water")
    water = area if drawn is None else shapes.polygonal(shapes.union([shapes.valid(one) for one in drawn]))
    if water.is_empty:
        raise InputError(f"The water of the lake '{name}' holds no polygon. Give the outline of the lake, or leave it "
                         "blank.", field="water")
    shore = more("shoreline") or [water]
    depths = row.get("depth_map", "")
    return Lake(name, metric.to_wkt(), shapes.to_wkb(area), shapes.to_wkb(water),
                tuple(shapes.to_wkb(one) for one in shore), str(pathlib.Path(folder, depths)) if depths else "")


def _drawn(said: Any, crs: Any, folder: Any, name: str, column: Any) -> Any:
    """(geometries, their system) that a cell gives, as WKT or as the path of a layer."""
    if _DRAWN.match(said):
        try:
            return [well_known_text.loads(said)], crs
        except Exception:  # each version of shapely has an error of its own here
            raise InputError(f"The {column} of the lake '{name}' is no geometry: {said[:40]}... Give WKT or a path.",
                             field=column) from None
    path, _, layer = said.partition("|")
    path = pathlib.Path(folder, path)
    if not path.is_file():
        raise InputError(f"The {column} of the lake '{name}' is not there: {path}. Correct the path.", field=column)
    rows, own = read_rows(path, layer.replace("layername=", "") or None)
    found = [shapes.from_wkb(one[_GEOMETRY]) for one in rows if one.get(_GEOMETRY)]
    if not found:
        raise InputError(f"The {column} of the lake '{name}' is empty: {path}. Draw it.", field=column)
    return found, own


def _moved(geometry: Any, crs: Any, target: Any) -> Any:
    """A geometry in another system, vertex by vertex, as a GIS carries it over."""
    if horizontal_crs(crs) == horizontal_crs(target):
        return geometry
    lines = [np.column_stack(carried(crs, target, *line.T)) for line in shapes.lines(geometry)]
    return shapes.of_lines(geometry, iter(lines))
