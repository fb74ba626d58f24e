"""How picks find their moment on the track: by time, ping, the boat's place or the object's."""
import numpy as np
import pytest
import tracks
import turnsim
from athwart.survey.geometry.frame import Frame
from athwart.survey.model.errors import InputError
from athwart.survey.targets.match import TIES, tie
from athwart.survey.targets.picks import Picks
from athwart.survey.targets.poses import Poses, Runs, turned_between

T0 = 1.7e9
FRAME = Frame("EPSG:32615", -93.0, 45.0)


def line(east, north, t_s, **given):
    """A pass in frame metres."""
    return tracks.in_frame(FRAME, east, north, t_s=np.asarray(t_s, float), **given)


def north_line(east=0.0, count=61, step=2.0, start=T0, **given):
    """Straight north, one sample a second at 2 m/s."""
    return line(np.full(count, east), step * np.arange(count), start + np.arange(count), speed_mps=2.0,
                **{"azimuth_deg": np.zeros(count), **given})


def joined(*parts):
    """One track of several passes, numbered from 1; samples jump between them."""
    columns = {}
    for name in vars(parts[0]):
        if name != "crs":
            columns[name] = np.concatenate([getattr(part, name) for part in parts])
    columns["pass_id"] = np.repeat(np.arange(1, len(parts) + 1), [len(part) for part in parts])
    columns["sample_id"] = np.arange(len(columns["x"])) + 10 * columns["pass_id"]
    x, y = columns.pop("x"), columns.pop("y")
    return type(parts[0]).from_columns(parts[0].crs, x, y, columns)


def north_of(track, ties):
    """Frame north of each tie; the lines here go north, so this is the way along."""
    poses = Poses.at(track, ties.at)
    return np.asarray(FRAME.forward(poses.x, poses.y)[1])


def marks(east, north, **given):
    x, y = FRAME.inverse(np.asarray(east, float), np.asarray(north, float))
    return Picks.of(len(x), x=x, y=y, **given)


# ---- time

def test_time_lies_between_its_samples():
    track = north_line()
    ties = tie(track, Picks.of(4, t_s=T0 + np.array([0, 10.25, 30.5, 60])), "time")
    np.testing.assert_allclose(north_of(track, ties), [0, 20.5, 61, 120], atol=1e-6)
    assert not any(ties.reason)


def test_a_mark_pressed_late_belongs_to_an_earlier_moment():
    track = north_line()
    ties = tie(track, Picks.of(1, t_s=[T0 + 20]), "time", mark_delay=1.5)
    np.testing.assert_allclose(north_of(track, ties), [37], atol=1e-6)


def test_angles_go_the_short_way_and_everything_else_straight():
    track = tracks.made(
        "EPSG:32615", [500000.0, 500000.0], [4980000.0, 4980010.0], np.array([350.0, 10.0]), speed_mps=2.0,
        t_s=T0 + np.array([0, 10.0]), depth_m=np.array([4.0, 6.0]), turn_dps=np.array([1.0, 3.0]),
        sigma_heading_deg=np.array([2.0, 4.0]), range_m=np.array([20.0, 40.0]))
    pose = Poses.at(track, tie(track, Picks.of(1, t_s=[T0 + 2.5])).at)
    assert pose.heading_deg[0] == pytest.approx(355)
    assert (pose.depth_m[0], pose.turn_dps[0], pose.sigma_heading_deg[0]) == pytest.approx((4.5, 1.5, 2.5))
    assert pose.range_m[0] == 20  # set by a switch: never a mean of two settings
    assert pose.y[0] == pytest.approx(4980002.5)
    assert turned_between(10, 350, 0.25) == pytest.approx(5) and turned_between(350, 10, 0.75) == pytest.approx(5)


def test_nothing_is_tied_across_a_break():
    track = joined(north_line(count=11), north_line(east=50, count=11, start=T0 + 100))
    ties = tie(track, Picks.of(3, t_s=T0 + np.array([5, 50, 105])), "time")
    assert np.isnan(ties.at).tolist() == [False, True, False]
    assert "break" in ties.reason[1] and "2023-11-14T22:13:30Z" in ties.reason[1]


def test_unusable_samples_break_the_run():
    track = north_line()
    track.usable[30] = False
    ties = tie(track, Picks.of(3, t_s=T0 + np.array([29.0, 29.5, 31.0])), "time")
    assert np.isnan(ties.at).tolist() == [False, True, False]


def test_a_repeated_time_spoils_nothing_and_a_track_of_no_use_says_so():
    track = north_line()
    track.t_s[31] = track.t_s[30]
    assert np.isfinite(tie(track, Picks.of(3, t_s=T0 + np.array([10.0, 30.0, 50.0]))).at).all()
    track.usable[:] = False
    with pytest.raises(InputError, match="reject_reason"):
        tie(track, Picks.of(1, t_s=[T0 + 10]))


def test_a_track_of_one_sample():
    track = tracks.made("EPSG:32615", [500000.0], [4980000.0], np.array([90.0]), t_s=np.array([T0]))
    assert tie(track, Picks.of(2, t_s=[T0, T0 + 1])).at.tolist()[0] == 0
    assert tie(track, Picks.of(1, x=[500001.0], y=[4980000.0]), "boat point").at[0] == 0
    assert "abeam" in tie(track, Picks.of(1, x=[500000.0], y=[4979990.0]), "object point").reason[0]


def test_before_the_track_and_after_it():
    ties = tie(north_line(), Picks.of(3, t_s=T0 + np.array([-3.0, 10.0, 90.0])), "time")
    assert "3.0 s before the track begins" in ties.reason[0] and "30.0 s after the track ends" in ties.reason[2]


@pytest.mark.parametrize("error_h, applied", [(5, 0), (-5.75, 0), (2, -1), (-3, 5.5)])
def test_no_overlap_names_the_offset_that_fits(error_h, applied):
    picks = Picks.of(5, t_s=T0 + np.arange(5) * 10 - error_h * 3600)
    with pytest.raises(InputError, match=rf"time_offset of {applied + error_h:g} .*5 of 5 picks"):
        tie(north_line(), picks, time_offset=applied)


def test_no_overlap_on_another_day_says_so():
    with pytest.raises(InputError, match="no time_offset of up to 14 hours"):
        tie(north_line(), Picks.of(2, t_s=[T0 + 5e6, T0 + 5e6 + 20]))


def test_two_outings_at_one_time_need_a_name():
    track = joined(north_line(), north_line(east=300))
    track.outing[:61], track.outing[61:] = "red boat", "blue boat"
    track = type(track).from_columns(track.crs, track.x, track.y, {n: v for n, v in vars(track).items() if n != "crs"})
    both = tie(track, Picks.of(1, t_s=[T0 + 10.5]))
    assert np.isnan(both.at[0]) and "red boat" in both.reason[0] and "blue boat" in both.reason[0]
    one = tie(track, Picks.of(2, t_s=[T0 + 10.5] * 2, outing=["red boat", "blue boat"]))
    assert track.outing[np.floor(one.at).astype(int)].tolist() == ["red boat", "blue boat"]
    assert "green" in tie(track, Picks.of(2, t_s=[T0 + 10.5] * 2, outing=["red boat", "green"])).reason[1]


def test_one_run_may_lie_within_the_time_of_another():
    """A search among overlapping runs against a plain loop."""
    rng = np.random.default_rng(4)
    parts = [north_line(east=20 * i, count=int(rng.integers(3, 40)), start=T0 + rng.uniform(0, 200)) for i in range(25)]
    track = joined(*parts)
    runs = Runs(track, track.t_s)
    values = T0 + rng.uniform(-20, 260, 400)
    run, others = runs.find(values, np.full(400, "", object))
    for k, value in enumerate(values):
        holding = [i for i in range(len(runs)) if runs.start[i] <= value <= runs.end[i]]
        assert (run[k] in holding) if holding else run[k] == -1
        assert (others[k] >= 0) == (len(holding) > 1)


# ---- ping

def test_ping_lies_between_its_samples():
    track = north_line(record_ping=1000 + 7.0 * np.arange(61))
    ties = tie(track, Picks.of(2, ping=[1035, 1038.5]), "ping")
    np.testing.assert_allclose(north_of(track, ties), [10, 11], atol=1e-6)


def test_a_ping_count_that_starts_again_is_not_guessed():
    track = joined(north_line(record_ping=np.arange(61.0)), north_line(east=40, start=T0 + 500,
                                                                        record_ping=np.arange(61.0)))
    ties = tie(track, Picks.of(2, ping=[20, 99]), "ping")
    assert "pass 1" in ties.reason[0] and "pass 2" in ties.reason[0]
    assert "0 to 60" in ties.reason[1]


def test_ping_without_a_count_on_the_track_is_refused():
    with pytest.raises(InputError, match="fixes.ping"):
        tie(north_line(), Picks.of(1, ping=[3]), "ping")


# ---- marks made on the boat

def test_a_boat_point_snaps_along_the_track():
    track = north_line()
    ties = tie(track, marks([1.5], [33.0]), "boat point")
    np.testing.assert_allclose(north_of(track, ties), [33], atol=1e-3)


def test_a_boat_point_shows_the_fix_of_the_moment_latency_old():
    """Truth: the antenna is at north 2 t. At t = 20 the object is abeam; the display shows the fix of t - L; the finger
    comes down D later. The mark therefore stands at 2 (20 + D - L)."""
    late, delay = 0.8, 1.3
    track = north_line(latency_s=late)
    ties = tie(track, marks([0.0], [2 * (20 + delay - late)]), "boat point", mark_delay=delay)
    np.testing.assert_allclose(north_of(track, ties), [40], atol=1e-3)


def test_a_boat_point_stands_at_the_antenna_not_the_transducer():
    track = north_line(lever_forward_m=-3.0, lever_starboard_m=1.0)  # the transducer is 3 m behind, 1 m to starboard
    ties = tie(track, marks([-1.0], [43.0]), "boat point")
    np.testing.assert_allclose(north_of(track, ties), [40], atol=1e-3)


def test_the_lever_arm_turns_with_the_boat():
    count = 61
    track = line(2.0 * np.arange(count), np.zeros(count), T0 + np.arange(count), azimuth_deg=np.full(count, 90.0),
                 speed_mps=2.0, lever_forward_m=-3.0, lever_starboard_m=1.0)
    ties = tie(track, marks([43.0], [1.0]), "boat point")  # eastbound: the antenna 3 m ahead, 1 m to the north
    assert ties.at[0] == pytest.approx(20, abs=1e-3)


def test_a_boat_points_time_rules():
    track = north_line()
    ties = tie(track, marks([0.0], [100.0], t_s=[T0 + 10]), "boat point")
    np.testing.assert_allclose(north_of(track, ties), [20], atol=1e-3)


def test_a_track_without_times_shifts_by_its_speed():
    track = north_line(latency_s=1.5)
    track.t_s[:] = np.nan
    ties = tie(track, marks([0.0], [37.0]), "boat point")
    np.testing.assert_allclose(north_of(track, ties), [40], atol=1e-3)


def test_two_passes_within_three_sigma_are_refused_by_name():
    track = joined(north_line(sigma_pos_m=2.0), north_line(east=8, start=T0 + 500, sigma_pos_m=2.0))
    ties = tie(track, marks([3.0, 0.0], [50.0, 50.0]), "boat point")
    assert "pass 1 of day 1 (3.0 m off)" in ties.reason[0] and "pass 2 of day 1 (5.0 m off)" in ties.reason[0]
    assert "no time" in ties.reason[0]
    assert ties.reason[1] == ""  # the other pass is 8 m off, three sigma are 6


def test_a_mark_far_from_every_pass_is_no_boat_point():
    ties = tie(north_line(), marks([40.0], [50.0]), "boat point")
    assert "40.0 m from the nearest pass" in ties.reason[0] and "object point" in ties.reason[0]


def test_latency_does_not_carry_past_the_end_of_a_pass():
    ties = tie(north_line(latency_s=2.0), marks([0.0], [119.0]), "boat point")
    assert np.isnan(ties.at[0]) and "past the end" in ties.reason[0]


# ---- marks at the object

def test_an_object_point_finds_where_it_was_abeam():
    track = north_line(depth_m=5.0, range_m=40.0)
    ties = tie(track, marks([20.0, -12.0, 38.0, 45.0, 5.0], [50.5, 77.0, 10.0, 10.0, 200.0]), "object point")
    np.testing.assert_allclose(ties.ground[:3], [20, -12, 38], atol=1e-3)
    np.testing.assert_allclose(north_of(track, ties)[:3], [50.5, 77, 10], atol=1e-3)
    assert all("abeam within its range" in reason for reason in ties.reason[3:])


def test_an_object_point_must_lie_within_the_range_of_the_moment():
    track = north_line(range_m=np.where(np.arange(61) < 30, 40.0, 15.0))
    ties = tie(track, marks([20.0, 20.0, 12.0], [20.5, 90.5, 90.5]), "object point")
    np.testing.assert_allclose(ties.ground, [20, np.nan, 12], atol=1e-3)


def test_an_object_point_takes_the_nearest_pass_or_the_one_its_time_names():
    track = joined(north_line(), north_line(east=30, start=T0 + 500))
    ties = tie(track, marks([20.0, 20.0], [50.0, 50.0], t_s=[np.nan, T0 + 20]), "object point")
    np.testing.assert_allclose(ties.ground, [-10, 20], atol=1e-3)


def test_abeam_follows_the_mount_angle():
    track = north_line(mount_deg=10.0)
    g = 20.0
    a = np.radians(100)
    ties = tie(track, marks([g * np.sin(a)], [60 + g * np.cos(a)]), "object point")
    np.testing.assert_allclose(ties.ground, [g], atol=1e-3)
    np.testing.assert_allclose(north_of(track, ties), [60], atol=1e-3)


# ---- auto

def test_auto_takes_time_then_ping_then_point_and_never_the_object():
    track = north_line(record_ping=np.arange(61.0))
    picks = marks([0.0] * 4, [10.0, 20.0, 30.0, 30.0], t_s=[T0 + 40, np.nan, np.nan, np.nan],
                  ping=[3, 25, np.nan, np.nan])
    picks.x[3] = np.nan
    ties = tie(track, picks)
    assert ties.tied_by.tolist() == ["time", "ping", "boat point", ""]
    np.testing.assert_allclose(north_of(track, ties)[:3], [80, 50, 30], atol=1e-3)
    assert "no time, ping number or point" in ties.reason[3]
    far = tie(track, marks([20.0], [50.0]))
    assert far.tied_by[0] == "boat point" and far.reason[0]


def test_auto_passes_over_times_when_the_track_has_none():
    track = north_line()
    track.t_s[:] = np.nan
    assert tie(track, marks([0.0], [10.0], t_s=[T0])).tied_by[0] == "boat point"
    with pytest.raises(InputError, match="the track has none"):
        tie(track, marks([0.0], [10.0], t_s=[T0]), "time")


@pytest.mark.parametrize("how, words", [("time", "picks.t_s"), ("ping", "picks.ping"), ("boat point", "point layer"),
                                        ("object point", "point layer"), ("guess", "auto, time, ping")])
def test_a_tie_the_picks_cannot_give_is_refused(how, words):
    with pytest.raises(InputError, match=words):
        tie(north_line(record_ping=np.arange(61.0)), Picks.of(2, side=[1, 1]), how)


@pytest.mark.parametrize("how", TIES)
def test_no_picks_at_all(how):
    if how == "auto":
        assert len(tie(north_line(), Picks.of(0)).at) == 0
    else:
        with pytest.raises(InputError):
            tie(north_line(), Picks.of(0), how)


def test_single_picks_without_the_asked_tie_are_named():
    picks = marks([0.0, 0.0], [10.0, 20.0], t_s=[T0 + 5, np.nan])
    assert "no time" in tie(north_line(), picks, "time").reason[1]
    picks.x[0] = np.nan
    assert "no point" in tie(north_line(), picks, "object point").reason[0]


# ---- the beam at a cut belongs to both passes

def u_turn(interval=10.0, speed=2.0, radius=12.0):
    """Up, round and down again with sparse fixes, cut at mid-turn; and the distance along the way of a moment."""
    legs = [(200.0, 0.0), turnsim.bend(180.0, radius), (200.0, 0.0)]
    t, east, north = turnsim.fixes(legs, speed, interval)
    _, _, azimuth, _ = turnsim.poses(legs, t * speed)
    middle = int(np.searchsorted(t * speed, 200 + np.pi * radius / 2))
    track = line(east, north, T0 + t, azimuth_deg=azimuth, speed_mps=speed, pass_id=1 + (np.arange(len(t)) >= middle))
    return track, middle, lambda moment: turnsim.poses(legs, (np.asarray(moment) - T0) * speed)


@pytest.mark.parametrize("how", ["time", "boat point"])
def test_a_pick_in_the_interval_at_a_cut_is_tied_once(how):
    track, middle, truth = u_turn()
    moments = track.t_s[middle] - np.array([9.0, 6.0, 3.0, 0.0, -3.0])
    east, north, _, _ = truth(moments)
    picks = Picks.of(5, t_s=moments) if how == "time" else marks(east, north)
    ties = tie(track, picks, how)
    assert not any(ties.reason)
    tied = FRAME.forward(*np.array([Poses.at(track, ties.at).x, Poses.at(track, ties.at).y]))
    assert np.hypot(tied[0] - east, tied[1] - north).max() < 5.0  # straight between fixes 20 m apart on an arc of 12 m
    assert ties.at[3] == pytest.approx(middle)


def test_runs_meet_at_a_cut_and_nowhere_else():
    track, middle, _ = u_turn()
    assert track.runs() == [slice(0, middle + 1), slice(middle, len(track))]
    track.sample_id[middle:] += 1  # a jump is a break
    assert track.runs() == [slice(0, middle), slice(middle, len(track))]
    track.sample_id[middle:] -= 1
    track.usable[middle] = False
    assert track.runs() == [slice(0, middle), slice(middle + 1, len(track))]
