"""Logs of a stranger's world: excursions, gaps, clocks that step back, a compass that is off, jitter; all said."""
import re
from dataclasses import replace

import numpy as np
import pytest
import sailed
from athwart.survey.depths import range_settings
from athwart.survey.fixes.arrange import Fixes
from athwart.survey.fixes.clean import clean_fixes
from athwart.survey.model.errors import InputError
from athwart.survey.model.times import times_of_day
from athwart.survey.tracks import settings as track_settings
from athwart.survey.tracks.prepare import prepare
from hypothesis import given
from hypothesis import settings as steps
from hypothesis import strategies as st

PLAIN = track_settings.TrackSettings(outing="tuesday", range_m=30.0, depth_m=5.0)
PER_LAT, PER_LON = 111_130.0, 78_850.0  # metres in a degree at 45 N


def log(courses=None, speed=2.0, interval=1.0, **more):
    lons, lats, clock = sailed.sail(-93.0, 45.0, courses or sailed.straight(30, 60), speed, interval)
    return Fixes("EPSG:4326", lons, lats, t_s=clock, **more)


def put(fixes, **more):
    found = clean_fixes(fixes, track_settings.TrackSettings(range_m=30.0, max_speed=10.0, **more))
    return found, found.rejections


def warned(made, words):
    return [text for text in made.warnings if re.search(words, text)]


# ---- places where the boat was not

@pytest.mark.parametrize("length", [6, 20, 100])
def test_an_excursion_of_many_fixes_is_refused_as_one(length):
    fixes = log(sailed.straight(30, 400))
    fixes.y[150:150 + length] += 0.01  # 1.1 km
    found, tally = put(fixes)
    assert len(found.rows) == 401 - length == 401 - tally.count()
    assert len(found.warnings) >= 1
    assert re.search(rf"^{length} fixes from 2023-11-14T22:15:50Z to .* 111\d m away.*max_speed", found.warnings[0])


def test_several_excursions_one_inside_another():
    fixes = log(sailed.straight(30, 400))
    fixes.y[100:160] += 0.01
    fixes.y[120:130] += 0.01
    fixes.y[300:308] -= 0.02
    found, tally = put(fixes)
    assert np.array_equal(found.rows, np.delete(np.arange(401), [*range(100, 160), *range(300, 308)]))
    assert tally.count() == 68


def test_an_excursion_behind_a_silence():
    fixes = log(sailed.straight(30, 400)).take(np.delete(np.arange(401), np.arange(120, 155)))
    fixes.y[120:140] += 0.05
    assert len(put(fixes)[0].rows) == 366 - 20


def test_a_boat_that_really_moved_by_road_is_believed():
    fixes = log(sailed.straight(30, 400))
    fixes.y[200:] += 0.01
    found, tally = put(fixes)
    assert len(found.rows) == 401 and tally.count() == 0 and len(set(found.stretch)) == 2


@pytest.mark.parametrize("rows", [[0], [400], [5, 6, 7, 200, 400], [395, 396, 397, 398, 399, 400]])
@pytest.mark.parametrize("place", [(0.0, 0.0), (12.0, 80.0)])
def test_refused_samples_do_not_stretch_the_layer(rows, place):
    fixes = log(sailed.straight(30, 400))
    fixes.x[rows], fixes.y[rows] = place
    made = prepare(fixes, PLAIN)
    assert np.ptp(made.track.x) < 0.02 and np.ptp(made.track.y) < 0.02
    assert len(made.track) == 401 - len(rows) == 401 - made.tally.count()


def test_a_lake_at_the_crossing_of_equator_and_greenwich():
    lons, lats, clock = sailed.sail(-0.001, 0.0, sailed.straight(90, 200), 2.0, 1.0)
    k = int(np.argmin(np.abs(lons)))
    lons[k], lats[k] = 0.0, 0.0
    assert put(Fixes("EPSG:4326", lons, lats, t_s=clock))[1].count() == 0


# ---- a clock that steps back

@pytest.mark.parametrize("back", [2.0, 2.4, 30.0, 30.5])
@pytest.mark.parametrize("segmented", [False, True])
def test_a_clock_that_steps_back_by_whole_or_other_seconds(back, segmented):
    fixes = log(sailed.straight(30, 400))
    fixes.t_s[200:] -= back
    fixes.stretch = np.repeat([0, 1], [200, 201]) if segmented else None
    found, tally = put(fixes)
    twice = int(back)  # fixes told at or before the newest time so far
    assert tally.count() == twice and tally.count("at times that came again after the clock had stepped back") == twice
    assert np.array_equal(found.rows, np.delete(np.arange(401), np.arange(200, 200 + twice)))
    assert np.array_equal(np.flatnonzero(np.diff(found.stretch)), [199])
    assert any(f"stepped back by {back - 1:.4g} s at row 201" in text for text in found.warnings)


@pytest.mark.parametrize("apart_s", [0.0, 0.5])
def test_two_boats_are_refused_whatever_their_seconds(apart_s):
    one = log()
    two = Fixes("EPSG:4326", np.append(one.x, one.x), np.append(one.y, one.y + 0.01),
                t_s=np.append(one.t_s, one.t_s + apart_s), stretch=np.repeat([0, 1], 61))
    with pytest.raises(InputError, match="overlap in time.*two boats"):
        put(two)


def test_the_same_trip_in_a_second_file_with_fewer_decimals_is_left_out():
    one = log(sailed.straight(30, 200))
    two = Fixes("EPSG:4326", np.append(one.x, one.x.round(5)), np.append(one.y, one.y.round(5)),
                t_s=np.append(one.t_s, one.t_s), stretch=np.repeat([0, 1], 201))
    found, tally = put(two)
    assert len(found.rows) == 201 == tally.count() and not found.stretch.any()


# ---- metres lost in gaps

def test_the_way_lost_in_gaps_is_told_with_the_remedy():
    """A receiver that records bends only: legs of 10 to 25 minutes between fixes, a turn of 4 fixes at their ends."""
    courses, kept, moment = [], [0], 0
    for leg, minutes in enumerate([10, 15, 25, 20]):
        courses += sailed.straight(90 if leg % 2 == 0 else 270, 60 * minutes)
        courses += sailed.turn(90 if leg % 2 == 0 else 270, 180, 6.0)
        kept += [moment + 60 * minutes + k for k in (0, 10, 20, 29)]
        moment += 60 * minutes + 30
    full = log(courses)
    made = prepare(full.take(np.array(kept)), PLAIN)
    said = warned(made, "km of the log are kept")
    legs = 2.0 * 60 * (10 + 15 + 25 + 20) / 1000
    whole, lost, gap, more = (float(number) for number in re.search(
        r"of ([\d.]+) km.*? ([\d.]+) km lie in 4 gaps.*max_gap_s of (\d+) keeps ([\d.]+)", said[0]).groups())
    assert lost == pytest.approx(legs, abs=0.03) and whole == pytest.approx(legs, abs=0.3)
    assert gap == pytest.approx(25 * 60, abs=2) and more == pytest.approx(lost, abs=0.01)
    again = prepare(full.take(np.array(kept)), replace(PLAIN, max_gap_s=gap))
    assert not warned(again, "km of the log are kept")
    assert again.length_m == pytest.approx(1000 * whole, rel=0.05)


def test_a_log_without_gaps_says_nothing_of_them():
    assert not warned(prepare(log(), PLAIN), "km of the log")


# ---- a compass that is off the course

def legs(*courses):
    return [course for one in courses for course in sailed.straight(one, 150)]


def with_compass(courses, off, crab=0.0, rng=None):
    """Headings that are ``off`` by a compass error, and by a current to the north that sets by ``crab`` at most."""
    rng = rng or np.random.default_rng(4)
    true = np.append(courses, courses[-1])
    shown = true + off + crab * np.sin(np.radians(true)) + rng.normal(0, 2, len(true))
    return log(courses, heading_deg=shown % 360)


@pytest.mark.parametrize("off", [13.0, -13.0, 175.0])
def test_a_compass_that_is_off_is_warned_of_with_the_offset_that_fits(off):
    fixes = with_compass(legs(90, 270, 90), off)
    said = warned(prepare(fixes, PLAIN), "compass lies")
    assert len(said) == 1 and "both ways" in said[0]
    fitting = float(re.search(r"heading_offset_deg of (-?\d+)", said[0])[1])
    assert fitting == pytest.approx(-off, abs=1)
    assert not warned(prepare(fixes, replace(PLAIN, heading_offset_deg=fitting)), "compass lies")


def test_the_crab_of_a_current_is_no_compass_error_where_runs_go_both_ways():
    both = with_compass(legs(90, 270, 90, 270), 0.0, crab=13.0)
    assert not warned(prepare(both, PLAIN), "compass lies")
    one_way = warned(prepare(with_compass(legs(90, 90), 0.0, crab=13.0), PLAIN), "compass lies")
    assert len(one_way) == 1 and "may as well be the crab" in one_way[0]


def test_a_compass_error_is_found_beside_a_crab():
    fixes = with_compass(legs(90, 270, 90, 270), 9.0, crab=15.0)
    said = warned(prepare(fixes, PLAIN), "compass lies")
    assert float(re.search(r"heading_offset_deg of (-?\d+)", said[0])[1]) == pytest.approx(-9, abs=1)


def test_a_boat_that_goes_astern_with_a_good_compass_is_not_warned_of():
    fixes = with_compass(legs(90, 270), 180.0)
    assert not warned(prepare(fixes, replace(PLAIN, backwards=True)), "compass lies")


def test_a_good_compass_is_not_warned_of():
    assert not warned(prepare(with_compass(legs(30, 210), 2.0), PLAIN), "compass lies")


# ---- jitter

@pytest.mark.parametrize("interval, jitter", [(0.1, 0.5), (0.2, 0.5), (1.0, 0.5), (10.0, 2.0)])
def test_jitter_does_not_lengthen_the_way(interval, jitter):
    seconds = 300 if interval < 1 else 1800
    courses = []
    for second in np.arange(0, seconds, interval):
        leg, part = divmod(second, 150)
        turn = max(0.0, part - 110) * 4.5  # lines of 110 s, half circles of 40 s, cut in their middle
        courses.append(90.0 + 180 * leg + (turn if leg % 2 else -turn))
    fixes = log(courses, interval=interval)
    rng = np.random.default_rng(8)
    fixes.x += rng.normal(0, jitter, len(fixes)) / PER_LON
    fixes.y += rng.normal(0, jitter, len(fixes)) / PER_LAT
    made = prepare(fixes, PLAIN)
    assert made.length_m == pytest.approx(2.0 * interval * (len(courses) - 1), rel=0.03)
    assert made.passes["length_m"].sum() == pytest.approx(made.length_m)


# ---- changes of range outside the outing

def test_each_change_of_range_outside_the_outing_is_warned_of():
    clock = np.arange(1.7e9, 1.7e9 + 600.0)
    first = clock[0]
    notes = range_settings.range_notes([first + 100, first - 7200, first + 1e5, first - 90],
                                       [20.0, 30.0, 40.0, 50.0], clock)
    assert len(notes.outside) == 3
    told = " ".join(notes.outside)
    assert "Row 2 of range_rows" in told and "2 hours before" in told and "Row 3" in told and "after" in told
    assert "holds from the first fix" in [text for text in notes.outside if "Row 4" in text][0]
    assert "changes nothing" in [text for text in notes.outside if "Row 2" in text][0]
    rows = track_settings.RangeRows(np.array([first + 10, first + 1e5]), ["", ""], np.full(2, np.nan),
                                    np.full(2, np.nan),
                                    np.array([20.0, 40.0]))
    made = prepare(log(), replace(PLAIN, range_rows=rows))
    assert len(warned(made, "Row 2 of range_rows")) == 1 and not warned(made, "Row 1 of range_rows")


def test_a_time_of_day_with_a_point():
    found = times_of_day(["22.20", "22.20:30", "8.3", "25.00"], sailed.START_S)
    assert found[:2] - sailed.START_S == pytest.approx([400, 430]) and np.isnan(found[2:]).all()


# ---- in = out + refused + thinned

KINDS = st.sampled_from(["null", "repeat", "away", "no time", "no place", "jump"])


@steps(max_examples=150, deadline=None)
@given(st.lists(st.tuples(KINDS, st.integers(2, 290), st.integers(1, 30)), max_size=6),
       st.sampled_from([0.1, 1.0, 5.0]))
def test_every_fix_is_a_sample_or_accounted_for(troubles, interval):
    fixes = log(sailed.straight(30, 300), interval=interval)
    for kind, at, size in troubles:
        part = slice(at, min(at + size, 300))
        if kind == "null":
            fixes.x[part], fixes.y[part] = 0.0, 0.0
        elif kind == "repeat":
            fixes = fixes.take(np.sort(np.append(np.arange(len(fixes)), np.arange(part.start, part.stop))))
        elif kind == "away":
            fixes.y[part] += 0.01
        elif kind == "no time":
            fixes.t_s[part] = np.nan
        elif kind == "no place":
            fixes.x[part] = np.nan
        else:
            fixes.t_s[part.start:] -= size
    try:
        made = prepare(fixes, PLAIN)
    except InputError:
        return
    assert len(fixes) == len(made.track) + made.tally.count() + made.thinned
    told = sum(int(text.split()[2]) for text in made.warnings if text.startswith("Left out: "))
    unusable = sum(int(text.split()[0]) for text in made.warnings if "samples cannot be used" in text)
    assert told == made.tally.count() and told + unusable == made.rejected
