"""Depths between contour lines: a cone of known depth, a lake without lines, and sums counted by hand."""
import numpy as np
import pytest
from athwart.survey.bottom.contours import _rounded, contour_map
from athwart.survey.bottom.walls import _summed
from shapely.geometry import MultiPolygon, Point

CELL, SIDE = 5.0, 80


def depths_of(lines, levels, water):
    """(depth, invented, the map) on a grid of 400 m a side."""
    shape = (SIDE, SIDE)
    made = contour_map(lines, np.array(levels, float), water, (0, CELL, 0, SIDE * CELL, 0, -CELL), shape)
    return (*made.read(0, 0, *shape), made)


def test_a_hole_runs_on_past_its_last_line_by_half_an_interval_at_most():
    """A cone of slope 1 : 8 from the shore at 160 m: lines at 8 and 16 m, the middle is 20 m deep."""
    middle = Point(200, 200)
    rings = [middle.buffer(160 - 8 * depth, 64).exterior for depth in (8, 16)]
    depth, invented, made = depths_of(rings, [8, 16], middle.buffer(160, 64))
    y, x = (np.mgrid[:SIDE, :SIDE] + 0.5) * CELL
    away = np.hypot(x - 200, y - 200)
    between = (away > 40) & (away < 88)
    assert depth[between] == pytest.approx((160 - away[between]) / 8, abs=0.8)
    inside = away < 25
    assert invented[inside].all() and not invented[between].any()
    assert 17 < depth[inside].max() <= 20
    assert [(part.kind, part.level) for part in made.parts] == [("hole", 16.0)]


def test_water_without_lines_is_of_unknown_depth():
    lakes = MultiPolygon([Point(100, 200).buffer(80), Point(300, 200).buffer(80)])
    depth, invented, made = depths_of([Point(100, 200).buffer(40).exterior], [5.0], lakes)
    assert np.isfinite(depth[40, 10]) and np.isnan(depth[:, 45:]).all() and np.isnan(invented[:, 45:]).all()
    assert sorted(part.kind for part in made.parts) == ["hole", "unknown"]


@pytest.mark.parametrize("most", [0.0, 0.5, 4.0])
def test_a_rise_past_a_line_bends_and_never_passes_its_limit(most):
    beyond = np.linspace(0.0, 50.0, 501)
    risen = _rounded(beyond, np.full(501, most))
    straight = beyond <= most / 2
    assert risen[straight] == pytest.approx(beyond[straight])
    assert (np.diff(risen) >= 0).all() and risen[-1] == pytest.approx(most)


@pytest.mark.parametrize("reach", [1, 2, 9])
def test_sums_over_squares(reach):
    values = np.random.default_rng(7).random((12, 7))
    counted = [[values[max(r - reach, 0):r + reach + 1, max(c - reach, 0):c + reach + 1].sum() for c in range(7)]
               for r in range(12)]
    assert _summed(values, reach) == pytest.approx(np.array(counted))
