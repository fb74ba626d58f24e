import math

import numpy as np
import pytest
from athwart.survey.targets.picknames import read_name, read_ranges, read_sides


@pytest.mark.parametrize("name, side, number, unit, label", [
    ("P 45", -1, 45, "", "P 45"),
    ("stbd 32ft log", 1, 32, "ft", "log"),
    ("R 60 stump", 1, 60, "", "stump"),
    ("left 40'", -1, 40, "ft", "left 40'"),
    ("Left 40\u2032 tree", -1, 40, "ft", "tree"),
    ("P45", -1, 45, "", "P45"),
    ("45P", -1, 45, "", "45P"),
    ("45 ft R", 1, 45, "ft", "45 ft R"),
    ("P45ft stump", -1, 45, "ft", "stump"),
    ("port 12.5m", -1, 12.5, "m", "port 12.5m"),
    ("12,5 m stb big rock", 1, 12.5, "m", "big rock"),
    ("L-40", -1, 40, "", "L-40"),
    ("s: 40 yd", 1, 40, "yd", "s: 40 yd"),
    ("WP012 P45 wreck?", -1, 45, "", "WP012 wreck?"),
    ("starboard 20 fathoms", 1, 20, "fathom", "starboard 20 fathoms"),
    ("Rock, right, 33.5 FT", 1, 33.5, "ft", "Rock"),
    ("log r 7", 1, 7, "", "log"),
    ("STUMP-P-40", -1, 40, "", "STUMP"), ("P-40 STUMP", -1, 40, "", "STUMP"), ("P 45 #2", -1, 45, "", "#2"),
    ("P30 2 stumps", -1, 30, "", "2 stumps"), ("PT 45", -1, 45, "", "PT 45"), ("P 045", -1, 45, "", "P 045"),
    ("Backbord 12,5 m", -1, 12.5, "m", "Backbord 12,5 m"), ("Steuerbord 30", 1, 30, "", "Steuerbord 30"),
    ("links 20 Baum", -1, 20, "", "Baum"),
    ("rechts 20 m", 1, 20, "m", "rechts 20 m"), ("babor 12", -1, 12, "", "babor 12"),
    ("estribor 12", 1, 12, "", "estribor 12"), ("babord 30", -1, 30, "", "babord 30"),
    ("b\u00e2bord 8 m", -1, 8, "m", "b\u00e2bord 8 m"), ("tribord 30", 1, 30, "", "tribord 30"),
    ("left bank P 45", -1, 45, "", "left bank"), ("port side 30", -1, 30, "", "side"),
])
def test_names_that_say_one_side_and_one_range(name, side, number, unit, label):
    read = read_name(name)
    assert (read.side, read.range, read.unit, read.label) == (side, number, unit, label)
    assert read.no_side == read.no_range == ""


@pytest.mark.parametrize("name, side, number", [
    ("stump", "no side", "no number"), ("45", "no side", None), ("left", None, "no number"),
    ("P R60", "two sides", None), ("R60L", "two sides", None), ("port 45 starboard", "two sides", None),
    ("30 ft off left bank", "no side", None), ("20 m right shore", "no side", None),
    ("P 1.234,5", None, "two ways"), ("1,234.5 ft P", None, "two ways"), ("P 45 ft 30 m", "several", "several numbers"),
    ("P30 s20", "several", "several numbers"), ("P30ft 12 ft tall", "several", "several numbers"),
    ("port 45 rock 2", None, "several numbers"), ("port 12:30", None, "several"),
    ("30 S of dock", "no side", None), ("30 rock S", "no side", None), ("012 port", None, "no number"),
    ("5'6\" left", None, "no number"), ("P 1e3", "no side", "no number"), ("P45x", "no side", "no number"),
    ("", "no side", "no number"),
])
def test_names_that_can_be_read_two_ways_or_none_are_not_guessed(name, side, number):
    read = read_name(name)
    if side is not None:
        assert read.side == 0 and side in read.no_side and (not name or name in read.no_side)
    if number is not None:
        assert math.isnan(read.range) and number in read.no_range


def test_sides_of_a_field():
    values = ["port", "Starboard", "P", "s", "L", "r", "left", "RIGHT", -1, 1, -1.0, "+1", "-1", "stbd 32ft log"]
    side, reason = read_sides(values)
    assert side.tolist() == [-1, 1, -1, 1, -1, 1, -1, 1, -1, 1, -1, 1, -1, 1]
    assert not any(reason)


def test_sides_that_are_none_say_so():
    side, reason = read_sides([None, "", "x", "up 45", 0, 2])
    assert not side.any() and all(reason)
    assert "'x'" in reason[2] and "port or starboard" in reason[2] and "'up 45'" in reason[3]


def test_ranges_of_a_field_keep_the_unit_of_the_name():
    metres, label, reason = read_ranges([45, 45.5, "45", " 45,5 ", "P 45 ft log", "P 45", "45 m", 10], "yd")
    assert metres.tolist() == pytest.approx([45 * .9144, 45.5 * .9144, 45 * .9144, 45.5 * .9144, 45 * .3048, 45 * .9144,
                                             45, 9.144])
    assert label[4] == "log" and not any(reason)


def test_ranges_that_are_none_say_so():
    metres, _, reason = read_ranges([None, "", float("nan"), float("inf"), "stump", "1.234,5", "1,234.5"], "m")
    assert not np.isfinite(metres).any() and all(reason)
