"""A north-up map as inline SVG: polygons, lines and points in frame metres, with scale bar, north arrow and legend."""
from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from ..geometry import shapes
from .pages import text

__all__ = ["Ink", "MapLayer", "draw_map", "nice_length"]

WIDTH = 960.0
MAX_HEIGHT = 1100.0
MARGIN = 14.0
FOOT = 52.0
ROW = 24.0
LINE_STEP = 0.4  # drawing units: finer detail than this cannot be seen


@dataclass(frozen=True)
class Ink:
    """How a layer is drawn; SVG colours, widths in drawing units (the map is 960 wide)."""

    fill: str = "none"
    stroke: str = "none"
    width: float = 1.0
    dash: str = ""
    opacity: float = 1.0
    radius: float = 3.0


@dataclass
class MapLayer:
    """One legend entry, none without a name: shapely geometries in frame metres, drawn in order; ``labels`` go beside
    points."""

    name: str
    ink: Ink
    geometries: list
    labels: list = field(default_factory=list)


def nice_length(most):
    """The longest of 1, 2, 5 times a power of ten that is not over ``most`` (m).

    Examples
    --------
    >>> from athwart.report.mapsvg import nice_length
    >>> nice_length(340.0), nice_length(55.0)
    (200.0, 50.0)
    """
    power = 10.0 ** math.floor(math.log10(most))
    return max(step * power for step in (1, 2, 5) if step * power <= most)


def draw_map(layers, title, convergence_deg=0.0):
    """SVG text of the layers.

    Parameters
    ----------
    layers : list of MapLayer
        First drawn first; layers without a geometry are left out.
    title : str
        What a screen reader says the picture shows.
    convergence_deg : float
        Meridian convergence at the map's middle: true north is turned by minus this from the top.

    Returns
    -------
    str
        '' when there is nothing to draw.
    """
    layers = [layer for layer in layers if any(g is not None and not g.is_empty for g in layer.geometries)]
    if not layers:
        return ""
    place, height = _fit([g for layer in layers for g in layer.geometries if g is not None and not g.is_empty])
    body = [_draw_layer(layer, place) for layer in layers]
    named = [layer for layer in layers if layer.name]
    legend_rows = math.ceil(len(named) / 3)
    total = height + FOOT + legend_rows * ROW
    furniture = "".join([_scale_bar(place.scale, height + 30), _north(convergence_deg, height + 28),
                         _legend(named, height + FOOT)])
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {total:.0f}" role="img" '
            f'aria-label="{text(title)}" font-family="system-ui,sans-serif" font-size="14"><title>{text(title)}</title>'
            f'<rect width="{WIDTH:.0f}" height="{total:.0f}" fill="#ffffff"/>{"".join(body)}{furniture}</svg>')


@dataclass(frozen=True)
class _Place:
    """Frame metres -> drawing units, y downwards."""

    west: float
    north: float
    scale: float
    left: float

    def __call__(self, xy):
        xy = np.asarray(xy, float)
        return np.column_stack([self.left + (xy[:, 0] - self.west) * self.scale,
                                MARGIN + (self.north - xy[:, 1]) * self.scale])


def _fit(geometries):
    bounds = np.array([g.bounds for g in geometries])
    west, south = bounds[:, :2].min(axis=0)
    east, north = bounds[:, 2:].max(axis=0)
    wide, tall = max(east - west, 1.0), max(north - south, 1.0)
    scale = min((WIDTH - 2 * MARGIN) / wide, (MAX_HEIGHT - 2 * MARGIN) / tall)
    left = (WIDTH - wide * scale) / 2
    return _Place(west, north, scale, left), tall * scale + 2 * MARGIN


def _draw_layer(layer, place):
    ink, marks = layer.ink, []
    path, filled = [], []
    for i, geometry in enumerate(layer.geometries):
        if geometry is None or geometry.is_empty:
            continue
        if geometry.geom_type == "Point":
            (x, y), = place(geometry.coords)
            marks.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{ink.radius:g}"/>')
            if i < len(layer.labels):
                at = f'x="{x + ink.radius + 3:.1f}" y="{y + 4:.1f}"'
                marks += [f'<text {at} {look}>{text(layer.labels[i])}</text>' for look in (
                    'fill="#ffffff" stroke="#ffffff" stroke-width="3.5"', 'fill="#14232b" stroke="none"')]
            continue
        simple = geometry.simplify(LINE_STEP / place.scale)
        path.extend(_lines(simple, place))
        filled.extend(_polygons(simple, place))
    dash = f' stroke-dasharray="{ink.dash}"' if ink.dash else ""
    # a path a polygon: with even-odd filling, ground that two polygons of one path share would be left bare
    drawn = "".join(f'<path d="{d}"/>' for d in (["".join(path)] if path else []) + filled)
    return (f'<g fill="{ink.fill}" fill-rule="evenodd" stroke="{ink.stroke}" stroke-width="{ink.width:g}"{dash} '
            f'opacity="{ink.opacity:g}" stroke-linejoin="round">{drawn}{"".join(marks)}</g>')


def _lines(geometry, place):
    """A piece of path data for each line of a geometry."""
    if geometry.geom_type in ("LineString", "LinearRing"):
        yield _path(place(np.asarray(geometry.coords)[:, :2]), "")
    elif not geometry.geom_type.endswith("Polygon"):
        for part in getattr(geometry, "geoms", ()):
            yield from _lines(part, place)


def _polygons(geometry, place):
    """Path data of each polygon of a geometry: its shell and its holes."""
    if geometry.geom_type in ("Polygon", "MultiPolygon"):
        for shell, holes in shapes.rings(geometry):
            yield "".join(_path(place(ring[:-1]), "Z") for ring in (shell, *holes))
    else:
        for part in getattr(geometry, "geoms", ()):
            yield from _polygons(part, place)


def _path(points, close):
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + close


def _scale_bar(scale, y):
    metres = nice_length(0.28 * WIDTH / scale)
    long = metres * scale
    label = f"{metres / 1000:g} km" if metres >= 1000 else f"{metres:g} m"
    return (f'<g stroke="#14232b" stroke-width="2"><line x1="{MARGIN}" y1="{y}" x2="{MARGIN + long:.1f}" y2="{y}"/>'
            f'<line x1="{MARGIN}" y1="{y - 6}" x2="{MARGIN}" y2="{y + 6}"/>'
            f'<line x1="{MARGIN + long:.1f}" y1="{y - 6}" x2="{MARGIN + long:.1f}" y2="{y + 6}"/></g>'
            f'<text x="{MARGIN + long + 8:.1f}" y="{y + 5}" fill="#14232b">{label}</text>')


def _north(convergence_deg, y):
    """Below the map, where it hides nothing."""
    x = WIDTH - 34
    return (f'<g transform="translate({x} {y}) rotate({-convergence_deg:.2f})">'
            '<path d="M0 -20L7 12L0 6L-7 12Z" fill="#14232b"/></g>'
            f'<text x="{x - 26}" y="{y + 5:.1f}" text-anchor="middle" fill="#14232b">N</text>')


def _legend(layers, top):
    parts = []
    for i, layer in enumerate(layers):
        x, y = MARGIN + (i % 3) * (WIDTH - 2 * MARGIN) / 3, top + (i // 3) * ROW
        ink = layer.ink
        style = (f'fill="{ink.fill}" stroke="{ink.stroke}" stroke-width="{ink.width:g}" opacity="{ink.opacity:g}"'
                 + (f' stroke-dasharray="{ink.dash}"' if ink.dash else ""))
        first = next(g for g in layer.geometries if g is not None and not g.is_empty)
        if first.geom_type.endswith("Polygon"):
            mark = f'<rect x="{x:.1f}" y="{y - 11:.1f}" width="24" height="14" {style}/>'
        elif first.geom_type == "Point":
            mark = f'<circle cx="{x + 12:.1f}" cy="{y - 4:.1f}" r="{ink.radius:g}" {style}/>'
        else:
            mark = f'<line x1="{x:.1f}" y1="{y - 4:.1f}" x2="{x + 24:.1f}" y2="{y - 4:.1f}" {style}/>'
        parts.append(f'{mark}<text x="{x + 32:.1f}" y="{y:.1f}" fill="#14232b">{text(layer.name)}</text>')
    return "".join(parts)
