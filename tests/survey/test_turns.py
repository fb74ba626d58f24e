"""Where a turn ends a pass, against boats whose lines are known: the interval between fixes and their jitter decide
nothing, nor does the width of a turn."""
import numpy as np
import pytest
import turnsim
from athwart.survey.fixes.arrange import Fixes
from athwart.survey.geometry.frame import Frame
from athwart.survey.motion.turns import Sailed, turn_cuts
from athwart.survey.tracks.prepare import prepare
from athwart.survey.tracks.settings import TrackSettings
from turnsim import bend

FRAME = Frame("EPSG:32615", -93, 45)
HOW = TrackSettings(range_m=30.0, depth_m=4.0)
WAYS = [(0.7, 1.0), (1.0, 2.0), (2.0, 1.0), (2.0, 5.0), (2.0, 10.0), (3.0, 2.0)]


def prepared(t, east, north, how=HOW):
    x, y = FRAME.inverse(east, north)
    return prepare(Fixes("EPSG:32615", np.asarray(x), np.asarray(y), t_s=1.7e9 + t), how)


def of_legs(legs, speed, interval, jitter, seed, how=HOW):
    return prepared(*turnsim.fixes(legs, speed, interval, jitter, seed), how)


def along(east, north, speed, interval, jitter, seed):
    """Fixes of a boat that runs along a densely drawn line."""
    way = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))])
    t = np.arange(0.0, way[-1] / speed, interval)
    noise = np.random.default_rng(seed).normal(0, jitter, (2, len(t)))
    return prepared(t, np.interp(t * speed, way, east) + noise[0], np.interp(t * speed, way, north) + noise[1])


@pytest.mark.parametrize("jitter, seed", [(0.0, 0), (0.5, 1), (0.5, 2)])
@pytest.mark.parametrize("speed, interval", WAYS)
@pytest.mark.parametrize("radius", [6.0, 12.0, 28.0, 30.0, 45.0, 60.0, 100.0])
def test_a_line_is_a_pass_however_wide_the_turns(radius, speed, interval, jitter, seed):
    made = of_legs(turnsim.lawnmower(4, 250.0, radius), speed, interval, jitter, seed)
    assert made.passes["pass_id"].tolist() == [1, 2, 3, 4]
    # each is cut at the top of its half circle: 250 m and half a turn from the cut before
    line, turn = 250.0, np.pi * radius
    cuts = np.flatnonzero(np.diff(made.track.pass_id)) + 1
    off = (made.track.t_s[cuts] - 1.7e9) * speed - (line + turn / 2 + np.arange(3) * (line + turn))
    assert np.abs(off).max() <= speed * interval + 0.12 * turn


@pytest.mark.parametrize("speed, interval", WAYS)
@pytest.mark.parametrize("legs, passes", [
    ([(200, 0), bend(90, 12), (200, 0)], 2), ([(200, 0), bend(-90, 38), (200, 0)], 2),
    ([(200, 0), bend(90, 100), (200, 0)], 1),  # a shore that turns away
    ([(200, 0), bend(30, 10), (200, 0)], 1), ([(200, 0), bend(120, 150), (300, 0)], 1),  # a river's bend
    ([leg for _ in range(5) for leg in ((200, 0), bend(180, 80))], 6),  # round and round
    ([leg for k in (90, -90, 90, -90) for leg in ((200, 0), bend(k, 6), (28, 0), bend(k, 6))] + [(200, 0)], 5),
    ([leg for _ in range(4) for leg in ((200, 0), bend(-40, 12), bend(220, 12))] + [(200, 0)], 5)])
def test_turns_of_other_kinds(legs, passes, speed, interval):
    for jitter, seed in ((0.0, 0), (0.5, 3), (0.5, 4)):
        assert of_legs(legs, speed, interval, jitter, seed).passes["pass_id"].tolist() == list(range(1, passes + 1))


@pytest.mark.parametrize("speed, interval", [(0.7, 1.0), (2.0, 1.0), (2.0, 10.0)])
@pytest.mark.parametrize("swing, wave, passes", [(40, 120, 1), (60, 400, 1), (90, 600, 10)])
def test_a_winding_shore_is_one_pass_and_a_river_doubling_back_one_a_reach(swing, wave, passes, speed, interval):
    way = np.arange(0, 3000.0, 0.5)
    course = np.radians(swing) * np.sin(2 * np.pi * way / wave)
    for jitter, seed in ((0.0, 0), (0.5, 5)):
        made = along(np.cumsum(np.sin(course)) / 2, np.cumsum(np.cos(course)) / 2, speed, interval, jitter, seed)
        assert len(made.passes["pass_id"]) == passes


@pytest.mark.parametrize("speed, interval", [(1.0, 1.0), (2.0, 10.0)])
@pytest.mark.parametrize("radius, growth", [(40.0, 0.0), (150.0, 0.0), (30.0, 30.0)])
def test_round_an_island_every_half_circle_is_a_pass(radius, growth, speed, interval):
    angle = np.linspace(0, 6 * np.pi, 4000)
    reach = radius + growth * angle / (2 * np.pi)
    for jitter, seed in ((0.0, 0), (0.5, 6)):
        made = along(reach * np.cos(angle), reach * np.sin(angle), speed, interval, jitter, seed)
        assert len(made.passes["pass_id"]) in (6, 7)
        # no place is passed twice in one pass
        turned = [np.ptp(np.unwrap(np.radians(made.track.course_deg[made.track.pass_id == k])))
                  for k in made.passes["pass_id"]]
        assert np.degrees(max(turned)) < 300


def test_both_ways_along_one_line():
    legs = [(300, 0), bend(-60, 8), bend(300, 8), bend(-60, 8), (300, 0)]
    for speed, interval in WAYS:
        for seed in range(3):
            assert of_legs(legs, speed, interval, 0.5, seed).passes["pass_id"].tolist() == [1, 2]


def test_a_stated_rate_takes_the_place_of_corners_only():
    legs = [(200, 0), bend(60, 20), (200, 0), bend(90, 60), (200, 0)]
    how = TrackSettings(range_m=30.0, depth_m=4.0, max_turn_rate=4.0)  # 1.5 m/s on 20 m: 4.3 degrees/s; on 60 m: 1.4
    assert len(of_legs(legs, 1.5, 1.0, 0.0, 0, how).passes["pass_id"]) == 2
    assert len(of_legs(legs[:3], 1.5, 1.0, 0.0, 0).passes["pass_id"]) == 1


def test_a_break_inside_a_turn_parts_it_and_no_cut_leaves_a_single_sample():
    way = np.arange(0, 500.0)
    _, _, azimuth, _ = turnsim.poses([(200, 0), bend(180, 30), (300, 0)], way)
    run = np.where(way < 240, 0, 1)
    cuts = np.flatnonzero(turn_cuts(Sailed(azimuth, np.zeros(500), way, run)))
    assert len(cuts) == 1 and 250 < cuts[0] < 290  # of the 104 degrees after the break; the 76 before it are no turn
    run[:] = 0
    assert np.abs(np.flatnonzero(turn_cuts(Sailed(azimuth, np.zeros(500), way, run))) - 247).max() <= 2
    sharp = np.concatenate([np.zeros(9), np.full(1, 180.0)])
    assert not turn_cuts(Sailed(sharp, np.zeros(10), np.arange(10) * 20.0, np.zeros(10, int))).any()
