"""Order, repeats, jumps and breaks of a log."""
import numpy as np
import pytest
import sailed
from athwart.survey.fixes.arrange import Fixes
from athwart.survey.fixes.clean import clean_fixes, default_gap
from athwart.survey.model.errors import InputError
from athwart.survey.tracks.settings import TrackSettings
from hypothesis import given, settings
from hypothesis import strategies as st


def log(courses=None, lon=-93.0, lat=45.0, speed=2.0, interval=1.0, **more):
    lons, lats, clock = sailed.sail(lon, lat, courses or sailed.straight(30, 60), speed, interval)
    return Fixes("EPSG:4326", lons, lats, t_s=clock, **more)


def put(fixes, max_speed=10.0, **more):
    found = clean_fixes(fixes, TrackSettings(range_m=30.0, max_speed=max_speed, **more))
    return found, found.rejections


# max(10 s, three median intervals), at most 30 s
@pytest.mark.parametrize("interval, gap", [(0.1, 10), (1, 10), (3.3, 10), (4, 12), (8, 24), (10, 30), (25, 30)])
def test_default_gap(interval, gap):
    assert default_gap(np.full(20, float(interval))) == pytest.approx(gap)


def test_an_orderly_log_is_one_stretch():
    found, tally = put(log())
    assert np.array_equal(found.rows, np.arange(61)) and not found.stretch.any()
    assert tally.count() == 0 and found.timed and found.backward == 0


def test_shuffled_fixes_are_sorted_by_time():
    fixes = log()
    order = np.random.default_rng(1).permutation(61)
    found, tally = put(fixes.take(order))
    assert np.array_equal(order[found.rows], np.arange(61))
    assert tally.count() == 0 and found.backward > 0


def test_repeats_are_left_out_and_told_apart():
    fixes = log()
    index = np.concatenate([np.arange(61), [5, 5, 20, 40]])
    more = fixes.take(index)
    more.x[-1] += 1e-4  # the last one says the same time and another place, 8 m off
    found, tally = put(more)
    assert np.array_equal(found.rows, np.arange(61))
    assert tally.count("repeated: same time and place as another") == 3
    assert tally.count("at the same time as another, in a different place") == 1
    assert "row: 62" in tally.lines()[0]
    assert len(found.all_rows) == 65  # what was logged there is not lost


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_fixes_without_place_or_time_are_left_out(bad):
    fixes = log()
    fixes.x[3] = bad
    fixes.t_s[10] = np.nan
    found, tally = put(fixes)
    assert not {3, 10} & set(found.rows.tolist()) and len(found.rows) == 59
    assert tally.count("without usable coordinates") == tally.count("without a time") == 1


@pytest.mark.parametrize("where", [1, 30, 59])
@pytest.mark.parametrize("length", [1, 3, 5])
def test_a_jump_there_and_back_is_left_out_and_breaks_nothing(where, length):
    fixes = log()
    fixes.y[where:where + length] += 0.01  # 1.1 km
    found, tally = put(fixes)
    inner = where > length and where + length < 61 - length
    if inner or length == 1:
        assert len(found.rows) == 61 - length and not found.stretch.any()
        assert tally.count() == length
    else:  # too near an end to say which side is right: nothing is bridged
        assert len(set(found.stretch.tolist())) > 1


def test_a_longer_absence_than_the_log_before_it_is_believed_and_breaks_the_track():
    fixes = log()
    fixes.y[10:40] += 0.01
    found, tally = put(fixes)
    assert len(found.rows) == 61 and tally.count() == 0
    assert np.array_equal(np.flatnonzero(np.diff(found.stretch)), [9, 39])


def test_ten_fixes_a_second_with_ordinary_jitter_do_not_jump():
    fixes = log(sailed.straight(30, 600), interval=0.1)
    rng = np.random.default_rng(2)
    fixes.x += rng.normal(0, 0.5, 601) / 78_850
    fixes.y += rng.normal(0, 0.5, 601) / 111_130
    found, tally = put(fixes)
    assert tally.count() == 0 and not found.stretch.any()


def test_gaps_and_segments_break():
    fixes = log()
    fixes.t_s[30:] += 10.0  # 11 s
    fixes.t_s[50:] += 8.9  # 9.9 s
    fixes.stretch = np.repeat([4, 9], [10, 51])
    found, _ = put(fixes)
    assert np.array_equal(np.flatnonzero(np.diff(found.stretch)), [9, 29])
    assert len(set(put(fixes, max_gap_s=11.5)[0].stretch[10:])) == 1


def test_segments_that_overlap_in_time_are_refused():
    one, two = log(), log(lat=45.01)
    both = Fixes("EPSG:4326", np.append(one.x, two.x), np.append(one.y, two.y), t_s=np.append(one.t_s, two.t_s + 0.5),
                 stretch=np.repeat([0, 1], 61))
    with pytest.raises(InputError, match="overlap in time.*2023-11-14T22:13:20"):
        put(both)


def test_a_copy_of_the_log_is_no_second_receiver():
    one = log()
    twice = one.take(np.tile(np.arange(61), 2))
    twice.stretch = np.repeat([0, 1], 61)
    found, tally = put(twice)
    assert len(found.rows) == 61 and not found.stretch.any() and tally.count() == 61


def test_no_times_are_refused_by_what_would_help():
    fixes = log()
    few = np.where(np.arange(61) < 5, fixes.t_s, np.nan)
    for stamps, words in ((None, "no point has a time"), (few, "only 5 of 61")):
        with pytest.raises(InputError, match=f"{words}.*fixes.t_s.*speed_mps.*fixes.order"):
            put(Fixes("EPSG:4326", fixes.x, fixes.y, t_s=stamps))


def test_a_speed_times_the_way_in_the_order_given():
    fixes = log()
    sailed_as = np.random.default_rng(3).permutation(61)  # row k of the layer was sailed as number sailed_as[k]
    untimed = Fixes("EPSG:4326", fixes.x[sailed_as], fixes.y[sailed_as], order=sailed_as.astype(float))
    untimed.order[sailed_as == 17] = np.nan
    found, tally = put(untimed, speed_mps=2.0)
    assert tally.count("without a value in fixes.order") == 1
    assert not found.timed
    assert np.array_equal(sailed_as[found.rows], np.delete(np.arange(61), 17))
    assert np.abs(np.delete(np.diff(found.clock_s), 16) - 1.0).max() < 1e-6


def test_without_times_a_long_step_is_a_gap():
    fixes = log()
    rest = np.delete(np.arange(61), np.s_[20:35])
    found, _ = put(Fixes("EPSG:4326", fixes.x[rest], fixes.y[rest]), speed_mps=2.0)
    assert np.array_equal(np.flatnonzero(np.diff(found.stretch)), [19])


def test_the_empty_layer_and_the_layer_of_lonely_fixes():
    empty = np.empty(0)
    with pytest.raises(InputError, match="no fixes"):
        put(Fixes("EPSG:4326", empty, empty, t_s=empty))
    with pytest.raises(InputError, match="median interval is 45 s.*max_gap_s"):
        put(log(interval=45.0))
    assert not put(log(interval=45.0), max_gap_s=50.0)[0].stretch.any()


def test_two_places_half_a_world_apart_are_a_jump_not_a_crash():
    fixes = log()
    fixes.x[30], fixes.y[30] = 0.0, 0.0  # a receiver's zero
    found, tally = put(fixes)
    assert tally.count() == 1 and not found.stretch.any()


@settings(max_examples=40, deadline=None)
@given(shift=st.floats(-1e6, 1e6), lon=st.sampled_from([-93.0, 0.0, 179.9995]), seed=st.integers(0, 999))
def test_where_and_when_it_was_changes_nothing(shift, lon, seed):
    rng = np.random.default_rng(seed)
    jumps = rng.random(61) < 0.05
    here, there = log(), log(lon=lon)
    for fixes in (here, there):
        fixes.y[jumps] += 0.01
        fixes.x = (fixes.x + 180) % 360 - 180
    there.t_s += round(shift)
    a, b = put(here)[0], put(there)[0]
    assert np.array_equal(a.rows, b.rows) and np.array_equal(a.stretch, b.stretch)


@pytest.mark.parametrize("aside, left_out", [(12.7, 0), (13.1, 1)])
def test_three_metres_more_than_the_boat_can_go_are_jitter_and_no_jump(aside, left_out):
    fixes = log(sailed.straight(0, 60))  # 2 m a second northward; at 10 m/s a step may be 13 m
    fixes.x[30] += aside / 78_850
    assert put(fixes)[1].count() == left_out


def test_without_times_repeated_places_are_counted_and_left_out():
    fixes = log()
    index = np.insert(np.arange(61), 30, 30)
    found, tally = put(Fixes("EPSG:4326", fixes.x[index], fixes.y[index]), speed_mps=2.0)
    assert tally.count("repeated: same place as the one before") == 1 and len(found.rows) == 61
