"""What the user states about boat, sounder and outing, in metres, seconds and degrees, checked in one place."""
from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ..beams.soundspeed import Sound, sound_in
from ..depths.soundings import KINDS, LOGGED
from ..model.errors import InputError
from ..model.messages import Message, Setting
from ..model.table import Floats, Table, Texts
from ..model.track import OUTINGS_PARTED

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import ArrayLike

__all__ = ["OFFSET_NAMES", "RangeRows", "TrackSettings", "rows_of_outing", "with_offsets"]

OFFSET_NAMES = ("latency_s", "mount_deg", "lever_forward_m", "lever_starboard_m", "scale", "trim_deg")


@dataclass(frozen=True, eq=False, repr=False)
class RangeRows(Table):
    """Notes of range changes.

    ``from_s`` (k,): seconds since 1970 UTC, NaN where the row names a waypoint without a time. ``names``: of the
    waypoints, '' elsewhere; ``x``, ``y``: their places in the crs of the fixes, NaN elsewhere. ``range_m`` (k,): as
    displayed. ``time_offset``: hours already added to ``from_s``.

    Examples
    --------
    >>> import athwart
    >>> noted = athwart.parse_times(["2024-06-15T13:05:00Z", "2024-06-15T13:35:34Z"])
    >>> changes = athwart.RangeRows.timed(noted, [25, 30])
    >>> athwart.TrackSettings(range_rows=changes, depth_m=5.0).range_rows.range_m.tolist()
    [25.0, 30.0]
    """

    from_s: Floats
    names: Texts
    x: Floats
    y: Floats
    range_m: Floats
    time_offset: float = 0.0

    @classmethod
    def timed(cls, from_s: ArrayLike, range_m: ArrayLike) -> RangeRows:
        """Changes that were noted by time alone: (k,) seconds since 1970 UTC, and ranges (m) as displayed."""
        from_s = np.asarray(from_s, float)
        none = np.full(len(from_s), np.nan)
        return cls(from_s, np.full(len(from_s), "", np.object_), none, none, np.asarray(range_m, float))


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

    Examples
    --------
    >>> import athwart
    >>> settings = athwart.TrackSettings(range_m=30.0, depth_m=5.0, assumed_mps=1500.0, temperature_c=18.4)
    >>> float(round(settings.sound().ratio, 4))  # true over displayed: 1477 m/s where 1500 was reckoned with
    0.9849
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

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, float) and not math.isfinite(value):
                _refuse("{name} is {value}; give an ordinary number.", name=Setting(field.name), value=value)
        _demand(self.range_m is None or self.range_m > 0, "{range_m} is {value}; a range is above zero.",
                value=self.range_m)
        _demand(self.range_m is not None or self.range_field or self.range_rows is not None,
                "{range_m} is not given: no log carries it. Give the range the record was made with as {range_m}, the "
                "field that holds it as {range_field}, or its changes as {range_rows}.")
        _demand(not (self.range_field and self.range_rows is not None),
                "Both {range_field} and {range_rows} are given and could contradict each other; leave one of them out.")
        _demand(self.depth_m is None or self.depth_m > 0,
                "{depth_m} is {value}; give the water under the transducer, above zero.", value=self.depth_m)
        _demand(self.depth_reference in (LOGGED, *KINDS), "{depth_reference} is '{value}'; choose one of {known}.",
                value=self.depth_reference, known=", ".join((LOGGED, *KINDS)))
        _demand(self.depth_m is None or self.depth_reference != "keel" or self.keel_m is not None,
                "{depth_m} is below the keel; give {keel_m}, how far the keel lies under the transducer.")
        _demand(self.speed_mps is None or self.speed_mps > 0, "{speed_mps} is {value}; a speed is above zero.",
                value=self.speed_mps)
        _demand(0 <= self.min_speed < self.max_speed,
                "{min_speed} ({least:g} m/s) must not be negative and stay under {max_speed} ({most:g} m/s).",
                least=self.min_speed, most=self.max_speed)
        for name in ("drift_speed", "smoothing_s", "draft_m", "spacing_m", "sigma_position_m", "sigma_heading_deg"):
            value = getattr(self, name)
            _demand(value is None or value >= 0, "{name} is {value}; it cannot be negative.", name=Setting(name),
                    value=value)
        _demand(not 0 < (self.spacing_m or 0) < 1,
                "{spacing_m} is {value} m; give 1 m or more, or 0 to keep every fix.", value=self.spacing_m)
        for name in ("max_gap_s", "max_turn_rate"):
            value = getattr(self, name)
            _demand(value is None or value > 0, "{name} is {value}; it must be above zero.", name=Setting(name),
                    value=value)
        _demand(abs(self.latency_s) <= 60, "{latency_s} is {value:g} s; no receiver is a minute late. Correct a wrong "
                                           "clock with {time_offset}.", value=self.latency_s)
        _demand(abs(self.trim_deg) < 45, "A trim of {value:g} degrees is beyond what a fan can be.",
                value=self.trim_deg)
        _demand(self.scale is None or 0.8 < self.scale < 1.25,
                "A range scale of {value} cannot come from sound speed; check {offsets}.", value=self.scale)
        self.sound()

    def with_offsets(self, names: Sequence[str], values: ArrayLike, sigmas: ArrayLike,
                     boats: Sequence[str] | None = None,
                     outings: Sequence[str] | None = None) -> tuple[TrackSettings, list[str]]:
        """These settings with solved offsets in place of the typed ones.

        Parameters
        ----------
        names, values, sigmas : (k,) arrays
            Rows of a table of solved offsets, see ``with_offsets``.
        boats, outings : (k,) sequences of str, optional
            Whose rows these are: of several boats those of this outing's are taken, see ``rows_of_outing``.

        Returns
        -------
        (TrackSettings, list of str)
            And what was taken, for the log.
        """
        notes: list[str] = []
        rows = np.arange(len(names))
        if boats is not None:
            rows, notes = rows_of_outing(self.outing, boats, outings)
        names_, values_, sigmas_ = (np.asarray(column)[rows] for column in (names, values, sigmas))
        changed, told = with_offsets(self, names_, values_, sigmas_)
        return changed, [*notes, *told]

    def sound(self) -> Sound:
        """Sound speed and range ratio; an explicit scale takes the place of the latter."""
        found = sound_in(self.temperature_c, self.salinity, self.assumed_mps)
        if self.scale is None:
            return found
        return Sound(found.speed_mps, self.scale,
                     Message("Displayed ranges and depths are multiplied by the scale of {offsets}, {value:.6f}.",
                             value=self.scale))


def rows_of_outing(outing: str, boats: Sequence[str],
                   outings: Sequence[str]) -> tuple[np.ndarray, list[str]]:
    """Which rows of a table of offsets are an outing's.

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

    Examples
    --------
    >>> from athwart.tracks.settings import rows_of_outing
    >>> rows, notes = rows_of_outing("north", ["skiff", "barge"], ["north; south", "west"])
    >>> rows.tolist()
    [0]
    """
    owner, outing = np.asarray(boats, object), str(outing)
    sets = list(dict.fromkeys(owner.tolist()))
    if len(sets) < 2:
        return np.arange(len(owner)), ([Message("{offsets} are those of {boat}.", boat=sets[0])] if sets and sets[0]
                                       else [])
    fits = np.array([outing == boat or outing in str(names).split(OUTINGS_PARTED)
                     for boat, names in zip(owner, outings)], bool)
    if not fits.any():
        _refuse("{offsets} holds the offsets of {count} boats or outings ({names}), and none of them is the outing "
                "'{own}'. Select the rows of this outing's boat and run on those only, or name the outing as the table "
                "does in {outing}.", count=len(sets), names=", ".join(map(str, sets)), own=outing)
    mine = list(dict.fromkeys(owner[fits].tolist()))
    if len(mine) > 1:
        _refuse("{offsets} holds rows of {names}, and all of them name the outing '{own}'. Select the rows of its "
                "boat.", names=", ".join(map(str, mine)), own=outing)
    return np.flatnonzero(fits), [Message("{offsets}: the rows of {boat} were taken, those of the other {count} left.",
                                          boat=mine[0], count=len(sets) - 1)]


def with_offsets(settings: TrackSettings, names: Iterable[str], values: Iterable[float],
                 sigmas: Iterable[float]) -> tuple[TrackSettings, list[str]]:
    """TrackSettings with solved offsets in place of the typed ones.

    Parameters
    ----------
    settings : TrackSettings
    names : (k,) sequence of str
        Of ``OFFSET_NAMES``; ``scale`` is the true over the displayed range, as in ``range_ratio``.
    values, sigmas : (k,) arrays
        In the unit of the name; sigma NaN where unknown.

    Returns
    -------
    (TrackSettings, list of str)
        And what was taken, for the log, with the sigmas to give to ``locate``.

    Examples
    --------
    >>> from athwart.tracks.settings import with_offsets
    >>> import athwart
    >>> settings, notes = with_offsets(athwart.TrackSettings(range_m=30.0), ["latency_s"], [0.4], [0.1])
    >>> settings.latency_s, len(notes)
    (0.4, 1)
    """
    changed: dict[str, Any] = {}
    notes: list[str] = []
    for name, value, sigma in zip(names, values, sigmas):
        if name not in OFFSET_NAMES:
            _refuse("{offsets} names '{name}', which is no offset; it may hold {known}.", name=name,
                    known=", ".join(OFFSET_NAMES))
        if name in changed:
            _refuse("{offsets} gives {name} twice; keep one row of it.", name=name)
        if not np.isfinite(value):
            _refuse("{offsets} gives no value for {name}; fill it in or delete the row.", name=name)
        changed[name] = float(value)
        known = f", sigma {sigma:g}" if np.isfinite(sigma) else ""
        notes.append(Message("{name} = {value:g}{known} (from {offsets})", name=name, value=value, known=known))
    return replace(settings, **changed), notes


def _demand(holds: object, template: str, **values: object) -> None:
    if not holds:
        _refuse(template, **values)


def _refuse(template: str, **values: object) -> None:
    raise InputError(Message(template, **values))
