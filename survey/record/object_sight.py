"""Objects in one frame as the boat saw them, and draws of what is not known about that.

Where a mark lies on the object is a judgement, no source: the eye ends a bright object between half a footprint and one
and a half of them beyond its end, taken off once; the near edge shows at any share of its height, the far edge in the
upper half.
"""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..bottom.terrain import ground_on
from ..model.constants import SOUND_SPEED_FOR_ERRORS_MPS
from ..uncertainty.sigmas import position_parts
from .dimensions import POINTS, Errors, Sighting

if TYPE_CHECKING:
    from typing import Any

    from ..bottom.depthgrid import DepthGrid
    from ..bottom.terrain import Anchors
    from ..geometry.frame import Frame
    from ..model.track import Track
    from ..targets.poses import Poses
    from ..uncertainty.sigmas import Sigmas
    from .object_readings import ObjectReadings

__all__ = ["DRAWS", "ObjectSight"]

DRAWS = 1000
_POSITION = ("sigma_bias", "sigma_pass", "sigma_jitter")


class ObjectSight:
    """Some objects in one frame: their readings, where the boat was, how it saw them."""

    def __init__(self, track: Track, read: ObjectReadings, poses: dict[str, Poses], positions: dict[str, np.ndarray],
                 frame: Frame, sigmas: Sigmas, stated: dict[str, float], grid: DepthGrid, anchors: Anchors) -> None:
        self.track, self.read, self.poses, self.positions = track, read, poses, positions
        self.frame, self.sigmas, self.grid, self.anchors = frame, sigmas, grid, anchors
        self.stated = any(stated.get(name) is not None for name in _POSITION)
        self.middle, self.count = poses["middle"], len(read)
        self.ratio = self.middle.range_ratio
        self.at, self.beam = zip(*(self._laid(poses[point]) for point in (*POINTS, "middle")))
        self.seen = self._sighting()

    def _laid(self, pose: Poses) -> tuple[np.ndarray, np.ndarray]:
        east, north = self.frame.forward(pose.x, pose.y)
        with np.errstate(invalid="ignore"):
            convergence = self.frame.convergence(np.nan_to_num(east), np.nan_to_num(north))
            a = np.radians(pose.heading_deg + np.nan_to_num(pose.mount_deg) - convergence)
        self.convergence = convergence
        at = np.column_stack([east, north])
        at[~np.isfinite(pose.x)] = np.nan
        return at, self.read.side[:, None] * np.column_stack([np.cos(a), -np.sin(a)])

    def _sighting(self) -> Sighting:
        read, ratio = self.read, self.ratio
        slant = {point: getattr(read, f"{point}_m") * ratio for point in POINTS}
        bed = {point: self.poses[point].depth_m for point in POINTS}
        for point in POINTS:
            bed[point] = np.where(np.isfinite(bed[point]), bed[point], self.middle.depth_m)
        start, end = read.shadow_start_m * ratio, read.shadow_end_m * ratio
        start = np.where(np.isfinite(end) & ~np.isfinite(start), slant["far"], start)
        with np.errstate(all="ignore"):
            reach = np.nanmean(np.array([slant[point] for point in POINTS]), axis=0)
        slope = np.zeros(self.count)
        if self.grid is not None:
            slope, flat = self._plane(reach, end)
            bed = {point: np.where(np.isfinite(flat), flat, bed[point]) for point in POINTS}
        self.reach = reach
        footprint = 2 * reach * np.tan(np.radians(self.sigmas.beam_width) / 2)
        scales = np.isfinite(read.depth_m) | (self.track.depth_source[np.maximum(self.middle.sample, 0)] != "grid")
        named = dict(zip(POINTS, self.at)), dict(zip(POINTS, self.beam))
        return Sighting(*named, slant, bed, slope, start, end, scales, footprint)

    def _plane(self, reach: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Slope of the bed outwards and its depth carried to under the transducer, NaN where the grid knows nothing."""
        ask = ground_on(self.grid, self.anchors)
        at, beam = self.at[-1], self.beam[-1]

        def met(slant: np.ndarray) -> Any:
            return ask(self.frame, *at.T, *beam.T, slant, self.middle.depth_m, self.middle.sample)
        near = met(reach)
        slope, place, depth = near.slope.copy(), near.ground, near.depth
        shadowed = np.isfinite(end)
        if shadowed.any():
            far = met(np.where(shadowed, end, np.nan))
            run = far.ground - place
            with np.errstate(all="ignore"):
                between = (far.depth - depth) / run
            slope = np.where(np.isfinite(between) & (run > 0.5), between, slope)
        slope = np.where(np.isfinite(place), np.nan_to_num(slope), 0.0)
        return slope, depth - slope * place

    def best_guess(self) -> Errors:
        """What is taken for granted where nothing is drawn: the middle of each judgement."""
        usual = {"begin": 0.5, "end": 0.5, "near": 0.5, "far": 0.75}
        standing = np.sqrt(2 / np.pi) * self.sigmas.sigma_height
        return Errors(dict.fromkeys(POINTS, 0.0), {point: np.zeros(2) for point in POINTS}, 0.0, 0.0, 0.0, 0.0, 0.0,
                      1.0, standing, usual)

    def errors(self, rng: np.random.Generator) -> Errors:
        """``DRAWS`` draws of what is not known, a row a draw, a column an object."""
        read, sigmas, shape = self.read, self.sigmas, (DRAWS, self.count)

        def normal(size: Any) -> np.ndarray:
            return rng.normal(size=shape) * size
        sigma_slant = np.where(np.isfinite(read.sigma_slant_m), read.sigma_slant_m * self.ratio, sigmas.sigma_range)
        pace = self.pace()
        velocity = np.column_stack([self.middle.vel_east, self.middle.vel_north])
        step = np.where(np.isfinite(read.sigma_count)[:, None], pace * read.sigma_count[:, None],
                        velocity * sigmas.sigma_time)
        moved = {}
        for point in POINTS:
            rows = rng.uniform(-0.5, 0.5, shape) * read.row_count
            moved[point] = rng.normal(size=shape)[..., None] * step + rows[..., None] * pace
        jitter = np.einsum("nij,dnjk->idnk", self._jitter(), rng.normal(size=(*shape, len(POINTS), 2)))
        for k, point in enumerate(POINTS):
            moved[point] = moved[point] + jitter[k]
        lift = rng.uniform(0, 1, shape)
        heading = np.where(np.isfinite(self.middle.sigma_heading_deg), self.middle.sigma_heading_deg,
                           sigmas.sigma_heading)
        speed = np.where(np.isfinite(self.middle.sound_speed_mps), self.middle.sound_speed_mps,
                         SOUND_SPEED_FOR_ERRORS_MPS)
        return Errors(
            slant={point: normal(sigma_slant) for point in POINTS}, moved=moved, shadow_start=normal(sigma_slant),
            shadow_end=normal(sigma_slant), depth=normal(sigmas.sigma_depth),
            scale=normal(sigmas.sigma_sound_speed / speed),
            turn=normal(np.radians(np.hypot(heading, sigmas.sigma_mount))), taken=rng.uniform(0.5, 1.5, shape),
            height=np.abs(normal(sigmas.sigma_height)),
            lift={"begin": lift, "end": lift, "near": rng.uniform(0, 1, shape), "far": rng.uniform(0.5, 1, shape)})

    def pace(self) -> np.ndarray:
        """(n, 2) way of the transducer in one count (m)."""
        apart = self.read.end - self.read.begin
        with np.errstate(all="ignore"):
            pace = (self.at[1] - self.at[0]) / apart[:, None]
        speed = np.column_stack([self.middle.vel_east, self.middle.vel_north])
        own = np.isfinite(pace).all(axis=1) & (apart > 0)
        return np.where(own[:, None], pace, np.nan_to_num(speed))

    def _jitter(self) -> np.ndarray:
        """(n, 4, 4) what the jitter of the samples, drawn for itself, moves each point by, each axis (m).

        A point between two samples has a share of either, so points that hang on the same samples err together.
        """
        jitter = position_parts(self.sigmas, self.middle.sigma_pos_m, self.stated)[2]
        at = np.nan_to_num(np.column_stack([self.positions[point] for point in POINTS]))
        low, part = np.floor(at), at - np.floor(at)
        shares = ((low, 1 - part), (low + 1, part))
        together = sum(np.where(one[:, :, None] == two[:, None, :], share[:, :, None] * other[:, None, :], 0.0)
                       for one, share in shares for two, other in shares)
        size, axes = np.linalg.eigh(together)  # points at one place: some sizes are zero
        return np.sqrt(np.maximum(size, 0.0))[:, None, :] * axes * np.broadcast_to(jitter, self.count)[:, None, None]
