"""Laying targets off from their samples in local frames: places, ellipse outlines, and land in the way."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..beams.land import water_reach
from ..geometry import shapes, transfer
from ..geometry.frame import frames_for
from ..model.constants import TWO_SIDED_95
from ..model.messages import Message
from ..model.table import Floats, Objects, Table, Texts
from ..uncertainty import ellipses
from ..uncertainty.nadir import TerrainGround

__all__ = ["Places", "beams_of", "lay_off", "on_terrain", "outlines", "sample_frames"]

_ALMOST_HALF_TURN = 179.0


@dataclass(eq=False, repr=False)
class Places(Table):
    """(n,) arrays: ``x``, ``y`` in the track's crs; ``outlines`` polygons in it; ``reason`` '' or why the place cannot
    be; ``beyond`` how far (m) the place lies behind the first shore, 0 on open water."""

    x: Floats
    y: Floats
    outlines: Objects
    reason: Texts
    beyond: Floats


def sample_frames(track, poses):
    """Frames that serve all poses, as a list of (Frame, (k,) indices); where a long pass is cut, two share a pose."""
    order = np.argsort(poses.sample, kind="stable")
    key = track.pass_key()[poses.sample[order]]
    return [(frame, order[piece]) for frame, piece in frames_for(track.crs, poses.x[order], poses.y[order], key)]


def _beams(frame, poses, side, index):
    """East, north of the samples, and (k, 2) unit vectors to the side of each pick, in the frame."""
    east, north = (np.asarray(v, float) for v in frame.forward(poses.x[index], poses.y[index]))
    convergence = frame.convergence(east, north)
    a = np.radians(poses.heading_deg[index] + np.nan_to_num(poses.mount_deg[index]) - convergence)
    return east, north, convergence, side[index, None] * np.column_stack([np.cos(a), -np.sin(a)])


def beams_of(poses, side):
    """A function (frame, index) -> east, north (k,) of the samples and (k, 2) unit vectors of the beams there."""
    def beams(frame, index):
        east, north, _, along = _beams(frame, poses, side, index)
        return east, north, along
    return beams


def on_terrain(poses, obs, frames, ground_on_terrain):
    """Ground range of every pick, or of the end of its shadow, from a depth grid.

    Parameters
    ----------
    poses : Poses
    obs : survey.targets.observations.Observations
    frames : list of (Frame, indices), see ``sample_frames``
    ground_on_terrain : callable, see ``locate.locate``

    Returns
    -------
    TerrainGround
    """
    count = len(obs)
    reach = np.where(np.isfinite(obs.shadow_end), obs.shadow_end, obs.slant)
    found = TerrainGround(*(np.full(count, np.nan) for _ in range(5)), np.full(count, "", object))
    for frame, index in frames:
        east, north, _, beam = _beams(frame, poses, obs.side, index)
        part = ground_on_terrain(frame, east, north, beam[:, 0], beam[:, 1], reach[index], obs.depth[index],
                                 poses.sample[index])
        for name in ("ground", "depth", "slope", "low", "high", "status"):
            getattr(found, name)[index] = getattr(part, name)
    return found


def lay_off(poses, obs, errors, frames, scale, at, water=None):
    """Places and ellipses.

    Parameters
    ----------
    poses : Poses
    obs : survey.targets.observations.Observations
    errors : survey.targets.budget.Budget
    frames : list of (Frame, indices), see ``sample_frames``
    scale : float
        Semi-axes over standard deviations, ``ellipses.scale_factor``.
    at : (x, y), (n,) arrays
        In the track's crs, of picks that are a point at the object and stay there; NaN for the others.
    water : shapely geometry, optional
        In the track's crs.

    Returns
    -------
    Places
    """
    count = len(obs)
    out = Places(np.full(count, np.nan), np.full(count, np.nan), np.empty(count, object), np.full(count, "", object),
                 np.zeros(count))
    spread = errors.spread
    for frame, index in frames:
        east, north, convergence, beam = _beams(frame, poses, obs.side, index)
        centre = np.abs(errors.centre[index])[:, None] * beam + np.column_stack([east, north])
        fixed = np.isfinite(at[0][index])
        centre[fixed] = np.column_stack(frame.forward(at[0][index][fixed], at[1][index][fixed]))
        out.x[index], out.y[index] = frame.inverse(centre[:, 0], centre[:, 1])
        out.outlines[index] = outlines(
            frame, centre, scale * spread.semi_major[index], scale * spread.semi_minor[index],
            spread.azimuth_deg[index] - convergence)
        if water is not None:
            _stop_at_land(out, transfer.to_frame(frame, water), index, np.column_stack([east, north]), beam, centre,
                          errors.sigma_across[index])
    return out


def outlines(frame, centre, major, minor, azimuth):
    """Ellipse polygons in the crs, all vertices carried at once.

    Parameters
    ----------
    frame : Frame
    centre : (n, 2) array, frame metres
    major, minor, azimuth : (n,) arrays
        Semi-axes (m), and the grid azimuth (degrees) of the major one.

    Returns
    -------
    (n,) object array of polygons

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.geometry.frame import Frame
    >>> from athwart.targets.positioning import outlines
    >>> frame = Frame.around("EPSG:32619", np.array([5e5]), np.array([4.5e6]))
    >>> one = np.ones(1)
    >>> [round(shape.area) for shape in outlines(frame, np.zeros((1, 2)), 4 * one, 2 * one, 0 * one)]  # pi times 8
    [25]
    """
    rings = ellipses.rings(centre[:, 0], centre[:, 1], major, minor, azimuth)
    x, y = frame.inverse(rings[..., 0].ravel(), rings[..., 1].ravel())
    carried = np.column_stack([x, y]).reshape(rings.shape)
    made = np.empty(len(rings), object)
    made[:] = shapes.polygons(carried)
    if frame.crs.is_geographic:
        for i in np.flatnonzero(np.ptp(carried[..., 0], axis=1) > _ALMOST_HALF_TURN):  # cut at 180 degrees
            made[i] = transfer.to_crs(frame, shapes.polygon(rings[i]))
    return made


def _stop_at_land(out, water, index, sample, beam, centre, sigma_across):
    """Reject places that even their error leaves behind the shore; measure how far the others lie behind it."""
    ground = np.hypot(*(centre - sample).T)
    reach = water_reach(water, *sample.T, *beam.T, ground)
    behind = np.maximum(ground - reach, 0.0)
    out.beyond[index] = behind
    for i, row in enumerate(index):
        if behind[i] <= TWO_SIDED_95 * sigma_across[i]:
            continue
        out.reason[row] = (
            Message("the beam meets the shore {reach:.1f} m from the boat and the place is {ground:.1f} m away: land "
                    "stops sound, so check the side, the range and {water}", reach=reach[i], ground=ground[i])
            if reach[i] > 0 else Message("the boat was outside the water: check that {water} covers the track"))
