"""What the user states about boat, sounder and outing, in metres, seconds and degrees, checked in one place."""
from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

import numpy as np

from ..beams.soundspeed import Sound, sound_in
from ..depths.soundings import KINDS, LOGGED
from ..model.errors import InputError
from ..model.track import OUTINGS_PARTED

__all__ = ["OFFSET_NAMES", "RangeRows", "TrackSettings", "rows_of_outing", "with_offsets"]

OFFSET_NAMES = ("latency_s", "mount_deg", "lever_forward_m", "lever_starboard_m", "scale", "trim_deg")


@dataclass(frozen=True)
class RangeRows:
    """Notes of range changes.

    ``from_s`` (k,): seconds since 1970 UTC, NaN where the row names a waypoint without a time. ``names``: of the
    waypoints, '' elsewhere; ``x``, ``y``: their places in the crs of the fixes, NaN elsewhere. ``range_m`` (k,): as
    displayed. ``time_offset``: hours already added to ``from_s``.
    """

    from_s: np.ndarray
    names: list
    x: np.ndarray
    y: np.ndarray
    range_m: np.ndarray
    time_offset: float = 0.0


@dataclass(frozen=True)
class TrackSettings:
    """Statements about one outing.

    ``range_m``: range as displayed, each side, or the one before the first of ``range_rows``. ``range_field``: name of
    the field the fixes' ranges came from. ``depth_m``: one depth for the outing, as displayed. ``depth_reference``:
    'logged' (what the log says, else transducer), 'transducer', 'surface' or 'keel'. ``draft_m``: transducer below the
    surface, ``keel_m``: keel below the transducer, None if not stated. ``variation_deg``: east positive, added to the
    compass; 0 for true headings. ``backwards``: the boat goes astern, its bow opposite to the course. ``lever_*``:
    transducer minus antenna. ``latency_s`` > 0: a fix stamped T was true at T minus this. ``trim_deg``: fan tilted so
    that it strikes the bottom forward of the transducer. ``assumed_mps``, ``temperature_c``: None if unknown.
    ``scale``: true over displayed range, in place of what these give. ``max_gap_s``, ``max_turn_rate``,
    ``spacing_m``, ``sigma_*``: None for the rules described where they are used.
    """

    outing: str = ""
    range_m: float = None
    range_field: str = ""
    range_rows: RangeRows = None
    depth_m: float = None
    depth_reference: str = LOGGED
    draft_m: float = None
    keel_m: float = None
    speed_mps: float = None
    variation_deg: float = 0.0
    heading_offset_deg: float = 0.0
    backwards: bool = False
    drift_speed: float = 0.2
    lever_forward_m: float = 0.0
    lever_starboard_m: float = 0.0
    mount_deg: float = 0.0
    latency_s: float = 0.0
    trim_deg: float = 0.0
    assumed_mps: float = None
    temperature_c: float = None
    salinity: float = 0.0
    scale: float = None
    min_speed: float = 0.3
    max_speed: float = 10.0
    max_gap_s: float = None
    max_turn_rate: float = None
    smoothing_s: float = 0.0
    spacing_m: float = None
    sigma_position_m: float = None
    sigma_heading_deg: float = None

    def __post_init__(self):
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, float) and not math.isfinite(value):
                raise InputError(f"{field.name} is {value}; give an ordinary number.")
        _demand(self.range_m is None or self.range_m > 0, f"RANGE is {self.range_m}; a range is above zero.")
        _demand(self.range_m is not None or self.range_field or self.range_rows is not None,
                "RANGE is not given: no log carries it. Type the range the record was made with in RANGE, choose the "
                "field that holds it in RANGE_FIELD, or list its changes in SETTINGS.")
        _demand(not (self.range_field and self.range_rows is not None),
                "Both RANGE_FIELD and SETTINGS are given and could contradict each other; leave one of them blank.")
        _demand(self.depth_m is None or self.depth_m > 0,
                f"DEPTH is {self.depth_m}; give the water under the transducer, above zero.")
        _demand(self.depth_reference in (LOGGED, *KINDS),
                f"DEPTH_REFERENCE is '{self.depth_reference}'; choose one of {', '.join((LOGGED, *KINDS))}.")
        _demand(self.depth_m is None or self.depth_reference != "keel" or self.keel_m is not None,
                "DEPTH is below the keel; give KEEL_OFFSET, how far the keel lies under the transducer.")
        _demand(self.speed_mps is None or self.speed_mps > 0, f"SPEED is {self.speed_mps}; a speed is above zero.")
        _demand(0 <= self.min_speed < self.max_speed,
                f"MIN_SPEED ({self.min_speed:g} m/s) must not be negative and stay under MAX_SPEED "
                f"({self.max_speed:g} m/s).")
        for name, value in (("DRIFT_SPEED", self.drift_speed), ("SMOOTHING", self.smoothing_s),
                            ("TRANSDUCER_DRAFT", self.draft_m), ("SPACING", self.spacing_m),
                            ("SIGMA_POSITION", self.sigma_position_m), ("SIGMA_HEADING", self.sigma_heading_deg)):
            _demand(value is None or value >= 0, f"{name} is {value}; it cannot be negative.")
        _demand(not 0 < (self.spacing_m or 0) < 1,
                f"SPACING is {self.spacing_m} m; give 1 m or more, or 0 to keep every fix.")
        _demand(self.max_gap_s is None or self.max_gap_s > 0, f"MAX_GAP is {self.max_gap_s}; it must be above zero.")
        _demand(self.max_turn_rate is None or self.max_turn_rate > 0,
                f"MAX_TURN_RATE is {self.max_turn_rate}; it must be above zero.")
        _demand(abs(self.latency_s) <= 60, f"LATENCY is {self.latency_s:g} s; no receiver is a minute late. Correct a "
                                           "wrong clock with TIME_OFFSET.")
        _demand(abs(self.trim_deg) < 45, f"A trim of {self.trim_deg:g} degrees is beyond what a fan can be.")
        _demand(self.scale is None or 0.8 < self.scale < 1.25,
                f"A range scale of {self.scale} cannot come from sound speed; check OFFSETS.")
        self.sound()

    def sound(self):
        """Sound speed and range ratio; an explicit scale takes the place of the latter."""
        found = sound_in(self.temperature_c, self.salinity, self.assumed_mps)
        if self.scale is None:
            return found
        return Sound(found.speed_mps, self.scale,
                     f"Displayed ranges and depths are multiplied by the scale of OFFSETS, {self.scale:.6f}.")


def rows_of_outing(outing, boats, outings):
    """Which rows of an OFFSETS table are an outing's.

    Parameters
    ----------
    outing : str
        Name of the outing to prepare.
    boats : (k,) sequence of str
        Whose offset each row is: a boat, or an outing where none were named.
    outings : (k,) sequence of str
        Outings that each row was solved from, parted by ``OUTINGS_PARTED``.

    Returns
    -------
    (index array, list of str)
        Of a table of one boat all rows: a boat is calibrated once. Else those whose outings or boat are named like this
        one. And what was taken, for the log.
    """
    boats, outing = np.asarray(boats, object), str(outing)
    sets = list(dict.fromkeys(boats.tolist()))
    if len(sets) < 2:
        return np.arange(len(boats)), ([f"OFFSETS are those of {sets[0]}."] if sets and sets[0] else [])
    fits = np.array([outing == boat or outing in str(names).split(OUTINGS_PARTED)
                     for boat, names in zip(boats, outings)], bool)
    if not fits.any():
        raise InputError(f"OFFSETS holds the offsets of {len(sets)} boats or outings ({', '.join(map(str, sets))}), "
                         f"and none of them is the outing '{outing}'. Select the rows of this outing's boat and run on "
                         "the selected features only, or name the outing as the table does (OUTING).")
    mine = list(dict.fromkeys(boats[fits].tolist()))
    if len(mine) > 1:
        raise InputError(f"OFFSETS holds rows of {', '.join(map(str, mine))}, and all of them name the outing "
                         f"'{outing}'. Select the rows of its boat.")
    return np.flatnonzero(fits), [f"OFFSETS: the rows of {mine[0]} were taken, those of the other "
                                  f"{len(sets) - 1} left."]


def with_offsets(settings, names, values, sigmas):
    """A Preparation with solved offsets in place of the typed ones.

    Parameters
    ----------
    settings : TrackSettings
    names : (k,) sequence of str
        Of ``OFFSET_NAMES``; ``scale`` is the true over the displayed range, as in ``range_ratio``.
    values, sigmas : (k,) arrays
        In the unit of the name; sigma NaN where unknown.

    Returns
    -------
    (Preparation, list of str)
        And what was taken, for the log, with the sigmas to give to 'Locate targets'.
    """
    changed, notes = {}, []
    for name, value, sigma in zip(names, values, sigmas):
        if name not in OFFSET_NAMES:
            raise InputError(f"OFFSETS names '{name}', which is no offset; it may hold {', '.join(OFFSET_NAMES)}.")
        if name in changed:
            raise InputError(f"OFFSETS gives {name} twice; keep one row of it.")
        if not np.isfinite(value):
            raise InputError(f"OFFSETS gives no value for {name}; fill it in or delete the row.")
        changed[name] = float(value)
        known = f", sigma {sigma:g}" if np.isfinite(sigma) else ""
        notes.append(f"{name} = {value:g}{known} (from OFFSETS)")
    return replace(settings, **changed), notes


def _demand(holds, text):
    if not holds:
        raise InputError(text)
