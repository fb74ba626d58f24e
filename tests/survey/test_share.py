"""The share's interval and the chance of gaps: closed forms, outings whose truth is known, what must not matter."""
import zlib

import numpy as np
import pytest
import sharechain
import sharetruth
from athwart.survey.coverage.cover import Swaths
from athwart.survey.coverage.gaps import GapSettings, PassLayer, SeenGround, find_gaps
from athwart.survey.geometry import shapes, transfer
from athwart.survey.geometry.frame import Frame
from athwart.survey.model.errors import InputError
from athwart.survey.share import drawn_errors, draws
from shapely.affinity import rotate
from shapely.geometry import LineString, box
from sizes import full

LAKE = sharetruth.CRS
KNOWN = {"samples": 100.0, "inner_m": 3.0, "range_m": 30.0, "depth_m": 8.0, "blind_deg": 20.0, "speed_mps": 2.0,
         "sigma_drift_m": 0.5, "sigma_heading_deg": 0.0, "sigma_sound_mps": 15.0, "sigma_depth_m": 0.0}
OUTER = float(np.sqrt(30.0**2 - 8.0**2))


def layer(rows, **changed):
    """Swaths of (outing, pass_id, polygon); every field is stated."""
    outing, number, polygons = zip(*rows)
    facts = {**KNOWN, **changed}
    return Swaths(list(polygons), np.array(outing, object), np.array(number, float), np.full(len(rows), OUTER),
                  np.full(len(rows), 0.75), {name: np.full(len(rows), value) for name, value in facts.items()})


def a_pass(x0, x1, y, number=1, outing="a"):
    return [(outing, number, box(x0, y + side * 3.0, x1, y + side * OUTER) if side > 0 else
             box(x0, y - OUTER, x1, y - 3.0)) for side in (1, -1)]


def lines(*rows):
    """Passes along y from x0 to x1: (outing, pass_id, x0, x1, y)."""
    outing, number, *_ = zip(*rows)
    return PassLayer([LineString([(x0, y), (x1, y)]) for _, _, x0, x1, y in rows], np.array(outing, object),
                     np.array(number, float), np.full(len(rows), 30.0), np.full(len(rows), 8.0))


def test_one_depth_for_all_makes_the_nadir_as_unsure_as_the_depth():
    """The strip under a boat is 2 H tan 20 wide: a sigma of 0.8 m makes that of its share 2 x 0.8 tan 20 / 40."""
    rows, area = a_pass(-90, 490, 0), box(0, -20, 400, 20)
    widths = []
    for sigma in (0.2, 0.8):
        result = find_gaps(LAKE, [area], layer(rows, sigma_drift_m=0.0, sigma_sound_mps=0.0, sigma_depth_m=sigma),
                           settings=GapSettings(position_error=0.0, draws=2000), passes=lines(("a", 1, -90, 490, 0)))
        widths.append(result.high_percent - result.low_percent)
    expected = [2 * 1.96 * 100 * 2 * sigma * np.tan(np.radians(20)) / 40 for sigma in (0.2, 0.8)]
    assert widths[1] == pytest.approx(expected[1], rel=0.1) and widths[1] > 3 * widths[0]


def only(monkeypatch, **sigmas):
    """Leave no error but those given."""
    none = dict.fromkeys(vars(drawn_errors.DEFAULTS), 0.0)
    made = drawn_errors.DEFAULTS.__class__(**{**none, **sigmas})
    for function in (drawn_errors.drawn_for_outing, drawn_errors.drawn_for_pass, draws.drawn_passes):
        monkeypatch.setattr(function, "__defaults__", (*(function.__defaults__ or ())[:-1], made))


class TestClosedForms:
    """One strip of a pass across an area: what an error does to the share is plain arithmetic."""

    def test_sound_speed_moves_the_outer_edges_only(self, monkeypatch):
        only(monkeypatch)
        area = box(0, -60, 400, 60)
        result = find_gaps(LAKE, [area], layer(a_pass(-50, 450, 0), sigma_drift_m=0.0),
                           settings=GapSettings(position_error=0.0, draws=2000),
                           passes=lines(("a", 1, -50, 450, 0)))
        # both edges scale with sound: of 2 (G - I) the spread is 1.96 * 15 / 1450; moved all round it would be more
        half = 1.96 * 15 / 1450 * 2 * (OUTER - 3.0) / 120 * 100
        assert result.high_percent - result.low_percent == pytest.approx(2 * half, rel=0.05)
        assert result.covered_percent == pytest.approx(100 * 2 * (OUTER - 3) / 120, abs=1e-6)

    def test_a_bias_across_a_strip_that_leaves_the_area(self, monkeypatch):
        only(monkeypatch)
        # the area ends in the middle of the northern strip: what a shift to the north takes off it, it loses
        area = box(0, -60, 400, 15)
        result = find_gaps(LAKE, [area], layer(a_pass(-50, 450, 0), sigma_drift_m=0.0, sigma_sound_mps=0.0),
                           settings=GapSettings(position_error=1.0, draws=2000), passes=lines(("a", 1, -50, 450, 0)))
        half = 1.96 * 1.0 / 75 * 100
        assert result.high_percent - result.low_percent == pytest.approx(2 * half, rel=0.06)

    def test_a_shift_along_an_endless_strip_changes_nothing(self, monkeypatch):
        only(monkeypatch, sigma_latency=5.0, sigma_offset=0.0)
        result = find_gaps(LAKE, [box(0, -60, 400, 60)],
                           layer(a_pass(-90, 490, 0), sigma_drift_m=0.0, sigma_sound_mps=0.0),
                           settings=GapSettings(position_error=0.0),
                           passes=lines(("a", 1, -90, 490, 0)))
        assert (result.low_percent, result.high_percent) == pytest.approx((result.covered_percent,) * 2, abs=0.02)

    def test_a_heading_shears_the_end_of_a_pass(self, monkeypatch):
        only(monkeypatch)
        area = box(0, 3, 400, OUTER)  # the northern strip, which ends at 200: port of a boat that heads east
        result = find_gaps(LAKE, [area], layer(a_pass(-90, 200, 0), sigma_drift_m=0.0, sigma_sound_mps=0.0,
                                               sigma_heading_deg=3.0),
                                               settings=GapSettings(position_error=0.0, draws=2000),
                           passes=lines(("a", 1, -90, 200, 0)))
        half = 1.96 * (3 + OUTER) / 2 * np.radians(3.0) / 400 * 100
        assert result.high_percent - result.low_percent == pytest.approx(2 * half, rel=0.08)

    def test_the_shore_is_no_edge_that_moves(self, monkeypatch):
        only(monkeypatch)
        # sound ends at the shore, 20 m to the north; it reaches the shore wherever the boat was, so only the inner
        # edge moves. An edge at the shore that moved along would make up for it
        area, to_shore = box(0, 0, 400, 20), [("a", 1, box(-50, 3, 450, 20)), ("a", 1, box(-50, -OUTER, 450, -3))]
        result = find_gaps(LAKE, [area], layer(to_shore, sigma_drift_m=0.0, sigma_sound_mps=0.0),
                           settings=GapSettings(position_error=1.0, draws=1000),
                           passes=lines(("a", 1, -50, 450, 0)))
        assert result.high_percent - result.low_percent == pytest.approx(2 * 1.96 / 20 * 100, rel=0.1)
        assert result.expected_percent == pytest.approx(85, abs=0.5)

    def test_port_and_starboard_do_not_grow_over_their_nadir(self, monkeypatch):
        only(monkeypatch, sigma_depth=0.0)
        result = find_gaps(LAKE, [box(0, -10, 400, 10)],
                           layer(a_pass(-90, 490, 0), sigma_drift_m=0.0, sigma_sound_mps=60.0),
                           settings=GapSettings(position_error=0.0),
                           passes=lines(("a", 1, -90, 490, 0)))
        # 60 m/s is 4 % of the 3 m under the boat, though the outer edge moves by more than a metre
        assert result.high_percent - result.low_percent == pytest.approx(4 * 1.96 * 60 / 1450 * 3 / 20 * 100, rel=0.3)


@pytest.fixture(scope="module")
def outcomes():
    """(world, truth, CoverageResult, gaps beside truth) of two dozen outings, four in full."""
    found = []
    for number in range(full(24, 48)):
        layout = ("lawnmower", "random", "shore")[number % 3]
        world = ("receiver", "marks")[number // 3 % 2]
        rng = np.random.default_rng([7, number])
        outing = sharetruth.outing(rng, world, layout, number % 4 < 2, (1, 10)[number // 6 % 2], 0.03 * (number % 2))
        result = sharechain.said(outing)
        found.append((world, outing.share, result, sharechain.gaps_beside_truth(result, outing.truth)))
    return found


@pytest.fixture(scope="module")
def outing():
    return sharetruth.outing(np.random.default_rng(5), "marks", "lawnmower", True, 1, 0.0)


@pytest.fixture(scope="module")
def worst():
    """Worst case of a pass whose strips are one polygon each."""
    return find_gaps(LAKE, [box(0, -40, 400, 40)], layer(a_pass(-50, 450, 0))).worst_percent


class TestSimulatedOutings:
    def test_the_truth_lies_inside_in_both_worlds(self, outcomes):
        for world in ("receiver", "marks"):
            inside = [r.low_percent <= truth <= r.high_percent for w, truth, r, _ in outcomes if w == world]
            # of 12 or 24; fewer has a probability of 2 % or 0.6 % where 95 % hold
            assert sum(inside) >= full(10, 20)

    def test_the_interval_is_not_wider_than_it_need_be(self, outcomes):
        width = np.median([r.high_percent - r.low_percent for _, _, r, _ in outcomes])
        apart = [truth - r.covered_percent for _, truth, r, _ in outcomes]
        assert width <= 1.5 * 2 * 1.96 * np.std(apart)
        assert width < 0.2 * np.median([r.best_percent - r.worst_percent for _, _, r, _ in outcomes])

    def test_gaps_stay_open_as_often_as_said(self, outcomes):
        gaps = np.concatenate([rows for *_, rows in outcomes])
        # the gaps of one outing share its errors, so that so few outings tell no more than this
        assert abs(gaps[:, 0].mean() - 100 * gaps[:, 1].mean()) < full(17, 12)
        often, seldom = gaps[gaps[:, 0] >= 60], gaps[gaps[:, 0] < 40]
        assert often[:, 1].mean() > 0.65 and seldom[:, 1].mean() < 0.5
        assert np.minimum(gaps[:, 2], gaps[:, 3]).sum() >= 0.95 * gaps[:, 2].sum() > 0

    def test_worst_and_best_case_hold_the_interval(self, outcomes):
        for _, _, r, _ in outcomes:
            assert r.worst_percent < r.low_percent <= r.covered_percent <= r.high_percent <= r.best_percent


class TestWhatMustNotMatter:
    def test_strips_or_passes(self, outing):
        strip, whole = (sharechain.said(outing, merge=merge) for merge in ("strip", "pass"))
        for name in ("covered", "low", "high", "expected", "worst", "best"):
            assert getattr(strip, f"{name}_percent") == pytest.approx(getattr(whole, f"{name}_percent"), abs=0.01), name

    def test_the_same_input_gives_the_same_figures(self, outing):
        one, two = sharechain.said(outing), sharechain.said(outing)
        assert (one.low_percent, one.high_percent) == (two.low_percent, two.high_percent)
        assert one.gaps["open_pct"].tolist() == two.gaps["open_pct"].tolist()

    def test_errors_of_a_pass_do_not_depend_on_what_else_was_surveyed(self):
        both = a_pass(-50, 450, 0, 1) + a_pass(-50, 450, 70, 2)
        area = box(0, -40, 400, 30)
        alone, together = (find_gaps(LAKE, [area], layer(rows)) for rows in (both[:2], both))
        assert alone.low_percent == pytest.approx(together.low_percent, abs=0.02)

    def test_features_side_by_side(self):
        rows, named = a_pass(-50, 450, 0), lines(("a", 1, -50, 450, 0))
        split = find_gaps(LAKE, [box(0, -60, 150, 60), None, box(150, -60, 400, 60)], layer(rows), passes=named)
        assert np.isnan(split.areas["low_pct"][1])
        for k in (0, 2):
            assert (split.areas["worst_pct"][k] < split.areas["low_pct"][k] < split.areas["covered_pct"][k]
                    < split.areas["high_pct"][k] < split.areas["best_pct"][k])
        assert split.areas["low_pct"][0] == pytest.approx(split.low_percent, abs=0.4)


def test_a_draw_needs_two_passes_where_two_looks_are_asked(monkeypatch):
    only(monkeypatch)
    rows = a_pass(-50, 450, 0, 1) + a_pass(-50, 450, 0, 2)
    once, twice = (find_gaps(LAKE, [box(0, 0, 400, 60)], layer(rows, sigma_sound_mps=0.0, sigma_drift_m=1.0),
                             settings=GapSettings(required_looks=looks, position_error=0.0, draws=1000),
                             passes=lines(("a", 1, -50, 450, 0), ("a", 2, -50, 450, 0))) for looks in (1, 2))
    assert once.covered_percent == pytest.approx(twice.covered_percent, abs=1e-6)
    # of two edges that move by sigma each, the farther lies 0.564 sigma out on average, the nearer as much in: at the
    # outer edge the first counts for one look, at the inner one the nearer; two looks lose at both (normal order
    # statistics, E max of two = 1 / sqrt(pi))
    change = 100 * 2 / np.sqrt(np.pi) / 60
    assert once.expected_percent - once.covered_percent == pytest.approx(change, rel=0.15)
    assert twice.expected_percent - twice.covered_percent == pytest.approx(-change, rel=0.15)


def test_a_wide_gap_is_certain_and_a_narrow_one_is_not():
    named = lines(("a", 1, -50, 450, 0), ("a", 2, -50, 450, 2 * OUTER + 30))
    wide = find_gaps(LAKE, [box(0, 0, 400, 2 * OUTER + 30)],
                     layer(a_pass(-50, 450, 0, 1) + a_pass(-50, 450, 2 * OUTER + 30, 2)), passes=named)
    gap = int(np.flatnonzero(wide.gaps["kind"] == "between")[0])
    assert wide.gaps["certain"][gap] and wide.gaps["open_pct"][gap] == 100
    # 1.645 sigma of a shared 2 m and of each pass's own is taken off both sides
    sure = 400 * (30 - 2 * 1.645 * np.hypot(2.0, np.hypot(0.5, 0.45)))
    assert wide.gaps["certain_m2"][gap] == pytest.approx(sure, rel=0.08)
    nadir = wide.gaps["kind"] == "nadir"
    assert nadir.any() and not wide.gaps["certain"][nadir].any()


def test_what_a_foreign_layer_does_not_state_is_said():
    bare = layer(a_pass(-50, 450, 0))
    bare.more.clear()
    result = find_gaps(LAKE, [box(0, -60, 400, 60)], bare)
    assert np.isfinite(result.low_percent)
    assert any("sigma_heading_deg" in note and "draw_swaths()" in note for note in result.notes)
    assert any("Give the passes of prepare() as passes" in note for note in result.notes)
    told = find_gaps(LAKE, [box(0, -60, 400, 60)], layer(a_pass(-50, 450, 0)), passes=lines(("a", 1, -50, 450, 0)))
    assert not [note for note in told.notes if "drawn" in note or "middle" in note]


def test_the_chance_raster_counts_up_to_the_expected_share():
    result = find_gaps(LAKE, [box(0, -60, 400, 60)], layer(a_pass(-50, 450, 0)), passes=lines(("a", 1, -50, 450, 0)),
                       picture=True)
    chance = result.picture.seen
    assert np.nanmin(chance) == 0 and np.nanmax(chance) == 1
    assert 100 * np.nanmean(chance) == pytest.approx(result.expected_percent, abs=0.6)
    assert result.picture.raster.cell == 1.0


class TestRasters:
    def test_cells_count_into_the_interval(self):
        """The same ground in cells of 5 m: what a cell makes of an edge is told, and smaller cells make it small."""
        outing = sharetruth.outing(np.random.default_rng(11), "receiver", "lawnmower", True, 1, 0.0)
        exact = sharechain.said(outing)
        found = {cell: sharechain.said_of_raster(outing, cell) for cell in (1.0, 5.0)}
        for result in found.values():
            assert result.low_percent <= exact.covered_percent <= result.high_percent
            assert result.low_percent <= outing.share <= result.high_percent
        width = {cell: result.high_percent - result.low_percent for cell, result in found.items()}
        assert width[5.0] > 1.3 * width[1.0]
        assert any("cells of 5 m" in note for note in found[5.0].notes)

    def test_an_edge_along_the_grid_is_off_by_up_to_half_a_cell(self, monkeypatch):
        only(monkeypatch)
        # one straight edge of 400 m along cells of 4 m: uniform within half a cell, so a variance of 400^2 4^2 / 12;
        # the tool takes it twice, since it cannot know which edges err together
        seen = SeenGround([box(-48, 0, 448, 60)], {}, 4.0)
        result = find_gaps(LAKE, [box(0, 20, 400, 100)], seen=seen,
                           settings=GapSettings(position_error=0.0, draws=2000))
        sound = 0.0103 * 30 * 400  # as an outer edge 30 m off, no pass being known
        half = 1.96 * np.hypot(400 * 4 / np.sqrt(6), sound) / 32000 * 100
        assert result.high_percent - result.low_percent == pytest.approx(2 * half, rel=0.25)

    def test_passes_drawn_as_one_hold_the_truth(self):
        inside = 0
        for seed in range(6):
            outing = sharetruth.outing(np.random.default_rng([12, seed]), "receiver", "lawnmower", True, 1, 0.0)
            result = sharechain.said(outing, merge="all")
            assert np.isnan(result.worst_percent)
            inside += result.low_percent - 0.3 <= outing.share <= result.high_percent + 0.3
        assert inside >= 5


class TestSeams:
    """Strips of one pass that abut, in any CRS: a seam of a nanometre is no edge."""

    @staticmethod
    def cut():
        """The same pass in strips of 20 m whose range differs by a millimetre: shared beams are of two lengths."""
        longer = [1e-3 * (k % 2) for k in range(25)]
        return [("a", 1, box(x, *((3.0, x + 20, OUTER + more) if side > 0 else (-OUTER - more, x + 20, -3.0))))
                for side in (-1, 1) for x, more in zip(range(-50, 450, 20), longer)]

    @pytest.mark.parametrize("crs", [4326, 3857, 3035, 32632])
    def test_a_pass_in_many_strips_in_any_crs(self, worst, crs):
        frame = Frame(f"EPSG:{crs}", 10.0, 45.0)

        def there(polygon):
            return transfer.to_crs(frame, rotate(polygon, 17.0, (200, 0)))
        rows = [(o, n, there(polygon)) for o, n, polygon in self.cut()]
        result = find_gaps(f"EPSG:{crs}", [there(box(0, -40, 400, 40))], layer(rows))
        assert result.worst_percent == pytest.approx(worst, abs=0.01)

    def test_a_range_that_changes_by_a_millimetre(self, worst):
        result = find_gaps(LAKE, [box(0, -40, 400, 40)], layer(self.cut()))
        assert result.worst_percent == pytest.approx(worst, abs=0.01)

    def test_strips_that_overlap_nothing_stay_apart(self):
        rows = [("a", 1, box(-50, 3, 200, OUTER)), ("a", 1, box(200.05, 3, 450, OUTER))]
        result = find_gaps(LAKE, [box(0, 3, 400, 20)], layer(rows))
        assert result.worst_percent < 99.5  # 5 cm are a gap, and narrow


def test_too_few_draws_are_refused():
    with pytest.raises(InputError, match="200"):
        find_gaps(LAKE, [box(0, -60, 400, 60)], layer(a_pass(-50, 450, 0)), settings=GapSettings(draws=199))


def test_places_stand_for_areas_as_quadrature():
    ground = shapes.union([box(0, 0, 100, 40), box(300, 10, 310, 900)])
    from athwart.survey.share.places import strewn
    xy = strewn(ground, 4000)
    assert 0.9 * 4000 < len(xy) < 1.1 * 4000 or len(xy) > 4000
    part = box(0, 0, 37.3, 40)
    inside = shapes.contains(part, *xy.T).mean()
    assert inside == pytest.approx(part.area / ground.area, abs=0.01)
    assert zlib.crc32(xy.tobytes()) == zlib.crc32(strewn(ground, 4000).tobytes())
