"""Several files as one: told apart by content, in order of time, refused by name."""
import os
import shutil

import numpy as np
import pytest
from athwart.survey.io.logs import read_logs
from athwart.survey.model.errors import Cancelled, InputError
from athwart.survey.model.schemas import FIXES, WAYPOINTS, names
from athwart.survey.model.times import iso_time


def paths(fixtures, *wanted):
    return [fixtures / ("gpx" if name.endswith("gpx") else "nmea") / name for name in wanted]


def test_columns_are_those_of_the_contract(fixtures):
    logs = read_logs(paths(fixtures, "survey_dpt_rmc_mtw.nmea", "lakeside_multitrack_gpx10.gpx"))
    assert set(logs.fixes) == {*names(FIXES), "lon", "lat"} - {"time"}
    assert set(logs.waypoints) == {*names(WAYPOINTS), "lon", "lat"} - {"time"}
    kinds = {"double": "f", "int": "fi", "string": "O"}
    for columns, layer in ((logs.fixes, FIXES), (logs.waypoints, WAYPOINTS)):
        assert len({len(column) for column in columns.values()}) == 1
        for field in layer:
            if field.name != "time":
                assert columns[field.name].dtype.kind in kinds[field.kind], field.name


def test_files_are_put_in_order_of_time_and_segments_count_through(fixtures):
    wanted = paths(fixtures, "survey_dpt_rmc_mtw.nmea", "survey_depth_extension_gpx11.gpx",
                   "lakeside_multitrack_gpx10.gpx", "waypoint_extensions_gpx11.gpx", "moored_ais_interleaved.nmea")
    logs = read_logs(wanted)
    order = list(dict.fromkeys(logs.fixes["log_file"]))
    assert order == ["lakeside_multitrack_gpx10.gpx", "survey_depth_extension_gpx11.gpx", "survey_dpt_rmc_mtw.nmea",
                     "moored_ais_interleaved.nmea"]
    assert (np.diff(logs.fixes["t_s"]) >= 0).all()
    assert list(np.unique(logs.fixes["segment"])) == list(range(1, 11))
    broken = np.diff(logs.fixes["segment"]) > 0
    assert broken[logs.fixes["log_file"][1:] != logs.fixes["log_file"][:-1]].all()
    assert logs.depth_count == 1475 + 2408 + 60 and logs.rejected_count == 0
    assert len(logs.waypoints["t_s"]) == 8 and len(logs.files) == 5
    assert logs.files[1] == ("survey_depth_extension_gpx11.gpx (GPX 1.1): 1500 fixes from 2011-02-24T11:10:15Z to "
                             "2011-02-24T12:00:21Z, 1475 depths.")


def test_the_name_of_a_file_says_nothing(fixtures, tmp_path):
    for original, name in zip(paths(fixtures, "stationary_bad_checksums.nmea", "empty_segment_gpx11.gpx"),
                              ("log.gpx", "log.nmea")):
        shutil.copy(original, tmp_path / name)
    logs = read_logs([tmp_path / "log.gpx", os.fspath(tmp_path / "log.nmea")])
    assert len(logs.fixes["t_s"]) == 23 + 9
    assert logs.rejected_count == 23
    assert logs.rejected == ["23 sentences with a wrong checksum (first at log.gpx: 1, 4, 7, 10, 13)"]


def test_one_log_date_and_one_variation_for_all(fixtures):
    logs = read_logs(paths(fixtures, "harbour_dbt_gll_lf.nmea", "sail_dbt_gll_nodate.nmea"), log_date="2012-01-19",
                     time_offset=1, magnetic_variation=0)
    assert iso_time(logs.fixes["t_s"][0]) == "2012-01-19T13:09:06Z"
    assert iso_time(logs.fixes["t_s"][-1]) == "2012-01-19T17:47:28Z"


def test_points_without_a_time_keep_their_order_after_the_others(fixtures):
    logs = read_logs(paths(fixtures, "lakeside_multitrack_notime.gpx", "survey_dpt_rmc_mtw.nmea"))
    assert np.isnan(logs.fixes["t_s"]).sum() == 291
    assert list(logs.fixes["log_line"][:296]) == list(range(1, 297))


def test_the_same_file_twice_is_read_once_and_a_copy_is_told(fixtures, tmp_path):
    path = paths(fixtures, "stationary_bad_checksums.nmea")[0]
    logs = read_logs([path, path.parent / ".." / "nmea" / path.name])
    assert len(logs.fixes["t_s"]) == 23 and "given twice" in logs.warnings[0]
    shutil.copy(path, tmp_path / path.name)
    logs = read_logs([path, tmp_path / path.name])
    assert len(logs.fixes["t_s"]) == 46 and "overlap in time" in logs.warnings[0]
    assert len(set(logs.fixes["log_file"])) == 2  # told apart by their folders


@pytest.mark.parametrize("content, match", [
    (b"", "empty"), (b"\r\n  \r\n\0", "empty"), (b"lat,lon,depth\n45.0,-93.0,3\n", "neither NMEA 0183.*nor GPX"),
    (b"PK\x03\x04\x14\0\0\0\x08\0", "neither"), (b"<html><body/></html>", "not GPX"),
    (b"\xef\xbb\xbf<gpx><trk>", "line 1"),
    (b"$GPGGA,,,,,,0,,,,M,,M,,*66\n", "never has a fix")])
def test_other_files_are_refused_by_name(content, match, tmp_path):
    (tmp_path / "strange.log").write_bytes(content)
    with pytest.raises(InputError, match=f"(?s)^strange.log.*{match}"):
        read_logs([tmp_path / "strange.log"])


def test_files_that_cannot_be_opened_and_none_at_all(tmp_path):
    with pytest.raises(InputError, match="nowhere.nmea cannot be read"):
        read_logs([tmp_path / "nowhere.nmea"])
    with pytest.raises(InputError, match="cannot be read"):
        read_logs([tmp_path])
    with pytest.raises(InputError, match="No log"):
        read_logs([])


@pytest.mark.parametrize("options, match", [
    ({"log_date": "31.5.2024"}, "log_date"), ({"time_offset": float("nan")}, "time offset"),
    ({"magnetic_variation": 200}, "magnetic variation")])
def test_bad_settings_are_refused_before_anything_is_read(options, match, tmp_path):
    with pytest.raises(InputError, match=match):
        read_logs([tmp_path / "nowhere.nmea"], **options)


def test_progress_goes_up_and_cancel_stops(fixtures):
    wanted = paths(fixtures, "survey_dpt_rmc_mtw.nmea", "survey_depth_extension_gpx11.gpx")
    seen = []
    read_logs(wanted, step=seen.append)
    assert seen == sorted(seen) and seen[0] >= 0 and seen[-1] < 1 and 50 < len(seen) < 250

    def stop(fraction):
        if fraction > 0.2:
            raise Cancelled

    with pytest.raises(Cancelled):
        read_logs(wanted, step=stop)


def test_a_log_in_utf_16_gives_the_same_fixes(fixtures, tmp_path):
    path = paths(fixtures, "moored_ais_interleaved.nmea")[0]
    (tmp_path / path.name).write_bytes(path.read_bytes().decode("latin-1").encode("utf-16"))
    one, other = read_logs([path]), read_logs([tmp_path / path.name])
    for name, column in one.fixes.items():
        np.testing.assert_array_equal(column, other.fixes[name])
