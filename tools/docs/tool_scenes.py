"""What the picture of each tool shows: a function named like the tool, which returns both panes."""
from __future__ import annotations

import json
import re

from athwart.survey.model.palette import INK, VERMILION
from qgis.core import QgsFeature, QgsGeometry, QgsPointXY, QgsRectangle, QgsSingleSymbolRenderer, QgsVectorLayer
from qgis.PyQt.QtGui import QTransform

from ..basemap import LAND
from ..styles.parts import line, line_symbol, mark, marker_symbol
from .frame import around, framed, map_pane, page_pane, record_pane, table_pane, text_pane
from .workbench import AREA, PICTURE, SAMPLE, dressed, marks, raster, sketched, vector

NORTH = (304640, 4481230, 430)
"""Middle and width of the map where the outing of the north basin is shown."""
BASIN = (304620, 4481240, 560)
"""The same of all of that basin."""
STEP = (304720, 4481195, 270)
"""The same of the part along the Step, a ledge."""
WATER = "#e3f0f6"
"""Ground of the maps, where depth is no part of the story."""
WHOLE_RECORD = QgsRectangle(0, -963, 480, 0)
RECORD = QgsRectangle(0, -390, 480, 0)
"""The newest rows of the sample's record, in the shape of a pane."""
BOTH = QgsRectangle(0, -560, 480, -100)
"""The rows that both objects of the record are in."""


def scene(bench, tool):
    """Both panes of a tool; those of a tool without a function of its own are what goes in and what comes out."""
    return globals().get(tool, lambda bench: _plain(bench, tool))(bench)


def _plain(bench, tool):
    """Layers of the job beside layers made."""
    parameters, endings = bench.jobs[tool]
    given = [vector(v) for v in parameters.values() if isinstance(v, str) and ".gpkg" in v]
    made = [bench.layer(tool, name) for name in endings if endings[name] in ("gpkg", "tif")]
    shown = [layer for layer in made if not isinstance(layer, QgsVectorLayer) or layer.isSpatial()]
    box = framed((shown or given)[0].extent())
    return map_pane([*given, *bench.base()], box, WATER), map_pane([*shown, *bench.base()], box, WATER)


def _image():
    return raster(PICTURE["IMAGE"])


def _ground(bench, over, where=NORTH, names=("lake", "contours")):
    return map_pane([*over, *bench.base(*names)], around(*where), WATER)


# --- planning ------------------------------------------------------------------------------------------------------

def rangetable(bench):
    page = bench.made("rangetable", DEPTHS="2 4 6 10", RANGES="10 20 30 50", OBJECT_SIZE=1)["OUTPUT_HTML"]
    rows = (("Depths", "2  4  6  10 m"), ("Ranges", "10  20  30  50 m"), ("Object", "1 m"), ("Beam", "1.5 degrees"),
            ("Speed", "left open"))
    return table_pane(("you give", ""), rows, 17, (0.36, 0.64)), page_pane(page)


def plansurveylines(bench):
    lines, rest = (bench.layer("plansurveylines", name, AREA=AREA) for name in ("OUTPUT", "UNCOVERED"))
    return (_ground(bench, (), BASIN, ("search areas", "lake", "contours", "depth (m)")),
            _ground(bench, (lines, rest), BASIN))


def planshorerun(bench):
    where = framed(bench.base("lake")[0].extent(), 1.04)
    return (map_pane(bench.base(), where),
            map_pane([bench.layer("planshorerun"), *bench.base("lake", "contours")], where, WATER))


def planfillinlines(bench):
    gaps = bench.layer("coveragegaps", AREA=AREA)
    lines = bench.layer("planfillinlines", GAPS=bench.made("coveragegaps", AREA=AREA)["OUTPUT"], AREA=AREA, BUDGET=None)
    return _ground(bench, (gaps,), BASIN), _ground(bench, (lines, gaps), BASIN)


def plancalibration(bench):
    place = bench.folder / "crib.geojson"
    place.write_text(json.dumps({"type": "FeatureCollection", "features": [{
        "type": "Feature", "properties": {"label": "crib"},
        "geometry": {"type": "Point", "coordinates": list(_place("crib"))}}]}), encoding="utf-8")
    there = vector(place)
    there.setRenderer(QgsSingleSymbolRenderer(marker_symbol(mark("cross", 4.0, None, VERMILION, 0.8))))
    runs = bench.layer("plancalibration", OBJECTS=str(place), WATER=f"{SAMPLE / 'lake.gpkg'}|layername=lake",
                       TARGET_CRS="EPSG:32619")
    where = framed(_in_map(runs), 1.15)
    plain = bench.base("lake", "contours")
    return map_pane([there, *bench.base()], where), map_pane([there, runs, *plain], where, WATER)


def plansheet(bench):
    lines = bench.layer("plansurveylines", AREA=AREA)
    page = bench.made("plansheet", LINES=bench.made("plansurveylines", AREA=AREA)["OUTPUT"])["OUTPUT_HTML"]
    return _ground(bench, (lines,), BASIN), page_pane(page, width=700)


def _place(label):
    """Longitude and latitude of an object of the sample."""
    text = (SAMPLE / "truth" / "objects.csv").read_text("utf-8")
    found = re.search(rf"^{label},(-?[\d.]+),(-?[\d.]+)", text, re.M)
    return float(found[1]), float(found[2])


def _in_map(layer):
    from qgis.core import QgsCoordinateTransform, QgsProject

    from .frame import MAP_CRS
    return QgsCoordinateTransform(layer.crs(), MAP_CRS, QgsProject.instance()).transformBoundingBox(layer.extent())


# --- track ---------------------------------------------------------------------------------------------------------

def readlogs(bench):
    text = (SAMPLE / "outing_north.nmea").read_text("ascii", "replace").splitlines()
    start = next(k for k, sentence in enumerate(text) if "RMC" in sentence and ",A," in sentence)
    return text_pane(text[start:start + 14]), _ground(bench, (bench.layer("readlogs"),))


def preparetrack(bench):
    where = (304560, 4481300, 260)
    return (_ground(bench, (bench.layer("readlogs"),), where),
            _ground(bench, (bench.layer("preparetrack", "PASSES"), bench.layer("preparetrack")), where))


def preparebathymetry(bench):
    store = SAMPLE / "lake.gpkg"
    grid = bench.layer("preparebathymetry", INPUT=None, CONTOURS=f"{store}|layername=contours", CELL_SIZE=3,
                       CONTOUR_DEPTH_FIELD="depth_m", SHORELINE=f"{store}|layername=shoreline")
    where, lake = framed(grid.extent(), 1.04), bench.base("lake")
    return map_pane([*bench.base("lake", "contours")], where), map_pane([*lake, grid], where)


# --- coverage ------------------------------------------------------------------------------------------------------

def swathfootprint(bench):
    return (_ground(bench, (bench.layer("preparetrack"),), BASIN),
            _ground(bench, (bench.layer("preparetrack", "PASSES"), bench.layer("swathfootprint")), BASIN))


def ensonify(bench):
    seen = bench.layer("ensonify", CELL_SIZE=1, DEPTH_GRID=str(SAMPLE / "depth_grid.tif"))
    return (_ground(bench, (bench.layer("preparetrack", "PASSES"),), names=("lake", "contours", "depth (m)")),
            _ground(bench, (seen,)))


def coveragegaps(bench):
    areas, gaps = bench.layer("coveragegaps", "AREAS", AREA=AREA), bench.layer("coveragegaps", AREA=AREA)
    return (_ground(bench, (bench.layer("swathfootprint"),), BASIN, ("search areas", "lake", "contours")),
            _ground(bench, (areas, gaps), BASIN))


def unscannedshoreline(bench):
    where = (304560, 4481290, 620)
    return (_ground(bench, (bench.layer("swathfootprint"),), where),
            _ground(bench, (bench.layer("unscannedshoreline"),), where))


def coveragereport(bench):
    over = [bench.layer("adjusttargets"), bench.layer("preparetrack", "PASSES"), bench.layer("coveragegaps"),
            bench.layer("swathfootprint")]
    return _ground(bench, over, BASIN), page_pane(bench.made("coveragereport")["OUTPUT_HTML"], width=760)


def opendistrict(bench):
    """Five lakes of a district, the sample's shape in five sizes and places, and what is in one of them."""
    made = [bench.layer("opendistrict", name) for name in ("TARGETS", "GAPS", "SHORE", "SWATHS")]
    shape = next(bench.base("lake")[0].getFeatures()).geometry()
    lakes = QgsVectorLayer("MultiPolygon?crs=EPSG:32619&field=lake:string&field=state:string&field=covered_pct:double"
                           "&field=low_pct:double&field=high_pct:double&field=unscanned_pct:double&field=failed:int",
                           "lakes", "memory")
    for name, share, size, turn, east, north in (
            ("Orrelmere", 58, 1.0, 0, 0, 0), ("Long Tarn", 91, 0.6, 70, 1250, 1000),
            ("Mossmere", 34, 0.5, 220, 100, -1300),
            ("Heron Lake", 77, 0.7, 150, 1500, -900), ("Upper Pond", 12, 0.4, 300, 300, 1200)):
        lake = QgsFeature(lakes.fields())
        lake.setAttributes([name, "surveyed", share, share - 1.0, share + 1.0, 100.0 - share, 0])
        lake.setGeometry(_moved(shape, size, turn, east, north))
        lakes.dataProvider().addFeatures([lake])
    lakes.updateExtents()
    return (map_pane([dressed(lakes, "lakes")], framed(lakes.extent(), 1.5), LAND, bar=False),
            _ground(bench, made))


def _moved(shape, size, turn, east, north):
    """A shape in another size, turned and elsewhere."""
    made, middle = QgsGeometry(shape), shape.boundingBox().center()
    made.translate(-middle.x(), -middle.y())
    made.transform(QTransform.fromScale(size, size))
    made.rotate(turn, QgsPointXY(0, 0))
    made.translate(304700 + east, 4481000 + north)
    return made


# --- record image --------------------------------------------------------------------------------------------------

def picksfromimage(bench):
    points, lines = marks("north_record_points.csv"), marks("north_record_shadows.csv")
    objects = [row for row in points if row[1] == "object"]
    drawn = [sketched("Point", [row[0] for row in objects], "marks", [row[2] for row in objects]),
             _by_hand(sketched("Point", [row[0] for row in points if row[1] == "bottom"])),
             _by_hand(sketched("LineString", [row[0] for row in lines]))]
    picks = bench.fields("picksfromimage", ("label", "kind", "side", "slant_m"), TRACK=_track(bench), FIRST_PING=None,
                         LABEL_FIELD="label", **PICTURE)
    return (record_pane([*drawn, _image()], BOTH),
            table_pane(("label", "kind", "side", "slant"), picks, 15, (0.28, 0.22, 0.3, 0.2)))


def newpicks(bench):
    from athwart.algorithms.imagery import newpicks as form

    layer = vector(bench.made("newpicks", PLACE="record image")["OUTPUT"])
    rows = [(name, " / ".join(form._WORDS[name]) if name in form._WORDS else "number" if name in ("range", "depth")
             else "text") for name in layer.fields().names() if name in form._ASKED["record image"]]
    point = next(row[0] for row in marks("north_record_points.csv") if row[2] == "crib")
    return (record_pane([sketched("Point", [point], "marks", ["crib"]), _image()], RECORD),
            table_pane(("the form asks", "you choose or type"), rows, 15, (0.42, 0.58)))


def _choices(found):
    pairs = found if isinstance(found, list) else [found]
    return " / ".join(next(iter(pair)) for pair in pairs)


def georeferenceimage(bench):
    mapped = bench.layer("georeferenceimage", CELL_SIZE=0.25, IMAGE=[PICTURE["IMAGE"]], BALANCE=True,
                         TRACK=_track(bench), FIRST_TIME=PICTURE["FIRST_TIME"], LAST_TIME=PICTURE["LAST_TIME"])
    box = mapped.extent()
    where = (box.xMaximum() - 75, box.center().y(), 170)
    return record_pane([_image()], RECORD), _ground(bench, [*bench.base("contours"), mapped], where,
                                                    ("lake", "depth (m)"))


def measureobjects(bench):
    """Three lines on the crib of the record, read off the picture."""
    shapes = {"along": "LINESTRING (410 -134.5, 410 -142.5)", "across": "LINESTRING (401 -139, 421 -137.5)",
              "shadow": "LINESTRING (421 -140, 440 -140)"}
    lines = bench.folder / "lines.csv"
    rows = "".join(f'"{shape}",{kind},crib\n' for kind, shape in shapes.items())
    lines.write_text(f"WKT,kind,label\n{rows}", encoding="utf-8")
    objects = bench.layer("measureobjects", MARKS=str(lines), KIND_FIELD="kind", OBJECT_FIELD="label", EDGE_RANGE=30,
                          RANGE_UNIT="m", TRACK=_track(bench), **PICTURE)
    middle = objects.extent().center()
    drawn = _by_hand(sketched("LineString", shapes.values()))
    return (record_pane([drawn, _image()], around(415, -138, 90)),
            _ground(bench, (objects,), (middle.x(), middle.y(), 16)))


def drawtargets(bench):
    targets, ellipses = bench.layer("adjusttargets"), bench.layer("adjusttargets", "ELLIPSES")
    new = {**PICTURE, "TRACK": _track(bench), "TARGETS": bench.made("adjusttargets")["OUTPUT"], "EDGE_RANGE": 30,
           "RANGE_UNIT": "m"}
    drawn = [bench.layer("drawtargets", name, **new) for name in ("OUTPUT", "ELLIPSES")]
    return _ground(bench, (targets, ellipses), STEP), record_pane([*drawn, _image()], BOTH)


def checkrecord(bench):
    bottom = [row[0] for row in marks("north_record_points.csv") if row[1] == "bottom"]
    made = bench.folder / "marks.csv"
    made.write_text("WKT,kind\n" + "".join(f'"{row}",bottom\n' for row in bottom), encoding="utf-8")
    rows = [row for row in bench.fields("checkrecord", ("name", "told", "value", "sigma", "unit"), BOTTOM=str(made),
                                        TRACK=_track(bench), SIGMA_MARK=0.1, **PICTURE) if "time" not in row[0]]
    return (record_pane([_by_hand(sketched("Point", bottom)), _image()], WHOLE_RECORD),
            table_pane(("", "as said", "found", "sigma", "unit"), rows, 14, (0.34, 0.18, 0.17, 0.2, 0.11)))


def _track(bench):
    return bench.made("preparetrack")["OUTPUT"]


def _by_hand(layer):
    """Points or lines of a person's hand, on a picture of the record."""
    if layer.geometryType() == 0:
        layer.setRenderer(QgsSingleSymbolRenderer(marker_symbol(mark("circle", 1.8, "#7fd4ff", INK, 0.2))))
    else:
        layer.setRenderer(QgsSingleSymbolRenderer(line_symbol(line("#7fd4ff", 0.6))))
    return layer


# --- targets -------------------------------------------------------------------------------------------------------

def locatetargets(bench):
    rows = [row.split(",") for row in (SAMPLE / "north_picks.csv").read_text("utf-8").splitlines()[1:13]]
    picks = [(row[1][11:19], row[2], row[3], row[-1]) for row in rows]
    return (table_pane(("time", "side", "slant", "label"), picks, 13, (0.28, 0.28, 0.16, 0.28)),
            _ground(bench, (bench.layer("locatetargets"), bench.layer("locatetargets", "ELLIPSES"),
                            bench.layer("preparetrack", "PASSES")), (304745, 4481175, 160)))


def adjusttargets(bench):
    """All looks at one object, and the place that comes of them."""
    looks = [bench.layer("locatetargets"), bench.layer("locatetargets", "ELLIPSES")]
    joined = [bench.layer("adjusttargets"), bench.layer("adjusttargets", "ELLIPSES")]
    spot = max(joined[0].getFeatures(), key=lambda feature: feature["looks"]).geometry().asPoint()
    where = (spot.x(), spot.y(), 36)
    return _ground(bench, looks, where), _ground(bench, joined, where)


def castplan(bench):
    casts, stations = (bench.layer("castplan", name, DISPLAY_UNIT="m") for name in ("OUTPUT", "STATIONS"))
    over = (bench.layer("adjusttargets"), stations, casts, bench.layer("adjusttargets", "ELLIPSES"))
    first = next(casts.getFeatures()).geometry().boundingBox().center()
    return (_ground(bench, over, (first.x(), first.y(), 34)),
            page_pane(bench.made("castplan", DISPLAY_UNIT="m")["OUTPUT_HTML"], width=640))


def exportgpx(bench):
    with open(bench.made("exportgpx")["OUTPUT"], encoding="utf-8") as file:
        lines = re.sub(r"(?<=>)(?=<(?:wpt|name|desc|sym|type|/wpt|rte|trk))", "\n", file.read()).splitlines()
    start = next(k for k, text in enumerate(lines) if "<wpt" in text)
    return (_ground(bench, (bench.layer("adjusttargets"), bench.layer("preparetrack", "PASSES"))),
            text_pane(lines[start:start + 14]))
