"""Write coverage report: through the three doors, with what it refuses."""
import csv
import pathlib

import pytest

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
    code, _, stderr = qgis_process("coveragereport", values)
    assert code == 1 and said in stderr
    assert not (tmp_path / "never.html").exists()
