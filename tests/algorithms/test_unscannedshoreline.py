"""Find unscanned shoreline, through the three doors: a script, a model's child, the command line."""
import pytest
from athwart.survey.model.schemas import SHORE, names
from qgis.core import QgsCoordinateReferenceSystem, QgsProcessingException, QgsProject, QgsWkbTypes

UTM = "EPSG:32632"
E, N = 500_000, 4_983_000
SCALE = 0.9996


def ring(x0, y0, x1, y1):
    return f"{E + x0} {N + y0},{E + x1} {N + y0},{E + x1} {N + y1},{E + x0} {N + y1},{E + x0} {N + y0}"


@pytest.fixture
def lake(make_layer):
    return make_layer("Polygon", UTM, {}, [(f"POLYGON(({ring(0, 0, 400, 200)}))", [])], "lake")


@pytest.fixture
def swaths(make_layer):
    return make_layer("Polygon", UTM, {}, [(f"POLYGON(({ring(100, 3, 200, 30)}))", [])], "swaths")


def stretches(layer):
    return [(f["status"], f["length_m"]) for f in layer.getFeatures()]


def test_figures_layer_and_fields(run, lake, swaths):
    result = run("unscannedshoreline", {"SWATHS": swaths, "SHORELINE": lake, "OUTPUT": "memory:"})
    assert set(result) == {"OUTPUT", "SHORE_M", "UNSCANNED_M", "UNSCANNED_PERCENT"}
    assert result["SHORE_M"] == pytest.approx(1200 / SCALE, rel=1e-6)
    assert result["SHORE_M"] - result["UNSCANNED_M"] == pytest.approx(108 / SCALE, abs=0.02)
    assert result["UNSCANNED_PERCENT"] == pytest.approx(91, abs=0.01)
    layer = result["OUTPUT"]
    assert layer.fields().names() == names(SHORE) and layer.crs().authid() == UTM
    assert QgsWkbTypes.geometryType(layer.wkbType()) == QgsWkbTypes.GeometryType.LineGeometry
    assert [status for status, _ in stretches(layer)] == ["unscanned", "scanned"]
    assert sum(length for _, length in stretches(layer)) == pytest.approx(result["SHORE_M"])
    assert [f["shore_id"] for f in layer.getFeatures()] == [1, 2]


def test_a_spit_in_the_water_layer_hides_the_shore_behind_it(run, make_layer, swaths):
    shore = make_layer("LineString", UTM, {}, [(f"LINESTRING({E + 100} {N},{E + 200} {N})", [])])
    open_water = make_layer("Polygon", UTM, {}, [(f"POLYGON(({ring(0, 0, 400, 200)}))", [])])
    split = make_layer("Polygon", UTM, {}, [(f"POLYGON(({ring(0, 0, 400, 1)}))", []),
                                            (f"POLYGON(({ring(0, 1.5, 400, 200)}))", [])])
    parameters = {"SWATHS": swaths, "SHORELINE": shore, "OUTPUT": "memory:"}
    assert run("unscannedshoreline", {**parameters, "WATER": open_water})["UNSCANNED_PERCENT"] == 0
    assert run("unscannedshoreline", {**parameters, "WATER": split})["UNSCANNED_PERCENT"] == 100


def test_reach_and_least_length(run, lake, make_layer):
    swaths = make_layer("Polygon", UTM, {}, [(f"POLYGON(({ring(100, 1, 150, 20)}))", []),
                                             (f"POLYGON(({ring(160, 1, 200, 20)}))", [])])
    parameters = {"SWATHS": swaths, "SHORELINE": lake, "OUTPUT": "memory:", "REACH": 2}
    assert len(stretches(run("unscannedshoreline", parameters)["OUTPUT"])) == 4
    assert len(stretches(run("unscannedshoreline", {**parameters, "MIN_LENGTH": 20})["OUTPUT"])) == 2
    wide = run("unscannedshoreline", {**parameters, "REACH": 20})
    assert wide["UNSCANNED_M"] < 1200 - 100


@pytest.mark.parametrize("parameters, words", [
    ({"REACH": 0}, ["REACH"]), ({"REACH": float("nan")}, ["REACH"]), ({"MIN_LENGTH": -1}, ["MIN_LENGTH"])])
def test_values_out_of_bounds(run, run_as_child, lake, swaths, parameters, words):
    with pytest.raises(QgsProcessingException) as error:
        run("unscannedshoreline", {"SWATHS": swaths, "SHORELINE": lake, "OUTPUT": "memory:", **parameters})
    assert all(word in str(error.value) for word in words)
    for layer in (lake, swaths):
        QgsProject.instance().addMapLayer(layer, False)
    with pytest.raises(QgsProcessingException) as error:
        run_as_child("unscannedshoreline", {"SWATHS": swaths.id(), "SHORELINE": lake.id(), **parameters})
    QgsProject.instance().removeAllMapLayers()
    assert all(word in str(error.value) for word in words)


def test_open_lines_need_water_and_empty_layers_are_refused(run, make_layer, lake, swaths):
    line = make_layer("LineString", UTM, {}, [(f"LINESTRING({E} {N},{E + 400} {N})", [])])
    nothing = make_layer("Polygon", UTM, {}, [])
    nowhere = make_layer("Polygon", UTM, {}, [(f"POLYGON(({ring(0, 0, 1, 1)}))", [])])
    nowhere.setCrs(QgsCoordinateReferenceSystem())
    for given, words in (({"SHORELINE": line}, "WATER"), ({"SHORELINE": nothing}, "shoreline layer"),
                         ({"SWATHS": nothing}, "swath layer"), ({"WATER": nothing}, "holds no polygon"),
                         ({"SHORELINE": nowhere}, "no coordinate reference system")):
        with pytest.raises(QgsProcessingException, match=words):
            run("unscannedshoreline", {"SWATHS": swaths, "SHORELINE": lake, "OUTPUT": "memory:", **given})


def test_from_the_command_line(qgis_process, fixtures, tmp_path):
    lakes = str(fixtures / "vector" / "lake_with_island_albers.gpkg")
    target = str(tmp_path / "shore.gpkg")
    code, results, said = qgis_process("unscannedshoreline", {"SWATHS": lakes, "SHORELINE": lakes, "OUTPUT": target})
    assert code == 0, said
    assert results["UNSCANNED_M"] == 0
    assert results["SHORE_M"] == pytest.approx(45342, rel=1e-4)  # expected.json of the fixtures
