"""Stage 4 of a track: passes, the samples that must not be used and why, and which samples are kept."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry import ground
from ..model.errors import InputError
from ..model.messages import Message
from ..motion.turns import Sailed, turn_cuts
from . import numbering

__all__ = ["ALONE", "NO_DEPTH", "NO_HEADING", "NO_PASS", "NO_RANGE", "STOPPED", "TOO_FAST", "CutPasses", "cut_passes"]

STOPPED, TOO_FAST, ALONE = "stopped", "too fast", "alone between breaks"
NO_HEADING, NO_RANGE, NO_DEPTH = "no heading", "no range", "no depth"
NO_PASS = (STOPPED, TOO_FAST, ALONE)
"""Samples that belong to no pass and only carry the number of one."""

THIN_M, THIN_S = 1.0, 1.0
"""Without a stated spacing, fixes are thinned to a metre where they come more often than once a second: denser ones
sharpen nothing, and their jitter makes strips cross themselves."""

_REMEDIES = {
    STOPPED: Message("lower {min_speed} if the boat really was under way"),
    TOO_FAST: Message("raise {max_speed} if the speed is real"),
    ALONE: Message("give a longer {max_gap_s} if the boat kept on between fixes"),
    NO_HEADING: Message("at this speed the course does not show where the bow points: give {fixes.heading_deg}, or a "
                        "lower {drift_speed} if there was no wind and current"),
    NO_RANGE: Message("give {range_m}, which holds before the first change of {range_rows} or {range_field}"),
    NO_DEPTH: Message("give {depth_m}, one depth for all, or a {depth_at} that covers the track"),
}


@dataclass
class CutPasses:
    """At (n,) samples: ``pass_id`` from 1; ``reason`` why a sample must not be used, '' where it may be; ``chosen``
    (k,): places of the samples kept, the others stand too close to them."""

    pass_id: np.ndarray
    reason: np.ndarray
    chosen: np.ndarray


def cut_passes(clean, boat, water, settings):
    """Cut a track into passes.

    Parameters
    ----------
    clean : CleanFixes
    boat : BoatMotion
        With places where the fan strikes.
    water : DepthAndRange
    settings : TrackSettings
        ``min_speed``, ``max_speed``, ``max_turn_rate``, ``spacing_m``.

    Returns
    -------
    CutPasses

    Raises
    ------
    InputError
        When no sample can be used.
    """
    speed = boat.speed_mps
    moving = (speed >= settings.min_speed) & (speed <= settings.max_speed)
    begins = np.concatenate([[False], (np.diff(boat.stretch) != 0) | (moving[1:] != moving[:-1])])
    run = np.where(moving, np.cumsum(begins), -1)
    turns = turn_cuts(Sailed(boat.bow.course, boat.turn_dps, boat.way_m, run), settings.max_turn_rate)
    pass_id, alone = numbering.number_passes(boat.stretch, moving, turns)
    reason = _reasons(boat, water, alone, clean.rushing[boat.kept], settings)
    if (reason != "").all():
        raise InputError(_nothing_usable(reason))
    path = np.concatenate([[0.0], np.cumsum(np.hypot(*ground.steps(clean.frame.geod, boat.lon, boat.lat)))])
    return CutPasses(pass_id, reason, _thinned(clean.timed, path, boat.clock_s, pass_id, water.range_m, reason,
                                               settings.spacing_m))


def _reasons(boat, water, alone, rushing, settings):
    """The first reason, in plain words, why a sample must not be used; '' where there is none."""
    single = alone | np.isnan(boat.speed_mps)
    return np.select([(single & rushing) | (boat.speed_mps > settings.max_speed), single,
                      boat.speed_mps < settings.min_speed, np.isnan(boat.bow.degrees), np.isnan(water.range_m),
                      np.isnan(water.depth_m)],
                     [TOO_FAST, ALONE, STOPPED, NO_HEADING, NO_RANGE, NO_DEPTH], "").astype(object)


def _nothing_usable(reason):
    words, counts = np.unique(reason.astype(str), return_counts=True)
    order = np.argsort(-counts)
    reasons = ", ".join(f"{counts[k]} {words[k]}" for k in order)
    return Message("No sample of the track can be used: {reasons}. What helps: {remedy}.", reasons=reasons,
                   remedy=_REMEDIES[str(words[order[0]])])


def _thinned(timed, path, clock, pass_id, ranges, reason, spacing_m):
    """Places of the samples kept: both sides of every change of range or reason, the others by their distance."""
    change = np.zeros(len(path), bool)
    step = (ranges[1:] != ranges[:-1]) & ~(np.isnan(ranges[1:]) & np.isnan(ranges[:-1])) | (reason[1:] != reason[:-1])
    change[1:] |= step
    change[:-1] |= step
    if spacing_m is None:
        return np.flatnonzero(numbering.thin(path, clock, pass_id, change, THIN_M if timed else 0.0, THIN_S))
    return np.flatnonzero(numbering.thin(path, clock, pass_id, change, spacing_m))
