"""Course, speed and turn rate against geodesic tracks, brute-force least squares and Monte Carlo."""
import numpy as np
import pytest
from athwart.survey.geometry import ground
from athwart.survey.motion import course
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

WGS84 = Geod(ellps="WGS84")
PLACES = [(3.0, 0.0), (-93.0, 45.0), (25.0, 70.0), (179.9995, -17.0), (-179.9995, 60.0)]


def straight(lon, lat, azimuth, speed, clock):
    """Places along a geodesic at the times of ``clock``, and its azimuth at each."""
    lons, lats, back = WGS84.fwd(np.full(len(clock), lon), np.full(len(clock), lat), np.full(len(clock), azimuth),
                                 speed * (clock - clock[0]))
    return lons, lats, (back + 180) % 360


def circle(lon, lat, speed, rate_dps, clock):
    """A circle of radius v / omega round a centre; positive rates turn to starboard. Places, true courses."""
    side = np.sign(rate_dps)
    bearing = rate_dps * (clock - clock[0])
    radius = speed / np.radians(abs(rate_dps))
    lons, lats, back = WGS84.fwd(np.full(len(clock), lon), np.full(len(clock), lat), bearing,
                                 np.full(len(clock), radius))
    outwards = (back + 180) % 360
    return lons, lats, (outwards + 90 * side) % 360


def moved(lons, lats, clock, stretch=None, drift=0.2):
    east, north = ground.steps(WGS84, lons, lats)
    stretch = np.zeros(len(clock), int) if stretch is None else stretch
    return course.motion_of(clock, east, north, stretch, drift)


def off(a, b):
    return np.abs(ground.wrapped(np.asarray(a) - b))


@pytest.mark.parametrize("lon, lat", PLACES)
@pytest.mark.parametrize("azimuth", [0.0, 45.0, 137.0, 270.0, 359.9])
@pytest.mark.parametrize("interval", [0.1, 1.0, 10.0])
def test_a_straight_line_keeps_its_course_and_speed(lon, lat, azimuth, interval):
    clock = 1.7e9 + np.arange(60) * interval
    lons, lats, true = straight(lon, lat, azimuth, 2.0, clock)
    found = moved(lons, lats, clock)
    assert off(found.course_deg, true).max() < 2e-3  # a geodesic bends against its chord over the window
    assert np.abs(found.speed_mps - 2.0).max() < 1e-5
    assert np.abs(found.turn_dps).max() < 1e-3
    assert np.all((found.course_deg >= 0) & (found.course_deg < 360))


@pytest.mark.parametrize("lon, lat", PLACES)
@pytest.mark.parametrize("rate", [-6.0, -2.0, 1.0, 5.0])
def test_a_circle_keeps_its_turn_rate_to_the_very_ends(lon, lat, rate):
    clock = 1.7e9 + np.arange(120) * 1.0
    lons, lats, true = circle(lon, lat, 2.0, rate, clock)
    found = moved(lons, lats, clock)
    assert np.abs(found.turn_dps - rate).max() < 1e-3 * abs(rate)
    assert off(found.course_deg, true).max() < 0.05
    k = np.arange(-5, 6)  # slope of eleven fixes on an arc, whose chord is shorter
    chord = (k * np.sin(k * np.radians(abs(rate)))).sum() / (k * k).sum() / np.radians(abs(rate))
    assert found.speed_mps[60] == pytest.approx(2.0 * chord, rel=1e-5)


def test_sparse_fixes_in_a_turn():
    clock = np.arange(0.0, 200.0, 10.0)
    lons, lats, true = circle(-93.0, 45.0, 1.5, 3.0, clock)
    found = moved(lons, lats, clock)
    assert np.abs(found.turn_dps - 3.0).max() < 0.01
    assert off(found.course_deg, true).max() < 0.2


def brute(clock, east, north, stretch):
    """Windows by their definition and numpy.polyfit, one fix at a time; interior windows only, others NaN."""
    course, speed = np.full(len(clock), np.nan), np.full(len(clock), np.nan)
    path = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))])
    for i in range(len(clock)):
        own = np.flatnonzero(stretch == stretch[i])
        near = own[np.abs(clock[own] - clock[i]) <= 5.0005]
        far = own[(np.abs(path[own] - path[i]) <= 7.501) & (np.abs(clock[own] - clock[i]) <= 30.001)]
        lo, hi = min(near[0], far[0], i - 1), max(near[-1], far[-1], i + 1)
        if lo <= own[0] or hi >= own[-1]:
            continue
        t = clock[lo:hi + 1] - clock[i]
        ve, vn = np.polyfit(t, east[lo:hi + 1], 1)[0], np.polyfit(t, north[lo:hi + 1], 1)[0]
        course[i], speed[i] = np.degrees(np.arctan2(ve, vn)) % 360, np.hypot(ve, vn)
    return course, speed


@pytest.mark.parametrize("interval", [0.2, 1.0, 5.0])
def test_running_sums_equal_polyfit(interval):
    rng = np.random.default_rng(7)
    n = 1500  # several blocks of the running sums
    clock = 1.7e9 + np.arange(n) * interval
    stretch = np.repeat([0, 1, 2], [700, 500, 300])
    heading = np.cumsum(rng.normal(0, 0.05, n))
    east = np.cumsum(1.3 * interval * np.sin(heading) + rng.normal(0, 0.1, n))
    north = np.cumsum(1.3 * interval * np.cos(heading) + rng.normal(0, 0.1, n))
    found = course.motion_of(clock, np.diff(east), np.diff(north), stretch, 0.2)
    azimuth, speed = brute(clock, east, north, stretch)
    inner = np.isfinite(azimuth)
    assert inner.sum() > 1000 or interval == 5.0
    assert np.abs(found.speed_mps - speed)[inner].max() < 1e-7
    # evenly spaced fixes have the window's middle at the fix where its two halves hold as many
    even = inner & (found.hi - np.arange(n) == np.arange(n) - found.lo)
    assert even.sum() > 0.2 * inner.sum()
    assert off(found.course_deg, azimuth)[even].max() < 1e-5


def test_digits_last_to_the_end_of_a_long_outing():
    """After 40 hours at one fix in 3 s the squares of the clock are 1e9 times those of a window."""
    clock = 1.7e9 + 3.0 * np.arange(50_000)
    way = np.cumsum(6.0 + 2.0 * np.sin(np.arange(50_000) / 7.0))
    found = course.motion_of(clock, np.diff(way), np.zeros(49_999), np.zeros(50_000, int), 0.2)
    for i in (10, 25_000, 49_980):
        window = slice(found.lo[i], found.hi[i] + 1)
        slope = np.polyfit(clock[window] - clock[i], way[window] - way[i], 1)[0]
        assert found.speed_mps[i] == pytest.approx(slope, abs=1e-7)


def test_nothing_is_fitted_over_a_break():
    clock = np.arange(80.0)
    lons, lats, _ = straight(-93.0, 45.0, 0.0, 2.0, clock[:40])
    lons2, lats2, _ = straight(-93.0, 45.0, 90.0, 2.0, clock[40:])
    stretch = np.repeat([0, 1], 40)
    found = moved(np.append(lons, lons2), np.append(lats, lats2), clock, stretch)
    assert off(found.course_deg[:40], 0.0).max() < 1e-3
    assert off(found.course_deg[40:], 90.0).max() < 1e-3
    assert found.hi[:40].max() == 39 and found.lo[40:].min() == 40


def test_a_short_stretch_between_others_a_year_apart():
    clock = np.concatenate([np.arange(600.0), 3e7 + np.arange(2) * 0.1, 6e7 + np.arange(600.0)])
    stretch = np.repeat([0, 1, 2], [600, 2, 600])
    step = np.where(np.diff(clock) < 1e3, np.diff(clock) * 2.0, 1e5)
    found = course.motion_of(clock, step, np.zeros(len(step)), stretch, 0.2)
    assert np.abs(found.speed_mps - 2.0).max() < 1e-6
    assert off(found.course_deg, 90.0).max() < 1e-6


@pytest.mark.parametrize("sizes", [[1], [1, 1, 1], [2], [3, 1, 2]])
def test_tiny_stretches(sizes):
    stretch = np.repeat(np.arange(len(sizes)), sizes)
    clock = np.arange(len(stretch), dtype=float)
    found = course.motion_of(clock, np.ones(len(clock) - 1), np.zeros(len(clock) - 1), stretch, 0.2)
    alone = np.repeat(np.array(sizes) == 1, sizes)
    assert np.isnan(found.course_deg[alone]).all() and np.isnan(found.speed_mps[alone]).all()
    assert off(found.course_deg[~alone], 90.0).max(initial=0) < 1e-9


def test_a_moored_boat_has_no_course():
    rng = np.random.default_rng(3)
    clock = np.arange(600.0)
    found = course.motion_of(clock, rng.normal(0, 0.05, 599), rng.normal(0, 0.05, 599), np.zeros(600, int), 0.2)
    assert found.speed_mps.max() < 0.1
    assert found.sigma_deg.min() >= 90


def test_identical_fixes_give_speed_zero_not_nan():
    found = course.motion_of(np.arange(50.0), np.zeros(49), np.zeros(49), np.zeros(50, int), 0.2)
    assert (found.speed_mps == 0).all() and (found.sigma_deg == 180).all() and np.isfinite(found.course_deg).all()


# s_COG = s_v / v, and sqrt(2) s_p / D for two fixes (NOAA Field Procedures Manual and derivation): crab of 0.2 m/s at
# 1, 2, 3 m/s is asin(0.2), asin(0.1), asin(0.0667)
@pytest.mark.parametrize("speed, length, sigma", [(1.0, np.inf, 11.53696), (2.0, np.inf, 5.73917),
                                                  (np.inf, 10.0, np.degrees(0.042)), (0.1, 50.0, 90.0014)])
def test_sigma_of_the_course(speed, length, sigma):
    assert course.course_sigma(speed, length, 0.2) == pytest.approx(sigma, abs=2e-4)


def test_sigma_covers_crab_and_jitter_in_simulation():
    """A boat steered straight at v through the water while current sets it sideways, fixes jittering by 0.3 m."""
    rng = np.random.default_rng(11)
    clock, through_water, drift = np.arange(11.0), 1.5, 0.2
    errors, promised = [], []
    for _ in range(1500):
        sideways = rng.normal(0, drift)  # held for the whole window: wind and current change slowly
        east = sideways * clock + rng.normal(0, 0.3, 11)
        north = through_water * clock + rng.normal(0, 0.3, 11)
        found = course.motion_of(clock, np.diff(east), np.diff(north), np.zeros(11, int), drift)
        errors.append(ground.wrapped(found.course_deg[5] - 0.0))  # the bow points north
        promised.append(found.sigma_deg[5])
    spread, expected = np.std(errors), np.mean(promised)
    assert expected == pytest.approx(spread, rel=0.06)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000), turn=st.floats(-180, 180), shift=st.floats(-1e6, 1e6),
       scale=st.sampled_from([0.5, 1.0, 2.0]))
def test_rotation_time_shift_and_scale(seed, turn, shift, scale):
    rng = np.random.default_rng(seed)
    n = 60
    clock = np.cumsum(rng.uniform(0.3, 3.0, n))
    heading = np.cumsum(rng.normal(0, 0.15, n - 1))
    east, north = 3 * np.sin(heading), 3 * np.cos(heading)
    stretch = np.sort(rng.integers(0, 3, n))
    plain = course.motion_of(clock, east, north, stretch, 0.2)
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    spun = course.motion_of(clock + shift, east * c + north * s, north * c - east * s, stretch, 0.2)
    known = np.isfinite(plain.course_deg)
    assert np.array_equal(plain.lo, spun.lo) and np.array_equal(plain.hi, spun.hi)
    assert off(spun.course_deg - turn, plain.course_deg)[known].max(initial=0) < 1e-4
    assert np.abs(spun.speed_mps - plain.speed_mps)[known].max(initial=0) < 1e-6
    assert np.abs(spun.turn_dps - plain.turn_dps)[known].max(initial=0) < 1e-4
    mirrored = course.motion_of(clock, -east, north, stretch, 0.2)
    assert np.abs(mirrored.turn_dps + plain.turn_dps)[known].max(initial=0) < 1e-6


def test_compass_mean_over_north():
    clock = np.arange(100) * 0.1
    rng = np.random.default_rng(5)
    heading = (rng.normal(0, 3, 100)) % 360  # about north, half of it near 359
    steady = course.steadied(heading, clock, np.zeros(100, int), 2.0)
    assert off(steady[10:-10], 0.0).max() < 3.0
    assert np.std(ground.wrapped(steady[10:-10])) < 1.2  # 3 / sqrt(21) = 0.65, and neighbours share their samples
    assert course.steadied(heading, clock, np.zeros(100, int), 0) is heading


def test_compass_mean_does_not_lag_in_a_turn_nor_cross_a_break():
    clock = np.arange(60.0)
    heading = np.where(clock < 30, (350 + 4 * clock) % 360, 200.0)
    heading[12] = np.nan
    steady = course.steadied(heading, clock, np.repeat([0, 1], 30), 7.0)
    known = np.isfinite(heading)
    known[9:16] = False  # a gap makes the mean lopsided
    assert off(steady, heading)[known].max() < 1e-9
    assert np.isnan(steady[12])


def test_turn_rate_of_a_compass_and_of_the_course_where_it_fails():
    clock = 1.7e9 + np.arange(60.0)
    lons, lats, _ = circle(-93.0, 45.0, 2.0, 3.0, clock)
    found = moved(lons, lats, clock)
    heading = (350.0 + 1.5 * np.arange(60.0)) % 360
    heading[40:] = np.nan
    turn = course.turn_of(heading, clock, np.zeros(60, int), found)
    assert np.abs(turn[:30] - 1.5).max() < 1e-6
    assert np.abs(turn[45:] - 3.0).max() < 0.01


def test_windows_of_sparse_fixes_hold_three_at_either_end():
    """Fixes far apart: one on each side, and at the ends of a stretch the two next to it."""
    clock, first, last = 1000.0 * np.arange(9), np.array([0] * 3 + [3] * 6), np.array([2] * 3 + [8] * 6)
    low, high = course._windows(clock, 5.0 * clock, first, last)
    assert low.tolist() == [0, 0, 0, 3, 3, 4, 5, 6, 6] and high.tolist() == [2, 2, 2, 5, 5, 6, 7, 8, 8]
