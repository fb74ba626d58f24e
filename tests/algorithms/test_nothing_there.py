"""Nothing found is an ordinary outing: every input of every tool emptied in turn.

A layer without a feature, a layer whose features have no geometry, a raster of nothing but nodata, an empty file: the
tool gives an ordinary result, or a refusal that names the input and says what to do. Never a traceback.

The tools come from the registry. A new one joins by itself: inputs are found by the name of the parameter, else by its
kind; it only needs a line in ``MORE`` where it has to be told more than that.
"""
import re

import numpy as np
import pytest
import sailed
from athwart.algorithms import tool_classes
from athwart.survey.geometry.frame import Frame
from osgeo import gdal, osr
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsFeature,
    QgsGeometry,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProcessingParameterDefinition,
    QgsVectorLayer,
    QgsWkbTypes,
)

UTM, LON, LAT = "EPSG:32615", -93.0, 45.0
X, Y = (float(v[0]) for v in Frame(UTM, LON, LAT).inverse(np.zeros(1), np.zeros(1)))
NAMES = [tool.ID for tool in tool_classes()]
FACTS = {"RANGE": 30, "RANGE_UNIT": "m", "DEPTH_UNIT": "m"}
MORE = {
    "readlogs": {"INPUT": "log"},
    "preparetrack": {"INPUT": "fixes", **FACTS, "DEPTH_FIELD": "d", "SETTINGS": "settings"},
    "preparebathymetry": {"INPUT": "depths", "KIND": "depth", "UNIT": "m", "CONTOURS": None, "SHORELINE": None},
    "swathfootprint": {"INPUT": "TRACK"},
    "ensonify": {"INPUT": "TRACK", "CELL_SIZE": 1},
    "coveragegaps": {"SEEN": None},
    "locatetargets": {"SIDE_FIELD": "hand", "RANGE_FIELD": "dist", "RANGE_UNIT": "m", "TIME_FIELD": "when",
                      "PICKS": "picks"},
    "adjusttargets": {"GROUP_FIELD": "label"},
    "castplan": {"BOAT": "BOAT"},
    "georeferenceimage": {"LAYOUT": "both", "NEWEST": "top", "FIRST_TIME": "2023-11-14T22:13:20Z",
                          "LAST_TIME": "2023-11-14T22:14:20Z", "CELL_SIZE": 1, "FRAMES": None, "BOTTOM_PICKS": None},
    "drawtargets": {"LAYOUT": "both", "NEWEST": "top", "FIRST_TIME": "2023-11-14T22:13:20Z",
                    "LAST_TIME": "2023-11-14T22:14:20Z"},
    "picksfromimage": {"PICKS": "marks", "LAYOUT": "both", "FIRST_TIME": "2023-11-14T22:13:20Z",
                       "LAST_TIME": "2023-11-14T22:14:20Z", "EDGE_RANGE": 30, "RANGE_UNIT": "m", "NEWEST": "top",
                       "DEPTH_UNIT": "m"},
    "exportgpx": {"WAYPOINTS": "TARGETS", "LINES": "PASSES"},
    "measureobjects": {"MARKS": "readings", "IMAGE": None},
    "plansurveylines": FACTS, "planshorerun": FACTS, "planfillinlines": {**FACTS, "GAPS": "hole", "BUDGET": 1},
    "plancalibration": {"OBJECTS": "TARGETS", **FACTS, "DEPTH": 5},
    "plansheet": {"LINES": "plan"},
    "checkrecord": {"BOTTOM": "bottom", "TRACK": "track over waves", "SIGMA_MARK": 0.05, "LAYOUT": "both",
                    "FIRST_TIME": "2023-11-14T22:13:20Z", "LAST_TIME": "2023-11-14T22:14:20Z", "EDGE_RANGE": 30,
                    "RANGE_UNIT": "m", "NEWEST": "top"},
}
"""What a tool must be told: a word is the name of a layer or file of ``world``, where there is one, else a value."""
AGAIN = {"preparebathymetry": [{"INPUT": None, "CONTOURS": "CONTOURS", "CONTOUR_DEPTH_FIELD": "depth",
                                "SHORELINE": "SHORELINE", "CELL_SIZE": 5}],
         "coveragegaps": [{"SWATHS": None, "SEEN": "SEEN", "PROBABILITY_SEEN": None}],
         "swathfootprint": [{"RANGE_MODEL": "terrain"}],
         "locatetargets": [{"RANGE_MODEL": "terrain"}], "castplan": [{"BOAT": None, "STAND_OFF": 15, "WIND_FROM": 270}]}
"""Other ways to run a tool, over what stands in ``MORE``."""
NO_LAYER = ("opendistrict",)
"""What it takes is one file of many layers, made elsewhere; ``tests/workflow/test_district.py`` has it wrong."""
REMEDY = re.compile(r"\b(use|give|choose|check|run|draw|set|load|leave|correct|repair|delete|add|type|take|export|look|"
                    r"what helps|fill|copy|put)\b", re.IGNORECASE)
ACCIDENT = re.compile(r"Traceback|Error:|NoneType|has no attribute|out of (range|bounds)|zero-size|not supported for")


class Heard(QgsProcessingFeedback):
    """Keeps what is reported as an error."""

    def __init__(self):
        super().__init__(False)
        self.errors = []

    def reportError(self, error, fatalError=False):
        self.errors.append(error)


def layer_of(kind, fields, rows, name, crs=UTM):
    parts = "&".join(f"field={field}:{type_}" for field, type_ in fields.items())
    made = QgsVectorLayer(f"{kind}?{f'crs={crs}&' if kind != 'None' else ''}{parts}", name, "memory")
    features = []
    for wkt, values in rows:
        feature = QgsFeature(made.fields())
        if wkt:
            feature.setGeometry(QgsGeometry.fromWkt(wkt))
        feature.setAttributes(values)
        features.append(feature)
    assert made.dataProvider().addFeatures(features)[0]
    return made


def box(x0, y0, x1, y1):
    return (f"MULTIPOLYGON((({X + x0} {Y + y0},{X + x1} {Y + y0},{X + x1} {Y + y1},{X + x0} {Y + y1},"
            f"{X + x0} {Y + y0})))")


def raster(path, values, corner, bands=("depth",), kind=gdal.GDT_Float32):
    made = gdal.GetDriverByName("GTiff").Create(str(path), values.shape[-1], values.shape[-2], len(bands), kind)
    made.SetGeoTransform((*corner[:1], 1, 0, corner[1], 0, -1))
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(32615)
    made.SetProjection(reference.ExportToWkt())
    for i, name in enumerate(bands, 1):
        band = made.GetRasterBand(i)
        if kind == gdal.GDT_Float32:
            band.SetNoDataValue(-9999)
        band.SetDescription(name)
        band.WriteArray(values)
    del made, band
    return str(path)


@pytest.fixture(scope="module")
def world(provider, tmp_path_factory):
    """Every layer of a small job by the name of the parameter that takes it."""
    import processing
    folder = tmp_path_factory.mktemp("world")
    lon, lat, t_s = sailed.sail(LON, LAT, [*sailed.straight(0, 40), *sailed.turn(0, 180, 9), *sailed.straight(180, 40)],
                                2.0)
    waves = 5 + np.sin((t_s - t_s[0]) / 7) + 0.03 * (t_s - t_s[0])  # under the first minute
    fixes = layer_of("Point", {"t_s": "double", "d": "double", "waves": "double"},
                     [(f"POINT({a} {b})", [c, 5.0, d]) for a, b, c, d in
                      zip(lon.tolist(), lat.tolist(), t_s.tolist(), waves.tolist())], "fixes", "EPSG:4326")
    lake = layer_of("MultiPolygon", {"name": "string"}, [(box(-40, -20, 80, 110), ["bay"])], "lake")
    when = [f"2023-11-14T22:13:{second}Z" for second in (30, 40, 50)]
    made = {
        "log": str(folder / "log.nmea"), "fixes": fixes, "AREA": lake, "WATER": lake, "SHORELINE": lake,
        "EXCLUDE": layer_of("MultiPolygon", {"name": "string"}, [(box(-10, 0, -5, 5), ["weed"])], "weed"),
        "picks": layer_of("None", {"when": "string", "hand": "string", "dist": "string", "label": "string"},
                          [(None, [moment, "port", "20", "log"]) for moment in when], "picks"),
        "readings": layer_of("None", dict.fromkeys(("side", "start_time", "end_time", "near_m", "far_m"), "string"),
                             [(None, ["port", when[0], when[1], "15", "16"])], "readings"),
        "settings": layer_of("None", {"from_time": "string", "range": "string"}, [(None, [when[0], "25"])],
                             "settings"),
        "CONTOURS": layer_of("LineString", {"depth": "double"},
                             [(f"LINESTRING({X + i} {Y - 10},{X + i} {Y + 100})", [3.0 + i / 10])
                              for i in (-20, 0, 20)], "contours"),
        "hole": layer_of("MultiPolygon", {"gap_id": "integer", "open_pct": "double"}, [(box(0, 20, 9, 29), [1, 99.0])],
                         "hole"),
        "BOAT": layer_of("Point", {"heading_deg": "double"}, [(f"POINT({X} {Y + 10})", [0.0])], "boat"),
        "marks": layer_of("Point", {"kind": "string"}, [("POINT(10 -20)", ["object"])], "marks"),
        "bottom": layer_of("Point", {"kind": "string"},  # on 60 rows of a second, newest on top, a metre a column
                           [(f"POINT({30 + np.interp(59.5 - row, t_s - t_s[0], waves)} {-row})", ["bottom"])
                            for row in np.arange(0.5, 60, 4)], "bottom"),
        "depths": raster(folder / "depths.tif", np.full((200, 200), 5.0), (X - 60, Y + 150)),
        "IMAGE": raster(folder / "image.tif", np.full((60, 60), 9.0), (0, 0), kind=gdal.GDT_Byte),
    }
    lines = [f"$GPRMC,22132{i},A,4500.00{11 * i:02d},N,09300.0000,W,3.9,0.0,141123,,*" for i in range(2)]
    with open(made["log"], "w", encoding="ascii") as file:
        for line in lines:
            check = 0
            for letter in line[1:-1]:
                check ^= ord(letter)
            file.write(f"{line}{check:02X}\r\n")
    made["DEPTH_GRID"] = made["depths"]

    def run(tool, *outputs, **given):
        found = processing.run(f"athwart:{tool}", {**given, **dict.fromkeys(outputs, "memory:")})
        return [found[name] for name in outputs]
    made["TRACK"], made["PASSES"] = run("preparetrack", "OUTPUT", "PASSES", INPUT=fixes, **FACTS, DEPTH_FIELD="d")
    made["track over waves"], = run("preparetrack", "OUTPUT", INPUT=fixes, **FACTS, DEPTH_FIELD="waves")
    made["SWATHS"], = run("swathfootprint", "OUTPUT", INPUT=made["TRACK"])
    made["GAPS"], made["AREAS"] = run("coveragegaps", "OUTPUT", "AREAS", SWATHS=made["SWATHS"], AREA=lake)
    made["SHORE"], = run("unscannedshoreline", "OUTPUT", SWATHS=made["SWATHS"], SHORELINE=lake)
    made["TARGETS"], = run("locatetargets", "OUTPUT", TRACK=made["TRACK"], PICKS=made["picks"], **{
        key: value for key, value in MORE["locatetargets"].items() if key != "PICKS"}, LABEL_FIELD="label")
    _, made["OFFSETS"] = run("adjusttargets", "OUTPUT", "OFFSETS", TARGETS=made["TARGETS"], GROUP_FIELD="label")
    made["SEEN"] = processing.run("athwart:ensonify", {
        "INPUT": made["TRACK"], "CELL_SIZE": 1, "OBJECT_SIZE": 1, "OUTPUT": str(folder / "seen.tif")})["OUTPUT"]
    made["WAYPOINTS"] = layer_of("Point", {"name": "string", "t_s": "double"},
                                 [(f"POINT({X} {Y})", ["25", float(t_s[3])])], "waypoints")
    made["LINES"] = made["PASSES"]
    made["plan"], = run("planfillinlines", "OUTPUT", GAPS=made["hole"], AREA=lake, RANGE=30, RANGE_UNIT="m", DEPTH=5)
    made["POINTS"] = made["TARGETS"]
    return made


@pytest.fixture(scope="module")
def whole_jobs():
    """What a tool said to its whole job, by its name and the way to run it: asked once for both ways of being empty."""
    return {}


def geometry_of(definition):
    """Of what kind an input by an unknown name is: a layer of ``world`` that fits."""
    kinds = {int(getattr(kind, "value", kind)) for kind in definition.dataTypes()}
    for kind, name in ((2, "AREA"), (1, "PASSES"), (0, "TARGETS")):
        if kind in kinds:
            return name
    return "TARGETS"


def job_of(tool, world, folder):
    """Parameters of an ordinary run of a tool, and the names of its inputs with what each is."""
    given, inputs = {}, {}
    for definition in tool.parameterDefinitions():
        name, kind = definition.name(), definition.type()
        optional = bool(definition.flags() & QgsProcessingParameterDefinition.Flag.FlagOptional)
        if definition.isDestination():
            suffix = {"fileDestination": f".{name[-4:].lower().replace('able', 'csv').replace('tput', 'txt')}",
                      "rasterDestination": ".tif"}.get(kind)
            given[name] = str(folder / f"{name}{suffix}") if suffix else "memory:"
        elif kind in ("source", "vector", "raster", "multilayer", "file"):
            inputs[name] = definition
            known = name if name in world else "depths" if kind == "raster" else geometry_of(definition) \
                if kind in ("source", "vector") else None
            if name in world or not optional:
                given[name] = known
        elif kind == "enum" and definition.defaultValue() is None and not optional:
            given[name] = definition.options()[0]
        elif kind in ("number", "distance") and definition.defaultValue() is None and not optional:
            given[name] = 10
    given.update(MORE.get(tool.name(), {}))
    return given, inputs


@pytest.mark.parametrize("name", NAMES)
def test_a_tool_nobody_told_of_gets_its_inputs(provider, world, tmp_path, monkeypatch, name):
    monkeypatch.setitem(MORE, name, {})
    given, inputs = job_of(provider.algorithm(name), world, tmp_path)
    for parameter, definition in inputs.items():
        if definition.type() in ("source", "raster") and not definition.flags() & definition.Flag.FlagOptional:
            assert given[parameter] in world


def filled(given, world):
    """The parameters with layers and files in place of their names; those that are None are left out."""
    found = {name: world[value] if isinstance(value, str) and value in world and name not in ("LABEL_FIELD",) else value
             for name, value in given.items() if value is not None}
    return {name: [value] if name == "INPUT" and value == world["log"] else value for name, value in found.items()}


def emptied(value, way, folder):
    """The layer, raster or file with nothing in it; None where that way of being empty does not apply."""
    if isinstance(value, QgsVectorLayer):
        flat = value.wkbType() == QgsWkbTypes.Type.NoGeometry
        if way == "no geometry" and flat:
            return None
        made = QgsVectorLayer("None" if flat else QgsWkbTypes.displayString(value.wkbType()), "hollow", "memory")
        made.setCrs(value.crs() if not flat else QgsCoordinateReferenceSystem())
        made.dataProvider().addAttributes(value.fields().toList())
        made.updateFields()
        if way == "no geometry":
            features = []
            for one in value.getFeatures():
                feature = QgsFeature(made.fields())
                feature.setAttributes(one.attributes())
                features.append(feature)
            assert made.dataProvider().addFeatures(features)[0] and made.featureCount() == len(features) > 0
        return made
    if way == "no geometry":
        return None
    if isinstance(value, list):
        path = folder / "hollow.nmea"
        path.write_bytes(b"")
        return [str(path)]
    path = str(folder / "hollow.tif")
    gdal.GetDriverByName("GTiff").CreateCopy(path, gdal.Open(value))
    made = gdal.Open(path, gdal.GA_Update)
    for number in range(1, made.RasterCount + 1):
        band = made.GetRasterBand(number)
        nothing = np.nan if band.GetNoDataValue() is None else band.GetNoDataValue()
        band.WriteArray(np.full((made.RasterYSize, made.RasterXSize), nothing, np.float32))
    made.FlushCache()
    del made, band
    return path


def attempt(run, name, parameters):
    """'' after a run, else what was said; errors of any other kind pass through."""
    heard = Heard()
    try:
        run(name, parameters, heard)
    except QgsProcessingException as error:
        return str(error)
    finally:
        accidents = [text for text in heard.errors if ACCIDENT.search(text)]
        assert not accidents, accidents
    return ""


@pytest.mark.parametrize("way", ["no features", "no geometry"])
@pytest.mark.parametrize("name", NAMES)
def test_every_input_emptied_in_turn(run, provider, world, whole_jobs, tmp_path, name, way):
    tool = provider.algorithm(name)
    wrong, tried = [], 0
    for turn, other in enumerate([{}, *AGAIN.get(name, [])]):
        given, inputs = job_of(tool, world, tmp_path)
        whole = filled({**given, **other}, world)
        if (name, turn) not in whole_jobs:
            whole_jobs[name, turn] = attempt(run, name, whole)
        said = before = whole_jobs[name, turn]
        assert not said or name not in {*MORE, "unscannedshoreline", "coveragereport"}, f"the whole job: {said}"
        for number, parameter in enumerate(key for key in inputs if key in whole):
            folder = tmp_path / f"{way}-{turn}-{number}"
            folder.mkdir()
            hollow = emptied(whole[parameter], way, folder)
            if hollow is None:
                continue
            tried += 1
            try:
                said = attempt(run, name, {**whole, parameter: hollow})
            except Exception as error:  # whatever it is, it is one
                wrong.append(f"{parameter}: {type(error).__name__}: {error}")
                continue
            label = inputs[parameter].description()
            if said and said != before and (ACCIDENT.search(said) or not REMEDY.search(said)
                         or not any(word in said for word in ("hollow", f"({parameter})", label))):
                wrong.append(f"{parameter}: {said}")
    assert not wrong, "\n".join(wrong)
    assert tried or way == "no geometry" or not inputs or name in NO_LAYER
