"""tools/run.sh tools.docs.sample_pages FOLDER: a page of each kind that the tools write, of the tutorial's outing."""
from __future__ import annotations

import pathlib
import shutil
import sys
from types import SimpleNamespace

from .. import inside
from . import first_hour

SAMPLE = first_hour.ROOT / "sample_project"
LAKE = f"{SAMPLE / 'lake.gpkg'}|layername="


def main():
    folder = pathlib.Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    kept = inside.qgis(), inside.processing()
    import processing

    def run(tool, **parameters):
        return processing.run(f"athwart:{tool}", parameters)

    results, layers = first_hour.run(SAMPLE)
    shutil.copyfile(results["coveragereport"]["OUTPUT_HTML"], folder / "report.html")
    given = {name.upper(): layers[title] for name, title in (
        ("track", "Track - south"), ("passes", "Passes - south"), ("swaths", "Swaths - south"), ("areas", "Areas"),
        ("gaps", "Gaps"), ("shore", "Shore"), ("targets", "Targets"))}
    run("coveragereport", **given, TITLE="A report with all that it can hold", LAKE=f"{LAKE}lake", DISPLAY_UNIT="ft",
        PLACES=f"{LAKE}places", PEOPLE="A. Person", GEAR="Rowboat", WATER_LEVEL="212.4 m", DATUM="local",
        WEATHER="calm", NOTES="none", OUTING_TABLE=str(SAMPLE / "south_settings.csv"),
        OUTPUT_HTML=str(folder / "report_full.html"))
    for name, more in (("card", {}), ("card_night", {"NIGHT": True, "CARD_LAKE": "Orrelmere", "HIT_RADIUS": 3,
                                                     "MAX_CAST": 14, "WATER": f"{LAKE}lake"})):
        run("castplan", TARGETS=layers["Targets"], STAND_OFF=15, WIND_FROM=240, MAGNETIC_VARIATION=-14,
            OUTPUT="memory:", STATIONS="memory:", OUTPUT_HTML=str(folder / f"{name}.html"), **more)
    run("rangetable", DEPTHS="7 14 28", RANGES="30 60 90", RANGE_UNIT="ft", OUTPUT="memory:",
        OUTPUT_HTML=str(folder / "range.html"))
    lines = run("planfillinlines", GAPS=layers["Gaps"], AREA=f"{LAKE}lake", RANGE=25, DEPTH=6, OUTPUT="memory:")
    run("plansheet", LINES=lines["OUTPUT"], WATER=f"{LAKE}lake", OUTPUT_HTML=str(folder / "sheet.html"))
    (folder / "district.html").write_text(district_page(), encoding="utf-8")
    print(f"{len(list(folder.glob('*.html')))} pages in {folder}")
    del kept
    inside.leave()


def district_page():
    """Of two lakes, one surveyed, one lost."""
    from athwart.survey.district.index_page import index_page
    from shapely.geometry import box

    known = {"state": "surveyed", "track_m": 9000.0, "outings": 2, "covered_pct": 81.4, "low_pct": 79.0,
             "high_pct": 83.1, "area_m2": 2.5e5, "covered_m2": 2.1e5, "gaps": 9, "gap_m2": 4e4, "unscanned_pct": 20.0,
             "unscanned_m": 900.0, "shore_m": 4500.0, "targets": 4}
    blank = {**dict.fromkeys(known), "state": "no outing could be worked", "outings": 1}
    table = [{**row, "lake": name, "report": report, "_crs": "EPSG:4326", "_shape": box(west, 45.0, west + 0.02, 45.01)}
             for name, row, report, west in (("Orrelmere", known, "report.html", -93.0), ("Far", blank, "", -92.9))]
    failure = SimpleNamespace(outing="far_1", kind="outing", lake="Far", cause="lost.gpx cannot be read.",
                              remedy="Check that it exists.")
    district = SimpleNamespace(outings=[1, 2, 3], failures=[failure])
    return index_page(district, table, {"Orrelmere": None, "Far": None}, {}, SimpleNamespace(title="A district"))


if __name__ == "__main__":
    main()
