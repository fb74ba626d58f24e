"""The ready-made models: on file, in the toolbox, drawn tidily, and run on the sample against its tools one by one."""
import itertools
import pathlib
import re
import xml.etree.ElementTree as ET

import pytest
import sample_lines
from qgis.core import (
    Qgis,
    QgsGeometry,
    QgsPointXY,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProcessingModelAlgorithm,
    QgsProject,
    QgsRasterLayer,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QRectF

ROOT = pathlib.Path(__file__).resolve().parents[2]
MODELS = ROOT / "plugin" / "models"
SAMPLE = ROOT / "sample_project"
TITLES = {"auditouting": "Audit an outing", "castcard": "Picks to cast card", "outingreport": "An outing to its report",
          "plantrip": "Plan a trip and try it", "recordmap": "Record to map",
          "recordtargets": "Record to measured targets"}
FOLDED = 2  # QgsProcessingParameterDefinition.Flag.FlagAdvanced; its type changes between versions

LAKE, AREA, SHORELINE = (f"{SAMPLE / 'lake.gpkg'}|layername={name}" for name in ("lake", "search_areas", "shoreline"))
GROUND = {"LAKE": LAKE, "AREA": AREA, "SHORELINE": SHORELINE}
SOUTH = {"LOGS": [str(SAMPLE / "outing_south.gpx"), str(SAMPLE / "south_marks.gpx")], "OUTING": "south", "RANGE": 75,
         "RANGE_UNIT": "ft", "SETTINGS": str(SAMPLE / "south_settings.csv"), "DEPTH": 22, "DEPTH_UNIT": "ft"}
MARKS = {"PICKS": f"{SAMPLE / 'south_marks.gpx'}|layername=waypoints", "TIE": "boat point", "SIDE_FIELD": "name",
         "RANGE_FIELD": "name", "MARK_DELAY": 1.0}
AUDITED = {"track:Track": "gpkg", "track:Passes": "gpkg", "swaths:Swaths": "gpkg", "gaps:Gaps": "gpkg",
           "gaps:Areas": "gpkg", "shore:Shore": "gpkg", "report:Report": "html"}
REPORTED = {**AUDITED, "targets:Targets": "gpkg"}
CAST = {"targets:Targets": "gpkg", "combined:Combined": "gpkg", "casts:Casts": "gpkg", "casts:Stations": "gpkg",
        "casts:Card": "html", "gpxtargets:GPX": "gpx", "gpxstations:GPX": "gpx"}
SPARED = {"report:Table": "csv", "targets:Ellipses": "gpkg", "targets:Rejected": "gpkg"}


def to_files(folder, outputs):
    """Destinations below ``folder`` for outputs of {name: ending}."""
    return {name: str(folder / f"{name.replace(':', '_')}.{ending}") for name, ending in outputs.items()}


def to_memory(folder, outputs):
    """The same, but layers stay in memory, where times keep their milliseconds on any QGIS."""
    return {name: "TEMPORARY_OUTPUT" if path.endswith("gpkg") else path
            for name, path in to_files(folder, outputs).items()}


def rows(source):
    """Attributes of a layer or file, without its key, and the WKT of each place to the millimetre."""
    layer = QgsVectorLayer(source, "layer", "ogr") if isinstance(source, str) else source
    assert layer.isValid(), source
    names = [name for name in layer.fields().names() if name != "fid"]
    return [({name: feature[name] for name in names}, feature.geometry().asWkt(3)) for feature in layer.getFeatures()]


@pytest.fixture(scope="module")
def models(provider):
    """Fresh instances of the models by id."""
    found = {alg.name(): alg.create() for alg in provider.algorithms() if isinstance(alg, QgsProcessingModelAlgorithm)}
    return {name: found[name] for name in sorted(found)}


def call(model, parameters):
    """Run a model as a script would; what failed children said is added to the exception."""
    import processing
    feedback = QgsProcessingFeedback(False)
    try:
        return processing.run(f"athwart:{model}", parameters, feedback=feedback)
    except QgsProcessingException as error:
        raise QgsProcessingException(f"{error}\n{feedback.textLog()}") from error


@pytest.fixture(scope="module")
def reported(provider, tmp_path_factory):
    """Results of the longest model on the south outing, every output asked for."""
    return call("outingreport", {**SOUTH, **GROUND, **MARKS,
                                 **to_memory(tmp_path_factory.mktemp("reported"), {**REPORTED, **SPARED})})


@pytest.fixture(scope="module")
def by_hand(provider):
    """The same outing tool by tool: {tool: results}."""
    import processing
    done = {}

    def step(tool, *outputs, **parameters):
        done[tool] = processing.run(f"athwart:{tool}", {**parameters, **dict.fromkeys(outputs, "TEMPORARY_OUTPUT")},
                                    feedback=QgsProcessingFeedback(False))
        return [done[tool][name] for name in outputs]

    facts = {name: value for name, value in SOUTH.items() if name != "LOGS"}
    fixes, marks = step("readlogs", "OUTPUT", "WAYPOINTS", INPUT=SOUTH["LOGS"])
    track, passes = step("preparetrack", "OUTPUT", "PASSES", INPUT=fixes, WAYPOINTS=marks, **facts)
    (swaths,) = step("swathfootprint", "OUTPUT", INPUT=track, WATER=LAKE)
    step("coveragegaps", "OUTPUT", "AREAS", SWATHS=swaths, AREA=AREA, PASSES=passes)
    step("unscannedshoreline", "OUTPUT", SWATHS=swaths, SHORELINE=SHORELINE, WATER=LAKE)
    step("locatetargets", "OUTPUT", "ELLIPSES", "REJECTED", TRACK=track, WATER=LAKE, RANGE_UNIT="ft", **MARKS)
    return done


@pytest.fixture(scope="module")
def cast(provider, reported, tmp_path_factory):
    """Results of the cast card on the track of ``reported``."""
    return call("castcard", {
        "TRACK": reported["track:Track"], "RANGE_UNIT": "ft", "STAND_OFF": 15, "WIND_FROM": 270, "DISPLAY_UNIT": "ft",
        **MARKS, **to_memory(tmp_path_factory.mktemp("cast"), CAST)})


def test_they_are_listed_by_the_names_of_their_files(models):
    assert {name: model.displayName() for name, model in models.items()} == TITLES
    assert sorted(path.stem for path in MODELS.glob("*.model3")) == sorted(TITLES)
    assert {model.id() for model in models.values()} == {f"athwart:{name}" for name in TITLES}
    assert {(model.group(), model.groupId()) for model in models.values()} == {("G. Ready-made models", "models")}


@pytest.mark.parametrize("name", TITLES)
def test_registered_models_know_their_outputs_before_they_are_run(provider, models, name):
    """qgis_process asks the registered instance, not a fresh one."""
    listed = provider.algorithm(name)
    assert [o.name() for o in listed.outputDefinitions()] == [o.name() for o in models[name].outputDefinitions()] != []
    assert listed.validate() == (True, []) and models[name].validate() == (True, [])
    assert listed.canExecute()[0]


@pytest.mark.parametrize("name", TITLES)
def test_every_input_and_output_explains_itself(models, name):
    model = models[name]
    told = model.helpContent()
    assert len(model.shortDescription()) > 20 and "not for navigation" in told["ALG_DESC"]
    for definition in model.parameterDefinitions():
        assert len(told[definition.name()]) > 15, definition.name()
        assert definition.isDestination() or definition.help() == told[definition.name()]
        assert definition.description()[0].isupper()
    assert all(o.name() in told for o in model.outputDefinitions())


@pytest.mark.parametrize("name, most", [("auditouting", 9), ("outingreport", 13), ("castcard", 9), ("recordmap", 12),
                                        ("plantrip", 9), ("recordtargets", 10)])
def test_few_inputs_stand_open(models, name, most):
    assert len([d for d in models[name].parameterDefinitions() if not d.isDestination()
                and not int(d.flags()) & FOLDED]) == most


@pytest.mark.parametrize("name", TITLES)
def test_facts_have_no_default(models, name):
    facts = {"LOGS", "OUTING", "RANGE", "RANGE_UNIT", "DEPTH", "DEPTH_UNIT", "LAKE", "AREA", "SHORELINE", "SETTINGS",
             "PICKS", "TRACK", "STAND_OFF", "WIND_FROM", "HEADING", "ASSUMED_SOUND_SPEED", "WATER_TEMPERATURE"}
    if name == "plantrip":  # what is to be set is told in the unit chosen; nothing was read off a display
        facts -= {"RANGE_UNIT"}
    for definition in models[name].parameterDefinitions():
        if definition.name() in facts:
            assert definition.defaultValue() in (None, ""), definition.name()


@pytest.mark.parametrize("name", TITLES)
def test_no_box_covers_another_in_the_designer(models, name):
    model = models[name]
    boxes = list(model.parameterComponents().values())
    for child in model.childAlgorithms().values():
        assert child.comment().description() and child.description()
        boxes += [child, child.comment(), *child.modelOutputs().values()]
    frames = [rectangle(frame) for frame in model.groupBoxes()]
    places = [rectangle(box) for box in boxes]
    assert not [pair for pair in itertools.combinations(places, 2) if pair[0].intersects(pair[1])]
    assert not [pair for pair in itertools.combinations(frames, 2) if pair[0].intersects(pair[1])]
    assert all(sum(frame.contains(place) for frame in frames) == 1 for place in places)
    assert all(QRectF(0, 0, 4000, 4000).contains(frame) for frame in frames), "the designer's sheet"


def rectangle(box):
    """Outline of a component, whose position is its middle."""
    size, middle = box.size(), box.position()
    return QRectF(middle.x() - size.width() / 2, middle.y() - size.height() / 2, size.width(), size.height())


@pytest.mark.parametrize("name", TITLES)
def test_they_were_saved_by_the_oldest_qgis(name):
    """Later versions write more, which older ones cannot be trusted to read: 3.26 on names its form of the file."""
    top = ET.parse(MODELS / f"{name}.model3").getroot()
    assert {part.get("name") for part in top} == {
        "children", "designerParameterValues", "groupBoxes", "help", "modelVariables", "model_group", "model_name",
        "parameterDefinitions", "parameterOrder", "parameters"}
    (version,) = [part.get("value") for part in top.iter("Option") if part.get("name") == "ALG_VERSION"]
    assert re.fullmatch(r"saved by QGIS 3\.22\.\d+", version)


@pytest.mark.skipif(not Qgis.QGIS_VERSION.startswith("3.22."), reason="drawn with QGIS 3.22 only")
def test_the_script_draws_them_again(provider, tmp_path):
    """After a change of a tool's label, help or default run ``make models``."""
    from tools.models import draw
    drawn = draw.write(tmp_path)
    assert sorted(path.stem for path in drawn) == sorted(TITLES)
    for path in drawn:
        old, new = ((folder / path.name).read_text("utf-8") for folder in (MODELS, tmp_path))
        assert re.sub(r"3\.22\.\d+", "", old) == re.sub(r"3\.22\.\d+", "", new), path.name


LAYERS = {"track:Track": ("preparetrack", "OUTPUT"), "track:Passes": ("preparetrack", "PASSES"),
          "swaths:Swaths": ("swathfootprint", "OUTPUT"), "gaps:Gaps": ("coveragegaps", "OUTPUT"),
          "gaps:Areas": ("coveragegaps", "AREAS"), "shore:Shore": ("unscannedshoreline", "OUTPUT"),
          "targets:Targets": ("locatetargets", "OUTPUT"), "targets:Ellipses": ("locatetargets", "ELLIPSES"),
          "targets:Rejected": ("locatetargets", "REJECTED")}


@pytest.mark.parametrize("output", LAYERS)
def test_a_model_gives_what_its_tools_give_one_by_one(reported, by_hand, output):
    tool, name = LAYERS[output]
    whole, stepwise = rows(reported[output]), rows(by_hand[tool][name])
    assert len(whole) == len(stepwise) > 0
    for (had, place), (wanted, its_place) in zip(whole, stepwise):
        assert place == its_place
        assert list(had) == list(wanted)
        for field, value in wanted.items():
            same = pytest.approx(value, rel=1e-6, abs=1e-6) if isinstance(value, float) else value
            assert had[field] == same, field


def test_the_report_tells_the_numbers_of_the_layers(reported, by_hand):
    page = pathlib.Path(reported["report:Report"]).read_text("utf-8")
    assert "<title>Coverage report: south" in page
    assert f"{by_hand['unscannedshoreline']['UNSCANNED_PERCENT']:.0f}" in page
    assert all(row["label"] in page for row, _ in rows(reported["targets:Targets"]))
    table = pathlib.Path(reported["report:Table"]).read_text("utf-8").splitlines()
    seen = {line.split(",")[0]: float(line.split(",")[3]) for line in table[1:]}
    assert seen == pytest.approx({row["name"]: row["covered_pct"] for row, _ in rows(reported["gaps:Areas"])}, abs=0.01)


def test_typed_depths_arrive_in_metres(reported):
    """21 international feet."""
    assert [row["depth_m"] for row, _ in rows(reported["track:Track"])] == pytest.approx([6.7056] * 316, abs=1e-9)


def test_a_metric_log_brings_depth_and_heading_and_needs_no_unit_of_depth(qgis_process, tmp_path):
    """The start of the north outing, the model run from its file; outputs that may be spared are spared."""
    log = tmp_path / "short.nmea"
    log.write_bytes(b"".join((SAMPLE / "outing_north.nmea").read_bytes().splitlines(True)[:1500]))
    code, results, said = qgis_process(MODELS / "auditouting.model3", {
        "LOGS": log, "RANGE": 25, "RANGE_UNIT": "m", **GROUND, **to_files(tmp_path, AUDITED)})
    assert code == 0, said
    assert {name for name, value in results.items() if value and ":" in name} == set(AUDITED)
    track = [row for row, _ in rows(results["track:Track"])]
    assert {row["heading_source"] for row in track} == {"compass"}
    assert "sounder" in {row["depth_source"] for row in track}
    assert {row["outing"] for row in track} == {"2024-06-15"}
    assert "<title>Coverage report" in pathlib.Path(results["report:Report"]).read_text("utf-8")


REFUSALS = [
    ({"RANGE": None, "SETTINGS": None}, "(RANGE) is not given"),
    ({"RANGE_UNIT": None}, "(RANGE_UNIT) is not given"),
    ({"DEPTH_UNIT": None}, "(DEPTH_UNIT) is not given"),
    ({"DEPTH": None}, "No sample of the track can be used"),
    ({"DEPTH_UNIT": "feet"}, "Incorrect parameter value for DEPTH_UNIT"),
    ({"LOGS": [str(SAMPLE / "no such file.gpx")]}, "no such file.gpx"),
    ({"SETTINGS": str(SAMPLE / "south_settings.csv"), "LOGS": [str(SAMPLE / "outing_south.gpx")]}, "RANGE 60"),
]


@pytest.mark.parametrize("change, words", REFUSALS)
def test_what_a_tool_refuses_the_model_refuses_in_its_words(provider, tmp_path, change, words):
    with pytest.raises(QgsProcessingException, match=re.escape(words)):
        call("auditouting", {**SOUTH, **GROUND, **to_files(tmp_path, AUDITED), **change})
    assert not list(tmp_path.iterdir())


def test_the_command_line_hears_the_tools_words_too(qgis_process, tmp_path):
    code, results, said = qgis_process("outingreport", {
        **{name: value for name, value in SOUTH.items() if name != "RANGE_UNIT"}, **GROUND, **MARKS,
        **to_files(tmp_path, REPORTED)})
    assert code == 1 and not results
    assert "Choose the unit that the ranges stand in" in said


def test_picks_without_a_unit_are_refused(provider, reported, tmp_path):
    with pytest.raises(QgsProcessingException, match="is given without its unit"):
        call("castcard", {"TRACK": reported["track:Track"], **MARKS, **to_files(tmp_path, CAST)})


def test_no_place_to_cast_from_is_refused(provider, reported, tmp_path):
    with pytest.raises(QgsProcessingException, match="Nothing says where to cast from"):
        call("castcard", {"TRACK": reported["track:Track"], "RANGE_UNIT": "ft", **MARKS, **to_files(tmp_path, CAST)})


def test_the_card_has_each_object_once(cast, reported):
    """The targets are those of the report; looks at one object were marked with one name."""
    looks = [row for row, _ in rows(cast["targets:Targets"])]
    assert [row["label"] for row in looks] == [row["label"] for row, _ in rows(reported["targets:Targets"])]
    combined = [row for row, _ in rows(cast["combined:Combined"])]
    assert sorted(row["label"] for row in combined) == sorted({row["label"] for row in looks})
    assert sum(row["looks"] for row in combined) == len(looks) > len(combined)
    page = pathlib.Path(cast["casts:Card"]).read_text("utf-8")
    assert all(row["label"] in page for row in combined)


def test_the_plotter_gets_targets_and_stations(cast):
    combined = [row["label"] for row, _ in rows(cast["combined:Combined"])]
    assert waypoints(cast["gpxtargets:GPX"]) == combined
    assert len(waypoints(cast["gpxstations:GPX"])) == len(rows(cast["casts:Stations"])) == len(combined)
    assert "49 ft off" in pathlib.Path(cast["gpxstations:GPX"]).read_text("utf-8")  # 15 m, told as the card does: feet


def test_the_card_can_be_planned_for_what_is_drawn_back(models):
    assert models["castcard"].parameterDefinition("METHOD").options() == ["landing", "retrieve"]


def waypoints(path):
    """Names of a GPX file's waypoints."""
    gpx = "{http://www.topografix.com/GPX/1/1}"
    return [point.findtext(f"{gpx}name") for point in ET.parse(path).getroot().iter(f"{gpx}wpt")]


@pytest.fixture(scope="module")
def sample_record(provider, tmp_path_factory):
    """(how the picture of one of north's lines shows the record, results of "Record to map" on it)."""
    frame = {name: row["value"] for name, row in sample_lines.table("north_record_frame", "name").items()}
    layout = {"LAYOUT": frame["layout"], "NEWEST": frame["newest"], "FIRST_TIME": frame["first_time"],
              "LAST_TIME": frame["last_time"]}
    return layout, call("recordmap", {
        "LOGS": [str(SAMPLE / "outing_north.nmea")], "OUTING": "north", "SETTINGS": str(SAMPLE / "north_settings.csv"),
        "RANGE_UNIT": "m", "IMAGE": [str(SAMPLE / "north_record.png")], **layout,
        **to_files(tmp_path_factory.mktemp("record"), {"track:Track": "gpkg", "track:Passes": "gpkg",
                                                       "record:Record": "tif", "record:Bottom": "gpkg"})})


def test_the_sample_record_comes_onto_the_map(sample_record):
    made = sample_record[1]
    layer = QgsRasterLayer(made["record:Record"], "record")
    assert layer.isValid() and layer.bandCount() == 2 and layer.width() * layer.height() > 100_000
    line = rows(made["record:Bottom"])
    assert len(line) > 900 and sum(row["sure"] for row, _ in line) > 0.95 * len(line)


def test_picture_and_lines_become_a_map_sizes_and_targets(sample_record, tmp_path):
    """Intervals of sizes hold the truth. Targets lie where the boxes do, but for half a metre that an object of unknown
    height may stand up, and within 2.5 m of the truth, most of it the bias of a receiver that no log can know."""
    layout, before = sample_record
    lines = sample_lines.layer()
    QgsProject.instance().addMapLayer(lines)
    wanted = {"record:Record": "tif", "record:Source": "tif", "objects:Objects": "gpkg", "targets:Targets": "gpkg",
              "targets:Ellipses": "gpkg"}
    made = call("recordtargets", {
        "TRACK": before["track:Track"], "IMAGE": str(SAMPLE / "north_record.png"), **layout, "MARKS": lines,
        "KIND_FIELD": "kind", "OBJECT_FIELD": "object", "CELL_SIZE": 0.5, **to_files(tmp_path, wanted)})
    QgsProject.instance().removeMapLayer(lines)
    assert {name: QgsRasterLayer(made[f"record:{name}"], name).bandCount() for name in ("Record", "Source")} == {
        "Record": 2, "Source": 7}
    truth = sample_lines.table("objects", "label")
    objects, targets = ({row["label"]: (row, QgsGeometry.fromWkt(place).centroid().asPoint())
                         for row, place in rows(made[name])} for name in ("objects:Objects", "targets:Targets"))
    assert set(objects) == set(targets) == set(sample_lines.LINES) and len(rows(made["targets:Ellipses"])) == 2
    for name, (target, place) in targets.items():
        size, box = objects[name]
        for kind in ("length", "height"):
            assert size[f"{kind}_lo_m"] < float(truth[name][f"{kind}_m"]) < size[f"{kind}_hi_m"], (name, kind)
        for ours, field in (("length_m", "length_m"), ("width_hi_m", "width_hi_m"), ("shadow_height_m", "height_m")):
            assert target[ours] == size[field]
        assert target["object"] == name and target["side"] == size["side"]
        assert place.distance(box) < 0.5
        true = QgsPointXY(float(truth[name]["easting"]), float(truth[name]["northing"]))
        assert place.distance(true) < 2.5 < target["semi_minor_m"], name
