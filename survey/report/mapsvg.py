"""A north-up map as inline SVG: polygons, lines and points in frame metres, with scale bar, north arrow, coordinates
along the edge and an inset; its legend is a list beside it, so that a phone can break it over lines."""
from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from shapely.ops import clip_by_rect

from ..geometry import shapes
from ..model.palette import INK, VERMILION
from .figures import METRES, Figures
from .hatching import hatch
from .labels import Label, place_labels, svg_labels
from .pages import text

__all__ = ["Ink", "MapLayer", "Setting", "draw_map", "legend", "nice_length", "scale_on_paper"]

WIDTH = 960.0
MAX_HEIGHT = 1100.0
MARGIN = 14.0
EDGE = 22.0  # for the coordinates
FOOT = 52.0
INSET = 120.0
LINE_STEP = 0.4  # drawing units: finer detail than this cannot be seen
HATCH_STEP = 7.0
LETTERS = (("desk", 14.0), ("phone", 26.0))
"""Size of labels, drawing units: on a phone the map is shown at 0.4 of its size, and they are placed anew for that."""

PAPER_M = 0.182, 0.145  # what the map may be wide and tall on A4, by the page's margins and rules for print


@dataclass(frozen=True)
class Ink:
    """How a layer is drawn; SVG colours, widths in drawing units (the map is 960 wide). ``hatch``: colour of hatching,
    '' for none; ``falling`` turns it the other way. A ``radius`` of 0 draws labels alone, on their place, in bold or
    ``slanted``; those that are ``tied`` get a line to their place where they had to go farther off."""

    fill: str = "none"
    stroke: str = "none"
    width: float = 1.0
    dash: str = ""
    opacity: float = 1.0
    radius: float = 3.0
    hatch: str = ""
    falling: bool = False
    slanted: bool = False
    tied: bool = True


@dataclass
class MapLayer:
    """One legend entry, none without a name: shapely geometries in frame metres, drawn in order; ``labels`` go beside
    points, those of the later layers where the earlier ones leave room."""

    name: str
    ink: Ink
    geometries: list
    labels: list = field(default_factory=list)


@dataclass(frozen=True)
class Setting:
    """What is round the map. ``bounds``: what is shown, frame metres, None for all that is drawn. ``ticks``: of the
    western and of the southern edge, see ``graticule.edge_ticks``. ``lake``: geometries of the inset, in which the
    map's place is marked."""

    bounds: tuple = None
    ticks: tuple = ((), ())
    lake: tuple = ()
    convergence_deg: float = 0.0
    units: Figures = METRES


def nice_length(most: float) -> float:
    """The longest of 1, 2, 5 times a power of ten that is not over ``most`` (m).

    Examples
    --------
    >>> from athwart.report.mapsvg import nice_length
    >>> nice_length(340.0), nice_length(55.0)
    (200.0, 50.0)
    """
    power = 10.0 ** math.floor(math.log10(most))
    return max(step * power for step in (1, 2, 5) if step * power <= most)


def draw_map(layers: list[MapLayer], title: str, setting: Setting | None = None) -> str:
    """SVG text of the layers.

    Parameters
    ----------
    layers : list of MapLayer
        First drawn first; layers without a geometry are left out.
    title : str
        What a screen reader says the picture shows.
    setting : Setting, optional

    Returns
    -------
    str
        '' when there is nothing to draw.
    """
    setting = setting or Setting()
    layers = _drawable(layers)
    if not layers:
        return ""
    place, height = _fit(layers, setting)
    body = [_draw_layer(layer, place, setting.bounds) for layer in layers]
    body.append(_labels(layers, place, setting, height))
    total, foot, inset = _total(place, height, setting)
    furniture = "".join([_neatline(place, height, setting), _scale_bar(place.scale, foot + 30, setting.units),
                         _north(setting.convergence_deg, foot + 28), inset])
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {total:.0f}" role="img" '
            f'aria-label="{text(title)}" font-family="system-ui,sans-serif" font-size="14"><title>{text(title)}</title>'
            f'<rect width="{WIDTH:.0f}" height="{total:.0f}" fill="#ffffff"/>{"".join(body)}{furniture}</svg>')


def _total(place: _Place, height: float, setting: Setting) -> tuple[float, float, str]:
    """(height of the drawing, where its foot begins, the inset)."""
    foot = height + (EDGE if setting.ticks[1] else 0)
    inset = _inset(setting, place, foot + 8)
    return foot + (INSET + 16 if inset else FOOT), foot, inset


def scale_on_paper(layers: list[MapLayer], setting: Setting) -> float | None:
    """n of the scale 1 : n when the page is printed on A4, to two figures; None where nothing is drawn."""
    layers = _drawable(layers)
    if not layers:
        return None
    place, height = _fit(layers, setting)
    drawn = min(PAPER_M[0] / WIDTH, PAPER_M[1] / _total(place, height, setting)[0])
    scale = 1 / place.scale / drawn
    power = 10.0 ** (math.floor(math.log10(scale)) - 1)
    return round(scale / power) * power


def _drawable(layers: list[MapLayer]) -> list[MapLayer]:
    return [layer for layer in layers if any(g is not None and not g.is_empty for g in layer.geometries)]


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


def _fit(layers, setting):
    """(place, height of the map)."""
    bounds = setting.bounds
    if bounds is None:
        all_ = np.array([g.bounds for layer in layers for g in layer.geometries if g is not None and not g.is_empty])
        bounds = (*all_[:, :2].min(axis=0), *all_[:, 2:].max(axis=0))
    west, south, east, north = bounds
    wide, tall = max(east - west, 1.0), max(north - south, 1.0)
    edge = EDGE if setting.ticks[0] else 0.0
    scale = min((WIDTH - 2 * MARGIN - edge) / wide, (MAX_HEIGHT - 2 * MARGIN) / tall)
    left = edge + (WIDTH - edge - wide * scale) / 2
    return _Place(west, north, scale, left), tall * scale + 2 * MARGIN


def _draw_layer(layer, place, bounds):
    ink, marks, lines = layer.ink, [], []
    path, filled = [], []
    for whole in layer.geometries:
        geometry = _shown(whole, bounds)
        if geometry is None or geometry.is_empty:
            continue
        if geometry.geom_type == "Point":
            (x, y), = place(geometry.coords)
            if ink.radius:
                marks.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{ink.radius:g}"/>')
            continue
        simple = geometry.simplify(LINE_STEP / place.scale)
        path.extend(_lines(simple, place))
        filled.extend(_polygons(simple, place))
        if ink.hatch:
            lines.extend(_lines(hatch(geometry, HATCH_STEP / place.scale, ink.falling), place))
    dash = f' stroke-dasharray="{ink.dash}"' if ink.dash else ""
    # a path a polygon: with even-odd filling, ground that two polygons of one path share would be left bare
    drawn = "".join(f'<path d="{d}"/>' for d in (["".join(path)] if path else []) + filled)
    hatched = f'<path d="{"".join(lines)}" fill="none" stroke="{ink.hatch}" stroke-width="1"/>' if lines else ""
    return (f'<g fill="{ink.fill}" fill-rule="evenodd" stroke="{ink.stroke}" stroke-width="{ink.width:g}"{dash} '
            f'opacity="{ink.opacity:g}" stroke-linejoin="round">{drawn}{"".join(marks)}</g>{hatched}')


def _labels(layers: list[MapLayer], place: _Place, setting: Setting, height: float) -> str:
    """Labels of all layers, once for a desk and for print, once for a phone; pages show one of the two."""
    found = []
    for layer in layers:
        for geometry, words in zip(layer.geometries, layer.labels):
            point = _shown(geometry, setting.bounds)
            if words and point is not None and not point.is_empty:
                (x, y), = place(point.coords)
                found.append(Label(float(x), float(y), str(words), layer.ink.radius,
                                   not layer.ink.radius and not layer.ink.slanted, layer.ink.slanted, layer.ink.tied))
    frame = (0.0, 0.0, WIDTH, height) if setting.bounds is None else tuple(np.concatenate(place(
        [(setting.bounds[0], setting.bounds[3]), (setting.bounds[2], setting.bounds[1])])).tolist())
    if not found:
        return ""
    hidden = {"desk": "", "phone": ' display="none"'}
    return "".join(f'<g class="{name}" font-size="{size:g}"{hidden[name]}>'
                   f'{svg_labels(place_labels(found, size, frame), size)}</g>' for name, size in LETTERS)


def _shown(geometry, bounds):
    """What of a geometry the map shows."""
    if geometry is None or geometry.is_empty or bounds is None:
        return geometry
    w, s, e, n = geometry.bounds
    if w >= bounds[0] and s >= bounds[1] and e <= bounds[2] and n <= bounds[3]:
        return geometry
    return clip_by_rect(geometry, *bounds)


def _lines(geometry, place):
    """A piece of path data for each line of a geometry."""
    if geometry.is_empty:
        return
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


def _path(points: np.ndarray, close: str) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + close


def _scale_bar(scale, y, units):
    longest = 0.28 * WIDTH / scale / units.unit_m
    length = nice_length(longest)
    long = length * units.unit_m * scale
    label = f"{length / 1000:g} km" if units.metric and length >= 1000 else f"{length:g} {units.unit}"
    return (f'<g stroke="{INK}" stroke-width="2"><line x1="{MARGIN}" y1="{y}" x2="{MARGIN + long:.1f}" y2="{y}"/>'
            f'<line x1="{MARGIN}" y1="{y - 6}" x2="{MARGIN}" y2="{y + 6}"/>'
            f'<line x1="{MARGIN + long:.1f}" y1="{y - 6}" x2="{MARGIN + long:.1f}" y2="{y + 6}"/></g>'
            f'<text x="{MARGIN + long + 8:.1f}" y="{y + 5}" fill="{INK}">{label}</text>')


def _neatline(place: _Place, height: float, setting: Setting) -> str:
    """The map's edge with the coordinates that meet it; nothing where the edge is only that of what is drawn."""
    if setting.bounds is None:
        return ""
    west, south, east, north = setting.bounds
    (left, top), (right, bottom) = place([(west, north), (east, south)])
    parts = [f'<rect x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" height="{bottom - top:.1f}" fill="none" '
             f'stroke="{INK}" stroke-width="1"/>']
    for at, words in setting.ticks[0]:
        y = place([(west, at)])[0, 1]
        parts.append(f'<path d="M{left:.1f} {y:.1f}h7" stroke="{INK}" fill="none"/><text transform="translate('
                     f'{left - 5:.1f} {y:.1f}) rotate(-90)" text-anchor="middle" fill="{INK}">{text(words)}</text>')
    for at, words in setting.ticks[1]:
        x = place([(at, south)])[0, 0]
        parts.append(f'<path d="M{x:.1f} {bottom:.1f}v-7" stroke="{INK}" fill="none"/><text x="{x:.1f}" '
                     f'y="{bottom + 16:.1f}" text-anchor="middle" fill="{INK}">{text(words)}</text>')
    return f'<g class="edge">{"".join(parts)}</g>'


def _inset(setting: Setting, place: _Place, top: float) -> str:
    """The lake, small, with the place of the map marked; '' where the map shows most of it already."""
    lake = [g for g in setting.lake if g is not None and not g.is_empty]
    if not lake or setting.bounds is None:
        return ""
    around = np.array([g.bounds for g in lake] + [setting.bounds])
    bounds = (*around[:, :2].min(axis=0), *around[:, 2:].max(axis=0))
    wide, tall = bounds[2] - bounds[0], bounds[3] - bounds[1]
    west, south, east, north = setting.bounds
    if wide * tall < 1.5 * (east - west) * (north - south):
        return ""
    scale = min(300.0 / wide, (INSET - 4) / tall)
    small = _Place(bounds[0], bounds[3], scale, WIDTH - 110 - wide * scale)
    shift = f'<g class="inset" transform="translate(0 {top - MARGIN:.1f})">'
    drawn = []
    for geometry in lake:
        simple = geometry.simplify(LINE_STEP / scale)
        drawn += [*_lines(simple, small), *_polygons(simple, small)]
    (left, up), (right, down) = small([(west, north), (east, south)])
    return (f'{shift}<path d="{"".join(drawn)}" fill="none" stroke="{INK}" stroke-width="1"/>'
            f'<rect x="{left:.1f}" y="{up:.1f}" width="{max(right - left, 4):.1f}" height="{max(down - up, 4):.1f}" '
            f'fill="none" stroke="{VERMILION}" stroke-width="2.5"/></g>')


def _north(convergence_deg: float, y: float) -> str:
    """Below the map, where it hides nothing."""
    x = WIDTH - 34
    return (f'<g transform="translate({x} {y}) rotate({-convergence_deg:.2f})">'
            f'<path d="M0 -20L7 12L0 6L-7 12Z" fill="{INK}"/></g>'
            f'<text x="{x - 26}" y="{y + 5:.1f}" text-anchor="middle" fill="{INK}">N</text>')


def legend(layers: list[MapLayer]) -> str:
    """The list that tells what the map's colours and lines are; '' where nothing is drawn."""
    items = [f'<li>{_swatch(layer)}{text(layer.name)}</li>' for layer in _drawable(layers) if layer.name]
    return f'<ul class="legend">{"".join(items)}</ul>' if items else ""


def _swatch(layer: MapLayer) -> str:
    ink = layer.ink
    style = (f'fill="{ink.fill}" stroke="{ink.stroke}" stroke-width="{ink.width:g}" opacity="{ink.opacity:g}"'
             + (f' stroke-dasharray="{ink.dash}"' if ink.dash else ""))
    first = next(g for g in layer.geometries if g is not None and not g.is_empty)
    if first.geom_type.endswith("Polygon"):
        slant = "M2 15L14 3M10 15L22 3M18 15L26 7" if not ink.falling else "M2 3L14 15M10 3L22 15M18 3L26 11"
        lines = f'<path d="{slant}" fill="none" stroke="{ink.hatch}" stroke-width="1"/>' if ink.hatch else ""
        mark = f'<rect x="2" y="2" width="24" height="14" {style}/>{lines}'
    elif first.geom_type == "Point":
        mark = f'<circle cx="14" cy="9" r="{ink.radius:g}" {style}/>'
    else:
        mark = f'<line x1="2" y1="9" x2="26" y2="9" {style}/>'
    return f'<svg viewBox="0 0 28 18" width="28" height="18" aria-hidden="true">{mark}</svg>'
