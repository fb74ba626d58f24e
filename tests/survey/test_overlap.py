"""Levels of looks against counting, point by point, how many polygons hold it."""
import numpy as np
import pytest
from athwart.survey.geometry import overlap, shapes
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, box

coordinate = st.integers(0, 40).map(lambda v: v / 2)


@st.composite
def quadrilaterals(draw):
    """A convex polygon: the hull of a few random points, sometimes flat."""
    points = draw(st.lists(st.tuples(coordinate, coordinate), min_size=3, max_size=6))
    hull = Polygon([*points, points[0]]).convex_hull
    return hull if hull.geom_type == "Polygon" else Polygon()


@settings(max_examples=60, deadline=None)
@given(st.lists(quadrilaterals(), max_size=7), st.integers(1, 3))
def test_each_level_holds_the_points_that_so_many_polygons_hold(polygons, depth):
    found = overlap.levels(polygons, depth)
    assert len(found) == depth
    rng = np.random.default_rng(len(polygons))
    for x, y in rng.uniform(0, 20, (60, 2)):
        point = Point(x, y)
        if any(p.boundary.distance(point) < 1e-6 for p in polygons if not p.is_empty):
            continue
        count = sum(p.contains(point) for p in polygons)
        assert [level.contains(point) for level in found] == [count >= n for n in range(1, depth + 1)]


@settings(max_examples=40, deadline=None)
@given(st.lists(quadrilaterals(), max_size=6))
def test_the_areas_of_all_levels_add_up_to_the_areas_of_the_polygons(polygons):
    found = overlap.levels(polygons, max(1, len(polygons)))
    assert sum(level.area for level in found) == pytest.approx(sum(p.area for p in polygons), abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.lists(quadrilaterals(), min_size=1, max_size=6))
def test_the_union_is_the_one_that_shapely_gives(polygons):
    assert overlap.merged(polygons).symmetric_difference(shapes.union(polygons)).area < 1e-9


@settings(max_examples=40, deadline=None)
@given(st.lists(quadrilaterals(), min_size=1, max_size=8))
def test_members_of_a_group_are_disjoint_and_none_is_lost(polygons):
    groups = overlap.disjoint_groups(polygons)
    for group in groups:
        assert all(a.disjoint(b) for i, a in enumerate(group) for b in group[:i])
    assert sum(map(len, groups)) == sum(not p.is_empty for p in polygons)


def test_strips_side_by_side_need_two_groups():
    strips = [box(0, 10 * i, 500, 10 * i + 12) for i in range(40)]
    assert [len(group) for group in overlap.disjoint_groups(strips)] == [20, 20]


def test_sets_taken_together_count_their_looks_together():
    first = overlap.levels([box(0, 0, 4, 4), box(0, 0, 2, 4)], 3)
    second = overlap.levels([box(1, 0, 5, 4)], 3)
    together = overlap.joined_levels([first, second], 3)
    assert [level.area for level in together] == pytest.approx([20.0, 16.0, 4.0])
    assert together[2].equals(box(1, 0, 2, 4))


def test_no_looks_at_all():
    assert [level.is_empty for level in overlap.levels([], 2)] == [True, True]
    assert overlap.merged([Polygon(), shapes.empty()]).is_empty


def test_what_only_touches_does_not_get_into_a_union(monkeypatch):
    """Looks that share an edge meet in lines, too; GEOS 3.11 then failed in a union of polygons and lines mixed."""
    joined = []

    class Heard(type(overlap.patience)):
        @staticmethod
        def heard(function, *others):
            if function.__name__ == "union":
                joined.extend([function.__self__, *others])
            return function(*others)
    monkeypatch.setattr(overlap, "patience", Heard("heard"))
    ell = Polygon([(0, 0), (4, 0), (4, 2), (2, 2), (2, 4), (0, 4)])
    other = Polygon([(1, 1), (6, 1), (6, 6), (2, 6), (2, 2.5), (1, 2.5)])
    assert "Line" in {one.geom_type[:4] for one in ell.intersection(other).geoms}
    stacks = [[ell, shapes.empty()], [other, shapes.empty()]]
    found = overlap.joined_levels(stacks, 2)
    assert joined and {part.geom_type for one in joined for part in getattr(one, "geoms", [one])} == {"Polygon"}
    assert found[1].area == pytest.approx(sum(part.area for part in ell.intersection(other).geoms))
