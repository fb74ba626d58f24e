"""Which offsets the passes can solve: the textbook cases, and the advice put to the test in the simulator."""
from dataclasses import replace

import numpy as np
import outings
import pytest
from athwart.survey.adjustment.least_squares import adjust
from athwart.survey.adjustment.looks import OFFSETS, RepeatedLooks
from athwart.survey.adjustment.solvability import _another_pass, judge

ONE_WAY = [((east, 4990), 0, 1.5) for east in (5040, 5080, 5120, 5160)]
RECIPROCAL = [((5040, 4990), 0, 1.5), ((5180, 5320), 180, 1.5), ((5020, 4990), 0, 1.5), ((5160, 5320), 180, 1.5),
              ((5080, 4990), 0, 1.5), ((5120, 5320), 180, 1.5)]


def judged(lines, names, seed=1, extra=(), **options):
    """Verdict on an outing; ``extra`` lines come after, over the same objects."""
    columns, number, _, _ = outings.outing(np.random.default_rng(seed), lines=[*lines, *extra], **options)
    looks, _ = RepeatedLooks.of(outings.CRS, columns["x"], columns["y"], columns)
    group = np.unique(number, return_inverse=True)[1]
    verdict = judge(looks, group, names)  # of one boat, whose number says nothing
    return replace(verdict, solvable=tuple(name for name, _ in verdict.solvable),
                   refused={name: text for (name, _), text in verdict.refused.items()}), looks, group


def test_one_way_with_both_sides_gives_the_azimuth_but_not_the_latency():
    verdict, _, _ = judged(ONE_WAY, ("latency_s", "mount_deg"))
    assert verdict.solvable == ("mount_deg",)
    assert set(verdict.refused) == {"latency_s"}
    assert verdict.eigenvalues[0] == pytest.approx(0, abs=1e-9)
    assert "opposite direction" in verdict.refused["latency_s"]


def test_reciprocal_lines_at_one_speed_with_objects_to_starboard_have_an_exact_null_direction():
    """Latency moves every place by v t forward, the lever arm by its length forward: at one speed they are the same."""
    verdict, looks, _ = judged(RECIPROCAL, ("latency_s", "lever_forward_m"), sides=(1,))
    assert verdict.eigenvalues[0] == pytest.approx(0, abs=1e-9)
    assert "cannot separate it from latency" in verdict.refused["lever_forward_m"]
    slopes = looks.sensitivities()
    latency, lever = slopes[:, :, 5] / 0.5, slopes[:, :, 7] / 0.3
    assert latency == pytest.approx(1.5 * lever, abs=1e-9)


def test_both_sides_and_two_speeds_let_latency_and_azimuth_through():
    verdict, _, _ = judged(outings.LINES, ("latency_s", "mount_deg"))
    assert verdict.solvable == ("latency_s", "mount_deg") and not verdict.refused
    assert verdict.eigenvalues[0] >= 1


def test_the_pass_it_asks_for_does_separate_them():
    """One way: refused, with advice to come back along the lines; the same search with that pass is let through."""
    verdict, _, _ = judged(ONE_WAY, ("latency_s",))
    assert verdict.solvable == () and "opposite direction" in verdict.refused["latency_s"]
    back = [((5100, 5320), 180, 1.5), ((5060, 5320), 180, 1.5)]
    assert judged(ONE_WAY, ("latency_s",), extra=back)[0].solvable == ("latency_s",)


def test_what_cannot_be_had_by_sailing_is_to_be_measured():
    verdict, _, _ = judged(outings.LINES, OFFSETS)
    assert "tape" in verdict.refused["lever_forward_m"] and "level" in verdict.refused["trim_deg"]


def test_refused_offsets_stay_near_their_priors_and_solved_ones_do_not():
    verdict, looks, group = judged(outings.LINES, OFFSETS)
    found = adjust(looks, group, OFFSETS)
    gain = dict(zip(found.names, found.sigma / found.prior_sigma))
    for name in verdict.solvable:
        assert gain[name] < 0.75
    assert gain["lever_forward_m"] > 0.75


def test_an_offset_stated_as_exact_is_not_solved():
    verdict, _, _ = judged(outings.LINES, ("latency_s",), priors={**outings.PRIORS, "sig_latency_s": 0.0})
    assert "zero" in verdict.refused["latency_s"]


def test_nothing_asked_nothing_refused():
    verdict, _, _ = judged(outings.LINES, ())
    assert verdict.solvable == () and verdict.refused == {}


def test_single_looks_solve_nothing():
    """One pass over everything: no object is seen twice, so no offset is solved."""
    verdict, _, _ = judged(outings.LINES[:1], OFFSETS)
    assert verdict.solvable == () and set(verdict.refused) == set(OFFSETS)
    assert verdict.eigenvalues == pytest.approx(np.zeros(6), abs=1e-9)


def test_metres_or_more_of_sigma_scale_what_is_solvable():
    """The same passes: a latency known to a tenth of a second already is not improved by looks good to half a metre."""
    known = judged(outings.LINES, ("latency_s",), priors={**outings.PRIORS, "sig_latency_s": 0.02})[0]
    vague = judged(outings.LINES, ("latency_s",), priors={**outings.PRIORS, "sig_latency_s": 2.0})[0]
    assert known.solvable == () and vague.solvable == ("latency_s",)
    assert known.eigenvalues[0] < 1 < vague.eigenvalues[0]


def test_another_pass_turns_the_boat_and_its_speed_together():
    """Ninety degrees to starboard: a boat that ran east runs south, one that ran north runs east."""
    columns, number, _, _ = outings.outing(np.random.default_rng(1), lines=ONE_WAY)
    looks, _ = RepeatedLooks.of(outings.CRS, columns["x"], columns["y"], columns)
    first = np.unique(number, return_index=True)[1]
    east, north = looks.velocity[first].T
    turned = _another_pass(looks, looks, first, turn=90, speed=2.0, flip=True)
    assert turned.velocity == pytest.approx(2 * np.column_stack([north, -east]), abs=1e-12)
    assert turned.azimuth_deg == pytest.approx(looks.azimuth_deg[first] + 90)
    assert (turned.side == -looks.side[first]).all() and (turned.pass_no == looks.pass_no.max() + 1).all()
    same = _another_pass(looks, looks, first)
    assert (same.azimuth_deg == looks.azimuth_deg[first]).all() and (same.velocity == looks.velocity[first]).all()
