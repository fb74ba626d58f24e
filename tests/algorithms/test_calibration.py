"""A boat is calibrated once: the sample's north outing, its offsets solved from repeated looks and put back.

The sample's simulator shares no code with the tools; what nobody aboard knew stands in sample_project/truth.
"""
import csv

import numpy as np
import pytest
from qgis.core import QgsProcessingFeedback, QgsVectorLayer

STATED = {"TRANSDUCER_FORWARD": -1.5, "TRANSDUCER_STARBOARD": 0.3, "LATENCY": 0.5}


@pytest.fixture
def sample(root):
    return root / "sample_project"


def truth(sample, name):
    with open(sample / "truth" / "offsets.csv", encoding="utf-8") as file:
        return next(float(row["value"]) for row in csv.DictReader(file)
                    if row["outing"] == "north" and row["name"] == name)


def true_places(sample):
    with open(sample / "truth" / "objects.csv", encoding="utf-8") as file:
        return {row["label"]: (float(row["easting"]), float(row["northing"])) for row in csv.DictReader(file)}


@pytest.fixture
def fixes(run, sample):
    """The fixes of the north outing."""
    return run("readlogs", {"INPUT": [str(sample / "outing_north.nmea")], "OUTPUT": "memory:"})["OUTPUT"]


def prepared(run, sample, fixes, offsets=None):
    """The track, with the offsets of a table in place of what the crew states."""
    return run("preparetrack", {
        "INPUT": fixes, "OUTING": "north", "RANGE_UNIT": "m", "SETTINGS": str(sample / "north_settings.csv"),
        "DEPTH_FIELD": "depth_m", "DEPTH_UNIT": "m", "DEPTH_REFERENCE": "transducer", "HEADING_FIELD": "heading_deg",
        "HEADING_KIND": "true", "ASSUMED_SOUND_SPEED": 1500, "WATER_TEMPERATURE": 18.4, "TEMPERATURE_UNIT": "C",
        **STATED, **({"OFFSETS": offsets} if offsets is not None else {}), "OUTPUT": "memory:"})["OUTPUT"]


def located(run, sample, fixes, offsets=None, **sigmas):
    """The north outing's targets."""
    return run("locatetargets", {
        "PICKS": str(sample / "north_picks.csv"), "TRACK": prepared(run, sample, fixes, offsets),
        "TIME_FIELD": "time", "SIDE_FIELD": "side", "RANGE_FIELD": "slant_m", "RANGE_UNIT": "m",
        "DEPTH_FIELD": "depth_m", "DEPTH_UNIT": "m", "SHADOW_START_FIELD": "shadow_start_m",
        "SHADOW_FIELD": "shadow_end_m", "LABEL_FIELD": "label", **sigmas,
        "OUTPUT": "memory:"})["OUTPUT"]


def combined(run, targets, *solve, feedback=None):
    return run("adjusttargets", {"TARGETS": targets, "GROUP_FIELD": "label", "SOLVE": list(solve), "OUTPUT": "memory:",
                                 "OFFSETS": "memory:"}, feedback)


def places(layer):
    return {f["label"]: np.array([f.geometry().asPoint().x(), f.geometry().asPoint().y()]) for f in layer.getFeatures()}


def test_solved_offsets_are_the_boats_and_reproduce_the_places(run, sample, fixes):
    targets = located(run, sample, fixes)
    results = combined(run, targets, "latency", "beam azimuth")
    solved = {f["name"]: (f["value"], f["sigma"], f["applied"]) for f in results["OFFSETS"].getFeatures()}
    true = {"latency_s": truth(sample, "latency_s"),
            "mount_deg": truth(sample, "mount_deg") + truth(sample, "compass_bias_deg")}
    assert set(solved) == set(true)
    for name, (value, sigma, _) in solved.items():
        assert abs(value - true[name]) < 2.5 * sigma, (name, value, sigma)
    assert solved["latency_s"][2] == 0.5 and solved["latency_s"][1] < 0.4
    assert results["CHI2"] < results["CHI2_HIGH"]

    known = true_places(sample)
    found = places(results["OUTPUT"])
    for feature in results["OUTPUT"].getFeatures():
        off = found[feature["label"]] - known[feature["label"]]
        cov = np.array([[feature["sigma_east_m"] ** 2, feature["cov_en_m2"]],
                        [feature["cov_en_m2"], feature["sigma_north_m"] ** 2]])
        assert off @ np.linalg.inv(cov) @ off < 13.8, feature["label"]

    again = located(run, sample, fixes, results["OFFSETS"], SIGMA_LATENCY=0, SIGMA_MOUNT=0)
    assert next(again.getFeatures())["latency_s"] == pytest.approx(solved["latency_s"][0])
    second = places(combined(run, again)["OUTPUT"])
    moved = [np.hypot(*(second[label] - found[label])) for label in found]
    assert max(moved) < 0.25 and np.median(moved) < 0.12  # metres, beside sigmas of 2 m


def test_the_gate_finds_most_of_the_groups_that_the_labels_name(run, sample, fixes):
    targets = located(run, sample, fixes)
    by_label = combined(run, targets)["TARGET_COUNT"]
    by_gate = run("adjusttargets", {"TARGETS": targets, "OUTPUT": "memory:"})["TARGET_COUNT"]
    assert abs(by_gate - by_label) <= 2


def test_the_records_own_picture(run, sample, fixes):
    """Objects picked on the picture lie where they truly lie, their height as it truly is."""
    with open(sample / "north_record_frame.csv", encoding="utf-8") as file:
        frame = {row["name"]: row["value"] for row in csv.DictReader(file)}
    track = prepared(run, sample, fixes)
    known = true_places(sample)
    for name, shadowed in (("north_record_points.csv", False), ("north_record_shadows.csv", True)):
        marks = QgsVectorLayer(f"file://{sample / name}?type=csv&wktField=WKT&detectTypes=yes", "marks",
                               "delimitedtext")
        assert marks.isValid()
        picks = run("picksfromimage", {
            "PICKS": marks, "KIND_FIELD": "kind", "LABEL_FIELD": "label", "IMAGE": str(sample / "north_record.png"),
            "TRACK": track, "LAYOUT": frame["layout"], "NEWEST": frame["newest"],
            "CENTRE_COLUMN": float(frame["centre_column"]), "FIRST_TIME": frame["first_time"],
            "LAST_TIME": frame["last_time"], "OUTPUT": "memory:"}, QgsProcessingFeedback(False))["OUTPUT"]
        targets = run("locatetargets", {"PICKS": picks, "TRACK": track, "OUTPUT": "memory:"})["OUTPUT"]
        for feature in targets.getFeatures():
            point = feature.geometry().asPoint()
            off = np.array([point.x(), point.y()]) - known[feature["label"]]
            cov = np.array([[feature["sigma_east_m"] ** 2, feature["cov_en_m2"]],
                            [feature["cov_en_m2"], feature["sigma_north_m"] ** 2]])
            assert off @ np.linalg.inv(cov) @ off < 13.8, feature["label"]
            assert (feature["height_m"] is not None and feature["height_m"] == feature["height_m"]) or not shadowed
        assert targets.featureCount() == 2
