"""The fewest runs past one or two known objects that bring a boat's offsets under the sigmas asked for.

Network design before the measurement (Grafarend and Sanso, *Optimization and Design of Geodetic Networks*, 1985): the
covariance of a least squares depends on where one measures, not on what one will read. The sigmas told are those of the
adjustment itself, on looks as its error budget sees them.
"""
from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..adjustment.least_squares import adjust
from ..adjustment.looks import OFFSETS, OUTING_ERRORS
from ..adjustment.solvability import WORDS, judge
from ..model.errors import InputError
from ..uncertainty.sigmas import PRESETS, Sigmas, chosen
from .calibration_runs import candidate_runs, information, predicted_looks
from .calibration_search import DEFAULT_SHARE, MOST_RUNS, Search, balanced

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from numpy.typing import ArrayLike

__all__ = ["DEFAULT_SHARE", "MOST_RUNS", "CalibrationPlan", "CalibrationSettings", "plan_calibration"]

_AXES = 15


@dataclass(frozen=True)
class CalibrationSettings:
    """``range_m`` in force; ``depth_m`` under the transducer at the objects, one for all or one each; ``speeds_mps``;
    ``solve``: names of ``OFFSETS``; ``targets``: sigma to reach, by name, ``DEFAULT_SHARE`` of the prior where none is
    given; ``sigmas``: errors as for locating targets, or a set's name; ``max_runs``; ``lead_m``
    straight before and after the objects; ``blind_deg``; ``sound_speed_mps``.

    Examples
    --------
    >>> import athwart
    >>> athwart.CalibrationSettings(30.0, 5.0, solve=("latency_s",)).max_runs
    12
    """

    range_m: float
    depth_m: ArrayLike
    speeds_mps: tuple = (1.2, 2.4)
    solve: tuple = ("latency_s", "mount_deg")
    targets: dict = field(default_factory=dict)
    sigmas: Sigmas | str = PRESETS["ordinary"]
    max_runs: int = 12
    lead_m: float = 40.0
    blind_deg: float = 20.0
    sound_speed_mps: float = None

    def __post_init__(self) -> None:
        if isinstance(self.sigmas, str):
            object.__setattr__(self, "sigmas", chosen(self.sigmas))
        unknown = [name for name in (*self.solve, *self.targets) if name not in OFFSETS]
        if unknown:
            raise InputError(f"There is no offset {unknown[0]}; choose from {', '.join(OFFSETS)}.", field="solve")
        if not self.solve:
            raise InputError("No offset is named that the runs are to find; name at least one.", field="solve")
        for name, value in self.targets.items():
            if not (math.isfinite(value) and value > 0):
                raise InputError(f"A sigma of {value:g} cannot be reached for the {WORDS[name]}; give a number above "
                                 "0.", field="targets")
        speeds = np.asarray(self.speeds_mps, float)
        if not speeds.size or not ((speeds > 0) & (speeds <= 15)).all():
            raise InputError("The speeds must be numbers above 0, at most 15 m/s; name two that differ by half or "
                             "more.", field="speeds_mps")
        if not 1 <= self.max_runs <= MOST_RUNS:
            raise InputError(f"{self.max_runs:g} runs at most are no plan; give 1 to {MOST_RUNS}.", field="max_runs")
        if not (np.asarray(self.depth_m, float) > 0).all():
            raise InputError("The depth at the objects must be above 0; give the water under the transducer.",
                             field="depth_m")


@dataclass
class CalibrationPlan:
    """``runs`` to drive; by offset asked for, arrays in the order of ``names``: ``sigma`` predicted, ``prior``,
    ``target``, ``best`` (what no number of runs gets below), ``told`` (the runs say more than the prior); ``refused``:
    dict of a name -> why, and which run would help; ``correlation`` (k, k); ``fewest``: True where all smaller sets
    of the runs looked at were tried; ``looked_at`` their number."""

    runs: list
    names: tuple
    sigma: np.ndarray
    prior: np.ndarray
    target: np.ndarray
    best: np.ndarray
    told: np.ndarray
    refused: dict
    correlation: np.ndarray
    fewest: bool
    looked_at: int

    @property
    def met(self) -> np.ndarray:
        """(k,) bool: the sigma asked for is reached."""
        return self.sigma <= self.target * (1 + 1e-9)

    def correlations(self, i: int) -> str:
        """Words such as 'latency -0.41', of the i-th offset with the others."""
        return ", ".join(f"{WORDS[other]} {self.correlation[i, j]:+.2f}" for j, other in enumerate(self.names)
                         if j != i)


def plan_calibration(objects: Any, settings: CalibrationSettings, is_clear: Callable[..., Any] = None,
                     step: Callable[[float], object] = None, base_deg: float = None) -> CalibrationPlan:
    """Plan the runs.

    Parameters
    ----------
    objects : (k, 2) array, frame metres
        One or two objects that the record shows well, such as a pile, a block, a mooring; their places need not be
        known better than to find them.
    settings : CalibrationSettings
    is_clear : callable, optional
        See ``candidate_runs``.
    step : callable, optional
        ``step(fraction)``; may raise ``Cancelled``.
    base_deg : float, optional
        Grid azimuth of the runs; None chooses.

    Returns
    -------
    CalibrationPlan

    Raises
    ------
    InputError
        When there is no object, nowhere to run, or no run can tell any of the offsets asked for: by name.

    Notes
    -----
    Runs are added one at a time, the one that helps most, and exchanged while that helps (Fedorov's exchange). When a
    set is found, all smaller ones are tried where they are at most 60 000, so that the number is the least there is.
    """
    objects = np.asarray(objects, float).reshape(-1, 2)
    if not 1 <= len(objects) <= 4:
        raise InputError(f"There are {len(objects)} objects; choose one or two that the record shows well, at most 4.",
                         field="objects")
    depth = np.broadcast_to(np.asarray(settings.depth_m, float), len(objects))
    runs = _best_axis(objects, depth, settings, is_clear, base_deg)
    parts = information(runs, objects, depth, settings.sigmas, settings.sound_speed_mps)
    names = tuple(name for name in OFFSETS if name in settings.solve)
    prior = predicted_looks(runs[:1], objects, depth, settings.sigmas, settings.sound_speed_mps)[0].outing_sigma[0]
    search = Search(parts, 2 * len(objects), names, prior[[OUTING_ERRORS.index(name) for name in names]],
                    settings.targets, runs)
    chosen, fewest = search.fewest(settings.max_runs, step or (lambda fraction: None))
    chosen = balanced(chosen, runs, lambda some: search.meets(parts[some].sum(axis=0)))
    picked = [runs[i] for i in chosen]
    looks, group = predicted_looks(picked, objects, depth, settings.sigmas, settings.sound_speed_mps)
    group = np.unique(group, return_inverse=True)[1]
    found = adjust(looks, group, names)
    refused = {}
    for (name, _), why in judge(looks, group, names).refused.items():
        refused[name] = f"{_planned(why)}. {search.remedy(name)}"
    if len(refused) == len(names):
        raise InputError(f"{len(picked)} {'run' if len(picked) == 1 else 'runs'} can find none of what is asked for. "
                         + " ".join(refused.values()),
                         field="max_runs" if len(picked) == settings.max_runs else "solve")
    told = np.array([name not in refused for name in names])
    return CalibrationPlan(picked, names, found.sigma, found.prior_sigma, search.target, search.limit, told, refused,
                           found.correlation, fewest, len(runs))


def _planned(why: str) -> str:
    """What the adjustment says of passes that were driven, said of runs that are not yet."""
    return why.partition(". ")[0].replace("these passes", "these runs").replace(
        "than its prior does", "than is assumed of it anyway")


def _best_axis(objects: np.ndarray, depth: np.ndarray, settings: CalibrationSettings, is_clear: Callable[..., Any],
               base_deg: float) -> list[Any]:
    """Candidate runs along the axis on which most of them are clear; without one to keep clear of, between two
    objects along the line through them."""
    if base_deg is not None:
        axes = [base_deg]
    else:
        first = 0.0
        if len(objects) > 1:
            first = float(np.degrees(np.arctan2(*(objects[1] - objects[0]))))
        axes = [first] if is_clear is None else [first + a for a in range(0, 90, _AXES)]
    best: list[Any] = []
    for axis in axes:
        runs = candidate_runs(objects, depth, settings.range_m, settings.speeds_mps, axis, settings.lead_m,
                              settings.blind_deg, is_clear)
        if len(runs) > len(best):
            best = runs
    if not best:
        raise InputError("No run past these objects keeps clear of land and shoals. Choose other objects, a shorter "
                         "lead, a smaller setback or a longer range.", field="objects")
    return best
