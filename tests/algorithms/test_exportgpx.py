"""Write GPX, through the three doors; another library reads every file back."""
import gpxpy
import pytest
from qgis.core import QgsProcessingException, QgsProcessingFeedback, QgsProject

TARGET = {"target_id": "integer", "label": "string", "status": "string", "radius_m": "double",
          "confidence_pct": "double", "depth_m": "double", "height_m": "double", "t_s": "double"}


@pytest.fixture
def layers(make_layer):
    """Three targets in UTM zone 15 and a line of two parts in degrees; both in the project, for models."""
    points = make_layer("Point", "EPSG:32615", TARGET, [
        ("POINT(500000 5000000)", [1, "Crib at the north end", "bottom", 6.24, 95.0, 8.1, None, 1.7e9]),
        ("POINT(500100 5000000)", [2, "Crib at the north end", "side unsure", 9.0, 95.0, None, 1.0, None]),
        ("POINT(500100 5000100)", [3, None, "water column", 4.0, 90.0, 3.0, None, None])], "targets")
    lines = make_layer("MultiLineString", "EPSG:4326", {"line_id": "integer"}, [
        ("MULTILINESTRING((-93 45, -93.01 45.01), (-93.02 45, -93.03 45))", [7]), (None, [8])], "lines")
    QgsProject.instance().addMapLayers([points, lines])
    yield points, lines
    QgsProject.instance().clear()


def read(path):
    with open(path, encoding="utf-8") as file:
        return gpxpy.parse(file)


def test_targets_become_waypoints_with_their_accuracy(run, layers, tmp_path):
    path = str(tmp_path / "out.gpx")
    assert run("exportgpx", {"WAYPOINTS": layers[0], "MAX_NAME": 10, "OUTPUT": path}) == {"OUTPUT": path}
    found = read(path)
    assert [w.name for w in found.waypoints] == ["Crib at th", "Crib at t2", "3"]
    assert found.waypoints[0].longitude == pytest.approx(-93, abs=1e-7)
    assert found.waypoints[0].latitude == pytest.approx(45.1537, abs=1e-3)
    assert found.waypoints[0].time.timestamp() == 1.7e9 and found.waypoints[1].time is None
    assert found.waypoints[0].description == (
        "target 1 Crib at the north end; 95 % within 6.2 m; 8.1 m under the boat when seen")
    assert found.waypoints[1].description == (
        "target 2 Crib at the north end; 95 % within 9.0 m; stands 1.0 m high; side unsure")
    assert "water column" in found.waypoints[2].description
    assert [(w.symbol, w.type) for w in found.waypoints] == [("target", "bottom"), ("target", "side unsure"),
                                                             ("target", "water column")]
    assert "not for navigation" in found.description


def test_stations_go_by_their_names_round_one_route_an_outing(run, make_layer, tmp_path):
    stations = make_layer("Point", "EPSG:4326", {"station_id": "integer", "name": "string", "route_no": "integer",
                                                 "outing": "string", "cast_at": "string", "nearest_m": "double",
                                                 "farthest_m": "double", "heading_deg": "double"}, [
        ("POINT(-93 45)", [1, "S1 Crib", 2, "north", "1 Crib at the north end", 15.24, 15.24, 80.0]),
        ("POINT(-93.1 45)", [2, "S2", 1, "north", "2, 4 Log", 12.192, 18.288, None]),
        ("POINT(-93.2 45)", [3, "S3", 1, "south", None, None, None, None])], "stations")
    path = str(tmp_path / "out.gpx")
    run("exportgpx", {"WAYPOINTS": stations, "ROUTE": True, "DISPLAY_UNIT": "ft", "OUTPUT": path})
    found = read(path)
    assert [(r.name, [p.name for p in r.points]) for r in found.routes] == [("north", ["S2", "S1 Crib"]),
                                                                            ("south", ["S3"])]
    assert {(w.symbol, w.type) for w in found.waypoints} == {("station", "station")}
    assert [w.description for w in found.waypoints] == [
        "station for target 1 Crib at the north end; 50 ft off; bow at 080\u00b0 true",
        "station for targets 2, 4 Log; 40 to 60 ft off", None]


@pytest.mark.parametrize("kind", ["route", "track"])
def test_lines(run, layers, tmp_path, kind):
    path = str(tmp_path / "out.gpx")
    heard = []
    feedback = QgsProcessingFeedback(False)
    feedback.pushWarning = heard.append
    run("exportgpx", {"LINES": layers[1], "LINES_AS": kind, "OUTPUT": path}, feedback)
    found = read(path)
    if kind == "route":
        assert [r.name for r in found.routes] == ["7", "72"] and len(found.routes[0].points) == 2
    else:
        assert [len(s.points) for s in found.tracks[0].segments] == [2, 2] and found.tracks[0].name == "7"
    assert any("1 line(s) without a vertex" in text for text in heard)


def test_names_from_a_field(run, layers, tmp_path):
    path = str(tmp_path / "out.gpx")
    run("exportgpx", {"WAYPOINTS": layers[0], "NAME_FIELD": "status", "LINES": layers[1], "OUTPUT": path})
    found = read(path)
    assert [w.name for w in found.waypoints] == ["bottom", "side unsure", "water column"] and len(found.routes) == 2


REFUSED = [({}, "nothing to write"), ({"MAX_NAME": 1}, "MAX_NAME|nothing"), ({"LINES_AS": "path"}, "LINES_AS")]


@pytest.mark.parametrize("values, words", REFUSED)
def test_refusals_stand_at_every_door(run, run_as_child, layers, tmp_path, values, words):
    given = {**values, "OUTPUT": str(tmp_path / "no.gpx")}
    if values:
        given["WAYPOINTS"] = layers[0].id()
    with pytest.raises(QgsProcessingException, match=words):
        run("exportgpx", given)
    with pytest.raises(QgsProcessingException, match=words):
        run_as_child("exportgpx", given, output="")


def test_a_folder_that_is_not_there_and_a_file_that_cannot_be_are_named(run, layers, tmp_path):
    with pytest.raises(QgsProcessingException, match="folder /nowhere/at/all, which does not exist"):
        run("exportgpx", {"WAYPOINTS": layers[0], "OUTPUT": "/nowhere/at/all/out.gpx"})
    (tmp_path / "out.gpx").mkdir()
    with pytest.raises(QgsProcessingException, match="out.gpx, which is a folder. Give the name of a file in it"):
        run("exportgpx", {"WAYPOINTS": layers[0], "OUTPUT": str(tmp_path / "out.gpx")})


def test_empty_layers_are_said(run, make_layer, tmp_path):
    empty = make_layer("Point", "EPSG:4326", {"name": "string"}, [], "empty")
    with pytest.raises(QgsProcessingException, match="nothing to write"):
        run("exportgpx", {"WAYPOINTS": empty, "OUTPUT": str(tmp_path / "no.gpx")})


def test_as_a_models_child(run_as_child, layers, tmp_path):
    path = str(tmp_path / "child.gpx")
    run_as_child("exportgpx", {"WAYPOINTS": layers[0].id(), "OUTPUT": path}, output="")
    assert len(read(path).waypoints) == 3


def test_from_the_command_line(qgis_process, tmp_path):
    source = tmp_path / "marks.geojson"
    source.write_text('{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"name": "Log <1>"}'
                      ', "geometry": {"type": "Point", "coordinates": [-93.5, 45.25]}}]}', encoding="utf-8")
    path = str(tmp_path / "cli.gpx")
    code, results, errors = qgis_process("exportgpx", {"WAYPOINTS": str(source), "OUTPUT": path})
    assert code == 0, errors
    assert results["OUTPUT"] == path
    found = read(path).waypoints[0]
    assert (found.name, found.longitude, found.latitude) == ("Log <1>", -93.5, 45.25)
