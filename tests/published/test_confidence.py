"""Confidence ellipses and circles, and the budget of a pick, against published figures."""
import math

import numpy as np
import pytest
from athwart.survey.uncertainty import ellipses


def crossing(s1, s2, angle_deg):
    """Covariance of the point where two lines cross, the first along x, each with an error across itself.

    Hoover's model: line 1 fixes y; line 2 fixes y cos(angle) - x sin(angle).
    """
    a = math.radians(angle_deg)
    design = np.array([[0.0, 1.0], [-math.sin(a), math.cos(a)]])
    return np.linalg.inv(design.T @ np.diag([s1**-2.0, s2**-2.0]) @ design)


# Hoover, Algorithms for Confidence Circles and Ellipses, NOAA Technical Report NOS 107 C&GS 3 (1984), examples 1 to 3;
# the angle of example 1 is printed 24.56, its other digits give 24.553
@pytest.mark.parametrize("s1, s2, angle, s_x, s_y, theta, r95, area", [
    (2, 1, 30, 4.3778, 0.9137, 24.553, 8.6302, 75.29),
    (1, 1, 30, 2.7321, 0.7321, 15.000, 5.4069, 37.645),
    (1, 1, 90, 1.0, 1.0, None, 2.4477, 18.823),
])
def test_hoover_1984(s1, s2, angle, s_x, s_y, theta, r95, area):
    c = crossing(s1, s2, angle)
    major, minor, azimuth = ellipses.axes(c[0, 0], c[0, 1], c[1, 1])
    assert major == pytest.approx(s_x, abs=1e-3) and minor == pytest.approx(s_y, abs=1e-3)
    if theta is not None:  # Hoover counts from line 1, along x, anticlockwise
        assert 90 - azimuth == pytest.approx(theta, abs=1e-3)
    assert ellipses.circle_radius(major, minor, 0.95) == pytest.approx(r95, abs=1e-3)
    k = ellipses.scale_factor(0.95)
    assert math.pi * k * major * k * minor == pytest.approx(area, abs=1e-2)


# chi-square with two degrees of freedom, tables: k and k^2
@pytest.mark.parametrize("p, k, k2", [
    (0.39347, 1, 1), (0.5, 1.17741, 1.38629), (0.9, 2.14597, 4.60517), (0.95, 2.44775, 5.99146),
    (0.99, 3.03485, 9.21034)])
def test_scale_factor_is_the_root_of_chi_square(p, k, k2):
    assert ellipses.scale_factor(p) == pytest.approx(k, abs=1e-5)
    assert ellipses.scale_factor(p) ** 2 == pytest.approx(k2, abs=2e-5)


def test_iho_s44_prints_2_45():
    # IHO S-44 edition 6.0.0 (2020), 95 % in two dimensions
    assert round(ellipses.scale_factor(0.95), 2) == 2.45


def test_nssda_factors():
    # FGDC-STD-007.3-1998, appendix 3-A: 1.7308 RMSE_r, 2.4477 times the mean of both RMSE
    radius = ellipses.circle_radius(1.0, 1.0, 0.95)
    assert radius == pytest.approx(2.4477, abs=1e-4)
    assert radius / math.sqrt(2) == pytest.approx(1.7308, abs=1e-4)


def test_cep_drms_and_2drms_of_a_circle():
    # National Research Council, The Global Positioning System: A Shared National Asset (1995), appendix D
    cep = ellipses.circle_radius(1.0, 1.0, 0.5)
    assert 2 * math.sqrt(2) / cep == pytest.approx(2.4, abs=0.01)
    assert cep == pytest.approx(0.589 * 2, abs=2e-3)
    assert ellipses.circle_radius(1.0, 1.0, 0.9816844) == pytest.approx(2 * math.sqrt(2), abs=1e-5)  # printed 98.2 %


# radius over the larger standard deviation by the ratio of the smaller: numerical integrals (scipy), after Harter 1960
@pytest.mark.parametrize("ratio, k50, k90, k95, k99", [
    (0.0, 0.67449, 1.64485, 1.95996, 2.57583), (0.2, 0.70585, 1.65731, 1.97041, 2.58377),
    (0.4, 0.80785, 1.69918, 2.00514, 2.60995), (0.5, 0.87042, 1.73708, 2.03586, 2.63257),
    (0.6, 0.93365, 1.79152, 2.08130, 2.66533), (0.8, 1.05769, 1.94716, 2.23029, 2.79069),
    (1.0, 1.17741, 2.14597, 2.44775, 3.03485)])
def test_circles_of_elliptical_errors(ratio, k50, k90, k95, k99):
    found = [ellipses.circle_radius(1.0, ratio, p) for p in (0.5, 0.9, 0.95, 0.99)]
    np.testing.assert_allclose(found, [k50, k90, k95, k99], atol=1.1e-5)


def test_bowditch_1977_table_q6c():
    # American Practical Navigator (1977), volume 1, appendix Q, as quoted: probability and radius over sigma
    for p, radius in ((0.393, 1.0), (0.5, 1.177), (0.75, 1.67), (0.9, 2.15), (0.999, 3.72)):
        assert ellipses.circle_radius(1.0, 1.0, p) == pytest.approx(radius, abs=5e-3)


@pytest.mark.parametrize("c, axes, bearing, k_axes, r95", [
    ((4, 0, 1), (2, 1), 90, (4.895494, 2.447747), None),
    ((9, 4, 4), (3.3491776, 1.3352938), 61.00269, (8.197939, 3.268461), 6.714460)])
def test_worked_covariances(c, axes, bearing, k_axes, r95):
    # eigenvalues and quantiles computed with numpy and scipy
    major, minor, azimuth = ellipses.axes(*map(float, c))
    k = ellipses.scale_factor(0.95)
    np.testing.assert_allclose([major, minor, k * major, k * minor], [*axes, *k_axes], atol=1e-5)
    assert azimuth == pytest.approx(bearing, abs=1e-5)
    if r95 is not None:
        assert ellipses.circle_radius(major, minor, 0.95) == pytest.approx(r95, abs=1e-5)
