"""The sheet for the boat, to print or to read on a phone: a map of the lines in order, and a table of them."""
from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from shapely.geometry import Point

from ..geometry import shapes
from ..model.palette import AMBER, GREY, INK, PAPER, VERMILION, WATER
from ..model.units import LENGTHS, SPEEDS
from ..report import pages
from ..report.figures import Figures
from ..report.mapsvg import Ink, MapLayer, Setting, draw_map
from ..report.mapsvg import legend as legend_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

__all__ = ["DISPLAY_UNITS", "PlanOnPaper", "plan_sheet"]

DISPLAY_UNITS = ("m", "ft", "yd")

_RUN = ("line", "shore")

_SIZES = ((9, "few", 6.2), (15, "some", 5.3), (math.inf, "many", 4.5))
"""Up to how many lines the table is of a size, and how tall (mm) its rows print."""

_PAPER_MM, _LEAST_MAP_MM, _MOST_MAP_MM = 186.0, 60.0, 140.0
"""What a page of Letter, shorter than A4, has for map and rows together; least and greatest height of the map."""

_AROUND, _LEAST_AROUND_M = 0.08, 15.0
"""Water shown around the ways, as a share of their extent, and at least (m)."""

_CSS = """
body{color:#000}.lead{color:#000}
figure{margin:.5rem 0}
figure>svg{max-width:60rem}
figure>svg .desk{display:none}figure>svg .phone{display:inline}
table{font-size:1rem;font-variant-numeric:tabular-nums}
thead th,thead th.n{white-space:normal;vertical-align:bottom}
th,td{padding:.28rem .6rem .28rem 0}
tbody th{font-size:1.15rem;font-weight:800}
.tick{width:1.6rem}
@media screen and (max-width:34rem){body{padding:.6rem}dl.key{grid-template-columns:1fr 1fr}
th,td{padding:.25rem .35rem .25rem 0;font-size:.86rem}
tbody th{font-size:1rem}thead th{font-size:.75rem}}
@media print{@page{margin:9mm}body{font-size:9pt;max-width:none}h1{font-size:15pt;margin:0}
.lead{font-size:9pt;margin:1mm 0}
dl.key{gap:1.5mm;margin:1.5mm 0;grid-template-columns:repeat(4,1fr)}dl.key div{padding:.8mm 1.5mm;border-left-width:2mm}
dl.key dt,dl.key dd small{font-size:7.5pt}dl.key dd{font-size:12pt}
figure{margin:1mm 0}figure>svg{display:block;margin:auto;width:auto;max-width:100%;max-height:var(--tall);min-width:0}
figcaption{font-size:7.5pt}
.caution{margin:2mm 0 0;padding:1mm 2mm;font-size:7.5pt;line-height:1.25;border-width:1pt}
h2{font-size:11pt;margin:2mm 0 0;padding-top:1mm;border-top-width:1pt}
table{font-size:9pt;margin:1mm 0}th,td{padding:.6mm 2mm .6mm 0}caption{font-size:7.5pt;padding:0}
tbody th{font-size:11pt;line-height:1.1}
.some th,.some td{padding:.4mm 2mm .4mm 0}
.many table{font-size:7.5pt}.many th,.many td{padding:.15mm 1.5mm .15mm 0}
.many tbody th{font-size:8.5pt}
ul{margin:1mm 0;padding-left:5mm}}
"""

_WATER = Ink(fill=WATER, stroke=GREY, width=1.2)
_LINE = Ink(stroke=INK, width=3.2)
_TURN = Ink(stroke=INK, width=1.6, dash="5 4")
_GAP = Ink(fill=VERMILION, stroke="none", opacity=0.4)
_START = Ink(fill=INK, stroke=PAPER, width=1.5, radius=6)
_OBJECT = Ink(fill=AMBER, stroke=INK, width=1.4, radius=5.5)
_HEAD = Ink(fill=INK, stroke="none")


@dataclass
class PlanOnPaper:
    """``columns``: (n,) arrays by the names of ``schemas.PLAN_LINES``, in the order run; ``ways``: n lines in frame
    metres; ``water``, ``gaps``, ``objects``: polygons, polygons and points in frame metres, or empty lists; ``start``
    (2,) or None; ``convergence_deg`` at the middle; ``variation_deg``: magnetic variation, or None."""

    columns: dict
    ways: list
    water: list
    gaps: list
    objects: list
    start: np.ndarray | None = None
    convergence_deg: float = 0.0
    variation_deg: float = None


def plan_sheet(plan: PlanOnPaper, unit: str = "m", speed_unit: str = "m/s", title: str = "Plan for the boat",
               remarks: Sequence[str] = ()) -> str:
    """HTML text of the sheet.

    Parameters
    ----------
    plan : PlanOnPaper
    unit : str
        Of ``DISPLAY_UNITS``; speeds in ``speed_unit``, a key of ``SPEEDS``.
    title : str
    remarks : sequence of str
        What the crew is to know, under the table.

    Returns
    -------
    str
        No script, no network. Up to about 20 lines print on one page of A4 or Letter.

    Examples
    --------
    >>> from shapely.geometry import LineString
    >>> columns = {"kind": ["line"], "line_id": ["L1"], "azimuth_deg": [0.0], "length_m": [100.0], "range_m": [30.0],
    ...            "speed_mps": [2.0], "depth_m": [5.0], "hours": [0.014]}
    >>> import athwart
    >>> from athwart.planning.sheet import PlanOnPaper
    >>> page = athwart.plan_sheet(PlanOnPaper(columns, [LineString([(0, 0), (0, 100)])], [], [], []))
    >>> page.count("<tr>")
    2
    """
    c = plan.columns
    run = np.array([kind in _RUN for kind in c["kind"]])
    rows = _rows(plan, run, unit, speed_unit)
    heads = ["Line", f"Range ({unit})", f"Speed ({speed_unit})", "Course (true)", *_magnetic_head(plan),
             f"Length ({unit})", f"Depth ({unit})", "Minutes", "Then", "Done"]
    drawn, legend = _map(plan, run, unit)
    parts = [pages.definition_list(_totals(plan, run, unit)),
             pages.figure(drawn, "Lines as numbered, in the order and the direction to run them; turns and runs "
                          "from line to line are broken lines. North is as the arrow shows.", legend),
             pages.table("Lines in the order to run them", heads, rows, numeric=range(1, len(heads) - 2),
                         whole=(0, len(heads) - 2)),
             pages.bullets(remarks) if remarks else ""]
    size, row_mm = next((name, row) for most, name, row in _SIZES if run.sum() <= most)
    tall = min(max(_PAPER_MM - row_mm * int(run.sum()), _LEAST_MAP_MM), _MOST_MAP_MM)
    return pages.page(title, "Keep a lookout and the depth in sight; leave the plan where the water or others ask for "
                      "it.", [f'<div class="{size}" style="--tall:{tall:.0f}mm">', *parts, "</div>"], _CSS)


def _long(metres: float, unit: str, digits: int = 0) -> str:
    return "\u2013" if not math.isfinite(metres) else f"{metres / LENGTHS[unit]:.{digits}f}"


def _magnetic_head(plan: PlanOnPaper) -> list[str]:
    return [] if plan.variation_deg is None else ["Course (magnetic)"]


def _rows(plan: PlanOnPaper, run: np.ndarray, unit: str, speed_unit: str) -> list[list[str]]:
    c, rows = plan.columns, []
    at = np.flatnonzero(run).tolist()
    for k, i in enumerate(at):
        following = at[k + 1] if k + 1 < len(at) else len(run)
        course = float(c["azimuth_deg"][i]) % 360
        magnetic = [] if plan.variation_deg is None else [f"{round(course - plan.variation_deg) % 360:03d}\u00b0"]
        rows.append([str(c["line_id"][i]), _long(c["range_m"][i], unit),
                     f"{c['speed_mps'][i] / SPEEDS[speed_unit]:.1f}", f"{round(course) % 360:03d}\u00b0", *magnetic,
                     _long(c["length_m"][i], unit),
                     _long(c["depth_m"][i], unit, 1), f"{60 * c['hours'][i]:.0f}",
                     _then(plan, i, following, unit) if following < len(run) else "end", "\u2610"])
    return rows


def _then(plan: PlanOnPaper, i: int, following: int, unit: str) -> str:
    """Which way to turn after a line, and how far it is to the next."""
    c, way = plan.columns, plan.ways[i]
    here, there = np.asarray(way.coords), np.asarray(plan.ways[following].coords)
    out, gone = here[-1] - here[-2], there[0] - here[-1]
    between = float(np.nansum(np.asarray(c["length_m"], float)[i + 1:following]))
    side = out[0] * gone[1] - out[1] * gone[0]
    word = "port" if side > 0 else "starboard"
    name = c["line_id"][following]
    if np.hypot(*gone) < 1:
        return f"on to {name}"
    return f"{word}, {_long(between, unit)} to {name}"


def _totals(plan: PlanOnPaper, run: np.ndarray, unit: str) -> list[tuple[str, str, str]]:
    c = plan.columns
    hours = float(np.nansum(np.asarray(c["hours"], float)))
    litres = np.asarray(c["litres"], float) if "litres" in c else np.array([np.nan])
    lengths = np.asarray(c["length_m"], float)
    far = 1000.0 if unit == "m" else 1609.344
    word = "km" if unit == "m" else "miles"
    found = [("Lines", str(int(run.sum())), f"{lengths[run].sum() / far:.2f} {word}"),
             ("Distance in all", f"{lengths.sum() / far:.2f} {word}", "turns, and runs from line to line, counted in"),
             ("Time", f"{int(hours)} h {round(60 * (hours % 1)):02d} min", "")]
    if np.isfinite(litres).any():
        found.append(("Fuel", f"{np.nansum(litres):.1f} l", ""))
    return found


def _map(plan: PlanOnPaper, run: np.ndarray, unit: str) -> tuple[str, str]:
    """(SVG, its legend): as close as the lines allow, with their place in the lake beside it."""
    lines = [way for way, r in zip(plan.ways, run) if r]
    names = [str(name) for name, r in zip(plan.columns["line_id"], run) if r]
    size = max(np.ptp(np.array([way.bounds for way in plan.ways]).reshape(-1, 2, 2).reshape(-1, 2), axis=0).max(), 1.0)
    layers = [MapLayer("", _WATER, list(plan.water)), MapLayer("gaps" if plan.gaps else "", _GAP, list(plan.gaps)),
              MapLayer("turns, and from line to line", _TURN, [way for way, r in zip(plan.ways, run) if not r]),
              MapLayer("lines", _LINE, lines), MapLayer("", _HEAD, [_arrow(way, size / 60) for way in lines]),
              MapLayer("", Ink(radius=0.1), [way.interpolate(0.28, normalized=True) for way in lines], names),
              MapLayer("objects" if plan.objects else "", _OBJECT, list(plan.objects),
                       [str(k + 1) for k in range(len(plan.objects))])]
    if plan.start is not None:
        layers.append(MapLayer("start", _START, [Point(*plan.start)]))
    drawn = draw_map(layers, f"Map of {len(lines)} lines in the order to run them",
                     Setting(_close(plan), lake=tuple(plan.water), convergence_deg=plan.convergence_deg,
                             units=Figures("m" if unit == "m" else "ft")))
    # read at arm's length, in the sun
    return drawn.replace('font-size="14"', 'font-size="19"', 1), legend_of(layers)


def _close(plan: PlanOnPaper) -> tuple[float, float, float, float]:
    """What the map shows: all ways, with the shore that lies near them."""
    shown = [*plan.ways, *plan.objects, *([] if plan.start is None else [Point(*plan.start)])]
    bounds = np.array([way.bounds for way in shown])
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    grown = max(_AROUND * float((high - low).max()), _LEAST_AROUND_M)
    return (*(low - grown).tolist(), *(high + grown).tolist())


def _arrow(way: Any, size: float) -> Any:
    """A head at the middle of a line, pointing the way it is run."""
    size = min(size, 0.4 * way.length)
    a, b = (np.array(way.interpolate(max(min(0.5 * way.length + s, way.length), 0.0)).coords[0])
            for s in (-0.5 * size, 0.5 * size))
    unit = (b - a) / max(np.hypot(*(b - a)), 1e-9)
    right = np.array([unit[1], -unit[0]])
    return shapes.polygon(np.array([b, a + 0.45 * size * right, a - 0.45 * size * right, b]))
