"""Swaths over a depth grid: a flat grid is the flat model, and shadows lie where similar triangles put them."""
import continuous
import numpy as np
import pytest
import shapely.geometry as sg
import tracks
from athwart.survey.bottom.depthgrid import DepthGrid
from athwart.survey.geometry import shapes, transfer
from athwart.survey.geometry.frame import Frame
from athwart.survey.swaths.draw import SwathSettings, draw_swaths
from athwart.survey.swaths.fan import Fan
from athwart.survey.swaths.visible_segments import segments_on_terrain
from shapely.ops import unary_union
from sizes import full

# a transverse Mercator of scale 1, so that the grid's cells are metres of the frame
CRS = "+proj=tmerc +lat_0=45 +lon_0=-93 +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m +type=crs"
FRAME = Frame(CRS, -93, 45)
SIZE, CELL = 120.0, 0.25


def grid_of(depth_at):
    """A grid of 240 m a side about the origin; ``depth_at(x, y)`` on cell middles."""
    middles = np.arange(-SIZE, SIZE, CELL) + CELL / 2
    x, y = np.meshgrid(middles, -middles)
    return DepthGrid.from_array(CRS, (-SIZE, CELL, 0, SIZE, 0, -CELL), depth_at(x, y).astype(np.float32))


def northward(count=61, step=1.0, depth=10.0, **given):
    """A track up the y axis."""
    return tracks.in_frame(FRAME, np.zeros(count), np.arange(count) * step - 30.0, np.zeros(count), depth_m=depth,
                           range_m=50.0, **given)


def drawn(track, grid, water=None, **given):
    """(result, ground in frame metres)."""
    settings = SwathSettings(range_model="terrain", **given)
    result = draw_swaths(track, settings, water, grid=grid)
    return result, unary_union([transfer.to_frame(FRAME, g) for g in result.geometries])


def test_a_flat_grid_gives_the_flat_model():
    track = northward(depth=8.0)
    result, _ = drawn(track, grid_of(lambda x, y: 0 * x + 9.0))  # a metre deeper: the sounder rules
    flat = draw_swaths(track, SwathSettings())
    assert result.area_m2 == pytest.approx(flat.area_m2, rel=1e-5)
    for name in ("inner_m", "outer_m"):
        assert result.columns[name] == pytest.approx(flat.columns[name], abs=1e-3)
    assert list(result.columns["range_model"]) == ["terrain", "terrain"]
    assert result.columns["sigma_edge_m"] == pytest.approx(flat.columns["sigma_edge_m"])
    assert (result.report.rings, result.report.quads) == (flat.report.rings, flat.report.quads)


def test_an_even_slope():
    # depth 10 under the track, 0.1 deeper a metre to starboard: g^2 + (10 + 0.1 g)^2 = 50^2
    result, _ = drawn(northward(), grid_of(lambda x, y: 10 + 0.1 * x), blind_deg=0)
    deep = (-1 + np.sqrt(1 + 1.01 * 2400)) / 1.01
    shoal = (1 + np.sqrt(1 + 1.01 * 2400)) / 1.01
    assert result.columns["outer_m"] == pytest.approx([shoal, deep], abs=2e-3)


def ridge(x, y):
    """10 m of water, and a ridge 4 m high from x = 15 to 17, from the beam at y = -9 to that at 9."""
    return np.where((np.abs(x - 16) < 1) & (np.abs(y) < 9.5), 6.0, 10.0)


def test_what_nearer_ground_hides_is_left_out():
    # a ray over the far brow at 17, 6 m below, meets the bottom at 17 x 10 / 6 = 28.33
    track = northward()
    result, ground = drawn(track, grid_of(ridge))
    shadow = sg.box(17.3, -9, 28.0, 9)
    assert ground.intersection(shadow).area < 1e-6
    assert ground.intersection(sg.box(4, -9, 14.6, 9)).area == pytest.approx(10.6 * 18, rel=1e-3)
    assert ground.intersection(sg.box(28.7, -9, 48, 9)).area == pytest.approx(19.3 * 18, rel=1e-3)
    behind = sg.box(17.3, 11, 28, 25)
    assert ground.intersection(behind).area == pytest.approx(behind.area, rel=1e-6)
    flat = draw_swaths(track, SwathSettings()).area_m2
    assert flat - result.area_m2 == pytest.approx((28.333 - 17.1) * 19, rel=0.02)
    assert result.columns["inner_m"] == pytest.approx([3.64, 3.64], abs=0.01)
    assert result.columns["outer_m"] == pytest.approx([48.99, 48.99], abs=0.01)
    assert list(result.columns["samples"]) == [61, 61]


def test_beams_that_do_not_match_stand_for_half_their_interval():
    track = northward(61, 1.0)
    _, ground = drawn(track, grid_of(ridge), sides=(1,))
    # half a metre apart, beams set in see the whole ridge at y = 9, half of it at 9.5, nothing from 9.625 on
    assert ground.intersection(sg.box(20, 8, 26, 9)).area < 1e-6
    assert ground.intersection(sg.box(20, 9.69, 26, 12)).area == pytest.approx(6 * 2.31, rel=1e-6)


def test_a_bank_that_leaves_the_range_and_comes_back():
    # deep trough from 20 to 30 m off: 60 m down is out of range; beyond it the bottom is back at 10 m
    result, ground = drawn(northward(), grid_of(lambda x, y: np.where((x > 20) & (x < 30), 60.0, 10.0)), sides=(1,))
    assert ground.intersection(sg.box(20.5, -29, 29.5, 29)).area < 1e-6
    assert ground.intersection(sg.box(30.5, -29, 48, 29)).area == pytest.approx(17.5 * 58, rel=1e-6)
    assert result.report.frames == 1


def test_unknown_cells_are_taken_as_flat_and_counted():
    track = northward()
    result, _ = drawn(track, grid_of(lambda x, y: np.where(y > 5, np.nan, 10.0)))
    assert result.area_m2 == pytest.approx(draw_swaths(track, SwathSettings()).area_m2, rel=1e-5)
    assert 20 < result.report.off_grid < 26


def test_land_and_turns_hold_on_a_grid_too():
    water = sg.box(-100, -100, 20, 100)
    result, ground = drawn(northward(), grid_of(lambda x, y: 0 * x + 10.0), transfer.to_crs(FRAME, water))
    assert ground.bounds[2] == pytest.approx(20, abs=1e-3)
    assert result.report.ended_at_land == 61
    turning = northward(speed_mps=1.5, turn_dps=np.degrees(0.1))
    columns = drawn(turning, grid_of(lambda x, y: 0 * x + 10.0))[0].columns
    assert columns["outer_m"] == pytest.approx([48.99, 15.0], abs=0.01)


def test_dry_cells_end_the_beam():
    _, ground = drawn(northward(), grid_of(lambda x, y: np.where(x > 25, -1.0, 10.0)), sides=(1,))
    assert 24.5 < ground.bounds[2] < 25.5


BOULDERS = np.random.default_rng(5).uniform((-25, -45, 0.6, 1.5), (25, 45, 2.5, 4.0), (60, 4))
"""x, y, height and width of boulders on a floor 8 m deep."""


def strewn(x, y):
    """Depth of a floor with boulders, each a bell a few cells wide."""
    depth = 8 + 0.02 * x
    for bx, by, tall, wide in BOULDERS:
        depth = depth - tall * np.exp(-(np.square(x - bx) + np.square(y - by)) / (2 * (wide / 3) ** 2))
    return depth


def opened(flags, cells=3):
    """What of a table of flags a square of so many cells can sweep."""
    from numpy.lib.stride_tricks import sliding_window_view
    held = sliding_window_view(np.pad(flags, cells - 1), (cells, cells)).all(axis=(2, 3))
    return sliding_window_view(held, (cells, cells)).any(axis=(2, 3))


@pytest.mark.parametrize("spacing, bend", [(2.0, 0.0), (20.0, 0.0), (20.0, 25.0)])
def test_hidden_ground_stays_out_however_far_apart_the_fixes_are(spacing, bend):
    """Against a continuous beam: of the ground in holes over half a metre that is hidden, 95 % is left out."""
    y = np.arange(-50, 50.1, spacing)
    azimuth = bend * y / 50
    x = np.concatenate([[0], np.cumsum(np.diff(y) * np.tan(np.radians((azimuth[1:] + azimuth[:-1]) / 2)))])
    x -= x[len(x) // 2]
    grid = grid_of(strewn)
    middles = np.arange(-SIZE, SIZE, CELL) + CELL / 2
    depth = continuous.surface(strewn(*np.meshgrid(middles, -middles)), -SIZE, SIZE, CELL)
    track = tracks.in_frame(FRAME, x, y, azimuth, depth_m=depth(x, y), range_m=25.0)
    _, ground = drawn(track, grid)
    side, way = (np.arange(-half, half, 0.25) + 0.125 for half in (25, full(12.5, 25)))
    cells = np.column_stack([v.ravel() for v in np.meshgrid(side, way)])
    when = continuous.sweeps_over(x, y, azimuth, np.ones(len(y)), cells, 25.0)
    state = continuous.seen_at(x, y, azimuth, depth, cells, when, 25.0, 20.0, 0.1)
    hidden, seen = np.zeros((2, len(cells)), bool)
    hidden[when[0][state == 1]] = True
    seen[when[0][state == 2]] = True
    holes = opened((hidden & ~seen).reshape(len(way), -1)).ravel()
    out = ~shapes.contains(ground, *cells.T)
    assert holes.sum() > 500
    assert out[holes].mean() >= 0.95
    assert out[seen].mean() <= 0.01  # and what was seen is drawn


def fan_of(y, range_m=50.0):
    """Beams to starboard from the y axis, in one strip."""
    y = np.asarray(y, float)
    none = np.zeros(len(y), bool)
    return Fan(np.column_stack([0 * y, y]), np.tile([1.0, 0.0], (len(y), 1)), 0 * y, 0 * y + range_m,
               np.zeros(len(y), int), np.arange(len(y)), none, none)


def test_beams_set_in_have_the_depth_between_their_neighbours():
    """Over a grid 10 m deep that is held to be right here and 30 m too shoal 60 m on: halfway the water is 25 m deep,
    and 50 m of range reach sqrt(50^2 - 25^2)."""
    full = np.full(2, 50.0)
    for grid in (grid_of(lambda x, y: 0 * x + 10.0), grid_of(lambda x, y: np.where(x > 100, 10.0, np.nan))):
        more, depth = np.array([0, 30.0]), np.array([10, 40.0])
        [fan] = segments_on_terrain(fan_of([-30, 30]), FRAME, grid, more, depth, full, 0.0)
        y = np.linspace(-30, 30, 41)
        reach = np.interp(y, fan.at[:, 1], fan.outer)
        assert reach == pytest.approx(np.sqrt(50**2 - (25 + y / 2) ** 2), abs=0.06)  # edges straighter than 0.05 m


def test_every_sample_stays_one_beam_beside_a_shadow():
    """A wall that ends 4 cm past a fix: beams set in at its end are of no sample, or samples would count twice."""
    grid = grid_of(lambda x, y: np.where((np.abs(x - 16) < 1) & (np.abs(y) < 9.1), 4.0, 10.0))
    y = np.arange(-12, 12.1)
    k = len(y)
    fans = segments_on_terrain(fan_of(y), FRAME, grid, np.zeros(k), np.full(k, 10.0), np.full(k, 50.0), 0.0)
    assert len(fans) == 2
    for fan in fans:
        assert fan.row[fan.row >= 0].tolist() == list(range(k))
        assert fan.at[fan.row >= 0, 1] == pytest.approx(y, abs=1e-12)
    assert np.isfinite(fans[1].outer).sum() > 19  # the ground behind the wall
