"""A depth grid under a track: how the two are tied together, and what they say of each other.

The sounder says how deep it is under the boat, the grid how the bottom runs from there: the grid's depths are shifted
by one slowly varying offset a pass, see ``offsets``, so that they agree with the track's depth under the transducer.
That takes the transducer's draft and a wrong water level out, and a flat grid gives the flat-bottom formula exactly.
Where the track's depth is only one constant, the grid's own depths stand.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..model.constants import SIGMA_POSITION_FOR_GRID_M
from ..model.errors import InputError
from ..model.messages import Message
from ..uncertainty.nadir import TerrainGround
from . import offsets
from .profile import Rays, Scratch, march
from .sightlines import meetings

__all__ = ["AGREE_M", "AGREE_SHARE", "FINE_SHARE", "Anchors", "GroundOn", "PickErrors", "anchored", "bottom_on",
           "ground_on", "rays_on"]

AGREE_M, AGREE_SHARE = 1.0, 0.1
"""Grid and sounder disagree when their median difference passes 1 m and a tenth of the depth; a judgement."""

FINE_SHARE = 1 / 200
"""Longest stride of a measuring march, as a share of the range."""

_LEAST_GROWTH = 0.1
"""Where the slant range grows by less than this a metre of ground, ground is not weighed higher."""


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
    track : survey.model.track.Track
    grid : survey.bottom.depthgrid.DepthGrid

    Returns
    -------
    Anchors

    Raises
    ------
    InputError
        If no usable sample lies on the grid, or the grid is negative down.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.bottom.terrain import anchored
    >>> import athwart
    >>> away = np.arange(0.0, 100.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2, depth_m=5.0 + 0 * away)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=30.0)).track
    >>> deeper = np.full((30, 30), 5.4)
    >>> grid = athwart.DepthGrid.from_array("EPSG:32619", (499900, 10, 0, 4500200, 0, -10), deeper)
    >>> anchors = anchored(track, grid)
    >>> round(anchors.median_m, 2), anchors.offset[:2].round(2).tolist(), anchors.warnings
    (0.4, [-0.4, -0.4], [])
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
        raise InputError(Message(
            "The depth grid '{name}' looks negative down: its median under the track is {middle:.1f}. Run "
            "{DepthConversion()} on it, where depths are written as negative numbers with {DepthConversion(kind)} "
            "elevation and {DepthConversion(surface)} 0, and use that output.", name=grid.name,
            middle=np.median(under[known])))
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
        sigma = np.where(track.sigma_pos_m[at] > 0, track.sigma_pos_m[at], SIGMA_POSITION_FOR_GRID_M)
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
    frame : survey.geometry.frame.Frame
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
    """What ``locate.locate`` asks where on the grid a pick lies.

    Parameters
    ----------
    grid : DepthGrid
    anchors : Anchors
        Of the track the picks are read against.

    Returns
    -------
    GroundOn, a callable ``f(frame, east, north, dir_e, dir_n, slant, depth, sample) -> nadir.TerrainGround``
    """
    return GroundOn(grid, anchors)


@dataclass(frozen=True)
class PickErrors:
    """How boat, range and depth err in each of k draws, for n picks; (n, k) arrays, m.

    ``out``, ``ahead``: how far the boat is moved along the beam, and across it (the beam turned to port; its sign is
    the caller's). ``longer``, ``deeper``: added to the slant range and to the grid's depths.
    """

    out: np.ndarray
    ahead: np.ndarray
    longer: np.ndarray
    deeper: np.ndarray


class GroundOn:
    """See ``ground_on``."""

    def __init__(self, grid, anchors):
        self.grid, self.anchors = grid, anchors

    def __call__(self, frame, east, north, dir_e, dir_n, slant, depth, sample):
        slant, depth = np.asarray(slant, float), np.asarray(depth, float)
        offset = self.anchors.offset[sample]
        return _placed(self.grid, rays_on(self.grid, frame, east, north, dir_e, dir_n, slant, offset, depth), slant)

    def cloud(self, frame, east, north, beam, slant, depth, sample, errors):
        """What beams see of picks whose boat, range and depth err.

        Parameters
        ----------
        frame : survey.geometry.frame.Frame
        east, north : (n,) arrays, frame metres
        beam : (n, 2) array
            Unit vectors of the beams.
        slant, depth : (n,) arrays, m
        sample : (n,) int array
        errors : PickErrors

        Returns
        -------
        pick, draw, ground, weight : (m,) arrays
            Every ground that is seen at its slant range: which pick and draw, ground range (m) from the moved boat, and
            how much bottom shares a metre of slant range there.
        """
        found = [(np.empty(0, int), np.empty(0, int), np.empty(0), np.empty(0))]
        across = np.column_stack([-beam[:, 1], beam[:, 0]])
        for index in np.flatnonzero(np.isfinite(slant + east + north) & (slant > 0)).tolist():
            reach = np.maximum(slant[index] + errors.longer[index], 0.1)
            moved = errors.out[index][:, None] * beam[index] + errors.ahead[index][:, None] * across[index]
            many = np.ones(len(reach))
            rays = rays_on(self.grid, frame, east[index] + moved[:, 0], north[index] + moved[:, 1],
                           beam[index, 0] * many, beam[index, 1] * many, reach,
                           self.anchors.offset[sample[index]] + errors.deeper[index],
                           depth[index] + errors.deeper[index])
            met = _met(self.grid, rays, reach)
            kept = np.flatnonzero(met.seen & (met.ground > 0))
            ray, ground = met.ray[kept], met.ground[kept]
            shared = np.abs(ground + met.depth[kept] * met.slope[kept]) / reach[ray]
            found.append((np.full(len(kept), index), ray, ground, 1 / np.maximum(shared, _LEAST_GROWTH)))
        return tuple(map(np.concatenate, zip(*found)))


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

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.bottom.terrain import anchored, bottom_on
    >>> import athwart
    >>> away = np.arange(0.0, 100.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2, depth_m=5.0 + 0 * away)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=30.0)).track
    >>> grid = athwart.DepthGrid.from_array("EPSG:32619", (499900, 10, 0, 4500200, 0, -10), np.full((30, 30), 5.4))
    >>> bottom = bottom_on(grid, anchored(track, grid), "EPSG:32619")
    >>> bottom(np.array([500010.0, 0.0]), np.array([4500010.0, 0.0]), np.array([5, 5])).round(2).tolist()
    [5.0, nan]
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
        _keep(found, index, _met(grid, rays.take(np.array([index])), slant[index:index + 1]), slant[index])
    return found


def _met(grid, rays, slant):
    """Meetings of a few rays that run side by side."""
    extent = rays.extents()
    window = grid.window(np.concatenate(extent[:2]), np.concatenate(extent[2:]))
    step = min(grid.step_limit(rays.dcol, rays.drow), FINE_SHARE * slant.max())
    samples = int(np.ceil(slant.max() / step)) + 1
    return meetings(march(window, rays, step, samples, Scratch(samples * len(rays), float)), slant)


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
