"""Plans of survey lines: published rules of spacing and direction, lakes counted by brute force, the best of orders."""
import numpy as np
import pytest
import shapely.geometry as sg
from athwart.survey.bottom.depthgrid import DepthGrid
from athwart.survey.geometry import shapes
from athwart.survey.model.errors import InputError
from athwart.survey.planning.clear_water import ClearWater
from athwart.survey.planning.directions import contour_azimuth, minimum_width
from athwart.survey.planning.lines import LayRule, lay
from athwart.survey.planning.order import best_order, exact_order, improved_order
from athwart.survey.planning.polygons import DepthField, ground_of
from athwart.survey.planning.predict import wander_along
from athwart.survey.planning.route import dubins_length, dubins_way, dubins_ways
from athwart.survey.planning.spacing import ReachRule, line_spacing, lines_needed, share_between, strips_of
from athwart.survey.planning.survey_plan import LinePlanSettings, plan_lines
from planlakes import CRS, EAST, NORTH, RANGE_M, Counter, Lake, drawn_run, inside

GO = np.sqrt(50.0 ** 2 - 10.0 ** 2)


def block(width, height):
    return sg.box(EAST, NORTH, EAST + width, NORTH + height)


@pytest.mark.parametrize(("overlap", "expected"), [(0, 97.9796), (0.1, 88.1816), (0.2, 78.3837), (0.5, 48.9898)])
def test_spacing_leaves_the_overlap(overlap, expected):
    """S = 2 Go (1 - k), worked for a range of 50 m over 10 m of water."""
    assert line_spacing(GO, overlap) == pytest.approx(expected, abs=1e-4)


def test_noaa_spacing_of_1_6_ranges():
    """NOAA OCS Field Procedures Manual (2014) 2.5.3.1.2: 1.6 x the range scale, an overlap of a fifth of the swath."""
    assert line_spacing(30.0, 0.2) == pytest.approx(1.6 * 30.0)
    rule = ReachRule(range_m=30.0, overlap=0.2, wander_m=0.0)
    shallow = 0.01
    assert 2 * rule.kept(rule.ground(30.0, shallow), shallow) == pytest.approx(48.0, abs=1e-3)
    # by the true ground range, with the depth a fifth of the range, the same lines lap by 0.36 R, not 0.40 R
    assert 2 * rule.ground(50.0, 10.0) - 1.6 * 50.0 == pytest.approx(0.36 * 50.0, abs=0.05)


@pytest.mark.parametrize(("width", "spacing", "lines"), [(500, 80, 6), (300, 80, 4), (100, 80, 1)])
def test_lines_needed(width, spacing, lines):
    assert lines_needed(width, 50.0, spacing) == lines


@pytest.mark.parametrize(("spacing", "share"), [(40, 1.0), (48.9, 1.0), (60, 0.833333), (80, 0.875), (98, 0.89775)])
def test_share_between_endless_lines(spacing, share):
    """Half-offset rule: lines no farther apart than the ground range see each other's nadir."""
    assert share_between(GO, 5.0, spacing) == pytest.approx(share, abs=1e-4)


@pytest.mark.parametrize("height", [96, 300, 500])
def test_as_many_lines_as_the_rule_says(height):
    ground = ground_of(CRS, [block(1000, height)], depth=10.0)
    rule = ReachRule(range_m=50.0, overlap=0.2, wander_m=0.0)
    lines = lay(ground, strips_of(ground, rule, 90.0 - ground.frame.convergence(0.0, 0.0)), LayRule())
    rows = {round(float(line.xy[:, 1].mean()) / 5) for line in lines}
    assert len(rows) == lines_needed(height, GO, line_spacing(GO, 0.2))


@pytest.mark.parametrize(("corners", "width", "azimuth"), [
    ([(0, 0), (4, 0), (0, 3)], 2.4, 126.86990), ([(0, 0), (300, 0), (300, 100), (0, 100)], 100, 90),
    ([(0, 0), (0, 8), (8, 1), (8, 0)], 6.0206136, 131.185925), ([(0, 0), (10, 0), (14, 3), (4, 3)], 3, 90)])
def test_least_width_is_met_along_an_edge_of_the_hull(corners, width, azimuth):
    """Houle & Toussaint (1988). Of the third polygon the box of least area is 8 x 8: it is the wrong one."""
    found = minimum_width(sg.Polygon(corners))
    assert found == pytest.approx((width, azimuth), abs=1e-5)


def test_lines_run_along_the_least_width():
    corners = np.array([(0, 0), (0, 8), (8, 1), (8, 0)]) * 60.0 + (EAST, NORTH)
    ground = ground_of(CRS, [sg.Polygon(corners)], depth=4.0)
    settings = LinePlanSettings(ReachRule(range_m=30.0), round_shore="never", runs=50, turn_s=200.0)
    assert plan_lines(ground, settings).azimuths == pytest.approx([131.19], abs=0.5)


def test_contours_of_a_slope():
    rows, columns = np.mgrid[0:60, 0:60]
    field = DepthField(5 + 0.1 * (columns + 2 * rows), cell=5.0)  # falls towards azimuth 26.57
    azimuth, strength = contour_azimuth(field, np.random.default_rng(0).uniform(50, 240, (200, 2)))
    assert azimuth == pytest.approx(116.565, abs=1e-3) and strength == pytest.approx(1.0)


def test_uneven_depths_make_uneven_lines():
    """Over water that falls from 2 to 24 m, each pair of lines lies as far apart as the two reach."""
    x, y = np.meshgrid(np.arange(0, 1000, 10.0), np.arange(0, 420, 10.0))
    depths = 2 + 22 * np.clip((y - 10) / 400, 0, 1) + 0 * x
    grid = DepthGrid.from_array(CRS, (EAST - 300, 10, 0, NORTH - 10, 0, 10), depths)
    ground = ground_of(CRS, [block(400, 400)], depth_grid=grid)
    rule = ReachRule(range_m=30.0, overlap=0.0, wander_m=0.0)
    lines = lay(ground, strips_of(ground, rule, 90.0 - ground.frame.convergence(0.0, 0.0)), LayRule())
    at = np.sort([line.xy[:, 1].mean() for line in lines])
    depth = 2 + 22 * (at + 200) / 400
    reach = np.sqrt(30.0 ** 2 - depth ** 2)
    apart = np.diff(at)[1:]  # the last to be laid is in the south, as far from its neighbour as is left
    assert apart == pytest.approx((reach[1:] + reach[:-1])[1:], abs=1.6)
    assert apart[0] > 1.15 * apart[-1]


@pytest.mark.parametrize("seed", range(6))
def test_order_against_all_orders(seed):
    """Held & Karp's exact order is brute force over all; the heuristic comes within 5 %."""
    import itertools
    rng = np.random.default_rng(seed)
    ends = rng.uniform(0, 1000, (10, 2))
    between = np.hypot(*(ends[:, None] - ends).transpose(2, 0, 1))
    first = np.hypot(*(ends - 500).T)
    best = min(first[2 * o[0] + t[0]] + sum(between[2 * o[k] + 1 - t[k], 2 * o[k + 1] + t[k + 1]] for k in range(4))
               for o in itertools.permutations(range(5)) for t in itertools.product((0, 1), repeat=5))
    assert exact_order(between, first)[1] == pytest.approx(best)
    assert improved_order(between, first)[1] <= 1.05 * best
    found = best_order(between, first)
    assert found.exact and sorted(found.sequence) == list(range(5)) and found.bound <= best + 1e-9


def test_shortest_turns_keep_the_radius():
    """Dubins (1957): the drawn way is as long as told, no tighter than the radius, and goes where it should."""
    rng = np.random.default_rng(5)
    for _ in range(60):
        start, goal, out, into = rng.uniform(0, 60, 2), rng.uniform(0, 60, 2), *rng.uniform(0, 360, 2)
        ways = list(dubins_ways(start, out, goal, into, 10.0))
        xy = dubins_way(start, out, goal, into, 10.0)
        length = np.hypot(*np.diff(xy, axis=0).T).sum()
        assert length == pytest.approx(dubins_length(start, out, goal, into, 10.0), rel=5e-3)
        assert len(ways) >= 2 and np.allclose(xy[[0, -1]], [start, goal])
        course = np.degrees(np.unwrap(np.arctan2(*np.diff(xy, axis=0).T)))
        assert abs((course[-1] - into + 180) % 360 - 180) < 8.0
        assert length >= np.hypot(*(goal - start)) - 1e-6


def test_ways_go_round_land_by_the_shortest():
    """Round a square island the shortest way is known."""
    water = sg.MultiPolygon([sg.box(0, 0, 100, 100).difference(sg.box(40, 20, 60, 80))])
    clear = ClearWater(water)
    way = clear.way((10, 50), (90, 50))
    expected = 2 * np.hypot(30, 30) + 20
    assert np.hypot(*np.diff(way, axis=0).T).sum() == pytest.approx(expected, abs=0.1)
    assert clear.distances([(10, 50)], [(90, 50)])[0, 0] == pytest.approx(expected, abs=0.1) and clear.keeps(way)
    assert not clear.keeps([(10, 50), (90, 50)])


def test_wander_is_as_wide_and_as_slow_as_said():
    walk = wander_along(np.arange(0, 2000, 50.0), 2.0, 4000, (1,))
    assert walk.std() == pytest.approx(2.0, rel=0.02)
    assert np.corrcoef(walk[10], walk[12])[0, 1] == pytest.approx(np.exp(-1), abs=0.05)


@pytest.fixture(scope="module", params=[2])
def lake_plan(request):
    lake = Lake(request.param, 150.0)
    grid = DepthGrid.from_array(CRS, lake.transform, lake.depths)
    ground = ground_of(CRS, [lake.polygon], depth_grid=grid, setback=5.0, min_depth=1.5)
    return lake, plan_lines(ground, LinePlanSettings(ReachRule(range_m=RANGE_M), radius_m=6.0, lead_m=10.0, runs=100))


def carried(plan, xy):
    return np.column_stack(plan.ground.frame.inverse(*np.asarray(xy).T))


def test_nothing_lies_on_land_or_shoal(lake_plan):
    lake, plan = lake_plan
    assert not plan.run.apart
    kept = lake.polygon.buffer(-4.95)
    for leg in plan.run.legs:
        way = sg.LineString(carried(plan, leg.xy))
        xy = np.array([way.interpolate(d).coords[0] for d in np.arange(0, way.length, 0.5)])
        assert kept.contains(way) and (len(xy) == 0 or (lake.depth_at(xy) >= 1.5).all())


def test_share_as_counted_by_brute_force(lake_plan):
    lake, plan = lake_plan
    places = lake.places(5000)
    counter = Counter(lake, places)
    ways = [carried(plan, line.xy) for line in plan.run.lines]
    plain = 100 * (counter.seen(ways) > 0).mean()
    spread = 100 * np.sqrt(0.9 * 0.1 / len(places))
    assert plan.prediction.nominal == pytest.approx(plain, abs=0.5 + 2 * spread)
    runs = [100 * (counter.seen(ways, drawn_run(seed)) > 0).mean() for seed in range(4)]
    assert plan.prediction.expected == pytest.approx(np.mean(runs), abs=1.2)
    assert sum(plan.prediction.low - spread <= share <= plan.prediction.high + spread for share in runs) >= 3
    missed = sum(polygon.area for polygon, _ in plan.uncovered)
    assert missed == pytest.approx(plan.ground.area.area * (1 - plan.prediction.nominal / 100), rel=0.02)


def test_two_looks_see_the_nadir():
    ground = ground_of(CRS, [block(400, 250)], depth=6.0)
    rule = ReachRule(range_m=30.0, looks=2, overlap=0.1)
    plan = plan_lines(ground, LinePlanSettings(rule, round_shore="never", runs=50))
    once = plan_lines(ground, LinePlanSettings(ReachRule(range_m=30.0, overlap=0.1), round_shore="never", runs=50))
    lake = type("Block", (), {"polygon": block(400, 250), "depth_at": staticmethod(lambda xy: np.full(len(xy), 6.0))})
    places = np.random.default_rng(3).uniform((EAST + 60, NORTH + 60), (EAST + 340, NORTH + 190), (3000, 2))
    seen = Counter(lake, places).seen([carried(plan, line.xy) for line in plan.run.lines])
    assert inside(lake.polygon, places).all() and (seen >= 2).mean() > 0.985
    assert 1.6 < len(plan.run.lines) / len(once.run.lines) < 2.6


@pytest.mark.parametrize(("given", "told"), [
    ({"depth": 0.0}, "no water"), ({"depth": 8.0, "setback": 200.0}, "No water is left"),
    ({"depth": 1.0, "min_depth": 2.0}, "less than the least depth"), ({}, "exactly one")])
def test_grounds_refused(given, told):
    with pytest.raises(InputError, match=told):
        ground_of(CRS, [block(300, 300)], **given)


def test_too_deep_for_the_range_is_refused():
    ground = ground_of(CRS, [block(300, 300)], depth=31.0)
    with pytest.raises(InputError, match="short of the water"):
        plan_lines(ground, LinePlanSettings(ReachRule(range_m=30.0)))


def test_a_bent_line_sees_what_it_sees_in_pieces_and_what_beams_counted_one_by_one_see():
    """Round the shore of a lake: no wedge is lost where pieces meet, nor to the corners of the drawn line."""
    lake = Lake(2, 140.0)
    plan = plan_lines(ground_of(CRS, [lake.polygon], depth_grid=DepthGrid.from_array(CRS, lake.transform, lake.depths),
                                setback=5.0, min_depth=1.5),
                      LinePlanSettings(ReachRule(range_m=RANGE_M, overlap=0.1, wander_m=2.0), radius_m=6.0,
                                       round_shore="always", runs=50))
    assert any(len(line.xy) > 3 for line in plan.run.lines)
    ways = [np.column_stack(plan.ground.frame.inverse(*line.xy.T)) for line in plan.run.lines]
    places = lake.places(40_000, 5)
    counted = Counter(lake, places).seen(ways) > 0
    told = shapes.contains(plan.prediction.seen, *plan.ground.frame.forward(*places.T))
    assert abs(100 * counted.mean() - 100 * told.mean()) < 0.12
    assert (counted & ~told).mean() < 0.0015
