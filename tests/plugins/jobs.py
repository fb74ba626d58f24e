"""A job for every registered tool on the sample outing, small and ready to run: its inputs as files, its outputs named.

A tool that is not known here fails the tests that go through the register: a new one is to be held by them, too.
"""
import functools
import operator
import pathlib

from osgeo import gdal

SAMPLE = pathlib.Path(__file__).resolve().parents[2] / "sample_project"
FIELDS = {"TIME_FIELD": "time", "SIDE_FIELD": "side", "RANGE_FIELD": "slant_m", "RANGE_UNIT": "m",
          "DEPTH_FIELD": "depth_m", "DEPTH_UNIT": "m", "SHADOW_START_FIELD": "shadow_start_m",
          "SHADOW_FIELD": "shadow_end_m", "LABEL_FIELD": "label"}
BOAT = {"OUTING": "north", "RANGE_UNIT": "m", "SETTINGS": str(SAMPLE / "north_settings.csv"), "DEPTH_FIELD": "depth_m",
        "DEPTH_UNIT": "m", "DEPTH_REFERENCE": "transducer", "HEADING_FIELD": "heading_deg", "HEADING_KIND": "true"}


BAY = (304_420, 4_481_220, 304_640, 4_481_400)
"""A corner of the sample's search area that both halves of its outing see something of, in its metres."""
COVE = (304_420, 4_481_220, 304_500, 4_481_300)
"""Some of the gaps in it."""


def layer(path, name):
    """A layer of a GeoPackage as input."""
    return f"{path}|layername={name}"


def on_day(lines, later):
    """The sentences of a log so many days later, their checksums reckoned again."""
    for line in lines:
        body, star, _ = line.strip().lstrip(b"$").partition(b"*")
        moved = body.replace(b",150624,", b",%02d0624," % (15 + later)).replace(b",15,06,", b",%02d,06," % (15 + later))
        if not star or moved == body:
            yield line
        else:
            yield b"$%b*%02X\r\n" % (moved, functools.reduce(operator.xor, moved))


def prepare(folder, run, share=1.0, days=1):
    """Make the inputs of all jobs in a folder.

    Parameters
    ----------
    folder : pathlib.Path
    run : callable
        ``run(tool id, {parameters})``
    share : float
        How much of the log is taken, from its beginning; if less than all, search and plans keep to a bay, so that
        the dearest job takes well under a second.
    days : int
        On how many days, up to 15, the boat sails the same and marks the same.

    Returns
    -------
    dict
        By tool id: (parameters without outputs, {output: ending of its file}).
    """
    lake, picks = SAMPLE / "lake.gpkg", folder / "picks.csv"
    lines = (SAMPLE / "outing_north.nmea").read_bytes().splitlines(True)
    head, *rows = (SAMPLE / "north_picks.csv").read_text(encoding="utf-8").splitlines(True)
    logs = [folder / f"north{day}.nmea" for day in range(days)]
    for day, log in enumerate(logs):
        log.write_bytes(b"".join(on_day(lines[:int(share * len(lines))], day)))
    picks.write_text(head + "".join(row.replace("2024-06-15", f"2024-06-{15 + day}")
                                    for day in range(days) for row in rows), encoding="utf-8")
    water, areas, shore = (layer(lake, name) for name in ("lake", "search_areas", "shoreline"))
    ground, few = water, areas
    if share < 1:
        ground, few = (clipped(lake, name, folder / f"{name}.gpkg") for name in ("lake", "search_areas"))
    jobs = {}

    def job(tool, parameters, **endings):
        jobs[tool] = parameters, endings
        return {name: str(folder / f"{tool}_{name}.{ending}") for name, ending in endings.items()}

    def done(tool, parameters, **endings):
        made = job(tool, parameters, **endings)
        run(tool, {**parameters, **made})
        return made

    fixes = done("readlogs", {"INPUT": [str(log) for log in logs]}, OUTPUT="gpkg", WAYPOINTS="gpkg")
    track = done("preparetrack", {"INPUT": fixes["OUTPUT"], **BOAT}, OUTPUT="gpkg", PASSES="gpkg")
    depths = done("preparebathymetry", {"INPUT": str(SAMPLE / "depth_grid.tif"), "KIND": "depth", "UNIT": "m",
                                        "CELL_SIZE": 4}, OUTPUT="tif")
    swaths = done("swathfootprint", {"INPUT": track["OUTPUT"], "WATER": water}, OUTPUT="gpkg")
    seen = done("ensonify", {"INPUT": track["OUTPUT"], "DEPTH_GRID": depths["OUTPUT"], "WATER": water, "CELL_SIZE": 4},
                OUTPUT="tif")
    gaps = done("coveragegaps", {"SWATHS": swaths["OUTPUT"], "AREA": few, "PASSES": track["PASSES"], "MIN_AREA": 20},
                OUTPUT="gpkg", AREAS="gpkg", PROBABILITY_SEEN="tif")
    bank = done("unscannedshoreline", {"SWATHS": swaths["OUTPUT"], "SHORELINE": shore, "WATER": water}, OUTPUT="gpkg")
    job("newpicks", {"PLACE": "boat", "TARGET_CRS": "EPSG:32616"}, OUTPUT="gpkg")
    job("picksfromimage", {
        "PICKS": str(SAMPLE / "north_record_points.csv"), "KIND_FIELD": "kind",
        "IMAGE": str(SAMPLE / "north_record.png"), "LAYOUT": "both", "NEWEST": "top", "EDGE_RANGE": 30,
        "RANGE_UNIT": "m", "FIRST_PING": 1}, OUTPUT="gpkg")
    done("georeferenceimage", {
        "IMAGE": [str(SAMPLE / "north_record.png")], "TRACK": track["OUTPUT"], "LAYOUT": "both", "NEWEST": "top",
        "FIRST_TIME": "2024-06-15T13:08:00Z", "LAST_TIME": "2024-06-15T13:12:00Z", "BOTTOM_FROM": "traced",
        "CELL_SIZE": 1}, OUTPUT="tif", SOURCE="tif", BOTTOM="gpkg")
    objects = folder / "objects.csv"
    objects.write_text("side,start_time,end_time,near_m,far_m,shadow_end_m\n"
                       "port,2024-06-15T13:09:10Z,2024-06-15T13:09:13Z,15,16,19\n"
                       "up,2024-06-15T13:09:10Z,2024-06-15T13:09:13Z,15,16,19\n", encoding="utf-8")
    job("measureobjects", {"MARKS": str(objects), "TRACK": track["OUTPUT"]}, OUTPUT="gpkg", REJECTED="gpkg")
    targets = done("locatetargets", {"PICKS": str(picks), "TRACK": track["OUTPUT"], **FIELDS}, OUTPUT="gpkg",
                   ELLIPSES="gpkg", REJECTED="gpkg")
    picture = {"IMAGE": str(SAMPLE / "north_record.png"), "TRACK": track["OUTPUT"], "LAYOUT": "both", "NEWEST": "top",
               "FIRST_TIME": "2024-06-15T13:08:00Z", "LAST_TIME": "2024-06-15T13:12:00Z"}
    job("drawtargets", {"TARGETS": targets["OUTPUT"], **picture}, OUTPUT="gpkg", ELLIPSES="gpkg")
    bottom = folder / "bottom.csv"
    bottom.write_text("WKT,kind\n" + "".join(f'"POINT ({x} {-y})",bottom\n' for x, y in _bottom(track["OUTPUT"])),
                      encoding="utf-8")
    job("checkrecord", {"BOTTOM": str(bottom), **picture, "EDGE_RANGE": 30, "RANGE_UNIT": "m", "SIGMA_MARK": 0.02},
        OUTPUT="gpkg")
    combined = done("adjusttargets", {"TARGETS": targets["OUTPUT"], "GROUP_FIELD": "label",
                                      "SOLVE": ["latency", "beam azimuth"]}, OUTPUT="gpkg", ELLIPSES="gpkg",
                    OFFSETS="gpkg")
    job("castplan", {"TARGETS": combined["OUTPUT"], "STAND_OFF": 15, "WIND_FROM": 250, "HIT_RADIUS": 3}, OUTPUT="gpkg",
        STATIONS="gpkg", OUTPUT_HTML="html")
    job("exportgpx", {"WAYPOINTS": combined["OUTPUT"], "LINES": track["PASSES"]}, OUTPUT="gpx")
    job("rangetable", {"DEPTHS": "3 6", "RANGES": "15 30", "RANGE_UNIT": "m"}, OUTPUT="gpkg", OUTPUT_HTML="html")
    holes = gaps["OUTPUT"]
    if share < 1:
        holes = clipped(holes, _table(holes), folder / "holes.gpkg", COVE)
    fill = done("planfillinlines", {"GAPS": holes, "AREA": water, "RANGE": 30, "DEPTH": 6, "BUDGET": 0.02},
                OUTPUT="gpkg", LEFT="gpkg", OUTPUT_GPX="gpx")
    job("plansheet", {"LINES": fill["OUTPUT"], "WATER": water}, OUTPUT_HTML="html")
    places = folder / "piles.geojson"
    places.write_text('{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {}, "geometry": '
                      '{"type": "Point", "coordinates": [-93.0, 45.0]}}]}', encoding="utf-8")
    job("plancalibration", {"OBJECTS": str(places), "RANGE": 30, "DEPTH": 5}, OUTPUT="gpkg", PREDICTED="gpkg",
        OUTPUT_GPX="gpx")
    job("coveragereport", {"TRACK": track["OUTPUT"], "PASSES": track["PASSES"], "SWATHS": swaths["OUTPUT"],
                           "AREAS": gaps["AREAS"], "GAPS": gaps["OUTPUT"], "SHORE": bank["OUTPUT"],
                           "TARGETS": combined["OUTPUT"], "SEEN": seen["OUTPUT"]},
        OUTPUT_HTML="html", OUTPUT_TABLE="csv", OUTPUT_ROWS="csv")
    job("plansurveylines", {"AREA": few, "WATER": ground, "RANGE": 30, "DEPTH_GRID": depths["OUTPUT"], "RUNS": 50},
        OUTPUT="gpkg", UNCOVERED="gpkg", SIMULATE="gpkg", OUTPUT_GPX="gpx")
    job("planshorerun", {"SHORELINE": ground, "RANGE": 30, "DEPTH_GRID": depths["OUTPUT"]}, OUTPUT="gpkg",
        SIMULATE="gpkg", OUTPUT_GPX="gpx")
    parts = {"areas": gaps["AREAS"], "gaps": gaps["OUTPUT"], "shore": bank["OUTPUT"], "combined": combined["OUTPUT"],
             "combined_ellipses": combined["ELLIPSES"], "passes": track["PASSES"], "swaths": swaths["OUTPUT"],
             "track": track["OUTPUT"]}
    job("opendistrict", {"INPUT": made_district(folder / "district.gpkg", parts), "LAKE": "Orrelmere"},
        **dict.fromkeys(("AREAS", "GAPS", "SHORE", "TARGETS", "ELLIPSES", "PASSES", "SWATHS", "TRACK"), "gpkg"))
    return jobs


def clipped(source, name, path, box=BAY):
    """A layer of a GeoPackage within a box, as a file."""
    gdal.VectorTranslate(str(path), str(source), options=[
        "-f", "GPKG", "-nlt", "PROMOTE_TO_MULTI", "-clipsrc", *map(str, box), name])
    return str(path)


def _table(path):
    data = gdal.OpenEx(path)  # held: a layer does not outlive its file
    return data.GetLayer(0).GetName()


def made_district(path, parts):
    """A district of one lake out of the layers of its parts."""
    lake = ("'Orrelmere' AS lake, 'surveyed' AS state, 0 AS failed, covered_pct, low_pct, high_pct, "
            "12.5 AS unscanned_pct")
    for name, source in (*parts.items(), ("lakes", parts["areas"])):
        table = _table(source)
        what = lake if name == "lakes" else "*, 'Orrelmere' AS lake"
        where = " WHERE name = 'North basin'" if name == "lakes" else ""
        gdal.VectorTranslate(str(path), source, format="GPKG", layerName=name, accessMode="update" if path.exists()
                             else None, SQLStatement=f'SELECT {what} FROM "{table}"{where}')
    return str(path)


def _bottom(path):
    """Pixels of the bottom on the sample's picture, were it of 13:08 to 13:12: what the track's depth draws there."""
    begin, end, rows = 1718456880.0, 1718457120.0, 963
    data = gdal.OpenEx(path, gdal.OF_VECTOR)  # held: a layer does not outlive its file
    seen = [(f["t_s"], f["depth_m"] / f["range_ratio"]) for f in data.GetLayer(0)
            if begin < f["t_s"] < end and f["depth_m"]]
    return [(240 + depth / 30 * 240, rows - 0.5 - (t - begin) / (end - begin) * (rows - 1)) for t, depth in seen[::10]]


def is_whole(path):
    """True for an output that reads back to its end: layers by their features, rasters by their cells, text by its end.
    """
    ending = pathlib.Path(path).suffix
    if ending == ".gpkg":
        data = gdal.OpenEx(str(path), gdal.OF_VECTOR)
        return data is not None and data.GetLayerCount() == 1 and sum(1 for _ in data.GetLayer(0)) >= 0
    if ending == ".tif":
        data = gdal.Open(str(path))
        return data is not None and all(
            data.GetRasterBand(band + 1).ReadRaster() is not None for band in range(data.RasterCount))
    text = pathlib.Path(path).read_text(encoding="utf-8")
    return text.rstrip().endswith({".html": "</html>", ".gpx": "</gpx>", ".csv": ""}[ending]) and bool(text)
