"""The figures of the demo, from its outputs and, for once, from the truth."""
from __future__ import annotations

import csv
import math
from dataclasses import dataclass

import numpy as np
from osgeo import ogr
from pyproj import Geod, Transformer

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
    """{area: percent really seen}."""
    with open(sample / "truth" / "coverage.csv", encoding="utf-8", newline="") as file:
        return {row["area"]: float(row["covered_pct"]) for row in csv.DictReader(file)}


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


def figures(files):
    """(heading, text) of what was seen, missed and found."""
    database = files.database
    truth = true_cover(files.sample)
    seen = [f"{row['name']} {row['covered_pct']:.0f} %, between {row['low_pct']:.0f} and {row['high_pct']:.0f} "
            f"(truth {truth[row['name']]:.0f})" for row in rows(database, "areas")]
    gaps, shore = rows(database, "gaps"), rows(database, "shore")
    certain = sum(row["area_m2"] for row in gaps if row["certain"])
    missed = [f"{len(gaps)} gaps, {sum(row['area_m2'] for row in gaps):,.0f} m², {certain:,.0f} of them certain"]
    if gaps:
        widest = max(gaps, key=lambda row: row["area_m2"])
        missed.append(f"largest: {widest['area_m2']:,.0f} m², {widest['kind']}")
    length = {status: sum(row["length_m"] for row in shore if row["status"] == status)
              for status in ("scanned", "unscanned")}
    missed.append(f"shore: {length['unscanned'] / 1000:.1f} of {sum(length.values()) / 1000:.1f} km not scanned")
    targets = rows(database, "targets")
    found = against_truth(targets, true_places(files.sample))
    refused = len(rows(database, "rejected"))
    placed = [f"{len(targets)} placed; {refused} waypoints that are no picks left out",
              f"off the true place: median {np.median(found.error):.1f} m, worst {found.error.max():.1f} m",
              f"{found.inside.sum()} of {len(found.inside)} true places inside the 95 % ellipse"]
    return [("BOTTOM SEEN", "\n".join(seen)), ("MISSED", "\n".join(missed)), ("TARGETS", "\n".join(placed))]
