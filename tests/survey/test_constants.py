"""Constants beside published values, and beside what they say of themselves."""
import ast
import pathlib
from statistics import NormalDist

import pytest
from athwart.survey.beams.soundspeed import fresh_water
from athwart.survey.model import constants
from athwart.survey.uncertainty.sigmas import PRESETS

SURVEY = pathlib.Path(constants.__file__).resolve().parents[1]


def test_95_percent_points_are_those_of_the_normal_distribution():
    """Python's own statistics; JCGM 100:2008 table G.1 prints 1.960 and 1.645."""
    normal = NormalDist()
    assert pytest.approx(normal.inv_cdf(0.975), abs=1e-6) == constants.TWO_SIDED_95
    assert pytest.approx(normal.inv_cdf(0.95), abs=2e-4) == constants.ONE_SIDED_95


def test_the_position_sigma_is_what_the_ordinary_preset_adds_up_to():
    ordinary = PRESETS["ordinary"]
    whole = (ordinary.sigma_bias ** 2 + ordinary.sigma_pass ** 2 + ordinary.sigma_jitter ** 2) ** 0.5
    assert pytest.approx(whole, abs=0.005) == constants.SIGMA_POSITION_M
    assert ordinary.sigma_bias == constants.SIGMA_POSITION_FOR_GRID_M
    assert ordinary.sigma_heading == constants.SIGMA_COMPASS_DEG


def test_the_speed_that_errors_are_divided_by_is_that_of_a_cool_lake():
    """11 degrees C by Marczak 1997, which has tests of its own against his table."""
    assert pytest.approx(fresh_water(11.0), abs=1.5) == constants.SOUND_SPEED_FOR_ERRORS_MPS


def test_no_other_module_types_them_again():
    """Values that can be nothing else; 2, 3 and 1500 mean many things."""
    typed = {1.645, 1.959964, 1.96, 2.12, 1450.0}
    for path in SURVEY.rglob("*.py"):
        if path.name != "constants.py" and "ext" not in path.relative_to(SURVEY).parts:
            found = {node.value for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
                     if isinstance(node, ast.Constant) and isinstance(node.value, float)}
            assert not found & typed, path
