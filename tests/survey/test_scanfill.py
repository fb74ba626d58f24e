"""Filled cells against shapely's own answer at every cell middle."""
import numpy as np
import pytest
import tracks
from athwart.survey.geometry import shapes
from athwart.survey.geometry.scanfill import fill_polygon, fill_quads
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon
from shapely.ops import unary_union

WINDOW = (-20, 60, -20, 60)


def counted(corners, window=WINDOW):
    """How often each cell was filled."""
    runs = fill_quads(corners, window)
    run, col = runs.cells()
    count = np.zeros((window[1] - window[0], window[3] - window[2]), int)
    np.add.at(count, (runs.row[run] - window[0], col - window[2]), 1)
    return count


def wrong(found, geometry, window=WINDOW):
    """How many cells differ from whether their middle lies inside, but for those that are a matter of rounding."""
    rows, cols = np.mgrid[window[0]:window[1], window[2]:window[3]]
    differ = found != shapes.contains(geometry, cols, rows)
    return sum(geometry.boundary.distance(Point(c, r)) > 1e-9 for c, r in zip(cols[differ], rows[differ]))


def lobes(corners):
    """The even-odd inside of a quad, crossed or not."""
    return shapes.valid(Polygon(corners))


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 2**32 - 1), st.booleans())
def test_one_quad_of_any_shape(seed, whole):
    corners = np.random.default_rng(seed).uniform(-25, 65, (4, 2))
    corners = corners.round() if whole else corners
    count = counted(corners[None])
    assert wrong(count, lobes(corners)) == 0
    assert count.max(initial=0) <= 1


def test_a_quad_on_whole_cells_holds_its_first_edges_and_not_its_last():
    count = counted(np.array([[[0, 0], [3, 0], [3, 2], [0, 2.0]]]))
    assert count.sum() == 6 and count[20:22, 20:23].all()


def test_quads_without_area_fill_nothing():
    assert counted(np.zeros((3, 4, 2))).sum() == 0
    assert counted(np.array([[[0, 5], [30, 5], [30, 5], [0, 5.0]]])).sum() == 0


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_neighbours_leave_no_cell_out_and_take_none_twice(seed):
    """A fan of quads that share edges, corners moved onto cell middles where rounding would show."""
    rng = np.random.default_rng(seed)
    east = np.cumsum(rng.choice([0.0, 0.25, 0.5, 1.0, 3.7], 30))
    near, far = (np.column_stack([east + rng.uniform(-0.1, 0.1) * v, np.full(30, v)]) for v in (-3.0, 31.0))
    quads = np.stack([near[:-1], far[:-1], far[1:], near[1:]], axis=1).round(1)
    outline = np.vstack([quads[0, :2], quads[:, 2], quads[::-1, 3]])
    total = counted(quads)
    one = fill_polygon(Polygon(outline), WINDOW, lambda x, y: (x, y))
    np.testing.assert_array_equal(total, one)


@pytest.mark.parametrize("cell", [0.5, 2.0])
def test_strips_of_a_survey_equal_the_union_of_their_quads(cell):
    """Lines and turns with a crabbing, noisy heading: 0 cells differ from shapely."""
    east, north, azimuth, _ = tracks.boustrophedon(lines=3, length=60.0, spacing=24.0)
    a = np.radians(azimuth)
    along = np.column_stack([np.cos(a), -np.sin(a)])
    at = np.column_stack([east, north]) / cell
    near, far = at + 1.3 / cell * along, at + 19.7 / cell * along
    quads = np.stack([near[:-1], far[:-1], far[1:], near[1:]], axis=1)
    window = tuple(int(v) for v in (quads[..., 1].min() - 2, quads[..., 1].max() + 3,
                                    quads[..., 0].min() - 2, quads[..., 0].max() + 3))
    filled = counted(quads, window) > 0
    assert wrong(filled, unary_union([lobes(q) for q in quads]), window) == 0
    assert filled.sum() > 500


def test_a_window_cuts_without_changing_what_is_inside():
    corners = np.random.default_rng(3).uniform(-10, 50, (40, 4, 2))
    whole = counted(corners)
    part = counted(corners, (5, 17, 8, 31))
    np.testing.assert_array_equal(part, whole[25:37, 28:51])


def test_polygons_with_holes_and_parts():
    lake = Polygon([(-7.3, -5.2), (52.7, 3.1), (41.3, 44.9), (2.2, 39.4)], [[(10, 10), (20.5, 11), (17, 22.5)]])
    both = shapes.union([lake, Polygon([(50.4, 50.4), (57.6, 50.4), (57.6, 57.6)])])
    assert wrong(fill_polygon(both, WINDOW, lambda x, y: (x, y)), both) == 0
    assert not fill_polygon(shapes.empty(), WINDOW, lambda x, y: (x, y)).any()
