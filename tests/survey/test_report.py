"""The report page: true to its layers, self-contained, safe with any name, readable by a machine that reads aloud."""
import re

import numpy as np
import pytest
import shapely.geometry as sg
from athwart.survey.geometry.frame import Frame
from athwart.survey.model import schemas
from athwart.survey.report import coverage_report, layer_tables, mapsvg, pages
from athwart.survey.report.coverage_report import Layers, ReportLayer
from athwart.survey.report.figures import Figures
from pagewords import columns, read

FRAME = Frame("EPSG:32632", 9.0, 47.0)
NASTY = '<script>alert("x")</script> & Söhne'


@pytest.fixture
def layers():
    square = sg.box(0, 0, 200, 100)
    areas = ReportLayer("areas", columns(schemas.AREAS, 2, area_m2=[20000.0, 10000.0], looks_min=[0, 0],
                                         covered_m2=[15000.0, 9000.0], covered_pct=[75.0, 90.0],
                                         low_pct=[70.0, 85.0], high_pct=[80.0, 93.0]),
                        [square, sg.box(200, 0, 300, 100)])
    areas.columns["name"] = np.array([NASTY, "East bed"], object)
    gaps = ReportLayer("gaps", columns(schemas.GAPS, 2, gap_id=[1, 2], kind=["between", "nadir"],
                                       area_m2=[4000.0, 1000.0], width_m=[20.0, 4.0], length_m=[200.0, 250.0],
                                       certain=[True, False]), [sg.box(0, 0, 200, 20), sg.box(0, 48, 250, 52)])
    shore = ReportLayer("shore", columns(schemas.SHORE, 2, status=["scanned", "unscanned"],
                                         length_m=[300.0, 100.0]),
                        [sg.LineString([(0, 0), (300, 0)]), sg.LineString([(300, 0), (300, 100)])])
    passes = ReportLayer("passes", columns(schemas.PASSES, 1, outing="north", pass_id=3, length_m=250.0,
                                           mean_speed_mps=2.0, mean_depth_m=9.0, range_m=30.0, too_fast_pct=40.0,
                                           off_band_pct=100.0), [sg.LineString([(0, 50), (250, 50)])])
    targets = ReportLayer("targets", columns(schemas.TARGETS, 1, target_id=1, label=NASTY,
                                             status="bottom",
                                             semi_major_m=6.1, semi_minor_m=4.0, azimuth_deg=30.0,
                                             confidence_pct=95.0, main_cause="position"), [sg.Point(50, 60)])
    swaths = ReportLayer("swaths", columns(schemas.SWATHS, 1, range_model="slant", blind_deg=20.0),
                         [sg.box(0, 20, 250, 80)])
    return Layers(FRAME, passes=passes, swaths=swaths, areas=areas, gaps=gaps, shore=shore,
                  targets=targets, looks=[(1, 24000.0), (2, 6000.0)])


def test_the_page_is_whole_alone_and_safe(layers):
    page = coverage_report.coverage_page(layers, NASTY, "2024-05-01 10:00 UTC")
    reader = read(page)
    tags = {tag for tag, _ in reader.seen}
    assert not tags & {"script", "link", "iframe", "img", "object"}
    assert not re.search(r"(?:src|href)\s*=|url\(|@import", page)
    assert [h for h, _ in reader.headings].count("h1") == 1
    assert reader.headings[0] == ("h1", NASTY)
    assert ("html", {"lang": "en"}) in reader.seen
    drawing = next(attrs for tag, attrs in reader.seen if tag == "svg")
    assert drawing["role"] == "img" and "Map of" in drawing["aria-label"]
    tables = sum(tag == "table" for tag, _ in reader.seen)
    assert tables >= 6 and sum(tag == "caption" for tag, _ in reader.seen) == tables
    assert all(attrs.get("scope") in ("row", "col") for tag, attrs in reader.seen if tag == "th")


def test_key_figures_are_those_of_the_layers(layers):
    """By hand: 24 000 of 30 000 m2 seen; low (70 * 2 + 85) / 3, high (80 * 2 + 93) / 3; 100 of 400 m shore missed."""
    words = " ".join(" ".join(read(coverage_report.coverage_page(layers, "t", "now")).words).split())
    for phrase in ("80.0 %", "95 % interval 75.0 to 84.3 %", "3.00 ha",
                   "Gaps to run 1 4 000 m² together, largest 4 000 m²; 1 strip under the boat",
                   "100 m", "25.0 % of 400 m", "0.42 per hectare seen",
                   "too fast in 40 %", "Of the one pass, 1 had a shorter range", "6.1 by 4.0 m", "2 or more", "0.60 ha",
                   "20.0 %"):
        assert phrase in words.replace("\u202f", " ").replace("\u00a0", " "), (phrase, words)


def test_strips_under_the_boat_are_one_line_of_the_gaps(layers):
    """Twenty of 5 by 100 m beside two gaps of another kind: three rows, and the sum of the twenty."""
    strips = [sg.box(0, 10 * i, 100, 10 * i + 5) for i in range(20)]
    layers.gaps = ReportLayer("gaps", columns(
        schemas.GAPS, 22, gap_id=list(range(1, 23)), kind=["nadir"] * 20 + ["edge", "between"],
        area_m2=[500.0] * 20 + [300.0, 90.0], width_m=[5.0] * 22, length_m=[100.0] * 22, certain=[True] * 22),
        [*strips, sg.box(0, 0, 9, 9), sg.box(0, 0, 3, 3)])
    made = read(layer_tables.gaps_table(layers.gaps, layers.lonlat)).words
    text = " ".join(" ".join(made).split()).replace("\u202f", " ").replace("\u00a0", " ")
    assert text.count("nadir") == 1 and "20 strips nadir 10 000 m² 5.0 m 2 000 m" in text, text
    assert "21 edge 300 m²" in text and "22 between 90 m²" in text


def test_in_feet_every_figure_is_in_feet(layers):
    """Feet of 0.3048 m, acres of 43 560 square feet: 2.4 ha are 5.93 acres, 4000 m2 are 43 056 square feet."""
    layers.units = Figures("ft")
    text = " ".join(" ".join(read(coverage_report.coverage_page(layers, "t", "now")).words).split())
    text = text.replace("\u202f", " ").replace("\u00a0", " ")
    for phrase in ("7.41 ac", "5.93 ac of it seen", "largest 43 056 ft²", "25.0 % of 1 312 ft", "0.16 mi run",
                   "4.5 mph", "20 by 13 ft", "per acre seen", "148 ft to 369 ft would have fitted"):
        assert phrase in text, (phrase, text)
    assert not re.search(r"\d (m|m²|ha|km|m/s)\b", text), re.findall(r".{20}\d (?:m|m²|ha|km|m/s)\b", text)


@pytest.mark.parametrize("depths, shown, said", [
    ([4.0, 8.0], [60.0, 60.0], "from 40 m to 50 m would have fitted all passes"),
    ([2.0, 8.0], [30.0, 110.0], "10 m to 25 m over 2.0 m of water, the shallowest pass, and 40 m to 100 m over 8.0 m"),
    ([4.0, 4.0], [30.0, 30.0], "All passes kept to it")])
def test_the_range_that_would_have_fitted_is_said_once(layers, depths, shown, said):
    """8 % of the range is a depth of range / 12.5, 20 % one of range / 5."""
    off = [0.0 if 0.08 <= d / r <= 0.2 else 100.0 for d, r in zip(depths, shown)]
    rows = columns(schemas.PASSES, 2, pass_id=[1, 2], mean_depth_m=depths, range_m=shown, off_band_pct=off,
                   too_fast_pct=[0.0, 0.0])
    layers.passes = ReportLayer("passes", rows, [sg.LineString([(0, 0), (9, 9)])] * 2)
    text = coverage_report.coverage_page(layers, "t", "now").replace("\u00a0", " ")
    assert text.count("times the depth") == 1 and said in text and text.count(">good<") == 2


def test_a_pass_without_a_number_goes_by_its_outing(layers):
    layers.passes.columns["pass_id"] = np.array([np.nan])
    assert ">north<" in layer_tables.passes_table(layers.passes)


def test_looks_are_counted_by_pass_inside_the_areas_only(layers):
    """Two passes overlap in 50 x 60 m; half of the second lies outside the areas."""
    swaths = ReportLayer("swaths", columns(schemas.SWATHS, 3, outing="n", pass_id=[1.0, 1.0, 2.0]),
                         [sg.box(0, 20, 250, 50), sg.box(0, 50, 250, 80), sg.box(200, 20, 400, 80)])
    rows = coverage_report.looks_inside(FRAME, coverage_report.seen_levels(swaths), layers.areas)
    assert [k for k, _ in rows] == [1, 2]
    assert rows[0][1] == pytest.approx(300 * 60, rel=1e-4)
    assert rows[1][1] == pytest.approx(50 * 60, rel=1e-4)


def test_coordinates_of_gaps_and_targets_are_geographic(layers):
    lon, lat = FRAME.frame_to_lonlat(50.0, 60.0)
    assert f"{lat:.6f}, {lon:.6f}" in coverage_report.coverage_page(layers, "t", "now")


def test_the_table_has_a_row_for_each_area_and_no_nan(layers):
    layers.areas.columns["low_pct"][1] = np.nan
    head, rows = coverage_report.area_rows(layers.areas)
    assert head[0] == "area" and len(rows) == 2
    assert rows[0][:3] == [NASTY, 20000.0, 15000.0]
    assert rows[1][head.index("low_pct")] == ""


def test_any_layer_may_be_missing_or_empty(layers):
    empty = ReportLayer("gaps", columns(schemas.GAPS, 0), [])
    assert "No gap is larger" in coverage_report.coverage_page(Layers(FRAME, gaps=empty), "t", "now")
    for name in ("passes", "swaths", "areas", "gaps", "shore", "targets"):
        read(coverage_report.coverage_page(Layers(FRAME, **{name: getattr(layers, name)}), "t", "now"))


def test_the_scale_bar_is_as_long_as_it_says(layers):
    drawing = mapsvg.draw_map([mapsvg.MapLayer("a", mapsvg.Ink(stroke="#000000"), [sg.box(0, 0, 400, 100)])], "t")
    xs = [float(v) for v in re.findall(r"[ML]([\d.]+) ", re.search(r'<path d="([^"]+)"', drawing).group(1))]
    bar = re.search(r'<line x1="14.0" y1="[\d.]+" x2="([\d.]+)".*?>(\d+) m<', drawing)
    assert (float(bar.group(1)) - 14.0) / float(bar.group(2)) == pytest.approx((max(xs) - min(xs)) / 400, rel=1e-3)


def test_error_ellipses_are_drawn_as_long_as_they_say(layers):
    """The path of the ellipse against the scale of the map: 2 x 6.1 m across its long axis."""
    page = coverage_report.coverage_page(layers, "t", "now")
    path = re.search(r'<g fill="#f0c000" [^>]*opacity="0.45".*?<path d="([^"]+)"', page).group(1)
    xy = np.array([[float(v) for v in pair.split()] for pair in re.findall(r"[\d.]+ [\d.]+", path)])
    shore = re.search(r'<g fill="none"[^>]*stroke="#0072b2".*?<path d="([^"]+)"', page).group(1)
    scale = np.ptp([float(pair.split()[0]) for pair in re.findall(r"[\d.]+ [\d.]+", shore)]) / 300
    long_axis = max(np.hypot(*(xy - p).T).max() for p in xy)
    assert long_axis / scale == pytest.approx(2 * 6.1, rel=0.03)
    east, north = (xy[np.argmax(xy @ [0, -1])] - xy[np.argmin(xy @ [0, -1])]) * [1, -1]
    assert 0 < np.degrees(np.arctan2(east, north)) < 45


def test_numbers_are_written_for_people():
    assert pages.number(1234567.8, 1, "m") == "1\u202f234\u202f567.8\u00a0m"
    assert pages.number(float("nan")) == pages.number(None) == "unknown"


@pytest.mark.parametrize("most, nice", [(1.0, 1.0), (4.9, 2.0), (99.0, 50.0), (1000.0, 1000.0)])
def test_scale_bars_are_round(most, nice):
    assert mapsvg.nice_length(most) == nice


def contrast(a, b):
    """WCAG 2.1 contrast ratio of two colours."""
    def luminance(colour):
        parts = [int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)]
        r, g, b_ = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * r + 0.7152 * g + 0.0722 * b_
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_text_colours_have_the_contrast_wcag_asks_for(layers):
    """WCAG 2.1, success criterion 1.4.3: 4.5 to 1."""
    css = re.search(r"<style>(.*?)</style>", coverage_report.coverage_page(layers, "t", "now"), re.S).group(1)
    colours = set(re.findall(r"[;{\n]color:(#[0-9a-f]{6})", css))
    assert colours and all(contrast(colour, "#ffffff") >= 4.5 for colour in colours)


def test_the_share_of_compass_headings_is_that_of_the_track(layers):
    layers.track = ReportLayer("track", columns(
        schemas.TRACK, 4, heading_source=["compass", "compass", "course", "compass"], usable=[True, True, False, True]),
        [sg.Point(k, 50) for k in range(4)])
    text = coverage_report.coverage_page(layers, "Bed", "2024-05-01 10:00 UTC")
    assert "Heading came from a compass for 75 % of the samples" in text and "1 of 4 samples could not be used" in text
