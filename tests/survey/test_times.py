"""Times: against Python's own calendar, numpy's, and the examples of ISO 8601 and RFC 3339."""
import contextlib
import datetime

import numpy as np
import pytest
from athwart.survey.model.errors import InputError
from athwart.survey.model.times import day_number, iso_time, iso_times, parse_date, parse_times
from hypothesis import given
from hypothesis import strategies as st

NOON = datetime.datetime(2013, 3, 3, 12, 3, tzinfo=datetime.timezone.utc).timestamp()


@pytest.mark.parametrize("text, expected", [
    ("2013-03-03T12:03:00Z", NOON),
    ("2013-03-03t12:03:00z", NOON),
    ("2013-03-03 12:03:00", NOON),
    ("2013/03/03 12:03", NOON),
    ("20130303T120300Z", NOON),
    ("20130303120300", NOON),
    ("2013-03-03T12:03:00.25Z", NOON + 0.25),
    ("2013-03-03T12:03:00,25Z", NOON + 0.25),
    ("2013-03-03T14:03:00+02:00", NOON),
    ("2013-03-03T14:03:00+0200", NOON),
    ("2013-03-03 12:03:00+00", NOON),
    ("2013-03-03 06:03:00-06", NOON),
    ("2013-03-03T08:33:00-03:30", NOON),
    ("2013-03-03 12:03:00 UTC", NOON),
    ("2013-03-02T24:00:00Z", NOON - 12 * 3600 - 180),
    # RFC 3339, section 5.8: these two are one moment, and this one is the leap second of 1990
    ("1996-12-19T16:39:57-08:00", 851042397.0),
    ("1996-12-20T00:39:57Z", 851042397.0),
    ("1990-12-31T23:59:60Z", 662688000.0),
    ("1937-01-01T12:00:27.87+00:20", -1041337172.13),
    ("1362312180", NOON),
    ("1362312180.5", NOON + 0.5),
    ("1362312180000", NOON),
    (1362312180, NOON),
    (np.int64(1362312180500), NOON + 0.5),
    (np.float32(4096.5), 4096.5),
    (datetime.datetime(2013, 3, 3, 12, 3), NOON),
    (datetime.datetime(2013, 3, 3, 13, 3, tzinfo=datetime.timezone(datetime.timedelta(hours=1))), NOON),
    (np.datetime64("2013-03-03T12:03:00"), NOON),
])
def test_every_usual_way_to_write_a_moment(text, expected):
    assert parse_times([text])[0] == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("nothing", [
    None, "", "  ", "NaN", "null", float("nan"), np.float32("nan"), np.datetime64("NaT")])
def test_unknown_times_stay_unknown(nothing):
    assert np.isnan(parse_times([nothing])[0])


@pytest.mark.parametrize("bad", [
    "2013-03-03", "03.03.2013 12:03", "12:03:00", "2013-02-30T00:00:00Z", "2013-03-03T25:00:00Z",
    "2013-03-03T12:60:00Z",
    "2013-03-03T24:00:01Z", "2013-03-03T12:00:00+15:00", "2013-03/03 12:00", "yesterday", "1e400", 1e15, True, [1]])
def test_a_bad_time_names_its_row_and_value(bad):
    with pytest.raises(InputError, match=r"'boat log', field t, row 3: ") as refused:
        parse_times(["2013-03-03T12:03:00Z", None, bad], what="'boat log', field t")
    assert str(bad) in str(refused.value)
    assert np.isnan(parse_times([bad], strict=False)[0])


def test_the_offset_is_added_to_clocks_without_a_zone_and_to_nothing_else():
    """Central Standard Time is UTC-6: a clock showing 06:03 needs +6 to give 12:03 UTC."""
    values = ["2013-03-03 06:03:00", datetime.datetime(2013, 3, 3, 6, 3), "2013-03-03 06:03:00-06:00", NOON,
              "2013-03-03T12:03:00Z"]
    assert parse_times(values, offset_hours=6) == pytest.approx([NOON] * 5)
    assert parse_times(["2013-03-03 17:33:00"], offset_hours=-5.5)[0] == NOON
    with pytest.raises(InputError, match="offset"):
        parse_times(values, offset_hours=float("nan"))


@pytest.mark.parametrize("name", ["America/Chicago", "Asia/Kolkata", "Pacific/Apia"])
def test_the_computers_zone_changes_nothing(name, zone):
    zone(name)
    assert parse_times(["2013-03-03 12:03:00", datetime.datetime(2013, 3, 3, 12, 3)]) == pytest.approx([NOON] * 2)
    assert iso_time(NOON) == "2013-03-03T12:03:00Z"
    assert parse_date(datetime.date(2013, 3, 3)) * 86400 == NOON - 12 * 3600 - 180


@given(st.datetimes(datetime.datetime(1900, 1, 1), datetime.datetime(2200, 1, 1)), st.integers(-14 * 60, 14 * 60))
def test_agrees_with_datetime_for_any_moment_and_zone(moment, minutes):
    zoned = moment.replace(tzinfo=datetime.timezone(datetime.timedelta(minutes=minutes)))
    assert parse_times([zoned.isoformat()])[0] == pytest.approx(zoned.timestamp(), abs=1e-6)
    assert day_number(moment.year, moment.month, moment.day) == np.datetime64(moment, "D").astype(int)


@given(st.floats(-2e9, 7e9))
def test_iso_text_comes_back_to_the_millisecond(t_s):
    assert parse_times([iso_time(t_s)])[0] == pytest.approx(t_s, abs=5.1e-4)


@given(st.text(max_size=30))
def test_any_text_is_a_time_or_an_input_error(text):
    with contextlib.suppress(InputError):
        assert parse_times([text]).shape == (1,)


def test_iso_times_of_an_array():
    assert list(iso_times([NOON, np.nan, NOON + 0.5])) == ["2013-03-03T12:03:00Z", "", "2013-03-03T12:03:00.500Z"]


@pytest.mark.parametrize("value", ["2013-03-03", "2013/3/3", "20130303", datetime.date(2013, 3, 3)])
def test_dates(value):
    assert parse_date(value) == 15767  # date -d 2013-03-03 +%s, divided by 86400
    assert parse_date("") is None and parse_date(None) is None


@pytest.mark.parametrize("value", ["3.3.2013", "2013-13-01", "2013-02-30", "soon", "2013-03-03T12:00"])
def test_a_bad_date_names_the_parameter(value):
    with pytest.raises(InputError, match="log_date.*year-month-day"):
        parse_date(value)
