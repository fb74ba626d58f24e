"""Read NMEA 0183 and GPX logs, through the three doors: a script, a model's child, the command line."""
import math

import pytest
from athwart.survey.io.logs import read_logs
from athwart.survey.model.schemas import FIXES, WAYPOINTS, names
from qgis.core import NULL, QgsFeature, QgsProcessingException, QgsProcessingFeedback, QgsVectorLayer, QgsWkbTypes
from qgis.PyQt.QtCore import QDateTime, Qt


class Heard(QgsProcessingFeedback):
    """Keeps what a tool says."""

    def __init__(self):
        super().__init__(False)
        self.said = {"info": [], "warning": [], "error": []}

    def pushInfo(self, info):
        self.said["info"].append(info)

    def pushWarning(self, warning):
        self.said["warning"].append(warning)

    def reportError(self, error, fatalError=False):
        self.said["error"].append(error)


@pytest.fixture
def log(fixtures):
    return lambda name: str(fixtures / ("gpx" if name.endswith("gpx") else "nmea") / name)


def attributes(feature: QgsFeature):
    return dict(zip(feature.fields().names(), feature.attributes()))


def test_fixes_and_waypoints_are_the_cores(run, log):
    paths = [log("survey_dpt_rmc_mtw.nmea"), log("lakeside_multitrack_gpx10.gpx"), log("moored_ais_interleaved.nmea")]
    heard = Heard()
    results = run("readlogs", {"INPUT": paths, "OUTPUT": "memory:", "WAYPOINTS": "memory:"}, heard)
    core = read_logs(paths)
    fixes, waypoints = results["OUTPUT"], results["WAYPOINTS"]
    assert results["FIX_COUNT"] == fixes.featureCount() == 2400 + 296 + 60
    assert results["DEPTH_COUNT"] == 2408 + 60 and results["REJECTED_COUNT"] == 0
    assert waypoints.featureCount() == 7
    for layer, expected in ((fixes, FIXES), (waypoints, WAYPOINTS)):
        assert layer.fields().names() == names(expected)
        assert layer.crs().authid() == "EPSG:4326" and layer.wkbType() == QgsWkbTypes.Type.Point
    rows = list(fixes.getFeatures())
    assert [f["t_s"] for f in rows] == list(core.fixes["t_s"])
    assert [f.geometry().asPoint().x() for f in rows] == list(core.fixes["lon"])
    surveyed = core.fixes["log_file"] == "survey_dpt_rmc_mtw.nmea"
    assert [f["depth_m"] for f, wanted in zip(rows, surveyed) if wanted] == list(core.fixes["depth_m"][surveyed])
    assert len([text for text in heard.said["info"] if "fixes from" in text]) == 3
    first = attributes(rows[-1])
    assert first["depth_kind"] == "transducer" and first["depth_offset_m"] == 0.5 and first["fix_quality"] == 1
    assert first["time"].toUTC() == QDateTime.fromString("2014-04-16T19:58:18Z", Qt.DateFormat.ISODate)


def test_what_is_not_known_is_null_and_never_nan(run, log):
    fixes = run("readlogs", {"INPUT": [log("lakeside_multitrack_notime.gpx")], "OUTPUT": "memory:"})["OUTPUT"]
    rows = [attributes(f) for f in fixes.getFeatures()]
    assert sum(row["t_s"] == NULL for row in rows) == 291
    for row in rows:
        assert not any(isinstance(value, float) and math.isnan(value) for value in row.values())
        assert row["depth_kind"] == NULL and row["hdop"] == NULL


def test_a_geopackage_keeps_milliseconds_in_t_s(run, tmp_path):
    path = tmp_path / "zda.nmea"
    path.write_text("$GPZDA,160012.71,11,03,2004,-1,00*7D\n$GPGLL,4500.0,N,09300.0,W,160012.71,A\n", encoding="ascii")
    target = str(tmp_path / "fixes.gpkg")
    run("readlogs", {"INPUT": [str(path)], "OUTPUT": target})
    feature = next(QgsVectorLayer(target, "fixes", "ogr").getFeatures())
    assert feature["t_s"] == 1079020812.71
    stamp = feature["time"]  # its wall clock: 3.22 calls it local time
    assert stamp.toString("yyyy-MM-dd hh:mm:ss") == "2004-03-11 16:00:12"


def test_what_was_left_out_is_said_with_its_lines(run, log):
    heard = Heard()
    results = run("readlogs", {"INPUT": [log("stationary_bad_checksums.nmea")], "OUTPUT": "memory:"}, heard)
    assert results["REJECTED_COUNT"] == 23 and results["FIX_COUNT"] == 23
    assert [text for text in heard.said["warning"] if text.startswith("Left out")] == [
        "Left out: 23 sentences with a wrong checksum (first at stationary_bad_checksums.nmea: 1, 4, 7, 10, 13)."]


def test_the_warnings_add_up_to_the_count_of_the_rejected(run, tmp_path):
    from sentences import dpt, gll, rmc, sentence

    lines = [line for k in range(60) for line in (
        rmc(43200 + k, -93 + k * 2e-5, 45, -1.0 if k % 6 == 0 else 4.0), gll(42800, -93, 45.1), dpt(5.0),
        sentence("SDDPT,1e308,"), sentence("GPRMC,,V,,,,,,,,,")[:-4] + "00\r\n")]
    (tmp_path / "boat.nmea").write_text("".join(lines), encoding="ascii")
    heard = Heard()
    results = run("readlogs", {"INPUT": [str(tmp_path / "boat.nmea")], "OUTPUT": "memory:"}, heard)
    told = [int(text.split()[2]) for text in heard.said["warning"] if text.startswith("Left out: ")]
    assert sum(told) == results["REJECTED_COUNT"] == 60 + 60 + 60 + 10 and results["FIX_COUNT"] == 60
    assert told == sorted(told, reverse=True)
    assert any("GPGLL positions: the clock stands still at 11:53:20 UTC" in text for text in heard.said["warning"])


def test_date_offset_and_variation_are_used(run, log, tmp_path):
    results = run("readlogs", {"INPUT": [log("harbour_dbt_gll_lf.nmea")], "LOG_DATE": "2012-01-19", "TIME_OFFSET": -1,
                               "OUTPUT": "memory:"})
    first = next(results["OUTPUT"].getFeatures())
    assert first["time"].toUTC().toString("yyyy-MM-dd hh:mm:ss") == "2012-01-19 15:43:26"
    path = tmp_path / "compass.nmea"
    path.write_text("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\n$HCHDM,100.0,M\n",
                    encoding="ascii")
    for variation, heading in ((None, 96.9), (0, 100), (5, 105)):
        fixes = run("readlogs", {"INPUT": [str(path)], "MAGNETIC_VARIATION": variation, "OUTPUT": "memory:"})["OUTPUT"]
        assert next(fixes.getFeatures())["heading_deg"] == pytest.approx(heading)


REFUSALS = [
    ("nofix_empty_heading.nmea", {}, "nofix_empty_heading.nmea never has a fix"),
    ("harbour_dbt_gll_lf.nmea", {}, "has times but no date.*LOG_DATE"),
    ("route_only_gpx10.gpx", {}, "a plan and not a track"),
    ("harbour_dbt_gll_lf.nmea", {"LOG_DATE": "19.1.2012"}, "LOG_DATE.*not a date"),
    ("harbour_dbt_gll_lf.nmea", {"TIME_OFFSET": "soon"}, "TIME_OFFSET|Time offset"),
    ("harbour_dbt_gll_lf.nmea", {"TIME_OFFSET": float("nan")}, "TIME_OFFSET|Time offset"),
    ("harbour_dbt_gll_lf.nmea", {"MAGNETIC_VARIATION": 200}, "MAGNETIC_VARIATION|Magnetic variation"),
    ("nowhere.nmea", {}, "cannot be read"),
]


@pytest.mark.parametrize("name, extra, match", REFUSALS)
def test_refusals_of_a_script_and_of_a_model(run, run_as_child, log, name, extra, match):
    with pytest.raises(QgsProcessingException, match=match):
        run("readlogs", {"INPUT": [log(name)], **extra, "OUTPUT": "memory:"})
    with pytest.raises(QgsProcessingException, match=match):
        run_as_child("readlogs", {"INPUT": [log(name)], **extra})


def test_without_a_log(run, run_as_child):
    for call in (lambda p: run("readlogs", {**p, "OUTPUT": "memory:"}), lambda p: run_as_child("readlogs", p)):
        with pytest.raises(QgsProcessingException, match="INPUT|No log"):
            call({"INPUT": []})


def test_as_the_child_of_a_model(run_as_child, log):
    results, layer = run_as_child("readlogs", {"INPUT": [log("moored_ais_interleaved.nmea")]})
    assert layer.featureCount() == 60


def test_on_the_command_line(qgis_process, log, tmp_path):
    target, marks = str(tmp_path / "fixes.gpkg"), str(tmp_path / "marks.gpkg")
    code, results, said = qgis_process("readlogs", {
        "INPUT": [log("moored_ais_interleaved.nmea"), log("waypoints_unicode_gpx10.gpx")], "OUTPUT": target,
        "WAYPOINTS": marks})
    assert code == 0, said
    assert results["FIX_COUNT"] == 60 and results["DEPTH_COUNT"] == 60
    assert QgsVectorLayer(target, "fixes", "ogr").featureCount() == 60
    layer = QgsVectorLayer(marks, "marks", "ogr")
    assert sorted(f["name"] for f in layer.getFeatures())[-1] == "šđčćž"
    code, results, said = qgis_process("readlogs", {"INPUT": log("harbour_dbt_gll_lf.nmea"), "OUTPUT": target})
    assert code == 1 and not results and "LOG_DATE" in said


def test_cancel_writes_nothing(run, log, tmp_path):
    feedback = QgsProcessingFeedback(False)
    feedback.cancel()
    target = tmp_path / "fixes.gpkg"
    with pytest.raises(QgsProcessingException, match="no output was written"):
        run("readlogs", {"INPUT": [log("survey_dpt_rmc_mtw.nmea")], "OUTPUT": str(target)}, feedback)
    assert not target.exists()
