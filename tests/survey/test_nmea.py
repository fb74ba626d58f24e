"""NMEA 0183 logs: published sentences, real recordings, and what a log may do to a reader."""
import json
import re
from functools import reduce

import numpy as np
import pytest
from athwart.survey.fixes.logged import fixes_of
from athwart.survey.io.logs import read_logs
from athwart.survey.io.nmea import read_nmea
from athwart.survey.io.sensor_sync import place_readings
from athwart.survey.io.sentences import WRONG_CHECKSUM, plain_bytes
from athwart.survey.model.errors import InputError
from athwart.survey.model.times import iso_time, parse_date
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

KNOT = 1852 / 3600
RMC = "GPRMC,{time},A,4500.000,N,09300.{minute:03d},W,4.0,90.0,{date},,"


def sentence(body):
    return f"${body}*{reduce(lambda a, b: a ^ ord(b), body, 0):02X}"


def log_of(*bodies, **options):
    """Read a log of these sentences, with right checksums."""
    text = "".join(sentence(body) + "\r\n" for body in bodies)
    return read_nmea(text.encode("latin-1"), "log", **{"now": 1.4e9, **options})


def rmc(clock, minute=0, date="310524"):
    return RMC.format(time=clock, minute=minute, date=date)


def read_fixture(fixtures, name, **options):
    return read_nmea(plain_bytes((fixtures / "nmea" / f"{name}.nmea").read_bytes()), name, **{"now": 1.4e9, **options})


# ---- published sentences, as printed with their checksums

PRINTED = [
    # "NMEA Revealed" (gpsd, 2.24) and gpsd's regression logs
    ("$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B",
     {"lat": 44.06899883, "lon": -121.31433717, "time": "2017-01-10T00:10:31Z", "speed_mps": 0.07511,
      "course_deg": np.nan}),
    ("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
     {"lat": 48.1173, "lon": 11.5166667, "time": "1994-03-23T12:35:19Z", "speed_mps": 11.52356, "course_deg": 84.4}),
    ("$GNGGA,001043.00,4404.14036,N,12118.85961,W,1,12,0.98,1113.0,M,-21.3,M*47",
     {"lat": 44.069006, "lon": -121.31432683, "hdop": 0.98, "satellites": 12, "fix_quality": 1}),
    ("$GNGGA,001043.00,4404.14036,N,12118.85961,W,1,12,0.98,1113.0,M,-21.3,M,,*47", {"hdop": 0.98}),
    ("$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34", {"course_deg": 220.86, "speed_mps": 1.31183}),
    ("$GPHDT,274.07,T*03", {"heading_deg": 274.07}),
    ("$HEHDT,4.1,T*2A", {"heading_deg": 4.1}),
    ("$SDHDG,232.9,,,1.3,E*3D", {"heading_deg": 234.2}),
    ("$INDPT,2.3,0.0*46", {"depth_m": 2.3, "depth_offset_m": 0.0, "depth_kind": "transducer"}),
    ("$SDDPT,5.4,0.4,*7E", {"depth_m": 5.4, "depth_offset_m": 0.4, "depth_kind": "transducer"}),
    ("$SDDBT,7.8,f,2.4,M,1.3,F*0D", {"depth_m": 2.4, "depth_offset_m": np.nan, "depth_kind": "transducer"}),
    ("$SDDBT,7.5,f,2.3,M,1.3,F*07", {"depth_m": 2.3}),
    ("$INMTW,17.9,C*1B", {"water_temp_c": 17.9}),
    ("$SDMTW,,C*1A", {"water_temp_c": np.nan}),
    # IHO B-12, the one of its four printed sentences whose checksum is right
    ("$GPGGA,071953.00,0424.9862,N,11359.7661,E,1,9,1.8,21,M,,M,,*68", {"lat": 4.41643667, "lon": 113.99610167}),
]


@pytest.mark.parametrize("printed, expected", PRINTED, ids=[printed[1:12] for printed, _ in PRINTED])
def test_published_sentences(printed, expected):
    is_position = printed[3:6] in ("RMC", "GGA")
    position = "" if is_position else sentence("GPGGA,120000,4500.000,N,09300.000,W,1,9,1.0,,M,,M,,") + "\r\n"
    log = read_nmea((position + printed + "\r\n").encode("ascii"), "log", log_date=parse_date("2024-05-31"), now=0)
    assert len(log.fixes["t_s"]) == 1 and log.tally.count() == 0
    found = {**{name: column[0] for name, column in log.fixes.items()}, "time": iso_time(log.fixes["t_s"][0])}
    for name, value in expected.items():
        assert found[name] == (value if isinstance(value, str) else pytest.approx(value, abs=6e-6, nan_ok=True)), name


def test_published_date_sentence():
    """ "NMEA Revealed": the zone of -1 h is for information; the time is UTC already."""
    log = read_nmea(("$GPZDA,160012.71,11,03,2004,-1,00*7D\n" + sentence("GPGLL,4500.0,N,09300.0,W,160012.71,A") + "\n")
                    .encode("ascii"), "log", now=0)
    assert iso_time(log.fixes["t_s"][0]) == "2004-03-11T16:00:12.710Z"


def test_a_printed_sentence_with_a_wrong_checksum_is_refused():
    """IHO B-12 prints 3A; the bytes give 32."""
    printed = "$SDDBT,0006.0,f,0001.828,M,0001.0,F*3A"
    log = read_nmea(f"{sentence(rmc('120000'))}\n{printed}\n".encode("ascii"), "log", now=0)
    assert np.isnan(log.fixes["depth_m"][0]) and log.tally.lines() == [f"1 {WRONG_CHECKSUM} (log: 2)"]
    mended = printed.replace("3A", "32")
    log = read_nmea(f"{sentence(rmc('120000'))}\n{mended}\n".encode("ascii"), "log", now=0)
    assert log.fixes["depth_m"][0] == 1.828


# ---- real recordings

RECORDINGS = [
    # name, sentence whose fixes are all the fixes, LOG_DATE, depth sentence
    ("harbour_dbt_gll_lf", "GLL", "2012-01-19", "DBT"),
    ("sail_dbt_gll_nodate", "GLL", "2016-08-01", "DBT"),
    ("moored_ais_interleaved", "RMC", None, "DPT"),
    ("stationary_bad_checksums", "RMC", None, None),
]


@pytest.mark.parametrize("name, kind, day, depth", RECORDINGS)
def test_recordings_agree_with_another_reader(name, kind, day, depth, fixtures):
    """expected.json: pynmea2 1.19.0 with pyproj 3.7.2."""
    expected = json.loads((fixtures / "expected.json").read_text(encoding="utf-8"))["nmea"][f"{name}.nmea"]
    log = read_fixture(fixtures, name, log_date=parse_date(day))
    fixes, wanted = log.fixes, expected[kind]
    assert len(fixes["t_s"]) == wanted["fixes"]
    date = day or wanted["first"][:10]
    assert iso_time(fixes["t_s"][0]) == f"{date}T{wanted['first'][-14:-6]}Z"
    assert iso_time(fixes["t_s"][-1]) == f"{date}T{wanted['last'][-14:-6]}Z"
    length = Geod(ellps="WGS84").line_length(fixes["lon"], fixes["lat"])
    assert length == pytest.approx(wanted["length_m"], abs=0.051)
    west, south, east, north = wanted["bbox_lonlat"]
    assert [fixes["lon"].min(), fixes["lat"].min(), fixes["lon"].max(), fixes["lat"].max()] == pytest.approx(
        [west, south, east, north], abs=6e-7)
    assert set(fixes["segment"]) == {0}
    if depth is None:
        assert log.depth_count == 0
    else:
        assert log.depth_count == expected[depth]["n"]
        assert [np.nanmin(fixes["depth_m"]), np.nanmax(fixes["depth_m"])] == expected[depth]["depth_m"]
    assert log.tally.count() == expected["lines"].get("bad", 0)


def test_headings_temperature_offset_and_quality_of_the_moored_log(fixtures):
    fixes = read_fixture(fixtures, "moored_ais_interleaved").fixes
    assert fixes["heading_deg"].min() >= 181.7 + 0.6 - 1e-9 and fixes["heading_deg"].max() <= 182.0 + 0.6 + 1e-9
    assert fixes["water_temp_c"].min() >= 12.5 and fixes["water_temp_c"].max() <= 12.6
    assert set(fixes["depth_offset_m"]) == {0.5}
    assert set(fixes["satellites"]) == {0} and set(fixes["fix_quality"]) == {1}


def test_positions_in_turn_are_one_track_and_every_depth_is_used(fixtures):
    """RMC, GGA and GLL in turn: read here with a regular expression, line by line."""
    fix, track, depths = None, {}, {}
    for line in (fixtures / "nmea" / "survey_dpt_rmc_mtw.nmea").read_text(encoding="ascii").splitlines():
        place = re.search(r",(\d\d)(\d\d\.\d+),S,(\d{3})(\d\d\.\d+),W,", line)
        clock = re.match(r"\$IN(?:RMC|GGA),(\d{6})|\$INGLL,.*,W,(\d{6})", line)
        if clock and place:
            fix = clock[1] or clock[2]
            a, b, c, d = map(float, place.groups())
            track.setdefault(fix, (-c - d / 60, -a - b / 60))
        elif line.startswith("$INDPT"):
            depths.setdefault(fix, []).append(float(line.split(",")[1]))
    expected = json.loads((fixtures / "expected.json").read_text(encoding="utf-8"))["nmea"]["survey_dpt_rmc_mtw.nmea"]
    log = read_fixture(fixtures, "survey_dpt_rmc_mtw")
    fixes = log.fixes
    assert [iso_time(t)[11:19].replace(":", "") for t in fixes["t_s"]] == list(track)
    assert iso_time(fixes["t_s"][0])[:10] == "2013-03-03"
    lon, lat = np.array(list(track.values())).T
    assert fixes["lon"] == pytest.approx(lon, abs=1e-12) and fixes["lat"] == pytest.approx(lat, abs=1e-12)
    length = Geod(ellps="WGS84").line_length(fixes["lon"], fixes["lat"])
    assert length == pytest.approx(Geod(ellps="WGS84").line_length(lon, lat), abs=1e-6)
    assert length > max(expected[kind]["length_m"] for kind in ("RMC", "GGA", "GLL"))
    assert log.depth_count == expected["DPT"]["n"] == 2408
    assert list(fixes["depth_m"]) == [sorted(depths[clock])[len(depths[clock]) // 2] for clock in track]
    assert np.isfinite(fixes["water_temp_c"]).sum() == 1204 and np.isfinite(fixes["hdop"]).sum() == 602


def test_a_log_without_a_fix_says_so(fixtures):
    with pytest.raises(InputError, match="nofix_empty_heading never has a fix: all its 57 positions"):
        read_fixture(fixtures, "nofix_empty_heading", log_date=parse_date("2018-09-07"))


@pytest.mark.parametrize("name", ["harbour_dbt_gll_lf", "sail_dbt_gll_nodate"])
def test_a_log_without_a_date_names_the_parameter(name, fixtures):
    with pytest.raises(InputError, match=f"{name} has times but no date.*log_date"):
        read_fixture(fixtures, name)


def test_the_computers_zone_changes_nothing(fixtures, zone):
    zone("America/Chicago")
    assert iso_time(read_fixture(fixtures, "moored_ais_interleaved").fixes["t_s"][0]) == "2014-04-16T19:57:19Z"


# ---- dates

def gll(clock, minute=0):
    return f"GPGLL,4500.000,N,09300.{minute:03d},W,{clock},A,A"


def times(log):
    return [iso_time(t) for t in log.fixes["t_s"]]


def test_midnight_without_dates_goes_to_the_next_day():
    log = log_of(gll("235959"), gll("000000"), gll("000001"), log_date=parse_date("2024-02-28"))
    assert times(log) == ["2024-02-28T23:59:59Z", "2024-02-29T00:00:00Z", "2024-02-29T00:00:01Z"]
    assert set(log.fixes["segment"]) == {0}


def test_midnight_between_a_dated_and_an_undated_sentence():
    log = log_of(rmc("235959"), gll("000000", 1), rmc("000001", 2, "010624"), gll("000002", 3))
    assert times(log) == ["2024-05-31T23:59:59Z", "2024-06-01T00:00:00Z", "2024-06-01T00:00:01Z",
                          "2024-06-01T00:00:02Z"]


def test_clocks_that_waver_about_midnight():
    log = log_of(gll("235959"), gll("000001"), gll("235959.9"), gll("000002"), log_date=parse_date("2024-05-31"))
    assert times(log) == ["2024-05-31T23:59:59Z", "2024-06-01T00:00:01Z", "2024-06-01T00:00:02Z"]


def test_a_date_sentence_on_the_other_side_of_midnight():
    log = log_of(gll("235959"), "GPZDA,000000,01,06,2024,00,00", gll("000001"))
    assert times(log) == ["2024-05-31T23:59:59Z", "2024-06-01T00:00:01Z"]


def test_the_date_comes_before_the_log_has_it_too():
    log = log_of(gll("235958"), gll("235959"), gll("000000"), rmc("000001", date="010624"))
    assert times(log)[0] == "2024-05-31T23:59:58Z"


def test_one_date_sentence_serves_a_log_of_days():
    hours = [(h, m) for h in range(24) for m in (0, 20, 40)] * 2
    log = log_of("GPZDA,000000,31,05,2024,00,00", *[gll(f"{h:02d}{m:02d}05", i) for i, (h, m) in enumerate(hours)])
    assert times(log)[0] == "2024-05-31T00:00:05Z" and times(log)[-1] == "2024-06-01T23:40:05Z"
    assert np.diff(log.fixes["t_s"]) == pytest.approx(1200)


@pytest.mark.parametrize("date, expected", [("310579", "2079"), ("310580", "1980"), ("310599", "1999")])
def test_years_of_two_digits(date, expected):
    assert times(log_of(rmc("120000", date=date)))[0].startswith(expected)


def test_the_date_of_a_void_sentence_is_not_trusted():
    log = log_of("GPRMC,000005,V,,,,,,,060180,,", gll("120001"), rmc("120002", 1))
    assert times(log) == ["2024-05-31T12:00:01Z", "2024-05-31T12:00:02Z"]


def test_log_date_serves_only_logs_without_a_date():
    log = log_of(rmc("120000"), log_date=parse_date("2020-01-01"))
    assert times(log) == ["2024-05-31T12:00:00Z"]
    assert any("log_date" in warning and "not used" in warning for warning in log.warnings)


def test_a_started_again_week_counter_is_warned_of_and_mended_only_when_asked():
    """2024-05-31 less 7168 days is 2004-10-15."""
    now = 1.75e9
    log = log_of(rmc("120000", date="151004"), rmc("120001", 1, "151004"), now=now)
    assert times(log)[0] == "2004-10-15T12:00:00Z"
    assert len(log.warnings) == 1 and "log_date as 2024-05-31" in log.warnings[0]
    log = log_of(rmc("120000", date="151004"), rmc("120001", 1, "151004"), now=now, log_date=parse_date("2024-05-31"))
    assert times(log) == ["2024-05-31T12:00:00Z", "2024-05-31T12:00:01Z"] and "7168" in log.warnings[0]
    assert log_of(rmc("120000"), now=now).warnings == []


def test_the_time_offset_is_added():
    """An instrument on Central Standard Time, UTC-6: its 20:00 on the 31st is 02:00 UTC on the 1st."""
    assert times(log_of(rmc("200000"), time_offset=6)) == ["2024-06-01T02:00:00Z"]


# ---- moments and segments

def test_sentences_of_one_moment_are_one_fix():
    log = log_of("GPGGA,120000.00,4500.000,N,09300.000,W,2,9,1.2,,M,,M,,", gll("120000"), rmc("120000.0"),
                 gll("120001"))
    assert len(log.fixes["t_s"]) == 2
    assert log.fixes["speed_mps"][0] == pytest.approx(4 * KNOT) and log.fixes["fix_quality"][0] == 2
    assert list(log.fixes["log_line"]) == [1, 4]


def test_void_positions_are_dropped_and_counted():
    log = log_of(rmc("120000"), "GPRMC,120001,V,4500.000,N,09300.000,W,,,310524,,",
                 "GPGGA,120002,4500.000,N,09300.000,W,0,,,,M,,M,,", "GPGGA,120003,,,,,,,,,M,,M,,",
                 "GPRMC,120004,A,4500.000,N,09300.000,W,4.0,90.0,310524,,,N",
                 "GPGLL,0000.000,N,00000.000,E,120005,A", "GPGLL,4500.000,N,09300.000,W,120005.5,A,N",
                 "GPGNS,120006,,,,,NN,0,,,,,", "GPGNS,120007,4500.000,N,09300.000,W,AN,9,1.5,,,,", rmc("120008"))
    assert [iso_time(t)[17:19] for t in log.fixes["t_s"]] == ["00", "07", "08"]
    assert log.tally.count("positions without a fix (status V, quality 0 or empty)") == log.tally.count() == 7
    assert log.fixes["hdop"][1] == 1.5 and log.fixes["satellites"][1] == 9


def test_a_void_sentence_spoils_its_whole_moment():
    log = log_of(rmc("120000"), "GPRMC,120001,V,,,,,,,310524,,", gll("120001"), rmc("120002"))
    assert [iso_time(t)[17:19] for t in log.fixes["t_s"]] == ["00", "02"]
    assert log.tally.lines()[1] == "1 positions that another sentence of the same moment calls void (log: 3)"


def test_dead_reckoning_is_told():
    log = log_of("GPGGA,120000,4500.000,N,09300.000,W,6,0,,,M,,M,,", log_date=parse_date("2024-05-31"))
    assert list(log.fixes["fix_quality"]) == [6] and "dead reckoning" in log.warnings[0]


def test_a_silence_and_a_step_back_break_the_track():
    clocks = ["120000", "120001", "120002", "120032", "120103", "110000", "110001", "110002"]
    log = log_of(*map(rmc, clocks))
    assert list(log.fixes["segment"]) == [0, 0, 0, 0, 1, 2, 2, 2]


def test_a_slow_log_is_not_broken_at_every_fix():
    log = log_of(*[rmc(f"12{minute:02d}00") for minute in range(10)], rmc("121500"))
    assert list(log.fixes["segment"]) == [0] * 10 + [1]


def test_late_sentences_are_dropped_and_counted():
    log = log_of(rmc("120000"), rmc("120001"), gll("120000"), rmc("120002"), rmc("120003"))
    assert [iso_time(t)[17:19] for t in log.fixes["t_s"]] == ["00", "01", "02", "03"]
    assert set(log.fixes["segment"]) == {0} and log.tally.count() == 1


def test_two_receivers_do_not_make_one_zigzag():
    bodies = [rmc("115958"), rmc("115959")]
    for second in range(20):
        bodies += [rmc(f"1200{second:02d}"), f"ECGLL,4501.000,N,09300.000,W,1200{second:02d}.4,A"]
    log = log_of(*bodies)
    assert set(log.fixes["lat"]) == {45.0} and "EC" in log.notes[0]
    log = log_of(*bodies, "ECGLL,4501.000,N,09300.000,W,121000,A")
    assert log.fixes["lat"][-1] == pytest.approx(45 + 1 / 60) and log.fixes["segment"][-1] == 1


def test_satellite_talkers_are_one_receiver():
    log = log_of(rmc("120000"), gll("120001").replace("GP", "GN", 1), gll("120002").replace("GP", "GL", 1))
    assert len(log.fixes["t_s"]) == 3 and log.notes == []


@pytest.mark.parametrize("bad, what", [
    ("GPGLL,4560.000,N,09300.000,W,120001,A", "latitude"), ("GPGLL,9100.000,N,09300.000,W,120001,A", "latitude"),
    ("GPGLL,4500.000,,09300.000,W,120001,A", "latitude"), ("GPGLL,4500.000,N,18100.000,W,120001,A", "longitude"),
    ("GPGLL,45.5,N,0930x.000,W,120001,A", "latitude"), ("GPGLL,4500.000,N,09300.000,W,250000,A", "time"),
    ("GPGLL,4500.000,N,09300.000,W,,A", "time"), ("GPRMC,120001,A,4500.000,N,09300.000,W,,,310224,,", "date"),
    ("SDDPT,-1.0,0.0", "depth"), ("SDDPT,nan,0.0", "depth"), ("SDDBT,,f,x,M,,F", "depth"),
    ("HEHDT,400.0,T", "heading"), ("SDMTW,warm,C", "temperature"), ("GPZDA,120000,31,02,2024,,", "date"),
])
def test_values_that_cannot_be_read_are_counted_by_what_they_are(bad, what):
    log = log_of(rmc("120000"), bad, rmc("120002", 2))
    assert len(log.fixes["t_s"]) == 2
    assert log.tally.lines() == [f"1 {bad[2:5]} sentences whose {what} cannot be read (log: 2)"]


def test_the_first_version_of_gll_has_no_status():
    log = log_of(rmc("120000"), "GPGLL,4500.000,N,09300.001,W,120001")
    assert len(log.fixes["t_s"]) == 2


def test_longitude_and_latitude_may_have_any_number_of_decimals():
    log = log_of("GPGLL,4530,N,09315,W,120000,A", "GPGLL,4530.,S,00030.12345678,E,120001,A",
                 log_date=parse_date("2024-05-31"))
    assert log.fixes["lat"] == pytest.approx([45.5, -45.5])
    assert log.fixes["lon"] == pytest.approx([-93.25, 0.502057613], abs=1e-9)


# ---- depth, heading, speed, temperature

@pytest.mark.parametrize("body, depth, kind", [
    ("SDDPT,5.4,-0.3", 5.4, "transducer"), ("SDDBT,17.7,f,,M,,F", 17.7 * 0.3048, "transducer"),
    ("SDDBT,,f,5.4,M,,F", 5.4, "transducer"), ("SDDBT,,f,,M,3.0,F", 3 * 1.8288, "transducer"),
    ("SDDBS,19.0,f,5.8,M,3.2,F", 5.8, "surface"), ("SDDBK,16.7,f,5.1,M,2.8,F", 5.1, "keel"),
    ("SDDBT,,f,,M,,F", np.nan, ""), ("SDDPT,,0.3", np.nan, "")])
def test_depths_are_kept_as_logged_in_metres(body, depth, kind):
    log = log_of(rmc("120000"), body)
    assert log.fixes["depth_m"][0] == pytest.approx(depth, nan_ok=True)
    assert log.fixes["depth_kind"][0] == kind
    assert log.depth_count == (kind != "") and log.tally.count() == 0


def test_the_offset_keeps_its_sign():
    assert log_of(rmc("120000"), "SDDPT,5.4,-0.3").fixes["depth_offset_m"][0] == -0.3


def test_depths_before_and_after_their_position():
    """Both orders of talking, and a clock between that tells which is meant."""
    after = log_of(rmc("120000"), "SDDPT,1.0,", rmc("120001"), "SDDPT,2.0,", rmc("120002"), "SDDPT,3.0,")
    assert list(after.fixes["depth_m"]) == [1, 2, 3]
    before = log_of("GPZDA,115959.9,31,05,2024,,", "SDDPT,1.0,", rmc("120000"), "GPZDA,120000.9,31,05,2024,,",
                    "SDDPT,2.0,", rmc("120001"), "GPZDA,120001.9,31,05,2024,,", "SDDPT,3.0,", rmc("120002"))
    assert list(before.fixes["depth_m"]) == [1, 2, 3]


def test_of_many_depths_the_median_is_kept_and_all_are_counted():
    bodies = []
    for second in range(5):
        bodies += [rmc(f"12000{second}"), "SDDPT,6.2,", "SDDPT,0.3,", "SDDPT,6.3,", "SDDPT,62.7,", "SDDPT,6.1,"]
    log = log_of(*bodies)
    assert list(log.fixes["depth_m"]) == [6.2] * 5 and log.depth_count == 25


def test_of_two_depths_the_one_that_is_not_a_lost_bottom():
    assert log_of(rmc("120000"), "SDDPT,0.3,", "SDDPT,6.3,").fixes["depth_m"][0] == 6.3


def test_depths_while_the_receiver_is_silent_or_void_go_to_no_fix():
    silent = log_of(rmc("120000"), "SDDPT,1.0,", rmc("120001"), *["SDDPT,9.0,"] * 20, rmc("120020"), "SDDPT,2.0,",
                    rmc("120021"), "SDDPT,3.0,")
    assert list(silent.fixes["depth_m"]) == [1, pytest.approx(np.nan, nan_ok=True), 2, 3]
    assert silent.depth_count == 3 and silent.tally.count() == 20
    void = []
    for second in range(10):
        void += [f"GPRMC,12000{second},V,,,,,,,310524,,", "SDDPT,9.0,"]
    log = log_of(rmc("115958"), "SDDPT,1.0,", rmc("115959"), "SDDPT,1.5,", *void, rmc("120010"), "SDDPT,2.0,",
                 rmc("120011"), "SDDPT,3.0,")
    assert list(log.fixes["depth_m"]) == [1, 1.5, 9, 3]
    assert log.depth_count == 5 and log.tally.count("depths too far in time from any fix") == 9


def test_a_sounder_that_goes_on_after_the_receiver_stopped():
    log = log_of(*[body for second in range(9) for body in (rmc(f"12000{second}"), "SDDPT,5.0,")], *["SDDPT,9.0,"] * 50)
    assert log.depth_count < 15 and log.tally.count() > 40


def test_one_sounder_in_two_sentences_counts_once():
    log = log_of(rmc("120000"), "SDDBT,16.4,f,5.0,M,2.7,F", "SDDPT,5.0,0.3", rmc("120001"), "SDDPT,5.1,0.3",
                 "SDDBT,16.7,f,5.1,M,2.7,F")
    assert log.depth_count == 2 and list(log.fixes["depth_offset_m"]) == [0.3, 0.3]
    assert "DPT" in log.notes[0]


def test_magnetic_headings_need_a_variation():
    bodies = [rmc("120000"), "HCHDG,350.0,2.0,W,,", "HCHDM,200.0,M"]
    log = log_of(*bodies)
    assert np.isnan(log.fixes["heading_deg"][0]) and "magnetic_variation" in log.warnings[0]
    log = log_of(*bodies, magnetic_variation=15)
    assert log.fixes["heading_deg"][0] == pytest.approx(350 - 2 + 15 - 360)
    assert log_of(rmc("120000"), "HCHDM,200.0,M", magnetic_variation=-10).fixes["heading_deg"][0] == 190
    assert log_of(rmc("120000"), "HCHDG,200.0,,,3.5,W", magnetic_variation=9).fixes["heading_deg"][0] == 196.5


def test_the_variation_of_rmc_serves_when_nothing_else_is_known():
    log = log_of("GPRMC,120000,A,4500.000,N,09300.000,W,4.0,90.0,310524,1.5,W", "HCHDM,100.0,M")
    assert log.fixes["heading_deg"][0] == 98.5 and "RMC" in log.notes[0]
    log = log_of("GPRMC,120000,A,4500.000,N,09300.000,W,4.0,90.0,310524,0.0,E", "HCHDM,100.0,M")
    assert np.isnan(log.fixes["heading_deg"][0])  # a zero is what instruments without a model send


def test_a_true_heading_goes_before_a_magnetic_one():
    log = log_of(rmc("120000"), "HCHDG,200.0,,,5.0,E", "HEHDT,204.0,T")
    assert log.fixes["heading_deg"][0] == 204.0


@pytest.mark.parametrize("body, speed, course", [
    ("GPVTG,90.0,T,91.5,M,5.0,N,9.3,K,A", 5 * KNOT, 90), ("GPVTG,90.0,91.5,5.0,9.3", 5 * KNOT, 90),
    ("GPVTG,90.0,T,,M,,N,9.0,K", 2.5, 90), ("GPVTG,,T,,M,,N,,K,N", np.nan, np.nan),
    ("GPVTG,,,5.0,9.3", 5 * KNOT, np.nan)])
def test_both_forms_of_vtg(body, speed, course):
    fixes = log_of(gll("120000"), body, log_date=parse_date("2024-05-31")).fixes
    assert fixes["speed_mps"][0] == pytest.approx(speed, nan_ok=True)
    assert fixes["course_deg"][0] == pytest.approx(course, nan_ok=True)


def test_rmc_speed_goes_before_vtg():
    assert log_of(rmc("120000"), "GPVTG,10.0,T,,M,9.0,N,,K").fixes["speed_mps"][0] == pytest.approx(4 * KNOT)


# ---- what must not happen

def test_a_log_of_the_sounder_alone_is_refused():
    with pytest.raises(InputError, match="no position"):
        log_of("SDDPT,5.4,0.0", "SDMTW,12.0,C")


def test_a_log_of_nothing_but_wrong_checksums_says_so():
    text = (sentence(rmc("120000"))[:-2] + "00\n") * 3
    with pytest.raises(InputError, match="3 sentences with a wrong checksum"):
        read_nmea(text.encode("ascii"), "log")


@pytest.mark.parametrize("keep", [0.1, 0.5, 0.93])
def test_a_log_cut_short_gives_what_it_holds(keep, fixtures):
    data = (fixtures / "nmea" / "survey_dpt_rmc_mtw.nmea").read_bytes()
    log = read_nmea(data[:int(len(data) * keep)], "log", now=1.4e9)
    assert len(log.fixes["t_s"]) == pytest.approx(2400 * keep, rel=0.02)


FIELDS = st.text("0123456789.,NSEWAVMTKF-nai", max_size=40)
KINDS = ["GPRMC", "GNGGA", "ECGLL", "GNGNS", "SDDPT", "SDDBT", "HCHDG", "GPVTG", "GPZDA", "SDMTW", "HEHDT", "SDDBK",
         "PQRMC"]
BODIES = st.tuples(st.sampled_from(KINDS), FIELDS).map(",".join)


@settings(max_examples=200)
@given(st.lists(BODIES | st.just(rmc("120000")) | st.just(gll("235959")), max_size=12), st.binary(max_size=30),
       st.sampled_from([None, 19000]))
def test_junk_never_crashes(bodies, junk, day):
    text = b"".join(sentence(body).encode("ascii") + b"\r\n" for body in bodies)
    try:
        log = read_nmea(text + junk + text, "log", log_date=day)
    except InputError as refused:
        assert "log" in str(refused)
        return
    fixes = log.fixes
    assert np.isfinite(fixes["t_s"]).all()
    assert (np.abs(fixes["lat"]) <= 90).all() and (np.abs(fixes["lon"]) <= 180).all()
    assert len({len(column) for column in fixes.values()}) == 1


def test_a_date_sentence_without_its_day_tells_nothing_and_is_no_fault():
    """Receivers send ZDA with the date left blank until they know it."""
    for blank in ("GPZDA,120000.5,,,,,", "GPZDA,120000.5,,05,2024,00,00", "GPZDA,120000.5,31,,2024,00,00"):
        log = log_of(blank, rmc("120001"))
        assert log.tally.count() == 0 and iso_time(log.fixes["t_s"][0]) == "2024-05-31T12:00:01Z"


def test_a_reading_in_a_long_silence_of_the_clock_goes_with_the_last_times_around_it():
    """Five times a second apart, the last 94 sentences on: half-way there a reading lies between two times, not at the
    log's end, and goes to a fix."""
    order, t = np.array([0, 2, 4, 6, 100]), np.arange(5.0)
    assert place_readings(np.array([50]), order, t, order, t).tolist() == [3]
    assert place_readings(np.array([102, 106]), order, t, order, t).tolist() == [4, -1]  # past the end: twice 2 places


@pytest.mark.parametrize("sounded", [True, False])
def test_fixes_of_logs_carry_the_soundings_with_their_kind_or_none_of_it(tmp_path, sounded):
    body = [one for k in range(4) for one in (rmc(f"12000{k}", k), *["SDDPT,5.4,0.4,"] * sounded)]
    (tmp_path / "day.nmea").write_text("".join(sentence(one) + "\n" for one in body))
    logs = read_logs([tmp_path / "day.nmea"])
    for fixes, depths in ((fixes_of(logs), sounded), (fixes_of(logs, depths=False), False)):
        assert fixes.crs.to_epsg() == 32615 and np.diff(fixes.t_s).tolist() == [1, 1, 1]
        if depths:
            assert fixes.depth_m.tolist() == [5.4] * 4 and fixes.depth_offset_m.tolist() == [0.4] * 4
            assert fixes.depth_kind.tolist() == ["transducer"] * 4
        else:
            assert fixes.depth_m is None and fixes.depth_kind is None and fixes.depth_offset_m is None
