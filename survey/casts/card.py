"""The cast card: one HTML page to print or to read on a phone in the sun, with a north-up sketch for each target."""
from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..model.coordinates import degrees_minutes
from ..model.depthwords import depth_words
from ..model.units import LENGTHS
from ..report import pages
from ..uncertainty.ellipses import axes, circle_radius
from .casting import GOAL, MAX_CASTS
from .plan import CASTS, FAR, IN_REACH, LONGEST, MANY, NO_WATER, WATER, clock
from .remedy import remedy
from .route import route_order, station_names
from .sketch import LISTED, sketch

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from .plan import CastPlan, Stations

__all__ = ["DISPLAY_UNITS", "cast_card"]

DISPLAY_UNITS = ("ft", "yd", "m")

_FEW = 2
"""Up to so many targets print one below the other."""


_CSS = """
body{color:#000;font-size:18px;max-width:76rem}
.lead{color:#000}
.cards{display:grid;grid-template-columns:repeat(auto-fill,minmax(20.5rem,1fr));gap:1rem;margin:1rem 0}
.card{border:3px solid #000;border-radius:6px;padding:.6rem .8rem}
.card h2{border:0;margin:0;padding:0;font-size:1.35rem;overflow-wrap:anywhere}
.card .state{font-weight:700;margin:.2rem 0;border-left:8px solid #000;padding-left:.5rem}
.card .big{display:flex;flex-wrap:wrap;gap:.1rem 1.3rem;align-items:baseline;font-weight:800;font-size:2.3rem;
line-height:1.15;margin:.25rem 0}
.card .big small{font-size:1.05rem;font-weight:600}
.card .facts{margin:.1rem 0;font-weight:600}
.fact{display:inline-block;white-space:nowrap;margin-right:.8em}.fact:last-child{margin-right:0}
.card svg{display:block;width:100%;height:auto;max-height:23rem;margin:.4rem 0 .2rem}
.card ol{columns:2;column-gap:2.2rem;margin:.2rem 0;padding-left:1.9rem;font-size:1rem}
.card .more{font-size:1rem;margin:.1rem 0}
.card .where{margin:.1rem 0;font-size:1rem;font-variant-numeric:tabular-nums}
@media(max-width:30rem){body{padding:.6rem}.cards{grid-template-columns:1fr}.card ol{columns:1}}
@media print{@page{margin:8mm}body{font-size:10pt;max-width:none}h1{font-size:15pt;margin:0}
.lead{font-size:8.5pt;line-height:1.3;margin:1mm 0}
.caution{margin:2mm 0 0;padding:1.2mm 2mm;font-size:7.5pt;line-height:1.25;border-width:1pt}
.cards{grid-template-columns:1fr 1fr;gap:3mm;margin:2mm 0 0}
.card{border-width:1.2pt;break-inside:avoid;padding:1.5mm 2.5mm}
.card svg{max-height:47mm;margin:.6mm 0}
.card h2{font-size:12pt;line-height:1.2}.card .state{font-size:9pt;line-height:1.25;margin:.6mm 0;border-width:2pt}
.card .big{font-size:18pt;gap:0 3mm;margin:.4mm 0}
.card .big small,.card .facts,.card .where{font-size:9pt;line-height:1.22;margin:0}
.card .more,.card ol{font-size:8.5pt;line-height:1.25}.card ol{margin:0;padding-left:6mm}
.few .cards{grid-template-columns:1fr}.few .card svg{max-height:80mm}}
"""


_NIGHT = """
@media screen{html,body{background:#000;color:#f4ead9}h1,h2,.lead,.card,.card .state,.caution{color:#f4ead9;
border-color:#f4ead9}.card svg{filter:invert(1) hue-rotate(180deg)}}
"""


def cast_card(plan: CastPlan, unit: str = "ft", title: str = "Cast card", written: Mapping[str, str] | None = None,
              night: bool = False) -> str:
    """HTML text of the card, its targets in the order of the route round the stations.

    Parameters
    ----------
    plan : survey.casts.plan.CastPlan
        Of ``plan_casts``, for coordinates.
    unit : str
        Of ``DISPLAY_UNITS``: distances on the card.
    title : str
    written : dict, optional
        ``lake``, ``date``, ``outing``, ``notes``: what stands at its head.
    night : bool
        Light on black on a screen; print stays black on white.

    Returns
    -------
    str
        No script, no network; printed on as many pages as it takes.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> sure = {"sigma_east_m": np.array([1.0]), "sigma_north_m": np.array([1.0]), "cov_en_m2": np.array([0.0])}
    >>> boat = athwart.Boat(np.array([500000.0]), np.array([4500000.0]), np.array([90.0]))
    >>> made = athwart.plan_casts("EPSG:32619", np.array([500020.0]), np.array([4500000.0]), sure, boat)
    >>> page = athwart.cast_card(made.plan, "m")
    >>> page.startswith("<!DOCTYPE html>"), "not for navigation" in page
    (True, True)
    """
    place = np.argsort(route_order(plan))
    order = np.lexsort((np.arange(len(plan.quarry)), place[plan.station]))
    names = station_names(plan)
    cards = "\n".join(_card(plan, int(i), unit, names[plan.station[i]]) for i in order)
    size = "few" if len(order) <= _FEW else "all"
    body = f'<div class="{size}"><div class="cards">\n{cards}\n</div></div>'
    return pages.page(title, _lead(plan, unit), [_head(written or {}), body], _CSS + (_NIGHT if night else ""))


def _head(written: Mapping[str, str]) -> str:
    told = [f"{title}: {pages.text(written[name])}" for name, title in (
        ("lake", "Lake"), ("date", "Date"), ("outing", "Outing"), ("notes", "Notes")) if written.get(name)]
    return f'<p class="facts">{_facts(told)}</p>' if told else ""


def _lead(plan: CastPlan, unit: str) -> str:
    settings = plan.settings
    where = ("Clock directions are from the bow, as the boat lies." if plan.stations.kind == "boat" else
             f"Each station lies {_windward(plan.stations)}, bow to the wind at {plan.stations.heading_deg[0]:03.0f}"
             "\u00b0 true; 6:00 is over the stern.")
    hit = ("A hit is a cast whose way back to the boat passes within" if settings.method == "retrieve" else
           "A hit is within")
    return (f"{hit} {_length(settings.hit_radius, unit, 1)} of the object. Worked out with a boat's fix good to "
            f"{_length(settings.sigma_boat, unit, 1)} and casts to {_length(settings.sigma_range, unit, 1)} and "
            f"{settings.sigma_angle:g}\u00b0 (one standard deviation each). The target's own error is the same for "
            f"every cast, so a pattern finds it sooner than casts on one spot. {where}{_drawn(plan)}")


def _drawn(plan: CastPlan) -> str:
    """Where landings alone do not reach the goal: what a retrieve is for."""
    late = (plan.reach == MANY) & (plan.limit == CASTS)
    if plan.settings.method == "retrieve" or not late.any():
        return ""
    return (" Only where a cast lands was counted. What is drawn back along the bottom takes fewer casts: plan again "
            "with \u2018What hits\u2019 set to \u2018retrieve\u2019.")


def _windward(stations: Stations) -> str:
    moved = stations.swung is not None and (stations.swung.any() or (stations.near < 1).any())
    return "as far to windward of its target as the water allows" if moved else "to windward of its target"


def _length(metres: float, unit: str, digits: int = 0) -> str:
    return f"{metres / LENGTHS[unit]:.{digits}f}\u00a0{unit}"


def _card(plan: CastPlan, i: int, unit: str, waypoint: str) -> str:
    quarry, station = plan.quarry, plan.station[i]
    found = plan.patterns[i]
    off_bow = clock(plan.bearing_deg[i] - plan.stations.heading_deg[station])
    name = quarry.label[i] or "Target"
    parts = [f"<h2>{pages.text(quarry.target_id[i])} \u00b7 {pages.text(name)}</h2>"]
    parts += [f'<p class="state">{pages.text(words)}</p>' for words in _state(plan, i, unit)]
    parts.append(f'<p class="big"><span>{_length(plan.distance_m[i], unit)}</span><span>{off_bow} '
                 "<small>o\u2019clock</small></span></p>")
    magnetic = plan.magnetic(plan.bearing_deg[i])
    facts = [f"{plan.bearing_deg[i] % 360:03.0f}\u00b0 true"]
    if math.isfinite(magnetic):
        facts.append(f"{magnetic:03.0f}\u00b0 magnetic")
    else:
        facts[0] += " only"
    bottom = None if quarry.bottom_m is None else quarry.bottom_m[i]
    depth = depth_words(bottom, quarry.depth_m[i], unit, LENGTHS[unit], 0)
    facts += [depth] if depth else []
    parts.append(f'<p class="facts">{_facts(facts)}</p>')
    parts += _where(plan, i, unit, waypoint)
    if found is not None:
        needed = f"{found.needed} casts for {100 * GOAL:.0f} %" if found.needed else \
            f"{math.floor(100 * found.so_far[-1])} % after {MAX_CASTS} casts"  # not rounded up to the goal
        parts.append(f'<p class="facts">{_facts((f"One cast {math.floor(100 * found.alone[0])} %", needed))}</p>')
    spelled = "" if found is None else _spelled(plan, i, unit)
    return (f'<section class="card"><div class="how">{"".join(parts)}</div>{sketch(plan, i, unit)}'
            f'<div class="how spelled">{spelled}</div></section>')


def _facts(facts: Iterable[str]) -> str:
    """Short facts on a line, none of them broken."""
    return " ".join(f'<span class="fact">{fact}</span>' for fact in facts)


def _where(plan: CastPlan, i: int, unit: str, waypoint: str) -> list[str]:
    """How good the place is in words, and where target and station are as a plotter shows it."""
    cov = plan.quarry.covariance[i]
    major, minor, _ = (float(v) for v in axes(cov[0, 0], cov[0, 1], cov[1, 1]))
    within = _length(float(circle_radius(major, minor, 0.95)), unit)
    parts = [f'<p class="facts">{_facts([f"Within {within}, 19 times of 20"])}</p>']
    if plan.frame is None:
        return parts
    station = plan.station[i]
    rows = (("Target", plan.quarry.east[i], plan.quarry.north[i]),
            (waypoint, plan.stations.east[station], plan.stations.north[station]))
    for name, east, north in rows:
        lon, lat = plan.frame.frame_to_lonlat(east, north)
        parts.append(f'<p class="where"><b>{pages.text(name)}</b> <span class="fact">'
                     f'{degrees_minutes(float(lat), "NS")}</span> <span class="fact">'
                     f'{degrees_minutes(float(lon), "EW")}</span></p>')
    return parts


def _state(plan: CastPlan, i: int, unit: str) -> list[str]:
    """What is out of the ordinary about a target, in bold above its figures."""
    said = {"side unsure": "Side unsure: it may lie on either side of the boat's track.",
            "water column": "Water column: it was seen above the bottom, it does not lie on it.",
            "near nadir": "Near nadir: seen almost under the boat, so its place across the track is vague.",
            "ambiguous": "Ambiguous: the bottom meets the beam more than once at its range.",
            "off grid": "Off grid: placed as on a flat bottom."}
    words = [said[plan.quarry.status[i]]] if plan.quarry.status[i] in said else []
    if plan.reach[i] == FAR:
        words.append(f"Out of reach: over {_length(plan.settings.max_cast, unit)}.")
    elif plan.reach[i] == NO_WATER:
        words.append("No clear water: land lies between it and any boat. Look where it lies.")
    elif plan.reach[i] != IN_REACH:
        words.append(f"Over {MAX_CASTS} casts: they do not reach {100 * GOAL:.0f} %. " + {
            LONGEST: "The longest cast ends short of where it may be.",
            WATER: "Land keeps casts from where it may be."}.get(plan.limit[i], "Get a better place for it first."))
    help_ = remedy(plan, i, lambda metres: _length(metres, unit))
    return [*words[:-1], f"{words[-1]} {help_}"] if help_ else words


def _spelled(plan: CastPlan, i: int, unit: str) -> str:
    """The first casts in words: long or short, left or right of the target's place, seen from the boat.

    They are rounded to no finer a step than the caster scatters.
    """
    found, settings, one = plan.patterns[i], plan.settings, LENGTHS[unit]
    a = math.radians(plan.bearing_deg[i] - plan.convergence_deg)
    beyond = found.aims @ np.array([math.sin(a), math.cos(a)]) / one
    right = found.aims @ np.array([math.cos(a), -math.sin(a)]) / one
    steps = [_step(scatter / one) for scatter in (
        settings.sigma_range, plan.distance_m[i] * math.radians(settings.sigma_angle))]
    items = []
    for along, aside, chance in zip(beyond[:LISTED], right[:LISTED], found.so_far):
        words = [f"{abs(value):.0f} {more if value > 0 else less}" for value, more, less in
                 ((_rounded(along, steps[0]), "long", "short"), (_rounded(aside, steps[1]), "right", "left")) if value]
        items.append(f"<li>{' '.join(words) or 'on the spot'} <small>{math.floor(100 * chance)}\u00a0%</small></li>")
    more = len(found.aims) - LISTED
    rest = (f'<p class="more">and {more} more, shaded; all are in the layer of casts.</p>'
            if more > 0 else "")
    return (f'<p class="more">Casts, in {unit} from the spot, with the chance after each:</p><ol>{"".join(items)}</ol>'
            f"{rest}")


def _step(scatter: float) -> int:
    """The least of 1, 2, 5, 10, 20 that is no finer than the scatter."""
    return next((step for step in (1, 2, 5, 10, 20) if step >= scatter), 50)


def _rounded(value: float, step: int) -> int:
    return step * round(value / step)
