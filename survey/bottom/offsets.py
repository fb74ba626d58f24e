"""One slowly varying offset a pass between a depth grid and the sounder, and the places where it does not hold.

Draft, water level and load change slowly. A position that is 2 m off changes what the grid says under the boat from one
sample to the next, beside a ledge by the whole height of it. So the offset is not taken from each sample: it is the
weighted median of a pass over two minutes. A sample weighs what it can know, the less the more the grid's depths differ
within the error of its position. Where nothing near can know, along the brink of a ledge say, the rest of the outing
tells, and where that cannot either, the grid stands as it is.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..geometry.frame import Frame, horizontal_crs
from ..model.messages import Message
from ..model.times import iso_time

__all__ = ["Disagreement", "disagreements", "position_scatter", "slow_offsets", "told"]

SIGMA_READING_M = 0.15
"""Standard deviation of sounder less grid on level ground: a reading, a wave, the grid's own noise. A judgement."""

SIGMA_PASS_M, SIGMA_OUTING_M = 0.5, 3.0
"""How far the offset of a pass may lie from that of its outing (speed and load), and an outing's from 0 (draft and
level), one standard deviation; judgements."""

WINDOW_S, KNOT_S = 60.0, 15.0
"""Samples within a minute before and after count; the offset is found four times a minute and straight in between."""

_CLOUD = 16
_LEAST_SAMPLES = 3
_SAMPLE_S = 1.0


@dataclass
class Disagreement:
    """A stretch of a pass where grid and sounder differ by more than they may: ``samples`` (first, last) indices into
    the track, ``worst`` the index of the largest ``difference`` (m, grid less sounder, offset taken out), ``scatter``
    (m) of the grid within the error of the position there."""

    samples: tuple
    worst: int
    difference: float
    scatter: float


def position_scatter(grid, x, y, crs, sigma, under):
    """How much the grid's depth under a sample varies within the error of its position.

    Parameters
    ----------
    grid : survey.bottom.depthgrid.DepthGrid
    x, y : (n,) arrays
        In ``crs``, on places where the grid is known.
    sigma : (n,) array, m
        Standard deviation of the position on each axis.
    under : (n,) array, m
        The grid's depth there.

    Returns
    -------
    (n,) array, m
        Root mean square difference from ``under`` over a cloud of places spread round the sample as its error is. On a
        plane that is its slope times sigma.
    """
    share = (np.arange(_CLOUD) + 0.5) / _CLOUD
    out, turn = np.sqrt(-2 * np.log(1 - share)), np.pi * (3 - np.sqrt(5)) * np.arange(_CLOUD)
    cells, frame = grid.cells_from(crs), Frame.around(crs, x, y)
    col, row = (np.asarray(v, float) for v in cells(x, y))
    east, north = frame.forward(x, y)
    to_east, to_north = ([np.asarray(v) - at for v, at in zip(cells(*frame.inverse(east + e, north + n)), (col, row))]
                         for e, n in ((1, 0), (0, 1)))
    squares, count = np.zeros(len(col)), np.zeros(len(col))
    for e, n in zip(out * np.cos(turn), out * np.sin(turn)):
        there = grid.depth_in_cells(*(at + sigma * (e * a + n * b) for at, a, b in zip((col, row), to_east, to_north)))
        known = np.isfinite(there)
        squares[known] += np.square(there - under)[known]
        count += known
    return np.sqrt(squares / np.maximum(count, 1))


def slow_offsets(track, wanted, scatter):
    """Offset of every sample.

    Parameters
    ----------
    track : survey.model.track.Track
    wanted : (n,) array, m
        Sounder less grid of the samples that can be compared, NaN of the others.
    scatter : (n,) array, m
        See ``position_scatter``; read where ``wanted`` is known.

    Returns
    -------
    (n,) array, m
        Of a pass without a sample that can be compared: its outing's; of such an outing: the median of all, else 0.
    """
    known = np.isfinite(wanted)
    out = np.full(len(track), np.median(wanted[known]) if known.any() else 0.0)
    if not known.any():
        return out
    weight = 1 / (SIGMA_READING_M**2 + np.square(scatter))
    times = np.where(np.isfinite(track.t_s), track.t_s, np.arange(len(track)) * _SAMPLE_S)
    key, number = track.pass_key(), np.unique(track.outing.astype(str), return_inverse=True)[1]
    for one in np.unique(number[known]):
        members = np.flatnonzero(number == one)
        have = members[known[members]]
        outing = _median(wanted[have], weight[have], 0.0, SIGMA_OUTING_M)
        out[members] = outing
        for samples in np.split(have, np.flatnonzero(np.diff(key[have])) + 1):
            whole = members[key[members] == key[samples[0]]]
            order = np.argsort(times[samples], kind="stable")
            out[whole] = _along(times[whole], times[samples][order], wanted[samples][order], weight[samples][order],
                                outing)
    return out


def _along(when, t, wanted, weight, outing):
    """Offsets of one pass at times ``when``, from its samples in order of time."""
    knots = np.linspace(t[0], t[-1], max(1, int(np.ceil((t[-1] - t[0]) / KNOT_S))) + 1)
    first, last = (np.searchsorted(t, knots + side * WINDOW_S, which) for side, which in ((-1, "left"), (1, "right")))
    found = [_median(wanted[a:b], weight[a:b], outing, SIGMA_PASS_M) if b > a else np.nan for a, b in zip(first, last)]
    found = np.array(found)
    good = np.isfinite(found)
    return np.interp(when, knots[good], found[good])


def _median(values, weight, prior, sigma):
    """Weighted median of values and of a prior; all the samples together weigh what one of them does, since errors of
    position last."""
    values, weight = np.append(values, prior), np.append(weight / len(weight), 1 / sigma**2)
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weight[order])
    return values[order][np.searchsorted(total, total[-1] / 2)]


def disagreements(track, rest, scatter, limit):
    """Stretches where grid and sounder differ although the slow offset was taken out.

    Parameters
    ----------
    track : survey.model.track.Track
    rest : (n,) array, m
        Grid less sounder, the offset taken out; NaN where there is nothing to compare.
    scatter : (n,) array, m
    limit : (n,) array, m
        What is still agreement.

    Returns
    -------
    list of Disagreement, the largest difference first; of one side of the offset, at least three samples or seconds
    """
    index = np.flatnonzero(np.isfinite(rest))
    if not len(index):
        return []
    sign = np.sign(rest[index]) * (np.abs(rest[index]) > limit[index])
    key = track.pass_key()[index]
    found = []
    for part in np.split(np.arange(len(index)), np.flatnonzero((np.diff(sign) != 0) | (np.diff(key) != 0)) + 1):
        a, b = index[part[0]], index[part[-1]]
        if sign[part[0]] and (len(part) >= _LEAST_SAMPLES or track.t_s[b] - track.t_s[a] >= _LEAST_SAMPLES):
            worst = index[part][np.argmax(np.abs(rest[index[part]]))]
            found.append(Disagreement((a, b), worst, float(rest[worst]), float(scatter[worst])))
    return sorted(found, key=lambda one: -abs(one.difference))


def told(track, name, spots, most=3):
    """A sentence for the log about the worst of them, with places and the remedy; '' where there are none."""
    if not spots:
        return ""
    places = "; ".join(_place(track, one) for one in spots[:most])
    steep = sum(3 * one.scatter > abs(one.difference) for one in spots)
    causes = []
    if steep:
        causes.append(Message("Beside steep ground an error of the boat's position is enough for that: the shadows and "
                              "edges there lie as uncertainly as the boat. Look at that ground from a line farther "
                              "off, or state a better position ({prepare(sigma_position_m)} of {prepare()}) if the "
                              "receiver has it."))
    if steep < len(spots):
        causes.append("Where the ground is not steep the grid is wrong there, or the sounder read weed, fish or the "
                      "surface: compare depth_m of the track with the grid, and correct the one that errs.")
    return (f"The depth grid '{name}' and the sounder disagree on {len(spots)} stretch{'es' * (len(spots) > 1)} of the "
            f"track, although one slowly varying offset a pass was taken out. Worst: {places}. "
            + Message.joined(" ", causes))


def _place(track, one):
    first, last = one.samples
    digits = 1 if horizontal_crs(track.crs).is_projected else 6
    return (f"pass {track.pass_id[one.worst]} of '{track.outing[one.worst]}', {iso_time(track.t_s[first])} to "
            f"{iso_time(track.t_s[last])}, at {track.x[one.worst]:.{digits}f}, {track.y[one.worst]:.{digits}f}: the "
            f"grid is {abs(one.difference):.1f} m {'deeper' if one.difference > 0 else 'shallower'}, and its depths "
            "differ by "
            f"{one.scatter:.1f} m within the error of the position")
