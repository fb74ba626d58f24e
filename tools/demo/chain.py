"""The job from log to map: two outings, each prepared, drawn and picked, then judged together."""
from __future__ import annotations

from dataclasses import dataclass

from osgeo import ogr
from qp import layer, run, table

MERGED = ("track", "passes", "swaths", "targets", "ellipses", "rejected")


@dataclass(frozen=True)
class Files:
    """Where the chain reads and writes: ``sample`` folder, ``steps`` and ``database`` GeoPackages (pathlib.Path)."""

    sample: object
    steps: object
    database: object

    @property
    def lake(self):
        """The water polygon."""
        return layer(self.sample / "lake.gpkg", "lake")


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
        "athwart:preparetrack", INPUT=layer(steps, "south_fixes"), OUTING="south", RANGE=80, RANGE_UNIT="ft",
        SETTINGS=sample / "south_settings.csv", WAYPOINTS=layer(steps, "south_marks"), DEPTH=21, DEPTH_UNIT="ft",
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


def together(files, say, merged=MERGED):
    """Both outings in one: the layers ``merged``, coverage of the search areas, shore."""
    steps, database, sample = files.steps, files.database, files.sample
    for name in merged:
        say(f"Merging the outings: {name}")
        run("native:mergevectorlayers", LAYERS=[layer(steps, f"{o}_{name}") for o in ("north", "south")],
            CRS="EPSG:32619", OUTPUT=table(database, name, geometry=name != "rejected"))
    _drop_merge_fields(database, merged)
    say("Finding the gaps")
    results = {"coveragegaps": run(
        "athwart:coveragegaps", SWATHS=layer(database, "swaths"), AREA=layer(sample / "lake.gpkg", "search_areas"),
        PASSES=layer(database, "passes"), MIN_AREA=20, OUTPUT=table(database, "gaps"), AREAS=table(database, "areas"))}
    say("Finding the shore nobody scanned")
    results["unscannedshoreline"] = run(
        "athwart:unscannedshoreline", SWATHS=layer(database, "swaths"), WATER=files.lake,
        SHORELINE=layer(sample / "lake.gpkg", "shoreline"), OUTPUT=table(database, "shore"))
    return results


def _drop_merge_fields(database, names):
    """Merging leaves the name and place of the source in two fields, which say nothing once it is done."""
    store = ogr.Open(str(database), 1)
    for name in names:
        merged = store.GetLayerByName(name)
        for field in ("layer", "path"):
            merged.DeleteField(merged.GetLayerDefn().GetFieldIndex(field))
