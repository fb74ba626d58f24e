"""Edges moved by their error, against areas worked out by hand and against drawn errors."""
import math

import numpy as np
import pytest
from athwart.survey.coverage.edge_error import margins, moved_edge, moved_levels
from athwart.survey.model.constants import ONE_SIDED_95
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, box


def test_the_factor_is_the_one_sided_95_percent_point():
    # JCGM 100:2008 table G.1 gives 1.645 for 90 % two-sided, which is 95 % one-sided
    assert 0.5 * (1 + math.erf(ONE_SIDED_95 / math.sqrt(2))) == pytest.approx(0.95, abs=1e-4)


@given(st.floats(0, 20), st.floats(0, 20))
def test_the_two_margins_add_up_to_that_of_both_errors(sigma, shared):
    within, rest = margins(sigma, shared)
    assert within + rest == pytest.approx(1.645 * math.hypot(sigma, shared), abs=1e-9)
    assert within >= 0
    assert rest >= -1e-9


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30)), min_size=3, max_size=8), st.floats(0.1, 5))
def test_an_edge_is_moved_by_the_distance(points, distance):
    hull = Polygon([*points, points[0]]).convex_hull
    if hull.geom_type != "Polygon":
        return
    grown, exact = moved_edge(hull, distance), hull.buffer(distance, 256)
    assert exact.buffer(1e-3 * distance).contains(grown)
    assert grown.buffer(0.02 * distance).contains(exact)
    assert moved_edge(grown, -distance).symmetric_difference(hull).area < 0.02 * distance * hull.length


def test_nothing_to_move():
    assert moved_edge(Polygon(), 3).is_empty
    assert moved_edge(box(0, 0, 1, 1), 0).area == 1


def test_strips_of_a_pass_are_joined_before_the_pass_shrinks():
    halves = [(box(0, 0, 50, 20), 1.0), (box(50, 0, 100, 20), 1.0)]
    low = moved_levels([[halves]], 1, 0.0, -1)[0]
    assert low.area == pytest.approx((100 - 2 * 1.645) * (20 - 2 * 1.645), rel=0.001)


def test_a_strip_of_large_error_does_not_drag_the_others_along():
    strips = [(box(0, 0, 50, 20), 0.5), (box(50, 0, 60, 20), 4.0)]
    low = moved_levels([[strips]], 1, 0.0, -1)[0]
    small, large = 1.645 * 0.5, 1.645 * 4
    alone = box(small, small, 50 - small, 20 - small)
    both = box(large, large, 60 - large, 20 - large)
    assert low.symmetric_difference(alone.union(both)).area < 0.5
    high = moved_levels([[strips]], 1, 0.0, 1)[0]
    assert high.symmetric_difference(strips[0][0].buffer(small).union(strips[1][0].buffer(large))).area < 3


def test_strips_of_nearly_one_error_take_the_larger():
    strips = [(box(0, 0, 50, 20), 0.98), (box(50, 0, 100, 20), 1.0)]
    low = moved_levels([[strips]], 1, 0.0, -1)[0]
    assert low.area == pytest.approx((100 - 2 * 1.645) * (20 - 2 * 1.645), rel=0.001)


def test_a_shared_error_closes_no_seam_inside_an_outing_but_moves_its_rim():
    west, east = [(box(0, 0, 52, 20), 0.5)], [(box(48, 0, 100, 20), 0.5)]
    total = 1.645 * math.hypot(0.5, 2)
    one = moved_levels([[west, east]], 1, 2.0, -1)[0]
    assert one.area == pytest.approx((100 - 2 * total) * (20 - 2 * total), rel=0.002)
    two = moved_levels([[west], [east]], 1, 2.0, -1)[0]
    assert two.area == pytest.approx(2 * (52 - 2 * total) * (20 - 2 * total), rel=0.002)


def test_levels_are_moved_one_by_one():
    passes = [[(box(0, 0, 100, 100), 0.5)], [(box(0, 0, 100, 100), 0.5)]]
    total = 1.645 * math.hypot(0.5, 2)
    for sign in (-1, 1):
        once, twice = moved_levels([passes], 2, 2.0, sign)
        assert once.area == pytest.approx(twice.area)
        side = 100 + 2 * sign * total
        assert once.area == pytest.approx(side**2 - (sign > 0) * (4 - math.pi) * total**2, rel=0.002)


def test_no_outings():
    assert moved_levels([], 2, 2.0, 1)[1].is_empty


def test_a_place_kept_is_seen_19_times_in_20_and_hardly_more_often_at_the_rim():
    """The rim of a kept strip lies where its edge, drawn anew, still reaches in 95 % of draws."""
    rng = np.random.default_rng(4)
    strip, sigma, shared = box(0, 0, 1000, 60), 0.75, 2.0
    low = moved_levels([[[(strip, sigma)]]], 1, shared, -1)[0]
    rim = low.bounds[3]
    shift = rng.normal(0, sigma, 40000) + rng.normal(0, shared, 40000)
    assert np.mean(60 + shift > rim) == pytest.approx(0.95, abs=0.006)
    assert low.contains(Point(500, 30))


def test_passes_of_one_outing_share_the_largest_rest():
    steady, rough = [(box(0, 0, 100, 30), 0.5)], [(box(0, 100, 100, 130), 2.0)]
    rest = 1.645 * (math.hypot(0.5, 2) - 0.5)
    low = moved_levels([[steady, rough]], 1, 2.0, -1)[0]
    expected = sum((100 - 2 * m) * (30 - 2 * m) for m in (1.645 * 0.5 + rest, 1.645 * 2.0 + rest))
    assert low.area == pytest.approx(expected, rel=0.003)
