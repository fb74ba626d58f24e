"""Layers of somebody's own in each other's place: said where they are, and nowhere else."""
import pytest
from athwart.survey import FillSettings, ReachRule, fill_gaps, find_unscanned, ground_of
from athwart.survey.geometry.mixed_up import mixed_up
from shapely.geometry import Point, box
from shapely.ops import unary_union

UTM = "EPSG:32619"
LAKE = Point(500000, 4500000).buffer(150, 16)
STRIPS = [LAKE.intersection(box(499850, y, 500150, y + 25)) for y in range(4499880, 4500120, 30)]


def warned(swaths, shore, water=None):
    return [text for text in find_unscanned(UTM, swaths, shore, water).notes if "swapped" in text]


@pytest.mark.parametrize("joined", [False, True])
def test_a_lake_given_for_the_strips_is_said_to_be_swapped(joined):
    strips = [unary_union(STRIPS)] if joined else STRIPS
    assert len(warned([LAKE], strips)) == 1 and not warned(strips, [LAKE])
    assert len(warned([LAKE], strips, [LAKE])) == 1  # with the water beside it, too
    assert "swaths" in warned([LAKE], strips)[0] and "shoreline" in warned([LAKE], strips)[0]


def test_a_lake_given_twice_is_no_success():
    notes = find_unscanned(UTM, [LAKE], [LAKE]).notes
    assert "given twice" in notes[0] and "swaths" in notes[0]
    assert not any("given twice" in text for text in find_unscanned(UTM, STRIPS, [LAKE]).notes)
    assert not any("given twice" in text for text in find_unscanned(UTM, STRIPS, [LAKE.exterior]).notes)


def test_what_is_seen_from_shore_to_shore_and_islands_are_no_such_mistake():
    pond = Point(500000, 4500000).buffer(30, 16)
    across = [box(499950, y, 500050, y + 24) for y in range(4499960, 4500040, 20)]
    assert unary_union(across).contains(pond) and not warned(across, [pond])
    islands = [Point(500000 + x, 4500000).buffer(4, 16) for x in (-60, 60)]
    assert not warned([LAKE], islands, [LAKE.difference(unary_union(islands))])
    assert not mixed_up([], STRIPS) and not mixed_up([LAKE], [])


def test_gaps_given_for_the_lake_are_said_to_be_swapped():
    gaps = [box(499960, 4500000 + y, 500040, 4500014 + y) for y in (-30, 30)]
    lake = box(499940, 4499940, 500060, 4500060)
    told = fill_gaps(ground_of(UTM, gaps, depth=5.0), [lake], FillSettings(ReachRule(40.0))).notes
    assert "swapped" in told[0] and "gaps" in told[0] and "area" in told[0]
    assert not mixed_up([lake], gaps) and not mixed_up([LAKE], [LAKE.envelope.buffer(50)])  # drawn roughly round it


def test_ground_outside_the_water_is_counted_and_a_lake_given_for_the_area_named():
    part = box(499950, 4499950, 500050, 4500050)
    assert ground_of(UTM, [part], water=[LAKE], depth=5.0).notes == []
    turned, = ground_of(UTM, [LAKE], water=[part], depth=5.0).notes
    assert "if the two were swapped" in turned
    assert float(turned.split()[0]) == pytest.approx(LAKE.area - part.area, rel=2e-3)  # on the ground, not on the grid
    beside, = ground_of(UTM, [box(499700, 4499950, 500050, 4500050)], water=[LAKE], depth=5.0).notes
    assert "show the same lake" in beside and "swapped" not in beside
