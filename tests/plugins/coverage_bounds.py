"""What the tools say of an invented outing beside what was so: shared by the test of the bounds and its long run."""
import numpy as np
from athwart.survey.coverage.cover import Swaths, cover_of_swaths
from athwart.survey.coverage.gaps import GapSettings, find_gaps
from athwart.survey.geometry import shapes
from athwart.survey.geometry.frame import Frame
from drawn_cover import AREA, SIGMA_EDGE, as_it_was, as_logged, planned

LAKE = "+proj=tmerc +lat_0=45 +lon_0=10 +k=1 +x_0=0 +y_0=0 +ellps=WGS84 +units=m"


def swaths(rows):
    outing, number, polygons, outer = zip(*rows)
    return Swaths(list(polygons), np.array(outing, object), np.array(number, float), np.array(outer),
                  np.full(len(rows), SIGMA_EDGE))


def outcome(rng, spacing, draws):
    """Sums over draws of (area, share of it as claimed): low ground seen, ground of certain gaps unseen, and more."""
    tracks = planned(rng, spacing)
    report = find_gaps(LAKE, [AREA], swaths(as_logged(tracks)), settings=GapSettings(min_area=1.0))
    frame = Frame(LAKE, 10.0, 45.0)
    cover = cover_of_swaths(frame, swaths(as_logged(tracks)), AREA.bounds)
    low = cover.low.intersection(AREA)
    certain = [g for g, sure in zip(report.geometries, report.gaps["certain"]) if sure]
    missed = shapes.union(certain).difference(cover.high)
    rows = []
    for _ in range(draws):
        truth = as_it_was(rng, tracks)
        true_percent = 100 * truth.intersection(AREA).area / AREA.area
        there = [gap.difference(truth).area > 0.01 for gap in certain]
        rows.append((low.area, low.intersection(truth).area, missed.area, missed.difference(truth).area, len(there),
                     sum(there), report.worst_percent <= true_percent, true_percent <= report.best_percent))
    return np.array(rows, float)
