"""Help with the range of the next trip: what would have fitted the water, said once for all passes."""
from __future__ import annotations

import numpy as np

from .figures import METRES
from .pages import number

__all__ = ["LEAST", "MOST", "range_help"]

LEAST, MOST = 5.0, 12.5
"""Range over depth between which the water takes 8 to 20 % of the record (NOAA Field Procedures Manual 2014, 2.5.3)."""

_OFF_PCT = 10.0


def range_help(passes, units=METRES):
    """A few sentences, '' where no pass has a range and a depth.

    Parameters
    ----------
    passes : survey.report.layers.ReportLayer
    units : survey.report.figures.Figures

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> from shapely.geometry import LineString
    >>> from athwart.report.range_help import range_help
    >>> columns = {"mean_depth_m": np.array([4.0]), "range_m": np.array([80.0]), "off_band_pct": np.array([100.0])}
    >>> said = range_help(athwart.ReportLayer("passes", columns, [LineString([(0, 0), (9, 0)])]))
    >>> "from 20 m to 50 m would have fitted" in said.replace(chr(160), " ")
    True
    """
    depth, shown, off = (passes.numbers(name) for name in ("mean_depth_m", "range_m", "off_band_pct"))
    known = (depth > 0) & (shown > 0)
    if not known.any():
        return ""
    ratio, off = shown[known] / depth[known], np.nan_to_num(off[known]) > _OFF_PCT
    rule = (f"Range as a help for the next trip: {LEAST:g} to {MOST:g} times the depth shows the bottom well. Then the "
            "water straight below takes 8 to 20 % of the record. The rule was written for a sounder towed at a set "
            "height (NOAA Field Procedures Manual 2014, 2.5.3); on a boat over shallow water it is a help, and a pass "
            "outside it is not a bad pass.")
    if not off.any():
        return f"{rule} All passes kept to it."
    longer, shorter = int((off & (ratio >= MOST)).sum()), int((off & (ratio <= LEAST)).sum())
    part = int(off.sum()) - longer - shorter
    told = [f"{number(count)} {words}" for count, words in (
        (longer, "had a longer range"), (shorter, "had a shorter range"), (part, "left it in part")) if count]
    of = f"Of {number(len(off))} passes" if len(off) > 1 else "Of the one pass,"
    return f"{rule} {of} {', '.join(told)}. {_fitting(depth[known], units)}"


def _fitting(depth, units):
    """The range that fits every pass, or those that fit the shallowest and the deepest."""
    low, high = LEAST * depth.max(), MOST * depth.min()
    if low <= high:
        all_ = " all passes" if len(depth) > 1 else ""
        return f"A range from {units.length(low)} to {units.length(high)} would have fitted{all_}."
    ends = [f"{units.length(LEAST * one)} to {units.length(MOST * one)} over {units.length(one, 1)} of water"
            for one in (depth.min(), depth.max())]
    return (f"No single range fits all of them: {ends[0]}, the shallowest pass, and {ends[1]}, the deepest, would have "
            "fitted.")
