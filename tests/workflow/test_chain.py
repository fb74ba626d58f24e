"""The whole job of the demo on the sample outings, once, judged by the truth the simulator kept.

The demo calls qgis_process for each step; here the same steps run inside this process, which is many times faster.
"""
import csv
import pathlib
from html.parser import HTMLParser

import gpxpy
import inprocess
import numpy as np
import pytest
from osgeo import ogr
from pyproj import Geod, Transformer

ROOT = pathlib.Path(__file__).resolve().parents[2]
VOID = {"br", "hr", "img", "input", "link", "meta", "area", "base", "col", "embed", "source", "track", "wbr"}
"""Elements that are never closed (HTML standard, 13.1.2)."""


@pytest.fixture(scope="module")
def demo(qgis_processing):
    """The demo's own steps, figures and section."""
    from tools.demo import chain, section, summary
    return chain, summary, section


@pytest.fixture(scope="module")
def done(demo, provider, tmp_path_factory):
    """Files of the demo, and the results of its parts by name."""
    chain = demo[0]
    folder = tmp_path_factory.mktemp("a chain")
    files = chain.Files(ROOT / "sample_project", folder / "steps.gpkg", folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("GDAL_PAM_ENABLED", "NO")
        patch.setattr(chain, "run", inprocess.run)
        return files, {part.__name__: part(files, quiet) for part in chain.PARTS}


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
    feet = {("south", round(0.3048 * feet, 2)) for feet in (60, 75, 100)}
    assert shown == {("north", 25), ("north", 30)} | feet


def test_targets_lie_within_their_ellipses(done, demo):
    """38 looks: fewer than 33 inside a 95 % ellipse has a probability under 2 % even without a common bias."""
    summary = demo[1]
    targets = summary.rows(done[0].database, "targets")
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
        assert row["worst_pct"] < row["low_pct"] < row["covered_pct"] < row["high_pct"] < row["best_pct"]
        placed, swept = truth[row["name"]]
        assert row["low_pct"] <= placed <= row["high_pct"]
        # what was swept while the receiver was off was seen in truth, and cannot be known
        assert placed <= swept < row["best_pct"]


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


def test_the_ledge_hides_the_rowboat_from_one_side_and_shows_it_from_the_other(done, demo):
    """The simulator, which shares no code with the tools, says which pass could see it."""
    chain, summary, _ = demo
    files = done[0]
    looks = chain.looks_at(files, "rowboat")
    assert sorted(look["hidden"] for look in looks) == [False, True]
    place = Transformer.from_crs(4326, 32619, always_xy=True).transform(*summary.true_places(files.sample)["rowboat"])
    for look in looks:
        there = summary.bands_at(files.folder / f"seen_pass_{look['pass_id']}.tif", *place)
        assert (there["hidden"] == 1, there["looks"] > 0) == (look["hidden"], not look["hidden"])


def test_what_is_mapped_along_a_beam_agrees_with_straight_rays(done, demo):
    """The section is reckoned in its own plane, by angles alone; map and section in step to a cell of the floor."""
    chain, summary, section = demo
    files = done[0]
    floor = section.Floor(files.folder / "depth_grid.tif")
    for look in chain.looks_at(files, "rowboat"):
        cut = section.section(look, floor, look["y"] - 45, look["y"] + 45)
        raster = files.folder / f"seen_pass_{look['pass_id']}.tif"
        for kind, band in (("seen", "looks"), ("hidden", "hidden")):
            for stretch in getattr(cut, kind):
                inside = stretch[(stretch[:, 0] > stretch[:, 0].min() + 2) & (stretch[:, 0] < stretch[:, 0].max() - 2)]
                for across in inside[::40, 0]:
                    east = np.interp(across, cut.plan[:, 1], cut.plan[:, 0])
                    assert summary.bands_at(raster, east, across)[band] >= 1, (look["pass_id"], kind, across)
        assert bool(cut.hidden) == look["hidden"]


def test_audits_over_true_floor_and_contours_agree_where_lines_are_dense(done, demo):
    """Contours every half metre: the same ledge, nearly the same shadows."""
    summary = demo[1]
    by_floor = {floor: summary.audit(done[0], floor) for floor in demo[0].FLOORS}
    swaths = {row["name"]: row["covered_pct"] for row in summary.rows(done[0].database, "areas")}["North basin"]
    for seen, hidden, weak in by_floor.values():
        assert swaths - 2 < seen < swaths, "shadows and poor looks take something off what swaths say"
        assert hidden > 100 and weak > 100
    assert by_floor["grid"][0] == pytest.approx(by_floor["contours"][0], abs=0.5)
    kinds = {row["kind"] for row in summary.rows(done[0].database, "gaps_grid")}
    assert {"hidden", "weak", "nadir"} <= kinds


def test_repeated_looks_make_one_place_each(done, demo):
    """Which way the median goes is the seed's luck, and is printed by the demo; the ellipses must hold."""
    summary = demo[1]
    places = summary.true_places(done[0].sample)
    combined = summary.rows(done[0].database, "combined")
    assert sorted(row["label"].lower() for row in combined) == sorted(places)
    assert sum(row["looks"] for row in combined) == 38
    found = summary.against_truth(combined, places)
    assert found.inside.sum() >= 15, "18 objects: fewer inside 95 % ellipses has a probability of 1 %"
    assert "before" in dict(summary.return_figures(done[0]))["COMBINED"]


def test_offsets_of_the_north_boat_are_found(done, demo):
    summary = demo[1]
    truth = summary.true_offsets(done[0].sample, "north")
    known = {"latency_s": truth["latency_s"], "mount_deg": truth["mount_deg"] - truth["compass_bias_deg"]}
    solved = {row["name"]: row for row in summary.rows(done[0].database, "offsets")}
    assert set(solved) == set(known)
    for name, row in solved.items():
        assert abs(row["value"] - known[name]) < 3 * row["sigma"]
        assert row["sigma"] < row["prior_sigma"]


def test_waypoints_stand_at_the_combined_places(done, demo):
    """Read by another library; distances on the ellipsoid."""
    points = gpxpy.parse((done[0].folder / "targets.gpx").read_text(encoding="utf-8")).waypoints
    to_degrees = Transformer.from_crs(32619, 4326, always_xy=True)
    combined = {row["label"]: to_degrees.transform(row["x"], row["y"])
                for row in demo[1].rows(done[0].database, "combined")}
    assert sorted(point.name for point in points) == sorted(combined)
    for point in points:
        *_, off = Geod(ellps="WGS84").inv(point.longitude, point.latitude, *combined[point.name])
        assert off < 0.01


def test_casts_reach_every_object_from_windward(done, demo):
    """Stations 15 m towards 250 degrees from each object, by geodesics."""
    to_degrees = Transformer.from_crs(32619, 4326, always_xy=True)
    stations, combined = (demo[1].rows(done[0].database, name) for name in ("stations", "combined"))
    assert len(stations) == len(combined) == 18
    lon, lat = to_degrees.transform(*np.array([(row["x"], row["y"]) for row in combined]).T)
    east, north = to_degrees.transform(*np.array([(row["x"], row["y"]) for row in stations]).T)
    azimuth, _, distance = Geod(ellps="WGS84").inv(lon, lat, east, north)
    assert distance == pytest.approx(15, abs=0.02)
    assert azimuth % 360 == pytest.approx(250, abs=0.1)
    assert {row["reach"] for row in demo[1].rows(done[0].database, "casts")} == {"in reach"}


class Closed(HTMLParser):
    """Elements that are open, and words."""

    def __init__(self):
        super().__init__()
        self.open, self.words = [], ""

    def handle_starttag(self, tag, attrs):
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words += data


@pytest.mark.parametrize("name", ["casts.html", "report.html"])
def test_pages_are_whole_and_name_every_object(done, demo, name):
    text = (done[0].folder / name).read_text(encoding="utf-8")
    page = Closed()
    page.feed(text)
    page.close()
    assert text.lower().startswith("<!doctype html>") and not page.open
    for label in demo[1].true_places(done[0].sample):
        assert label in page.words.lower()
    assert "nan" not in page.words.lower().split()


def test_the_reports_table_is_that_of_the_areas(done, demo):
    with open(done[0].folder / "report.csv", encoding="utf-8", newline="") as file:
        told = {row["area"]: float(row["covered_pct"]) for row in csv.DictReader(file)}
    areas = {row["name"]: row["covered_pct"] for row in demo[1].rows(done[0].database, "areas")}
    assert told == pytest.approx(areas, abs=0.001)


def test_the_report_has_a_row_for_each_area_gap_and_target(done, demo):
    with open(done[0].folder / "report_rows.csv", encoding="utf-8", newline="") as file:
        told = list(csv.DictReader(file))
    for what, table, key, figure in (("area", "areas", "name", "covered_m2"), ("gap", "gaps", "gap_id", "area_m2"),
                                     ("target", "combined", "target_id", "semi_major_m")):
        column = "name" if key == "name" else "number"
        made = {row[column] if key == "name" else int(float(row[column])): float(row[figure])
                for row in told if row["what"] == what}
        assert made == pytest.approx({row[key]: row[figure] for row in demo[1].rows(done[0].database, table)},
                                     abs=0.001)


def test_figures_of_the_demo_are_numbers(done, demo):
    summary, files = demo[1], done[0]
    for make in (summary.figures, summary.audit_figures, summary.return_figures):
        for heading, text in make(files):
            assert heading.isupper() and len(heading) <= 12 and text
            assert not {"nan", "None", "inf"} & set(text.replace(",", "").split())


def test_the_demo_asks_qgis_process_and_passes_on_what_it_says(done, command_line, profile, tmp_path,
                                                                     monkeypatch):
    monkeypatch.setenv("QP_CONFIG", str(profile))
    from tools.demo import qp
    made = tmp_path / "a b.gpx"
    results = qp.run("athwart:exportgpx", WAYPOINTS=qp.layer(done[0].database, "combined"), OUTPUT=made)
    assert results["OUTPUT"] == str(made)
    assert made.read_text(encoding="utf-8") == (done[0].folder / "targets.gpx").read_text(encoding="utf-8")
    with pytest.raises(qp.StepFailed, match="nothing to write"):
        qp.run("athwart:exportgpx", OUTPUT=made)
