"""Areas cut in parts, why ground stays unseen, and what the sound speed does to the share to expect."""
from dataclasses import fields, replace

import numpy as np
import pytest
import shapely.geometry as sg
from athwart.survey.planning.cuts import cut_in_parts, sweep_cost
from athwart.survey.planning.lines import PlannedLine
from athwart.survey.planning.polygons import ground_of
from athwart.survey.planning.predict import PredictSettings, predict
from athwart.survey.planning.spacing import ReachRule, lines_needed
from athwart.survey.planning.survey_plan import LinePlanSettings, plan_lines
from athwart.survey.uncertainty.sigmas import PRESETS
from planlakes import CRS, EAST, NORTH
from shapely.affinity import translate
from shapely.ops import unary_union

DEPTH_M = 4.0
GO = np.sqrt(30.0 ** 2 - DEPTH_M ** 2)  # 29.7 m to each side: an arm 110 m wide takes two lines
RULE = ReachRule(range_m=30.0, overlap=0.0, wander_m=0.0)

BAR, ARM = sg.box(0, 0, 500, 110), sg.box(0, 110, 110, 410)
SHAPES = {
    "L": ([BAR, ARM], 2), "U": ([BAR, ARM, translate(ARM, 390)], 3), "T": ([BAR, translate(ARM, 195)], 2),
    "cross": ([BAR, translate(ARM, 195), translate(ARM, 195, -410)], 3)}


def planned(area, **settings):
    ground = ground_of(CRS, [translate(area, EAST, NORTH)], depth=DEPTH_M)
    return plan_lines(ground, LinePlanSettings(RULE, runs=50, lead_m=10.0, radius_m=6.0, **settings))


@pytest.mark.parametrize("shape", SHAPES)
def test_arms_have_lines_of_their_own(shape):
    """By hand: each arm takes ceil((110 - 2 Go) / 2 Go) + 1 = 2 lines along it, and they lie square to each other."""
    arms, parts = SHAPES[shape]
    area = unary_union(arms)
    assert len(cut_in_parts(area, 2 * GO, 52.0)) == parts
    plan = planned(area)
    assert len(plan.run.lines) == parts * lines_needed(110.0, GO, 2 * GO) == 2 * parts
    assert sorted(azimuth % 90 for azimuth in plan.azimuths) == pytest.approx([0, 0], abs=0.2)


def test_an_area_cut_takes_less_way_than_its_best_direction():
    """Of a T, at no smaller share: 7 lines along the bar, 5 of them across the stem, or 2 along each."""
    area = unary_union(SHAPES["T"][0])
    plan, one_way = planned(area), planned(area, round_shore="never", direction="given", azimuth=90.0)
    assert len(one_way.run.lines) == 7 and plan.run.length < 0.95 * one_way.run.length
    assert plan.prediction.nominal > one_way.prediction.nominal - 0.1


@pytest.mark.parametrize("area", [
    sg.box(0, 0, 600, 300).difference(sg.box(280, 260, 320, 300)),           # a bay too small for a line
    sg.box(0, 0, 600, 600).difference(sg.box(200, 200, 400, 400)),           # an island: no cut saves a line
    sg.Point(0, 0).buffer(300).difference(sg.Point(0, 420).buffer(200))])    # a bean
def test_what_needs_no_fewer_lines_is_not_cut(area):
    assert len(cut_in_parts(area, 2 * GO, 52.0)) == 1


def test_parts_make_up_the_area():
    """Of a wiggling shore the cut is made on a plain outline; nothing is lost or taken twice."""
    rim = unary_union(SHAPES["U"][0]).exterior
    rng = np.random.default_rng(1)
    area = sg.Polygon([np.array(rim.interpolate(at).coords[0]) + rng.normal(0, 3, 2)
                       for at in np.arange(0, rim.length, 12.0)]).buffer(0)
    parts = [part for part, _ in cut_in_parts(area, 2 * GO, 60.0)]
    assert len(parts) > 1 and unary_union(parts).symmetric_difference(area).area < 1e-6 * area.area
    assert sum(part.area for part in parts) == pytest.approx(area.area, rel=1e-9)


def test_cost_of_a_sweep():
    """600 x 100 m at 50 m: two lines of 600 m, or twelve of 100 m; across a gap wider than a turn, one more each."""
    assert sweep_cost(sg.box(0, 0, 600, 100), 90.0, 50.0, 60.0) == pytest.approx(2 * 660)
    assert sweep_cost(sg.box(0, 0, 600, 100), 0.0, 50.0, 60.0) == pytest.approx(12 * 160)
    apart = sg.MultiPolygon([sg.box(0, 0, 600, 100), sg.box(700, 0, 900, 100)])
    assert sweep_cost(apart, 90.0, 50.0, 60.0) == pytest.approx(4 * 60 + 2 * 800, rel=0.02)


def test_without_a_setback_nothing_is_put_down_to_it():
    area = sg.box(0, 0, 300, 200)
    assert "setback" not in {reason for _, reason in planned(area, round_shore="never").uncovered}
    ground = ground_of(CRS, [translate(area, EAST, NORTH)], depth=DEPTH_M, setback=12.0)
    plan = plan_lines(ground, LinePlanSettings(RULE, "given", azimuth=90.0, round_shore="never", runs=50))
    at_ends = {reason: polygon.area for polygon, reason in plan.uncovered}["setback"]
    assert 0.8 * 2 * 12 * 200 < at_ends < 1.2 * 2 * (12 + 3) * 200


def test_the_share_moves_with_the_sound_speed():
    """One line over wide water sees 2 L (Go - Gi) of it, and both edges go with the sound speed: by 4 % for 58 m/s, and
    so does the share. What the heading adds is told apart by draws without."""
    none = replace(PRESETS["ordinary"], **{f.name: 0.0 for f in fields(PRESETS["ordinary"])})
    ground = ground_of(CRS, [translate(sg.box(0, 0, 400, 200), EAST, NORTH)], depth=DEPTH_M)
    x0, y0, x1, y1 = ground.area.bounds
    line = PlannedLine(np.array([(x0, (y0 + y1) / 2), (x1, (y0 + y1) / 2)]), 30.0, DEPTH_M, GO, GO)
    still, moved = (predict([line], ground, PredictSettings(wander_m=0.0, runs=400, errors=replace(
        none, sigma_sound_speed=sigma))) for sigma in (0.0, 58.0))
    share = 100 * 2 * (GO - DEPTH_M * np.tan(np.radians(20.0))) / 200
    assert still.expected == pytest.approx(share, abs=0.5) and still.shares.std() < 0.3
    ranked = np.sort(moved.shares)  # a further run falls below the k-th of 400 with k / 401: 2.5 % is all but the tenth
    assert ranked[9] <= moved.low < ranked[9] + 0.05 * (ranked[10] - ranked[9])
    assert np.sqrt(moved.shares.var() - still.shares.var()) == pytest.approx(0.04 * share, rel=0.12)
