"""The sample's record on the map and against the log: its objects within a cell and the simulator's own noise of where
they truly lie, its rows and range as the simulator drew them."""
import csv
import datetime
import math

import jobs
import numpy as np
import pytest
from osgeo import gdal

CELL = 0.25


def table(name, key, **where):
    """{key: row} of a table of the truth."""
    with open(jobs.SAMPLE / "truth" / f"{name}.csv", encoding="utf-8") as file:
        return {row[key]: row for row in csv.DictReader(file)
                if all(row[field] == value for field, value in where.items())}


@pytest.fixture(scope="module")
def boat():
    return {name: float(row["value"]) for name, row in table("offsets", "name", outing="north").items()}


@pytest.fixture(scope="module")
def track(provider, boat, tmp_path_factory):
    """Track of the outing with all that the simulator knows of the boat told."""
    import processing
    folder = tmp_path_factory.mktemp("track")

    def run(tool, parameters):
        return processing.run(f"athwart:{tool}", parameters)["OUTPUT"]
    fixes = run("readlogs", {"INPUT": [str(jobs.SAMPLE / "outing_north.nmea")], "OUTPUT": str(folder / "f.gpkg")})
    return run("preparetrack", {
        "INPUT": fixes, **jobs.BOAT, "LATENCY": boat["latency_s"], "MOUNT_ANGLE": boat["mount_deg"],
        "TRANSDUCER_FORWARD": boat["lever_forward_m"], "TRANSDUCER_STARBOARD": boat["lever_starboard_m"],
        "HEADING_OFFSET": -boat["compass_bias_deg"], "ASSUMED_SOUND_SPEED": 1500, "WATER_TEMPERATURE": 18.4,
        "TEMPERATURE_UNIT": "C", "OUTPUT": str(folder / "t.gpkg")})


@pytest.fixture(scope="module")
def frame():
    """How the picture shows the record."""
    with open(jobs.SAMPLE / "north_record_frame.csv", encoding="utf-8") as file:
        return {row["name"]: row["value"] for row in csv.DictReader(file)}


def test_objects_of_the_sample_lie_where_the_truth_says(run, tmp_path, boat, track, frame):
    noise = {name: float(row["value"]) for name, row in table("noise", "name").items()}
    made = run("georeferenceimage", {
        "IMAGE": [str(jobs.SAMPLE / "north_record.png")], "TRACK": track, "LAYOUT": "both", "NEWEST": "top",
        "FIRST_TIME": frame["first_time"], "LAST_TIME": frame["last_time"], "CELL_SIZE": CELL, "BOTTOM_FROM": "traced",
        "OUTPUT": str(tmp_path / "map.tif")})
    raster = gdal.Open(made["OUTPUT"])
    grey = np.frombuffer(raster.GetRasterBand(1).ReadRaster(), np.uint8).reshape(raster.RasterYSize, -1)
    x0, _, _, y0, _, _ = raster.GetGeoTransform()
    x, y = np.meshgrid(x0 + (np.arange(grey.shape[1]) + 0.5) * CELL, y0 - (np.arange(grey.shape[0]) + 0.5) * CELL)
    objects, looks = table("objects", "label"), table("looks", "label", outing="north", leg="line 208", hidden="0")
    assert set(looks) >= {"rowboat", "crib"}
    for label in ("rowboat", "crib"):
        thing, ground = objects[label], float(looks[label]["ground_m"])
        east = float(thing["easting"]) + boat["gnss_bias_east_m"]  # what no log can know
        north = float(thing["northing"]) + boat["gnss_bias_north_m"]
        sigma = math.hypot(noise["gnss_drift_m"], noise["gnss_jitter_m"],
                           ground * math.radians(noise["compass_deviation_deg"]))
        front = float(thing["width_m"]) / 2  # of a thing its near face is bright
        near = np.hypot(x - east, y - north) < CELL + 3 * sigma + front + 1
        bright = near & (grey >= np.percentile(grey[near], 97))
        off = math.hypot(x[bright].mean() - east, y[bright].mean() - north)
        assert off < CELL + 2.5 * sigma + front, label


def test_offsets_told_wrong_are_found_on_the_record_of_the_sample(run, track, frame):
    """The simulator's own marks of the bottom, with a clock, a rate and a range told wrong by known amounts: each comes
    back within 2.5 of its standard deviations."""
    first, last = (datetime.datetime.fromisoformat(frame[name].replace("Z", "+00:00")) for name in
                   ("first_time", "last_time"))
    long = (last - first).total_seconds()

    def check(late_s=0.0, drawn_out=1.0, scaled=1.0, newest="top"):
        middle = first + (last - first) / 2 + datetime.timedelta(seconds=late_s)
        half = datetime.timedelta(seconds=long * drawn_out / 2)
        return run("checkrecord", {
            "BOTTOM": str(jobs.SAMPLE / "north_record_points.csv"), "KIND_FIELD": "kind",
            "IMAGE": str(jobs.SAMPLE / "north_record.png"), "TRACK": track, "LAYOUT": "both", "NEWEST": newest,
            "EDGE_RANGE": 30 * scaled, "RANGE_UNIT": "m", "FIRST_TIME": (middle - half).isoformat(),
            "LAST_TIME": (middle + half).isoformat(), "OUTPUT": "memory:"})
    found = check(25.0, 1.04, 1.1)
    known = {"SHIFT": -25.0, "RATE": 1 / 1.04, "SCALE": 1 / 1.1}
    rows = {row["name"]: row for row in found["OUTPUT"].getFeatures()}
    for name, true in known.items():
        assert abs(found[name] - true) < 2.5 * rows[name.lower()]["sigma"] < 0.3 * max(abs(true), 1), name
    assert found["STATUS"] == "shifted" and rows["edge_range_m"]["value"] == pytest.approx(30, rel=0.02)
    assert abs(rows["first_time_s"]["value"] - first.timestamp()) < 2.5 * rows["first_time_s"]["sigma"]
    # and the picture as it is, but told upside down: rows and range are named right
    turned = check(newest="bottom")
    assert turned["STATUS"] == "reversed" and not any(row["differs"] for row in turned["OUTPUT"].getFeatures())
