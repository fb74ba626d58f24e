"""The figures of the demo, from its outputs and, for once, from the truth."""
from __future__ import annotations

import csv
import math
from dataclasses import dataclass

import numpy as np
from osgeo import gdal, ogr
from pyproj import Geod, Transformer

from . import chain

CHI2_95 = 5.991464547
"""95 % quantile of chi-square with two degrees of freedom, -2 ln 0.05."""


@dataclass(frozen=True)
class Found:
    """Targets against the truth: (n,) errors in metres, (n,) whether the true place is inside the 95 % ellipse."""

    error: np.ndarray
    inside: np.ndarray


def rows(database, name, wanted=None):
    """Attributes of a layer as dicts, all or those ``wanted``; points carry x and y."""
    store = ogr.Open(str(database))
    out = []
    for feature in store.GetLayerByName(name):
        row = feature.items() if wanted is None else {field: feature[field] for field in wanted}
        geometry = feature.GetGeometryRef()
        if geometry is not None and ogr.GT_Flatten(geometry.GetGeometryType()) == ogr.wkbPoint:
            row["x"], row["y"] = geometry.GetX(), geometry.GetY()
        out.append(row)
    return out


def true_places(sample):
    """{label: (lon, lat)} of the sample's objects."""
    with open(sample / "truth" / "objects.csv", encoding="utf-8", newline="") as file:
        return {row["label"]: (float(row["lon"]), float(row["lat"])) for row in csv.DictReader(file)}


def true_cover(sample):
    """{area: (percent really seen while the receiver was on, percent really seen)}."""
    with open(sample / "truth" / "coverage.csv", encoding="utf-8", newline="") as file:
        return {row["area"]: (float(row["placed_pct"]), float(row["covered_pct"])) for row in csv.DictReader(file)}


def against_truth(targets, places):
    """Compare targets (rows in EPSG:32619) with the known places."""
    to_degrees = Transformer.from_crs(32619, 4326, always_xy=True)
    errors, inside = [], []
    for row in targets:
        lon, lat = to_degrees.transform(row["x"], row["y"])
        azimuth, _, distance = Geod(ellps="WGS84").inv(lon, lat, *places[row["label"].lower()])
        off = distance * np.array([math.sin(math.radians(azimuth)), math.cos(math.radians(azimuth))])
        spread = np.array([[row["sigma_east_m"] ** 2, row["cov_en_m2"]], [row["cov_en_m2"], row["sigma_north_m"] ** 2]])
        errors.append(distance)
        inside.append(off @ np.linalg.solve(spread, off) <= CHI2_95)
    return Found(np.array(errors), np.array(inside))


def true_offsets(sample, outing):
    """{name: value} of what was true of a boat and of its day."""
    with open(sample / "truth" / "offsets.csv", encoding="utf-8", newline="") as file:
        return {row["name"]: float(row["value"]) for row in csv.DictReader(file) if row["outing"] == outing}


def bands_at(path, x, y):
    """{band: value} of a raster at a place in its CRS."""
    raster = gdal.Open(str(path))
    left, width, _, top, _, height = raster.GetGeoTransform()
    cell = int((x - left) // width), int((y - top) // height)
    return {band.GetDescription(): band.ReadAsArray(*cell, 1, 1).item()
            for band in (raster.GetRasterBand(k + 1) for k in range(raster.RasterCount))}


def figures(files):
    """(heading, text) of what was seen, missed and found."""
    return [("BOTTOM SEEN", _seen(files)), ("MISSED", _missed(files)), ("TARGETS", _placed(files))]


def audit_figures(files):
    """(heading, text) of the north outing judged with its shadows, by the true floor and by the map's contours."""
    return [("WITH SHADOWS", _audits(files))]


def return_figures(files):
    """(heading, text) of the object under the ledge, repeated looks made one place, offsets and the way back."""
    return [("THE LEDGE", _either_side(files)), ("COMBINED", _combined(files)), ("OFFSETS", _offsets(files)),
            ("CASTS", _casts(files))]


def _seen(files):
    truth, said = true_cover(files.sample), []
    for row in rows(files.database, "areas"):
        placed, swept = truth[row["name"]]
        said.append(f"{row['name']} {row['covered_pct']:.1f} %, {row['low_pct']:.1f} to {row['high_pct']:.1f} "
                    f"(truth {placed:.1f})")
        if swept > placed + 0.05:
            said.append(f"and {swept - placed:.1f} % swept with the receiver off")
    return "\n".join(said)


def _missed(files):
    gaps, shore = rows(files.database, "gaps"), rows(files.database, "shore")
    certain = sum(row["area_m2"] for row in gaps if row["certain"])
    said = [f"{len(gaps)} gaps, {sum(row['area_m2'] for row in gaps):,.0f} m², {certain:,.0f} of them certain"]
    if gaps:
        widest = max(gaps, key=lambda row: row["area_m2"])
        said.append(f"largest: {widest['area_m2']:,.0f} m², {widest['kind']}")
    length = {status: sum(row["length_m"] for row in shore if row["status"] == status)
              for status in ("scanned", "unscanned")}
    said.append(f"shore: {length['unscanned'] / 1000:.1f} of {sum(length.values()) / 1000:.1f} km not scanned")
    return "\n".join(said)


def _placed(files):
    targets = rows(files.database, "targets")
    found = against_truth(targets, true_places(files.sample))
    refused = len(rows(files.database, "rejected"))
    return (f"{len(targets)} placed; {refused} waypoints that are no picks left out\n"
            f"off the true place: median {np.median(found.error):.1f} m, worst {found.error.max():.1f} m\n"
            f"{found.inside.sum()} of {len(found.inside)} true places inside the 95 % ellipse")


def audit(files, floor):
    """What one audit of the north outing says: share seen (%), ground hidden and ground seen too poorly (m2)."""
    (area,) = rows(files.database, f"areas_{floor}")
    gaps = rows(files.database, f"gaps_{floor}")
    hidden, weak = (sum(row["area_m2"] for row in gaps if row["kind"] == kind) for kind in ("hidden", "weak"))
    return area["covered_pct"], hidden, weak


def _audits(files):
    said, found = ["North basin, where an object of 1 m would show:"], {}
    for floor, words in chain.FLOORS.items():
        found[floor] = seen, hidden, weak = audit(files, floor)
        said.append(f"{words}: {seen:.1f} % seen, {hidden:,.0f} m² hidden, {weak:,.0f} m² weak")
    true, drawn = (found[floor] for floor in ("grid", "contours"))
    said.append(f"the contours err by {drawn[0] - true[0]:+.2f} % seen, {drawn[1] - true[1]:+,.0f} m² hidden")
    return "\n".join(said)


def _either_side(files):
    """What the rasters of single passes say of the object at the foot of the ledge, at its true place."""
    to_grid = Transformer.from_crs(4326, 32619, always_xy=True)
    place = to_grid.transform(*true_places(files.sample)[chain.LEDGE])
    said = []
    for look in chain.looks_at(files, chain.LEDGE):
        there = bands_at(files.folder / f"seen_pass_{look['pass_id']}.tif", *place)
        what = "hidden" if there["hidden"] == 1 else "seen" if there["looks"] > 0 else "not reached"
        said.append(f"pass {look['pass_id']} {what} (truth {'hidden' if look['hidden'] else 'seen'})")
    return f"{chain.LEDGE} under the ledge: {', '.join(said)}"


def _combined(files):
    places = true_places(files.sample)
    before, after = (against_truth(rows(files.database, name), places) for name in ("targets", "combined"))
    bias = {outing: math.hypot(*(true_offsets(files.sample, outing)[f"gnss_bias_{way}_m"] for way in ("east", "north")))
            for outing in chain.OUTINGS}
    return (f"{len(after.error)} objects of {len(before.error)} looks\n"
            f"off the true place: median {np.median(before.error):.2f} m before, {np.median(after.error):.2f} m after; "
            f"worst {before.error.max():.1f} m before, {after.error.max():.1f} m after\n"
            f"what no look tells stays: the receiver's bias of the day, {bias['north']:.1f} m north, "
            f"{bias['south']:.1f} m south")


def _offsets(files):
    solved = {row["name"]: row for row in rows(files.database, "offsets")}
    truth = true_offsets(files.sample, "north")
    truth["mount_deg"] -= truth["compass_bias_deg"]  # one unknown: what the compass adds, the mount seems to lack
    return "\n".join(f"{words} {row['value']:.2f} ± {row['sigma']:.2f} {unit}, {row['applied']:g} before "
                     f"(truth {truth[name]:.2f})"
                     for name, words, unit in (("latency_s", "latency", "s"), ("mount_deg", "beam azimuth", "degrees"))
                     for row in [solved[name]])


def _casts(files):
    casts = rows(files.database, "casts")
    needed = sorted({row["target_id"]: row["casts_needed"] for row in casts}.values(),
                    key=lambda count: math.inf if count is None else count)
    return (f"{len(needed)} objects from {len(rows(files.database, 'stations'))} stations 15 m to windward\n"
            f"for 90 % within 3 m: {needed[0]} casts at the easiest, {needed[len(needed) // 2]} in the middle, "
            f"{needed[-1] or 'over 50'} at the hardest")
