"""Coverage and gaps: layouts whose figures can be worked out by hand, and properties that hold for any layout."""
from dataclasses import fields

import numpy as np
import pytest
from athwart.survey.coverage import gap_kinds
from athwart.survey.coverage.cover import Swaths
from athwart.survey.coverage.gaps import GapSettings, PassLayer, SeenGround, find_gaps
from athwart.survey.geometry import shapes, transfer
from athwart.survey.geometry.frame import Frame
from athwart.survey.model.errors import Cancelled, InputError
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod
from shapely.affinity import translate
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Polygon, box

LAKE = "+proj=tmerc +lat_0=45 +lon_0=10 +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m"
SIGMA = 0.75
WITHIN = 1.645 * SIGMA
TOTAL = 1.645 * np.hypot(SIGMA, 2.0)


def a_pass(x0, x1, y, number=1, outing="a", inner=3.0, outer=30.0):
    """Both strips of a pass that runs along y from x0 to x1."""
    return [(outing, number, box(x0, y + inner, x1, y + outer), outer),
            (outing, number, box(x0, y - outer, x1, y - inner), outer)]


def swaths(rows, sigma=SIGMA):
    outing, number, polygons, outer = zip(*rows) if rows else ((), (), (), ())
    return Swaths(list(polygons), np.array(outing, object), np.array(number, float), np.array(outer, float),
                  np.full(len(rows), sigma))


def lines(*rows):
    """Pass layer of (outing, pass_id, line)."""
    outing, number, shape = zip(*rows)
    return PassLayer(list(shape), np.array(outing, object), np.array(number, float), np.full(len(rows), 30.0),
                     np.full(len(rows), 5.0))


def judge(rows, area, **more):
    areas = area if isinstance(area, list) else [area]
    own = {f.name: more.pop(f.name) for f in fields(GapSettings) if f.name in more}
    return find_gaps(LAKE, areas, swaths(rows), settings=GapSettings(**own), **more)


def kinds(result):
    return list(result.gaps["kind"])


def test_one_pass_in_its_own_area():
    result = judge(a_pass(0, 300, 0), box(0, -30, 300, 30), passes=lines(("a", 1, LineString([(0, 0), (300, 0)]))))
    assert result.area_m2 == pytest.approx(18000, rel=1e-8)
    assert result.covered_m2 == pytest.approx(16200, rel=1e-8)
    assert result.covered_percent == pytest.approx(90, abs=1e-6)
    assert result.gap_m2 == pytest.approx(1800, rel=1e-8)
    # every edge is moved, also along the shore: two strips 27 - 2 TOTAL wide and 300 - 2 TOTAL long
    assert result.worst_percent == pytest.approx(100 * 2 * (27 - 2 * TOTAL) * (300 - 2 * TOTAL) / 18000, abs=0.15)
    assert result.best_percent == pytest.approx(100, abs=1e-9)  # 2 TOTAL is more than 6 m
    assert result.worst_percent < result.low_percent < 90 < result.high_percent < 100
    assert kinds(result) == ["nadir"]
    assert result.gaps["width_m"][0] == pytest.approx(6, rel=0.01)
    assert result.gaps["length_m"][0] == pytest.approx(300, rel=0.001)
    assert not result.gaps["certain"][0]


def test_listed_narrow_and_small_ground_make_up_all_of_the_gap():
    rows = [("a", 1, box(0, 0, 100, 50), 30.0), ("a", 2, box(0, 50.6, 100, 97), 30.0)]
    rows += [("a", 3, box(0, 98, 30, 100), 30.0), ("a", 3, box(31.5, 97, 100, 100), 30.0)]
    result = judge(rows, box(0, 0, 100, 100), min_width=1.0, min_area=40)
    # a slot of 0.6 m is narrow; one of 1 m by 30 and 3 m by 1.5 hang together and are small, being under 40 m2
    assert result.gap_m2 == pytest.approx(60 + 30 + 4.5, abs=0.01)
    assert result.narrow_m2 == pytest.approx(60, abs=0.1)
    assert result.small_m2 == pytest.approx(34.5, abs=0.1)
    assert len(result.geometries) == 0
    every = judge(rows, box(0, 0, 100, 100), min_width=0, min_area=0)
    assert every.narrow_m2 == pytest.approx(0, abs=1e-6)
    assert sum(every.gaps["area_m2"]) == pytest.approx(every.gap_m2, rel=1e-9)


def test_a_gap_of_exactly_the_least_width_is_kept():
    rows = [("a", 1, box(0, 0, 100, 50), 30.0), ("a", 2, box(0, 52, 100, 100), 30.0)]
    assert len(judge(rows, box(0, 0, 100, 100), min_width=2).geometries) == 1
    assert len(judge(rows, box(0, 0, 100, 100), min_width=2.02).geometries) == 0


def test_opening_keeps_a_wide_gap_and_drops_the_neck_between_two():
    gap = MultiPolygon([box(0, 0, 10, 10), box(20, 0, 30, 10)]).union(box(10, 4.8, 20, 5.2))
    rows = [("a", 1, box(-5, -5, 35, 15).difference(gap), 30.0)]
    result = judge(rows, box(-5, -5, 35, 15), min_width=1)
    assert len(result.geometries) == 2
    assert result.narrow_m2 == pytest.approx(4, abs=0.1)  # the neck alone: corners stay as they are
    assert sum(result.gaps["area_m2"]) == pytest.approx(200, abs=0.1)


def test_corners_of_a_wide_gap_are_kept_and_a_long_tip_is_cut():
    wide = judge([("a", 1, box(-5, -5, 105, 50), 30.0)], box(0, 0, 100, 100), min_width=5)
    assert wide.narrow_m2 == pytest.approx(0, abs=1e-6)
    assert wide.geometries[0].area == pytest.approx(5000, rel=1e-6)
    wedge = Polygon([(0, 0), (100, 0), (0, 10)])
    rows = [("a", 1, box(-5, -5, 105, 15).difference(wedge), 30.0)]
    cut = judge(rows, box(-5, -5, 105, 15), min_width=2)
    # the wedge is 2 m wide 20 m from its tip
    assert cut.gaps["area_m2"].sum() + cut.narrow_m2 == pytest.approx(500, rel=1e-6)
    assert cut.narrow_m2 == pytest.approx(20 * 2 / 2, rel=0.25)


def test_both_sides_of_a_pass_are_one_look_and_so_are_its_strips():
    area = box(0, 0, 100, 20)
    twice = [("a", 1, box(0, 0, 100, 20), 30.0), ("a", 1, box(0, 0, 100, 20), 30.0)]
    assert judge(twice, area, required_looks=2).covered_percent == pytest.approx(0, abs=1e-9)
    other = [("a", 1, box(0, 0, 100, 20), 30.0), ("a", 2, box(0, 0, 60, 20), 30.0)]
    assert judge(other, area, required_looks=2).covered_percent == pytest.approx(60, abs=1e-6)
    elsewhere = [("a", 1, box(0, 0, 100, 20), 30.0), ("b", 1, box(0, 0, 60, 20), 30.0)]
    result = judge(elsewhere, area, required_looks=2)
    assert result.covered_percent == pytest.approx(60, abs=1e-6)
    assert list(result.gaps["looks"]) == [1]
    assert result.areas["looks_min"][0] == 1


def test_the_fewest_looks_are_counted_beyond_those_asked_for():
    rows = [("a", n, box(-5, -5, 105, 25), 30.0) for n in (1, 2, 3)] + [("a", 4, box(0, 0, 50, 20), 30.0)]
    assert judge(rows, box(0, 0, 100, 20)).areas["looks_min"][0] == 3
    assert judge(rows, box(0, 0, 100, 20), required_looks=2).areas["looks_min"][0] == 3
    assert judge(rows, box(0, 0, 50, 20)).areas["looks_min"][0] == 4


def test_gaps_seen_never_and_once_carry_the_fewer():
    rows = [("a", 1, box(0, 0, 100, 20), 30.0), ("a", 2, box(0, 0, 100, 10), 30.0)]
    result = judge(rows, box(0, 0, 100, 30), required_looks=2)
    assert list(result.gaps["looks"]) == [0]
    assert result.gap_m2 == pytest.approx(2000, rel=1e-6)


class TestKinds:
    both = (("a", 1, LineString([(0, 0), (300, 0)])), ("a", 2, LineString([(300, 80), (0, 80)])))

    def test_between_edge_and_nadir(self):
        rows = a_pass(0, 300, 0) + a_pass(0, 300, 80, 2)
        result = judge(rows, box(0, -45, 300, 120), passes=lines(*self.both))
        assert kinds(result) == ["between", "edge", "edge", "nadir", "nadir"]
        assert result.gaps["width_m"] == pytest.approx([20, 15, 10, 6, 6], rel=0.01)
        assert result.gaps["area_m2"] == pytest.approx([6000, 4500, 3000, 1800, 1800], abs=0.5)
        assert list(result.gaps["gap_id"]) == [1, 2, 3, 4, 5]

    def test_ground_that_one_pass_goes_round_is_between_where_its_line_is_known(self):
        area, hole = box(0, 0, 100, 100), box(40, 60, 60, 80)
        rows = [("a", 1, area.difference(hole), 30.0)]
        assert kinds(judge(rows, area, passes=lines(("a", 1, LineString([(0, 10), (100, 10)]))))) == ["between"]
        assert kinds(judge(rows, area)) == ["nadir"]

    def test_a_thin_gap_with_a_wide_end_stands_alone(self):
        spoon = box(0, 0, 100, 1).union(box(100, -3, 106, 3))
        assert not gap_kinds._is_crumb(spoon, 4.0, 1.0)
        assert gap_kinds._is_crumb(box(0, 0, 100, 1), 4.0, 1.0) and gap_kinds._is_crumb(box(0, 0, 3, 3), 1.0, 10.0)

    def test_the_same_without_pass_lines(self):
        rows = a_pass(0, 300, 0) + a_pass(0, 300, 80, 2)
        assert kinds(judge(rows, box(0, -45, 300, 120))) == ["between", "edge", "edge", "nadir", "nadir"]

    def test_what_opens_into_the_wide_is_cut_off_from_it(self):
        rows = a_pass(0, 300, 0) + a_pass(0, 300, 80, 2)
        result = judge(rows, box(-200, -200, 500, 300), passes=lines(*self.both))
        assert kinds(result) == ["unvisited", "between", "nadir", "nadir"]
        between = result.geometries[1]
        assert between.area == pytest.approx(6000, rel=0.1)
        assert result.gaps["area_m2"][2:] == pytest.approx([1800, 1800], rel=0.01)

    def test_a_break_of_the_log_in_one_line(self):
        rows = a_pass(0, 100, 0) + a_pass(130, 300, 0, 2)
        parts = LineString([(0, 0), (100, 0)]), LineString([(130, 0), (300, 0)])
        result = judge(rows, box(0, -30, 300, 30), passes=lines(("a", 1, parts[0]), ("a", 2, parts[1])))
        assert kinds(result) == ["break", "nadir", "nadir"]
        assert result.gaps["area_m2"][0] == pytest.approx(1800, rel=0.01)
        as_one = judge([(*row[:1], 1, *row[2:]) for row in rows], box(0, -30, 300, 30),
                       passes=lines(("a", 1, MultiLineString(parts))))
        assert kinds(as_one) == ["break", "nadir", "nadir"]

    def test_the_next_line_is_no_break(self):
        rows = a_pass(0, 300, 0) + a_pass(0, 300, 80, 2)
        back = lines(("a", 1, LineString([(0, 0), (300, 0)])), ("a", 2, LineString([(300, 80), (0, 80)])))
        forth = lines(("a", 1, LineString([(0, 0), (300, 0)])), ("a", 2, LineString([(0, 80), (300, 80)])))
        for passes in (back, forth):
            assert "break" not in kinds(judge(rows, box(-60, -45, 360, 120), passes=passes))

    def test_another_outing_is_no_break(self):
        rows = a_pass(0, 100, 0) + a_pass(130, 300, 0, 2, outing="b")
        passes = lines(("a", 1, LineString([(0, 0), (100, 0)])), ("b", 2, LineString([(130, 0), (300, 0)])))
        assert "break" not in kinds(judge(rows, box(0, -30, 300, 30), passes=passes))

    def test_deeper_than_the_range(self):
        rows = a_pass(0, 100, 0) + a_pass(150, 300, 0)
        result = judge(rows, box(0, -30, 300, 30), passes=lines(("a", 1, LineString([(0, 0), (300, 0)]))))
        assert kinds(result) == ["no bottom", "nadir", "nadir"]
        assert result.gaps["area_m2"][0] == pytest.approx(3000, rel=0.05)

    def test_the_strip_under_a_boat_that_looked_to_one_side(self):
        rows = a_pass(0, 300, 0)[:1]
        result = judge(rows, box(0, -25, 300, 30), passes=lines(("a", 1, LineString([(0, 0), (300, 0)]))))
        assert sorted(kinds(result)) == ["edge", "nadir"]
        assert result.gaps["area_m2"][list(kinds(result)).index("nadir")] == pytest.approx(300 * 6, rel=0.3)

    def test_a_depth_that_changes_widens_the_strip_under_the_boat(self):
        inner = [(x, 2 + 6 * abs(np.sin(x / 60))) for x in range(0, 301, 3)]
        strips = [Polygon([*inner, (300, 30), (0, 30)]), Polygon([*((x, -y) for x, y in inner), (300, -30), (0, -30)])]
        rows = [("a", 1, strip, 30.0) for strip in strips]
        result = judge(rows, box(0, -30, 300, 30), passes=lines(("a", 1, LineString([(0, 0), (300, 0)]))))
        assert kinds(result) == ["nadir"]

    def test_an_arm_nobody_entered_is_unvisited_though_narrow(self):
        area = box(0, -30, 300, 30).union(box(300, -10, 600, 10))
        result = judge(a_pass(0, 300, 0, inner=0), area, passes=lines(("a", 1, LineString([(0, 0), (300, 0)]))))
        assert "unvisited" in kinds(result)
        assert result.geometries[0].area > 250 * 20


class TestErrors:
    def test_passes_of_one_outing_need_less_overlap_than_two_outings(self):
        for overlap, outings, whole in ((2 * WITHIN + 0.2, "aa", True), (2 * WITHIN - 0.2, "aa", False),
                                        (2 * TOTAL - 0.2, "ab", False), (2 * TOTAL + 0.2, "ab", True)):
            south, north = box(-50, 0, 350, 50), box(-50, 50 - overlap, 350, 100)
            rows = [(outings[0], 1, south, 30.0), (outings[1], 2, north, 30.0)]
            worst = judge(rows, box(0, 20, 300, 80)).worst_percent
            assert (worst == pytest.approx(100, abs=1e-9)) == whole

    def test_without_position_error_only_the_own_errors_remain(self):
        result = judge([("a", 1, box(0, 0, 100, 20), 30.0)], box(0, 0, 100, 20), position_error=0.0)
        assert result.worst_percent == pytest.approx((100 - 2 * WITHIN) * (20 - 2 * WITHIN) / 20, abs=0.15)

    def test_the_bounds_of_two_looks(self):
        rows = [("a", n, box(0, 0, 100, 100), 30.0) for n in (1, 2)]
        result = judge(rows, box(-20, -20, 120, 120), required_looks=2)
        assert result.covered_m2 == pytest.approx(1e4, rel=1e-6)
        assert result.worst_percent == pytest.approx(100 * (100 - 2 * TOTAL) ** 2 / 140**2, abs=0.1)
        grown = 1e4 + 400 * TOTAL + np.pi * TOTAL**2
        assert result.best_percent == pytest.approx(100 * grown / 140**2, abs=0.1)

    def test_a_swath_that_does_not_state_its_error(self):
        rows = [("a", 1, box(0, 0, 100, 20), 30.0)]
        result = find_gaps(LAKE, [box(0, 0, 100, 20)], swaths(rows, np.nan))
        assert result.worst_percent > 0
        assert any("sigma_edge_m" in note for note in result.notes)

    def test_merged_swaths_have_no_worst_case_and_no_count_of_looks(self):
        rows = [("a", np.nan, box(-50, -50, 350, 50), 30.0)]
        result = judge(rows, box(0, 0, 300, 100))
        assert np.isnan(result.worst_percent)
        assert np.isnan(result.areas["worst_pct"][0])
        assert result.best_percent == pytest.approx(50 + TOTAL, abs=0.1)
        # the edge is moved by bias 2, drift 0.5, lever 0.3, range 0.3, 1.03 % of 30 m and 0.3 of 0.2 m of depth
        half = 1.96 * np.sqrt(2**2 + 0.5**2 + 0.3**2 + 0.3**2 + 0.31**2 + 0.06**2)
        assert result.high_percent - result.low_percent == pytest.approx(2 * half, rel=0.15)
        assert any("moved together" in note for note in result.notes)
        assert result.gaps["certain"][0]
        with pytest.raises(InputError, match="merge"):
            judge(rows, box(0, 0, 300, 100), required_looks=2)


class TestAreas:
    def test_features_keep_their_order_and_may_be_empty(self):
        rows = [("a", 1, box(0, 0, 100, 20), 30.0)]
        result = judge(rows, [box(50, 0, 150, 20), None, box(0, 0, 50, 20), Polygon()])
        assert result.areas["covered_pct"][[0, 2]] == pytest.approx([50, 100], abs=1e-6)
        assert result.areas["area_m2"] == pytest.approx([2000, 0, 1000, 0], rel=1e-8)
        assert np.isnan(result.areas["covered_pct"][[1, 3]]).all()
        assert result.covered_percent == pytest.approx(200 / 3, abs=1e-6)

    def test_overlapping_features_count_once_in_the_totals(self):
        rows = [("a", 1, box(0, 0, 100, 20), 30.0)]
        result = judge(rows, [box(0, 0, 100, 40), box(50, 0, 150, 40)])
        assert result.area_m2 == pytest.approx(6000, rel=1e-8)
        assert result.covered_m2 == pytest.approx(2000, rel=1e-8)
        assert result.areas["covered_m2"] == pytest.approx([2000, 1000], rel=1e-8)

    def test_features_side_by_side_add_up_to_the_whole(self):
        rows = a_pass(-10, 310, 0) + a_pass(-10, 310, 80, 2)
        split = judge(rows, [box(0, -45, 130, 120), box(130, -45, 300, 120)])
        whole = judge(rows, box(0, -45, 300, 120))
        assert split.areas["covered_m2"].sum() == pytest.approx(whole.covered_m2, rel=1e-9)
        for name in ("worst_pct", "best_pct"):
            mean = (split.areas[name] * split.areas["area_m2"]).sum() / whole.area_m2
            assert mean == pytest.approx(whole.areas[name][0], abs=1e-6)

    def test_excluded_ground_need_not_be_seen(self):
        rows = [("a", 1, box(0, 0, 100, 20), 30.0)]
        result = judge(rows, box(0, 0, 100, 40), exclude=[box(0, 20, 50, 40), None])
        assert result.area_m2 == pytest.approx(3000, rel=1e-8)
        assert result.covered_percent == pytest.approx(200 / 3, abs=1e-6)

    def test_an_area_that_crosses_itself_is_mended_and_said_so(self):
        bow_tie = Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])
        result = judge([("a", 1, box(0, 0, 5, 10), 30.0)], bow_tie)
        assert result.area_m2 == pytest.approx(50, rel=1e-6)
        assert result.covered_percent == pytest.approx(50, abs=1e-4)
        assert any("repaired" in note for note in result.notes)

    def test_no_gap_at_all(self):
        result = judge([("a", 1, box(-50, -50, 150, 70), 30.0)], box(0, 0, 100, 20))
        assert (result.covered_percent, result.worst_percent, result.low_percent, result.high_percent) == (100,) * 4
        assert result.geometries == []
        assert result.gap_m2 == 0

    def test_swaths_elsewhere_cover_nothing_and_that_is_said(self):
        result = judge([("a", 1, box(5000, 0, 5100, 20), 30.0)], box(0, 0, 100, 20))
        assert result.covered_percent == 0
        assert kinds(result) == ["unvisited"]
        assert any("No swath touches" in note for note in result.notes)


class TestRefusals:
    def test_layers_without_polygons(self):
        area = box(0, 0, 1, 1)
        with pytest.raises(InputError, match="swath layer"):
            find_gaps(LAKE, [area], swaths([]))
        with pytest.raises(InputError, match="swath layer"):
            find_gaps(LAKE, [area], swaths([("a", 1, None, 30.0), ("a", 2, Polygon(), 30.0)]))
        with pytest.raises(InputError, match="area layer"):
            judge([("a", 1, area, 30.0)], [])
        with pytest.raises(InputError, match="Nothing is left"):
            judge([("a", 1, area, 30.0)], area, exclude=[box(-1, -1, 2, 2)])

    def test_exactly_one_of_swaths_and_raster(self):
        area = box(0, 0, 1, 1)
        with pytest.raises(InputError, match="either"):
            find_gaps(LAKE, [area])
        with pytest.raises(InputError, match="either"):
            find_gaps(LAKE, [area], swaths([("a", 1, area, 30.0)]), SeenGround([area], {}))

    @pytest.mark.parametrize("options", [{"required_looks": 0}, {"min_width": -1}, {"min_area": -1},
                                         {"position_error": -1}])
    def test_values_out_of_bounds(self, options):
        with pytest.raises(InputError):
            judge([("a", 1, box(0, 0, 1, 1), 30.0)], box(0, 0, 1, 1), **options)

    def test_cancelling_stops_it(self):
        def step(fraction):
            raise Cancelled
        with pytest.raises(Cancelled):
            judge([("a", 1, box(0, 0, 1, 1), 30.0)], box(0, 0, 1, 1), step=step)


def test_ground_seen_by_raster():
    area = box(0, 0, 100, 100)
    seen = SeenGround([box(0, 0, 100, 60)], {"hidden": box(0, 60, 20, 100), "weak": box(20, 60, 40, 100)})
    result = find_gaps(LAKE, [area], seen=seen)
    assert result.covered_percent == pytest.approx(60, abs=1e-6)
    assert np.isnan(result.worst_percent)
    # one edge: 2.5 % points of a normal error, not 5 % points as of the best case
    assert result.low_percent == pytest.approx(60 - 1.96 * np.hypot(2.1, 0.43), abs=0.5)
    assert result.high_percent == pytest.approx(60 + 1.96 * np.hypot(2.1, 0.43), abs=0.5)
    found = dict(zip(kinds(result), result.gaps["area_m2"]))
    assert found["hidden"] == pytest.approx(800, abs=1)
    assert found["weak"] == pytest.approx(800, abs=1)
    assert set(found) - {"hidden", "weak"} == {"edge"}


def test_a_layer_in_degrees_gives_the_same_figures():
    rows = a_pass(0, 300, 0) + a_pass(0, 300, 80, 2)
    area = box(0, -45, 300, 120)
    metric = judge(rows, area, passes=lines(*TestKinds.both))
    frame = Frame("EPSG:4326", 10.0, 45.0)

    def degrees(shape):
        return transfer.to_crs(frame, shape)
    angular = find_gaps("EPSG:4326", [degrees(area)], swaths([(o, n, degrees(p), r) for o, n, p, r in rows]),
                        passes=lines(*((o, n, degrees(line)) for o, n, line in TestKinds.both)))
    for name in ("area_m2", "covered_m2", "gap_m2"):
        assert getattr(angular, name) == pytest.approx(getattr(metric, name), rel=1e-4)
    for name in ("low_percent", "high_percent", "expected_percent", "worst_percent", "best_percent"):
        assert getattr(angular, name) == pytest.approx(getattr(metric, name), abs=0.01), name
    assert kinds(angular) == kinds(metric)
    assert angular.gaps["width_m"] == pytest.approx(metric.gaps["width_m"], rel=0.01)
    assert angular.geometries[0].bounds[2] < 11


def test_a_survey_across_180_degrees_gives_the_same_figures():
    rows = a_pass(0, 300, 0) + a_pass(0, 300, 80, 2)
    area = box(0, -45, 300, 120)
    metric = judge(rows, area)
    frame = Frame("EPSG:4326", 179.9985, 45.0)

    def degrees(shape):
        return transfer.to_crs(frame, shape)
    assert degrees(area).bounds == pytest.approx((-180, degrees(area).bounds[1], 180, degrees(area).bounds[3]))
    angular = find_gaps("EPSG:4326", [degrees(area)], swaths([(o, n, degrees(p), r) for o, n, p, r in rows]))
    assert angular.area_m2 == pytest.approx(metric.area_m2, rel=1e-4)
    assert angular.covered_percent == pytest.approx(metric.covered_percent, abs=1e-3)
    assert kinds(angular) == kinds(metric)


def test_areas_of_a_wide_lake_are_ground_areas():
    """A box of 1.5 degrees, 60 km to either side of the middle: geodesics along its edges give its area."""
    ring = [(9.25, 45), (10.75, 45), (10.75, 45.1), (9.25, 45.1)]
    edge = [(x, 45.0) for x in np.linspace(9.25, 10.75, 301)] + [(x, 45.1) for x in np.linspace(10.75, 9.25, 301)]
    geodesic = abs(Geod(ellps="WGS84").polygon_area_perimeter(*zip(*edge))[0])
    west = Polygon([ring[0], (9.5, 45), (9.5, 45.1), ring[3]])
    result = find_gaps("EPSG:4326", [Polygon(ring)], swaths([("a", 1, west, 30.0)]))
    assert result.area_m2 == pytest.approx(geodesic, rel=1e-6)
    assert result.covered_percent == pytest.approx(100 * 0.25 / 1.5, abs=1e-4)


@st.composite
def layouts(draw):
    """Boxes as passes of two outings over an area of 60 by 60."""
    rows = []
    for number in range(draw(st.integers(1, 5))):
        x, y = draw(st.integers(-5, 50)), draw(st.integers(-5, 50))
        width, height = draw(st.integers(3, 60)), draw(st.integers(3, 30))
        rows.append((draw(st.sampled_from("ab")), number, box(x, y, x + width, y + height), 15.0))
    return rows


@settings(max_examples=25, deadline=None)
@given(layouts(), st.integers(1, 2))
def test_what_holds_for_any_layout(rows, looks):
    area = box(0, 0, 60, 60)
    result = judge(rows, area, required_looks=looks, min_area=0.5)
    assert result.low_percent <= result.covered_percent + 1e-9 <= result.high_percent + 2e-9
    assert result.worst_percent <= result.covered_percent + 1e-9 <= result.best_percent + 2e-9
    assert (result.gaps["certain_m2"] <= result.gaps["area_m2"] + 1e-9).all()
    assert result.covered_m2 + result.gap_m2 == pytest.approx(result.area_m2, rel=1e-12)
    assert sum(result.gaps["area_m2"]) + result.narrow_m2 + result.small_m2 == pytest.approx(result.gap_m2, abs=1e-6)
    x, y = (v.ravel() + 0.25 for v in np.meshgrid(np.arange(0, 60, 0.5), np.arange(0, 60, 0.5)))
    count = sum(shapes.contains(polygon, x, y).astype(int) for _, _, polygon, _ in rows)
    assert result.gap_m2 == pytest.approx((count < looks).mean() * 3600, abs=0.02)
    for i, gap in enumerate(result.geometries):
        assert gap.is_valid
        inside = shapes.contains(gap.buffer(-1e-6), x, y)
        assert (count[inside] < looks).all()
        if inside.any():
            assert result.gaps["looks"][i] <= count[inside].min()
        assert area.buffer(1e-6).contains(gap)
        assert not any(gap.intersection(other).area > 1e-6 for other in result.geometries[:i])


@settings(max_examples=15, deadline=None)
@given(layouts(), st.integers(1, 2))
def test_another_pass_never_lowers_any_figure(rows, looks):
    area = box(0, 0, 60, 60)
    few = judge(rows, area, required_looks=looks)
    more = judge([*rows, ("b", 99, box(10, 10, 40, 30), 15.0)], area, required_looks=looks)
    for name in ("covered_percent", "worst_percent", "best_percent"):
        assert getattr(more, name) >= getattr(few, name) - 1e-6


@settings(max_examples=10, deadline=None)
@given(layouts(), st.floats(-500, 500), st.floats(-500, 500))
def test_moving_everything_changes_nothing(rows, dx, dy):
    here = judge(rows, box(0, 0, 60, 60))
    there = judge([(o, n, translate(p, dx, dy), r) for o, n, p, r in rows], translate(box(0, 0, 60, 60), dx, dy))
    for name in ("covered_percent", "worst_percent", "best_percent"):
        assert getattr(there, name) == pytest.approx(getattr(here, name), abs=1e-4)
    for name in ("low_percent", "high_percent"):  # other cells of the grid that the draws are counted in
        assert getattr(there, name) == pytest.approx(getattr(here, name), abs=0.5)
    assert sum(there.gaps["area_m2"]) == pytest.approx(sum(here.gaps["area_m2"]), abs=2.5)


def test_nothing_seen_is_nought_and_all_seen_a_hundred():
    """Of areas of odd shape beside what was seen: no rounding is left to be read as 2e-14 % or as 4e-13 m2."""
    rng = np.random.default_rng(1)
    for _ in range(7):
        angle, radius = np.sort(rng.uniform(0, 2 * np.pi, (6, 9))), rng.uniform(20, 60, (6, 9))
        shapes_ = [Polygon(np.column_stack([130 * i + r * np.cos(a), r * np.sin(a)]))
                   for i, (a, r) in enumerate(zip(angle, radius))]
        areas = [shape for shape in shapes_[:rng.integers(1, 7)] if shape.is_valid]
        beside = [("a", 1, box(-300, -100, -61, 100), 30.0), ("a", 2, box(-61, 61, 900, 100), 30.0)]
        over = [("a", 1, box(-100, -100, 900, 100), 30.0)]
        for rows, share in ((beside, 0.0), (over, 100.0)):
            result = judge(rows, areas)
            assert [result.covered_percent, *result.areas["covered_pct"]] == [share] * (len(areas) + 1)
            seen, missed = [result.covered_m2, *result.areas["covered_m2"]], [result.gap_m2, result.narrow_m2]
            assert not any(seen) if share == 0 else not any(missed)
