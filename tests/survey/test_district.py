"""A district from its tables to its results: the same figures from two processes as from one, failures told, resumed.

The outings are made by the sample's simulator. What a lake comes to is held against the tools in tests/workflow.
"""
import csv
import json
import pathlib
import shutil
import xml.etree.ElementTree as ET

import districts
import numpy as np
import pytest
from districtsim import make_district

pytestmark = pytest.mark.skipif(bool(districts.MISSING), reason=districts.MISSING)

SAME = ("areas", "gaps", "shore", "passes", "swaths", "targets", "combined", "lakes")
AGAIN = """
import csv, json, pathlib, sys
import no_qgis, athwart
outings, lakes, two, one = map(pathlib.Path, sys.argv[1:])
said = []
made = athwart.survey_district(outings, lakes, one, progress=lambda done, of, text: said.append(text))
told = {"first": [made.worked, made.kept, len(made.failures), made.states, said[-1]]}
made = athwart.survey_district(outings, lakes, two)
told["kept"] = [made.worked, made.kept]
rows = list(csv.DictReader(open(outings)))
rows[0]["range"] = str(float(rows[0]["range"]) - 3)
with open(outings, "w", newline="") as file:
    writer = csv.DictWriter(file, rows[0]); writer.writeheader(); writer.writerows(rows)
made = athwart.survey_district(outings, lakes, two, layers=False)
told["changed"] = [made.worked, made.kept, len(list((two / "parts").glob("*.npz")))]
damaged = sorted((two / "parts").glob("*.npz"))[0]
damaged.write_bytes(damaged.read_bytes()[:500])
told["damaged"] = athwart.survey_district(outings, lakes, two, layers=False).worked
print(json.dumps(told))
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """What two processes made of four outings on two lakes, one broken on purpose; then the same in one process."""
    folder = tmp_path_factory.mktemp("district")
    outings, lakes = make_district(folder, 2, 2, short=True)
    text = outings.read_text(encoding="utf-8").replace("logs/lake02_day2.gpx", "logs/lost.gpx")
    outings.write_text(text, encoding="utf-8")
    site = tmp_path_factory.mktemp("site")
    two, one = folder / "two", folder / "one"
    run = districts.python(site, "-m", "athwart", "district", outings, "--lakes", lakes, "--workers", 2, "--memory",
                           "1GB", "--output", two, timeout=200)
    kept = shutil.copytree(two, folder / "kept")
    again = districts.python(site, "-c", AGAIN, outings, lakes, two, one, timeout=200)
    assert again.returncode == 0, again.stderr
    return kept, one, run, json.loads(again.stdout)


def test_one_broken_outing_fails_alone_and_the_exit_status_says_so(made):
    folder, _, run, _ = made
    assert run.returncode == 1, run.stderr
    with open(folder / "failures.csv", encoding="utf-8") as file:
        (failure,) = csv.DictReader(file)
    assert (failure["kind"], failure["lake"], failure["outing"]) == ("outing", "Lake 02", "lake02_day2")
    assert "lost.gpx cannot be read" in failure["cause"] and failure["remedy"].startswith("Check that it exists")
    assert "FAILED outing lake02_day2" in run.stderr and "Traceback" not in run.stderr
    states = dict(districts.rows(folder / "district.gpkg", "lakes", "lake", "state"))
    assert states == {"Lake 01": "surveyed", "Lake 02": "incomplete"}
    assert districts.rows(folder / "district.gpkg", "failures", "cause") == [(failure["cause"],)]


def test_two_processes_make_what_one_makes(made):
    two, one, _, _ = made
    for layer in SAME:
        of_two, of_one = (districts.rows(folder / "district.gpkg", layer, order="lake, 3, 4") for folder in (two, one))
        assert len(of_two) == len(of_one) > 0, layer
        for a, b in zip(of_two, of_one):  # the key of a row tells only in which order work was done
            assert [f"{v:.9g}" if isinstance(v, float) else v for v in a[2:]] == \
                [f"{v:.9g}" if isinstance(v, float) else v for v in b[2:]], layer


def test_what_is_done_is_not_done_again_and_a_change_costs_its_outing_and_its_lake(made):
    told = made[3]
    assert told["first"][:3] == [5, 0, 1]  # three outings and two lakes; the fourth failed
    assert told["kept"] == [0, 5]
    assert told["changed"] == [2, 3, 5]  # and no part is left that nothing needs
    assert told["damaged"] >= 1


def test_the_share_is_no_more_than_the_strips_of_the_passes(made):
    """Length of each pass times its two strips on a flat bottom, reckoned here from range and depth."""
    folder, *_ = made
    ((share, low, high),) = districts.rows(folder / "district.gpkg", "lakes", "covered_pct", "low_pct", "high_pct")[:1]
    passes = districts.rows(folder / "district.gpkg", "passes", "length_m", "range_m", "mean_depth_m")[:]
    assert low <= share <= high and high - low < 8
    of_first = [row for row, (lake,) in zip(passes, districts.rows(folder / "district.gpkg", "passes", "lake"))
                if lake == "Lake 01"]
    strips = sum(length * 2 * (np.sqrt(r**2 - d**2) - d * np.tan(np.radians(20))) for length, r, d in of_first)
    ((area,),) = districts.rows(folder / "district.gpkg", "lakes", "area_m2")[:1]
    assert 0.3 * strips < share / 100 * area <= strips  # strips overlap each other and the rim


def test_styles_are_inside_and_the_project_names_every_layer(made):
    folder, *_ = made
    styled = {name for (name,) in districts.rows(folder / "district.gpkg", "layer_styles", "f_table_name")}
    assert {"lakes", "gaps", "swaths", "shore", "combined"} <= styled
    root = ET.fromstring((folder / "district.qgs").read_text(encoding="utf-8").split("\n", 1)[1])
    named = {layer.findtext("datasource").split("=")[1] for layer in root.iter("maplayer")}
    there = {name for (name,) in districts.rows(folder / "district.gpkg", "gpkg_contents", "table_name")}
    assert named == there - {"layer_styles"}


def test_pages_say_shares_and_failures_and_lead_to_reports(made):
    folder, *_ = made
    page = (folder / "index.html").read_text(encoding="utf-8")
    share = districts.rows(folder / "district.gpkg", "lakes", "covered_pct")[0][0]
    assert f"{share:.1f}" in page and "lost.gpx cannot be read" in page and "<svg" in page
    for (report,) in districts.rows(folder / "district.gpkg", "lakes", "report"):
        assert f'href="{report}"' in page and "not for navigation" in (folder / report).read_text(encoding="utf-8")
    log = (folder / "district.log").read_text(encoding="utf-8")
    assert "6 of 6" in log and "1 failed" in log
    assert not list(pathlib.Path(folder).glob(".*"))  # nothing half-written is left
