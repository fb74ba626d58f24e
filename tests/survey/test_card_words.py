"""The card's places, names, order and casts in words, each against something worked out beside it."""
import functools
import re

import athwart.survey as core
import numpy as np
import pytest
from athwart.survey.casts.plan import CastSettings, CastTargets, Stations, plan_in_frame
from athwart.survey.casts.remedy import remedy
from athwart.survey.casts.route import route_columns, route_order, station_names
from shapely.geometry import LineString, Point, box

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
    assert route_columns(plan)["cast_at"].tolist() == ["1 Crib", "2", "3 Log"]
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


def test_casts_thrown_as_the_card_words_them_hit_as_often_as_it_says():
    """Its words are rounded to feet that a caster can tell; 200 000 targets, thrown at from the boat with those words.
    Four standard errors of a share are 0.0045, and the card rounds down by up to 0.01."""
    rng, casts, foot = np.random.default_rng(3), 200_000, 0.3048
    _, html, _ = card()
    told = re.findall(r"<li>(.*?) <small>(\d+)\s%", re.search("<ol>.*?</ol>", html).group(0))
    target = rng.normal(0, np.hypot(0.8, 1.0), (casts, 2))  # beyond and right of where it is said to lie
    hit = np.zeros(casts, bool)
    for words, chance in told:
        value = {word: float(number) * foot for number, word in re.findall(r"(\d+) (\w+)", words)}
        beyond = 15.0 + value.get("long", 0.0) - value.get("short", 0.0)
        right = value.get("right", 0.0) - value.get("left", 0.0)
        reach = np.hypot(beyond, right) + rng.normal(0, 1.0, casts)
        angle = np.arctan2(right, beyond) + rng.normal(0, np.radians(3.0), casts)
        hit |= np.hypot(reach * np.cos(angle) - 15.0 - target[:, 0], reach * np.sin(angle) - target[:, 1]) <= 1.5
        assert -0.0055 <= hit.mean() - float(chance) / 100 <= 0.0155, (words, chance, hit.mean())
    assert len(told) >= 5


def test_the_night_card_is_light_on_black_and_prints_the_other_way():
    _, html, _ = card(night=True)
    assert re.search(r"@media screen\{html,body\{background:#000;color:#f4ead9", html) and "#f4ead9" not in card()[1]


def stuck(**more):
    """Boat at the origin, the target 20 m north of it in a place that is long from east to west; a spit lies between
    the boat and the western half of it."""
    quarry = CastTargets.of(np.zeros(1), np.array([20.0]), {
        "sigma_east_m": np.array([6.0]), "sigma_north_m": np.array([1.0]), "cov_en_m2": np.zeros(1),
        "target_id": np.array([7])})
    boat = Stations(np.zeros(1), np.zeros(1), np.zeros(1), "boat")
    return plan_in_frame(quarry, boat, CastSettings(sigma_boat=1.0, **more), water=LAKE)


LAKE = box(-90, -90, 90, 90).difference(box(-60, 7, -0.5, 10))


def shares_hit(plan, boat, casts=40_000):
    """Share of targets hit after each of the casts planned, thrown one by one; none of their ways crosses land."""
    rng, found, settings = np.random.default_rng(8), plan.patterns[0], plan.settings
    target = np.array([0.0, 20.0]) + rng.normal(0, 1, (casts, 2)) * np.hypot([6.0, 1.0], settings.sigma_boat)
    hit, shares = np.zeros(casts, bool), []
    for aim in found.aims:
        to = np.array([0.0, 20.0]) + aim - boat
        assert LAKE.covers(LineString([boat, boat + 0.999 * to]))
        angle = np.arctan2(*to) + rng.normal(0, np.radians(settings.sigma_angle), casts)
        thrown = boat + (np.hypot(*to) + rng.normal(0, settings.sigma_range, casts))[:, None] * \
            np.column_stack([np.sin(angle), np.cos(angle)])
        hit |= np.hypot(*(target - thrown).T) <= settings.hit_radius
        shares.append(hit.mean())
    return np.array(shares)


def test_where_land_stops_the_casts_the_card_says_whither_to_move_and_what_that_brings():
    plan = stuck(hit_radius=3.5)
    assert (plan.reach[0], plan.limit[0]) == ("over 50 casts", "water")
    told = remedy(plan, 0, lambda metres: f"{metres:.1f} m")
    distance, towards, casts = map(float, re.fullmatch(
        r"Move the boat ([\d.]+) m towards (\d+)\u00b0 true: (\d+) casts then reach 90 %\.", told).groups())
    there = distance * np.array([np.sin(np.radians(towards)), np.cos(np.radians(towards))])
    assert LAKE.contains(Point(there))
    moved = plan_in_frame(plan.quarry, Stations(*there[:, None], np.zeros(1), "boat"), plan.settings, water=LAKE)
    shares = shares_hit(moved, there)
    assert moved.patterns[0].needed == pytest.approx(casts, abs=1)  # the bearing is told in whole degrees
    assert np.abs(shares - moved.patterns[0].so_far).max() < 0.0101  # four standard errors
    assert shares[-1] > 0.89 and plan.patterns[0].so_far[-1] < 0.85
    assert "Move the boat" in core.cast_card(plan, "m")


def test_out_of_reach_the_card_says_how_many_casts_it_takes_from_nearer():
    plan = stuck(hit_radius=2.5, max_cast=12.0)
    told = remedy(plan, 0, lambda metres: f"{metres:.1f} m")
    near, = re.findall(r"Lie ([\d.]+) m nearer", told)
    boat = np.array([0.0, float(near)])
    assert boat[1] >= 8.0 and (told.endswith("casts then reach 90 %.") or re.search(r": \d+ % after 50 casts\.$", told))
