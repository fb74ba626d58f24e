"""The map of a coverage report: areas, ground seen once and more often, gaps, shore, track and targets."""
from __future__ import annotations

import numpy as np

from ..geometry import shapes
from ..uncertainty import ellipses
from . import mapsvg
from .mapsvg import Ink, MapLayer

__all__ = ["caption", "report_map"]

SEEN, TWICE = "#9fc5d8", "#78a9c4"
"""Ground seen, and ground seen by two passes and more."""


def report_map(layers, title):
    """SVG text, '' where nothing has a place.

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
    ''
    """
    drawn = []

    def put(layer, name, ink, keep=None, labels=None):
        if layer is not None and len(layer):
            chosen = layer.geometries if keep is None else [g for g, k in zip(layer.geometries, keep) if k]
            drawn.append(MapLayer(name, ink, chosen, labels or []))

    put(layers.areas, "Area to be surveyed", Ink("#eef3f5", "#5b6f79", 1.5))
    if layers.levels:  # joined: strips that abut would show their seams
        drawn.append(MapLayer("Bottom seen", Ink(SEEN, "none", 0), layers.levels[:1]))
        if len(layers.levels) > 1:
            drawn.append(MapLayer("Seen by two passes or more", Ink(TWICE, "none", 0), layers.levels[1:2]))
    else:
        put(layers.swaths, "Bottom seen", Ink(SEEN, "none", 0))
    put(layers.gaps, "Gap", Ink("#e8a33d", "#7a4a00", 0.8, opacity=0.9))
    put(layers.areas, "", Ink("none", "#5b6f79", 1.5))  # once more: what was seen hides it
    put(layers.passes, "Boat's track", Ink("none", "#3b4f59", 0.8, "5 3"))
    if layers.shore is not None:
        status = layers.shore.words("status")
        put(layers.shore, "Shore scanned", Ink("none", "#14232b", 2.5), status == "scanned")
        put(layers.shore, "Shore not scanned", Ink("none", "#b3261e", 3.5, "9 4"), status == "unscanned")
    if layers.targets is not None:
        drawn.append(MapLayer("Error ellipse", Ink("#efe6f5", "#5b2a86", 1.0, opacity=0.8), _outlines(layers)))
        put(layers.targets, "Target", Ink("#5b2a86", "#ffffff", 1.2, radius=5),
            labels=[number_of(i) for i in layers.targets.numbers("target_id")])
    return mapsvg.draw_map(drawn, f"Map of {title}: bottom seen, gaps, shore and targets")


def number_of(value):
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


def caption(layers):
    """What stands under the map."""
    ending = "." if layers.targets is None or not len(layers.targets) else "; numbers are targets."
    return f"The survey drawn to scale, grid north up{ending}"
