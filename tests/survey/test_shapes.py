"""Polygons carried between crs and frame, joined, cleaned and measured, on shapely 1.8 and 2."""
import numpy as np
import pytest
import shapely.geometry as sg
import shapely.wkt
from athwart.survey.geometry import shapes, transfer
from athwart.survey.geometry.frame import Frame
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod
from shapely.ops import unary_union

WGS84 = Geod(ellps="WGS84")


@pytest.fixture
def dateline():
    """A frame 1 km west of 180 degrees in Fiji, where longitudes jump."""
    lon, lat, _ = WGS84.fwd(180, -17, 270, 1000)
    return Frame.around("EPSG:4326", [lon], [lat])


def test_area_of_a_geodesic_quad():
    # quad 45 to 45.01 N, 93 to 92.99 W: 876163.44803 m2 by geographiclib 2.1
    quad = sg.Polygon([(-93, 45), (-92.99, 45), (-92.99, 45.01), (-93, 45.01)])
    frame = Frame.around("EPSG:4326", [-92.995], [45.005])
    assert transfer.crs_area(frame, quad) == pytest.approx(876163.44803, abs=1e-3)
    assert transfer.geodesic_length(frame, transfer.to_frame(frame, quad)) == pytest.approx(3799.43704, abs=1e-3)
    # the frame's copy follows the parallel, a curve: within the centimetre kept along 790 m
    assert transfer.geodesic_area(frame, transfer.to_frame(frame, quad)) == pytest.approx(876163.44803, abs=8)


def test_areas_take_holes_off_and_do_not_mind_the_ring_direction():
    frame = Frame("EPSG:32615", -93, 45)
    shell, hole = [(0, 0), (100, 0), (100, 100), (0, 100)], [(40, 40), (60, 40), (60, 60), (40, 60)]
    for a in (shell, shell[::-1]):
        for b in (hole, hole[::-1]):
            assert transfer.geodesic_area(frame, sg.Polygon(a, [b])) == pytest.approx(9600, rel=1e-9)
    assert transfer.geodesic_area(frame, shapes.empty()) == 0
    assert transfer.geodesic_length(frame, shapes.empty()) == 0
    two = sg.MultiLineString([[(0, 0), (3, 4)], [(0, 0), (0, 5)]])
    assert transfer.geodesic_length(frame, two) == pytest.approx(10)


def test_areas_of_many_polygons_at_once():
    frame = Frame("EPSG:32615", -93, 45)
    holed = sg.box(900, 0, 1000, 90).difference(sg.box(920, 20, 940, 40))
    two = sg.MultiPolygon([sg.box(0, 0, 30, 9), sg.box(0, 20, 30, 29)])
    grounds = [holed, shapes.empty(), two, sg.box(-1, -2, 0, 0)]
    flat = np.array([9000 - 400, 0, 540, 2])
    assert transfer.geodesic_areas(frame, grounds) == pytest.approx(flat, rel=1e-7)  # the scale at 1 km adds 2.5e-8
    assert transfer.geodesic_areas(frame, grounds).tolist() == [transfer.geodesic_area(frame, g) for g in grounds]
    assert transfer.geodesic_areas(frame, [shapes.empty()]).tolist() == [0]
    assert len(transfer.geodesic_areas(frame, [])) == 0


@pytest.mark.parametrize("crs, lon, lat", [("EPSG:32615", -93, 45), ("EPSG:2964", -150, 60), ("EPSG:4326", 12, 70)])
def test_there_and_back(crs, lon, lat):
    frame = Frame(crs, lon, lat)
    square = sg.Polygon([(0, 0), (500, 0), (500, 400), (0, 400)], [[(10, 10), (20, 10), (20, 20)]])
    again = transfer.to_frame(frame, transfer.to_crs(frame, square))
    assert again.symmetric_difference(square).area < 1e-2
    assert again.hausdorff_distance(square) < 0.0101
    line = sg.LineString([(0, 0), (30, 40)])
    assert transfer.to_frame(frame, transfer.to_crs(frame, line)).length == pytest.approx(50, abs=1e-6)


def test_feet_are_not_taken_for_metres():
    frame = Frame("EPSG:2964", -150.4, 60.4)  # NAD27, US survey feet of 1200/3937 m
    square = transfer.to_crs(frame, sg.box(0, 0, 100, 100))
    assert square.area == pytest.approx((100 * 3937 / 1200) ** 2, rel=1e-3)
    assert transfer.crs_area(frame, square) == pytest.approx(1e4, rel=1e-8)


def test_a_polygon_over_180_degrees_is_cut_there_and_joined_again(dateline):
    square = sg.box(-2000, -500, 2000, 500)  # 180 degrees lies at x = +1000
    cut = transfer.to_crs(dateline, square)
    assert cut.is_valid
    assert len(cut.geoms) == 2
    assert cut.bounds[0] == -180
    assert cut.bounds[2] == 180
    lons = sorted(lon for part in cut.geoms for lon in part.exterior.coords.xy[0])
    assert all(lon > 179.97 or lon < -179.98 for lon in lons)
    assert transfer.crs_area(dateline, cut) == pytest.approx(4e6, rel=1e-6)
    joined = transfer.to_frame(dateline, cut)
    assert joined.geom_type == "Polygon"  # no seam left where it was cut
    assert joined.symmetric_difference(square).area < 0.1


def test_shapes_close_to_180_degrees_stay_whole(dateline):
    near = transfer.to_crs(dateline, sg.box(-2000, -500, 999, 500))  # to within a metre: 179.99999
    assert near.geom_type == "Polygon"
    assert 179.9999 < near.bounds[2] < 180
    beyond = transfer.to_crs(dateline, sg.box(1001, -500, 2000, 500))
    assert -180 < beyond.bounds[0] < beyond.bounds[2] < -179.9
    assert transfer.to_frame(dateline, beyond).symmetric_difference(sg.box(1001, -500, 2000, 500)).area < 0.1


def test_lines_over_180_degrees(dateline):
    cut = transfer.to_crs(dateline, sg.LineString([(-2000, 0), (2000, 0)]))
    assert len(cut.geoms) == 2
    assert sum(WGS84.line_length(*part.coords.xy) for part in cut.geoms) == pytest.approx(4000, rel=1e-6)
    back = transfer.to_frame(dateline, cut)
    assert back.length == pytest.approx(4000, rel=1e-6)
    whole = transfer.to_crs(dateline, sg.LineString([(1100, 0), (2000, 0)]))
    assert whole.geom_type == "LineString"
    assert whole.bounds[2] < 0


def test_water_is_clipped_to_the_neighbourhood(dateline):
    bounds, inside = (-3000, -3000, 3000, 3000), sg.box(-2999, -2999, 2999, 2999)
    lake = sg.MultiPolygon([sg.box(170, -20, 180, -15), sg.box(-180, -20, -170, -15)])
    near = transfer.clipped_to_frame(dateline, lake, bounds)
    assert near.geom_type == "Polygon"
    assert near.contains(inside)
    assert near.area < 1e8
    assert transfer.clipped_to_frame(dateline, sg.box(-180, -90, 180, 90), bounds).contains(inside)
    assert transfer.clipped_to_frame(dateline, sg.box(0, 0, 1, 1), bounds).is_empty
    bow_tie = sg.Polygon([(179.9, -17.1), (180, -16.9), (180, -17.1), (179.9, -16.9)])
    assert transfer.clipped_to_frame(dateline, bow_tie, bounds).is_valid


def test_many_polygons_at_once_are_carried_as_one_by_one(dateline):
    holed = sg.box(0, 0, 90, 90).difference(sg.box(20, 20, 40, 40))
    grounds = [holed, sg.MultiPolygon([sg.box(200, 0, 230, 9), sg.box(200, 20, 230, 29)]),
               sg.box(-2000, -500, 2000, 500)]
    for frame in (dateline, Frame("EPSG:32615", -93, 45)):
        carried = transfer.all_to_crs(frame, grounds)
        assert all(one.geom_type == "MultiPolygon" for one in carried)
        for one, ground in zip(carried, grounds):
            assert one.equals(transfer.to_crs(frame, ground))
    assert len(transfer.all_to_crs(dateline, grounds)[2].geoms) == 2
    assert transfer.all_to_crs(dateline, []) == []


def test_what_was_mended_on_the_way_is_told():
    frame = Frame("EPSG:32615", -93, 45)
    for ground, crossed in ((sg.box(0, 0, 9, 9), False), (sg.Polygon([(0, 0), (9, 9), (9, 0), (0, 9)]), True)):
        flat = sg.Polygon([frame.inverse(*xy) for xy in ground.exterior.coords])
        carried, mended = transfer.mended_to_frame(frame, flat)
        assert carried.is_valid
        assert mended == crossed


def test_invalid_polygons_are_mended_and_lines_dropped():
    bow_tie = sg.Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
    assert shapes.valid(bow_tie).area == pytest.approx(0.5)
    assert shapes.valid(bow_tie).geom_type == "MultiPolygon"
    square = sg.box(0, 0, 1, 1)
    assert shapes.valid(square) is square
    mixed = sg.GeometryCollection([square, sg.LineString([(0, 0), (5, 5)]), sg.MultiPolygon([sg.box(3, 3, 4, 4)])])
    assert shapes.polygonal(mixed).area == 2
    assert shapes.polygonal(None).is_empty
    assert [len(holes) for _, holes in shapes.rings(square.difference(sg.box(0.2, 0.2, 0.4, 0.4)))] == [1]


def test_noding_dust_is_dropped_and_real_holes_stay():
    dusty = sg.MultiPolygon([
        sg.Polygon(sg.box(0, 0, 10, 10).exterior, [sg.box(1, 1, 1.05, 1.05).exterior, sg.box(4, 4, 5, 5).exterior]),
        sg.box(20, 20, 20.01, 20.01)])
    clean = shapes.drop_small_holes(dusty)
    assert clean.area == pytest.approx(99)
    assert len(clean.geoms) == 1
    assert len(clean.geoms[0].interiors) == 1


def test_vertices_all_but_on_top_of_each_other_are_dropped_and_no_part_is_spoilt():
    ring = [(0, 0), (3e-8, -1e-8), (10, 0), (10, 10), (5, 10), (5 - 2e-8, 10 + 1e-8), (0, 10), (1e-8, 1e-8)]
    hole = [(2, 2), (2, 4), (4, 4), (4, 2), (4 - 1e-8, 2)]
    speck = sg.Polygon([(20, 20), (20 + 1e-8, 20), (20, 20 + 1e-8)])
    clean = shapes.drop_short_edges(sg.MultiPolygon([sg.Polygon(ring, [hole]), speck]), 1e-7)
    whole, same = clean.geoms
    assert (len(whole.exterior.coords), len(whole.interiors[0].coords)) == (6, 5)
    assert clean.is_valid and whole.area == pytest.approx(96, abs=1e-6)
    assert same.equals(speck)


def test_union_of_none_and_of_many():
    assert shapes.union([]).is_empty
    assert shapes.union([None, shapes.empty()]).is_empty
    squares = shapes.polygons([[(i, 0), (i + 1, 0), (i + 1, 1), (i, 1)] for i in range(5)])
    assert shapes.union(squares).equals(sg.box(0, 0, 5, 1))
    assert shapes.polygons(np.empty((0, 4, 2))) == []


@given(st.lists(st.tuples(st.floats(-2, 2), st.floats(-2, 2)), min_size=1, max_size=30))
def test_contains_agrees_with_one_point_at_a_time(points):
    shape = sg.box(-1, -1, 1, 1).difference(sg.box(-0.5, -0.5, 0.5, 0.5))
    x, y = np.array(points).T
    assert list(shapes.contains(shape, x, y)) == [shape.contains(sg.Point(p)) for p in points]
    assert not shapes.contains(shapes.empty(), x, y).any()


def test_tree_returns_positions_of_what_really_touches():
    squares = [sg.box(i, i, i + 0.9, i + 0.9) for i in range(10)] + [sg.box(3, 3, 3.9, 3.9)]
    tree = shapes.Tree(squares)
    diagonal = sg.LineString([(2.95, 3.5), (3.5, 2.95)])
    assert list(tree.query(diagonal)) == [3, 10]
    assert list(tree.query(sg.Point(50, 50))) == []
    assert shapes.pick(squares, tree.query(diagonal)) == [squares[3], squares[10]]


def test_wkb_is_two_dimensional():
    tall = sg.Polygon([(0, 0, 5), (1, 0, 5), (1, 1, 5)])
    assert not shapes.from_wkb(shapes.to_wkb(tall)).has_z
    assert shapes.from_wkb(shapes.to_wkb(tall)).equals(sg.Polygon([(0, 0), (1, 0), (1, 1)]))
    assert shapes.to_wkb(tall)[:5] == b"\x01\x03\x00\x00\x00"
    flat = shapes.from_wkb(tall.wkb)
    assert not flat.has_z
    assert flat.exterior.length == tall.exterior.length


def test_carried_polygons_come_out_valid_though_corners_touch_edges():
    # T-junctions: corners that lie on another ring's edge in the frame need not do so after reprojection
    frame = Frame("EPSG:4326", -93, 45)
    strips = [sg.box(0, 0, 1000, 10), *(sg.Polygon([(i * 7.3, 10), (i * 7.3 + 3.1, 10), (i * 7.3 + 1, 13)])
                                        for i in range(130))]
    comb = unary_union(strips).difference(unary_union([sg.Polygon([(i * 11.7, 0), (i * 11.7 + 1, 0), (i * 11.7, 5)])
                                                       for i in range(80)]))
    carried = transfer.to_crs(frame, comb)
    assert carried.is_valid
    assert transfer.crs_area(frame, carried) == pytest.approx(comb.area, rel=1e-7)


@pytest.mark.parametrize("kind", ["Point", "MultiPoint"])
def test_points_go_to_the_frame_and_back(kind):
    frame = Frame("EPSG:32632", 9.0, 47.0)
    place = sg.Point(501234.5, 5206789.25)
    there = transfer.to_frame(frame, place if kind == "Point" else sg.MultiPoint([place]))
    back = transfer.to_crs(frame, there)
    assert back.geom_type == kind and back.distance(place) < 1e-6
    east, north = frame.forward(place.x, place.y)
    assert there.distance(sg.Point(float(east), float(north))) < 1e-9


def test_longitudes_that_jump_are_carried_on_past_180():
    ring = [(179.99, 0), (-179.99, 0), (-179.99, 1), (179.99, 1)]
    hole = [(-179.998, 0.4), (-179.996, 0.4), (-179.997, 0.6)]  # wholly beyond, where nothing jumps
    whole = sg.Polygon(ring, [hole])
    flat = transfer.unrolled(whole, 180)
    assert flat.is_valid and flat.bounds == (179.99, 0, pytest.approx(180.01), 1)
    assert flat.area == pytest.approx(0.02 - 0.002 * 0.2 / 2)
    here, beyond = sg.box(179, 0, 180, 1), sg.box(-180, 0, -179, 1)
    both = sg.MultiPolygon([here, beyond])  # cut at 180 already: stays as it is
    assert transfer.unrolled(both, 180).equals(both)
    assert transfer.unrolled(sg.LineString(ring[:2]), 180).length == pytest.approx(0.02)
    assert transfer.unrolled(sg.box(-1, 0, 1, 1), 180).bounds == (-1, 0, 1, 1)


def test_an_empty_hole_is_no_hole():
    square = sg.Polygon([(10, 45), (10.01, 45), (10.01, 45.01), (10, 45.01)])
    holed = shapely.wkt.loads("POLYGON((10 45,10.01 45,10.01 45.01,10 45.01,10 45),EMPTY)")
    frame = Frame("EPSG:4326", 10, 45)
    assert transfer.to_frame(frame, holed).equals(transfer.to_frame(frame, square))
