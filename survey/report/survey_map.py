"""The map of a coverage report: areas, ground seen and not, numbered gaps, shore, track and targets."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..geometry import overlap, shapes
from ..model.coordinates import degrees_minutes
from ..model.palette import AMBER, BLUE, GREY, INK, PAPER, PURPLE, SEEN, TWICE, UNSEEN, VERMILION
from ..uncertainty import ellipses
from . import mapsvg
from .graticule import edge_ticks
from .layer_tables import NADIR, listed_gaps
from .mapsvg import Ink, MapLayer, Setting
from .pages import number

if TYPE_CHECKING:
    from ..geometry.frame import Frame
    from .layers import Layers

__all__ = ["caption", "report_map"]

_MARGIN = 0.04


def report_map(layers: Layers, title: str) -> tuple[str, str]:
    """(SVG, its legend as a list), both '' where nothing has a place.

    Parameters
    ----------
    layers : survey.report.layers.Layers
    title : str
        Of the report.

    Examples
    --------
    >>> from athwart.report.coverage_report import Layers
    >>> from athwart.report.survey_map import report_map
    >>> report_map(Layers(None), "North bay")
    ('', '')
    """
    drawn = _drawn(layers)
    return (mapsvg.draw_map(drawn, f"Map of {title}: bottom seen, gaps, shore and targets", _setting(layers)),
            mapsvg.legend(drawn))


def _drawn(layers):
    drawn = []

    def put(layer, name, ink, keep=None, labels=None):
        if layer is not None and len(layer):
            chosen = layer.geometries if keep is None else [g for g, k in zip(layer.geometries, keep) if k]
            drawn.append(MapLayer(name, ink, chosen, labels or []))

    put(layers.areas, "" if layers.levels else "Area to be surveyed", Ink(UNSEEN, INK, 1.5))
    if layers.levels:  # joined: strips that abut would show their seams
        if layers.areas is not None:
            drawn.append(MapLayer("In the area, not seen", Ink(hatch=GREY), _unseen(layers)))
        drawn.append(MapLayer("Bottom seen", Ink(SEEN, "none", 0), layers.levels[:1]))
        if len(layers.levels) > 1:
            drawn.append(MapLayer("Seen by two passes or more", Ink(TWICE, "none", 0), layers.levels[1:2]))
    else:
        put(layers.swaths, "Bottom seen", Ink(SEEN, "none", 0))
    if layers.gaps is not None and len(layers.gaps):
        under, sure = layers.gaps.words("kind") == NADIR, np.asarray(layers.gaps.columns["certain"], bool)
        put(layers.gaps, "Under the boat", Ink(GREY, GREY, 0.5, opacity=0.75), under)
        put(layers.gaps, "Gap, certain", Ink(VERMILION, VERMILION, 1.0, opacity=0.7), ~under & sure)
        put(layers.gaps, "Gap that may be closed", Ink(PAPER, VERMILION, 1.0, "4 3", hatch=VERMILION, falling=True),
            ~under & ~sure)
    put(layers.areas, "" if not layers.levels else "Area to be surveyed", Ink("none", INK, 1.8))  # once more, on top
    put(layers.passes, "Boat's track", Ink("none", INK, 0.7, "5 3"))
    if layers.shore is None:
        put(layers.lake, "Shore of the lake", Ink("none", GREY, 1.2))
    else:
        status = layers.shore.words("status")
        put(layers.shore, "Shore scanned", Ink("none", BLUE, 2.5), status == "scanned")
        put(layers.shore, "Shore not scanned", Ink("none", PURPLE, 3.5, "9 4"), status == "unscanned")
    if layers.targets is not None:
        drawn.append(MapLayer("Error ellipse", Ink(AMBER, INK, 1.0, opacity=0.45), _outlines(layers)))
        put(layers.targets, "Target", Ink(AMBER, INK, 1.4, radius=5),
            labels=[number_of(i) for i in layers.targets.numbers("target_id")])
    return [*drawn, *_names(layers)]


def _names(layers: Layers) -> list[MapLayer]:
    """Numbers of the gaps that the table tells one by one, and the names of areas and places."""
    drawn = []
    if layers.gaps is not None:
        chosen = [i for i in listed_gaps(layers.gaps) if not layers.gaps.geometries[i].is_empty]
        drawn.append(MapLayer("", Ink(radius=0), [layers.gaps.geometries[i].representative_point() for i in chosen],
                              [number_of(layers.gaps.numbers("gap_id")[i]) for i in chosen]))
    if layers.areas is not None and len(layers.areas) > 1:
        named = [(g.representative_point(), name) for g, name in zip(layers.areas.geometries,
                                                                      layers.areas.labels("Area")) if not g.is_empty]
        drawn.append(MapLayer("", Ink(radius=0, tied=False), [at for at, _ in named],
                              [name for _, name in named]))
    if layers.places is not None:
        drawn.append(MapLayer("", Ink(radius=0, slanted=True, tied=False), layers.places.geometries,
                              layers.places.labels("Place")))
    return drawn


def _unseen(layers):
    placed = [g for g in layers.areas.geometries if not g.is_empty]
    return [overlap.merged(placed).difference(layers.levels[0])] if placed else []


def _setting(layers):
    """What the map shows: the areas with their targets where there are areas, else all there is."""
    if layers.frame is None:
        return Setting()
    framed = [layer for layer in (layers.areas, layers.targets, layers.gaps) if layer is not None]
    if layers.areas is None or not layers.areas.placed().any():
        framed = [layer for _, layer in layers.given()]
    bounds = np.array([g.bounds for layer in framed for g in layer.geometries if not g.is_empty]).reshape(-1, 4)
    if not len(bounds):
        return Setting()
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    margin = _MARGIN * max((high - low).max(), 20.0)
    shown = (*(low - margin), *(high + margin))
    lake = next((layer.geometries for layer in (layers.lake, layers.shore) if layer is not None), ())
    return Setting(shown, edge_ticks(layers.frame, shown), tuple(lake), _convergence(layers.frame, shown), layers.units)


def _convergence(frame: Frame, bounds: tuple[float, ...]) -> float:
    return float(frame.convergence((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2))


def number_of(value: float) -> str:
    """A whole number as text, '' where it is unknown."""
    return "" if np.isnan(value) else f"{value:.0f}"


def _outlines(layers):
    """The targets' error ellipses in the frame; azimuths are turned from true to grid north."""
    targets = layers.targets
    known = np.flatnonzero(np.isfinite(targets.numbers("semi_major_m")) & targets.placed())
    if not len(known):
        return []
    east, north = np.array([(g.x, g.y) for g in shapes.pick(targets.geometries, known)]).T
    grid = targets.numbers("azimuth_deg")[known] - layers.frame.convergence(east, north)
    return shapes.polygons(ellipses.rings(east, north, targets.numbers("semi_major_m")[known],
                                          targets.numbers("semi_minor_m")[known], grid))


def caption(layers: Layers) -> str:
    """What stands under the map: scale, what the numbers are, and the grid."""
    scale = mapsvg.scale_on_paper(_drawn(layers), _setting(layers))
    if scale is None:
        return ""
    numbers = [words for words, layer in (("numbers beside dots are targets", layers.targets), (
        "numbers without a dot are gaps, as in the table", layers.gaps)) if layer is not None and len(layer)]
    said = [f"Printed on A4 about 1 : {number(scale)}{''.join('; ' + one for one in numbers)}."]
    if layers.frame is not None:
        crs = layers.frame.crs
        code = crs.to_authority()
        method = crs.coordinate_operation.method_name if crs.is_projected and crs.coordinate_operation else ""
        named = ", ".join(part for part in (":".join(code) if code else "", method) if part)
        said.append(f"Coordinate system of the layers: {crs.name}{f' ({named})' if named else ''}. Drawn on a "
                    f"transverse Mercator grid of its own, scale 1 at {degrees_minutes(layers.frame.lat0, 'NS', 1)}, "
                    f"{degrees_minutes(layers.frame.lon0, 'EW', 1)}, grid north up; the arrow points to true north. "
                    "Degrees and minutes along the edge.")
    return " ".join(said)
