"""The report says what its layers say: shares, looks, overlaps, densities, dates, each against a truth of its own."""
import re

import numpy as np
import pytest
import shapely.geometry as sg
from athwart.survey.geometry.frame import Frame
from athwart.survey.model import schemas
from athwart.survey.report import coverage_report
from athwart.survey.report.survey_map import caption
from pagewords import columns, read

FRAME = Frame("EPSG:32632", 9.0, 47.0)
DAY = 1_719_014_400.0  # 22 June 2024 00:00 UTC, from the Unix count of 19 896 days
INTERVAL = {"worst_pct": [40.0], "best_pct": [99.0], "expected_pct": [81.5], "looks_asked": [1], "grade": ["seen"]}


def layer(name, shapes, **given):
    return coverage_report.ReportLayer(name, {**columns(getattr(schemas, name.upper()), len(shapes)), **{
        key: np.asarray(value, object if isinstance(value, list) and value and isinstance(value[0], str) else None)
        for key, value in given.items()}}, list(shapes))


def areas(*shapes, pct=80.0, **given):
    size = np.array([s.area for s in shapes])
    rows = {"area_m2": size, "covered_m2": size * np.asarray(pct) / 100, "covered_pct": np.full(len(size), 1.0) * pct,
            "low_pct": np.full(len(size), 75.0), "high_pct": np.full(len(size), 84.0), "looks_min": np.zeros(len(size)),
            "looks_asked": np.ones(len(size)), "grade": ["seen"] * len(size)}
    return layer("areas", shapes, **{**rows, **given})


def swaths(*rows, **given):
    """Rows of (pass, shape)."""
    return layer("swaths", [shape for _, shape in rows], outing=["day"] * len(rows),
                 pass_id=np.array([float(n) for n, _ in rows]), range_model=["slant"] * len(rows),
                 blind_deg=np.full(len(rows), 20.0), **{"side": ["both"] * len(rows), **given})


def made(**given):
    layers = coverage_report.Layers(FRAME, **given)
    layers.overlay()
    return layers


def words(layers):
    text = " ".join(" ".join(read(coverage_report.coverage_page(layers, "t", "now")).words).split())
    return text.replace("\u202f", " ").replace("\u00a0", " ")


def cells(shapes, n=400):
    """(cell area, (k, n * n) bool): which cells of a grid over all shapes lie in each; middles decide."""
    low, high = np.min([s.bounds[:2] for s in shapes], axis=0), np.max([s.bounds[2:] for s in shapes], axis=0)
    x, y = (a.ravel() for a in np.meshgrid(*(low[i] + (np.arange(n) + 0.5) / n * (high[i] - low[i]) for i in (0, 1))))
    inside = []
    for shape in shapes:
        xy = np.asarray(shape.exterior.coords)
        crossed = np.zeros(len(x), int)
        for (x0, y0), (x1, y1) in zip(xy[:-1], xy[1:]):
            if y0 != y1:
                crossed += ((y0 > y) != (y1 > y)) & (x0 + (y - y0) / (y1 - y0) * (x1 - x0) > x)
        inside.append(crossed % 2 == 1)
    return float(np.prod((high - low) / n)), np.array(inside)


def test_with_two_looks_asked_the_methods_say_so_and_give_the_single_look_beside_it():
    """Two strips of 50 m by 100 and 3.8 m by 100 in a hectare: once 49.9 %, twice 3.8 %."""
    square = sg.box(0, 0, 100, 100)
    strips = [(1, sg.box(0, 0, 100, 49.9)), (2, sg.box(0, 0, 100, 3.8))]
    text = words(made(areas=areas(square, pct=3.8, looks_asked=np.array([2.0])), swaths=swaths(*strips)))
    methods = text[text.index("Methods"):]
    assert re.search(r"1\.00 ha, 3\.8 % was seen by at least 2 separate passes \(both sides of a pass", methods)
    assert "By at least one pass 49.9 % was seen" in methods
    assert "by at least 2 separate passes;" in text[:text.index("Methods")]  # the key figure


def test_how_many_looks_were_asked_is_never_guessed():
    square = sg.box(0, 0, 100, 100)
    text = words(made(areas=areas(square, looks_asked=np.array([np.nan]))))
    assert "the layer does not say how many" in text and "at least one pass" not in text
    old = areas(square)
    for name in ("looks_asked", "grade", "worst_pct", "best_pct", "expected_pct"):
        old.columns.pop(name, None)
    assert "do not say how many looks were asked for" in words(made(areas=old))


def test_an_unknown_bound_is_unknown_and_never_nought():
    two = [sg.box(0, 0, 100, 100), sg.box(200, 0, 300, 100)]
    for low in ([np.nan, np.nan], [70.0, np.nan]):
        text = words(made(areas=areas(*two, low_pct=np.array(low))))
        assert "unknown to 84.0 %" in text and not re.search(r"\b0\.0 (to|%)", text)
    text = words(made(areas=areas(*two, low_pct=np.full(2, np.nan), high_pct=np.full(2, np.nan),
                                  worst_pct=np.full(2, np.nan), best_pct=np.full(2, np.nan))))
    assert "95 % interval of that share is unknown" in text and "it would be unknown" in text
    # an area without ground has no share, and takes none from the others
    third = areas(*two, sg.box(0, 0, 1, 1), area_m2=np.array([1e4, 1e4, 0.0]), low_pct=np.array([75.0, 75.0, np.nan]))
    assert "75.0 to 84.0 %" in words(made(areas=third))


def test_the_interval_is_the_shares_own_and_worst_and_best_are_every_edge_at_once():
    given = {key: np.array(value, object if key == "grade" else float) for key, value in INTERVAL.items()}
    text = words(made(areas=areas(sg.box(0, 0, 100, 100), **given)))
    assert "95 % interval 75.0 to 84.0 %" in text and "JCGM 101:2008" in text
    assert "share to expect, is 81.5 %" in text
    assert "every edge moved at once by 1.645 standard deviations of its error it would be 40.0 to 99.0 %" in text
    old = areas(sg.box(0, 0, 100, 100))
    for name in ("worst_pct", "best_pct", "expected_pct"):
        old.columns.pop(name, None)
    text = words(made(areas=old))
    assert "95 % interval" not in text and "it would be 75.0 to 84.0 %" in text


CASES = {"apart": [(0, 0, 100, 100), (150, 0, 250, 80)], "nested": [(0, 0, 200, 100), (50, 20, 90, 60)],
         "twice": [(0, 0, 200, 100), (0, 0, 200, 100)], "in part": [(0, 0, 200, 100), (100, 0, 260, 100)],
         "three": [(0, 0, 200, 100), (100, 0, 260, 100), (240, 50, 340, 150)]}


@pytest.mark.parametrize("case", CASES)
def test_ground_in_two_areas_counts_once(case):
    """By counting cells: size of all areas together, and what of them two strips saw."""
    shapes = [sg.box(*corners) for corners in CASES[case]]
    strips = [sg.box(-10, 30, 400, 70), sg.box(120, -10, 160, 160)]
    cell, inside = cells([*shapes, *strips])
    ground, seen = inside[:len(shapes)].any(axis=0), inside[len(shapes):].any(axis=0)
    share = [100 * (one & seen).sum() / one.sum() for one in inside[:len(shapes)]]
    layers = made(areas=areas(*shapes, pct=np.array(share)), swaths=swaths((1, strips[0]), (2, strips[1])))
    text = words(layers)
    sizes = re.search(r"Of ([\d.]+) ha, ([\d.]+) % was seen", text)
    assert float(sizes[1]) == pytest.approx(ground.sum() * cell / 1e4, abs=0.03)
    assert float(sizes[2]) == pytest.approx(100 * (ground & seen).sum() / ground.sum(), abs=0.6)
    assert ("Areas overlap" in text) == (case != "apart")
    # what several areas cannot say of their union stays unknown, and each keeps its own
    assert ("95 % interval 75.0 to 84.0 %" in text or "at once: 75.0 to 84.0 %" in text) == (case in
                                                                                    ("apart", "nested", "twice"))


def test_what_was_seen_of_areas_that_overlap_in_part_is_unknown_without_swaths():
    text = words(made(areas=areas(*(sg.box(*corners) for corners in CASES["in part"]))))
    assert "2.60 ha, unknown was seen" in text and "give the swaths" in text


def test_sides_part_of_the_range_looks_grade_and_dates_stand_in_the_methods():
    square = sg.box(0, 0, 100, 100)
    one = swaths((1, square), (2, square), side=["port", "port"], range_used_pct=np.array([80.0, 80.0]))
    track = layer("track", [sg.Point(0, i) for i in range(3)], t_s=DAY + np.array([13.1, 14.0, 16.7]) * 3600,
                  usable=np.array([True, True, True]), outing=["day"] * 3)
    text = words(made(track=track, areas=areas(square, grade=["detection"]), swaths=one))
    methods = text[text.index("Methods"):]
    for phrase in ("22 June 2024, 13:06 to 16:42 UTC",
                   "Only the port side was used, 80 % of the range in force counted",
                   "an object of the size the map of bottom seen was made for would have shown"):
        assert phrase in methods, methods
    both = swaths((1, square), (1, square), (2, square), side=["port", "starboard", "port"])
    both.columns["outing"] = np.array(["north", "north", "south"], object)
    text = words(made(swaths=both))
    assert "both sides of the record were used" in text and "outing south, only the port side was used" in text.lower()
    assert "of the range in force" not in text  # layers made earlier do not know


def test_dates_over_midnight_and_over_many_days():
    def when(*hours):
        track = layer("track", [sg.Point(0, i) for i in range(len(hours))], t_s=DAY + 3600 * np.array(hours, float),
                      usable=np.ones(len(hours), bool))
        return words(made(track=track))
    text = when(23.5, 24.5)
    assert "22 June 2024, 23:30 to 23:30 UTC and 23 June 2024, 00:30 to 00:30 UTC" in text
    assert "6 days from 22 June 2024 to 27 June 2024 (UTC)" in when(*(24 * day + 1 for day in range(6)))
    never = layer("track", [sg.Point(0, 0)], t_s=np.array([12.0]), usable=np.ones(1, bool))
    assert "1970" not in words(made(track=never))  # a clock that was never set


def test_samples_not_used_are_so_many_of_so_many():
    reasons = ["", "", "too slow", "", "turn", "turn", "", "", "", ""]
    track = layer("track", [sg.Point(0, i) for i in range(10)], usable=np.array([not r for r in reasons]),
                  reject_reason=reasons, t_s=np.full(10, np.nan))
    text = words(made(track=track))
    assert "3 of 10 (30.0 %): turn (67 %), too slow (33 %)" in text and "3 of 10 samples could not be used" in text


def test_listed_gaps_and_what_is_not_listed_make_up_all_that_was_missed():
    """1 ha of which 80 % was seen: 2000 m2 missed, of them gaps of 1500 and 300 m2 listed."""
    gaps = layer("gaps", [sg.box(0, 0, 50, 30), sg.box(60, 0, 90, 10)], kind=["edge", "between"],
                 gap_id=np.array([1, 2]), area_m2=np.array([1500.0, 300.0]), certain=np.array([True, False]))
    text = words(made(areas=areas(sg.box(0, 0, 100, 100)), gaps=gaps))
    assert "not listed narrower or smaller than the limits asked for 200 m²" in text
    assert "all missed in all 2 2 000 m²" in text
    gaps.columns["area_m2"] = np.array([5000.0, 300.0])
    text = words(made(areas=areas(sg.box(0, 0, 100, 100)), gaps=gaps))
    assert "they come from different runs" in text and "not listed" not in text


def test_gaps_say_in_what_share_of_the_draws_they_stay_open():
    gaps = layer("gaps", [sg.box(0, 0, 50, 30)], kind=["edge"], gap_id=np.array([1]), area_m2=np.array([1500.0]),
                 certain=np.array([True]), certain_m2=np.array([900.0]), open_pct=np.array([97.0]))
    text = words(made(gaps=gaps))
    assert "97 % 900 m² yes" in text
    gaps.columns["open_pct"] = np.array([np.nan])
    assert "unknown 900 m² yes" in words(made(gaps=gaps))


def test_density_counts_targets_inside_only_with_its_exact_interval():
    """Two targets on the bottom inside 0.8 ha seen, one outside, one in the water column: 2.5 a hectare.

    Garwood's limits for 2 events are 0.242 and 7.225 (Biometrika Tables for Statisticians 1, table 40, from memory):
    0.30 and 9.03 a hectare.
    """
    points = [sg.Point(10, 10), sg.Point(20, 20), sg.Point(500, 0), sg.Point(30, 30)]
    targets = layer("targets", points, target_id=np.arange(1.0, 5), status=["bottom", "side unsure", "bottom",
                    "water column"], label=["", "", "", ""], members=["1", "2", "3", "4"])
    text = words(made(areas=areas(sg.box(0, 0, 100, 100)), targets=targets))
    assert "2 on the bottom inside, 2.50 per hectare seen, 95 % interval 0.30 to 9.03" in text
    assert "counts 2 of 4 targets; left out: 1 outside the areas, 1 in the water column" in text
    targets.columns.pop("members")
    assert "single looks: 2 on the bottom" in words(made(areas=areas(sg.box(0, 0, 100, 100)), targets=targets))


def test_density_is_of_ground_seen_once_whatever_looks_were_asked_for():
    square = sg.box(0, 0, 100, 100)
    targets = layer("targets", [sg.Point(10, 10)], target_id=np.ones(1), status=["bottom"], members=["1"])
    asked = areas(square, pct=10.0, looks_asked=np.array([2.0]))
    seen = swaths((1, sg.box(0, 0, 100, 50)), (2, sg.box(0, 0, 100, 10)))
    assert "1 on the bottom inside, 2.00 per hectare seen" in words(made(areas=asked, swaths=seen, targets=targets))
    text = words(made(areas=asked, targets=targets))
    assert "per hectare" not in text and "No density is given" in text


@pytest.mark.parametrize("name", ["track", "passes", "swaths", "areas", "gaps", "shore", "targets"])
def test_a_layer_that_found_nothing_is_an_ordinary_outing(name):
    """None of its features, and features without a place."""
    square = sg.box(0, 0, 100, 100)
    beside = {"areas": areas(square)} if name != "areas" else {"swaths": swaths((1, square))}
    for empty in (layer(name, []), layer(name, [sg.Point(), sg.Point()])):
        text = words(made(**beside, **{name: empty}))
        assert "nan" not in text.lower().split()
        if len(empty):
            assert f"2 of 2 rows of the {name} have no geometry" in text
        words(coverage_report.Layers(None, **{name: empty}))  # nothing anywhere has a place


def test_no_target_on_so_much_ground_still_bounds_the_density():
    """Garwood's upper limit for none is 3.689 (the same table): on 0.8 ha 4.61 a hectare."""
    text = words(made(areas=areas(sg.box(0, 0, 100, 100)), targets=layer("targets", [])))
    assert "No target was located. On 0.80 ha seen that leaves room for up to 4.61 a hectare" in text


def test_names_that_begin_like_a_formula_do_not_compute_in_the_table():
    """OWASP, CSV Injection: cells that begin with = + - @, tab or return."""
    names = ["=cmd|'/C calc'!A0", "+1+1", "-2+3", "@SUM(A1)", "\t=1", "bay", "-12.5", "", " =1"]
    given = areas(*(sg.box(200 * i, 0, 200 * i + 100, 100) for i in range(len(names))))
    given.columns["name"] = np.array(names, object)
    _, rows = coverage_report.area_rows(given)
    assert [row[0] for row in rows] == ["'=cmd|'/C calc'!A0", "'+1+1", "'-2+3", "'@SUM(A1)", "'\t=1", "bay", "-12.5",
                                        "", "' =1"]


def test_layers_of_different_outings_are_named():
    one = swaths((1, sg.box(0, 0, 100, 100)))
    track = layer("track", [sg.Point(0, 0)], outing=["south"], usable=np.ones(1, bool))
    assert "not of the same outings (track: south; swaths: day)" in words(made(swaths=one, track=track))


@pytest.mark.parametrize("used, told", [([np.nan, 80.0], True), ([80.0, 80.0], True), ([np.nan, np.nan], False)])
def test_the_part_of_the_range_that_counted_is_told_where_it_is_known(used, told):
    square = sg.box(0, 0, 100, 100)
    text = words(made(areas=areas(square), swaths=swaths((1, square), (2, square), range_used_pct=np.array(used))))
    assert ("80 % of the range in force counted" in text) is told
    assert ("of the range in force counted" in text) is told


@pytest.mark.parametrize("targets, numbered", [(None, False), ((), False), ((sg.Point(50, 50),), True)])
def test_the_caption_explains_numbers_only_where_there_are_targets(targets, numbered):
    given = {} if targets is None else {"targets": layer("targets", targets)}
    said = caption(made(areas=areas(sg.box(0, 0, 100, 100)), **given))
    assert said.startswith("Printed on A4") and ("numbers beside dots are targets" in said) is numbered
