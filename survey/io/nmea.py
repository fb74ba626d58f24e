"""An NMEA 0183 log -> fixes: one for each moment at which the log holds a position.

RMC, GGA, GLL and GNS of one moment are one fix; where an instrument sends them in turn, each is a fix of its own.
Depth, heading, speed and temperature come without a time and are given to fixes by ``placing``.
"""
from __future__ import annotations

import time

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message
from ..model.times import DAY_S
from .clocks import LATE_S, between_ticks, foreign_clock, late
from .dating import date_positions, nearest_day, rollover_days, rollover_warning
from .logfile import LogFile, fix_columns, waypoint_columns
from .readings import DEPTH_KINDS, DEPTH_TYPES, HEADING_TYPES, TYPES, UNSTATED, VALID, VOID, read_sentences
from .sensor_sync import first_of, middle_of, place_readings
from .sentences import frame

__all__ = ["BREAK_S", "read_nmea"]

BREAK_S = 30.0
"""A longer silence between fixes (and longer than three usual intervals) ends a segment."""

_ESTIMATED = (6, 7, 8)  # GGA quality: dead reckoning, typed in by hand, simulator


def read_nmea(data, name, log_date=None, time_offset=0.0, magnetic_variation=None, now=None, step=None):
    """Read a log of NMEA 0183 sentences.

    Parameters
    ----------
    data : bytes
        From ``sentences.plain_bytes``.
    name : str
        Name of the file, for ``log_file`` and for messages.
    log_date : int, optional
        Date of the first fix on the log's own clock, days since 1970: for a log that holds no date, or to move dates
        that are too early by a whole number of GPS rollovers (7168 days). Otherwise the log's own date stands.
    time_offset : float
        Hours added to the log's clock to give UTC; 0 unless the instrument sends local time.
    magnetic_variation : float, optional
        Degrees, east positive, for magnetic headings that come without a variation.
    now : float, optional
        Seconds since 1970, to judge whether a date may be too early; default the computer's clock.
    step : callable, optional
        Called with the fraction done.

    Returns
    -------
    LogFile

    Raises
    ------
    InputError
        If the log holds no position or no date.
    """
    log = LogFile(name, "NMEA 0183", {}, waypoint_columns(0, name))
    framed = frame(data, TYPES, name, log.tally)
    readings = read_sentences(framed, name, log.tally, step)
    if framed.bare:
        log.notes.append(f"{name}: {framed.bare} sentences carry no checksum, nor does any other of their kind in this "
                         "log; they were read unchecked.")
    position = readings.position
    log.tally.add("positions without a fix (status V, quality 0 or empty)", name,
                  position["line"][position["state"] != VALID])
    position = _one_clock(log, position, readings.sources)
    valid = _rows(position, position["state"] == VALID)
    if not len(valid["order"]):
        raise InputError(_no_fix(log, len(readings.position["order"]), framed.total + framed.bare))
    valid["t_s"] = date_positions(valid["order"], valid["clock"], valid["day"], readings.dates, log_date, name)
    _mind_rollover(log, valid["t_s"], log_date, time.time() if now is None else now)
    valid, main = _one_receiver(log, valid, readings.talkers)
    void = _void_moments(position, valid, main)
    spoilt = np.isin(valid["t_s"], void["t_s"])
    log.tally.add("positions that another sentence of the same moment calls void", name, valid["line"][spoilt])
    valid = _rows(valid, ~spoilt)
    if not len(valid["order"]):
        raise InputError(_no_fix(log, len(readings.position["order"]), framed.total + framed.bare))
    behind = late(valid["t_s"])
    log.tally.add("positions that came late, after newer ones", name, valid["line"][behind])
    valid = _rows(valid, ~behind)
    _fill_ticks(log, valid)
    fixes = _moments(log, valid)
    stamps = _stamps(valid, void, readings.dates)

    def placed(table):
        return place_readings(table["order"], *stamps, fixes["order"], fixes["t_s"])

    _add_depths(log, fixes, readings.depth, placed)
    _add_headings(log, fixes, readings.heading, placed, position["variation_deg"], magnetic_variation)
    _add_first(log, fixes, readings.motion, placed, "speeds and courses (VTG)", "speed_mps", "course_deg")
    _add_first(log, fixes, readings.temperature, placed, "temperatures", "water_temp_c")
    _warn_of_estimates(log, fixes)
    fixes["t_s"] = fixes["t_s"] + time_offset * 3600
    del fixes["order"]
    log.fixes = fixes
    return log


def _rows(table, keep):
    return {name: values[keep] for name, values in table.items()}


def _no_fix(log, positions, sentences):
    if positions:
        return (f"{log.name} never has a fix: all its {positions} positions say that there is none (status V, quality "
                "0 or empty). Choose a log that was recorded after the receiver had found its satellites.")
    refused = "; ".join(log.tally.lines())
    return (f"{log.name} holds {sentences} whole NMEA 0183 sentences but no position (RMC, GGA, GLL or GNS) that can "
            f"be read{'; refused: ' + refused if refused else ''}. Depths and headings can only be placed by positions "
            "in the same file: record both together, or choose another file.")


def _one_clock(log, position, sources):
    """The position sentences without those of clocks that stand still or are not the log's."""
    foreign, reference = foreign_clock(position["order"], position["clock"], position["source"].astype(int))
    silent, foreign = foreign & (position["state"] != VALID), foreign & (position["state"] == VALID)
    position = {**position, "state": np.where(silent, UNSTATED, position["state"])}  # their time spoils no moment
    for one in np.unique(position["source"][foreign]).astype(int):
        theirs = foreign & (position["source"] == one)
        clocks, count = np.unique(position["clock"][theirs]), np.count_nonzero(theirs)
        why = (f"the clock stands still at {_time_of_day(clocks[0])} UTC" if len(clocks) == 1 and count > 2 else
               "their time is not that of the log around them")
        log.tally.add(f"{sources[one]} positions: {why}, while {sources[reference]} goes on", log.name,
                      position["line"][theirs])
    return _rows(position, ~foreign)


def _time_of_day(clock):
    return f"{int(clock // 3600):02d}:{int(clock % 3600 // 60):02d}:{int(clock % 60):02d}"


def _fill_ticks(log, valid):
    """Times (in place) of positions that come between two ticks of a slow clock."""
    valid["t_s"], tick = between_ticks(valid["t_s"], valid["source"].astype(int), valid["lon"], valid["lat"])
    if np.isfinite(tick):
        log.warnings.append(f"{log.name}: its clock ticks every {tick:g} s, with new positions between. They were "
                            "placed between the ticks in the order of their lines, evenly: times are good to one "
                            "position, and a receiver set to send the time with every position does better.")


def _mind_rollover(log, t_s, log_date, now):
    """Move ``t_s`` (in place) when ``log_date`` says that the week counter had begun again; else warn of odd dates."""
    moved = rollover_days(t_s[0], log_date)
    if moved:
        t_s += moved * DAY_S
        log.warnings.append(Message("{name}: its dates were moved by {moved} days, a whole number of GPS week "
                                    "rollovers, to the {log_date} you gave.", name=log.name, moved=moved))
        return
    if log_date is not None and log_date != t_s[0] // DAY_S:
        log.warnings.append(Message("{name} carries its own dates; the {log_date} you gave was not needed and not "
                                    "used.", name=log.name))
    warning = rollover_warning(t_s[0], now, log.name)
    if warning:
        log.warnings.append(warning)


def _one_receiver(log, valid, talkers):
    """Positions of the talker that sends most; others only where it is silent, lest the track zigzag between two."""
    # by moments, not sentences: one that says the same place over and over is no better for it
    moments = np.unique(np.column_stack([valid["talker"], valid["t_s"]]), axis=0)
    main = np.bincount(moments[:, 0].astype(int)).argmax()
    own = valid["talker"] == main
    others = np.flatnonzero(~own)
    if not len(others):
        return valid, main
    known = np.sort(valid["t_s"][own])
    t_s = valid["t_s"][others]
    at = np.searchsorted(known, t_s)
    silence = np.minimum(np.abs(t_s - known[np.maximum(at - 1, 0)]),
                         np.abs(t_s - known[np.minimum(at, len(known) - 1)]))
    repeated = others[silence < BREAK_S]
    keep = np.ones(len(own), bool)
    keep[repeated] = False
    log.beside_count += len(repeated)
    if len(repeated):
        names = ", ".join(sorted({talkers[int(i)] for i in valid["talker"][repeated]}))
        log.notes.append(f"{log.name}: {len(repeated)} positions by talker {names} were left out beside those of "
                         f"{talkers[main]}; two receivers do not make one track.")
    return _rows(valid, keep), main


def _void_moments(position, valid, main):
    """Order and time of the sentences by which the main talker says that it has no fix."""
    void = _rows(position, (position["state"] == VOID) & (position["talker"] == main) & np.isfinite(position["clock"]))
    near = np.maximum(np.searchsorted(valid["order"], void["order"]) - 1, 0)
    return {"order": void["order"], "t_s": nearest_day(void["clock"], valid["t_s"][near])}


def _moments(log, valid):
    """Columns of one fix for each moment: the first position, and of everything else the first that is known."""
    name = log.name
    moment = np.cumsum(np.diff(valid["t_s"], prepend=valid["t_s"][0]) != 0)
    first = np.unique(moment, return_index=True)[1]
    again = first[moment]
    elsewhere = ((valid["source"] == valid["source"][again])
                 & ((valid["lat"] != valid["lat"][again]) | (valid["lon"] != valid["lon"][again])))
    log.tally.add("positions at the time of another, in a different place", name, valid["line"][elsewhere])
    log.joined_count = int(len(moment) - len(first) - np.count_nonzero(elsewhere))
    if log.joined_count:
        log.notes.append(f"{name}: {log.joined_count} position sentences repeat the place of another at the same "
                         "time, as GGA and RMC do; each moment is one fix.")
    merged = {}
    for field in ("speed_mps", "course_deg", "hdop", "fix_quality", "satellites"):
        merged[field] = np.full(len(first), np.nan)
        known = np.flatnonzero(np.isfinite(valid[field]))
        owners, at = np.unique(moment[known], return_index=True)
        merged[field][owners] = valid[field][known[at]]
    t_s = valid["t_s"][first]
    return fix_columns(len(first), name, order=valid["order"][first], t_s=t_s, lat=valid["lat"][first],
                       lon=valid["lon"][first], log_line=valid["line"][first], segment=_segments(t_s), **merged)


def _segments(t_s):
    """Number of the unbroken stretch each fix stands in: a new one after a silence or a step back in time."""
    steps = np.diff(t_s)
    usual = np.median(steps[steps > 0]) if (steps > 0).any() else 0.0
    broken = (steps < 0) | (steps > max(BREAK_S, 3 * usual))
    return np.concatenate([[0], np.cumsum(broken)])


def _stamps(valid, void, dates):
    """Order and time of all that tells a time: positions, void ones, and ZDA where it agrees with them."""
    near = np.maximum(np.searchsorted(valid["order"], dates["order"]) - 1, 0)
    dates_t = nearest_day(dates["clock"], valid["t_s"][near])
    agree = np.abs(dates_t - valid["t_s"][near]) <= LATE_S
    order = np.concatenate([valid["order"], void["order"], dates["order"][agree]])
    t_s = np.concatenate([valid["t_s"], void["t_s"], dates_t[agree]])
    by_place = np.argsort(order, kind="stable")
    return order[by_place], t_s[by_place]


def _main_type(kinds):
    """Index of the sentence type to use of several that say the same: the first in rank that is nearly as frequent."""
    counts = np.bincount(kinds.astype(int))
    return int(np.flatnonzero(2 * counts >= counts.max())[0])


def _add_depths(log, fixes, depth, placed):
    """Each fix takes the median of the depths that fall to it."""
    if not len(depth["order"]):
        return
    main = _main_type(depth["type"])
    others = np.count_nonzero(depth["type"] != main)
    log.beside_count += others
    if others:
        log.notes.append(f"{log.name}: {others} depths in other sentences were left out beside those in "
                         f"{DEPTH_TYPES[main]}, which say the same.")
    depth = _rows(depth, depth["type"] == main)
    owner = placed(depth)
    log.tally.add("depths too far in time from any fix", log.name, depth["line"][owner < 0])
    log.depth_count = int(np.count_nonzero(owner >= 0))
    chosen = middle_of(owner, depth["depth_m"], len(fixes["t_s"]))
    has = chosen >= 0
    for field in ("depth_m", "depth_offset_m"):
        fixes[field][has] = depth[field][chosen[has]]
    fixes["depth_kind"][has] = DEPTH_KINDS[DEPTH_TYPES[main]]


def _add_headings(log, fixes, heading, placed, rmc_variation, magnetic_variation):
    """True headings: a variation comes from the sentence itself, else from the user, else from RMC."""
    if not len(heading["order"]):
        return
    variation = heading["variation_deg"]
    lacking = np.isnan(variation)
    if lacking.any():
        spare, source = magnetic_variation, Message("{magnetic_variation}")
        told = rmc_variation[np.isfinite(rmc_variation) & (rmc_variation != 0)]
        if spare is None and len(told):
            spare, source = float(np.median(told)), "the RMC sentences"
        if spare is None:
            log.warnings.append(Message("{name}: {count} magnetic headings come without a variation and were left out. "
                                        "Give {magnetic_variation} (degrees, east positive) to use them.",
                                        name=log.name, count=np.count_nonzero(lacking)))
        else:
            variation = np.where(lacking, spare, variation)
            log.notes.append(f"{log.name}: magnetic variation {spare:+.1f} degrees from " + source + ".")
    known = _rows({**heading, "heading_deg": (heading["heading_deg"] + variation) % 360}, np.isfinite(variation))
    if not len(known["order"]):
        return
    main = _main_type(known["type"])
    others = np.count_nonzero(known["type"] != main)
    if others:
        log.notes.append(f"{log.name}: headings are those of {HEADING_TYPES[main]}; {others} in other sentences were "
                         "left out beside them.")
    _add_first(log, fixes, _rows(known, known["type"] == main), placed, "headings", "heading_deg")


def _add_first(log, fixes, table, placed, words, *names):
    """Each fix takes, where it has no value of its own, the first reading that falls to it."""
    if not len(table["order"]):
        return
    owner = placed(table)
    log.tally.add(f"{words} too far in time from any fix", log.name, table["line"][owner < 0])
    chosen = first_of(owner, len(fixes["t_s"]))
    more = np.count_nonzero(owner >= 0) - np.count_nonzero(chosen >= 0)
    if more:
        log.notes.append(f"{log.name}: of several {words} for one fix the first was taken; {more} were left out.")
    for name in names:
        wanting = np.flatnonzero((chosen >= 0) & np.isnan(fixes[name]))
        fixes[name][wanting] = table[name][chosen[wanting]]


def _warn_of_estimates(log, fixes):
    guessed = np.count_nonzero(np.isin(fixes["fix_quality"], _ESTIMATED))
    if guessed:
        log.warnings.append(f"{log.name}: {guessed} fixes are dead reckoning, typed in or simulated (quality 6 to 8), "
                            "not satellite fixes; see fix_quality.")
