"""Runs that calibrate a boat: sigmas told beforehand against simulated outings, and the number against brute force.

The outings (tests/plugins/outings.py) share no code with the package: straight passes, Pythagoras, errors from priors.
"""
import itertools
import math
import re

import numpy as np
import outings
import pytest
from athwart.survey.adjustment.least_squares import Unknowns, adjust, reduce_normals
from athwart.survey.adjustment.looks import OFFSETS, RepeatedLooks
from athwart.survey.adjustment.solvability import judge
from athwart.survey.model.errors import InputError
from athwart.survey.planning.calibration import CalibrationSettings, plan_calibration
from athwart.survey.planning.calibration_runs import Run, candidate_runs, information, predicted_looks
from athwart.survey.planning.from_map import calibration_told
from athwart.survey.uncertainty.sigmas import PRESETS, chosen

ONE, TWO = np.array([[5100.0, 5100.0]]), np.array([[5100.0, 5100.0], [5110.0, 5140.0]])
DEPTH = 5.0
SIGMAS = chosen("ordinary", sigma_height=0.0, sigma_depth=0.2 * math.sqrt(2), sigma_sound_speed=0.01 * 1500)
"""What tests/plugins/outings.py draws from: no unknown heights, a depth reading and a depth offset of 0.2 m each."""


def planned(objects, **changes):
    return plan_calibration(objects, CalibrationSettings(**{"range_m": 30.0, "depth_m": DEPTH, **changes}))


def driven(rng, runs, objects):
    """Looks of one simulated outing along the runs, with their objects and the true offsets."""
    offsets = outings.draw_offsets(rng)
    rows, group = [], []
    for number, run in enumerate(runs, 1):
        drift, twist = rng.normal(0, outings.PRIORS["sig_pass_m"], 2), rng.normal(0, outings.PRIORS["sig_heading_deg"])
        for g, side, ground in zip(run.objects, run.side, run.ground):
            row = outings.look(rng, objects[g], run.azimuth_deg, side, ground, DEPTH, run.speed_mps, offsets, drift,
                               twist, outings.NOTHING_APPLIED)
            rows.append({**row, "outing": "day", "pass_id": number})
            group.append(g)
    columns = {key: np.array([row[key] for row in rows]) for key in rows[0]}
    looks, _ = RepeatedLooks.of(outings.CRS, columns["x"], columns["y"], columns)
    return looks, np.unique(group, return_inverse=True)[1], offsets


@pytest.mark.parametrize("objects, solve", [(ONE, ("latency_s", "mount_deg")),
                                            (TWO, ("latency_s", "mount_deg", "lever_starboard_m", "scale"))],
                         ids=["one object", "two objects"])
def test_sigmas_told_beforehand_are_those_delivered(objects, solve):
    """What the adjustment reports, and the spread of its errors over 120 outings; tests/proof has more of them."""
    plan = planned(objects, solve=solve, sigmas=SIGMAS)
    rng = np.random.default_rng(7)
    reported, errors = [], []
    for _ in range(120):
        looks, group, offsets = driven(rng, plan.runs, objects)
        found = adjust(looks, group, plan.names)
        reported.append(found.sigma)
        errors.append([v - offsets[n] - (n == "scale") for n, v in zip(found.names, found.value)])
    ratio = plan.sigma / np.mean(reported, axis=0)
    assert ((ratio > 0.95) & (ratio < 1.05)).all(), dict(zip(plan.names, ratio))
    spread = plan.sigma / np.std(errors, axis=0)  # 120 draws: three sigma are 20 %
    assert ((spread > 0.8) & (spread < 1.25)).all(), dict(zip(plan.names, spread))


def test_sums_of_runs_are_the_adjustments_own_normal_matrix():
    depth = np.full(2, DEPTH)
    runs = candidate_runs(TWO, depth, 30.0, (1.2, 2.4))[::5]
    looks, group = predicted_looks(runs, TWO, depth, SIGMAS)
    unknowns = Unknowns.of(looks, OFFSETS)
    inverse = np.linalg.inv(reduce_normals(looks.place, looks.own, group, unknowns).matrix + np.eye(unknowns.count))
    total = information(runs, TWO, depth, SIGMAS).sum(axis=0)
    total[4:, 4:] += np.eye(9)
    assert np.linalg.inv(total)[4:, 4:] == pytest.approx(inverse[-9:, -9:], abs=1e-8)


def test_no_smaller_set_of_runs_would_do():
    """Every set of one run less, each adjusted by itself."""
    sigmas, target = PRESETS["careful"], {"latency_s": 0.14}
    plan = planned(TWO, solve=("latency_s",), sigmas=sigmas, speeds_mps=(2.0,), targets=target)
    assert plan.met.all() and plan.fewest and len(plan.runs) == 3
    depth = np.full(2, DEPTH)
    runs = candidate_runs(TWO, depth, 30.0, (2.0,), float(np.degrees(np.arctan2(10, 40))))
    assert len(runs) == plan.looked_at
    for pair in itertools.combinations_with_replacement(runs, len(plan.runs) - 1):
        looks, group = predicted_looks(pair, TWO, depth, sigmas)
        group = np.unique(group, return_inverse=True)[1]
        assert adjust(looks, group, ("latency_s",)).sigma[0] > target["latency_s"]


def test_runs_go_both_ways_past_both_sides_at_two_speeds():
    for objects in (ONE, TWO):
        plan = planned(objects, sigmas=SIGMAS)
        ways = {round(run.azimuth_deg) for run in plan.runs}
        assert any((way + 180) % 360 in ways for way in ways)
        assert {side for run in plan.runs for side in run.side} == {-1, 1}
        assert {run.speed_mps for run in plan.runs} == {1.2, 2.4}
        assert plan.met.all() and not plan.refused and len(plan.runs) <= 10
        for run in plan.runs:  # the line passes each object where the plan says
            a = math.radians(run.azimuth_deg)
            for g, side, ground in zip(run.objects, run.side, run.ground):
                off = objects[g] - np.array(run.start)
                assert off @ [math.cos(a), -math.sin(a)] == pytest.approx(side * ground)
                assert 39.9 < off @ [math.sin(a), math.cos(a)] < run.length - 39.9
                assert 1.2 * DEPTH <= ground <= math.sqrt(30 ** 2 - DEPTH ** 2)


def test_one_line_there_and_back_cannot_tell_the_mount():
    """Latency shows in the shift between the two ways; the beam's azimuth shifts both by the same amount."""
    out, back = (Run((5080.0, a), (5080.0, b), azimuth, 2.0, (0,), (side,), (20.0,))
                 for a, b, azimuth, side in ((5060.0, 5140.0, 0.0, 1.0), (5140.0, 5060.0, 180.0, -1.0)))
    sigmas = chosen("careful", sigma_latency=0.5)
    for times in (1, 20):
        looks, group = predicted_looks([out, back] * times, ONE, np.full(1, DEPTH), sigmas)
        verdict = judge(looks, group, ("latency_s", "mount_deg"))
        assert [name for name, _ in verdict.refused] == ["mount_deg"], times
    plan = planned(ONE, sigmas=sigmas, max_runs=2)
    assert set(plan.refused) == {"mount_deg"} and plan.told.tolist() == [True, False]
    assert plan.refused["mount_deg"].startswith("Beam azimuth: these runs say less about it than is")
    with pytest.raises(InputError, match="Beam azimuth") as refused:
        planned(ONE, solve=("mount_deg",), max_runs=2)
    assert refused.value.field == "max_runs"


def test_what_no_run_can_tell_is_named():
    """In one depth a trim moves every place along the fan as a lever arm forward does."""
    plan = planned(TWO, solve=OFFSETS, sigmas=SIGMAS, max_runs=8)
    assert {"lever_forward_m", "trim_deg"} <= set(plan.refused)
    assert "No number of runs" in plan.refused["trim_deg"] and "level" in plan.refused["trim_deg"]
    assert plan.best[plan.names.index("trim_deg")] > plan.target[plan.names.index("trim_deg")]
    assert "trim" in plan.correlations(plan.names.index("lever_forward_m"))


def test_what_is_not_reached_says_what_would_help():
    """Each offset in its unit, told once: what the runs say, or why they say nothing."""
    notes, warnings = calibration_told(planned(ONE, solve=("latency_s", "lever_forward_m"), speeds_mps=(2.0,),
                                               targets={"latency_s": 0.01}, max_runs=4))
    assert len(notes) == 1 and len(warnings) == 2
    assert warnings[0].startswith("Not found. Lever arm forward") and "tape" in warnings[0]
    assert re.match(r"Latency: sigma [\d.]+ s, asked for 0.01 s, .* No number of runs", warnings[1])
    notes, warnings = calibration_told(planned(ONE, solve=("latency_s",), targets={"latency_s": 0.01}, max_runs=4))
    assert len(warnings) == 1 and "allow more than 4" in warnings[0]


def test_runs_keep_to_clear_water():
    def west(starts, ends):
        return (starts[:, 0] < 5105) & (ends[:, 0] < 5105)

    plan = plan_calibration(ONE, CalibrationSettings(30.0, DEPTH, sigmas=SIGMAS), west)
    assert all(run.start[0] < 5105 and run.end[0] < 5105 for run in plan.runs)
    with pytest.raises(InputError, match="keeps clear"):
        plan_calibration(ONE, CalibrationSettings(30.0, DEPTH), lambda starts, ends: np.zeros(len(starts), bool))


@pytest.mark.parametrize("bad, field", [
    ({"solve": ("pitch",)}, "solve"), ({"solve": ()}, "solve"), ({"targets": {"latency_s": 0}}, "targets"),
    ({"speeds_mps": ()}, "speeds_mps"), ({"max_runs": 0}, "max_runs"), ({"depth_m": 0.0}, "depth_m"),
    ({"range_m": 5.5}, "range_m")])
def test_refusals_name_the_setting(bad, field):
    with pytest.raises(InputError) as refused:
        planned(ONE, **bad)
    assert refused.value.field == field
