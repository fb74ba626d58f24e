"""The page of a district: a map of its lakes coloured by the share seen, a table to sort, totals, failures."""
from __future__ import annotations

import datetime
import math
import pathlib
from typing import Any

import numpy as np

from ..geometry import shapes
from ..geometry.frame import Frame, carried
from ..model.palette import AMBER, INK, PAPER, SHARES
from ..report import pages
from ..report.mapsvg import Ink, MapLayer, draw_map, legend

__all__ = ["CLASSES", "index_page"]

CLASSES = ((90.0, SHARES[0], "90 % and more"), (75.0, SHARES[1], "75 to 90 %"), (50.0, SHARES[2], "50 to 75 %"),
           (0.0, AMBER, "under 50 %"))
"""Least share, colour and words."""

_DEGREES = "EPSG:4326"
_HECTARE = 1e4
_SMALL = 9.0
"""Drawing units: a lake that would be smaller on the map gets a dot as well."""

_CSS = """
@media (min-width:60rem){body{max-width:72rem}}
table.sort th[scope=row]{white-space:nowrap}
table.sort thead th{white-space:normal;vertical-align:bottom}
th button{font:inherit;font-weight:inherit;background:none;border:0;padding:0;color:inherit;cursor:pointer;
text-align:inherit}
th button::after{content:" \\2195";color:#3b4f59}
th[aria-sort=ascending] button::after{content:" \\2191"}
th[aria-sort=descending] button::after{content:" \\2193"}
"""
_SORT = pathlib.Path(__file__).with_name("sort.js")


def index_page(district: Any, table: Any, lakes: Any, reports: Any, settings: Any) -> Any:
    """The page as text.

    Parameters
    ----------
    district : district.District
    table : list of dict
        Rows of the layer of lakes.
    lakes : dict of {name: tables.Lake or None}
    reports : dict of {name: path}
    settings : settings.DistrictSettings
    """
    now = datetime.datetime.now(datetime.timezone.utc)
    return pages.page(settings.title, f"{len(lakes)} lakes, {len(district.outings)} outings. "
                      f"Made {now:%Y-%m-%d %H:%M} UTC.", [
        _totals(district, table), _map(table), pages.section("Lakes", _table(table)), _failures(district.failures),
        f"<script>\n{_SORT.read_text(encoding='utf-8')}</script>"],
        _CSS)


def _figure(value: Any, digits: Any = 1, unit: Any = "") -> Any:
    return pages.number(None if value is None else float(value), digits, unit, "")


def _sum(table: Any, name: str) -> Any:
    return sum(row[name] for row in table if row[name] is not None)


def _totals(district: Any, table: Any) -> Any:
    area, seen = _sum(table, "area_m2"), _sum(table, "covered_m2")
    shore, bare = _sum(table, "shore_m"), _sum(table, "unscanned_m")
    whole = sum(row["state"] == "surveyed" for row in table)
    return pages.definition_list([
        ("Lakes surveyed", f"{whole} of {len(table)}", _states(table)),
        ("Outings", f"{len(district.outings)}", f"{sum(one.kind == 'outing' for one in district.failures)} failed"),
        ("Seen", pages.number(100 * seen / area if area else None, 1, "%"),
         f"{_figure(seen / _HECTARE, 1, 'ha')} of {_figure(area / _HECTARE, 1, 'ha')} in the lakes with outings"),
        ("Shore not scanned", pages.number(100 * bare / shore if shore else None, 1, "%"),
         f"{_figure(bare / 1000, 1, 'km')} of {_figure(shore / 1000, 1, 'km')}"),
        ("Objects", f"{_sum(table, 'targets')}", "several looks at one combined"),
        ("Distance run", _figure(_sum(table, "track_m") / 1000, 1, "km"), "all passes")])


def _states(table: Any) -> Any:
    counts: dict[str, int] = {}
    for row in table:
        counts[row["state"]] = counts.get(row["state"], 0) + 1
    return ", ".join(f"{count} {state}" for state, count in counts.items() if state != "surveyed")


def colour(share: Any) -> Any:
    """(Colour, words) of a share in percent.

    Examples
    --------
    >>> from athwart.district.index_page import colour
    >>> colour(80.0)[1], colour(None)[1]
    ('75 to 90 %', 'no share')
    """
    if share is None or math.isnan(share):
        return PAPER, "no share"
    return next((ink, words) for least, ink, words in CLASSES if share >= least or not least)


def _map(table: Any) -> Any:
    """Lakes in one frame, a layer for each class of the share."""
    shown = [row for row in table if row["_shape"] is not None]
    if not shown:
        return ""
    degrees = {row["lake"]: [np.column_stack(carried(row["_crs"], _DEGREES, *line.T))
                             for line in shapes.lines(row["_shape"])] for row in shown}
    every = np.vstack([line for lines in degrees.values() for line in lines])
    frame = Frame.around(_DEGREES, every[:, 0], every[:, 1])
    drawn = {row["lake"]: shapes.of_lines(row["_shape"], iter(
        np.column_stack(frame.forward(*line.T)) for line in degrees[row["lake"]])) for row in shown}
    bounds = np.array([one.bounds for one in drawn.values()])
    wide = max(np.ptp(bounds[:, [0, 2]]), np.ptp(bounds[:, [1, 3]]), 1.0)
    layers = []
    for ink, words in [*((one[1], one[2]) for one in CLASSES), (PAPER, "no share")]:
        members = [drawn[row["lake"]] for row in shown if colour(row["covered_pct"])[1] == words]
        dots = [one.centroid for one in members if max(np.ptp(one.bounds[::2]), np.ptp(one.bounds[1::2]))
                < _SMALL / 900 * wide]
        layers.append(MapLayer(words, Ink(ink, INK, 0.7), members))
        layers.append(MapLayer("", Ink(ink, INK, 0.7, radius=5.0), dots))
    labels = [row["lake"] for row in shown] if len(shown) <= 60 else []
    layers.append(MapLayer("", Ink("none", "none", 0, radius=0), [one.centroid for one in drawn.values()], labels))
    return pages.figure(draw_map(layers, "Lakes of the district by the share of their bottom seen"),
                        "Lakes by the share seen. Small ones have a dot as well.", legend(layers))


_COLUMNS = (("Lake", "lake", None), ("State", "state", None), ("Outings", "outings", 0), ("Seen (%)", "covered_pct", 1),
            ("95 % from", "low_pct", 1), ("to", "high_pct", 1), ("Area (ha)", "area_m2", 1), ("Gaps", "gaps", 0),
            ("Missed (ha)", "gap_m2", 2), ("Shore not scanned (%)", "unscanned_pct", 1),
            ("Shore not scanned (m)", "unscanned_m", 0), ("Objects", "targets", 0))


def _table(table: Any) -> Any:
    heads = "".join(f'<th scope="col"{"" if digits is None else " class=n"}>{pages.text(head)}</th>'
                    for head, _, digits in _COLUMNS)
    lines = []
    for row in table:
        cells = []
        for k, (_, name, digits) in enumerate(_COLUMNS):
            value = row[name]
            known = value is not None and not (isinstance(value, float) and math.isnan(value))
            if digits is None:
                shown, key = pages.text(value), pages.text(value)
            else:
                scaled = value / _HECTARE if known and name in ("area_m2", "gap_m2") else value
                shown, key = (_figure(scaled, digits), f"{scaled:.6g}") if known else ("", "")
            if k == 0:
                if row["report"]:
                    shown = f'<a href="{pages.text(row["report"])}">{shown}</a>'
                cells.append(f'<th scope="row" data-v="{key}">{shown}</th>')
            else:
                cells.append(f'<td{"" if digits is None else " class=n"} data-v="{key}">{shown}</td>')
        lines.append(f"<tr>{''.join(cells)}</tr>")
    return ('<div class="wide" role="group" aria-label="Lakes" tabindex="0"><table class="sort"><caption>A click on a '
            f"head sorts by it; a lake's name opens its report.</caption><thead><tr>{heads}</tr></thead>\n<tbody>\n"
            + "\n".join(lines) + "\n</tbody></table></div>")


def _failures(failures: Any) -> Any:
    if not failures:
        return ""
    return pages.section("What failed", pages.paragraph(
        "All else was done. Run the same command again when these are corrected: work that is done is kept."),
        pages.table("Failures", ("What", "Lake", "Cause", "What to do"), [
            (one.outing or one.kind, one.lake, one.cause, one.remedy) for one in failures]))
