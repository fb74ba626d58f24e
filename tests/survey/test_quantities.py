"""Messages read in feet: every length, way and area; names, speeds and bare numbers stay.

NIST SP 811 (2008), B.8: 1 ft is 0.3048 m exactly, a mile 5280 ft; an acre is 43 560 ft2.
"""
import re

import numpy as np
import pytest
from athwart.survey.model.quantities import in_feet


@pytest.mark.parametrize("said, read", [
    ("A range of 24.384 m is short.", "A range of 80 ft is short."),
    ("give 1 to 50 m, or -18.288 m", "give 3.3 to 164 ft, or -60 ft"),
    ("cells of 0.25 m", "cells of 0.82 ft"), ("(6.2 m off)", "(20 ft off)"), ("only 5 metres.", "only 16.4 ft."),
    ("Missed 10 m2; 40469 m2 wanted", "Missed 108 ft2; 10.00 acres wanted"),
    ("1.61 of 16.09 km of the log", "1.00 of 10.00 miles of the log"),
    ("1e+03 m wide", "3281 ft wide"), ("between 3 and 6 m", "between 9.8 and 19.7 ft")])
def test_figures_are_read_in_feet(said, read):
    assert in_feet(said) == read


@pytest.mark.parametrize("said", [
    "at 2 m/s in 3 min", "12 of 40 samples", "'Bay 3 m' is no layer", "passes 3 and 4", "near 304640, 4480440",
    "track's 5 marks", "m = 3", "12 mm"])
def test_what_is_no_length_stays(said):
    assert in_feet(said) == said


def test_no_figure_is_coarser_than_it_was():
    """Read back, a length is off by 0.05 ft at most, or half a foot where it is large."""
    for metres in np.random.default_rng(5).uniform(0.1, 900, 300):
        told = f"{metres:.1f} m"
        feet = float(re.fullmatch(r"([\d.]+) ft", in_feet(told)).group(1))
        assert abs(feet * 0.3048 - float(told[:-2])) <= (0.5 if feet >= 20 else 0.05) * 0.3048 + 1e-9
