"""Ready-made sets of sigmas, and what a user states instead."""
from dataclasses import fields

import numpy as np
import pytest
from athwart.survey.model.errors import InputError
from athwart.survey.uncertainty.sigmas import PRESETS, Sigmas, chosen, position_parts


def test_presets_hold_the_stated_defaults_and_get_better():
    ordinary = PRESETS["ordinary"]
    assert (ordinary.sigma_bias, ordinary.sigma_pass, ordinary.sigma_jitter) == (2.0, 0.5, 0.5)
    assert (ordinary.sigma_time, ordinary.sigma_hand_time) == (0.5, 1.0)
    assert (ordinary.sigma_latency, ordinary.sigma_sound_speed) == (0.5, 15.0)
    for field in fields(Sigmas):
        values = [getattr(PRESETS[name], field.name) for name in ("ordinary", "careful", "survey")]
        assert values == sorted(values, reverse=True), field.name


def test_what_is_given_overrides():
    found = chosen("careful", sigma_range=0.7, sigma_time=0.25, sigma_bias=None)
    assert (found.sigma_range, found.sigma_time, found.sigma_hand_time, found.sigma_bias) == (0.7, 0.25, 0.25, 1.0)


@pytest.mark.parametrize("given, words", [({"sigma_range": -0.1}, "sigma_range"),
                                          ({"sigma_trim": float("nan")}, "sigma_trim"),
                                          ({"sigma_bias": float("inf")}, "sigma_bias"),
                                          ({"sigma_depth": 5000}, "sigma_depth")])
def test_absurd_sigmas_are_refused_by_name(given, words):
    with pytest.raises(InputError, match=words):
        chosen("ordinary", **given)
    with pytest.raises(InputError, match="ordinary, careful, survey"):
        chosen("reckless")


def test_the_tracks_position_sigma_is_shared_out_unless_one_is_stated():
    total = np.array([4.24, np.nan])
    bias, slow, jitter = position_parts(PRESETS["ordinary"], total, stated=False)
    np.testing.assert_allclose(bias**2 + slow**2 + jitter**2, [4.24**2, 4.5])
    np.testing.assert_allclose(bias / slow, 4)
    assert position_parts(chosen("ordinary", sigma_bias=1.0), total, stated=True)[0].tolist() == [1.0, 1.0]
