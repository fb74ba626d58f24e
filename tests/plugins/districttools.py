"""Lakes of a made district by the tools, to hold the district against: figure by figure, as they are printed."""
from __future__ import annotations

import csv

import districts
from qgis.core import QgsFeature, QgsGeometry, QgsProcessingFeedback, QgsVectorLayer

FIGURES = {"covered_pct": "COVERED_PERCENT", "low_pct": "LOW_PERCENT", "high_pct": "HIGH_PERCENT",
           "expected_pct": "EXPECTED_PERCENT", "worst_pct": "WORST_PERCENT", "best_pct": "BEST_PERCENT",
           "gap_m2": "GAP_M2", "area_m2": "AREA_M2", "covered_m2": "COVERED_M2"}
ROWS = {"gaps": ("kind", "area_m2", "width_m", "length_m", "open_pct", "certain_m2"), "shore": ("status", "length_m"),
        "combined": ("label", "looks", "passes", "semi_major_m", "semi_minor_m", "radius_m")}
PRINTED = "{:.6g}"
"""More digits than any page prints."""


def run(tool, **parameters):
    import processing

    return processing.run(tool, {name: value if isinstance(value, (list, int, float, QgsVectorLayer)) else str(value)
                                 for name, value in parameters.items()}, feedback=QgsProcessingFeedback(False))


def compared(folder, database, lakes):
    """How many printed figures of the first lakes are the same by district and tools, and those that are not."""
    same, other = 0, []
    with open(folder / "outings.csv", encoding="utf-8") as file:
        outings = list(csv.DictReader(file))
    with open(folder / "lakes.csv", encoding="utf-8") as file:
        csv.field_size_limit(2**31 - 1)
        wanted = list(csv.DictReader(file))[:lakes]
    for lake in wanted:
        found, shore, combined = by_tools(folder, lake, [row for row in outings if row["lake"] == lake["lake"]])
        (ours,) = [row[1:] for row in districts.rows(database, "lakes", "lake", *FIGURES, "unscanned_m")
                   if row[0] == lake["lake"]]
        theirs = [found[name] for name in FIGURES.values()] + [shore["UNSCANNED_M"]]
        pairs = list(zip(ours, theirs))
        for table, layer in (("gaps", found["OUTPUT"]), ("shore", shore["OUTPUT"]), ("combined", combined)):
            fields = ROWS[table]
            mine = sorted(shown(row[1:]) for row in districts.rows(database, table, "lake", *fields)
                          if row[0] == lake["lake"])
            tools = sorted(shown([feature[name] for name in fields]) for feature in layer.getFeatures())
            pairs += [(len(mine), len(tools)), *((a, b) for one in zip(mine, tools) for a, b in zip(*one))]
        for mine, tools in pairs:
            if shown([mine]) == shown([tools]):
                same += 1
            else:
                other.append([lake["lake"], str(mine), str(tools)])
    return {"same": same, "other": other}


def shown(values):
    return tuple(PRINTED.format(value) if isinstance(value, float) else str(value) for value in values)


def by_tools(folder, lake, rows):
    """A lake by the tools: results of gaps and shore, and the layer of combined targets."""
    area, water = (_drawn(lake["crs"], lake[name]) for name in ("area", "water"))
    made = {name: [] for name in ("passes", "swaths", "targets")}
    for row in rows:
        at = {name: str(folder / f"{row['outing']}_{name}.gpkg") for name in ("fixes", "track", *made)}
        run("athwart:readlogs", INPUT=[str(folder / row["logs"])], OUTPUT=at["fixes"])
        stated = {name: float(row[column]) for name, column in (
            ("LATENCY", "latency_s"), ("TRANSDUCER_FORWARD", "lever_forward_m"),
            ("TRANSDUCER_STARBOARD", "lever_starboard_m"), ("ASSUMED_SOUND_SPEED", "assumed_mps"),
            ("DEPTH", "depth")) if row[column]}
        if row["logs"].endswith("nmea"):
            stated.update(DEPTH_FIELD="depth_m", HEADING_FIELD="heading_deg", HEADING_KIND="true")
        run("athwart:preparetrack", INPUT=at["fixes"], OUTING=row["outing"], RANGE=float(row["range"]),
            RANGE_UNIT=row["unit"], DEPTH_UNIT=row["unit"], TARGET_CRS=lake["crs"], OUTPUT=at["track"],
            PASSES=at["passes"], **stated)
        run("athwart:swathfootprint", INPUT=at["track"], WATER=water, OUTPUT=at["swaths"])
        if row["picks"]:
            run("athwart:locatetargets", PICKS=folder / row["picks"], TRACK=at["track"], TIME_FIELD="time",
                SIDE_FIELD="side", RANGE_FIELD="slant_m", RANGE_UNIT="m", DEPTH_FIELD="depth_m", DEPTH_UNIT="m",
                SHADOW_START_FIELD="shadow_start_m", SHADOW_FIELD="shadow_end_m", LABEL_FIELD="label", WATER=water,
                OUTPUT=at["targets"])
        for name, paths in made.items():
            if name != "targets" or row["picks"]:
                paths.append(at[name])
    merged = {name: run("native:mergevectorlayers", LAYERS=paths, OUTPUT="TEMPORARY_OUTPUT")["OUTPUT"]
              for name, paths in made.items()}
    return (run("athwart:coveragegaps", SWATHS=merged["swaths"], AREA=area, PASSES=merged["passes"],
                OUTPUT="TEMPORARY_OUTPUT", AREAS="TEMPORARY_OUTPUT"),
            run("athwart:unscannedshoreline", SWATHS=merged["swaths"], SHORELINE=water, OUTPUT="TEMPORARY_OUTPUT"),
            run("athwart:adjusttargets", TARGETS=merged["targets"], OUTPUT="TEMPORARY_OUTPUT")["OUTPUT"])


def _drawn(crs, outline):
    layer, feature = QgsVectorLayer(f"Polygon?crs={crs}", "drawn", "memory"), QgsFeature()
    feature.setGeometry(QgsGeometry.fromWkt(outline))
    layer.dataProvider().addFeatures([feature])
    return layer
