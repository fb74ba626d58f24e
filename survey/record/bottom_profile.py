"""The bottom as the track has it, by the record's count, and as the marks on a picture have it."""
from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message
from ..targets.poses import Runs
from .row_beams import counts_of

if TYPE_CHECKING:
    from ..model.track import Track
    from .picture import Record

__all__ = ["MarkedBottom", "Profile"]

_RELIEF = 2.0
"""Marks whose depths spread less than so many times the error of one are of a level bottom."""


class Profile:
    """Depth of the track over its range, by the record's count."""

    def __init__(self, record: Record, track: Track) -> None:
        track = replace(track, usable=track.usable | (track.reject_reason == "no depth"))
        measured = track.depth_source != "constant"
        if not (measured & np.isfinite(track.depth_m)).any():
            raise InputError("The track's depth is a constant, or there is none: nothing on the picture can be checked "
                             "by it. Prepare the track with the depths of a sounder, or from a depth grid.",
                             field="track")
        runs = Runs(track, track.t_s if record.by_time else track.record_ping)
        if not len(runs):
            raise InputError(Message("The track has no times; give the rows by ping.") if record.by_time else
                             Message("The track carries no rising ping count. Give {prepare(fixes.ping)} in "
                                     "{prepare()}, or give the rows by {first_s} and {last_s}."))
        key: list[np.ndarray] = []
        depth: list[np.ndarray] = []
        edge: list[np.ndarray] = []
        ratio = np.where(np.isfinite(track.range_ratio), track.range_ratio, 1.0)
        full = track.range_m if record.edge_range_m is None else record.edge_range_m * ratio
        for piece in runs.slices:
            own = runs.key[piece]
            if key and own[0] < key[-1][-1] - 1e-6:
                raise InputError("Two stretches of the track have the same moments. Select the outing that the picture "
                                 "is of.", field="track")
            key.append(np.concatenate([[own[0] - 1e-6], own, [own[-1] + 1e-6]]))
            depth.append(np.concatenate([[np.nan], np.where(measured, track.depth_m, np.nan)[piece], [np.nan]]))
            edge.append(np.concatenate([[np.nan], full[piece], [np.nan]]))
        self.key = np.maximum.accumulate(np.concatenate(key))
        self.share, self.edge = np.concatenate(depth) / np.concatenate(edge), np.concatenate(edge)
        self.step = float(np.median(np.diff(self.key)[np.diff(self.key) > 1e-5])) if len(self.key) > 3 else 1.0

    def at(self, moment: np.ndarray) -> np.ndarray:
        """Share of the range at which the bottom lies, NaN off the track."""
        return np.interp(moment, self.key, self.share, left=np.nan, right=np.nan)

    def slope(self, moment: np.ndarray) -> np.ndarray:
        """Change of that for one count."""
        after, before = self.at(moment + self.step / 2), self.at(moment - self.step / 2)
        here = self.at(moment)
        first, last = (after - here) * 2, (here - before) * 2
        return np.where(np.isfinite(after - before), after - before,
                        np.where(np.isfinite(first), first, np.nan_to_num(last))) / self.step


class MarkedBottom:
    """The marks as a picture told one way has them."""

    def __init__(self, record: Record, row: np.ndarray, share: np.ndarray, profile: Profile, track: Track) -> None:
        self.record = record
        count = np.asarray(counts_of(record, row, track), float)
        keep = np.isfinite(count) & np.isfinite(share) & (share > 0)
        order = np.argsort(count[keep], kind="stable")
        self.count, self.share = count[keep][order], share[keep][order]
        self.count_of_marks = len(self.count)
        self.middle = float(self.count.mean()) if self.count_of_marks else 0.0
        self.away = self.count - self.middle
        self.edge = float(np.nanmedian(profile.edge))

    def refuse_level(self, sigma: float) -> None:
        """Refuse marks that are all as deep as the errors allow."""
        relief = float(np.std(self.share) * self.edge)
        if relief < _RELIEF * sigma:
            raise InputError(Message("The bottom under the marks rises and falls by {relief:.2f} m only (one standard "
                                     "deviation), and a mark errs by {sigma:.2f} m: on a bottom so level nothing shows "
                                     "a shift. Mark where it slopes, over a longer stretch.", relief=relief,
                                     sigma=sigma),
                             field="marks")
