"""A depth grid under a track: how the two are tied together, and what they say of each other.

The sounder says how deep it is under the boat, the grid how the bottom runs from there: the grid's depths are shifted
by one slowly varying offset a pass, see ``offsets``, so that they agree with the track's depth under the transducer.
That takes the transducer's draft and a wrong water level out, and a flat grid gives the flat-bottom formula exactly.
Where the track's depth is only one constant, the grid's own depths stand.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from ..uncertainty.nadir import TerrainGround
from . import offsets
from .profile import Rays, Scratch, march
from .sightlines import meetings

__all__ = ["AGREE_M", "AGREE_SHARE", "FINE_SHARE", "Anchors", "anchored", "bottom_on", "ground_on", "rays_on"]

AGREE_M, AGREE_SHARE = 1.0, 0.1
"""Grid and sounder disagree when their median difference passes 1 m and a tenth of the depth; a judgement."""

FINE_SHARE = 1 / 200
"""Longest stride of a measuring march, as a share of the range."""


@dataclass
class Anchors:
    """How a grid is tied to a track.

    ``offset``: (n,) m, added to the grid's depths to have them from the transducer. ``off_grid``: (n,) bool, the grid
    knows nothing under the boat. ``median_m``, ``spread_m``: grid less track depth over the samples that have both,
    median and half of the range that holds 90 %; NaN where the track's depth is a constant or the grid's own.
    ``compared``: how many samples that is. ``warning``: sentence for the log, '' when they agree.
    ``local``: the same about places where they differ although the offset was taken out.
    """

    offset: np.ndarray
    off_grid: np.ndarray
    median_m: float
    spread_m: float
    compared: int
    warning: str
    local: str = ""

    @property
    def warnings(self):
        """Sentences for the log, the whole before its places."""
        return [text for text in (self.warning, self.local) if text]


def anchored(track, grid):
    """Tie a depth grid to a track.

    Parameters
    ----------
    track : survey.track.Track
    grid : survey.bottom.depthgrid.DepthGrid

    Returns
    -------
    Anchors

    Raises
    ------
    InputError
        If no usable sample lies on the grid, or the grid is negative down.
    """
    usable = np.flatnonzero(track.usable & np.isfinite(track.x) & np.isfinite(track.y))
    under = np.full(len(track), np.nan)
    under[usable] = grid.depth_at(track.x[usable], track.y[usable], track.crs)
    known = np.isfinite(under)
    if not known.any():
        raise InputError(
            f"The depth grid '{grid.name}' does not cover the track: none of {len(usable)} usable samples lies on a "
            "cell with a depth. Check that it is the right lake and that its coordinate system is set.")
    if np.median(under[known]) < 0:
        raise InputError(
            f"The depth grid '{grid.name}' looks negative down: its median under the track is "
            f"{np.median(under[known]):.1f}. Run 'Prepare depth grid' on it (KIND elevation with SURFACE_ELEVATION 0, "
            "where depths are written as negative numbers) and use that output.")
    difference = under - track.depth_m
    tied = known & (under > 0) & np.isfinite(track.depth_m) & (track.depth_source != "constant")
    compared = np.flatnonzero(tied & (track.depth_source != "grid"))
    scatter = _scatter(track, grid, under, tied)
    offset = offsets.slow_offsets(track, np.where(tied & np.isfinite(scatter), -difference, np.nan), scatter)
    median, spread, warning = np.nan, np.nan, ""
    if len(compared):
        low, median, high = np.percentile(difference[compared], [5, 50, 95])
        spread = (high - low) / 2
        depth = np.median(track.depth_m[compared])
        if abs(median) > max(AGREE_M, AGREE_SHARE * depth):
            warning = _disagreement(grid, median, spread, np.median(under[compared]) / depth)
    rest = np.full(len(track), np.nan)
    rest[compared] = difference[compared] + offset[compared]
    found = offsets.disagreements(track, rest, scatter, np.maximum(AGREE_M, AGREE_SHARE * track.depth_m))
    return Anchors(offset, ~known, float(median), float(spread), len(compared), warning,
                   offsets.told(track, grid.name, found))


def _scatter(track, grid, under, tied):
    """(n,) scatter of the grid within the error of the position, at one tied sample a second; NaN elsewhere.

    Depths that came from the grid itself are those of the place stated, right or wrong, and have none.
    """
    second = np.floor(np.where(np.isfinite(track.t_s), track.t_s, np.arange(len(track))))
    key = track.pass_key()
    at = np.flatnonzero(tied)
    at = at[np.append(True, (np.diff(second[at]) != 0) | (np.diff(key[at]) != 0))[:len(at)]]
    scatter = np.full(len(track), np.nan)
    scatter[at] = 0.0
    at = at[track.depth_source[at] != "grid"]
    if len(at):
        sigma = np.where(track.sigma_pos_m[at] > 0, track.sigma_pos_m[at], offsets.SIGMA_POSITION_M)
        scatter[at] = offsets.position_scatter(grid, track.x[at], track.y[at], track.crs, sigma, under[at])
    return scatter


def _disagreement(grid, median, spread, ratio):
    if 3.1 < ratio < 3.5 or 0.28 < ratio < 0.33:
        hint = f"The one is {ratio:.2f} times the other: is one of them in feet?"
    else:
        hint = "Check the unit of both, the water level of the day and what the grid's depths are counted from."
    return (f"The depth grid '{grid.name}' is {abs(median):.2f} m {'deeper' if median > 0 else 'shallower'} than the "
            f"track's depths (median of all samples, 90 % within {spread:.2f} m of it). It was shifted to the "
            f"track's depths by one slowly varying offset a pass. {hint}")


def rays_on(grid, frame, east, north, dir_e, dir_n, reach, offset, depth):
    """Rays in a survey frame brought to the cells of a grid.

    Parameters
    ----------
    grid : DepthGrid
    frame : survey.plane.frame.Frame
    east, north : (n,) arrays
        Transducer, frame metres.
    dir_e, dir_n : (n,) arrays
        Unit vectors over the ground.
    reach, offset, depth : (n,) arrays, see ``profile.Rays``

    Returns
    -------
    Rays
        Straight in the grid's own CRS between the transducer and the end of the reach: within a millimetre over 100 m.
    """
    cells = grid.cells_from(frame.crs)
    long = np.maximum(reach, 1.0)
    col, row = cells(*frame.inverse(east, north))
    tip_col, tip_row = cells(*frame.inverse(east + long * dir_e, north + long * dir_n))
    return Rays(np.asarray(col), np.asarray(row), (tip_col - col) / long, (tip_row - row) / long, offset, depth, reach)


def ground_on(grid, anchors):
    """The callable that ``locate.locate`` asks where on the grid a pick lies.

    Parameters
    ----------
    grid : DepthGrid
    anchors : Anchors
        Of the track the picks are read against.

    Returns
    -------
    callable ``f(frame, east, north, dir_e, dir_n, slant, depth, sample) -> nadir.TerrainGround``
    """
    def ground(frame, east, north, dir_e, dir_n, slant, depth, sample):
        slant, depth = np.asarray(slant, float), np.asarray(depth, float)
        return _placed(grid, rays_on(grid, frame, east, north, dir_e, dir_n, slant, anchors.offset[sample], depth), slant)
    return ground


def bottom_on(grid, anchors, crs):
    """The callable that ``locate.locate`` asks for the bottom at a target.

    Parameters
    ----------
    grid : DepthGrid
    anchors : Anchors
        Of the track the picks are read against.
    crs : pyproj.CRS or str
        Of the places asked about.

    Returns
    -------
    callable ``f(x, y, sample) -> (n,) m``
        ``sample`` is the index of each target's sample in the track. The shallower of the grid's own depth and that
        brought to the sounder: where the two disagree, nobody is to count on water that is not there. NaN off the grid
        and on land.
    """
    def bottom(x, y, sample):
        own = grid.depth_at(x, y, crs)
        found = np.fmin(own, own + anchors.offset[sample])
        return np.where(found > 0, found, np.nan)
    return bottom


def _placed(grid, rays, slant):
    """TerrainGround of rays, each at its own slant range."""
    count = len(rays)
    found = TerrainGround(*(np.full(count, np.nan) for _ in range(5)), np.full(count, "", object))
    for index in np.flatnonzero(np.isfinite(slant) & np.isfinite(rays.col) & (slant > 0)).tolist():
        ray = rays.take(np.array([index]))
        extent = ray.extents()
        window = grid.window(np.concatenate(extent[:2]), np.concatenate(extent[2:]))
        step = min(grid.step_limit(ray.dcol, ray.drow), FINE_SHARE * slant[index])
        samples = int(np.ceil(slant[index] / step)) + 1
        met = meetings(march(window, ray, step, samples, Scratch(samples, float)), slant[index:index + 1])
        _keep(found, index, met, slant[index])
    return found


def _keep(found, index, met, slant):
    """Fill one entry of a TerrainGround from the meetings of its ray."""
    if not len(met.ray):
        return
    if met.seen.any():
        at = np.flatnonzero(met.seen)
        places = met.ground[at]
        first = at[0]
        ground, depth, slope = met.ground[first], met.depth[first], met.slope[first]
    else:  # all of it lies in shadow: what echoed stands up into the sight line over the brink
        first = 0
        ground = slant / np.hypot(1.0, met.brink[0])
        depth, slope = met.brink[0] * ground, met.slope[0]
        places = np.array([met.ground[0], ground])
    if met.unknown[first]:
        found.status[index] = "off grid"
        return
    found.ground[index], found.depth[index], found.slope[index] = ground, depth, slope
    found.low[index], found.high[index] = places.min(), places.max()
    found.status[index] = "ambiguous" if len(places) > 1 else ""
