"""Cells as people fill them: odd times, numbers, names; one bad one never costs the run, and nothing is guessed."""
import re

import numpy as np
import pytest
import sailed
from faults import Heard
from qgis.core import (
    QgsExpression,
    QgsExpressionContext,
    QgsProcessingException,
    QgsWkbTypes,
)
from qgis.PyQt.QtCore import QDateTime, QTime

T0 = sailed.START_S  # 2023-11-14 22:13:20 UTC
SECONDS = 240


@pytest.fixture
def boat(make_layer):
    """boat({field: (type, values)}, places={row: (x, y)}) -> four minutes straight north at 2 m/s, a fix a second."""
    def call(more=None, places=None, name="boat"):
        lons, lats, clock = sailed.sail(-93.0, 45.0, sailed.straight(0, SECONDS))
        for row, (x, y) in (places or {}).items():
            lons[row], lats[row] = x, y
        columns = {"t_s": ("double", clock.tolist()), **(more or {})}
        columns = {key: value for key, value in columns.items() if value is not None}
        rows = [(f"POINT({x} {y})", list(values)) for x, y, *values in
                zip(lons.tolist(), lats.tolist(), *(values for _, values in columns.values()))]
        return make_layer("Point", "EPSG:4326", {key: kind for key, (kind, _) in columns.items()}, rows, name)
    return call


FACTS = {"RANGE": 30, "RANGE_UNIT": "m", "DEPTH": 5, "DEPTH_UNIT": "m", "OUTPUT": "memory:"}


def texts(form, shift_h=0.0):
    """The boat's times written in a form of QDateTime, in UTC plus some hours."""
    moments = [QDateTime.fromSecsSinceEpoch(int(T0 + 3600 * shift_h) + k).toUTC() for k in range(SECONDS + 1)]
    return [moment.toString(form) for moment in moments]


# ---- times of fixes

@pytest.mark.parametrize("form, shift, order", [
    ("yyyy-MM-dd HH:mm:ss 'GMT+02:00'", 2, None), ("yyyy-MM-dd HH:mm:ss 'UTC-5'", -5, None),
    ("dd.MM.yyyy HH:mm:ss", 0, "day month year"), ("MM/dd/yyyy HH:mm:ss", 0, "month day year"),
    ("M/d/yyyy h:mm:ss AP", 0, "month day year"), ("d-M-yyyy HH:mm:ss 'GMT-03:30'", -3.5, "day month year")])
def test_times_as_people_write_them(run, boat, form, shift, order):
    layer = boat({"t_s": None, "when": ("string", texts(form, shift))})
    given = {"INPUT": layer, "TIME_FIELD": "when", **FACTS, **({"DATE_ORDER": order} if order else {})}
    track = run("preparetrack", given)["OUTPUT"]
    assert [f["t_s"] for f in track.getFeatures()] == list(T0 + np.arange(SECONDS + 1))


@pytest.mark.parametrize("form", ["dd.MM.yyyy HH:mm:ss", "dd/MM/yyyy HH:mm"])
def test_a_refusal_of_dates_gives_an_expression_that_works(run, boat, form):
    layer = boat({"t_s": None, "when": ("string", texts(form))})
    with pytest.raises(QgsProcessingException, match="DATE_ORDER.*field calculator") as refused:
        run("preparetrack", {"INPUT": layer, "TIME_FIELD": "when", **FACTS})
    expression = QgsExpression(re.search(r"to_datetime\(.*?'\)", str(refused.value))[0])
    feature = next(layer.getFeatures())
    context = QgsExpressionContext()
    context.setFeature(feature)
    context.setFields(layer.fields())
    made = expression.evaluate(context)
    assert not expression.hasEvalError() and made.toString("yyyy-MM-dd HH:mm") == "2023-11-14 22:13"


@pytest.mark.parametrize("form", ["HH:mm:ss", "h:mm AP", "h:mm:ssap"])
def test_a_time_of_day_alone_dates_no_track_and_the_expression_offered_works(run, boat, form):
    layer = boat({"t_s": None, "when": ("string", texts(form))})
    with pytest.raises(QgsProcessingException, match="has no date.*to_datetime") as refused:
        run("preparetrack", {"INPUT": layer, "TIME_FIELD": "when", **FACTS})
    expression = QgsExpression(re.search(r"to_datetime\(.*?'\)", str(refused.value))[0])
    context = QgsExpressionContext()
    context.setFields(layer.fields())
    context.setFeature(next(layer.getFeatures()))
    assert expression.evaluate(context).toString("yyyy-MM-dd HH:mm") == "2024-05-31 22:13"


def test_one_bad_cell_of_the_fixes_is_blank_and_warned_of(run, boat):
    stamps, depths = texts("yyyy-MM-dd HH:mm:ss"), ["5.0"] * (SECONDS + 1)
    stamps[50], depths[7], depths[9] = "lunch", "deep", "1.234,5"
    heard = Heard()
    given = {"INPUT": boat({"t_s": None, "when": ("string", stamps), "d": ("string", depths)}), "TIME_FIELD": "when",
             **FACTS, "DEPTH": None, "DEPTH_FIELD": "d"}
    results = run("preparetrack", given, heard)
    assert results["SAMPLE_COUNT"] == SECONDS and results["REJECTED_COUNT"] == 1
    assert any("field when: 1 of 241 values" in text and "rows 51" in text and "'lunch'" in text
               for text in heard.warnings)
    assert any("field d: 2 of 241 values" in text and "rows 8, 10" in text for text in heard.warnings)
    assert any("Left out: 1 without a time" in text for text in heard.warnings)


# ---- where the track is, and what its headings are

def test_the_zone_is_that_of_the_median_place(run, boat):
    layer = boat(places={0: (0.0, 0.0), 1: (9.0, 47.0), 100: (0.0, 0.0), SECONDS: (9.0, 47.0)})
    track = run("preparetrack", {"INPUT": layer, **FACTS})["OUTPUT"]
    assert track.crs().authid() == "EPSG:32615"
    assert track.extent().width() < 100 and track.extent().height() < 600


def test_headings_of_a_strange_field_are_asked_for(run, boat):
    layer = boat({"heading_deg": ("double", [0.0] * (SECONDS + 1))})
    given = {"INPUT": layer, "HEADING_FIELD": "heading_deg", **FACTS}
    with pytest.raises(QgsProcessingException, match="HEADING_KIND. is not given.*'heading_deg'.*magnetic"):
        run("preparetrack", given)
    assert run("preparetrack", {**given, "HEADING_KIND": "true"})["SAMPLE_COUNT"] == SECONDS + 1


def test_headings_of_our_own_fixes_are_known_to_be_true(run, fixtures):
    fixes = run("readlogs", {"INPUT": [str(fixtures / "nmea" / "survey_dpt_rmc_mtw.nmea")], "OUTPUT": "memory:"})
    run("preparetrack", {"INPUT": fixes["OUTPUT"], "HEADING_FIELD": "heading_deg", **FACTS})
    with pytest.raises(QgsProcessingException, match="HEADING_KIND. is not given.*'course_deg'"):
        run("preparetrack", {"INPUT": fixes["OUTPUT"], "HEADING_FIELD": "course_deg", **FACTS})


# ---- changes of range

@pytest.mark.parametrize("kind, value, words", [
    ("double", 22.14, "from_time is 22.14, a bare number"), ("integer", 2214, "2214, a bare number"),
    ("string", "803", "803, a bare number"), ("string", "8.3", "8.3, a bare number")])
def test_a_bare_number_is_no_time_of_a_change(run, boat, make_layer, kind, value, words):
    table = make_layer("None", "", {"from_time": kind, "range": "double"}, [(None, [value, 20.0])], "changes")
    with pytest.raises(QgsProcessingException, match=words):
        run("preparetrack", {"INPUT": boat(), **FACTS, "SETTINGS": table})


def test_a_time_with_a_point_is_read_as_a_time_and_said(run, boat, make_layer):
    table = make_layer("None", "", {"from_time": "string", "range": "double"},
                       [(None, ["22.13", 20.0]), (None, ["22.15", 40.0]), (None, ["23:59", 50.0])], "changes")
    heard = Heard()
    track = run("preparetrack", {"INPUT": boat(), **FACTS, "SETTINGS": table}, heard)["OUTPUT"]
    assert {f["range_m"] for f in track.getFeatures() if f["t_s"] < T0 + 100} == {20.0}
    assert {f["range_m"] for f in track.getFeatures() if f["t_s"] >= T0 + 100} == {40.0}
    assert sum("was read as the time of day 22:1" in text for text in heard.warnings) == 2
    assert sum(bool(re.search(r"Row [13] of .*SETTINGS.* lies .* the outing", text)) for text in heard.warnings) == 2


# ---- picks

@pytest.fixture
def track(run, boat):
    return run("preparetrack", {"INPUT": boat(), **FACTS})["OUTPUT"]


def picks(make_layer, rows, geometry="Point", when="string"):
    kinds = {"name": "string", "when": when, "side": "string", "dist": "string", "deep": "string", "note": "string"}
    return make_layer(geometry, "EPSG:4326" if geometry == "Point" else "", kinds, rows, "picks")


def located(run, track, layer, heard=None, **given):
    return run("locatetargets", {
        "PICKS": layer, "TRACK": track, "TIE": "time", "TIME_FIELD": "when", "SIDE_FIELD": "side",
        "RANGE_FIELD": "dist", "RANGE_UNIT": "m", "DEPTH_FIELD": "deep", "DEPTH_UNIT": "m", "OUTPUT": "memory:",
        "REJECTED": "memory:", **given}, heard or Heard())


GOOD = "2023-11-14 22:14:20"


def test_bad_cells_go_to_rejected_with_name_point_and_fields(run, track, make_layer):
    rows = [("POINT(-93 45.001)", ["good", GOOD, "port", "20", "5", "a"]),
            ("POINT(-93.1 45.1)", ["time", "lunch", "port", "20", "5", "b"]),
            ("POINT(-93.2 45.2)", ["range", GOOD, "port", "1.234,5", "5", "c"]),
            ("POINT(-93.3 45.3)", ["depth", GOOD, "port", "20", "deep", "d"]),
            ("POINT(-93.4 45.4)", ["side", GOOD, "30 ft off left bank", "20", "5", "e"]),
            ("POINT(-93.5 45.5)", ["order", "14.11.2023 22:14:20", "port", "20", "5", "f"])]
    heard = Heard()
    results = located(run, track, picks(make_layer, rows), heard)
    assert (results["TARGET_COUNT"], results["REJECTED_COUNT"]) == (1, 5)
    lost = results["REJECTED"]
    assert lost.wkbType() == QgsWkbTypes.Type.Point
    found = {f["name"]: f for f in lost.getFeatures()}
    assert set(found) == {"time", "range", "depth", "side", "order"}
    assert [found[name]["note"] for name in ("time", "range", "depth", "side", "order")] == list("bcdef")
    for name, words in (("time", "field when: 'lunch' is not a time"), ("range", "two ways"),
                        ("depth", "field deep: 'deep' is not a number"), ("side", "no side"),
                        ("order", "DATE_ORDER.*to_datetime")):
        assert re.search(words, found[name]["reason"]), found[name]["reason"]
    move = {name: f.geometry().asPoint() for name, f in found.items()}
    assert len({(round(p.x()), round(p.y())) for p in move.values()}) == 5
    assert any(text.startswith("5 of 6 picks have no place") for text in heard.warnings)
    assert located(run, track, picks(make_layer, rows), DATE_ORDER="day month year")["TARGET_COUNT"] == 2


def test_picks_of_a_table_are_rejected_to_a_table(run, track, make_layer):
    rows = [(None, ["good", GOOD, "port", "20", "5", "a"]), (None, ["bad", "lunch", "port", "20", "5", "b"])]
    lost = located(run, track, picks(make_layer, rows, "None"))["REJECTED"]
    assert lost.wkbType() == QgsWkbTypes.Type.NoGeometry
    assert [(f["name"], f["note"]) for f in lost.getFeatures()] == [("bad", "b")]


@pytest.mark.parametrize("when, value", [("string", "22:14:20"), ("string", "22:14"), ("time", QTime(22, 14, 20))])
def test_picks_by_the_time_of_day(run, track, make_layer, when, value):
    layer = picks(make_layer, [(None, ["p", value, "port", "20", "5", ""])], "None", when)
    target = next(located(run, track, layer)["OUTPUT"].getFeatures())
    assert target["t_s"] == T0 + (60 if value != "22:14" else 40)


@pytest.mark.parametrize("name, side, metres", [
    ("STUMP-P-40", "port", 40 * .3048), ("Steuerbord 12 m", "starboard", 12), ("P30 2 stumps", "port", 30 * .3048),
    ("tribord 45", "starboard", 45 * .3048)])
def test_names_of_many_kinds(run, track, make_layer, name, side, metres):
    layer = picks(make_layer, [(None, [name, GOOD, "", "", "5", ""])], "None")
    target = next(located(run, track, layer, SIDE_FIELD="name", RANGE_FIELD="name", RANGE_UNIT="ft")["OUTPUT"]
                  .getFeatures())
    assert target["side"] == side and target["slant_m"] == pytest.approx(metres)
