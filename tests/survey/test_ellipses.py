import math

import numpy as np
import pytest
from athwart.survey.model.errors import InputError
from athwart.survey.uncertainty import ellipses
from hypothesis import given
from hypothesis import strategies as st


def covariance(semi_major, semi_minor, azimuth_deg):
    """Built from its axes: variances along and across a direction clockwise from north."""
    a = np.radians(azimuth_deg)
    along, across = np.array([np.sin(a), np.cos(a)]), np.array([np.cos(a), -np.sin(a)])
    c = semi_major**2 * np.outer(along, along) + semi_minor**2 * np.outer(across, across)
    return c[0, 0], c[0, 1], c[1, 1]


@given(st.floats(0.01, 100), st.floats(0.05, 0.99), st.floats(0, 179.99))
def test_axes_are_those_the_covariance_was_built_from(major, ratio, azimuth):
    found = ellipses.axes(*covariance(major, ratio * major, azimuth))
    assert found[0] == pytest.approx(major, rel=1e-9)
    assert found[1] == pytest.approx(ratio * major, rel=1e-6)
    assert abs((found[2] - azimuth + 90) % 180 - 90) < 1e-5


def test_azimuth_is_at_least_0_and_under_180():
    azimuth = ellipses.axes(*np.array([covariance(2, 1, a) for a in (0, -1e-15, 180 - 1e-14, 90, 135)]).T)[2]
    assert ((azimuth >= 0) & (azimuth < 180)).all()


def test_axes_are_the_eigenvalues_of_numpy():
    rng = np.random.default_rng(5)
    root = rng.normal(size=(200, 2, 2))
    c = root @ np.swapaxes(root, 1, 2)
    major, minor, _ = ellipses.axes(c[:, 0, 0], c[:, 0, 1], c[:, 1, 1])
    values = np.linalg.eigvalsh(c)
    np.testing.assert_allclose(np.column_stack([minor, major]) ** 2, values, rtol=1e-9, atol=1e-12)


def test_a_line_and_a_point_have_no_width():
    assert ellipses.axes(1.0, 1.0, 1.0)[1] == pytest.approx(0, abs=1e-7)
    assert tuple(ellipses.axes(0.0, 0.0, 0.0)) == (0, 0, 0)
    assert ellipses.circle_radius(0.0, 0.0, 0.95) == 0


@pytest.mark.parametrize("ratio", [0.0, 0.07, 0.3, 0.55, 0.9])
@pytest.mark.parametrize("confidence", [0.5, 0.95, 0.99])
def test_the_circle_holds_its_share_of_a_million_draws(ratio, confidence):
    draws = np.random.default_rng(11).normal(size=(1_000_000, 2)) * [1, ratio]
    inside = (np.hypot(*draws.T) <= ellipses.circle_radius(1.0, ratio, confidence)).mean()
    assert inside == pytest.approx(confidence, abs=0.0012)  # five standard errors at 50 %, more elsewhere


@pytest.mark.parametrize("confidence", [0.10, 0.3934693, 0.683, 0.9, 0.9999])
def test_the_circle_against_an_integral_over_strips(confidence):
    """P(K) as the sum over x of the normal density times the mass of y within the circle: another way round."""
    erf = np.vectorize(math.erf)
    for ratio in (0.02, 0.2, 0.6, 1.0):
        radius = ellipses.circle_radius(1.0, ratio, confidence)
        t = (np.arange(20_000) + 0.5) * np.pi / 20_000 - np.pi / 2
        x, dx = radius * np.sin(t), radius * np.cos(t) * np.pi / 20_000
        mass = (np.exp(-x * x / 2) / np.sqrt(2 * np.pi) * erf(radius * np.cos(t) / ratio / np.sqrt(2)) * dx).sum()
        assert mass == pytest.approx(confidence, abs=3e-6)


def test_outlines_have_their_axes_and_azimuth():
    ring = ellipses.rings([100.0], [200.0], [5.0], [2.0], [30.0], points=360)[0] - [100, 200]
    along = ring @ [np.sin(np.radians(30)), np.cos(np.radians(30))]
    across = ring @ [np.cos(np.radians(30)), -np.sin(np.radians(30))]
    np.testing.assert_allclose((along / 5) ** 2 + (across / 2) ** 2, 1, rtol=1e-12)
    assert along.max() == pytest.approx(5, rel=1e-4) and across.max() == pytest.approx(2, rel=1e-4)


@pytest.mark.parametrize("confidence", [0, 1, 0.05, 95, -0.5, float("nan")])
def test_impossible_confidences_are_refused_with_a_remedy(confidence):
    for call in (lambda: ellipses.scale_factor(confidence), lambda: ellipses.circle_radius(1.0, 0.5, confidence)):
        with pytest.raises(InputError, match="between 10 and 99.99, usually 95"):
            call()
