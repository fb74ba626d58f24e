"""The cast plan and its card: geometry against plain trigonometry, and what a person reads."""
import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from athwart.survey.casts.card import cast_card
from athwart.survey.casts.casting import circle_probability
from athwart.survey.casts.from_places import Boat, StandOff, plan_casts
from athwart.survey.casts.plan import FAR, IN_REACH, MANY, CastSettings, CastTargets, Stations, clock, plan_in_frame
from athwart.survey.model.errors import InputError
from athwart.survey.model.schemas import CAST_LINES, CAST_STATIONS, names
from shapely.geometry import box


def quarry(places, sd=1.0, status="bottom", labels=None):
    """Targets with round errors."""
    places, n = np.array(places, float), len(places)
    covariance = np.broadcast_to(sd ** 2 * np.eye(2), (n, 2, 2)).copy()
    return CastTargets(places[:, 0], places[:, 1], covariance, np.arange(1, n + 1),
                       np.array(labels or [f"spot {i}" for i in range(n)], object), np.full(n, status, object),
                       np.full(n, 6.0))


def boat(*places, heading=0.0):
    return Stations(np.array([p[0] for p in places], float), np.array([p[1] for p in places], float),
                    np.full(len(places), heading), "boat")


@pytest.mark.parametrize("angle, words", [(0, "12:00"), (90, "3:00"), (180, "6:00"), (270, "9:00"), (15, "12:30"),
                                          (345, "11:30"), (359, "12:00"), (-90, "9:00"), (52, "1:30"), (67.4, "2:00"),
                                          (367.6, "12:30"), (720, "12:00")])
def test_clock_directions(angle, words):
    assert clock(angle) == words


def test_distance_bearings_and_clock():
    """A target 12 m east and 16 m north of a boat that heads 083: 20 m, 36.87 degrees, over the port bow."""
    plan = plan_in_frame(quarry([(12, 16)]), boat((0, 0), heading=83.0), CastSettings(variation=-4.0))
    assert plan.distance_m[0] == pytest.approx(20) and plan.bearing_deg[0] == pytest.approx(36.8699, abs=1e-4)
    lines, ends = plan.lines()
    assert set(lines) == set(names(CAST_LINES))
    assert lines["magnetic_deg"][0] == pytest.approx(40.8699, abs=1e-4) and lines["clock"][0] == "10:30"
    assert ends[0] == pytest.approx(np.array([[0, 0], [12, 16]]), abs=1e-9)
    assert lines["cast_no"].tolist() == list(range(1, len(ends) + 1))
    assert np.hypot(*(ends[:, 1] - ends[:, 0]).T) == pytest.approx(lines["distance_m"])


def test_convergence_turns_grid_into_true():
    plan = plan_in_frame(quarry([(0, 20)]), boat((0, 0)), CastSettings(), convergence_deg=1.5)
    assert plan.bearing_deg[0] == pytest.approx(1.5)
    assert np.isnan(plan.lines()[0]["magnetic_deg"]).all()


def test_the_boats_own_fix_is_common_to_all_casts():
    settings = CastSettings(sigma_boat=2.0, sigma_range=1.0, sigma_angle=3.0, hit_radius=1.5)
    plan = plan_in_frame(quarry([(0, 20)]), boat((0, 0)), settings)
    total = np.diag([1 + 4 + (20 * math.radians(3)) ** 2, 1 + 4 + 1])
    assert plan.patterns[0].alone[0] == pytest.approx(circle_probability(total, 1.5), abs=2e-4)
    sure = plan_in_frame(quarry([(0, 20)]), boat((0, 0)), CastSettings(sigma_boat=0.0))
    assert sure.patterns[0].needed < plan.patterns[0].needed


def test_out_of_reach_and_over_fifty_are_said_and_kept():
    plan = plan_in_frame(quarry([(0, 20), (0, 31), (20, 0)], sd=1.0), boat((0, 0)), CastSettings(max_cast=30.0))
    assert plan.reach.tolist() == [IN_REACH, FAR, IN_REACH]
    lines, _ = plan.lines()
    far = lines["target_id"] == 2
    assert far.sum() == 1 and np.isnan(lines["hit_pct"][far]).all() and np.isnan(lines["casts_needed"][far]).all()
    vague = plan_in_frame(quarry([(0, 20)], sd=15.0), boat((0, 0)), CastSettings())
    assert vague.reach[0] == MANY and (vague.lines()[0]["reach"] == MANY).all() and len(vague.lines()[1]) == 50


def test_each_target_is_cast_at_from_the_nearest_boat():
    plan = plan_in_frame(quarry([(0, 20), (100, 10)]), boat((0, 0), (100, 0), (500, 500)), CastSettings())
    assert plan.station.tolist() == [0, 1]
    columns = plan.station_columns()
    assert {*columns, "name", "route_no", "cast_at"} == set(names(CAST_STATIONS))
    assert columns["targets"].tolist() == [1, 1, 0]
    assert columns["nearest_m"][:2] == pytest.approx([20, 10]) and np.isnan(columns["nearest_m"][2])


def test_stations_lie_to_windward_with_the_bow_to_the_wind():
    """Wind from the west: the boat lies 18 m west of its target and casts over the stern."""
    place = quarry([(50, 60)])
    stations = Stations.to_windward(place, 18.0, 270.0)
    assert (stations.east[0], stations.north[0]) == pytest.approx((32, 60))
    plan = plan_in_frame(place, stations, CastSettings())
    assert plan.bearing_deg[0] == pytest.approx(90) and plan.lines()[0]["clock"][0] == "6:00"
    assert plan.station_columns()["kind"][0] == "stand-off" and plan.station_columns()["heading_deg"][0] == 270


@pytest.mark.parametrize("values, words", [
    ({"sigma_boat": -1.0}, "sigma_boat"), ({"hit_radius": 0.0}, "hit_radius"), ({"max_cast": float("nan")}, "max_cast"),
    ({"sigma_angle": 80.0}, "sigma_angle"), ({"variation": 200.0}, "variation")])
def test_settings_that_cannot_be_are_refused(values, words):
    with pytest.raises(InputError, match=words):
        CastSettings(**values)


def test_nothing_to_cast_at_or_from():
    with pytest.raises(InputError, match="no target"):
        plan_in_frame(quarry(np.empty((0, 2))), boat((0, 0)), CastSettings())
    with pytest.raises(InputError, match="stations holds no place"):
        plan_in_frame(quarry([(0, 1)]), boat(), CastSettings())
    unknown = quarry([(0, 1)])
    unknown.covariance[:] = np.nan
    with pytest.raises(InputError, match="standard deviations"):
        plan_in_frame(unknown, boat((0, 0)), CastSettings())
    with pytest.raises(InputError, match="stand_off"):
        Stations.to_windward(quarry([(0, 1)]), 0.0, 90.0)


def test_errors_that_cannot_be_are_refused_by_target():
    known = quarry([(0, 10), (0, 20)])
    known.covariance[1] = [[4.0, 6.0], [6.0, 9.0]]  # wholly one way: still an error that can be
    assert len(plan_in_frame(known, boat((0, 0)), CastSettings()).patterns) == 2
    known.covariance[1] = [[4.0, 6.1], [6.1, 9.0]]
    with pytest.raises(InputError, match="Target 2: cov_en_m2"):
        plan_in_frame(known, boat((0, 0)), CastSettings())


def text_of(html):
    """What stands on the page, without markup, blanks of every kind as one."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", html, flags=re.S)))


def test_the_card_gives_the_bottom_at_the_target_where_a_grid_knows_it():
    """The targets' depths are 6 m, 19.685 ft: rounded down, so that the water is nowhere shallower than said."""
    place = quarry([(12, 16), (0, 20)])
    place.bottom_m = np.array([4.99, np.nan])
    plan = plan_in_frame(place, boat((0, 0)), CastSettings())
    for unit, first, second in (("m", "bottom 4 m", "6 m under the boat when seen"),
                                ("ft", "bottom 16 ft", "19 ft under the boat when seen")):
        words = text_of(cast_card(plan, unit))
        assert words.count(first) == words.count(second) == 1, words


def test_the_card_says_what_there_is_to_know():
    place = quarry([(12, 16), (0, 60), (-5, 12)], labels=["Crib", "Far log", ""])
    place.status[2] = "side unsure"
    plan = plan_in_frame(place, boat((0, 0), heading=83.0), CastSettings(variation=-4.0))
    words = text_of(cast_card(plan, "ft"))
    assert "66 ft" in words and "10:30" in words and "037\u00b0 true" in words and "041\u00b0 magnetic" in words
    assert f"{plan.patterns[0].needed} casts for 90 %" in words and "19 ft under the boat when seen" in words
    assert "Out of reach" in words and "Side unsure" in words and "not for navigation" in words
    assert "Far log" in words and "3 \u00b7 Target" in words


def test_units_of_the_card():
    plan = plan_in_frame(quarry([(0, 18.288)]), boat((0, 0)), CastSettings())
    for unit, shown in (("ft", "60 ft"), ("yd", "20 yd"), ("m", "18 m")):
        assert shown in text_of(cast_card(plan, unit))


def test_water_column_targets_are_called_that():
    plan = plan_in_frame(quarry([(0, 18)], status="water column"), boat((0, 0)), CastSettings())
    assert "Water column" in text_of(cast_card(plan, "m")) and plan.lines()[0]["status"][0] == "water column"


def test_names_cannot_break_the_page_and_nothing_is_fetched():
    plan = plan_in_frame(quarry([(0, 18)], labels=["<script>alert(1)</script> & \"co\""]), boat((0, 0)), CastSettings())
    html = cast_card(plan, "m", "<b>Title</b>")
    assert "<script" not in html and "&lt;script&gt;" in html and "<b>Title" not in html
    assert not re.search(r"(src|href)=", html)
    assert set(re.findall(r"https?://[^\"' ]+", html)) <= {"http://www.w3.org/2000/svg"}
    for svg in re.findall(r"<svg.*?</svg>", html, flags=re.S):
        ET.fromstring(svg)


def test_the_sketch_is_north_up():
    """The boat lies south-west of its target: below and to the left of it in the drawing."""
    svg = ET.fromstring(re.search(r"<svg.*?</svg>", cast_card(plan_in_frame(quarry([(12, 16)]), boat((0, 0)),
                                                                         CastSettings()), "m"), flags=re.S)[0])
    line = svg.find("{http://www.w3.org/2000/svg}line")
    x1, y1, x2, y2 = (float(line.get(key)) for key in ("x1", "y1", "x2", "y2"))
    assert x2 - x1 == pytest.approx(12 * (y1 - y2) / 16, rel=0.01) and x2 > x1 and y2 < y1
    circles = svg.findall("{http://www.w3.org/2000/svg}circle")
    scale = (x2 - x1) / 12
    assert float(circles[0].get("r")) == pytest.approx(1.5 * scale, abs=0.1)


def test_the_long_axis_of_the_ellipse_points_where_it_should():
    place = quarry([(0, 20)])
    place.covariance[0] = np.array([[9.0, 0], [0, 1.0]])  # long to the east
    html = cast_card(plan_in_frame(place, boat((0, 0)), CastSettings()), "m")
    ellipse = ET.fromstring(re.search(r"<ellipse[^>]*/>", html)[0])
    assert float(ellipse.get("ry")) == pytest.approx(3 * float(ellipse.get("rx")), rel=0.01)
    assert ellipse.get("transform").startswith("rotate(90.0 ")


# ---- water, limits and casts that are drawn back

def test_no_station_ashore_or_behind_an_island():
    """Wind from the north; the shore runs 5 m north of target 1, an island lies between target 2 and windward, target 3
    has open water. Truth by shapely's own intersection."""
    from shapely.geometry import LineString, Point, Polygon
    water = Polygon([(-200, -200), (200, -200), (200, 105), (-200, 105)], [[(-6, 6), (6, 6), (6, 9), (-6, 9)]])
    places = quarry([(0, 100), (0, 0), (100, 0)])
    stations = Stations.to_windward(places, 15.0, 0.0, water=water)
    plan = plan_in_frame(places, stations, CastSettings(), water=water)
    for i in range(3):
        at, target = Point(stations.east[i], stations.north[i]), Point(places.east[i], places.north[i])
        assert water.contains(at) and water.contains(LineString([at, target]))
        assert at.distance(target) == pytest.approx(15)
    assert stations.swung[2] == 0 and stations.castable.all()
    # the least turn that will do, in steps of ten degrees: 15 cos a < 5, and past the corner at (6, 6)
    assert abs(stations.swung[0]) == 80 and abs(stations.swung[1]) == 50
    lines, ends = plan.lines()
    assert all(water.covers(LineString(pair)) for pair in ends)
    without = Stations.to_windward(places, 15.0, 0.0)
    assert not water.contains(Point(without.east[0], without.north[0]))  # what would have been


def test_a_boat_on_land_is_refused_and_one_behind_an_island_is_passed_over():
    from shapely.geometry import LineString, Polygon
    water = Polygon([(-200, -200), (200, -200), (200, 200), (-200, 200)], [[(-6, 6), (6, 6), (6, 9), (-6, 9)]])
    places = quarry([(0, 0)])
    near, far = (0, 15), (-18, 0)
    plan = plan_in_frame(places, boat(near, far), CastSettings(), water=water)
    assert plan.station[0] == 1 and plan.reach[0] == IN_REACH
    assert all(water.covers(LineString(pair)) for pair in plan.lines()[1])
    plan = plan_in_frame(places, boat(near), CastSettings(), water=water)
    assert (plan.reach[0], plan.limit[0]) == ("no clear water", "water") and plan.patterns[0] is None
    assert "No clear water" in cast_card(plan)
    with pytest.raises(InputError, match="point 2 lies outside water"):
        plan_in_frame(places, boat(far, (0, 7)), CastSettings(), water=water)


def test_it_says_which_limit_stopped_it():
    from shapely.geometry import Polygon
    vague = quarry([(0, 28)], sd=8.0)
    plan = plan_in_frame(vague, boat((0, 0)), CastSettings(max_cast=30))
    assert (plan.reach[0], plan.limit[0]) == (MANY, "longest cast")  # half of where it may be lies beyond 30 m
    plan = plan_in_frame(vague, boat((0, 0)), CastSettings(max_cast=90))
    assert plan.limit[0] == "50 casts"
    assert "takes fewer casts: plan again" in cast_card(plan) and "takes fewer" not in cast_card(plan_in_frame(
        quarry([(0, 20)]), boat((0, 0)), CastSettings()))
    drawn = plan_in_frame(vague, boat((0, 0)), CastSettings(max_cast=90, method="retrieve"))
    assert drawn.reach[0] == IN_REACH or drawn.patterns[0].so_far[-1] > plan.patterns[0].so_far[-1]
    assert "takes fewer" not in cast_card(drawn)
    water = Polygon([(-90, -90), (1, -90), (1, 90), (-90, 90)])  # half of where it may be lies on the eastern shore
    plan = plan_in_frame(quarry([(0, 28)], sd=4.0), boat((0, 0)), CastSettings(max_cast=90), water=water)
    assert plan.limit[0] == "water" and plan.lines()[0]["limit"][0] == "water"
    plan = plan_in_frame(quarry([(0, 60)]), boat((0, 0)), CastSettings())
    assert (plan.reach[0], plan.limit[0]) == (FAR, "longest cast")


def swept(rng, casts, covariance, toward, radius, aims, sigma_range, sigma_angle):
    """Share of targets that one of the casts drawn back to the boat passes by, after each; first principles."""
    target = toward + rng.multivariate_normal([0, 0], covariance, casts)
    hit, shares = np.zeros(casts, bool), []
    for aim in aims:
        landing = toward + aim
        angle = np.arctan2(*landing) + rng.normal(0, sigma_angle, casts)
        reach = np.hypot(*landing) + rng.normal(0, sigma_range, casts)
        way = np.column_stack([np.sin(angle), np.cos(angle)])
        along = np.clip((target * way).sum(axis=1), 0, reach)  # the nearest place of the way to the target
        hit |= np.hypot(*(target - along[:, None] * way).T) <= radius
        shares.append(hit.mean())
    return np.array(shares)


@pytest.mark.parametrize("distance, radius, sd", [(20.0, 1.5, 2.0), (12.0, 0.7, 4.0), (25.0, 2.5, 1.0)])
def test_casts_drawn_back_hit_as_often_as_simulated_ones(distance, radius, sd):
    """100,000 casts drawn back straight; four standard errors. tests/proof/casting.py does it with 1,000,000."""
    places = quarry([(0.6 * distance, 0.8 * distance)], sd=sd)
    settings = CastSettings(sigma_boat=1.0, hit_radius=radius, max_cast=60, method="retrieve")
    plan = plan_in_frame(places, boat((0, 0)), settings)
    made = plan.patterns[0]
    covariance = places.covariance[0] + np.eye(2)
    drawn = swept(np.random.default_rng(4), 100_000, covariance, np.array([0.6, 0.8]) * distance, radius, made.aims,
                  settings.sigma_range, math.radians(settings.sigma_angle))
    assert np.abs(drawn - made.so_far).max() < 0.0065
    landing = plan_in_frame(places, boat((0, 0)), CastSettings(sigma_boat=1.0, hit_radius=radius, max_cast=60))
    assert len(made.aims) < len(landing.patterns[0].aims)  # a way sweeps more than a place
    assert "whose way back to the boat" in cast_card(plan)


def test_a_cast_drawn_back_goes_no_farther_than_the_longest_or_the_water():
    from shapely.geometry import Polygon
    places = quarry([(0, 20)], sd=3.0)
    plan = plan_in_frame(places, boat((0, 0)), CastSettings(method="retrieve", max_cast=22))
    assert (plan.lines()[0]["distance_m"] <= 22 + 1e-6).all()
    water = Polygon([(-90, -90), (90, -90), (90, 21), (-90, 21)])
    plan = plan_in_frame(places, boat((0, 0)), CastSettings(method="retrieve", max_cast=60), water=water)
    assert (plan.lines()[1][:, 1, 1] <= 21 + 1e-6).all()


def placed(count, boat, labels=None, **given):
    """plan_casts at ``count`` targets 3 m apart, north of one another; ``boat`` as there."""
    n = np.arange(count)
    columns = {"sigma_east_m": 0.5 + 0.0 * n, "sigma_north_m": 0.5 + 0.0 * n, "cov_en_m2": 0.0 * n, "target_id": n + 11,
               "label": np.full(count, "", object) if labels is None else np.array(labels, object)}
    return plan_casts("EPSG:32619", np.full(count, 500_000.0), 4_500_000.0 + 3.0 * n, columns, boat, **given)


def far_boat(east):
    return Boat(np.array([500_000.0 + east]), np.array([4_500_000.0]), np.zeros(1))


@pytest.mark.parametrize("count, few", [(5, "11 log, 12, 13, 14, 15."), (6, "11 log, 12, 13, 14, 15 and 1 more.")])
def test_of_many_targets_out_of_reach_five_are_named(count, few):
    made = placed(count, far_boat(500.0), ["log"] + [""] * (count - 1), settings=CastSettings(max_cast=30.0))
    [said] = [str(one) for one in made.warnings]
    assert said.startswith(f"{count} target(s) are out of reach") and said.endswith(few)


def test_a_station_that_land_keeps_from_windward_is_told():
    """Wind from the east, the water ends 8 m east of the target: a boat 20 m off cannot lie there."""
    assert placed(1, far_boat(10.0)).warnings == []
    free = placed(1, StandOff(20.0, 90.0), water=box(499_900, 4_499_900, 500_100, 4_500_100))
    assert free.warnings == []
    assert free.stations()[1] == pytest.approx([500_020.0], abs=0.1)
    lee = placed(1, StandOff(20.0, 90.0), water=box(499_900, 4_499_900, 500_008, 4_500_100))
    [said] = [str(one) for one in lee.warnings]
    assert said.startswith("1 station(s) cannot lie to windward") and "those of 11" in said
    assert lee.stations()[1][0] < 500_008
