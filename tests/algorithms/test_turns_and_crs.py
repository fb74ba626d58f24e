"""The first route of all, and what the next tools of a GIS make of swaths and gaps in other coordinate systems."""
import numpy as np
import pytest
import turnsim
from pyproj import Transformer
from qgis.core import QgsFeatureRequest, QgsVectorLayer

CRSS = ("EPSG:4326", "EPSG:3857", "EPSG:3035", "EPSG:5070")


def gpx(path, legs, speed=2.0, interval=10.0, jitter=0.5, seed=1):
    """A bare GPX track: places and times, nothing else."""
    t, east, north = turnsim.fixes(legs, speed, interval, jitter, seed)
    lon, lat = Transformer.from_crs(32615, 4326, always_xy=True).transform(480_000 + east, 4_980_000 + north)
    points = "".join(f'<trkpt lat="{b:.7f}" lon="{a:.7f}"><time>{np.datetime_as_string(when, "s")}Z</time></trkpt>'
                     for a, b, when in zip(lon, lat, np.datetime64("2026-06-01T12:00:00") + t.astype("timedelta64[s]")))
    path.write_text('<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk>'
                    f"<trkseg>{points}</trkseg></trk></gpx>")
    return str(path)


@pytest.fixture
def field(run, tmp_path):
    """Swaths and passes of four lines joined by U-turns of 60 m, from a fix every 10 s, one RANGE and one DEPTH."""
    fixes = run("readlogs", {"INPUT": [gpx(tmp_path / "day.gpx", turnsim.lawnmower(4, 400.0, 22.0))],
                             "OUTPUT": "memory:"})["OUTPUT"]
    prepared = run("preparetrack", {"INPUT": fixes, "RANGE": 80, "RANGE_UNIT": "ft", "DEPTH": 12, "DEPTH_UNIT": "ft",
                                    "OUTPUT": "memory:", "PASSES": "memory:"})
    swaths = run("swathfootprint", {"INPUT": prepared["OUTPUT"], "OUTPUT": "memory:"})["OUTPUT"]
    return prepared, swaths


def test_the_first_route_of_all_gives_a_pass_a_line_and_loses_no_turn(run, field, make_layer):
    prepared, swaths = field
    assert prepared["PASS_COUNT"] == 4
    assert prepared["SAMPLE_COUNT"] == prepared["OUTPUT"].featureCount()
    truth = turnsim.seen(turnsim.lawnmower(4, 400.0, 22.0), 12 * 0.3048 * np.tan(np.radians(20)),
                         0.3048 * np.sqrt(80**2 - 12**2))
    merged = run("swathfootprint", {"INPUT": prepared["OUTPUT"], "MERGE": "all", "OUTPUT": "memory:"})
    assert merged["AREA_M2"] == pytest.approx(truth.area, rel=0.02)


@pytest.mark.parametrize("crs", CRSS)
def test_the_next_tools_work_in_any_coordinate_system(qgis_processing, run, field, make_layer, crs):
    import processing

    prepared, swaths = field
    box = swaths.extent()
    area = make_layer("Polygon", "EPSG:32615", {}, [(box.asWktPolygon(), [])])
    gaps = run("coveragegaps", {"SWATHS": swaths, "AREA": area, "PASSES": prepared["PASSES"], "MIN_WIDTH": 0,
                                "MIN_AREA": 0, "OUTPUT": "memory:", "AREAS": "memory:"})["OUTPUT"]
    carried = []
    for layer in (swaths, gaps):
        assert layer.featureCount() > 3
        there = processing.run("native:reprojectlayer",
                               {"INPUT": layer, "TARGET_CRS": crs, "OUTPUT": "memory:"})["OUTPUT"]
        request = QgsFeatureRequest().setInvalidGeometryCheck(QgsFeatureRequest.GeometryNoCheck)
        assert all(feature.geometry().isGeosValid() for feature in there.getFeatures(request))
        dissolved = processing.run("native:dissolve", {"INPUT": there, "OUTPUT": "memory:"})["OUTPUT"]
        assert dissolved.featureCount() == 1
        carried.append(there)
    one = processing.run("native:intersection",
                         {"INPUT": carried[0], "OVERLAY": carried[1], "OUTPUT": "memory:"})["OUTPUT"]
    assert isinstance(one, QgsVectorLayer)
    joined = processing.run("native:joinattributesbylocation", {
        "INPUT": carried[1], "JOIN": carried[0], "PREDICATE": [0], "JOIN_FIELDS": [], "METHOD": 0,
        "DISCARD_NONMATCHING": False, "PREFIX": "", "OUTPUT": "memory:"})["OUTPUT"]
    assert joined.featureCount() >= carried[1].featureCount()
