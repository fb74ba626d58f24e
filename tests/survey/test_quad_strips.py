"""Ribbons: one ring for many quads where that is exact, quad by quad where it is not, and unions that lose nothing."""
import numpy as np
import pytest
import shapely.geometry as sg
from athwart.survey.geometry import shapes
from athwart.survey.swaths.quad_strips import MAX_INTERVALS, quad_strips
from shapely.ops import unary_union
from shapely.validation import make_valid


def edges(at, azimuth_deg, near=1.8, far=30.0, side=1):
    """Inner and outer points of beams at (n, 2) positions."""
    a = np.radians(azimuth_deg)
    across = side * np.column_stack([np.cos(a), -np.sin(a)])
    return at + np.reshape(near, (-1, 1)) * across, at + np.reshape(far, (-1, 1)) * across


def line(count, step=1.5):
    """Positions due north."""
    return np.column_stack([np.zeros(count), np.arange(count) * step])


def quad_by_quad(inner, outer, drawn=None):
    """Every quad on its own, valid."""
    drawn = np.ones(len(inner) - 1, bool) if drawn is None else drawn
    quads = [sg.Polygon([inner[i], outer[i], outer[i + 1], inner[i + 1]]) for i in np.flatnonzero(drawn)]
    return [q if q.is_valid else make_valid(q) for q in quads]


def all_drawn(inner):
    return np.ones(len(inner) - 1, bool)


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("astern", [1, -1])
def test_a_straight_strip_is_rings_only_whichever_way_round(side, astern):
    count = 3 * MAX_INTERVALS + 8
    inner, outer = edges(line(count)[::astern], np.zeros(count), side=side)
    made = quad_strips(inner, outer, all_drawn(inner))
    assert (made.rings, made.quads) == (4, 0)
    assert sorted(made.intervals) == [7, MAX_INTERVALS, MAX_INTERVALS, MAX_INTERVALS]
    assert sorted(made.starts) == [k * MAX_INTERVALS for k in range(4)]
    assert unary_union(made.polygons).area == pytest.approx(28.2 * (count - 1) * 1.5)


def test_breaks_part_the_rings():
    inner, outer = edges(line(20), np.zeros(20))
    drawn = all_drawn(inner)
    drawn[[0, 7, 8]] = False
    made = quad_strips(inner, outer, drawn)
    assert list(zip(made.starts, made.intervals)) == [(1, 6), (9, 10)]
    nothing = quad_strips(inner, outer, np.zeros(19, bool))
    assert (len(nothing), nothing.rings, nothing.quads) == (0, 0, 0)


def test_a_ring_that_meets_itself_is_what_it_winds_round():
    angle = np.arange(64) * 0.12  # more than once round
    at = 40 * np.column_stack([np.sin(angle), np.cos(angle)])
    inner, outer = edges(at, np.degrees(angle) + 90)
    made = quad_strips(inner, outer, all_drawn(inner))
    assert (made.rings, made.quads) == (1, 0)
    truth = unary_union(quad_by_quad(inner, outer))
    assert unary_union(made.polygons).symmetric_difference(truth).area < 1e-9


def agreed_area(polygons):
    """Area of a union on which overlays in several places agree; a single overlay of slivers may drop a piece."""
    areas = []
    for dx, dy in ((0, 0), (1234.5, 777.7), (-3e4, 2e4), (5e5, 5e6)):
        moved = [shapes.polygon(np.array(p.exterior.coords) + (dx, dy)) for q in polygons for p in shapes.parts(q)]
        areas.append(unary_union([p if p.is_valid else make_valid(p) for p in moved]).area)
    return float(np.median(areas))


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("noise", [0.0, 0.3])
def test_a_turn_within_reach_of_its_centre_is_one_row(side, noise):
    angle = np.arange(41) * 0.075  # half round a centre 20 m off, beams of 30 m
    at = np.column_stack([20 * side * (1 - np.cos(angle)), 20 * np.sin(angle)])
    azimuth = side * np.degrees(angle) + np.random.default_rng(5).normal(0, noise, 41)
    inner, outer = edges(at, azimuth, side=side)
    made = quad_strips(inner, outer, all_drawn(inner))
    assert (made.rings, made.quads) == (1, 0)
    area = unary_union(made.polygons).area  # without noise all beams meet in one point, and overlays of quads lose 2 %
    assert area == pytest.approx(agreed_area(quad_by_quad(inner, outer)), rel=1e-9)


def test_quads_without_area_are_left_out_and_one_point_of_width_is_kept():
    at = line(10)
    at[4:7] = at[4]
    inner, outer = edges(at, np.zeros(10))
    assert sum(quad_strips(inner, outer, all_drawn(inner)).intervals) == 7
    far = np.full(10, 30.0)
    far[5] = 1.8  # closes to a point
    inner, outer = edges(line(10), np.zeros(10), far=far)
    area = unary_union(quad_strips(inner, outer, all_drawn(inner)).polygons).area
    assert area == pytest.approx(28.2 * 1.5 * 8)


def test_a_bow_tie_is_two_triangles():
    inner, outer = edges(line(2), [0.0, 20.0], near=0.0)  # to starboard the second beam cuts back across the first
    made = quad_strips(inner, outer, np.array([True]))
    assert len(made.polygons) == 2
    assert made.quads == 1
    crossing = np.array([1.5 / np.tan(np.radians(20)), 0.0])
    near, far = (unary_union([p]) for p in made.polygons)
    assert sg.Point(crossing).distance(near) < 1e-12
    assert sg.Point(crossing).distance(far) < 1e-12
    assert near.area == pytest.approx(crossing[0] * 1.5 / 2)
    assert near.area + far.area == pytest.approx(make_valid(sg.Polygon(
        [inner[0], outer[0], outer[1], inner[1]])).area)


def test_a_boat_that_goes_astern_in_its_turn_keeps_both_ways_apart():
    ahead, back = np.linspace(0, 2, 25), np.linspace(1.9, 0.2, 20)  # round centres to starboard, then the other way
    at = np.concatenate([np.column_stack([10 * (1 - np.cos(ahead)), 10 * np.sin(ahead)]),
                         np.column_stack([11 - 12 * np.cos(back), 1 + 12 * np.sin(back)])])
    inner, outer = edges(at, np.degrees(np.concatenate([ahead, back])), near=0.0)
    made = quad_strips(inner, outer, all_drawn(inner))
    assert made.rings == 2
    area = unary_union(made.polygons).area
    assert area == pytest.approx(agreed_area(quad_by_quad(inner, outer)), rel=1e-9)


@pytest.mark.parametrize("seed", range(60))
def test_crossing_beams_lose_nothing_in_the_union(seed):
    rng = np.random.default_rng(seed)
    count = rng.integers(5, 30)
    azimuth, steps = np.cumsum(rng.uniform(-20, 20, count)), rng.uniform(0.5, 4, count)
    a = np.radians(azimuth)
    at = np.cumsum(steps[:, None] * np.column_stack([np.sin(a), np.cos(a)]), axis=0)
    inner, outer = edges(at, azimuth, near=rng.choice([0.0, 1.8]))
    made = quad_strips(inner, outer, all_drawn(inner))
    assert all(p.is_valid for p in made.polygons)
    union = unary_union(made.polygons)
    assert union.area == pytest.approx(agreed_area(quad_by_quad(inner, outer)), rel=1e-9)


def test_the_turn_that_an_overlay_of_separately_rounded_crossings_gets_a_fifth_wrong():
    steps = [(0.5, 0.0), (1.5, 12.375), (3.265625, 3.0), (1.5, -1.0), (1.0, -1.0), (4.0, 13.0), (1.0, 18.0),
             (2.25, 0.0), (1.0, 2.0)]
    length, turn = np.array(steps).T
    azimuth = 2.0 + np.cumsum(turn)
    a = np.radians(azimuth)
    at = np.cumsum(length[:, None] * np.column_stack([np.sin(a), np.cos(a)]), axis=0)
    for shift in np.random.default_rng(1).uniform(-10, 10, (50, 2)):
        inner, outer = edges(at + shift, azimuth, near=0.0)
        union = unary_union(quad_strips(inner, outer, all_drawn(inner)).polygons)
        assert union.area == pytest.approx(agreed_area(quad_by_quad(inner, outer)), rel=1e-9)


def test_noisy_headings_at_ping_rate():
    rng = np.random.default_rng(2)
    inner, outer = edges(line(150, 1.0), rng.normal(0, 8, 150))
    made = quad_strips(inner, outer, all_drawn(inner))
    assert made.quads > 50
    assert unary_union(made.polygons).area == pytest.approx(agreed_area(quad_by_quad(inner, outer)), rel=1e-9)


@pytest.mark.parametrize("seed", range(40))
def test_beams_that_meet_corner_on_corner_make_valid_polygons(seed):
    rng = np.random.default_rng(seed)
    count = rng.integers(20, 200)
    at = np.round(np.cumsum(rng.normal(0, 1, (count, 2)), axis=0))  # a boat adrift, fixes and beams on a grid of 1 m
    made = quad_strips(*edges(at, rng.choice([0, 90, 180, 270], count), near=0.0), all_drawn(at))
    assert all(p.is_valid for p in made.polygons)
