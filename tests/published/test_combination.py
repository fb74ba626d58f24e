"""Combining repeated measurements: textbook weighted means, gates and chi-square values."""
import numpy as np
import pytest
from athwart.survey.adjustment.association import GATE, group_by_gate
from athwart.survey.adjustment.least_squares import adjust
from athwart.survey.adjustment.looks import OUTING_ERRORS, PASS_ERRORS, RepeatedLooks
from athwart.survey.uncertainty.chisquare import chi_square_quantile


def looks_at(places, covariances, bias=0.0):
    """Looks without geometry, one a pass: only their places, own errors and one bias of the outing."""
    n = len(places)
    zero = np.zeros(n)
    outing = np.zeros((n, len(OUTING_ERRORS)))
    outing[:, :2] = bias
    return RepeatedLooks(np.array(places, float), np.array(covariances, float), np.arange(n), np.zeros(n, int),
                         np.zeros((n, len(PASS_ERRORS))), outing, np.zeros((n, 6)), zero, zero, zero, np.ones(n), zero,
                         zero, np.zeros((n, 2)), zero, zero, zero)


CASES = [
    # two estimates at right angles (weighted least squares)
    ([(0, 0), (2, 1)], [np.diag([4, 1]), np.diag([1, 4])], (1.6, 0.2), [[0.8, 0], [0, 0.8]], 1.0),
    ([(100, 200), (103, 198)], [[[9, 4], [4, 4]], [[4, -1], [-1, 6]]], (101.52066116, 200.03305785),
     [[2.37190083, 0.59504132], [0.59504132, 1.75206612]], 1.47107438),
    ([(100, 200), (103, 198), (101, 201)], [[[9, 4], [4, 4]], [[4, -1], [-1, 6]], np.diag([2, 2])],
     (101.31513903, 200.43460350), [[1.06488157, 0.14830072], [0.14830072, 0.91040165]], 1.82646756),
    # scalars 10 (variance 4) and 13 (variance 1), in both axes
    ([(10, 10), (13, 13)], [4 * np.eye(2), np.eye(2)], (12.4, 12.4), 0.8 * np.eye(2), 2 * 1.8)]


@pytest.mark.parametrize("places, covariances, mean, covariance, chi2", CASES)
def test_weighted_mean_its_covariance_and_consistency(places, covariances, mean, covariance, chi2):
    found = adjust(looks_at(places, covariances), np.zeros(len(places), int))
    assert found.place[0] == pytest.approx(mean, abs=1e-7)
    assert found.covariance[0] == pytest.approx(np.array(covariance), abs=1e-7)
    assert found.chi2 == pytest.approx(chi2, abs=1e-7)
    assert found.dof == 2 * (len(places) - 1)


def test_a_bias_that_all_share_stays_whole():
    """sqrt(bias^2 + white^2 / n): 1.5 and 2 with four looks give 1.802776, not 1.0."""
    found = adjust(looks_at([(0, 0), (1, 0), (0, 1), (1, 1)], [4 * np.eye(2)] * 4, bias=1.5), np.zeros(4, int))
    assert np.sqrt(np.diag(found.covariance[0])) == pytest.approx(1.802776, abs=1e-6)


@pytest.mark.parametrize("probability, dof, value", [
    (0.95, 2, 5.9915), (0.99, 2, 9.2103), (0.9973, 2, 11.8290), (0.999, 2, 13.8155), (0.95, 1, 3.8415),
    (0.95, 4, 9.4877)])
def test_chi_square_gates(probability, dof, value):
    assert chi_square_quantile(probability, dof) == pytest.approx(value, abs=1e-4)


def test_the_gate_stands_at_13_8155():
    """Two looks of unit covariance: d^2 is half their squared distance."""
    for squared, groups in ((13.81, 1), (13.82, 2)):
        looks = looks_at([(0, 0), (np.sqrt(2 * squared), 0)], [np.eye(2)] * 2)
        assert group_by_gate(looks, GATE).max() + 1 == groups


def test_what_looks_share_does_not_part_them():
    """A bias of 100 m common to both takes nothing from the gate: C1 + C2 - C12 - C21 holds own errors only."""
    for squared, groups in ((13.81, 1), (13.82, 2)):
        looks = looks_at([(0, 0), (np.sqrt(2 * squared), 0)], [np.eye(2)] * 2, bias=100.0)
        assert group_by_gate(looks, GATE).max() + 1 == groups


def test_a_third_look_is_gated_against_the_mean_of_two():
    """Variance 1 of the look and 1/2 of the mean; the bias of 100 m is in both and counts in neither."""
    for squared, groups in ((13.81, 1), (13.82, 2)):
        looks = looks_at([(0, 0), (0, 0), (np.sqrt(1.5 * squared), 0)], [np.eye(2)] * 3, bias=100.0)
        assert group_by_gate(looks, GATE).max() + 1 == groups
