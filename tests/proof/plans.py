"""Plans of seeded lakes against brute force: what lies on land or shoal, share and interval, length, order, time.

``planlakes`` makes the lakes and counts; it shares no code with ``survey``. A lake whose plan is refused is told and
counted. ``python3 tests/proof/plans.py FIRST LAST`` does a part of the seeds; rows go to standard output.
"""
import sys
import time

import clone
import numpy as np
import shapely.geometry as sg

clone.load()
from athwart.survey.bottom.depthgrid import DepthGrid  # noqa: E402
from athwart.survey.planning.clear_water import ClearWater  # noqa: E402
from athwart.survey.planning.lines import PlannedLine  # noqa: E402
from athwart.survey.planning.order import exact_order, improved_order  # noqa: E402
from athwart.survey.planning.polygons import ground_of  # noqa: E402
from athwart.survey.planning.route import run_of  # noqa: E402
from athwart.survey.planning.spacing import ReachRule  # noqa: E402
from athwart.survey.planning.survey_plan import LinePlanSettings, plan_lines  # noqa: E402
from planlakes import CRS, RANGE_M, Counter, Lake, ParallelCounter, drawn_run, inside, length_of  # noqa: E402

SETBACK_M, MIN_DEPTH_M, RADIUS_M = 5.0, 1.5, 6.0
PLACES, RUNS, HEADINGS, FINALISTS = 4000, 10, 36, 2


def plan_of(lake, overlap, wander, **more):
    """(plan, seconds) of a lake."""
    start = time.perf_counter()
    grid = DepthGrid.from_array(CRS, lake.transform, lake.depths)
    ground = ground_of(CRS, [lake.polygon], depth_grid=grid, setback=SETBACK_M, min_depth=MIN_DEPTH_M)
    rule = ReachRule(range_m=RANGE_M, overlap=overlap, wander_m=wander)
    plan = plan_lines(ground, LinePlanSettings(rule, radius_m=RADIUS_M, lead_m=10.0, **more))
    return plan, time.perf_counter() - start


def real(plan, xy):
    """Frame metres -> crs."""
    return np.column_stack(plan.ground.frame.inverse(*np.asarray(xy).T))


def aground(lake, plan):
    """Metres of the run, sampled every half metre, on land, nearer to it than the setback, or over a shoal."""
    bad = 0
    rim = [np.asarray(ring.coords) for ring in (lake.polygon.exterior, *lake.polygon.interiors)]
    start, end = (np.concatenate([r[a:b] for r in rim]) for a, b in ((None, -1), (1, None)))
    for leg in plan.run.legs:
        way = sg.LineString(real(plan, leg.xy))
        xy = np.array([way.interpolate(d).coords[0] for d in np.arange(0, way.length, 0.5)] or [way.coords[0]])
        wrong = ~inside(lake.polygon, xy) | (lake.depth_at(xy) < MIN_DEPTH_M)
        edge = end - start
        for first in range(0, len(xy), 500):
            off = xy[first:first + 500, None] - start
            t = np.clip((off * edge).sum(axis=2) / (edge ** 2).sum(axis=1), 0, 1)
            near = np.sqrt(((off - t[..., None] * edge) ** 2).sum(axis=2)).min(axis=1)
            wrong[first:first + 500] |= near < SETBACK_M - 0.05
        bad += int(wrong.sum())
    return 0.5 * bad


def against_parallel(lake, plan):
    """(percent that the plan's run is shorter by than the best of 36 headings at its share, spacing, azimuth)."""
    places = lake.places(PLACES, 1)
    counter = Counter(lake, places)
    target = (counter.seen([real(plan, line.xy) for line in plan.run.lines]) > 0).mean()
    boat = sg.MultiPolygon([sg.Polygon(real(plan, p.exterior.coords), [real(plan, h.coords) for h in p.interiors])
                            for p in plan.ground.boat.geoms])
    parallel, found = ParallelCounter(lake, boat, places), []
    for azimuth in np.arange(HEADINGS) * 180 / HEADINGS:
        lines, spacing = parallel.widest(azimuth, target)
        found.append((length_of(lines), spacing, azimuth, lines))
    found.sort(key=lambda one: one[0])
    clear, totals = ClearWater(plan.ground.boat), []
    for _, spacing, azimuth, lines in found[:FINALISTS]:
        given = [PlannedLine(np.column_stack(plan.ground.frame.forward(*line.T)), RANGE_M, 1.0, 1.0, 1.0)
                 for line in lines]
        totals.append((run_of(given, clear, lead=10.0, radius=RADIUS_M).length, spacing, azimuth))
    best = min(totals)
    return 100 * (1 - plan.run.length / best[0]), best[1], best[2]


def intervals(lake, plan, seed):
    """(share counted without errors less that told, (n,) shares of simulated runs, percent)."""
    places = lake.places(PLACES, 2)
    counter = Counter(lake, places)
    ways = [real(plan, line.xy) for line in plan.run.lines]
    plain = 100 * (counter.seen(ways) > 0).mean()
    shares = [100 * (counter.seen(ways, drawn_run(1000 * seed + k)) > 0).mean() for k in range(RUNS)]
    return plain - plan.prediction.nominal, np.array(shares)


def order_ratios(seeds=range(100), lines=8):
    """Way of the heuristic over that of the best of all orders, for lines of lakes' kind."""
    found = []
    for seed in seeds:
        rng = np.random.default_rng([4715, seed])
        v, u = np.sort(rng.uniform(0, 500, lines)), rng.uniform(0, 1000, lines)
        ends = np.empty((2 * lines, 2))
        ends[::2], ends[1::2] = np.column_stack([0.2 * u, v]), np.column_stack([500 + 0.5 * u, v])
        if seed % 2:
            ends = rng.uniform(0, 1000, ends.shape)
        between = np.hypot(*(ends[:, None] - ends).transpose(2, 0, 1))
        first = np.hypot(*(ends - rng.uniform(0, 1000, 2)).T)
        found.append(improved_order(between, first)[1] / exact_order(between, first)[1])
    return np.array(found)


def row_of(seed):
    """Text of one seed."""
    lake = Lake(seed, 200.0)
    plan, seconds = plan_of(lake, 0.0, 0.0)
    shorter, spacing, azimuth = against_parallel(lake, plan)
    careful, _ = plan_of(lake, 0.1, 2.0)
    off, shares = intervals(lake, careful, seed)
    told = careful.prediction
    inside_count = int(((shares >= told.low) & (shares <= told.high)).sum())
    return (f"{seed:4d} {lake.polygon.area / 1e4:6.1f} {aground(lake, plan) + aground(lake, careful):5.1f} "
            f"{shorter:6.1f} {spacing:5.1f} {azimuth:4.0f} {off:6.2f} {told.expected - shares.mean():6.2f} "
            f"{inside_count:3d}/{len(shares)} {told.high - told.low:5.2f} {seconds:6.1f}")


def main(first=0, last=199):
    print("seed  area/ha  aground/m  shorter %  spacing  az  counted-told  expected-runs  inside  width  s", flush=True)
    for seed in range(first, last + 1):
        try:
            print(row_of(seed), flush=True)
        except Exception as error:  # a seed is never dropped: what became of it is told
            print(f"{seed:4d} FAILED {type(error).__name__}: {error}", flush=True)
    ratios = order_ratios()
    print(f"order: heuristic over best of all, {len(ratios)} sets of lines: median {np.median(ratios):.4f}, "
          f"most {ratios.max():.4f}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
