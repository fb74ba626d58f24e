"""The sheet for the boat: what stands on it, read back from the page."""
import re

import numpy as np
import pytest
from athwart.survey.model.palette import INK
from athwart.survey.planning.sheet import PlanOnPaper, plan_sheet
from shapely.geometry import LineString, box


def plan(count, **more):
    """Lines there and back, 20 m apart, each after a turn."""
    ways, rows = [], []
    for k in range(count):
        a, b = ((0, 20 * k), (300, 20 * k)) if k % 2 == 0 else ((300, 20 * k), (0, 20 * k))
        if k:
            ways.append(LineString([ways[-1].coords[-1], a]))
            rows.append(("turn", f"L{k + 1}", 0.0, 20.0, np.nan, np.nan))
        ways.append(LineString([a, b]))
        rows.append(("line", f"L{k + 1}", 90.0 if k % 2 == 0 else 270.0, 300.0, 30.0, 5.0))
    kind, line, azimuth, length, range_m, depth = (np.array(v) for v in zip(*rows))
    columns = {"kind": kind, "line_id": line, "azimuth_deg": azimuth, "length_m": length, "range_m": range_m,
               "depth_m": depth, "speed_mps": np.full(len(rows), 2.0), "hours": length / 2 / 3600}
    return PlanOnPaper(columns, ways, [box(-50, -50, 350, 20 * count + 50)], [], [], **more)


def cells(page):
    body = page[page.index("<tbody>"):page.index("</tbody>")]
    return [[re.sub(r"<[^>]+>", "", cell) for cell in re.findall(r"<t[hd][^>]*>.*?</t[hd]>", row)]
            for row in re.findall(r"<tr>.*?</tr>", body, re.DOTALL)]


def test_every_line_is_a_row_with_its_turn():
    rows = cells(plan_sheet(plan(3), "m", "m/s"))
    assert [row[0] for row in rows] == ["L1", "L2", "L3"]
    assert rows[0][1:4] == ["30", "2.0", "090\u00b0"] and rows[1][3] == "270\u00b0"
    # eastwards, the next line lies to the north: to port; westwards it lies to starboard
    assert [row[-2] for row in rows] == ["port, 20 to L2", "starboard, 20 to L3", "end"]


def test_feet_knots_and_the_compass():
    rows = cells(plan_sheet(plan(2, variation_deg=4.0), "ft", "kn"))
    assert rows[0][1:5] == ["98", "3.9", "090\u00b0", "086\u00b0"] and rows[0][5] == "984"


def test_names_are_escaped_and_the_caution_is_there():
    page = plan_sheet(plan(1), title="<b>", remarks=["a < b"])
    assert "<b>" not in page and "a &lt; b" in page and page.count("not for navigation") == 1
    assert "script" not in page and "http" not in page.replace("http://www.w3.org/2000/svg", "")


@pytest.mark.parametrize("count, size", [(5, "few"), (12, "some"), (25, "many")])
def test_more_lines_print_smaller(count, size):
    assert f'<div class="{size}" style=' in plan_sheet(plan(count))


def test_the_map_comes_close_to_the_lines_wherever_the_lake_ends():
    """Lines 300 m long in a lake of 6 km fill most of the drawing, 1,000 units wide; their place is shown small."""
    lines = plan(4)
    for lake, inset in ((box(-10, -10, 310, 70), 0), (box(-3000, -2000, 3000, 2000), 1)):
        page = plan_sheet(PlanOnPaper(lines.columns, lines.ways, [lake], [], []))
        drawn = re.search(rf'<g[^>]*stroke="{INK}" stroke-width="3.2"[^>]*>.*?</g>', page, re.DOTALL).group()
        across = [float(x) for x in re.findall(r"[ML](-?[\d.]+) ", drawn)]
        assert max(across) - min(across) > 600
        assert page.count('class="inset"') == inset
