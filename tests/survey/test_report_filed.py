"""What a report is filed with: what to do next, who and when, rows for spreadsheets, numbers and edges of the map."""
import re

import numpy as np
import pytest
import shapely.geometry as sg
from athwart.survey.geometry.frame import Frame
from athwart.survey.model import schemas
from athwart.survey.model.coordinates import degrees_minutes
from athwart.survey.report import coverage_report, graticule, hatching, rows
from athwart.survey.report.coverage_report import Layers, ReportLayer
from pagewords import columns, read
from pyproj import Geod

FRAME = Frame("EPSG:32632", 9.0, 47.0)


@pytest.fixture
def layers():
    areas = ReportLayer("areas", columns(schemas.AREAS, 1, area_m2=[30000.0], covered_m2=[20000.0], covered_pct=[66.7]),
                        [sg.box(0, 0, 300, 100)])
    gaps = ReportLayer("gaps", columns(
        schemas.GAPS, 4, gap_id=[1, 2, 3, 4], kind=["nadir", "edge", "between", "edge"],
        area_m2=[4000.0, 900.0, 800.0, 9.0], width_m=[4.0] * 4, length_m=[90.0] * 4, certain=[True, True, False, True]),
        [sg.box(0, 48, 250, 52), sg.box(0, 0, 30, 30), sg.box(100, 0, 140, 20), sg.box(200, 0, 203, 3)])
    targets = ReportLayer("targets", columns(
        schemas.COMBINED, 3, target_id=[1, 2, 3], label=["log", "", "tyre"], status=["bottom", "side unsure", "bottom"],
        main_cause=["heading", "heading", "depth"], height_m=[0.5, np.nan, 1.2], looks=[1, 2, 3]),
        [sg.Point(50, 60), sg.Point(60, 60), sg.Point(70, 60)])
    targets.columns["height_at_least"] = np.array([False, False, True])
    swaths = ReportLayer("swaths", columns(schemas.SWATHS, 1, range_model="slant", blind_deg=20.0),
                         [sg.box(0, 30, 300, 100)])
    return Layers(FRAME, areas=areas, gaps=gaps, targets=targets, swaths=swaths, levels=[sg.box(0, 30, 300, 100)])


def words(layers, **given):
    text = " ".join(" ".join(read(coverage_report.coverage_page(layers, "t", "now", **given)).words).split())
    return text.replace("\u202f", " ").replace("\u00a0", " ").replace("\u2011", "-")


def test_what_to_do_next_counts_gaps_and_targets(layers):
    text = words(layers)
    for phrase in ("2 gaps to run, 909 m² together, largest first: 2, 4.", "1 more may be closed",
                   "1 strip under the boat, 4 000 m² together",
                   "Gaps to run 2 909 m² together, largest 900 m²; 1 more may be closed; 1 strip under the boat",
                   "1 target to look at again: 2 (it may lie on either side)",
                   "To improve first: the heading: a compass", "of the error of 2 of 3 targets", "at least 1.2 m"):
        assert phrase in text, (phrase, text)


def test_every_gap_of_the_table_is_numbered_on_the_map_and_strips_are_not(layers):
    layers.places = ReportLayer("places", {"name": ["Mill Cove", "Far Bay"]}, [sg.Point(250, 80), sg.Point(9e4, 0)])
    svg = re.search(r"<svg.*?</svg>", coverage_report.coverage_page(layers, "t", "now"), re.S).group(0)
    for size in ("desk", "phone"):
        drawn = re.search(rf'<g class="{size}".*?</g>', svg, re.S).group(0)
        bold = re.findall(r'font-weight="700" fill="#22303a"[^>]*>([^<]+)<', drawn)
        assert sorted(bold) == ["2", "3", "4"]
        assert re.findall(r'font-style="italic" fill="#22303a"[^>]*>([^<]+)<', drawn) == ["Mill Cove"]


def test_people_gear_and_hours_of_each_outing_are_on_file(layers):
    """1 719 014 400 s is the beginning of 22 June 2024 (19 896 days)."""
    start = 1_719_014_400.0 + np.array([9.0, 13.0]) * 3600
    layers.passes = ReportLayer("passes", columns(
        schemas.PASSES, 2, outing=["north", "south"], pass_id=[1, 1], length_m=[1500.0, 500.0],
        start_time=start.tolist(), end_time=(start + 5400).tolist()), [sg.LineString([(0, 0), (9, 9)])] * 2)
    text = words(layers, record={"people": "A <b>", "rows": [{"helm": "B", "wind_mps": "3"}]})
    assert "north 2024-06-22 09:00 2024-06-22 10:30 1.5 1 1.50 km" in text, text
    assert "People A <b>" in text and "wind mps" in text


def test_a_row_for_each_area_gap_and_target_with_the_figures_of_the_page(layers):
    head, made = rows.all_rows(layers)
    assert [row[0] for row in made] == ["area"] + ["gap"] * 4 + ["target"] * 3
    assert {len(row) for row in made} == {len(head)}
    row = dict(zip(head, made[2]))
    assert (row["number"], row["area_m2"], row["certain"], row["height_m"]) == (2, 900.0, "yes", "")
    last = dict(zip(head, made[-1]))
    assert (last["name"], last["height_m"], last["at_least"], last["looks"]) == ("tyre", 1.2, "yes", 3)
    assert f"{last['latitude']:.6f}, {last['longitude']:.6f}" in words(layers)


@pytest.mark.parametrize("falling", [False, True])
def test_hatching_is_evenly_spaced_and_stays_inside(falling):
    """Lines d apart on an area A are A / d long together."""
    shape = sg.Point(40, -70).buffer(50).difference(sg.Point(40, -70).buffer(20))
    lines = hatching.hatch(shape, 1.0, falling)
    assert lines.length == pytest.approx(shape.area, rel=0.01) and lines.difference(shape.buffer(1e-6)).is_empty


def test_coordinates_along_the_edge_stand_where_the_ellipsoid_has_them():
    """Against geodesics from the middle: a tick's distance north of it, and its east."""
    bounds = (-900.0, -700.0, 900.0, 700.0)
    west, south = graticule.edge_ticks(FRAME, bounds)
    assert 2 <= len(west) <= 5 and 2 <= len(south) <= 5
    geod = Geod(ellps="WGS84")
    for at, text in south:
        degrees, minutes = re.match(r"(\d+)\u00b0\s([\d.]+)", text).groups()
        lon, lat = int(degrees) + float(minutes) / 60, FRAME.frame_to_lonlat(at, -700.0)[1]
        azimuth, _, distance = geod.inv(9.0, lat, lon, lat)
        assert np.sin(np.radians(azimuth)) * distance == pytest.approx(at, abs=0.5)


@pytest.mark.parametrize("degrees, letters, said", [
    (45.2057541, "NS", "45 12.345 N"), (-0.0001, "EW", "0 00.006 W"), (59.99999999, "NS", "60 00.000 N")])
def test_degrees_and_decimal_minutes(degrees, letters, said):
    """By hand: 0.2057541 degrees are 12.345246 minutes."""
    assert re.sub("[\u00b0\u2032]", "", degrees_minutes(degrees, letters)).replace("\u00a0", " ") == said
