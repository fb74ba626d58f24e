"""Rays and nearest places against shapely's own intersection and distance."""
import numpy as np
import pytest
from athwart.survey.geometry.edge_index import EdgeIndex
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiLineString, Point, box


def tangle(seed, count=30, size=40):
    """Random lines over a square, enough of them for several bundles."""
    rng = np.random.default_rng(seed)
    return [rng.uniform(0, size, 2) + np.cumsum(rng.normal(0, 2, (rng.integers(2, 12), 2)), axis=0)
            for _ in range(count)]


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_rays_end_where_shapely_says(seed):
    rng = np.random.default_rng(seed)
    lines = tangle(seed)
    at, angle, reach = rng.uniform(0, 40, (70, 2)), rng.uniform(0, 2 * np.pi, 70), rng.uniform(0.5, 60, 70)
    along = np.column_stack([np.sin(angle), np.cos(angle)])
    found = EdgeIndex(lines).ray_length(at, along, reach)
    walls = MultiLineString([LineString(line) for line in lines])
    for i in range(70):
        met = LineString([at[i], at[i] + reach[i] * along[i]]).intersection(walls)
        expected = reach[i] if met.is_empty else met.distance(Point(at[i]))
        assert found[i] == pytest.approx(expected, abs=1e-6)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_the_nearest_place_is_the_one_shapely_finds(seed):
    rng = np.random.default_rng(seed)
    lines = tangle(seed, 20)
    at, reach = rng.uniform(-10, 50, (70, 2)), rng.uniform(0, 8, 70)
    place, distance = EdgeIndex(lines).nearest(at, reach)
    walls = MultiLineString([LineString(line) for line in lines])
    for i in range(70):
        expected = walls.distance(Point(at[i]))
        if expected > reach[i]:
            assert np.isinf(distance[i])
            assert np.isnan(place[i]).all()
        else:
            assert distance[i] == pytest.approx(expected, abs=1e-9)
            assert np.hypot(*(place[i] - at[i])) == pytest.approx(expected, abs=1e-9)
            assert walls.distance(Point(place[i])) < 1e-9


def test_a_ray_through_a_corner_does_not_slip_out():
    index = EdgeIndex.of(box(0, 0, 10, 10))
    half = np.sqrt(0.5)
    assert index.ray_length(np.array([[5.0, 5.0]]), np.array([[half, half]]), np.array([99.0])) == pytest.approx(
        5 * np.sqrt(2))


def test_no_edges_and_no_points():
    nothing = EdgeIndex([])
    assert nothing.ray_length(np.zeros((1, 2)), np.array([[1.0, 0.0]]), np.array([7.0])) == 7
    assert np.isinf(nothing.nearest(np.zeros((1, 2)), np.array([7.0]))[1])
    assert len(EdgeIndex.of(box(0, 0, 1, 1)).nearest(np.empty((0, 2)), np.empty(0))[1]) == 0
