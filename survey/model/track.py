"""The prepared track as arrays: what every later tool computes with."""
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from .errors import InputError
from .messages import Message
from .schemas import TRACK, names
from .table import Bools, Floats, Ints, Table, Texts

__all__ = ["FOR_PICKS", "OUTINGS_PARTED", "SIDES", "Track", "side_name"]

FOR_PICKS = ("record_ping", "heading_source", "latency_s", "lever_forward_m", "lever_starboard_m", "reject_reason")
"""Attributes that only placing picks makes use of; they may be None where that is not done."""

SIDES = {"port": -1, "starboard": 1}

OUTINGS_PARTED = "; "
"""What stands between the outings that a row of solved offsets comes from."""


def side_name(side: float) -> str:
    """'port' for -1, 'starboard' for +1, 'both' for 0.

    Examples
    --------
    >>> from athwart.model.track import side_name
    >>> side_name(-1), side_name(1), side_name(0)
    ('port', 'starboard', 'both')
    """
    return {-1: "port", 1: "starboard"}.get(int(side), "both")


@dataclass(eq=False, repr=False)
class Track(Table):
    """One row per sample at the transducer, sorted by outing, pass_id, sample_id.

    ``crs`` is a pyproj.CRS; ``x``, ``y`` are (n,) floats in its units. Every other attribute is the track layer's field
    of that name (see ``schemas.TRACK``), an (n,) array: NaN where a number is unknown, '' where a text is.
    ``outing``, ``heading_source``, ``depth_source``, ``reject_reason`` are object arrays of str; ``usable`` is bool;
    ``pass_id`` and ``sample_id`` are int64. Depth and range are true (already multiplied by ``range_ratio``).

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> away = np.arange(0.0, 100.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=30.0, depth_m=5.0)).track
    >>> len(track), len(track.take(track.y < 4500010)), track.runs()
    (50, 5, [slice(0, 50, None)])
    """

    crs: Any
    x: Floats
    y: Floats
    outing: Texts
    pass_id: Ints
    sample_id: Ints
    record_ping: Floats | None
    t_s: Floats
    heading_deg: Floats
    heading_source: Texts | None
    sigma_heading_deg: Floats
    course_deg: Floats
    speed_mps: Floats
    turn_dps: Floats
    depth_m: Floats
    depth_source: Texts
    range_m: Floats
    range_ratio: Floats
    sound_speed_mps: Floats
    latency_s: Floats | None
    lever_forward_m: Floats | None
    lever_starboard_m: Floats | None
    mount_deg: Floats
    sigma_pos_m: Floats
    usable: Bools
    reject_reason: Texts | None

    @classmethod
    def from_columns(cls, crs: object, x: Any, y: Any, columns: Mapping[str, Any]) -> Track:
        """Track from a dict of (n,) arrays by field name, sorted here.

        Raises
        ------
        InputError
            Naming fields that are missing, or a sample that is there twice: two outings of one name would be woven
            into each other.
        """
        missing = [name for name in names(TRACK) if name not in columns and name != "time"]
        if missing:
            raise InputError(Message(
                "This is not a prepared track: it lacks the field{s} {missing}. Run {prepare()} on your log first and "
                "use its output.", s="s" * (len(missing) > 1), missing=", ".join(missing)))
        left_out = [name for name in FOR_PICKS if columns[name] is None]
        blank: Any = None
        taken: dict[str, Any] = {name: np.asarray(columns[name]) for name in names(TRACK)
                                 if name not in ("time", *left_out)}
        order = np.lexsort((taken["sample_id"], taken["pass_id"], taken["outing"].astype(str)))
        made = cls(crs, np.asarray(x, float)[order], np.asarray(y, float)[order],
                   **dict.fromkeys(left_out, blank), **{name: values[order] for name, values in taken.items()})
        twice = np.flatnonzero((np.diff(made.pass_key()) == 0) & (np.diff(made.sample_id) == 0))
        if len(twice):
            raise InputError(Message(
                "Sample {sample} of outing '{outing}', pass {pass_id} is there twice ({count} such samples): a track "
                "was merged with itself, or two outings have one name. Give each its own ({prepare(outing)} of "
                "{prepare()}), then merge them again.", sample=made.sample_id[twice[0]],
                outing=made.outing[twice[0]], pass_id=made.pass_id[twice[0]], count=len(twice)))
        return made

    def pass_key(self) -> Ints:
        """(n,) int: one number per outing and pass, contiguous in the sorted track, starting at 0."""
        new = np.ones(len(self), bool)
        if len(self) > 1:
            new[1:] = (self.pass_id[1:] != self.pass_id[:-1]) | (self.outing[1:] != self.outing[:-1])
        key: Ints = np.cumsum(new) - 1
        return key

    def joined(self) -> Bools:
        """(n - 1,) bool: sample i and i + 1 belong to one unbroken stretch.

        Same outing and pass, sample_id one apart, both usable. Nothing may be drawn, interpolated or tied across False.
        """
        key = self.pass_key()
        one: Bools = ((key[1:] == key[:-1]) & (np.diff(self.sample_id) == 1) & self.usable[1:] & self.usable[:-1])
        return one

    def cut_between(self) -> Bools:
        """(n - 1,) bool: a turn ends the pass of sample i and begins that of sample i + 1, and nothing is missing.

        Same outing, sample_id one apart, both usable, another pass. The beam of the second sample closes the one pass
        and opens the other.
        """
        cut: Bools = ((self.outing[1:] == self.outing[:-1]) & (self.pass_id[1:] != self.pass_id[:-1])
                      & (np.diff(self.sample_id) == 1) & self.usable[1:] & self.usable[:-1])
        return cut

    def runs(self) -> list[slice]:
        """Slices of unbroken stretches of usable samples; single usable samples are runs of one.

        A run that a turn ends reaches to the first sample of the next pass, with which the next run begins.
        """
        index = np.flatnonzero(self.usable)
        if not len(index):
            return []
        joined = self.joined()
        cut = np.flatnonzero(~((np.diff(index) == 1) & joined[index[:-1]]))
        starts = np.concatenate([[0], cut + 1])
        ends = np.concatenate([cut, [len(index) - 1]])
        on = np.append(self.cut_between(), False)
        return [slice(int(index[a]), int(index[b]) + 1 + int(on[index[b]])) for a, b in zip(starts, ends)]
