"""The output fields are a public contract: names, order and types may grow at the end, never change unnoticed.

``make contract`` writes the snapshot again; read the difference before committing.
"""
import json
import os
import pathlib

import pytest
from athwart.survey.model import schemas

SNAPSHOT = pathlib.Path(__file__).parent / "contract_fields.json"
LAYERS = sorted(name for name in vars(schemas) if name.isupper() and not name.startswith("_"))
if os.environ.get("ATHWART_RENEW_CONTRACT"):
    SNAPSHOT.write_text(json.dumps({layer: [f"{field.name} {field.kind}" for field in getattr(schemas, layer)]
                                    for layer in LAYERS}, indent=1) + "\n", encoding="utf-8")
CONTRACT = json.loads(SNAPSHOT.read_text(encoding="utf-8"))


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
