"""The range table as a page: a card to print, one plot, all figures, and why each range was chosen."""
from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..model.palette import BED, INK, SEEN, UNSEEN
from ..model.units import LENGTHS, SPEEDS
from ..report import pages
from ..report.mapsvg import nice_length
from .range_rule import LONGEST_DEPTHS

if TYPE_CHECKING:
    from .range_table import RangeTable, TableSettings

__all__ = ["DISPLAY_UNITS", "range_page", "range_plot"]

DISPLAY_UNITS = ("m", "ft", "yd")

_CSS = """
.card{border:3px solid #000;border-radius:6px;padding:.5rem .8rem;margin:.8rem 0;max-width:46rem}
.card h2{border:0;margin:0;padding:0;font-size:1.2rem}
.card table{font-size:1.15rem;font-variant-numeric:tabular-nums}
.card th,.card td{padding:.25rem .5rem .25rem 0}
.card thead th{white-space:normal;vertical-align:bottom;font-size:.85rem}
.card td.big{font-size:1.5rem;font-weight:800;white-space:nowrap}.card p{margin:.2rem 0}
figure>svg{max-width:44rem}
@media(max-width:40rem){figure>svg text{font-size:15px}}
@media(max-width:30rem){body{padding:.6rem}.card{padding:.4rem .5rem}.card table{font-size:1rem}
.card td.big{font-size:1.2rem}.card thead th{font-size:.75rem}}
@media print{@page{margin:11mm}.card{border-width:1.2pt}figure>svg{max-height:150mm;width:auto;max-width:100%}
table{font-size:7.5pt}th,td{padding-right:1.2mm}thead th{white-space:normal;
vertical-align:bottom}.card table{font-size:12pt}.card td.big{font-size:15pt}
.card thead th{font-size:8.5pt}}
"""

_WIDE, _LEFT, _RIGHT, _BAR, _GAP = 480.0, 66.0, 14.0, 17.0, 12.0


def range_page(table: RangeTable, unit: str = "m", speed_unit: str = "m/s", title: str = "Range table") -> str:
    """HTML text of the page.

    Parameters
    ----------
    table : survey.planning.range_table.RangeTable
    unit : str
        Of ``DISPLAY_UNITS``: every length on the page.
    speed_unit : str
        A key of ``SPEEDS``.

    Returns
    -------
    str
        No script, no network; the card is the first thing, and prints on the first sheet with the plot.

    Examples
    --------
    >>> import athwart
    >>> "Card for the boat" in athwart.range_page(athwart.range_table([4.0], [20.0, 40.0]), "ft", "mph")
    True
    """
    rule, settings = table.settings.rule, table.settings
    speed = "" if rule.speed_mps is None else f", at {_fast(rule.speed_mps, speed_unit)}"
    seen = rule.detection
    lead = (f"To show an object of {_long(rule.object_m, unit)}{speed}: hit {seen.min_hits:g} times by a beam of "
            f"{seen.beam_width_deg:g}\u00b0, with a shadow of {_long(seen.min_shadow_m, unit)} on the record, outside "
            f"{rule.blind_deg:g}\u00b0 of the vertical and within {LONGEST_DEPTHS:g} times the depth. Lines overlap by "
            f"{settings.overlap_pct:g} % of the swath. A flat bottom, unless a slope is named.")
    parts = [_card(table, unit, speed_unit),
             pages.figure(range_plot(table, unit), "What each side of the record shows of the bottom, by depth and "
                          "range. The chosen range of each depth is set in bold."),
             pages.section("Why these ranges", pages.bullets(
                 f"Depth {_long(depth, unit)}: {choice.why}" for depth, choice in zip(table.depths, table.choices)))]
    parts += ['<h2>All figures</h2>', *(_figures(table, k, unit, speed_unit)
                                                    for k in range(len(table.depths))),
              pages.bullets(_notes(settings, unit))]
    return pages.page(title, lead, parts, _CSS)


def _long(metres: float, unit: str, digits: int = None) -> str:
    if not math.isfinite(metres):
        return "\u2013"
    value = metres / LENGTHS[unit]
    shown = f"{value:.3g}" if digits is None else f"{value:.{digits}f}"
    return f"{shown}\u00a0{unit}"


def _fast(speed: float, speed_unit: str) -> str:
    return f"{speed / SPEEDS[speed_unit]:.2g}\u00a0{speed_unit}"


def _card(table: RangeTable, unit: str, speed_unit: str) -> str:
    """One line for each depth: the range, what it shows, the fastest speed, the line spacing."""
    rows = []
    for k, choice in enumerate(table.choices):
        at = table.rows_of(k).start + int(np.flatnonzero(table.ranges == choice.range_m)[0])
        shows = (f"{choice.near_m / LENGTHS[unit]:.0f} to {_long(choice.far_m, unit, 0)}" if choice.shows
                 else f"from {_long(choice.smallest_m, unit, 1)} only" if choice.limit != "speed" else "only if slower")
        rows.append(f'<tr><th scope="row">{_long(table.depths[k], unit)}</th><td class="big">'
                    f'{_long(choice.range_m, unit)}</td><td class="w">{shows}</td><td class="w">'
                    f'{_fast(choice.fastest_mps, speed_unit)}</td><td class="w">'
                    f'{_long(float(table.columns["spacing_m"][at]), unit, 0)}</td></tr>')
    heads = "".join(f'<th scope="col">{name}</th>' for name in ("Depth", "Range to set", "Shows, each side",
                                                               "Not faster than", "Lines apart"))
    return (f'<section class="card" aria-label="Card"><h2>Card for the boat: an object of '
            f'{_long(table.settings.rule.object_m, unit)}</h2><table><thead><tr>{heads}</tr></thead><tbody>'
            f'{"".join(rows)}</tbody></table></section>')


def _figures(table: RangeTable, k: int, unit: str, speed_unit: str) -> str:
    rows, part = [], table.rows_of(k)
    c = {name: values[part] for name, values in table.columns.items()}
    for i in range(len(table.ranges)):
        rows.append([("\u25b6 " if c["chosen"][i] else "") + _long(c["range_m"][i], unit),
                     f"{c['range_depths'][i]:.3g}, {c['band'][i]}", f"{c['water_pct'][i]:.0f} %",
                     *(_short(c[name][i], unit) for name in ("reach_slant_m", "reach_subtract_m", "reach_up_m",
                                                            "reach_down_m", "effective_m")),
                     _span(c["near_m"][i], c["far_m"][i], unit), c["limit"][i],
                     f"{_fine(c['resolution_near_m'][i], unit)} / {_fine(c['resolution_far_m'][i], unit)}",
                     _fine(c["beam_far_m"][i], unit), f"{c['ping_limit_hz'][i]:.3g}",
                     f"{c['fastest_mps'][i] / SPEEDS[speed_unit]:.2g}", _short(c["spacing_m"][i], unit)])
    heads = [f"Range ({unit})", "In depths", "Water", "Reach", "R \u2212 H", "Up slope", "Down slope",
             "Effective range", "Shows object", "Ends by", "Across, near / far", "Beam", "Pings/s at most",
             f"Fastest ({speed_unit})", "Lines apart"]
    return pages.table(f"Depth {_long(table.depths[k], unit)}", heads, rows, whole=(0, 1, 8, 10),
                       numeric=(2, 3, 4, 5, 6, 7, 11, 12, 13, 14))


def _short(metres: float, unit: str) -> str:
    return "\u2013" if not math.isfinite(metres) else f"{metres / LENGTHS[unit]:.1f}"


def _fine(metres: float, unit: str) -> str:
    return "\u2013" if not math.isfinite(metres) else f"{metres / LENGTHS[unit]:.2f}"


def _span(near: float, far: float, unit: str) -> str:
    return "\u2013" if not math.isfinite(far) else f"{_short(near, unit)} to {_short(far, unit)}"


def _notes(settings: TableSettings, unit: str) -> list[str]:
    return [f"Lengths are in {unit}. Reach: ground range to each side, sqrt(R\u00b2 \u2212 H\u00b2). R \u2212 H: the "
            f"rule of thumb, always short. Up and down slope: a bottom of {settings.slope_deg:g}\u00b0.",
            "Water: share of each side of the record that shows water, not bottom.",
            f"Effective range: at most {LONGEST_DEPTHS:g} times the height above the bottom (NOAA).",
            f"Across, near / far: ground under one of {settings.samples:g} samples of each side, at the inner and the "
            "outer edge of what counts. Beam: how wide it is along the track at the outer edge.",
            "Pings/s at most: no ping goes out before the last has come back, c / 2R. Sounders often send fewer; "
            f"the fastest speed is worked out with {100 * settings.rule.detection.ping_share:.0f} % of it, or with the "
            "ping rate given."]


def range_plot(table: RangeTable, unit: str = "m") -> str:
    """SVG: a bar for each range under its depth, from the boat outwards; legible 390 pixels wide."""
    most = float(np.nanmax(np.where(np.isfinite(table.columns["reach_slant_m"]), table.columns["reach_slant_m"], 1.0)))
    scale = (_WIDE - _LEFT - _RIGHT) / most
    parts, y = [], 30.0
    for k, depth in enumerate(table.depths):
        parts.append(f'<text x="4" y="{y + 4:.1f}" font-size="16" font-weight="700">Depth {_long(depth, unit)}</text>')
        y += 12
        for i in range(table.rows_of(k).start, table.rows_of(k).stop):
            parts.append(_bar(table, i, y, scale, unit))
            y += _BAR + 4
        y += _GAP + 8
    step = nice_length(most / LENGTHS[unit] / 2.5) * LENGTHS[unit]
    ticks = np.arange(0, most + 1e-9, step)
    grid = "".join(f'<line x1="{_LEFT + t * scale:.1f}" y1="22" x2="{_LEFT + t * scale:.1f}" y2="{y - 8:.1f}" '
                   f'stroke="#b9c6cd"/><text x="{_LEFT + t * scale:.1f}" y="16" font-size="15" text-anchor="middle">'
                   f'{t / LENGTHS[unit]:g}</text>' for t in ticks)
    legend, x = [], 4.0
    for fill, words, wide in ((BED, "shows it", 106), (SEEN, "bottom only", 124), (UNSEEN, "not counted", 128)):
        legend.append(f'<rect x="{x}" y="{y + 20:.1f}" width="18" height="14" fill="{fill}" stroke="{INK}"/>'
                      f'<text x="{x + 24}" y="{y + 32:.1f}" font-size="15">{words}</text>')
        x += wide
    foot = (f'<text x="{_LEFT}" y="{y + 8:.1f}" font-size="15">distance from the boat, {unit}</text>')
    what = f"Bars of what each range shows on one side, in {pages.text(unit)}, for {len(table.depths)} depths"
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDE:.0f} {y + 42:.0f}" role="img" '
            f'aria-label="{what}" font-family="system-ui,sans-serif" fill="{INK}"><title>{what}</title>'
            f'<rect width="{_WIDE:.0f}" height="{y + 42:.0f}" fill="#fff"/>{grid}{"".join(parts)}{foot}'
            f'{"".join(legend)}</svg>')


def _bar(table: RangeTable, i: int, y: float, scale: float, unit: str) -> str:
    """One range: what is not counted blank, bottom seen light, the strip that shows the object dark."""
    c = {name: values[i] for name, values in table.columns.items()}
    weight = 800 if c["chosen"] else 400
    label = (f'<text x="{_LEFT - 6}" y="{y + 14:.1f}" font-size="16" font-weight="{weight}" text-anchor="end">'
             f'{_long(c["range_m"], unit)}</text>')
    if not math.isfinite(c["reach_slant_m"]) or c["reach_slant_m"] <= 0:
        return label + f'<text x="{_LEFT + 4}" y="{y + 14:.1f}" font-size="15">no bottom on the record</text>'

    def piece(start: float, end: float, fill: str) -> str:
        return (f'<rect x="{_LEFT + start * scale:.1f}" y="{y:.1f}" width="{max(end - start, 0) * scale:.1f}" '
                f'height="{_BAR}" fill="{fill}"/>')

    reach = float(c["reach_slant_m"])
    inner = float(c["depth_m"] * math.tan(math.radians(table.settings.rule.blind_deg)))
    effective = math.sqrt(max(float(c["effective_m"]) ** 2 - float(c["depth_m"]) ** 2, 0.0))
    drawn = piece(0, reach, UNSEEN) + piece(min(inner, effective), effective, SEEN)
    if math.isfinite(c["far_m"]) and c["shows"]:
        drawn += piece(float(c["near_m"]), float(c["far_m"]), BED)
    edge = (f'<rect x="{_LEFT:.1f}" y="{y:.1f}" width="{reach * scale:.1f}" height="{_BAR}" fill="none" '
            f'stroke="#000" stroke-width="{2.6 if c["chosen"] else 0.8}"/>')
    return label + drawn + edge
