"""The run of a plan: lines in order, the leads before and after them, and the turns and ways between.

From one course to another a boat that turns no tighter than a radius goes along two arcs and a straight piece, or three
arcs (Dubins 1957). Where such a way would leave the boat's water it takes the shortest way round land, and turns on the
spot at its corners: the plan counts those.
"""
from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..model import patience
from .order import best_order

if TYPE_CHECKING:
    from .lines import PlannedLine

__all__ = ["Joints", "Leg", "Run", "dubins_length", "dubins_way", "joints_of", "run_of"]

_ARC_STEP = math.radians(15.0)
_LEAD_STEPS = 8
_RING_VERTICES = 24


@dataclass
class Leg:
    """A piece of the run, ``xy`` (n, 2) frame metres: ``kind`` 'line', 'shore', 'turn', 'way' (no room for the radius,
    or the way round land); ``line`` the PlannedLine, None between lines; ``lead_in_m``, ``lead_out_m`` of a line, the
    straight before and after it, which belong to the turns."""

    kind: str
    xy: np.ndarray
    line: PlannedLine | None = None
    lead_in_m: float = 0.0
    lead_out_m: float = 0.0

    @property
    def length(self):
        """m"""
        return float(np.hypot(*np.diff(self.xy, axis=0).T).sum())


@dataclass
class Run:
    """``legs`` in order; ``bound_m``: no order of these lines needs less way between them (straight, in sight or not);
    ``exact``: all orders were looked at; ``short_leads``: lines with less lead than asked; ``on_the_spot``: ways
    between lines that have no room for the radius; ``apart``: lines that no way over the water leads to."""

    legs: list
    bound_m: float
    exact: bool
    short_leads: int
    on_the_spot: int
    apart: int

    @property
    def lines(self):
        """PlannedLines in the order and direction they are run."""
        return [leg.line for leg in self.legs if leg.line is not None]

    @property
    def length(self):
        """m"""
        return float(sum(leg.length for leg in self.legs))

    @property
    def turns(self):
        """Ways between lines."""
        return sum(leg.line is None for leg in self.legs)


@dataclass
class Joints:
    """What lies between some lines: ``leads`` of each line, (m before, m after); ``between`` (2 n, 2 n) and ``first``
    (2 n,) or None, as ``order.best_order`` takes them."""

    leads: list
    between: np.ndarray
    first: np.ndarray


def joints_of(lines, clear, *, lead=0.0, radius=0.0, start=None):
    """The Joints of lines; see ``run_of``."""
    leads = [_leads(line, clear, lead) for line in lines]
    ends = np.array([place for line, (a, b) in zip(lines, leads) for place in (_before(line, a), _after(line, b))])
    course = np.array([c for line in lines for c in (line.azimuth(0) + 180, line.azimuth(-1))])
    between = clear.distances(ends, ends)
    if radius > 0:
        turned = dubins_length(ends[:, None], course[:, None], ends[None], course[None] + 180, radius)
        between = np.where(np.isfinite(between), np.maximum(between, np.minimum(turned, between + 8 * radius)), np.inf)
    between = np.minimum(between, between.T)
    np.fill_diagonal(between, 0.0)
    first = None if start is None else clear.distances(np.asarray(start, float)[None], ends)[0]
    return Joints(leads, between, first)


def run_of(lines, clear, *, lead=0.0, radius=0.0, start=None, thorough=True, joints=None):
    """Order lines and join them.

    Parameters
    ----------
    lines : list of survey.planning.lines.PlannedLine
    clear : survey.planning.clear_water.ClearWater
    lead : float
        Straight way (m) wanted before and after each line.
    radius : float
        Least radius of a turn (m).
    start : (2,) array, optional
        Where the boat is.
    thorough : see ``order.best_order``
    joints : Joints, optional
        Of these lines, where known.

    Returns
    -------
    Run
    """
    if joints is None:
        joints = joints_of(lines, clear, lead=lead, radius=radius, start=start)
    leads, order = joints.leads, best_order(joints.between, joints.first, thorough=thorough)
    legs, spot, apart, short = [], 0, 0, 0
    place, out = None if start is None else np.asarray(start, float), None
    for number, back in zip(order.sequence, order.turned):
        patience.look()
        line, (a, b) = lines[number], leads[number]
        if back and not line.closed:  # a closed line keeps land on its side
            line, a, b = line.turned(), b, a
        if line.closed and place is not None:
            away = np.hypot(*(line.xy[:-1] - place).T)
            line = line.begun_at(int(away.argmin()))
            a, b = _leads(line, clear, lead)
        short += (a < lead - 0.5) + (b < lead - 0.5) > 0
        into = line.azimuth(0)
        if place is not None:
            kind, xy = _joined(place, out, _before(line, a), into, clear, radius)
            if xy is None:
                apart += 1
            else:
                spot += kind == "way" and radius > 0 and out is not None
                xy = _with_leads(place if out is None else legs[-1].xy[-1], xy, line.start)
                if np.hypot(*np.diff(xy, axis=0).T).sum() > 0.01:
                    legs.append(Leg(kind, xy))
        elif a > 0.01:
            legs.append(Leg("turn", np.vstack([_before(line, a), line.start])))
        legs.append(Leg(line.kind, line.xy, line, a, b))
        place, out = _after(line, b), line.azimuth(-1)
    if legs and legs[-1].lead_out_m > 0.01:
        legs.append(Leg("turn", np.vstack([legs[-1].xy[-1], place])))
    return Run(legs, order.bound, order.exact, int(short), int(spot), int(apart))


def _with_leads(begin, xy, end):
    kept = [begin[None]] if np.hypot(*(xy[0] - begin)) > 0.01 else []
    kept.append(xy)
    if np.hypot(*(end - xy[-1])) > 0.01:
        kept.append(end[None])
    return np.vstack(kept)


def _unit(azimuth):
    return np.array([math.sin(math.radians(azimuth)), math.cos(math.radians(azimuth))])


def _before(line, lead):
    return line.start - lead * _unit(line.azimuth(0))


def _after(line, lead):
    return line.end + lead * _unit(line.azimuth(-1))


def _leads(line, clear, lead):
    """Straight ways (m) before and after a line that the water has room for, at most the lead asked for."""
    if lead <= 0 or line.closed:
        return 0.0, 0.0
    found = []
    for at, way in ((line.start, -_unit(line.azimuth(0))), (line.end, _unit(line.azimuth(-1)))):
        tries = lead * np.arange(_LEAD_STEPS, 0, -1) / _LEAD_STEPS
        found.append(next((float(t) for t in tries if clear.keeps(np.vstack([at, at + t * way]))), 0.0))
    return tuple(found)


def _joined(place, out, goal, into, clear, radius):
    """(kind, (n, 2) way) from a place, left on course ``out`` (None: any), to another, entered on course ``into``."""
    if out is not None and radius > 0:
        for xy in dubins_ways(place, out, goal, into, radius):
            if clear.keeps(xy):
                return "turn", xy
    xy = clear.way(place, goal)
    if xy is None:
        return "way", None
    return "way" if len(xy) > 2 or radius > 0 else "turn", xy


def _words(dx, dy, out, into, radius):
    """(6, ...) arrays of the three pieces of each of the six words, in radii, NaN where a word does not exist.

    Shkel & Lumelsky 2001, in axes along the way from place to place; courses counter-clockwise from it.
    """
    d = np.hypot(dx, dy) / radius
    theta = np.arctan2(dy, dx)
    a = np.mod(np.pi / 2 - np.radians(out) - theta, 2 * np.pi)
    b = np.mod(np.pi / 2 - np.radians(into) - theta, 2 * np.pi)
    sa, sb, ca, cb, cab = np.sin(a), np.sin(b), np.cos(a), np.cos(b), np.cos(a - b)

    def turn(angle):
        return np.mod(angle, 2 * np.pi)
    with np.errstate(invalid="ignore"):
        found = []
        p = np.sqrt(2 + d * d - 2 * cab + 2 * d * (sa - sb))
        t = np.arctan2(cb - ca, d + sa - sb)
        found.append((turn(t - a), p, turn(b - t)))                                   # LSL
        p = np.sqrt(2 + d * d - 2 * cab + 2 * d * (sb - sa))
        t = np.arctan2(ca - cb, d - sa + sb)
        found.append((turn(a - t), p, turn(t - b)))                                   # RSR
        p = np.sqrt(d * d - 2 + 2 * cab + 2 * d * (sa + sb))
        t = np.arctan2(-ca - cb, d + sa + sb) - np.arctan2(-2.0, p)
        found.append((turn(t - a), p, turn(t - b)))                                   # LSR
        p = np.sqrt(d * d - 2 + 2 * cab - 2 * d * (sa + sb))
        t = np.arctan2(ca + cb, d - sa - sb) - np.arctan2(2.0, p)
        found.append((turn(a - t), p, turn(b - t)))                                   # RSL
        q = (6 - d * d + 2 * cab + 2 * d * (sa - sb)) / 8
        p = turn(2 * np.pi - np.arccos(q))
        t = turn(a - np.arctan2(ca - cb, d - sa + sb) + p / 2)
        found.append((t, p, turn(a - b - t + p)))                                     # RLR
        q = (6 - d * d + 2 * cab + 2 * d * (sb - sa)) / 8
        p = turn(2 * np.pi - np.arccos(q))
        t = turn(-a - np.arctan2(ca - cb, d + sa - sb) + p / 2)
        found.append((t, p, turn(b - a - t + p)))                                     # LRL
    return np.array([np.broadcast_arrays(*word) for word in found])


_TURNS = ((1, 0, 1), (-1, 0, -1), (1, 0, -1), (-1, 0, 1), (-1, 1, -1), (1, -1, 1))


def dubins_length(start, out, goal, into, radius):
    """Length (m) of the shortest way between courses with a least radius; (..., 2) places, azimuths in degrees."""
    away = np.asarray(goal, float) - np.asarray(start, float)
    words = _words(away[..., 0], away[..., 1], np.asarray(out, float), np.asarray(into, float), radius)
    return radius * np.nanmin(np.where(np.isnan(words).any(axis=1), np.nan, words.sum(axis=1)), axis=0)


def dubins_ways(start, out, goal, into, radius):
    """The ways between two courses, (n, 2) each, the shortest first."""
    away = np.asarray(goal, float) - start
    words = _words(away[0], away[1], float(out), float(into), radius)
    length = words.sum(axis=1)
    for k in np.argsort(np.where(np.isnan(length), np.inf, length)):
        if np.isfinite(length[k]):
            xy = _drawn(np.asarray(start, float), math.pi / 2 - math.radians(out), words[k], _TURNS[k], radius)
            if np.hypot(*(xy[-1] - goal)) < 0.01 * radius + 0.01:
                yield np.vstack([xy[:-1], goal])


def dubins_way(start, out, goal, into, radius):
    """The shortest of ``dubins_ways``."""
    return next(dubins_ways(start, out, goal, into, radius))


def _drawn(place, angle, pieces, turns, radius):
    found = [place]
    for piece, turn in zip(pieces, turns):
        if turn == 0:
            place = place + radius * piece * np.array([math.cos(angle), math.sin(angle)])
            found.append(place)
            continue
        centre = place + radius * turn * np.array([-math.sin(angle), math.cos(angle)])
        count = max(1, int(np.ceil(piece / _ARC_STEP)))
        for share in np.arange(1, count + 1) / count:
            a = angle + turn * piece * share
            found.append(centre + radius * turn * np.array([math.sin(a), -math.cos(a)]))
        place, angle = found[-1], angle + turn * piece
    return np.array(found)
