"""Ready-made sets of sigmas, and what a user states instead."""
from dataclasses import fields

import numpy as np
import pytest
from athwart.survey.model.errors import InputError
from athwart.survey.uncertainty.sigmas import PRESETS, Sigmas, chosen, position_parts


def test_presets_hold_the_stated_defaults_and_get_better():
    ordinary = PRESETS["ordinary"]
    assert (ordinary.bias, ordinary.slow, ordinary.jitter) == (2.0, 0.5, 0.5)
    assert (ordinary.time, ordinary.hand_time, ordinary.latency, ordinary.sound_speed) == (0.5, 1.0, 0.5, 15.0)
    for field in fields(Sigmas):
        values = [getattr(PRESETS[name], field.name) for name in ("ordinary", "careful", "survey")]
        assert values == sorted(values, reverse=True), field.name


def test_what_is_given_overrides():
    found = chosen("careful", range=0.7, time=0.25, bias=None)
    assert (found.range, found.time, found.hand_time, found.bias) == (0.7, 0.25, 0.25, 1.0)


@pytest.mark.parametrize("given, words", [({"range": -0.1}, "range"), ({"trim": float("nan")}, "trim"),
                                          ({"bias": float("inf")}, "bias"), ({"depth": 5000}, "depth")])
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
    assert position_parts(chosen("ordinary", bias=1.0), total, stated=True)[0].tolist() == [1.0, 1.0]
