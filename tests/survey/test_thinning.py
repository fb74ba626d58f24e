"""Swath edges thinned out, against what the plain definition of levels and bounds makes of the whole edges."""
from itertools import combinations

import numpy as np
import pytest
from athwart.survey.coverage import edge_error, thinning
from athwart.survey.coverage.cover import Swaths, cover_of_swaths
from athwart.survey.coverage.gaps import GapSettings, PassLayer, find_gaps
from athwart.survey.geometry import overlap, shapes, transfer
from athwart.survey.geometry.frame import Frame
from shapely.affinity import rotate
from shapely.geometry import LineString, MultiPolygon, Polygon, box
from shapely.ops import unary_union
from sizes import full

AREA = box(0, 0, 160, 120)
LAKE = "+proj=tmerc +lat_0=45 +lon_0=10 +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m"


def strip(rng, y, inner, outer, lean):
    """A strip along y with ragged edges of about a vertex each metre and a half."""
    x = np.arange(-30, 190, 1.5)
    near, far = (y + v + np.cumsum(rng.normal(0, 0.15, len(x))) for v in (inner, outer))
    ring = np.vstack([np.column_stack([x, near]), np.column_stack([x, far])[::-1]])
    return rotate(Polygon(ring).buffer(0), lean, origin=(80, 60))


def survey(seed, outings=2, spacing=22.0):
    """Outings of passes of two strips (polygon, sigma), some passes of one sigma and some of two."""
    rng = np.random.default_rng(seed)
    found = []
    for outing in range(outings):
        lean = rng.uniform(0, 180) if outing else 0.0
        passes = []
        for line in np.arange(-10, 140, spacing):
            sigma = rng.uniform(0.3, 1.2, 2) if rng.random() < 0.5 else np.repeat(rng.uniform(0.3, 1.2), 2)
            y, reach, blind = line + rng.normal(0, 2), rng.uniform(25, 32), rng.uniform(1, 6)
            passes.append([(strip(rng, y, blind, reach, lean), sigma[0]),
                           (strip(rng, y, -reach, -blind, lean), sigma[1])])
        found.append(passes)
    return found


def swaths_of(outings):
    """The swath layer of outings."""
    rows = [(str(o), n, polygon, sigma) for o, passes in enumerate(outings) for n, strips in enumerate(passes)
            for polygon, sigma in strips]
    outing, number, polygons, sigma = zip(*rows)
    return Swaths(list(polygons), np.array(outing, object), np.array(number, float), np.full(len(rows), 30.0),
                  np.array(sigma))


def plain_level(polygons, depth):
    """Ground in at least ``depth`` of the polygons, by going through all choices of so many."""
    polygons = [unary_union([p]) for p in polygons]
    found = []
    for chosen in combinations(polygons, depth):
        shared = chosen[0]
        for other in chosen[1:]:
            shared = shared.intersection(other)
        found.append(shared)
    return unary_union(found)


def plain_moved(outings, depth, shared, sign):
    """Bounds as they are defined: own errors, outing joined, the rest, outings joined."""
    stacks = []
    for passes in outings:
        moved = []
        for strips in passes:
            rising, kept = sorted(strips, key=lambda s: s[1]), []
            for k, (polygon, sigma) in enumerate(rising):
                needed = polygon if sign > 0 else unary_union([p for p, _ in rising[:k + 1]])
                kept.append(needed.buffer(sign * 1.645 * sigma, 8))
            moved.append(unary_union(kept))
        least = min(sigma for strips in passes for _, sigma in strips)
        rest = sign * 1.645 * (np.hypot(least, shared) - least)
        stacks.append([plain_level(moved, n).buffer(rest, 8) for n in range(1, depth + 1)])
    if len(stacks) == 1:
        return stacks[0][-1]
    # looks of two outings add up
    a, b = stacks
    found = [a[-1], b[-1]] + [a[n - 1].intersection(b[depth - n - 1]) for n in range(1, depth)]
    return unary_union(found)


def differs(a, b):
    """Area (m2) of the difference inside the area."""
    return a.intersection(AREA).symmetric_difference(b.intersection(AREA)).area


def vertices(outings):
    return sum(len(ring) for passes in outings for strips in passes for polygon in strips
               for shell, holes in shapes.rings(polygon) for ring in (shell, *holes))


def polygons_of(outings):
    return [[[polygon for polygon, _ in strips] for strips in passes] for passes in outings]


@pytest.mark.parametrize(("seed", "outings", "depth", "spacing"), [
    (1, 1, 1, 22.0), (2, 2, 1, 22.0), (3, 1, 2, 15.0), (4, 2, 2, 22.0), (5, 2, 1, 40.0), (6, 1, 1, 12.0)])
def test_bounds_of_a_ragged_survey_are_those_of_the_plain_definition(seed, outings, depth, spacing):
    made = survey(seed, outings, spacing)
    frame = Frame.around(LAKE, *np.array(AREA.exterior.coords).T)
    area = transfer.to_frame(frame, AREA)
    cover = cover_of_swaths(frame, swaths_of(made), area.bounds, depth, 1.5)
    back = {name: transfer.to_crs(frame, getattr(cover, name)) for name in ("seen", "low", "high")}
    looks = [unary_union([polygon for polygon, _ in strips]) for passes in made for strips in passes]
    assert differs(back["seen"], plain_level(looks, depth)) < 1e-4
    # a pass has one error, however many strips it came in; a buffer leaves out bends of 1 % of its distance and cuts
    # corners by 0.5 % of it
    pooled = [[[(polygon, float(np.sqrt(np.mean(np.square([sigma for _, sigma in strips]))))) for polygon, _ in strips]
               for strips in passes] for passes in made]
    for name, sign in (("low", -1), ("high", 1)):
        assert differs(back[name], plain_moved(pooled, depth, 1.5, sign)) < 2e-5 * AREA.area
    assert back["low"].intersection(AREA).difference(back["seen"]).area < 1e-6
    assert back["seen"].intersection(AREA).difference(back["high"]).area < 1e-6


@pytest.mark.parametrize(("seed", "outings", "depth", "spacing"), [
    (11, 1, 1, 14.0), (12, 2, 1, 14.0), (13, 3, 1, 14.0), (14, 1, 2, 12.0), (15, 1, 3, 8.0), (16, 2, 2, 8.0)])
def test_thinned_edges_leave_every_level_as_it_was(seed, outings, depth, spacing):
    made = survey(seed, outings, spacing)
    thin = thinning.thinned(polygons_of(made), depth, 2.0, 1.5)
    assert vertices(thin) < 0.9 * vertices(polygons_of(made))
    every, after = ([unary_union(strips) for passes in found for strips in passes]
                    for found in (polygons_of(made), thin))
    for before, now in zip(overlap.levels(every, depth), overlap.levels(after, depth)):
        assert before.symmetric_difference(now).area < 1e-6
    moved = [[[(polygon, sigma) for polygon, (_, sigma) in zip(*pair)] for pair in zip(*both)]
             for both in zip(thin, made)]
    for sign in (-1, 1):
        for before, now in zip(edge_error.moved_levels(made, depth, 1.5, sign),
                               edge_error.moved_levels(moved, depth, 1.5, sign)):
            assert before.symmetric_difference(now).area < 2e-5 * before.area


@pytest.mark.parametrize(("seed", "outings", "looks", "spacing"), full([(23, 2, 2, 26.0)], [
    (21, 1, 1, 26.0), (22, 2, 1, 34.0), (23, 2, 2, 26.0)]))
def test_gaps_are_the_same_as_from_whole_edges(monkeypatch, seed, outings, looks, spacing):
    made = survey(seed, outings, spacing)
    lines = PassLayer([LineString([(-30, y), (190, y)]) for y in np.arange(-10, 140, spacing)],
                      *(np.array(column) for column in zip(*(("0", float(n), 40.0, 8.0) for n in range(len(made[0]))))))
    areas = [box(0, 0, 90, 120), box(80, 0, 160, 120)]
    found = [find_gaps(LAKE, areas, swaths_of(made), passes=lines,
                       settings=GapSettings(required_looks=looks, position_error=1.0),
                       exclude=[box(30, 30, 45, 45)])]
    monkeypatch.setattr(thinning, "thinned", lambda outings, *_: outings)
    found.append(find_gaps(LAKE, areas, swaths_of(made), passes=lines,
                           settings=GapSettings(required_looks=looks, position_error=1.0),
                           exclude=[box(30, 30, 45, 45)]))
    quick, plain = found
    assert len(plain.geometries) > 2
    for name in ("kind", "looks", "certain"):
        assert list(quick.gaps[name]) == list(plain.gaps[name])
    for name in ("area_m2", "width_m", "length_m"):
        np.testing.assert_allclose(quick.gaps[name], plain.gaps[name], rtol=1e-6)
    for name, column in plain.areas.items():
        bound = name in ("worst_pct", "best_pct")
        np.testing.assert_allclose(quick.areas[name], column, rtol=1e-9, atol=2e-3 if bound else 1e-9)
    assert (quick.covered_m2, quick.gap_m2) == pytest.approx((plain.covered_m2, plain.gap_m2), rel=1e-9)
    bounds = (plain.worst_percent, plain.best_percent)
    assert (quick.worst_percent, quick.best_percent) == pytest.approx(bounds, abs=2e-3)
    assert quick.worst_percent <= quick.covered_percent <= quick.best_percent


def test_nothing_else_saw_it_so_nothing_is_thinned():
    made = polygons_of(survey(3, 1, 70.0))
    thin = thinning.thinned(made, 2, 1.0, 1.0)
    assert all(a is b for was, now in zip(made[0], thin[0]) for a, b in zip(was, now))


def test_both_strips_of_one_pass_are_one_look():
    edge = [(x, 30 + 0.2 * (x % 2)) for x in range(101)]
    ragged = Polygon([(0, 0), *edge, (100, 0)])
    whole = box(-50, -50, 150, 150)
    same = thinning.thinned([[[ragged, whole], [box(0, 200, 100, 230)]]], 2, 0.5, 0.0)[0][0]
    assert same[0] is ragged
    other = thinning.thinned([[[ragged, whole], [whole]]], 2, 0.5, 0.0)[0][0]
    assert vertices([[[other[0]]]]) < 0.3 * vertices([[[ragged]]])


def test_a_hole_and_the_edge_around_an_islet_of_unseen_ground_stay():
    angle = np.linspace(0, 2 * np.pi, 200)[:-1]
    ring = np.column_stack([50 + 20 * np.cos(angle), 50 + 20 * np.sin(angle)])
    holed = Polygon([(0, 0), (100, 0), (100, 100), (0, 100)], [ring])
    beside = MultiPolygon([box(-20, -20, 120, 44), box(-20, 56, 120, 120)])
    thin = thinning.thinned([[[holed], [beside]]], 1, 0.5, 0.0)[0]
    assert vertices([[thin[0]]]) < vertices([[[holed]]])
    before, after = holed.union(beside), thin[0][0].union(thin[1][0])
    assert before.symmetric_difference(after).area < 1e-9
    for distance in (-0.5, 0.5):
        assert abs(holed.buffer(distance).union(beside.buffer(distance)).area
                   - thin[0][0].buffer(distance).union(thin[1][0].buffer(distance)).area) < 0.01


def test_no_passes():
    assert thinning.thinned([], 1, 1.0, 1.0) == []
