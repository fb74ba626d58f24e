"""GPX: real files against gpxpy, the schema's own words, and what a file may do to a reader."""
import json

import numpy as np
import pytest
from athwart.survey.io.gpx import read_gpx
from athwart.survey.model.errors import InputError
from athwart.survey.model.times import iso_time
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

GPX11 = 'xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="test"'


def track(*points):
    return f"<gpx {GPX11}><trk><trkseg>{''.join(points)}</trkseg></trk></gpx>".encode()


def point(inside="", clock="12:00:00Z", lat="45.0", lon="-93.0"):
    stamp = f"<time>2024-05-31T{clock}</time>" if clock else ""
    return f'<trkpt lat="{lat}" lon="{lon}">{stamp}{inside}</trkpt>'


FILES = ["empty_segment_gpx11", "lakeside_multitrack_gpx10", "lakeside_multitrack_notime",
         "survey_depth_extension_gpx11", "waypoint_extensions_gpx11", "waypoint_utf8_bom_noversion",
         "waypoints_unicode_gpx10"]


@pytest.mark.parametrize("name", FILES)
def test_real_files_agree_with_gpxpy(name, fixtures):
    gpxpy = pytest.importorskip("gpxpy")
    path = fixtures / "gpx" / f"{name}.gpx"
    ours = read_gpx(path.read_bytes(), name)
    theirs = gpxpy.parse(path.read_text(encoding="utf-8-sig"))
    segments = [segment.points for one in theirs.tracks for segment in one.segments if segment.points]
    points = [p for segment in segments for p in segment]
    fixes = ours.fixes
    assert list(fixes["segment"]) == [n for n, segment in enumerate(segments) for _ in segment]
    assert list(fixes["lon"]) == [p.longitude for p in points] and list(fixes["lat"]) == [p.latitude for p in points]
    stamps = [np.nan if p.time is None else p.time.timestamp() for p in points]
    assert fixes["t_s"] == pytest.approx(np.array(stamps), nan_ok=True)
    assert list(fixes["log_line"]) == list(range(1, len(points) + 1))
    marks = theirs.waypoints
    assert list(ours.waypoints["name"]) == [mark.name or "" for mark in marks]
    assert list(ours.waypoints["symbol"]) == [mark.symbol or "" for mark in marks]
    assert list(ours.waypoints["comment"]) == [mark.comment or "" for mark in marks]
    assert list(ours.waypoints["description"]) == [mark.description or "" for mark in marks]
    assert list(ours.waypoints["lat"]) == [mark.latitude for mark in marks]


@pytest.mark.parametrize("name", FILES)
def test_real_files_agree_with_what_is_expected_of_them(name, fixtures):
    """expected.json: gpxpy 1.6.2 and pyproj 3.7.2."""
    expected = json.loads((fixtures / "expected.json").read_text(encoding="utf-8"))["gpx"][f"{name}.gpx"]
    log = read_gpx((fixtures / "gpx" / f"{name}.gpx").read_bytes(), name)
    fixes = log.fixes
    assert len(fixes["t_s"]) == expected["points"] and len(log.waypoints["t_s"]) == expected["waypoints"]
    assert np.isnan(fixes["t_s"]).sum() == expected["points_without_time"]
    known = fixes["t_s"][np.isfinite(fixes["t_s"])]
    if expected["points"]:
        assert iso_time(known[0]) == expected["first_in_file"].replace("+00:00", "Z")
        assert iso_time(known[-1]) == expected["last_in_file"].replace("+00:00", "Z")
    geod = Geod(ellps="WGS84")
    lengths = [geod.line_length(fixes["lon"][fixes["segment"] == s], fixes["lat"][fixes["segment"] == s])
               for s in np.unique(fixes["segment"])]
    assert sum(lengths) == pytest.approx(expected["length_m_sum_of_segments"], abs=0.051)
    depth = expected.get("extension_values", {}).get("depth", {"n": 0})
    assert log.depth_count == depth["n"]
    if depth["n"]:
        assert [np.nanmin(fixes["depth_m"]), np.nanmax(fixes["depth_m"])] == depth["range"]
        assert np.nanmean(fixes["depth_m"]) == pytest.approx(depth["mean"], abs=5e-5)
    assert bool(log.notes) == bool(expected["points_without_time"]) and log.tally.count() == 0


def test_the_computers_zone_changes_nothing(zone):
    zone("America/Chicago")
    log = read_gpx(track(point(clock="12:00:00"), point(clock="14:00:01+02:00")), "log")
    assert [iso_time(t) for t in log.fixes["t_s"]] == ["2024-05-31T12:00:00Z", "2024-05-31T12:00:01Z"]


def test_the_offset_is_added_to_clocks_without_a_zone_only():
    data = track(point(clock="06:00:00"), point(clock="12:00:01Z"), point(clock="07:00:02.5-05:00"))
    log = read_gpx(data, "log", time_offset=6)
    assert [iso_time(t)[11:] for t in log.fixes["t_s"]] == ["12:00:00Z", "12:00:01Z", "12:00:02.500Z"]


@pytest.mark.parametrize("inside", [
    "<extensions><x:depth>4.2</x:depth></extensions>",
    "<extensions><x:a><x:b><x:WaterDepth>4.2</x:WaterDepth></x:b></x:a></extensions>",
    "<extensions><x:water_depth> 4,2 </x:water_depth></extensions>",
    "<x:Depth>4.2</x:Depth>",
    "<extensions><depth>4.2</depth></extensions>",
    "<extensions><x:point x:depth='9'><x:depth_m>4.2</x:depth_m></x:point></extensions>",
])
def test_depth_is_found_wherever_an_extension_hides_it(inside):
    log = read_gpx(track(point(inside)).replace(b"<gpx", b'<gpx xmlns:x="urn:any"'), "log")
    assert list(log.fixes["depth_m"]) == [4.2] and log.depth_count == 1
    assert list(log.fixes["depth_kind"]) == [""]  # GPX does not say what it is measured from


@pytest.mark.parametrize("inside, expected", [
    ("<wtemp>12.5</wtemp>", 12.5), ("<a><WaterTemp>12.5</WaterTemp></a>", 12.5), ("<temp>12.5</temp>", 12.5),
    ("<temp>25</temp><water_temperature>12.5</water_temperature>", 12.5), ("<atemp>25</atemp>", np.nan)])
def test_water_temperature(inside, expected):
    log = read_gpx(track(point(f"<extensions>{inside}</extensions>")), "log")
    assert log.fixes["water_temp_c"][0] == pytest.approx(expected, nan_ok=True)


def test_elevation_is_not_depth():
    assert np.isnan(read_gpx(track(point("<ele>-4.2</ele>")), "log").fixes["depth_m"][0])


@pytest.mark.parametrize("value", ["-4.2", "deep", "inf", "NaN"])
def test_a_depth_that_is_none_is_counted(value):
    log = read_gpx(track(point(), point(f"<extensions><depth>{value}</depth></extensions>")), "log")
    assert np.isnan(log.fixes["depth_m"]).all() and log.depth_count == 0
    assert log.tally.lines() == ["1 depths of points that cannot be right or cannot be read (log: 2)"]


def test_speed_course_and_quality():
    inside = "<course>181.5</course><speed>2.25</speed><fix>dgps</fix><sat>9</sat><hdop>1.1</hdop>"
    fixes = read_gpx(f'<gpx version="1.0"><trk><trkseg>{point(inside)}</trkseg></trk></gpx>'.encode(), "log").fixes
    assert [fixes[n][0] for n in ("course_deg", "speed_mps", "fix_quality", "satellites", "hdop")] == [
        181.5, 2.25, 2, 9, 1.1]
    # speed in an extension nobody has described might be in any unit
    assert np.isnan(read_gpx(track(point("<extensions><speed>9</speed></extensions>")), "log").fixes["speed_mps"][0])
    inside = ('<extensions><t:TrackPointExtension xmlns:t="urn:x/TrackPointExtension/v2"><t:speed>9</t:speed>'
              "</t:TrackPointExtension></extensions>")
    assert read_gpx(track(point(inside)), "log").fixes["speed_mps"][0] == 9


def test_points_without_a_fix_or_a_place_are_counted():
    log = read_gpx(track(point(), point("<fix>none</fix>"), point(lat="91"), point(lon=""), point(lon="nan"),
                         point(lon="180"), point(lon="1e999")), "log")
    assert list(log.fixes["log_line"]) == [1, 6]
    assert log.tally.lines() == ["4 points without a usable latitude and longitude (log: 3, 4, 5, 7)",
                                 "1 points marked as having no fix (log: 2)"]


def test_times_that_cannot_be_read_are_counted_and_the_points_kept():
    log = read_gpx(track(point(), point(clock="noon")), "log")
    assert np.isnan(log.fixes["t_s"][1]) and log.tally.count() == 1 and len(log.notes) == 1


def test_a_step_back_in_time_begins_a_segment():
    clocks = ["12:00:00Z", "12:00:01Z", "", "12:00:00Z", "", "12:00:05Z"]
    log = read_gpx(track(*[point(clock=clock) for clock in clocks]), "log")
    assert list(log.fixes["segment"]) == [0, 0, 0, 1, 1, 1]


def test_a_segment_of_refused_points_only_leaves_no_hole_in_the_numbers_that_matters():
    segments = "".join(f"<trkseg>{one}</trkseg>" for one in (point(), point(lat="91"), point()))
    assert list(read_gpx(f"<gpx><trk>{segments}</trk></gpx>".encode(), "log").fixes["segment"]) == [0, 1]


def test_waypoints_carry_what_people_wrote():
    data = ('<gpx><wpt lat="45" lon="-93"><time>2024-05-31T12:00:00Z</time><name>rock &amp; log</name>'
            "<cmt>20 m range</cmt><desc>d</desc><sym>Flag</sym>"
            "<extensions><depth>3.5</depth><wtemp>9</wtemp></extensions></wpt></gpx>")
    marks = read_gpx(data.encode(), "log").waypoints
    said = [marks[n][0] for n in ("name", "comment", "description", "symbol", "depth_m", "water_temp_c", "log_line")]
    assert said == ["rock & log", "20 m range", "d", "Flag", 3.5, 9, 1]
    assert iso_time(marks["t_s"][0]) == "2024-05-31T12:00:00Z"


def test_a_route_is_a_plan_and_not_a_track(fixtures):
    with pytest.raises(InputError, match="route_only.*a plan and not a track"):
        read_gpx((fixtures / "gpx" / "route_only_gpx10.gpx").read_bytes(), "route_only")
    log = read_gpx(b'<gpx><rte><rtept lat="1" lon="2"/></rte><wpt lat="1" lon="2"/></gpx>', "both")
    assert len(log.fixes["t_s"]) == 0 and len(log.waypoints["t_s"]) == 1 and "a plan" in log.warnings[0]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "iso-8859-1", "windows-1252"])
def test_every_encoding_that_xml_declares(encoding):
    text = f'<?xml version="1.0" encoding="{encoding.replace("-sig", "")}"?>'
    text += '<gpx><wpt lat="45" lon="-93"><name>Höhle</name></wpt></gpx>'
    assert read_gpx(text.encode(encoding), "log").waypoints["name"][0] == "Höhle"


def test_blank_lines_before_the_declaration_are_forgiven():
    data = b'\r\n\r\n<?xml version="1.0"?>\n<gpx>\n<wpt lat="45" lon="-93"/></gpx>'
    assert len(read_gpx(data, "log").waypoints["t_s"]) == 1
    with pytest.raises(InputError, match="line 6"):
        read_gpx(data.replace(b"/></gpx>", b">\n<"), "log")


def test_a_file_cut_short_names_its_line(fixtures):
    data = (fixtures / "gpx" / "survey_depth_extension_gpx11.gpx").read_bytes()
    cut = data[:100_000]
    with pytest.raises(InputError, match=rf"^survey, line {cut.count(b'%c' % 10) + 1}: the XML breaks off"):
        read_gpx(cut, "survey")


ENTITIES = b"".join(b'<!ENTITY %c "%s">' % (c, b"&%c;" % (c - 1) * 10) for c in b"bcdefghij")
BOMB = b'<!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa">%s]><gpx creator="&j;"><wpt lat="1" lon="2"/></gpx>' % ENTITIES


@pytest.mark.parametrize("data", [
    BOMB, b'<!DOCTYPE gpx SYSTEM "file:///etc/passwd"><gpx/>',
    b'<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]><gpx><wpt lat="1" lon="2"><name>&x;</name></wpt></gpx>'])
def test_document_types_are_refused_before_any_entity_is_used(data):
    with pytest.raises(InputError, match="DOCTYPE"):
        read_gpx(data, "log")


@pytest.mark.parametrize("data, match", [
    (b"<kml><Document/></kml>", "not GPX.*'kml'"), (b"<gpx/>", "no usable track point"),
    (b'<gpx><wpt lat="x" lon="2"/></gpx>', "1 waypoints without a usable"), (b"<gpx>&copy;</gpx>", "line 1"),
    (b"<gpx>\x00</gpx>", "line 1"), (b"<gpx></GPX>", "line 1"), (b"", "line 1"),
    (b'<?xml version="1.0" encoding="klingon"?><gpx/>', "encoding")])
def test_what_is_not_gpx_is_refused_by_name(data, match):
    with pytest.raises(InputError, match=f"^a log.*{match}"):
        read_gpx(data, "a log")


PIECES = st.sampled_from([
    "<gpx>", "</gpx>", "<trk>", "</trk>", "<trkseg>", "</trkseg>", '<trkpt lat="1" lon="2">', "</trkpt>", "<time>",
    "</time>", "2024-05-31T12:00:00Z", "<wpt lat='1'/>", "<extensions><depth>", "</depth></extensions>",
    "<fix>none</fix>", "&amp;", "&", "<!--", "-->", "<![CDATA[", "]]>", "<?pi?>", "\x01", "é", "1e309", "-"])


@given(st.lists(PIECES, max_size=30).map("".join) | st.text(max_size=60))
def test_junk_never_crashes(text):
    try:
        log = read_gpx(b"<gpx>" + text.encode("utf-8", "replace") + b"</gpx>", "log")
    except InputError as refused:
        assert str(refused).startswith("log")
    else:
        assert len(log.fixes["t_s"]) + len(log.waypoints["t_s"])


def test_a_deeply_nested_extension_is_no_trap():
    deep = "<a>" * 5000 + "<depth>3</depth>" + "</a>" * 5000
    assert read_gpx(track(point(f"<extensions>{deep}</extensions>")), "log").fixes["depth_m"][0] == 3
