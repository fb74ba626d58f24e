"""Depth maps to depths, and maps that are not what they are said to be."""
import numpy as np
import pytest
from athwart.survey.bottom.bathymetry import DepthConversion, judged, nice_cell, refuse_other_unit
from athwart.survey.model.errors import InputError


@pytest.mark.parametrize("conversion, value, depth", [
    (DepthConversion("depth", "m"), 7.5, 7.5), (DepthConversion("depth", "ft"), 10.0, 3.048),
    (DepthConversion("depth", "fathom"), 5.0, 9.144), (DepthConversion("depth", "yd", None, 1.0), 10.0, 10.0584),
    (DepthConversion("elevation", "m", 332.9), 320.0, 12.9),
    (DepthConversion("elevation", "ft", 1092.0, -2.0), 1072.0, 5.4864),
    (DepthConversion("elevation", "m", 0.0), -8.25, 8.25), (DepthConversion("elevation", "m", 332.9), 340.0, -7.1)])
def test_depths(conversion, value, depth):
    assert conversion.depths([value])[0] == pytest.approx(depth, abs=1e-9)
    assert conversion.depths([conversion.shore])[0] == pytest.approx(abs(conversion.scale) * conversion.rise)
    assert np.isnan(conversion.depths([np.nan])[0])


@pytest.mark.parametrize("given, words", [
    ((None, "m"), "kind"), (("height", "m"), "kind"), (("depth", None), "unit"), (("depth", "miles"), "unit"),
    (("elevation", "m"), "surface"), (("depth", "m", 3.0), "surface")])
def test_facts_have_no_default(given, words):
    with pytest.raises(InputError, match=words):
        DepthConversion(*given)


def lake(deepest=20.0, count=2000):
    return np.linspace(0, deepest, count)


def test_a_good_map_is_told_in_one_sentence():
    assert "half of the water is deeper than 10.0 m, the deepest place 20.0 m" in judged(
        lake(), DepthConversion("depth", "m"), "It")
    judged(332.9 - lake(), DepthConversion("elevation", "m", 332.9), "It")
    judged(np.append(332.9 - lake(), lake(300) + 333), DepthConversion("elevation", "m", 332.9), "It")
    judged(np.append(lake(), np.full(900, -40.0)), DepthConversion("depth", "m"), "It")  # some land


@pytest.mark.parametrize("values, conversion, words", [
    (-lake(), DepthConversion("depth", "m"), "negative down"),
    (332.9 + lake(300) + 1, DepthConversion("elevation", "m", 332.9), "all above the water"),
    (332.9 - lake(), DepthConversion("elevation", "m", 101.47), "all above the water"),
    (332.9 - lake(), DepthConversion("elevation", "m", 1092.2), "In ft it would be 332.9 m, which fits"),
    (332.9 - lake(), DepthConversion("elevation", "m", 500.0), "far below the water"),
    (np.append(np.full(5000, 332.93), 332.9 - lake()), DepthConversion("elevation", "m", 332.9),
     "surface of the water"),
    (lake(9000), DepthConversion("depth", "m"), "1642"), (lake(1000), DepthConversion("depth", "fathom"), "1642"),
    (np.full(9, np.nan), DepthConversion("depth", "m"), "nodata"),
    (np.zeros(9), DepthConversion("depth", "m"), "no depth above 0")])
def test_what_a_map_is_refused_for(values, conversion, words):
    with pytest.raises(InputError, match=words):
        judged(values, conversion, "The map")


def test_a_map_that_names_another_unit_is_refused():
    for stated, unit in (("ft", "m"), ("US survey foot", "m"), ("metre", "ft"), ("Fathoms", "ft")):
        with pytest.raises(InputError, match=r"Choose unit"):
            refuse_other_unit(stated, unit, "It")
    for stated, unit in (("", "m"), ("ft", "ft"), ("counts", "m"), ("metres", "m")):
        refuse_other_unit(stated, unit, "It")


@pytest.mark.parametrize("length, cell", [(1900, 1.0), (40_000, 20.0), (200, 0.5), (3000, 2.0), (7300, 5.0)])
def test_round_cells(length, cell):
    assert nice_cell(length) == pytest.approx(cell)
