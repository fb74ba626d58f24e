"""Probability of landing within a circle, against printed and recomputed tables."""
import numpy as np
import pytest
from athwart.survey.casts.casting import circle_probability

# Bowditch, American Practical Navigator (1977), vol. 1, app. Q, table 6c, as quoted publicly: radius over one sigma
BOWDITCH = [(39.3, 1.0), (50.0, 1.177), (75.0, 1.67), (90.0, 2.15), (99.9, 3.72)]

# noncentral chi-square with 2 degrees of freedom (Rice); d/s then P for R/s = 0.5, 1, 2, 3, 4; recomputed with scipy
OFFSET = [(0, 0.11750, 0.39347, 0.86466, 0.98889, 0.99966), (1, 0.07347, 0.26712, 0.73099, 0.95628, 0.99711),
          (2, 0.01793, 0.08189, 0.39650, 0.78564, 0.96587), (3, 0.00170, 0.01083, 0.11328, 0.43252, 0.80349)]

# radius over the larger sd that holds a probability, for the ratio of the sds (Hoover 1984, recomputed)
ELLIPTICAL = [(0.0, 0.5, 0.67449), (0.0, 0.95, 1.95996), (0.2, 0.5, 0.70585), (0.4, 0.9, 1.69918),
              (0.5, 0.95, 2.03586), (0.6, 0.99, 2.66533), (0.8, 0.5, 1.05769), (0.8, 0.95, 2.23029),
              (1.0, 0.5, 1.17741), (1.0, 0.99, 3.03485)]


@pytest.mark.parametrize("percent, radius", BOWDITCH)
def test_centred_circle(percent, radius):
    assert 100 * circle_probability(np.eye(2), radius) == pytest.approx(percent, abs=0.21)  # radii are printed rounded
    assert circle_probability(np.eye(2), radius) == pytest.approx(1 - np.exp(-radius ** 2 / 2), abs=1e-6)


@pytest.mark.parametrize("row", OFFSET, ids=lambda row: f"offset {row[0]}")
def test_offset_circle(row):
    found = [circle_probability(np.eye(2), radius, (row[0], 0)) for radius in (0.5, 1, 2, 3, 4)]
    assert found == pytest.approx(row[1:], abs=1e-5)


@pytest.mark.parametrize("ratio, probability, radius", ELLIPTICAL)
def test_centred_circle_of_an_elliptical_error(ratio, probability, radius):
    assert circle_probability(np.diag([1, ratio ** 2]), radius) == pytest.approx(probability, abs=1e-5)


@pytest.mark.parametrize("sds, radius, offset, probability", [
    ((3, 1), 3, (0, 0), 0.64910), ((3, 1), 3, (2, 0), 0.55106), ((3, 1), 3, (0, 2), 0.45158),
    ((2, 1), 2, (0, 0), 0.59010), ((2, 1), 4, (0, 0), 0.94545)])
def test_elliptical_error_and_offset(sds, radius, offset, probability):
    assert circle_probability(np.diag(np.square(sds)), radius, offset) == pytest.approx(probability, abs=1e-5)
