"""Ground ranges near the nadir against their density, summed up by brute force."""
import numpy as np
import pytest
from athwart.survey.uncertainty.nadir import NEAR_NADIR, SIDE_UNSURE, from_square

X = np.linspace(0, 8, 400_001)


def summed(t):
    """(mean, 95 % point) of x >= 0 whose density is that of a normal x^2 about t with deviation 1."""
    density = np.exp(-0.5 * np.square(np.square(X) - t) + 0.5 * min(t, 0) ** 2)
    share = np.cumsum(density)
    return (X * density).sum() / share[-1], X[np.searchsorted(share, 0.95 * share[-1])]


@pytest.mark.parametrize("sd", [1.0, 9.0])
@pytest.mark.parametrize("t", [-6.0, -3.0, -1.0, 0.0])
def test_bounds_near_the_nadir_are_those_of_the_density(t, sd):
    """The density falls all the way, so the shortest interval begins at the track; on a known side it is never shorter
    than the interval of the square, mapped."""
    mean, end = summed(t)
    one = np.ones(1)
    known = from_square(sd * t * one, 0 * one, sd**2 * one)
    assert known.ground / np.sqrt(sd) == pytest.approx([mean], abs=2e-3) and known.low.tolist() == [0]
    assert known.high / np.sqrt(sd) == pytest.approx([max(end, np.sqrt(max(t + 1.959964, 0)))], abs=5e-3)
    unsure = from_square(sd * t * one, 0 * one, sd**2 * one, sided=one < 0)
    assert unsure.ground.tolist() == [0] and unsure.high / np.sqrt(sd) == pytest.approx([end], abs=5e-3)
    assert known.status.tolist() == [NEAR_NADIR] and unsure.status.tolist() == [SIDE_UNSURE]
