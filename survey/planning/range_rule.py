"""Which range to run: how much of each side a range shows, and which of a list serves a depth and an object best.

On each side a range R shows the bottom from the blind angle out to where the first of these ends it: the range itself;
12.5 times the height above the bottom, beyond which the sound grazes it (NOAA HSSD 2021, 6.1.2.2: below a height of 8 %
of the range the effective range is 12.5 times the height); the record's end, less the shadow that must fit; and the
place where the beam has grown wider than the object. Hits along the track do not end it: they set the fastest speed,
v = D f / hits, since no ping goes out before the last has come back from R (f at most c / (2 R)).
"""
from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from ..beams.ranges import blind_range
from ..ensonify.detection import DetectionSettings, ping_rate
from ..model.errors import InputError
from ..model.units import LENGTHS, SPEEDS
from .spacing import RANGES_M

if TYPE_CHECKING:
    from typing import Any

    from numpy.typing import ArrayLike

__all__ = ["FULLEST", "LONGEST_DEPTHS", "RANGES_M", "SHORTEST_DEPTHS", "RangeChoice", "RangeRule", "Reach",
           "choose_range", "fastest_speed", "usable_reach"]

LONGEST_DEPTHS = 12.5
"""Range over height above the bottom at which the height is 8 % of the range (NOAA FPM 2014 and HSSD 2021)."""

SHORTEST_DEPTHS = 5.0
"""The same where it is 20 %: on shorter ranges much of the record is water."""

FULLEST = 0.99
"""Of ranges whose strips are within this share of the widest, the shortest is taken: it shows more detail."""

_LIMITS = ("range", "grazing", "shadow", "beam", "blind", "no bottom")
_SURE = 1e-9


@dataclass(frozen=True)
class RangeRule:
    """What a range is judged by.

    ``object_m``: side of the cube to be shown. ``speed_mps``: the boat's; None leaves the speed free. ``blind_deg``:
    ground nearer to the vertical than this does not count. ``detection``: beam width, hits, shadow and ping rate, as
    the map of bottom seen judges them; its own object size is not asked. ``sound_speed_mps``: unknown is the slowest.

    Examples
    --------
    >>> import athwart
    >>> from athwart.planning.range_rule import fastest_speed
    >>> round(float(fastest_speed(50.0, athwart.RangeRule(1.0, sound_speed_mps=1500.0))), 2)  # half the highest rate
    2.5
    """

    object_m: float = 1.0
    speed_mps: float = None
    blind_deg: float = 20.0
    detection: DetectionSettings = field(default_factory=DetectionSettings)
    sound_speed_mps: float = None

    def __post_init__(self) -> None:
        for name, value, high in (("object_m", self.object_m, 100.0), ("speed_mps", self.speed_mps, 30.0),
                                  ("sound_speed_mps", self.sound_speed_mps, 2000.0)):
            if value is not None and not 0 < value <= high:
                raise InputError(f"{value:g} is no {name.rsplit('_', 1)[0].replace('_', ' ')} to plan with; give a "
                                 f"number above 0, at most {high:g}.", field=name)
        if not 0 <= self.blind_deg < 80:
            raise InputError(f"The blind angle is {self.blind_deg:g} degrees; give 0 or more, below 80.",
                             field="blind_deg")


@dataclass(frozen=True)
class Reach:
    """Arrays of one shape, metres over the ground: ``near`` and ``far`` edge of what counts on each side, ``far`` 0
    where nothing does; ``limit`` (str) what ends it: range, grazing, shadow, beam, blind (the blind angle or a shadow
    too short by the boat takes all of it) or no bottom."""

    near: np.ndarray
    far: np.ndarray
    limit: np.ndarray

    @property
    def width(self) -> np.ndarray:
        """What one side shows, metres across."""
        return np.maximum(self.far - self.near, 0.0)


@dataclass(frozen=True)
class RangeChoice:
    """``range_m`` chosen; whether it ``shows`` the object at the speed; ``near_m`` and ``far_m`` of the strip in which
    it does, on each side at the mean depth; ``limit`` what ends it, as in ``Reach``, or ``speed``; ``fastest_mps`` for
    the object; ``depths`` the range over the mean depth; ``smallest_m`` the smallest object that it shows at the speed
    anywhere; ``why`` in words."""

    range_m: float
    shows: bool
    near_m: float
    far_m: float
    limit: str
    fastest_mps: float
    depths: float
    smallest_m: float
    why: str


def usable_reach(range_m: ArrayLike, depth_m: ArrayLike, rule: RangeRule = None, seen_only: bool = False) -> Reach:
    """Where on the flat bottom each side shows an object.

    Parameters
    ----------
    range_m, depth_m : float or arrays, m
        True slant range and water under the transducer, broadcast together.
    rule : RangeRule
    seen_only : bool
        True leaves the object, its shadow and the beam's width out: bottom seen, up to 12.5 times the depth.

    Returns
    -------
    Reach
    """
    rule = RangeRule() if rule is None else rule
    slant, depth = np.broadcast_arrays(np.asarray(range_m, float), np.asarray(depth_m, float))
    ends = [slant, LONGEST_DEPTHS * depth]
    near = blind_range(depth, rule.blind_deg)
    if not seen_only:
        shadow, size = rule.detection.min_shadow_m, rule.object_m
        ends += [slant - shadow, np.full(slant.shape, size / (2 * math.tan(math.radians(rule.detection.beam_width_deg)
                                                                           / 2)))]
        # a shadow of the length asked for falls only beyond the slant H s / D - s
        near = np.maximum(near, _ground(depth * shadow / size - shadow, depth))
    stacked = np.stack(ends)
    first = np.argmin(stacked, axis=0)
    far = _ground(stacked.min(axis=0), depth)
    limit = np.array(_LIMITS, object)[first]
    limit = np.where(far > near + _SURE, limit, np.where(slant > depth, np.where(first == 3, "beam", "blind"),
                                                         "no bottom"))
    return Reach(near, np.where(far > near + _SURE, far, 0.0), limit)


def _ground(slant: np.ndarray, depth: np.ndarray) -> np.ndarray:
    return np.sqrt(np.maximum((slant - depth) * (slant + depth), 0.0)) * (slant > 0)


def fastest_speed(range_m: ArrayLike, rule: RangeRule = None) -> Any:
    """Speed (m/s) at which the object is hit often enough on this range, v = D f / hits; scalar or array."""
    rule = RangeRule() if rule is None else rule
    sound = np.nan if rule.sound_speed_mps is None else float(rule.sound_speed_mps)  # unknown: the slowest
    rate = ping_rate(np.asarray(range_m, float), np.asarray(sound), rule.detection)
    return (rule.object_m * rate / rule.detection.min_hits)[()]


def choose_range(depth_m: float, object_m: float = 1.0, speed_mps: float = None, ranges_m: ArrayLike = RANGES_M,
                 rule: RangeRule = None, unit: str = "m", speed_unit: str = "m/s") -> RangeChoice:
    """The range of a list that shows an object in the widest strip, at a depth or along a line of many depths.

    Parameters
    ----------
    depth_m : float or array, m
        Water under the transducer; of many, the mean width of the strip counts, and depths that are not finite do not.
    object_m : float, m
        Side of the cube to be shown.
    speed_mps : float, optional
        The boat's; ranges on which it is too fast for the hits are left out. None leaves the speed free.
    ranges_m : sequence of float, m
        Ranges the sounder has.
    rule : RangeRule, optional
        Everything else; its object and speed give way to those named here.
    unit, speed_unit : str
        Units in ``why``, keys of ``LENGTHS`` and ``SPEEDS``.

    Returns
    -------
    RangeChoice
        Where the object shows on none of them, ``shows`` is False, and ``why`` says what it would take: the range that
        would show it widest at a lower speed, or else the one that shows most bottom, no object promised.

    Raises
    ------
    InputError
        Without a depth above 0 or a range above 0.

    Examples
    --------
    >>> from athwart.planning.range_rule import choose_range
    >>> choose_range(4.0, 0.5, 1.5, [10, 20, 40]).range_m
    20.0
    """
    settings = {} if rule is None else {name: getattr(rule, name) for name in ("blind_deg", "detection",
                                                                               "sound_speed_mps")}
    rule = RangeRule(object_m, speed_mps, **settings)
    depth = np.asarray(depth_m, float).reshape(-1)
    depth = depth[np.isfinite(depth)]
    if not (depth > 0).any():
        raise InputError("There is no depth above 0 to choose a range for; give the water under the transducer.",
                         field="depth_m")
    ranges = np.unique(np.asarray(ranges_m, float))
    if not len(ranges) or not (np.isfinite(ranges) & (ranges > 0)).all():
        raise InputError("The ranges to choose from must be numbers above 0.", field="ranges_m")
    depth = depth[depth > 0]
    width = usable_reach(ranges[:, None], depth, rule).width.mean(axis=1)
    fastest = fastest_speed(ranges, rule)
    fits = np.ones(len(ranges), bool) if speed_mps is None else speed_mps <= fastest * (1 + _SURE)
    worth = np.where(fits, width, 0.0)
    shows, slower = bool((worth > 0).any()), bool((width > 0).any())
    if not shows and slower:
        worth = width
    elif not shows:  # the widest bottom seen, whatever lies on it
        worth = usable_reach(ranges[:, None], depth, rule, seen_only=True).width.mean(axis=1)
    at = int(np.argmax(worth >= FULLEST * worth.max()))
    mean = float(depth.mean())
    reach = usable_reach(ranges[at], mean, rule, seen_only=not slower)
    limit = "speed" if slower and not shows else str(reach.limit)
    choice = RangeChoice(float(ranges[at]), shows, float(reach.near), float(reach.far), limit, float(fastest[at]),
                         float(ranges[at] / mean), _smallest(ranges[at], mean, rule), "")
    return replace(choice, why=_words(choice, rule, mean, ranges, unit, speed_unit))


def _smallest(range_m: Any, depth: Any, rule: RangeRule) -> float:
    """Side of the smallest cube that shows somewhere on this range, at the rule's speed or at rest."""
    near = max(depth / math.cos(math.radians(rule.blind_deg)), depth)
    hits = 0.0 if rule.speed_mps is None else rule.speed_mps / fastest_speed(range_m, rule) * rule.object_m
    slant = np.linspace(near, max(near, range_m - rule.detection.min_shadow_m), 200)
    shadow = rule.detection.min_shadow_m
    beam = slant * 2 * math.tan(math.radians(rule.detection.beam_width_deg) / 2)
    return float(np.maximum(np.maximum(beam, depth * shadow / (slant + shadow)), hits).min())


def _words(choice: RangeChoice, rule: RangeRule, depth: float, ranges: np.ndarray, unit: str, speed_unit: str) -> str:
    """Why this range, in sentences."""
    def long(metres: float) -> str:
        return f"{metres / LENGTHS[unit]:.3g} {unit}"

    def fast(speed: float) -> str:
        return f"{speed / SPEEDS[speed_unit]:.2g} {speed_unit}"

    what = f"an object of {long(rule.object_m)}"
    longer = ranges[ranges > choice.range_m]
    parts = []
    if choice.shows:
        ends = {"range": "the range itself", "shadow": "the range, less the shadow that must fit on the record",
                "grazing": f"{LONGEST_DEPTHS:g} times the depth, where the sound only grazes the bottom",
                "beam": "the place where the beam grows wider than the object"}[choice.limit]
        parts.append(f"{long(choice.range_m)} shows {what} in the widest strip, from {long(choice.near_m)} to "
                     f"{long(choice.far_m)} on each side; what ends it is {ends}.")
        if len(longer) and rule.speed_mps is not None and fastest_speed(longer[0], rule) < rule.speed_mps:
            parts.append(f"On {long(longer[0])} the boat would have to slow down to "
                         f"{fast(fastest_speed(longer[0], rule))}.")
        elif len(longer) and choice.limit in ("grazing", "beam"):
            parts.append(f"Longer ranges, from {long(longer[0])} on, show no more of it, with fewer pings.")
    elif choice.limit == "speed":
        parts.append(f"On none of these ranges is {what} hit often enough at {fast(rule.speed_mps)}. "
                     f"{long(choice.range_m)} would show it widest; slow down to {fast(choice.fastest_mps)} there, or "
                     f"expect to see nothing smaller than {long(choice.smallest_m)}.")
    else:
        parts.append(f"None of these ranges shows {what} in {long(depth)} of water; {long(choice.range_m)} shows the "
                     f"bottom widest, and things from {long(choice.smallest_m)} up.")
    if choice.depths < SHORTEST_DEPTHS:
        parts.append(f"It is only {choice.depths:.3g} times the depth: {100 / max(choice.depths, 1):.0f} % of the "
                     "record is water.")
    elif choice.depths > LONGEST_DEPTHS * (1 + _SURE):
        parts.append(f"It is {choice.depths:.3g} times the depth, more than {LONGEST_DEPTHS:g}: the outer part of the "
                     "record shows little.")
    return " ".join(parts)
