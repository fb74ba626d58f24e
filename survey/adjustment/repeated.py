"""Repeated looks at objects, from the columns of a targets layer to combined targets and solved offsets."""
from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from ..model.errors import InputError
from ..uncertainty.ellipses import scale_factor
from . import notes as words
from .association import GATE, group_by_gate, group_by_name
from .blunders import doubts, find_misfits
from .boats import agreements
from .combine import combined_columns, offset_rows
from .least_squares import adjust as least_squares
from .looks import OFFSETS, RepeatedLooks
from .solvability import judge

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from typing import Any

    from pyproj import CRS

__all__ = ["AdjustSettings", "Adjusted", "adjust"]


@dataclass(frozen=True)
class AdjustSettings:
    """``solve``: offsets to solve, of ``OFFSETS``. ``gate``: probability with which looks at one object are taken
    for one, where nobody named it. ``confidence``: 0 .. 1, of ellipses and circles.

    Examples
    --------
    >>> import athwart
    >>> athwart.AdjustSettings(solve=("latency_s",)).gate
    0.999
    >>> athwart.AdjustSettings(gate=0.99).gate
    0.99
    """

    solve: tuple = ()
    gate: float = GATE
    confidence: float = 0.95

    OFFSETS: ClassVar = OFFSETS

    def __post_init__(self) -> None:
        scale_factor(self.confidence)
        if not 0.5 <= self.gate < 1:
            raise InputError(f"The gate is {100 * self.gate:g} %; give at least 50 and less than 100, usually 99.9.",
                             field="gate")
        unknown = [name for name in self.solve if name not in OFFSETS]
        if unknown:
            raise InputError(f"{', '.join(unknown)} cannot be solved; choose of {', '.join(OFFSETS)}.", field="solve")


@dataclass
class Adjusted:
    """Combined targets, one an object.

    ``columns``: (g,) arrays by the names of ``schemas.COMBINED``; ``x``, ``y`` in the crs, ``outlines``: g ellipse
    polygons in it. ``group`` (n,): which object each look is of, from 0; ``first`` (g,): the first look of each.
    ``offsets``: columns of ``schemas.OFFSETS``. ``chi2`` with ``dof`` degrees of freedom lies between ``chi2_low`` and
    ``chi2_high`` if the errors were told right. ``notes`` and ``warnings``: sentences for the log, worst first.
    """

    columns: dict
    x: np.ndarray
    y: np.ndarray
    outlines: list
    group: np.ndarray
    first: np.ndarray
    offsets: dict
    chi2: float
    dof: int
    chi2_low: float
    chi2_high: float
    notes: list
    warnings: list


def adjust(crs: CRS | str, x: np.ndarray, y: np.ndarray, columns: Mapping[str, Any],
           settings: AdjustSettings | None = None, *, names: Sequence[str] | None = None,
           boats: Sequence[str] | None = None, step: Callable[[float], object] | None = None) -> Adjusted:
    """Combine repeated looks at the same objects, and solve what is common to them.

    Parameters
    ----------
    crs : pyproj.CRS or str
    x, y : (n,) arrays in its units
        Places of the located targets.
    columns : dict of (n,) arrays
        By the names of ``schemas.TARGETS``; NaN where a number is unknown.
    settings : AdjustSettings, optional
    names : (n,) sequence of str, optional
        Object that each look is of. Without it looks are grouped by the gate.
    boats : (n,) sequence of str, optional
        Boat that each look was made from, '' for one of its own: outings of one boat share their offsets.
    step : callable, optional
        ``step(fraction)``; may raise Cancelled.

    Returns
    -------
    Adjusted

    Raises
    ------
    InputError
        If fields are missing or empty, or an outing has two boats.

    Examples
    --------
    >>> import numpy as np
    >>> import athwart
    >>> away = np.arange(0.0, 202.0, 2.0)
    >>> fixes = athwart.Fixes("EPSG:32619", 500000 + 0 * away, 4500000 + away, t_s=away / 2)
    >>> track = athwart.prepare(fixes, athwart.TrackSettings(range_m=30.0, depth_m=5.0)).track
    >>> picks = athwart.Picks.of(2, t_s=[50.0, 50.5], side=[1, 1], slant_m=[13.0, 13.1], label=["log", "log"])
    >>> found = athwart.locate(track, picks)
    >>> once = athwart.adjust(track.crs, found.x, found.y, found.columns, names=["log", "log"])
    >>> once.columns["looks"].tolist(), once.columns["label"].tolist()
    ([2], ['log'])
    >>> bool(once.columns["semi_major_m"][0] < found.columns["semi_major_m"][0])
    True
    """
    settings, step = settings or AdjustSettings(), step or (lambda fraction: None)
    looks, frame = RepeatedLooks.of(crs, x, y, columns)
    outings, named = _boats(columns, boats, looks)
    hanging = np.asarray(columns["status"], object) == "water column"
    group = group_by_gate(looks, settings.gate, hanging) if names is None else group_by_name(names)
    step(0.2)
    verdict = judge(looks, group, settings.solve, named)
    step(0.4)
    tests = agreements(looks, group, settings.solve)
    found = least_squares(looks, group, verdict.solvable)
    step(0.5)
    misfits = find_misfits(looks, group, verdict.solvable, found, lambda fraction: step(0.5 + 0.25 * fraction))
    doubt = doubts(group, found, misfits)
    east, north, outlines, combined = combined_columns(frame, columns, looks, group, found, settings.confidence, doubt)
    step(0.8)
    return Adjusted(
        combined, east, north, list(outlines), group, np.unique(group, return_index=True)[1],
        offset_rows(found, looks, named, outings), found.chi2, found.dof, found.chi2_low, found.chi2_high,
        [*words.notes(looks, group, found, named), *words.boat_notes(tests, named)],
        [*words.warnings(columns, looks, group, found, misfits, doubt), *words.boat_warnings(tests, named, outings),
         *_mixed(columns["target_id"], hanging, group),
         *(f"Not solved. {text}" for text in verdict.refused.values())])


def _boats(columns: Mapping[str, Any], boats: Sequence[str] | None, looks: RepeatedLooks) -> tuple[np.ndarray, Any]:
    """Names of the outings and of the boats, by their numbers in ``looks``; sets whose boat each look is of."""
    outings = np.unique(np.asarray(columns["outing"]).astype(str)).tolist()
    if boats is None:
        return outings, outings
    named, mine = np.asarray(boats).astype(str), []
    for number, outing in enumerate(outings):
        said = sorted(set(named[looks.outing_no == number]))
        if len(said) > 1:
            raise InputError(f"Several boats are named in the outing '{outing}': {', '.join(said)}. An outing has one "
                             "boat; correct the field that names it.", field="boats")
        mine.append(said[0] or outing)  # a blank boat: the outing stands alone
    names, of = np.unique(mine, return_inverse=True)
    looks.boat_no = of[looks.outing_no]
    return outings, names.tolist()


def _mixed(ids: np.ndarray, hanging: np.ndarray, group: np.ndarray) -> list[str]:
    """A sentence on looks in the water that a name joins to looks at the bottom."""
    joined = [k for k in np.flatnonzero(hanging) if not hanging[group == group[k]].all()]
    if not joined:
        return []
    shown = ", ".join(f"{ids[k]:.0f} (object {group[k] + 1})" for k in joined[:5])
    return [f"{len(joined)} targets hang in the water column, such as a fish, and are named as objects that others saw "
            f"on the bottom: {shown}{' and others' if len(joined) > 5 else ''}. They were counted in; the objects' "
            "field doubt says so. Give them names of their own."]
