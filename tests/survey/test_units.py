"""Units against their definitions: international yard and pound agreement of 1959, nautical mile of 1929."""
import numpy as np
import pytest
from athwart.survey.model import units
from athwart.survey.model.errors import InputError


@pytest.mark.parametrize("value, unit, metres", [(1, "ft", 0.3048), (1, "yd", 0.9144), (1, "fathom", 1.8288),
                                                 (2.5, "m", 2.5), (100, "ft", 30.48)])
def test_lengths_are_exact(value, unit, metres):
    assert units.metres(value, unit) == pytest.approx(metres, rel=1e-15)


@pytest.mark.parametrize("value, unit, speed", [(3.6, "km/h", 1.0), (1, "kn", 0.5144444444444445),
                                                (1, "mph", 0.44704), (2, "m/s", 2.0)])
def test_speeds_are_exact(value, unit, speed):
    assert units.metres_per_second(value, unit) == pytest.approx(speed, rel=1e-15)


@pytest.mark.parametrize("value, unit, celsius", [(32, "F", 0.0), (50, "F", 10.0), (104, "F", 40.0), (40, "C", 40.0)])
def test_temperatures(value, unit, celsius):
    assert units.celsius(value, unit) == pytest.approx(celsius, abs=1e-12)


@pytest.mark.parametrize("value, unit, words", [(68, "C", "choose F"), (105, "F", "105 degrees F"), (-5, "C", "-5")])
def test_what_no_water_can_be_is_refused(value, unit, words):
    with pytest.raises(InputError, match=words):
        units.celsius([39.0, value], unit)


def test_arrays_keep_their_gaps():
    assert np.array_equal(units.metres([1.0, np.nan], "ft"), [0.3048, np.nan], equal_nan=True)
    assert np.isnan(units.celsius([np.nan], "F")[0])


@pytest.mark.parametrize("call", [units.metres, units.metres_per_second, units.celsius])
def test_unknown_units_are_named(call):
    with pytest.raises(InputError, match="furlong"):
        call(1.0, "furlong")
