"""Objects measured off the record: length, width, height, how they lie, the water over them, each with its interval.

The geometry is in ``dimensions``. How far off it may be is drawn (JCGM 101:2008): 1000 seeded draws of all that is
not known, the same for every run. What both ends of an object share hardly touches its size: clock, latency, lever arm
and the place of the boat are left out; heading, depth and sound speed are drawn once for all points of an object, the
jitter of positions sample by sample, so that ends and edges that hang on the same samples err together.
"""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..bottom.terrain import anchored, bottom_on
from ..geometry import shapes
from ..model import patience
from ..model.track import side_name
from ..targets.positioning import sample_frames
from ..uncertainty.sigmas import chosen
from .dimensions import dimensions
from .object_sight import ObjectSight
from .object_ties import tied
from .size_intervals import at_most, interval, spread

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from ..bottom.depthgrid import DepthGrid
    from ..model.track import Track
    from ..uncertainty.sigmas import Sigmas
    from .dimensions import Sizes
    from .object_readings import ObjectReadings

__all__ = ["MeasureSettings", "Measured", "measure_objects"]

_AT_ONCE = 200

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
    sigmas = settings.sigmas()
    poses, spans, reason = tied(track, readings, settings.by_time, settings.time_offset)
    good = np.flatnonzero(reason == "")
    kept = readings.take(good)
    poses = {name: part.take(good) for name, part in poses.items()}
    spans = {name: part[good] for name, part in spans.items()}
    anchors = anchored(track, grid) if grid is not None else None
    made: dict[str, np.ndarray] = {}
    boxes = np.empty(len(good), object)
    for frame, index in sample_frames(track, poses["middle"]):
        for start in range(0, len(index), _AT_ONCE):
            patience.look()
            part = index[start:start + _AT_ONCE]
            sight = ObjectSight(track, kept.take(part), {name: p.take(part) for name, p in poses.items()},
                                {name: s[part] for name, s in spans.items()}, frame, sigmas, settings.stated or {},
                                grid, anchors)
            columns, boxes[part] = _sizes(sight)
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


def _sizes(sight: ObjectSight) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """(columns, boxes) of the objects in one frame."""
    seen, read = sight.seen, sight.read
    best = dimensions(seen, sight.best_guess())
    drawn = dimensions(seen, sight.errors(np.random.default_rng(17)))
    # where more would be taken off than is left, the beam and not the object is seen
    small = best.length < seen.footprint * best.along
    # the width of what lies aslant is made up by the beam
    lean = np.sqrt(np.maximum(1 - np.square(best.along), 0))
    slim = best.width < seen.footprint * lean
    edge = _OFF_RECORD * sight.middle.range_m
    open_shadow = read.shadow_open | (seen.shadow_end >= edge)
    none = np.zeros(sight.count, bool)
    columns = {}
    for name, shown, cut, beam in (
            ("length", best.axis_shown, read.length_cut, small & ~read.length_cut),
            ("width", best.width_shown, read.width_cut | (seen.slant["far"] >= edge), slim & ~read.width_cut),
            ("height", best.height, open_shadow, none)):
        value, many = getattr(best, name), getattr(drawn, name)
        least, most = cut & np.isfinite(value), beam & np.isfinite(value)
        # a width hangs on how the axis lies, which errs too and always shortens it
        low, high = interval(many, value if name == "width" else None)
        columns.update({f"{name}_m": np.where(most, shown, value), f"sigma_{name}_m": spread(many, least | most),
                        f"{name}_lo_m": np.where(most, np.nan, low),
                        f"{name}_hi_m": np.where(least, np.nan, np.where(most, at_most(many), high)),
                        f"{name}_at_least": least, f"{name}_at_most": most})
    del columns["height_at_most"]
    columns["azimuth_deg"], columns["sigma_azimuth_deg"] = _azimuth(sight, best, drawn, small)
    columns.update(_least_depth(sight, best, drawn, open_shadow))
    columns.update(_facts(sight, best))
    return columns, _boxes(sight, best, columns)


def _azimuth(sight: ObjectSight, best: Sizes, drawn: Sizes, small: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """True azimuth 0 to 180 of the long axis, and its standard deviation, axial; NaN where the beam hides it."""
    with np.errstate(all="ignore"):
        doubled = np.exp(2j * (drawn.azimuth - best.azimuth)).mean(axis=0)
        turned = np.sqrt(-2 * np.log(np.minimum(np.abs(doubled), 1.0))) / 2
    true = (np.degrees(best.azimuth) + sight.convergence) % 180
    known = np.isfinite(best.length) & ~small
    # at 180 it is 0 again
    true = np.where(np.abs(true - 180) < 1e-9, 0.0, true)
    return np.where(known, true, np.nan), np.where(known, np.degrees(turned), np.nan)


def _least_depth(sight: ObjectSight, best: Sizes, drawn: Sizes, open_shadow: np.ndarray) -> dict[str, np.ndarray]:
    known = np.isfinite(best.height)
    least = np.where(known, best.under, np.nan)
    source = np.full(sight.count, "transducer", object)
    if sight.grid is not None:
        x, y = sight.frame.inverse(*best.centre.T)
        bottom = bottom_on(sight.grid, sight.anchors, sight.track.crs)(x, y, sight.middle.sample)
        on_grid = np.isfinite(bottom)
        least = np.where(on_grid & known, bottom - best.height, least)
        source[on_grid] = "water surface"
    source[~known] = ""
    return {"least_depth_m": least, "sigma_least_depth_m": spread(drawn.under, ~known),
            "least_depth_at_most": open_shadow & known, "depth_from": source}


def _facts(sight: ObjectSight, best: Sizes) -> dict[str, np.ndarray]:
    read, middle, track = sight.read, sight.middle, sight.track
    sample = middle.sample
    row_m = np.hypot(*sight.pace().T) * read.row_count
    with np.errstate(all="ignore"):
        # on the ground a column is longer than along the slant
        column_m = read.column_m * sight.ratio * sight.reach / best.ground
        stretch = np.where((row_m > 0) & np.isfinite(column_m), column_m / row_m, np.nan)
    return {"source_id": read.source_id.astype(object), "label": read.label.astype(object),
            "outing": track.outing[sample], "pass_id": track.pass_id[sample], "sample_id": track.sample_id[sample],
            "t_s": middle.t_s, "side": np.array([side_name(side) for side in read.side], object),
            "slant_m": sight.reach, "ground_m": best.ground,
            "speed_mps": np.hypot(middle.vel_east, middle.vel_north), "footprint_m": sight.seen.footprint,
            "stretch": stretch}


def _boxes(sight: ObjectSight, best: Sizes, columns: dict[str, np.ndarray]) -> np.ndarray:
    def side(values: np.ndarray) -> np.ndarray:
        return np.maximum(np.nan_to_num(values), _THIN_M) / 2
    unit = np.column_stack([np.sin(best.azimuth), np.cos(best.azimuth)])
    ahead = side(columns["length_m"])[:, None] * unit
    aside = side(columns["width_m"])[:, None] * np.column_stack([unit[:, 1], -unit[:, 0]])
    rings = np.stack([best.centre + a * ahead + b * aside for a, b in ((1, 1), (1, -1), (-1, -1), (-1, 1), (1, 1))],
                     axis=1)
    x, y = sight.frame.inverse(rings[..., 0].ravel(), rings[..., 1].ravel())
    return shapes.polygons(np.column_stack([x, y]).reshape(rings.shape))


def _warnings(made: dict[str, Any]) -> list[str]:
    said: list[str] = []
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
