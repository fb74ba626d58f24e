"""The prepared track against dead reckoning by geodesics: places, headings, depths, ranges, passes, and refusals."""
from dataclasses import replace

import numpy as np
import pytest
import sailed
from athwart.survey.fixes.arrange import Fixes
from athwart.survey.model.errors import Cancelled, InputError
from athwart.survey.tracks import settings as track_settings
from athwart.survey.tracks.prepare import prepare
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Transformer

PLAIN = track_settings.TrackSettings(outing="tuesday", range_m=30.0, depth_m=5.0)
PLACES = [("EPSG:4326", 3.0, 0.0), ("EPSG:32615", -93.0, 45.0), ("EPSG:32615", -86.6, 45.0), ("EPSG:4326", 25.0, 70.0),
          ("EPSG:4326", 179.997, -17.0), ("EPSG:32601", 179.997, 60.0), ("EPSG:3857", 13.0, 54.0)]


def placed(crs, lon, lat):
    return Transformer.from_crs(CRS(crs).geodetic_crs, crs, always_xy=True).transform((lon + 180) % 360 - 180, lat)


def degrees(track):
    back = Transformer.from_crs(track.crs, track.crs.geodetic_crs, always_xy=True)
    return back.transform(track.x, track.y)


def sail(courses, crs="EPSG:32615", lon=-93.0, lat=45.0, speed=2.0, interval=1.0, **more):
    """Fixes, and the true places they stand for."""
    lons, lats, clock = sailed.sail(lon, lat, courses, speed, interval)
    x, y = placed(crs, lons, lats)
    return Fixes(crs, np.array(x), np.array(y), t_s=clock, **more), lons, lats


def apart(track, lons, lats):
    return sailed.metres_apart(*degrees(track), lons, lats)


def turned(a, b):
    return np.abs((np.asarray(a) - b + 180) % 360 - 180)


@pytest.mark.parametrize("crs, lon, lat", PLACES)
@pytest.mark.parametrize("course", [10.0, 137.0, 270.0])
def test_a_straight_pass_anywhere(crs, lon, lat, course):
    fixes, lons, lats = sail(sailed.straight(course, 300), crs, lon, lat)
    made = prepare(fixes, PLAIN)
    track = made.track
    assert len(track) == 301 and track.usable.all() and set(track.pass_id) == {1}
    assert track.sample_id.tolist() == list(range(1, 302))
    assert apart(track, lons, lats).max() < 1e-4
    assert turned(track.heading_deg, course).max() < 0.01 and turned(track.course_deg, course).max() < 0.01
    assert np.abs(track.speed_mps - 2.0).max() < 1e-4 and np.abs(track.turn_dps).max() < 1e-3
    assert np.array_equal(track.t_s, fixes.t_s)
    assert made.length_m == pytest.approx(600.0, abs=1e-3)
    assert set(track.heading_source) == {"course"} and set(track.depth_source) == {"constant"}
    assert set(track.outing) == {"tuesday"}
    # asin(0.2 / 2) and 0.42 m over the window of 20 m
    sigma = np.degrees(np.hypot(np.arcsin(0.1), 0.42 / 20))
    assert track.sigma_heading_deg == pytest.approx(sigma, rel=1e-4)


@pytest.mark.parametrize("crs, lon, lat", PLACES)
def test_lever_arm_is_laid_off_from_the_bow(crs, lon, lat):
    fixes, lons, lats = sail(sailed.straight(60, 60), crs, lon, lat)
    how = replace(PLAIN, lever_forward_m=-3.0, lever_starboard_m=4.0, mount_deg=2.5)
    track = prepare(fixes, how).track
    bearing = 60 + np.degrees(np.arctan2(4.0, -3.0))
    true = np.array([sailed.WGS84.fwd(a, b, bearing, 5.0)[:2] for a, b in zip(lons, lats)]).T
    assert apart(track, *true).max() < 1e-3
    assert set(track.lever_forward_m) == {-3.0} and set(track.lever_starboard_m) == {4.0}
    assert set(track.mount_deg) == {2.5} and turned(track.heading_deg, 60).max() < 0.01  # the mount is not a heading


@pytest.mark.parametrize("latency", [1.0, 2.4, -1.5])
def test_latency_brings_the_place_of_the_moment(latency):
    """The log shows at T where the boat was at T - L; its compass and sounder are on time."""
    courses = sailed.straight(90, 80) + sailed.turn(90, 90, 3.0) + sailed.straight(180, 60)
    late, lons, lats = sail(courses, heading_deg=np.append(courses, courses[-1]),
                            depth_m=5 + 0.01 * np.arange(len(courses) + 1))
    late = replace(late, t_s=late.t_s + latency)
    # what the sensors say at stamp T belongs to T: the boat was on there already by L
    ahead = np.arange(len(late)) + latency
    late.heading_deg = np.interp(ahead, np.arange(len(late)), late.heading_deg)
    late.depth_m = np.interp(ahead, np.arange(len(late)), late.depth_m)
    made = prepare(late, replace(PLAIN, latency_s=latency, depth_m=None))
    track, n = made.track, len(late)
    assert len(track) == n - int(np.ceil(abs(latency))) == n - made.tally.count()
    when = track.t_s - sailed.START_S  # seconds after the start, in truth
    assert when.min() >= 0 - 1e-9 and when.max() <= n - 1 + 1e-9
    at = np.interp(when, np.arange(n), lons), np.interp(when, np.arange(n), lats)
    assert apart(track, *at).max() < 1e-3
    assert np.abs(track.depth_m - 5 - 0.01 * when)[:-3].max() < 1e-6
    straight = (when > 10) & (when < 65)
    assert turned(track.heading_deg, 90)[straight].max() < 1e-6
    by_course = prepare(replace(late, heading_deg=None), replace(PLAIN, latency_s=latency, depth_m=None)).track
    middle = (when > 87) & (when < 100)  # on the arc, well inside
    course = np.interp(when, np.arange(n - 1) + 0.5, courses)
    assert turned(by_course.heading_deg, course)[middle].max() < 0.2


def test_latency_never_reaches_over_a_break():
    fixes, _, _ = sail(sailed.straight(90, 100), stretch=np.repeat([0, 1], [50, 51]))
    made = prepare(fixes, replace(PLAIN, latency_s=2.5))
    assert made.tally.count() == 6 and len(made.track) == 95
    assert np.flatnonzero(np.diff(made.track.pass_id)).tolist() == [46]


@pytest.mark.parametrize("crs, lon, lat", [PLACES[1], PLACES[4]])
def test_passes_of_a_lawnmower(crs, lon, lat):
    fixes, _, _ = sail(sailed.lawnmower(4, 150), crs, lon, lat)
    made = prepare(fixes, PLAIN)
    ids = made.passes["pass_id"]
    assert ids.tolist() == [1, 2, 3, 4] == [1 + k for k in range(len(made.lines))]
    # a line of 300 m and half a turn of 80 m at each inner end
    assert made.passes["length_m"] == pytest.approx([340, 380, 380, 338], abs=4)
    assert made.length_m == pytest.approx(made.passes["length_m"].sum())
    assert made.passes["samples"].sum() == len(made.track) == len(fixes)
    assert made.track.sample_id.tolist() == list(range(1, len(fixes) + 1))
    assert made.passes["mean_speed_mps"] == pytest.approx(2.0, abs=0.03)
    assert (np.diff(made.passes["start_time"]) > 0).all()
    assert (made.passes["end_time"] <= np.append(made.passes["start_time"][1:], np.inf)).all()
    for pass_id, line in zip(ids, made.lines):
        assert line.geom_type == ("MultiLineString" if lon > 179 and crs == "EPSG:4326" else "LineString")
        if line.geom_type == "LineString":
            own = np.flatnonzero(made.track.pass_id == pass_id)
            last = min(own[-1] + 1, len(made.track) - 1)  # the beam at the cut belongs to both passes
            assert np.array_equal(np.array(line.coords)[:, 0], made.track.x[own[0]:last + 1])
        else:
            assert all(np.ptp(np.array(part.coords)[:, 0]) < 1 for part in line.geoms)


def test_a_slow_boat_turns_slowly_and_its_lines_are_passes_all_the_same():
    fixes, _, _ = sail(sailed.lawnmower(3, 300, rate=1.8), speed=0.62)  # circles of 20 m, the range is 30
    how = replace(PLAIN, drift_speed=0.1)
    assert prepare(fixes, how).passes["pass_id"].tolist() == [1, 2, 3]
    # a rate that the boat never reaches takes no right to come round
    assert prepare(fixes, replace(how, max_turn_rate=2.0)).passes["pass_id"].tolist() == [1, 2, 3]


def test_a_shore_followed_at_some_distance_is_one_pass():
    fixes, _, _ = sail(sailed.turn(0, 120, 1.0))  # a bay of 115 m radius
    assert prepare(fixes, PLAIN).passes["pass_id"].tolist() == [1]


def standing(fixes, count=4, gap_s=100.0):
    """The fixes, and after a break ``count`` more, all at one place, with a compass."""
    more = {name: np.concatenate([getattr(fixes, name), np.full(count, getattr(fixes, name)[-1])])
            for name in ("x", "y")}
    t = np.concatenate([fixes.t_s, fixes.t_s[-1] + gap_s + np.arange(count)])
    return replace(fixes, t_s=t, heading_deg=np.full(len(t), 90.0), **more)


def test_a_boat_that_stands_still_makes_no_pass():
    fixes, _, _ = sail(sailed.straight(90, 60))
    made = prepare(standing(fixes), replace(PLAIN, min_speed=0.0))
    assert made.passes["pass_id"].tolist() == [1] and len(made.lines) == 1
    assert len(made.track) + made.tally.count() + made.thinned == len(fixes) + 4
    assert any("Not written as passes: 1 without any length, for the boat stood still (pass_id 2). Their samples stay "
               "in "
               "the track." in text for text in made.warnings)
    four = standing(fixes).take(np.arange(len(fixes), len(fixes) + 4))
    with pytest.raises(InputError, match="No pass has both a length and a usable sample"):
        prepare(four, replace(PLAIN, min_speed=0.0))


def test_a_pass_without_a_usable_sample_is_not_written():
    fixes, _, _ = sail(sailed.straight(90, 100), stretch=np.repeat([0, 1], [50, 51]),
                       depth_m=np.where(np.arange(101) < 50, 5.0, np.nan))
    made = prepare(fixes, replace(PLAIN, depth_m=None))
    assert made.passes["pass_id"].tolist() == [1] == [len(made.lines)]
    assert (made.passes["samples"] > 0).all() and made.length_m == pytest.approx(98, abs=0.1)
    assert any("1 without a usable sample (pass_id 2)" in text for text in made.warnings)
    assert len(made.track) + made.tally.count() + made.thinned == len(fixes)


def test_passes_reach_to_the_beam_at_the_cut_and_no_way_is_lost():
    fixes, lons, lats = sail(sailed.lawnmower(3, 150))
    made = prepare(fixes, PLAIN)
    track = made.track
    assert made.length_m == pytest.approx(sailed.metres_apart(lons[:-1], lats[:-1], lons[1:], lats[1:]).sum(), abs=0.05)
    for k in (0, 1):
        assert made.lines[k].coords[-1] == made.lines[k + 1].coords[0]
        assert made.passes["end_time"][k] == made.passes["start_time"][k + 1]
    assert made.passes["samples"].sum() == len(track)


def test_a_range_change_is_a_step_within_the_pass():
    fixes, _, _ = sail(sailed.straight(90, 100))
    rows = track_settings.RangeRows(fixes.t_s[[0, 40]] + 0.5, ["", ""], np.full(2, np.nan), np.full(2, np.nan),
                                    np.array([20.0, 40.0]))
    how = replace(PLAIN, range_m=25.0, range_rows=rows, assumed_mps=1500.0, temperature_c=10.0)
    track = prepare(fixes, how).track
    ratio = 1447.289 / 1500  # Marczak at 10 degrees
    assert track.range_m == pytest.approx(ratio * np.repeat([25.0, 20.0, 40.0], [1, 40, 60]), rel=1e-6)
    assert track.depth_m == pytest.approx(5.0 * ratio, rel=1e-6)
    assert set(track.pass_id) == {1} and track.usable.all()
    assert track.range_ratio == pytest.approx(ratio, rel=1e-6) and track.sound_speed_mps[0] == pytest.approx(1447.289)


def test_a_range_change_at_a_waypoint_needs_no_times():
    fixes, _, _ = sail(sailed.straight(90, 100))
    rows = track_settings.RangeRows(np.array([np.nan]), ["wide"], fixes.x[[60]], fixes.y[[60]], np.array([40.0]))
    track = prepare(replace(fixes, t_s=None), replace(PLAIN, range_rows=rows, speed_mps=2.0)).track
    assert np.flatnonzero(np.diff(track.range_m)).tolist() == [59]
    assert np.isnan(track.t_s).all() and track.speed_mps == pytest.approx(2.0, abs=1e-3)


def test_ranges_of_a_field_hold_and_the_stated_one_comes_before():
    fixes, _, _ = sail(sailed.straight(90, 100), range_m=np.full(101, np.nan))
    fixes.range_m[[10, 50]] = 20.0, 40.0
    how = replace(PLAIN, range_m=None, range_field="rng")
    track = prepare(fixes, how).track
    assert track.range_m[10:].tolist() == [20.0] * 40 + [40.0] * 51
    assert set(track.reject_reason[:10]) == {"no range"} and track.usable[10:].all()
    assert prepare(fixes, replace(how, range_m=30.0)).track.range_m[:10].tolist() == [30.0] * 10


def test_range_under_depth_stays_usable_and_is_told():
    fixes, _, _ = sail(sailed.straight(90, 100))
    made = prepare(fixes, replace(PLAIN, depth_m=40.0))
    assert made.track.usable.all()
    assert any("101 samples have less range than water" in line for line in made.warnings)


def test_why_samples_cannot_be_used():
    courses = (sailed.straight(90, 60) + sailed.straight(np.nan, 30) + sailed.straight(90, 60))
    fixes, _, _ = sail(courses, depth_m=np.full(151, 6.0))
    fixes.depth_m[110:] = np.nan
    made = prepare(fixes, replace(PLAIN, depth_m=None))
    track = made.track
    assert {"", "stopped", "no depth"} <= set(track.reject_reason) <= {"", "stopped", "no heading", "no depth"}
    assert set(track.reject_reason[66:84]) == {"stopped"} and set(track.reject_reason[120:]) == {"no depth"}
    assert track.usable[:50].all() and track.usable[100:110].all()
    assert np.array_equal(track.usable, track.reject_reason == "")
    assert set(track.pass_id[:60]) == {1} and set(track.pass_id[95:]) == {2}
    assert made.rejected == (~track.usable).sum() == 151 - made.passes["samples"].sum()
    assert np.isnan(track.depth_m[track.reject_reason == "no depth"]).all()
    assert sum("cannot be used" in line for line in made.warnings) == len(set(track.reject_reason)) - 1


def test_one_sample_between_two_stops_makes_no_pass():
    fixes, _, _ = sail(sailed.straight(90, 120))
    fixes.x[60:] += 2.0  # one longer step: the speed over ten seconds peaks at a single fix
    second, first = np.sort(prepare(fixes, PLAIN).track.speed_mps)[-2:]
    with pytest.raises(InputError, match="120 stopped, 1 alone between breaks"):
        prepare(fixes, replace(PLAIN, min_speed=float((first + second) / 2)))


def test_a_slow_drift_has_no_heading_but_a_compass_does():
    fixes, _, _ = sail(sailed.straight(90, 200), speed=0.5)  # asin(0.2 / 0.5) = 23.6 degrees
    with pytest.raises(InputError, match="201 no heading.*fixes.heading_deg"):
        prepare(fixes, PLAIN)
    fixes.heading_deg = np.full(201, 77.0)
    track = prepare(fixes, PLAIN).track
    assert track.usable.all() and (track.heading_deg == 77).all() and set(track.sigma_heading_deg) == {3.0}
    assert prepare(replace(fixes, heading_deg=None), replace(PLAIN, drift_speed=0.1)).track.usable.all()


def test_a_fast_transit_is_no_pass():
    lon, lat, _ = sailed.sail(-93.0, 45.0, sailed.straight(90, 100))
    far = sailed.sail(lon[-1], lat[-1], sailed.straight(90, 40), speed=18.0)
    again = sailed.sail(far[0][-1], far[1][-1], sailed.straight(90, 100))
    lons, lats = (np.concatenate([first, second[1:], third[1:]]) for first, second, third in
                  ((lon, far[0], again[0]), (lat, far[1], again[1])))
    x, y = placed("EPSG:32615", lons, lats)
    made = prepare(Fixes("EPSG:32615", x, y, t_s=np.arange(241.0)), PLAIN)
    assert set(made.track.reject_reason[103:138]) == {"too fast"}
    assert made.passes["pass_id"].tolist() == [1, 2]
    assert made.track.usable[:95].all() and made.track.usable[146:].all()


@pytest.mark.parametrize("kind", ["true", "magnetic"])
def test_compass_variation_and_offset(kind):
    compass = np.full(101, 350.0)
    fixes, _, _ = sail(sailed.straight(0, 100), heading_deg=compass)
    compass[20:23] = np.nan
    compass[30] = 511.0  # an instrument's way of saying none
    compass[50:] = np.nan
    how = replace(PLAIN, variation_deg=12.0 if kind == "magnetic" else 0.0, heading_offset_deg=3.0,
                  sigma_heading_deg=1.5)
    track = prepare(fixes, how).track
    expected = 5.0 if kind == "magnetic" else 353.0
    assert turned(track.heading_deg[:52], expected).max() < 1e-6
    assert set(track.heading_source[:52]) == {"compass"} and set(track.heading_source[54:]) == {"course"}
    assert turned(track.heading_deg[60:], 3.0).max() < 0.01  # the offset holds for the course as well
    assert set(track.sigma_heading_deg) == {1.5}


def test_going_astern():
    fixes, _, _ = sail(sailed.straight(30, 100))
    track = prepare(fixes, replace(PLAIN, backwards=True)).track
    assert turned(track.heading_deg, 210).max() < 0.01 and turned(track.course_deg, 30).max() < 0.01


def test_soundings_are_despiked_bridged_and_brought_to_the_transducer():
    depth = np.full(200, 10.0)
    depth[50:55] = 0.3
    depth[120] = 62.7
    fixes, _, _ = sail(sailed.straight(90, 199), depth_m=depth, depth_kind=np.full(200, "surface", object))
    track = prepare(fixes, replace(PLAIN, depth_m=None, draft_m=0.5)).track
    assert track.depth_m == pytest.approx(9.5)
    assert np.flatnonzero(track.depth_source == "interpolated").tolist() == [50, 51, 52, 53, 54, 120]
    stated = prepare(fixes, replace(PLAIN, depth_m=None, draft_m=0.5, depth_reference="transducer")).track
    assert stated.depth_m == pytest.approx(10.0)


def test_depth_grid_takes_the_draft_and_its_gaps_fall_to_the_constant():
    fixes, lons, _ = sail(sailed.straight(90, 100))
    middle = np.median(fixes.x)
    how = replace(PLAIN, draft_m=0.5, depth_m=4.0)
    track = prepare(fixes, how, depth_at=lambda x, y: np.where(x < middle, 8.0, np.nan)).track
    assert set(zip(track.depth_source, track.depth_m)) == {("grid", 7.5), ("constant", 4.0)}
    with pytest.raises(InputError, match=r"negative.*DepthConversion\(\)"):
        prepare(fixes, how, depth_at=lambda x, y: np.full(len(x), -8.0))
    outside = prepare(fixes, how, depth_at=lambda x, y: np.full(len(x), np.nan))
    assert any("covers none" in line for line in outside.warnings)


def test_trim_moves_the_fan_forward():
    fixes, lons, lats = sail(sailed.straight(0, 60))
    track = prepare(fixes, replace(PLAIN, trim_deg=5.0)).track
    ahead = sailed.WGS84.fwd(lons, lats, np.zeros(61), np.full(61, 5.0 * np.tan(np.radians(5))))
    assert apart(track, ahead[0], ahead[1]).max() < 1e-3


def test_solved_offsets_take_the_place_of_typed_ones():
    names = ["latency_s", "mount_deg", "lever_forward_m", "lever_starboard_m", "scale", "trim_deg"]
    values = [0.6, -1.5, 2.0, -0.5, 0.97, 1.0]
    typed = replace(PLAIN, latency_s=9.0, mount_deg=9.0, assumed_mps=1500.0, temperature_c=20.0)
    how, notes = track_settings.with_offsets(typed, names, values, [0.05] * 5 + [np.nan])
    assert [getattr(how, name) for name in names] == values and len(notes) == 6
    assert "latency_s = 0.6, sigma 0.05" in notes[0]
    track = prepare(sail(sailed.straight(90, 100))[0], how).track
    assert set(track.range_ratio) == {0.97} and track.range_m == pytest.approx(29.1)
    assert set(track.latency_s) == {0.6} and set(track.mount_deg) == {-1.5}


@pytest.mark.parametrize("names, values, words", [
    (["latency"], [1.0], "'latency', which is no offset; it may hold latency_s"),
    (["mount_deg", "mount_deg"], [1.0, 2.0], "mount_deg twice"),
    (["mount_deg"], [np.nan], "no value for mount_deg"),
    (["scale"], [1.5], "scale"),
    (["latency_s"], [3600.0], "latency_s"),
])
def test_offsets_that_cannot_be_used(names, values, words):
    with pytest.raises(InputError, match=words):
        track_settings.with_offsets(PLAIN, names, values, [np.nan] * len(names))


def test_position_sigma():
    hdop = np.array([np.nan, 0.8, 1.0, 2.0, 5.0] + [1.0] * 56)
    fixes, _, _ = sail(sailed.straight(90, 60), hdop=hdop)
    assert prepare(fixes, PLAIN).track.sigma_pos_m[:5] == pytest.approx([2.12, 2.12, 2.12, 4.24, 10.6])
    assert set(prepare(fixes, replace(PLAIN, sigma_position_m=0.4)).track.sigma_pos_m) == {0.4}


# NOAA: 3 pings a metre, v = f / 3 with f half of c / (2 R): 2.5 m/s at 50 m, 1.25 at 100 m; water 8 to 20 % of range
@pytest.mark.parametrize("range_m, depth, speed, fast, off", [
    (50.0, 4.0, 2.49, 0, 0), (50.0, 3.9, 2.51, 100, 100), (100.0, 20.0, 1.24, 0, 0), (100.0, 20.1, 1.26, 100, 100)])
def test_figures_of_a_pass(range_m, depth, speed, fast, off):
    fixes, _, _ = sail(sailed.straight(90, 100), speed=speed)
    made = prepare(fixes, replace(PLAIN, range_m=range_m, depth_m=depth))
    assert made.passes["too_fast_pct"] == pytest.approx(fast) and made.passes["off_band_pct"] == pytest.approx(off)
    assert made.passes["range_m"] == pytest.approx(range_m) and made.passes["mean_depth_m"] == pytest.approx(depth)


def test_ten_fixes_a_second_are_thinned_to_a_metre_and_one_a_second_is_not():
    fixes, _, _ = sail(sailed.straight(90, 1000), interval=0.1, speed=2.0)
    made = prepare(fixes, PLAIN)
    assert 195 <= len(made.track) <= 205 and made.thinned == 1001 - len(made.track)
    assert made.track.sample_id.tolist() == list(range(1, len(made.track) + 1))
    assert made.length_m == pytest.approx(200.0, abs=1e-3)  # both ends are kept
    assert len(prepare(fixes, replace(PLAIN, spacing_m=0.0)).track) == 1001
    assert len(prepare(fixes, replace(PLAIN, spacing_m=5.0)).track) == 41
    slow, _, _ = sail(sailed.straight(90, 100), speed=0.7)
    assert len(prepare(slow, PLAIN).track) == 101


@pytest.mark.parametrize("interval", [5, 8, 12])
def test_first_route_sparse_fixes_one_range_one_depth_in_feet(interval):
    """A fix every 5 to 12 s, no depth, no compass: the legs must come out straight and the passes apart."""
    courses = sailed.lawnmower(3, 240, rate=4.5)
    lons, lats, clock = sailed.sail(-93.0, 45.0, courses, 1.5)
    pick = np.arange(0, len(clock), interval)
    fixes = Fixes("EPSG:4326", lons[pick], lats[pick], t_s=clock[pick])
    how = track_settings.TrackSettings(range_m=100 * 0.3048, depth_m=16 * 0.3048)
    made = prepare(fixes, how)
    track = made.track
    assert len(track) == len(pick) and track.usable.all()
    assert made.passes["pass_id"].tolist() == [1, 2, 3]
    assert made.passes["length_m"] == pytest.approx([400, 440, 400], abs=50)  # a chord cuts off, a cut loses
    leg = np.array([len(set(courses[max(0, k - 13):k + 13])) == 1 for k in pick])  # more than a window from any turn
    assert leg.sum() > 0.6 * len(pick)
    true = np.array(courses + courses[-1:])[pick]
    assert turned(track.heading_deg, true)[leg].max() < 0.05
    assert track.range_m == pytest.approx(30.48) and track.depth_m == pytest.approx(4.8768)
    assert track.sigma_heading_deg[leg].max() < 9.0


def test_nothing_runs_over_a_gap():
    fixes, _, _ = sail(sailed.straight(90, 100))
    fixes.t_s[50:] += 25.0
    made = prepare(fixes, PLAIN)
    assert np.flatnonzero(np.diff(made.track.pass_id)).tolist() == [49]
    assert made.length_m == pytest.approx(198.0, abs=1e-3)  # the two metres of the gap are not sailed
    assert not made.track.joined()[49]
    assert made.track.sample_id[[49, 50]].tolist() == [50, 52]  # a jump is a break, a cut in a turn is none
    assert prepare(fixes, replace(PLAIN, max_gap_s=27.0)).passes["pass_id"].tolist() == [1]


@pytest.mark.parametrize("change, words", [
    ({"range_m": None}, "range_m is not given.*range_field.*range_rows"),
    ({"range_m": 0.0}, "range_m is 0"), ({"range_m": float("nan")}, "range_m is nan"),
    ({"depth_m": -3.0}, "depth_m is -3"), ({"depth_m": float("inf")}, "depth_m is inf"),
    ({"depth_reference": "seabed"}, "depth_reference is 'seabed'.*transducer, surface, keel"),
    ({"depth_reference": "keel"}, "keel_m"), ({"speed_mps": 0.0}, "speed_mps is 0"),
    ({"min_speed": 5.0, "max_speed": 5.0}, "min_speed"), ({"spacing_m": 0.5}, "spacing_m is 0.5 m"),
    ({"max_gap_s": 0.0}, "max_gap_s"), ({"max_turn_rate": 0.0}, "max_turn_rate"),
    ({"smoothing_s": -1.0}, "smoothing_s"),
    ({"latency_s": 3600.0}, "latency_s is 3600 s.*time_offset"), ({"sigma_position_m": -1.0}, "sigma_position_m"),
    ({"assumed_mps": 4800.0}, "1463.04 m/s"), ({"salinity": 60.0, "temperature_c": 10.0}, "salinity"),
    ({"range_field": "rng", "range_rows": track_settings.RangeRows([0.0], "", 0.0, 0.0, 0.0)},
     "range_field and range_rows"),
])
def test_statements_that_cannot_be(change, words):
    with pytest.raises(InputError, match=words):
        replace(PLAIN, **change)


@pytest.mark.parametrize("change, words", [
    ({"min_speed": 3.0}, "101 stopped.*min_speed"), ({"max_speed": 1.5}, "101 too fast.*max_speed"),
    ({"depth_m": None}, "101 no depth.*depth_at"),
    ({"draft_m": 6.0, "depth_reference": "surface"}, "depth_m leaves -1 m"),
    ({"latency_s": 59.0, "max_gap_s": None}, None)])
def test_a_track_of_which_nothing_can_be_used(change, words):
    fixes, _, _ = sail(sailed.straight(90, 100))
    if words is None:
        short = replace(fixes, stretch=np.arange(101) // 20)
        with pytest.raises(InputError, match="longer than every unbroken stretch"):
            prepare(short, replace(PLAIN, **change))
        return
    with pytest.raises(InputError, match=words):
        prepare(fixes, replace(PLAIN, **change))


def test_a_track_of_one_point_or_two():
    fixes, _, _ = sail(sailed.straight(90, 1))
    assert len(prepare(fixes, PLAIN).track) == 2
    with pytest.raises(InputError, match="Only 1 of 1 fixes can be used, and a pass needs two"):
        prepare(fixes.take([0]), PLAIN)


def test_one_moment_for_all_no_order_and_depths_with_the_wrong_sign():
    fixes, _, _ = sail(sailed.straight(90, 40))
    n = len(fixes)
    for change, words in (
            ({"t_s": np.full(n, 5.0)}, "Only 1 of 41 fixes.*40 at the same time as another, in a different place"),
            ({"t_s": None, "order": np.full(n, np.nan)}, "No fix has a value in fixes.order"),
            ({"depth_m": np.where(np.arange(n) < 15, np.nan, -4.0)}, "26 of 26 soundings of fixes.depth_m")):
        with pytest.raises(InputError, match=words):
            prepare(replace(fixes, **change), replace(PLAIN, speed_mps=2.0))


def test_what_was_assumed_is_said():
    fixes, _, _ = sail(sailed.lawnmower(2, 100), hdop=np.full(241, 1.0))
    fixes.x[30] = np.nan
    made = prepare(fixes, replace(PLAIN, latency_s=0.4, lever_forward_m=1.2))
    said = " ".join(made.notes)
    for words in ("WGS 84", "UTM zone 15N", "true north", "ratio 1", "by course over ground", "from depth_m", "30.00 m",
                  "latency 0.4 s", "1.2 m forward", "2 passes", "2023-11-14T22:13:20Z"):
        assert words in said, words
    assert any("1 without usable coordinates (row: 31)" in line for line in made.warnings)


def test_cancelling_stops_it():
    def step(fraction):
        if fraction > 0.4:
            raise Cancelled
    with pytest.raises(Cancelled):
        prepare(sail(sailed.straight(90, 100))[0], PLAIN, step=step)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 9999), hours=st.integers(-90000, 90000), lon=st.sampled_from([-93.0, 0.0, 179.999]),
       turn=st.sampled_from([0.0, 77.0]))
def test_moving_turning_and_dating_the_outing_moves_and_turns_and_dates_the_track(seed, hours, lon, turn):
    rng = np.random.default_rng(seed)
    courses = np.concatenate([sailed.straight(rng.uniform(0, 360), 60), sailed.turn(0, 150, 5),
                              sailed.straight(80, 60)])
    depth = 6 + np.cumsum(rng.normal(0, 0.05, len(courses) + 1))
    depth[rng.random(len(depth)) < 0.1] = 0.3
    how = replace(PLAIN, depth_m=None, lever_forward_m=2.0, latency_s=0.5)
    plain = prepare(sail(courses, "EPSG:4326", -93.0, 0.0, depth_m=depth)[0], how)
    fixes = sail(courses + turn, "EPSG:4326", lon, 0.0, depth_m=depth)[0]
    fixes.t_s += hours * 3600.0
    moved = prepare(fixes, how)
    a, b = plain.track, moved.track
    assert np.array_equal(a.usable, b.usable) and np.array_equal(a.pass_id, b.pass_id)
    assert np.array_equal(a.t_s + hours * 3600.0, b.t_s)
    for name in ("depth_m", "speed_mps", "turn_dps", "sigma_heading_deg"):
        assert getattr(a, name) == pytest.approx(getattr(b, name), abs=2e-2, nan_ok=True), name
    good = a.usable
    assert turned(b.heading_deg - turn, a.heading_deg)[good].max() < 0.05
    # on the equator a turned outing is congruent to 1 part in 150 (the ellipsoid); a moved one is equal
    assert moved.passes["length_m"] == pytest.approx(plain.passes["length_m"], rel=1e-3)


def test_a_real_log(fixtures):
    logs = pytest.importorskip("athwart.survey.io.logs")
    log = logs.read_logs([fixtures / "nmea" / "survey_dpt_rmc_mtw.nmea"]).fixes
    fixes = Fixes("EPSG:4326", log["lon"], log["lat"], t_s=log["t_s"], stretch=log["segment"], depth_m=log["depth_m"],
                  depth_kind=log["depth_kind"], depth_offset_m=log["depth_offset_m"], hdop=log["hdop"])
    made = prepare(fixes, track_settings.TrackSettings(range_m=60.0, temperature_c=15.0, assumed_mps=1500.0,
                                                       salinity=33.0))
    track = made.track
    # the vessel ran lines of 4 km at 2 to 3 m/s; course and speed against its receiver's own, which are not read here
    assert 0.9 * len(fixes) < len(track) <= len(fixes)
    off = turned(track.course_deg, log["course_deg"][made.rows])
    assert np.nanmedian(off) < 5
    assert np.nanmedian(np.abs(track.speed_mps - log["speed_mps"][made.rows])) < 0.25
    depth = track.depth_m[track.usable]
    assert depth.min() > 3.5 and depth.max() < 21 and 0.6 < track.usable.mean() < 0.97
    assert set(track.reject_reason) <= {"", "no depth"}
    for name in ("heading_deg", "depth_m", "range_m", "speed_mps", "sigma_heading_deg", "sigma_pos_m", "turn_dps"):
        assert np.isfinite(getattr(track, name)[track.usable]).all(), name
