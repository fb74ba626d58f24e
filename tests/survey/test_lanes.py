"""Swaths over a depth grid: a flat grid is the flat model, and shadows lie where similar triangles put them."""
import numpy as np
import pytest
import shapely.geometry as sg
import tracks
from athwart.survey.bottom.depthgrid import DepthGrid
from athwart.survey.bottom.terrain import anchored
from athwart.survey.plane import transfer
from athwart.survey.plane.frame import Frame
from athwart.survey.swaths.swath import SwathSettings, draw_swaths
from shapely.ops import unary_union

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
    result = draw_swaths(track, settings, water, terrain=(grid, anchored(track, grid)))
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
    # the last beam beside the ridge lies at y = 9, the next one at 10 is clear of it
    assert ground.intersection(sg.box(20, 8, 26, 9.49)).area < 1e-6
    assert ground.intersection(sg.box(20, 9.51, 26, 12)).area == pytest.approx(6 * 2.49, rel=1e-6)


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
