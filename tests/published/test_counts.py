"""Exact limits of a Poisson mean against the published table and against the sums that define them."""
import math

import pytest
from athwart.survey.uncertainty.counts import poisson_interval

GARWOOD = {0: (0.0, 3.69), 1: (0.0253, 5.57), 2: (0.242, 7.22), 3: (0.619, 8.77), 4: (1.09, 10.24), 5: (1.62, 11.67),
           6: (2.20, 13.06), 8: (3.45, 15.76), 10: (4.80, 18.39), 15: (8.40, 24.74), 20: (12.22, 30.89),
           25: (16.18, 36.90), 30: (20.24, 42.83), 50: (37.11, 65.92)}
"""95 % limits: E. S. Pearson and H. O. Hartley, Biometrika Tables for Statisticians 1, table 40, after Garwood 1936;
from memory, to the places printed."""


@pytest.mark.parametrize("count", GARWOOD)
def test_limits_are_those_of_the_table(count):
    for found, printed in zip(poisson_interval(count), GARWOOD[count]):
        digits = len(str(printed).split(".")[1])
        assert abs(found - printed) <= 0.51 * 10 ** -digits


@pytest.mark.parametrize("count", [0, 1, 2, 7, 29, 140, 1000])
@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
def test_a_mean_at_a_limit_leaves_just_the_tail(count, confidence):
    """By adding the probabilities up: so many events or more at the low limit, so many or fewer at the high one."""
    low, high = poisson_interval(count, confidence)

    def below(mean, most):
        return math.fsum(math.exp(n * math.log(mean) - mean - math.lgamma(n + 1)) for n in range(most + 1))
    tail = (1 - confidence) / 2
    assert below(high, count) == pytest.approx(tail, rel=1e-6)
    if count:
        assert 1 - below(low, count - 1) == pytest.approx(tail, rel=1e-5)
    else:
        assert low == 0


@pytest.mark.parametrize("count", [-1, 1.5, float("nan")])
def test_what_is_no_count(count):
    with pytest.raises(ValueError):
        poisson_interval(count)
