"""A fix exactly on the Equator or on Greenwich: 0.0 is a place like any other, in readers and tools."""
import datetime

import numpy as np
import pytest
from athwart.survey.fixes.arrange import Fixes
from athwart.survey.io import gpxwrite
from athwart.survey.io.logs import read_logs
from athwart.survey.swaths.draw import SwathSettings, draw_swaths
from athwart.survey.tracks.prepare import prepare
from athwart.survey.tracks.settings import TrackSettings

LINES = {"equator": ([10.0 + 2e-5 * k for k in range(40)], [0.0] * 40),
         "greenwich": ([0.0] * 40, [51.5 + 2e-5 * k for k in range(40)])}


def sentence(body):
    total = 0
    for letter in body:
        total ^= ord(letter)
    return f"${body}*{total:02X}\r\n"


def nmea(lons, lats):
    """RMC and DBT sentences, one a second (NMEA 0183: ddmm.mmmmm)."""
    text = ""
    for k, (lon, lat) in enumerate(zip(lons, lats)):
        place = f"{int(lat):02d}{lat % 1 * 60:09.6f},N,{int(lon):03d}{lon % 1 * 60:09.6f},E"
        text += sentence(f"GPRMC,1200{k:02d}.00,A,{place},4.0,90.0,010624,,,A")
        text += sentence("SDDBT,16.4,f,5.0,M,2.7,F")
    return text


def gpx(lons, lats):
    points = "".join(f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><time>2024-06-01T12:00:{k:02d}Z</time></trkpt>'
                     for k, (lon, lat) in enumerate(zip(lons, lats)))
    return (f'<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><wpt lat="{lats[0]:.7f}" '
            f'lon="{lons[0]:.7f}"><name>first</name></wpt><trk><trkseg>{points}</trkseg></trk></gpx>')


@pytest.mark.parametrize("line", LINES)
@pytest.mark.parametrize("kind", ["nmea", "gpx"])
def test_logs_keep_every_fix(tmp_path, line, kind):
    lons, lats = LINES[line]
    path = tmp_path / f"log.{kind}"
    path.write_text({"nmea": nmea, "gpx": gpx}[kind](lons, lats), encoding="ascii", newline="")
    logs = read_logs([str(path)], datetime.date(2024, 6, 1))
    assert logs.rejected_count == 0
    assert logs.fixes["lon"] == pytest.approx(lons, abs=1e-7) and logs.fixes["lat"] == pytest.approx(lats, abs=1e-7)
    if kind == "gpx":
        assert (logs.waypoints["lon"][0], logs.waypoints["lat"][0]) == (lons[0], lats[0])
    else:
        assert np.isfinite(logs.fixes["depth_m"]).all()


@pytest.mark.parametrize("line", LINES)
def test_a_track_that_crosses_keeps_its_fix_at_zero(line):
    lons, lats = map(np.array, LINES[line])
    crossing = 2e-5 * (np.arange(40) - 20)  # exactly 0 at one fix
    lon, lat = (lons, crossing) if line == "equator" else (crossing, lats)
    made = prepare(Fixes("EPSG:4326", lon, lat, t_s=1.7e9 + np.arange(40)), TrackSettings(range_m=30.0, depth_m=5.0))
    assert made.rejected == 0 and len(made.track) == 40


def test_gpx_is_written_with_its_zero():
    text = gpxwrite.gpx_text([gpxwrite.Waypoint(0.0, 0.0, "corner")])
    assert 'lat="0.0' in text and 'lon="0.0' in text


@pytest.mark.parametrize("line", LINES)
def test_tracks_and_swaths_are_whole(line):
    lons, lats = LINES[line]
    made = prepare(Fixes("EPSG:4326", np.array(lons), np.array(lats), t_s=1.7e9 + np.arange(40)),
                   TrackSettings(range_m=30.0, depth_m=5.0))
    assert made.rejected == 0 and made.track.usable.all() and len(made.track) == 40 and len(made.lines) == 1
    drawn = draw_swaths(made.track, SwathSettings())
    # outer minus inner edge on the flat: sqrt(30^2 - 5^2) - 5 tan 20, both sides, along the line
    wide = np.sqrt(900 - 25) - 5 * np.tan(np.radians(20))
    assert drawn.area_m2 == pytest.approx(2 * wide * made.length_m, rel=0.01)
