"""The output fields are a public contract: names, order and types may grow at the end, never change unnoticed.

``make contract`` writes the snapshot again; read the difference before committing.
"""
import json
import os
import pathlib

import pytest
from athwart.survey.model import layers, schemas

SNAPSHOT = pathlib.Path(__file__).parent / "contract_fields.json"
LAYERS = sorted(name for name in vars(schemas) if name.isupper() and not name.startswith("_"))
if os.environ.get("ATHWART_RENEW_CONTRACT"):
    SNAPSHOT.write_text(json.dumps({layer: [f"{field.name} {field.kind}" for field in getattr(schemas, layer)]
                                    for layer in LAYERS}, indent=1) + "\n", encoding="utf-8")
CONTRACT = json.loads(SNAPSHOT.read_text(encoding="utf-8"))
STYLES = pathlib.Path(__file__).resolve().parents[2] / "plugin" / "styles"


def test_no_layer_is_left_out_of_the_contract():
    assert sorted(CONTRACT) == LAYERS


@pytest.mark.parametrize("layer", LAYERS)
def test_fields_are_those_of_the_contract(layer):
    assert [f"{field.name} {field.kind}" for field in getattr(schemas, layer)] == CONTRACT[layer]


@pytest.mark.parametrize("layer", LAYERS)
def test_names_survive_every_format_we_promise(layer):
    names = [field.name.lower() for field in getattr(schemas, layer)]
    assert len(set(names)) == len(names), "GeoPackage does not tell upper from lower case"
    assert "fid" not in names, "the GeoPackage key"


@pytest.mark.parametrize("layer", LAYERS)
def test_every_field_says_what_it_means_and_in_which_unit(layer):
    units = {"_m": "m", "_s": "s", "_deg": "degrees", "_mps": "m/s", "_m2": "m2", "_pct": "%", "_dps": "degrees/s",
             "_c": "degrees C"}
    for field in getattr(schemas, layer):
        assert len(field.text) > 8, field.name
        assert field.kind in {"double", "int", "int64", "string", "bool", "datetime"}
        for ending, unit in units.items():
            if field.name.endswith(ending) and field.kind == "double":
                assert field.unit == unit, field.name


def test_a_confidence_is_never_without_its_figure():
    for layer in (schemas.TARGETS, schemas.ELLIPSES):
        assert "confidence_pct" in schemas.names(layer)


@pytest.mark.parametrize("name", LAYERS)
def test_a_layer_says_all_that_its_map_needs(name):
    layer = getattr(schemas, name)
    assert layer in schemas.all_layers() and layer.name == name.lower() and layer.title[0].isupper()
    assert layer.geometry in layers.GEOMETRIES and layer.tip and set(layer.tip) <= set(schemas.names(layer))
    assert bool(layer.style) == (layer.geometry != "table") and (not layer.style
                                                                 or (STYLES / f"{layer.style}.qml").is_file())
    assert (len(layer), [layer[field.name] for field in layer]) == (len(CONTRACT[name]), list(layer.fields))
    dates = [field.name for field in layer if field.kind == "datetime"]
    assert layer.time_field == (dates[0] if dates else "") and "no_such_field" not in layer
    for field in layer:
        assert field.alias == (f"{field.text} ({field.unit})" if field.unit else field.text)


def test_a_layer_that_contradicts_itself_is_refused():
    fields = (schemas.Field("a", "double", "m", "some length"),)
    for geometry, tip in (("points", ()), ("point", ("b",))):
        with pytest.raises(ValueError, match="points|b"):
            schemas.Layer("one", "One", geometry, fields, tip=tip)
    with pytest.raises(KeyError, match="one has no field b"):
        schemas.Layer("one", "One", "point", fields)["b"]
