"""Where beams meet land: against shapely's own overlay of each beam, one at a time."""
import numpy as np
import pytest
import shapely.geometry as sg
from athwart.survey.beams.land import near_shore, water_reach
from hypothesis import given
from hypothesis import strategies as st

LAKE = sg.Polygon([(0, 0), (100, 0), (100, 60), (52, 60), (50, 20), (48, 60), (0, 60)],  # a spit from the north
                  [[(20, 20), (30, 20), (30, 30), (20, 30)]])  # an island


def lake_of(vertices, seed=0):
    """A wavy lake of some 600 m with two islands."""
    angle = np.linspace(0, 2 * np.pi, vertices, endpoint=False)
    radius = 300 + 60 * np.sin(5 * angle) + 4 * np.random.default_rng(seed).normal(size=vertices)
    shore = sg.Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])).buffer(0)
    return shore.difference(sg.Point(50, 40).buffer(30)).difference(sg.Point(-90, -60).buffer(12, 2))


def by_overlay(water, east, north, angle, reach):
    """The length of the beam's part in the water that starts at the boat."""
    boat = sg.Point(east, north)
    if not water.contains(boat):
        return 0.0
    beam = sg.LineString([(east, north), (east + reach * np.sin(angle), north + reach * np.cos(angle))])
    parts = beam.intersection(water)
    return next(p.length for p in getattr(parts, "geoms", [parts]) if p.distance(boat) < 1e-9)


def test_a_thousand_beams_against_overlay():
    water, rng = lake_of(400), np.random.default_rng(1)
    east, north = rng.uniform(-380, 380, (2, 1000))
    angle, reach = rng.uniform(0, 2 * np.pi, 1000), rng.uniform(1, 200, 1000)
    found = water_reach(water, east, north, np.sin(angle), np.cos(angle), reach)
    truth = [by_overlay(water, *beam) for beam in zip(east, north, angle, reach)]
    np.testing.assert_allclose(found, truth, atol=1e-8)
    assert 100 < np.sum(found == reach) < 900
    assert 100 < np.sum(found == 0) < 900


@given(st.integers(0, 1000), st.floats(0.5, 99.5), st.floats(0.5, 59.5), st.floats(0, 6.28), st.floats(0.1, 300))
def test_any_beam_against_overlay(seed, east, north, angle, reach):
    water = [LAKE, sg.MultiPolygon([LAKE, sg.box(200, 0, 300, 100)])][seed % 2]
    found = water_reach(water, [east], [north], [np.sin(angle)], [np.cos(angle)], reach)[0]
    truth = by_overlay(water, east, north, angle, reach)
    # a beam that just grazes a corner may end there or run on
    grazes = any(abs((x - east) * np.cos(angle) - (y - north) * np.sin(angle)) < 1e-9
                 for ring in (LAKE.exterior, *LAKE.interiors) for x, y in ring.coords)
    assert grazes or found == pytest.approx(truth, abs=1e-6)


def test_islands_and_spits_end_a_beam_and_it_never_comes_back():
    east, north = np.array([5.0, 5.0, 40.0, 60.0, 40.0]), np.array([25.0, 15.0, 40.0, 40.0, 10.0])
    right = water_reach(LAKE, east, north, np.ones(5), np.zeros(5), 80.0)
    np.testing.assert_allclose(right, [15, 80, 9, 40, 60], atol=1e-9)


def test_a_corner_lets_nothing_through():
    square = sg.box(0, 0, 10, 10)
    diagonal = np.sqrt(0.5)
    assert water_reach(square, [5], [5], [diagonal], [diagonal], 100)[0] == pytest.approx(5 * np.sqrt(2))
    fan = sg.Polygon([(0, 0), (10, 0), (10, 5), (10, 10), (0, 10)])  # a corner in the middle of a straight shore
    assert water_reach(fan, [5], [5], [1], [0], 100)[0] == pytest.approx(5)


def test_aground_unknown_and_empty():
    found = water_reach(LAKE, [-5, 25, 0, np.nan, 5], [5, 25, 30, 5, 5], np.ones(5), np.zeros(5),
                        [9, 9, 9, 9, np.nan])
    np.testing.assert_array_equal(found, [0, 0, 0, np.nan, np.nan])
    assert water_reach(sg.Polygon(), [1.0], [1.0], [1.0], [0.0], 5.0)[0] == 0
    assert len(water_reach(LAKE, [], [], [], [], 5.0)) == 0


def test_order_and_direction_of_rings_do_not_matter():
    water, rng = lake_of(300), np.random.default_rng(2)
    east, north = rng.uniform(-250, 250, (2, 500))
    angle = rng.uniform(0, 2 * np.pi, 500)
    turned = sg.Polygon(water.exterior.coords[::-1], [r.coords[::-1] for r in water.interiors])
    one = water_reach(water, east, north, np.sin(angle), np.cos(angle), 90.0)
    other = water_reach(turned, east[::-1], north[::-1], np.sin(angle)[::-1], np.cos(angle)[::-1], 90.0)
    np.testing.assert_allclose(one, other[::-1], atol=1e-9)


def test_patches_near_the_shore_are_never_missed():
    water, rng = lake_of(300), np.random.default_rng(3)
    middle = rng.uniform(-400, 400, (300, 1, 2))
    corners = middle + rng.uniform(-15, 15, (300, 4, 2))
    found = near_shore(water, corners)
    shore = water.boundary
    meets = np.array([shore.intersects(sg.MultiPoint(c).convex_hull) for c in corners])
    assert meets.sum() > 20
    assert found[meets].all()
    assert found.mean() < 0.6
    assert not near_shore(sg.Polygon(), corners).any()
    assert near_shore(water, corners[:0]).shape == (0,)


def test_a_slanting_patch_is_told_from_the_shore_beside_it():
    # extents overlap, yet a line parts them: along the patch, across it, or along the shore
    patch = np.array([[(0, 0), (20, 20), (21, 19), (1, -1)]], float)
    for east, north, meets in ((2, 12, False), (18, 8, False), (25, 25, False), (10, 10, True), (11, 9.5, True)):
        shore = sg.Polygon([(east, north), (east + 4, north + 4), (east + 4, north)])
        assert list(near_shore(shore, patch)) == [meets], (east, north)
    assert list(near_shore(sg.box(-5, 10, 8, 30), patch)) == [False]
    assert list(near_shore(sg.box(-5, 7, 8, 30), patch)) == [True]


def test_a_straight_patch_is_near_the_shore_exactly_where_shapely_says_so():
    """Rectangles any way round: for these the lines tried are all that can part them from an edge."""
    water, rng = lake_of(60), np.random.default_rng(4)
    turn, half = rng.uniform(0, 2 * np.pi, 400), rng.uniform(0.5, 60, (400, 2))
    along, across = np.column_stack([np.sin(turn), np.cos(turn)]), np.column_stack([np.cos(turn), -np.sin(turn)])
    corners = rng.uniform(-350, 350, (400, 1, 2)) + np.stack(
        [a * half[:, :1] * along + b * half[:, 1:] * across for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))], axis=1)
    truth = [sg.Polygon(patch).intersects(water.boundary) for patch in corners]
    assert 100 < sum(truth) < 300
    np.testing.assert_array_equal(near_shore(water, corners), truth)
