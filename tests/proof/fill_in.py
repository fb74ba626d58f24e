"""Fill-in lines after passes were lost: how much of what can be closed they close, and how long they are.

36 lakes of about 1.5 km2 (seeds 0 to 35, none left out; islands in every other), searched by the planner's own lines; a
quarter of the passes is lost at random. The gaps are what only those passes would have shown. Closing is told by
rectangles beside each line (tests/survey/test_fill_in.py); the length stands beside that of the lost lines run again,
in the best order, ways between them included.
"""
import pathlib
import sys

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "plugins"))
sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "survey"))
import clone

clone.load()
import test_fill_in as small  # noqa: E402
from athwart.survey.planning.clear_water import ClearWater  # noqa: E402
from athwart.survey.planning.fill_in import FillSettings, plan_fill_in  # noqa: E402
from athwart.survey.planning.polygons import ground_of  # noqa: E402
from athwart.survey.planning.route import run_of  # noqa: E402
from athwart.survey.planning.survey_plan import LinePlanSettings, plan_lines  # noqa: E402
from shapely.geometry import Point, Polygon  # noqa: E402
from shapely.ops import unary_union  # noqa: E402

LAKES = 36


def lake(seed):
    """Shore of one to five lobes, and an island where the seed is odd."""
    rng = np.random.default_rng(seed)
    a = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    r = 600 * (0.55 + sum(size * np.cos(n * a + rng.uniform(0, 6)) for n, size in ((2, 0.12), (3, 0.09), (5, 0.05))))
    shore = Polygon(np.column_stack([1.4 * r * np.sin(a), r * np.cos(a)]))
    return shore.difference(Point(rng.uniform(-100, 100, 2)).buffer(40)) if seed % 2 else shore


def searched(seed):
    """(ground, gaps, lines lost, in the order they were to be run) of a lake searched with passes lost at random."""
    ground = ground_of(small.CRS, [lake(seed)], depth=small.DEPTH, setback=5.0)
    plan = plan_lines(ground, LinePlanSettings(small.RULE, runs=50, lead_m=10, radius_m=8, round_shore="never"))
    lines = plan.run.lines
    gone = np.random.default_rng(seed).choice(len(lines), max(2, len(lines) // 4), replace=False)
    kept = unary_union([small.strips(line.xy) for k, line in enumerate(lines) if k not in gone])
    lost = unary_union([small.strips(lines[k].xy) for k in gone]).difference(kept).intersection(ground.area)
    gaps = [g for g in getattr(lost, "geoms", [lost]) if g.area > 10]
    return ground, gaps, [lines[k] for k in sorted(gone)]


def again(lines, ground):
    """The run of lines in the best order found."""
    return run_of(lines, ClearWater(ground.boat), lead=10, radius=8)


def closed_by(lines, gaps):
    """m2 of the gaps in the strips beside the lines."""
    seen = unary_union([small.strips(line.xy) for line in lines])
    return sum(g.intersection(seen).area for g in gaps)


def filled(seed):
    """(share of the closable closed, length over that of running again, lines, lines lost)."""
    ground, gaps, lost = searched(seed)
    found = plan_fill_in(ground, gaps, FillSettings(small.RULE, lead_m=10, radius_m=8))
    return (closed_by(found.run.lines, gaps) / found.closable_m2, found.run.length / again(lost, ground).length,
            len(found.run.lines), len(lost))


def main():
    rows = []
    print("seed  closed of closable  length / run again  lines  lost", flush=True)
    for seed in range(LAKES):
        rows.append(filled(seed))
        closed, length, lines, lost = rows[-1]
        print(f"{seed:4}  {100 * closed:16.2f} %  {length:18.3f}  {lines:5}  {lost:4}", flush=True)
    closed, length = np.array(rows)[:, :2].T
    print(f"closed: least {100 * closed.min():.2f} %, median {100 * np.median(closed):.2f} %; length: median "
          f"{np.median(length):.3f}, most {length.max():.3f} of running the lost lines again")
    return 0 if (closed >= 0.99).all() and np.median(length) <= 0.95 else 1


if __name__ == "__main__":
    sys.exit(main())
