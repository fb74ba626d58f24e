"""What the chain prepare, draw swaths, find gaps says of a simulated outing, beside its truth."""
import numpy as np
import sharetruth
from athwart.survey.coverage.cover import ASKED, Swaths
from athwart.survey.coverage.gaps import PassLayer, SeenGround, find_gaps
from athwart.survey.ensonify.bottom_map import Ensonification
from athwart.survey.fixes.arrange import Fixes
from athwart.survey.swaths.draw import SwathSettings, draw_swaths
from athwart.survey.tracks.prepare import prepare
from athwart.survey.tracks.settings import TrackSettings
from shapely.geometry import box
from shapely.ops import unary_union


def prepared(outing):
    """The prepared track of a simulated outing."""
    column = {name: np.concatenate([leg[name] for leg in outing.legs]) for name in ("t", "east", "north", "depth")}
    heading = None if outing.legs[0]["heading"] is None else np.concatenate([leg["heading"] for leg in outing.legs])
    fixes = Fixes(sharetruth.CRS, column["east"], column["north"], t_s=column["t"], heading_deg=heading,
                  depth_m=column["depth"])
    return prepare(fixes, TrackSettings(outing="day", range_m=sharetruth.RANGE, depth_reference="transducer"))


def swath_layer(made):
    """Swaths of a SwathResult."""
    columns = made.columns
    return Swaths(made.geometries, columns["outing"], columns["pass_id"], columns["outer_m"], columns["sigma_edge_m"],
                  {name: columns[name] for name in ASKED})


def said(outing, lines=True, merge="strip"):
    """CoverageResult of the chain."""
    made = prepared(outing)
    drawn = draw_swaths(made.track, SwathSettings(merge=merge), outing.water)
    passes = PassLayer(made.lines, made.passes["outing"], made.passes["pass_id"].astype(float),
                       made.passes["range_m"], made.passes["mean_depth_m"]) if lines else None
    return find_gaps(sharetruth.CRS, [outing.area], swath_layer(drawn), passes=passes)


def gaps_beside_truth(result, truth):
    """(k, 4): open_pct, whether half of the gap is truly unseen, certain_m2, and how much of that is."""
    rows = []
    for number, gap in enumerate(result.geometries):
        left = gap.difference(truth).area
        rows.append((result.gaps["open_pct"][number], left >= 0.5 * gap.area, result.gaps["certain_m2"][number], left))
    return np.array(rows, float).reshape(-1, 4)


def said_of_raster(outing, cell, lines=True):
    """CoverageResult of a raster of looks made of a simulated outing, its cells as polygons."""
    made = prepared(outing)
    job = Ensonification(made.track, cell, water=outing.water)
    looks = np.zeros((job.raster.rows, job.raster.cols))
    for row, col, bands in job.tiles():
        tile = bands["looks"]
        looks[row:row + tile.shape[0], col:col + tile.shape[1]] = np.nan_to_num(tile)
    edges = np.diff(np.pad(looks > 0, ((0, 0), (1, 1))).astype(int), axis=1)
    boxes = []
    for row in range(len(looks)):
        top = job.raster.top - row * cell
        for start, stop in zip(np.flatnonzero(edges[row] > 0), np.flatnonzero(edges[row] < 0)):
            boxes.append(box(job.raster.left + start * cell, top - cell, job.raster.left + stop * cell, top))
    passes = PassLayer(made.lines, made.passes["outing"], made.passes["pass_id"].astype(float),
                       made.passes["range_m"], made.passes["mean_depth_m"]) if lines else None
    return find_gaps(sharetruth.CRS, [outing.area], seen=SeenGround([unary_union(boxes)], {}, cell), passes=passes)
