"""Real lakes in real coordinate systems: coverage against GDAL counting cells, shore against stations tried one by one.

Both lakes' systems are equal-area, so a count of cells times their size is ground area. Swaths are invented: strips
along parts of the shore and straight across, over islands and spits, cut at the water's edge.
"""
import json
import math
import pathlib

import numpy as np
import pytest
from athwart.survey.coverage.cover import Swaths
from athwart.survey.coverage.gaps import GapSettings, find_gaps
from athwart.survey.shore.unscanned import find_unscanned
from osgeo import gdal, ogr, osr
from shapely import wkb
from shapely.geometry import LineString, Point
from shapely.ops import nearest_points, unary_union
from shapely.prepared import prep
from sizes import full

VECTOR = pathlib.Path(__file__).resolve().parents[1] / "fixtures" / "vector"
KNOWN = {row["name"]: row for layer in json.loads((VECTOR.parent / "expected.json").read_text(encoding="utf-8"))[
    "vector"].values() for row in layer["features"]}
FOOT = 1200 / 3937
LAKES = {"Sunapee Lake": ("lake_with_island_albers.gpkg", 0, 1.0), "Skilak Lake": ("lakes_us_feet.shp", 0, FOOT),
         "Lake Nerka": ("lakes_us_feet.shp", 1, FOOT)}
REACH = 8.0


def load(name):
    """(WKT of the system, metres to its unit, polygon)."""
    file, row, metre = LAKES[name]
    source = ogr.Open(str(VECTOR / file))
    layer = source.GetLayer(0)
    shapes = [wkb.loads(bytes(feature.GetGeometryRef().ExportToWkb())) for feature in layer]
    return layer.GetSpatialRef().ExportToWkt(), metre, shapes[row]


@pytest.fixture(scope="module", params=LAKES)
def lake(request):
    """(name, WKT of the system, metres to its unit, polygon, list of swaths)."""
    wkt, metre, polygon = load(request.param)
    return request.param, wkt, metre, polygon, invented(polygon, metre)


def invented(polygon, metre):
    """Swaths of about 60 m: three straight across the lake, and one along a third of the shore, 6 m off."""
    x0, y0, x1, y1 = polygon.bounds
    across = [LineString([(x0, y0 + f * (y1 - y0)), (x1, y0 + (f + 0.1) * (y1 - y0))]).buffer(30 / metre)
              for f in (0.2, 0.45, 0.7)]
    third = LineString([(x0, y0), (x1, y1)]).buffer((x1 - x0) / 6)
    along = polygon.buffer(-6 / metre).difference(polygon.buffer(-66 / metre)).intersection(third)
    return [shape.intersection(polygon) for shape in (*across, along)]


def cells(polygon, wkt, size, bounds):
    """GDAL's own count: True where the middle of a cell lies in the polygon."""
    x0, y0, x1, y1 = bounds
    made = gdal.GetDriverByName("MEM").Create("", math.ceil((x1 - x0) / size), math.ceil((y1 - y0) / size), 1)
    made.SetGeoTransform((x0, size, 0, y1, 0, -size))
    made.SetProjection(wkt)
    source = ogr.GetDriverByName("Memory").CreateDataSource("")
    layer = source.CreateLayer("one", made.GetSpatialRef(), ogr.wkbMultiPolygon)
    feature = ogr.Feature(layer.GetLayerDefn())
    feature.SetGeometry(ogr.CreateGeometryFromWkb(wkb.dumps(polygon)))
    layer.CreateFeature(feature)
    gdal.RasterizeLayer(made, [1], layer, burn_values=[1])
    return made.ReadAsArray().astype(bool)


def test_coverage_is_what_counting_cells_gives(lake):
    name, wkt, metre, polygon, strips = lake
    n = len(strips)
    swaths = Swaths(strips, np.array(["a"] * n, object), np.arange(n, dtype=float), np.full(n, 30.0), np.full(n, 0.75))
    found = find_gaps(wkt, [polygon], swaths, settings=GapSettings(min_width=0, min_area=0))
    size = (3.0 if name == "Sunapee Lake" else 6.0) / metre
    wet = cells(polygon, wkt, size, polygon.bounds)
    seen = [cells(strip, wkt, size, polygon.bounds) & wet for strip in strips]
    ground = (size * metre) ** 2
    assert found.area_m2 == pytest.approx(wet.sum() * ground, rel=1e-3)
    assert found.covered_m2 == pytest.approx(np.any(seen, axis=0).sum() * ground, rel=1e-3)
    if name in full(("Sunapee Lake",), LAKES):
        twice = find_gaps(wkt, [polygon], swaths, settings=GapSettings(required_looks=2, min_width=0, min_area=0))
        assert twice.covered_m2 == pytest.approx((np.sum(seen, axis=0) > 1).sum() * ground, rel=5e-3)
    assert found.area_m2 == pytest.approx(KNOWN[name]["geodesic_area_m2"], rel=1e-5)
    assert sum(g.area for g in found.geometries) * metre**2 == pytest.approx(found.gap_m2, rel=1e-4)


def rings(polygon):
    """Every ring of a polygon of one or several parts."""
    return [ring for part in getattr(polygon, "geoms", [polygon]) for ring in (part.exterior, *part.interiors)]


def in_sight(place, seen, water, reach):
    """Is any seen place within reach in a straight line over water? Tries the nearest, then a fan of places."""
    if seen.distance(place) > reach:
        return False
    nearest = nearest_points(seen, place)[0]
    if water.covers(LineString([place, nearest])):
        return True
    near = seen.intersection(place.buffer(reach))
    x0, y0, x1, y1 = near.bounds
    fan = [Point(x, y) for x in np.linspace(x0, x1, 12) for y in np.linspace(y0, y1, 12)]
    return any(near.distance(p) < 1e-9 and water.covers(LineString([place, p])) for p in fan)


def in_utm(shape, wkt, metre, zone):
    """A shape in the UTM zone, by GDAL: there a metre is the same every way, unlike in the lake's own system."""
    here, there = osr.SpatialReference(wkt), osr.SpatialReference()
    there.ImportFromEPSG(32600 + zone)
    for reference in (here, there):
        reference.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    made = ogr.CreateGeometryFromWkb(wkb.dumps(shape))
    made.Segmentize(50 / metre)
    made.Transform(osr.CoordinateTransformation(here, there))
    return wkb.loads(bytes(made.ExportToWkb()))


def test_shore_is_what_trying_stations_gives(lake):
    name, wkt, metre, polygon, strips = lake
    found = find_unscanned(wkt, strips, [polygon], reach=REACH)
    assert found.shore_m == pytest.approx(KNOWN[name]["shore_m"], rel=1e-5)
    zone = int((KNOWN[name]["bbox_lonlat"][0] + 180) // 6) + 1
    shore = in_utm(polygon, wkt, metre, zone)
    seen = unary_union([in_utm(strip, wkt, metre, zone).buffer(0) for strip in strips])
    water, near = prep(shore.buffer(0.01)), prep(seen.buffer(1.01 * REACH))
    step = 3.0 if name == "Sunapee Lake" else 20.0
    total = scanned = 0.0
    for ring in rings(shore):
        run = LineString(ring.coords)
        count = max(1, round(run.length / step))
        places = [run.interpolate((i + 0.5) / count, normalized=True) for i in range(count)]
        hits = sum(near.contains(p) and in_sight(p, seen, water, REACH) for p in places)
        total += run.length
        scanned += hits / count * run.length
    assert found.unscanned_percent == pytest.approx(100 * (1 - scanned / total), abs=0.1)


def test_a_swath_beyond_a_spit_or_island_scans_nothing_of_this_side():
    """On each island of the lakes: a strip along its west side scans none of its east side, however far the reach."""
    wkt, metre, polygon = load("Lake Nerka")
    for hole in polygon.interiors:
        x0, y0, x1, y1 = hole.bounds
        south = max(y for x, y in hole.coords if x == x0), min(y for x, y in hole.coords if x == x1)
        strip = Point(x0 - 8 / metre, south[0]).buffer(5 / metre)
        found = find_unscanned(wkt, [strip], [polygon], reach=(x1 - x0) * metre * 0.4)
        scanned = unary_union([g for g, s in zip(found.geometries, found.columns["status"]) if s == "scanned"])
        assert scanned.intersection(LineString(hole.coords).buffer(1)).length > 0
        east = Point(x1, south[1])
        assert scanned.distance(east) > 0.3 * (x1 - x0)
