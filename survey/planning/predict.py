"""What a plan is expected to see: its swaths by the audit's own footprint, and runs of it with everybody's errors.

A plan is run by a boat that steers by its receiver: it strays from its line by the helm's wander and by what the fix is
off, and its beams by what is not known of mount, depth and sound. The errors of the outing and of each line are drawn
as the audit of a survey draws them (``survey.share``; JCGM 101:2008); the wander is drawn for each piece of a line. The
share seen is worked out again for every run.
"""
from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from shapely.geometry import box

from ..beams.ranges import blind_range
from ..geometry import overlap, shapes, transfer
from ..model import patience
from ..model.constants import SOUND_SPEED_FOR_ERRORS_MPS
from ..model.track import Track
from ..share import drawn_errors
from ..share.chances import DrawnPass, chances
from ..share.pass_facts import PassFacts
from ..share.places import strewn
from ..swaths.draw import draw_swaths, pass_unions
from ..swaths.edges import CONSTANT_DEPTH, SwathSettings

if TYPE_CHECKING:
    from typing import Any

    from ..uncertainty.sigmas import Sigmas

__all__ = ["LEAST_RUNS", "PredictSettings", "Prediction", "predict", "seen_by_lines", "track_of_lines", "wander_along"]

LEAST_RUNS = 50

WANDER_M = 100.0
"""Way (m) over which a helm forgets how far off the line it was (a judgement: a minute at 1.7 m/s)."""

_PIECE_M = 100.0
_STEP_M = 10.0
_FAR_M = 10_000.0

_PLACES = (8_000, 12_000)
_MOST_PIECES = 700
_SOUND_MPS = SOUND_SPEED_FOR_ERRORS_MPS
_COURSE_DEG = 3.0


@dataclass
class Prediction:
    """Percent of the area: ``nominal`` on a run without any error; ``expected``, ``low`` and ``high`` (95 % interval)
    of the share over ``runs`` simulated runs. ``shares``: (runs,). ``seen``: ground seen by enough passes on the run
    without errors, frame metres; ``passes``: what each line sees."""

    nominal: float
    expected: float
    low: float
    high: float
    shares: np.ndarray
    seen: Any
    passes: list

    @property
    def runs(self):
        return len(self.shares)


def track_of_lines(lines, ground, speed_mps=2.0, crs=None, reaches=None, sampled=None):
    """A prepared track of a run without errors: a pass for each line, samples at most 10 m apart.

    Parameters
    ----------
    lines : list of survey.planning.lines.PlannedLine
    ground : survey.planning.polygons.Ground
    speed_mps : float
    reaches : (n,) array, optional
        Instead of its range a line gets the slant range that reaches so far (m) over the ground.
    sampled : list of (places, course, turn rate), optional
        Of each line, where it is a piece of a longer one, whose bends it then knows at its ends.

    Returns
    -------
    survey.model.track.Track, in the crs of the ground's frame
    """
    xy, owner, heading, turn = [], [], [], []
    for number, line in enumerate(lines):
        places, course, rate = _samples(line.xy, speed_mps) if sampled is None else sampled[number]
        xy.append(places)
        heading.append(course)
        turn.append(rate)
        owner.append(np.full(len(places), number))
    xy, owner, heading, turn = map(np.concatenate, (xy, owner, heading, turn))
    n = len(xy)
    depth = ground.depth.filled(*xy.T)
    ranges = np.array([line.range_m for line in lines])[owner]
    if reaches is not None:
        ranges = np.hypot(np.asarray(reaches)[owner], depth)
    x, y = ground.frame.inverse(*xy.T)
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    true = (heading + ground.frame.convergence(*xy.T)) % 360
    text, none = np.full(n, "", object), np.full(n, np.nan)
    columns = {
        "outing": np.full(n, "plan", object), "pass_id": owner + 1,
        "sample_id": np.arange(n) + 10 * owner, "t_s": way / speed_mps, "heading_deg": true, "course_deg": true,
        "sigma_heading_deg": np.full(n, _COURSE_DEG), "speed_mps": np.full(n, float(speed_mps)), "turn_dps": turn,
        "depth_m": depth, "depth_source": np.full(n, "grid" if ground.depth.constant is None else "constant", object),
        "range_m": ranges, "range_ratio": np.ones(n), "sound_speed_mps": none, "mount_deg": np.zeros(n),
        "sigma_pos_m": none, "usable": np.ones(n, bool), "reject_reason": text}
    for name in ("record_ping", "heading_source", "latency_s", "lever_forward_m", "lever_starboard_m"):
        columns[name] = None
    return Track.from_columns(ground.frame.crs, x, y, columns)


def _samples(xy, speed_mps):
    """Places along a line, course (degrees, grid) and turn rate (degrees/s) at each."""
    xy = xy[np.append(True, np.hypot(*np.diff(xy, axis=0).T) > 1e-6)]
    step = np.hypot(*np.diff(xy, axis=0).T)
    run = np.concatenate([[0.0], np.cumsum(step)])
    count = max(1, int(np.ceil(run[-1] / _STEP_M)))
    at = np.linspace(0, run[-1], count + 1)
    if len(xy) > 2:
        at = np.unique(np.concatenate([at, run]))
        at = at[np.append(np.diff(at) > 0.5, True)]
    places = np.column_stack([np.interp(at, run, xy[:, k]) for k in (0, 1)])
    course = np.degrees(np.arctan2(*np.diff(places, axis=0).T)) if len(places) > 1 else np.zeros(1)
    course = np.degrees(np.unwrap(np.radians(course)))
    heading = np.concatenate([course[:1], (course[1:] + course[:-1]) / 2, course[-1:]])
    closed = len(xy) > 3 and np.allclose(xy[0], xy[-1])
    if closed:
        bend = (course[0] - course[-1] + 180) % 360 - 180
        heading[0], heading[-1] = course[0] - bend / 2, course[-1] + bend / 2
    # a boat does not turn on a corner of its line: it turns over the way of a step before and after
    before, after = np.maximum(at - _STEP_M, 0), np.minimum(at + _STEP_M, run[-1])
    turned = np.interp(after, at, heading) - np.interp(before, at, heading)
    return places, heading % 360, turned / np.maximum(after - before, 1e-9) * speed_mps


def seen_by_lines(lines, ground, settings=None, speed_mps=2.0, reaches=None, terrain=None, land=True, sampled=None):
    """Polygon (frame metres) that each line sees of the water, as the audit draws it; empty where it sees nothing.

    ``land`` False lets the beams run on over land. ``sampled``: see ``track_of_lines``.
    """
    if not lines:
        return []
    settings = SwathSettings() if settings is None else settings
    track = track_of_lines(lines, ground, speed_mps, reaches=reaches, sampled=sampled)
    if settings.range_model == "terrain" and terrain is not None:
        found = _unions_on_terrain(track, settings, ground, terrain, land)
    else:
        flat = settings if settings.range_model != "terrain" else replace(settings, range_model="slant")
        found = pass_unions(track, flat, ground.frame, ground.water_crs if land else None)
    return [found.get(number, shapes.empty()) for number in range(len(lines))]


def _unions_on_terrain(track, settings, ground, grid, land):
    drawn = draw_swaths(track, replace(settings, merge="pass"), ground.water_crs if land else None,
                        grid=grid)
    passes = drawn.columns["pass_id"].astype(int) - 1
    return {number: transfer.to_frame(ground.frame, polygon) for number, polygon in zip(passes, drawn.geometries)}


@dataclass(frozen=True)
class PredictSettings:
    """``blind_deg``, ``model``: see ``survey.swaths.edges.SwathSettings``. ``looks``: passes that must see a place.
    ``wander_m``: standard deviation of the boat off its line, as its receiver shows it. ``runs``: at least LEAST_RUNS.
    ``errors``: survey.uncertainty.sigmas.Sigmas."""

    blind_deg: float = 20.0
    model: str = "slant"
    looks: int = 1
    wander_m: float = 2.0
    speed_mps: float = 2.0
    runs: int = 200
    errors: Sigmas = drawn_errors.DEFAULTS
    seed: int = 0


def predict(lines, ground, given=None, terrain=None, step=lambda fraction: None):
    """Share of the area that a plan sees.

    Parameters
    ----------
    lines : list of survey.planning.lines.PlannedLine
    ground : survey.planning.polygons.Ground
    given : PredictSettings
    terrain : survey.bottom.depthgrid.DepthGrid, optional
        For the model 'terrain'.

    Returns
    -------
    Prediction
    """
    given = PredictSettings() if given is None else given
    blind_deg, model, looks, wander_m = given.blind_deg, given.model, given.looks, given.wander_m
    speed_mps, runs, errors, seed = given.speed_mps, given.runs, given.errors, given.seed
    settings = SwathSettings(range_model=model, blind_deg=blind_deg, merge="pass")
    pieces, owner, at, sampled = _pieces(lines, speed_mps)
    grounds = seen_by_lines(pieces, ground, settings, speed_mps, terrain=terrain, sampled=sampled)
    moving = _over_land(grounds, seen_by_lines(pieces, ground, settings, speed_mps, terrain=terrain, land=False,
                                               sampled=sampled), ground.water)
    step(0.3)
    whole = [shapes.union([g for g, o in zip(grounds, owner) if o == number]) for number in range(len(lines))]
    levels = overlap.levels(whole, looks) if whole else [shapes.empty()]
    seen = shapes.polygonal(levels[-1].intersection(ground.area))
    nominal = 100 * seen.area / ground.area.area
    step(0.5)
    outing = drawn_errors.drawn_for_outing(f"plan {seed}", runs, errors.sigma_bias,
                                           errors.sigma_sound_speed / _SOUND_MPS, errors)
    passes, line_errors = [], {}
    corners = np.cumsum([len(piece.xy) for piece in pieces])[:-1]
    depths = [part.mean() for part in np.split(ground.depth.filled(*np.concatenate([p.xy for p in pieces]).T), corners)]
    for number, (piece, polygon) in enumerate(zip(pieces, moving)):
        patience.look()
        if polygon.is_empty:
            continue
        facts = _facts(piece, depths[number], ground, blind_deg, speed_mps, errors)
        own = drawn_errors.drawn_for_pass(outing, f"plan {seed}", owner[number], facts, errors)
        if owner[number] not in line_errors:
            line_errors[owner[number]] = wander_along(at[owner == owner[number]], wander_m, runs, (seed, owner[number]))
        wander = line_errors[owner[number]][np.flatnonzero(owner[:number] == owner[number]).size]
        own = replace(own, starboard=own.starboard + wander)
        passes.append(DrawnPass(polygon, own, facts, [piece.xy]))
    far = box(*np.add(ground.area.bounds, np.array([-1, -1, 1, 1]) * _FAR_M))  # no rim to end at: range ends the beams
    places = strewn(ground.area, int(np.clip(ground.area.area / 20.0, *_PLACES)))
    found = chances(passes, places, looks, runs, far, lambda f: step(0.5 + 0.5 * f), short=True)
    # not as a change from the run without errors: one picture of thin strips at so many places is a noisy one
    shares = 100 * found.seen.mean(axis=0)
    # of n draws the k-th is such that a further run stays below it with k / (n + 1)
    low, high = np.percentile(shares, [2.5, 97.5], method="weibull")
    return Prediction(float(nominal), float(shares.mean()), float(low), float(high), shares, seen, whole)


def _over_land(cut, whole, water):
    """What each piece would see if only the range ended its beams, less the water that land hides from it.

    Moved by an error a beam still ends at its range, not where the shore was.
    """
    found = []
    for seen, beyond in zip(cut, whole):
        if beyond.area > seen.area + 1.0:
            hidden = shapes.polygonal(beyond.intersection(water)).difference(seen)
            found.append(shapes.polygonal(beyond.difference(hidden)))
        else:
            found.append(seen)
    return found


def wander_along(at, sigma, count, key):
    """(n, count) draws of how far off its line a helm is at ``at`` (n,) metres along it, rising; + starboard.

    A Gauss-Markov process: correlation exp(-d / WANDER_M).
    """
    rng = np.random.default_rng([20097, *key])
    fresh = rng.standard_normal((len(at), count))
    found = np.empty((len(at), count))
    for k in range(len(at)):
        kept = math.exp(-(at[k] - at[k - 1]) / WANDER_M) if k else 0.0
        found[k] = kept * (found[k - 1] if k else 0.0) + math.sqrt(1 - kept ** 2) * fresh[k]
    return sigma * found


def _pieces(lines, speed_mps):
    """Lines cut where the helm has forgotten: pieces, number of the line of each, its middle (m along it), and places,
    course and turn rate of each as the whole line has them: what a piece sees ends where the next begins."""
    found, owner, at, sampled = [], [], [], []
    long = max(_PIECE_M, sum(line.length for line in lines) / _MOST_PIECES)
    for number, line in enumerate(lines):
        places, course, rate = _samples(line.xy, speed_mps)
        run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(places, axis=0).T))])
        count = max(1, int(round(run[-1] / long)))
        ends = np.unique(np.searchsorted(run, np.linspace(0, run[-1], count + 1) - 1e-6))
        for a, b in zip(ends[:-1], ends[1:]):
            part = slice(a, b + 1)
            found.append(replace(line, xy=places[part]))
            sampled.append((places[part], course[part], rate[part]))
            owner.append(number)
            at.append((run[a] + run[b]) / 2)
    return found, np.array(owner), np.array(at), sampled


def _facts(piece, depth, ground, blind_deg, speed_mps, errors):
    depth = float(depth)
    tangent = math.tan(math.radians(blind_deg))
    outer = max(piece.reach_m, 0.1)
    inner = float(min(blind_range(depth, blind_deg), 0.9 * outer))
    by_guess = CONSTANT_DEPTH * depth if ground.depth.constant is not None else 0.0
    return PassFacts(inner, outer, max(piece.range_m, outer), depth, tangent, speed_mps, errors.sigma_pass, _COURSE_DEG,
                     math.hypot(errors.sigma_depth, by_guess), errors.sigma_sound_speed / _SOUND_MPS)
