"""Which moment of the track each pick belongs to: by time, by ping, or by where the boat or the object was."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry.frame import Frame
from ..model.constants import SIGMA_POSITION_M
from ..model.errors import InputError
from ..model.messages import Message
from ..model.table import Floats, Table, Texts
from ..model.times import iso_time
from .nearest_pass import abeam, nearest
from .poses import Poses, Runs

__all__ = ["BOAT", "OBJECT", "PING", "TIES", "TIME", "Matches", "no_overlap", "tie"]

AUTO, TIME, PING, BOAT, OBJECT = TIES = ("auto", "time", "ping", "boat point", "object point")

NEAR_SIGMAS = 3.0
"""A mark made on the boat lies within so many position sigmas of the pass it was made on."""

_QUARTER_S = 900.0
_MOST_OFFSET_H = 14.0


@dataclass(eq=False, repr=False)
class Matches(Table):
    """(n,) arrays, one row a pick.

    ``at``: position in the track counted in samples, see ``Poses.at``; NaN where there is none, and then ``reason``
    says why. ``tied_by``: the tie used. ``ground``: for object points the ground range to starboard (m), else NaN.
    """

    at: Floats
    reason: Texts
    tied_by: Texts
    ground: Floats

    def refuse(self, rows, reasons):
        """Rows (bool or int array) that get no place, and why: one text or one for each."""
        self.at[rows] = np.nan
        self.reason[rows] = reasons


def tie(track, picks, by="auto", mark_delay=0.0, time_offset=0.0):
    """Tie picks to the track.

    Parameters
    ----------
    track : Track
    picks : survey.targets.picks.Picks
    by : str
        One of ``TIES``. ``auto`` takes the time where a pick has one, else its ping, else its point as a mark made on
        the boat; it never takes a point for the object itself.
    mark_delay : float, s
        How long after the object passed abeam the mark was made.
    time_offset : float, h
        What was added to the picks' clock already; only for the message.

    Returns
    -------
    Matches

    Raises
    ------
    InputError
        If a tie was asked for that the picks or the track cannot give at all; if picks have times and none lies within
        the time of the track: the message then names the offset that would fit.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.targets.match import tie
    >>> import athwart
    >>> away = np.arange(0.0, 102.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=30.0, depth_m=5.0)).track
    >>> found = tie(track, athwart.Picks.of(2, t_s=[20.0, 900.0], side=[1, 1], slant_m=[13.0, 13.0]))
    >>> found.tied_by.tolist()[0], [bool(reason) for reason in found.reason]
    ('time', [False, True])
    """
    if not track.usable.any():
        raise InputError(Message("No sample of the track can be used; its field reject_reason says why. Correct that "
                                 "in {prepare()} first."))
    _demand(track, picks, by)
    count = len(picks)
    ties = Matches(np.full(count, np.nan), np.full(count, "", object), _choose(picks, track, by),
                np.full(count, np.nan))
    runs = Runs(track, track.t_s)
    timed = ((ties.tied_by == TIME) | (ties.tied_by == BOAT) & (len(runs) > 0)) & np.isfinite(picks.t_s)
    ties.refuse((ties.tied_by == TIME) & ~timed, "it has no time")
    ties.refuse((ties.tied_by == PING) & np.isnan(picks.ping), "it has no ping number")
    if timed.any():
        _by_time(ties, np.flatnonzero(timed), runs, picks, mark_delay, time_offset)
    by_ping = np.flatnonzero((ties.tied_by == PING) & np.isfinite(picks.ping))
    if len(by_ping):
        _by_ping(ties, by_ping, track, picks)
    points = np.isfinite(picks.x)
    ties.refuse(np.isin(ties.tied_by, (BOAT, OBJECT)) & ~timed & ~points, "it has no point")
    on_boat = np.flatnonzero((ties.tied_by == BOAT) & ~timed & points)
    if len(on_boat):
        _by_boat_point(ties, on_boat, track, picks, mark_delay)
    at_object = np.flatnonzero((ties.tied_by == OBJECT) & points)
    if len(at_object):
        _by_object_point(ties, at_object, track, runs, picks)
    ties.refuse(ties.tied_by == "", "it has no time, ping number or point that the track could be matched with")
    return ties


def _demand(track, picks, by):
    if by not in TIES:
        raise InputError(Message("{tie} is '{given}'; choose one of {known}.", given=by, known=", ".join(TIES)))
    has = {TIME: np.isfinite(picks.t_s).any(), PING: np.isfinite(picks.ping).any(),
           BOAT: np.isfinite(picks.x).any(), OBJECT: np.isfinite(picks.x).any()}
    lacks = {TIME: Message("times: give the field that holds them as {picks.t_s}"),
             PING: Message("ping numbers: give the field that holds them as {picks.ping}"),
             BOAT: "points: give a point layer", OBJECT: "points: give a point layer"}
    if by != AUTO and not has[by]:
        raise InputError(Message("{tie} is '{given}', but the picks have no {lacks}, or choose another {tie}.",
                                 given=by, lacks=lacks[by]))
    if by == PING and not np.isfinite(track.record_ping).any():
        raise InputError(Message("{tie} is 'ping', but the track carries no ping count. Give {prepare(fixes.ping)} in "
                                 "{prepare()}, or tie the picks by time."))


def _choose(picks, track, by):
    if by != AUTO:
        return np.full(len(picks), by, object)
    timed, counted = np.isfinite(track.t_s).any(), np.isfinite(track.record_ping).any()
    return np.select([np.isfinite(picks.t_s) & timed, np.isfinite(picks.ping) & counted, np.isfinite(picks.x)],
                     [TIME, PING, BOAT], "").astype(object)


def _by_time(ties, rows, runs, picks, mark_delay, time_offset):
    moment = picks.t_s[rows] - mark_delay
    if not len(runs):
        raise InputError("The picks carry times but the track has none. Prepare the track from a log with times, or "
                         "tie the picks by ping or as boat points.")
    first, last = runs.start.min(), runs.end.max()
    if not ((moment >= first) & (moment <= last)).any():
        raise InputError(no_overlap(moment, runs, time_offset))
    run, others = runs.find(moment, picks.outing[rows])
    ties.at[rows] = runs.position(run, moment)
    _refuse_doubles(ties, rows, runs, run, others, "at that time")
    for row, t_s in zip(rows[run < 0], moment[run < 0]):
        ties.refuse(row, _outside(runs, t_s, picks.outing[row]))


def _refuse_doubles(ties, rows, runs, run, others, what):
    for row, one, other in zip(rows[others >= 0], run[others >= 0], others[others >= 0]):
        ties.refuse(row, f"{what} the track has both {_pass_name(runs.outing[one], runs.pass_id[one])} and "
                         f"{_pass_name(runs.outing[other], runs.pass_id[other])}: select one outing of the track, or "
                         "give the picks a field named outing")


def _pass_name(outing, pass_id):
    return f"pass {pass_id}" + (f" of {outing}" if outing else "")


def _outside(runs, t_s, outing):
    if outing and outing not in set(runs.outing):
        return f"the track has no outing named '{outing}'"
    after = np.flatnonzero(runs.start > t_s)
    before = np.flatnonzero(runs.end < t_s)
    if not len(before):
        return f"its time, {iso_time(t_s)}, is {runs.start.min() - t_s:.1f} s before the track begins"
    if not len(after):
        return f"its time, {iso_time(t_s)}, is {t_s - runs.end.max():.1f} s after the track ends"
    return (f"its time, {iso_time(t_s)}, falls into a break of the track (a turn, a stop, a gap or samples that cannot "
            f"be used) between {iso_time(runs.end[before].max())} and {iso_time(runs.start[after].min())}")


def no_overlap(moment, runs, time_offset):
    """Names the quarter-hour offset that brings most picks onto the track."""
    said = (f"No pick falls within the time of the track: the picks run from {iso_time(moment.min())} to "
            f"{iso_time(moment.max())}, the track from {iso_time(runs.start.min())} to {iso_time(runs.end.max())}. ")
    steps = np.arange(-int(_MOST_OFFSET_H * 4), int(_MOST_OFFSET_H * 4) + 1)
    steps = steps[np.argsort(np.abs(steps), kind="stable")]
    anywhere = np.full(len(moment), "", object)
    hits = [int((runs.find(moment + step * _QUARTER_S, anywhere)[0] >= 0).sum()) for step in steps]
    best = int(np.argmax(hits))
    if hits[best]:
        return said + Message("With a {time_offset} of {fitting:g} hours {hits} of {count} picks would fit: set it if "
                              "the picks' clock does not show UTC.", fitting=time_offset + steps[best] / 4,
                              hits=hits[best], count=len(moment))
    off = np.minimum(np.abs(moment - runs.start.min()), np.abs(moment - runs.end.max())).min()
    return said + Message("The nearest is {off:.0f} s off and no {time_offset} of up to 14 hours would make them fit: "
                          "check that picks and track are of the same day, and the date of the log.", off=off)


def _by_ping(ties, rows, track, picks):
    runs = Runs(track, track.record_ping)
    if not len(runs):
        raise InputError(Message("The track's ping count falls along every pass, so no pick can be tied by it. Check "
                                 "{prepare(fixes.ping)} in {prepare()}, or tie the picks by time."))
    ping = picks.ping[rows]
    run, others = runs.find(ping, picks.outing[rows])
    ties.at[rows] = runs.position(run, ping)
    _refuse_doubles(ties, rows, runs, run, others, "with that ping number")
    for row in rows[run < 0]:
        ties.refuse(row, f"ping {picks.ping[row]:g} falls into no unbroken stretch of the track, whose pings run from "
                         f"{runs.start.min():g} to {runs.end.max():g}")


def _by_boat_point(ties, rows, track, picks, mark_delay):
    """The mark shows the fix of the moment, L old: the object was abeam L minus the delay of the finger later."""
    sigma = np.where(np.isfinite(track.sigma_pos_m), track.sigma_pos_m, SIGMA_POSITION_M)
    within = NEAR_SIGMAS * sigma
    found = nearest(track, picks.x[rows], picks.y[rows], float(within.max()))
    reach = within[np.floor(np.nan_to_num(found.at)).astype(int)]
    clear = (found.distance <= reach) & ((found.other_distance > reach) | _at_one_cut(track, found, reach))
    for k in np.flatnonzero(~clear):
        ties.refuse(rows[k], _unclear(track, found, k, reach[k]))
    rows, at = rows[clear], found.at[clear]
    ties.at[rows] = _shifted(track, at, mark_delay)
    ties.refuse(rows[np.isnan(ties.at[rows])], "the latency and the mark's delay carry it past the end of its pass")


def _at_one_cut(track, nearest, reach):
    """Where the two passes nearest to a mark are one way, cut in a turn, and the mark lies at the cut."""
    both = np.isfinite(nearest.at) & np.isfinite(nearest.other_at)
    one, other = (np.floor(np.where(both, at, 0.0)).astype(int) for at in (nearest.at, nearest.other_at))
    cuts = np.flatnonzero(track.cut_between())
    if not len(cuts):
        return np.zeros(len(both), bool)
    key = track.pass_key()
    same = both & (key[one] == key[other])  # the one of them is the cut itself
    low, high = np.minimum(key[one], key[other]), np.maximum(key[one], key[other])
    cut = cuts[np.minimum(np.searchsorted(key[cuts], low), len(cuts) - 1)]
    near = both & (key[cut] == low) & (high == low + 1)
    frame = Frame.around(track.crs, track.x[cuts], track.y[cuts])
    poses = [Poses.at(track, np.where(near, at, np.nan)) for at in (nearest.at, nearest.other_at)]
    there = np.column_stack(frame.forward(track.x[cut + 1], track.y[cut + 1]))
    for pose in poses:
        place = np.full((len(both), 2), np.inf)
        place[near] = np.column_stack(frame.forward(pose.x[near], pose.y[near]))
        near = near & (np.hypot(*(place - there).T) <= 2 * reach)
    return near | same


def _unclear(track, nearest, k, reach):
    if nearest.distance[k] > reach:
        return Message("its point lies {off:.1f} m from the nearest pass, too far for a mark made on the boat "
                       "({sigmas:g} position sigmas are {reach:.1f} m). If it stands at the object itself, use {tie} "
                       "'object point'", off=nearest.distance[k], sigmas=NEAR_SIGMAS, reach=reach)
    one, other = (int(at[k]) for at in (nearest.at, nearest.other_at))
    return (f"{_pass_name(track.outing[one], track.pass_id[one])} ({nearest.distance[k]:.1f} m off) and "
            f"{_pass_name(track.outing[other], track.pass_id[other])} ({nearest.other_distance[k]:.1f} m off) both lie "
            f"within {NEAR_SIGMAS:g} position sigmas ({reach:.1f} m) of its point and it has no time: give it a time, "
            "or select the samples of one of them")


def _shifted(track, at, mark_delay):
    """Positions moved on along their run by latency minus delay, in time; NaN past the end of the run."""
    out = np.full(len(at), np.nan)
    owner = np.full(len(track), -1)
    runs = track.runs()
    for number, run in enumerate(runs):
        owner[run] = number
    of = owner[np.floor(at).astype(int)]
    for number in np.unique(of):
        rows, run = of == number, runs[number]
        index = np.arange(run.start, run.stop)
        clock = _run_clock(track, run)
        later = np.interp(at[rows], index, np.nan_to_num(track.latency_s[run])) - mark_delay
        moment = np.interp(at[rows], index, clock) + later
        inside = (moment >= clock[0] - 1e-9) & (moment <= clock[-1] + 1e-9)
        out[rows] = np.where(later == 0, at[rows], np.where(inside, np.interp(moment, clock, index), np.nan))
    return out


def _run_clock(track, run):
    """Seconds along a run: its times, or where it has none the way over the speed."""
    t_s = track.t_s[run]
    if np.isfinite(t_s).all() and (np.diff(t_s) > 0).all():
        return t_s
    if len(t_s) == 1:
        return np.zeros(1)
    east, north = Frame.around(track.crs, track.x[run], track.y[run]).forward(track.x[run], track.y[run])
    speed = np.maximum(np.nan_to_num(track.speed_mps[run]), 0.1)
    way = np.hypot(np.diff(east), np.diff(north))
    return np.concatenate([[0.0], np.cumsum(np.maximum(way / ((speed[1:] + speed[:-1]) / 2), 1e-6))])


def _by_object_point(ties, rows, track, runs, picks):
    """Side, slant and sample from the track; the point itself stays the place, so that nothing is added twice."""
    only = np.full(len(rows), -1)
    if len(runs):
        run, others = runs.find(picks.t_s[rows], picks.outing[rows])
        known = (run >= 0) & (others < 0)
        only[known] = track.pass_key()[[runs.slices[k].start for k in run[known]]]
    found = abeam(track, picks.x[rows], picks.y[rows], only)
    ties.at[rows], ties.ground[rows] = found.at, found.ground
    ties.refuse(rows[np.isnan(found.at)], "no pass had this point abeam within its range")
