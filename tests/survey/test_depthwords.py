"""The depth given with a target: of which place it is, and never more water than there is."""
import math
import re

import pytest
from athwart.survey.model.depthwords import depth_words
from hypothesis import given
from hypothesis import strategies as st


@pytest.mark.parametrize("bottom, boat, words", [
    (7.96, 6.2, "bottom 7.9 m"), (8.3, None, "bottom 8.3 m"), (None, 6.29, "6.2 m under the boat when seen"),
    (math.nan, 6.0, "6.0 m under the boat when seen"), (math.nan, math.nan, ""), (None, None, "")])
def test_of_which_place_it_is(bottom, boat, words):
    assert depth_words(bottom, boat).replace("\u00a0", " ") == words
    assert depth_words(bottom, boat, brief=True).replace("\u00a0", " ") == words.replace(" when seen", "")


@given(st.floats(0.01, 400), st.sampled_from([("m", 1.0), ("ft", 0.3048), ("fathom", 1.8288)]), st.integers(0, 2))
def test_never_shallower_than_said(depth, unit, digits):
    for words in (depth_words(depth, None, *unit, digits), depth_words(None, depth, *unit, digits)):
        said = float(re.search(r"[\d.]+", words)[0]) * unit[1]
        assert said <= depth * (1 + 1e-9) and depth - said <= unit[1] / 10 ** digits
