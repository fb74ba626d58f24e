"""Picks as read off the record, and what they mean in the water."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..beams.ranges import slant_range
from ..model.errors import InputError
from ..model.messages import Message
from ..model.table import Bools, Floats, Table, Texts
from ..model.units import told

if TYPE_CHECKING:
    from typing import Any

    from numpy.typing import ArrayLike

    from .poses import Poses

__all__ = ["RANGE_KINDS", "Picks", "Ranges", "true_ranges"]

RANGE_KINDS = ("slant", "ground")

_EDGE_SIGMAS = 2.0


@dataclass(eq=False, repr=False)
class Picks(Table):
    """(n,) arrays, one row a pick; numbers NaN and text '' where unknown.

    ``source_id`` names the pick in its layer; ``x``, ``y`` are in the track's crs; ``side`` is -1 port, +1 starboard,
    0 unknown; ranges and depths are as displayed, in metres: ``slant_m`` to the object, ``shadow_start_m`` and
    ``shadow_end_m`` slant ranges to where its shadow begins (default the object) and ends, ``depth_m`` at the pick.
    ``reason`` is why the pick was given up before it came here, '' for the others. ``shadow_open`` True where the
    shadow runs off the record, so that its end is the least it can be.
    """

    source_id: Texts
    x: Floats
    y: Floats
    t_s: Floats
    ping: Floats
    outing: Texts
    side: Floats
    slant_m: Floats
    depth_m: Floats
    shadow_start_m: Floats
    shadow_end_m: Floats
    label: Texts
    reason: Texts
    shadow_open: Bools

    @classmethod
    def of(cls, count: int, **columns: Any) -> Picks:
        """Picks of which only some columns are known.

        Examples
        --------
        >>> import athwart
        >>> picks = athwart.Picks.of(2, t_s=[50.0, 60.0], side=[-1, 1], slant_m=[13.0, 20.0])
        >>> picks.source_id.tolist(), picks.depth_m.tolist()
        (['1', '2'], [nan, nan])
        """
        texts = {"outing", "label", "reason"}
        made = {}
        for name in cls.__dataclass_fields__:
            blank = "" if name in texts else 0 if name in ("side", "shadow_open") else np.nan
            value = columns.pop(name, None)
            kind = object if name in (*texts, "source_id") else bool if name == "shadow_open" else float
            value = np.arange(1, count + 1).astype(str) if name == "source_id" and value is None else value
            made[name] = np.full(count, blank, kind) if value is None else np.array(value, kind)
        if columns:
            raise TypeError(f"a pick has no {', '.join(columns)}")
        return cls(**made)


@dataclass(eq=False, repr=False)
class Ranges(Table):
    """(n,) arrays of true metres: ``slant`` to the object, ``top`` to the start of its shadow (the object without one;
    of a point at the object, what its unknown height lets the echo come from),
    ``shadow_end`` NaN without one, ``depth`` under the transducer, ``own_depth`` True where it is the pick's own, and
    ``reason``, '' where all is well."""

    slant: Floats
    top: Floats
    shadow_end: Floats
    depth: Floats
    own_depth: Bools
    reason: Texts


def true_ranges(picks: Picks, poses: Poses, ground: np.ndarray, range_kind: str, sigma_range: float,
                lift: ArrayLike = 0.0, unit: str = "m") -> Ranges:
    """Displayed ranges and depths brought to true ones.

    Parameters
    ----------
    picks : Picks
    poses : Poses
    ground : (n,) array
        Ground range of object points (m, signed or not), else NaN: their slant range follows from it.
    range_kind : {'slant', 'ground'}
        What was read. A ground range is brought to the slant range with the depth in force.
    sigma_range : float
        A range may pass the edge of the record by two of these.
    lift : float, m
        How far above the bed the echo of an object of unknown height is taken to come from.
    unit : str
        Key of ``units.LENGTHS``: what the reasons of rejected picks tell lengths in.

    Returns
    -------
    Ranges
        The first of these depths that is known: the pick's own, the track's.

    Raises
    ------
    InputError
        For an unknown range kind, or a shadow together with ground ranges.
    """
    if range_kind not in RANGE_KINDS:
        raise InputError(Message("{range_kind} is '{given}'; choose one of {known}.", given=range_kind,
                                 known=", ".join(RANGE_KINDS)))
    shadowed = np.isfinite(picks.shadow_end_m)
    if range_kind == "ground" and shadowed.any():
        raise InputError(Message("A shadow's slant range cannot be used beside ground ranges: read both as slant "
                                 "ranges, with {range_kind} 'slant', or leave {picks.shadow_end_m} out."))
    ratio = np.where(np.isfinite(poses.range_ratio), poses.range_ratio, 1.0)
    own = np.isfinite(picks.depth_m)
    depth = np.where(own, picks.depth_m * ratio, poses.depth_m)
    read = picks.slant_m * ratio
    slant = slant_range(read, depth) if range_kind == "ground" else read
    by_point = np.isfinite(ground)
    slant = np.where(by_point, slant_range(ground, depth), slant)
    end = np.where(by_point, np.nan, picks.shadow_end_m * ratio)
    start = picks.shadow_start_m * ratio
    top = np.where(np.isfinite(end) & np.isfinite(start), start, slant)
    top = np.where(by_point, slant_range(ground, depth - np.minimum(lift, depth)), top)
    out = Ranges(slant, top, end, depth, own, np.full(len(picks), "", object))
    _judge(out, picks, poses, by_point, read, sigma_range, unit)
    return out


def _judge(out: Ranges, picks: Picks, poses: Poses, by_point: np.ndarray, read: np.ndarray, sigma_range: float,
           unit: str) -> None:
    def length(value_m: Any) -> str:
        return told(float(value_m), unit)
    edge = poses.range_m + _EDGE_SIGMAS * sigma_range
    # the last one that holds is the one said
    said = (
        (out.slant > edge, lambda k: Message(
            "its slant range of {slant} lies beyond the {edge} the track says was on the record: check "
            "{picks.slant_m.unit} here, or the range given to {prepare()}", slant=length(out.slant[k]),
            edge=length(poses.range_m[k]))),
        (out.shadow_end <= out.depth, lambda k: f"its shadow ends at {length(out.shadow_end[k])}, nearer than the "
         f"bottom ({length(out.depth[k])}): give the slant range from the boat to the shadow's end"),
        (out.shadow_end <= out.top, lambda k: f"its shadow ends at {length(out.shadow_end[k])}, not beyond its start "
         f"at {length(out.top[k])}: give the slant range from the boat to the shadow's end, not the shadow's length"),
        (~by_point & (out.top < out.slant), lambda k: f"its shadow starts at {length(out.top[k])}, before the object "
         f"at {length(out.slant[k])}: check the field of the shadow's start"),
        (~(out.depth > 0), lambda k: "no depth: " + (
            f"the pick's own is {length(picks.depth_m[k])}; depths are positive" if out.own_depth[k] else
            "neither the pick nor the track has one there")),
        (~by_point & ~(read > 0), lambda k: "it has no range" if np.isnan(read[k]) else
         f"its range is {length(picks.slant_m[k])}; ranges are positive"),
    )
    for wrong, words in said:
        for k in np.flatnonzero(wrong & poses.tied):
            out.reason[k] = words(k)
