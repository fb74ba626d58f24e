"""The coverage report: one page for people, one table for programs, from the layers the tools made."""
from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..plane import levels, shapes, transfer
from ..uncertainty import ellipses
from . import mapsvg, pages, report_tables
from .mapsvg import Ink, MapLayer
from .pages import number

__all__ = ["Layers", "ReportLayer", "area_rows", "coverage_page", "grades_inside", "looks_inside"]

_MOST_LOOKS = 3
_NAME_FIELDS = ("name", "label", "title", "area", "id")


@dataclass
class ReportLayer:
    """A layer's columns (arrays by field name, NaN or '' for unknown) and its geometries in frame metres."""

    name: str
    columns: dict
    geometries: list

    def __len__(self):
        return len(self.geometries)

    def labels(self, word):
        """What each feature is called: the layer's own name field, else ``word`` and a number."""
        for name in self.columns:
            if name.lower() in _NAME_FIELDS and any(str(v) for v in self.columns[name]):
                return [str(v) for v in self.columns[name]]
        return [f"{word} {i + 1}" for i in range(len(self))]


@dataclass
class Layers:
    """What the report is made of; any may be None. ``frame`` carries the geometries; ``looks`` is (looks, m2) rows,
    ``grades`` (what it is worth, m2) rows."""

    frame: object
    track: ReportLayer = None
    passes: ReportLayer = None
    swaths: ReportLayer = None
    areas: ReportLayer = None
    gaps: ReportLayer = None
    shore: ReportLayer = None
    targets: ReportLayer = None
    looks: list = field(default_factory=list)
    grades: list = field(default_factory=list)

    def lonlat(self, point):
        """Degrees of a point in the frame."""
        lon, lat = self.frame.frame_to_lonlat(point.x, point.y)
        return float(lon), float(lat)


def looks_inside(frame, swaths, areas):
    """Ground of the areas seen by at least 1, 2 and 3 separate passes.

    Parameters
    ----------
    frame : survey.plane.frame.Frame
    swaths, areas : ReportLayer
        ``swaths`` by outing and pass; both sides of a pass are one look.

    Returns
    -------
    list of (looks, ground m2)
        Ends before the first level that is empty; [] where passes were drawn as one and cannot be told apart.
    """
    passes = {}
    for outing, number_, geometry in zip(swaths.columns["outing"], swaths.columns["pass_id"], swaths.geometries):
        passes.setdefault((outing, number_), []).append(geometry)
    if any(np.isnan(number_) for _, number_ in passes):
        return []
    inside = levels.merged(areas.geometries)
    seen = levels.levels([levels.merged(strips) for strips in passes.values()], _MOST_LOOKS)
    sizes = [transfer.geodesic_area(frame, shapes.polygonal(level.intersection(inside))) for level in seen]
    return [(k, size) for k, size in enumerate(sizes, 1) if size > 0]


def grades_inside(frame, ground, areas):
    """Ground of the areas by what a look there is worth.

    Parameters
    ----------
    frame : survey.plane.frame.Frame
    ground : dict of {words: shapely polygons in crs units}
    areas : ReportLayer

    Returns
    -------
    list of (words, ground m2), in the order given
    """
    inside = levels.merged(areas.geometries)
    cut = [transfer.to_frame(frame, part).intersection(inside) for part in ground.values()]
    return list(zip(ground, transfer.geodesic_areas(frame, [shapes.polygonal(part) for part in cut]).tolist()))


def area_rows(areas):
    """(head, rows) of the table for programs: one row an area, plain numbers, unknown as empty text."""
    head = ["area", "area_m2", "covered_m2", "covered_pct", "low_pct", "high_pct", "looks_min"]
    rows = []
    for i, label in enumerate(areas.labels("Area")):
        values = [float(areas.columns[name][i]) for name in head[1:]]
        rows.append([label, *("" if np.isnan(v) else round(v, 3) for v in values)])
    return head, rows


def coverage_page(layers, title, made):
    """The report as one HTML page.

    Parameters
    ----------
    layers : Layers
    title : str
    made : str
        When it was made, for the line under the title.
    """
    return pages.page(title, f"Side-scan coverage report, made {made}.", [
        pages.definition_list(_key_figures(layers)),
        pages.figure(drawing, _map_caption(layers)) if (drawing := _map(layers, title)) else "",
        _coverage(layers), _gaps(layers), _shore(layers), _passes(layers), _targets(layers),
        pages.section("Methods", pages.paragraph(methods_text(layers)), pages.paragraph(_reading_text())),
        pages.section("Settings and sources", report_tables.settings_table(layers.track, layers.swaths)),
    ])


def _totals(areas):
    """(area m2, seen %, low %, high %) over all areas, weighted by size."""
    size = areas.columns["area_m2"]
    total = float(np.nansum(size))
    shares = [float(np.nansum(size * areas.columns[k]) / total) if total else np.nan
              for k in ("covered_pct", "low_pct", "high_pct")]
    return (total, *shares)


def _key_figures(layers):
    figures = []
    if layers.areas is not None:
        total, seen, low, high = _totals(layers.areas)
        figures += [("Share of the area seen", number(seen, 1, "%"),
                     f"between {number(low, 1)} and {number(high, 1, '%')} for position error (95 %)"),
                    ("Area to be surveyed", number(total / 1e4, 2, "ha"), "")]
    if layers.gaps is not None:
        size = layers.gaps.columns["area_m2"]
        biggest = f"largest {number(np.nanmax(size), 0, 'm²')}" if len(size) else "none found"
        figures.append(("Gaps", number(len(size)), f"{number(np.nansum(size) / 1e4, 2, 'ha')} together, {biggest}"))
    if layers.shore is not None:
        status, length = layers.shore.columns["status"], layers.shore.columns["length_m"]
        missed, whole = float(np.nansum(length[status == "unscanned"])), float(np.nansum(length))
        figures.append(("Shore nobody scanned", number(missed, 0, "m"),
                        f"{number(100 * missed / whole if whole else np.nan, 1, '%')} of {number(whole, 0, 'm')}"))
    if layers.passes is not None:
        km = float(np.nansum(layers.passes.columns["length_m"])) / 1000
        figures.append(("Passes", number(len(layers.passes)), f"{number(km, 2, 'km')} run"))
    if layers.targets is not None:
        figures.append(("Targets", number(len(layers.targets)), _density(layers)))
    return figures


def _density(layers):
    if layers.areas is None or not len(layers.targets):
        return ""
    seen = float(np.nansum(layers.areas.columns["covered_m2"])) / 1e4
    return f"{number(len(layers.targets) / seen, 2)} per hectare surveyed" if seen else ""


def _map(layers, title):
    drawn = []

    def put(layer, name, ink, keep=None, labels=None):
        if layer is not None and len(layer):
            chosen = layer.geometries if keep is None else [g for g, k in zip(layer.geometries, keep) if k]
            drawn.append(MapLayer(name, ink, chosen, labels or []))

    put(layers.areas, "Area to be surveyed", Ink("#eef3f5", "#5b6f79", 1.5))
    put(layers.swaths, "Bottom seen", Ink("#9fc5d8", "none", 0, opacity=0.75))
    put(layers.gaps, "Gap", Ink("#e8a33d", "#7a4a00", 0.8))
    put(layers.passes, "Boat's track", Ink("none", "#3b4f59", 0.8, "5 3"))
    if layers.shore is not None:
        status = layers.shore.columns["status"]
        put(layers.shore, "Shore scanned", Ink("none", "#14232b", 2.5), status == "scanned")
        put(layers.shore, "Shore not scanned", Ink("none", "#b3261e", 3.5, "9 4"), status == "unscanned")
    if layers.targets is not None:
        drawn.append(MapLayer("Error ellipse", Ink("#efe6f5", "#5b2a86", 1.0, opacity=0.8), _outlines(layers)))
        put(layers.targets, "Target", Ink("#5b2a86", "#ffffff", 1.2, radius=5),
            labels=[f"{int(i)}" for i in layers.targets.columns["target_id"]])
    return mapsvg.draw_map(drawn, f"Map of {title}: bottom seen, gaps, shore and targets")


def _outlines(layers):
    """The targets' error ellipses in the frame; azimuths are turned from true to grid north."""
    columns = layers.targets.columns
    known = np.flatnonzero(np.isfinite(columns["semi_major_m"]) & [not g.is_empty for g in layers.targets.geometries])
    if not len(known):
        return []
    east, north = np.array([(g.x, g.y) for g in shapes.pick(layers.targets.geometries, known)]).T
    grid = columns["azimuth_deg"][known] - layers.frame.convergence(east, north)
    return shapes.polygons(ellipses.rings(east, north, columns["semi_major_m"][known], columns["semi_minor_m"][known],
                                          grid))


def _map_caption(layers):
    ending = "." if layers.targets is None else "; numbers are targets."
    return f"The survey drawn to scale, grid north up{ending}"


def _coverage(layers):
    if layers.areas is None:
        return ""
    parts = [report_tables.areas_table(layers.areas)]
    if layers.looks:
        total = _totals(layers.areas)[0]
        rows = [[f"{k} or more", number(m2 / 1e4, 2, "ha"), number(100 * m2 / total, 1, "%")] for k, m2 in layers.looks]
        parts.append(pages.table("Bottom seen by so many separate passes; both sides of a pass are one look.",
                                 ["Looks", "Area", "Share"], rows, (1, 2)))
    if layers.grades:
        total = _totals(layers.areas)[0]
        rows = [[words, number(m2 / 1e4, 2, "ha"), number(100 * m2 / total, 1, "%")] for words, m2 in layers.grades]
        parts.append(pages.table("What the looks are worth for an object of the size the map of bottom seen was made "
                                 "for; ground that was not seen, or lies off that map, is not listed.",
                                 ["Grade", "Area", "Share"], rows, (1, 2)))
    return pages.section("How much was seen", *parts)


def _gaps(layers):
    if layers.gaps is None:
        return ""
    if not len(layers.gaps):
        return pages.section("What was missed", pages.paragraph("No gap is larger than the limits asked for."))
    return pages.section("What was missed", _by_kind(layers.gaps), report_tables.gaps_table(layers.gaps, layers.lonlat))


_KINDS = {"hidden": "ground that nearer ground hides", "weak": "looked at, but an object could have been missed",
          "no bottom": "range setting shorter than the water is deep", "break": "the record or the position broke off",
          "nadir": "under the boat, between the two sides", "between": "between neighbouring passes",
          "edge": "along the edge of the area", "unvisited": "no pass came near"}


def _by_kind(gaps):
    kind, size = gaps.columns["kind"], gaps.columns["area_m2"]
    rows = [[word, meaning, number(int((kind == word).sum())), number(float(np.nansum(size[kind == word])), 0, "m²")]
            for word, meaning in _KINDS.items() if (kind == word).any()]
    return pages.table("Gaps by kind.", ["Kind", "What it means", "Number", "Area"], rows, (2, 3))


def _shore(layers):
    return "" if layers.shore is None else pages.section("The shore", report_tables.shore_table(layers.shore))


def _passes(layers):
    return "" if layers.passes is None else pages.section("The passes", report_tables.passes_table(layers.passes))


def _targets(layers):
    if layers.targets is None:
        return ""
    if not len(layers.targets):
        return pages.section("Targets", pages.paragraph("No target was located."))
    return pages.section("Targets", report_tables.targets_table(layers.targets, layers.lonlat))


def methods_text(layers):
    """A paragraph that can be pasted into a report, true to what the layers say."""
    said = ["Side-scan coverage was computed from the boat's track, the slant range in force and the water under the "
            "transducer."]
    if layers.track is not None:
        heading = layers.track.columns["heading_source"]
        by_compass = 100 * float(np.mean(heading == "compass")) if len(heading) else 0.0
        said.append(f"Heading came from a compass for {by_compass:.0f} % of the samples and from the course over "
                    "ground otherwise.")
    if layers.swaths is not None and len(layers.swaths):
        models = ", ".join(sorted({str(m) for m in layers.swaths.columns["range_model"]}))
        blind = float(np.nanmean(layers.swaths.columns["blind_deg"]))
        said.append(f"Ground range followed the '{models}' model; bottom within {blind:g} degrees of the vertical was "
                    "not counted as seen. Strips were never carried across a break of the record.")
    if layers.areas is not None:
        total, seen, low, high = _totals(layers.areas)
        said.append(f"Of {total / 1e4:.2f} ha, {seen:.1f} % was seen by at least one pass ({low:.1f} to {high:.1f} % "
                    "when every pass is narrowed or widened by 1.645 standard deviations of its error across track).")
    if layers.targets is not None and len(layers.targets):
        level = float(np.nanmedian(layers.targets.columns["confidence_pct"]))
        said.append(f"Targets are given with error ellipses at {level:g} % confidence from a budget of position, "
                    "timing, heading, range, depth, beam, sound speed and boat offsets.")
    return " ".join(said)


def _reading_text():
    return ("Seen means that sound reached the bottom there; it does not promise that an object would have been "
            "noticed. Areas and lengths are measured on the ground.")
