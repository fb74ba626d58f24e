"""From where to cast at each target, how far and which way, with what chance, and how many casts it takes."""
from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message, Setting
from ..model.table import Bools, Floats, Objects, Table, Texts
from .casting import GOAL, MAX_CASTS, Pattern, Places, pattern, thrower
from .sweeping import sweep_pattern
from .water import afloat, clear_ways, stations_afloat, water_reaches

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from typing import Any

    from shapely.geometry.base import BaseGeometry

__all__ = ["CASTS", "FAR", "IN_REACH", "LONGEST", "MANY", "METHODS", "NO_WATER", "WATER", "CastPlan", "CastSettings",
           "CastTargets", "Stations", "chances", "clock", "plan_in_frame", "share_in_reach"]

IN_REACH, FAR, MANY, NO_WATER = "in reach", "out of reach", f"over {MAX_CASTS} casts", "no clear water"
LONGEST, WATER, CASTS = "longest cast", "water", f"{MAX_CASTS} casts"
"""What keeps a target from being found with 90 %."""

METHODS = ("landing", "retrieve")


@dataclass(frozen=True)
class CastSettings:
    """``sigma_boat``: of the boat's own place, each axis (m), common to all casts like the target's error.
    ``sigma_range`` (m), ``sigma_angle`` (degrees): scatter of one cast. ``hit_radius``: how near is a hit (m).
    ``max_cast`` (m). ``variation``: magnetic variation, east positive (degrees), None if not known. ``method``: what
    hits, the ``landing`` alone or the whole way back to the boat (``retrieve``).

    Examples
    --------
    >>> import athwart
    >>> athwart.CastSettings(max_cast=25.0).method
    'landing'
    """

    sigma_boat: float = 2.0
    sigma_range: float = 1.0
    sigma_angle: float = 3.0
    hit_radius: float = 1.5
    max_cast: float = 30.0
    variation: float = None
    method: str = "landing"

    def __post_init__(self) -> None:
        _demand(self.method in METHODS, "{method} is '{given}'; choose one of {known}.", given=self.method,
                known=", ".join(METHODS))
        for name in ("sigma_boat", "sigma_range", "sigma_angle"):
            value = getattr(self, name)
            _demand(math.isfinite(value) and value >= 0, "{name} is {given}; give zero or a positive number.",
                    name=Setting(name), given=value)
        for name in ("hit_radius", "max_cast"):
            value = getattr(self, name)
            _demand(math.isfinite(value) and value > 0, "{name} is {given}; give a length above zero.",
                    name=Setting(name), given=value)
        _demand(self.sigma_angle <= 45, "{sigma_angle} is {given:g} degrees; nobody casts so wide.",
                given=self.sigma_angle)
        _demand(self.variation is None or abs(self.variation) <= 180,
                "{variation} is {given}; give degrees between -180 and 180, east positive.", given=self.variation)


@dataclass(eq=False, repr=False)
class CastTargets(Table):
    """(n,) targets in frame metres: ``east``, ``north``, ``covariance`` (n, 2, 2), and their texts; ``depth_m`` of the
    water under the boat, ``bottom_m`` of the bottom at the target, None or NaN where no grid knows it."""

    east: Floats
    north: Floats
    covariance: Floats
    target_id: Objects
    label: Texts
    status: Texts
    depth_m: Floats
    bottom_m: Floats | None = None

    @classmethod
    def of(cls, east: np.ndarray, north: np.ndarray, columns: Mapping[str, Any]) -> CastTargets:
        """Targets of a layer: ``columns`` by the names of ``schemas.TARGETS``, at least the sigmas and covariance.

        Raises
        ------
        InputError
            If one of those is missing.
        """
        count = len(east)
        missing = [name for name in ("sigma_east_m", "sigma_north_m", "cov_en_m2") if name not in columns]
        if missing:
            raise InputError(f"These targets have no error to cast by: they lack {', '.join(missing)}. Give what "
                             "locate or adjust made.", field="columns")
        e, n, mixed = (np.asarray(columns[name], float) for name in ("sigma_east_m", "sigma_north_m", "cov_en_m2"))
        covariance = np.stack([np.stack([e ** 2, mixed], -1), np.stack([mixed, n ** 2], -1)], -2)
        known = {"target_id": np.arange(1, count + 1), "label": np.full(count, "", object),
                 "status": np.full(count, "", object), "depth_m": np.full(count, np.nan),
                 "bottom_m": np.full(count, np.nan)}
        return cls(np.asarray(east, float), np.asarray(north, float), covariance,
                   **{name: np.asarray(columns.get(name, blank)) for name, blank in known.items()})


@dataclass(eq=False, repr=False)
class Stations(Table):
    """(s,) places to cast from, frame metres; ``heading_deg`` of the bow, true; ``kind`` boat or stand-off. Of a
    stand-off in given water: ``swung`` (degrees) from windward, ``near`` its share of the stand-off, ``castable`` False
    where no water lets a boat cast at the target; None elsewhere."""

    east: Floats
    north: Floats
    heading_deg: Floats
    kind: str
    swung: Floats | None = None
    near: Floats | None = None
    castable: Bools | None = None

    @classmethod
    def to_windward(cls, quarry: CastTargets, stand_off: float, wind_from: float, convergence_deg: float = 0.0,
                    water: BaseGeometry | None = None) -> Stations:
        """One station for each target, ``stand_off`` metres from it into the wind.

        Anchored or held there, the boat lies bow to the wind and casts with it, over the stern. In ``water`` it is
        turned from windward, and then brought nearer, until it floats with clear water to the target.
        """
        _demand(math.isfinite(stand_off) and stand_off > 0, "{stand_off} is {given}; give a length above zero.",
                given=stand_off)
        a = math.radians(wind_from - convergence_deg)
        if water is not None:
            east, north, *in_water = stations_afloat(water, quarry.east, quarry.north, stand_off, a)
            return cls(east, north, np.full(len(quarry), wind_from % 360.0), "stand-off", *in_water)
        return cls(quarry.east + stand_off * math.sin(a), quarry.north + stand_off * math.cos(a),
                   np.full(len(quarry), wind_from % 360.0), "stand-off")


@dataclass
class CastPlan:
    """``station``: (n,) index of each target's station. ``distance_m``, ``bearing_deg`` (true) from there, (n,).
    ``reach``: (n,) ``IN_REACH``, ``FAR``, ``MANY`` or ``NO_WATER``; ``limit``: (n,) what stopped it, ``LONGEST``,
    ``WATER`` or ``CASTS``, '' where nothing did. ``patterns``: n Patterns, None where no cast is worth it.
    ``frame``: the Frame its metres are of, None where it was planned without; ``water`` likewise."""

    station: np.ndarray
    distance_m: np.ndarray
    bearing_deg: np.ndarray
    reach: np.ndarray
    patterns: list
    settings: CastSettings
    quarry: CastTargets
    stations: Stations
    convergence_deg: float
    limit: np.ndarray = None
    frame: Any = None
    water: Any = None

    def lines(self) -> tuple[dict[str, np.ndarray], np.ndarray]:
        """Cast lines: columns of ``schemas.CAST_LINES``, and (k, 2, 2) their ends in frame metres.

        A target out of reach has one line, to its place, without a chance.
        """
        rows, ends = [], []
        for i, found in enumerate(self.patterns):
            s = self.station[i]
            boat, place = (np.array([of.east[k], of.north[k]]) for of, k in ((self.stations, s), (self.quarry, i)))
            thrown = Pattern(np.zeros((1, 2)), np.array([math.nan]), np.array([math.nan]), None) \
                if found is None else found
            for n, aim in enumerate(thrown.aims):
                distance, bearing = self.way(boat, place + aim)
                rows.append({
                    "target_id": self.quarry.target_id[i], "label": self.quarry.label[i],
                    "status": self.quarry.status[i], "station_id": s + 1, "cast_no": n + 1, "distance_m": distance,
                    "bearing_deg": bearing, "magnetic_deg": self.magnetic(bearing),
                    "clock": clock(bearing - self.stations.heading_deg[s]), "hit_pct": 100 * thrown.alone[n],
                    "so_far_pct": 100 * thrown.so_far[n],
                    "casts_needed": math.nan if thrown.needed is None else thrown.needed, "reach": self.reach[i],
                    "limit": self.limit[i]})
                ends.append((boat, place + aim))
        return {name: np.array([row[name] for row in rows]) for name in rows[0]}, np.array(ends)

    def station_columns(self) -> dict[str, Any]:
        """Columns of ``schemas.CAST_STATIONS`` without name and route; one that is not used has no way."""
        size = len(self.stations.east)
        used = [np.flatnonzero(self.station == s) for s in range(size)]
        near, far = ([end(self.distance_m[u]) if len(u) else math.nan for u in used] for end in (np.min, np.max))
        return {"station_id": np.arange(1, size + 1), "kind": np.full(size, self.stations.kind, object),
                "heading_deg": self.stations.heading_deg, "targets": np.array([len(u) for u in used]),
                "nearest_m": np.array(near), "farthest_m": np.array(far)}

    def magnetic(self, bearing: float) -> float:
        """Compass bearing of a true one; NaN without a variation."""
        return math.nan if self.settings.variation is None else (bearing - self.settings.variation) % 360.0

    def way(self, boat: np.ndarray, place: np.ndarray) -> tuple[float, float]:
        """Distance (m) and true bearing (degrees) from one frame place to another."""
        east, north = place - boat
        return math.hypot(east, north), (math.degrees(math.atan2(east, north)) + self.convergence_deg) % 360.0


def clock(angle_deg: float) -> str:
    """Direction off the bow (degrees, clockwise) as the nearest half hour of a clock face: 0 is 12:00, 90 is 3:00.

    Examples
    --------
    >>> from athwart.casts.plan import clock
    >>> clock(0), clock(90), clock(-30)
    ('12:00', '3:00', '11:00')
    """
    half_hours = round(angle_deg / 15.0) % 24
    return f"{(half_hours // 2) or 12}:{30 * (half_hours % 2):02d}"


def plan_in_frame(quarry: CastTargets, stations: Stations, settings: CastSettings, convergence_deg: float = 0.0,
                  step: Callable[[float], object] | None = None, water: BaseGeometry | None = None) -> CastPlan:
    """Plan the casts at every target.

    Parameters
    ----------
    quarry : CastTargets
    stations : Stations
        For kind 'stand-off' one for each target; else each target is cast at from the nearest, in ``water`` from the
        nearest with clear water to it.
    settings : CastSettings
    convergence_deg : float
        Of the frame at the targets: true bearing = grid bearing + convergence.
    step : callable, optional
        Called with the fraction done.
    water : shapely geometry, optional
        In frame metres: boats float in it, and the way of every cast lies in it.

    Returns
    -------
    CastPlan

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.casts.plan import CastSettings, CastTargets, Stations, plan_in_frame
    >>> from athwart.casts.plan import plan_in_frame
    >>> sure = {"sigma_east_m": np.ones(1), "sigma_north_m": np.ones(1), "cov_en_m2": np.zeros(1)}
    >>> target = CastTargets.of(np.array([20.0]), np.zeros(1), sure)
    >>> boat = Stations(np.zeros(1), np.zeros(1), np.array([0.0]), "boat")
    >>> plan_in_frame(target, boat, CastSettings()).bearing_deg.tolist()
    [90.0]
    """
    _demand(len(quarry) > 0, "There is no target to cast at.")
    _demand(len(stations.east) > 0, "{stations} holds no place; put a point where the boat lies.")
    _judge_errors(quarry)
    apart = np.hypot(quarry.east[:, None] - stations.east, quarry.north[:, None] - stations.north)
    station, clear = _stations(quarry, stations, apart, water)
    made = CastPlan(station, apart[np.arange(len(quarry)), station], np.empty(len(quarry)),
                    np.full(len(quarry), IN_REACH, object), [], settings, quarry, stations, convergence_deg,
                    np.full(len(quarry), "", object), water=water)
    for i in range(len(quarry)):
        boat = np.array([stations.east[station[i]], stations.north[station[i]]])
        toward = np.array([quarry.east[i], quarry.north[i]]) - boat
        made.bearing_deg[i] = made.way(boat, boat + toward)[1]
        covariance = quarry.covariance[i] + settings.sigma_boat ** 2 * np.eye(2)
        reach = water_reaches(water, boat, settings.max_cast)
        found = None
        if not clear[i]:
            made.reach[i], made.limit[i] = NO_WATER, WATER
        elif made.distance_m[i] > settings.max_cast:
            made.reach[i], made.limit[i] = FAR, LONGEST
        else:
            found = _pattern(covariance, toward, settings, reach)
            if found is None:
                made.reach[i], made.limit[i] = NO_WATER, WATER
            elif found.needed is None:
                made.reach[i], made.limit[i] = MANY, _limit(covariance, toward, settings, reach)
        made.patterns.append(found)
        if step is not None:
            step((i + 1) / len(quarry))
    return made


def chances(plan: CastPlan, i: int, covariance: np.ndarray | None = None,
            boat: np.ndarray | None = None) -> Pattern | None:
    """The casts at target i, were its own error of this (2, 2) ``covariance``, or the ``boat`` at this place ((2,),
    frame metres): in its water from there, in open water from its own station."""
    water = None if boat is None else plan.water
    if boat is None:
        station = plan.station[i]
        boat = np.array([plan.stations.east[station], plan.stations.north[station]])
    own = plan.quarry.covariance[i] if covariance is None else covariance
    toward = np.array([plan.quarry.east[i], plan.quarry.north[i]]) - boat
    return _pattern(own + plan.settings.sigma_boat ** 2 * np.eye(2), toward, plan.settings,
                    water_reaches(water, boat, plan.settings.max_cast))


def _judge_errors(quarry: CastTargets) -> None:
    if not np.isfinite(quarry.covariance).all():
        raise InputError(Message("Some targets have no standard deviations (sigma_east_m, sigma_north_m, cov_en_m2). "
                                 "Use the output of {locate()} or {adjust()}."))
    least, most = np.linalg.eigvalsh(quarry.covariance).T
    wrong = np.flatnonzero(least < -1e-6 * most)
    if len(wrong):
        raise InputError(Message("Target {target}: cov_en_m2 is larger than sigma_east_m times sigma_north_m ({count} "
                                 "such targets), which no errors can have. Use the three as {locate()} or {adjust()} "
                                 "wrote them.", target=quarry.target_id[wrong[0]], count=len(wrong)))


def _stations(quarry: CastTargets, stations: Stations, apart: np.ndarray,
              water: BaseGeometry | None) -> tuple[np.ndarray, Any]:
    """Station of each target, and whether clear water lies between the two."""
    if stations.kind == "stand-off":
        return np.arange(len(quarry)), np.ones(len(quarry), bool) if stations.castable is None else stations.castable
    ashore = np.flatnonzero(~afloat(water, stations.east, stations.north))
    if len(ashore):
        raise InputError(Message("The boat's point {number} lies outside {water}, on land. Put it on the water, or "
                                 "correct {water}.", number=ashore[0] + 1))
    nearest = apart.argmin(axis=1)
    if water is None:
        return nearest, np.ones(len(quarry), bool)
    places = np.column_stack([quarry.east, quarry.north])
    open_ = np.column_stack([clear_ways(water, np.array([e, n]), places)
                             for e, n in zip(stations.east, stations.north)])
    clear = open_.any(axis=1)
    return np.where(clear, np.where(open_, apart, np.inf).argmin(axis=1), nearest), clear


def _pattern(covariance: np.ndarray, toward: np.ndarray, settings: CastSettings,
             reach: Callable[[np.ndarray], np.ndarray]) -> Pattern | None:
    """The casts at one target; None where none can be aimed near it."""
    if settings.method == "retrieve":
        return sweep_pattern(covariance, settings.hit_radius, toward, settings.sigma_range,
                             math.radians(settings.sigma_angle), reach)
    return pattern(covariance, settings.hit_radius, thrower(toward, settings.sigma_range, settings.sigma_angle),
                   reachable=_within(toward, reach))


def _limit(covariance: np.ndarray, toward: np.ndarray, settings: CastSettings,
           reach: Callable[[np.ndarray], np.ndarray]) -> str:
    """Which limit keeps the casts under the goal: what lies beyond the longest cast, or behind land, is never found."""
    places = Places.of(covariance, settings.hit_radius / 2)
    near = np.hypot(*np.moveaxis(toward + places.points, -1, 0)) <= settings.max_cast + settings.hit_radius
    if (places.weight * near).sum() < GOAL:
        return LONGEST
    return WATER if share_in_reach(places, toward, settings, reach) < GOAL else CASTS


def share_in_reach(places: Places, toward: np.ndarray, settings: CastSettings,
                   reach: Callable[[np.ndarray], np.ndarray]) -> float:
    """Share of where a target may be that casts from a boat get to, over water and with the longest cast."""
    return float((places.weight * _within(toward, reach, settings.hit_radius)(places.points)).sum())


def _within(toward: np.ndarray, reach: Callable[[np.ndarray], np.ndarray],
            slack: float = 1e-9) -> Callable[[np.ndarray], np.ndarray]:
    """Which offsets from the target a cast can be aimed at; the target's own place, once its way is clear, always."""
    def able(offsets: np.ndarray) -> np.ndarray:
        east, north = np.moveaxis(toward + offsets, -1, 0)
        own = (np.abs(offsets) < 1e-9).all(axis=-1)
        return own | (np.hypot(east, north) <= reach(np.arctan2(east, north)) + slack)
    return able


def _demand(holds: object, template: str, **values: object) -> None:
    if not holds:
        raise InputError(Message(template, **values))
