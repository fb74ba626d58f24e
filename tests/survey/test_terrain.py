"""Picks on a depth grid, and how a grid is tied to a track: closed forms and brute force."""
import beds
import numpy as np
import pytest
import tracks
from athwart.survey.bottom import depthgrid
from athwart.survey.bottom.depthgrid import DepthGrid, bounded_parts
from athwart.survey.bottom.offsets import Disagreement, told
from athwart.survey.bottom.terrain import anchored, ground_on
from athwart.survey.geometry.frame import Frame
from athwart.survey.model.errors import InputError
from hypothesis import given, settings
from hypothesis import strategies as st

EAST, NORTH = 500_000.0, 4_980_000.0
FRAME = Frame("EPSG:32615", -93.0, 44.97)


def line(grid, **given):
    """Track of 21 samples along the middle of a grid, northward, 1 m apart."""
    return tracks.made("EPSG:32615", np.full(21, EAST), NORTH + np.arange(21) - 10.0, 0.0, **given)


def asked(grid, slant, depth, towards=90.0, track_depth=None):
    """TerrainGround of picks at slant ranges from the middle of a grid, towards an azimuth of the grid."""
    slant = np.atleast_1d(np.asarray(slant, float))
    anchors = anchored(line(grid, depth_m=depth if track_depth is None else track_depth), grid)
    tip = EAST + np.sin(np.radians(towards)), NORTH + np.cos(np.radians(towards))
    (east, north), (east1, north1) = FRAME.forward(EAST, NORTH), FRAME.forward(*tip)
    long = np.hypot(east1 - east, north1 - north)
    n = np.ones(len(slant))
    return ground_on(grid, anchors)(FRAME, east * n, north * n, (east1 - east) / long * n, (north1 - north) / long * n,
                                    slant, depth * n, np.full(len(slant), 10))


@pytest.mark.parametrize("slant, depth", [(5, 3), (50, 30), (12, 10), (20, 19.99)])
def test_a_flat_grid_gives_the_flat_formula(slant, depth):
    for height in (0.0, 0.6):  # the grid counts from the surface, the sounder from the transducer
        found = asked(beds.grid(lambda e, n, h=height: depth + h + 0 * e), slant, depth)
        assert found.ground[0] == pytest.approx(np.sqrt(slant**2 - depth**2), abs=1e-9)
        assert found.depth[0] == pytest.approx(depth) and found.slope[0] == pytest.approx(0, abs=1e-9)
        assert found.low[0] == found.high[0] == found.ground[0] and found.status[0] == ""


@pytest.mark.parametrize("degrees, ground", [
    (5, 47.94285566), (-5, 49.67933743), (10, 46.56572749), (-10, 49.98592893)])
def test_constant_slope(degrees, ground):
    """R 50, H 10; distances are ground metres, so the slope of the grid's own map is 0.9996 of it."""
    slope = np.tan(np.radians(degrees)) / 0.9996
    found = asked(beds.grid(lambda e, n: 10 + e * slope), 50.0, 10.0)
    assert found.ground[0] == pytest.approx(ground, abs=2e-5)
    assert found.slope[0] == pytest.approx(np.tan(np.radians(degrees)), rel=1e-4)


def test_a_slant_range_that_is_met_more_than_once_keeps_the_first_and_both_ends():
    """10 m deep; a face from 20.25 to 21.25 m up to a shelf 4 m deep. The slant range is 22.58 at the foot, less on the
    face, 22.4 again on the shelf."""
    found = asked(beds.grid(lambda e, n: np.interp(e, [20.25, 21.25], [10.0, 4.0])), [22.4, 18.0], 10.0)
    assert found.status.tolist() == ["ambiguous", ""]
    assert found.ground[0] == found.low[0] == pytest.approx(np.sqrt(22.4**2 - 100), abs=1e-6)
    assert found.high[0] == pytest.approx(np.sqrt(22.4**2 - 16), abs=1e-6)


def test_a_pick_in_the_shadow_stands_on_the_sight_line_over_the_brink():
    """Brink at 20.25 m in 5 m, 15 m at its foot: the ground at 40 m of slant range is hidden. What echoes from there
    stands up into the line 5 : 20.25."""
    found = asked(beds.grid(lambda e, n: np.where(e < 20.5, 5.0, 15.0)), 40.0, 5.0)
    on_line = 40 / np.hypot(1, 5 / 20.25)
    assert found.status[0] == "ambiguous"
    assert found.ground[0] == found.high[0] == pytest.approx(on_line, abs=0.1)
    assert found.low[0] == pytest.approx(np.sqrt(40**2 - 15**2), abs=1e-3)


def test_off_the_grid_and_in_the_water():
    half = beds.grid(lambda e, n: np.where(e < 10, 6.0, np.nan))
    found = asked(half, [8.0, 25.0, 4.0], 6.0)
    assert found.status.tolist() == ["", "off grid", ""]
    assert np.isfinite(found.ground).tolist() == [True, False, False]
    away = asked(beds.grid(lambda e, n: np.where(n < -5, 6.0, np.nan)), [20.0], 6.0, towards=0.0)
    assert away.status[0] == "off grid" and np.isnan(away.ground[0])


def test_where_the_track_knows_only_one_depth_the_grids_own_stands():
    grid = beds.grid(lambda e, n: 8 + 0 * e)
    track = line(grid, depth_m=6.0, depth_source="constant")
    east, north = FRAME.forward(EAST, NORTH)
    one = np.ones(1)
    found = ground_on(grid, anchored(track, grid))(FRAME, east * one, north * one, one, 0 * one, 20 * one, 6 * one,
                                             np.array([10]))
    assert found.ground[0] == pytest.approx(np.sqrt(400 - 64), abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_places_on_random_ground_by_brute_force(seed):
    """A march of 1 mm over the same bilinear surface finds the same first seen place, and no other farther apart."""
    rng = np.random.default_rng(seed)
    corners = rng.uniform(4, 9, 90)
    slant = float(rng.uniform(10, 18))
    grid = DepthGrid.from_array("EPSG:32615", (EAST - 2, 1, 0, NORTH + 30, 0, -1), np.tile(corners, (60, 1)))
    depth = float(np.interp(1.5, np.arange(90), corners))
    found = asked(grid, slant, depth)
    g = np.arange(0.001, slant, 0.001)
    z = np.interp(1.5 + g * 0.9996, np.arange(90), corners)
    ratio, reach = z / g, np.hypot(g, z)
    seen = ratio <= np.minimum.accumulate(ratio) * (1 + 1e-12)
    cross = np.flatnonzero(np.diff(reach >= slant) & seen[1:] & seen[:-1])
    stride = 0.5
    if len(cross) and found.status[0] == "":
        assert np.abs(g[cross] - found.ground[0]).min() < 0.3 * stride
    if len(cross) == 1 and np.isfinite(found.ground[0]) and found.status[0] == "":
        assert found.ground[0] == pytest.approx(g[cross[0]], abs=0.3 * stride)


def test_anchors_take_draft_and_level_out_and_carry_them_over_holes():
    grid = beds.grid(lambda e, n: np.where(np.abs(n) < 3, np.nan, 8 + 0.1 * n))
    track = line(grid, depth_m=7.4 + 0.1 * (np.arange(21) - 10.0))
    anchors = anchored(track, grid)
    np.testing.assert_allclose(anchors.offset, -0.6, atol=0.026)  # half a cell beyond known ground of slope 0.1
    assert 3 <= anchors.off_grid.sum() <= 6 and anchors.compared == 21 - anchors.off_grid.sum()
    assert anchors.median_m == pytest.approx(0.6) and anchors.spread_m == pytest.approx(0, abs=0.026)
    assert anchors.warning == ""


def test_depths_from_the_grid_itself_are_not_compared():
    grid = beds.grid(lambda e, n: 8 + 0 * e)
    anchors = anchored(line(grid, depth_m=7.5, depth_source="grid"), grid)
    assert anchors.compared == 0 and np.isnan(anchors.median_m)
    np.testing.assert_allclose(anchors.offset, -0.5)


@pytest.mark.parametrize("level, words", [(12.0, "level of the day"), (24.6, "in feet"), (5.0, "shallower")])
def test_disagreement_is_said_with_the_median(level, words):
    anchors = anchored(line(None, depth_m=7.5), beds.grid(lambda e, n: level + 0 * e))
    assert words in anchors.warning and f"{abs(level - 7.5):.2f} m" in anchors.warning


def test_grids_that_cannot_be_used_are_refused():
    with pytest.raises(InputError, match="does not cover the track: none of 21"):
        anchored(line(None), beds.grid(lambda e, n: 8 + 0 * e, at=(EAST, NORTH + 4000)))
    with pytest.raises(InputError, match=r"negative down.*-8\.0.*DepthConversion"):
        anchored(line(None), beds.grid(lambda e, n: -8 + 0 * e))
    with pytest.raises(InputError, match="cells that can be placed"):
        DepthGrid.from_array("EPSG:32615", (0, 0, 0, 0, 0, 0), np.ones((3, 3)))


def test_depths_at_points_by_window_equal_those_of_the_whole():
    rng = np.random.default_rng(2)
    values = rng.uniform(1, 9, (300, 400))
    values[100:140, 200:260] = np.nan
    reads = []

    def read(r0, r1, c0, c1):
        reads.append((r1 - r0) * (c1 - c0))
        return values[r0:r1, c0:c1]
    grid = DepthGrid("EPSG:32615", (0, 2, 0, 600, 0, -2), values.shape, read)
    x, y = np.sort(rng.uniform(-20, 820, 4000)), rng.uniform(-20, 620, 4000)
    whole = grid.depth_at(x, y)
    kept, depthgrid.MAX_WINDOW_CELLS = depthgrid.MAX_WINDOW_CELLS, 20_000
    reads.clear()
    try:
        np.testing.assert_allclose(grid.depth_at(x, y), whole, rtol=1e-12)
    finally:
        depthgrid.MAX_WINDOW_CELLS = kept
    assert max(reads) < 40_000
    for i in range(0, 4000, 37):
        col, row = x[i] / 2 - 0.5, (600 - y[i]) / 2 - 0.5
        corners = values[max(int(np.floor(row)), 0):int(np.floor(row)) + 2,
                         max(int(np.floor(col)), 0):int(np.floor(col)) + 2]
        if corners.shape == (2, 2) and np.isfinite(corners).all() and min(col, row) >= 0:
            assert whole[i] == pytest.approx(beds.slow_depth(values, col, row), abs=1e-12)
    outside = (x < -2) | (x > 802) | (y < -2) | (y > 602)
    assert np.isnan(whole[outside]).all()


def test_parts_are_bounded_and_complete():
    low = np.arange(1000.0)
    parts = list(bounded_parts(low, low + 60, 0 * low, 0 * low + 30_000, most=300))
    assert [p.start for p in parts[1:]] == [p.stop for p in parts[:-1]]
    assert (parts[0].start, parts[-1].stop) == (0, 1000)
    assert max(p.stop - p.start for p in parts) <= 300


@pytest.mark.parametrize("scatters, steep, flat", [((1.0, 2.0), True, False), ((0.1, 0.0), False, True),
                                                   ((1.0, 0.1), True, True)])
def test_the_causes_told_of_a_disagreement_are_those_of_its_ground(scatters, steep, flat):
    """Two metres off: steep where the depths about the place differ by a third of that or more."""
    found = [Disagreement((3 * k, 3 * k + 2), 3 * k, 2.0, scatter) for k, scatter in enumerate(scatters)]
    said = str(told(line(beds.grid(lambda e, n: 8 + 0 * e)), "lake", found))
    assert ("Beside steep ground" in said) is steep and ("Where the ground is not steep" in said) is flat
    assert "'lake'" in said and "on 2 stretches" in said
