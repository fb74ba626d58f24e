"""Draw swaths, through the three doors: a script, a model's child, the command line."""
import numpy as np
import onfile
import pytest
import tracks
from athwart.survey.model.schemas import SWATHS, names
from pyproj import Geod, Proj, Transformer
from qgis.core import (
    NULL,
    QgsCoordinateReferenceSystem,
    QgsFeatureRequest,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProject,
    QgsVectorFileWriter,
    QgsVectorLayer,
    QgsWkbTypes,
)
from qgis.PyQt.QtCore import QDateTime, Qt

UTM = "EPSG:32615"
EAST, NORTH = 500_000.0, 4_980_000.0
WIDTH = np.sqrt(30**2 - 5**2) - 5 * np.tan(np.radians(20))  # of one side: R 30, H 5, blind angle 20 degrees
SCALE = 0.9996  # of the UTM zone on its middle meridian


class Heard(QgsProcessingFeedback):
    """Keeps what a tool says."""

    def __init__(self):
        super().__init__(False)
        self.warnings, self.infos = [], []

    def pushInfo(self, info):
        self.infos.append(info)

    def pushWarning(self, warning):
        self.warnings.append(warning)


def northward(count=41, crs=UTM, **given):
    """A track due north from the origin, 1.5 m of ground a sample."""
    to_degrees = Transformer.from_crs(UTM, 4326, always_xy=True)
    lon, lat = to_degrees.transform(EAST, NORTH)
    lon, lat, _ = Geod(ellps="WGS84").fwd(np.full(count, lon), np.full(count, lat), np.zeros(count),
                                          np.arange(count) * 1.5)
    x, y = Transformer.from_crs(4326, crs, always_xy=True).transform(lon, lat)
    return tracks.made(crs, x, y, 0.0, **{"t_s": 1_760_000_000.25 + np.arange(count), **given})


@pytest.fixture
def on_file(tmp_path):
    """on_file(track, EPSG code) -> path of a GeoPackage."""
    def call(track=None, epsg=32615, name="track.gpkg"):
        return onfile.track_file(tmp_path / name, track or northward(), epsg)
    return call


@pytest.fixture
def water(make_layer):
    """water(west, south, east, north ...) in metres about the origin: one polygon of the water for each four."""
    def call(*boxes, crs=UTM):
        rows = []
        for x0, y0, x1, y1 in boxes:
            ring = [(EAST + x, NORTH + y) for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0))]
            if crs != UTM:
                ring = list(zip(*Transformer.from_crs(UTM, crs, always_xy=True).transform(*zip(*ring))))
            rows.append((f"POLYGON(({','.join(f'{x} {y}' for x, y in ring)}))", [1]))
        return make_layer("Polygon", crs, {"name": "integer"}, rows, "my lake")
    return call


def rows(layer):
    return [dict(zip(f.fields().names(), f.attributes())) for f in layer.getFeatures()]


def test_fields_figures_and_times(run, on_file):
    heard = Heard()
    result = run("swathfootprint", {"INPUT": on_file(), "OUTPUT": "memory:"}, heard)
    assert set(result) == {"OUTPUT", "AREA_M2"}
    assert result["AREA_M2"] == pytest.approx(2 * WIDTH * 60, rel=1e-7)
    layer = result["OUTPUT"]
    assert layer.fields().names() == names(SWATHS)
    assert layer.wkbType() == QgsWkbTypes.Type.MultiPolygon
    assert layer.crs().authid() == UTM
    port, starboard = rows(layer)
    assert (port["side"], starboard["side"]) == ("port", "starboard")
    for row in (port, starboard):
        assert row["outing"] == "day 1" and row["pass_id"] == 1 and row["samples"] == 41
        assert row["area_m2"] == pytest.approx(WIDTH * 60, rel=1e-7)
        assert row["range_m"] == 30 and row["depth_m"] == 5 and row["blind_deg"] == 20
        assert row["outer_m"] == pytest.approx(29.5804, abs=1e-4) and row["inner_m"] == pytest.approx(1.8199, abs=1e-4)
        assert row["range_model"] == "slant" and 0.7 < row["sigma_edge_m"] < 1 and row["speed_mps"] == 1.5
        start, end = (QDateTime(row[k].date(), row[k].time(), Qt.TimeSpec.UTC) for k in ("start_time", "end_time"))
        assert start.toMSecsSinceEpoch() == 1_760_000_000_250
        assert end.toMSecsSinceEpoch() == 1_760_000_040_250
    for feature in layer.getFeatures():
        assert feature.geometry().isGeosValid()
        assert feature.geometry().area() == pytest.approx(feature["area_m2"] * SCALE**2, rel=1e-6)
    assert any("82 beams drawn by the model 'slant'" in text for text in heard.infos)
    assert any("2 stretches went in as one ribbon, 0 intervals one by one" in text for text in heard.infos)
    assert not heard.warnings


def test_a_noisy_heading_is_named(run, on_file):
    noisy, heard = northward(), Heard()
    noisy.heading_deg = np.where(np.arange(41) % 2, 20.0, -20.0)
    run("swathfootprint", {"INPUT": on_file(noisy), "OUTPUT": "memory:"}, heard)
    assert any("SMOOTHING" in text for text in heard.warnings)


@pytest.mark.parametrize("crs, epsg", [("EPSG:4326", 4326), ("EPSG:26915", 26915), ("EPSG:3857", 3857)])
def test_neither_the_layers_nor_the_projects_coordinate_system_changes_the_ground(run, on_file, crs, epsg):
    QgsProject.instance().setCrs(QgsCoordinateReferenceSystem("EPSG:3978"))
    result = run("swathfootprint", {"INPUT": on_file(northward(crs=crs), epsg), "OUTPUT": "memory:"})
    assert result["AREA_M2"] == pytest.approx(2 * WIDTH * 60, rel=1e-6)
    assert result["OUTPUT"].crs().authid() == crs


def test_geopackage_in_and_out(run, on_file, tmp_path):
    path = str(tmp_path / "swaths.gpkg")
    track = northward(pass_id=np.repeat([1, 2], [21, 20]))
    run("swathfootprint", {"INPUT": on_file(track), "MERGE": "all", "OUTPUT": path})
    layer = QgsVectorLayer(path, "swaths", "ogr")
    assert layer.fields().names() == ["fid", *names(SWATHS)]
    [row] = rows(layer)
    assert row["side"] == "both" and row["pass_id"] == NULL and row["outing"] == "day 1"
    assert next(layer.getFeatures()).geometry().isGeosValid()


def test_merging_sides_and_range_used(run, on_file):
    track = northward(pass_id=np.repeat([1, 2], [21, 20]), range_m=np.repeat([30.0, 40.0], [31, 10]))
    path = on_file(track)

    def drawn(**given):
        return rows(run("swathfootprint", {"INPUT": path, "OUTPUT": "memory:", **given})["OUTPUT"])
    assert [(r["pass_id"], r["side"], r["range_m"]) for r in drawn()] == [
        (1, "port", 30), (1, "starboard", 30), (2, "port", 30), (2, "starboard", 30), (2, "port", 40),
        (2, "starboard", 40)]
    assert [(r["pass_id"], r["side"], r["samples"]) for r in drawn(MERGE="pass")] == [(1, "both", 21), (2, "both", 20)]
    assert [r["side"] for r in drawn(SIDES="port", MERGE="pass")] == ["port", "port"]
    half = drawn(RANGE_USED=50, BLIND_ANGLE=0, MERGE="strip")
    assert half[0]["outer_m"] == pytest.approx(np.sqrt(15**2 - 25))
    assert drawn(RANGE_MODEL="subtract", BLIND_ANGLE=0)[0]["outer_m"] == pytest.approx(25)


def test_turns_are_kept_on_request(run, on_file):
    path = on_file(northward(turn_dps=np.degrees(0.1)))  # 1.5 m/s: the centre lies 15 m to starboard
    for keep, outer in ((False, 15.0), (True, 29.5804)):
        result = run("swathfootprint", {"INPUT": path, "SIDES": "starboard", "KEEP_TURNS": keep, "OUTPUT": "memory:"})
        assert rows(result["OUTPUT"])[0]["outer_m"] == pytest.approx(outer, abs=1e-4)


@pytest.mark.parametrize("crs", [UTM, "EPSG:4326"])
def test_land_stops_sound(run, on_file, water, crs):
    # a lake in two features side by side, and a shore 20 m to starboard
    lake = water((-100, -50, 0, 200), (0, -50, 20, 200), crs=crs)
    heard = Heard()
    result = run("swathfootprint", {"INPUT": on_file(), "WATER": lake, "OUTPUT": "memory:"}, heard)
    port, starboard = rows(result["OUTPUT"])
    assert port["outer_m"] == pytest.approx(29.5804, abs=1e-4)
    assert starboard["outer_m"] == pytest.approx(20 / SCALE, abs=0.01)
    assert starboard["area_m2"] == pytest.approx((20 / SCALE - 1.8199) * 60, rel=1e-3)
    assert any("41 beams end at a shore" in text for text in heard.infos)


def test_warnings_count_what_saw_nothing(run, on_file, water):
    depth = np.full(41, 5.0)
    depth[5:8], depth[20] = 31.0, np.nan
    heard = Heard()
    run("swathfootprint", {"INPUT": on_file(northward(depth_m=depth)), "WATER": water((-90, -90, 90, 50)),
                           "OUTPUT": "memory:"}, heard)
    said = " ".join(heard.warnings)
    assert "3 usable samples have a range shorter than the depth" in said
    assert "1 usable samples have no depth" in said
    assert "7 usable samples lie outside the water polygon" in said


def test_terrain(run, on_file, tmp_path):
    size, cell = 400, 0.5
    e = np.tile((np.arange(size) + 0.5) * cell - 100, (size, 1))
    ridge = onfile.raster_file(tmp_path / "ridge.tif", np.where(np.abs(e - 10) < 1, 3.0, 5.0),
                               (EAST - 100, cell, 0, NORTH + 130, 0, -cell))
    heard = Heard()
    result = run("swathfootprint", {"INPUT": on_file(), "RANGE_MODEL": "terrain", "DEPTH_GRID": ridge,
                                    "OUTPUT": "memory:"}, heard)
    port, starboard = rows(result["OUTPUT"])
    assert port["range_model"] == "terrain"
    assert port["area_m2"] == pytest.approx(WIDTH * 60, rel=1e-4)
    # over the brow at 11, 3 m down, the ray meets 5 m at 18.33: some 7 m lie in shadow
    assert starboard["area_m2"] == pytest.approx((WIDTH - (18.33 - 11.2)) * 60, rel=0.02)
    assert starboard["outer_m"] == pytest.approx(29.58, abs=0.02)
    assert not heard.warnings
    run("swathfootprint", {"INPUT": on_file(name="again.gpkg"), "DEPTH_GRID": ridge, "OUTPUT": "memory:"}, heard)
    assert any("was not used" in text for text in heard.warnings)


REFUSALS = [
    ({"RANGE_MODEL": "terrain"}, "DEPTH_GRID.*Prepare depth grid"),
    ({"RANGE_USED": 0.0}, "RANGE_USED|trusted"),
    ({"BLIND_ANGLE": 95.0}, "BLIND_ANGLE|blind angle is 95"),
    ({"SIDES": "left"}, "SIDES"),
    ({"MERGE": "lines"}, "MERGE"),
    ({"RANGE_MODEL": "guess"}, "RANGE_MODEL"),
]


@pytest.mark.parametrize("wrong, words", REFUSALS)
def test_refusals_of_a_script_and_of_a_models_child(run, run_as_child, on_file, wrong, words):
    parameters = {"INPUT": on_file(), **wrong}
    with pytest.raises(QgsProcessingException, match=words):
        run("swathfootprint", {**parameters, "OUTPUT": "memory:"})
    with pytest.raises(QgsProcessingException, match=words):
        run_as_child("swathfootprint", parameters)


def spoiled(source, folder):
    """The track without a CRS, cut down to a Shapefile, and without a feature.

    Apart from the test: QGIS 3.40 keeps the frames of refusals to its end, and crashes there on layers of files.
    """
    track = QgsVectorLayer(source, "track", "ogr")
    nowhere = track.materialize(QgsFeatureRequest())
    nowhere.setCrs(QgsCoordinateReferenceSystem())
    options, path = QgsVectorFileWriter.SaveVectorOptions(), str(folder / "track.shp")
    options.driverName = "ESRI Shapefile"
    QgsVectorFileWriter.writeAsVectorFormatV3(track, path, QgsProject.instance().transformContext(), options)
    return nowhere, path, track.materialize(QgsFeatureRequest().setFilterExpression("FALSE"))


def test_layers_that_are_no_track(run, on_file, make_layer, tmp_path):
    nowhere, cut, empty = spoiled(on_file(), tmp_path)
    fixes = make_layer("Point", UTM, {"outing": "string", "pass_id": "integer"},
                       [(f"POINT({EAST} {NORTH})", ["a", 1])])
    for layer, words in ((fixes, "lacks the fields sample_id.*Run 'Prepare track'"), (cut, "Shapefile"),
                         (nowhere, "no coordinate reference system"), (empty, "is empty")):
        with pytest.raises(QgsProcessingException, match=words):
            run("swathfootprint", {"INPUT": layer, "OUTPUT": "memory:"})


def test_a_track_is_refused_whole_though_not_all_of_it_is_read(run, on_file):
    track = QgsVectorLayer(on_file(), "track", "ogr").materialize(QgsFeatureRequest())
    track.dataProvider().deleteAttributes([track.fields().indexOf("reject_reason")])
    track.updateFields()
    with pytest.raises(QgsProcessingException, match="lacks the field reject_reason"):
        run("swathfootprint", {"INPUT": track, "OUTPUT": "memory:"})


def test_an_outing_that_saw_nothing(run, on_file, water):
    with pytest.raises(QgsProcessingException, match="41 have a range shorter than the depth"):
        run("swathfootprint", {"INPUT": on_file(northward(depth_m=40.0)), "OUTPUT": "memory:"})
    with pytest.raises(QgsProcessingException, match="WATER.* is the right lake"):
        run("swathfootprint", {"INPUT": on_file(name="b.gpkg"), "WATER": water((500, 0, 900, 9)), "OUTPUT": "memory:"})


def test_cancelling_writes_nothing(run, on_file):
    feedback = QgsProcessingFeedback(False)
    feedback.cancel()
    with pytest.raises(QgsProcessingException, match="Stopped"):
        run("swathfootprint", {"INPUT": on_file(), "OUTPUT": "memory:"}, feedback)


def test_as_a_models_child(run_as_child, on_file):
    results, layer = run_as_child("swathfootprint", {"INPUT": on_file(), "MERGE": "pass"})
    assert layer.featureCount() == 1
    assert layer.fields().names() == names(SWATHS)


def test_on_the_command_line(qgis_process, on_file, tmp_path):
    path = str(tmp_path / "swaths.gpkg")
    code, results, said = qgis_process("swathfootprint", {"INPUT": on_file(), "BLIND_ANGLE": 0, "OUTPUT": path})
    assert code == 0, said
    assert results["AREA_M2"] == pytest.approx(2 * np.sqrt(875) * 60, rel=1e-7)
    assert QgsVectorLayer(path, "swaths", "ogr").featureCount() == 2


def test_convergence_is_what_other_software_says():
    # the tests above stand on due north by geodesics; the zone's own grid is turned by this much here
    factors = Proj(UTM).get_factors(*Proj(UTM)(EAST, NORTH, inverse=True))
    assert factors.meridian_convergence == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("share", [100, 80])
def test_swaths_say_what_part_of_the_range_counted(run, on_file, share):
    layer = run("swathfootprint", {"INPUT": on_file(), "RANGE_USED": share, "OUTPUT": "memory:"})["OUTPUT"]
    assert {round(feature["range_used_pct"], 6) for feature in layer.getFeatures()} == {share}
