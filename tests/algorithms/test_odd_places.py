"""The same outing on the same lake anywhere on Earth, in any coordinate system, gives the same figures.

Lake and track are laid out once in a plane that keeps distances from its middle (azimuthal equidistant, by pyproj) and
carried to each place; 200 m away it is true to 2e-10.
"""
import numpy as np
import pytest
from pyproj import Transformer

LAKE = [(-150, -200), (160, -210), (180, 220), (0, 260), (-140, 200)]
ISLAND = [(20, 20), (60, 25), (50, 70)]
LINES = (-90, -30, 90, 130)
AREAS = ("swath", "area", "covered")


def shoelace(corners):
    x, y = np.array(corners, float).T
    return 0.5 * abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def carried(lon, lat, crs):
    plane = f"+proj=aeqd +lat_0={lat} +lon_0={lon} +datum=WGS84 +units=m +type=crs"
    return Transformer.from_crs(plane, crs, always_xy=True)


def dense(corners, step=10.0):
    """Corners with points between them: an edge straight on one map is bent on another."""
    found = []
    for a, b in zip(np.array(corners, float), np.roll(np.array(corners, float), -1, axis=0)):
        count = int(np.ceil(np.hypot(*(b - a)) / step))
        found.append(a + np.arange(count)[:, None] / count * (b - a))
    return np.vstack(found)


def sailed(offsets):
    """x, y, t of a lawnmower at 2 m/s, again for each offset to the east."""
    x, y, t, clock = [], [], [], 1.7e9
    for offset in offsets:
        for number, line in enumerate(LINES):
            along = np.arange(-150, 151, 2.0)[::-1 if number % 2 else 1]
            x.append(np.full(len(along), line + offset))
            y.append(along)
            t.append(clock + np.arange(len(along)))
            clock = t[-1][-1] + 60
    return np.concatenate(x), np.concatenate(y), np.concatenate(t)


@pytest.fixture
def figures(run, make_layer):
    """figures(lon, lat, crs of the fixes, crs of the lake, offsets) -> what the tools of the main job find there."""
    def lake(lon, lat, crs, offsets):
        move, rows = carried(lon, lat, crs), []
        for offset in offsets:
            rings = []
            for corners in (LAKE, ISLAND):
                points = dense(corners)
                xy = np.column_stack(move.transform(points[:, 0] + offset, points[:, 1])).tolist()
                rings.append(f"({','.join(f'{x!r} {y!r}' for x, y in [*xy, xy[0]])})")
            rows.append((f"POLYGON({','.join(rings)})", ["lake"]))
        return make_layer("Polygon", crs, {"name": "string"}, rows, "lake")

    def call(lon, lat, crs, lake_crs=None, offsets=(0,)):
        x, y, t = sailed(offsets)
        places = zip(*(np.asarray(v).tolist() for v in carried(lon, lat, crs).transform(x, y)), t.tolist())
        fixes = make_layer("Point", crs, {"t_s": "double"}, [(f"POINT({a!r} {b!r})", [s]) for a, b, s in places])
        water = lake(lon, lat, lake_crs or crs, offsets)
        track = run("preparetrack", {
            "INPUT": fixes, "RANGE": 60, "RANGE_UNIT": "m", "DEPTH": 6, "DEPTH_UNIT": "m", "OUTPUT": "memory:",
            "PASSES": "memory:", "TARGET_CRS": crs if crs == "EPSG:4326" else None})
        drawn = run("swathfootprint", {"INPUT": track["OUTPUT"], "WATER": water, "OUTPUT": "memory:"})
        seen = run("coveragegaps", {"SWATHS": drawn["OUTPUT"], "AREA": water, "PASSES": track["PASSES"],
                                    "OUTPUT": "memory:", "AREAS": "memory:"})
        shore = run("unscannedshoreline", {"SWATHS": drawn["OUTPUT"], "SHORELINE": water, "OUTPUT": "memory:"})
        picks = make_layer("None", "", {"t": "double", "s": "string"}, [
            (None, [float(t[k]), side]) for k in (30, 180, 330) for side in ("port", "starboard")])
        targets = run("locatetargets", {"PICKS": picks, "TRACK": track["OUTPUT"], "TIME_FIELD": "t", "SIDE_FIELD": "s",
                                        "SLANT": 40, "RANGE_UNIT": "m", "OUTPUT": "memory:"})["OUTPUT"]
        points = [feature.geometry().asPoint() for feature in targets.getFeatures()]
        back = carried(lon, lat, targets.crs().toWkt()).transform(
            [p.x() for p in points], [p.y() for p in points], direction="INVERSE")
        return {"swath": drawn["AREA_M2"], "area": seen["AREA_M2"], "covered": seen["COVERED_M2"],
                "length": track["LENGTH_M"], "worst": seen["WORST_PERCENT"], "best": seen["BEST_PERCENT"],
                "gaps": seen["GAP_COUNT"], "passes": track["PASS_COUNT"], "shore": shore["SHORE_M"],
                "unscanned": shore["UNSCANNED_M"], "targets": np.column_stack(back)}
    return call


_HOME = {}


@pytest.fixture
def home(figures):
    """The figures of Minnesota, in metres: made once."""
    if not _HOME:
        _HOME.update(figures(-93, 45, "EPSG:32615"))
    return _HOME


PLACES = {
    "degrees": (-93, 45, "EPSG:4326"), "degrees, lake in metres": (-93, 45, "EPSG:4326", "EPSG:32615"),
    "70 N": (20, 70, "EPSG:32634"), "70 N, degrees": (20, 70, "EPSG:4326"), "70 N, web map": (20, 70, "EPSG:3857"),
    "south": (175, -41, "EPSG:32760"), "south, degrees": (175, -41, "EPSG:4326"),
    "180, longitudes jump": (180, 52, "EPSG:4326"), "180, metres": (180, 52, "EPSG:32601"),
    "180, lake in degrees": (179.9995, -17, "EPSG:3832", "EPSG:4326"),
    "survey feet": (-80, 35.5, "EPSG:2264"), "feet and another datum": (-150.4, 60.4, "EPSG:2964"),
}


@pytest.mark.parametrize("place", PLACES.values(), ids=list(PLACES))
def test_the_same_lake_anywhere(figures, home, place):
    there = figures(*place)
    truth = shoelace(LAKE) - shoelace(ISLAND)
    assert there["area"] == pytest.approx(truth, rel=5e-6)  # the shift of NAD27 stretches by 2e-6
    assert there["length"] == pytest.approx(len(LINES) * 300, rel=1e-6)
    for name in AREAS:
        assert there[name] == pytest.approx(home[name], rel=2e-5), name
    assert there["shore"] == pytest.approx(home["shore"], rel=2e-6)
    assert there["unscanned"] == pytest.approx(home["unscanned"], rel=2e-4)  # judged every half metre
    assert (there["worst"], there["best"]) == pytest.approx((home["worst"], home["best"]), abs=2e-3)
    assert (there["gaps"], there["passes"]) == (home["gaps"], home["passes"])
    np.testing.assert_allclose(there["targets"], home["targets"], atol=2e-3)


@pytest.mark.parametrize("place", [(-93, 45, "EPSG:32615", None, (-20_000, 20_000)),
                                   (20, 70, "EPSG:4326", None, (-20_000, 20_000)),
                                   (180, 52, "EPSG:4326", None, (-20_000, 20_000))], ids=["UTM", "70 N", "180"])
def test_two_lakes_40_km_apart_are_twice_one(figures, home, place):
    there = figures(*place)
    for name in (*AREAS, "length", "shore"):
        assert there[name] == pytest.approx(2 * home[name], rel=2e-5), name
    assert (there["worst"], there["best"]) == pytest.approx((home["worst"], home["best"]), abs=2e-3)
    assert (there["gaps"], there["passes"]) == (2 * home["gaps"], 2 * home["passes"])
