"""Tables of the coverage report: areas, gaps, shore, passes, targets, settings, each from its layer's columns."""
from __future__ import annotations

import numpy as np

from .pages import number, table

__all__ = ["areas_table", "gaps_table", "passes_table", "settings_table", "shore_table", "targets_table"]

MOST_ROWS = 25
POOR_PCT = 10.0
"""A pass is called poor where over a tenth of it breaks a rule (judgement, said in the table)."""


def areas_table(areas):
    """Coverage of each area with its bounds."""
    c = areas.columns
    rows = [[name, number(a / 1e4, 2, "ha"), number(p, 1, "%"), f"{number(lo, 1)} to {number(hi, 1, '%')}",
             number(k, 0)]
            for name, a, p, lo, hi, k in zip(areas.labels("Area"), c["area_m2"], c["covered_pct"], c["low_pct"],
                                             c["high_pct"], c["looks_min"])]
    return table("Share of each area seen. Low and high: every pass narrowed or widened by its 95 % position error.",
                 ["Area", "Size", "Seen", "Low to high", "Fewest looks"], rows, (1, 2, 3, 4))


def gaps_table(gaps, lonlat):
    """The largest gaps with the coordinates of a point inside each."""
    c = gaps.columns
    order = np.argsort(-np.nan_to_num(c["area_m2"]))[:MOST_ROWS]
    rows = []
    for i in order:
        lon, lat = lonlat(gaps.geometries[i].representative_point())
        rows.append([number(c["gap_id"][i]), str(c["kind"][i]), number(c["area_m2"][i], 0, "m²"),
                     number(c["width_m"][i], 1, "m"), number(c["length_m"][i], 0, "m"),
                     "yes" if c["certain"][i] else "may be closed", f"{lat:.6f}, {lon:.6f}"])
    left = len(gaps) - len(rows)
    caption = "Gaps by size; coordinates are latitude, longitude of a point inside."
    if left:
        caption += f" {left} smaller ones are in the layer."
    return table(caption, ["Gap", "Kind", "Area", "Widest", "Length", "Certain", "Where"], rows, (2, 3, 4))


def shore_table(shore):
    """Shore scanned and not."""
    status, length = shore.columns["status"], shore.columns["length_m"]
    total = float(np.nansum(length))
    rows = []
    for word in ("scanned", "unscanned"):
        part = float(np.nansum(length[status == word]))
        rows.append([word, number(int((status == word).sum())), number(part, 0, "m"),
                     number(100 * part / total if total else np.nan, 1, "%")])
    return table("Shoreline with swath within reach, and without.", ["Shore", "Stretches", "Length", "Share"], rows,
                 (1, 2, 3))


def passes_table(passes):
    """Passes with speed, depth band and, in words, why they are poor."""
    c = passes.columns
    rows = []
    for i in range(len(passes)):
        share = c["mean_depth_m"][i] / c["range_m"][i] * 100 if c["range_m"][i] else np.nan
        one = "" if np.isnan(c["pass_id"][i]) else f"{c['pass_id'][i]:.0f}"
        rows.append([f"{c['outing'][i]} {one}".strip(), number(c["length_m"][i], 0, "m"),
                     number(c["mean_speed_mps"][i], 2, "m/s"), number(c["range_m"][i], 1, "m"),
                     number(c["mean_depth_m"][i], 1, "m"), number(share, 0, "%"),
                     _why_poor(c["too_fast_pct"][i], c["off_band_pct"][i])])
    return table("Passes. Depth should lie between 8 and 20 % of the range (NOAA Field Procedures Manual 2014, 2.5.3); "
                 "too fast is under 3 pings a metre at half the highest ping rate the range allows.",
                 ["Pass", "Length", "Speed", "Range", "Depth", "Depth / range", "Remarks"], rows, (1, 2, 3, 4, 5))


def _why_poor(too_fast, off_band):
    words = []
    if too_fast > POOR_PCT:
        words.append(f"too fast in {too_fast:.0f} %")
    if off_band > POOR_PCT:
        words.append(f"depth outside the band in {off_band:.0f} %")
    return "; ".join(words) or "good"


def targets_table(targets, lonlat):
    """Targets with place, ellipse and what to mend first."""
    c = targets.columns
    rows = []
    for i in range(len(targets)):
        lon, lat = lonlat(targets.geometries[i])
        rows.append([f"{int(c['target_id'][i])} {c['label'][i]}".strip(), str(c["status"][i]), f"{lat:.6f}, {lon:.6f}",
                     f"{number(c['semi_major_m'][i], 1)} by {number(c['semi_minor_m'][i], 1, 'm')}",
                     number(c["azimuth_deg"][i], 0, "degrees"), number(c["confidence_pct"][i], 0, "%"),
                     str(c["main_cause"][i])])
    return table("Targets; the semi-axes of each ellipse hold at the confidence beside them.",
                 ["Target", "Status", "Where", "Semi-axes", "Azimuth", "Confidence", "Largest cause of error"], rows,
                 (3, 4, 5))


def settings_table(track, swaths):
    """What the layers say of how they were made."""
    rows = []
    if track is not None:
        c = track.columns
        rows += [["Heading from", _shares(c["heading_source"])], ["Depth from", _shares(c["depth_source"])],
                 ["Range in force", _values(c["range_m"], "m")],
                 ["True over displayed range", _values(c["range_ratio"], "", 4)],
                 ["Sound speed", _values(c["sound_speed_mps"], "m/s")],
                 ["Latency taken out", _values(c["latency_s"], "s", 2)],
                 ["Transducer forward of antenna", _values(c["lever_forward_m"], "m", 2)],
                 ["Transducer to starboard of antenna", _values(c["lever_starboard_m"], "m", 2)],
                 ["Mount angle", _values(c["mount_deg"], "degrees", 1)],
                 ["Samples not used", _shares(c["reject_reason"]) or "none"]]
    if swaths is not None:
        rows += [["Range model", _shares(swaths.columns["range_model"])],
                 ["Blind angle from the vertical", _values(swaths.columns["blind_deg"], "degrees")]]
    return table("Read from the layers themselves.", ["Setting", "Value"], rows)


def _shares(words):
    """'compass (92 %), course (8 %)'; blanks are left out."""
    words = np.array([str(w) for w in words if w], dtype=object)
    if not len(words):
        return ""
    found, counts = np.unique(words.astype(str), return_counts=True)
    order = np.argsort(-counts)
    return ", ".join(f"{found[i]} ({100 * counts[i] / len(words):.0f} %)" for i in order[:6])


def _values(values, unit, digits=1):
    """One value, a few, or a span."""
    values = np.asarray(values, float)
    values = np.unique(np.round(values[np.isfinite(values)], digits))
    if not len(values):
        return "not known"
    if len(values) <= 4:
        return ", ".join(number(v, digits) for v in values) + (f" {unit}" if unit else "")
    return f"{number(values[0], digits)} to {number(values[-1], digits)}" + (f" {unit}" if unit else "")
