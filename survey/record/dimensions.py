"""How long, wide and high an object is, from where it begins and ends on the record: geometry alone.

Length: both ends are laid off on the ground from where the boat was when each was abeam, so neither speed nor clock
enters. The beam has a width, so an object shows in pings before and after it is abeam: along the track it is drawn
longer by about the beam's footprint at its range, 2 r tan(beam / 2) (Blondel, *The Handbook of Sidescan Sonar*, 2009,
on along-track resolution, from memory), and this is taken off along the track. A long thing that lies at an angle a to
the track is drawn wider by footprint times sin a, which is taken off its width.

Width: the near and the far edge brought to the ground, square to the long axis. Height: from the shadow over a plane
bed, h = z0 (1 - Rt / Re), z0 the bed's plane under the transducer; on a level bed H (Re - Rt) / Re, which is H times
the length of the shadow over the slant range to its end (NOAA OCS *Field Procedures Manual* on target heights, and IHO
C-13, *Manual on Hydrography*, chapter 4: both from memory).
"""
from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

__all__ = ["POINTS", "Errors", "Sighting", "Sizes", "dimensions"]

POINTS = ("begin", "end", "near", "far")


@dataclass
class Sighting:
    """Objects as the boat saw them; (n,) arrays unless said otherwise, true metres.

    By point of ``POINTS``: ``at`` (n, 2) transducer, ``beam`` (n, 2) unit vector to the object's side, ``slant``,
    ``bed`` depth of the bed's plane under the transducer. ``slope`` of that plane outwards (positive where it falls
    away). ``shadow_start``, ``shadow_end`` slants, NaN without a shadow. ``depth_scales``: depths err with the sound
    speed as ranges do. ``footprint``: of the beam at the object.
    """

    at: dict[str, np.ndarray]
    beam: dict[str, np.ndarray]
    slant: dict[str, np.ndarray]
    bed: dict[str, np.ndarray]
    slope: np.ndarray
    shadow_start: np.ndarray
    shadow_end: np.ndarray
    depth_scales: np.ndarray
    footprint: np.ndarray


@dataclass
class Errors:
    """What differs from the best guess; arrays that broadcast with (n,), all zero for the best guess itself.

    By point: ``slant`` (m), ``moved`` (.., 2) of the transducer (m). ``shadow_start``, ``shadow_end``, ``depth`` (m),
    ``scale`` of ranges, ``turn`` of the beams (rad). ``taken``: footprints taken off. ``height`` of objects without a
    shadow (m); ``lift``: by point, at which share of the object's height its mark lies.
    """

    slant: dict[str, Any]
    moved: dict[str, np.ndarray]
    shadow_start: Any
    shadow_end: Any
    depth: Any
    scale: Any
    turn: Any
    taken: Any
    height: Any
    lift: dict[str, Any]


@dataclass
class Sizes:
    """``length``, ``width``, ``height`` (m), NaN where nothing tells; ``azimuth`` of the long axis in the frame (rad);
    ``under``: depth of the bed less the object's height (m below the transducer); ``axis_shown``, ``width_shown``: as
    drawn, without anything taken off; ``centre`` (.., 2); ``ground`` range of it; ``along`` share of the axis that runs
    along the track."""

    length: np.ndarray
    width: np.ndarray
    height: np.ndarray
    azimuth: np.ndarray
    under: np.ndarray
    axis_shown: np.ndarray
    width_shown: np.ndarray
    centre: np.ndarray
    ground: np.ndarray
    along: np.ndarray


def dimensions(seen: Sighting, errors: Errors) -> Sizes:
    """Sizes of objects.

    Parameters
    ----------
    seen : Sighting
    errors : Errors

    Returns
    -------
    Sizes
        Of the shape that errors and sighting broadcast to.
    """
    stretch, turn = 1 + np.asarray(errors.scale), (np.cos(errors.turn), np.sin(errors.turn))
    deeper = np.where(seen.depth_scales, stretch, 1.0)
    bed = {point: (seen.bed[point] + errors.depth) * deeper for point in POINTS}
    middle = (bed["near"] + bed["far"]) / 2
    middle = np.where(np.isfinite(middle), middle, (bed["begin"] + bed["end"]) / 2)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (seen.shadow_start + errors.shadow_start) / (seen.shadow_end + errors.shadow_end)
    height = middle * (1 - share)
    standing = np.maximum(np.where(np.isfinite(height), height, errors.height), 0.0)
    place, ground = {}, {}
    for point in POINTS:
        slant = (seen.slant[point] + errors.slant[point]) * stretch
        ground[point] = _ground(slant, bed[point] - errors.lift[point] * standing, seen.slope)
        place[point] = (seen.at[point] + errors.moved[point]
                        + ground[point][..., None] * _turned(seen.beam[point], *turn))
    beam = _turned(_mean_beam(seen), *turn)
    ahead = np.stack([-beam[..., 1], beam[..., 0]], axis=-1)
    axis = place["end"] - place["begin"]
    along, across = _dot(axis, ahead), _dot(axis, beam)
    axis_shown = np.hypot(along, across)
    off = seen.footprint * errors.taken
    kept = np.maximum(np.abs(along) - off, 0.0)
    length = np.hypot(kept, across)
    way = np.where(kept[..., None] > 0, np.sign(along)[..., None] * kept[..., None] * ahead, 0.0) + across[
        ..., None] * beam
    way = np.where(length[..., None] > 0, way, ahead)  # smaller than the beam: nothing tells how it lies
    with np.errstate(invalid="ignore", divide="ignore"):
        unit = way / np.hypot(way[..., 0], way[..., 1])[..., None]
    unit = np.where(np.isfinite(unit), unit, ahead)
    normal = np.stack([-unit[..., 1], unit[..., 0]], axis=-1)
    width_shown = np.abs(_dot(place["far"] - place["near"], normal))
    width = np.maximum(width_shown - off * np.abs(_dot(unit, beam)), 0.0)
    centre, edges = (place["begin"] + place["end"]) / 2, (place["near"] + place["far"]) / 2
    centre = np.where(np.isfinite(centre), centre, edges)
    shift = np.nan_to_num(_dot(edges - centre, normal))
    far = np.where(np.isfinite(ground["near"]), (ground["near"] + ground["far"]) / 2,
                   (ground["begin"] + ground["end"]) / 2)
    return Sizes(length, width, height, np.arctan2(unit[..., 0], unit[..., 1]),
                 middle + seen.slope * far - standing, axis_shown, width_shown,
                 centre + shift[..., None] * normal, far, np.abs(_dot(unit, ahead)))


def _ground(slant: np.ndarray, under: np.ndarray, slope: np.ndarray) -> np.ndarray:
    """Ground range where a slant range meets a plane: (under + slope G)^2 + G^2 = slant^2, 0 where it does not."""
    one = 1 + np.square(slope)
    root = np.sqrt(np.maximum(one * np.square(slant) - np.square(under), 0.0))
    return np.maximum((root - slope * under) / one, 0.0) + 0 * slant


def _mean_beam(seen: Sighting) -> np.ndarray:
    first = np.where(np.isfinite(seen.beam["begin"]), seen.beam["begin"], seen.beam["near"])
    last = np.where(np.isfinite(seen.beam["end"]), seen.beam["end"], seen.beam["far"])
    mean = first + last
    return mean / np.hypot(mean[..., 0], mean[..., 1])[..., None]


def _turned(beam: np.ndarray, cos: np.ndarray, sin: np.ndarray) -> np.ndarray:
    """Unit vectors (.., 2) turned clockwise."""
    east, north = beam[..., 0], beam[..., 1]
    return np.stack([cos * east + sin * north, cos * north - sin * east], axis=-1)


def _dot(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return (a * b).sum(axis=-1)
