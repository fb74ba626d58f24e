"""Ground that a pass missed for a reason of its own: under the boat, in a break, or too deep for the range."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry import overlap, shapes, transfer

__all__ = ["PassLine", "pass_lines", "zones"]

_OFFSETS = 24
"""Places abeam, out to the reach, at which the inner edge of a swath is looked for."""

_STRAIGHT_COS = np.cos(np.radians(30))
_LONGEST_BREAK = 20.0
"""A break is bridged in thought over at most this many reaches; beyond, the next line is another line."""


@dataclass
class PassLine:
    """Track of one pass in frame metres: ``parts``, a list of (n, 2) arrays, and its outer ground range ``reach_m``."""

    outing: str
    pass_id: float
    parts: list
    reach_m: float

    @property
    def key(self):
        """(outing, pass_id)."""
        return self.outing, self.pass_id


def pass_lines(frame, geometries, outing, pass_id, range_m, depth_m, cover):
    """PassLines of a pass layer, in order of outing and pass.

    Parameters
    ----------
    frame : survey.geometry.frame.Frame
    geometries : list of shapely lines, crs units, None where empty
    outing : (n,) str
    pass_id, range_m, depth_m : (n,) float
        Mean slant range and depth, NaN where unknown.
    cover : survey.coverage.cover.Cover
        The reach of a pass is that of its swaths, else sqrt(range^2 - depth^2), else that of the survey.
    """
    reaches = {p.key: p.reach_m for p in cover.passes}
    flat = np.sqrt(np.maximum(np.square(range_m) - np.square(np.nan_to_num(depth_m)), 0))
    lines = []
    for row in np.lexsort((pass_id, outing)):
        if geometries[row] is None or geometries[row].is_empty:
            continue
        carried = transfer.to_frame(frame, geometries[row])
        parts = [np.asarray(part.coords)[:, :2] for part in getattr(carried, "geoms", [carried])]
        usable = [reach for reach in (reaches.get((outing[row], pass_id[row]), np.nan), flat[row], range_m[row],
                                      cover.reach_m) if np.isfinite(reach) and reach > 0]
        if usable:
            lines.append(PassLine(outing[row], float(pass_id[row]), [p for p in parts if len(p) > 1], usable[0]))
    return lines


def zones(lines, cover, gap):
    """Where a gap is due to the pass beside it.

    Parameters
    ----------
    lines : list of PassLine
    cover : survey.coverage.cover.Cover
    gap : shapely polygon
        The missed ground, frame metres; stretches of line outside it are not looked at.

    Returns
    -------
    dict of shapely polygons, frame metres
        ``no bottom``: abeam of stretches with swath on neither side, out to the reach. ``break``: between the end of a
        stretch of line and the start of the next that goes on in the same direction, out to the reach. ``nadir``:
        between the inner edges, where there is swath on one side at least (the other edge is then taken as far off).
    """
    ground = {p.key: p.ground for p in cover.passes}
    stretches = [(line, *_intervals(part, line.reach_m)) for line in lines for part in line.parts]
    stretches = [stretch for stretch in stretches if len(stretch[2])]
    no_bottom, nadir = [], []
    if stretches:
        missed = shapes.contains(gap, *np.vstack([middle for _, _, middle, _ in stretches]).T)
        missed = np.split(missed, np.cumsum([len(middle) for _, _, middle, _ in stretches])[:-1])
        for (line, xy, middle, along), here in zip(stretches, missed):
            swath = ground.get(line.key, shapes.empty() if cover.tells_passes else cover.levels[0])
            inner = np.full((len(middle), 2), np.nan)
            inner[here] = _inner_edges(middle[here], along[here], line.reach_m, swath)
            seen = np.isfinite(inner).any(axis=1)
            width = np.where(np.isfinite(inner), inner, inner[:, ::-1])
            nadir += _quads(xy, along, width, here & seen)
            no_bottom += _quads(xy, along, np.full_like(width, line.reach_m), here & ~seen)
    return {"no bottom": overlap.merged(no_bottom), "break": overlap.merged(_breaks(lines)),
            "nadir": overlap.merged(nadir)}


def _intervals(xy, reach):
    """(vertices, middles, unit vectors along) of a line cut into short intervals."""
    xy = _spaced(xy, min(max(reach / 6, 1.0), 5.0))
    along = np.diff(xy, axis=0)
    return xy, (xy[1:] + xy[:-1]) / 2, along / np.hypot(*along.T)[:, None]


def _spaced(xy, spacing):
    """The line with vertices at most about ``spacing`` apart, and none so close that it has no direction."""
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    if not run[-1] > 0:
        return xy[:1]
    stations = np.linspace(0, run[-1], max(2, int(np.ceil(run[-1] / spacing)) + 1))
    xy = np.column_stack([np.interp(stations, run, xy[:, 0]), np.interp(stations, run, xy[:, 1])])
    return xy[np.concatenate([[True], np.hypot(*np.diff(xy, axis=0).T) > 0])]


def _inner_edges(middle, along, reach, swath):
    """(n, 2) ground range at which swath begins to port and to starboard of each place, NaN where there is none."""
    found = np.full((len(middle), 2), np.nan)
    if not len(middle):
        return found
    offsets = reach * np.arange(1, _OFFSETS + 1) / _OFFSETS
    starboard = np.column_stack([along[:, 1], -along[:, 0]])
    abeam = np.array([-1.0, 1.0])[:, None, None] * offsets[:, None] * starboard[:, None, None, :]
    places = middle[:, None, None, :] + abeam
    hit = shapes.contains(swath, places[..., 0], places[..., 1])
    some = hit.any(axis=2)
    found[some] = offsets[hit.argmax(axis=2)[some]]
    return found


def _quads(xy, along, width, chosen):
    """Polygons along runs of chosen intervals, ``width`` (n, 2) m to port and starboard of each."""
    ahead, astern = np.vstack([along, along[-1:]]), np.vstack([along[:1], along])
    normal = ahead + astern
    normal = np.column_stack([-normal[:, 1], normal[:, 0]]) / np.maximum(np.hypot(*normal.T), 1e-9)[:, None]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], chosen.astype(int), [0]])))
    found = []
    for start, end in zip(edges[::2], edges[1::2]):
        run, reach = slice(start, end + 1), width[start:end]
        reach = np.maximum(np.vstack([reach[:1], reach]), np.vstack([reach, reach[-1:]]))
        left, right = xy[run] + reach[:, :1] * normal[run], xy[run] - reach[:, 1:] * normal[run]
        ribbon = shapes.polygon(np.vstack([left, right[::-1]]))
        if ribbon.is_valid:
            found.append(ribbon)
        else:  # it crosses itself in a turn; its quadrilaterals are taken one by one
            quads = np.stack([left[:-1], left[1:], right[1:], right[:-1]], axis=1)
            found.append(shapes.union([quad.convex_hull for quad in shapes.polygons(quads)]))
    return found


def _breaks(lines):
    """A rectangle for each break: from the end of a stretch to the start of the next that goes on the same way."""
    found = []
    stretches = [(line, part) for line in lines for part in line.parts]
    for (line, before), (following, after) in zip(stretches, stretches[1:]):
        if line.outing != following.outing:
            continue
        bridge = after[0] - before[-1]
        length, reach = np.hypot(*bridge), max(line.reach_m, following.reach_m)
        if not 0.5 < length < _LONGEST_BREAK * reach:
            continue
        ends = _direction(before[::-1], reach) * -1, _direction(after, reach)
        if line.key != following.key and min(end @ bridge for end in ends) < _STRAIGHT_COS * length:
            continue
        left = reach / length * np.array([-bridge[1], bridge[0]])
        found.append(shapes.polygon([before[-1] + left, after[0] + left, after[0] - left, before[-1] - left]))
    return found


def _direction(xy, length):
    """Unit vector of the first ``length`` metres of a line."""
    run = np.hypot(*(xy - xy[0]).T)
    far = np.flatnonzero(run >= length)
    end = far[0] if len(far) else int(np.argmax(run))
    return (xy[end] - xy[0]) / max(run[end], 1e-9)
