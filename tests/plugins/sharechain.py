"""What the chain prepare, draw swaths, find gaps says of a simulated outing, beside its truth."""
import numpy as np
import sharetruth
from athwart.survey.coverage.cover import ASKED, Swaths
from athwart.survey.coverage.gaps import PassLayer, find_gaps
from athwart.survey.logs.fixes import Fixes
from athwart.survey.swaths.swath import SwathSettings, draw_swaths
from athwart.survey.tracks.preparation import Preparation
from athwart.survey.tracks.prepare import prepare


def prepared(outing):
    """The prepared track of a simulated outing."""
    column = {name: np.concatenate([leg[name] for leg in outing.legs]) for name in ("t", "east", "north", "depth")}
    heading = None if outing.legs[0]["heading"] is None else np.concatenate([leg["heading"] for leg in outing.legs])
    fixes = Fixes(sharetruth.CRS, column["east"], column["north"], t_s=column["t"], heading_deg=heading,
                  depth_m=column["depth"])
    return prepare(fixes, Preparation(outing="day", range_m=sharetruth.RANGE, depth_reference="transducer"))


def swath_layer(made):
    """Swaths of a SwathResult."""
    columns = made.columns
    return Swaths(made.geometries, columns["outing"], columns["pass_id"], columns["outer_m"], columns["sigma_edge_m"],
                  {name: columns[name] for name in ASKED})


def said(outing, looks=1, lines=True, merge="strip", **options):
    """CoverageResult of the chain."""
    made = prepared(outing)
    drawn = draw_swaths(made.track, SwathSettings(merge=merge), outing.water)
    passes = PassLayer(made.lines, made.passes["outing"], made.passes["pass_id"].astype(float),
                       made.passes["range_m"], made.passes["mean_depth_m"]) if lines else None
    return find_gaps(sharetruth.CRS, [outing.area], swath_layer(drawn), passes=passes, required_looks=looks,
                     **options)


def gaps_beside_truth(result, truth):
    """(k, 4): open_pct, whether half of the gap is truly unseen, certain_m2, and how much of that is."""
    rows = []
    for number, gap in enumerate(result.geometries):
        left = gap.difference(truth).area
        rows.append((result.gaps["open_pct"][number], left >= 0.5 * gap.area, result.gaps["certain_m2"][number], left))
    return np.array(rows, float).reshape(-1, 4)
