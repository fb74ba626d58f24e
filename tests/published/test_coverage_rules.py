"""Coverage rules of agencies, laid out as surveys and judged by the tool: spacing, overlap, 200 %, systematic gaps."""
import numpy as np
import pytest
from athwart.survey.beams.ranges import blind_range
from athwart.survey.coverage.cover import Swaths
from athwart.survey.coverage.gaps import GapSettings, find_gaps
from shapely.geometry import box

LAKE = "+proj=tmerc +lat_0=45 +lon_0=10 +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m"


def lines(spacing, reach, first=0.0, inner=0.0, count=12, number=0):
    """Rows (pass, strip) of parallel lines along x, y = first + i spacing, both sides from ``inner`` to ``reach``."""
    rows = []
    for i in range(count):
        y = first + i * spacing
        rows += [(number + i, box(-300, y + inner, 1300, y + reach)),
                 (number + i, box(-300, y - reach, 1300, y - inner))]
    return rows


def judge(rows, area, looks=1):
    number, strips = zip(*rows)
    swaths = Swaths(list(strips), np.array(["a"] * len(rows), object), np.array(number, float),
                    np.full(len(rows), 50.0), np.full(len(rows), 0.75))
    return find_gaps(LAKE, [area], swaths, settings=GapSettings(required_looks=looks, min_width=0, min_area=0))


# NOAA OCS Field Procedures Manual (2014) 2.5.2.1: lines 1.6 times the range scale apart, overlap 20 % of the swath
@pytest.mark.parametrize("range_scale", [50.0, 100.0])
def test_spacing_of_1_6_range_scales_overlaps_by_a_fifth_of_the_swath(range_scale):
    spacing = 1.6 * range_scale
    rows = lines(spacing, range_scale)
    area = box(0, 3 * spacing, 1000, 6 * spacing)
    assert judge(rows, area).covered_percent == pytest.approx(100, abs=1e-9)
    twice = judge(rows, area, 2)
    overlap = twice.covered_m2 / (3 * 1000)  # there are three overlaps in three spacings
    assert overlap == pytest.approx(0.2 * 2 * range_scale, rel=1e-6)


# USGS Open-File Report 2008-1181: swath 200 m, lines about 180 m apart, second set offset by about 90 m for 200 %
def test_a_second_set_of_lines_half_way_gives_200_percent():
    first, second = lines(180, 100), lines(180, 100, first=90, number=100)
    area = box(0, 540, 1000, 1080)
    once = judge(first, area, 2)
    assert once.covered_m2 / (3 * 1000) == pytest.approx(0.1 * 200, rel=1e-6)  # 10 % of the swath
    assert judge(first + second, area, 2).covered_percent == pytest.approx(100, abs=1e-9)


# Field Procedures Manual 2.5.3.1.2: the sets are offset because the strip under the boat and the outer range are weak
def test_the_second_set_fills_the_strips_under_the_boat():
    height = 0.2 * 100  # the most of the band of 8 to 20 % of the range scale, common to NOAA's specifications
    inner = float(blind_range(height, 20))
    first, second = (lines(160, 100, start, inner, number=n) for start, n in ((0, 0), (80, 100)))
    area = box(0, 480, 1000, 960)
    alone = judge(first, area)
    assert alone.gap_m2 == pytest.approx(1000 * 2 * inner * 3, rel=1e-6)
    assert max(alone.gaps["width_m"]) == pytest.approx(2 * inner, rel=0.01)
    assert judge(first + second, area).covered_percent == pytest.approx(100, abs=1e-9)


# IHO S-44 ed. 6.0.0 sec. 3.5, footnote: 8 degree beam, lines 3 depths apart, cross lines at 10 times that: 5.1 %
def test_the_example_of_systematic_partial_coverage():
    depth = 10.0
    half = depth * np.tan(np.radians(4))
    area = box(0, 0, 30 * depth, 30 * depth)
    along = [(i, box(-50, y - half, 500, y + half)) for i, y in enumerate(np.arange(1.5, 30, 3) * depth)]
    across = (100, box(15 * depth - half, -50, 15 * depth + half, 500))
    found = judge([*along, across], area)
    assert found.covered_percent / 100 == pytest.approx(0.051, abs=5e-4)
    assert found.covered_percent / 100 == pytest.approx(2 * np.tan(np.radians(4)) * (1 / 3 + 1 / 30), abs=5e-4)
    # gaps no wider than the larger of three depths and 25 m
    assert max(found.gaps["width_m"]) <= max(3 * depth, 25)
    assert max(found.gaps["width_m"]) == pytest.approx(3 * depth - 2 * half, rel=0.01)
