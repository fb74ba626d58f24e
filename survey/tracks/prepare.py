"""From a log to a prepared track: every correction of an outing is made here, once, and travels with the track.

Samples are the log's own fixes: none are invented between sparse ones. What lies between two samples of an unbroken
run is read off them wherever it is needed, strips of bottom along an arc, all else straight: a fix every 10 s serves.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..depths.range_settings import held, in_force, moments_at, range_notes
from ..depths.soundings import (
    Soundings,
    below_transducer,
    default_depth_gap,
    good_soundings,
    refused_words,
    water_under,
)
from ..fixes.arrange import arranged
from ..fixes.jumps import too_far
from ..geometry import ground
from ..model.errors import InputError
from ..model.rejections import Rejections
from ..model.track import Track
from ..motion.compass import compass_warning
from ..motion.course import motion_of
from ..motion.headings import COMPASS, headings
from ..motion.latency import Latency
from ..motion.turns import Sailed, turn_cuts
from ..passes import numbering
from ..passes.pass_table import no_length, pass_columns, pass_lines
from .prepare_log import describe
from .track_settings import LOGGED, SIGMA_POSITION_M

__all__ = ["ALONE", "NO_DEPTH", "NO_HEADING", "NO_RANGE", "STOPPED", "TOO_FAST", "Prepared", "prepare"]

STOPPED, TOO_FAST, ALONE = "stopped", "too fast", "alone between breaks"
NO_HEADING, NO_RANGE, NO_DEPTH = "no heading", "no range", "no depth"

THIN_M, THIN_S = 1.0, 1.0
"""Without a stated spacing, fixes are thinned to a metre where they come more often than once a second: denser ones
sharpen nothing, and their jitter makes strips cross themselves."""

_REMEDIES = {
    STOPPED: "lower MIN_SPEED if the boat really was under way",
    TOO_FAST: "raise MAX_SPEED if the speed is real",
    ALONE: "give a longer MAX_GAP if the boat kept on between fixes",
    NO_HEADING: "at this speed the course does not tell where the bow points: give HEADING_FIELD, or a lower "
                "DRIFT_SPEED if there was no wind and current",
    NO_RANGE: "give RANGE, which holds before the first change of SETTINGS or RANGE_FIELD",
    NO_DEPTH: "give DEPTH, one depth for all, or a DEPTH_GRID that covers the track",
}


@dataclass
class Prepared:
    """What ``prepare`` returns.

    ``track``: the Track. ``rows`` (n,): the fix (row of the input) each sample came from. ``passes``: columns of the
    passes by field name, and ``lines`` their shapely lines in crs units. ``tally``: fixes that gave no sample, by
    reason. ``rejected``: those, and the samples that must not be used. ``thinned``: fixes left out for spacing alone.
    ``length_m``: ground length of all passes. ``notes``, ``warnings``: whole sentences for the log. ``left_out``:
    columns of passes that are none, without a length or a usable sample.
    """

    track: Track
    rows: np.ndarray
    passes: dict
    lines: list
    tally: Rejections
    rejected: int
    thinned: int
    length_m: float
    notes: list
    warnings: list
    left_out: dict


def prepare(fixes, settings, depth_at=None, step=None):
    """Prepare one outing.

    Parameters
    ----------
    fixes : Fixes
        In the CRS the track is to have.
    settings : TrackSettings
    depth_at : callable, optional
        ``depth_at(x, y)`` -> depths (m, positive down, below the surface on the day) at places in crs units, NaN off
        the grid.
    step : callable, optional
        ``step(fraction)``; may raise Cancelled.

    Returns
    -------
    Prepared

    Raises
    ------
    InputError
        When no pass can be made, or no sample can be used.
    """
    step = step or (lambda fraction: None)
    tally = Rejections()
    log = arranged(fixes, tally, max_speed=settings.max_speed, speed_mps=settings.speed_mps, max_gap=settings.max_gap_s)
    step(0.2)
    geod = log.frame.geod
    motion = motion_of(log.clock_s, *ground.steps(geod, log.lon, log.lat), log.stretch, settings.drift_speed)
    step(0.35)
    late = Latency(log.clock_s, log.stretch, settings.latency_s)
    kept = np.flatnonzero(late.reached)
    tally.add("at the ends of unbroken stretches, beyond which LATENCY would have to extrapolate", "row",
              log.rows[~late.reached] + 1)
    if not len(kept):
        raise InputError(f"A LATENCY of {settings.latency_s:g} s is longer than every unbroken stretch of the log.")
    rows, clock, stretch = log.rows[kept], log.clock_s[kept], log.stretch[kept]
    compass = None if fixes.heading_deg is None else np.asarray(fixes.heading_deg, float)[log.rows]
    bow = headings(settings, compass, log.clock_s, log.stretch, motion, late, kept)
    lon, lat = _shifted(geod, late.mixed_lon(log.lon), late.mixed(log.lat), bow.degrees, settings.lever_forward_m,
                        settings.lever_starboard_m)
    step(0.5)
    sound = settings.sound()
    ranges, odd_notes = _ranges(fixes, settings, log)
    ranges = ranges[kept] * sound.ratio
    depth, source, water = _water(fixes, settings, log, clock, stretch, (lon, lat), depth_at, sound.ratio)
    if settings.trim_deg:
        forward = np.nan_to_num(depth) * np.tan(np.radians(settings.trim_deg))
        lon, lat = _shifted(geod, lon, lat, bow.degrees, forward, 0.0)
    step(0.8)

    speed = late.mixed(motion.speed_mps)
    moving = (speed >= settings.min_speed) & (speed <= settings.max_speed)
    begins = np.concatenate([[False], (np.diff(stretch) != 0) | (moving[1:] != moving[:-1])])
    steps = ground.steps(geod, lon, lat)
    run = np.where(moving, np.cumsum(begins), -1)
    cut = turn_cuts(Sailed(bow.course, late.mixed(motion.turn_dps), _way(speed, clock), run), settings.max_turn_rate)
    pass_id, alone = numbering.number_passes(stretch, moving, cut)
    rushing = _rushing(geod, log, settings)[kept]
    reason = _reasons(settings, speed, alone, rushing, bow.degrees, ranges, depth)
    if (reason != "").all():
        raise InputError(_nothing_usable(reason))
    path = _summed(np.hypot(*steps))
    chosen = _thinned(settings, log.timed, path, clock, pass_id, ranges, reason)

    x, y = log.frame.from_lonlat(ground.wrapped(lon), lat)
    n = len(chosen)
    breaks = np.concatenate([[0], np.cumsum(np.diff(stretch[chosen]) != 0)])
    track = Track(
        log.frame.crs, np.asarray(x, float)[chosen], np.asarray(y, float)[chosen],
        outing=_all(n, settings.outing, object), pass_id=pass_id[chosen],
        sample_id=1 + np.arange(n, dtype=np.int64) + breaks,  # a jump is a break of the log
        record_ping=_column(fixes.ping, rows)[chosen], t_s=clock[chosen] if log.timed else _all(n, np.nan),
        heading_deg=bow.degrees[chosen], heading_source=bow.source[chosen], sigma_heading_deg=bow.sigma[chosen],
        course_deg=bow.course[chosen] % 360.0, speed_mps=speed[chosen], turn_dps=bow.turn[chosen],
        depth_m=depth[chosen], depth_source=source[chosen], range_m=ranges[chosen], range_ratio=_all(n, sound.ratio),
        sound_speed_mps=_all(n, sound.speed_mps), latency_s=_all(n, settings.latency_s),
        lever_forward_m=_all(n, settings.lever_forward_m), lever_starboard_m=_all(n, settings.lever_starboard_m),
        mount_deg=_all(n, settings.mount_deg), sigma_pos_m=_position_sigma(fixes, settings, rows)[chosen],
        usable=reason[chosen] == "", reject_reason=reason[chosen])
    under_way = ~np.isin(track.reject_reason, (STOPPED, TOO_FAST, ALONE))
    columns = pass_columns(track, geod, lon[chosen], lat[chosen], under_way)
    none = no_length(columns)
    if none.all():
        raise InputError("No pass has both a length and a usable sample: every fix lies at the same place, or the ones "
                         "that move cannot be used. Check the positions, MIN_SPEED, RANGE and DEPTH.")
    lines = pass_lines(track, lon[chosen], under_way)
    columns, left_out = ({name: values[mask] for name, values in columns.items()} for mask in (~none, none))
    made = Prepared(track, rows[chosen], columns, [line for line, gone in zip(lines, none) if not gone], tally,
                    tally.count() + int((~track.usable).sum()), len(rows) - n, float(columns["length_m"].sum()), [], [],
                    left_out)
    ahead = bow.course + (180.0 if settings.backwards else 0.0)
    compass = compass_warning(bow.degrees, ahead, bow.turn, speed, bow.source == COMPASS, settings.heading_offset_deg)
    made.warnings += [*log.warnings, *([compass] if compass else []), *odd_notes]
    describe(made, settings, log, sound, water)
    step(1.0)
    return made


def _summed(steps):
    return np.concatenate([[0.0], np.cumsum(steps)])


def _way(speed_mps, clock_s):
    """Metres made good along the way: jitter lengthens the sum of steps, but not a speed fitted over a window."""
    return _summed(np.nan_to_num(speed_mps[1:] + speed_mps[:-1]) / 2 * np.diff(clock_s))


def _all(n, value, kind=float):
    return np.full(n, value, kind)


def _column(values, rows):
    return _all(len(rows), np.nan) if values is None else np.asarray(values, float)[rows]


def _shifted(geod, lon, lat, heading_deg, forward_m, starboard_m):
    """Places moved in body axes; not moved where the heading is unknown, which are not used anyway."""
    known = np.isfinite(heading_deg)
    angle = np.radians(np.where(known, heading_deg, 0.0))
    forward, starboard = np.where(known, forward_m, 0.0), np.where(known, starboard_m, 0.0)
    return ground.moved(geod, lon, lat, forward * np.sin(angle) + starboard * np.cos(angle),
                        forward * np.cos(angle) - starboard * np.sin(angle))


def _ranges(fixes, settings, log):
    """Range in force at every arranged fix, as displayed, NaN where unknown; and sentences on odd notes of changes."""
    if settings.range_field:
        values = held(np.asarray(fixes.range_m, float)[log.all_rows], settings.range_field)
        values = values[np.searchsorted(log.all_clock_s, log.clock_s, "right") - 1]
        return (values if settings.range_m is None else np.where(np.isnan(values), settings.range_m, values)), ()
    if settings.range_rows is None:
        return _all(len(log.rows), settings.range_m), ()
    noted = settings.range_rows
    moments = np.array(noted.from_s, float)
    if np.isfinite(moments).any() and not log.timed:
        raise InputError("SETTINGS gives times, but the track has none. Give from_waypoint instead, or times for the "
                         "track (TIME_FIELD).")
    wanted = np.flatnonzero(np.isnan(moments) & np.isfinite(noted.x))
    lon, lat = log.frame.to_lonlat(noted.x[wanted], noted.y[wanted])
    moments[wanted] = moments_at(log.frame.geod, log.lon, log.lat, log.clock_s, log.stretch,
                                 [noted.names[k] for k in wanted], lon, lat)
    notes = range_notes(moments, noted.range_m, log.clock_s, noted.time_offset)
    return in_force(log.clock_s, notes, settings.range_m), notes.outside


@dataclass
class DepthSources:
    """How the depths came: counts of soundings ``logged`` and ``good``, ``gap_s`` bridged, samples ``on_grid`` of those
    ``asked`` of the depth grid; ``refused`` says which soundings were, ``withheld`` counts the samples where DEPTH
    would have stood in for one."""

    logged: int = 0
    good: int = 0
    gap_s: float = 0.0
    asked: int = 0
    on_grid: int = 0
    refused: str = ""
    withheld: int = 0


def _water(fixes, settings, log, clock, stretch, place, depth_at, ratio):
    soundings, good, water = None, None, DepthSources(gap_s=settings.max_gap_s or log.gap_s)
    if fixes.depth_m is not None:
        soundings = _soundings(fixes, settings, log)
        good = good_soundings(soundings)
        water.logged, water.good = len(good), int(good.sum())
        water.refused = refused_words(soundings, good) if log.timed else ""
        if settings.max_gap_s is None:
            water.gap_s = default_depth_gap(soundings.clock_s[good], soundings.stretch[good], log.gap_s)
    grid = None
    if depth_at is not None:
        def grid(wanted):
            x, y = log.frame.from_lonlat(ground.wrapped(place[0][wanted]), place[1][wanted])
            found = np.asarray(depth_at(np.asarray(x, float), np.asarray(y, float)), float)
            water.asked, water.on_grid = len(wanted), int(np.isfinite(found).sum())
            if 2 * (found < 0).sum() > max(1, water.on_grid):
                raise InputError(f"The depth grid is negative under {int((found < 0).sum())} of {water.on_grid} "
                                 "samples. Depths are positive down from the surface: run 'Prepare depth grid' on "
                                 "it first.")
            return found
    constant = None
    if settings.depth_m is not None:
        kind = "transducer" if settings.depth_reference == LOGGED else settings.depth_reference
        constant = float(below_transducer([settings.depth_m], [kind], [np.nan], settings.draft_m, settings.keel_m)[0])
        if constant <= 0:
            raise InputError(f"DEPTH leaves {constant:g} m under the transducer; check DEPTH_UNIT and "
                             "TRANSDUCER_DRAFT.")
    depth, source = water_under(clock, stretch, soundings, good, water.gap_s, ratio=ratio, grid_m=grid,
                                draft_m=settings.draft_m or 0.0, constant_m=constant)
    water.withheld = 0 if constant is None else int(np.isnan(depth).sum())
    return depth, source, water


def _soundings(fixes, settings, log):
    """Readings of every row that has a time, repeated fixes too, below the transducer as displayed."""
    logged = np.asarray(fixes.depth_m, float)[log.all_rows]
    known = np.isfinite(logged)
    if 2 * (logged < 0).sum() > known.sum():
        raise InputError(f"{(logged < 0).sum()} of {known.sum()} soundings (DEPTH_FIELD) are negative; depths are "
                         "positive down. Make a field with their sign turned (field calculator: -1 * the field) and "
                         "choose that.")
    rows, moments = log.all_rows[known], log.all_clock_s[known]
    if settings.depth_reference == LOGGED:
        kind = _all(len(rows), "", object) if fixes.depth_kind is None else np.asarray(fixes.depth_kind, object)[rows]
    else:
        kind = _all(len(rows), settings.depth_reference, object)
    offset = _column(fixes.depth_offset_m, rows)
    depth = below_transducer(logged[known], kind, offset, settings.draft_m, settings.keel_m)
    owner = np.clip(np.searchsorted(log.clock_s, moments, "right") - 1, 0, None)
    return Soundings(moments, log.stretch[owner], depth)


def _rushing(geod, log, settings):
    """Fixes with a step on either side that only a boat over MAX_SPEED can make, on a clock that is the log's."""
    fast = np.zeros(len(log.rows), bool)
    if log.timed:
        leap = too_far(geod, log.clock_s, log.lon, log.lat, settings.max_speed) & (np.diff(log.clock_s) <= log.gap_s)
        fast[1:] |= leap
        fast[:-1] |= leap
    return fast


def _reasons(settings, speed, alone, rushing, heading, ranges, depth):
    """The first reason, in plain words, why a sample must not be used; '' where there is none."""
    single = alone | np.isnan(speed)
    return np.select([(single & rushing) | (speed > settings.max_speed), single, speed < settings.min_speed,
                      np.isnan(heading), np.isnan(ranges), np.isnan(depth)],
                     [TOO_FAST, ALONE, STOPPED, NO_HEADING, NO_RANGE, NO_DEPTH], "").astype(object)


def _nothing_usable(reason):
    words, counts = np.unique(reason.astype(str), return_counts=True)
    order = np.argsort(-counts)
    found = ", ".join(f"{counts[k]} {words[k]}" for k in order)
    return f"No sample of the track can be used: {found}. What helps: {_REMEDIES[str(words[order[0]])]}."


def _thinned(settings, timed, path, clock, pass_id, ranges, reason):
    """Positions of the samples kept."""
    change = np.zeros(len(path), bool)
    step = (ranges[1:] != ranges[:-1]) & ~(np.isnan(ranges[1:]) & np.isnan(ranges[:-1])) | (reason[1:] != reason[:-1])
    change[1:] |= step
    change[:-1] |= step
    if settings.spacing_m is None:
        return np.flatnonzero(numbering.thin(path, clock, pass_id, change, THIN_M if timed else 0.0, THIN_S))
    return np.flatnonzero(numbering.thin(path, clock, pass_id, change, settings.spacing_m))


def _position_sigma(fixes, settings, rows):
    """Per axis. HDOP times the ranging error is the 2D rms (NRC 1995, appendix D): the default, which is what an HDOP
    of 1 gives, grows in proportion to a worse one. A stated sigma holds as it is."""
    if settings.sigma_position_m is not None:
        return _all(len(rows), settings.sigma_position_m)
    dilution = np.nan_to_num(_column(fixes.hdop, rows), nan=1.0)
    return SIGMA_POSITION_M * np.maximum(1.0, dilution)
