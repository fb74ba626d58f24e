"""Draw targets on a record, through the four doors: targets located on a picture come back to their own pixels."""
import pytest
import record_layers as made
from athwart.survey.model import schemas
from qgis.core import QgsProcessingException, QgsProject, QgsVectorLayer


@pytest.fixture
def image(tmp_path):
    yield made.picture(tmp_path / "record.png")
    QgsProject.instance().clear()


@pytest.fixture
def track_layer(make_layer):
    return made.layer_of(make_layer, made.track())


@pytest.fixture
def targets(run, image, track_layer, make_layer):
    """Two objects picked on the picture, and one that lies elsewhere."""
    marks = make_layer("Point", "", {"name": "string"}, [("POINT(560 -200.5)", ["crib"]),
                                                             ("POINT(250 -400.5)", ["log"])], "marks")
    picks = run("picksfromimage", {"PICKS": marks, "IMAGE": image, "TRACK": track_layer, **made.LAYOUT,
                                   "LABEL_FIELD": "name", "OUTPUT": "memory:"})["OUTPUT"]
    layer = run("locatetargets", {"PICKS": picks, "TRACK": track_layer, "SIGMA_HEIGHT": 0,
                                  "OUTPUT": "memory:"})["OUTPUT"]
    QgsProject.instance().addMapLayer(layer)
    return layer


def test_targets_come_back_to_their_own_pixels(run, image, track_layer, targets):
    found = run("drawtargets", {"TARGETS": targets, "IMAGE": image, "TRACK": track_layer, **made.LAYOUT,
                                "OUTPUT": "memory:", "ELLIPSES": "memory:"})
    assert (found["DRAWN_COUNT"], found["UNSEEN_COUNT"]) == (2, 0)
    assert found["OUTPUT"].fields().names() == schemas.names(schemas.DRAWN_TARGETS)
    points = {f["label"]: f.geometry().asPoint() for f in found["OUTPUT"].getFeatures()}
    # pixels of the picture: below the origin, as QGIS lays it
    assert (points["crib"].x(), points["crib"].y()) == pytest.approx((560, -200.5), abs=0.5)
    assert (points["log"].x(), points["log"].y()) == pytest.approx((250, -400.5), abs=0.5)
    shapes = {f["label"]: f.geometry() for f in found["ELLIPSES"].getFeatures()}
    assert all(shapes[name].contains(points[name]) for name in points)


def test_targets_that_the_picture_does_not_show_are_counted(run, image, track_layer, targets):
    found = run("drawtargets", {"TARGETS": targets, "IMAGE": image, "TRACK": track_layer, **made.LAYOUT,
                                "LAYOUT": "starboard", "OUTPUT": "memory:"})
    assert (found["DRAWN_COUNT"], found["UNSEEN_COUNT"]) == (1, 1)


REFUSED = [({"LAYOUT": None}, "LAYOUT"), ({"NEWEST": None}, "NEWEST"), ({"FIRST_PING": None}, "FIRST_PING"),
           ({"FIRST_PING": 90000}, "No row falls on the track")]


@pytest.mark.parametrize("values, words", REFUSED)
def test_refusals_stand_at_every_door(run, run_as_child, image, track_layer, targets, values, words):
    given = {**made.LAYOUT, "IMAGE": image.id(), "TRACK": track_layer.id(), "TARGETS": targets.id(), **values}
    given = {name: value for name, value in given.items() if value is not None}
    for door, more in ((run, {"OUTPUT": "memory:"}), (run_as_child, {})):
        with pytest.raises(QgsProcessingException, match=words):
            door("drawtargets", {**given, **more})


def test_layers_that_are_no_targets(run, image, track_layer):
    with pytest.raises(QgsProcessingException, match="this is 'Track' of 'Prepare track'; choose"):
        run("drawtargets", {"TARGETS": track_layer, "IMAGE": image, "TRACK": track_layer, **made.LAYOUT,
                            "OUTPUT": "memory:"})


def test_as_a_models_child_and_from_the_command_line(run_as_child, qgis_process, image, track_layer, targets, tmp_path):
    import processing
    _, layer = run_as_child("drawtargets", {"TARGETS": targets.id(), "IMAGE": image.id(), "TRACK": track_layer.id(),
                                            **made.LAYOUT})
    assert layer.featureCount() == 2
    for name, one in (("targets", targets), ("track", track_layer)):
        processing.run("native:savefeatures", {"INPUT": one, "OUTPUT": str(tmp_path / f"{name}.gpkg")})
    code, results, errors = qgis_process("drawtargets", {
        "TARGETS": str(tmp_path / "targets.gpkg"), "IMAGE": image.source(), "TRACK": str(tmp_path / "track.gpkg"),
        **made.LAYOUT, "OUTPUT": str(tmp_path / "drawn.gpkg")})
    assert code == 0, errors
    drawn = QgsVectorLayer(results["OUTPUT"], "d", "ogr")
    assert drawn.featureCount() == 2
