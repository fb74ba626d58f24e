"""Polygons that stay valid in another CRS: against GEOS's minimum clearance, a brute search, and carrying them over."""
import numpy as np
import pytest
import shapely.geometry as sg
import tracks
from athwart.survey.coverage.cover import Swaths
from athwart.survey.coverage.gaps import GapSettings, find_gaps
from athwart.survey.geometry import shapes
from athwart.survey.geometry.clearance import CLEARANCE_M, cleared, near_misses, paced
from athwart.survey.geometry.frame import Frame
from athwart.survey.swaths.draw import SwathSettings, draw_swaths
from pyproj import Transformer
from shapely.ops import transform, unary_union
from sizes import full

FRAME = Frame("EPSG:32615", -93, 45)
ELSEWHERE = [4326, 3857, 3035, 5070]


def tangle(seed):
    """Strips thrown about at random, some of which all but touch."""
    rng = np.random.default_rng(seed)
    strips = [sg.LineString(rng.uniform(0, 60, (3, 2))).buffer(rng.uniform(1, 6), 4) for _ in range(12)]
    close = rng.choice([1e-9, 1e-7, 1e-5, 5e-5])
    strips.append(sg.Polygon(np.array(strips[0].exterior.coords) + close))
    return unary_union(strips)


@pytest.mark.parametrize("seed", range(30))
def test_near_misses_are_what_geos_finds_and_clearing_ends_them(seed):
    shape = tangle(seed)
    assert (len(near_misses(shape)) > 0) == (shape.minimum_clearance < CLEARANCE_M)
    for within in (False, True):
        clear = cleared(shape, within=within)
        assert clear.is_valid and clear.minimum_clearance >= 1e-4
        assert clear.symmetric_difference(shape).area < 1e-3 * len(near_misses(shape)) + 1e-12
        assert not within or clear.difference(shape).area < 1e-6


def test_a_polygon_that_is_clear_is_not_touched():
    shape = sg.Polygon([(0, 0), (70, 0), (70, 1e-3), (30, 5)])
    assert cleared(shape) is shape


@pytest.mark.parametrize("gap", [1e-8, 1e-6, 3e-5])
def test_long_needles_go_whether_of_ground_or_of_water(gap):
    edge = np.column_stack([np.linspace(0, 40, 60), 0.2 * np.sin(np.linspace(0, 9, 60))])
    bank = np.vstack([edge, [[40, 10], [0, 10]]])
    other = np.vstack([edge[::-1] - [0, gap], [[0, -10], [40, -10]]])
    parted = sg.Polygon(bank).union(sg.Polygon(other)).union(sg.box(39.9, -1, 41, 1))
    joined = cleared(parted)
    assert joined.is_valid and joined.minimum_clearance >= 1e-4
    assert joined.area == pytest.approx(parted.area, abs=0.02)
    spike = sg.Polygon([(0, 0), (10, 0), (10, 5), (50, 5 + gap), (10, 5 + 2 * gap), (10, 9), (0, 9)])
    worn = cleared(spike)
    assert worn.is_valid and worn.minimum_clearance >= 1e-4 and worn.area == pytest.approx(90, abs=0.02)


def test_paced_edges_are_short_and_the_ground_is_the_same():
    shape = sg.box(0, 0, 1000, 80).difference(sg.box(100, 20, 900, 60))
    fine = paced(shape)
    assert max(np.hypot(*np.diff(ring, axis=0).T).max() for ring in shapes.lines(fine)) <= 25
    assert fine.symmetric_difference(shape).area == pytest.approx(0, abs=1e-9)


def carried(geometries, code):
    move = Transformer.from_crs(32615, code, always_xy=True).transform
    return [transform(move, geometry) for geometry in geometries]


def day(seed, turn_deg=0.0):
    """A lawnmower with noisy headings, turned so that no line runs along an axis."""
    east, north, azimuth, pass_id = tracks.boustrophedon(lines=4, length=300.0, spacing=45.0, seed=seed)
    a = np.radians(turn_deg)
    return tracks.in_frame(FRAME, np.cos(a) * east + np.sin(a) * north, np.cos(a) * north - np.sin(a) * east,
                           azimuth + turn_deg, pass_id=pass_id, depth_m=5 + 2 * np.sin(north / 40))


TURNED, MERGED = [(1, 0.0), (2, 27.0), (3, 71.0)], ["strip", "pass", "all"]


@pytest.mark.parametrize("seed, turn, merge", full(
    [(*day, merge) for day, merge in zip(TURNED, MERGED)], [(*day, merge) for day in TURNED for merge in MERGED]))
def test_swaths_and_gaps_stay_valid_wherever_they_are_carried(seed, turn, merge):
    track = day(seed, turn)
    result = draw_swaths(track, SwathSettings(merge=merge))
    area = sg.MultiPoint(np.column_stack([track.x, track.y])).convex_hull.buffer(40)
    columns = result.columns
    found = find_gaps("EPSG:32615", [area], Swaths(
        result.geometries, columns["outing"], columns["pass_id"], columns["outer_m"], columns["sigma_edge_m"]),
        settings=GapSettings(min_width=0.0, min_area=0.0))
    for geometries in (result.geometries, found.geometries):
        assert min(geometry.minimum_clearance for geometry in geometries) >= 1e-4
        for code in ELSEWHERE:
            there = carried(geometries, code)
            assert all(geometry.is_valid for geometry in there), code
            unary_union(there)  # dissolves without an error


@pytest.mark.parametrize("step_m", [0.0, 0.001, 5.0])
def test_abutting_strips_leave_no_seam_in_any_crs(step_m):
    track = day(5, 33.0)
    track.range_m[:] = 30 + step_m * ((np.arange(len(track)) // 13) % 2)
    areas = {}
    for merge in ("strip", "pass"):
        result = draw_swaths(track, SwathSettings(merge=merge))
        for code in ELSEWHERE:
            back = Transformer.from_crs(code, 32615, always_xy=True).transform
            there = [transform(back, one) for one in carried(result.geometries, code)]
            passes = [unary_union([one for one, own in zip(there, result.columns["pass_id"]) if own == number])
                      for number in (1, 2, 3, 4)]
            holes = [sg.Polygon(ring).area for whole in passes for part in shapes.parts(whole)
                     for ring in part.interiors]
            assert not [hole for hole in holes if hole < 0.01], (merge, code)
            # a seam would eat away twice the margin along all of its length
            areas[merge, code] = sum(whole.buffer(-0.8).area for whole in passes)
    assert max(areas.values()) / min(areas.values()) < 1 + 1e-5
    if 0 < step_m < 0.01:  # a millimetre changes the edge by a millimetre, nothing else
        track.range_m[:] = 30.0
        plain = sum(whole.buffer(-0.8).area for whole in draw_swaths(track, SwathSettings(merge="pass")).geometries)
        assert areas["strip", 4326] == pytest.approx(plain, rel=1e-4)
