"""Humps, shoals and ridges are bottom, drop-outs are not; one depth never stands in for a sounding that was refused."""
import re
from dataclasses import replace

import bottoms
import numpy as np
import pytest
import sailed
from athwart.survey.depths.soundings import Soundings, good_soundings, refused_words
from athwart.survey.fixes.arrange import Fixes
from athwart.survey.motion.continuity import continuous
from athwart.survey.tracks import settings as track_settings
from athwart.survey.tracks.prepare import prepare


def judged(depth, interval=1.0):
    return good_soundings(Soundings(1.7e9 + interval * np.arange(len(depth)), np.zeros(len(depth), int), depth))


def along(interval=1.0, seconds=400):
    return bottoms.SPEED * np.arange(-seconds / 2, seconds / 2, interval)


def noise(n, seed=1):
    return np.random.default_rng(seed).normal(0, 0.08, n)


@pytest.mark.parametrize("interval", [0.5, 1.0, 2.0, 5.0])
@pytest.mark.parametrize("top", [2.0, 3.0])
def test_a_smooth_hump_of_seven_degrees_is_kept_whole(interval, top):
    way = along(interval)
    depth = bottoms.hump(way, top) + noise(len(way))
    assert judged(depth, interval).all()


@pytest.mark.parametrize("seconds", [6, 10, 15, 24])
@pytest.mark.parametrize("top", [1.6, 3.0])
def test_a_step_shoal_is_kept(seconds, top):
    way = along()
    depth = bottoms.step_shoal(way, top, 2.0 * seconds) + noise(len(way))
    assert judged(depth).all()


@pytest.mark.parametrize("base", [16.0, 30.0, 60.0])
def test_a_ridge_is_kept_to_its_crest(base):
    way = along()
    assert judged(bottoms.ridge(way, 2.5, base) + noise(len(way))).all()


def test_drop_outs_on_a_hump_go_and_the_hump_stays():
    way = along()
    true = bottoms.hump(way) + noise(len(way))
    depth = true.copy()
    lost = np.zeros(len(way), bool)
    lost[[150, 180, 181, 195, 199, 200, 201, 202, 230, 260]] = True
    depth[lost] = [0.3, 0.6, 0.7, 0.4, 0.3, 0.3, 0.4, 0.3, 40.0, 19.0]
    assert np.array_equal(judged(depth), ~lost)


def test_a_minute_and_more_near_zero_is_a_lost_bottom():
    depth = 8 + noise(60)
    depth[20:27] = 0.8
    assert np.array_equal(np.flatnonzero(~judged(depth, 10.0)), np.arange(20, 27))


@pytest.mark.parametrize("shape, interval, keep, catch", [
    ("hump", 1.0, 99.0, 98.5), ("step shoal", 1.0, 95.0, 98.5), ("ridge", 1.0, 95.0, 98.5), ("flat", 1.0, 99.9, 99.5),
    ("slope", 1.0, 98.0, 97.0), ("hump", 10.0, 94.0, 93.0), ("flat", 10.0, 99.7, 93.5)])
def test_rates(shape, interval, keep, catch):
    """A small version of tests/proof/soundings.py."""
    rng = np.random.default_rng(3)
    kept = good = caught = out = 0
    for _ in range(25):
        clock, read, true, lost = bottoms.sounded(shape, interval, rng)
        found = good_soundings(Soundings(clock, np.zeros(len(clock), int), read))
        shaped = ~lost & ((np.abs(true - bottoms.FLOOR_M) > 1) | (shape == "flat"))
        kept, good = kept + found[shaped].sum(), good + shaped.sum()
        caught, out = caught + (~found[lost]).sum(), out + lost.sum()
    assert 100 * kept / good >= keep and 100 * caught / out >= catch


def test_what_was_refused_is_counted_and_named():
    depth = 8 + noise(300)
    depth[50:60] = 0.3
    depth[[100, 101]] = 20.0
    depth[200:202] = 2.0
    sounded = Soundings(1.7e9 + np.arange(300.0), np.zeros(300, int), depth)
    said = refused_words(sounded, good_soundings(sounded))
    assert said.startswith("14 of 300 soundings were refused: 10 lost bottoms (up to 0.5 m), 4 that leap away")
    assert "2 at 22:15:00 to 22:15:01 UTC (20.0 m)" in said and "2 at 22:16:40 to 22:16:41 UTC (2.0 m)" in said
    assert refused_words(sounded, np.ones(300, bool)) == ""


def sounded_log(depth):
    lons, lats, clock = sailed.sail(-93.0, 45.0, sailed.straight(30, len(depth) - 1))
    return Fixes("EPSG:4326", lons, lats, t_s=clock, depth_m=depth)


PLAIN = track_settings.TrackSettings(range_m=30.0, depth_m=8.0)


def test_the_one_depth_never_stands_in_for_a_refused_sounding():
    depth = 4 + noise(300)
    depth[100:160] = 0.3  # a minute: too long to bridge
    depth[200:] = np.nan  # the sounder was off: there DEPTH serves
    made = prepare(sounded_log(depth), PLAIN)
    track = made.track
    lost = (track.sample_id > 100) & (track.sample_id <= 160)
    assert not (track.depth_m[lost] > 7).any() and (track.depth_m[~lost] > 3).all()
    assert (track.reject_reason[lost & np.isnan(track.depth_m)] == "no depth").all()
    assert (track.depth_source[-80:] == "constant").all()
    count = int(np.isnan(track.depth_m).sum())
    assert count > 40
    said = [text for text in made.warnings if "depth_m was not put in their place" in text]
    assert len(said) == 1 and said[0].startswith(f"{count} samples") and "depth_at" in said[0]
    assert any(re.match("60 of 200 soundings were refused: 60 lost", text) for text in made.warnings)


def test_a_hump_has_its_own_depth_and_not_the_one_of_the_outing():
    way = along()
    depth = bottoms.hump(way) + noise(len(way))
    track = prepare(sounded_log(depth), replace(PLAIN, depth_m=8.0)).track
    assert track.depth_m == pytest.approx(depth, abs=1e-9) and set(track.depth_source) == {"sounder"}


@pytest.mark.parametrize("fits, good", [([1, 1, 0], [1, 1, 1]), ([1, 0], [1, 0])])
def test_a_piece_is_believed_whole_when_more_than_half_of_it_fits(fits, good):
    """Ten soundings of 5 m, then a leap to 8 m: of two thirds the rest is bottom too, of just a half it is not."""
    depth = np.concatenate([np.full(10, 5.0), [8.0, 8.2, 8.3][:len(fits)]])
    found = continuous(np.arange(len(depth)) / 2, np.zeros(len(depth), int), depth, np.array([1] * 10 + fits, bool))
    assert found.astype(int).tolist() == [1] * 10 + good
