"""Verdict on the cells of a raster of looks."""
import numpy as np
import pytest
from athwart.survey.errors import InputError
from athwart.survey.looks.seen import HIDDEN, WEAK, codes

NAN = np.nan
BANDS = {"looks": [[0, 1, 2, 3, NAN, 0, 2]],
         "smallest_object": [[NAN, 0.4, 1.0, 1.01, NAN, NAN, NAN]],
         "hidden": [[0, 0, 0, 0, NAN, 1, 0]]}


def test_looks_are_capped_at_those_asked_for():
    assert codes(BANDS, 1).tolist() == [[0, 1, 1, 1, 0, HIDDEN, 1]]
    assert codes(BANDS, 2).tolist() == [[0, 1, 2, 2, 0, HIDDEN, 2]]


def test_detection_asks_for_the_object_as_well():
    assert codes(BANDS, 1, "detection", 1.0).tolist() == [[0, 1, 1, WEAK, 0, HIDDEN, WEAK]]
    assert codes(BANDS, 2, "detection", 1.0).tolist() == [[0, 1, 2, WEAK, 0, HIDDEN, WEAK]]
    assert codes(BANDS, 1, "detection", 0.5).tolist() == [[0, 1, WEAK, WEAK, 0, HIDDEN, WEAK]]


def test_a_side_that_float32_rounds_up_still_counts():
    bands = {name: np.asarray(band, np.float32) for name, band in BANDS.items()}
    bands["smallest_object"][0, 1] = np.nextafter(np.float32(0.3), np.float32(1))
    assert codes(bands, 1, "detection", 0.3)[0, 1] == 1


@pytest.mark.parametrize("asked", [
    (0, "seen", None), (254, "seen", None), (1, "good", None), (1, "detection", None), (1, "detection", 0.0),
    (1, "detection", NAN)])
def test_what_cannot_be_judged_is_refused(asked):
    with pytest.raises(InputError):
        codes(BANDS, *asked)
