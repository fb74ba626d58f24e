"""Strips of one pass joined without seams between them.

Strips that share a beam, where the range changes, were carried to a CRS and back, which leaves its corners nanometres
apart. A seam of a nanometre is no gap, but an edge moved inwards would make one of metres of it.
"""
from __future__ import annotations

import numpy as np
from shapely.geometry import box

from ..geometry import overlap, shapes

__all__ = ["SEAM_M", "joined"]

SEAM_M = 1e-3
"""Strips of one pass that lie this near to each other touch."""

_MITRE = 2


def joined(strips):
    """Union of polygons in one plane (m), with what lies within a millimetre of two of them filled in.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from athwart.coverage.seams import joined
    >>> round(joined([box(0, 0, 10, 5), box(0, 5, 10, 9)]).area, 3)
    90.0
    """
    strips = [strip for strip in strips if not strip.is_empty]
    if len(strips) < 2:
        return overlap.merged(strips)
    tree, seams = shapes.Tree(strips), []
    for number, strip in enumerate(strips):
        around = box(*np.add(strip.bounds, (-SEAM_M, -SEAM_M, SEAM_M, SEAM_M)))
        for other in tree.boxed(around).tolist():
            if other > number:
                seams += shapes.parts(_seam(strip, strips[other]))
    return shapes.drop_small_holes(overlap.merged([*strips, *seams])) if seams else overlap.merged(strips)


def _seam(one, other):
    low = np.maximum(one.bounds[:2], other.bounds[:2]) - 2 * SEAM_M
    high = np.minimum(one.bounds[2:], other.bounds[2:]) + 2 * SEAM_M
    window = box(*low, *high)
    near = [part.intersection(window) for part in (one, other)]
    if any(part.is_empty for part in near) or near[0].distance(near[1]) > SEAM_M:
        return shapes.empty()
    grown = [part.buffer(SEAM_M, 1, join_style=_MITRE) for part in near]
    return shapes.polygonal(grown[0].intersection(grown[1]).intersection(window))
