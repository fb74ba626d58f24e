"""Find coverage gaps, through the three doors: a script, a model's child, the command line."""
import numpy as np
import pytest
from athwart.survey.model.schemas import AREAS, GAPS, names
from qgis.core import (
    NULL,
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsFeatureRequest,
    QgsGeometry,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProject,
    QgsVectorFileWriter,
    QgsVectorLayer,
    QgsWkbTypes,
)

UTM = "EPSG:32632"
E, N = 500_000, 4_983_000
NUMBERS = ("AREA_M2", "COVERED_M2", "COVERED_PERCENT", "WORST_PERCENT", "BEST_PERCENT", "GAP_M2", "NARROW_M2",
           "SMALL_M2", "GAP_COUNT", "LOW_PERCENT", "HIGH_PERCENT", "EXPECTED_PERCENT")
SCALE = 0.9996  # of the UTM zone on its middle meridian: 1 m on the map is 1 / 0.9996 m over ground


class Heard(QgsProcessingFeedback):
    """Keeps what a tool says."""

    def __init__(self):
        super().__init__(False)
        self.warnings, self.infos = [], []

    def pushInfo(self, info):
        self.infos.append(info)

    def pushWarning(self, warning):
        self.warnings.append(warning)


def box(x0, y0, x1, y1):
    return f"POLYGON(({E + x0} {N + y0},{E + x1} {N + y0},{E + x1} {N + y1},{E + x0} {N + y1},{E + x0} {N + y0}))"


@pytest.fixture
def swaths(make_layer):
    fields = {"outing": "string", "pass_id": "integer", "side": "string", "outer_m": "double", "sigma_edge_m": "double"}

    def call(*rows, crs=UTM):
        return make_layer("MultiPolygon", crs, fields, rows, "my swaths")
    return call


@pytest.fixture
def pair(swaths):
    """Both sides of a pass along y = 0, x = 0 to 300."""
    return swaths((box(0, 3, 300, 30), ["a", 1, "starboard", 30, 0.75]),
                  (box(0, -30, 300, -3), ["a", 1, "port", 30, 0.75]))


@pytest.fixture
def area(make_layer):
    def call(*rows, crs=UTM, fields=None):
        return make_layer("Polygon", crs, fields or {"fid": "integer", "name": "string"},
                          rows or [(box(0, -30, 300, 30), [7, "bay"])], "my area")
    return call


@pytest.fixture
def passes(make_layer):
    fields = {"outing": "string", "pass_id": "integer", "range_m": "double", "mean_depth_m": "double"}
    return make_layer("LineString", UTM, fields, [(f"LINESTRING({E} {N},{E + 300} {N})", ["a", 1, 30.4, 5])])


def both(**given):
    return {"OUTPUT": "memory:", "AREAS": "memory:", **given}


def rows(layer):
    return [dict(zip(f.fields().names(), f.attributes())) for f in layer.getFeatures()]


def test_figures_layers_and_fields(run, pair, area, passes):
    heard = Heard()
    result = run("coveragegaps", both(SWATHS=pair, AREA=area(), PASSES=passes), heard)
    ground = 1 / SCALE**2
    assert result["AREA_M2"] == pytest.approx(18000 * ground, rel=1e-6)
    assert result["COVERED_M2"] == pytest.approx(16200 * ground, rel=1e-6)
    assert result["COVERED_PERCENT"] == pytest.approx(90, abs=1e-4)
    assert (result["WORST_PERCENT"] < result["LOW_PERCENT"] < 90 < result["HIGH_PERCENT"] <= result["BEST_PERCENT"])
    assert result["LOW_PERCENT"] < result["EXPECTED_PERCENT"] < result["HIGH_PERCENT"]
    assert result["GAP_M2"] == pytest.approx(1800 * ground, rel=1e-6)
    assert result["GAP_COUNT"] == 1 and 0 <= result["NARROW_M2"] < 1
    gaps, areas = result["OUTPUT"], result["AREAS"]
    assert gaps.fields().names() == names(GAPS)
    assert gaps.wkbType() == areas.wkbType() == QgsWkbTypes.Type.MultiPolygon
    assert gaps.crs().authid() == areas.crs().authid() == UTM
    [gap] = rows(gaps)
    assert gap["kind"] == "nadir" and gap["gap_id"] == 1 and gap["looks"] == 0 and gap["certain"] is False
    assert gap["width_m"] == pytest.approx(6, rel=0.01) and gap["length_m"] == pytest.approx(300, rel=0.01)
    assert areas.fields().names() == [*names(AREAS), "src_fid", "name"]
    [row] = rows(areas)
    assert row["name"] == "bay" and row["src_fid"] == 7
    assert row["covered_pct"] == pytest.approx(result["COVERED_PERCENT"])
    for name in ("low", "high", "worst", "best", "expected"):
        assert row[f"{name}_pct"] == pytest.approx(result[f"{name.upper()}_PERCENT"]), name
    assert row["looks_min"] == 0
    assert 0 <= gap["open_pct"] <= 100 and 0 <= gap["certain_m2"] < 0.5 * gap["area_m2"]
    assert any("95 % interval" in text for text in heard.infos) and any("worst case" in text for text in heard.infos)
    assert any("90.0 %" in text for text in heard.infos)


def test_listed_narrow_and_small_ground_close_the_sum(run, pair, area):
    """300 m of strip under the boat, 6 m wide, and two areas beside each other: all is listed, narrow or small."""
    halves = area((box(0, -30, 150, 30), [1, "west"]), (box(150, -30, 300, 30), [2, "east"]))
    for least, width in ((1.0, 1.0), (5000.0, 1.0), (1.0, 7.0)):
        result = run("coveragegaps", both(SWATHS=pair, AREA=halves, MIN_AREA=least, MIN_WIDTH=width))
        listed = sum(row["area_m2"] for row in rows(result["OUTPUT"]))
        assert listed + result["NARROW_M2"] + result["SMALL_M2"] == pytest.approx(result["GAP_M2"], abs=1e-6)
        assert result["COVERED_M2"] + result["GAP_M2"] == pytest.approx(result["AREA_M2"], rel=1e-12)
        assert (result["SMALL_M2"] > 1000) == (least > 1000) and (result["NARROW_M2"] > 1000) == (width > 6)


@pytest.mark.parametrize("looks", [1, 2])
def test_areas_say_how_many_looks_were_asked_and_of_what_grade(run, pair, area, looks):
    [row] = rows(run("coveragegaps", both(SWATHS=pair, AREA=area(), REQUIRED_LOOKS=looks))["AREAS"])
    assert (row["looks_asked"], row["grade"]) == (looks, "seen")


def test_every_declared_number_comes_back(run, pair, area):
    result = run("coveragegaps", both(SWATHS=pair, AREA=area()))
    assert {name for name, value in result.items() if value is not None} == {"OUTPUT", "AREAS", *NUMBERS}
    assert all(type(result[name]) in (int, float) for name in NUMBERS), "QGIS drops numbers of any other type"


def test_another_coordinate_system_changes_nothing(run, pair, area, passes):
    there = QgsCoordinateTransform(QgsCoordinateReferenceSystem(UTM), QgsCoordinateReferenceSystem("EPSG:4326"),
                                   QgsProject.instance())
    shape = QgsGeometry.fromWkt(box(0, -30, 300, 30))
    shape.transform(there)
    metric = run("coveragegaps", both(SWATHS=pair, AREA=area(), PASSES=passes))
    angular = run("coveragegaps", both(SWATHS=pair, AREA=area((shape.asWkt(12), [1, "bay"]), crs="EPSG:4326"),
                                       PASSES=passes))
    for name in NUMBERS[:6]:
        assert angular[name] == pytest.approx(metric[name], rel=1e-5), name
    for name in NUMBERS[8:]:
        assert angular[name] == pytest.approx(metric[name], abs=0.03), name
    assert angular["OUTPUT"].crs().authid() == "EPSG:4326"
    extent = angular["OUTPUT"].extent()
    assert 8.9 < extent.xMinimum() < extent.xMaximum() < 9.1


def test_two_looks_and_excluded_ground(run, swaths, area, make_layer):
    layer = swaths((box(0, -30, 300, 30), ["a", 1, "both", 30, 0.75]),
                   (box(0, -30, 150, 30), ["b", 1, "both", 30, 0.75]))
    once = run("coveragegaps", both(SWATHS=layer, AREA=area()))
    assert once["COVERED_PERCENT"] == pytest.approx(100)
    assert rows(once["AREAS"])[0]["looks_min"] == 1
    twice = run("coveragegaps", both(SWATHS=layer, AREA=area(), REQUIRED_LOOKS=2))
    assert twice["COVERED_PERCENT"] == pytest.approx(50, abs=1e-4)
    assert rows(twice["OUTPUT"])[0]["looks"] == 1
    exclude = make_layer("Polygon", UTM, {}, [(box(200, -30, 300, 30), [])])
    less = run("coveragegaps", both(SWATHS=layer, AREA=area(), REQUIRED_LOOKS=2, EXCLUDE=exclude))
    assert less["COVERED_PERCENT"] == pytest.approx(75, abs=1e-4)


def test_passes_drawn_as_one_leave_the_worst_case_null(run, swaths, area):
    layer = swaths((box(0, 0, 300, 30), ["a", NULL, "both", 30, 0.75]))
    heard = Heard()
    result = run("coveragegaps", both(SWATHS=layer, AREA=area()), heard)
    assert result["WORST_PERCENT"] is None and result["LOW_PERCENT"] < 50 < result["HIGH_PERCENT"]
    assert rows(result["AREAS"])[0]["worst_pct"] == NULL
    assert any("moved together" in text for text in heard.warnings)


def test_what_swaths_do_not_state_is_taken_and_said(run, pair, area, passes):
    heard = Heard()
    run("coveragegaps", both(SWATHS=pair, AREA=area()), heard)
    assert any("sigma_heading_deg" in text and "usual values" in text for text in heard.warnings)
    assert any("line is not known" in text and "PASSES" in text for text in heard.warnings)
    heard = Heard()
    run("coveragegaps", both(SWATHS=pair, AREA=area(), PASSES=passes), heard)
    assert not any("line is not known" in text for text in heard.warnings)


def test_the_probability_of_having_been_seen(run, pair, area, passes, tmp_path):
    from osgeo import gdal
    path = str(tmp_path / "seen.tif")
    result = run("coveragegaps", both(SWATHS=pair, AREA=area(), PASSES=passes, PROBABILITY_SEEN=path))
    assert result["PROBABILITY_SEEN"] == path and (tmp_path / "seen.qml").exists()
    raster = gdal.Open(path)
    band = raster.GetRasterBand(1)
    values = np.frombuffer(band.ReadRaster(buf_type=gdal.GDT_Float32), np.float32)
    values = values[values != np.float32(band.GetNoDataValue())]
    assert band.GetDescription() == "probability_seen" and len(values) == pytest.approx(18000, rel=0.02)
    assert 0 <= values.min() < 0.5 and values.max() == 1
    assert 100 * values.mean() == pytest.approx(result["EXPECTED_PERCENT"], abs=0.5)


def test_a_break_is_a_doubt_of_its_own(run, swaths, area, make_layer):
    drawn = swaths((box(0, -30, 130, 30), ["a", 1, "both", 30, 0.75]),
                   (box(170, -30, 300, 30), ["a", 2, "both", 30, 0.75]))
    fields = {"outing": "string", "pass_id": "integer", "range_m": "double", "mean_depth_m": "double"}
    two = make_layer("LineString", UTM, fields, [(f"LINESTRING({E} {N},{E + 130} {N})", ["a", 1, 30.4, 5]),
                                                 (f"LINESTRING({E + 170} {N},{E + 300} {N})", ["a", 2, 30.4, 5])])
    heard = Heard()
    result = run("coveragegaps", both(SWATHS=drawn, AREA=area(), PASSES=two), heard)
    assert "break" in {row["kind"] for row in rows(result["OUTPUT"])}
    assert any("kind break" in text and "interval" in text for text in heard.warnings)


def test_an_area_without_a_shape_stays_in_the_table(run, pair, area):
    layer = area((box(0, -30, 300, 30), [1, "bay"]), (None, [2, "nowhere"]))
    table = rows(run("coveragegaps", both(SWATHS=pair, AREA=layer))["AREAS"])
    assert [row["name"] for row in table] == ["bay", "nowhere"]
    assert table[1]["covered_pct"] == NULL and table[1]["area_m2"] == 0


class TestRaster:
    area = box(0, 0, 100, 60)

    def test_seen_and_hidden(self, run, seen, area):
        result = run("coveragegaps", both(SEEN=seen(), AREA=area((self.area, [1, "bay"]))))
        assert result["COVERED_PERCENT"] == pytest.approx(200 / 3, abs=1e-3)
        assert result["WORST_PERCENT"] is None and result["LOW_PERCENT"] < 66 < result["HIGH_PERCENT"]
        found = {row["kind"]: row["area_m2"] for row in rows(result["OUTPUT"])}
        assert found["hidden"] == pytest.approx(1000, rel=0.01) and len(found) == 2

    def test_two_looks(self, run, seen, area):
        result = run("coveragegaps", both(SEEN=seen(), AREA=area((self.area, [1, "bay"])), REQUIRED_LOOKS=2))
        assert result["COVERED_PERCENT"] == pytest.approx(100 / 3, abs=1e-3)
        assert {row["looks"] for row in rows(result["OUTPUT"])} == {0}

    def test_detection_leaves_weak_ground(self, run, seen, area):
        result = run("coveragegaps", both(SEEN=seen(), GRADE="detection", AREA=area((self.area, [1, "bay"]))))
        assert result["COVERED_PERCENT"] == pytest.approx(100 / 3, abs=1e-3)
        assert "weak" in {row["kind"] for row in rows(result["OUTPUT"])}

    def test_detection_counts_only_the_looks_that_detect(self, run, seen, area):
        """The northern third was seen twice; one of the two passes was too fast to show anything."""
        asked = both(SEEN=seen(), GRADE="detection", AREA=area((self.area, [1, "bay"])), REQUIRED_LOOKS=2)
        result = run("coveragegaps", asked)
        assert result["COVERED_PERCENT"] == 0 and rows(result["AREAS"])[0]["looks_min"] == 0
        weak = [row for row in rows(result["OUTPUT"]) if row["kind"] == "weak"]
        assert [(row["looks"], round(row["area_m2"], -2)) for row in weak] == [(1, 2000)]
        there = area((box(10, 2, 90, 18), [1, "bay"]))
        assert rows(run("coveragegaps", {**asked, "AREA": there})["AREAS"])[0]["looks_min"] == 1

    def test_a_raster_of_an_older_version(self, run, refused, seen, area, on_disk):
        old = ("looks", "directions", "grazing", "hits", "smallest_object", "hidden")
        asked = {"SEEN": seen(bands=old), "AREA": on_disk(area((self.area, [1, "bay"])), "a.gpkg")}
        assert run("coveragegaps", both(**asked))["COVERED_PERCENT"] == pytest.approx(200 / 3, abs=1e-3)
        refused({**asked, "GRADE": "detection"}, "detecting_looks", "Run 'Map bottom seen' again")

    def test_ground_outside_the_raster_is_not_seen(self, run, seen, area):
        result = run("coveragegaps", both(SEEN=seen(), AREA=area((box(0, 0, 100, 120), [1, "bay"]))))
        assert result["COVERED_PERCENT"] == pytest.approx(100 / 3, abs=1e-3)
        heard = Heard()
        away = run("coveragegaps", both(SEEN=seen(), AREA=area((box(900, 900, 990, 990), [1, "bay"]))), heard)
        assert away["COVERED_PERCENT"] == 0 and any("no ground seen" in text for text in heard.warnings)

    def test_a_raster_in_another_coordinate_system(self, run, seen, area):
        result = run("coveragegaps", both(SEEN=seen(crs=25832), AREA=area((self.area, [1, "bay"]))))
        assert result["COVERED_PERCENT"] == pytest.approx(200 / 3, abs=1e-2)


@pytest.fixture
def refused(run, run_as_child):
    """refused(parameters, words): refused in those words by a script and as a model's child."""
    def call(parameters, *words):
        for door in (run, run_as_child):
            with pytest.raises(QgsProcessingException) as error:
                door("coveragegaps", {"OUTPUT": "memory:", "AREAS": "memory:", **parameters})
            assert all(word in str(error.value) for word in words), str(error.value)
    return call


@pytest.fixture
def on_disk(tmp_path):
    """Layers as files, for the doors that take no layer objects."""
    def call(layer, name, driver="GPKG"):
        options = QgsVectorFileWriter.SaveVectorOptions()
        options.driverName = driver
        path = str(tmp_path / name)
        transforms = QgsProject.instance().transformContext()
        write = getattr(QgsVectorFileWriter, "writeAsVectorFormatV3", QgsVectorFileWriter.writeAsVectorFormatV2)
        error = write(layer, path, transforms, options)
        assert error[0] == QgsVectorFileWriter.WriterError.NoError, error
        return path
    return call


class TestRefusals:
    def test_neither_or_both(self, refused, pair, area, seen, on_disk):
        where = {"AREA": on_disk(area(), "area.gpkg")}
        refused(where, "SWATHS", "SEEN", "neither")
        refused({**where, "SWATHS": on_disk(pair, "swaths.gpkg"), "SEEN": seen()}, "SWATHS", "SEEN", "both")

    def test_detection_without_a_raster(self, refused, pair, area, on_disk):
        refused({"AREA": on_disk(area(), "a.gpkg"), "SWATHS": on_disk(pair, "s.gpkg"), "GRADE": "detection"}, "GRADE")

    def test_values_out_of_bounds(self, refused, pair, area, on_disk):
        where = {"AREA": on_disk(area(), "a.gpkg"), "SWATHS": on_disk(pair, "s.gpkg")}
        for name in ("MIN_WIDTH", "MIN_AREA", "POSITION_ERROR"):
            refused({**where, name: -1}, name)
            refused({**where, name: float("nan")}, name)
        refused({**where, "REQUIRED_LOOKS": 0}, "REQUIRED_LOOKS")
        refused({**where, "DRAWS": 199}, "DRAWS")

    def test_layers_that_are_not_what_they_should_be(self, refused, pair, area, swaths, make_layer, on_disk):
        lake = on_disk(area(), "a.gpkg")
        plain = make_layer("Polygon", UTM, {"name": "string"}, [(box(0, 0, 1, 1), ["x"])], "ponds")
        refused({"AREA": lake, "SWATHS": on_disk(plain, "ponds.gpkg")}, "outing", "sigma_edge_m", "Draw swaths")
        refused({"AREA": lake, "SWATHS": on_disk(pair, "s.shp", "ESRI Shapefile")}, "Shapefile")
        refused({"AREA": lake, "SWATHS": on_disk(swaths(), "none.gpkg")}, "no polygons")
        empty = make_layer("Polygon", UTM, {}, [])
        refused({"AREA": on_disk(empty, "e.gpkg"), "SWATHS": on_disk(pair, "s.gpkg")}, "area layer")
        merged = swaths((box(0, 0, 300, 30), ["a", NULL, "both", 30, 0.75]))
        refused({"AREA": lake, "SWATHS": on_disk(merged, "m.gpkg"), "REQUIRED_LOOKS": 2}, "MERGE")

    def test_a_layer_without_coordinate_system(self, run, pair, area):
        nowhere = area()
        nowhere.setCrs(QgsCoordinateReferenceSystem())
        with pytest.raises(QgsProcessingException, match="no coordinate reference system"):
            run("coveragegaps", both(SWATHS=pair, AREA=nowhere))

    def test_rasters_that_are_not_of_looks(self, refused, area, seen, on_disk):
        where = {"AREA": on_disk(area((TestRaster.area, [1, "bay"])), "a.gpkg")}
        refused({**where, "SEEN": seen(bands=("looks", "grazing"))}, "lacks the band hidden", "Map bottom seen")
        refused({**where, "SEEN": seen(object_size=""), "GRADE": "detection"}, "size of object")
        refused({**where, "SEEN": seen(), "PROBABILITY_SEEN": "TEMPORARY_OUTPUT"}, "PROBABILITY_SEEN", "pass by pass")

    def test_from_the_command_line(self, qgis_process, area, on_disk):
        code, results, said = qgis_process("coveragegaps", {
            "AREA": on_disk(area(), "a.gpkg"), "OUTPUT": "TEMPORARY_OUTPUT", "AREAS": "TEMPORARY_OUTPUT"})
        assert code == 1 and not results and "SWATHS" in said


NEARLY_CROSSED = (  # valid as it stands; carried to degrees its middle three corners change places
    "POLYGON((499373 4983440,499473 4983440,499473 4983490,499423.0000000001 4983489.999999998,"
    "499422.99999999825 4983490.000000003,499422.99999999895 4983490.000000001,499373 4983490,499373 4983440))")


def test_a_swath_that_another_crs_would_tear_is_taken(provider, swaths, area):
    import processing
    drawn = swaths((NEARLY_CROSSED, ["a", 1, "starboard", 50, 0.75]), crs="EPSG:32615")
    zone, degrees = (QgsCoordinateReferenceSystem(name) for name in ("EPSG:32615", "EPSG:4326"))
    there = QgsCoordinateTransform(zone, degrees, QgsProject.instance())
    torn, whole = QgsGeometry.fromWkt(NEARLY_CROSSED), QgsGeometry.fromWkt(NEARLY_CROSSED).boundingBox()
    torn.transform(there)
    assert QgsGeometry.fromWkt(NEARLY_CROSSED).isGeosValid() and not torn.isGeosValid()
    lake = area((QgsGeometry.fromRect(there.transform(whole)).asWkt(17), [1, "bay"]), crs="EPSG:4326")
    context = QgsProcessingContext()
    context.setInvalidGeometryCheck(QgsFeatureRequest.InvalidGeometryCheck.GeometryAbortOnInvalid)
    results = processing.run("athwart:coveragegaps", {"SWATHS": drawn, "AREA": lake, "OUTPUT": "memory:",
                                                      "AREAS": "memory:"}, context=context)
    assert results["COVERED_M2"] == pytest.approx(5000 / SCALE**2, rel=1e-4)


def test_from_the_command_line_into_one_geopackage(qgis_process, pair, area, on_disk, tmp_path):
    target = tmp_path / "result.gpkg"
    code, results, said = qgis_process("coveragegaps", {
        "AREA": on_disk(area(), "a.gpkg"), "SWATHS": on_disk(pair, "s.gpkg"),
        **{name: f"ogr:dbname='{target}' table=\"{name.lower()}\" (geom)" for name in ("OUTPUT", "AREAS")}})
    assert code == 0, said
    assert results["COVERED_PERCENT"] == pytest.approx(90, abs=1e-4)
    for table, count in (("output", 1), ("areas", 1)):
        layer = QgsVectorLayer(f"{target}|layername={table}", table, "ogr")
        assert layer.isValid() and layer.featureCount() == count


def test_as_the_child_of_a_model(run_as_child, pair, area, on_disk):
    results, layer = run_as_child("coveragegaps", {"AREA": on_disk(area(), "a.gpkg"), "SWATHS": on_disk(pair, "s.gpkg"),
                                                   "AREAS": "memory:"})
    assert layer.featureCount() == 1 and layer.fields().names() == names(GAPS)
