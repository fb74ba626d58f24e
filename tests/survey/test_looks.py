"""The map of bottom seen: closed forms, shapely, and a continuous beam that shares no code with it."""
import beds
import continuous
import numpy as np
import pytest
import tracks
from athwart.survey.bottom import bed
from athwart.survey.bottom.depthgrid import DepthGrid
from athwart.survey.ensonify import bottom_map
from athwart.survey.ensonify.bottom_map import Ensonification
from athwart.survey.ensonify.detection import DetectionSettings
from athwart.survey.ensonify.stripcells import StripCells
from athwart.survey.geometry import shapes
from athwart.survey.geometry.frame import Frame, carried
from athwart.survey.model.errors import InputError
from athwart.survey.swaths.draw import pass_unions
from athwart.survey.swaths.edges import SwathSettings
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pyproj import Proj
from shapely.geometry import Polygon

EAST, NORTH = 500_000.0, 4_980_000.0
SPEED = 1.5
SCALE = 0.9996
"""Map metres to a metre on the ground, on the axis of a UTM zone."""


def sailed(points, step=1.5, **given):
    """A track along straight legs through (east, north) points about the middle of the grids, headings along them."""
    points = np.asarray(points, float)
    legs = [np.linspace(a, b, max(2, int(np.hypot(*(b - a)) / step) + 1)) for a, b in zip(points[:-1], points[1:])]
    azimuth = np.concatenate([np.full(len(leg), np.degrees(np.arctan2(*(b - a))))
                              for leg, a, b in zip(legs, points[:-1], points[1:])])
    at = np.vstack(legs)
    return on_grid(at[:, 0], at[:, 1], azimuth, **{"range_m": 20.0, "depth_m": 5.0, "speed_mps": SPEED, **given})


def on_grid(e, n, azimuth, **given):
    """Track at places about (EAST, NORTH) in EPSG:32615; azimuth is that of the grid."""
    x, y = EAST + np.asarray(e, float), NORTH + np.asarray(n, float)
    lonlat = Proj("EPSG:32615")(x, y, inverse=True)
    turn = Proj("EPSG:32615").get_factors(*lonlat).meridian_convergence
    return tracks.made("EPSG:32615", x, y, np.asarray(azimuth) + turn, **given)


def drawn(track, cell=0.5, **given):
    """(bands over the whole raster, functions of (e, n) -> value) and the Ensonification."""
    job = Ensonification(track, cell, **given)
    bands = {}
    for row, col, tile in job.tiles():
        for name, values in tile.items():
            whole = bands.setdefault(name, np.full((job.raster.rows, job.raster.cols), np.nan, np.float32))
            whole[row:row + values.shape[0], col:col + values.shape[1]] = values
    return bands, job


def at(bands, job, name, e, n):
    """Values of a band at places about (EAST, NORTH)."""
    col, row = job.raster.cells_from("EPSG:32615")(EAST + np.asarray(e, float), NORTH + np.asarray(n, float))
    return bands[name][np.round(row).astype(int), np.round(col).astype(int)]


def middles(job):
    """(east, north) of all cells about (EAST, NORTH)."""
    raster = job.raster
    return np.meshgrid(raster.left + (np.arange(raster.cols) + 0.5) * raster.cell - EAST,
                       raster.top - (np.arange(raster.rows) + 0.5) * raster.cell - NORTH)


def whole_of(grid):
    """All values of a grid."""
    rows, cols = grid.shape
    return grid.window(np.array([0, cols - 1]), np.array([0, rows - 1])).values[2:-3, 2:-3]


LINE = [(0, -40), (0, 40)]
FLAT = beds.grid(lambda e, n: 5 + 0 * e, half=90)


@pytest.mark.parametrize("grid", [None, FLAT], ids=["no grid", "flat grid"])
def test_one_line_over_a_flat_bottom(grid):
    bands, job = drawn(sailed(LINE), grid=grid)
    e, n = middles(job)
    ground = np.abs(e) / SCALE
    inner, outer = 5 * np.tan(np.radians(20)), np.sqrt(375)
    sure = (np.abs(n) < 39) & (np.abs(ground - inner) > 0.01) & (np.abs(ground - outer) > 0.01)
    wanted = (ground >= inner) & (ground <= outer)
    np.testing.assert_array_equal(bands["looks"][sure], wanted[sure])
    np.testing.assert_array_equal(bands["directions"][sure], wanted[sure])
    assert not bands["hidden"].any() and bands["looks"].max() == 1
    slant = np.hypot(5, 10.25 / SCALE)
    rate = 0.5 * 1450 / (2 * 20)
    assert at(bands, job, "grazing", 10.25, 0.25) == pytest.approx(np.degrees(np.arcsin(5 / slant)), abs=1e-3)
    assert at(bands, job, "hits", -10.25, 0.25) == pytest.approx(rate / SPEED, rel=1e-3)
    size = max(3 * SPEED / rate, 2 * slant * np.tan(np.radians(0.75)), 5 * 0.3 / (slant + 0.3))
    assert at(bands, job, "smallest_object", 10.25, 0.25) == pytest.approx(size, rel=1e-3)
    assert np.isnan(at(bands, job, "smallest_object", 19.25, 0.25))  # no room for the shadow before the range ends
    assert np.isnan(bands["grazing"][bands["looks"] == 0]).all()
    assert job.totals.seen_m2 == pytest.approx(2 * 80 / SCALE * (outer - inner), rel=0.02)
    assert job.totals.passes == 1 and job.totals.hidden_m2 == 0


def test_a_flat_grid_counts_the_same_cells_as_no_grid():
    track = sailed([(-30, -30), (35, 60)], depth_m=6.3, range_m=25.0)
    flat = drawn(track)[0]["looks"]
    for grid in (beds.grid(lambda e, n: 6.3 + 0 * e, half=120), beds.grid(lambda e, n: 8.1 + 0 * e, half=120)):
        assert np.count_nonzero(drawn(track, grid=grid)[0]["looks"] != flat) <= 2  # rounding at the very edge


def test_without_a_grid_the_cells_are_those_of_the_swaths():
    """0 cells differ from shapely, cell middle in the union of what each pass saw."""
    east, north, azimuth, number = tracks.boustrophedon(lines=3, length=70.0, spacing=24.0)
    track = on_grid(east - 24, north - 35, azimuth, pass_id=number, depth_m=5.0, range_m=18.0)
    bands, job = drawn(track)
    frame = Frame.around(track.crs, track.x, track.y)
    e, n = middles(job)
    wanted = np.zeros(e.shape)
    for ground in pass_unions(track, SwathSettings(), frame).values():
        wanted += shapes.contains(ground, *frame.forward(e + EAST, n + NORTH))
    assert np.count_nonzero(bands["looks"] != wanted) == 0
    assert wanted.max() >= 2


def test_both_sides_of_a_pass_are_one_look_and_so_is_coming_back(monkeypatch):
    monkeypatch.setattr(bottom_map, "_CELLS_AT_ONCE", 2000)  # more than one part to a pass
    angle = np.linspace(0, 2.2 * np.pi, 150)
    track = on_grid(30 * np.sin(angle), 30 * np.cos(angle), np.degrees(angle) + 90, depth_m=5.0, range_m=20.0)
    bands, _ = drawn(track, grid=FLAT)
    assert bands["looks"].max() == 1


def together(first, second):
    """Two tracks as one."""
    return tracks.Track.from_columns(first.crs, np.append(first.x, second.x), np.append(first.y, second.y), {
        name: np.append(getattr(first, name), getattr(second, name)) for name in first.__dataclass_fields__
        if name not in ("crs", "x", "y")})


def test_a_pass_that_is_too_fast_looks_and_detects_nothing():
    """R 20 m, half the highest rate, 18.1 pings a second: at 10 m/s three hits take 1.66 m, at 1.5 m/s 0.25 m."""
    one = sailed(LINE, pass_id=1)
    fast = sailed(LINE, pass_id=2, speed_mps=10.0)
    slow = sailed([(-40, 6.5), (40, 6.5)], pass_id=3)
    for tracks_there, looks, detecting, directions in (
            ((one, fast), 2, 1, 1), ((fast,), 1, 0, 0), ((one, fast, slow), 3, 2, 2)):
        track = tracks_there[0]
        for more in tracks_there[1:]:
            track = together(track, more)
        bands, job = drawn(track, grid=FLAT)
        names = ("looks", "detecting_looks", "detecting_directions")
        assert [at(bands, job, name, 10, 0.25) for name in names] == [looks, detecting, directions]
    assert job.totals.detection_m2 == pytest.approx(
        np.count_nonzero(bands["detecting_looks"]) * 0.25 / SCALE**2, rel=1e-4)
    assert np.array_equal(bands["detecting_looks"] > 0, bands["smallest_object"] <= 1.0)


@pytest.mark.parametrize("second, count", [
    ([(3, -40), (3, 40)], 1), ([(3, 40), (3, -40)], 1), ([(20, 40), (20, -40)], 2), ([(-40, 6.5), (40, 6.5)], 2)],
    ids=["the same way", "back, other side, beam still eastward", "from beyond", "across"])
def test_directions(second, count):
    """Of two looks at (10, 0.25), the first with a beam that points east."""
    bands, job = drawn(together(sailed(LINE), sailed(second, pass_id=2)), grid=FLAT)
    assert at(bands, job, "looks", 10, 0.25) == 2
    assert at(bands, job, "directions", 10, 0.25) == count


def test_beams_to_either_side_of_south_look_south():
    """A boat under way to the east whose heading swings by a degree: nothing in between looks north."""
    east = sailed([(-40, 6.5), (40, 6.5)], pass_id=2)
    east.heading_deg = 90 + np.where(np.arange(len(east)) % 2, 0.5, -0.5)
    for first, count in ((LINE, 2), ([(-40, 3.0), (40, 3.0)], 1)):
        bands, job = drawn(together(sailed(first), east), grid=FLAT)
        seen = np.array([at(bands, job, "directions", x, -6.25) for x in np.arange(6.25, 14, 0.5)])
        assert (seen == count).all(), seen


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_the_beam_that_looks_at_a_cell_points_at_it(seed):
    """Also where neighbouring beams cross: the strip then has two lobes."""
    rng = np.random.default_rng(seed)
    azimuth = np.cumsum(rng.uniform(-60, 60, 4))
    track = on_grid(rng.uniform(-3, 3, 4), np.arange(4) * 2.0, azimuth, depth_m=5.0, range_m=20.0)
    job = Ensonification(track, 0.5, grid=FLAT)
    sweep = job.sweeps[0]
    interval = np.arange(3)
    cells = StripCells(sweep, interval, sweep.subbeams(interval), (0, job.raster.rows, 0, job.raster.cols))
    t, i = cells.moment[:, None].astype(float), cells.quad
    boat = sweep.at[i] + t * (sweep.at[i + 1] - sweep.at[i])
    beam = sweep.beam[i] + t * (sweep.beam[i + 1] - sweep.beam[i])
    away = np.column_stack([cells.col, cells.row]) - boat
    aside = (away[:, 0] * beam[:, 1] - away[:, 1] * beam[:, 0]) / np.hypot(*beam.T)
    assert ((t >= 0) & (t <= 1)).all() and len(t) > 100
    assert np.abs(aside).max() < 0.2  # cells; single precision, a wrong root is cells away
    np.testing.assert_allclose(cells.ground * cells.side, np.sign((away * beam).sum(axis=1)) * np.hypot(*away.T) * 0.5
                               / SCALE, atol=0.1)


@pytest.mark.parametrize("step", [0.2, 5.0, 40.0])
@pytest.mark.parametrize("cell", [0.25, 0.5, 3.0])
def test_no_false_holes_at_any_speed_or_cell_size(step, cell):
    grid = beds.grid(lambda e, n: 5 + 0.05 * e + 0.02 * n, half=90, cell=1.0)
    track = sailed([(-20, -40), (20, 40)], step=step)
    track.depth_m[:] = 5 + 0.05 * (track.x - EAST) + 0.02 * (track.y - NORTH)
    bands, job = drawn(track, cell, grid=grid)
    e, n = middles(job)
    across = np.abs(e * np.cos(np.arctan2(40, 80)) - n * np.sin(np.arctan2(40, 80)))
    along = np.abs(e * np.sin(np.arctan2(40, 80)) + n * np.cos(np.arctan2(40, 80)))
    inside = (across > 3) & (across < 18) & (along < np.hypot(20, 40) - 0.5)
    assert inside.sum() > 50 and (bands["looks"][inside] == 1).all()


def test_a_break_is_not_bridged():
    track = sailed(LINE)
    track.sample_id[30:] += 1
    bands, job = drawn(track, grid=FLAT)
    gap = (track.y[29] + track.y[30]) / 2 - NORTH
    assert at(bands, job, "looks", 10, gap) == 0
    assert at(bands, job, "looks", 10, gap + 3) == 1


def test_land_stops_the_sound_with_a_grid_and_without():
    water = Polygon([(EAST + a, NORTH + b) for a, b in [(-80, -80), (80, -80), (80, 80), (-80, 80)]],
                    [[(EAST + a, NORTH + b) for a, b in [(6, -3), (9, -3), (9, 4), (6, 4)]]])
    for grid in (None, FLAT):
        bands, job = drawn(sailed(LINE), grid=grid, water=water)
        assert at(bands, job, "looks", [4, 15, 15, -15], [0.25, 0.25, 10, 0.25]).tolist() == [1, 0, 1, 1]
        assert np.isnan(at(bands, job, "looks", 7.25, 0.25))
        assert at(bands, job, "hidden", 15, 0.25) == 0


def test_dry_cells_of_the_grid_stop_the_sound_too():
    grid = beds.grid(lambda e, n: np.where((e > 6) & (e < 9) & (np.abs(n) < 4), -1.0, 5.0), half=90)
    bands, job = drawn(sailed(LINE), grid=grid)
    assert at(bands, job, "looks", [4, 15, 15], [0.25, 0.25, 10]).tolist() == [1, 0, 1]


def test_off_the_grid_the_bottom_is_flat_and_its_area_is_told():
    grid = beds.grid(lambda e, n: np.where(n < 0, 5.0, np.nan), half=90)
    bands, job = drawn(sailed(LINE), grid=grid)
    assert at(bands, job, "looks", [10, 10], [-20, 20]).tolist() == [1, 1]
    assert job.totals.assumed_m2 == pytest.approx(job.totals.seen_m2 / 2, rel=0.03)


def test_a_ridge_hides_what_lies_behind_until_another_pass_sees_it():
    ridge = beds.grid(lambda e, n: 5 - 2 * np.clip(2 - np.abs(e - 8.25) / 0.5, 0, 1), half=90)
    bands, job = drawn(sailed(LINE), grid=ridge)
    # hidden from the far edge of its top, 8.75 m, to 8.75 * 5 / 3 = 14.58 m
    assert at(bands, job, "hidden", [7.75, 9.25, 14.25, 14.75], [0.25] * 4).tolist() == [0, 1, 1, 0]
    assert at(bands, job, "looks", [7.75, 9.25, 14.25, 14.75], [0.25] * 4).tolist() == [1, 0, 0, 1]
    assert job.totals.hidden_m2 == pytest.approx(80 * (14.58 - 8.75), rel=0.1)
    bands, job = drawn(together(sailed(LINE), sailed([(28, 40), (28, -40)], pass_id=2)), grid=ridge)
    assert at(bands, job, "hidden", 11, 0.25) == 0 and at(bands, job, "looks", 11, 0.25) == 1


def test_grazing_on_a_cross_slope_is_the_angle_to_the_surface():
    """Normal (-0.1, -0.3, 1) of z = 10 + 0.1 e + 0.3 n; ray from the boat above (0, 0) to (12.25, 0.25)."""
    grid = beds.grid(lambda e, n: 10 + 0.1 * e + 0.3 * n, half=90)
    bands, job = drawn(sailed([(0, -6), (0, 6)], depth_m=np.linspace(8.2, 11.8, 9), range_m=25.0), grid=grid)
    ray = np.array([12.25, 0, 10 + 1.225 + 0.075])
    sine = abs(ray @ np.array([-0.1, -0.3, 1])) / np.linalg.norm(ray) / np.linalg.norm([0.1, 0.3, 1])
    assert at(bands, job, "grazing", 12.25, 0.25) == pytest.approx(np.degrees(np.arcsin(sine)), abs=0.1)


@pytest.mark.parametrize("slope", [-0.2, 0.0, 0.1, 0.3])
def test_the_smallest_object_throws_its_shadow_on_the_slope(slope):
    """Brute force: a wall of the size said, ahead of a beam traced by 0.1 mm, shadows just the least length."""
    grid = beds.grid(lambda e, n: 8 + slope * e, half=90)
    asked = DetectionSettings(beam_width_deg=0.01, min_hits=1e-6, min_shadow_m=1.5, min_grazing_deg=0.0)
    bands, job = drawn(sailed(LINE, depth_m=8.0, range_m=40.0), grid=grid, settings=asked)
    for e in (6.25, 15.25, 24.25):
        size = at(bands, job, "smallest_object", e, 0.25)
        wall, m = e / SCALE, slope * SCALE
        top = 8 + m * wall
        while np.hypot(wall, top - size) < np.hypot(e / SCALE, 8 + m * e / SCALE):  # its top shows at that slant range
            wall += 1e-4
            top = 8 + m * wall
        g = np.arange(wall + 1e-4, 80, 1e-4)
        end = g[np.argmax(8 + m * g <= (top - size) / wall * g)]
        shadow = np.hypot(end, 8 + m * end) - np.hypot(wall, top - size)
        assert shadow == pytest.approx(1.5, rel=0.01), e


def test_below_eight_percent_of_the_range_only_twelve_and_a_half_heights_count():
    """Range scale 50, height 3: effective range 37.5 m (HSSD 2021 digest); the default grazing limit stands for it."""
    bands, job = drawn(sailed(LINE, depth_m=3.0, range_m=50.0), settings=DetectionSettings(object_size_m=9.0))
    e = np.arange(20.25, 49, 0.5)
    found = e[np.isfinite(at(bands, job, "smallest_object", e, 0.25 + 0 * e))]
    assert np.hypot(found.max(), 3) == pytest.approx(37.5, abs=0.6)


@pytest.mark.parametrize("turned", ["south-up", "rotated", "feet", "degrees"])
def test_the_grid_may_lie_any_way(turned):
    def depth(e, n):
        return 7 + 1.6 * np.sin(e / 1.7 + n / 9) + 0.8 * np.sin(n / 3 - e / 6)
    plain = beds.grid(depth, half=80)
    t, size = plain.transform, plain.shape[0]
    col, row = np.meshgrid(np.arange(size) + 0.5, np.arange(size) + 0.5)
    if turned == "south-up":
        other = DepthGrid.from_array(beds.CRS, (t[0], 0.5, 0, t[3] - 160, 0, 0.5),
                                     whole_of(plain)[::-1])
    else:
        crs, transform = {
            "rotated": (beds.CRS, (EAST - 112, 0.4, 0.3, NORTH + 16, 0.3, -0.4)),
            "feet": ("EPSG:26851", None), "degrees": ("EPSG:4326", None)}[turned]
        crs, transform = (crs, transform) if transform else spread(crs, size)
        x, y = (transform[k] + col * transform[k + 1] + row * transform[k + 2] for k in (0, 3))
        x, y = carried(crs, beds.CRS, x, y)
        other = DepthGrid.from_array(crs, transform, depth(x - EAST, y - NORTH))
    track = sailed([(-25, -30), (15, 30)], depth_m=np.nan)
    track.depth_m[:] = depth(track.x - EAST, track.y - NORTH)
    first, second = drawn(track, grid=plain)[0], drawn(track, grid=other)[0]
    differ = np.mean(first["looks"] != second["looks"])
    assert differ <= {"south-up": 0}.get(turned, 0.006), differ
    assert first["hidden"].sum() > 50


def spread(crs, size):
    """A geotransform of about the same square in another CRS."""
    x, y = carried(beds.CRS, crs, EAST + np.array([-80.0, 80.0]), NORTH + np.array([-80.0, 80.0]))
    dx, dy = np.diff(x)[0] / size, np.diff(y)[0] / size
    return crs, (x[0], dx, 0, y[1], 0, -dy)


def test_tiles_and_windows_change_nothing(monkeypatch):
    rough = beds.grid(lambda e, n: 6 + np.sin(e / 2) * np.cos(n / 3), half=90)
    track = sailed([(-30, -40), (30, 40)], depth_m=6.0)
    whole, job = drawn(track, grid=rough)
    largest = []
    values = whole_of(rough)

    def read(r0, r1, c0, c1):
        largest.append((r1 - r0) * (c1 - c0))
        return values[r0:r1, c0:c1]
    monkeypatch.setattr(bottom_map, "TILE", 64)
    monkeypatch.setattr("athwart.survey.bottom.depthgrid.MAX_WINDOW_CELLS", 9000)
    by_window = DepthGrid(beds.CRS, rough.transform, rough.shape, read)
    tiled, cut = drawn(track, grid=by_window)
    for name in whole:  # a cell on the very edge of a shadow may fall to either side, by rounding
        assert np.count_nonzero(~np.isclose(tiled[name], whole[name], rtol=1e-3, equal_nan=True)) <= 1, name
    assert max(largest) < 2 * 9000 and cut.totals.seen_m2 == pytest.approx(job.totals.seen_m2, rel=1e-4)


def test_areas_are_ground_areas_whatever_the_projection():
    """The same line far from the axis of its zone, scale 1.0005 in Web Mercator some 1.41: the ground is what it is."""
    here = sailed(LINE)
    lon, lat = Proj("EPSG:32615")(here.x, here.y, inverse=True)
    areas = []
    for crs in ("EPSG:32615", "EPSG:3857", "EPSG:4326"):
        x, y = (lon, lat) if crs == "EPSG:4326" else Proj(crs)(lon, lat)
        track = tracks.made(crs, np.array(x), np.array(y), here.heading_deg, range_m=20.0, depth_m=5.0)
        job = drawn(track)[1]
        assert job.raster.crs.is_projected
        areas.append(job.totals.seen_m2)
    assert areas == pytest.approx([areas[0]] * 3, rel=4e-3)


def test_what_cannot_be_mapped_says_why():
    with pytest.raises(InputError, match="reject_reason"):
        Ensonification(sailed(LINE, usable=False), 0.5)
    with pytest.raises(InputError, match="longer than the depth"):
        Ensonification(sailed(LINE, depth_m=30.0), 0.5)
    with pytest.raises(InputError, match="does not cover the track"):
        Ensonification(sailed(LINE), 0.5, grid=beds.grid(lambda e, n: 5 + 0 * e, at=(EAST + 900, NORTH)))
    with pytest.raises(InputError, match="negative down"):
        Ensonification(sailed(LINE), 0.5, grid=beds.grid(lambda e, n: -5 + 0 * e))
    with pytest.raises(InputError, match="cell size"):
        Ensonification(sailed(LINE), 0.0)


def test_grid_and_sounder_are_compared():
    agreed = Ensonification(sailed(LINE), 0.5, grid=beds.grid(lambda e, n: 5.6 + 0 * e, half=90)).anchors
    assert agreed.warning == "" and agreed.median_m == pytest.approx(0.6) and agreed.compared == 54
    feet = Ensonification(sailed(LINE), 0.5, grid=beds.grid(lambda e, n: 16.4 + 0 * e, half=90)).anchors
    assert "11.40 m deeper" in feet.warning and "feet" in feet.warning
    constant = Ensonification(sailed(LINE, depth_source="constant"), 0.5, grid=FLAT).anchors
    assert constant.compared == 0 and not constant.offset.any()


LEDGE = beds.grid(lambda e, n: np.where(e < 0, 3.0, 15.0), half=120)
"""A shelf 3 m deep to the west of a drop of 12 m."""

TRULY, OFF = -1.0, 2.0
"""Where a boat runs along the drop, and how far to the east of that its receiver puts it, m."""


def along_the_drop(e=TRULY + OFF, depth=3.0, **given):
    """A line whose sounder reads the shelf."""
    return sailed([(e, -40), (e, 40)], depth_m=depth, range_m=30.0, **given)


def shelf_seen(bands, job, by=0.0):
    """Seen cells of the shelf from 4 to 27 m off the true boat, beside the middle of the line."""
    e, n = middles(job)
    there = (np.abs(n) < 35) & (e < TRULY + by - 4) & (e > TRULY + by - 27)
    return (bands["looks"][there] > 0).mean()


@pytest.mark.parametrize("others", [[], [-60.0, -40.0], [-60.0, 60.0]], ids=["alone", "two more", "one on each side"])
@pytest.mark.parametrize("draft", [0.0, 0.4])
def test_a_position_two_metres_off_beside_a_drop_hides_no_shelf(others, draft):
    """The receiver puts the boat beyond a drop of 12 m; by each sample the grid would have to rise by all of it."""
    track = along_the_drop(depth=3.0 - draft)
    for number, e in enumerate(others):
        track = together(track, along_the_drop(e, 3.0 - draft if e < 0 else 15.0 - draft, pass_id=2 + number))
    alone = along_the_drop(depth=3.0 - draft)
    bands, job = drawn(alone if not others else track, grid=LEDGE)
    if others:
        offsets = np.unique(np.round(job.anchors.offset, 6))
        assert offsets == pytest.approx([-draft])
    assert shelf_seen(bands, job) > 0.99
    truth = drawn(along_the_drop(TRULY, 3.0 - draft), grid=LEDGE)[1].totals.seen_m2
    if not others:
        assert job.totals.seen_m2 == pytest.approx(truth, rel=0.06)
    warned = job.anchors.local
    assert draft or all(words in warned for words in ("1 stretch ", "pass 1 of 'day 1'", "12.0 m deeper"))
    assert warned
    assert f"{EAST + TRULY + OFF:.1f}" in warned and "sigma_position_m" in warned and "2023-11-14T" in warned


def test_offsets_follow_slow_changes_and_not_single_places():
    """Load and level that change by 0.3 m an hour are followed; a bank crossed with a position 2 m off is not."""
    n = np.arange(0, 3600.0)
    bank = beds.grid(lambda e, n: 5 + 6 / (1 + np.exp(-e / 1.5)), half=120)
    e = 60 * np.sin(n / 90)
    drift = -0.3 * n / 3600
    deep = 5 + 6 / (1 + np.exp(-(e - OFF) / 1.5)) + drift
    track = on_grid(e, 50 * np.sin(n / 400), 90.0, depth_m=deep + np.random.default_rng(1).normal(0, 0.05, len(n)))
    found = Ensonification(track, 2.0, grid=bank).anchors
    assert np.abs(found.offset - drift).max() < 0.08 and "stretch" in found.local
    level = Ensonification(on_grid(e, 50 * np.sin(n / 400), 90.0, depth_m=5.0 + drift), 2.0,
                           grid=beds.grid(lambda e, n: 5.0 + 0 * e, half=120)).anchors
    assert np.abs(level.offset - drift).max() < 0.01 and not level.local and not level.warning


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 2**32 - 1))
@example(1852)
def test_a_continuous_beam_agrees_cell_by_cell_on_random_ground(seed):
    """Random hills, a bent and crabbing track; cells within 2 % of a sight line, or 5 cm of an edge, may differ."""
    rng = np.random.default_rng(seed)
    waves = [(rng.uniform(0, 2 * np.pi), rng.uniform(0, 2 * np.pi), rng.uniform(4, 20)) for _ in range(5)]

    def hills(e, n):
        return 6 + sum(np.sin((e * np.cos(a) + n * np.sin(a)) * 2 * np.pi / w + p) * w / 14 for a, p, w in waves)
    grid = beds.grid(hills, half=50)
    n = np.arange(-7, 7, 1.5)
    e = 6 * np.sin(n / rng.uniform(8, 20))
    azimuth = np.degrees(np.arctan2(np.gradient(e), np.gradient(n))) + 4 * np.sin(n / 3)
    depth = continuous.surface(whole_of(grid), -50, 50, 0.5)
    track = on_grid(e, n, azimuth, depth_m=depth(e, n), range_m=14.0)
    bands, job = drawn(track, grid=grid)
    places = np.column_stack([v.ravel() for v in middles(job)])
    when = continuous.sweeps_over(e, n, azimuth, np.ones(len(e)), places, 14.0)
    strict, exact, generous = np.zeros((3, len(places)), int)
    for slack, sure in ((-1, strict), (0, exact), (1, generous)):  # a crest half a metre off hides from exact alone
        state = continuous.seen_at(e, n, azimuth, depth, places, when, 14.0, 20.0, 0.05, slack)
        np.maximum.at(sure, when[0], state)
    found = (bands["looks"].ravel() > 0) * 2 + (bands["hidden"].ravel() > 0)
    wrong = (found != exact) & (strict == exact) & (exact == generous) & ~continuous.near_ends(e, n, azimuth, places)
    assert np.count_nonzero(wrong) == 0, places[wrong]
    assert np.count_nonzero(strict == 2) > 300


def test_only_cells_at_a_shadows_edge_need_a_beam_of_their_own(monkeypatch):
    """None on a flat floor; beside the ridge the cells about its own edges and its shadow's, some of all."""
    asked, own_rays = [], bed.Bed._own_rays

    def counted(self, sweep, interval, cells, which, *more):
        asked.append((len(which), len(cells.cell)))
        return own_rays(self, sweep, interval, cells, which, *more)
    monkeypatch.setattr(bed.Bed, "_own_rays", counted)
    drawn(sailed(LINE), grid=beds.grid(lambda e, n: 5 + 0 * e, half=90))
    assert sum(own for own, _ in asked) == 0 < sum(cells for _, cells in asked)
    asked.clear()
    drawn(sailed(LINE), grid=beds.grid(lambda e, n: 5 - 2 * np.clip(2 - np.abs(e - 8.25) / 0.5, 0, 1), half=90))
    own, cells = np.sum(asked, axis=0)
    assert 0.02 * cells < own < 0.3 * cells
