"""Lines that close gaps, judged by strips drawn here: rectangles from the blind angle to the reach beside each line."""
import math

import numpy as np
import pytest
import shapely.geometry as sg
from athwart.survey.bottom.depthgrid import DepthGrid
from athwart.survey.model.errors import InputError
from athwart.survey.planning.clear_water import ClearWater
from athwart.survey.planning.fill_in import FillSettings, plan_fill_in
from athwart.survey.planning.fill_told import BEYOND_BUDGET
from athwart.survey.planning.lines import PlannedLine
from athwart.survey.planning.polygons import ground_of
from athwart.survey.planning.route import run_of
from athwart.survey.planning.spacing import ReachRule
from shapely.ops import unary_union

CRS = "+proj=tmerc +lat_0=45 +lon_0=10 +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m"
RANGE, DEPTH = 40.0, 5.0
NEAR, FAR = DEPTH * math.tan(math.radians(20)), math.sqrt(RANGE ** 2 - DEPTH ** 2)
RULE = ReachRule(RANGE)


def strips(xy):
    """What a straight line shows on a flat bottom: a rectangle on each side."""
    (x0, y0), (x1, y1) = xy
    long = math.hypot(x1 - x0, y1 - y0)
    s = np.array([y1 - y0, x0 - x1]) / long
    a, b = np.array([x0, y0]), np.array([x1, y1])
    return unary_union([sg.Polygon([a + k * NEAR * s, a + k * FAR * s, b + k * FAR * s, b + k * NEAR * s])
                        for k in (-1, 1)])


def lake(seed):
    """A round-cornered lake of about 450 by 300 m, with an island where the seed is odd."""
    rng = np.random.default_rng(seed)
    a = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    r = 170 + 25 * np.cos(2 * a + rng.uniform(0, 6)) + 18 * np.cos(3 * a + rng.uniform(0, 6))
    shore = sg.Polygon(np.column_stack([1.4 * r * np.sin(a), r * np.cos(a)]))
    return shore.difference(sg.Point(rng.uniform(-60, 60, 2)).buffer(25)) if seed % 2 else shore


def searched(seed, spacing=60.0):
    """A lake, lines over it with passes missing, and the ground that only those would have shown."""
    ground = ground_of(CRS, [lake(seed)], depth=DEPTH, setback=3.0)
    lines = []
    for y in np.arange(ground.boat.bounds[1] + 10, ground.boat.bounds[3], spacing):
        cut = ground.boat.intersection(sg.LineString([(-500, y), (500, y + 40)]))
        lines += [np.array(part.coords) for part in getattr(cut, "geoms", [cut]) if part.length > 30]
    rng = np.random.default_rng(seed)
    gone = rng.choice(len(lines), max(2, len(lines) // 3), replace=False)
    kept = unary_union([strips(xy) for k, xy in enumerate(lines) if k not in gone])
    only = unary_union([strips(lines[k]) for k in gone]).difference(kept).intersection(ground.water)
    gaps = [g for g in getattr(only, "geoms", [only]) if g.area > 20]
    return ground, gaps, [PlannedLine(lines[k], RANGE, DEPTH, FAR, FAR) for k in gone]


@pytest.fixture(scope="module", params=[2, 7])
def filled(request):
    ground, gaps, missing = searched(request.param)
    settings = FillSettings(RULE, lead_m=8, radius_m=6)
    return ground, gaps, missing, settings, plan_fill_in(ground, gaps, settings)


def test_nearly_all_that_can_be_closed_is_closed(filled):
    """Told by rectangles beside the lines; more lakes, and the length beside re-running, in tests/proof/fill_in.py."""
    ground, gaps, _, _, plan = filled
    seen = unary_union([strips(line.xy) for line in plan.run.lines])
    closed = sum(gap.intersection(seen).area for gap in gaps)
    assert closed >= 0.99 * plan.closable_m2
    assert plan.closed.sum() == pytest.approx(closed, rel=0.004)
    assert plan.closable_m2 == pytest.approx(sum(gap.area for gap in gaps), rel=0.02)
    assert plan.gap_m2 == pytest.approx(plan.closed.sum() + sum(part.area for part, _ in plan.left), rel=0.002)


def test_lines_keep_to_the_boats_water(filled):
    ground, _, _, _, plan = filled
    for leg in plan.run.legs:
        assert ground.water.buffer(-2.9).covers(sg.LineString(leg.xy)), leg.kind


def test_it_is_no_longer_than_running_the_missing_lines_again(filled):
    ground, _, missing, settings, plan = filled
    again = run_of(missing, ClearWater(ground.boat), lead=settings.lead_m, radius=settings.radius_m)
    assert plan.run.length < 1.12 * again.length


def test_each_line_knows_its_gaps(filled):
    """In the order run: what a line closes that none before it has closed."""
    _, gaps, _, _, plan = filled
    left = list(gaps)
    for line, closes, area in zip(plan.run.lines, plan.closes, plan.closed_m2):
        own = strips(line.xy)
        assert area == pytest.approx(sum(g.intersection(own).area for g in left), rel=0.02, abs=3)
        for k in closes:
            assert left[k].intersection(own).area > 0.04 * gaps[k].area
        left = [g.difference(own) for g in left]
    assert set().union(*plan.closes) == set(range(len(gaps)))


def pond(gaps, settings, open_share=None, **ground):
    """A plan in a rectangle of water, 400 by 200 m."""
    return plan_fill_in(ground_of(CRS, [sg.box(-200, -100, 200, 100)], **{"depth": DEPTH, **ground}), gaps, settings,
                        open_share)


def test_a_gap_lies_beside_the_line_not_under_it():
    """A gap 30 m wide fits into one side of the swath."""
    gap = sg.box(-100, -15, 100, 15)
    plan = pond([gap], FillSettings(RULE))
    assert len(plan.run.lines) == 1
    line, = plan.run.lines
    away = abs(line.xy[:, 1])
    assert (away >= 15 + NEAR - 0.5).all() and (away <= FAR - 15 + 0.5).all()
    assert 190 <= line.length <= 225


def test_two_gaps_in_a_row_are_one_line_and_far_ones_are_two():
    near = [sg.box(-120, -10, -20, 10), sg.box(0, -10, 100, 10)]
    assert len(pond(near, FillSettings(RULE)).run.lines) == 1
    apart = [sg.box(-190, -90, -160, -70), sg.box(160, 70, 190, 90)]
    assert len(pond(apart, FillSettings(RULE)).run.lines) == 2


def test_the_hours_there_are_go_to_what_closes_most():
    gaps = [sg.box(-150, 40, 150, 65), sg.box(-150, -65, -110, -40)]
    whole = pond(gaps, FillSettings(RULE, speed_mps=2.0, turn_s=30))
    assert len(whole.run.lines) == 2 and whole.dropped == 0
    plan = pond(gaps, FillSettings(RULE, speed_mps=2.0, turn_s=30, budget_h=0.6 * whole.hours))
    assert (plan.hours <= 0.6 * whole.hours and plan.dropped == 1 and plan.closes == [[1]]) or plan.closes == [[0]]
    assert [reason for _, reason in plan.left][0] == BEYOND_BUDGET
    none = pond(gaps, FillSettings(RULE, budget_h=0.0005))
    assert not none.run.legs and none.hours == 0 and none.dropped == len(whole.run.lines)
    assert "No line can be run" in none.notes[0] and adds_up(none)
    assert {reason for _, reason in none.left} == {BEYOND_BUDGET}


def test_surely_open_gaps_come_first():
    """Twins: the budget goes to the one that stays open in most draws."""
    gaps = [sg.box(-150, 40, 150, 65), sg.box(-150, -65, 150, -40)]
    hours = pond(gaps[:1], FillSettings(RULE)).hours * 1.05
    for share in ([0.9, 0.3], [0.3, 0.9]):
        plan = pond(gaps, FillSettings(RULE, budget_h=hours), np.array(share))
        assert plan.closes == [[int(np.argmax(share))]]
    assert pond(gaps, FillSettings(RULE, least_open=0.5), np.array([0.9, 0.3])).ignored == 1


def test_what_cannot_be_closed_is_told_with_its_reason():
    """The setback keeps the boat 70 m off: a gap in the corner is out of reach."""
    corner, open_water = sg.box(-200, -100, -180, -80), sg.box(-20, -10, 20, 10)
    plan = pond([corner, open_water], FillSettings(RULE), setback=70.0)
    left = {reason: part.area for part, reason in plan.left}
    assert left["setback"] == pytest.approx(400, rel=0.05)
    assert plan.closable_m2 == pytest.approx(800, rel=0.05) and plan.closed[1] == pytest.approx(800, rel=0.02)
    none = pond([corner], FillSettings(RULE), setback=70.0)
    assert not none.run.legs and none.notes[0].startswith("None of the gaps") and adds_up(none)
    assert [reason for _, reason in none.left] == ["setback"]


def test_an_island_stops_the_sound():
    """A gap behind a thin island is seen from its own side only."""
    shore = sg.box(-200, -100, 200, 100).difference(sg.box(-150, -2, 150, 2))
    ground = ground_of(CRS, [shore], depth=DEPTH)
    plan = plan_fill_in(ground, [sg.box(-60, 3, 60, 15)], FillSettings(RULE))
    assert all((line.xy[:, 1] > 2).all() for line in plan.run.lines)
    assert plan.closed.sum() > 0.99 * 1440


def test_the_run_begins_where_the_boat_is():
    gaps = [sg.box(-190, 40, -100, 60), sg.box(100, -60, 190, -40)]
    west, east = (pond(gaps, FillSettings(RULE, start=at)) for at in ((-199.0, 0.0), (199.0, 0.0)))
    assert west.run.lines[0].xy[:, 0].mean() < 0 < east.run.lines[0].xy[:, 0].mean()


@pytest.mark.parametrize("bad, field", [({"speed_mps": 0}, "speed_mps"), ({"budget_h": -1}, "budget_h"),
                                        ({"turn_s": -1}, "turn_s"), ({"least_open": 2}, "least_open")])
def test_settings_that_are_none(bad, field):
    with pytest.raises(InputError) as refused:
        FillSettings(RULE, **bad)
    assert refused.value.field == field


def adds_up(plan):
    """What is taken on is closed or left with a reason, to the square metre."""
    return plan.gap_m2 == pytest.approx(plan.closed.sum() + sum(part.area for part, _ in plan.left), abs=2)


def test_nothing_open_is_no_line_and_gaps_of_another_water_are_refused():
    assert pond([], FillSettings(RULE)).run.legs == []
    sure = pond([sg.box(-20, -10, 20, 10)], FillSettings(RULE, least_open=0.5), np.array([0.2]))
    assert not sure.run.lines and sure.ignored == 1 and sure.ignored_m2 == pytest.approx(800) and not sure.left
    with pytest.raises(InputError, match="off the water"):
        pond([sg.box(900, 900, 950, 950)], FillSettings(RULE))


def test_crumbs_all_over():
    """Gaps of 1 to 4 m2 all over the pond: none is lost, and no more way than five lines that show all of it."""
    rng = np.random.default_rng(5)
    at = rng.uniform((-180, -80), (180, 80), (10, 2))
    crumbs = [sg.box(x, y, x + w, y + h) for (x, y), (w, h) in zip(at, rng.uniform(1, 2, (10, 2)))]
    plan = pond(crumbs, FillSettings(RULE))
    seen = unary_union([strips(line.xy) for line in plan.run.lines])
    assert unary_union(crumbs).intersection(seen).area > 0.98 * unary_union(crumbs).area
    assert plan.gap_m2 == pytest.approx(unary_union(crumbs).area, abs=1) and adds_up(plan)
    assert plan.run.length < 5 * 360 + 4 * 40


def test_a_gap_wider_than_the_swath():
    """All of the pond was missed: the fill-in is a survey of its own, the strips under the boat seen from the next."""
    whole = sg.box(-200, -100, 200, 100)
    plan = pond([whole], FillSettings(RULE))
    seen = unary_union([strips(line.xy) for line in plan.run.lines])
    assert seen.intersection(whole).area > 0.98 * whole.area and adds_up(plan)


def test_gaps_of_two_outings_that_overlap_count_once():
    """The surer one keeps the common ground."""
    plan = pond([sg.box(-100, 0, 50, 20), sg.box(0, 0, 100, 20)], FillSettings(RULE), np.array([0.4, 0.9]))
    assert plan.gap_m2 == pytest.approx(4000, abs=1) and adds_up(plan)
    assert plan.closed == pytest.approx([2000, 2000], rel=0.02) and any("1000 m2" in note for note in plan.notes)


def test_a_gap_that_touches_the_shore_and_lies_half_on_land():
    plan = pond([sg.box(-60, 90, 60, 110)], FillSettings(RULE), setback=8.0)
    assert plan.gap_m2 == pytest.approx(1200, abs=1) and adds_up(plan)
    assert plan.closed.sum() > 0.99 * 1200 and any("1200 m2 of the gaps lie off the water" in n for n in plan.notes)


def test_a_start_on_land_is_carried_to_the_water():
    """From the north-west corner of the land: the run begins at the corner of the boat's water, 10 m inside."""
    plan = pond([sg.box(-100, -15, 100, 15)], FillSettings(RULE, start=(-230.0, 140.0)), setback=10.0)
    assert plan.run.legs[0].xy[0] == pytest.approx((-190, 90), abs=2) and not plan.run.apart
    assert any("The start lies 6" in note or "The start lies 5" in note for note in plan.notes)


def test_gaps_over_a_shoal_are_filled_from_deep_water_or_left_as_shoal():
    """A bank 1 m deep in the middle, 160 m across: what lies beyond the reach from its edge stays open, as shoal."""
    east, north = np.meshgrid(np.arange(-210, 211, 5.0), np.arange(-110, 111, 5.0))
    depths = np.where(np.hypot(east, north) < 80, 1.0, DEPTH)
    grid = DepthGrid.from_array(CRS, (-212.5, 5, 0, 112.5, 0, -5), depths[::-1])
    ground = ground_of(CRS, [sg.box(-200, -100, 200, 100)], depth_grid=grid, min_depth=2.0)
    plan = plan_fill_in(ground, [sg.box(-90, -10, 90, 10)], FillSettings(RULE))
    left = {reason: part for part, reason in plan.left}
    assert set(left) == {"shoal"} and adds_up(plan)
    assert all(sg.LineString(leg.xy).distance(sg.Point(0, 0)) > 78 for leg in plan.run.legs)  # cells of 5 m
    middle = sg.box(-40, -10, 40, 10)  # 80 m from the edge of the bank less 40 m of reach
    assert left["shoal"].intersection(middle).area > 0.8 * middle.area
