"""Errors of located targets: near the nadir, block by block, and by simulation of what a boat would record."""
import math

import bank_picks
import numpy as np
import pytest
import random_picks
import tracks
from athwart.survey.targets.locate import LocateSettings, locate
from athwart.survey.targets.picks import Picks
from one_pass import SURE, found, picked, ray

# ---- near the nadir

def test_statuses_by_geometry():
    # H 30, sigma R 0.3, H 0.2, height half-normal of 0.5 (mean 0.399, sd 0.301): the water column begins at
    # R < 30 - 0.399 - 2 sqrt(0.3^2 + 0.2^2 + 0.301^2) = 28.66
    out = found(ray("EPSG:32615"), picked(slant=[50.0, 31.0, 30.1, 28.7, 28.6, 12.0]), stated={})
    assert out.columns["status"].tolist() == ["bottom", "near nadir", "near nadir", "near nadir", "water column",
                                              "water column"]
    for name in ("ground_m", "ground_lo_m", "ground_hi_m", "semi_major_m", "dg_dscale_m", "dg_ddepth"):
        assert np.isfinite(out.columns[name]).all(), name
    np.testing.assert_allclose(out.columns["ground_m"][5], 0.637 * 12, atol=5e-3)
    text = " ".join(out.warnings)
    assert "Near nadir" in text and "picks 2-4" in text and "picks 5-6" in text


def test_near_the_nadir_a_side_that_was_given_is_used():
    """Objects strewn evenly from -20 to 20 m, H 10, R read with 0.3 m: what those of one side that were read at R have
    for a mean and a spread (100,000 near the reading; no code shared)."""
    rng = np.random.default_rng(7)
    truth = rng.uniform(-20, 20, 4_000_000)
    read = np.hypot(truth, 10) + rng.normal(0, 0.3, len(truth))
    for slant in (9.8, 10.1, 10.4):
        like = truth[(np.abs(read - slant) < 0.02) & (truth > 0)]
        for side, word in ((-1, "port"), (1, "starboard")):
            out = found(ray("EPSG:32615", heading=0.0, depth_m=10.0), picked([side], slant),
                        stated={**SURE, "sigma_range": 0.3})
            c = out.columns
            assert c["status"][0] == "near nadir" and c["side"][0] == word
            assert c["ground_m"][0] == pytest.approx(like.mean(), abs=0.05)
            assert c["sigma_east_m"][0] == pytest.approx(like.std(), abs=0.05)
            assert side * (out.x[0] - 500_000) > 0.5


def test_without_a_side_only_what_may_lie_under_the_boat_has_a_place():
    out = found(ray("EPSG:32615", heading=0.0, depth_m=10.0), picked([0, 0], [10.05, 30.0]), stated={
        **SURE, "sigma_range": 0.3})
    c = out.columns
    assert c["status"].tolist() == ["side unsure"] and c["side"].tolist() == [""] and c["ground_m"][0] == 0
    # both sides at once: the root mean square of one
    truth = np.random.default_rng(7).uniform(-20, 20, 2_000_000)
    like = truth[np.abs(np.hypot(truth, 10) + np.random.default_rng(8).normal(0, 0.3, len(truth)) - 10.05) < 0.02]
    assert c["sigma_east_m"][0] == pytest.approx(like.std(), abs=0.05)
    assert out.rejected["reason"].tolist() == ["it has no side: port or starboard"]


def test_objects_only_stand_up():
    """Upright objects at G/H 0.2 to 1: places are not short any more (half-normal heights, 20,000 fresh outings)."""
    rec, out = simulate(np.random.default_rng(3), 20_000, (0.2, 1))
    short = rec.ground - out.columns["ground_m"]
    assert abs(short.mean()) < 0.4 and abs(np.median(short)) < 0.4  # 2.0 m when heights count as often below the bed


def test_the_water_column_is_an_angle_anywhere():
    # a uniform angle over the quarter circle: mean 2 R / pi, standard deviation 0.308 R (million draws)
    drawn = 12 * np.sin(np.random.default_rng(3).uniform(0, np.pi / 2, 1_000_000))
    out = found(ray("EPSG:32615", heading=0.0), picked(slant=12.0))
    c = out.columns
    assert c["ground_m"][0] == pytest.approx(drawn.mean(), abs=0.02)
    assert c["sigma_east_m"][0] == pytest.approx(drawn.std(), abs=0.02)
    limits = np.quantile(drawn, [0.025, 0.975])
    np.testing.assert_allclose([c["ground_lo_m"][0], c["ground_hi_m"][0]], limits, atol=0.02)


def test_the_interval_is_that_of_draws_down_to_the_nadir():
    """H 10, sigma R 0.15, H 0.2, scale 1 %: 95 % of the ground range squared."""
    rng = np.random.default_rng(12)
    for ground in (0.5, 1.5, 3.0, 3.64, 5.0, 10.0):
        r, h = math.hypot(10, ground), 10.0
        scale = 1 + rng.normal(0, 0.01, 400_000)
        q = ((r + rng.normal(0, 0.15, 400_000)) * scale) ** 2 - ((h + rng.normal(0, 0.2, 400_000)) * scale) ** 2
        low, high = np.sqrt(np.maximum(np.quantile(q, [0.025, 0.975]), 0))
        c = found(ray("EPSG:32615", depth_m=h, sound_speed_mps=1500.0), picked(slant=r), stated={
            **SURE, "sigma_range": 0.15, "sigma_depth": 0.2, "sigma_sound_speed": 15.0}).columns
        # once q's interval takes in the track, the side's own goes before it: never shorter, never behind the track
        assert c["ground_hi_m"][0] == pytest.approx(high, abs=0.03) or c["ground_hi_m"][0] > high
        assert c["ground_lo_m"][0] == pytest.approx(low, abs=0.03 if low > 4 else 0.6)
    c = found(ray("EPSG:32615", depth_m=10.0), picked(slant=14.0),
              stated={**SURE, "sigma_range": 0.5, "sigma_depth": 0.3}).columns
    # the mean of R^2 - H^2 is shifted by sigma_R^2 - sigma_H^2
    assert (c["ground_lo_m"][0] ** 2 + c["ground_hi_m"][0] ** 2) / 2 == pytest.approx(96 + 0.5**2 - 0.3**2, abs=1e-9)


def test_the_blocks_add_up_to_the_whole():
    """What the adjustment rebuilds from the columns: own, and the priors by their sensitivities, is the covariance."""
    track = ray("EPSG:32615", sigma_heading_deg=0.3, heading_source="course", mount_deg=7.0)
    picks = picked([1, -1, 1, 0, 1], [50.0, 45.0, 31.0, 29.9, 20.0])
    c = found(track, picks, stated={"sigma_mount": 0.2, "sigma_height": 0.4}).columns
    assert set(c["status"]) == {"bottom", "near nadir", "side unsure", "water column"}
    for i in range(5):
        side = {"port": -1, "starboard": 1, "": 0}[c["side"][i]]
        a = math.radians(c["heading_deg"][i] + c["mount_deg"][i])
        f, s = np.array([math.sin(a), math.cos(a)]), np.array([math.cos(a), -math.sin(a)])
        turn = -side * c["ground_m"][i] * math.radians(1) * f
        v = np.array([c["vel_east_mps"][i], c["vel_north_mps"][i]])
        shared = [(c["sig_bias_m"][i], [1, 0]), (c["sig_bias_m"][i], [0, 1]), (c["sig_pass_m"][i], [1, 0]),
                  (c["sig_pass_m"][i], [0, 1]), (c["sig_heading_deg"][i], turn), (c["sig_mount_deg"][i], turn),
                  (c["sig_latency_s"][i], v), (c["sig_lever_m"][i], f), (c["sig_lever_m"][i], s),
                  (c["sig_scale"][i], side * c["dg_dscale_m"][i] * s),
                  (c["sig_depth_offset_m"][i], side * c["dg_ddepth"][i] * s),
                  (c["sig_trim_deg"][i], c["depth_m"][i] * math.radians(1) * f)]
        total = np.array([[c["own_ee_m2"][i], c["own_en_m2"][i]], [c["own_en_m2"][i], c["own_nn_m2"][i]]])
        total = total + sum(sigma**2 * np.outer(x, x) for sigma, x in shared)
        whole = [c["sigma_east_m"][i] ** 2, c["cov_en_m2"][i], c["sigma_north_m"][i] ** 2]
        np.testing.assert_allclose(total[[0, 0, 1], [0, 1, 1]], whole, atol=2e-3)


def test_no_depth_is_deeper_than_its_range_without_being_counted():
    out = found(ray("EPSG:32615"), picked(slant=20.0))
    assert out.columns["status"][0] == "water column" and np.isfinite(out.x[0])


# ---- simulation: every error from its prior, each pick of a fresh outing

def simulate(rng, count, over, sigma=None, stated=None, **geometry):
    rec = random_picks.recorded(rng, count, over, **({} if sigma is None else {"sigma": sigma}), **geometry)
    track = dict(rec.track)
    track = tracks.made(random_picks.CRS, track.pop("x"), track.pop("y"), track.pop("heading_deg"), **track)
    given = random_picks.stated(sigma or random_picks.PRIORS) if stated is None else stated
    out = locate(track, Picks.of(count, **rec.picks), LocateSettings(stated=given))
    assert len(out.source) == count
    return rec, out


def held(rec, out):
    """Shares of true places inside their ellipses, and of true ground ranges and across-track errors in 95 %."""
    c = out.columns
    off = np.column_stack([rec.east - out.x, rec.north - out.y])
    ee, nn, en = c["sigma_east_m"] ** 2, c["sigma_north_m"] ** 2, c["cov_en_m2"]
    d2 = (nn * off[:, 0] ** 2 - 2 * en * off[:, 0] * off[:, 1] + ee * off[:, 1] ** 2) / (ee * nn - en**2)
    beam = random_picks.bow(c["bearing_deg"])
    across = np.einsum("ni,ni->n", off, beam)
    var = ee * beam[:, 0] ** 2 + 2 * en * beam[:, 0] * beam[:, 1] + nn * beam[:, 1] ** 2
    ground = (rec.ground >= c["ground_lo_m"]) & (rec.ground <= c["ground_hi_m"])
    return (d2 <= 5.991465).mean(), (np.abs(across) <= 1.959964 * np.sqrt(var)).mean(), ground.mean()


@pytest.mark.parametrize("over, low, high", [((0, 0.2), 0.93, 0.98), ((0.2, 0.5), 0.94, 0.98), ((0.5, 1), 0.94, 0.96),
                                             ((1, 2), 0.94, 0.96), ((2, 5), 0.94, 0.96)])
def test_95_percent_ellipses_hold_95_percent(over, low, high):
    for name, share in zip(("ellipse", "across", "ground"), held(*simulate(np.random.default_rng(9), 6000, over))):
        assert low <= share <= high, (name, share)


def test_the_own_block_is_what_two_picks_of_one_outing_do_not_share():
    """With the errors of pass and outing nil, the own block alone must hold 95 %."""
    sigma = {**random_picks.PRIORS, **dict.fromkeys(("bias", "slow", "latency", "heading", "mount", "offset", "trim",
                                                     "sound_speed"), 0.0), "depth": 0.0}
    rec, out = simulate(np.random.default_rng(1), 6000, (1, 4), sigma)
    c = out.columns
    off = np.column_stack([rec.east - out.x, rec.north - out.y])
    ee, en, nn = c["own_ee_m2"], c["own_en_m2"], c["own_nn_m2"]
    np.testing.assert_allclose(ee + nn, c["sigma_east_m"] ** 2 + c["sigma_north_m"] ** 2, rtol=1e-9)
    d2 = (nn * off[:, 0] ** 2 - 2 * en * off[:, 0] * off[:, 1] + ee * off[:, 1] ** 2) / (ee * nn - en**2)
    assert 0.94 <= (d2 <= 5.991465).mean() <= 0.96


def test_an_error_nobody_put_in_the_budget_is_not_held():
    """One second of latency at 2.5 m/s, position 0.5 m, heading 2 degrees, time 0.1 s, G 20."""
    sigma = {**random_picks.NOTHING, "jitter": 0.5, "heading": 2.0, "time": 0.1}
    geometry = {"ground": 20.0, "speed": (2.5, 2.5), "turn": 0.0}
    rng = np.random.default_rng(6)
    assert held(*simulate(rng, 3000, (1, 2), sigma, unknown_latency=1.0, **geometry))[0] < 0.40
    assert 0.94 <= held(*simulate(rng, 3000, (1, 2), sigma, **geometry))[0] <= 0.96


# ---- on a depth grid

def held_on_grid(rec, out):
    """Share of the true places inside the ellipses."""
    c = out.columns
    off = np.column_stack([rec.east[out.source] - out.x, rec.north[out.source] - out.y])
    ee, nn, en = c["sigma_east_m"] ** 2, c["sigma_north_m"] ** 2, c["cov_en_m2"]
    return np.mean(nn * off[:, 0] ** 2 - 2 * en * off[:, 0] * off[:, 1] + ee * off[:, 1] ** 2
                   <= 5.991465 * (ee * nn - en**2))


@pytest.mark.parametrize("name, slope, near", [("rough", 0.0, 25), ("bank", 0.25, 25), ("steep", 0.5, 15),
                                               ("ledge", 0.0, 8)])
def test_ellipses_on_uneven_ground_hold_the_true_places(name, slope, near):
    """250 fresh outings; sd 1.4 %. The whole is `make proof`, ellipses_on_banks."""
    bottom = bank_picks.BOTTOMS[name]
    rec = bank_picks.recorded(np.random.default_rng(4), 250, bottom, slope=slope, near=near)
    out = bank_picks.located(rec, bottom, bank_picks.PRIORS)
    ground = np.mean((rec.ground[out.source] >= out.columns["ground_lo_m"])
                     & (rec.ground[out.source] <= out.columns["ground_hi_m"]))
    assert 0.92 <= held_on_grid(rec, out) <= 0.98 and ground >= 0.9


def test_on_an_even_bottom_the_cloud_is_the_closed_form():
    rec = bank_picks.recorded(np.random.default_rng(5), 60, bank_picks.flat, over=(1.5, 3.0))
    there, flat = (bank_picks.located(rec, bank_picks.flat, bank_picks.PRIORS, model) for model in ("terrain", "slant"))
    for name in ("semi_major_m", "semi_minor_m", "sigma_east_m", "sigma_north_m"):
        np.testing.assert_allclose(there.columns[name], flat.columns[name], rtol=0.06)
    assert np.median(np.abs(there.columns["semi_major_m"] / flat.columns["semi_major_m"] - 1)) < 0.01
    assert np.hypot(there.x - flat.x, there.y - flat.y).max() < 1.0  # the sounder's wave, and the place's own curvature
