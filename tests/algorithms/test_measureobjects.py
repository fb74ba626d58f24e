"""Measure objects, through the four doors, on lines whose lengths are plain: 0.15 m a row, 0.1 m a column."""
import pytest
import record_layers as made
from athwart.survey.model import schemas
from qgis.core import NULL, QgsProcessingException, QgsProcessingFeedback, QgsProject, QgsVectorLayer

LINES = [("LINESTRING(540 -100, 540 -140)", ["along", "crib"]), ("LINESTRING(535 -120, 550 -120)", ["Across", "crib"]),
         ("LINESTRING(550 -120, 580 -120)", ["shadow", "crib"]), ("LINESTRING(200 -200, 200 -203)", ["", ""]),
         ("LINESTRING(200 -300, 210 -300, 220 -310)", ["along", "bent"])]
USUAL = {"KIND_FIELD": "what", "OBJECT_FIELD": "name", **made.LAYOUT}
TABLE = [("", ["starboard", "2023-11-14T22:13:30", "2023-11-14T22:13:34", 13.5, 15.0, 18.0, "crib"]),
         ("", ["up", "2023-11-14T22:13:30", "2023-11-14T22:13:34", 13.5, 15.0, 18.0, "lost"])]


@pytest.fixture
def image(tmp_path):
    yield made.picture(tmp_path / "record.png")
    QgsProject.instance().clear()


@pytest.fixture
def track_layer(make_layer):
    return made.layer_of(make_layer, made.track())


@pytest.fixture
def lines(make_layer):
    layer = make_layer("LineString", "", {"what": "string", "name": "string"}, LINES, "marks")
    QgsProject.instance().addMapLayer(layer)
    return layer


@pytest.fixture
def table(make_layer):
    return make_layer("None", "", {"side": "string", "start_time": "string", "end_time": "string", "near_m": "double",
                                   "far_m": "double", "shadow_end_m": "double", "object": "string"}, TABLE, "objects")


class Heard(QgsProcessingFeedback):
    def __init__(self):
        super().__init__(False)
        self.warned = []

    def pushWarning(self, warning):
        self.warned.append(warning)


def test_lines_on_a_picture(run, image, track_layer, lines):
    heard = Heard()
    found = run("measureobjects", {"MARKS": lines, "IMAGE": image, "TRACK": track_layer, **USUAL, "BEAM_WIDTH": 1,
                                   "OUTPUT": "memory:", "REJECTED": "memory:"}, heard)
    assert (found["OBJECT_COUNT"], found["REJECTED_COUNT"]) == (2, 1)
    assert found["OUTPUT"].fields().names()[:len(schemas.OBJECTS)] == schemas.names(schemas.OBJECTS)
    crib, bit = made.rows_of(found["OUTPUT"])
    foot = 14.2 * 0.01745
    assert crib["length_m"] == pytest.approx(6.0 - foot, abs=0.02) and crib["label"] == "crib"
    # h = H (Re - Rt) / Re, over a level bed
    assert crib["height_m"] == pytest.approx(6 * 3 / 18) and crib["least_depth_m"] == pytest.approx(5.0)
    assert crib["azimuth_deg"] == pytest.approx(0, abs=0.1) and crib["side"] == "starboard"
    # a row is 0.15 m, a column 0.1 m of slant and more of ground
    assert crib["stretch"] == pytest.approx(0.1 / 0.15 * 14.2 / 12.9, rel=0.03)
    assert crib["length_lo_m"] < crib["length_m"] < crib["length_hi_m"] and crib["what"] == "along"
    assert bit["length_at_most"] and bit["sigma_length_m"] == NULL
    assert bit["width_m"] == NULL and bit["azimuth_deg"] == NULL
    said = "\n".join(heard.warned)
    for words in ("1 of 3 objects could not be measured", "3 points", "hardly larger than the beam"):
        assert words in said
    box = next(found["OUTPUT"].getFeatures()).geometry()
    assert box.area() == pytest.approx(crib["length_m"] * crib["width_m"], rel=0.01)


def test_a_table_without_a_picture(run, track_layer, table):
    found = run("measureobjects", {"MARKS": table, "TRACK": track_layer, "ERRORS": "survey", "OUTPUT": "memory:",
                                   "REJECTED": "memory:"})
    assert (found["OBJECT_COUNT"], found["REJECTED_COUNT"]) == (1, 1)
    row = made.rows_of(found["OUTPUT"])[0]
    assert row["length_m"] == pytest.approx(6.0, abs=0.3) and row["height_m"] == pytest.approx(1.0)
    assert row["stretch"] == NULL and row["object"] == "crib"
    assert "no side" in made.rows_of(found["REJECTED"])[0]["reason"]


def test_a_table_in_feet(run, track_layer, table, make_layer):
    """The same object read off a display in feet; a foot is 0.3048 m exactly."""
    rows = [("", [*values[:3], *(number / 0.3048 for number in values[3:6]), values[6]]) for _, values in TABLE]
    fields = ("side", "start_time", "end_time", "near_ft", "far_ft", "shadow_end_ft", "object")
    feet = make_layer("None", "", {name: "double" if name.endswith("_ft") else "string" for name in fields}, rows, "ft")
    one, other = (made.rows_of(run("measureobjects", {"MARKS": layer, "TRACK": track_layer, "OUTPUT": "memory:"})
                               ["OUTPUT"])[0] for layer in (table, feet))
    for name in ("length_m", "width_m", "height_m", "width_lo_m", "slant_m"):
        assert one[name] == pytest.approx(other[name], rel=1e-9), name
    both = make_layer("None", "", {"side": "string", "start_time": "string", "end_time": "string", "near_m": "double",
                                   "near_ft": "double", "far_ft": "double"}, [("", [*TABLE[0][1][:3], 14, 45, 49])])
    with pytest.raises(QgsProcessingException, match="near_m and near_ft: leave one"):
        run("measureobjects", {"MARKS": both, "TRACK": track_layer, "OUTPUT": "memory:"})


@pytest.mark.parametrize("unit, words", [("m", "crib ≥ 5.6 x 1.5 m"), ("ft", "crib ≥ 18 x 5 ft")])
def test_labels_say_bounds_and_the_unit_of_who_reads_them(make_layer, unit, words):
    from athwart.algorithms.common.style_files import STYLES
    from qgis.core import QgsExpression, QgsExpressionContext, QgsExpressionContextUtils

    kinds = {"label": "string", "length_m": "double", "width_m": "double", "length_at_least": "bool",
             "length_at_most": "bool", "width_at_least": "bool", "width_at_most": "bool"}
    layer = make_layer("Polygon", "", kinds, [("POLYGON((0 0,1 0,1 1,0 0))", ["crib", 5.61, 1.52, True, False, False,
                                                                              None])])
    layer.loadNamedStyle(str(STYLES / "objects.qml"))
    QgsExpressionContextUtils.setLayerVariable(layer, "athwart_unit", unit)
    context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    context.setFeature(next(layer.getFeatures()))
    assert QgsExpression(layer.labeling().settings().fieldName).evaluate(context) == words


REFUSED = [({"IMAGE": None}, "lines, but there is no"), ({"LAYOUT": None}, "LAYOUT"), ({"NEWEST": None}, "NEWEST"),
           ({"FIRST_PING": None}, "FIRST_PING"), ({"ERRORS": "wild"}, "ERRORS"), ({"BEAM_WIDTH": -1}, "BEAM_WIDTH"),
           ({"FIRST_PING": 9000}, "No pick falls|Nothing|on pings")]


@pytest.mark.parametrize("values, words", REFUSED)
def test_refusals_stand_at_every_door(run, run_as_child, image, track_layer, lines, values, words):
    given = {**USUAL, "IMAGE": image.id(), "TRACK": track_layer.id(), "MARKS": lines.id(), **values}
    given = {name: value for name, value in given.items() if value is not None}
    for door, more in ((run, {"OUTPUT": "memory:"}), (run_as_child, {})):
        with pytest.raises(QgsProcessingException, match=words):
            door("measureobjects", {**given, **more})


def test_tables_that_lack_something(run, image, track_layer, make_layer, table):
    with pytest.raises(QgsProcessingException, match="holds no lines"):
        run("measureobjects", {"MARKS": table, "IMAGE": image, "TRACK": track_layer, **made.LAYOUT,
                               "OUTPUT": "memory:"})
    bare = make_layer("None", "", {"side": "string"}, [("", ["port"])], "bare")
    with pytest.raises(QgsProcessingException, match="start_ping, end_ping, near_m, far_m"):
        run("measureobjects", {"MARKS": bare, "TRACK": track_layer, "OUTPUT": "memory:"})


def test_as_a_models_child(run_as_child, image, track_layer, lines):
    _, layer = run_as_child("measureobjects", {"MARKS": lines.id(), "IMAGE": image.id(), "TRACK": track_layer.id(),
                                              **USUAL})
    assert layer.featureCount() == 2


def test_from_the_command_line(qgis_process, image, track_layer, lines, tmp_path):
    import processing
    for name, layer in (("marks", lines), ("track", track_layer)):
        processing.run("native:savefeatures", {"INPUT": layer, "OUTPUT": str(tmp_path / f"{name}.gpkg")})
    code, results, errors = qgis_process("measureobjects", {
        "MARKS": str(tmp_path / "marks.gpkg"), "IMAGE": image.source(), "TRACK": str(tmp_path / "track.gpkg"), **USUAL,
        "OUTPUT": str(tmp_path / "objects.gpkg")})
    assert code == 0, errors
    assert QgsVectorLayer(results["OUTPUT"], "p", "ogr").featureCount() == 2
