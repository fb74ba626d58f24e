"""Sound speed against six published formulas, an independent library, and the check values of the standards."""
import numpy as np
import pytest
from athwart.survey.beams import soundspeed
from athwart.survey.model.errors import InputError

# m/s at the surface of fresh water, degrees C: Marczak 1997, Bilaniuk & Wong 1993 (148 points), Del Grosso & Mader
# 1972, Greenspan & Tschiegg 1957, TEOS-10 (gsw sound_speed_t_exact), Leroy 2008
SIX_SOURCES = {
    0: (1402.385, 1402.387, 1402.388, 1402.736, 1402.401, 1402.500),
    5: (1426.170, 1426.167, 1426.162, 1426.496, 1426.180, 1426.166),
    10: (1447.289, 1447.279, 1447.270, 1447.594, 1447.284, 1447.270),
    15: (1465.960, 1465.943, 1465.931, 1466.249, 1465.938, 1465.969),
    20: (1482.380, 1482.358, 1482.343, 1482.658, 1482.353, 1482.420),
    25: (1496.728, 1496.704, 1496.687, 1497.000, 1496.709, 1496.781),
    30: (1509.167, 1509.144, 1509.127, 1509.439, 1509.161, 1509.210),
}


@pytest.mark.parametrize("celsius", SIX_SOURCES)
def test_fresh_water(celsius):
    speed = soundspeed.sound_speed(celsius)
    assert speed == pytest.approx(SIX_SOURCES[celsius][0], abs=1e-3)
    assert np.abs(speed - np.array(SIX_SOURCES[celsius])).max() < 0.4


def test_the_misprinted_coefficient_is_not_ours():
    # -5.779136e-2 instead of -5.799136e-2 circulates in public code and gives 1482.460 at 20 degrees
    speed = soundspeed.fresh_water(20.0)
    assert speed == pytest.approx(1482.380, abs=1e-3)
    assert speed + (5.799136e-2 - 5.779136e-2) * 20 ** 2 == pytest.approx(1482.460, abs=1e-3)


def test_landmarks_of_the_curve():
    # 4800 ft/s at 14.175 degrees, 1500 m/s at 26.246, maximum near 74.17 (Marczak)
    assert soundspeed.fresh_water(14.175) == pytest.approx(4800 * 0.3048, abs=5e-3)
    assert soundspeed.fresh_water(26.246) == pytest.approx(1500.0, abs=5e-3)
    warm = np.arange(70, 80, 0.01)
    assert warm[np.argmax(soundspeed.fresh_water(warm))] == pytest.approx(74.17, abs=0.02)


def test_sea_water_check_value():
    # SVEL = 1731.995 at S 40, T 40 (IPTS-68), p 10000 dbar: Fofonoff & Millard 1983, UNESCO Tech. Pap. Mar. Sci. 44
    assert soundspeed.sea_water(40.0, 40.0, 10000.0) == pytest.approx(1731.995, abs=1e-3)


def test_temperatures_of_today_are_brought_to_the_scale_of_the_formula():
    # IPTS-68 = 1.00024 ITS-90: 0.0072 degrees at 30, where sound gains 2.08 m/s a degree (slope of Medwin 1975)
    gained = soundspeed.sound_speed(30.0, 35.0) - soundspeed.sea_water(30.0, 35.0)
    assert gained == pytest.approx(0.00024 * 30 * (4.6 - 0.110 * 30 + 0.00087 * 30 ** 2), abs=5e-4)


@pytest.mark.parametrize("salinity", [0.6, 2.0, 5.0, 12.0, 35.0])
def test_salt_water_against_teos_10(salinity):
    gsw = pytest.importorskip("gsw", exc_type=ImportError)  # may be built for another Python
    celsius = np.arange(0.0, 31.0, 5.0)
    absolute = gsw.SR_from_SP(salinity)
    exact = gsw.sound_speed_t_exact(absolute, celsius, 0.0)
    assert np.abs(soundspeed.sound_speed(celsius, salinity) - exact).max() < 0.25


def test_fresh_water_against_teos_10():
    gsw = pytest.importorskip("gsw", exc_type=ImportError)  # may be built for another Python
    celsius = np.arange(0.0, 31.0, 0.5)
    assert np.abs(soundspeed.sound_speed(celsius) - gsw.sound_speed_t_exact(0.0, celsius, 0.0)).max() < 0.05


def test_the_two_formulas_meet_at_the_limit_of_fresh_water():
    fresh, brackish = (soundspeed.sound_speed(15.0, s) for s in (0.5, 0.500001))
    assert 0 < brackish - fresh < 0.8  # 0.5 g/kg of salt is worth 0.5 to 0.7 m/s


def test_ratio_of_a_display_set_to_1500():
    # displayed 50 m at 1500 m/s in 10 degree water is 48.24297 m; depth 10 is 9.64859 m
    sound = soundspeed.sound_in(10.0, 0.0, 1500.0)
    assert 50 * sound.ratio == pytest.approx(48.24297, abs=1e-4)
    assert 10 * sound.ratio == pytest.approx(9.64859, abs=1e-4)
    assert "1500" in sound.note and "Marczak" in sound.note


@pytest.mark.parametrize("assumed", [None, 1463.04])
def test_ratio_is_one_without_a_temperature(assumed):
    sound = soundspeed.sound_in(None, 0.0, assumed)
    assert sound.ratio == 1.0 and np.isnan(sound.speed_mps)
    assert "ratio 1" in sound.note


def test_ratio_is_one_without_the_display_speed():
    sound = soundspeed.sound_in(20.0)
    assert sound.ratio == 1.0
    assert sound.speed_mps == pytest.approx(1482.380, abs=1e-3)


@pytest.mark.parametrize("assumed, words", [(4800.0, "1463.04 m/s"), (150.0, "1300 to 1700"), (-1500.0, "1300")])
def test_an_impossible_display_speed_is_refused(assumed, words):
    with pytest.raises(InputError, match=words):
        soundspeed.sound_in(10.0, 0.0, assumed)


@pytest.mark.parametrize("salinity", [-0.1, 43.0, float("nan")])
def test_an_impossible_salinity_is_refused(salinity):
    with pytest.raises(InputError, match="salinity"):
        soundspeed.sound_speed(10.0, salinity)
