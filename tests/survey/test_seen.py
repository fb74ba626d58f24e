"""Verdict on the cells of a raster of looks."""
import numpy as np
import pytest
from athwart.survey.ensonify.grades import HIDDEN, WEAK, codes
from athwart.survey.model.errors import InputError

NAN = np.nan
BANDS = {"looks": [[0, 1, 2, 3, NAN, 0, 2]], "detecting_looks": [[0, 1, 1, 3, NAN, 0, 0]],
         "hidden": [[0, 0, 0, 0, NAN, 1, 0]]}


def test_looks_are_capped_at_those_asked_for():
    assert codes(BANDS, 1).tolist() == [[0, 1, 1, 1, 0, HIDDEN, 1]]
    assert codes(BANDS, 2).tolist() == [[0, 1, 2, 2, 0, HIDDEN, 2]]


def test_detection_counts_looks_that_detect_and_says_where_others_would_do():
    assert codes(BANDS, 1, "detection").tolist() == [[0, 1, 1, 1, 0, HIDDEN, WEAK]]
    assert codes(BANDS, 2, "detection").tolist() == [[0, 1, WEAK + 1, 2, 0, HIDDEN, WEAK]]
    assert codes(BANDS, 3, "detection").tolist() == [[0, 1, 1, 3, 0, HIDDEN, 0]]
    assert codes({**BANDS, "looks": [[126] * 7]}, 126, "detection").max() == WEAK + 3 < HIDDEN


@pytest.mark.parametrize("asked", [(0, "seen"), (127, "seen"), (1, "good")])
def test_what_cannot_be_judged_is_refused(asked):
    with pytest.raises(InputError):
        codes(BANDS, *asked)
