"""The whole job on the sample outings, each step a call of qgis_process, judged by the truth the simulator kept."""
import importlib
import pathlib

import numpy as np
import pytest
from osgeo import ogr

ROOT = pathlib.Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def demo():
    """The demo's own steps."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(ROOT / "tools" / "demo"))
        yield importlib.import_module("chain"), importlib.import_module("summary")


@pytest.fixture(scope="module")
def done(command_line, demo, tmp_path_factory):
    """Files and results of the chain."""
    chain, _ = demo
    folder = tmp_path_factory.mktemp("chain")
    with pytest.MonkeyPatch.context() as patch:
        (folder / "profile").mkdir()
        patch.setenv("QP_CONFIG", str(folder / "profile"))
        files = chain.Files(ROOT / "sample_project", folder / "steps.gpkg", folder / "out.gpkg")
        results = {"north": chain.north(files, quiet), "south": chain.south(files, quiet),
                   "together": chain.together(files, quiet, ("swaths", "passes"))}
    return files, results


def quiet(_):
    """Where the demo says what it is at."""


def test_log_is_read_whole(done):
    results = done[1]["north"]["readlogs"]
    assert 4000 < results["FIX_COUNT"] < 4400
    assert results["REJECTED_COUNT"] > 0, "the junk is counted"


def test_stop_and_lost_bottom_are_left_out(done, demo):
    track = demo[1].rows(done[0].steps, "north_track", ("usable", "reject_reason"))
    reasons = {row["reject_reason"] for row in track if not row["usable"]}
    assert {"stopped", "no depth"} <= reasons


def test_ranges_change_on_the_way(done, demo):
    fields = ("outing", "range_m", "range_ratio")
    track = [row for outing in ("north", "south") for row in demo[1].rows(done[0].steps, f"{outing}_track", fields)]
    shown = {(row["outing"], round(row["range_m"] / row["range_ratio"], 2)) for row in track}
    feet = {("south", round(0.3048 * feet, 2)) for feet in (60, 80, 100)}
    assert shown == {("north", 25), ("north", 30)} | feet


def test_targets_lie_within_their_ellipses(done, demo):
    """38 looks: fewer than 33 inside a 95 % ellipse has a probability under 2 % even without a common bias."""
    summary = demo[1]
    targets = [row for outing in ("north", "south") for row in summary.rows(done[0].steps, f"{outing}_targets")]
    found = summary.against_truth(targets, summary.true_places(done[0].sample))
    assert len(targets) == 38
    assert found.inside.sum() >= 33
    assert np.median(found.error) < 3.5


def test_hidden_object_is_found_from_the_deep_side_only(done, demo):
    (boat,) = [row for row in demo[1].rows(done[0].steps, "north_targets") if row["label"] == "rowboat"]
    assert boat["side"] == "port"
    assert 80 < boat["heading_deg"] < 100


def test_bounds_of_coverage_hold_the_truth(done, demo):
    summary = demo[1]
    truth = summary.true_cover(done[0].sample)
    areas = summary.rows(done[0].database, "areas")
    assert {row["name"] for row in areas} == set(truth)
    for row in areas:
        assert row["low_pct"] < row["covered_pct"] < row["high_pct"]
        assert row["low_pct"] - 1 < truth[row["name"]] < row["high_pct"] + 1
        # what was swept while the receiver was off was seen in truth, and cannot be known
        assert row["covered_pct"] == pytest.approx(truth[row["name"]], abs=5)


def test_gaps_and_coverage_add_up(done, demo):
    areas = demo[1].rows(done[0].database, "areas")
    results = done[1]["together"]["coveragegaps"]
    assert sum(row["area_m2"] for row in areas) == pytest.approx(results["AREA_M2"], rel=1e-6)
    assert results["COVERED_M2"] + results["GAP_M2"] == pytest.approx(results["AREA_M2"], rel=1e-6)


def test_unscanned_cove_is_named(done):
    """No boat went into Otter Cove: all its shore is unscanned."""
    layer = ogr.Open(str(done[0].database))
    shore = layer.GetLayerByName("shore")
    shore.SetSpatialFilterRect(304270, 4481440, 304380, 4481560)
    assert {feature["status"] for feature in shore} == {"unscanned"}


def test_waypoints_that_are_no_picks_are_given_back_with_the_reason(done, demo):
    rejected = demo[1].rows(done[0].steps, "south_rejected")
    assert len(rejected) == 4
    assert all(row["reason"] for row in rejected)
