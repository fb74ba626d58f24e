"""Picks to targets: places against geodesics, land and terrain, and what bad picks get."""
import math
import warnings

import numpy as np
import pytest
from athwart.survey.ensonify.detection import DetectionSettings, smallest_object
from athwart.survey.geometry import shapes, transfer
from athwart.survey.geometry.frame import Frame
from athwart.survey.model import schemas
from athwart.survey.model.errors import InputError
from athwart.survey.targets.picks import Picks
from athwart.survey.uncertainty.nadir import TerrainGround
from one_pass import GEOD, SURE, T0, found, picked, ray

# ---- the place

@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:32615", "EPSG:3857", "EPSG:2027"])
def test_a_target_lies_where_the_geodesic_says(crs):
    # R 50, H 30: G 40, athwart of heading 030 at 45 N 93 W (WGS84 geodesics of azimuth 120 and 300)
    out = found(ray(crs), picked([1, -1]))
    lon, lat = Frame(crs, -93, 45).to_lonlat(out.x, out.y)
    if crs != "EPSG:2027":  # NAD27's ellipsoid: the same geometry, other degrees
        np.testing.assert_allclose(lat, [44.99982003263, 45.00017996568], atol=1e-9)
        np.testing.assert_allclose(lon, [-92.99956065570, -93.00043934705], atol=1e-9)
    np.testing.assert_allclose(out.columns["ground_m"], 40)
    np.testing.assert_allclose(out.columns["bearing_deg"], [120, 300])
    assert out.columns["side"].tolist() == ["starboard", "port"]


def test_displayed_ranges_and_depths_become_true():
    # range 50 and depth 10 displayed at 1500 m/s, fresh water of 10 degrees C: 1447.289 m/s (Marczak 1997); the true
    # ground range is 47.26826 m, the true slant 48.24297 m, the true depth 9.64859 m
    ratio = 1447.289 / 1500
    out = found(ray("EPSG:32615", depth_m=10 * ratio, range_ratio=ratio), picked([1, 1], depth_m=[np.nan, 10.0]))
    np.testing.assert_allclose(out.columns["ground_m"], 47.26826, atol=1e-4)
    np.testing.assert_allclose(out.columns["slant_m"], 48.24297, atol=1e-4)
    np.testing.assert_allclose(out.columns["depth_m"], 9.64859, atol=1e-4)
    # a shadow is displayed, too; the height h = H (Re - Rt) / Re scales with it
    out = found(ray("EPSG:32615", depth_m=10 * ratio, range_ratio=ratio), picked(1, 40.0, shadow_end_m=50.0))
    assert out.columns["height_m"][0] == pytest.approx(10 * ratio * 0.2)


def test_the_picks_own_depth_comes_first():
    out = found(ray("EPSG:32615"), picked(depth_m=[np.nan, 14.0]))
    np.testing.assert_allclose(out.columns["depth_m"], [30, 14])
    np.testing.assert_allclose(out.columns["ground_m"], [40, 48])


def test_a_pick_with_its_own_depth_can_use_a_sample_without():
    track = ray("EPSG:32615", depth_m=np.nan, usable=False, reject_reason="no depth")
    out = found(track, picked(depth_m=[np.nan, 14.0]))
    assert out.source.tolist() == [1] and "no depth" in out.rejected["reason"][0]
    track.reject_reason[10] = "no heading"
    assert "break" in found(track, picked(depth_m=14.0)).rejected["reason"][0]


def test_ground_ranges_are_taken_as_they_are():
    out = found(ray("EPSG:32615"), picked(slant=40.0), range_kind="ground")
    assert out.columns["ground_m"][0] == pytest.approx(40) and out.columns["slant_m"][0] == pytest.approx(50)
    with pytest.raises(InputError, match="shadow"):
        found(ray("EPSG:32615"), picked(slant=40.0, shadow_end_m=55.0), range_kind="ground")


def test_mount_angle_turns_the_beam():
    out = found(ray("EPSG:4326", mount_deg=15.0), picked([1, -1]))
    azimuth, _, distance = GEOD.inv([-93.0] * 2, [45.0] * 2, out.x, out.y)
    np.testing.assert_allclose(np.mod(azimuth, 360), [135, 315], atol=1e-4)
    np.testing.assert_allclose(distance, 40, atol=1e-4)
    np.testing.assert_allclose(out.columns["heading_deg"], 30)


def test_the_place_is_the_mean_over_the_headings():
    out = found(ray("EPSG:4326", sigma_heading_deg=10.0), picked())
    _, _, distance = GEOD.inv(-93.0, 45.0, out.x[0], out.y[0])
    assert distance == pytest.approx(40 * math.exp(-math.radians(10) ** 2 / 2), abs=1e-4)
    assert out.columns["ground_m"][0] == pytest.approx(40)


def test_an_object_point_stays_where_it_is_and_says_what_was_seen():
    track = ray("EPSG:4326")
    there = found(track, picked([1, -1], [50.0, 34.0]))
    points = Picks.of(2, x=there.x, y=there.y, side=[-1, 1], slant_m=[99.0, 99.0])
    out = found(track, points, tie="object point", stated={})
    assert out.x.tolist() == there.x.tolist() and out.y.tolist() == there.y.tolist()
    assert out.columns["side"].tolist() == ["starboard", "port"]
    np.testing.assert_allclose(out.columns["slant_m"], [50, 34], atol=1e-3)
    np.testing.assert_allclose(out.columns["t_s"], T0 + 10, atol=1e-3)
    assert (out.columns["semi_major_m"] > 3).all()


@pytest.mark.parametrize("lat", [0.0, 69.0])
def test_at_180_degrees(lat):
    track = ray("EPSG:4326", lon=180.0, lat=lat, heading=0.0)
    out = found(track, picked([1, -1]), stated={})
    azimuth, _, distance = GEOD.inv([180.0] * 2, [lat] * 2, out.x, out.y)
    ground = math.sqrt(50**2 - (30 - 0.5 * math.sqrt(2 / math.pi)) ** 2)  # the mean of a half-normal height of 0.5 m
    np.testing.assert_allclose(distance, ground * math.exp(-math.radians(2) ** 2 / 2), atol=1e-3)
    np.testing.assert_allclose(azimuth, [90, -90], atol=1e-3)
    assert all(np.ptp(ring[:, 0]) < 1 for outline in out.outlines for ring, _ in shapes.rings(outline))
    over = found(track, picked(1, 30.2), stated={})  # its ellipse reaches over 180 degrees
    assert all(np.ptp(ring[:, 0]) < 1 for outline in over.outlines for ring, _ in shapes.rings(outline))


def test_eastward_over_180_degrees():
    track = ray("EPSG:4326", lon=180.0, lat=10.0, heading=90.0)
    out = found(track, picked(1, t_s=T0 + 10.25))
    boat = GEOD.fwd(180.0, 10.0, 90.0, 0.25 * 1.5)
    azimuth, _, distance = GEOD.inv(boat[0], boat[1], out.x[0], out.y[0])
    assert distance == pytest.approx(40, abs=1e-4) and azimuth % 360 == pytest.approx(180, abs=1e-3)


def test_far_from_the_middle_of_the_frame():
    """Two passes 40 km apart share one frame; at 69 degrees its north is off by half a degree there."""
    east = ray("EPSG:4326", lat=69.0)
    west = ray("EPSG:4326", lon=-94.0, lat=69.0, t_s=T0 + 5000 + np.arange(21), pass_id=2)
    columns = {n: np.concatenate([getattr(east, n), getattr(west, n)]) for n in vars(east) if n != "crs"}
    x, y = columns.pop("x"), columns.pop("y")
    track = type(east).from_columns(east.crs, x, y, columns)
    out = found(track, picked(t_s=[T0 + 10, T0 + 5010]), stated={**SURE, "sigma_range": 1.0})
    azimuth, _, distance = GEOD.inv([-93.0, -94.0], [69.0] * 2, out.x, out.y)
    np.testing.assert_allclose(distance, 40, atol=1e-3)
    np.testing.assert_allclose(azimuth, 120, atol=2e-3)
    for row, outline in enumerate(out.outlines):  # an ellipse without width, along the beam
        ring = np.asarray(outline.exterior.coords)
        out_azimuth, _, reach = GEOD.inv([out.x[row]] * len(ring), [out.y[row]] * len(ring), *ring.T)
        assert out_azimuth[np.argmax(reach)] % 180 == pytest.approx(120, abs=0.01)


def test_a_track_too_long_for_one_frame():
    near, far = ray("EPSG:4326"), ray("EPSG:4326", lon=-92.0, t_s=T0 + 5000 + np.arange(21), pass_id=2)
    columns = {n: np.concatenate([getattr(near, n), getattr(far, n)]) for n in vars(near) if n != "crs"}
    x, y = columns.pop("x"), columns.pop("y")
    track = type(near).from_columns(near.crs, x, y, columns)
    out = found(track, picked(t_s=[T0 + 10, T0 + 5010]))
    _, _, distance = GEOD.inv([-93.0, -92.0], [45.0] * 2, out.x, out.y)
    np.testing.assert_allclose(distance, 40, atol=1e-4)


# ---- the columns

def test_every_field_of_the_contract_is_filled():
    out = found(ray("EPSG:32615"), picked([1, -1], label=["log", ""], shadow_end_m=[60.0, np.nan]), stated={})
    assert set(out.columns) == set(schemas.names(schemas.TARGETS)) - {"time"}
    known = {f.name for f in schemas.TARGETS if f.kind == "double"} - {"bottom_m"}  # it takes a depth grid
    for name in known:
        assert np.isfinite(out.columns[name][0]), name
    assert out.columns["target_id"].tolist() == [1, 2] and out.columns["label"].tolist() == ["log", ""]
    assert sum(out.columns[f"pct_{c}"][1] for c in ("position", "heading", "range", "depth", "timing", "beam", "sound",
                                                    "offsets")) == pytest.approx(100)
    assert out.columns["main_cause"][0] == "position"


def test_outlines_are_the_ellipses_of_the_columns():
    out = found(ray("EPSG:32615", sigma_heading_deg=5.0), picked(), stated={}, confidence=0.9)
    frame = Frame("EPSG:32615", -93, 45)
    ring = transfer.to_frame(frame, out.outlines[0])
    centre = np.array(frame.forward(out.x, out.y))[:, 0]
    corner = np.asarray(ring.exterior.coords) - centre
    size = np.hypot(*corner.T)
    assert size.max() == pytest.approx(out.columns["semi_major_m"][0], rel=1e-4)
    assert size.min() == pytest.approx(out.columns["semi_minor_m"][0], rel=1e-4)
    furthest = np.degrees(np.arctan2(*corner[size.argmax()])) % 180
    assert furthest == pytest.approx(out.columns["azimuth_deg"][0], abs=0.1)
    assert out.columns["confidence_pct"][0] == 90
    area = math.pi * out.columns["semi_major_m"][0] * out.columns["semi_minor_m"][0]
    assert ring.area == pytest.approx(area, rel=0.002)


def test_position_sigma_comes_from_the_track_unless_stated():
    track = ray("EPSG:32615", sigma_pos_m=6.0)
    out = found(track, picked(), stated={})
    total = math.sqrt(sum(out.columns[n][0] ** 2 for n in ("sig_bias_m", "sig_pass_m"))) / 6
    assert total == pytest.approx(math.sqrt(4.25 / 4.5))
    assert found(track, picked(), stated={"sigma_bias": 1.5}).columns["sig_bias_m"][0] == 1.5
    assert found(ray("EPSG:32615", sigma_heading_deg=np.nan), picked(), stated={}).columns["sig_heading_deg"][0] == 3


def test_a_hand_mark_is_less_sure_of_its_time():
    track = ray("EPSG:32615")
    picks = picked(x=track.x[10], y=track.y[10])
    hand, read = (found(track, picks, stated={}, tie=how) for how in ("boat point", "time"))
    assert hand.columns["pct_timing"][0] > read.columns["pct_timing"][0]


def test_the_log_names_every_tie_and_keeps_warnings_short():
    count = 90
    track = ray("EPSG:32615", heading=0.0, count=200)
    slant = np.where(np.arange(count) % 2, 50.0, 31.5)
    out = found(track, picked(1, slant, t_s=T0 + 50 + np.arange(count)), stated={})
    assert "Tied by time: picks 1-90." in out.notes
    nadir = [text for text in out.warnings if text.startswith(("Near nadir", "Side unsure"))]
    assert len(nadir) == 1 and "1, 3, 5," in nadir[0] and "39 and more (45 in all)" in nadir[0]


# ---- land

def lake(track, width):
    """A strip of water ``width`` m to starboard and 100 m to port of a northbound pass."""
    frame = Frame.around(track.crs, track.x, track.y)
    return transfer.to_crs(frame, shapes.polygon([(-100, -100), (width, -100), (width, 100), (-100, 100)]))


def test_a_pick_on_land_is_rejected_unless_its_error_reaches_the_water():
    track = ray("EPSG:32615", heading=0.0)
    picks = picked([1, -1])  # 40 m to either side
    plain = found(track, picks, stated={})
    sigma = plain.columns["sigma_east_m"][0]
    inside = found(track, picks, lake(track, 45), stated={})
    assert len(inside.source) == 2 and not inside.warnings
    near = found(track, picks, lake(track, 40 - 1.5 * sigma), stated={})
    assert len(near.source) == 2 and "Behind the shore" in near.warnings[0] and "picks 1 (" in near.warnings[0]
    assert near.x.tolist() == plain.x.tolist()
    far = found(track, picks, lake(track, 40 - 2.5 * sigma), stated={})
    assert far.source.tolist() == [1] and "land stops sound" in far.rejected["reason"][0]


def test_an_island_stops_sound_too():
    track = ray("EPSG:32615", heading=0.0)
    frame = Frame.around(track.crs, track.x, track.y)
    island = [(15, -20), (20, -20), (20, 20), (15, 20)]
    water = shapes.polygon([(-100, -100), (100, -100), (100, 100), (-100, 100)], [island])
    out = found(track, picked([1, -1]), transfer.to_crs(frame, water), stated={})
    assert out.source.tolist() == [1] and "15.0 m from the boat" in out.rejected["reason"][0]


def test_a_boat_on_land_blames_the_polygon():
    track = ray("EPSG:32615", heading=0.0)
    assert "water covers the track" in found(track, picked(), lake(track, -5), stated={}).rejected["reason"][0]


# ---- terrain: the seam a depth grid comes through

def test_terrain_gives_ground_and_status():
    def grid(frame, east, north, dir_e, dir_n, slant, depth, sample):
        assert np.hypot(dir_e, dir_n) == pytest.approx(np.ones(3)) and slant.tolist() == [50.0] * 3
        return TerrainGround(np.array([42.0, 38.0, np.nan]), np.array([27.1, 32.5, np.nan]), np.zeros(3),
                             np.array([42.0, 30.0, np.nan]), np.array([42.0, 46.0, np.nan]),
                             np.array(["", "ambiguous", "off grid"], object))
    out = found(ray("EPSG:32615"), picked([1, 1, 1]), ground_on_terrain=grid, range_model="terrain")
    assert out.columns["status"].tolist() == ["bottom", "ambiguous", "off grid"]
    assert out.columns["range_model"].tolist() == ["terrain", "terrain", "slant"]
    np.testing.assert_allclose(out.columns["ground_m"], [42, 38, 40])
    np.testing.assert_allclose([out.columns["ground_lo_m"][1], out.columns["ground_hi_m"][1]], [30, 46])
    assert out.columns["semi_major_m"][1] == pytest.approx(8 / 1.96 * 2.4477, rel=1e-3)


def plane(slope):
    """A bed that falls away by ``slope`` a metre on every side: R^2 = G^2 + (H + m G)^2."""
    def ground(frame, east, north, dir_e, dir_n, slant, depth, sample):
        a, b, c = 1 + slope**2, slope * depth, depth**2 - slant**2
        g = (np.sqrt(np.maximum(b * b - a * c, 0)) - b) / a
        return TerrainGround(g, depth + slope * g, np.full(len(g), slope), g, g, np.full(len(g), "", object))
    return ground


@pytest.mark.parametrize("degrees, ground", [(5, 47.94285566), (-5, 49.67933743), (10, 46.56572749),
                                             (-10, 49.98592893)])
def test_on_a_slope(degrees, ground):
    # R 50, H 10, the bed falling away by 5 or 10 degrees: the quadratic solved
    out = found(ray("EPSG:32615", depth_m=10.0), picked(), ground_on_terrain=plane(math.tan(math.radians(degrees))),
                range_model="terrain")
    assert out.columns["ground_m"][0] == pytest.approx(ground, abs=1e-6)
    assert out.columns["status"][0] == "bottom" and out.columns["range_model"][0] == "terrain"


@pytest.mark.parametrize("slope", [0.1, -0.1, 0.0])
def test_a_shadow_on_a_slope_gives_place_and_height(slope):
    h, g, tall = 10.0, 30.0, 1.5
    top = h + slope * g - tall
    far = h * g / (top - slope * g)  # where the sight line (depth top/g a metre) meets the bed (h + slope a metre)
    start, end = math.hypot(g, top), math.hypot(far, top / g * far)
    out = found(ray("EPSG:32615", depth_m=h), picked(slant=start, shadow_end_m=end), ground_on_terrain=plane(slope),
                range_model="terrain", stated={})
    assert out.columns["ground_m"][0] == pytest.approx(g, abs=1e-9)
    assert out.columns["height_m"][0] == pytest.approx(tall, abs=1e-9)
    step = 1e-4
    moved = [found(ray("EPSG:32615", depth_m=h), picked(slant=start + a, shadow_end_m=end + b), range_model="terrain",
                   ground_on_terrain=plane(slope)).columns["ground_m"][0] for a, b in ((step, 0), (0, step))]
    only_range = found(ray("EPSG:32615", depth_m=h), picked(slant=start, shadow_end_m=end), range_model="terrain",
                       ground_on_terrain=plane(slope), stated={**SURE, "sigma_range": 0.01})
    assert only_range.columns["semi_major_m"][0] / 2.447747 == pytest.approx(
        0.01 * np.hypot(*(np.array(moved) - g)) / step, rel=1e-3)


def test_a_bank_nearer_than_the_water_is_deep_is_not_water_column():
    out = found(ray("EPSG:32615", depth_m=10.0), picked(slant=8.0), range_model="terrain", stated={},
                ground_on_terrain=lambda *a: TerrainGround(*(np.full(1, v) for v in (6.0, 5.3, -0.4, 6.0, 6.0)),
                                                           np.array([""], object)))
    assert out.columns["status"][0] != "water column" and out.columns["ground_m"][0] == pytest.approx(6, abs=0.5)


def test_a_range_at_which_the_grid_has_no_bottom_is_named():
    nothing = TerrainGround(*(np.full(2, np.nan) for _ in range(5)), np.array(["", "off grid"], object))
    out = found(ray("EPSG:32615"), picked([1, 1]), range_model="terrain", ground_on_terrain=lambda *a: nothing)
    assert out.columns["range_model"].tolist() == ["slant", "slant"]
    assert any("No bottom of the depth grid" in text and "picks 1." in text for text in out.warnings)
    assert any("Off grid" in text and "picks 2." in text for text in out.warnings)


@pytest.mark.parametrize("model, words", [("subtract", "too near the boat"), ("terrain", "grid"),
                                          ("flat", "slant")])
def test_range_models_that_cannot_be_used(model, words):
    with pytest.raises(InputError, match=words):
        found(ray("EPSG:32615"), picked(), range_model=model)


# ---- rejected picks

@pytest.mark.parametrize("given, words", [
    ({"side": 0}, "no side"), ({"slant": np.nan}, "no range"), ({"slant": -3.0}, "-3 m"), ({"slant": 0.0}, "0 m"),
    ({"slant": 95.0}, "beyond the 80 m"), ({"depth_m": -2.0}, "depths are positive"), ({"depth_m": 0.0}, "positive"),
    ({"shadow_end_m": 45.0}, "not beyond its start"), ({"slant": 12.0, "shadow_end_m": 20.0}, "nearer than the bottom"),
    ({"shadow_end_m": 60.0, "shadow_start_m": 45.0}, "before the object"),
    ({"t_s": T0 + 500}, "after the track ends"), ({"reason": "unreadable"}, "unreadable")])
def test_a_pick_without_a_place_says_why(given, words):
    good = picked()
    bad = picked(**given)
    both = Picks.of(2, **{name: np.concatenate([getattr(good, name), getattr(bad, name)]) for name in vars(good)
                          if name != "source_id"}, source_id=["g", "b"])
    out = found(ray("EPSG:32615"), both)
    assert out.source.tolist() == [0] and out.rejected["source_id"].tolist() == ["b"]
    assert words in out.rejected["reason"][0]


def test_nothing_to_locate_gives_empty_columns():
    out = found(ray("EPSG:32615"), picked(side=0))
    assert len(out.x) == 0 and set(out.columns) == set(schemas.names(schemas.TARGETS)) - {"time"}
    assert all(len(values) == 0 for values in out.columns.values())


def test_no_warning_of_numpy_escapes():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found(ray("EPSG:32615"), picked(slant=[50.0, 30.0, 20.0, np.nan]), stated={})
        found(ray("EPSG:32615"), picked(slant=[50.0, 30.0, 20.0]))


def test_a_shadow_that_runs_off_the_record_gives_the_least_height():
    """H 30, 6 m tall at G 60: its shadow ends at slant 80.78 (similar triangles), the record at 72."""
    start = math.hypot(60, 24)
    stated = {**SURE, "sigma_height": 0.5}
    whole = found(ray("EPSG:32615", range_m=90.0), picked(slant=start, shadow_end_m=math.hypot(75, 30)), stated=stated)
    assert whole.columns["height_m"][0] == pytest.approx(6) and not whole.columns["height_at_least"][0]
    assert whole.columns["ground_m"][0] == pytest.approx(60)
    cut = [found(ray("EPSG:32615", range_m=range_m), picked(slant=start, shadow_end_m=72.0, shadow_open=flag),
                 stated=stated) for range_m, flag in ((72.0, False), (90.0, True))]  # at the range's end, or marked so
    taken = found(ray("EPSG:32615", range_m=90.0), picked(slant=start, shadow_end_m=72.0), stated=stated)
    for out in cut:
        c = out.columns
        assert c["height_at_least"][0] and 3 < c["height_m"][0] < 6
        assert any("at least" in text for text in out.warnings)
        assert taken.columns["ground_m"][0] < c["ground_m"][0] < 60 and c["sigma_east_m"][0] > taken.columns[
            "sigma_east_m"][0]
    assert not taken.columns["height_at_least"][0]


# --- a fact of the trade -------------------------------------------------------------------------------------------

@pytest.mark.parametrize("miles_an_hour, feet, size", [(3, 44.0, 0.805), (15, 220.0, 4.023)])
def test_what_scrolled_by_ten_seconds_ago(miles_an_hour, feet, size):
    """Common practice, no source: ten seconds down the screen are 44 ft of bottom at 3 mph and 220 ft at 15.

    So three pings at five a second want an object of 0.8 m at 3 mph and one of 4 m at 15.
    """
    mile, foot = 1609.344, 0.3048  # exact by definition
    track = ray("EPSG:32615", step=miles_an_hour * mile / 3600)
    targets = found(track, picked(side=1, slant=50.0))  # abeam of the middle sample, ten seconds before the last
    lon, lat = Frame("EPSG:32615", -93, 45).to_lonlat(np.append(targets.x, track.x[-1]),
                                                       np.append(targets.y, track.y[-1]))
    azimuth, _, far = GEOD.inv(lon[1], lat[1], lon[0], lat[0])
    assert far * math.cos(math.radians(azimuth - 210)) / foot == pytest.approx(feet, abs=0.1)
    hits = DetectionSettings(object_size_m=size, ping_rate_hz=5.0, beam_width_deg=0.1, min_shadow_m=0.01)
    pitch = np.array([miles_an_hour * mile / 3600 / 5.0])
    assert smallest_object(pitch, np.array([20.0]), np.array([5.0]), 30.0, hits) == pytest.approx(size, abs=5e-3)
