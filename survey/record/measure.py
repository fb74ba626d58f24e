"""Objects measured off the record: length, width, height, how they lie, the water over them, each with its interval.

The geometry is in ``dimensions``. How far off it may be is drawn (JCGM 101:2008): 1000 seeded draws of all that is
not known, the same for every run. What both ends of an object share hardly touches its size: clock, latency, lever arm
and the place of the boat are left out; heading, depth and sound speed are drawn once for all points of an object, the
jitter of positions only as far as the two ends do not hang on the same samples.

Where a mark lies on the object is a judgement, no source: the eye ends a bright object between half a footprint and one
and a half of them beyond its end, taken off once; the near edge shows at any share of its height, the far edge in the
upper half.
"""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..bottom.terrain import anchored, bottom_on, ground_on
from ..geometry import shapes
from ..model import patience
from ..model.constants import SOUND_SPEED_FOR_ERRORS_MPS
from ..model.errors import InputError
from ..model.messages import Message
from ..model.track import side_name
from ..targets.match import no_overlap
from ..targets.poses import Poses, Runs
from ..targets.positioning import sample_frames
from ..uncertainty.sigmas import chosen, position_parts
from .dimensions import POINTS, Errors, Sighting, dimensions

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from ..bottom.depthgrid import DepthGrid
    from ..bottom.terrain import Anchors
    from ..geometry.frame import Frame
    from ..model.track import Track
    from ..uncertainty.sigmas import Sigmas
    from .object_readings import ObjectReadings

__all__ = ["DRAWS", "MeasureSettings", "Measured", "measure_objects"]

DRAWS = 1000
_POSITION = ("sigma_bias", "sigma_pass", "sigma_jitter")
_AT_ONCE = 200
_PERCENT = (2.5, 97.5, 99.9)
"""The interval, and what is said to be at most: small ones are picked out for being small, errors and all."""

_OFF_RECORD = 0.995
"""Share of the range in force from which on an edge is the end of the record."""

_THIN_M = 0.1
"""Side of the box of an object whose width or length nobody marked."""


@dataclass(frozen=True)
class MeasureSettings:
    """``by_time``: counts are seconds since 1970 UTC, else pings. ``errors``: a preset of ``sigmas.PRESETS``;
    ``stated``: sigmas given instead, by name (None where not given); ``time_offset`` (h), already applied, only for
    messages.

    Examples
    --------
    >>> import athwart
    >>> athwart.MeasureSettings(errors="careful", stated={"beam_width": 0.8}).sigmas().beam_width
    0.8
    """

    by_time: bool = True
    errors: str = "ordinary"
    stated: dict = None
    time_offset: float = 0.0

    def sigmas(self) -> Sigmas:
        """The ``Sigmas`` asked for; InputError where there are none such."""
        return chosen(self.errors, **(self.stated or {}))


@dataclass
class Measured:
    """``columns``: (n,) arrays by the names of ``schemas.OBJECTS``; ``boxes``: n polygons in the track's crs;
    ``source``: (n,) index of each among the readings; ``rejected``: columns of ``schemas.REJECTED``; ``notes``,
    ``warnings``: sentences for the log."""

    columns: dict
    boxes: list
    source: np.ndarray
    rejected: dict
    notes: list
    warnings: list


def measure_objects(track: Track, readings: ObjectReadings, settings: MeasureSettings = None, grid: DepthGrid = None,
                    step: Callable[[float], object] = None) -> Measured:
    """Length, width, height and orientation of objects, each with its interval.

    Parameters
    ----------
    track : Track
    readings : survey.record.object_readings.ObjectReadings
    settings : MeasureSettings, optional
    grid : survey.bottom.depthgrid.DepthGrid, optional
        How the bed runs; without it it is level.
    step : callable, optional
        ``step(fraction)``.

    Returns
    -------
    Measured

    Raises
    ------
    InputError
        If none of the objects falls on the track.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> away = np.arange(0.0, 202.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=30.0, depth_m=5.0)).track
    >>> log = athwart.ObjectReadings.of(1, side=[1], begin=[40.0], end=[44.0], near_m=[12.0], far_m=[13.0],
    ...                                 shadow_start_m=[13.0], shadow_end_m=[15.0])
    >>> found = athwart.measure_objects(track, log, athwart.MeasureSettings(errors="survey"))
    >>> [round(float(found.columns[name][0]), 1) for name in ("length_m", "width_m", "height_m", "azimuth_deg")]
    [7.8, 1.1, 0.7, 0.0]
    """
    settings = settings or MeasureSettings()
    settings.sigmas()
    poses, spans, reason = _tied(track, readings, settings)
    good = np.flatnonzero(reason == "")
    kept = readings.take(good)
    poses = {name: part.take(good) for name, part in poses.items()}
    spans = {name: part[good] for name, part in spans.items()}
    anchors = anchored(track, grid) if grid is not None else None
    made, boxes = {}, np.empty(len(good), object)
    for frame, index in sample_frames(track, poses["middle"]):
        for start in range(0, len(index), _AT_ONCE):
            patience.look()
            part = index[start:start + _AT_ONCE]
            job = _Job(track, kept.take(part), {name: p.take(part) for name, p in poses.items()},
                       {name: s[part] for name, s in spans.items()}, frame, settings, grid, anchors)
            columns, boxes[part] = job.run()
            for name, values in columns.items():
                made.setdefault(name, np.empty(len(good), values.dtype))[part] = values
            if step is not None:
                step((start + len(part)) / max(len(index), 1))
    if good.size:
        order = np.arange(len(good))
        made["object_id"] = order + 1
    lost = np.flatnonzero(reason != "")
    rejected = {"source_id": readings.source_id[lost], "reason": reason[lost], "name": readings.label[lost]}
    warnings = [*(anchors.warnings if anchors else ()), *_warnings(made)]
    return Measured(made, list(boxes), good, rejected, [], warnings)


def _tied(track: Track, readings: ObjectReadings,
          settings: MeasureSettings) -> tuple[dict[str, Poses], dict[str, np.ndarray], np.ndarray]:
    """Poses of each point and of the middle, spans of the track's samples between both ends, and reasons."""
    track_key = track.t_s if settings.by_time else track.record_ping
    runs = Runs(track, track_key)
    if not len(runs):
        raise InputError(Message("The track has no times; give the objects' pings.") if settings.by_time else
                         Message("The track carries no rising ping count. Give {prepare(fixes.ping)} in {prepare()}, "
                                 "or give the objects' times."))
    reason = readings.reason.astype(object).copy()
    ends = np.array([getattr(readings, point) for point in POINTS])
    known = np.isfinite(ends).any(axis=0)
    with np.errstate(all="ignore"):
        middle = np.where(known, np.nansum(np.where(np.isfinite(ends), ends, 0), axis=0)
                          / np.maximum(np.isfinite(ends).sum(axis=0), 1), np.nan)
    run, other = runs.find(middle, readings.outing)
    if np.isfinite(middle).any() and not (run >= 0).any():
        raise InputError(no_overlap(middle[known], runs, settings.time_offset) if settings.by_time else Message(
            "No object falls on the track: they are on pings {low:.0f} to {high:.0f}, the track has {start:.0f} to "
            "{end:.0f}.", low=np.nanmin(middle), high=np.nanmax(middle), start=runs.start.min(), end=runs.end.max()))
    low, high = (np.append(values, np.nan)[run] for values in (runs.start, runs.end))
    slack = np.maximum(readings.row_count, 1e-6)
    held, cut = {}, readings.length_cut.copy()
    for point in POINTS:
        value = getattr(readings, point)
        held[point] = np.clip(value, low, high)
        cut |= (np.abs(value - held[point]) > 0) & np.isin(point, ("begin", "end"))
        far = np.abs(value - held[point]) > slack + np.abs(readings.end - readings.begin)
        reason[far & (reason == "")] = "it lies on two stretches of the track"
    readings.length_cut[:] = cut
    said = ((run < 0, "no unbroken stretch of the track covers it"),
            (other >= 0, "two stretches of the track cover it: select the outing that it is of"),
            (~np.isin(readings.side, (-1, 1)), "it has no side, port or starboard"),
            (~known, "it has neither ends nor edges"))
    for wrong, words in said:
        reason[wrong & (reason == "")] = words
    own = np.isfinite(readings.depth_m)
    positions = {point: runs.position(np.where(np.isfinite(held[point]), run, -1), held[point]) for point in POINTS}
    positions["middle"] = runs.position(run, middle)
    poses = {name: Poses.at(track, np.where(np.isfinite(at), at, np.nan)) for name, at in positions.items()}
    ratio = np.where(np.isfinite(poses["middle"].range_ratio), poses["middle"].range_ratio, 1.0)
    for part in poses.values():
        part.depth_m[:] = np.where(own & part.tied, readings.depth_m * ratio, part.depth_m)
        part.range_ratio[:] = np.where(np.isfinite(part.range_ratio), part.range_ratio, 1.0)
    reason[~(poses["middle"].depth_m > 0) & (reason == "")] = "neither it nor the track has a depth there"
    return poses, positions, reason


class _Job:
    """Some objects in one frame."""

    def __init__(self, track: Track, read: ObjectReadings, poses: dict[str, Poses], positions: dict[str, np.ndarray],
                 frame: Frame, settings: MeasureSettings, grid: DepthGrid, anchors: Anchors) -> None:
        self.track, self.read, self.poses, self.positions = track, read, poses, positions
        self.frame, self.sigmas, self.grid, self.anchors = frame, settings.sigmas(), grid, anchors
        given = settings.stated or {}
        self.stated = any(given.get(name) is not None for name in _POSITION)
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

    def _errors(self, rng: np.random.Generator) -> Errors:
        """Draws of what is not known, a row a draw, a column an object; see the module."""
        read, sigmas, shape = self.read, self.sigmas, (DRAWS, self.count)

        def normal(size: Any) -> np.ndarray:
            return rng.normal(size=shape) * size
        sigma_slant = np.where(np.isfinite(read.sigma_slant_m), read.sigma_slant_m * self.ratio, sigmas.sigma_range)
        pace = self._pace()
        velocity = np.column_stack([self.middle.vel_east, self.middle.vel_north])
        step = np.where(np.isfinite(read.sigma_count)[:, None], pace * read.sigma_count[:, None],
                        velocity * sigmas.sigma_time)
        moved = {}
        for point in POINTS:
            rows = rng.uniform(-0.5, 0.5, shape) * read.row_count
            moved[point] = rng.normal(size=shape)[..., None] * step + rows[..., None] * pace
        for pair in (("begin", "end"), ("near", "far")):
            moved[pair[1]] = moved[pair[1]] + self._jitter(pair)[:, None] * rng.normal(size=(*shape, 2))
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

    def _pace(self) -> np.ndarray:
        """(n, 2) way of the transducer in one count (m)."""
        apart = self.read.end - self.read.begin
        with np.errstate(all="ignore"):
            pace = (self.at[1] - self.at[0]) / apart[:, None]
        speed = np.column_stack([self.middle.vel_east, self.middle.vel_north])
        own = np.isfinite(pace).all(axis=1) & (apart > 0)
        return np.where(own[:, None], pace, np.nan_to_num(speed))

    def _jitter(self, pair: tuple[str, str]) -> np.ndarray:
        """(n,) standard deviation, each axis, of the way between two points by the jitter of the samples."""
        jitter = position_parts(self.sigmas, self.middle.sigma_pos_m, self.stated)[2]
        low, part = zip(*((np.floor(at), at - np.floor(at)) for at in
                          (np.nan_to_num(self.positions[point]) for point in pair)))
        total = np.zeros(self.count)
        for step in (0, 1, 2):  # samples counted from the first point
            sample = np.minimum(*low) + step
            weight = sum(sign * np.where(sample == low[k], 1 - part[k], np.where(sample == low[k] + 1, part[k], 0.0))
                         for k, sign in ((0, -1), (1, 1)))
            total += np.square(weight)
        for k in (0, 1):  # and those farther on
            apart = low[k] - np.minimum(*low)
            total += np.where(apart > 2, np.square(1 - part[k]), 0.0) + np.where(apart > 1, np.square(part[k]), 0.0)
        return jitter * np.sqrt(total)

    def run(self) -> tuple[dict[str, Any], np.ndarray]:
        """(columns, boxes) of the objects."""
        zero = dict.fromkeys(POINTS, 0.0)
        usual = {"begin": 0.5, "end": 0.5, "near": 0.5, "far": 0.75}
        none = {point: np.zeros(2) for point in POINTS}
        standing = np.sqrt(2 / np.pi) * self.sigmas.sigma_height
        best = dimensions(self.seen, Errors(zero, none, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, standing, usual))
        drawn = dimensions(self.seen, self._errors(np.random.default_rng(17)))
        read = self.read
        # where more would be taken off than is left, the beam and not the object is seen
        small = best.length < self.seen.footprint * best.along
        # the width of what lies aslant is made up by the beam
        lean = np.sqrt(np.maximum(1 - np.square(best.along), 0))
        slim = best.width < self.seen.footprint * lean
        edge = _OFF_RECORD * self.middle.range_m
        open_shadow = read.shadow_open | (self.seen.shadow_end >= edge)
        columns = {}
        for name, shown, cut, beam in (
                ("length", best.axis_shown, read.length_cut, small & ~read.length_cut),
                ("width", best.width_shown, read.width_cut | (self.seen.slant["far"] >= edge),
                 slim & ~read.width_cut),
                ("height", None, open_shadow, np.zeros(self.count, bool))):
            value = getattr(best, name)
            many = getattr(drawn, name)
            least, most = cut & np.isfinite(value), beam & np.isfinite(value)
            low, high, surely = _quantiles(many)
            high = np.where(most, surely, high)
            value = value if shown is None else np.where(most, shown, value)
            columns.update({f"{name}_m": value, f"sigma_{name}_m": _spread(many, least | most),
                            f"{name}_lo_m": np.where(most, np.nan, low), f"{name}_hi_m": np.where(least, np.nan, high),
                            f"{name}_at_least": least, f"{name}_at_most": most})
        del columns["height_at_most"]
        columns["azimuth_deg"], columns["sigma_azimuth_deg"] = self._azimuth(best, drawn, small)
        columns.update(self._least_depth(best, drawn, open_shadow))
        columns.update(self._facts(best))
        return columns, self._boxes(best, columns)

    def _azimuth(self, best: Any, drawn: Any, small: np.ndarray) -> Any:
        """True azimuth 0 to 180 of the long axis, and its standard deviation, axial; NaN where the beam hides it."""
        with np.errstate(all="ignore"):
            doubled = np.exp(2j * (drawn.azimuth - best.azimuth)).mean(axis=0)
            spread = np.sqrt(-2 * np.log(np.minimum(np.abs(doubled), 1.0))) / 2
        true = (np.degrees(best.azimuth) + self.convergence) % 180
        known = np.isfinite(best.length) & ~small
        # at 180 it is 0 again
        true = np.where(np.abs(true - 180) < 1e-9, 0.0, true)
        return np.where(known, true, np.nan), np.where(known, np.degrees(spread), np.nan)

    def _least_depth(self, best: Any, drawn: Any, open_shadow: np.ndarray) -> dict[str, Any]:
        known = np.isfinite(best.height)
        least, spread = np.where(known, best.under, np.nan), _spread(drawn.under, ~known)
        source = np.full(self.count, "transducer", object)
        if self.grid is not None:
            x, y = self.frame.inverse(*best.centre.T)
            bottom = bottom_on(self.grid, self.anchors, self.track.crs)(x, y, self.middle.sample)
            on_grid = np.isfinite(bottom)
            least = np.where(on_grid & known, bottom - best.height, least)
            source[on_grid] = "water surface"
        source[~known] = ""
        return {"least_depth_m": least, "sigma_least_depth_m": spread, "least_depth_at_most": open_shadow & known,
                "depth_from": source}

    def _facts(self, best: Any) -> dict[str, Any]:
        read, middle = self.read, self.middle
        sample = middle.sample
        row_m = np.hypot(*self._pace().T) * read.row_count
        with np.errstate(all="ignore"):
            # on the ground a column is longer than along the slant
            column_m = read.column_m * self.ratio * self.reach / best.ground
            stretch = np.where((row_m > 0) & np.isfinite(column_m), column_m / row_m, np.nan)
        return {"source_id": read.source_id.astype(object), "label": read.label.astype(object),
                "outing": self.track.outing[sample], "pass_id": self.track.pass_id[sample],
                "sample_id": self.track.sample_id[sample], "t_s": middle.t_s,
                "side": np.array([side_name(side) for side in read.side], object), "slant_m": self.reach,
                "ground_m": best.ground, "speed_mps": np.hypot(middle.vel_east, middle.vel_north),
                "footprint_m": self.seen.footprint, "stretch": stretch}

    def _boxes(self, best: Any, columns: dict[str, Any]) -> np.ndarray:
        def side(values: np.ndarray) -> np.ndarray:
            return np.maximum(np.nan_to_num(values), _THIN_M) / 2
        unit = np.column_stack([np.sin(best.azimuth), np.cos(best.azimuth)])
        ahead = side(columns["length_m"])[:, None] * unit
        aside = side(columns["width_m"])[:, None] * np.column_stack([unit[:, 1], -unit[:, 0]])
        rings = np.stack([best.centre + a * ahead + b * aside for a, b in ((1, 1), (1, -1), (-1, -1), (-1, 1), (1, 1))],
                         axis=1)
        x, y = self.frame.inverse(rings[..., 0].ravel(), rings[..., 1].ravel())
        return shapes.polygons(np.column_stack([x, y]).reshape(rings.shape))


def _quantiles(many: np.ndarray) -> tuple[np.ndarray, ...]:
    with np.errstate(all="ignore"):
        known = np.isfinite(many).all(axis=0)
        found = np.percentile(np.where(known, many, 0.0), _PERCENT, axis=0)
    return tuple(np.where(known, values, np.nan) for values in found)


def _spread(many: np.ndarray, unknown: np.ndarray) -> np.ndarray:
    known = np.isfinite(many).all(axis=0) & ~unknown
    return np.where(known, np.where(np.isfinite(many), many, 0.0).std(axis=0), np.nan)


def _warnings(made: dict[str, Any]) -> list[str]:
    said = []
    if not made:
        return said
    for name, words in (("length", "long"), ("width", "wide")):
        count = int(made[f"{name}_at_most"].sum())
        if count:
            worst = np.flatnonzero(made[f"{name}_at_most"])[:3]
            shown = ", ".join(f"{made['source_id'][k]} (beam {made['footprint_m'][k]:.1f} m)" for k in worst)
            said.append(f"{count} of {len(made['source_id'])} objects are hardly larger than the beam there: only "
                        f"how {words} they are at most is known: {shown}. Pass nearer by.")
    count = int((made["length_at_least"] | made["width_at_least"]).sum())
    if count:
        said.append(f"{count} of {len(made['source_id'])} objects run off the record; they are at least so large.")
    count = int((~np.isfinite(made["height_m"])).sum())
    if count:
        said.append(f"{count} of {len(made['source_id'])} objects have no shadow, so neither their height nor "
                    "the water over them can be known.")
    return said
