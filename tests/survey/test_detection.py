"""Ping rates, hits and smallest objects against published figures; directions by brute force."""
import itertools

import numpy as np
import pytest
from athwart.survey.ensonify.detection import DetectionSettings, ping_rate, smallest_object
from athwart.survey.ensonify.directions import SECTORS, direction_count, sector_bit
from athwart.survey.model.errors import InputError
from hypothesis import given, settings
from hypothesis import strategies as st


def alone(**given):
    """Settings in which only one cause matters: pass hits, beam or shadow."""
    return DetectionSettings(**{"beam_width_deg": 1e-9, "min_hits": 1e-9, "min_shadow_m": 1e-9, **given})


@pytest.mark.parametrize("range_m, hertz", [(15, 50), (30, 25), (50, 15), (100, 7.5)])
def test_highest_ping_rate(range_m, hertz):
    """c / (2 R) with c = 1500 m/s."""
    for share in (1.0, 0.5):
        rate = ping_rate(np.array([range_m]), 1500.0, DetectionSettings(ping_share=share))
        assert rate[0] == pytest.approx(share * hertz, abs=1e-9)


def test_a_stated_ping_rate_is_never_faster_than_sound():
    rate = ping_rate(np.array([50.0, 500.0]), 1500.0, DetectionSettings(ping_rate_hz=10.0))
    np.testing.assert_allclose(rate, [10.0, 1.5])


def test_an_unknown_sound_speed_never_looks_better():
    known, unknown = ping_rate(np.array([50.0, 50.0]), np.array([1410.0, np.nan]), DetectionSettings())
    assert unknown < known


@pytest.mark.parametrize("range_m, fastest", [(50, 5.0), (75, 3.3333), (100, 2.5), (150, 1.6667)])
def test_three_hits_on_a_cube_of_one_metre(range_m, fastest):
    """NOAA Field Procedures Manual (2014) 2.5.3: three pings a metre; v = f / 3."""
    rate = ping_rate(np.array([range_m]), 1500.0, DetectionSettings(ping_share=1.0))
    size = smallest_object(fastest / rate, 40.0, 10.0, 1000.0, alone(min_hits=3))
    assert size[0] == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize("slant, footprint", [(10, 0.17454), (50, 0.87269), (100, 1.74537)])
def test_an_object_is_as_wide_as_the_beam(slant, footprint):
    """2 r tan(theta / 2), theta 1 degree."""
    assert smallest_object(1e-9, slant, 1.0, 1000.0, alone(beam_width_deg=1.0)) == pytest.approx(footprint, abs=1e-5)


@pytest.mark.parametrize("depth, slant, shadow, height", [(5, 20, 5, 1.0), (4, 30, 6, 0.666667)])
def test_an_object_is_high_enough_for_its_shadow(depth, slant, shadow, height):
    """h = H Ls / (R + Ls), R at the start of the shadow."""
    found = smallest_object(1e-9, slant, depth, 1000.0, alone(min_shadow_m=shadow))
    assert found == pytest.approx(height, abs=1e-6)


def test_a_shadow_must_fit_on_the_record():
    size = smallest_object(0.1, np.array([49.6, 49.7, 49.71]), 5.0, 50.0, DetectionSettings())
    assert np.isfinite(size).tolist() == [True, True, False]


@settings(max_examples=100, deadline=None)
@given(st.floats(0.1, 20), st.floats(0.01, 3), st.floats(5, 90), st.floats(0, 1), st.floats(0.1, 30))
def test_a_wider_beam_or_a_slower_ping_never_looks_better(beam, pitch, slant, share, wider):
    depth = 0.02 + share * slant * 0.98
    before = smallest_object(pitch, slant, depth, 100.0, DetectionSettings(beam_width_deg=beam))
    assert smallest_object(pitch, slant, depth, 100.0, DetectionSettings(beam_width_deg=beam + wider)) >= before
    assert smallest_object(pitch * (1 + wider), slant, depth, 100.0, DetectionSettings(beam_width_deg=beam)) >= before


@pytest.mark.parametrize("name, value", [
    ("object_size_m", 0), ("beam_width_deg", 90), ("min_hits", -1), ("ping_share", 0), ("ping_share", 1.1),
    ("min_grazing_deg", 90), ("ping_rate_hz", 0.0), ("min_shadow_m", np.nan)])
def test_settings_that_mean_nothing_are_refused(name, value):
    with pytest.raises(InputError, match=r"give"):
        DetectionSettings(**{name: value})


def slow_count(sectors):
    """Most sectors of which every two are at least five apart, by trying all."""
    for size in range(len(sectors), 0, -1):
        for some in itertools.combinations(sorted(sectors), size):
            if all(min((a - b) % SECTORS, (b - a) % SECTORS) >= 5 for a, b in itertools.combinations(some, 2)):
                return size
    return 0


@settings(max_examples=60, deadline=None)
@given(st.sets(st.integers(0, SECTORS - 1), max_size=9))
def test_directions_by_trying_all(sectors):
    bits = np.bitwise_or.reduce(sector_bit(np.array([15.0 * s + 7 for s in sectors])), initial=np.uint32(0))
    assert direction_count(np.array([bits], np.uint32))[0] == slow_count(sectors)


def test_directions_are_never_told_apart_at_60_degrees_and_always_at_75():
    first = np.arange(0, 360, 2.3)
    for apart, known in ((59.9, {1}), (60.0, {1}), (75.0, {2}), (90.0, {2}), (180.0, {2})):
        bits = sector_bit(first) | sector_bit(first + apart)
        assert set(direction_count(bits).tolist()) == known
    assert direction_count(np.zeros((2, 3), np.uint32)).tolist() == [[0, 0, 0]] * 2
