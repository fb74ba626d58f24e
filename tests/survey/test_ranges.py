"""Behaviour of the range formulas at their edges, and properties that hold everywhere."""
import numpy as np
import pytest
from athwart.survey.beams import ranges
from athwart.survey.model.errors import InputError
from hypothesis import assume, given
from hypothesis import strategies as st

METRES = st.floats(0.1, 200)


def test_arrays_scalars_and_unknowns():
    ground = ranges.ground_range([50, 5, np.nan, 20], [10, 10, 1, np.nan])
    np.testing.assert_allclose(ground, [np.sqrt(2400), np.nan, np.nan, np.nan])
    assert isinstance(ranges.ground_range(5, 3), float)
    assert ranges.ground_range(np.full((2, 1), 5.0), np.full(3, 3.0)).shape == (2, 3)
    assert np.isnan(ranges.ground_range(5, 6, "subtract"))


def test_unknown_models_are_named():
    with pytest.raises(InputError, match="'guess' is not one of slant, subtract"):
        ranges.ground_range(5, 3, "guess")


def test_blind_range():
    assert ranges.blind_range(10, 45) == pytest.approx(10)
    assert ranges.blind_range(10, 0) == 0
    np.testing.assert_allclose(ranges.blind_range([1, 2], 20), [0.3639702, 0.7279405], atol=1e-6)


@given(METRES, METRES)
def test_slant_and_ground_are_inverse_and_the_rule_of_thumb_is_short(slant, depth):
    assume(slant >= depth)
    ground = ranges.ground_range(slant, depth)
    assert ranges.slant_range(ground, depth) == pytest.approx(slant, rel=1e-12)
    assert ranges.ground_range(slant, depth, "subtract") <= ground + 1e-12


@given(METRES, METRES, st.floats(0.3, 3.3))
def test_scale(slant, depth, scale):
    one, many = ranges.ground_range(slant, depth), ranges.ground_range(slant * scale, depth * scale)
    assume(np.isfinite(one) and np.isfinite(many))
    assert many == pytest.approx(scale * one, rel=1e-9, abs=1e-5)


@given(st.floats(1, 40), st.floats(0.05, 0.9), st.floats(1, 100))
def test_shadow_of_a_made_up_object(depth, share, ground):
    # an object of height share * depth at ground: the ray over its top meets the bottom at ground / (1 - share)
    height = share * depth
    start = np.hypot(ground, depth - height)
    end = np.hypot(ground / (1 - share), depth)
    assert ranges.shadow_height(depth, start, end) == pytest.approx(height, rel=1e-9)
    assert ranges.ground_range_behind_shadow(depth, start, end) == pytest.approx(ground, rel=1e-6)


def test_slopes_agree_with_differences():
    by_slant, by_depth = ranges.slope_of_ground_range(np.array([30.0, 60.0]), 12.0)
    step, slant = 1e-6, np.array([30.0, 60.0])
    here = ranges.ground_range(slant, 12)
    np.testing.assert_allclose(by_slant, (ranges.ground_range(slant + step, 12) - here) / step, rtol=1e-5)
    np.testing.assert_allclose(by_depth, (ranges.ground_range(slant, 12 + step) - here) / step, rtol=1e-5)
    assert np.isinf(ranges.slope_of_ground_range(10, 10)).all()
