"""Make a layer for picks: what comes out can be drawn in and goes where the help says."""
import pytest
from athwart.survey.model import schemas
from qgis.core import QgsFeature, QgsGeometry, QgsProcessingException, QgsWkbTypes


@pytest.mark.parametrize("place, kind, placed", [
    ("record image", "Point", False), ("record image with shadows", "LineString", False),
    ("record image with sizes", "LineString", False),
    ("boat", "Point", True), ("object", "Point", True)])
def test_each_place_has_its_kind_of_layer(run, place, kind, placed):
    from athwart.algorithms.imagery.newpicks import _open_for_marking

    layer = run("newpicks", {"PLACE": place, "TARGET_CRS": "EPSG:32616", "OUTPUT": "memory:"})["OUTPUT"]
    assert QgsWkbTypes.displayString(layer.wkbType()) == kind and layer.featureCount() == 0
    assert layer.fields().names() == schemas.names(schemas.MARKS)
    _open_for_marking(layer, place)  # as QGIS does on the desktop
    assert layer.crs().isValid() is placed and layer.isEditable()
    layer.rollBack()
    assert schemas.kind_of(layer.fields().names()) is schemas.MARKS


def test_the_form_asks_for_what_the_place_needs_and_drawing_can_begin(run):
    from athwart.algorithms.imagery.newpicks import _open_for_marking

    layer = run("newpicks", {"PLACE": "boat", "OUTPUT": "memory:"})["OUTPUT"]
    _open_for_marking(layer, "boat")
    widgets = {name: layer.editorWidgetSetup(index) for index, name in enumerate(layer.fields().names())}
    assert layer.isEditable() and widgets["kind"].type() == "Hidden"
    assert widgets["side"].config()["map"] == [{"port": "port"}, {"starboard": "starboard"}]
    layer.rollBack()
    _open_for_marking(layer, "record image")
    assert layer.editorWidgetSetup(layer.fields().indexOf("side")).type() == "Hidden"
    assert layer.defaultValueDefinition(layer.fields().indexOf("kind")).expression() == "'object'"
    layer.rollBack()
    _open_for_marking(layer, "record image with sizes")
    assert [list(word)[0] for word in layer.editorWidgetSetup(1).config()["map"]] == ["along", "across", "shadow"]
    layer.rollBack()


def test_marks_of_the_boat_are_located(run, make_layer):
    """A straight run north along x = 500000; the mark abeam of an object 40 ft of slant range to starboard in 12 ft."""
    fixes = make_layer("Point", "EPSG:32616", {"t_s": "double"},
                       [(f"POINT(500000 {4500000 + 2 * i})", [1.7e9 + i]) for i in range(100)])
    track = run("preparetrack", {"INPUT": fixes, "RANGE": 80, "RANGE_UNIT": "ft", "DEPTH": 12, "DEPTH_UNIT": "ft",
                                 "OUTPUT": "memory:"})["OUTPUT"]
    marks = run("newpicks", {"PLACE": "boat", "TARGET_CRS": "EPSG:32616", "OUTPUT": "memory:"})["OUTPUT"]
    feature = QgsFeature(marks.fields())
    feature.setAttributes(["log", None, "starboard", 40.0, None, None])
    feature.setGeometry(QgsGeometry.fromWkt("POINT(500000.3 4500100)"))
    marks.dataProvider().addFeatures([feature])
    found = run("locatetargets", {"PICKS": marks, "TRACK": track, "TIE": "boat point", "SIDE_FIELD": "side",
                                  "RANGE_FIELD": "range", "RANGE_UNIT": "ft", "LABEL_FIELD": "label",
                                  "OUTPUT": "memory:"})
    place = next(found["OUTPUT"].getFeatures()).geometry().asPoint()
    assert place.x() - 500000 == pytest.approx(((40**2 - 12**2) ** 0.5) * 0.3048, abs=0.6)  # Pythagoras


def test_a_word_that_is_none_of_the_places_is_answered_with_them(run, run_as_child):
    with pytest.raises(QgsProcessingException, match="'Boat'; choose one of record image, .*Did you mean boat"):
        run("newpicks", {"PLACE": "Boat", "OUTPUT": "memory:"})
    with pytest.raises(QgsProcessingException, match="choose one of record image"):
        run_as_child("newpicks", {"PLACE": "ship"})
