"""Swaths against geodesics, brute force, trade facts and one union of all quads."""
import numpy as np
import pytest
import shapely.geometry as sg
import tracks
from athwart.survey.geometry import shapes, transfer
from athwart.survey.geometry.frame import Frame
from athwart.survey.model import schemas
from athwart.survey.model.errors import Cancelled, InputError
from athwart.survey.swaths.draw import SwathSettings, draw_swaths, pass_unions
from athwart.survey.swaths.quad_strips import MAX_INTERVALS
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Geod, Transformer
from shapely.ops import unary_union
from stress import NAMES, brute_quads, circle, path, raw_quads, whole_union

UTM = "EPSG:32615"
FRAME = Frame(UTM, -93, 45)
FOOT = 0.3048


def straight(count=41, step=1.0, azimuth=0.0, start=(0.0, 0.0), frame=FRAME, **given_):
    """A straight track in frame metres."""
    along = np.arange(count) * step
    a = np.radians(azimuth)
    return tracks.in_frame(frame, start[0] + along * np.sin(a), start[1] + along * np.cos(a),
                           np.full(count, azimuth), **given_)


def ground(result, frame=FRAME):
    """All features of a result as one polygon in frame metres."""
    return unary_union([transfer.to_frame(frame, g) for g in result.geometries])


# --- where the edges lie -------------------------------------------------------------------------------------------

PLACES = [
    (UTM, -93.0, 45.0, 0.0),
    (UTM, -86.6, 45.0, 33.0),  # 505 km off the axis of its zone
    ("EPSG:32631", 3.3, 0.02, 75.0),
    ("EPSG:4326", 25.0, 70.0, 120.0),
    ("EPSG:4326", 179.9996, -17.0, 80.0),  # crosses 180 degrees
    ("EPSG:4326", -179.9996, 52.0, 260.0),
    ("EPSG:2964", -150.4, 60.4, 200.0),  # US survey feet on NAD27
]


@pytest.mark.parametrize("crs, lon, lat, heading", PLACES)
def test_edges_are_geodesic_offsets_on_the_ellipsoid_of_the_crs(crs, lon, lat, heading):
    crs = CRS(crs)
    geod, to_crs = crs.get_geod(), Transformer.from_crs(crs.geodetic_crs, crs, always_xy=True)
    count, slant, depth = 21, 100.0, 10.0
    start = np.full(count, lon), np.full(count, lat), np.full(count, heading)
    lons, lats, backs = geod.fwd(*start, np.arange(count) * 8.0)
    headings = np.where(np.arange(count) == 0, heading, np.asarray(backs) + 180)
    x, y = to_crs.transform(lons, lats)
    result = draw_swaths(tracks.made(crs, x, y, headings, range_m=slant, depth_m=depth), SwathSettings())
    assert {g.is_valid for g in result.geometries} == {True}
    for side, geometry in zip(result.columns["side"], result.geometries):
        corners = np.vstack([np.vstack([shell, *holes]) for shell, holes in shapes.rings(geometry)])
        found = np.array(to_crs.transform(*corners.T, direction="INVERSE"))
        for reach in (depth * np.tan(np.radians(20)), np.sqrt(slant**2 - depth**2)):
            sign = -1 if side == "port" else 1
            wanted = geod.fwd(lons, lats, headings + 90.0 * sign, np.full(count, reach))
            pairs = np.meshgrid(np.arange(count), np.arange(found.shape[1]), indexing="ij")
            i, j = (p.ravel() for p in pairs)
            miss = geod.inv(wanted[0][i], wanted[1][i], found[0][j], found[1][j])[2].reshape(count, -1).min(axis=1)
            assert miss.max() < 1e-5 * reach + 2e-6, (side, reach)


def test_a_survey_40_km_wide_keeps_a_millimetre_in_100_metres_at_its_rim():
    geod = Geod(ellps="WGS84")
    lon, lat, _ = geod.fwd([-93.0, -93.0], [46.0, 46.0], [270, 90], [20_000, 20_000])
    lons = np.concatenate([[o, o] for o in lon])
    lats = np.concatenate([[a, a + 1e-4] for a in lat])
    track = tracks.made("EPSG:4326", lons, lats, 0.0, pass_id=[1, 1, 2, 2], sample_id=[1, 2, 4, 5], range_m=100.0,
                        depth_m=0.0)
    result = draw_swaths(track, SwathSettings(blind_deg=0))
    assert result.report.frames == 1
    for side, index, geometry in zip(result.columns["side"], result.columns["pass_id"], result.geometries):
        first = 2 * int(index) - 2
        far = geod.fwd(lons[first], lats[first], 90 if side == "starboard" else 270, 100.0)
        shell = np.array(geometry.exterior.coords if geometry.geom_type == "Polygon"
                         else geometry.geoms[0].exterior.coords)
        miss = geod.inv(np.full(len(shell), far[0]), np.full(len(shell), far[1]), *shell.T)[2].min()
        assert miss < 1.001e-3


def test_crossing_180_degrees_is_cut_there_and_keeps_its_area():
    lon = np.array([179.9994, 179.9998, -179.9998, -179.9994])
    result = draw_swaths(tracks.made("EPSG:4326", lon, np.full(4, -17.0), 90.0), SwathSettings(merge="all"))
    (area,), (geometry,) = result.columns["area_m2"], result.geometries
    assert geometry.bounds[0] == -180
    assert geometry.bounds[2] == 180
    assert max(p.bounds[2] - p.bounds[0] for p in geometry.geoms) < 0.001
    inside = tracks.made("EPSG:4326", np.array([10.0, 10.0004, 10.0008, 10.0012]), np.full(4, -17.0), 90.0)
    assert area == pytest.approx(draw_swaths(inside, SwathSettings(merge="all")).area_m2, rel=1e-7)


def test_a_pass_of_200_km_is_one_feature_of_true_width():
    lat = np.linspace(45, 45.02, 30)
    lon = np.linspace(-93, -90.4, 30)
    geod = Geod(ellps="WGS84")
    azimuth = np.append(geod.inv(lon[:-1], lat[:-1], lon[1:], lat[1:])[0], np.nan)
    azimuth[-1] = azimuth[-2] + (azimuth[-2] - azimuth[-3])
    track = tracks.made("EPSG:4326", lon, lat, azimuth, range_m=100.0, depth_m=0.0)
    result = draw_swaths(track, SwathSettings(merge="pass"))
    assert result.report.frames > 1
    assert len(result.geometries) == 1
    assert result.geometries[0].is_valid
    length = geod.line_length(lon, lat)
    assert result.area_m2 == pytest.approx(200 * length, rel=1e-4)
    assert len(draw_swaths(track, SwathSettings(merge="strip")).geometries) == 2


# --- trade facts ---------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("slant, depth, rule, true", [(25, 1.5, 23.5, 24.95), (80, 20, 60.0, 77.46)])
def test_feet_seen_on_each_side(slant, depth, rule, true):
    # common practice, no source: 25 ft of range over 1.5 ft of water leaves some 23.5 ft a side, 80 over 20 some 60;
    # by Pythagoras it is 24.95 and 77.46
    track = straight(range_m=slant * FOOT, depth_m=depth * FOOT)
    for model, reach in (("subtract", rule), ("slant", true)):
        columns = draw_swaths(track, SwathSettings(range_model=model, blind_deg=0)).columns
        assert columns["outer_m"] / FOOT == pytest.approx([reach, reach], abs=5e-3)
        assert list(columns["range_model"]) == [model, model]


def test_twenty_feet_of_travel_cover_470_square_feet_a_side():
    # common practice, no source: 20 ft x 23.5 ft = 470 square feet
    track = straight(count=11, step=2 * FOOT, range_m=25 * FOOT, depth_m=1.5 * FOOT)
    result = draw_swaths(track, SwathSettings(range_model="subtract", blind_deg=0, thin_m=0))
    assert result.columns["area_m2"] / FOOT**2 == pytest.approx([470, 470], abs=0.01)


# --- exactness -----------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("name", NAMES)
def test_the_union_is_that_of_all_quads(name):
    east, north, azimuth, columns = path(name)
    track = tracks.in_frame(FRAME, east, north, azimuth, **columns)
    found = pass_unions(track, SwathSettings(thin_m=0, keep_turns=True), FRAME)
    wanted = brute_quads(track, FRAME)
    assert len(found) == len(wanted)
    for ground_, quads in zip(found.values(), wanted.values()):
        assert ground_.is_valid
        truth = whole_union(quads)
        assert truth.symmetric_difference(ground_).area <= 1e-12 * truth.area
    result = draw_swaths(track, SwathSettings(thin_m=0, keep_turns=True, merge="all"))
    everything = whole_union([quad for quads in wanted.values() for quad in quads])
    assert result.area_m2 == pytest.approx(everything.area, rel=1e-7)  # summed on the ellipsoid
    assert result.geometries[0].is_valid


def test_the_ground_of_a_boat_adrift_is_whole():
    # a union of both its sides at once loses 111 m2 of this one under GEOS 3.14
    rng = np.random.default_rng(349)
    count = int(rng.integers(2, 600))
    east, north = np.cumsum(rng.normal(0, 0.5, count)), np.cumsum(rng.normal(0.5, 0.5, count))
    azimuth = np.cumsum(rng.normal(0, 6, count))
    ranges, depths = rng.choice([20.0, 30.0, np.nan], count, p=[0.45, 0.5, 0.05]), np.abs(rng.normal(5, 5, count))
    track = tracks.in_frame(Frame("EPSG:4326", 179.99999, -17), east, north, azimuth, range_m=ranges, depth_m=depths)
    assert draw_swaths(track, SwathSettings(merge="all", thin_m=1)).area_m2 == pytest.approx(10536.75, abs=0.01)


def test_a_survey_is_drawn_from_long_rings_and_few_single_quads():
    east, north, azimuth, columns = path("survey")
    track = tracks.in_frame(FRAME, east, north, azimuth, **columns)
    astern = tracks.in_frame(FRAME, east[::-1], north[::-1], azimuth[::-1], pass_id=5 - columns["pass_id"][::-1])
    for boat in (track, astern):
        report = draw_swaths(boat, SwathSettings(merge="pass")).report
        assert report.drawn == 2 * (len(track) + 3)  # the beams at three cuts close one pass and open the next
        assert 2 * len(track) / MAX_INTERVALS < report.rings < 2 * len(track) / 20
        assert report.quads < 0.01 * len(track)


def seen_by_raster(quads, cell):
    """Area of the cells whose centre lies in any quad, by the even-odd rule: two triangles of a bow-tie."""
    low, high = quads.min(axis=(0, 1)) - 1, quads.max(axis=(0, 1)) + 1
    xs, ys = (np.arange(low[k], high[k], cell) + cell / 2 for k in (0, 1))
    seen = np.zeros((len(ys), len(xs)), bool)
    for quad in quads:
        (i0, j0), (i1, j1) = ((np.searchsorted(xs, x), np.searchsorted(ys, y))
                              for x, y in (quad.min(axis=0), quad.max(axis=0)))
        x, y = np.meshgrid(xs[i0:i1], ys[j0:j1])
        inside = np.zeros(x.shape, bool)
        for (xa, ya), (xb, yb) in zip(quad, np.roll(quad, -1, axis=0)):
            inside ^= ((ya > y) != (yb > y)) & (x < xa + (y - ya) * (xb - xa) / np.where(yb == ya, 1, yb - ya))
        seen[j0:j1, i0:i1] |= inside
    return seen.sum() * cell**2


@pytest.mark.parametrize("name", ["survey", "loops of 10 m", "too deep in places", "spiral"])
def test_area_against_counting_cells(name):
    east, north, azimuth, columns = path(name)
    track = tracks.in_frame(FRAME, east, north, azimuth, **columns)
    quads = np.array([corners for _, corners in raw_quads(track, FRAME)])
    result = draw_swaths(track, SwathSettings(thin_m=0, keep_turns=True))
    assert result.area_m2 == pytest.approx(seen_by_raster(quads, 0.2), rel=1e-3)


# --- breaks, range steps, turns ------------------------------------------------------------------------------------

def test_nothing_is_drawn_across_a_break():
    n = 40
    usable = np.arange(n) != 30
    at = np.arange(n)
    track = straight(n, sample_id=at + 5 * (at >= 10) + (at >= 20), pass_id=1 + (at >= 20), usable=usable)
    result = draw_swaths(track, SwathSettings(blind_deg=0, thin_m=0))
    assert len(result.geometries) == 8
    width = np.sqrt(30**2 - 5**2)
    assert result.columns["area_m2"] == pytest.approx(np.repeat([9, 9, 9, 8], 2) * width, rel=1e-8)
    assert list(result.columns["samples"]) == [10, 10, 10, 10, 10, 10, 9, 9]
    seen = ground(result)
    for middle in (9.5, 19.5, 29.5, 30.5):
        assert not seen.intersects(sg.box(1, middle - 0.4, 20, middle + 0.4))
    assert list(draw_swaths(track, SwathSettings(merge="pass")).columns["pass_id"]) == [1, 2]


def test_a_range_change_is_a_step_at_the_sample_it_comes_into_force():
    n = 21
    track = straight(n, range_m=np.where(np.arange(n) < 8, 20.0, 40.0), depth_m=0.0)
    result = draw_swaths(track, SwathSettings(thin_m=0))
    assert list(result.columns["range_m"]) == [20, 20, 40, 40]
    assert list(result.columns["samples"]) == [9, 9, 13, 13]
    # the strip that ends reaches a millimetre into the next
    assert result.columns["area_m2"] == pytest.approx([8.001 * 20, 8.001 * 20, 12 * 40, 12 * 40], rel=1e-8)
    seen = ground(result)
    assert not seen.intersects(sg.box(20.01, 0, 39, 7.99))
    assert seen.contains(sg.box(20.01, 8.01, 39, 19))
    assert len(draw_swaths(track, SwathSettings(merge="pass")).geometries) == 1


def test_range_short_of_the_depth_is_counted_and_left_blank():
    n = 20
    depth = np.where((np.arange(n) >= 5) & (np.arange(n) < 9), 31.0, 5.0)
    depth[15] = np.nan
    result = draw_swaths(straight(n, depth_m=depth), SwathSettings(blind_deg=0, thin_m=0))
    assert (result.report.no_bottom, result.report.no_depth, result.report.usable) == (4, 1, n)
    # intervals 0-4, 9-14 and 16-19 are left
    assert result.columns["area_m2"] == pytest.approx(np.full(2, (4 + 5 + 3) * np.sqrt(875)), rel=1e-8)
    assert [len(shapes.parts(g)) for g in result.geometries] == [3, 3]
    for name, values in result.columns.items():
        if np.asarray(values).dtype.kind == "f":
            assert np.isfinite(values).all(), name


def test_only_the_trusted_part_of_the_range_counts():
    track = straight(range_m=40.0, depth_m=0.0)
    for settings_, reach in ((SwathSettings(range_share=0.75), 30), (SwathSettings(range_limit_m=25), 25),
                             (SwathSettings(range_share=0.75, range_limit_m=35), 30)):
        assert draw_swaths(track, settings_).columns["outer_m"] == pytest.approx([reach, reach])
    deep = straight(range_m=40.0, depth_m=25.0)
    assert draw_swaths(deep, SwathSettings(range_share=0.75, blind_deg=0)).report.no_bottom == 0
    with pytest.raises(InputError, match="41 have a range shorter than the depth"):
        draw_swaths(deep, SwathSettings(range_share=0.5))


def test_the_inner_side_of_a_turn_ends_at_its_centre():
    radius, step = 12.0, 1.0
    east, north = circle(0.5, radius, step)  # clockwise: the centre lies to starboard
    azimuth = 90 + np.degrees(np.arctan2(east, north))
    track = tracks.in_frame(FRAME, east, north, azimuth, speed_mps=1.5, turn_dps=np.degrees(1.5 / radius), depth_m=0.0)
    kept = {s: draw_swaths(track, SwathSettings(sides=(s,), keep_turns=True)) for s in (-1, 1)}
    cut = {s: draw_swaths(track, SwathSettings(sides=(s,))) for s in (-1, 1)}
    assert cut[1].columns["outer_m"] == pytest.approx([radius])
    assert cut[-1].area_m2 == pytest.approx(kept[-1].area_m2)
    assert kept[1].columns["outer_m"] == pytest.approx([30])
    length = np.hypot(np.diff(east), np.diff(north)).sum()
    assert cut[1].area_m2 == pytest.approx(length * radius / 2, rel=2e-3)
    assert kept[1].area_m2 > 2 * cut[1].area_m2


# --- land ----------------------------------------------------------------------------------------------------------

def lake_in_crs(shape, frame=FRAME):
    """A polygon in frame metres as WATER in crs units."""
    return transfer.to_crs(frame, shape)


@pytest.mark.parametrize("step", [0.5, 1.5, 12.0])
@pytest.mark.parametrize("azimuth", [0.0, 37.0])
def test_nothing_is_seen_behind_an_island_or_across_a_spit(step, azimuth):
    from shapely.affinity import rotate
    open_water = sg.box(-20, -20, 100, 160)
    island, spit = sg.box(10, 40, 16, 46), sg.box(8, 90, 12, 161)  # the spit hangs from the north shore
    water = rotate(open_water.difference(island).difference(spit), -azimuth, origin=(0, 0))
    track = straight(int(140 / step), step, azimuth, depth_m=0.0, range_m=40.0)
    result = draw_swaths(track, SwathSettings(sides=(1,), thin_m=0), lake_in_crs(water))
    seen = rotate(ground(result), azimuth, origin=(0, 0))
    shadow = unary_union([sg.box(10.05, 40.11, 39, 45.89), sg.box(8.05, 90.11, 39, 135)])
    assert seen.intersection(shadow).area < 1e-6
    length = (int(140 / step) - 1) * step
    truth = 40 * length - 6 * 30 - (length - 90) * 32
    assert result.area_m2 == pytest.approx(truth, abs=0.2 * 32)
    assert result.report.ended_at_land > 0
    assert result.geometries[0].is_valid


def test_a_beam_that_meets_land_before_its_inner_edge_draws_nothing():
    water = sg.box(-40, -10, 1.5, 60)
    track = straight(depth_m=5.0)  # inner edge at 1.82 m, shore at 1.5 m to starboard
    result = draw_swaths(track, SwathSettings(), lake_in_crs(water))
    assert list(result.columns["side"]) == ["port"]
    assert result.report.aground == 0
    far = draw_swaths(track, SwathSettings(), lake_in_crs(sg.box(-300, -300, 300, 300)))
    assert far.area_m2 == pytest.approx(draw_swaths(track, SwathSettings()).area_m2, rel=1e-12)
    assert far.report.ended_at_land == 0


def test_a_slanting_shore_is_followed_exactly():
    water = sg.Polygon([(-50, -50), (5, -50), (45, 90), (-50, 90)])
    track = straight(41, 1.5, depth_m=0.0, range_m=30.0)
    result = draw_swaths(track, SwathSettings(), lake_in_crs(water))
    truth = sg.box(-30, 0, 30, 60).intersection(water)
    assert ground(result).symmetric_difference(truth).area < 0.01
    assert result.area_m2 == pytest.approx(truth.area, rel=1e-6)


def test_aground_all_along():
    with pytest.raises(InputError, match="41 lie outside the water polygon.*right lake"):
        draw_swaths(straight(), SwathSettings(), lake_in_crs(sg.box(500, 500, 900, 900)))


def test_water_cut_at_180_degrees_is_one_lake():
    frame = Frame("EPSG:4326", 180, -17)
    track = straight(61, 1.0, 90.0, start=(-30.0, 0.0), frame=frame)
    lake = lake_in_crs(sg.box(-500, -500, 500, 500), frame)
    assert len(lake.geoms) == 2
    with_, without = (draw_swaths(track, SwathSettings(), water) for water in (lake, None))
    assert with_.area_m2 == pytest.approx(without.area_m2, rel=1e-9)


# --- thinning ------------------------------------------------------------------------------------------------------

def test_pings_closer_than_a_metre_are_thinned_at_no_cost_in_area():
    rng = np.random.default_rng(5)
    n = 1200
    track = straight(n, 0.15, depth_m=6.0)
    track.heading_deg = track.heading_deg + rng.normal(0, 0.5, n)
    dense, thin = (draw_swaths(track, SwathSettings(thin_m=t)) for t in (0, 1.0))
    assert thin.report.drawn < dense.report.drawn / 5
    assert thin.report.quads < dense.report.quads / 10
    assert thin.area_m2 == pytest.approx(dense.area_m2, rel=2e-3)
    assert list(thin.columns["start_time"]) == list(dense.columns["start_time"])
    assert list(thin.columns["end_time"]) == list(dense.columns["end_time"])


def test_thinning_keeps_what_a_swinging_boat_saw_and_blank_stretches():
    n = 400
    swinging = tracks.in_frame(FRAME, np.zeros(n), np.arange(n) * 1e-3, np.linspace(0, 120, n), depth_m=0.0)
    dense, thin = (draw_swaths(swinging, SwathSettings(thin_m=t, keep_turns=True)) for t in (0, 1.0))
    assert thin.area_m2 == pytest.approx(dense.area_m2, rel=2e-3)
    depth = np.where((np.arange(n) > 100) & (np.arange(n) < 104), 50.0, 5.0)
    dense, thin = (draw_swaths(straight(n, 0.1, depth_m=depth), SwathSettings(thin_m=t)) for t in (0, 1.0))
    assert thin.area_m2 == pytest.approx(dense.area_m2, rel=1e-9)


# --- attributes, merging, callers ------------------------------------------------------------------------------------

def test_merging():
    east, north, azimuth, pass_id = tracks.boustrophedon(lines=3, length=120.0)
    track = tracks.in_frame(FRAME, east, north, azimuth, pass_id=pass_id)
    strip, by_pass, everything = (draw_swaths(track, SwathSettings(merge=m)) for m in ("strip", "pass", "all"))
    assert list(strip.columns["side"]) == ["port", "starboard"] * 3
    assert list(by_pass.columns["side"]) == ["both"] * 3
    assert list(by_pass.columns["pass_id"]) == [1, 2, 3]
    assert np.isnan(everything.columns["pass_id"]).all()
    assert list(everything.columns["outing"]) == ["day 1"]
    assert by_pass.columns["samples"].sum() == len(track) == everything.columns["samples"][0]
    assert strip.area_m2 == pytest.approx(by_pass.area_m2, rel=1e-9) == pytest.approx(everything.area_m2, rel=1e-9)
    assert by_pass.columns["area_m2"].sum() > everything.area_m2
    for result in (strip, by_pass, everything):
        assert set(result.columns) == set(schemas.names(schemas.SWATHS))
        assert {len(v) for v in result.columns.values()} == {len(result.geometries)}
    assert list(everything.columns["blind_deg"]) == [20.0]
    two = tracks.in_frame(FRAME, east, north, azimuth, pass_id=1, outing=np.where(pass_id == 1, "a", "b"))
    assert list(draw_swaths(two, SwathSettings(merge="all")).columns["outing"]) == [""]
    assert list(draw_swaths(two, SwathSettings(merge="pass")).columns["outing"]) == ["a", "b"]


def test_means_and_times():
    track = straight(5, t_s=[100.5, 101, 102, 103, 104.25], depth_m=[3.0, 4.0, 5.0, 4.0, 4.0],
                     speed_mps=[1.0, 2.0, np.nan, 1.5, 1.5])
    columns = draw_swaths(track, SwathSettings(blind_deg=30, sides=(-1,), thin_m=0)).columns
    assert (columns["start_time"][0], columns["end_time"][0]) == (100.5, 104.25)
    assert columns["depth_m"] == pytest.approx([4.0])
    assert columns["speed_mps"] == pytest.approx([1.5])
    assert columns["inner_m"] == pytest.approx([4 * np.tan(np.pi / 6)])
    assert columns["outer_m"] == pytest.approx([np.sqrt(900 - track.depth_m**2).mean()])


@pytest.mark.parametrize("source, sigma", [("sounder", 0.2), ("grid", 0.2), ("constant", np.hypot(0.2, 0.8))])
def test_one_depth_for_all_is_taken_as_good_to_a_tenth_of_it(source, sigma):
    track = straight(depth_m=8.0, range_m=30.0, depth_source=source)
    found = draw_swaths(track, SwathSettings()).columns["sigma_depth_m"]
    np.testing.assert_allclose(found, sigma)


@pytest.mark.parametrize("slant, depth, heading, ratio, model", [
    (30.0, 6.0, 3.0, 1.0, "slant"), (30.0, 25.0, 3.0, 1.0, "slant"), (50.0, 10.0, 10.0, 0.98, "slant"),
    (12.0, 11.0, 3.0, 1.0, "slant"), (30.0, 6.0, 3.0, 1.0, "subtract")])
def test_sigma_of_the_edge_against_simulation(slant, depth, heading, ratio, model):
    track = straight(depth_m=depth, range_m=slant, sigma_heading_deg=heading, range_ratio=ratio)
    found = draw_swaths(track, SwathSettings(blind_deg=0, range_model=model)).columns["sigma_edge_m"][0]
    rng, n = np.random.default_rng(11), 200_000
    scale = 1 + rng.normal(0, (5.0 if ratio != 1 else 15.0) / 1450.0, n)
    r, h = (slant + rng.normal(0, 0.3, n)) * scale, (depth + rng.normal(0, 0.2, n)) * scale
    reach = r - h if model == "subtract" else np.sqrt(np.maximum(r**2 - h**2, 0))
    across = reach * np.cos(rng.normal(0, np.radians(heading), n)) + rng.normal(0, 0.5, n) + rng.normal(0, 0.5, n)
    assert found == pytest.approx(across.std(), rel=0.03)


def test_sigma_follows_the_tracks_own_sigma():
    careful = draw_swaths(straight(sigma_pos_m=0.02), SwathSettings()).columns["sigma_edge_m"][0]
    usual = draw_swaths(straight(), SwathSettings()).columns["sigma_edge_m"][0]
    unknown = draw_swaths(straight(sigma_pos_m=np.nan), SwathSettings()).columns["sigma_edge_m"][0]
    assert careful < usual == pytest.approx(unknown, rel=1e-3)


def test_one_side_only():
    for sides, name in (((-1,), "port"), ((1,), "starboard")):
        result = draw_swaths(straight(), SwathSettings(sides=sides, merge="pass"))
        assert list(result.columns["side"]) == [name]
        middle = ground(result).centroid.x
        assert np.sign(middle) == sides[0]


@pytest.mark.parametrize("wrong, words", [
    ({"blind_deg": 90}, "blind angle is 90 degrees"), ({"blind_deg": -1}, "blind angle"),
    ({"blind_deg": np.nan}, "blind angle"), ({"range_share": 0}, "trusted"), ({"range_share": 1.2}, "trusted"),
    ({"range_limit_m": 0}, "trusted"), ({"merge": "line"}, "strip, pass, all"), ({"sides": ()}, "at least one side")])
def test_settings_out_of_bounds(wrong, words):
    with pytest.raises(InputError, match=words):
        SwathSettings(**wrong)


def test_terrain_needs_a_grid():
    with pytest.raises(InputError, match="terrain"):
        draw_swaths(straight(), SwathSettings(range_model="terrain"))


@pytest.mark.parametrize("columns, words", [
    ({"usable": False}, "reject_reason"), ({"range_m": np.nan}, "41 have no range"), ({"depth_m": np.nan}, "no depth"),
    ({"depth_m": 31.0}, "shorter than the depth"), ({"heading_deg": np.nan}, "no heading"),
    ({"depth_m": 29.9}, "blind angle")])
def test_an_outing_that_saw_nothing_says_why(columns, words):
    track = straight()
    for name, value in columns.items():
        getattr(track, name)[:] = value
    with pytest.raises(InputError, match=words):
        draw_swaths(track, SwathSettings())


def test_one_sample_draws_nothing():
    with pytest.raises(InputError, match="two neighbouring samples"):
        draw_swaths(straight(1, azimuth=10.0), SwathSettings())


def test_progress_and_cancelling():
    track = tracks.in_frame(FRAME, *tracks.boustrophedon(lines=3, length=60.0)[:3])
    seen = []
    draw_swaths(track, SwathSettings(), step=seen.append)
    assert seen == sorted(seen)
    assert 0 <= seen[0] <= seen[-1] <= 1
    assert len(seen) <= 220

    def stop(fraction):
        if fraction > 0.3:
            raise Cancelled
    with pytest.raises(Cancelled):
        draw_swaths(track, SwathSettings(), step=stop)


# --- properties ----------------------------------------------------------------------------------------------------

WIGGLE = st.lists(st.tuples(st.floats(0.5, 4), st.floats(-20, 20), st.floats(0, 20)), min_size=3, max_size=25)


def wiggly(wiggle, azimuth=0.0, start=(0.0, 0.0)):
    """East, north, azimuth and depth of a path given as steps (m), turns (degrees) and depths."""
    steps, turns, depth = np.array(wiggle).T
    a = azimuth + np.cumsum(turns)
    east, north = (start[k] + np.cumsum(steps * f(np.radians(a))) for k, f in ((0, np.sin), (1, np.cos)))
    return east, north, a, depth


@settings(max_examples=15, deadline=None)
@given(WIGGLE, st.floats(-500, 500), st.floats(-500, 500), st.floats(0, 360))
def test_moving_and_turning_the_survey_changes_no_area(wiggle, dx, dy, azimuth):
    one = draw_swaths(tracks.in_frame(FRAME, *(w := wiggly(wiggle))[:3], depth_m=w[3]), SwathSettings(thin_m=0))
    other = draw_swaths(tracks.in_frame(FRAME, *(w := wiggly(wiggle, azimuth, (dx, dy)))[:3], depth_m=w[3]),
                        SwathSettings(thin_m=0))
    np.testing.assert_allclose(one.columns["area_m2"], other.columns["area_m2"], rtol=1e-6, atol=1e-4)
    assert one.area_m2 == pytest.approx(other.area_m2, rel=1e-6, abs=1e-4)


@settings(max_examples=15, deadline=None)
@given(WIGGLE)
def test_running_backwards_with_the_sides_changed_sees_the_same(wiggle):
    east, north, azimuth, depth = wiggly(wiggle)
    settings_ = SwathSettings(thin_m=0, keep_turns=True)
    there = draw_swaths(tracks.in_frame(FRAME, east, north, azimuth, depth_m=depth), settings_)
    back = draw_swaths(tracks.in_frame(FRAME, east[::-1], north[::-1], azimuth[::-1] + 180, depth_m=depth[::-1]),
                       settings_)
    areas = [dict(zip(r.columns["side"], r.columns["area_m2"])) for r in (there, back)]
    for side, other in (("port", "starboard"), ("starboard", "port")):
        assert areas[0].get(side, 0) == pytest.approx(areas[1].get(other, 0), rel=1e-9, abs=1e-6)
