"""Write coverage report: through the three doors, with what it refuses."""
import csv
import pathlib
import re

import pytest
from athwart.survey.model.schemas import TARGETS
from qgis.PyQt.QtCore import QDate, QDateTime, QTime

SQUARE = "MultiPolygon(((500000 5200000, 500200 5200000, 500200 5200100, 500000 5200100, 500000 5200000)))"
AREA_FIELDS = {"name": "string", "area_m2": "double", "covered_m2": "double", "covered_pct": "double",
               "low_pct": "double", "high_pct": "double", "looks_min": "int"}


@pytest.fixture
def areas(make_layer):
    return make_layer("MultiPolygon", "EPSG:32632", AREA_FIELDS,
                      [(SQUARE, ["<Bed> & co", 20000.0, 15000.0, 75.0, 70.0, None, 0])], "areas")


@pytest.fixture
def saved(areas, tmp_path):
    """The areas in a GeoPackage, for the command line."""
    from qgis.core import QgsProject, QgsVectorFileWriter
    options = QgsVectorFileWriter.SaveVectorOptions()
    path = tmp_path / "areas.gpkg"
    QgsVectorFileWriter.writeAsVectorFormatV3(areas, str(path), QgsProject.instance().transformContext(), options)
    return path


def test_page_and_table_of_one_area(run, areas, tmp_path):
    results = run("coveragereport", {"AREAS": areas, "TITLE": "Mill & pond", "OUTPUT_HTML": str(tmp_path / "r.html"),
                                     "OUTPUT_TABLE": str(tmp_path / "r.csv")})
    page = pathlib.Path(results["OUTPUT_HTML"]).read_text(encoding="utf-8")
    assert "<h1>Mill &amp; pond</h1>" in page and "&lt;Bed&gt; &amp; co" in page and "<svg" in page
    assert "70.0\u00a0% to unknown" in page and ">nan" not in page.lower()
    with open(results["OUTPUT_TABLE"], encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows == [{"area": "<Bed> & co", "area_m2": "20000.0", "covered_m2": "15000.0", "covered_pct": "75.0",
                     "low_pct": "70.0", "high_pct": "", "looks_min": "0.0", "worst_pct": "", "best_pct": "",
                     "expected_pct": "", "looks_asked": "", "grade": ""}]


def test_in_feet_with_people_an_outings_table_and_rows(run, areas, make_layer, tmp_path):
    """20 000 m2 are 4.94 acres of 43 560 square feet of the international foot."""
    log = make_layer("None", "EPSG:32632", {"helm": "string", "wind": "string"}, [
        (None, ["B. Person", "west 2"])], "log")
    run("coveragereport", {"AREAS": areas, "DISPLAY_UNIT": "ft", "PEOPLE": "A. Person", "OUTING_TABLE": log,
                           "LAKE": areas, "OUTPUT_HTML": str(tmp_path / "r.html"),
                           "OUTPUT_ROWS": str(tmp_path / "rows.csv")})
    words = words_of(tmp_path / "r.html").replace("\u00a0", " ")
    assert "4.94 ac" in words and "A. Person" in words and "B. Person" in words
    with open(tmp_path / "rows.csv", encoding="utf-8", newline="") as file:
        row, = csv.DictReader(file)
    assert (row["what"], row["name"], row["area_m2"], row["number"]) == ("area", "<Bed> & co", "20000.0", "1")


def test_without_a_place_for_it_the_page_goes_to_a_temporary_file(run, areas):
    results = run("coveragereport", {"AREAS": areas, "OUTPUT_HTML": "TEMPORARY_OUTPUT"})
    assert set(results) == {"OUTPUT_HTML"} and pathlib.Path(results["OUTPUT_HTML"]).exists()


def test_on_the_command_line(qgis_process, saved, tmp_path):
    code, results, _ = qgis_process("coveragereport", {"AREAS": saved, "OUTPUT_HTML": tmp_path / "r.html"})
    assert code == 0 and "75.0" in pathlib.Path(results["OUTPUT_HTML"]).read_text(encoding="utf-8")


def test_what_looks_are_worth_inside_the_areas(run, seen, make_layer, tmp_path):
    """By counting cells of 1 m: of the western 50 columns 1000 show an object, 1000 do not, 1000 are hidden."""
    half = "MultiPolygon(((500000 4983000, 500050 4983000, 500050 4983060, 500000 4983060, 500000 4983000)))"
    areas = make_layer("MultiPolygon", "EPSG:32632", AREA_FIELDS, [(half, ["bed", 3002.4, 2001.6, 66.7, 60, 70, 0])])
    run("coveragereport", {"AREAS": areas, "SEEN": seen(), "OUTPUT_HTML": str(tmp_path / "r.html")})
    page = (tmp_path / "r.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    for words in ("An object would show", "Seen, but an object could be missed", "Hidden by nearer ground"):
        assert f'<th scope="row">{words}</th><td class="n">0.10 ha</td><td class="n">33.3 %</td>' in page


def words_of(path):
    """What stands on a page, blanks of every kind as one."""
    page = pathlib.Path(path).read_text(encoding="utf-8")
    shown = re.sub(r"<style>.*?</style>|<svg.*?</svg>", "", page, flags=re.S)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", shown))


UTM, E, N = "EPSG:32632", 500_000, 4_983_000
SWATH = {"outing": "string", "pass_id": "integer", "side": "string", "outer_m": "double", "sigma_edge_m": "double",
         "range_model": "string", "blind_deg": "double", "start_time": "datetime", "end_time": "datetime"}


@pytest.fixture
def two_passes(make_layer):
    """Two passes over 100 by 100 m: the one sees the southern 49.9 m, the other 3.8 m of it; 22 June 2024."""
    def strip(high):
        return f"POLYGON(({E} {N},{E + 100} {N},{E + 100} {N + high},{E} {N + high},{E} {N}))"
    began, ended = QDateTime(QDate(2024, 6, 22), QTime(13, 5)), QDateTime(QDate(2024, 6, 22), QTime(14, 16))
    return make_layer("Polygon", UTM, SWATH, [
        (strip(high), ["day", number, "both", high, 0.5, "slant", 20.0, began, ended])
        for number, high in ((1, 49.9), (2, 3.8))], "swaths")


@pytest.fixture
def square(make_layer):
    return make_layer("Polygon", UTM, {"name": "string"}, [
        (f"POLYGON(({E} {N},{E + 100} {N},{E + 100} {N + 100},{E} {N + 100},{E} {N}))", ["bed"])], "area")


@pytest.mark.parametrize("looks, said", [
    (1, r"1\.00 ha, 49\.9 % was seen by at least one pass"),
    (2, r"1\.00 ha, 3\.8 % was seen by at least 2 separate passes .*By at least one pass 49\.9 % was seen")])
def test_what_was_asked_of_the_gaps_is_what_the_report_says(run, two_passes, square, tmp_path, looks, said):
    found = run("coveragegaps", {"SWATHS": two_passes, "AREA": square, "REQUIRED_LOOKS": looks, "OUTPUT": "memory:",
                                 "AREAS": "memory:"})
    run("coveragereport", {"SWATHS": two_passes, "AREAS": found["AREAS"], "GAPS": found["OUTPUT"],
                           "OUTPUT_HTML": str(tmp_path / "r.html")})
    words = words_of(tmp_path / "r.html")
    assert re.search(said, words), words
    assert "22 June 2024, 13:05 to 14:16 UTC" in words  # by the wall clock of the layer, in whatever zone this runs


def test_targets_saved_as_multipoints_and_times_that_are_none(run, two_passes, square, make_layer, tmp_path):
    kinds = {f.name: {"double": "double", "string": "string", "datetime": "string"}.get(f.kind, "integer")
             for f in TARGETS}
    values = {"target_id": 1, "label": "log", "status": "bottom", "semi_major_m": 5.0, "semi_minor_m": 4.0,
              "azimuth_deg": 30.0, "confidence_pct": 95.0, "time": "soon", "bottom_m": 7.96, "depth_m": 6.0}
    targets = make_layer("MultiPoint", UTM, kinds, [(f"MULTIPOINT(({E + 10} {N + 10}))",
                                                     [values.get(name) for name in kinds])], "targets")
    found = run("coveragegaps", {"SWATHS": two_passes, "AREA": square, "OUTPUT": "memory:", "AREAS": "memory:"})
    run("coveragereport", {"AREAS": found["AREAS"], "TARGETS": targets, "OUTPUT_HTML": str(tmp_path / "r.html")})
    assert "bottom 7.9 m" in words_of(tmp_path / "r.html") and "1 log" in words_of(tmp_path / "r.html")


@pytest.mark.parametrize("given, said", [
    ({}, "nothing to report on"),
    ({"GAPS": "areas", "OUTPUT_TABLE": "t.csv"}, "AREAS"),
    ({"GAPS": "areas"}, "gap_id"),
    ({"GAPS": "areas", "SEEN": "grid"}, "judged inside areas"),
])
def test_what_it_refuses_by_every_door(run, run_as_child, qgis_process, saved, fixtures, tmp_path, given, said):
    files = {"areas": saved, "grid": fixtures / "raster" / "bay_depth_50m_utm18s.tif"}
    values = {name: str(files.get(value, tmp_path / value)) for name, value in given.items()}
    values["OUTPUT_HTML"] = str(tmp_path / "never.html")
    for door in (run, lambda tool, v: run_as_child(tool, v, output=None)):
        with pytest.raises(Exception, match=said):
            door("coveragereport", values)
    if "SEEN" in given:  # a process for one of them: the two doors above have told that each is refused
        code, _, stderr = qgis_process("coveragereport", values)
        assert code == 1 and said in stderr
    assert not (tmp_path / "never.html").exists()
