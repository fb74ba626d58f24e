"""From places in any coordinate system to casts in the same one: the plan as people and layers need it."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from shapely.geometry import LineString

from ..geometry import transfer
from ..geometry.frame import Frame
from ..model.errors import InputError
from ..model.messages import Message
from .plan import (
    CASTS,
    FAR,
    LONGEST,
    MANY,
    NO_WATER,
    WATER,
    CastPlan,
    CastSettings,
    CastTargets,
    Stations,
    plan_in_frame,
)
from .route import route_columns

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from typing import Any

    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

__all__ = ["Boat", "PlacedPlan", "StandOff", "plan_casts"]

_STOPPED = (
    (NO_WATER, WATER, Message("have no clear water between them and a boat in {water}; look where they lie, or give "
                              "another boat or stand-off")),
    (FAR, LONGEST, "are out of reach of the longest cast; move the boat"),
    (MANY, LONGEST, "are not found with 90 %, since the longest cast ends short of where they may be; move the boat "
                    "nearer"),
    (MANY, WATER, "are not found with 90 %, since land keeps casts from where they may be; cast from another side as "
                  "well"),
    (MANY, CASTS, "are not found with 90 % by 50 casts; get a better place first"))


@dataclass(frozen=True)
class Boat:
    """Where boats lie at anchor: ``x``, ``y`` (s,) in crs units, ``heading_deg`` (s,) true direction of each bow.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> boat = athwart.Boat(np.array([500000.0]), np.array([4500000.0]), np.array([90.0]))
    >>> boat.heading_deg.tolist()
    [90.0]
    """

    x: np.ndarray
    y: np.ndarray
    heading_deg: np.ndarray


@dataclass(frozen=True)
class StandOff:
    """A boat for each target, ``distance_m`` from it towards ``wind_from_deg``, where the wind comes from (true).

    Examples
    --------
    >>> import athwart
    >>> athwart.StandOff(20.0, 270.0).distance_m
    20.0
    """

    distance_m: float
    wind_from_deg: float


@dataclass
class PlacedPlan:
    """``plan``: the CastPlan in metres of ``frame``. ``warnings``: sentences on targets that are not found with 90 %,
    by what stopped them, and on stations out of the wind."""

    plan: CastPlan
    frame: Frame
    warnings: list

    def lines(self) -> tuple[dict[str, np.ndarray], list[BaseGeometry]]:
        """(columns by the names of ``schemas.CAST_LINES``, shapely lines in crs units), one row a cast."""
        columns, ends = self.plan.lines()
        return columns, [transfer.to_crs(self.frame, LineString(pair)) for pair in ends]

    def stations(self) -> tuple[dict[str, np.ndarray], np.ndarray, np.ndarray]:
        """(columns by the names of ``schemas.CAST_STATIONS``, x, y in crs units), one row a station."""
        return ({**self.plan.station_columns(), **route_columns(self.plan)},
                *self.frame.inverse(self.plan.stations.east, self.plan.stations.north))


def plan_casts(crs: CRS | str, x: np.ndarray, y: np.ndarray, columns: Mapping[str, Any], boat: Boat | StandOff,
               settings: CastSettings | None = None, *, water: BaseGeometry | None = None,
               step: Callable[[float], object] | None = None) -> PlacedPlan:
    """Plan the casts at every target: from where, how far, which way, with what chance, and how many it takes.

    Parameters
    ----------
    crs : pyproj.CRS or str
        Of every place handed in and out.
    x, y : (n,) arrays
        Places of the targets.
    columns : dict of (n,) arrays
        By the names of ``schemas.TARGETS``: ``sigma_east_m``, ``sigma_north_m``, ``cov_en_m2`` at least; of
        ``target_id``, ``label``, ``status``, ``depth_m``, ``bottom_m`` what is known.
    boat : Boat or StandOff
        Where to cast from. Of several places each target is cast at from the nearest, in ``water`` from the nearest
        with clear water to it.
    settings : CastSettings, optional
    water : shapely geometry, optional
        Boats float in it, and the way of every cast lies in it.
    step : callable, optional
        Called with the fraction done; may raise Cancelled.

    Returns
    -------
    PlacedPlan

    Raises
    ------
    InputError

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> sure = {"sigma_east_m": np.array([1.0]), "sigma_north_m": np.array([1.0]), "cov_en_m2": np.array([0.0])}
    >>> boat = athwart.Boat(np.array([500000.0]), np.array([4500000.0]), np.array([90.0]))
    >>> made = athwart.plan_casts("EPSG:32619", np.array([500020.0]), np.array([4500000.0]), sure, boat)
    >>> columns, lines = made.lines()
    >>> float(columns["distance_m"][0].round(1)), str(columns["clock"][0]), str(columns["reach"][0])
    (20.0, '12:00', 'in reach')
    """
    if not len(x):
        raise InputError("There is no target to cast at.", field="x")
    frame = Frame.around(crs, x, y)
    east, north = frame.forward(x, y)
    targets = CastTargets.of(east, north, columns)
    turn = float(frame.convergence(0.0, 0.0))
    afloat = None if water is None else transfer.to_frame(frame, water)
    if isinstance(boat, StandOff):
        stations = Stations.to_windward(targets, boat.distance_m, boat.wind_from_deg, turn, afloat)
    else:
        east, north = frame.forward(np.asarray(boat.x, float), np.asarray(boat.y, float))
        stations = Stations(np.asarray(east, float), np.asarray(north, float),
                            np.asarray(boat.heading_deg, float) % 360.0, "boat")
    plan = plan_in_frame(targets, stations, settings or CastSettings(), turn, step, afloat)
    plan.frame = frame
    return PlacedPlan(plan, frame, [*_unreached(plan), *_out_of_the_wind(plan)])


def _unreached(plan: CastPlan) -> Iterator[Message]:
    for reach, limit, words in _STOPPED:
        late = _named(plan.quarry, (plan.reach == reach) & (plan.limit == limit))
        if late:
            drawn = "" if limit != CASTS or plan.settings.method == "retrieve" else Message(
                " If what is cast is drawn back along the bottom, choose 'retrieve' in {method}: it takes fewer casts.")
            yield Message("{count} target(s) {words}: {few}.{drawn}", count=len(late), words=words, few=_few(late),
                          drawn=drawn)


def _out_of_the_wind(plan: CastPlan) -> Iterator[str]:
    swung, near = plan.stations.swung, plan.stations.near
    if swung is not None and ((swung != 0) | (near < 1)).any():
        moved = _named(plan.quarry, (swung != 0) | (near < 1))
        yield Message("{count} station(s) cannot lie to windward in {water} and were turned, by up to {swung:.0f} "
                      "degrees, or brought in to as near as {near:.0f} % of the stand-off: those of {few}. There casts "
                      "do not go with the wind.", count=len(moved), swung=abs(swung).max(), near=100 * near.min(),
                      few=_few(moved))


def _named(targets: CastTargets, which: np.ndarray) -> list[str]:
    """Id and label of some targets."""
    return [f"{i} {label}".strip() for i, label in zip(targets.target_id[which], targets.label[which])]


def _few(names: Sequence[str]) -> str:
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
