"""Check record against log, through the four doors: a bottom of waves, 0.1 m a column, rows told half a minute late."""
import numpy as np
import pytest
import record_layers as made
from athwart.survey.model import schemas
from qgis.core import QgsProcessingException, QgsProcessingFeedback, QgsProject, QgsVectorLayer


def depth(t):
    return 6 + np.sin(t / 11.0) + 0.7 * np.sin(t / 23.0 + 1) + (t % 37) / 20


@pytest.fixture
def image(tmp_path):
    yield made.picture(tmp_path / "record.png")
    QgsProject.instance().clear()


@pytest.fixture
def track_layer(make_layer):
    return made.layer_of(make_layer, made.track(depth(np.arange(201.0)), count=201))


@pytest.fixture
def marks(make_layer):
    """A traced bottom and an object; row 0.5 is ping 1300 of the record."""
    row = np.linspace(0.5, 599.5, 25)
    line = ", ".join(f"{400 + d / 0.1} {-r}" for d, r in zip(depth((row - 0.5 + 300) / 10), row))
    layer = make_layer("LineString", "", {"what": "string"}, [(f"LINESTRING({line})", ["bottom"]),
                                                              ("LINESTRING(20 -30, 10 -30)", ["object"])], "marks")
    QgsProject.instance().addMapLayer(layer)
    return layer


USUAL = {**made.LAYOUT, "KIND_FIELD": "what", "EDGE_RANGE": 40, "RANGE_UNIT": "m"}


class Heard(QgsProcessingFeedback):
    def __init__(self):
        super().__init__(False)
        self.warned = []

    def pushWarning(self, warning):
        self.warned.append(warning)


def test_a_picture_told_too_late_is_found(run, image, track_layer, marks):
    heard = Heard()
    found = run("checkrecord", {"BOTTOM": marks, "IMAGE": image, "TRACK": track_layer, **USUAL, "FIRST_PING": 1600,
                                "OUTPUT": "memory:"}, heard)
    assert found["STATUS"] == "shifted" and found["SHIFT"] == pytest.approx(-300, abs=5)
    assert found["RATE"] == pytest.approx(1, abs=0.01) and found["SCALE"] == pytest.approx(1, abs=0.01)
    assert found["OUTPUT"].fields().names() == schemas.names(schemas.CHECKS)
    rows = {row["name"]: row for row in made.rows_of(found["OUTPUT"])}
    assert set(rows) == {"shift", "rate", "scale", "first_ping", "pings_per_row", "edge_range_m"}
    assert rows["first_ping"]["value"] == pytest.approx(1300, abs=5) and rows["first_ping"]["differs"]
    said = "\n".join(heard.warned)
    assert "rows are 300" in said and "later than the track's" in said
    assert "FIRST_PING" in said and "first_ping" not in said  # the boxes of the form, not the core's names


def test_upside_down(run, image, track_layer, marks):
    heard = Heard()
    found = run("checkrecord", {"BOTTOM": marks, "IMAGE": image, "TRACK": track_layer, **USUAL, "FIRST_PING": 1300,
                                "NEWEST": "top", "SIGMA_MARK": 0.05, "OUTPUT": "memory:"}, heard)
    assert found["STATUS"] == "reversed"
    assert "upside down" in heard.warned[0] and "NEWEST" in heard.warned[0] and "'bottom'" in heard.warned[0]


REFUSED = [({"LAYOUT": None}, "LAYOUT"), ({"NEWEST": None}, "NEWEST"), ({"FIRST_PING": None}, "FIRST_PING"),
           ({"SIGMA_MARK": 0}, "SIGMA_MARK"), ({"SIGMA_MARK": 5}, "so level nothing shows"),
           ({"RANGE_UNIT": None}, "RANGE_UNIT")]


@pytest.mark.parametrize("values, words", REFUSED)
def test_refusals_stand_at_every_door(run, run_as_child, image, track_layer, marks, values, words):
    given = {**USUAL, "IMAGE": image.id(), "TRACK": track_layer.id(), "BOTTOM": marks.id(), **values}
    given = {name: value for name, value in given.items() if value is not None}
    for door, more in ((run, {"OUTPUT": "memory:"}), (run_as_child, {})):
        with pytest.raises(QgsProcessingException, match=words):
            door("checkrecord", {**given, **more})


def test_layers_without_a_mark(run, image, track_layer, make_layer):
    usual = {"IMAGE": image, "TRACK": track_layer, **USUAL, "OUTPUT": "memory:"}
    none = make_layer("Point", "", {"what": "string"}, [], "none")
    with pytest.raises(QgsProcessingException, match="empty"):
        run("checkrecord", {"BOTTOM": none, **usual})
    other = make_layer("Point", "", {"what": "string"}, [("POINT(1 -1)", ["object"])], "other")
    with pytest.raises(QgsProcessingException, match="no mark of the bottom"):
        run("checkrecord", {"BOTTOM": other, **usual})


def test_as_a_models_child(run_as_child, image, track_layer, marks):
    results, layer = run_as_child("checkrecord", {"BOTTOM": marks.id(), "IMAGE": image.id(), "TRACK": track_layer.id(),
                                                  **USUAL, "FIRST_PING": 1300})
    assert layer.featureCount() == 6 and {f["status"] for f in layer.getFeatures()} == {"fits"}


def test_from_the_command_line(qgis_process, image, track_layer, marks, tmp_path):
    import processing
    for name, layer in (("marks", marks), ("track", track_layer)):
        processing.run("native:savefeatures", {"INPUT": layer, "OUTPUT": str(tmp_path / f"{name}.gpkg")})
    code, results, errors = qgis_process("checkrecord", {
        "BOTTOM": str(tmp_path / "marks.gpkg"), "IMAGE": image.source(), "TRACK": str(tmp_path / "track.gpkg"), **USUAL,
        "OUTPUT": str(tmp_path / "check.gpkg")})
    assert code == 0, errors
    assert results["STATUS"] == "shifted" and QgsVectorLayer(results["OUTPUT"], "c", "ogr").featureCount() == 6
