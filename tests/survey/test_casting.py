"""Chance of a cast against scipy's noncentral chi-square and simulated casts; the greedy pattern against all at the
centre."""
import math

import numpy as np
import pytest
from athwart.survey.casts.casting import chance_of_casts, circle_probability, pattern, thrower
from athwart.survey.uncertainty.chisquare import chi_square_cdf, chi_square_quantile, normal_cdf


def round_scatter(sd):
    """A caster who scatters alike in every direction."""
    return lambda aim: sd ** 2 * np.eye(2)


def ellipse(major, minor, turn_deg):
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    turn = np.array([[c, -s], [s, c]])
    return turn @ np.diag([major ** 2, minor ** 2]) @ turn.T


def simulated(rng, covariance, scatter, aims, radius, count=1_000_000):
    """Share of visits on which at least one of the casts so far lands within the radius, after each cast."""
    target = rng.standard_normal((count, 2)) @ np.linalg.cholesky(covariance).T
    hit, found = np.zeros(count, bool), []
    for aim in aims:
        landing = aim + rng.standard_normal((count, 2)) @ np.linalg.cholesky(scatter(aim)).T
        hit |= np.sum((landing - target) ** 2, axis=1) < radius ** 2
        found.append(hit.mean())
    return np.array(found)


def test_chi_square_and_normal_integral_are_scipys():
    stats = pytest.importorskip("scipy.stats")
    for dof in (1, 2, 3, 10, 42, 500, 8000):
        for p in (0.001, 0.025, 0.5, 0.975, 0.999):
            assert chi_square_quantile(p, dof) == pytest.approx(stats.chi2.ppf(p, dof), rel=1e-9)
            x = stats.chi2.ppf(p, dof)
            assert chi_square_cdf(x, dof) == pytest.approx(p, abs=1e-11)
    assert chi_square_cdf(0.0, 3) == 0
    z = np.linspace(-10, 10, 1001)
    assert np.abs(normal_cdf(z) - stats.norm.cdf(z)).max() < 4e-8


@pytest.mark.parametrize("sd", [0.05, 0.5, 1.0, 3.0])
def test_offset_circle_is_the_noncentral_chi_square(sd):
    stats = pytest.importorskip("scipy.stats")
    offset = np.linspace(0, 8, 41)
    found = circle_probability(sd ** 2 * np.eye(2), 1.5, np.column_stack([offset, 0 * offset]))
    wanted = stats.ncx2.cdf((1.5 / sd) ** 2, 2, (offset / sd) ** 2)
    assert np.abs(found - wanted).max() < 1e-6


def test_elliptical_circle_is_the_double_integral_whatever_way_the_ellipse_lies():
    integrate = pytest.importorskip("scipy.integrate")
    cov, radius, offset = ellipse(3, 0.7, 25), 2.0, np.array([1.3, -0.4])
    inverse, scale = np.linalg.inv(cov), 1 / (2 * math.pi * math.sqrt(np.linalg.det(cov)))

    def density(phi, r):
        point = offset + r * np.array([math.cos(phi), math.sin(phi)])
        return r * scale * math.exp(-0.5 * point @ inverse @ point)
    wanted = integrate.dblquad(density, 0, radius, 0, 2 * math.pi, epsabs=1e-9)[0]
    assert circle_probability(cov, radius, offset) == pytest.approx(wanted, abs=1e-6)


@pytest.mark.parametrize("offset, wanted", [((0, 0), 1.0), ((1.4, 0), 1.0), ((0, 1.6), 0.0)])
def test_a_sure_thing_is_sure(offset, wanted):
    assert circle_probability(np.zeros((2, 2)), 1.5, offset) == pytest.approx(wanted, abs=1e-6)


@pytest.mark.parametrize("covariance, scatter, radius", [
    (ellipse(2, 2, 0), round_scatter(1.0), 1.5),
    (ellipse(4, 1, 60), thrower([14.0, 14.0], 1.2, 4.0), 1.5),
    (ellipse(1.5, 0.5, 110), thrower([-8.0, 3.0], 0.4, 2.0), 0.8)])
def test_pattern_against_a_million_simulated_casts(covariance, scatter, radius):
    made = pattern(covariance, radius, scatter)
    aims = made.aims[:8]
    found = simulated(np.random.default_rng(7), covariance, scatter, aims, radius)
    assert np.abs(found - made.so_far[:8]).max() < 0.003
    one = simulated(np.random.default_rng(8), covariance, scatter, [aims[-1]], radius)[0]
    assert one == pytest.approx(made.alone[len(aims) - 1], abs=0.003)


def test_the_first_cast_goes_to_the_middle_and_has_the_closed_chance():
    cov = ellipse(3, 1, 40)
    made = pattern(cov, 1.5, thrower([0.0, 20.0], 1.0, 3.0))
    assert made.aims[0] == pytest.approx([0, 0], abs=1e-12)
    total = cov + np.diag([(20 * math.radians(3)) ** 2, 1.0])
    assert made.alone[0] == pytest.approx(circle_probability(total, 1.5), abs=2e-4)


def test_casts_at_one_target_are_not_independent_tries():
    """The textbook slip 1 - (1 - p)^n counts the target's error as fresh for each cast."""
    made = pattern(4 * np.eye(2), 1.5, round_scatter(1.0))
    slip = 1 - (1 - made.alone[0]) ** np.arange(1, len(made.aims) + 1)
    centred = chance_of_casts(4 * np.eye(2), 1.5, round_scatter(1.0), np.zeros((20, 2)))
    assert centred[10] == pytest.approx(0.617, abs=0.002) and slip[10] > 0.9
    # with a target that is known, they are
    known = chance_of_casts(1e-12 * np.eye(2), 1.5, round_scatter(2.0), np.zeros((5, 2)))
    assert known == pytest.approx(1 - (1 - known[0]) ** np.arange(1, 6), abs=1e-6)


def test_the_pattern_earns_its_keep():
    made = pattern(4 * np.eye(2), 1.5, round_scatter(1.0))
    centred = chance_of_casts(4 * np.eye(2), 1.5, round_scatter(1.0), np.zeros((11, 2)))
    assert made.so_far[10] > centred[10] + 0.10


def test_the_pattern_is_never_worse_than_all_casts_at_the_middle():
    for seed in range(16, 24):
        rng = np.random.default_rng(seed)
        cov, radius = ellipse(rng.uniform(0.2, 6), rng.uniform(0.2, 6), rng.uniform(0, 180)), rng.uniform(0.5, 3)
        scatter = thrower(rng.uniform(-20, 20, 2), rng.uniform(0.2, 3), rng.uniform(0.5, 8))
        made = pattern(cov, radius, scatter, limit=10)
        centred = chance_of_casts(cov, radius, scatter, np.zeros((len(made.aims), 2)))
        assert (made.so_far > centred - 0.001).all(), seed


def test_it_stops_at_the_goal_and_says_when_fifty_casts_are_not_enough():
    made = pattern(np.eye(2), 1.5, round_scatter(0.5))
    assert made.needed == len(made.aims) and made.so_far[-1] >= 0.9 > made.so_far[-2]
    far = pattern(400 * np.eye(2), 1.5, round_scatter(1.0))
    assert far.needed is None and len(far.aims) == 50 and far.so_far[-1] < 0.9
    assert (np.diff(far.so_far) > 0).all()


def test_no_cast_is_aimed_where_it_cannot_go():
    made = pattern(ellipse(5, 5, 0), 1.5, round_scatter(1.0), reachable=lambda p: p[..., 1] <= 1.0)
    assert (made.aims[:, 1] <= 1.0).all() and made.aims[:, 1].min() < -3


def test_scatter_of_a_cast_lies_along_and_across_it():
    rng = np.random.default_rng(5)
    distance = 25 + rng.normal(0, 1.5, 400_000)
    bearing = np.radians(130 + rng.normal(0, 4, 400_000))
    landed = np.cov(distance * np.sin(bearing), distance * np.cos(bearing))
    toward = 25 * np.array([math.sin(math.radians(130)), math.cos(math.radians(130))])
    assert np.abs(thrower(toward, 1.5, 4.0)(np.zeros(2)) - landed).max() < 0.03
    nearer = thrower(toward, 1.5, 4.0)(-toward * 0.4)
    assert np.linalg.eigvalsh(nearer)[0] == pytest.approx((15 * math.radians(4)) ** 2)
    assert np.isfinite(thrower([0.0, 0.0], 1.0, 3.0)(np.zeros(2))).all()


def test_turning_everything_changes_nothing():
    a = math.radians(37)
    turn = np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
    cov, toward = ellipse(3, 1, 20), np.array([5.0, 18.0])
    plain = pattern(cov, 1.5, thrower(toward, 1.0, 4.0))
    turned = pattern(turn @ cov @ turn.T, 1.5, thrower(turn @ toward, 1.0, 4.0))
    assert turned.needed == plain.needed
    assert turned.so_far == pytest.approx(plain.so_far, abs=1e-6)
