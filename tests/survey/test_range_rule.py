"""The range to run: held against the judgement of the map of bottom seen, cell by cell, and against published rules."""
import numpy as np
import pytest
from athwart.survey.ensonify.detection import DetectionSettings, ping_rate, smallest_object
from athwart.survey.model.errors import InputError
from athwart.survey.planning.range_rule import RANGES_M, RangeRule, choose_range, fastest_speed, usable_reach

FULL = DetectionSettings(ping_share=1.0)


# NOAA FPM 2014 2.5.3: three pings a metre; c / (2 R) at 1500 m/s
@pytest.mark.parametrize("range_m, speed", [(50, 5.0), (75, 3.3333), (100, 2.5), (150, 1.6667)])
def test_fastest_speed_of_three_pings_a_metre(range_m, speed):
    rule = RangeRule(1.0, detection=FULL, sound_speed_mps=1500)
    assert fastest_speed(range_m, rule) == pytest.approx(speed, abs=1e-4)


# NOAA HSSD 2021 6.1.2.2 as quoted in a public digest: below 8 % of the range the effective range is 12.5 heights
@pytest.mark.parametrize("range_m, depth, effective", [(50, 3, 37.5), (30, 3, 30), (50, 4, 50)])
def test_effective_range_is_at_most_12_5_heights(range_m, depth, effective):
    reach = usable_reach(range_m, depth, seen_only=True)
    assert np.hypot(reach.far, depth) == pytest.approx(effective)
    assert reach.limit == ("grazing" if effective < range_m else "range")


@pytest.mark.parametrize("size", [0.3, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("depth", [1.5, 4.0, 12.0])
@pytest.mark.parametrize("range_m", [10.0, 30.0, 60.0])
def test_the_strip_is_the_one_in_which_the_map_of_bottom_seen_detects(size, depth, range_m):
    """Ground every centimetre, judged by the ensonification's own rule at a speed that hits often enough."""
    rule = RangeRule(size)
    ground = np.arange(0, range_m, 0.01)
    slant = np.hypot(ground, depth)
    least = smallest_object(0.0, slant, depth, range_m, rule.detection)
    shown = (least <= size) & (slant <= 12.5 * depth) & (ground >= depth * np.tan(np.radians(20)))
    reach = usable_reach(range_m, depth, rule)
    assert reach.width == pytest.approx(shown.sum() * 0.01, abs=0.021)
    if shown.any():
        assert reach.near == pytest.approx(ground[shown][0], abs=0.011)
        assert reach.far == pytest.approx(ground[shown][-1], abs=0.011)


@pytest.mark.parametrize("size, speed", [(1.0, None), (0.5, 1.5), (0.3, 1.0), (1.0, 3.0)])
def test_no_range_of_the_list_shows_more(size, speed):
    for depth in (1.0, 2.0, 3.3, 5.0, 9.0, 15.0):
        choice = choose_range(depth, size, speed)
        rule = RangeRule(size, speed)
        widths = {r: float(usable_reach(r, depth, rule).width) for r in RANGES_M
                  if speed is None or size * float(ping_rate(r, np.nan, rule.detection)) / 3 >= speed}
        best = max(widths.values())
        assert choice.shows == (best > 0)
        if best > 0:
            assert widths[choice.range_m] >= 0.99 * best
            assert not [r for r in widths if r < choice.range_m and widths[r] >= 0.99 * best]
            assert f"{choice.range_m:g} m shows" in choice.why


def test_why_names_what_ends_it():
    assert "grows wider than the object" in choose_range(4.0, 0.5, 1.0).why
    assert "grazes" in choose_range(2.0, 2.0).why
    assert "slow down to" in choose_range(4.0, 0.5, 2.5, [20.0, 40.0]).why
    fast = choose_range(4.0, 0.3, 10.0)
    assert not fast.shows and "hit often enough" in fast.why and fast.fastest_mps < 10
    small = choose_range(20.0, 0.1, 1.0)
    assert not small.shows and "None of these ranges shows" in small.why and small.smallest_m > 0.1
    assert choose_range(4.0, 0.5, 1.5, unit="ft", speed_unit="mph").why.count(" ft") > 2


def test_a_line_of_many_depths_takes_the_mean_width():
    depths = np.array([2.0, 2.0, 2.0, 8.0, np.nan])
    widths = {r: usable_reach(r, depths[:4]).width.mean() for r in RANGES_M}
    choice = choose_range(depths)
    assert widths[choice.range_m] >= 0.99 * max(widths.values())
    assert choice.depths == pytest.approx(choice.range_m / 3.5)


@pytest.mark.parametrize("bad, field", [({"depth_m": 0.0}, "depth_m"), ({"depth_m": np.nan}, "depth_m"),
                                        ({"depth_m": 4, "ranges_m": []}, "ranges_m"),
                                        ({"depth_m": 4, "object_m": 0}, "object_m"),
                                        ({"depth_m": 4, "speed_mps": -1}, "speed_mps")])
def test_refusals_name_the_argument(bad, field):
    with pytest.raises(InputError) as refused:
        choose_range(**bad)
    assert refused.value.field == field
