"""The range table: published figures, a march along slopes, and a page that says what the table says."""
import re

import numpy as np
import pytest
from athwart.survey.ensonify.detection import DetectionSettings
from athwart.survey.model import palette, schemas
from athwart.survey.model.errors import InputError
from athwart.survey.planning.range_page import range_page, range_plot
from athwart.survey.planning.range_rule import RangeRule, choose_range
from athwart.survey.planning.range_table import TableSettings, range_table, reach_on_slope


def cell(table, depth, range_m, name):
    at = np.flatnonzero(np.isclose(table.columns["depth_m"], depth) & np.isclose(table.columns["range_m"], range_m))
    return table.columns[name][at[0]]


def test_the_flat_figures_are_those_of_the_handbooks():
    """Green 2004 p. 80 for the reach; NOAA's band of 8 to 20 % of the range; c / 2R at 1500 m/s."""
    rule = RangeRule(1.0, detection=DetectionSettings(ping_share=1.0), sound_speed_mps=1500)
    table = range_table([3, 4, 10, 30], [15, 30, 50, 100], TableSettings(rule))
    assert cell(table, 10, 50, "reach_slant_m") == pytest.approx(48.98979486, abs=1e-8)
    assert cell(table, 30, 50, "reach_slant_m") == pytest.approx(40.0)
    assert cell(table, 10, 50, "reach_subtract_m") == 40.0 and cell(table, 10, 50, "water_pct") == 20.0
    assert [cell(table, d, 50, "band") for d in (3, 4, 10, 30)] == ["long", "good", "good", "short"]
    assert cell(table, 30, 15, "band") == "no bottom" and np.isnan(cell(table, 30, 15, "reach_slant_m"))
    assert cell(table, 3, 50, "effective_m") == 37.5 and cell(table, 3, 30, "effective_m") == 30
    assert [cell(table, 4, r, "ping_limit_hz") for r in (15, 30, 50, 100)] == [50, 25, 15, 7.5]
    assert cell(table, 4, 50, "fastest_mps") == pytest.approx(5.0)
    # resolution = slant resolution R / G (Advances in Sonar Technology, eq. 5): 0.1 m samples at slant 50 over 10 m
    far, slant = cell(table, 10, 50, "far_m"), np.hypot(cell(table, 10, 50, "far_m"), 10)
    assert cell(table, 10, 50, "resolution_far_m") == pytest.approx(0.1 * slant / far)
    assert cell(table, 10, 50, "resolution_near_m") == pytest.approx(0.1 / np.sin(np.radians(20)))
    # FPM 2014 2.5.3.1.2: lines 1.6 reaches apart share 20 % of the swath
    assert cell(table, 10, 50, "spacing_m") == pytest.approx(1.6 * far)


# the quadratic R^2 = G^2 + (H + G tan b)^2, solved beforehand
@pytest.mark.parametrize("slope, reach", [(5, 47.94285566), (-5, 49.67933743), (10, 46.56572749), (-10, 49.98592893),
                                          (0, 48.98979486)])
def test_reach_on_a_slope(slope, reach):
    assert reach_on_slope(50, 10, slope) == pytest.approx(reach, abs=1e-6)


def test_slopes_agree_with_a_march_to_the_shore():
    """Steps of a centimetre outwards until the slant range is used up or the bottom comes out of the water."""
    ground = np.arange(0, 120, 0.01)
    for range_m in (5, 20, 60):
        for depth in (1.0, 4.0, 15.0):
            for slope in (-40, -20, -3, 8, 30):
                bed = depth + ground * np.tan(np.radians(slope))
                fits = (np.hypot(ground, bed) <= range_m) & (bed >= 0)
                reach = reach_on_slope(range_m, depth, slope)
                if fits.any() and ground[fits][-1] > 0.02:
                    assert reach == pytest.approx(ground[fits][-1], abs=0.011), (range_m, depth, slope)
                elif not fits.any():
                    assert np.isnan(reach)


def test_each_depth_has_one_choice_and_a_reason():
    table = range_table([2, 5, 9], [10, 20, 40], TableSettings(RangeRule(0.5, 1.5)))
    chosen = table.columns["chosen"]
    assert chosen.reshape(3, 3).sum(axis=1).tolist() == [1, 1, 1]
    assert table.columns["range_m"][chosen].tolist() == [choose_range(d, 0.5, 1.5, [10, 20, 40]).range_m
                                                         for d in (2, 5, 9)]
    assert all(bool(why) == bool(c) for why, c in zip(table.columns["why"], chosen))
    assert set(table.columns) == {field.name for field in schemas.RANGE_TABLE}
    assert {len(v) for v in table.columns.values()} == {9}


def test_the_page_shows_every_figure_in_the_unit_asked_for():
    table = range_table(np.array([8, 15]) * 0.3048, np.array([30, 100]) * 0.3048, TableSettings(RangeRule(0.6, 1.3)),
                        "ft", "mph")
    page = range_page(table, "ft", "mph")
    plain = re.sub(r"<[^>]+>", " ", page).replace("\u00a0", " ")
    assert "8 ft" in plain and "100 ft" in plain and " mph" in plain and not re.search(r"\d m\b", plain)
    assert all(choice.why in plain for choice in table.choices)
    assert plain.count("not for navigation") == 1
    svg = range_plot(table, "ft")
    drawn = [float(w) for w in re.findall(r'width="([\d.]+)" height="17', svg)]
    assert max(drawn) == pytest.approx(480 - 66 - 14, abs=0.2)  # the longest reach fills the plot
    assert not [s for s in re.findall(r'font-size="([\d.]+)"', svg) if float(s) < 15]  # 11 px and more on 390


def test_ground_seen_has_the_colour_it_has_on_every_map():
    filled = set(re.findall(r'<rect[^>]* fill="(#\w+)"', range_plot(range_table([4.0], [20.0, 40.0]))))
    assert {palette.BED, palette.SEEN, palette.UNSEEN} < filled and palette.BLUE not in filled
    assert filled <= {palette.BED, palette.SEEN, palette.UNSEEN, "#fff"}


@pytest.mark.parametrize("bad, field", [
    ({"depths_m": []}, "depths_m"), ({"ranges_m": [-5]}, "ranges_m"), ({"ranges_m": [np.nan]}, "ranges_m"),
    ({"depths_m": np.arange(1, 60), "ranges_m": np.arange(5, 65)}, "depths_m")])
def test_lists_that_are_none(bad, field):
    with pytest.raises(InputError) as refused:
        range_table(**{"depths_m": [4], "ranges_m": [20], **bad})
    assert refused.value.field == field


@pytest.mark.parametrize("bad", [{"overlap_pct": 100}, {"overlap_pct": -1}, {"slope_deg": 50}, {"samples": 0}])
def test_settings_that_are_none(bad):
    with pytest.raises(InputError) as refused:
        TableSettings(**bad)
    assert refused.value.field == next(iter(bad))
