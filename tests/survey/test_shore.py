"""Scanned shore against lengths worked out by hand, and against trying every line to a grid of seen places."""
import numpy as np
import pytest
from athwart.survey.geometry import shapes, transfer
from athwart.survey.geometry.frame import Frame
from athwart.survey.model.errors import Cancelled, InputError
from athwart.survey.shore.unscanned import find_unscanned
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPoint, Point, Polygon, box
from shapely.ops import nearest_points, unary_union

LAKE = "+proj=tmerc +lat_0=45 +lon_0=10 +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m"
WATER = box(0, 0, 400, 200)


def scan(seen, shore=WATER, water=None, **options):
    seen = seen if isinstance(seen, list) else [seen]
    return find_unscanned(LAKE, seen, [shore], water, **options)


def scanned_part(result):
    """All scanned stretches in one."""
    return unary_union([g for g, s in zip(result.geometries, result.columns["status"]) if s == "scanned"])


def test_a_swath_beside_a_straight_shore_reaches_a_little_past_its_ends():
    result = scan(box(100, 3, 200, 30), reach=5)
    assert result.shore_m == pytest.approx(1200, rel=1e-7)
    assert result.shore_m - result.unscanned_m == pytest.approx(100 + 2 * np.sqrt(5**2 - 3**2), abs=0.01)
    assert result.unscanned_percent == pytest.approx(100 * (1200 - 108) / 1200, abs=0.001)
    assert list(result.columns["status"]) == ["unscanned", "scanned"]
    assert list(result.columns["shore_id"]) == [1, 2]
    assert scanned_part(result).bounds == pytest.approx((96, 0, 204, 0), abs=0.01)


def test_a_swath_out_of_reach_scans_nothing():
    assert scan(box(100, 5.01, 200, 30), reach=5).unscanned_percent == 100
    assert scan(box(100, 4.99, 200, 30), reach=5).unscanned_percent < 100


def test_a_swath_that_ends_at_the_shore_scans_it():
    result = scan(box(100, -20, 200, 30), reach=5)
    assert result.shore_m - result.unscanned_m == pytest.approx(110, abs=0.01)


def test_a_spit_hides_the_shore_behind_it():
    spit = box(50, 100, 400, 104)
    lake = WATER.difference(spit)
    result = scan(box(100, 106, 380, 150), lake, reach=10)
    near, far = LineString([(52, 104), (398, 104)]), LineString([(52, 100), (398, 100)])
    assert scanned_part(result).intersection(near.buffer(0.1)).length == pytest.approx(280 + 2 * np.sqrt(96), abs=0.3)
    assert scanned_part(result).intersection(far.buffer(0.1)).length == 0


def test_the_tip_of_a_spit_lets_sound_past_in_a_straight_line_only():
    """Ground seen north of a thin spit that ends at (100, 50); the shore lies south of it, along y = 45."""
    lake = box(0, 45, 200, 100).difference(box(0, 50, 100, 50.001))
    result = scan(box(90, 54, 94, 60), lake, reach=20)
    shore = scanned_part(result).intersection(LineString([(0.5, 45), (199.5, 45)]).buffer(0.01))
    # the steepest line past the tip comes from the corner (94, 60)
    assert shore.bounds[0] == pytest.approx(100 + 6 * 5 / 10, abs=0.02)
    # the farthest place in reach of the corner (94, 54), whose line past the tip runs flatter than that
    assert shore.bounds[2] == pytest.approx(94 + np.sqrt(20**2 - 9**2), abs=0.02)
    assert shore.length == pytest.approx(shore.bounds[2] - shore.bounds[0], abs=1e-6)


def test_an_island_casts_a_shadow_on_the_shore():
    """Ground seen at x 190 to 210, y 30 to 40; an island south of it at x 180 to 220, y 10 to 20; the shore y = 0."""
    island = box(180, 10, 220, 20)
    result = scan(box(190, 30, 210, 40), WATER.difference(island), reach=60)
    bottom = scanned_part(result).intersection(LineString([(0.5, 0), (399.5, 0)]).buffer(0.01))
    left, right = sorted(part.bounds for part in bottom.geoms)
    # from the corner (190, 40) past the island's corner (180, 20), and as far as (190, 30) reaches; mirrored about 200
    assert left[2] == pytest.approx(170, abs=0.02)
    assert left[0] == pytest.approx(190 - np.sqrt(60**2 - 30**2), abs=0.02)
    assert (right[0], right[2]) == pytest.approx((230, 210 + np.sqrt(60**2 - 30**2)), abs=0.02)


def test_the_ring_of_an_island_is_shore_and_its_ends_meet():
    lake = WATER.difference(box(180, 80, 220, 120))
    result = scan(box(150, 82, 178, 118), lake, reach=5)
    island = [g for g in result.geometries if g.bounds[0] > 179 and g.bounds[2] < 221]
    assert len(island) == 2
    assert sorted(g.length for g in island) == pytest.approx([36 + 2 * 2, 160 - 40], abs=0.02)


def test_short_unscanned_stretches_count_with_their_neighbours():
    seen = unary_union([box(100, 1, 150, 20), box(158, 1, 200, 20)])
    whole = scan(seen, reach=2)
    gap = 8 - 2 * np.sqrt(3)
    assert whole.shore_m - whole.unscanned_m == pytest.approx(100 - 8 + 4 * np.sqrt(3), abs=0.02)
    closed = scan(seen, reach=2, min_length=5)
    assert closed.unscanned_m == pytest.approx(whole.unscanned_m - gap, abs=0.02)
    assert len(closed.geometries) == 2
    assert len(whole.geometries) == 4
    assert closed.shore_m == pytest.approx(whole.shore_m)


def test_a_shore_scanned_nowhere_stays_so_however_short():
    assert scan(box(100, 50, 200, 60), min_length=1e6).unscanned_percent == 100


class TestWhatPeopleHave:
    seen = box(100, 3, 200, 30)

    def test_lines_that_close_are_water(self):
        ring = LineString(WATER.exterior.coords)
        assert scan(self.seen, ring).unscanned_m == pytest.approx(scan(self.seen).unscanned_m)
        sides = [LineString(pair) for pair in zip(WATER.exterior.coords, WATER.exterior.coords[1:])]
        result = find_unscanned(LAKE, [self.seen], sides)
        assert result.unscanned_m == pytest.approx(scan(self.seen).unscanned_m, abs=0.01)

    def test_a_ring_in_a_ring_is_an_island(self):
        lake = WATER.difference(box(90, 10, 210, 20))
        lines = [LineString(r.coords) for r in (lake.exterior, *lake.interiors)]
        seen = box(100, 25, 200, 30)
        assert find_unscanned(LAKE, [seen], lines, reach=40).unscanned_m == pytest.approx(
            scan(seen, lake, reach=40).unscanned_m, abs=0.01)

    def test_an_open_line_needs_the_water_beside_it(self):
        line = LineString([(0, 0), (400, 0)])
        with pytest.raises(InputError, match="water"):
            scan(self.seen, line)
        result = scan(self.seen, line, [WATER])
        assert result.shore_m == pytest.approx(400, rel=1e-7)
        assert result.shore_m - result.unscanned_m == pytest.approx(108, abs=0.01)

    def test_a_line_drawn_a_little_inland_is_judged_from_the_bank(self):
        line = LineString([(0, -1), (400, -1)])
        result = scan(self.seen, line, [WATER])
        assert result.shore_m - result.unscanned_m == pytest.approx(100 + 2 * np.sqrt(4**2 - 3**2), abs=0.05)

    def test_a_line_drawn_in_the_water_is_judged_where_it_lies(self):
        line = LineString([(0, 4), (400, 4)])
        result = scan(self.seen, line, [WATER])
        assert result.shore_m - result.unscanned_m == pytest.approx(110, abs=0.01)

    def test_seen_ground_on_land_does_not_count(self):
        spit = box(50, 100, 400, 104)
        assert scan(box(100, 100.5, 380, 103.5), WATER.difference(spit), reach=10).unscanned_percent == 100

    def test_a_lake_in_degrees(self):
        frame = Frame("EPSG:4326", 10.0, 45.0)
        metric = scan(self.seen)
        angular = find_unscanned("EPSG:4326", [transfer.to_crs(frame, self.seen)], [transfer.to_crs(frame, WATER)])
        assert angular.shore_m == pytest.approx(metric.shore_m, rel=1e-6)
        assert angular.unscanned_m == pytest.approx(metric.unscanned_m, abs=0.02)
        assert angular.geometries[0].bounds[0] < 11

    def test_a_lake_across_180_degrees(self):
        frame = Frame("EPSG:4326", 179.9985, 45.0)
        metric = scan(self.seen)
        angular = find_unscanned("EPSG:4326", [transfer.to_crs(frame, self.seen)], [transfer.to_crs(frame, WATER)])
        assert angular.shore_m == pytest.approx(metric.shore_m, rel=1e-6)
        assert angular.unscanned_m == pytest.approx(metric.unscanned_m, abs=0.02)

    def test_a_shore_that_crosses_itself_is_mended_and_said_so(self):
        bow_tie = Polygon([(0, 0), (40, 40), (40, 0), (0, 40)])
        result = scan(box(0, 15, 10, 25), bow_tie, reach=100)
        assert any("repaired" in note for note in result.notes)
        # sound from the western half meets land where the two halves touch
        assert all(g.bounds[2] <= 20 + 1e-6 for g, s in zip(result.geometries, result.columns["status"])
                   if s == "scanned")


class TestRefusals:
    def test_empty_layers(self):
        with pytest.raises(InputError, match="swath layer"):
            find_unscanned(LAKE, [], [WATER])
        with pytest.raises(InputError, match="shoreline layer"):
            find_unscanned(LAKE, [box(0, 0, 1, 1)], [None])
        with pytest.raises(InputError, match="shoreline layer"):
            find_unscanned(LAKE, [box(0, 0, 1, 1)], [LineString([(1, 1), (1, 1)])], [WATER])
        with pytest.raises(InputError, match="water layer"):
            find_unscanned(LAKE, [box(0, 0, 1, 1)], [WATER], [])

    @pytest.mark.parametrize("options", [{"reach": 0}, {"reach": -1}, {"reach": np.nan}, {"min_length": -1}])
    def test_values_out_of_bounds(self, options):
        with pytest.raises(InputError):
            scan(box(0, 0, 1, 1), **options)

    def test_swaths_elsewhere_are_said(self):
        result = scan(box(5000, 5000, 5100, 5100))
        assert result.unscanned_percent == 100
        assert any("No swath lies" in note for note in result.notes)

    def test_cancelling_stops_it(self):
        def step(fraction):
            raise Cancelled
        with pytest.raises(Cancelled):
            scan(box(0, 0, 1, 1), step=step)


@st.composite
def lakes(draw):
    """A rough lake of about 60 m with islands, ground seen in it, and a reach."""
    rng = np.random.default_rng(draw(st.integers(0, 100_000)))
    angle = np.sort(rng.uniform(0, 2 * np.pi, 14))
    radius = rng.uniform(12, 32, 14)
    lake = Polygon(np.column_stack([radius * np.sin(angle), radius * np.cos(angle)])).buffer(0)
    for _ in range(3):
        x, y = rng.uniform(-15, 15, 2)
        lake = lake.difference(box(x, y, x + rng.uniform(1, 12), y + rng.uniform(0.3, 4)))
    x, y = rng.uniform(-15, 10, 2)
    seen = box(x, y, x + rng.uniform(2, 10), y + rng.uniform(2, 10)).intersection(lake)
    return lake, seen, float(rng.uniform(2, 15))


def in_sight(place, lake, seen, reach, step):
    """Tries the line to every node of a grid over the seen ground, to its vertices and to its nearest place."""
    if seen.distance(place) > reach:
        return False
    x0, y0, x1, y1 = seen.bounds
    nodes = [Point(x, y) for x in np.arange(x0, x1, step) for y in np.arange(y0, y1, step)]
    nodes = [n for n in nodes if seen.covers(n)]
    nodes += list(MultiPoint([c for part in shapes.parts(seen) for c in part.exterior.coords]).geoms)
    nodes += [nearest_points(seen, place)[0]]
    water = lake.buffer(1e-7)
    return any(place.distance(n) <= reach and water.covers(LineString([place, n])) for n in nodes)


def agrees(place, scanned, lake, seen, reach):
    """Is the verdict at a place that of trying lines? Where a coarse grid finds no way, a finer one must find none."""
    verdict = not scanned.is_empty and scanned.distance(place) < 1e-6
    if in_sight(place, lake, seen, reach, 1.0):
        return verdict
    lenient = lake.buffer(0.05), seen.buffer(0.05).intersection(lake)
    return not verdict or in_sight(place, *lenient, reach + 0.1, 0.1)


@settings(max_examples=12, deadline=None)
@given(lakes())
def test_every_verdict_is_that_of_trying_all_lines(layout):
    lake, seen, reach = layout
    if seen.is_empty or seen.area < 1:
        return
    scanned = scanned_part(scan(seen, lake, reach=reach))
    for shell, holes in shapes.rings(lake):
        for ring in (shell, *holes):
            line = LineString(ring)
            for at in np.arange(0.7, line.length, 3.1):
                if not agrees(line.interpolate(at), scanned, lake, seen, reach):  # then it is one of under half a metre
                    for beside in (at - 0.5, (at + 0.5) % line.length):
                        assert agrees(line.interpolate(beside), scanned, lake, seen, reach)


@settings(max_examples=10, deadline=None)
@given(lakes(), st.floats(0.1, 10))
def test_more_reach_and_more_seen_ground_never_scan_less(layout, more):
    lake, seen, reach = layout
    if seen.is_empty or seen.area < 1:
        return
    first = scan(seen, lake, reach=reach)
    assert scan(seen, lake, reach=reach + more).unscanned_m <= first.unscanned_m + 0.05
    assert scan([seen, box(0, 0, 3, 3)], lake, reach=reach).unscanned_m <= first.unscanned_m + 0.05
    assert first.columns["length_m"].sum() == pytest.approx(first.shore_m, rel=1e-12)
    assert first.shore_m == pytest.approx(lake.length, rel=1e-6)


def test_swaths_without_a_shape_count_for_nothing():
    plain, shapeless = scan(box(100, 3, 200, 30), reach=5), scan([None, box(100, 3, 200, 30), Polygon()], reach=5)
    assert shapeless.unscanned_m == plain.unscanned_m
    with pytest.raises(InputError, match="holds no polygons"):
        scan([None, Polygon()], reach=5)
