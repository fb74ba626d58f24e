"""Range in force: steps that hold, notes by time and by waypoint, and refusals that say what would fit."""
import numpy as np
import pytest
import sailed
from athwart.survey.depths import range_settings
from athwart.survey.fixes.arrange import Fixes
from athwart.survey.model.errors import InputError
from athwart.survey.model.times import times_of_day
from athwart.survey.tracks import settings as track_settings
from athwart.survey.tracks.prepare import prepare
from hypothesis import given
from hypothesis import strategies as st

CLOCK = 1.7e9 + np.arange(0.0, 7200.0, 1.0)  # 2023-11-14 22:13:20 on, two hours


def notes(minutes, ranges, shift_h=0.0, clock=CLOCK, **more):
    moments = clock[0] + 60 * np.asarray(minutes, float) + 3600 * shift_h
    return range_settings.range_notes(moments, ranges, clock, **more)


def test_a_range_holds_until_the_next_and_is_never_interpolated():
    found = range_settings.in_force(CLOCK, notes([50, 10], [20.0, 40.0]), before_m=30.0)
    changes = np.flatnonzero(np.diff(found)) + 1
    assert changes.tolist() == [600, 3000]  # in force from the very moment on
    assert found[[0, 599, 600, 2999, 3000, -1]].tolist() == [30, 30, 40, 40, 20, 20]


def test_before_the_first_note_the_range_is_unknown():
    found = range_settings.in_force(CLOCK, notes([10], [40.0]))
    assert np.isnan(found[:600]).all() and (found[600:] == 40).all()


def test_a_note_made_before_setting_out_holds_from_the_start():
    assert (range_settings.in_force(CLOCK, notes([-20], [40.0])) == 40).all()


@given(st.lists(st.tuples(st.integers(0, 7199), st.sampled_from([10.0, 20.0, 40.0])), min_size=1, max_size=8,
                unique_by=lambda pair: pair[0]))
def test_in_force_equals_a_walk_through_the_notes(pairs):
    found = range_settings.in_force(CLOCK[::60], range_settings.range_notes(
        np.array([CLOCK[0] + second for second, _ in pairs]), np.array([r for _, r in pairs]), CLOCK), 99.0)
    for clock, value in zip(CLOCK[::60], found):
        past = [(second, r) for second, r in pairs if CLOCK[0] + second <= clock]
        assert value == (max(past)[1] if past else 99.0)


@pytest.mark.parametrize("hours", [-9, -5, 5.5, 2, 12.75])
def test_notes_in_another_zone_are_refused_with_the_offset_that_fits(hours):
    with pytest.raises(InputError, match="range_rows runs from 2023.*no change of range falls within") as refusal:
        notes([0, 30, 118], [20.0, 40.0, 20.0], shift_h=-hours, time_offset=1.0)
    assert f"Adding {hours:+g} hours would fit" in str(refusal.value)
    assert f"time_offset to {1 + hours:g}" in str(refusal.value)


@pytest.mark.parametrize("hours", [-9, 5])
def test_of_several_offsets_that_fit_the_one_that_starts_first_in_whole_hours_is_named(hours):
    with pytest.raises(InputError, match=rf"Adding [+]?{hours:g} hours would fit"):
        notes([20, 30, 40], [20.0, 40.0, 20.0], shift_h=-hours)


def test_notes_of_another_day():
    with pytest.raises(InputError, match="check the dates"):
        notes([0, 30], [20.0, 40.0], shift_h=-24 * 7)


@pytest.mark.parametrize("from_s, ranges, words", [
    ([], [], "range_rows is empty"),
    ([CLOCK[0], np.nan], [10.0, 20.0], "Row 2 of range_rows lacks"),
    ([CLOCK[0], CLOCK[9]], [10.0, np.nan], "Row 2 of range_rows lacks"),
    ([CLOCK[0]], [0.0], "range of 0"),
    ([CLOCK[0]], [-5.0], "range of -5"),
    ([CLOCK[7], CLOCK[7]], [10.0, 20.0], "two ranges for the same moment"),
])
def test_rows_that_cannot_be_used(from_s, ranges, words):
    with pytest.raises(InputError, match=words):
        range_settings.range_notes(np.array(from_s), np.array(ranges), CLOCK)


def test_a_field_holds_its_last_value():
    values = np.array([np.nan, 20.0, np.nan, np.nan, 40.0, np.nan])
    assert np.array_equal(range_settings.held(values, "rng"), [np.nan, 20, 20, 20, 40, 40], equal_nan=True)


@pytest.mark.parametrize("values, words", [([np.nan, np.nan], "rng.*no range at all.*range_m"),
                                           ([20.0, 0.0], "range of 0")])
def test_a_field_without_ranges(values, words):
    with pytest.raises(InputError, match=words):
        range_settings.held(np.array(values), "rng")


def line_and_back():
    lon, lat, clock = sailed.sail(-93.0, 45.0, sailed.lawnmower(2, 200))
    return lon, lat, clock, np.zeros(len(clock), int)


def moment(name_lon_lat, track=None):
    lon, lat, clock, stretch = track or line_and_back()
    name, mark_lon, mark_lat = name_lon_lat
    return range_settings.moments_at(sailed.WGS84, lon, lat, clock, stretch, [name], np.array([mark_lon]),
                                     np.array([mark_lat]))[0] - clock[0]


@pytest.mark.parametrize("second", [0, 37, 150.25, 330])
@pytest.mark.parametrize("aside", [0.0, 8.0])
def test_a_waypoint_gives_the_moment_the_boat_was_there(second, aside):
    lon, lat, clock, _ = line_and_back()
    k = int(second)
    azimuth, _, _ = sailed.WGS84.inv(lon[k], lat[k], lon[k + 1], lat[k + 1])
    mark = sailed.WGS84.fwd(lon[k], lat[k], azimuth, 2.0 * (second - k))[:2]
    mark = sailed.WGS84.fwd(*mark, azimuth + 90, aside)[:2]
    assert moment(("set 20", *mark)) == pytest.approx(second, abs=0.01)


def test_a_waypoint_off_the_track_is_refused_by_name():
    with pytest.raises(InputError, match="Waypoint 'home' of range_rows lies .* m from the track"):
        moment(("home", -93.0, 45.01))


def test_a_waypoint_passed_twice_is_refused_by_name():
    lon, lat, clock = sailed.sail(-93.0, 45.0, sailed.straight(90, 200) + sailed.straight(270, 150))
    with pytest.raises(InputError, match="'mark 7' of range_rows more than once.*range_rows.from_s"):
        moment(("mark 7", lon[100], lat[100]), (lon, lat, clock, np.zeros(len(clock), int)))


def test_a_waypoint_between_two_stretches_takes_the_nearer_fix():
    lon, lat, clock, stretch = line_and_back()
    stretch[51:] = 1
    mark = sailed.WGS84.fwd(lon[50], lat[50], 90, 0.8)[:2]
    assert moment(("gap", *mark), (lon, lat, clock, stretch)) == pytest.approx(50, abs=1e-6)


@pytest.mark.parametrize("words, offset, when", [
    ("22:30", 0, "2023-11-14T22:30:00"), ("22:13:30.5", 0, "2023-11-14T22:13:30.5"), ("0:05", 0, "2023-11-15T00:05"),
    ("21:59", 0, "2023-11-14T21:59"), ("21:60", 0, "NaT"), ("23:59:59", 0, "2023-11-14T23:59:59"),
    ("16:20", 6, "2023-11-14T22:20"), ("07:50", -9, "2023-11-14T22:50"), ("21:50", 0, "2023-11-14T21:50"),
    ("10:30 PM", 0, "2023-11-14T22:30"), ("10:30:20p.m.", 0, "2023-11-14T22:30:20"),
    ("12:05 PM", 0, "2023-11-14T12:05"), ("12:05 am", 0, "2023-11-15T00:05"), ("4:20 pm", 6, "2023-11-14T22:20"),
    ("13:05 PM", 0, "NaT"), ("0:05 AM", 0, "NaT"),
    ("2023-11-14", 0, "NaT"), ("25:00", 0, "NaT"), ("", 0, "NaT")])
def test_times_of_day_belong_to_the_outing(words, offset, when):
    found = times_of_day([words], CLOCK[0], offset)[0]
    expected = (np.datetime64(when) - np.datetime64(0, "s")) / np.timedelta64(1, "s")
    assert found == pytest.approx(expected, rel=0, abs=1e-3, nan_ok=True)


def test_one_time_among_changes_by_waypoint_is_refused_where_the_track_has_none():
    lons, lats, _ = sailed.sail(-93.0, 45.0, sailed.straight(30, 60))
    rows = track_settings.RangeRows(np.array([1.7e9, np.nan]), ["", "mark"], np.array([np.nan, lons[30]]),
                                    np.array([np.nan, lats[30]]), np.array([20.0, 30.0]))
    with pytest.raises(InputError, match="times"):
        prepare(Fixes("EPSG:4326", lons, lats),
                track_settings.TrackSettings(range_rows=rows, depth_m=5.0, speed_mps=2.0))


@pytest.mark.parametrize("apart, told", [(9.0, True), (4.0, False)])
def test_of_two_visits_the_one_nearer_by_more_than_the_error_counts(apart, told):
    """There and back on lines 30 m from each other: a mark is off the first by (30 - apart) / 2. Two distances of
    sigma 1.5 m differ by chance by three times 1.5 sqrt 2 = 6.4 m at most."""
    lon, lat, clock = sailed.sail(-93.0, 45.0, [*sailed.straight(90, 100), *sailed.straight(180, 15),
                                               *sailed.straight(270, 100)])  # 2 m/s
    mark = sailed.WGS84.fwd(lon[20], lat[20], 180, (30 - apart) / 2)[:2]
    track = lon, lat, clock, np.zeros(len(clock), int)
    if told:
        assert moment(("set 20", *mark), track) == pytest.approx(20, abs=0.1)
    else:
        with pytest.raises(InputError, match="'set 20' of range_rows more than once"):
            moment(("set 20", *mark), track)


def test_of_a_table_of_two_boats_the_rows_of_this_outing_are_taken():
    boats, outings = ["skiff", "skiff", "barge"], ["north; south", "north; south", "west"]
    rows, said = track_settings.rows_of_outing("south", boats, outings)
    assert rows.tolist() == [0, 1] and len(said) == 1
    assert track_settings.rows_of_outing("barge", boats, outings)[0].tolist() == [2]
    with pytest.raises(InputError, match="2 boats or outings .*none of them is the outing 'east'"):
        track_settings.rows_of_outing("east", boats, outings)
    assert track_settings.rows_of_outing("east", boats[:2], outings[:2])[0].tolist() == [0, 1]
