"""The guide's own numbers and words: figures worked out anew by plain geometry, templates, examples of our own."""
import csv
import math
import pathlib
import re

import numpy as np
import pytest
from athwart.survey.model.times import times_of_day

ROOT = pathlib.Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
GUIDE = sorted(DOCS.glob("*.md"))
FOOT, MILE = 0.3048, 1609.344  # international foot and mile, exact by definition


def page(name):
    """Text of a page, its line breaks and stars taken out."""
    return re.sub(r"\s+", " ", (DOCS / f"{name}.md").read_text(encoding="utf-8").replace("**", ""))


def lines(name, pattern):
    """Groups of the whole lines of a page that have a pattern."""
    return re.findall(f"^{pattern}$", (DOCS / f"{name}.md").read_text(encoding="utf-8"), re.M)


def reach(slant, depth, fall):
    """Ground range on a bottom that falls by ``fall`` a metre, found by walking out."""
    ground = np.linspace(0, slant, 400_001)
    return float(ground[np.hypot(ground, depth + fall * ground) <= slant].max())


def test_the_table_of_ranges_is_the_triangle():
    rows = lines("range", r"\| (\d+) (ft|m) \| (\d+) \2 \| (\d+) \2 \| ([\d.]+) \2 \|")
    assert len(rows) == 4
    for slant, _, depth, rule, truth in rows:
        assert int(rule) == int(slant) - int(depth)
        assert float(truth) == pytest.approx(reach(int(slant), int(depth), 0.0), abs=0.006)


def test_the_rule_of_thumb_promises_too_much_down_the_slopes_that_the_page_names():
    found = re.search(r"with (\d+) m set over (\d+) m of water where the bottom falls more than 1 in (\d+), over "
                      r"(\d+) m where it falls more than 1 in (\d+)", page("range"))
    slant, *pairs = map(int, found.groups())
    for depth, run in zip(pairs[::2], pairs[1::2]):
        assert reach(slant, depth, 0.98 / run) > slant - depth > reach(slant, depth, 1.02 / run)
        assert reach(slant, depth, 0.0) > slant - depth


def test_the_band_is_short_up_a_slope_by_what_the_page_says():
    assert "1.5 % at 10 degrees and 6 % at 20" in page("record")
    ground = np.linspace(0, 20, 200_001)
    for degrees, percent in ((10, 1.5), (20, 6.0)):
        nearest = np.hypot(ground, 10 - ground * math.tan(math.radians(degrees))).min()
        assert 100 * (1 - nearest / 10) == pytest.approx(percent, abs=0.05)


def test_the_trunk_lies_as_far_back_as_the_page_says():
    found = re.search(r"by (\d+) seconds ago. At ([\d.]+) miles an hour it lies (\d+) feet behind the antenna; at "
                      r"(\d+) miles an hour, (\d+) feet", page("distance"))
    seconds, *said = map(float, found.groups())
    for speed, feet in zip(said[::2], said[1::2]):
        assert round(speed * MILE / 3600 * seconds / FOOT) == feet


def placed(course, out, mount=0.0, latency=0.0, forward=0.0, speed=2.0):
    """(east, north) error of an object ``out`` metres to starboard (port if negative) of a boat whose offsets nobody
    corrected; angles in degrees. Latency: the position is where the boat was that long ago."""
    a, m = math.radians(course), math.radians(mount)
    ahead, right = np.array([math.sin(a), math.cos(a)]), np.array([math.cos(a), -math.sin(a)])
    turned = right * math.cos(m) - ahead * math.sin(m)
    return out * right - (latency * speed + forward) * ahead - out * turned


@pytest.mark.parametrize("offset", [{"latency": 0.7}, {"forward": -1.5}])
def test_the_same_line_back_turns_latency_and_lever(offset):
    there, back = placed(0, 15, **offset), placed(180, -15, **offset)
    assert np.allclose(there, -back) and np.hypot(*there) > 1


def test_the_same_line_back_does_not_turn_the_mount_but_the_other_side_does():
    assert "does not: it moves the object to the same wrong place both times" in page("return")
    there, back, beyond = (placed(c, out, mount=3) for c, out in ((0, 15), (180, -15), (0, -15)))
    assert np.allclose(there, back) and there[1] == pytest.approx(-beyond[1]) and abs(there[1]) > 0.7


def test_the_start_of_range_and_speed_keeps_its_own_rules():
    rows = lines("choose-range", r"\| (\d+) m \| (\d+) m \| ([\d.]+) m/s \|")
    assert len(rows) == 3
    for depth, slant, speed in (map(float, row) for row in rows):
        assert 5 * depth <= slant <= 12.5 * depth
        # 3 pings a metre, half of 1500 m/s over there and back
        assert 0.85 < float(speed) / (0.5 * 1500 / (2 * slant) / 3) <= 1.001


def test_the_circle_by_the_boat_is_squeezed_as_the_page_says():
    assert "lost nearly half of its width" in page("distortions")
    near, far = (math.hypot(mid + 3, 6) - max(math.hypot(mid - 3, 6), 6) for mid in (4.4, 18.8))
    assert 0.5 < near / 6 < 0.6 and far / 6 > 0.85


@pytest.mark.parametrize("name, needed", [("settings-template", {"from_time", "range"}),
                                          ("picks-template", {"time", "side", "range", "depth", "label"})])
def test_templates_have_the_fields_of_the_notes(name, needed):
    with open(DOCS / f"{name}.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows and set(rows[0]) == needed and all(all(row.values()) for row in rows)
    noon = 12 * 3600.0
    assert np.isfinite(times_of_day([next(iter(row.values())) for row in rows], noon)).all()
    assert all(f"`{field}`" in page("notes") for field in needed) and f"({name}.csv)" in page("notes")


def test_beyond_forty_metres_the_beam_is_wider_than_a_metre():
    assert "A longer range than 40 m shows no more of it there: the beam has grown too wide" in page("choose-range")
    assert 30 < 1 / (2 * math.tan(math.radians(1.5 / 2))) < 40  # beam of 1.5 degrees, the tools' default
    assert 12.5 * 4 > 40  # over 4 m of water grazing comes later


def test_the_crib_of_the_pictures_is_as_large_as_said():
    from tools.docs.captions import HALVES
    side = re.search(r"This crib is (\d+) by (\d+) m", HALVES["measureobjects"][1])
    with open(ROOT / "sample_project" / "truth" / "objects.csv", encoding="utf-8", newline="") as file:
        crib = next(row for row in csv.DictReader(file) if row["label"] == "crib")
    assert [float(crib["length_m"]), float(crib["width_m"])] == [float(side[1]), float(side[2])]


@pytest.mark.parametrize("path", [*GUIDE, ROOT / "README.md", ROOT / "sample_project" / "README.md"],
                         ids=lambda path: path.parent.name + "-" + path.stem)
def test_words_are_plain_and_examples_our_own(path):
    """The trade's figures for the rule of thumb and for distance back serve as checks in one test each, not here."""
    text = re.sub(r"\s+", " ", path.read_text(encoding="utf-8").replace("**", ""))
    for word in (r"\bmend", r"\btold\b", "added (to it )?twice", "is no scanning", "off by it as a heading",
                 r"\b(25|1\.5|80) (ft|feet)\b", r"\b(3|15) (mph|miles)\b"):
        assert not re.search(word, text), word


def test_the_cautions_stand_where_a_boat_is_sent_out():
    for text in (page("return"), re.sub(r"\s+", " ", (ROOT / "README.md").read_text(encoding="utf-8"))):
        for word in ("not for navigation", "shoals", "grapple near cables", "looters"):
            assert word in text
    assert "Nobody steers and marks alone" in (ROOT / "README.md").read_text(encoding="utf-8")
    assert "nobody steers and marks alone" in page("setup")
