"""The job from log to card: two outings, each prepared, drawn and picked, then judged together and put to use."""
from __future__ import annotations

import csv
from dataclasses import dataclass

from osgeo import gdal

from .qp import layer, run, table

OUTINGS = ("north", "south")
MERGED = ("track", "passes", "swaths", "targets", "ellipses", "rejected")
FLOORS = {"grid": "true floor", "contours": "contour map"}
"""What the bottom seen is mapped with: name in files and layers, and in words."""
LEDGE = "rowboat"
"""The object at the foot of the drop-off, which one pass cannot see."""


@dataclass(frozen=True)
class Files:
    """Where the chain reads and writes: ``sample`` and ``folder``, a GeoPackage of single ``steps`` (pathlib.Path)."""

    sample: object
    steps: object
    folder: object

    @property
    def database(self):
        """The GeoPackage of results."""
        return self.folder / "athwart_demo.gpkg"

    @property
    def lake(self):
        """The water polygon."""
        return layer(self.sample / "lake.gpkg", "lake")

    @property
    def areas(self):
        """What the outings set out to search."""
        return layer(self.sample / "lake.gpkg", "search_areas")


def north(files, say):
    """The metric outing: compass, sounder and a table of range changes."""
    sample, steps = files.sample, files.steps
    say("North: reading the NMEA log")
    results = {"readlogs": run("athwart:readlogs", INPUT=sample / "outing_north.nmea",
                               OUTPUT=table(steps, "north_fixes"))}
    say("North: preparing the track")
    results["preparetrack"] = run(
        "athwart:preparetrack", INPUT=layer(steps, "north_fixes"), OUTING="north", RANGE_UNIT="m",
        SETTINGS=sample / "north_settings.csv", DEPTH_FIELD="depth_m", DEPTH_UNIT="m", DEPTH_REFERENCE="transducer",
        HEADING_FIELD="heading_deg", HEADING_KIND="true", TRANSDUCER_FORWARD=-1.5, TRANSDUCER_STARBOARD=0.3,
        LATENCY=0.5, ASSUMED_SOUND_SPEED=1500, WATER_TEMPERATURE=18.4, TEMPERATURE_UNIT="C",
        OUTPUT=table(steps, "north_track"), PASSES=table(steps, "north_passes"))
    say("North: drawing the swaths")
    results["swathfootprint"] = run("athwart:swathfootprint", INPUT=layer(steps, "north_track"), WATER=files.lake,
                                    OUTPUT=table(steps, "north_swaths"))
    say("North: locating the picks")
    results["locatetargets"] = run(
        "athwart:locatetargets", PICKS=sample / "north_picks.csv", TRACK=layer(steps, "north_track"),
        TIME_FIELD="time", SIDE_FIELD="side", RANGE_FIELD="slant_m", RANGE_UNIT="m", DEPTH_FIELD="depth_m",
        DEPTH_UNIT="m", SHADOW_START_FIELD="shadow_start_m", SHADOW_FIELD="shadow_end_m", LABEL_FIELD="label",
        OUTPUT=table(steps, "north_targets"), ELLIPSES=table(steps, "north_ellipses"),
        REJECTED=table(steps, "north_rejected", geometry=False))
    return results


def south(files, say):
    """The outing in feet: a sparse GPX track without depths or compass, and marks whose names say side and range."""
    sample, steps = files.sample, files.steps
    say("South: reading the GPX track and the marks")
    results = {"readlogs": run("athwart:readlogs", INPUT=[sample / "outing_south.gpx", sample / "south_marks.gpx"],
                               OUTPUT=table(steps, "south_fixes"), WAYPOINTS=table(steps, "south_marks"))}
    say("South: preparing the track")
    results["preparetrack"] = run(
        "athwart:preparetrack", INPUT=layer(steps, "south_fixes"), OUTING="south", RANGE=75, RANGE_UNIT="ft",
        SETTINGS=sample / "south_settings.csv", WAYPOINTS=layer(steps, "south_marks"), DEPTH=22, DEPTH_UNIT="ft",
        TRANSDUCER_FORWARD=-1.0, LATENCY=0.5, OUTPUT=table(steps, "south_track"), PASSES=table(steps, "south_passes"))
    say("South: drawing the swaths")
    results["swathfootprint"] = run("athwart:swathfootprint", INPUT=layer(steps, "south_track"), WATER=files.lake,
                                    OUTPUT=table(steps, "south_swaths"))
    say("South: locating the marks")
    results["locatetargets"] = run(
        "athwart:locatetargets", PICKS=layer(steps, "south_marks"), TRACK=layer(steps, "south_track"),
        TIE="boat point", SIDE_FIELD="name", RANGE_FIELD="name", RANGE_UNIT="ft", MARK_DELAY=1.0,
        OUTPUT=table(steps, "south_targets"), ELLIPSES=table(steps, "south_ellipses"),
        REJECTED=table(steps, "south_rejected", geometry=False))
    return results


def together(files, say):
    """Both outings in one: layers merged, coverage of the search areas, shore."""
    say("Merging the outings")
    for name in MERGED:
        for outing in OUTINGS:
            gdal.VectorTranslate(str(files.database), str(files.steps), format="GPKG", layers=[f"{outing}_{name}"],
                                 layerName=name, accessMode="append" if files.database.exists() else None)
    database = files.database
    say("Finding the gaps")
    results = {"coveragegaps": run(
        "athwart:coveragegaps", SWATHS=layer(database, "swaths"), AREA=files.areas, PASSES=layer(database, "passes"),
        MIN_AREA=20, OUTPUT=table(database, "gaps"), AREAS=table(database, "areas"))}
    say("Finding the shore nobody scanned")
    results["unscannedshoreline"] = run(
        "athwart:unscannedshoreline", SWATHS=layer(database, "swaths"), WATER=files.lake,
        SHORELINE=layer(files.sample / "lake.gpkg", "shoreline"), OUTPUT=table(database, "shore"))
    return results


def bottom(files, say):
    """What the north outing really saw, shadows and all: once with the true floor, once with the map's contours."""
    sample, steps = files.sample, files.steps
    given = {"grid": {"INPUT": sample / "depth_grid.tif"},
             "contours": {"CONTOURS": layer(sample / "lake.gpkg", "contours"), "CONTOUR_DEPTH_FIELD": "depth_m",
                          "SHORELINE": files.lake, "CELL_SIZE": 2}}
    results = {}
    for floor, words in FLOORS.items():
        depths, seen = (files.folder / f"{kind}_{floor}.tif" for kind in ("depth", "seen"))
        say(f"Depth grid of the {words}")
        run("athwart:preparebathymetry", KIND="depth", UNIT="m", OUTPUT=depths, **given[floor])
        say("North: mapping the bottom seen over it")
        results[f"ensonify_{floor}"] = run("athwart:ensonify", INPUT=layer(steps, "north_track"), DEPTH_GRID=depths,
                                           WATER=files.lake, CELL_SIZE=1, OBJECT_SIZE=1, OUTPUT=seen)
        say("North: finding what was hidden or seen too poorly")
        results[f"coveragegaps_{floor}"] = run(
            "athwart:coveragegaps", SEEN=seen, GRADE="detection", AREA=f"{files.areas}|subset=name = 'North basin'",
            PASSES=layer(steps, "north_passes"), MIN_AREA=5, OUTPUT=table(files.database, f"gaps_{floor}"),
            AREAS=table(files.database, f"areas_{floor}"))
    return results


def ledge(files, say):
    """One pass from either side of the drop-off, each by itself."""
    results = {}
    for look in looks_at(files, LEDGE):
        say(f"North: what pass {look['pass_id']} saw by itself")
        results[look["pass_id"]] = run(
            "athwart:ensonify", INPUT=f"{layer(files.steps, 'north_track')}|subset=pass_id = {look['pass_id']}",
            DEPTH_GRID=files.folder / "depth_grid.tif", WATER=files.lake, CELL_SIZE=0.25,
            OUTPUT=files.folder / f"seen_pass_{look['pass_id']}.tif")
    return results


def looks_at(files, label):
    """When an object of the north outing came abeam, and what the track says of that moment.

    Returns
    -------
    list of dict
        Attributes of the track's sample with its ``x`` and ``y``, the ``side`` the object was on and whether the
        ground hid it (``hidden``, bool), in the order of time.
    """
    with open(files.sample / "truth" / "looks.csv", encoding="utf-8", newline="") as file:
        known = [row for row in csv.DictReader(file) if (row["outing"], row["label"]) == ("north", label)]
    store = gdal.OpenEx(str(files.steps))
    track = store.GetLayerByName("north_track")
    found = []
    for look in known:
        track.SetAttributeFilter(f"abs(t_s - {look['t_s']}) < 5 AND usable")
        nearest = min(track, key=lambda sample: abs(sample["t_s"] - float(look["t_s"])))
        place = nearest.GetGeometryRef()
        found.append({**nearest.items(), "x": place.GetX(), "y": place.GetY(), "side": look["side"],
                      "hidden": look["hidden"] == "1"})
    return found


def combine(files, say):
    """Looks at the same object made one place; latency and beam azimuth of the north boat from its own looks."""
    database = files.database
    say("North: solving offsets of the boat from repeated looks")
    results = {"offsets": run(
        "athwart:adjusttargets", TARGETS=layer(files.steps, "north_targets"), GROUP_FIELD="label",
        SOLVE=["latency", "beam azimuth"], OUTPUT=table(files.steps, "north_combined"),
        OFFSETS=table(database, "offsets", geometry=False))}
    say("Combining the looks of both outings")
    results["combined"] = run(
        "athwart:adjusttargets", TARGETS=layer(database, "targets"), GROUP_FIELD="label",
        OUTPUT=table(database, "combined"), ELLIPSES=table(database, "combined_ellipses"))
    return results


def put_to_use(files, say):
    """The way back to the objects, and the page for the file."""
    database, folder = files.database, files.folder
    say("Planning casts from 15 m to windward")
    results = {"castplan": run(
        "athwart:castplan", TARGETS=layer(database, "combined"), STAND_OFF=15, WIND_FROM=250, HIT_RADIUS=3,
        MAGNETIC_VARIATION=-13.8, DISPLAY_UNIT="m", OUTPUT=table(database, "casts"),
        STATIONS=table(database, "stations"), OUTPUT_HTML=folder / "casts.html")}
    say("Writing waypoints for the plotter")
    results["exportgpx"] = run("athwart:exportgpx", WAYPOINTS=layer(database, "combined"),
                               OUTPUT=folder / "targets.gpx")
    say("Writing the report")
    results["coveragereport"] = run(
        "athwart:coveragereport", TITLE="Orrelmere, June 2024", TARGETS=layer(database, "combined"),
        LAKE=files.lake, PLACES=layer(files.sample / "lake.gpkg", "places"),
        OUTPUT_HTML=folder / "report.html", OUTPUT_TABLE=folder / "report.csv", OUTPUT_ROWS=folder / "report_rows.csv",
        **{name.upper(): layer(database, name) for name in ("track", "passes", "swaths", "areas", "gaps", "shore")})
    return results


PARTS = (north, south, together, bottom, ledge, combine, put_to_use)
"""In this order, each with what the ones before it made."""
