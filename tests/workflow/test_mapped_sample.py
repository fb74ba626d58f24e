"""The sample's record on the map: its objects within a cell and the simulator's own noise of where they truly lie."""
import csv
import math

import jobs
import numpy as np
from osgeo import gdal

CELL = 0.25


def table(name, key, **where):
    """{key: row} of a table of the truth."""
    with open(jobs.SAMPLE / "truth" / f"{name}.csv", encoding="utf-8") as file:
        return {row[key]: row for row in csv.DictReader(file)
                if all(row[field] == value for field, value in where.items())}


def test_objects_of_the_sample_lie_where_the_truth_says(run, tmp_path):
    boat = {name: float(row["value"]) for name, row in table("offsets", "name", outing="north").items()}
    noise = {name: float(row["value"]) for name, row in table("noise", "name").items()}
    fixes = run("readlogs", {"INPUT": [str(jobs.SAMPLE / "outing_north.nmea")], "OUTPUT": str(tmp_path / "f.gpkg")})
    track = run("preparetrack", {
        "INPUT": fixes["OUTPUT"], **jobs.BOAT, "LATENCY": boat["latency_s"], "MOUNT_ANGLE": boat["mount_deg"],
        "TRANSDUCER_FORWARD": boat["lever_forward_m"], "TRANSDUCER_STARBOARD": boat["lever_starboard_m"],
        "HEADING_OFFSET": -boat["compass_bias_deg"], "ASSUMED_SOUND_SPEED": 1500, "WATER_TEMPERATURE": 18.4,
        "TEMPERATURE_UNIT": "C", "OUTPUT": str(tmp_path / "t.gpkg")})
    with open(jobs.SAMPLE / "north_record_frame.csv", encoding="utf-8") as file:
        frame = {row["name"]: row["value"] for row in csv.DictReader(file)}
    made = run("georeferenceimage", {
        "IMAGE": [str(jobs.SAMPLE / "north_record.png")], "TRACK": track["OUTPUT"], "LAYOUT": "both", "NEWEST": "top",
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
