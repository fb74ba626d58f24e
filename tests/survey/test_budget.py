"""The closed-form budget against central differences, simulation and the published picked-target row."""
import math
from dataclasses import fields, replace

import numpy as np
import pytest
import random_picks
from athwart.survey.targets.budget import CAUSES, Observations, budget
from athwart.survey.targets.covariance import spread
from athwart.survey.targets.observations import ROWS
from athwart.survey.uncertainty import ellipses
from athwart.survey.uncertainty.nadir import TerrainGround
from athwart.survey.uncertainty.sigmas import PRESETS, Sigmas, chosen
from hypothesis import given, settings
from hypothesis import strategies as st

NOTHING = dict.fromkeys([field.name for field in fields(Sigmas)], 0.0)
PLAIN = {"side": 1.0, "slant": 50.0, "shadow_end": np.nan, "depth": 10.0, "azimuth_deg": 40.0, "vel_east": 1.2,
         "vel_north": 1.6, "turn_dps": 0.0, "lever_forward": 0.0, "lever_starboard": 0.0, "course_heading": True,
         "depth_scales": True, "ground_reading": False, "sound_speed": 1450.0, "sigma_bias": 0.0, "sigma_pass": 0.0,
         "sigma_jitter": 0.0, "sigma_heading": 0.0, "sigma_time": 0.0}


def sightings(count=1, **given):
    return Observations(**{name: np.broadcast_to(np.asarray(value), count).copy()
                           for name, value in {**PLAIN, **given}.items()})


def only(**given):
    return chosen("ordinary", **{**NOTHING, **given})


# ---- the linear part, cause by cause, against central differences of the place itself

HALF_MEAN, HALF_SD = math.sqrt(2 / math.pi), math.sqrt(1 - 2 / math.pi)
"""Of the absolute value of a standard normal, the half-normal distribution: objects only stand up."""


def place(seen, i, error, height=0.0):
    """Where the pick lies when the errors are these: sample + side G s, on an arc, from first principles; ``height``
    (m) is what the object stands but for its error."""
    omega = np.radians(seen.turn_dps[i])
    t, late = error.get("time", 0.0), error.get("latency", 0.0)
    course = math.atan2(seen.vel_east[i], seen.vel_north[i])
    speed = math.hypot(seen.vel_east[i], seen.vel_north[i])
    moved = t + late
    middle = course + omega * moved / 2  # the chord of an arc
    chord = speed * moved * np.sinc(omega * moved / 2 / np.pi)
    antenna = chord * np.array([math.sin(middle), math.cos(middle)])
    # the transducer, not the antenna, goes at the stated velocity: both turn together in a pick's time error
    still = np.radians(seen.azimuth_deg[i]) + omega * t
    bow = still + omega * (late if seen.course_heading[i] else 0) + error.get("heading", 0)
    fan = bow + error.get("mount", 0.0)

    def ahead(a):
        return np.array([math.sin(a), math.cos(a)])

    def right(a):
        return np.array([math.cos(a), -math.sin(a)])

    lever = seen.lever_forward[i] * (ahead(bow) - ahead(still)) + seen.lever_starboard[i] * (right(bow) - right(still))
    lever = lever + error.get("lever_f", 0.0) * ahead(fan) + error.get("lever_s", 0.0) * right(fan)
    scale = 1 + error.get("scale", 0.0)
    h = seen.depth[i] * (scale if seen.depth_scales[i] else 1) + error.get("depth", 0.0)
    r = seen.slant[i] * scale + error.get("range", 0.0)
    if np.isfinite(seen.shadow_end[i]):
        end = seen.shadow_end[i] * scale + error.get("end", 0.0)
        g = r / end * math.sqrt(end**2 - h**2)
    else:
        g = math.sqrt(r**2 - (h - height - error.get("height", 0.0)) ** 2)
    return (antenna + lever + seen.side[i] * g * right(fan) + error.get("along", 0.0) * ahead(fan)
            + np.array([error.get("east", 0.0), error.get("north", 0.0)]))


def covariance_by_differences(seen, i, sigmas):
    s = sigmas
    footprint = 2 * seen.slant[i] * math.tan(math.radians(s.beam_width) / 2)
    position = math.sqrt(seen.sigma_bias[i] ** 2 + seen.sigma_pass[i] ** 2 + seen.sigma_jitter[i] ** 2)
    shadow = np.isfinite(seen.shadow_end[i])
    sizes = {"east": position, "north": position, "time": seen.sigma_time[i], "latency": s.sigma_latency,
             "heading": math.radians(seen.sigma_heading[i]), "mount": math.radians(s.sigma_mount),
             "lever_f": s.sigma_offset, "lever_s": s.sigma_offset, "range": s.sigma_range, "depth": s.sigma_depth,
             "scale": s.sigma_sound_speed / seen.sound_speed[i],
             "along": math.hypot(seen.depth[i] * math.radians(s.sigma_trim), footprint / math.sqrt(12)),
             **({"end": s.sigma_range} if shadow else {"height": s.sigma_height * HALF_SD})}
    total = np.zeros((2, 2))
    for name, size in sizes.items():
        step = 1e-4
        up, down = (place(seen, i, {name: way * step}, s.sigma_height * HALF_MEAN) for way in (1, -1))
        slope = (up - down) / (2 * step)
        total += size**2 * np.outer(slope, slope)
    return total


GEOMETRY = st.fixed_dictionaries({
    "side": st.sampled_from([-1.0, 1.0]), "depth": st.floats(3, 12), "slant": st.floats(25, 60),
    "shadow_end": st.one_of(st.just(np.nan), st.floats(62, 90)), "azimuth_deg": st.floats(0, 360),
    "vel_east": st.floats(-2, 2), "vel_north": st.floats(0.3, 2), "turn_dps": st.floats(-6, 6),
    "lever_forward": st.floats(-3, 3), "lever_starboard": st.floats(-2, 2), "course_heading": st.booleans(),
    "depth_scales": st.booleans()})


@settings(max_examples=60, deadline=None)
@given(GEOMETRY)
def test_covariance_is_that_of_the_derivatives(geometry):
    # sigmas a hundredth of the usual, so that only the linear part is left
    small = Sigmas(**{name: value / 100 for name, value in vars(PRESETS["ordinary"]).items()})
    seen = sightings(**geometry, sigma_bias=0.02, sigma_pass=0.005, sigma_jitter=0.005, sigma_heading=0.03,
                     sigma_time=0.005)
    expected = covariance_by_differences(seen, 0, small)
    found = budget(seen, small).cov[0]
    np.testing.assert_allclose(found, [expected[0, 0], expected[0, 1], expected[1, 1]],
                               atol=3e-4 * np.trace(expected))


@settings(max_examples=40, deadline=None)
@given(GEOMETRY)
def test_sensitivities_of_the_ground_range(geometry):
    seen = sightings(**geometry)
    found = budget(seen, chosen("survey"))
    a = np.radians(seen.azimuth_deg[0])
    across = seen.side[0] * np.array([math.cos(a), -math.sin(a)])
    for name, value in (("scale", found.dg_dscale[0]), ("depth", found.dg_ddepth[0])):
        up, down = (place(seen, 0, {name: way * 1e-5}, 0.2 * HALF_MEAN) for way in (1, -1))
        slope = (up - down) @ across / 2e-5
        assert value == pytest.approx(slope, rel=1e-6, abs=1e-8)


@settings(max_examples=40, deadline=None)
@given(GEOMETRY, st.floats(0, 360))
def test_turning_the_whole_scene_turns_the_ellipse(geometry, turn):
    seen = sightings(**geometry, sigma_bias=2.0, sigma_pass=0.5, sigma_jitter=0.5,
                     sigma_heading=3.0, sigma_time=0.5)
    a = math.radians(turn)
    turned = replace(seen, azimuth_deg=seen.azimuth_deg + turn,
                     vel_east=seen.vel_east * math.cos(a) + seen.vel_north * math.sin(a),
                     vel_north=seen.vel_north * math.cos(a) - seen.vel_east * math.sin(a))
    one, other = budget(seen, PRESETS["ordinary"]), budget(turned, PRESETS["ordinary"])
    r = np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
    for name in ("cov", "own"):
        c = getattr(one, name)[0]
        expected = r @ np.array([[c[0], c[1]], [c[1], c[2]]]) @ r.T
        np.testing.assert_allclose(getattr(other, name)[0], expected[[0, 0, 1], [0, 1, 1]], rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(one.shares, other.shares, atol=1e-9)


@settings(max_examples=40, deadline=None)
@given(GEOMETRY)
def test_port_is_the_mirror_of_starboard(geometry):
    seen = sightings(**geometry, sigma_bias=2.0, sigma_pass=0.5, sigma_jitter=0.5,
                     sigma_heading=3.0, sigma_time=0.5)
    mirrored = replace(seen, side=-seen.side, azimuth_deg=-seen.azimuth_deg, vel_east=-seen.vel_east,
                       turn_dps=-seen.turn_dps, lever_starboard=-seen.lever_starboard)
    one, other = budget(seen, PRESETS["ordinary"]), budget(mirrored, PRESETS["ordinary"])
    for name in ("cov", "own"):
        np.testing.assert_allclose(getattr(other, name), getattr(one, name) * [1, -1, 1], rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(one.centre, -other.centre, rtol=1e-12)


@settings(max_examples=40, deadline=None)
@given(GEOMETRY, st.sampled_from(sorted(PRESETS)))
def test_shares_add_up_and_blocks_stay_inside_the_whole(geometry, preset):
    seen = sightings(**geometry, sigma_bias=2.0, sigma_pass=0.5, sigma_jitter=0.5,
                     sigma_heading=3.0, sigma_time=0.5)
    found = budget(seen, PRESETS[preset])
    assert found.shares.shape == (1, len(CAUSES))
    assert found.shares.sum() == pytest.approx(100, abs=1e-9)
    assert (found.shares >= 0).all()
    left = found.cov[0] - found.own[0]
    assert left[0] >= 0 and left[2] >= 0 and left[0] * left[2] >= left[1] ** 2 - 1e-9


# ---- the ellipse alone, against the whole budget and from first principles

def every_kind(count, seed=4):
    """Picks with and without a shadow, off slant and ground readings, on flat and uneven beds, some under the boat."""
    rng = np.random.default_rng(seed)
    slant, ground = rng.uniform(5, 60, count), rng.uniform(5, 50, count)
    status = rng.choice(np.array(["", "ambiguous", "off grid"], object), count, p=[0.8, 0.1, 0.1])
    terrain = TerrainGround(np.where((status == "off grid") | (rng.random(count) < 0.5), np.nan, ground),
                            rng.uniform(3, 15, count), rng.uniform(-0.4, 0.4, count), 0.9 * ground, 1.1 * ground,
                            status)
    return sightings(
        count, side=rng.choice([-1.0, 0.0, 1.0], count, p=[0.45, 0.1, 0.45]), slant=slant,
        depth=rng.uniform(3, 12, count),
        shadow_end=np.where(rng.random(count) < 0.3, slant * rng.uniform(1.02, 1.5, count), np.nan),
        azimuth_deg=rng.uniform(0, 360, count), vel_east=rng.normal(0, 2, count), vel_north=rng.normal(0, 2, count),
        turn_dps=rng.normal(0, 3, count), lever_forward=rng.normal(0, 2, count), sigma_bias=rng.uniform(0, 3, count),
        lever_starboard=rng.normal(0, 1, count), sigma_pass=rng.uniform(0, 1, count),
        sigma_jitter=rng.uniform(0.1, 1, count),
        sigma_heading=rng.uniform(0, 15, count), sigma_time=rng.uniform(0, 1, count),
        sound_speed=rng.uniform(1420, 1500, count),
        **{name: rng.random(count) < 0.5 for name in ("course_heading", "depth_scales", "ground_reading")}), terrain


@pytest.mark.parametrize("uneven", [False, True])
@pytest.mark.parametrize("preset", sorted(PRESETS))
def test_the_ellipse_alone_is_that_of_the_budget(preset, uneven):
    seen, terrain = every_kind(ROWS + 500)
    seen.terrain = terrain if uneven else None
    full, lean = budget(seen, PRESETS[preset]), spread(seen, PRESETS[preset])
    assert len(set(full.status)) == (6 if uneven else 4)
    trace = (full.cov[:, 0] + full.cov[:, 2])[:, None]
    np.testing.assert_allclose(lean.cov / trace, full.cov / trace, rtol=0, atol=1e-12)
    for name in ("semi_major", "semi_minor", "azimuth_deg"):
        np.testing.assert_allclose(getattr(lean, name), getattr(full.spread, name), rtol=1e-12, atol=1e-12)
    # the causes are summed one by one: what they miss or count twice would show here
    np.testing.assert_allclose(full.shares.sum(axis=1), 100, rtol=1e-10)
    alone = spread(seen.take(slice(ROWS + 9, ROWS + 10)), PRESETS[preset])
    np.testing.assert_allclose(alone.cov[0], lean.cov[ROWS + 9], rtol=1e-12)


def test_what_is_fresh_in_a_pick_is_all_there_is_when_nothing_else_errs():
    seen, _ = every_kind(2000)
    for name in ("sigma_bias", "sigma_pass", "sigma_heading"):
        getattr(seen, name)[:] = 0.0
    found = budget(seen, only(sigma_range=0.3, sigma_height=0.5, beam_width=1.5))
    np.testing.assert_allclose(found.own, found.cov, rtol=1e-12, atol=1e-12)


@settings(max_examples=40, deadline=None)
@given(GEOMETRY)
def test_axes_and_azimuth_are_those_of_the_derivatives(geometry):
    small = Sigmas(**{name: value / 100 for name, value in vars(PRESETS["ordinary"]).items()})
    seen = sightings(**geometry, sigma_bias=0.02, sigma_pass=0.005, sigma_jitter=0.005, sigma_heading=0.03,
                     sigma_time=0.005)
    values, vectors = np.linalg.eigh(covariance_by_differences(seen, 0, small))
    found = spread(seen, small)
    assert found.semi_major[0] == pytest.approx(math.sqrt(values[1]), rel=3e-4)
    assert found.semi_minor[0] == pytest.approx(math.sqrt(values[0]), rel=1e-3)
    if values[1] > 1.1 * values[0]:  # a circle has no azimuth
        a = math.radians(found.azimuth_deg[0])
        assert abs(vectors[:, 1] @ [math.cos(a), -math.sin(a)]) < 0.01


@pytest.mark.parametrize("given", [
    {"side": -1.0, "turn_dps": 4.0, "lever_forward": 3.0, "lever_starboard": -1.0},
    {"shadow_end": 62.0, "course_heading": False, "depth_scales": False, "azimuth_deg": 250.0}])
def test_the_whole_covariance_is_that_of_draws(given):
    s, rng = PRESETS["ordinary"], np.random.default_rng(12)
    seen = sightings(**given, sigma_bias=s.sigma_bias, sigma_pass=s.sigma_pass, sigma_jitter=s.sigma_jitter,
                     sigma_heading=3.0, sigma_time=s.sigma_time)
    position = math.sqrt(s.sigma_bias**2 + s.sigma_pass**2 + s.sigma_jitter**2)
    half_beam = 50 * math.tan(math.radians(s.beam_width) / 2)
    sizes = {"east": position, "north": position, "time": s.sigma_time, "latency": s.sigma_latency,
             "heading": math.radians(3), "mount": math.radians(s.sigma_mount), "lever_f": s.sigma_offset,
             "lever_s": s.sigma_offset, "range": s.sigma_range, "depth": s.sigma_depth,
             "scale": s.sigma_sound_speed / 1450,
             **({"end": s.sigma_range} if "shadow_end" in given else {"height": s.sigma_height})}
    drawn = []
    for _ in range(20_000):
        error = {name: rng.normal(0, size) for name, size in sizes.items()}
        if "height" in error:
            error["height"] = abs(error["height"])
        error["along"] = 10 * rng.normal(0, math.radians(s.sigma_trim)) + rng.uniform(-half_beam, half_beam)
        drawn.append(place(seen, 0, error))
    expected = np.cov(np.array(drawn).T)
    np.testing.assert_allclose(spread(seen, s).cov[0], expected[[0, 0, 1], [0, 1, 1]],
                               atol=0.02 * np.trace(expected))  # four standard errors of a variance


# ---- against simulation

def simulated(cause, draws=100_000, **geometry):
    """Trace of the place's variance when only ``cause`` errs (None: everything does)."""
    sigma = random_picks.PRIORS if cause is None else {**random_picks.NOTHING,
                                                       **{name: random_picks.PRIORS[name] for name in cause}}
    rec = random_picks.recorded(np.random.default_rng(3), draws, sigma=sigma, samples=None, **geometry)
    fan = rec.track["heading_deg"] + 4.0
    ground = np.sqrt(rec.picks["slant_m"] ** 2 - rec.track["depth_m"] ** 2)
    reach = rec.picks["side"] * ground
    at = np.column_stack([rec.track["x"], rec.track["y"]]) + reach[:, None] * random_picks.beam(fan)
    off = np.column_stack([rec.east, rec.north]) - at
    along, across = (off * random_picks.bow(fan)).sum(axis=1), (off * random_picks.beam(fan)).sum(axis=1)
    return along.var() + (across * rec.picks["side"]).var()


@pytest.mark.parametrize("compass, grid", [(True, False), (False, True)])
def test_shares_by_cause_are_those_of_100_000_draws(compass, grid):
    geometry = {"ground": 28.0, "depth": (8.0, 8.0), "speed": (2.0, 2.0), "turn": 0.0, "compass": compass, "grid": grid}
    p = random_picks.PRIORS
    sigmas = chosen("ordinary", **random_picks.stated(p))
    seen = sightings(slant=math.hypot(28, 8), depth=8.0, vel_east=0.0, vel_north=2.0, azimuth_deg=0.0,
                     sigma_bias=p["bias"], sigma_pass=p["slow"], sigma_jitter=p["jitter"], sigma_heading=p["heading"],
                     sigma_time=p["time"],
                     course_heading=not compass, depth_scales=not grid, lever_forward=1.5, lever_starboard=-0.4)
    found = budget(seen, sigmas).shares[0]
    causes = {"position": ("bias", "slow", "jitter"), "heading": ("heading",), "range": ("range",),
              "depth": ("depth", "height"), "timing": ("time", "latency"), "beam": ("beam_width",),
              "sound": ("sound_speed",), "offsets": ("offset", "mount", "trim")}
    total = simulated(None, **geometry)
    for name, share in zip(CAUSES, found):
        assert share == pytest.approx(100 * simulated(causes[name], **geometry) / total, abs=2), name


def test_heading_moments_are_those_of_a_million_draws():
    angle = np.random.default_rng(8).normal(0, math.radians(12), 1_000_000)
    along, across = 40 * np.sin(angle), 40 * np.cos(angle)
    seen = sightings(sigma_heading=12.0, slant=50.0, depth=30.0, azimuth_deg=0.0, vel_east=0.0)
    found = budget(seen, only())
    assert found.centre[0] == pytest.approx(across.mean(), abs=0.005)
    np.testing.assert_allclose(found.cov[0], [across.var(), 0, along.var()], rtol=0.005, atol=1e-9)


# ---- worked rows

def test_picked_target_row():
    """Position 3.268 m an axis, R 50, H 10, 0.5 m on both, heading 5 degrees, 0.5 s at 2.5 m/s (standard propagation,
    JCGM 100): 95 % semi-axes 8.1000 and 13.5224 m. Exact moments of the heading make the second 13.492."""
    seen = sightings(azimuth_deg=0.0, vel_east=0.0, vel_north=2.5, sigma_bias=3.268, sigma_heading=5.0,
                     sigma_time=0.5)
    sigmas = only(sigma_range=0.5, sigma_depth=0.5)
    k = ellipses.scale_factor(0.95)
    linear = covariance_by_differences(seen, 0, sigmas)
    assert k * math.sqrt(linear[0, 0]) == pytest.approx(8.1000, abs=1e-3)
    assert k * math.sqrt(linear[1, 1]) == pytest.approx(13.5224, abs=1e-3)
    found = budget(seen, sigmas).cov[0]
    s2 = math.radians(5) ** 2
    mean_g2 = 50**2 - 10**2 + 0.52041650**2
    assert found[2] - linear[1, 1] == pytest.approx(
        mean_g2 * (1 - math.exp(-2 * s2)) / 2 - (50**2 - 10**2) * s2, abs=1e-6)
    assert k * math.sqrt(found[2]) == pytest.approx(13.492, abs=1e-3)
    assert found[0] == pytest.approx(
        3.268**2 + mean_g2 * (1 + math.exp(-2 * s2)) / 2 - (50**2 - 10**2) * math.exp(-s2), abs=1e-6)


@pytest.mark.parametrize("sigma, slant, expected", [(0.5, 50.0, 0.52041650)])
def test_spread_of_ground_range(sigma, slant, expected):
    # s_G^2 = (R/G)^2 s_R^2 + (H/G)^2 s_H^2 over a flat bottom
    found = budget(sightings(slant=slant, azimuth_deg=0.0), only(sigma_range=sigma, sigma_depth=sigma))
    assert math.sqrt(found.cov[0, 0]) == pytest.approx(expected, abs=1e-7)


def test_a_shadow_gives_height_and_takes_the_unknown_height_away():
    # H 10, h 1, true G 30: Rt 31.32091952, Re 34.80102170
    seen = sightings(2, slant=31.32091952, shadow_end=[34.80102170, np.nan], depth=10.0, azimuth_deg=0.0)
    found = budget(seen, only(sigma_height=0.5))
    assert found.height[0] == pytest.approx(1.0, abs=1e-7) and np.isnan(found.height[1])
    assert found.ground[0] == pytest.approx(30.0, abs=1e-7)
    assert found.cov[0, 0] == pytest.approx(0, abs=1e-12)
    g = found.ground[1]
    assert math.sqrt(found.cov[1, 0]) == pytest.approx((10 - 0.5 * HALF_MEAN) / g * 0.5 * HALF_SD, rel=1e-6)
    assert g == pytest.approx(math.sqrt(31.32091952**2 - (10 - 0.5 * HALF_MEAN) ** 2), abs=1e-7)


def test_sigma_of_a_height_is_that_of_draws():
    rng = np.random.default_rng(2)
    start, end, depth = (v + rng.normal(0, s, 200_000) for v, s in ((31.3, 0.3), (36.0, 0.3), (10.0, 0.2)))
    scale = 1 + rng.normal(0, 15 / 1450, 200_000)
    drawn = (depth * scale * (end - start) / end).std()
    found = budget(sightings(slant=31.3, shadow_end=36.0),
                   only(sigma_range=0.3, sigma_depth=0.2, sigma_sound_speed=15.0))
    assert found.sigma_height[0] == pytest.approx(drawn, rel=0.01)


def test_depth_from_a_grid_makes_scale_worse_the_steeper_it_is():
    found = budget(sightings(2, depth_scales=[True, False]), chosen("ordinary", sigma_height=0.0))
    g = math.sqrt(50**2 - 10**2)
    np.testing.assert_allclose(found.dg_dscale, [g, 50**2 / g], rtol=1e-12)


def test_a_ground_reading_errs_by_what_was_read_wrongly():
    found = budget(sightings(ground_reading=True, azimuth_deg=0.0), only(sigma_range=0.3))
    assert math.sqrt(found.cov[0, 0]) == pytest.approx(0.3, rel=1e-9)


def test_a_wild_heading_is_named():
    seen = sightings(3, sigma_heading=[3.0, 10.0, 20.0], sigma_bias=2.0)
    # G s^2 / 2 against half the remaining sigma across: 49 x 0.0027 / 2 = 0.07, 0.75 and 2.98 m, against 1.0 m
    assert budget(seen, only()).bent.tolist() == [False, False, True]


def test_time_and_latency_in_a_turn_move_sample_and_fan():
    seen = sightings(2, turn_dps=5.0, vel_east=0.0, vel_north=2.0, azimuth_deg=0.0, side=[1.0, -1.0], sigma_time=0.5)
    g = math.sqrt(50**2 - 10**2)
    swing = math.radians(5) * g
    np.testing.assert_allclose(np.sqrt(budget(seen, only()).cov[:, 2]), [abs(2 - swing) * 0.5, (2 + swing) * 0.5])
    seen = sightings(2, turn_dps=5.0, vel_east=0.0, vel_north=2.0, azimuth_deg=0.0, course_heading=[True, False])
    np.testing.assert_allclose(np.sqrt(budget(seen, only(sigma_latency=0.5)).cov[:, 2]), [abs(2 - swing) * 0.5, 1.0])


def test_a_slope_steepens_or_flattens_the_ground_range():
    terrain = TerrainGround(*(np.array(v) for v in ([40.0, 40.0], [12.0, 12.0], [0.1, -0.1], [np.nan] * 2,
                                                    [np.nan] * 2)), np.array(["", ""], object))
    slant = math.hypot(40, 12)
    seen = replace(sightings(2, slant=slant, azimuth_deg=0.0, depth_scales=False), terrain=terrain)
    found = budget(seen, only(sigma_range=0.01))
    # R^2 = G^2 + z(G)^2 with z = 12 + m (G - 40)
    for m, sigma in zip((0.1, -0.1), np.sqrt(found.cov[:, 0])):
        g = [max(np.roots([1 + m * m, 2 * m * (12 - 40 * m), (12 - 40 * m) ** 2 - r * r])) for r in
             (slant - 0.01, slant + 0.01)]
        assert sigma == pytest.approx((g[1] - g[0]) / 2, rel=1e-4)
