"""The march over a depth grid, against closed forms and against a slow loop that is plainly right."""
import beds
import numpy as np
import pytest
from athwart.survey.beams.ranges import blind_range, ground_range
from athwart.survey.bottom.profile import Rays, Scratch, march
from athwart.survey.bottom.sightlines import meetings, seen_stretches
from hypothesis import given, settings
from hypothesis import strategies as st

STEP = 0.25
TAN20 = np.tan(np.radians(20))


def eastward(depth, slant, boat_depth, blind=0.0, reach=None, offset=0.0, step=STEP, **kind):
    """Seen stretches (low, high) of a ray to the east over ``depth(e, n)``."""
    grid = beds.grid(depth, half=max(60.0, slant + 5), **kind)
    rays = beds.eastward(grid, slant if reach is None else reach, boat_depth, offset)
    count = int(np.ceil(slant / step)) + 2
    col, row = rays.extents()[:2], rays.extents()[2:]
    marched = march(grid.window(np.concatenate(col), np.concatenate(row)), rays, step, count, Scratch(count, float))
    found = seen_stretches(marched, np.array([slant]), blind)
    return np.column_stack([found.low, found.high]), marched


@pytest.mark.parametrize("slant, depth", [(5, 3), (50, 30), (50, 10), (20, 4), (100, 8), (50, 9.5), (12, 10)])
def test_on_a_flat_bottom_the_terrain_model_is_the_slant_model_exactly(slant, depth):
    found, _ = eastward(lambda e, n: depth + 0 * e, slant, depth, TAN20)
    np.testing.assert_array_equal(found, [[blind_range(depth, 20), ground_range(slant, depth)]])


def test_a_draft_or_a_wrong_water_level_changes_nothing_on_a_flat_bottom():
    found, _ = eastward(lambda e, n: 12.3 + 0 * e, 50.0, 9.7, TAN20, offset=9.7 - 12.3)
    np.testing.assert_allclose(found, [[blind_range(9.7, 20), ground_range(50, 9.7)]], rtol=1e-14)


def test_a_range_short_of_the_depth_sees_nothing():
    found, _ = eastward(lambda e, n: 10 + 0 * e, 9.9, 10)
    assert found.shape == (0, 2)


@pytest.mark.parametrize("degrees, ground", [(5, 47.94285566), (-5, 49.67933743), (10, 46.56572749)])
def test_constant_slope(degrees, ground):
    """R 50, H 10: the quadratic R^2 = G^2 + (H + G tan b)^2, evaluated with another tool to 1e-8."""
    found, _ = eastward(lambda e, n: 10 + e * np.tan(np.radians(degrees)), 50.0, 10.0)
    assert found.shape == (1, 2)
    assert found[0, 1] == pytest.approx(ground, abs=1e-7)


def test_a_slope_that_rises_out_of_the_water_ends_the_sound_ashore():
    """The same at -10 degrees would be 49.98592893; the depth there is 1.2 m. At -20 it is dry from 27.47 m on."""
    found, _ = eastward(lambda e, n: 10 + e * np.tan(np.radians(-10)), 50.0, 10.0)
    assert found[0, 1] == pytest.approx(49.98592893, abs=1e-7)
    found, _ = eastward(lambda e, n: 10 + e * np.tan(np.radians(-20)), 50.0, 10.0)
    assert found[-1, 1] == pytest.approx(10 / np.tan(np.radians(20)), abs=1e-6)


def test_behind_a_step_down_the_foot_is_hidden():
    """Brink at 20.25 m in 5 m of water, 15 m at its foot: seen again where the sight line 5 : 20.25 reaches 15 m."""
    found, _ = eastward(lambda e, n: np.where(e < 20.5, 5.0, 15.0), 80.0, 5.0)
    np.testing.assert_allclose(found[0], [0, 20.25], atol=STEP)
    np.testing.assert_allclose(found[1], [60.75, np.sqrt(80**2 - 15**2)], atol=3 * STEP)
    fine, _ = eastward(lambda e, n: np.where(e < 20.5, 5.0, 15.0), 80.0, 5.0, step=0.01)
    np.testing.assert_allclose(fine[1, 0], 60.75, atol=0.03)


def test_behind_a_ridge_the_shadow_is_as_long_as_similar_triangles_say():
    """A wedge 2 m high at 24.25 m in 10 m of water: hidden until 24.25 * 10 / 8."""
    found, _ = eastward(lambda e, n: 10 - 2 * np.clip(1 - np.abs(e - 24.25) / 3, 0, 1), 50.0, 10.0, step=0.01)
    np.testing.assert_allclose(found, [[0, 24.25], [24.25 / 0.8, np.sqrt(2400)]], atol=0.03)


def test_a_single_boulder_hides_what_the_handbook_formula_says():
    """H 10, h 1, at 30 m: the shadow ends at slant range 34.80102170 (similar triangles)."""
    def boulder(e, n):
        return 10 - np.where((abs(e - 29.75) < 0.3) & (abs(n - 0.25) < 0.3), 1.0, 0.0)
    grid = beds.grid(boulder)
    one = np.ones(3)
    north = np.array([0.25, 0.75, 0.5])  # through it, past it, through its flank at half the height
    col, row = grid.cells_of(500_000.0 + 0 * one, 4_980_000.0 + north)
    rays = Rays(col, row, 2 * one, 0 * one, 0 * one, 10 * one, 50 * one)
    marched = march(grid.window(np.array([119, 225.0]), row), rays, 0.01, 5001, Scratch(15003, float))
    found = seen_stretches(marched, 50 * one, 0.0)
    ends = found.low[np.searchsorted(found.ray, [0, 2], "right") - 1]
    assert np.count_nonzero(found.ray == 1) == 1
    brink = 29.75
    assert ends[0] == pytest.approx(brink * 10 / 9, abs=0.05)
    assert np.hypot(ends[0] * 30 / brink, 10) == pytest.approx(34.80102170, abs=0.05)
    assert ends[1] == pytest.approx(brink * 10 / 9.5, abs=0.05)


def bank(e, n):
    """5 m deep, a trough of 30 m from 8 to 14 m, then a bank 4 m deep."""
    return np.interp(e, [8.25, 8.75, 13.25, 13.75], [5.0, 30.0, 30.0, 4.0])


def test_a_bank_that_leaves_the_range_comes_back():
    found, marched = eastward(bank, 20.0, 5.0, step=0.01)
    beyond = np.hypot((np.arange(len(marched.depth)) + 0.5) * 0.01, marched.depth[:, 0]) > 20
    assert beyond[900] and not beyond[1500]  # the slant range has passed R and come back
    assert found[0] == pytest.approx([0, 8.25], abs=0.02)
    assert found[-1, 1] == pytest.approx(np.sqrt(400 - 16), abs=1e-6)
    # the bank's face is seen from the sight line over the brink up: 5 : 8.25 meets 30 - 52 (g - 13.25)
    assert found[-1, 0] == pytest.approx((30 + 52 * 13.25) / (52 + 5 / 8.25), abs=0.02)


def test_unknown_ground_is_flat_and_marked():
    found, marched = eastward(lambda e, n: np.where(e < 20, 5.0, np.nan), 40.0, 5.0)
    np.testing.assert_allclose(found, [[0, np.sqrt(1600 - 25)]], atol=1e-9)
    first = np.argmax(marched.unknown[:, 0])
    assert marched.unknown[first:, 0].all() and not marched.unknown[:first, 0].any()
    assert 20 < (first + 0.5) * STEP <= 20.5 + STEP  # half a cell beyond the last known cell


def test_dry_cells_round_the_boat_are_no_shore():
    found, marched = eastward(lambda e, n: np.where(e < 3, -1.0, 5.0), 40.0, 4.0)
    assert found[-1, 1] == pytest.approx(np.sqrt(1600 - 25))
    assert marched.unknown[0, 0] and not marched.unknown[-1, 0]


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_a_slow_loop_agrees_sample_by_sample_on_random_ground(seed):
    rng = np.random.default_rng(seed)
    values = rng.uniform(2, 12, (16, 16)).round(2)
    grid = beds.DepthGrid.from_array(beds.CRS, (0, 1, 0, 16, 0, -1), values)
    count, step = 12, float(rng.uniform(0.2, 0.5))
    angle = rng.uniform(0, 2 * np.pi, 5)
    rays = Rays(rng.uniform(7, 8, 5), rng.uniform(7, 8, 5), np.sin(angle), np.cos(angle), rng.uniform(-1, 1, 5),
                np.full(5, 5.0), np.full(5, 9.0))
    marched = march(grid.window(np.array([0, 15.0]), np.array([0, 15.0])), rays, step, count, Scratch(5 * count, float))
    grounds = (np.arange(count) + 0.5) * step
    for i in range(5):
        depths = [beds.slow_depth(values, rays.col[i] + g * rays.dcol[i], rays.row[i] + g * rays.drow[i])
                  + rays.offset[i] for g in grounds]
        np.testing.assert_allclose(marched.depth[:, i], depths, atol=1e-12)
        assert marched.seen[:, i].tolist() == beds.slow_march(depths, grounds)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_seen_stretches_and_meetings_agree_with_a_very_fine_march(seed):
    """Between samples the bottom is straight, so a march a hundred times finer over the same corners must agree."""
    rng = np.random.default_rng(seed)
    corners = rng.uniform(3, 9, 40)
    slant, blind = float(rng.uniform(6, 11)), float(rng.uniform(0, 0.5))
    grid = beds.DepthGrid.from_array(beds.CRS, (0, 1, 0, 3, 0, -1), np.tile(corners, (3, 1)))
    one = np.ones(1)
    rays = Rays(2.0 * one, 1.0 * one, 2.0 * one, 0 * one, 0 * one, 5 * one, float(rng.uniform(8, 11)) * one)
    window = grid.window(np.array([0, 39.0]), np.array([1.0, 1.0]))
    # two cells a metre: samples of step 1/2, from 1/4 on, fall on half cells; the fine one runs over their chords
    marched = march(window, rays, 0.5, 24, Scratch(24, float))
    g = (np.arange(24) + 0.5) * 0.5
    z, reach = marched.depth[:, 0].copy(), marched.reach[0]
    fine_g = np.arange(0.25, 11.7, 0.002)
    fine_z = np.interp(fine_g, g, z)
    ratio = fine_z / fine_g
    state = ((ratio <= np.minimum.accumulate(ratio) * (1 + 1e-12)) & (np.hypot(fine_g, fine_z) <= slant)
             & (fine_g >= fine_z * blind) & (fine_g <= reach))
    found = seen_stretches(marched, slant * one, blind)
    inside = np.zeros(len(fine_g), bool)
    for low, high in zip(found.low, found.high):
        inside |= (fine_g >= low) & (fine_g <= high)
    wrong = np.flatnonzero(inside != state)
    edges = np.concatenate([found.low, found.high, [0.25]])
    near = np.array([np.abs(edges - fine_g[i]).min() < 0.01 for i in wrong], bool)
    # what a stride can hide from its ends: a stretch or a gap shorter than the stride itself
    short = np.array([_shorter_than(state, i, 0.5 / 0.002) for i in wrong], bool)
    assert (near | short).all(), fine_g[wrong[~(near | short)]]
    met = meetings(marched, slant * one)
    cross = np.flatnonzero(np.diff(np.hypot(fine_g, fine_z) >= slant))
    cross = fine_g[cross][fine_g[cross] < reach - 0.01]
    for place in met.ground[met.ground > 0.3]:
        assert np.hypot(place, np.interp(place, g, z)) == pytest.approx(slant, abs=1e-9)
    assert all(np.abs(met.ground - c).min() < 0.01 for c in cross if _alone(cross, c, 0.5))


def _shorter_than(state, i, most):
    """Whether the run of equal values that holds ``i``, or a neighbouring run, is shorter than ``most``."""
    edges = np.concatenate([[0], np.flatnonzero(np.diff(state.astype(int))) + 1, [len(state)]])
    run = np.searchsorted(edges, i, "right") - 1
    lengths = np.diff(edges)
    return lengths[max(run - 1, 0):run + 2].min() <= most


def _alone(places, one, gap):
    return np.count_nonzero(np.abs(places - one) < gap) == 1


def test_the_bottom_right_under_the_boat_is_seen():
    """Slant range a shade over the depth: met before the first sample of the march, where nothing can hide it."""
    _, marched = eastward(lambda e, n: 10 + 0 * e, 30.0, 10.0, step=2.0)
    met = meetings(marched, np.array([10.02]))
    assert met.ground == pytest.approx([np.sqrt(10.02**2 - 10**2)]) and 0.5 < met.ground[0] < 1.0
    assert met.seen.all() and met.brink.tolist() == [np.inf]
