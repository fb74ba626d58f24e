"""Records of any way over any floor as pictures, from geometry alone: a row a ping, slant range across, both sides.

Each ping looks athwart of where the transducer is at that moment; what nearer ground hides lies in shadow; the pings
of a longer range come slower. Noise is switched on bit by bit, see ``Noise``; without it the picture is geometry.
"""
from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from .floors import raised

__all__ = ["Display", "Noise", "Waterfall", "draw"]

_FINE = 4
"""Samples of the floor for each pixel of slant range."""

_PINGS_AT_ONCE = 200


@dataclass(frozen=True)
class Display:
    """How the record is drawn.

    ``ranges``: (time from which it holds, displayed range in m), in order; the first holds from the start. ``half``:
    pixels a side. ``assumed_mps``, ``sound_mps``: speed the sounder reckons with, and the true one. ``rate``: share of
    the highest ping rate, at which each echo is just back. ``first_ping``: the record's count of the first ping.
    ``squeeze``: pings that one row stands for, the middle one of which is shown. ``dropped``: (row counted from the
    oldest one, how many rows are missing from there on). ``layout``: both, port or starboard; ``newest``: top or
    bottom; ``bits`` a pixel: 8 or 16.
    """

    ranges: tuple = ((0.0, 30.0),)
    half: int = 240
    assumed_mps: float = 1500.0
    sound_mps: float = 1500.0
    rate: float = 0.5
    first_ping: int = 1000
    squeeze: int = 1
    dropped: tuple = ()
    layout: str = "both"
    newest: str = "top"
    bits: int = 8

    @property
    def displayed(self):
        """Displayed over true range and depth."""
        return self.assumed_mps / self.sound_mps

    def range_at(self, t):
        """Displayed range in force (m) at times."""
        starts, values = np.array(self.ranges).T
        return values[np.clip(np.searchsorted(starts, t, side="right") - 1, 0, None)]

    def pings(self, begin, end):
        """Times of the pings between two moments: each waits for its echo from the range's end."""
        found, t = [], begin
        while t <= end:
            found.append(t)
            t += 2 * float(self.range_at(t)) / (self.assumed_mps * self.rate)
        return np.array(found)


@dataclass(frozen=True)
class Noise:
    """What spoils the picture, each of it off by itself.

    ``speckle``: looks averaged in the gamma law of the echo, 0 for none. ``clutter``: noise of the receiver, as a share
    of plain bottom. ``beam_deg``: width of the beam along the track. ``fall_off``: how fast the picture darkens
    outwards, e-folds from centre to edge. ``fish``: shoals a hundred pings. ``surface``: share of pings with a burst of
    surface clutter, beside the bright first pixels of every ping. ``lost``: share of pings without bottom echo, in
    spells of ``lost_for``. ``gamma``: of the display. ``painted``: each pixel shows the brightness of the floor at its
    middle, without foreshortening.
    """

    speckle: float = 0.0
    clutter: float = 0.0
    beam_deg: float = 0.0
    fall_off: float = 0.0
    fish: float = 0.0
    surface: float = 0.0
    lost: float = 0.0
    lost_for: int = 4
    gamma: float = 1.0
    painted: bool = False

    @classmethod
    def ordinary(cls):
        """A fair day."""
        return cls(speckle=5.0, clutter=0.008, beam_deg=1.2, fall_off=0.7, fish=2.0, surface=0.08, lost=0.01, gamma=0.6)


@dataclass(frozen=True)
class Waterfall:
    """The picture and the truth behind it.

    ``grey``: (rows, columns) unsigned. Of every ping, shown or not, (n,) arrays: ``t`` (s), ``u``, ``v`` (m),
    ``azimuth`` (rad) of the fan's forward axis, ``speed``, ``depth`` under the transducer (true m), ``range_m`` (as
    displayed), ``lost`` (no bottom echo); ``first``: (2, n) true slant of the first bottom echo, port and starboard.
    ``shown``: (rows,) the ping behind each row of the picture, from the top.
    """

    grey: np.ndarray
    t: np.ndarray
    u: np.ndarray
    v: np.ndarray
    azimuth: np.ndarray
    speed: np.ndarray
    depth: np.ndarray
    range_m: np.ndarray
    lost: np.ndarray
    first: np.ndarray
    shown: np.ndarray
    display: Display
    floor: object = field(repr=False)

    @property
    def centre(self):
        """Column where the range is zero."""
        return 0 if self.display.layout == "starboard" else self.display.half

    def missing(self):
        """((row of the picture, how many rows are missing at its upper edge), ...)"""
        step = np.abs(np.diff(self.shown)) // self.display.squeeze - 1
        return tuple((int(k) + 1, int(step[k])) for k in np.flatnonzero(step > 0))

    def row(self, ping):
        """Row, from the top edge of the picture, of pings counted from 0 with their fraction; NaN off the picture."""
        ping = np.asarray(ping, float)
        order = np.argsort(self.shown)
        row = np.interp(ping, self.shown[order], order + 0.5)
        near = np.abs(self.shown[np.clip(row.astype(int), 0, len(self.shown) - 1)] - ping)
        return np.where(near <= self.display.squeeze * 0.75, row, np.nan)

    def column(self, ping, side, slant):
        """Column of true slant ranges (m) at pings."""
        edge = self.range_m[np.clip(np.round(ping).astype(int), 0, len(self.t) - 1)]
        return self.centre + side * np.asarray(slant) * self.display.displayed / edge * self.display.half

    def looks(self, u, v, height=0.0):
        """Every moment at which a place lies abeam and within range.

        Returns
        -------
        list of (ping with its fraction, side, true slant in m)
        """
        ahead = (u - self.u) * np.sin(self.azimuth) + (v - self.v) * np.cos(self.azimuth)
        found = []
        for k in np.flatnonzero((ahead[:-1] > 0) != (ahead[1:] > 0)).tolist():
            share = ahead[k] / (ahead[k] - ahead[k + 1])
            at, a, b = (x[k] + share * (x[k + 1] - x[k]) for x in (self.azimuth, self.u, self.v))
            right = (u - a) * np.cos(at) - (v - b) * np.sin(at)
            slant = float(np.hypot(right, self.floor.depth(np.array(u), np.array(v)) - height))
            if slant * self.display.displayed <= self.range_m[k]:
                found.append((k + share, 1 if right > 0 else -1, slant))
        return found

    def pixel(self, look):
        """(column, row) of a look."""
        ping, side, slant = look
        return float(self.column(ping, side, slant)), float(self.row(ping))


def draw(way, floor, display, noise=None, seed=0):
    """The record of a way over a floor.

    Parameters
    ----------
    way : ways.Steered or ways.Sailed
    floor : floors.Floor
    display : Display
    noise : Noise, optional
    seed : int

    Returns
    -------
    Waterfall
    """
    noise, rng = noise or Noise(), np.random.default_rng(seed)
    t = display.pings(way.begin, way.end)
    u, v, azimuth, speed = way.at(t)
    edge = display.range_at(t)
    lost = _spells(len(t), noise.lost, noise.lost_for, rng)
    halves, first = zip(*(_side(u, v, azimuth, side, edge, floor, display, noise) for side in (-1, 1)))
    depth = floor.depth(u, v)
    power = np.stack(halves)
    reach = (np.arange(display.half) + 0.5) / display.half
    power = power * np.where(lost, 0.02, 1.0)[None, :, None] * np.exp(-noise.fall_off * reach)
    if noise.speckle:
        power = power * rng.gamma(noise.speckle, 1 / noise.speckle, power.shape)
    _swim(power, depth * display.displayed / edge * display.half, noise, rng)
    if noise.clutter:
        power = power + noise.clutter * rng.gamma(1.0, 1.0, power.shape)
    shown = _shown(len(t), display)
    sides = {"both": [power[0][:, ::-1], power[1]], "port": [power[0][:, ::-1]], "starboard": [power[1]]}
    picture = np.hstack(sides[display.layout])[shown]
    full = 2 ** display.bits - 1
    scale = 1.0 if noise.painted else 0.5
    grey = np.round(np.clip(scale * np.maximum(picture, 0) ** noise.gamma, 0, 1) * full)
    grey = grey.astype(np.uint8 if display.bits == 8 else np.uint16)
    made = Waterfall(grey, t, u, v, azimuth, speed, depth, edge, lost, np.stack(first), shown, display, floor)
    return made if display.newest == "bottom" else replace(made, grey=grey[::-1], shown=shown[::-1])


def _shown(count, display):
    """Pings of the rows that are shown, oldest first."""
    rows = np.arange(display.squeeze // 2, count - (display.squeeze - 1) // 2, display.squeeze)
    keep = np.ones(len(rows), bool)
    for row, missing in display.dropped:
        keep[row:row + missing] = False
    return rows[keep]


def _side(u, v, azimuth, side, edge, floor, display, noise):
    """(pings, pixels) echo of one side, flat ground about 1, and (pings,) true slant of the first bottom echo."""
    power, first = np.zeros((len(u), display.half)), np.full(len(u), np.nan)
    beams = _beams(noise.beam_deg)
    for start in range(0, len(u), _PINGS_AT_ONCE):
        part = slice(start, start + _PINGS_AT_ONCE)
        for turn, weight in beams:
            seen, near = _fan(u[part], v[part], azimuth[part] + turn, side, edge[part], floor, display, noise.painted)
            power[part] += weight * seen
            if turn == 0:
                first[part] = near
    return power, first


def _beams(width_deg):
    """(turn in rad, weight) of the lines that stand for a beam of a width between its half-power points."""
    if not width_deg:
        return [(0.0, 1.0)]
    turns = np.linspace(-1, 1, 5) * width_deg
    weights = np.exp(-4 * np.log(2) * (turns / width_deg) ** 2)
    return list(zip(np.radians(turns), weights / weights.sum()))


def _fan(u, v, azimuth, side, edge, floor, display, painted):
    """Echo and first echo of a few pings, along lines without width."""
    pixel = edge / display.displayed / display.half
    fine = pixel / _FINE
    count = int(np.ceil(1.02 * display.half * _FINE))
    ground = (np.arange(count) + 0.5)[None, :] * fine[:, None]
    eu = u[:, None] + side * np.cos(azimuth)[:, None] * ground
    nv = v[:, None] - side * np.sin(azimuth)[:, None] * ground
    height, shine = raised(eu, nv, floor.things, floor.shine, floor.crown)
    z = floor.depth(eu, nv) - height
    seen = z / ground <= np.minimum.accumulate(z / ground, axis=1) * (1 + 1e-9)
    slant = np.hypot(ground, z)
    first = np.minimum(slant.min(axis=1), z[:, 0])
    bright = floor.bright(eu, nv) * shine
    if painted:
        return _painted(slant, bright, seen, pixel, display.half), first
    slope = np.gradient(z, axis=1) / fine[:, None]
    facing = np.clip((z - ground * slope) / (slant * np.sqrt(1 + slope ** 2)), 0.02, 1.0)
    strength = np.where(seen, facing * bright, 0.0) / _FINE
    index = (slant / pixel[:, None]).astype(int)
    index = np.where(index < display.half, index, display.half) + np.arange(len(u))[:, None] * (display.half + 1)
    power = np.bincount(index.ravel(), strength.ravel(), len(u) * (display.half + 1))
    return power.reshape(len(u), -1)[:, :display.half], first


def _painted(slant, bright, seen, pixel, half):
    """Brightness of the floor at the middle of each pixel; nothing in the water and in shadow."""
    out = np.zeros((len(slant), half))
    for k in range(len(slant)):
        middle = (np.arange(half) + 0.5) * pixel[k]
        at = np.flatnonzero(seen[k])
        at = at[np.append(True, np.diff(np.maximum.accumulate(slant[k, at])) > 0)]
        found = np.interp(middle, slant[k, at], bright[k, at], left=0.0, right=0.0)
        hole = np.interp(middle, slant[k, at], np.arange(len(slant[k]))[at])
        dark = ~seen[k, np.clip(np.round(hole).astype(int), 0, len(slant[k]) - 1)]
        out[k] = np.where(dark, 0.0, found)
    return out


def _spells(count, share, length, rng):
    """(count,) bool: spells of ``length`` that fill about a share of all."""
    on = np.zeros(count, bool)
    for start in np.flatnonzero(rng.random(count) < share / length):
        on[start:start + length] = True
    return on


def _swim(power, bottom, noise, rng):
    """Fish between the surface and the bottom, and clutter under the surface; ``bottom``: its column at each ping."""
    pings, half = power.shape[1:]
    if noise.surface:
        power[:, :, :3] += 3.0
        for ping in np.flatnonzero(rng.random(pings) < noise.surface):
            depth = bottom[ping] * rng.uniform(0.1, 0.4)
            column = np.arange(half)
            burst = np.exp(-column / max(depth / 2, 1.0)) * rng.gamma(1.0, 1.0, (2, half))
            power[:, ping] += burst * (column < depth)
    for _ in range(rng.poisson(noise.fish * pings / 100)):
        ping, side = rng.integers(pings), rng.integers(2)
        middle, long, wide = bottom[ping] * rng.uniform(0.25, 0.9), rng.integers(2, 7), rng.integers(1, 4)
        rows = slice(ping, ping + int(long))
        power[side, rows, max(int(middle - wide), 0):int(middle + wide)] += rng.uniform(0.5, 2.0)
