"""Picks -> targets: where each lies, how far off it may be, why, and which picks have no place.

The place is the centre of its error ellipse. Land ends the beams: a pick whose whole 95 % interval lies behind the
first shore on its side is a contradiction (wrong side, wrong unit, wrong polygon) and is rejected with that reason; one
that its error lets lie in the water keeps its place and is named in the notes.
"""
from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..bottom.terrain import anchored, bottom_on
from ..bottom.terrain import ground_on as ground_on_grid
from ..model.constants import SOUND_SPEED_FOR_ERRORS_MPS
from ..model.errors import InputError
from ..model.messages import Message
from ..model.track import side_name
from ..uncertainty import ellipses
from ..uncertainty.nadir import SIDE_UNSURE, STATUSES
from ..uncertainty.sigmas import chosen, position_parts
from .budget import CAUSES, Observations, budget
from .cloud import with_cloud
from .covariance import standing
from .match import BOAT, Matches, tie
from .notes import notes_of
from .picknames import NO_SIDE
from .picks import true_ranges
from .poses import Poses
from .positioning import beams_of, lay_off, on_terrain, sample_frames

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from shapely.geometry.base import BaseGeometry

    from ..bottom.depthgrid import DepthGrid
    from ..model.table import Texts
    from ..model.track import Track
    from ..uncertainty.sigmas import Sigmas
    from .budget import Budget
    from .picks import Picks, Ranges

__all__ = ["RANGE_MODELS", "LocateSettings", "Located", "locate", "refuse_model"]

RANGE_MODELS = ("slant", "terrain")

_OFF_RECORD = 0.995
"""Share of the range in force from which on a shadow's end is the end of the record."""

_ON_TRACK_SIGMAS, _FEW_MARKS = 2.0, 3
"""How near the track a point is on it; how many points tell how they were made."""

_CRESCENT = "the heading is so uncertain that the true region is a crescent"

_POSITION = ("sigma_bias", "sigma_pass", "sigma_jitter")


@dataclass
class LocateSettings:
    """How picks are read: ``tie`` and ``mark_delay`` (s) as in ``match.tie``; ``time_offset`` (h), already applied;
    ``range_kind`` slant or ground; ``range_model`` slant or terrain; ``confidence`` 0 .. 1; ``errors`` a preset of
    ``sigmas.PRESETS`` and ``stated`` the sigmas the user gave instead, by name (None where not given); ``unit``
    (a key of ``units.LENGTHS``) what the reasons of rejected picks tell lengths in.

    Examples
    --------
    >>> import athwart
    >>> sigmas = athwart.LocateSettings(errors="careful", stated={"sigma_heading": 1.0}).check()
    >>> sigmas.sigma_heading, sigmas.sigma_bias
    (1.0, 1.0)
    """

    tie: str = "auto"
    mark_delay: float = 0.0
    time_offset: float = 0.0
    range_kind: str = "slant"
    range_model: str = "slant"
    confidence: float = 0.95
    errors: str = "ordinary"
    stated: dict = None
    unit: str = "m"

    def check(self, has_grid: bool = False) -> Sigmas:
        """Raise InputError for values that targets cannot be located with; return the ``Sigmas`` they ask for.

        Parameters
        ----------
        has_grid : bool
            Whether a depth grid is given, which the range model ``terrain`` needs.
        """
        ellipses.scale_factor(self.confidence)
        refuse_model(self.range_model, has_grid)
        return chosen(self.errors, **(self.stated or {}))


@dataclass
class Located:
    """``columns``: (n,) arrays by the names of ``schemas.TARGETS``; ``x``, ``y`` in the track's crs; ``outlines``: n
    ellipse polygons in that crs; ``source``: (n,) index of each target's pick; ``rejected``: columns of
    ``schemas.REJECTED``; ``notes`` and ``warnings``: sentences for the log; ``doubt``: (n,) why an ellipse does not
    hold, '' where it does."""

    columns: dict
    x: np.ndarray
    y: np.ndarray
    outlines: list
    source: np.ndarray
    rejected: dict
    notes: list
    warnings: list
    doubt: np.ndarray = None


def locate(track: Track, picks: Picks, settings: LocateSettings | None = None, water: BaseGeometry | None = None,
           ground_on_terrain: Callable[..., Any] | None = None,
           bottom_at: Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray] | None = None, *,
           grid: DepthGrid | None = None) -> Located:
    """Locate picks.

    Parameters
    ----------
    track : Track
    picks : survey.targets.picks.Picks
    settings : LocateSettings, optional
    water : shapely Polygon or MultiPolygon, optional
        In the track's crs; islands are holes.
    ground_on_terrain : callable, optional
        ``f(frame, east, north, dir_e, dir_n, slant, depth, sample) -> nadir.TerrainGround``, needed for the range model
        ``terrain``: samples in frame metres, unit vectors of the beams, true slant ranges, depths in force (m), and
        which samples of the track they are.
    bottom_at : callable, optional
        ``f(x, y, sample) -> (n,) m``: bottom at places in the track's crs, for targets of those samples of the track;
        NaN where it is unknown.
    grid : survey.bottom.depthgrid.DepthGrid, optional
        Depths of the bottom, in place of the two callables: tied to the track, they are made from it.

    Returns
    -------
    Located

    Raises
    ------
    InputError
        For settings that cannot be used, or picks none of which can be tied to the track for one common reason.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> away = np.arange(0.0, 202.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=30.0, depth_m=5.0)).track
    >>> picks = athwart.Picks.of(1, t_s=[50.0], side=[1], slant_m=[13.0])
    >>> found = athwart.locate(track, picks)
    >>> float((found.x[0] - 500000).round(1)), float((found.y[0] - 4500000).round(1)), found.columns["status"][0]
    (12.1, 100.0, 'bottom')
    >>> float(found.columns["semi_major_m"][0].round(1)), found.columns["main_cause"][0]
    (7.1, 'position')
    """
    settings = settings or LocateSettings()
    anchors = None
    if grid is not None:
        anchors, uneven = anchored(track, grid), settings.range_model == "terrain"
        ground_on_terrain = ground_on_grid(grid, anchors) if uneven else None
        bottom_at = bottom_on(grid, anchors, track.crs)
    sigmas = settings.check(ground_on_terrain is not None)
    scale = ellipses.scale_factor(settings.confidence)
    stated = {name: value for name, value in (settings.stated or {}).items() if value is not None}
    # a pick with a depth of its own can use a sample that lacks nothing else
    track = replace(track, usable=track.usable | (track.reject_reason == "no depth") & np.isfinite(track.heading_deg))
    ties = tie(track, picks, settings.tie, settings.mark_delay, settings.time_offset)
    poses = Poses.at(track, ties.at)
    true = true_ranges(picks, poses, ties.ground, settings.range_kind, sigmas.sigma_range,
                       standing(sigmas.sigma_height), settings.unit)
    _refuse_boat_marks(ties, poses)
    sideless = (picks.side == 0) & np.isin(picks.reason, ("", NO_SIDE)) & np.isnan(ties.ground)
    reason = _first(np.where(sideless, "", picks.reason), ties.reason, true.reason)
    kept = np.flatnonzero(reason == "")
    poses, true, hand, aside = poses.take(kept), true.take(kept), ties.tied_by[kept] == BOAT, ties.ground[kept]
    obs = _sightings(track, poses, true, np.where(np.isnan(aside), picks.side[kept], np.where(aside < 0, -1, 1)),
                      settings, sigmas, any(name in stated for name in _POSITION),
                      np.where(hand, sigmas.sigma_hand_time, sigmas.sigma_time))
    # an end at the range in force was cut off by it, whoever read it
    obs.open_shadow = np.isfinite(true.shadow_end) & (
        picks.shadow_open[kept] | (true.shadow_end >= _OFF_RECORD * poses.range_m))
    frames = sample_frames(track, poses)
    if settings.range_model == "terrain":
        obs.terrain = on_terrain(poses, obs, frames, ground_on_terrain)
        obs.depth_scales &= np.isnan(obs.terrain.ground)
    errors = budget(obs, sigmas)
    if obs.terrain is not None and hasattr(ground_on_terrain, "cloud"):
        errors = with_cloud(obs, errors, sigmas, frames, beams_of(poses, obs.side), poses.sample,
                           ground_on_terrain.cloud)
    at = [np.where(np.isnan(aside), np.nan, values[kept]) for values in (picks.x, picks.y)]
    places = lay_off(poses, obs, errors, frames, scale, at, water)
    lost = sideless[kept] & (errors.status != SIDE_UNSURE)  # only right under the boat does no side matter
    places.reason = np.where(lost, NO_SIDE, places.reason)
    reason[kept] = places.reason
    columns = _columns(track, poses, true, obs, errors, sigmas, settings, scale)
    columns["label"] = picks.label[kept]
    columns["bottom_m"] = np.full(len(kept), np.nan)
    if bottom_at is not None and len(kept):
        columns["bottom_m"] = bottom_at(places.x, places.y, poses.sample)
    good = np.flatnonzero(places.reason == "")
    columns = {name: values[good] for name, values in columns.items()}
    columns["target_id"] = np.arange(1, len(good) + 1)
    refused = np.flatnonzero(reason != "")
    source = kept[good]
    notes, warnings = notes_of(picks, ties, columns, source, errors.bent[good], places.beyond[good], sigmas, settings)
    warnings = [*(anchors.warnings if anchors else ()), *warnings]
    return Located(columns, places.x[good], places.y[good], list(places.outlines[good]), source,
                   {"source_id": picks.source_id[refused], "reason": reason[refused]}, notes, warnings,
                   np.where(errors.bent[good], _CRESCENT, "").astype(object))


def refuse_model(range_model: str, has_grid: bool) -> None:
    """Raise InputError for a range model that targets cannot be located with.

    Examples
    --------
    >>> from athwart.targets.locate import refuse_model
    >>> refuse_model("slant", has_grid=False)
    """
    if range_model == "subtract":
        raise InputError(Message("{range_model} 'subtract' (range minus depth) places every target too near the boat "
                                 "and is kept for comparing swaths only. Use 'slant'."))
    if range_model not in RANGE_MODELS:
        raise InputError(Message("{range_model} is '{given}'; choose one of {known}.", given=range_model,
                                 known=", ".join(RANGE_MODELS)))
    if range_model == "terrain" and not has_grid:
        raise InputError(Message("{range_model} 'terrain' needs a depth grid: give {grid}, or use 'slant'."))


def _refuse_boat_marks(ties: Matches, poses: Poses) -> None:
    """Points on the boat's own track are marks made on board; as places of objects they would all lie under it."""
    by_point = np.isfinite(ties.ground)
    on_it = by_point & (np.abs(ties.ground) <= _ON_TRACK_SIGMAS * poses.sigma_pos_m)
    if by_point.sum() >= _FEW_MARKS and 2 * on_it.sum() > by_point.sum():
        raise InputError(Message(
            "{count} of {all} points lie on the boat's own track: they are marks made on board as the objects passed, "
            "not places of objects. Choose {tie} 'boat point', with the side and the range of each.",
            count=int(on_it.sum()), all=int(by_point.sum())))


def _first(*reasons: Texts) -> Texts:
    """The first text of each row that says something."""
    out = reasons[0].copy()
    for more in reasons[1:]:
        out = np.where(out == "", more, out)
    return out


def _sightings(track: Track, poses: Poses, true: Ranges, side: np.ndarray, settings: LocateSettings, sigmas: Sigmas,
               position_stated: bool, sigma_time: np.ndarray) -> Observations:
    sample = poses.sample
    bias, drift, jitter = position_parts(sigmas, poses.sigma_pos_m, position_stated)
    known = np.isfinite(poses.sigma_heading_deg)
    return Observations(
        side=side.astype(float), slant=true.top, shadow_end=true.shadow_end, depth=true.depth,
        azimuth_deg=poses.heading_deg + np.nan_to_num(poses.mount_deg), vel_east=poses.vel_east,
        vel_north=poses.vel_north, turn_dps=poses.turn_dps, lever_forward=np.nan_to_num(poses.lever_forward_m),
        lever_starboard=np.nan_to_num(poses.lever_starboard_m),
        course_heading=track.heading_source[sample] != "compass",
        depth_scales=true.own_depth | (track.depth_source[sample] != "grid"),
        ground_reading=np.full(len(sample), settings.range_kind == "ground"),
        sound_speed=np.where(np.isfinite(poses.sound_speed_mps), poses.sound_speed_mps, SOUND_SPEED_FOR_ERRORS_MPS),
        sigma_bias=bias, sigma_pass=drift, sigma_jitter=jitter,
        sigma_heading=np.where(known, poses.sigma_heading_deg, sigmas.sigma_heading), sigma_time=sigma_time)


def _columns(track: Track, poses: Poses, true: Ranges, obs: Observations, errors: Budget, sigmas: Sigmas,
             settings: LocateSettings, scale: float) -> dict[str, Any]:
    """Columns of ``schemas.TARGETS`` for every pick that has a place."""
    sample, count = poses.sample, len(poses.sample)
    major, minor = errors.spread.semi_major, errors.spread.semi_minor
    flat = np.full(count, True) if obs.terrain is None else np.isnan(obs.terrain.ground)
    causes = np.array(list(CAUSES), object)
    everywhere = {"confidence_pct": 100 * settings.confidence, "sig_latency_s": sigmas.sigma_latency,
                  "sig_mount_deg": sigmas.sigma_mount, "sig_lever_m": sigmas.sigma_offset,
                  "sig_trim_deg": sigmas.sigma_trim,
                  "sig_depth_offset_m": sigmas.sigma_depth / np.sqrt(2)}
    return {
        "outing": track.outing[sample], "pass_id": track.pass_id[sample], "sample_id": track.sample_id[sample],
        "t_s": poses.t_s, "side": np.array([side_name(side) if side else "" for side in obs.side], object),
        "status": np.array(STATUSES, object)[errors.status],
        "range_model": np.where(flat, "slant", "terrain").astype(object),
        "slant_m": true.slant, "ground_m": errors.ground, "ground_lo_m": errors.low,
        "ground_hi_m": errors.high, "depth_m": true.depth, "heading_deg": poses.heading_deg,
        "bearing_deg": np.where(obs.side == 0, np.nan, (obs.azimuth_deg + 90 * obs.side) % 360),
        "height_m": errors.height,
        "sigma_height_m": errors.sigma_height, "sigma_east_m": np.sqrt(errors.cov[:, 0]),
        "sigma_north_m": np.sqrt(errors.cov[:, 2]), "cov_en_m2": errors.cov[:, 1], "semi_major_m": scale * major,
        "semi_minor_m": scale * minor, "azimuth_deg": errors.spread.azimuth_deg,
        "radius_m": ellipses.circle_radius(major, minor, settings.confidence),
        "main_cause": causes[errors.shares.argmax(axis=1)],
        **{f"pct_{cause}": errors.shares[:, i] for i, cause in enumerate(CAUSES)},
        "own_ee_m2": errors.own[:, 0], "own_en_m2": errors.own[:, 1], "own_nn_m2": errors.own[:, 2],
        "vel_east_mps": poses.vel_east, "vel_north_mps": poses.vel_north, "turn_dps": poses.turn_dps,
        "dg_dscale_m": errors.dg_dscale, "dg_ddepth": errors.dg_ddepth, "latency_s": poses.latency_s,
        "mount_deg": poses.mount_deg, "lever_forward_m": poses.lever_forward_m,
        "lever_starboard_m": poses.lever_starboard_m, "range_ratio": poses.range_ratio,
        "heading_source": track.heading_source[sample], "height_at_least": obs.open_shadow,
        "sig_bias_m": obs.sigma_bias,
        "sig_pass_m": obs.sigma_pass, "sig_heading_deg": obs.sigma_heading, "sig_scale": errors.sigma_scale,
        **{name: np.full(count, value) for name, value in everywhere.items()}}
