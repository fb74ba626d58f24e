"""Where outputs go: what would lose something of the user's is refused first, by name; tables and styles are kept."""
import os
import pathlib
import re
import shutil

import faults
import jobs
import pytest
from qgis.core import (
    QgsProcessingContext,
    QgsProcessingFeedback,
    QgsProcessingOutputLayerDefinition,
    QgsProject,
    QgsProperty,
    QgsRemappingSinkDefinition,
    QgsSettings,
    QgsVectorLayer,
)


@pytest.fixture
def prepared(sample_jobs):
    """(folder, jobs) of a part of the sample outing."""
    return sample_jobs.folder, sample_jobs.known


@pytest.fixture
def lake(tmp_path):
    """A copy of the sample's GeoPackage, which holds several layers."""
    return pathlib.Path(shutil.copy(jobs.SAMPLE / "lake.gpkg", tmp_path / "lake.gpkg"))


@pytest.fixture
def track(prepared, tmp_path):
    """A copy of a prepared track."""
    return pathlib.Path(shutil.copy(prepared[0] / "preparetrack_OUTPUT.gpkg", tmp_path / "track.gpkg"))


def refused(run, tool, parameters, before):
    """What is said; nothing in the folder of ``before`` may have changed but QGIS's statistics beside rasters."""
    def state():
        return {name: told for name, told in faults.state(before).items() if not name.endswith(".aux.xml")}

    earlier = state()
    words = faults.said(run, tool, parameters)
    assert words and state() == earlier
    return words


@pytest.mark.parametrize("name, words", [
    ("lake.gpkg", r"lake.gpkg, which holds \d+ layers \(.*lake.*they would be lost"),
    ("map.png", "as PNG (.png), which cannot hold real numbers. Give a GeoTIFF (.tif)"),
    ("map.vrt", "as VRT (.vrt), which cannot hold real numbers"),
    ("map.jpg", "as JPEG (.jpg), which cannot hold real numbers"),
    ("map.shp", "as ESRI Shapefile (.shp), which cannot hold rasters"),
])
def test_rasters_are_refused_where_they_would_lose_or_be_lost(run, prepared, lake, tmp_path, name, words):
    (tmp_path / "map.png").write_bytes(b"somebody's picture")
    parameters = {**prepared[1]["preparebathymetry"][0], "OUTPUT": str(tmp_path / name)}
    said = refused(run, "preparebathymetry", parameters, tmp_path)
    assert said.startswith("Depth grid (OUTPUT) is to be written")
    assert re.search(words if "\\" in words else re.escape(words), said), said


@pytest.mark.parametrize("name, words", [
    ("lake.gpkg", "they would be lost. Choose a table in it ('Save to GeoPackage'), or another file."),
    ("swaths.csv", "as CSV (.csv), which cannot hold places. Give a GeoPackage (.gpkg) instead."),
    ("swaths.dxf", "as DXF (.dxf), which cannot hold a layer of polygons"),
    ("swaths.shp", "is to go into a Shapefile"), ("swaths.dbf", "is to go into a Shapefile"),
])
def test_layers_are_refused_where_they_would_lose_or_be_lost(run, prepared, lake, tmp_path, monkeypatch, name, words):
    monkeypatch.chdir(tmp_path)
    for output in (str(tmp_path / name), name):  # by a relative path, too
        assert words in refused(run, "swathfootprint",
                                {**prepared[1]["swathfootprint"][0], "OUTPUT": output}, tmp_path)


def test_a_table_without_places_is_refused_as_flatgeobuf_and_taken_as_csv(run, prepared, tmp_path):
    parameters = prepared[1]["picksfromimage"][0]
    assert "as FlatGeobuf (.fgb), which cannot hold rows without a place" in refused(
        run, "picksfromimage", {**parameters, "OUTPUT": str(tmp_path / "picks.fgb")}, tmp_path)
    made = run("picksfromimage", {**parameters, "OUTPUT": str(tmp_path / "picks.csv")})["OUTPUT"]
    marks = (jobs.SAMPLE / "north_record_points.csv").read_text(encoding="utf-8").splitlines()
    assert len(pathlib.Path(made).read_text(encoding="utf-8").splitlines()) == len(marks)


@pytest.mark.parametrize("ending", ["geojson", "fgb", "sqlite", "gml", "json", "nothing", ""])
def test_other_formats_that_hold_a_layer_get_it_whole(run, prepared, tmp_path, ending):
    output = str(tmp_path / f"swaths{'.' if ending else ''}{ending}")
    made = run("swathfootprint", {**prepared[1]["swathfootprint"][0], "OUTPUT": output})["OUTPUT"]
    layer = QgsVectorLayer(made, "made", "ogr")
    assert layer.isValid() and layer.featureCount() > 3
    assert not list(tmp_path.glob("*unfinished*"))


def spellings(path, table):
    """Ways to name a layer of a file: by a link, a relative path, an address, an engine's address."""
    link = path.parent / "link.gpkg"
    link.symlink_to(path)
    return [str(path), str(link), os.path.relpath(path), f"{path}|layername={table}", f"{link}|layerid=0",
            f"{path.parent}/./../{path.parent.name}/{path.name}"]


@pytest.mark.parametrize("how", range(6))
def test_a_layer_is_not_written_over_the_track_it_was_made_from(run, prepared, track, tmp_path, how):
    table = next(iter(faults.tables(track)))
    source = spellings(track, table)[how]
    for output in (str(track), str(tmp_path / "link.gpkg"), os.path.relpath(track),
                   f"ogr:dbname='{track}' table=\"{table.upper()}\" (geom)", f"ogr:dbname='{tmp_path}/link.gpkg' "
                   f"table=\"{table}\" (geom)"):
        said = refused(run, "swathfootprint", {"INPUT": source, "OUTPUT": output}, tmp_path)
        assert "which this run reads as Prepared track (INPUT). Choose another place: an input is never" in said
    made = run("swathfootprint", {"INPUT": source, "OUTPUT": f"ogr:dbname='{track}' table=\"swaths\" (geom)"})["OUTPUT"]
    assert QgsVectorLayer(made, "made", "ogr").featureCount() > 3, "a table beside it is no harm"
    assert table in faults.tables(track)


def test_rasters_logs_gpx_and_layers_of_the_project_are_not_written_over(run, prepared, tmp_path):
    log = pathlib.Path(shutil.copy(jobs.SAMPLE / "outing_south.gpx", tmp_path / "day.gpx"))
    grid = pathlib.Path(shutil.copy(jobs.SAMPLE / "depth_grid.tif", tmp_path / "grid.tif"))
    marks = tmp_path / "marks.csv"
    marks.write_text("name,x,y\nA,-69.1,40.5\n")
    points = QgsVectorLayer(f"file://{marks}?type=csv&xField=x&yField=y&crs=EPSG:4326", "marks", "delimitedtext")
    virtual = QgsVectorLayer(f"?layer=ogr:{log}|layername=tracks:t:UTF-8&query=select * from t", "virtual", "virtual")
    track = QgsVectorLayer(f"{log}?type=track", "south", "gpx")
    assert all(layer.isValid() for layer in (points, virtual, track))
    QgsProject.instance().addMapLayer(points, False)
    try:
        for tool, parameters in (
                ("readlogs", {"INPUT": [str(log)], "OUTPUT": f"{log}"}),
                ("exportgpx", {"LINES": track, "OUTPUT": str(log)}),
                ("exportgpx", {"LINES": virtual, "OUTPUT": str(log)}),
                ("exportgpx", {"LINES": f"{log}|layername=tracks", "OUTPUT": str(log)}),
                ("exportgpx", {"WAYPOINTS": points.id(), "OUTPUT": str(marks)}),
                ("preparebathymetry", {"INPUT": str(grid), "KIND": "depth", "UNIT": "m", "OUTPUT": str(grid)})):
            said = refused(run, tool, parameters, tmp_path)
            assert "which this run reads as" in said or (tool == "readlogs" and "as GPX (.gpx)" in said)
    finally:
        QgsProject.instance().removeMapLayer(points.id())


def test_two_outputs_in_one_place_are_refused(run, prepared, tmp_path):
    same = str(tmp_path / "both.gpkg")
    said = refused(run, "preparetrack", {**prepared[1]["preparetrack"][0], "OUTPUT": same, "PASSES": same}, tmp_path)
    assert "Passes (PASSES) and Track (OUTPUT) are to go to the same place" in said


def test_tables_go_into_a_geopackage_together_and_leave_the_others(run, prepared, lake):
    before = faults.tables(lake)
    reader = QgsVectorLayer(f"{lake}|layername=lake", "open", "ogr")  # as on the desktop
    features = reader.getFeatures()
    next(features)
    places = {name: f"ogr:dbname='{lake}' table=\"{name.lower()}\" (geom)" for name in ("OUTPUT", "PASSES")}
    for _ in range(2):  # the second time over the first
        results = run("preparetrack", {**prepared[1]["preparetrack"][0], **places})
        after = faults.tables(lake)
        assert {name: rows for name, rows in after.items() if name in before} == before
        assert len(after["output"]) == results["SAMPLE_COUNT"] and len(after["passes"]) == results["PASS_COUNT"]
        made = QgsVectorLayer(results["OUTPUT"], "made", "ogr")
        assert made.featureCount() == results["SAMPLE_COUNT"] and made.dataProvider().hasSpatialIndex()


def test_a_table_is_put_in_or_left_out_but_never_half(run, prepared, lake, tmp_path):
    if not faults.may_mount():
        pytest.skip("a small disk can be mounted by root on Linux only")
    parameters = prepared[1]["preparetrack"][0]
    text = "ogr:dbname='{}' table=\"{}\" (geom)"
    run("preparetrack", {**parameters, "OUTPUT": text.format(lake, "track"), "PASSES": text.format(lake, "passes")})
    before = faults.tables(lake)
    whole = pathlib.Path(run("preparetrack", {**parameters, "OUTPUT": str(tmp_path / "alone.gpkg"),
                                              "PASSES": "memory:"})["OUTPUT"]).stat().st_size // 1024
    there = lake.stat().st_size // 1024
    met = set()
    for room in (whole // 2, whole + 60, whole + 200, whole + 400):  # too small for the layer, then for the transaction
        with faults.small_disk(tmp_path / f"disk{room}", there + room) as disk:
            target = shutil.copy(lake, disk)
            said = faults.said(run, "preparetrack", {**parameters, "OUTPUT": text.format(target, "track"),
                                                     "PASSES": text.format(target, "passes")})
            met.add(said[:17])
            assert not said or said.startswith(f"The disk is full: {disk} has no room for lake.gpkg")
            assert [path.name for path in disk.iterdir()] == ["lake.gpkg"]
            if said:
                assert faults.tables(target) == before
    assert "The disk is full:" in met


@pytest.mark.parametrize("form", ["ogr:dbname='{}' table=\"track\" (geom)", "ogr://{}|layername=track"])
def test_outings_share_a_layer(run, prepared, tmp_path, form):
    """The desktop's 'Append to layer': a second outing into the table of the first, beside another table."""
    target = tmp_path / "all.gpkg"
    parameters = prepared[1]["preparetrack"][0]
    text = "ogr:dbname='{}' table=\"{}\" (geom)"
    run("preparetrack", {**parameters, "OUTPUT": text.format(target, "track"), "PASSES": text.format(target, "passes")})
    before = faults.tables(target)
    layer = QgsVectorLayer(f"{target}|layername=track", "track", "ogr")
    second = appended(layer, form.format(target))
    feedback = faults.Heard()
    results = run("preparetrack", {**parameters, "OUTING": "second", "OUTPUT": second, "PASSES": "memory:"}, feedback)
    after = faults.tables(target)
    count = len(before["track"])
    assert after["passes"] == before["passes"] and after["track"][:count] == before["track"]
    assert len(after["track"]) == count + results["SAMPLE_COUNT"]
    again = QgsVectorLayer(f"{target}|layername=track", "track", "ogr")
    assert {f["outing"] for f in again.getFeatures()} == {"north", "second"}
    assert len({f.id() for f in again.getFeatures()}) == again.featureCount()
    assert QgsVectorLayer(results["OUTPUT"], "made", "ogr").featureCount() == again.featureCount()
    swaths = run("swathfootprint", {"INPUT": f"{target}|layername=track", "OUTPUT": "memory:"})["OUTPUT"]
    assert {f["outing"] for f in swaths.getFeatures()} == {"north", "second"}
    for at in faults.moments(feedback.steps, 2) if form.startswith("ogr:dbname") else ():  # the same place by two names
        assert "Stopped" in faults.said(run, "preparetrack", {**parameters, "OUTPUT": second, "PASSES": "memory:"},
                                        faults.Heard(at))
        assert faults.killed(run, "preparetrack", {**parameters, "OUTPUT": second, "PASSES": "memory:"}, at)
        assert faults.tables(target) == after


@pytest.mark.parametrize("form", ["{}", "ogr:{}|layername=swaths"])
def test_a_file_of_one_layer_is_appended_to_as_a_whole(run, prepared, tmp_path, form):
    parameters, target = prepared[1]["swathfootprint"][0], tmp_path / "swaths.geojson"
    run("swathfootprint", {**parameters, "OUTPUT": str(target)})
    layer = QgsVectorLayer(str(target), "swaths", "ogr")
    earlier, count = target.read_bytes(), layer.featureCount()
    text = appended(layer, form.format(target))
    assert "Stopped" in faults.said(run, "swathfootprint", {**parameters, "OUTPUT": text}, faults.Heard(60))
    assert target.read_bytes() == earlier
    made = run("swathfootprint", {**parameters, "OUTPUT": text})["OUTPUT"]
    assert QgsVectorLayer(made, "both", "ogr").featureCount() == 2 * count
    assert QgsVectorLayer(str(target), "both", "ogr").featureCount() == 2 * count


def appended(layer, text):
    """What the desktop hands over for 'Append to layer' with fields of the same names."""
    mapping = QgsRemappingSinkDefinition()
    mapping.setDestinationFields(layer.fields())
    mapping.setDestinationWkbType(layer.wkbType())
    mapping.setDestinationCrs(layer.crs())
    mapping.setFieldMap({name: QgsProperty.fromField(name) for name in layer.fields().names() if name != "fid"})
    definition = QgsProcessingOutputLayerDefinition(text)
    definition.setRemappingDefinition(mapping)
    return definition


def test_every_layer_can_be_appended_to(provider):
    for tool in provider.algorithms():
        for definition in tool.destinationParameterDefinitions():
            assert definition.type() != "sink" or definition.supportsAppend(), (tool.name(), definition.name())


def test_a_style_of_the_users_stays_and_ours_is_renewed(run, prepared, tmp_path):
    output = tmp_path / "grid.tif"
    beside = tmp_path / "grid.qml"
    parameters = {**prepared[1]["preparebathymetry"][0], "OUTPUT": str(output)}
    run("preparebathymetry", parameters)
    ours = beside.read_bytes()
    assert b"<qgis" in ours
    earlier = (jobs.SAMPLE.parent / "plugin" / "styles" / "depths.qml").read_bytes()
    for found, left in ((b"<qgis>mine</qgis>", True), (ours.replace(b"qgis", b"QGIS", 1), True), (ours, False),
                        (earlier, False)):
        beside.write_bytes(found)
        feedback = faults.Heard()
        run("preparebathymetry", parameters, feedback)
        assert beside.read_bytes() == (found if left else ours)
        assert any("grid.qml is a style of your own" in text for text in feedback.warnings) == left


def test_the_desktop_loads_layers_from_their_final_places(provider, prepared, tmp_path):
    """processing.run into a project, as the dialog does: the layer to load has the final address, name and dresser."""
    import processing
    context = QgsProcessingContext()
    project = QgsProject()
    context.setProject(project)
    target = tmp_path / "day.gpkg"
    outputs = {"OUTPUT": str(tmp_path / "track.gpkg"), "PASSES": f"ogr:dbname='{target}' table=\"passes\" (geom)"}
    definitions = {name: QgsProcessingOutputLayerDefinition(text, project) for name, text in outputs.items()}
    results = processing.run("athwart:preparetrack", {**prepared[1]["preparetrack"][0], **definitions},
                             context=context, feedback=QgsProcessingFeedback(False))
    loading = context.layersToLoadOnCompletion()
    assert set(loading) == {results["OUTPUT"], results["PASSES"]}
    assert results["OUTPUT"] == outputs["OUTPUT"] and results["PASSES"] == f"{target}|layername=passes"
    for address, details in loading.items():
        assert QgsVectorLayer(address, "made", "ogr").isValid()
        assert details.postProcessor() is not None and details.project is project


_METRES = re.compile(r"(?<![\w.])-?\d[\d.]*(?:e[+-]?\d+)? (?:k?m|m2|metres?)(?![\w/])")


def test_who_works_in_feet_finds_no_metres_in_any_log(sample_jobs, run, tmp_path):
    """The unit of the form rules, then the profile's; names in quotes are nobody's figures."""
    known, logs = sample_jobs.known, dict(sample_jobs.logs_in_feet)
    others = {"castplan", "plancalibration", "plansheet", "exportgpx", "measureobjects", "drawtargets", "opendistrict"}
    QgsSettings().setValue("athwart/units/display", "ft")
    try:
        for tool in {*others, "preparetrack", "locatetargets"}:
            parameters, endings = known[tool]
            more = {name: "ft" for name in ("RANGE_UNIT", "DEPTH_UNIT") if name in parameters}
            feedback = QgsProcessingFeedback(False)
            run(tool, {**parameters, **more, **{name: str(tmp_path / f"{tool}{name}.{ending}")
                                                for name, ending in endings.items()}}, feedback=feedback)
            logs[tool] = feedback.textLog()
    finally:
        QgsSettings().remove("athwart")
    found = {tool: _METRES.findall(re.sub(r"(?<!\w)'[^']*'(?!\w)", "", log)) for tool, log in logs.items()}
    assert not any(found.values()), found
    assert sum(" ft" in log or " ft2" in log or "acres" in log for log in logs.values()) >= 8
