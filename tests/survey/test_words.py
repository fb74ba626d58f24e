"""The page of words has every room of the core, every layer and the words that nobody should have to guess."""
import importlib
import pathlib
import re

import pytest
from athwart.survey.model import schemas

ROOT = pathlib.Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "words.md").read_text(encoding="utf-8")
TERMS = {term.lower() for term in re.findall(r"\*\*([^*]+)\*\*", PAGE)}
KEY = ("outing", "pass", "look", "fix", "swath", "gap", "grade", "mark", "pick", "tie", "station", "blind angle",
       "nadir", "slant range", "ground range", "share", "low", "worst", "certain", "latency", "lever", "mount",
       "trim", "sigma", "sigma_bias", "offset", "blunder", "aim", "cast", "shadow", "water column", "side unsure",
       "record", "sounding", "transducer", "antenna", "azimuth", "beam azimuth", "footprint", "depth grid",
       "contour line",
       "sample", "confidence", "interval", "bound", "echo", "side-scan", "gpx", "nmea 0183", "plotter", "yaw", "log")
LAYERS = {"FIXES": "fix", "WAYPOINTS": "waypoint", "TRACK": "fix", "PASSES": "pass", "SWATHS": "swath", "GAPS": "gap",
          "AREAS": "area", "SHORE": "shore", "PICKS": "pick", "TARGETS": "target", "ELLIPSES": "ellipse",
          "REJECTED": "rejected", "COMBINED": "combined target", "OFFSETS": "offset", "CAST_LINES": "cast line",
          "CAST_STATIONS": "station", "BOTTOM_LINE": "line of the bottom", "MARKS": "mark", "PLAN_LINES": "survey line",
          "PLAN_SHORE": "shore run", "UNCOVERED": "not covered", "SIMULATED": "simulated run",
          "RANGE_TABLE": "range table", "FILL_LINES": "fill-in line", "CALIBRATION_LINES": "calibration run",
          "CALIBRATION_PREDICTED": "sigmas to come", "OBJECTS": "measured object", "CHECKS": "check of a record",
          "DRAWN_TARGETS": "drawn target", "DRAWN_ELLIPSES": "ellipse"}


@pytest.mark.parametrize("room", sorted(path.parent.name for path in (ROOT / "survey").glob("*/__init__.py")))
def test_every_room_is_told(room):
    assert f"- `{room}`:" in PAGE


@pytest.mark.parametrize("word", KEY)
def test_key_words_are_told(word):
    assert word in TERMS


def test_every_kind_of_gap_is_told():
    kind = next(field for field in schemas.GAPS if field.name == "kind")
    named = re.split(", | or ", kind.text)
    assert "unvisited" in named and len(named) == 8 and not set(named) - TERMS


@pytest.mark.parametrize("layer", sorted(LAYERS))
def test_every_layer_is_told(layer):
    assert hasattr(schemas, layer) and LAYERS[layer] in TERMS


def test_no_layer_is_forgotten():
    made = {name for name, layer in vars(schemas).items() if isinstance(layer, schemas.Layer)}
    assert len(made) == len(schemas.all_layers()) and made <= set(LAYERS)


def test_the_ways_through_the_house_are_there_and_never_climb():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("Four ways through the house")[1]
    ways = guide.split("Signs, once")[0].split("\n- ")[1:]
    rooms = re.findall(r"^\| `(\w+)/` \|", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"), re.M)
    assert len(ways) == 4
    for way in ways:
        stops = re.findall(r"`(\w+)/(\w+)\.(\w+)`", way)
        assert len(stops) >= 4
        for room, module, function in stops:
            assert hasattr(importlib.import_module(f"athwart.survey.{room}.{module}"), function)
        at = [rooms.index(room) for room, _, _ in stops]
        assert at == sorted(at)
