"""Widest circle and length of gaps, against figures from geometry and another library's search."""
import math

import numpy as np
import pytest
from athwart.survey.geometry.widths import inscribed_diameter, rectangle_sides, run_length
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box
from shapely.ops import polylabel

RING = Point(0, 0).buffer(20, 64).difference(Point(0, 0).buffer(17, 64))
CORNER = Polygon([(0, 0), (10, 0), (10, 2), (2, 2), (2, 10), (0, 10)])
DISC_ON_A_STEM = Point(0, 0).buffer(1, 64).union(box(0, -0.01, 300, 0.01))


@pytest.mark.parametrize("polygon, diameter", [
    (box(0, 0, 10, 10), 10),
    (box(0, 0, 300, 3.6), 3.6),
    (Polygon([(0, 0), (6, 0), (0, 8)]), 4),  # inradius of the 6-8-10 triangle is 2
    (Polygon([(0, 0), (2, 0), (1, math.sqrt(3))]), 2 / math.sqrt(3)),  # equilateral: side / (2 sqrt 3), twice
    (Point(3, 4).buffer(7, 64), 14),
    (RING, 3),
    (CORNER, 4 * math.sqrt(2) / (1 + math.sqrt(2))),  # touches two walls and the inner corner: r sqrt 2 = 2 sqrt 2 - r
    (DISC_ON_A_STEM, 2),
    (box(0, 0, 1000, 1e-4), 1e-4),
    (MultiPolygon([box(0, 0, 1, 1), box(3, 0, 6, 3)]), 3),
    (box(0, 0, 20, 20).difference(box(9, 9, 11, 11)), 2 * (11 - 11 * math.sqrt(2) / (1 + math.sqrt(2))) * 2),
], ids=lambda value: "" if isinstance(value, float) else None)
def test_known_shapes(polygon, diameter):
    if polygon.area == 396:  # circle in a corner of the frame: touches two walls and the hole's corner at (9, 9)
        diameter = 2 * 9 * math.sqrt(2) / (1 + math.sqrt(2))
    assert inscribed_diameter(polygon) == pytest.approx(diameter, rel=0.01)


@settings(max_examples=12, deadline=None)
@given(st.lists(st.tuples(st.integers(-50, 50), st.integers(-50, 50)), min_size=2, max_size=5, unique=True),
       st.floats(2, 15))
def test_bent_strips_against_a_search_by_another_library(points, half):
    polygon = LineString(points).buffer(half, 6)
    if polygon.geom_type != "Polygon":
        return
    centre = polylabel(polygon, tolerance=half / 200)
    assert inscribed_diameter(polygon) == pytest.approx(2 * centre.distance(polygon.boundary), rel=0.01)


@given(st.floats(0.1, 500), st.floats(0.1, 500), st.floats(0, 180))
def test_rectangles_at_any_angle(length, width, angle):
    sides = rectangle_sides(rotate(box(0, 0, length, width), angle))
    assert sides == pytest.approx((max(length, width), min(length, width)), rel=1e-6)


def test_length_of_straight_bent_and_closed_strips():
    assert run_length(box(0, 0, 300, 3.6), 3.6) == pytest.approx(300)
    assert run_length(box(0, 0, 10, 10), 10) == pytest.approx(10)
    assert run_length(CORNER, 2) == pytest.approx(18)  # both arms, the corner once
    assert run_length(RING, 3) == pytest.approx(2 * math.pi * 18.5, rel=0.001)


def test_nothing_and_a_hair():
    assert inscribed_diameter(Polygon()) == 0
    assert run_length(box(0, 0, 7, 1e-9), 0) == pytest.approx(7)
    assert rectangle_sides(Polygon([(0, 0), (3, 4), (6, 8)])) == pytest.approx((10, 0))


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.floats(1e-3, 1e3))
def test_scaling_scales_the_width(seed, scale):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(-1, 1, (12, 2))
    order = np.argsort(np.arctan2(*xy.T))
    small = inscribed_diameter(Polygon(xy[order]))
    assert inscribed_diameter(Polygon(xy[order] * scale)) == pytest.approx(small * scale, rel=0.01)
