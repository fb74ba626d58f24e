"""What a district comes to: one GeoPackage, a project over it, a report a lake, an index page, tables."""
from __future__ import annotations

import csv
import io
import re
from collections import Counter
from typing import Any

from ..geometry import shapes
from ..geometry.frame import horizontal_crs
from ..model.spreadsheets import cell
from .geopackage import write_geopackage
from .index_page import index_page
from .layers import LAYERS, OF_LAKES, OF_OUTINGS
from .parcel import Part
from .project import write_project
from .store import write_whole

__all__ = ["DATABASE", "write"]

DATABASE = "district.gpkg"
PROJECT = "district.qgs"
INDEX = "index.html"
FAILURES = "failures.csv"
REPORTS = "lakes"
_DEGREES = "EPSG:4326"


def write(district: Any, rows: Any, lakes: Any, part_of: Any, settings: Any) -> None:
    """Write the results of a District into its folder; each file gets its place when it is whole.

    Parameters
    ----------
    district : district.District
    rows : list of tables.OutingRow
    lakes : dict of {name: tables.Lake or None}
    part_of : callable
        ``part_of("outing" or "lake", name)`` -> Parcel.
    settings : settings.DistrictSettings
    """
    folder = district.folder
    pages = _reports(district, part_of)
    crs = _common(lakes)
    table = _lakes(district, lakes, pages)
    write_geopackage(folder / DATABASE, crs, _layers(district, rows, lakes, part_of, table))
    write_project(folder / PROJECT, DATABASE, crs, table, settings.title)
    write_whole(folder / INDEX, index_page(district, table, lakes, pages, settings).encode("utf-8"))
    lines = io.StringIO()
    writer = csv.writer(lines, lineterminator="\n")
    writer.writerow(("kind", "lake", "outing", "cause", "remedy"))
    writer.writerows([cell(getattr(one, name)) for name in ("kind", "lake", "outing", "cause", "remedy")]
                     for one in district.failures)
    write_whole(folder / FAILURES, lines.getvalue().encode("utf-8"))
    district.files = [DATABASE, PROJECT, INDEX, FAILURES, *pages.values()]


def _common(lakes: Any) -> Any:
    """The system of all lakes where they share one, else degrees: figures are ground figures in either."""
    known = {lake.crs for lake in lakes.values() if lake is not None}
    return horizontal_crs(known.pop() if len(known) == 1 else _DEGREES)


def _reports(district: Any, part_of: Any) -> Any:
    """Reports written, {lake: path from the folder}; those of lakes that are gone are taken away."""
    folder = district.folder / REPORTS
    folder.mkdir(parents=True, exist_ok=True)
    pages: dict[str, str] = {}
    stems: Counter[str] = Counter()
    for name in district.lakes:
        stem = re.sub(r"[^\w-]+", "_", name).strip("_").lower() or "lake"
        stems[stem] += 1
        stem += f"_{stems[stem]}" if stems[stem] > 1 else ""
        pages[name] = f"{REPORTS}/{stem}.html"
        write_whole(district.folder / pages[name], part_of("lake", name).facts["page"].encode("utf-8"))
    kept = {path.split("/")[1] for path in pages.values()}
    for path in folder.glob("*.html"):
        if path.name not in kept:
            path.unlink()
    return pages


def _lakes(district: Any, lakes: Any, pages: Any) -> Any:
    """Rows of the layer of lakes, each a dict with ``_shape`` and ``_crs``."""
    failed = Counter(one.lake for one in district.failures if one.kind == "outing")
    rows = []
    for name, lake in lakes.items():
        facts = district.lakes.get(name, {})
        rows.append({**{field.name: facts.get(field.name) for field in LAYERS["lakes"]}, "lake": name,
                     "state": district.states[name], "outings": facts.get("outings", 0), "failed": failed[name],
                     "report": pages.get(name, ""), "_shape": None if lake is None else shapes.from_wkb(lake.area),
                     "_crs": None if lake is None else lake.crs})
    return rows


def _layers(district: Any, rows: Any, lakes: Any, part_of: Any, table: Any) -> Any:
    """(layer, Part, CRS of its places) of all that is written, one lake or outing at a time."""
    names = [field.name for field in LAYERS["lakes"]]
    for row in table:  # one by one: each has a system of its own
        yield "lakes", Part({name: [row[name]] for name in names}, [row["_shape"]]), row["_crs"] or _DEGREES
    facts = [district.outings.get(row.name, {}) for row in rows]
    columns = {name: [one.get(name) for one in facts] for name in (
        "start_time", "end_time", "passes", "track_m", "seen_m2", "targets", "rejected", "worked_s")}
    columns.update(
        outing=[row.name for row in rows], lake=[row.lake for row in rows],
        state=["done" if row.name in district.outings else "failed" for row in rows],
        who=[row.values.get("who", "") for row in rows], gear=[row.values.get("gear", "") for row in rows],
        warnings=["\n".join(one.get("warnings", [])) for one in facts])
    yield "outings", Part(columns), None
    yield "failures", Part({name: [getattr(one, name) for one in district.failures]
                            for name in ("kind", "lake", "outing", "cause", "remedy")}), None
    for row in rows:
        if row.name in district.outings:
            yield from _own(part_of("outing", row.name), OF_OUTINGS, row.lake)
    for name in lakes:
        if name in district.lakes:
            yield from _own(part_of("lake", name), OF_LAKES, name)


def _own(parcel: Any, wanted: Any, lake: Any) -> Any:
    for name in wanted:
        part = parcel.parts.get(name)
        if part is not None and len(part):
            yield name, Part({**part.columns, "lake": [lake] * len(part)}, part.places), parcel.crs
