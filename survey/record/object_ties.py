"""Objects on the record tied to the track: where the boat was at each of their points, and what cannot be tied."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message
from ..targets.match import no_overlap
from ..targets.poses import Poses, Runs
from .dimensions import POINTS

if TYPE_CHECKING:
    from ..model.track import Track
    from .object_readings import ObjectReadings

__all__ = ["tied"]


def tied(track: Track, readings: ObjectReadings, by_time: bool,
         time_offset: float) -> tuple[dict[str, Poses], dict[str, np.ndarray], np.ndarray]:
    """Poses of each point and of the middle, spans of the track's samples between both ends, and reasons."""
    track_key = track.t_s if by_time else track.record_ping
    runs = Runs(track, track_key)
    if not len(runs):
        raise InputError(Message("The track has no times; give the objects' pings.") if by_time else
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
        raise InputError(no_overlap(middle[known], runs, time_offset) if by_time else Message(
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
