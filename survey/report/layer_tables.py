"""Tables of the coverage report: areas, gaps, shore, passes, targets, settings, each from its layer's columns."""
from __future__ import annotations

import numpy as np

from ..model.depthwords import depth_words
from .figures import METRES
from .pages import number, table
from .words import ALL_AT_ONCE, between, passes_asked

__all__ = ["areas_table", "gaps_table", "listed_gaps", "passes_table", "settings_table", "shore_table", "targets_table"]

MOST_ROWS = 40
"""Gaps told one by one, and numbered on the map."""

NADIR = "nadir"
POOR_PCT = 10.0
"""A pass is called poor where over a tenth of it breaks a rule (judgement, said in the table)."""


def areas_table(areas, whole, units=METRES):
    """Coverage of each area with its interval; ``whole`` is the Totals of all."""
    size, seen, low, high, fewest, expected, worst, best = (areas.numbers(name) for name in (
        "area_m2", "covered_pct", "low_pct", "high_pct", "looks_min", "expected_pct", "worst_pct", "best_pct"))
    rows = []
    for i, name in enumerate(areas.labels("Area")):
        row = [name, units.ground(size[i]), number(seen[i], 1, "%"), between(low[i], high[i])]
        if whole.drawn:
            row += [number(expected[i], 1, "%"), between(worst[i], best[i])]
        rows.append([*row, number(fewest[i])])
    heads = ["Area", "Size", "Seen"]
    seen_by = f"Share of each area seen by {passes_asked(whole.looks)}"
    if whole.drawn:
        heads += ["95 % interval", "Expected", "Worst to best", "Fewest looks"]
        caption = (f"{seen_by}. The interval is that of the share itself, over draws of all errors; expected is their "
                   f"mean. Worst and best: {ALL_AT_ONCE}.")
    else:
        heads += ["Low to high", "Fewest looks"]
        caption = f"{seen_by}. Low and high: {ALL_AT_ONCE}."
    return table(caption, heads, rows, range(1, len(heads)))


def listed_gaps(gaps):
    """Rows of the gaps that are told one by one, by size: all but the strips under the boat, as many as are read.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> from shapely.geometry import box
    >>> from athwart.report.layer_tables import listed_gaps
    >>> columns = {"kind": ["nadir", "edge", "edge"], "area_m2": np.array([9.0, 1.0, 4.0])}
    >>> listed_gaps(athwart.ReportLayer("gaps", columns, [box(0, 0, 1, 1)] * 3)).tolist()
    [2, 1]
    """
    order = np.argsort(-np.nan_to_num(gaps.numbers("area_m2")), kind="stable")
    return order[gaps.words("kind")[order] != NADIR][:MOST_ROWS]


def gaps_table(gaps, lonlat, units=METRES):
    """The largest gaps with the coordinates of a point inside each; the strips under the boat are one line."""
    c, drawn = gaps.columns, gaps.has("certain_m2")
    size, still, open_pct = (gaps.numbers(name) for name in ("area_m2", "certain_m2", "open_pct"))
    chosen, under = listed_gaps(gaps), gaps.words("kind") == NADIR
    rows = []
    for i in chosen:
        row = [number(gaps.numbers("gap_id")[i]), str(c["kind"][i]), units.area(size[i]),
               units.length(gaps.numbers("width_m")[i], 1), units.length(gaps.numbers("length_m")[i])]
        if drawn:
            row += [number(open_pct[i], 0, "%"), units.area(still[i])]
        rows.append([*row, "yes" if c["certain"][i] else "may be closed", _where(gaps.geometries[i], lonlat)])
    if under.any():
        wide = gaps.numbers("width_m")[under]
        row = [f"{number(int(under.sum()))} strip{'s' if under.sum() > 1 else ''}", NADIR,
               units.area(float(np.nansum(size[under]))),
               units.length(np.nanmax(wide) if np.isfinite(wide).any() else np.nan, 1),
               units.length(float(np.nansum(gaps.numbers("length_m")[under])))]
        if drawn:
            row += ["", units.area(float(np.nansum(still[under])) if np.isfinite(still[under]).any() else np.nan)]
        rows.append([*row, f"{number(int(np.asarray(c['certain'], bool)[under].sum()))} of "
                           f"{number(int(under.sum()))}", "under the boat's track"])
    left = int((~under).sum()) - len(chosen)
    caption = ("Gaps by size, numbered as on the map; coordinates are latitude, longitude of a point inside. The "
               "strips under the boat are one line: they come with every pass, and passes beside them close them.")
    if drawn:
        caption += (" Open: in what share of the draws the gap stays open. Certain ground is unseen in at least 95 % "
                    "of them; a gap is certain if that is at least half of it.")
    if left > 0:
        caption += f" {left} smaller ones are in the layer and in the table for spreadsheets."
    heads = ["Gap", "Kind", "Area", "Widest", "Length", *(["Open", "Certain ground"] if drawn else []), "Certain",
             "Where"]
    return table(caption, heads, rows, range(2, len(heads) - 2), (len(heads) - 1,))


def _where(geometry, lonlat):
    """'latitude, longitude' of a point of a shape."""
    if geometry.is_empty:
        return "no place"
    lon, lat = lonlat(geometry.representative_point())
    return f"{lat:.6f}, {lon:.6f}"


def shore_table(shore, units=METRES):
    """Shore scanned and not."""
    status, length = shore.columns["status"], shore.columns["length_m"]
    total = float(np.nansum(length))
    rows = []
    for word in ("scanned", "unscanned"):
        part = float(np.nansum(length[status == word]))
        rows.append([word, number(int((status == word).sum())), units.length(part),
                     number(100 * part / total if total else np.nan, 1, "%")])
    return table("Shoreline with swath within reach, and without.", ["Shore", "Stretches", "Length", "Share"], rows,
                 (1, 2, 3))


def passes_table(passes, units=METRES):
    """Passes with speed, depth band and, in words, why they are poor."""
    c = {name: passes.numbers(name) for name in passes.columns if name != "outing"}
    c["outing"] = passes.words("outing")
    rows = []
    for i in range(len(passes)):
        share = c["mean_depth_m"][i] / c["range_m"][i] * 100 if c["range_m"][i] else np.nan
        one = "" if np.isnan(c["pass_id"][i]) else f"{c['pass_id'][i]:.0f}"
        rows.append([f"{c['outing'][i]} {one}".strip(), units.length(c["length_m"][i]),
                     units.speed(c["mean_speed_mps"][i]), units.length(c["range_m"][i], 1),
                     units.length(c["mean_depth_m"][i], 1), number(share, 0, "%"), _remark(c["too_fast_pct"][i])])
    return table(f"Passes. Too fast is under 3 pings {'a metre' if units.metric else 'in 3.3 ft'} at half the highest "
                 "ping rate the range allows.",
                 ["Pass", "Length", "Speed", "Range", "Depth", "Depth / range", "Remarks"], rows, (1, 2, 3, 4, 5))


def _remark(too_fast):
    return f"too fast in {too_fast:.0f} %" if too_fast > POOR_PCT else "good"


def targets_table(targets, lonlat, units=METRES):
    """Targets with place, ellipse, depth and what to mend first."""
    major, minor, azimuth, confidence, number_, bottom, boat = (targets.numbers(name) for name in (
        "semi_major_m", "semi_minor_m", "azimuth_deg", "confidence_pct", "target_id", "bottom_m", "depth_m"))
    label, status, cause = (targets.words(name) for name in ("label", "status", "main_cause"))
    height, looks, least = targets.numbers("height_m"), targets.numbers("looks"), targets.words("height_at_least")
    levels = np.unique(confidence[np.isfinite(confidence)])
    shared, rows = len(levels) == 1, []
    for i in range(len(targets)):
        known = np.isfinite(major[i])
        rows.append([f"{number(number_[i], missing='')} {label[i]}".strip(), status[i],
                     _where(targets.geometries[i], lonlat),
                     f"{units.length(major[i], 1, False)} by {units.length(minor[i], 1)}, {number(azimuth[i])}°"
                     if known else "unknown", *([] if shared else [number(confidence[i], 0, "%")]),
                     depth_words(bottom[i], boat[i], units.unit, units.unit_m, units.digits(1), True) or "unknown",
                     f"{'at least ' if least[i] == 'True' else ''}{units.length(height[i], 1)}"
                     if np.isfinite(height[i]) else "", number(looks[i], missing="1"), cause[i]])
    level = f"{number(levels[0], 0, '%')} ellipse" if shared else "Ellipse"
    return table("Targets. Ellipse: its semi-axes, at the confidence beside them, and the azimuth of the longer one. "
                 "Depth: of the bottom at the target where a depth grid knows it, else of the water under the boat "
                 "when it was seen; both are rounded down. Height: above the bottom, from the shadow.",
                 ["Target", "Status", "Where", level, *([] if shared else ["Confidence"]), "Depth", "Height", "Looks",
                  "Largest error"], rows, (3, 5, 6) if shared else (3, 4, 6, 7))


def settings_table(track, swaths, whole=None, units=METRES):
    """What the layers say of how they were made."""
    rows = []
    if track is not None:
        c = track.columns
        rows += [["Heading from", _shares(c["heading_source"])], ["Depth from", _shares(c["depth_source"])],
                 ["Range in force", _lengths(c["range_m"], units, 1)],
                 ["True over displayed range", _values(c["range_ratio"], "", 4)],
                 ["Sound speed", _lengths(c["sound_speed_mps"], units, 1, "/s")],
                 ["Latency taken out", _values(c["latency_s"], "s", 2)],
                 ["Transducer forward of antenna", _lengths(c["lever_forward_m"], units, 2)],
                 ["Transducer to starboard of antenna", _lengths(c["lever_starboard_m"], units, 2)],
                 ["Mount angle", _values(c["mount_deg"], "degrees", 1)],
                 ["Samples not used", _unused(track)]]
    if swaths is not None:
        rows += [["Range model", _shares(swaths.columns["range_model"])],
                 ["Sides", _shares(swaths.words("side")) or "unknown"],
                 ["Part of the range counted", _values(swaths.numbers("range_used_pct"), "%")],
                 ["Blind angle from the vertical", _values(swaths.columns["blind_deg"], "degrees")]]
    if whole is not None:
        rows += [["Looks asked for", number(whole.looks) if whole.looks else "unknown"],
                 ["What counts as a look", whole.grade or "unknown"]]
    return table("Read from the layers themselves.", ["Setting", "Value"], rows)


def _unused(track):
    """'3 of 1200 (0.2 %): too slow (67 %), turn (33 %)'."""
    usable = np.asarray(track.columns["usable"], bool)
    unused, all_ = int((~usable).sum()), len(track)
    if not all_:
        return "no samples"
    said = f"{number(unused)} of {number(all_)} ({number(100 * unused / all_, 1, '%')})"
    reasons = _shares(np.where(usable, "", track.words("reject_reason")))
    return f"{said}: {reasons}" if reasons else said


def _shares(words):
    """'compass (92 %), course (8 %)'; blanks are left out."""
    words = np.array([str(w) for w in words if w], dtype=object)
    if not len(words):
        return ""
    found, counts = np.unique(words.astype(str), return_counts=True)
    order = np.argsort(-counts)
    shares = [100 * count / len(words) for count in counts]
    return ", ".join(f"{found[i]} ({f'{shares[i]:.0f}' if shares[i] >= 0.5 else 'under 1'} %)" for i in order[:6])


def _lengths(metres, units, digits, each=""):
    return _values(np.asarray(metres, float) / units.unit_m, units.unit + each, units.digits(digits))


def _values(values, unit, digits=1):
    """One value, a few, or a span."""
    values = np.asarray(values, float)
    values = np.unique(np.round(values[np.isfinite(values)], digits))
    if not len(values):
        return "unknown"
    if len(values) <= 4:
        return ", ".join(number(v, digits) for v in values) + (f" {unit}" if unit else "")
    return f"{number(values[0], digits)} to {number(values[-1], digits)}" + (f" {unit}" if unit else "")
