"""Labels of the report's map lie beside each other: boxes are measured anew from the drawing, and counted where two
of them meet.

A letter's width is that of DejaVu Sans, a wide font (advance of a digit 1303 of 2048 units, bold 1425; values from
memory of its metrics)."""
import itertools
import re

import numpy as np
import pytest
import shapely.geometry as sg
from athwart.survey.report import mapsvg
from athwart.survey.report.labels import Label, place_labels

DIGIT, BOLD_DIGIT, CAPITAL = 1303 / 2048, 1425 / 2048, 0.73
SIZES = dict(mapsvg.LETTERS)


def boxes(svg, name):
    """{words: box of its letters} of one of the two sets of labels; a height is that of capitals and digits."""
    size, found = SIZES[name], {}
    drawn = re.search(rf'<g class="{name}".*?</g>', svg, re.S).group(0)
    for x, y, look, words in re.findall(
            r'<text x="([\d.]+)" y="([\d.]+)" text-anchor="middle"([^>]*)fill="#22303a"[^>]*>([^<]+)<', drawn):
        half = len(words) * size * (BOLD_DIGIT if "700" in look else DIGIT) / 2
        assert words not in found
        found[words] = float(x) - half, float(y) - CAPITAL * size, float(x) + half, float(y)
    return found


def meet(a, b):
    return min(a[2], b[2]) > max(a[0], b[0]) and min(a[3], b[3]) > max(a[1], b[1])


def overlaps(found):
    return sum(meet(a, b) for a, b in itertools.combinations(found, 2))


def drawing(dots, places):
    layers = [mapsvg.MapLayer("ground", mapsvg.Ink("#ddd8cc"), [sg.box(0, 0, 940, 940)]),
              mapsvg.MapLayer("Target", mapsvg.Ink("#f0c000", radius=5), [sg.Point(p) for p in dots],
                              [f"{i}" for i in range(100, 100 + len(dots))]),
              mapsvg.MapLayer("", mapsvg.Ink(radius=0), [sg.Point(p) for p in places],
                              [f"{i}" for i in range(200, 200 + len(places))])]
    return mapsvg.draw_map(layers, "t")


@pytest.mark.parametrize("size", SIZES)
def test_labels_of_places_close_together_do_not_meet(size):
    """Two gaps 8 units apart, and a gap beside a target: written on their places they would lie on each other."""
    svg = drawing([(500, 500)], [(300, 300), (308, 302), (520, 502)])
    found = boxes(svg, size)
    assert sorted(found) == ["100", "200", "201", "202"] and overlaps(found.values()) == 0


@pytest.mark.parametrize("size, count", [("desk", 60), ("phone", 25)])
def test_a_crowd_of_labels_has_no_overlap_and_covers_no_target(size, count):
    rng = np.random.default_rng(4)
    dots, places = (300 + 340 * rng.random((n, 2)) for n in (count // 2, count - count // 2))
    svg = drawing(dots, places)
    found = list(boxes(svg, size).values())
    letters = SIZES[size]
    plain = [(x - 1.1 * letters, 940 - y - 0.4 * letters, x + 1.1 * letters, 940 - y + 0.4 * letters)
             for x, y in (*dots, *places)]
    assert len(found) == count and overlaps(plain) > 8 and overlaps(found) == 0
    discs = [(float(x) - 3, float(y) - 3, float(x) + 3, float(y) + 3)
             for x, y in re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)"', svg)]
    assert not any(meet(box, disc) for box in found for disc in discs)


def test_a_label_that_had_to_go_farther_off_has_a_line_to_its_place_and_a_name_has_none():
    frame = 0.0, 0.0, 400.0, 400.0
    crowd = [Label(200 + 3 * i, 200, f"{i}", 0.0, True) for i in range(8)]
    placed = place_labels([*crowd, Label(200, 201, "North basin", tied=False)], 14, frame)
    lined = [one for one in placed if one.line is not None]
    assert lined and placed[-1].line is None
    for one in lined:
        assert one.line[:2] == (one.label.x, one.label.y)
        left, top, right, bottom = one.box
        assert left <= one.line[2] <= right and top <= one.line[3] <= bottom
    for one in placed:
        assert one.box[0] >= 0 and one.box[1] >= 0 and one.box[2] <= 400 and one.box[3] <= 400


def test_without_room_every_label_is_still_drawn_inside():
    placed = place_labels([Label(5, 5, "62", bold=True) for _ in range(9)], 14, (0.0, 0.0, 40.0, 40.0))
    assert len(placed) == 9 and all(one.box[0] >= 0 and one.box[3] <= 40 for one in placed)
