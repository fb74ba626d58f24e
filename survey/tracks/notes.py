"""What ``prepare`` tells the user: what was taken for what, what was left out, what looks odd."""
from __future__ import annotations

import numpy as np

from ..model.constants import SIGMA_POSITION_M
from ..model.messages import Message
from ..model.times import iso_time
from ..motion.course import JITTER_BASE_M, WINDOW_M, WINDOW_S
from ..motion.headings import COMPASS, COURSE
from ..motion.turns import CORNER_DEG, CORNER_M, LEAST_TURN_DEG, ROUND_DEG

__all__ = ["describe"]


def describe(prepared, settings, clean, water):
    """Fill ``notes`` and ``warnings`` of a Prepared.

    Parameters
    ----------
    prepared : Prepared
    settings : TrackSettings
    clean : CleanFixes
    water : DepthAndRange
    """
    track, crs = prepared.track, clean.frame.crs
    n = len(track)
    span = (f", {iso_time(track.t_s[0])} to {iso_time(track.t_s[-1])}" if clean.timed else
            Message("; there are no times, so the way was timed at {speed_mps} and t_s is left empty: tie picks by "
                    "place or ping"))
    prepared.notes += [
        f"{n} samples in {len(prepared.passes['pass_id'])} passes, {prepared.length_m:.0f} m" + span + ".",
        f"Distances, courses and headings are on the ellipsoid {crs.ellipsoid.name}, from true north; places are in "
        f"{crs.name}.",
        f"A pass ends where no fix follows within {clean.gap_s:g} s, at breaks of the log, "
        f"under {settings.min_speed:g} m/s, over {settings.max_speed:g} m/s, and half-way through a turn: "
        f"{_turn_words(settings)}, or a course that has come round by {ROUND_DEG:g} degrees or more, however wide the "
        "turn. The beam at the middle of a turn belongs to both passes, so nothing is left undrawn there.",
        water.sound.note,
        _heading_note(track, settings),
        _depth_note(track, water.sources),
        _range_note(track),
        _position_note(settings),
    ]
    if any((settings.latency_s, settings.lever_forward_m, settings.lever_starboard_m, settings.mount_deg,
            settings.trim_deg)):
        prepared.notes.append(f"Applied: latency {settings.latency_s:g} s, transducer {settings.lever_forward_m:g} m "
                          f"forward and {settings.lever_starboard_m:g} m to starboard of the antenna, mount "
                          f"{settings.mount_deg:g} degrees, trim {settings.trim_deg:g} degrees.")
    if prepared.thinned:
        prepared.notes.append(Message("{count} fixes were left out, for others stand closer than {spacing_m} asks.",
                                  count=prepared.thinned))
    if clean.backward:
        prepared.notes.append(f"{clean.backward} times ran backwards in the log; the fixes were sorted by time.")
    prepared.warnings += ["Left out: " + line + "." for line in prepared.tally.lines()]
    prepared.warnings += _unusable(track)
    prepared.warnings += _no_passes(prepared.left_out)
    prepared.warnings += _oddities(prepared, settings, clean, water.sources)


def _turn_words(settings):
    if settings.max_turn_rate is not None:
        return f"a bend of {LEAST_TURN_DEG:g} degrees or more, faster than {settings.max_turn_rate:g} degrees/s"
    return f"{CORNER_DEG:g} degrees or more between the last and the next {CORNER_M:g} m"


def _share(mask, words):
    return f"{100 * float(np.mean(mask)):.0f} % " + words


def _heading_note(track, settings):
    parts = []
    compass, course = track.heading_source == COMPASS, track.heading_source == COURSE
    if compass.any():
        sigma = float(np.median(track.sigma_heading_deg[compass]))
        parts.append(_share(compass, f"by compass (sigma {sigma:g} degrees)"))
    if course.any():
        sigma = float(np.median(track.sigma_heading_deg[course]))
        parts.append(_share(course, f"by course over ground, least squares over {WINDOW_S:g} s or {WINDOW_M:g} m "
                            f"(sigma from {settings.drift_speed:g} m/s of drift and {JITTER_BASE_M:g} m of jitter, "
                            f"{sigma:.1f} degrees in the middle)"))
    return f"Headings: {'; '.join(parts)}."


def _depth_note(track, sources):
    names = {"sounder": "from the sounder", "interpolated": "interpolated", "grid": "from the depth grid",
             "constant": Message("from {depth_m}"), "": "unknown"}
    parts = [_share(track.depth_source == source, words) for source, words in names.items()
             if (track.depth_source == source).any()]
    note = "Depths under the transducer: " + Message.joined(", ", parts) + "."
    if sources.logged:
        note += f" Up to {sources.gap_s:g} s without a good sounding are bridged."
    return note


def _range_note(track):
    known = track.range_m[np.isfinite(track.range_m)]
    values = np.unique(known)
    steps = int((np.diff(known) != 0).sum())
    shown = ", ".join(f"{value:.2f} m" for value in values[:6]) + (", ..." if len(values) > 6 else "")
    return f"Range in force, true: {shown}; {steps} change(s) on the way."


def _position_note(settings):
    if settings.sigma_position_m is not None:
        return f"Position sigma {settings.sigma_position_m:g} m per axis, as stated."
    return (f"Position sigma {SIGMA_POSITION_M:g} m per axis (bias 2.0 m, pass 0.5 m, jitter 0.5 m: a judgement), more "
            "in proportion where the log's HDOP is over 1.")


def _unusable(track):
    reasons, counts = np.unique(track.reject_reason[~track.usable].astype(str), return_counts=True)
    return [f"{count} samples cannot be used: {reason} (first sample_id "
            f"{', '.join(str(i) for i in track.sample_id[track.reject_reason == reason][:5])})."
            for reason, count in zip(reasons, counts)]


def _no_passes(left_out):
    if not len(left_out["pass_id"]):
        return []
    still = left_out["samples"] > 0
    causes = [f"{int(mask.sum())} {words} (pass_id {', '.join(str(i) for i in left_out['pass_id'][mask][:5])})"
              for mask, words in ((still, "without any length, for the boat stood still"),
                                  (~still, "without a usable sample")) if mask.any()]
    return [f"Not written as passes: {'; '.join(causes)}. Their samples stay in the track."]


def _oddities(prepared, settings, clean, sources):
    track = prepared.track
    found = []
    short = track.usable & (track.range_m < track.depth_m)
    if short.any():
        found.append(Message("{count} samples have less range than water under them: their record shows no bottom, and "
                             "no strip will be drawn there. Check {range_m.unit} and {depth_m.unit} if that is a "
                             "surprise.", count=int(short.sum())))
    if sources.withheld:
        found.append(Message("{count} samples have no depth: their soundings were refused and none that is good is "
                             "near. {depth_m} was not put in their place, for the depth there is another. Give a "
                             "{depth_at} or a longer {max_gap_s}; leave {fixes.depth_m} out to use {depth_m} "
                             "everywhere.", count=sources.withheld))
    if sources.refused:
        found.append(sources.refused)
    if sources.asked and not sources.on_grid:
        found.append("The depth grid covers none of the samples it was asked for; check that it is of this lake.")
    if sources.logged and 2 * sources.good < sources.logged:
        found.append(Message("Only {good} of {logged} soundings show the bottom; check {depth_m.unit}.",
                             good=sources.good, logged=sources.logged))
    intervals = np.diff(clean.clock_s)
    if clean.timed and len(intervals) and np.median(intervals) > clean.gap_s:
        found.append(Message("Most fixes come further apart than {gap:g} s, so the track is in pieces. If the boat "
                             "kept straight on between fixes, give a longer {max_gap_s}.", gap=clean.gap_s))
    if settings.speed_mps is not None and clean.timed:
        found.append(Message("{speed_mps} was not used: the points have times, which give the speed."))
    return found
