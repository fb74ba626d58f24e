"""North-up sketch of one target for the cast card: boat, error ellipse, casts in their order."""
from __future__ import annotations

import numpy as np

from ..model.palette import AMBER, INK
from ..model.units import LENGTHS
from ..report import pages
from ..report.mapsvg import nice_length
from ..uncertainty.ellipses import axes, scale_factor

__all__ = ["LISTED", "sketch"]

LISTED = 8
"""Casts that are numbered in the sketch and spelled out beside it; the rest are shaded."""

_SIZE = 300.0
_EDGE = 16.0
_FOOT = 26.0
_LEAST = 150.0


def sketch(plan, i, unit):
    """North-up SVG: the boat and its bow, the target's 95 % ellipse, the casts in order with the circle of a hit."""
    quarry, station = plan.quarry, plan.station[i]
    cov = quarry.covariance[i]
    major, minor, azimuth = (float(v) for v in axes(cov[0, 0], cov[0, 1], cov[1, 1]))
    k = scale_factor(0.95)
    boat = np.array([plan.stations.east[station] - quarry.east[i], plan.stations.north[station] - quarry.north[i]])
    aims = np.zeros((1, 2)) if plan.patterns[i] is None else plan.patterns[i].aims
    reach = plan.settings.hit_radius
    corners = np.vstack([boat - 1.2, boat + 1.2, aims - reach, aims + reach, [[-k * major] * 2, [k * major] * 2]])
    low, high = corners.min(axis=0), corners.max(axis=0)
    scale = (_SIZE - 2 * _EDGE) / max(*(high - low), 1.0)
    height = max((high - low)[1] * scale + 2 * _EDGE, _LEAST)
    middle = (low + high) / 2

    def put(point):
        return _SIZE / 2 + (point[0] - middle[0]) * scale, height / 2 - (point[1] - middle[1]) * scale

    tx, ty = put((0.0, 0.0))
    bx, by = put(boat)
    parts = [f'<line x1="{bx:.1f}" y1="{by:.1f}" x2="{tx:.1f}" y2="{ty:.1f}" stroke="#000" stroke-width="1.5" '
             'stroke-dasharray="5 4"/>',
             f'<ellipse cx="{tx:.1f}" cy="{ty:.1f}" rx="{k * minor * scale:.1f}" ry="{k * major * scale:.1f}" '
             f'transform="rotate({azimuth - plan.convergence_deg:.1f} {tx:.1f} {ty:.1f})" fill="{AMBER}" '
             f'fill-opacity=".45" stroke="{INK}" stroke-width="2"/>']
    if plan.patterns[i] is not None:
        parts += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{reach * scale:.1f}" fill="none" stroke="{INK}" '
                  'stroke-width="1.2"/>' for x, y in map(put, aims[:LISTED])]
        parts += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{reach * scale:.1f}" fill="{INK}" fill-opacity=".12" '
                  'stroke="none"/>' for x, y in map(put, aims[LISTED:])]
        size = min(14.0, max(6.5, 0.95 * reach * scale))
        parts += [f'<text x="{x:.1f}" y="{y + size * 0.36:.1f}" font-size="{size:.1f}" font-weight="700" '
                  f'text-anchor="middle">{numbers}</text>' for numbers, x, y in _numbered(aims[:LISTED], put)]
    else:
        parts.append(f'<circle cx="{tx:.1f}" cy="{ty:.1f}" r="3" fill="#000"/>')
    parts.append(_boat(bx, by, plan.stations.heading_deg[station] - plan.convergence_deg))
    parts.append(_furniture(scale, height, unit, plan.convergence_deg))
    what = pages.text(f"Sketch of target {quarry.target_id[i]}, north up: boat, error ellipse and casts")
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_SIZE:.0f} {height + _FOOT:.0f}" role="img" '
            f'aria-label="{what}" font-family="sans-serif">{"".join(parts)}</svg>')


def _boat(x, y, heading):
    """A hull about 22 units long, bow along ``heading``."""
    return (f'<path d="M0 -13 C6 -6 6 4 5 10 L-5 10 C-6 4 -6 -6 0 -13 Z" fill="#000" stroke="#fff" stroke-width="1" '
            f'transform="translate({x:.1f} {y:.1f}) rotate({heading:.1f})"/>')


def _numbered(aims, put):
    """(numbers, x, y) of each place aimed at; casts to one and the same place share a label."""
    at = {}
    for n, aim in enumerate(aims, 1):
        at.setdefault(tuple(np.round(aim, 2)), []).append(str(n))
    return [(", ".join(numbers), *put(place)) for place, numbers in at.items()]


def _furniture(scale, height, unit, convergence):
    """Scale bar in the display unit and north arrow."""
    bar = nice_length(0.4 * _SIZE / scale / LENGTHS[unit])
    length, y = bar * LENGTHS[unit] * scale, height + 12
    arrow = (f'<g transform="translate({_SIZE - 14:.0f} {height + 8:.0f}) rotate({-convergence:.1f})">'
             '<path d="M0 -14 L5 8 L0 4 L-5 8 Z" fill="#000"/></g>'
             f'<text x="{_SIZE - 26:.0f}" y="{y + 5:.0f}" font-size="14" font-weight="700" text-anchor="end">N</text>')
    return (f'<path d="M{_EDGE} {y - 6} V{y} H{_EDGE + length:.1f} V{y - 6}" fill="none" stroke="#000" '
            f'stroke-width="2"/><text x="{_EDGE + length + 8:.1f}" y="{y + 4}" font-size="14" '
            f'font-weight="600">{bar:g} {unit}</text>{arrow}')
