"""Where passes are cut, how they are numbered, and thinning against a plain walk along the track."""
import numpy as np
import pytest
from athwart.survey.tracks import passes
from hypothesis import given, settings
from hypothesis import strategies as st


def bend(before, degrees, rate, after=60):
    """Heading and turn rate, one sample a second, of a boat that turns once."""
    seconds = int(round(abs(degrees) / rate))
    side = np.sign(degrees)
    made = side * rate * np.arange(1, seconds + 1)
    heading = np.concatenate([np.zeros(before), made, np.full(after, float(degrees))])
    turn = np.concatenate([np.zeros(before), np.full(seconds, side * rate), np.zeros(after)])
    return heading % 360, turn


@pytest.mark.parametrize("degrees", [90, 180, -180, -120, 46])
@pytest.mark.parametrize("rate", [2.5, 5.0, 12.0])
def test_a_turn_is_cut_at_its_middle(degrees, rate):
    heading, turn = bend(50, degrees, rate)
    cut = np.flatnonzero(passes.turn_cuts(heading, turn, np.zeros(len(turn), int), 2.0))
    assert len(cut) == 1
    made = abs((heading[cut[0]] + 180) % 360 - 180)
    assert abs(made - abs(degrees) / 2) <= rate or abs(degrees) == 180 and abs(made - 90) <= rate


@pytest.mark.parametrize("degrees, rate", [(40, 5.0), (180, 1.5), (-44, 10.0)])
def test_gentle_and_small_bends_are_no_turns(degrees, rate):
    heading, turn = bend(50, degrees, rate)
    assert not passes.turn_cuts(heading, turn, np.zeros(len(turn), int), 2.0).any()


def test_a_rate_that_hovers_at_the_limit_makes_one_cut():
    turn = np.where(np.arange(120) % 2, 2.2, 1.6)
    turn[:15] = turn[105:] = 0.0
    heading = np.cumsum(turn) % 360
    cut = passes.turn_cuts(heading, turn, np.zeros(120, int), 2.0)
    assert cut.sum() == 1 and 50 < np.flatnonzero(cut)[0] < 70


# on a circle of the range R the boat turns through v / R: 0.6 m/s and 30 m are 1.146 degrees/s
@pytest.mark.parametrize("speed, range_m, limit", [(0.6, 30.0, 1.145916), (2.0, 30.0, 2.0), (2.0, np.nan, 2.0)])
def test_limit_where_none_is_stated(speed, range_m, limit):
    assert passes.turn_limit(np.array([speed]), np.array([range_m]))[0] == pytest.approx(limit, abs=1e-5)


def test_a_limit_for_each_sample():
    heading, turn = bend(50, 180, 1.5)
    run = np.zeros(len(turn), int)
    assert passes.turn_cuts(heading, turn, run, np.full(len(turn), 1.2)).sum() == 1
    assert not passes.turn_cuts(heading, turn, run, np.full(len(turn), 1.6)).any()


def test_round_and_round_is_cut_every_half_circle():
    heading, turn = bend(20, 360 * 4, 4.0)
    cut = np.flatnonzero(passes.turn_cuts(heading, turn, np.zeros(len(turn), int), 2.0))
    assert len(cut) == 8 and np.array_equal(np.diff(cut), np.full(7, 45))


def test_a_break_inside_a_turn_parts_it():
    heading, turn = bend(50, 180, 4.5)
    run = np.repeat([0, 1], [58, len(turn) - 58])
    run[100:] = -1  # the boat stopped
    cut = np.flatnonzero(passes.turn_cuts(heading, turn, run, 2.0))
    assert len(cut) == 1 and 70 < cut[0] < 80  # of the 144 degrees after the break; the 36 before it are no turn


def test_an_s_bend_is_two_turns():
    first, second = bend(50, 90, 4.5, after=30), bend(0, -90, 4.5)
    heading = np.concatenate([first[0], (first[0][-1] + second[0]) % 360])
    cut = passes.turn_cuts(heading, np.concatenate([first[1], second[1]]), np.zeros(len(heading), int), 2.0)
    assert cut.sum() == 2


def test_numbers_rise_and_lost_samples_go_with_the_pass_before():
    stretch = np.repeat([0, 1, 2, 3], [6, 4, 1, 3])
    moving = np.array([0, 0, 1, 1, 1, 0, 1, 1, 1, 1, 1, 1, 1, 0], bool)
    cut = np.zeros(14, bool)
    cut[8] = True
    pass_id, alone = passes.number_passes(stretch, moving, cut)
    assert pass_id.tolist() == [1, 1, 1, 1, 1, 1, 2, 2, 3, 3, 3, 4, 4, 4]
    assert np.flatnonzero(alone).tolist() == [10]


def walk(path, clock, group, spacing, least):
    """Thinning as one would do it by hand."""
    kept = []
    for g in np.unique(group):
        own = np.flatnonzero(group == g)
        last = own[0]
        kept.append(last)
        for i in own[1:]:
            if path[i] - path[last] >= spacing * 0.999 or (least and clock[i] - clock[last] >= least * 0.999):
                last = i
                kept.append(i)
        kept.append(own[-1])
    return np.isin(np.arange(len(path)), kept)


@settings(max_examples=80, deadline=None)
@given(seed=st.integers(0, 100_000), spacing=st.floats(1.0, 20.0), least=st.sampled_from([None, 0.5, 3.0]))
def test_thinning_equals_the_walk(seed, spacing, least):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 200))
    path = np.cumsum(rng.choice([0.0, 0.1, 1.0, 5.0], n))
    clock = np.cumsum(rng.choice([0.1, 1.0], n))
    group = np.sort(rng.integers(0, 4, n))
    keep = np.zeros(n, bool)
    thinned = passes.thin(path, clock, group, keep, spacing, least)
    assert np.array_equal(thinned, walk(path, clock, group, spacing, least))


def test_thinning_keeps_what_it_must():
    path = np.arange(100) * 0.3
    group = np.repeat([1, 2], 50)
    keep = np.zeros(100, bool)
    keep[[23, 24]] = True
    kept = passes.thin(path, np.arange(100) * 0.1, group, keep, 3.0)
    assert kept[[0, 23, 24, 49, 50, 99]].all() and kept.sum() < 20
    assert passes.thin(path, np.arange(100.0), group, keep, 0.0).all()
