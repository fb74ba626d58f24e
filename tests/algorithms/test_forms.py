"""The forms on the desktop: sections, layers and units offered, hints; and layers of another kind named everywhere."""
import pytest
from athwart.algorithms import maker_of, tool_classes
from athwart.algorithms.common import kinds, offers
from athwart.algorithms.common import remembered as memory
from athwart.algorithms.common.hints import fitting_ranges
from athwart.survey.model import schemas
from jobs import SAMPLE
from qgis.core import (
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingParameterDefinition,
    QgsProject,
    QgsSettings,
)
from qgis.PyQt.QtWidgets import QComboBox, QLabel, QScrollArea

TYPES = {"double": "double", "int": "integer", "int64": "int8", "string": "string", "bool": "bool",
         "datetime": "datetime"}


@pytest.fixture
def ours(make_layer):
    """ours(schema, rows): a layer of that kind in the project."""
    def call(schema, rows=(), name=None):
        kinds = {"point": "Point", "line": "LineString", "multiline": "MultiLineString", "polygon": "Polygon",
                 "multipolygon": "MultiPolygon", "table": "None"}
        layer = make_layer(kinds[schema.geometry], "EPSG:32616", {f.name: TYPES[f.kind] for f in schema}, rows,
                           name or schema.title)
        return QgsProject.instance().addMapLayer(layer)
    yield call
    QgsProject.instance().removeAllMapLayers()


@pytest.fixture
def opened(provider, qgis_iface, monkeypatch):
    """opened(tool id, {values}) -> its dialog, as the toolbox opens it."""
    from processing.gui import ParametersPanel
    from processing.tools import general

    monkeypatch.setattr(general, "iface", qgis_iface)
    monkeypatch.setattr(ParametersPanel, "iface", None)  # a stand-in cannot be handed to QGIS
    monkeypatch.setattr(qgis_iface, "mainWindow", lambda: None)
    made = []

    def call(tool, values=None):
        made.append(general.createAlgorithmDialog(f"athwart:{tool}", values or {}))
        return made[-1]
    yield call
    for dialog in made:
        dialog.close()
        dialog.deleteLater()


@pytest.fixture
def units():
    """Nothing is remembered before and after."""
    QgsSettings().remove("athwart")
    yield memory
    QgsSettings().remove("athwart")


def fix(name, t_s, **others):
    values = {"t_s": t_s, **others}
    return f"POINT({500000 + t_s} 4500000)", [values.get(field.name) for field in schemas.FIXES]


def test_kinds_are_told_by_their_fields_in_any_version_and_with_fields_carried_along():
    for layer in schemas.all_layers():
        own = schemas.names(layer)
        found = schemas.kind_of(["fid", *own, "owner", "name_2"])
        assert found is layer or schemas.names(found) == own, layer.name  # some differ in geometry only
    carried = [*schemas.names(schemas.REJECTED), *schemas.names(schemas.WAYPOINTS)[1:]]
    assert schemas.kind_of(carried) is schemas.REJECTED
    assert schemas.kind_of(schemas.names(schemas.SWATHS)[:16]) is schemas.SWATHS  # as they were before errors came
    assert schemas.kind_of([]) is None and schemas.kind_of(["name", "depth", "kind"]) is None


@pytest.mark.parametrize("layer, tool", [(schemas.COMBINED, "adjusttargets"), (schemas.PASSES, "preparetrack"),
                                         (schemas.AREAS, "coveragegaps"), (schemas.GAPS, "coveragegaps")])
def test_a_layer_is_said_to_come_from_the_tool_that_is_for_it(layer, tool):
    """'Open a lake of a district' writes them, too, and stands before some of them in the toolbox."""
    assert tool == maker_of(layer).ID


@pytest.mark.parametrize("tool", tool_classes(), ids=lambda tool: tool.ID)
def test_sections_and_offers_name_parameters_that_the_tool_has(provider, tool):
    names = {definition.name() for definition in provider.algorithm(tool.ID).parameterDefinitions()}
    told = [name for _, section in tool.SECTIONS for name in section]
    assert len(told) == len(set(told)) and set(told) <= names
    filled = {name for row in tool.FILLS for name in row[:2]}
    assert {*tool.TAKES, *tool.OFFERED, *tool.NEEDED, *filled} <= names
    made = {definition.name() for definition in provider.algorithm(tool.ID).destinationParameterDefinitions()}
    assert set(told) == names - made  # every box of every form stands under a heading


def test_the_run_of_a_plan_goes_on_without_a_word(opened, ours):
    """The simulated run brings its range and depth, in metres, into 'Prepare track'; a plan goes onto its sheet."""
    row = [{"t_s": 1.0, "depth_m": 5.0, "range_m": 40.0}.get(field.name) for field in schemas.SIMULATED]
    run = ours(schemas.SIMULATED, [("POINT(500000 4900000)", row)])
    boxes = opened("preparetrack").mainWidget().wrappers
    assert boxes["INPUT"].parameterValue() == run.id()
    assert {name: boxes[name].parameterValue() for name in ("RANGE_FIELD", "RANGE_UNIT", "DEPTH_FIELD", "DEPTH_UNIT")
            } == {"RANGE_FIELD": "range_m", "RANGE_UNIT": "m", "DEPTH_FIELD": "depth_m", "DEPTH_UNIT": "m"}
    plan = ours(schemas.FILL_LINES)
    assert opened("plansheet").mainWidget().wrappers["LINES"].parameterValue() == plan.id()


@pytest.mark.parametrize("tool, swapped, words", [
    ("preparetrack", {"INPUT": "WAYPOINTS"}, "this is 'Waypoints' of 'Read NMEA 0183 and GPX logs'; choose 'Fixes'"),
    ("locatetargets", {"PICKS": "TRACK", "TRACK": "PICKS"}, "this is 'Track' of 'Prepare track'; choose 'Picks'"),
    ("unscannedshoreline", {"SWATHS": "AREAS", "SHORELINE": "SWATHS"}, "choose 'Swaths' of 'Draw swaths'"),
    ("unscannedshoreline", {"SWATHS": "SWATHS", "SHORELINE": "SWATHS"}, "is 'Swaths', but this is 'Swaths'"),
    ("swathfootprint", {"INPUT": "FIXES"}, "choose 'Track' of 'Prepare track'"),
    ("castplan", {"TARGETS": "ELLIPSES"}, "polygons|'Error ellipses'")])
def test_a_layer_of_another_kind_is_named_with_the_one_wanted(run, ours, tool, swapped, words):
    layers = {name: ours(getattr(schemas, kind)) for name, kind in swapped.items()}
    with pytest.raises(QgsProcessingException) as error:
        run(tool, {**layers, "OUTPUT": "memory:"})
    assert any(word in str(error.value) for word in words.split("|")), str(error.value)


_ANYTHING = {"exportgpx": {"WAYPOINTS", "LINES"}, "coveragereport": {"PLACES"}}
"""Boxes that take whatever has such a geometry."""


def fillers(tool):
    """Values for the boxes that may not be blank."""
    flags = QgsProcessingParameterDefinition.Flag
    values = {}
    for definition in tool.parameterDefinitions():
        if definition.flags() & flags.FlagOptional or definition.defaultValue() is not None:
            continue
        kind = definition.type()
        values[definition.name()] = {
            "raster": str(SAMPLE / "north_record.png"), "file": str(SAMPLE / "lake.gpkg"), "string": "3 6",
            "multilayer": [str(SAMPLE / "north_record.png")]}.get(kind, "memory:")
    return values


@pytest.mark.parametrize("tool", tool_classes(), ids=lambda tool: tool.ID)
def test_every_layer_of_another_kind_is_named_by_every_tool(provider, run, ours, tool):
    """All boxes against all layers of ours: what a box is not for is refused by what it is, with what is wanted."""
    made = {layer: ours(layer) for layer in schemas.all_layers()}
    known = provider.algorithm(tool.ID)
    context = QgsProcessingContext()
    sources = [box for box in known.parameterDefinitions() if box.type() == "source"]
    right = {box.name(): next(made[kind] for kind in (*tool.TAKES.get(box.name(), ()), schemas.PASSES) if kind)
             for box in sources if not box.flags() & QgsProcessingParameterDefinition.Flag.FlagOptional}
    assert {box.name() for box in sources} == {*tool.TAKES, *_ANYTHING.get(tool.ID, ())} - {
        name for name in tool.TAKES if known.parameterDefinition(name).type() != "source"}
    for box in sources:
        taken = tool.TAKES.get(box.name())
        wrong = [layer for layer, one in made.items() if taken and offers._fits(one, box)
                 and kinds.layer_kind(one) not in taken]
        for k, layer in enumerate(wrong):
            values = {**fillers(known), **right, box.name(): made[layer]}
            if k:
                good, said = known.checkParameterValues(values, context)
                assert not good
            else:
                with pytest.raises(QgsProcessingException) as error:
                    run(tool.ID, values)
                said = str(error.value)
            title = kinds.layer_kind(made[layer]).title
            assert f"but this is '{title}'" in said and "choose" in said, (box.name(), layer.name, said)


def test_a_gpx_file_given_raw_is_told_what_to_do_with(run, tmp_path):
    path = tmp_path / "log.gpx"
    path.write_text('<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
                    '<trkpt lat="44" lon="-90"/></trkseg></trk></gpx>', encoding="utf-8")
    with pytest.raises(QgsProcessingException, match="of a GPX file.*Read NMEA 0183 and GPX logs"):
        run("preparetrack", {"INPUT": f"{path}|layername=waypoints", "RANGE": 80, "RANGE_UNIT": "ft", "DEPTH": 12,
                             "DEPTH_UNIT": "ft", "OUTPUT": "memory:"})


def test_marks_made_on_board_are_no_places_of_objects(run, make_layer):
    fixes = make_layer("Point", "EPSG:32616", {"t_s": "double"},
                       [(f"POINT(500000 {4500000 + 2 * i})", [1.7e9 + i]) for i in range(60)])
    track = run("preparetrack", {"INPUT": fixes, "RANGE": 25, "RANGE_UNIT": "m", "DEPTH": 4, "DEPTH_UNIT": "m",
                                 "OUTPUT": "memory:"})["OUTPUT"]
    marks = make_layer("Point", "EPSG:32616", {}, [(f"POINT({500001 - i} {4500030 + 9 * i})", []) for i in range(3)])
    parameters = {"PICKS": marks, "TRACK": track, "TIE": "object point", "OUTPUT": "memory:"}
    with pytest.raises(QgsProcessingException, match="3 of 3 points lie on the boat's own track.*boat point"):
        run("locatetargets", parameters)
    apart = make_layer("Point", "EPSG:32616", {}, [(f"POINT({500012 + i} {4500030 + 9 * i})", []) for i in range(3)])
    assert run("locatetargets", {**parameters, "PICKS": apart})["TARGET_COUNT"] == 3


def test_a_share_is_understood_as_a_confidence_and_an_odd_one_refused(run, make_layer):
    fixes = make_layer("Point", "EPSG:32616", {"t_s": "double"},
                       [(f"POINT(500000 {4500000 + 2 * i})", [1.7e9 + i]) for i in range(60)])
    track = run("preparetrack", {"INPUT": fixes, "RANGE": 25, "RANGE_UNIT": "m", "DEPTH": 4, "DEPTH_UNIT": "m",
                                 "OUTPUT": "memory:"})["OUTPUT"]
    picks = make_layer("Point", "EPSG:32616", {"side": "string", "far": "double"},
                       [("POINT(500000 4500050)", ["port", 12.0]), ("POINT(500000 4500060)", ["port", -60.0])])
    parameters = {"PICKS": picks, "TRACK": track, "TIE": "boat point", "SIDE_FIELD": "side", "RANGE_FIELD": "far",
                  "RANGE_UNIT": "ft", "OUTPUT": "memory:", "REJECTED": "memory:"}
    found = [run("locatetargets", {**parameters, "CONFIDENCE": given}) for given in (0.95, 95)]
    radii = [[f["radius_m"] for f in one["OUTPUT"].getFeatures()] for one in found]
    assert radii[0] == radii[1] and next(found[0]["OUTPUT"].getFeatures())["confidence_pct"] == 95
    assert "-60 ft" in next(found[0]["REJECTED"].getFeatures())["reason"]  # as it was typed
    with pytest.raises(QgsProcessingException, match="CONFIDENCE.*such as 95"):
        run("locatetargets", {**parameters, "CONFIDENCE": 3})


def test_a_change_of_range_that_cannot_be_is_told_as_it_was_typed(run, make_layer):
    fixes = make_layer("Point", "EPSG:32616", {"t_s": "double"}, [(f"POINT(500000 {4500000 + 2 * i})", [1.7e9 + i])
                                                                  for i in range(9)])
    changes = make_layer("None", "", {"from_time": "string", "range": "double"}, [(None, ["2023-11-14 22:13:20", -60])])
    with pytest.raises(QgsProcessingException, match="a range of -60 ft; a range is above zero"):
        run("preparetrack", {"INPUT": fixes, "SETTINGS": changes, "RANGE_UNIT": "ft", "DEPTH": 12, "DEPTH_UNIT": "ft",
                             "OUTPUT": "memory:"})


def test_ranges_that_fit_a_depth_are_said_and_a_range_that_does_not_reach_the_bottom():
    """5 to 12.5 times the depth is a depth of 20 to 8 % of the range: common practice, no source."""
    assert "ranges of 80 to 200 ft" in fitting_ranges(None, None, 16, "ft")
    assert fitting_ranges(100, "ft", 16, "ft") == ""
    said = fitting_ranges(10, "m", 40, "ft")
    assert said.startswith("The depth of 40 ft is over the range of 10 m") and "200 to 500 ft" in said
    assert "over the range" not in fitting_ranges(13, "m", 40, "ft")
    assert fitting_ranges(10, "m", 40, None) == fitting_ranges(10, "m", None, "ft") == ""


def test_the_form_opens_on_fixes_with_their_soundings_and_says_nothing_of_optional_facts(opened, ours, units):
    fixes = ours(schemas.FIXES, [fix("a", 1.0, depth_m=4.0), fix("a", 2.0, depth_m=4.0)])
    ours(schemas.WAYPOINTS)
    units.remember({"RANGE_UNIT": "ft", "DEPTH_UNIT": "ft"})
    panel = opened("preparetrack").mainWidget()
    value = {name: wrapper.parameterValue() for name, wrapper in panel.wrappers.items()}
    assert fixes.id() in str(value["INPUT"]) or fixes.name() in str(value["INPUT"])
    assert (value["RANGE_UNIT"], value["DEPTH_UNIT"], value["DEPTH_FIELD"]) == ("ft", "m", "depth_m")
    assert value["HEADING_FIELD"] in (None, "")  # there is none in these fixes
    labels = [panel.wrappers[name].wrappedLabel().text() for name in ("RANGE", "SETTINGS", "RANGE_FIELD", "OUTING")]
    assert ["[" in label for label in labels] == [False, False, False, True]
    heads = [label.text() for label in panel.findChildren(QLabel, "section")]
    assert {"Where the boat was", "Range: give one of these three, with its unit"} <= set(heads)
    panel.wrappers["DEPTH"].setParameterValue(40.0, panel.processing_context)
    panel.wrappers["RANGE"].setParameterValue(20.0, panel.processing_context)
    assert "over the range" in panel.findChild(QLabel, "hint").text()


def test_planning_forms_open_on_the_gaps_the_lake_and_the_areas(opened, ours, make_layer, units):
    own = {name: QgsProject.instance().addMapLayer(make_layer("Polygon", "EPSG:32616", {"a": "int"}, [], name))
           for name in ("contours", "search areas", "Lake Orrel")}
    gaps = ours(schemas.GAPS)
    for tool, box, layer in (("planfillinlines", "GAPS", gaps), ("planfillinlines", "AREA", own["Lake Orrel"]),
                             ("plansurveylines", "AREA", own["search areas"]), ("plantrip", "LAKE", own["Lake Orrel"]),
                             ("planshorerun", "SHORELINE", own["Lake Orrel"])):
        value = str(opened(tool).mainWidget().wrappers[box].parameterValue())
        assert layer.id() in value or layer.name() in value, (tool, box, value)


def test_a_default_speed_stays_the_same_speed_in_the_unit_that_was_remembered(opened, ours, units):
    """2 m/s are 4.47 mph (1609.344 m to the mile), 1.2 and 2.4 m/s 2.68 and 5.37 mph."""
    units.remember({"SPEED_UNIT": "mph", "RANGE_UNIT": "ft"})
    panel = opened("plansurveylines").mainWidget()
    value = {name: wrapper.parameterValue() for name, wrapper in panel.wrappers.items()}
    assert (value["SPEED"], value["SPEED_UNIT"], value["RANGE_UNIT"]) == (4.47, "mph", "ft")
    panel.wrappers["DEPTH"].setParameterValue(16.0, panel.processing_context)
    assert "ranges of 80 to 200 ft" in panel.findChild(QLabel, "hint").text()
    panel.wrappers["SPEED_UNIT"].setParameterValue("m/s", panel.processing_context)
    assert panel.wrappers["SPEED"].parameterValue() == 2.0
    panel.wrappers["SPEED"].setParameterValue(3.1, panel.processing_context)
    panel.wrappers["SPEED_UNIT"].setParameterValue("kn", panel.processing_context)
    assert panel.wrappers["SPEED"].parameterValue() == 3.1  # typed
    assert opened("plancalibration").mainWidget().wrappers["SPEEDS"].parameterValue() == "2.68 5.37"
    given = opened("plansurveylines", {"SPEED": 2.0, "SPEED_UNIT": "mph"}).mainWidget()
    assert (given.wrappers["SPEED"].parameterValue(), given.wrappers["SPEED_UNIT"].parameterValue()) == (2.0, "mph")


def test_lengths_stand_in_feet_for_who_works_in_feet_and_values_handed_over_in_metres(opened, units):
    """A foot is 0.3048 m: 5 m are 16.40 ft. Folded boxes are in metres, for QGIS reads their unit only while seen."""
    units.remember({"RANGE_UNIT": "ft"})
    dialog = opened("planshorerun")
    box = dialog.mainWidget().wrappers["SETBACK"]
    shown = [child.currentText() for child in box.wrappedWidget().findChildren(QComboBox)]
    dialog.show()
    assert shown == ["feet"] and box.parameterValue() == pytest.approx(16.40 * 0.3048)
    assert dialog.mainWidget().wrappers["MIN_RADIUS"].parameterValue() == 8.0  # folded
    for tool, name in (("ensonify", "CELL_SIZE"), ("planshorerun", "SETBACK")):
        again = opened(tool, {name: 7.0})
        again.show()
        assert again.mainWidget().wrappers[name].parameterValue() == 7.0
    blank = opened("castplan")
    blank.show()
    assert blank.mainWidget().wrappers["STAND_OFF"].parameterValue() is None
    blank.mainWidget().wrappers["STAND_OFF"].setParameterValue(40.0, blank.mainWidget().processing_context)
    assert blank.mainWidget().wrappers["STAND_OFF"].parameterValue() == pytest.approx(12.192)


def test_values_handed_over_leave_the_rest_at_the_defaults(opened, ours, units):
    fixes = ours(schemas.FIXES, [fix("a", 1.0, depth_m=4.0)])
    units.remember({"RANGE_UNIT": "ft"})
    panel = opened("preparetrack", {"INPUT": fixes.id(), "RANGE": 25}).mainWidget()
    assert panel.wrappers["RANGE_UNIT"].parameterValue() in (None, "")
    assert panel.wrappers["DEPTH_FIELD"].parameterValue() in (None, "")


@pytest.mark.parametrize("tool", [tool.ID for tool in tool_classes()])
def test_a_form_fits_the_dialogs_usual_width_and_no_needed_fact_is_called_optional(opened, tool):
    """688 pixels less the help beside it leave 390 for the form (QGIS 3.22's own size)."""
    panel = opened(tool).mainWidget()
    assert panel.findChild(QScrollArea).widget().minimumSizeHint().width() <= 390
    heads = panel.findChildren(QLabel, "section")
    assert heads and all(label.wordWrap() for label in heads)
    for name in panel.algorithm().NEEDED:
        assert "[" not in (panel.wrappers[name].wrappedLabel() or panel.wrappers[name].wrappedWidget()).text()


@pytest.mark.parametrize("model, needed", [
    ("auditouting", "RANGE RANGE_UNIT DEPTH"), ("outingreport", "RANGE SIDE_FIELD"), ("castcard", "STAND_OFF"),
    ("recordmap", "LAYOUT NEWEST FIRST_TIME"), ("plantrip", "RANGE DEPTH")])
def test_ready_made_models_have_the_form_of_the_tools(opened, units, model, needed):
    units.remember({"RANGE_UNIT": "ft"})
    panel = opened(model).mainWidget()
    assert panel.findChild(QScrollArea).widget().minimumSizeHint().width() <= 390
    assert len(panel.findChildren(QLabel, "section")) >= 4
    for name in needed.split():
        assert "[" not in panel.wrappers[name].wrappedLabel().text(), name
    assert panel.wrappers["RANGE_UNIT"].parameterValue() == "ft"


@pytest.mark.parametrize("tool, name", [
    ("readlogs", "INPUT"), ("auditouting", "LOGS"), ("outingreport", "LOGS"), ("recordmap", "LOGS")])
def test_logs_given_by_program_or_history_stay_in_the_form(opened, tmp_path, tool, name):
    """QGIS itself keeps only those that it can open as map layers; a name may look like a source of layers."""
    bare = tmp_path / "day 1|layerid=0.log"
    bare.write_bytes((SAMPLE / "outing_north.nmea").read_bytes()[:2000])
    logs = [str(bare), str(SAMPLE / "outing_south.gpx"), str(SAMPLE / "outing_north.nmea"), str(tmp_path / "gone.txt")]
    for given in (logs[2:3], logs, logs[1:2], logs[::-1]):
        form = opened(tool, {name: given}).mainWidget()
        assert form.wrappers[name].parameterValue() == given
    form.setParameters({name: logs[2]})  # as one path, and over another choice
    assert form.wrappers[name].parameterValue() == logs[2:3]
    form.setParameters({})
    assert form.wrappers[name].parameterValue() == logs[2:3]


def test_what_the_form_hands_to_a_run_has_the_logs_as_paths(opened):
    logs = [str(SAMPLE / "outing_north.nmea")]
    dialog = opened("readlogs", {"INPUT": logs})
    values = dialog.createProcessingParameters()
    assert values["INPUT"] == logs
    assert dialog.algorithm().checkParameterValues(values, dialog.mainWidget().processing_context)[0]


def test_the_cast_cards_form_takes_side_and_range_from_the_names_of_waypoints(opened, ours):
    marks = ours(schemas.WAYPOINTS, [("POINT(500000 4500000)", [
        {"name": "S 52 brush"}.get(field.name) for field in schemas.WAYPOINTS])])
    panel = opened("castcard").mainWidget()
    assert panel.wrappers["PICKS"].parameterValue() == marks.id()
    assert [panel.wrappers[name].parameterValue() for name in ("SIDE_FIELD", "RANGE_FIELD")] == ["name", "name"]
    assert opened("plantrip").mainWidget().algorithm().FILLS == ()  # it asks for no picks


def test_units_are_remembered_as_they_were_chosen(units, provider):
    tool = provider.algorithm("castplan")
    assert units.remembered(tool) == {} and units.display_unit() == "m"
    units.remember({"RANGE_UNIT": "ft", "DEPTH_UNIT": "m", "RANGE": 80})
    assert units.display_unit() == "ft" and units.remembered(tool) == {"DISPLAY_UNIT": "ft"}
    units.remember({"DISPLAY_UNIT": "m"})
    assert units.display_unit() == "m"


def test_results_stand_in_the_group_of_their_outing_small_above_large_and_no_name_twice(make_layer, qgis_new_project):
    from athwart.algorithms.common.tree import arrange, rank

    project = QgsProject.instance()
    for schema in (schemas.SWATHS, schemas.TARGETS, schemas.GAPS, schemas.ELLIPSES, schemas.TRACK, schemas.GAPS,
                   schemas.FILL_LINES):
        kind = {"multipolygon": "MultiPolygon", "point": "Point", "polygon": "Polygon", "line": "LineString"}[
            schema.geometry]
        layer = project.addMapLayer(make_layer(kind, "EPSG:32616", {"a": "double"}, [], schema.title))
        arrange(layer, "south", rank(layer, schema))
    own = project.addMapLayer(make_layer("Point", "EPSG:32616", {}, [], "own"))
    late = project.addMapLayer(make_layer("Point", "EPSG:32616", {}, [], "Waypoints"))
    arrange(late, "", rank(late, schemas.WAYPOINTS))
    assert [node.name() for node in project.layerTreeRoot().children()][:2] == ["Waypoints", "own"]
    for layer in (own, late):
        project.removeMapLayer(layer.id())
    group = project.layerTreeRoot().findGroup("south")
    assert [node.name() for node in group.findLayers()] == [
        "Targets", "Error ellipses", "Fill-in lines", "Coverage gaps (2)", "Coverage gaps", "Track", "Swaths"]
    assert len(project.mapLayers()) == 7 and len(project.layerTreeRoot().children()) == 1


def test_labels_and_tips_tell_lengths_in_the_unit_of_the_layer(make_layer, units):
    from athwart.algorithms.common.style_files import STYLES
    from athwart.algorithms.common.styles import UNIT, _Dresser
    from qgis.core import QgsExpression, QgsExpressionContext, QgsExpressionContextUtils, QgsProcessingFeedback

    known = {"target_id": 1, "label": "log", "radius_m": 6.096, "ground_m": 6.096}
    rows = [("POINT(500000 4500000)", [known.get(field.name) for field in schemas.TARGETS])]
    quiet = QgsProcessingFeedback(False)
    for unit, label, tip in (("m", "± 6.1 m", "6.096"), ("ft", "± 20 ft", "20")):
        units.remember({"DISPLAY_UNIT": unit})
        layer = make_layer("Point", "EPSG:32616", {f.name: TYPES[f.kind] for f in schemas.TARGETS}, rows)
        _Dresser(STYLES / "targets.qml", {}, schemas.TARGETS).postProcessLayer(layer, None, quiet)
        context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
        context.setFeature(next(layer.getFeatures()))
        near = layer.labeling().rootRule().children()[1].settings().fieldName
        assert label in QgsExpression(near).evaluate(context)
        assert QgsExpressionContextUtils.layerScope(layer).variable(UNIT) == unit
        assert f"<td>{tip}" in QgsExpression.replaceExpressionText(layer.mapTipTemplate(), context)


def test_two_things_of_one_name_keep_both_labels_and_looks_at_one_share_one(make_layer):
    from athwart.algorithms.common.style_files import STYLES
    from qgis.core import QgsExpression, QgsExpressionContext, QgsExpressionContextUtils

    rows = [(f"POINT({500000 + east} 4500000)", [{"target_id": n, "label": "brush", "radius_m": 8.0}.get(
        field.name) for field in schemas.TARGETS]) for n, east in ((1, 0), (2, 11), (3, 120))]
    layer = make_layer("Point", "EPSG:32616", {f.name: TYPES[f.kind] for f in schemas.TARGETS}, rows)
    layer.loadNamedStyle(str(STYLES / "targets.qml"))
    context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    for rule in layer.labeling().rootRule().children()[1:]:
        shown = QgsExpression(rule.settings().fieldName)
        told = []
        for feature in layer.getFeatures():
            context.setFeature(feature)
            told.append(shown.evaluate(context).partition("\n")[0])
        assert told == ["brush", "", "brush"]
