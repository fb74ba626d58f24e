"""The demo's trip: its two calls name boxes and outputs that are there, and its figures are those of the layers."""
import pathlib

import pytest
from osgeo import gdal, ogr

SAMPLE = pathlib.Path(__file__).resolve().parents[2] / "sample_project"
LAYERS = {
    "fill_in": [{"kind": "turn", "length_m": 100.0, "hours": 0.1, "closed_m2": None},
                {"kind": "line", "length_m": 900.0, "hours": 0.4, "closed_m2": 950.0}],
    "fill_in_left": [{"reason": "setback", "area_m2": 50.0}],
    "gaps": [{"area_m2": 600.0}, {"area_m2": 400.0}],
    "plan": [{"kind": "line", "length_m": 500.0, "hours": 0.2}, {"kind": "shore", "length_m": 500.0, "hours": 0.2}],
    "plan_fill_in": [{"kind": "line", "length_m": 300.0, "hours": 0.1, "closed_m2": 75.0}],
    "plan_gaps": [{"area_m2": 100.0}],
    "plan_areas": [{"covered_pct": 90.0, "low_pct": 88.0, "high_pct": 92.0}],
    "areas": [{"name": "North basin", "covered_pct": 1.0}, {"name": "South bay", "covered_pct": 80.0}],
    "passes": [{"outing": "north", "length_m": 1.0, "mean_speed_mps": 1.0},
               {"outing": "south", "length_m": 3600.0, "mean_speed_mps": 2.0}]}


@pytest.fixture
def demo(qgis_processing):
    """The demo's module of the trip, and its files."""
    from tools.demo import chain, trip
    return chain, trip


def test_a_folder_may_have_quotes_in_its_name(provider):
    """A clone of any name: the tools read the place of a layer as the demo writes it."""
    from athwart.algorithms.common.destinations import destination

    from tools.demo import qp
    for path in ("/home/ann's lake/\"north\"/demo.gpkg", "/a\\b's/demo.gpkg"):
        found = destination(provider.algorithm("coveragegaps").parameterDefinition("OUTPUT"), qp.table(path, "gaps"))
        assert (found.path, found.table) == (path, "gaps")


def test_the_calls_name_what_is_there(demo, provider, tmp_path, monkeypatch):
    """qgis_process passes over names that it does not know."""
    chain, trip = demo
    called = {}
    monkeypatch.setattr(trip, "run", lambda tool, **given: called.update({tool: given}))
    files = chain.Files(SAMPLE, tmp_path / "steps.gpkg", tmp_path)
    for part in trip.PARTS:
        part(files, lambda _: None)
    assert set(called) == {"athwart:planfillinlines", "athwart:plansheet", "athwart:plantrip"}
    for tool, given in called.items():
        known = provider.algorithm(tool.split(":")[1]).parameterDefinitions()
        assert set(given) <= {definition.name() for definition in known}, tool
        needed = {definition.name() for definition in known if not definition.flags() & definition.Flag.FlagOptional
                  and definition.defaultValue() is None}
        assert needed <= set(given), tool


def test_the_figures_are_those_of_the_layers(demo, tmp_path):
    chain, trip = demo
    files = chain.Files(SAMPLE, tmp_path / "steps.gpkg", tmp_path)
    store = gdal.GetDriverByName("GPKG").Create(str(files.database), 0, 0, 0, gdal.GDT_Unknown)
    for name, found in LAYERS.items():
        layer = store.CreateLayer(name, geom_type=ogr.wkbNone)
        for field, value in found[-1].items():
            layer.CreateField(ogr.FieldDefn(field, ogr.OFTString if isinstance(value, str) else ogr.OFTReal))
        for row in found:
            feature = ogr.Feature(layer.GetLayerDefn())
            for field, value in row.items():
                if value is not None:
                    feature[field] = value
            layer.CreateFeature(feature)
    del feature, layer, store
    (_, filled), (_, planned) = trip.figures(files)
    assert filled.splitlines() == ["1 lines, 1.0 km, 0.5 h with turns, close 950 of 1,000 m² of gaps",
                                   "left: 50 m² setback"]
    first, second, third = planned.splitlines()
    assert "1 passes, 0.5 h, 80.0 % seen" in first
    assert "2 lines, 1.0 km, 0.4 h" in second and "90.0 %, 88.0 to 92.0" in second
    assert "1 more lines, 0.3 km, 0.1 h, close 75.0 %" in third
