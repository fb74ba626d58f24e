"""What holds for every tool: public names, help, defaults, and a provider that loads with or without its packages."""
import json
import os
import pathlib
import subprocess
import sys

import pytest
from athwart.algorithms import all_tools, tool_classes
from athwart.algorithms.common.base import GROUPS
from athwart.algorithms.common.style_files import STYLES

ROOT = pathlib.Path(__file__).resolve().parents[2]
SNAPSHOT = pathlib.Path(__file__).parent / "contract_tools.json"
IDS = [tool.ID for tool in tool_classes()]


def describe(tool):
    """The public part of a tool: parameters in order with type, default and options; outputs with their type."""
    parameters = {}
    for definition in tool.parameterDefinitions():
        default = definition.defaultValue()
        plain = isinstance(default, (int, float, str, bool))
        entry = {"type": definition.type(), "default": default if plain else None}
        if definition.type() == "enum":
            entry["options"] = definition.options()
        parameters[definition.name()] = entry
    return {"parameters": parameters, "outputs": {o.name(): o.type() for o in tool.outputDefinitions()}}


@pytest.fixture(scope="module")
def tools(qgis_processing):
    made = [tool.create() for tool in all_tools()]
    return {tool.name(): tool for tool in made}


def test_the_provider_lists_every_tool(provider):
    assert {a.name() for a in provider.algorithms()} >= set(IDS)
    assert provider.id() == "athwart"
    assert not provider.icon().isNull()


def test_parameters_and_outputs_are_those_of_the_snapshot(tools):
    """Saved models and scripts stand on these; ``tests/algorithms/contract_tools.json`` is renewed on purpose only."""
    found = {name: describe(tool) for name, tool in tools.items()}
    if os.environ.get("ATHWART_RENEW_CONTRACT"):
        SNAPSHOT.write_text(json.dumps(found, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    assert found == json.loads(SNAPSHOT.read_text(encoding="utf-8"))


def test_tools_are_found_in_the_order_of_the_job_each_in_the_folder_of_its_group():
    """The files are looked at here, too: what stands in one and is not found would be missing without a word."""
    written = {path.stem for group in (ROOT / "algorithms").iterdir() if group.name != "common"
               for path in group.glob("*.py") if "(AthwartAlgorithm):" in path.read_text(encoding="utf-8")}
    assert sorted(IDS) == sorted(written) and len(set(IDS)) == len(IDS)
    places = [(list(GROUPS).index(tool.GROUP), tool.STEP) for tool in tool_classes()]
    assert places == sorted(set(places)) and min(step for _, step in places) >= 1
    for tool in tool_classes():
        assert tool.__module__.split(".")[-2:] == [tool.GROUP, tool.ID]
    assert IDS[IDS.index("readlogs") + 1] == "preparetrack" and IDS.index("ensonify") < IDS.index("coveragegaps")


@pytest.mark.parametrize("tool", tool_classes(), ids=IDS)
def test_a_tool_says_what_it_makes_and_where_to_read_on(tools, tool):
    made = {definition.name(): definition.type() for definition in tools[tool.ID].destinationParameterDefinitions()}
    assert set(tool.LAYERS) == {name for name, kind in made.items() if kind == "sink"}
    assert set(tool.RASTERS) == {name for name, kind in made.items() if kind == "rasterDestination"}
    for raster in tool.RASTERS.values():
        styles = (raster.style, *raster.more.values())
        assert raster.bands and all((STYLES / f"{style}.qml").is_file() for style in styles)
    assert tool.GUIDE and all((ROOT / "docs" / f"{page}.md").is_file() for page in tool.GUIDE)
    assert pathlib.Path(tools[tool.ID].svgIconPath()).stem == (tool.ICON or tool.ID)


@pytest.mark.parametrize("name", IDS)
def test_a_tool_explains_itself(tools, name):
    tool = tools[name]
    assert tool.name() == tool.name().lower() and tool.name().isalnum()
    assert tool.TITLE[0].isupper() and tool.displayName().endswith(tool.TITLE)
    assert len(tool.shortDescription()) > 20 and tool.tags()
    assert pathlib.Path(tool.svgIconPath()).exists() and not tool.icon().isNull()
    names = [d.name() for d in tool.parameterDefinitions()]
    assert all(name == name.upper() for name in names)
    for definition in tool.parameterDefinitions():
        assert len(definition.help()) > 15, f"{definition.name()} has no help"
        assert definition.description(), definition.name()
    for output in tool.outputDefinitions():
        if output.name() not in names:
            assert len(tool.OUTPUT_HELP.get(output.name(), "")) > 10, f"{output.name()} has no help"
    assert "<h2>" in tool.shortHelpString()


@pytest.mark.parametrize("name", IDS)
def test_at_most_nine_parameters_stand_open(tools, name):
    tool = tools[name]
    folded = type(tool.parameterDefinitions()[0]).Flag.FlagAdvanced
    is_open = [d.name() for d in tool.parameterDefinitions() if not d.isDestination() and not d.flags() & folded]
    assert len(is_open) <= 9, is_open


@pytest.mark.parametrize("name", IDS)
def test_defaults_are_acceptable_to_qgis_itself(tools, name):
    for definition in tools[name].parameterDefinitions():
        if definition.defaultValue() is not None:
            assert definition.checkValueIsAcceptable(definition.defaultValue()), definition.name()


def test_without_shapely_and_pyproj_the_tools_are_listed_and_say_what_to_install(tmp_path):
    """In a process of its own, with both packages hidden."""
    code = f"""
import sys, importlib.util
class Hidden:
    def find_spec(self, name, path=None, target=None):
        if name.split('.')[0] in ('shapely', 'pyproj'):
            raise ModuleNotFoundError(name + ' is hidden', name=name)
sys.meta_path.insert(0, Hidden())
from qgis.core import QgsApplication, QgsProcessingContext, QgsProcessingFeedback, QgsProcessingModelAlgorithm
app = QgsApplication([], False); app.initQgis()
spec = importlib.util.spec_from_file_location('athwart', {str(ROOT / '__init__.py')!r},
    submodule_search_locations=[{str(ROOT)!r}])
sys.modules['athwart'] = importlib.util.module_from_spec(spec); spec.loader.exec_module(sys.modules['athwart'])
plugin = sys.modules['athwart'].classFactory(None); plugin.initProcessing()
tools = [t for t in plugin.provider.algorithms() if not isinstance(t, QgsProcessingModelAlgorithm)]
models = [t for t in plugin.provider.algorithms() if isinstance(t, QgsProcessingModelAlgorithm)]
print('LISTED', len(tools))
print('MODELS', [not ok and 'shapely' in text for ok, text in (model.canExecute() for model in models)])
for tool in tools:
    ok, text = tool.canExecute()
    try:
        tool.create().processAlgorithm({{}}, QgsProcessingContext(), QgsProcessingFeedback(False))
        said = 'nothing'
    except Exception as error:
        said = str(error)
    lacks = [name for name in ('shapely', 'pyproj') if name in tool.packages({{}})]
    print('SAYS', ok != bool(lacks) and all(name in text and name in said for name in lacks) and 'pip' not in said)
sys.stdout.flush()
import os; os._exit(0)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=120,
                          env={**os.environ, "QGIS_CUSTOM_CONFIG_PATH": str(tmp_path)})
    lines = done.stdout.splitlines()
    assert f"LISTED {len(IDS)}" in lines, done.stderr
    assert lines.count("SAYS True") == len(IDS), done.stdout
    assert f"MODELS {[True] * 6}" in lines, done.stdout


def test_tools_that_need_no_shapely_run_without_it(tmp_path):
    """In a process of its own, with the package hidden: logs, marks on a picture, depth rasters, waypoints."""
    code = f"""
import sys
class Hidden:
    def find_spec(self, name, path=None, target=None):
        if name.split('.')[0] == 'shapely':
            raise ModuleNotFoundError(name + ' is hidden', name=name)
sys.meta_path.insert(0, Hidden())
sys.path[:0] = [{str(ROOT / 'tests' / 'plugins')!r}]
from qgis.core import QgsApplication, QgsProcessingContext, QgsProcessingFeedback, QgsVectorLayer
app = QgsApplication([], False); app.initQgis()
import clone; clone.load()
plugin = sys.modules['athwart'].classFactory(None); plugin.initProcessing()
sample, out = {str(ROOT / 'sample_project')!r}, {str(tmp_path)!r}
jobs = {{
    'readlogs': {{'INPUT': [sample + '/outing_north.nmea'], 'OUTPUT': out + '/fixes.gpkg'}},
    'exportgpx': {{'WAYPOINTS': out + '/fixes.gpkg', 'OUTPUT': out + '/fixes.gpx'}},
    'preparebathymetry': {{'INPUT': sample + '/depth_grid.tif', 'KIND': 'depth', 'UNIT': 'm',
                          'OUTPUT': out + '/d.tif'}},
    'picksfromimage': {{'PICKS': sample + '/north_record_points.csv', 'IMAGE': sample + '/north_record.png',
                       'KIND_FIELD': 'kind', 'LAYOUT': 'both', 'NEWEST': 'top', 'EDGE_RANGE': 30, 'RANGE_UNIT': 'm',
                       'FIRST_PING': 1, 'OUTPUT': out + '/picks.gpkg'}}}}
for name, parameters in jobs.items():
    tool = plugin.provider.algorithm(name).create()
    context = QgsProcessingContext()
    can, ok = tool.canExecute()[0], tool.checkParameterValues(parameters, context)
    results, done = tool.run(parameters, context, QgsProcessingFeedback(False))
    print('RAN', name, can, ok[0], done)
print('HIDDEN', 'shapely' not in sys.modules)
sys.stdout.flush()
import os; os._exit(0)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=120,
                          env={**os.environ, "QGIS_CUSTOM_CONFIG_PATH": str(tmp_path)})
    lines = done.stdout.splitlines()
    assert "HIDDEN True" in lines, done.stderr
    assert [line for line in lines if line.startswith("RAN")] == [
        f"RAN {tool} True True True" for tool in ("readlogs", "exportgpx", "preparebathymetry", "picksfromimage")]
    assert sorted(path.name for path in tmp_path.glob("[dfp]*.[gt]*")) == [
        "d.tif", "fixes.gpkg", "fixes.gpx", "picks.gpkg"]
