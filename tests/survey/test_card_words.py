"""The card's places, names, order and casts in words, each against something worked out beside it."""
import functools
import re

import athwart.survey as core
import numpy as np
from athwart.survey.casts.route import route_columns, route_order, station_names

SURE = {"sigma_east_m": np.full(3, 0.8), "sigma_north_m": np.full(3, 0.8), "cov_en_m2": np.zeros(3),
        "label": np.array(["Crib", "", "Log"], object)}
EAST = np.array([500_000.0, 500_400.0, 500_200.0])


@functools.lru_cache(None)
def planned():
    return core.plan_casts("EPSG:32619", EAST, np.full(3, 4.5e6), SURE, core.StandOff(15.0, 0.0),
                           core.CastSettings(sigma_boat=1.0)).plan


def card(**given):
    html = core.cast_card(planned(), "ft", **given)
    text = re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", html, flags=re.S))
    return planned(), html, re.sub(r"\s+", " ", text)


def test_cards_follow_the_shortest_way_and_carry_the_waypoints_names():
    """Three stations on a line, 200 m apart: along it, whichever way they are numbered."""
    plan, _, text = card()
    assert route_order(plan).tolist() == [0, 2, 1] and route_columns(plan)["route_no"].tolist() == [1, 3, 2]
    assert station_names(plan) == ["S1 Crib", "S2", "S3 Log"] == route_columns(plan)["name"].tolist()
    assert text.index("1 \u00b7 Crib") < text.index("3 \u00b7 Log") < text.index("2 \u00b7 Target")


def test_what_the_card_says_of_place_error_and_casts():
    """A circle of 0.8 m a side holds 95 % within 2.4477 times that (chi-square of two freedoms): 6.4 ft. The middle
    meridian of zone 19 is 69 degrees west."""
    plan, html, text = card(written={"lake": "<Orrelmere>", "notes": "gate locked"})
    assert "Within 6 ft, 19 times of 20" in text and "\u00b0 true only" in text
    assert "69\u00b0 00.000\u2032 W" in text and "&lt;Orrelmere&gt;" in text and "gate locked" in text
    shown = [int(v) for v in re.findall(r"(\d+)\s%", re.search("<ol>.*?</ol>", html).group(0))]
    assert shown[:3] == [int(100 * v) for v in plan.patterns[0].so_far[:3]] and len(shown) <= 8
    assert f"One cast {shown[0]} %" in text  # one figure for one chance
    assert all(int(v) % 5 == 0 for v in re.findall(r"(\d+) (?:long|short|left|right)", text))  # casts scatter by 3.3 ft


def test_the_night_card_is_light_on_black_and_prints_the_other_way():
    _, html, _ = card(night=True)
    assert re.search(r"@media screen\{html,body\{background:#000;color:#f4ead9", html) and "#f4ead9" not in card()[1]
