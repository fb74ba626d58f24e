"""Grouping of looks: one-to-one assignment against brute force and scipy, the gate against invented outings."""
import itertools

import numpy as np
import outings
import pytest
from athwart.survey.adjustment.association import assign, group_by_gate, group_by_name
from athwart.survey.adjustment.looks import RepeatedLooks
from athwart.survey.model.errors import InputError

RNG_CASES = [(rows, columns, seed) for rows, columns in ((1, 1), (2, 3), (4, 4), (5, 2), (3, 6)) for seed in range(12)]


def cheapest(cost, limit):
    """Least total by trying every one-to-one choice."""
    rows, columns = cost.shape
    best = np.inf
    for choice in itertools.product(range(-1, columns), repeat=rows):
        taken = [c for c in choice if c >= 0]
        if len(set(taken)) == len(taken):
            best = min(best, sum(cost[r, c] if c >= 0 else limit for r, c in enumerate(choice)))
    return best


@pytest.mark.parametrize("rows, columns, seed", RNG_CASES)
def test_assignment_is_the_cheapest_there_is(rows, columns, seed):
    cost = np.random.default_rng(seed).exponential(8, (rows, columns))
    found = assign(cost, 13.8)
    taken = found[found >= 0]
    assert len(set(taken.tolist())) == len(taken)
    total = sum(cost[r, c] if c >= 0 else 13.8 for r, c in enumerate(found))
    assert total == pytest.approx(cheapest(cost, 13.8))


def test_assignment_is_scipys():
    optimize = pytest.importorskip("scipy.optimize")
    rng = np.random.default_rng(1)
    for _ in range(60):
        cost = rng.exponential(8, rng.integers(1, 25, 2))
        found = assign(cost, 10.0)
        barred = np.hstack([np.where(cost < 10, cost, 1e6), np.full((len(cost), len(cost)), 1e6)])
        barred[np.arange(len(cost)), cost.shape[1] + np.arange(len(cost))] = 10.0
        i, j = optimize.linear_sum_assignment(barred)
        assert sum(cost[r, c] if c >= 0 else 10.0 for r, c in enumerate(found)) == pytest.approx(barred[i, j].sum())


def test_names_group_and_blanks_stand_alone():
    assert group_by_name(["crib", "", "car", None, "crib ", float("nan"), " car"]).tolist() == [0, 1, 2, 3, 0, 4, 2]
    assert group_by_name([3, 3.0, 4]).tolist() == [0, 1, 2]


def looks_of(columns):
    return RepeatedLooks.of(outings.CRS, columns["x"], columns["y"], columns)[0]


def test_objects_far_apart_are_told_by_the_gate_as_they_truly_are():
    """36 m apart on a grid: every look of an object, and no other, falls into its group."""
    rng = np.random.default_rng(4)
    places = np.array([(e, n) for e in range(5030, 5180, 36) for n in range(5030, 5240, 36)], float)
    right = total = 0
    for _ in range(6):
        offsets = outings.draw_offsets(rng)
        rows, numbers = [], []
        for pass_id, (start, heading, speed) in enumerate(outings.LINES, 1):
            for number, row in outings.run_pass(rng, places, np.array(start, float), heading, 330, speed, 38,
                                                np.full(len(places), 8.0), offsets):
                rows.append({**row, "outing": "day", "pass_id": pass_id})
                numbers.append(number)
        columns = {key: np.array([row[key] for row in rows]) for key in rows[0]}
        found, truth = group_by_gate(looks_of(columns)), np.array(numbers)
        right += ((found[:, None] == found) == (truth[:, None] == truth)).all(axis=1).sum()
        total += len(truth)
    assert right / total > 0.97  # the gate itself turns away one look in a thousand


def test_two_picks_of_one_pass_never_make_one_object():
    columns, _, _, _ = outings.outing(np.random.default_rng(2), objects=30)
    columns["x"][:], columns["y"][:] = 5100.0, 5100.0
    found = group_by_gate(looks_of(columns))
    for pass_id in np.unique(columns["pass_id"]):
        mine = found[columns["pass_id"] == pass_id]
        assert len(set(mine.tolist())) == len(mine)
    assert found.max() + 1 == np.bincount(columns["pass_id"]).max()


def test_two_outings_differ_by_their_biases_and_still_match():
    """6 m between two outings is well within biases of 2 m each; within one outing it is not."""
    columns, _, _, _ = outings.outing(np.random.default_rng(1), objects=1, lines=outings.LINES[:1])
    twice = {key: np.concatenate([values, values]) for key, values in columns.items()}
    twice["x"][1] += 6.0
    for name in ("own_ee_m2", "own_nn_m2"):
        twice[name][:] = 0.04
    twice["own_en_m2"][:] = 0.0
    twice["sig_pass_m"][:] = 0.1
    twice["sig_heading_deg"][:] = 0.1
    twice["pass_id"] = np.array([1, 2])
    assert group_by_gate(looks_of(twice)).tolist() == [0, 1]
    twice["outing"] = np.array(["a", "b"])
    assert group_by_gate(looks_of(twice)).tolist() == [0, 0]


@pytest.mark.parametrize("gate", [0.3, 1.0, float("nan")])
def test_a_gate_that_is_no_probability_is_refused(gate):
    columns, _, _, _ = outings.outing(np.random.default_rng(2), objects=3)
    with pytest.raises(InputError, match="gate"):
        group_by_gate(looks_of(columns), gate)
