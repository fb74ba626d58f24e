"""The coverage report: one page for people, one table for programs, from the layers the tools made."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..model import spreadsheets
from . import layer_tables, pages, survey_map
from . import words as report_words
from .layers import Layers, ReportLayer, grades_inside, looks_inside, seen_levels
from .next_steps import next_steps
from .pages import NO_BREAK, number
from .range_help import range_help
from .record import record_section
from .totals import density, totals
from .words import between, passes_asked

if TYPE_CHECKING:
    from .figures import Figures

__all__ = ["Layers", "ReportLayer", "area_rows", "coverage_page", "doubts", "grades_inside", "looks_inside",
           "seen_levels"]

_HEAD = ("area", "area_m2", "covered_m2", "covered_pct", "low_pct", "high_pct", "looks_min", "worst_pct", "best_pct",
         "expected_pct", "looks_asked", "grade")


def area_rows(areas):
    """(head, rows) of the table for programs: one row an area, plain numbers, unknown as empty text.

    Names that begin like a formula are kept from being one.

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.report.coverage_report import area_rows
    >>> import athwart
    >>> known = {"name": ["North basin"], "area_m2": np.array([100.0])}
    >>> areas = athwart.ReportLayer("areas", known, [box(0, 0, 10, 10)])
    >>> head, rows = area_rows(areas)
    >>> head[:2], rows[0][:2]
    (['area', 'area_m2'], ['North basin', 100.0])
    """
    rows = []
    for i, label in enumerate(areas.labels("Area")):
        values = [areas.numbers(name)[i] for name in _HEAD[1:-1]]
        rows.append([spreadsheets.cell(label), *("" if np.isnan(v) else round(float(v), 3) for v in values),
                     spreadsheets.cell(areas.words("grade")[i])])
    return list(_HEAD), rows


class _Figures:
    """The layers with what is worked out of them once: totals of the areas, density of the targets."""

    def __init__(self, layers):
        self.whole = totals(layers) if layers.areas is not None and len(layers.areas) else None
        self.density = density(layers, self.whole) if self.whole is not None and layers.targets is not None else None


def doubts(layers):
    """Sentences on what is doubtful or left out; they stand in the page, too.

    Examples
    --------
    >>> from athwart.report.coverage_report import Layers, doubts
    >>> from athwart.report.coverage_report import doubts
    >>> doubts(Layers(None))
    []
    """
    figures = _Figures(layers)
    return report_words.doubts(layers, figures.whole, figures.density)


def coverage_page(layers, title, made_on, worded=str, record=None):
    """The report as one HTML page.

    Parameters
    ----------
    layers : Layers
    title : str
    made_on : str
        When it was made, for the line under the title.
    worded : callable, optional
        Puts a Message into the words of whoever reads the page; as it is, it speaks of functions of this package.
    record : dict, optional
        Who, with what, in what weather; see ``record.record_section``.

    Examples
    --------
    >>> from athwart.report.coverage_report import Layers, coverage_page
    >>> "North bay" in coverage_page(Layers(None), "North bay", "2024-06-15 12:00 UTC")
    True
    """
    figures = _Figures(layers)
    whole, density = figures.whole, figures.density
    doubtful = report_words.doubts(layers, whole, density)
    when = report_words.dates(layers)
    lead = f"Side-scan coverage report{f' of {when}' if when else ''}. Made {made_on.replace('-', NO_BREAK)}."
    drawing, legend = survey_map.report_map(layers, title)
    return pages.page(title, lead, [
        pages.definition_list(_key_figures(layers, whole, density)),
        pages.figure(drawing, survey_map.caption(layers), legend) if drawing else "",
        _next(layers), record_section(layers, record),
        pages.section("What is doubtful", pages.bullets(map(worded, doubtful))) if doubtful else "",
        _coverage(layers, whole), _gaps(layers, whole), _shore(layers), _passes(layers), _targets(layers, density),
        pages.section("Methods", pages.paragraph(report_words.methods_text(layers, whole, density)),
                      pages.paragraph(_reading_text())),
        pages.section("Settings and sources", layer_tables.settings_table(layers.track, layers.swaths, whole,
                                                                        layers.units)),
    ])


def _next(layers):
    steps = next_steps(layers)
    return pages.section("What to do next", pages.bullets(steps)) if steps else ""


def _key_figures(layers, whole, density):
    figures, units = [], layers.units
    if whole is not None:
        kind = "95 % interval" if whole.drawn else "every edge moved at once:"
        seen_by = f"by {passes_asked(whole.looks)}; " if whole.looks > 1 else ""
        figures += [("Share of the area seen", number(whole.seen_pct, 1, "%"),
                     f"{seen_by}{kind} {between(whole.low_pct, whole.high_pct)}"),
                    ("Area to be surveyed", units.ground(whole.area_m2),
                     f"{units.ground(whole.seen_m2)} of it seen")]
    if layers.gaps is not None:
        figures.append(_gaps_to_run(layers.gaps, units))
    if layers.shore is not None:
        status, length = layers.shore.words("status"), layers.shore.numbers("length_m")
        missed, all_ = float(np.nansum(length[status == "unscanned"])), float(np.nansum(length))
        figures.append(("Shore nobody scanned", units.length(missed),
                        f"{number(100 * missed / all_ if all_ else np.nan, 1, '%')} of {units.length(all_)}"))
    if layers.passes is not None:
        run = float(np.nansum(layers.passes.numbers("length_m")))
        figures.append(("Passes", number(len(layers.passes)), f"{units.way(run)} run"))
    if layers.targets is not None:
        figures.append(("Targets", number(len(layers.targets)), _density(density, units)))
    return figures


def _gaps_to_run(gaps: ReportLayer, units: Figures) -> tuple[str, str, str]:
    """Certain gaps; those that may be closed, and the strips that come with every pass, are told beside them."""
    size, under = np.nan_to_num(gaps.numbers("area_m2")), gaps.words("kind") == layer_tables.NADIR
    sure = np.asarray(gaps.columns["certain"], bool)
    run, maybe, strips = size[~under & sure], int((~under & ~sure).sum()), int(under.sum())
    told = [f"{units.area(run.sum())} together, largest {units.area(run.max())}"] if len(run) else []
    told += [f"{number(maybe)} more may be closed"] if maybe else []
    told += [f"{number(strips)} strip{'s' if strips > 1 else ''} under the boat"] if strips else []
    return "Gaps to run", number(len(run)), "; ".join(told) or "none found"


def _density(density, units):
    if density is None or not np.isfinite(density.per_ha):
        return ""
    what = "" if density.combined else "single looks: "
    return (f"{what}{number(density.inside)} on the bottom inside, {units.per_ground(density.per_ha)} per "
            f"{units.ground_word} seen, 95\u00a0% interval {units.per_ground(density.low)} to "
            f"{units.per_ground(density.high)}")


def _coverage(layers, whole):
    if layers.areas is None:
        return ""
    if whole is None:
        return pages.section("How much was seen", pages.paragraph("The layer of areas holds no area."))
    parts = [layer_tables.areas_table(layers.areas, whole, layers.units)]
    if layers.looks:
        caption = "Bottom seen by so many separate passes; both sides of a pass are one look."
        size = whole.area_m2
        if whole.excluded:
            caption, size = f"{caption} Ground that was excluded from the areas is not shown by itself here.", np.nan
        rows = [[f"{k} or more", layers.units.ground(m2), number(100 * m2 / size, 1, "%")] for k, m2 in layers.looks]
        parts.append(pages.table(caption, ["Looks", "Area", "Share"], rows, (1, 2)))
    if layers.grades:
        rows = [[words, layers.units.ground(m2), number(100 * m2 / whole.area_m2, 1, "%")]
                for words, m2 in layers.grades]
        parts.append(pages.table("What the looks are worth for an object of the size the map of bottom seen was made "
                                 "for; ground that was not seen, or lies off that map, is not listed.",
                                 ["Grade", "Area", "Share"], rows, (1, 2)))
    return pages.section("How much was seen", *parts)


def _gaps(layers, whole):
    if layers.gaps is None:
        return ""
    if not len(layers.gaps):
        return pages.section("What was missed", pages.paragraph("No gap is larger than the limits asked for."),
                             _by_kind(layers.gaps, whole, layers.units))
    return pages.section("What was missed", _by_kind(layers.gaps, whole, layers.units),
                         layer_tables.gaps_table(layers.gaps, layers.lonlat, layers.units))


_KINDS = {"hidden": "ground that nearer ground hides", "weak": "looked at, but an object could have been missed",
          "no bottom": "range setting shorter than the water is deep", "break": "the record or the position broke off",
          "nadir": "under the boat, between the two sides", "between": "between neighbouring passes",
          "edge": "along the edge of the area", "unvisited": "no pass came near"}


def _by_kind(gaps, whole, units):
    """Gaps by kind, then what is too narrow or too small to be listed, then all that was missed: a closed sum."""
    kind, size = gaps.words("kind"), gaps.numbers("area_m2")
    rows = [[word or "unknown", _KINDS.get(word, ""), number(int((kind == word).sum())),
             units.area(float(np.nansum(size[kind == word])))]
            for word in [*_KINDS, *sorted(set(kind) - set(_KINDS))] if (kind == word).any()]
    listed, missed = float(np.nansum(size)), np.nan if whole is None else whole.area_m2 - whole.seen_m2
    if listed <= missed + 0.5:
        rows += [["not listed", "narrower or smaller than the limits asked for", "",
                  units.area(max(0.0, missed - listed))],
                 ["all", "missed in all", number(len(gaps)), units.area(missed)]]
    else:
        rows.append(["all", "gaps in all", number(len(gaps)), units.area(listed)])
    return pages.table("Gaps by kind.", ["Kind", "What it means", "Number", "Area"], rows, (2, 3))


def _shore(layers):
    if layers.shore is None:
        return ""
    return pages.section("The shore", layer_tables.shore_table(layers.shore, layers.units))


def _passes(layers):
    if layers.passes is None:
        return ""
    if not len(layers.passes):
        return pages.section("The passes", pages.paragraph("The layer of passes holds none."))
    return pages.section("The passes", layer_tables.passes_table(layers.passes, layers.units),
                         *_pass_help(layers))


def _pass_help(layers):
    help_ = range_help(layers.passes, layers.units)
    return [pages.paragraph(help_)] if help_ else []


def _targets(layers, density):
    if layers.targets is None:
        return ""
    if not len(layers.targets):
        where = "" if density is None or not np.isfinite(density.high) else (
            f" On {layers.units.ground(density.seen_m2)} seen that leaves room for up to "
            f"{layers.units.per_ground(density.high)} {'a' if layers.units.metric else 'an'} "
            f"{layers.units.ground_word} (95 % interval, Poisson), provided that an object would have been noticed.")
        return pages.section("Targets", pages.paragraph(f"No target was located.{where}"))
    return pages.section("Targets", layer_tables.targets_table(layers.targets, layers.lonlat, layers.units))


def _reading_text():
    return ("Seen means that sound reached the bottom there; it does not promise that an object would have been "
            "noticed. Areas and lengths are measured on the ground.")
