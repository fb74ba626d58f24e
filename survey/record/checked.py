"""What a fit of the marks to the track says of a picture: rows of a table, one word, sentences, the record mended."""
from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from ..model.messages import Message
from ..model.times import iso_time
from ..uncertainty.chisquare import chi_square_quantile

if TYPE_CHECKING:
    from .bottom_profile import MarkedBottom
    from .picture import Record
    from .profile_fit import Fit

__all__ = ["Checked", "told_of"]

_ROUGH = 0.999
"""Share of right fits whose scatter chance keeps under the bound (chi-square)."""

_SURE = 3.0
"""Standard deviations from which on a difference is one."""


@dataclass
class Checked:
    """``columns``: arrays by the names of ``schemas.CHECKS``. ``status``: fits, shifted, reversed or off: what is wrong
    first. ``shift`` (counts: pings or seconds), ``rate``, ``scale`` and their sigmas; ``residual_m``; ``marks`` used.
    ``record``: as it should be told. ``notes``, ``warnings``: sentences for the log."""

    columns: dict[str, np.ndarray]
    status: str
    shift: float
    rate: float
    scale: float
    sigmas: tuple[float, ...]
    residual_m: float
    marks: int
    record: Record
    notes: list = field(default_factory=list)
    warnings: list = field(default_factory=list)


def told_of(record: Record, told_record: Record, fit: Fit, upside_down: bool,
            others: list[tuple[Fit, bool]], sigma_m: float) -> Checked:
    """What a fit says of a picture.

    Parameters
    ----------
    record : Record
        As the picture was told.
    told_record : Record
        As it was told when the marks were fitted: the other way round, where that fits.
    fit : survey.record.profile_fit.Fit
    upside_down : bool
    others : list of (Fit, bool)
        What fits as well, and whether upside down.
    sigma_m : float
        Standard deviation of a mark's depth as it was given.

    Returns
    -------
    Checked
    """
    told, (shift, rate, scale) = fit.told, fit.values
    sigmas = np.sqrt(np.maximum(np.diag(fit.covariance), 0))

    def moved(count: float) -> float:
        return told.middle + shift + rate * (count - told.middle)
    if record.by_time:
        rows = (("first_time_s", record.first_s, moved(told_record.first_s)),
                ("last_time_s", record.last_s, moved(told_record.last_s)))
        mended = replace(told_record, first_s=float(rows[0][2]), last_s=float(rows[1][2]))
        ends = [told_record.first_s, told_record.last_s]
    else:
        rows = (("first_ping", record.first_ping, moved(told_record.first_ping)),
                ("pings_per_row", record.pings_per_row, rate * record.pings_per_row))
        mended = replace(told_record, first_ping=float(rows[0][2]), pings_per_row=float(rows[1][2]))
        ends = [told_record.first_ping]
    spread = []
    for count in ends:
        away = count - told.middle
        spread.append(math.sqrt(max(float(np.array([1, away]) @ fit.covariance[:2, :2] @ np.array([1, away])), 0)))
    if not record.by_time:
        spread.append(float(sigmas[1]) * record.pings_per_row)
    edge = record.edge_range_m
    mended = replace(mended, edge_range_m=None if edge is None else edge * scale)
    unit = "s" if record.by_time else "pings"
    table = [("shift", unit, 0.0, shift, sigmas[0]), ("rate", "", 1.0, rate, sigmas[1]),
             ("scale", "", 1.0, scale, sigmas[2]),
             *((name, "s" if record.by_time else "pings", given, found, s) for (name, given, found), s in
               zip(rows, spread))]
    if edge is not None:
        table.append(("edge_range_m", "m", edge, edge * scale, sigmas[2] * edge))
    off = [abs(found - given) > _SURE * s for _, _, given, found, s in table]
    status = "reversed" if upside_down else "shifted" if off[0] else "off" if off[1] or off[2] else "fits"
    columns = {"name": np.array([line[0] for line in table], object), "unit": np.array([line[1] for line in table],
                                                                                       object)}
    for k, name in enumerate(("told", "value", "sigma"), 2):
        columns[name] = np.array([float(line[k]) for line in table])
    columns["differs"] = np.array(off)
    columns["status"] = np.full(len(table), status, object)
    notes, warnings = _words(status, table, off, fit, mended, told)
    warnings[:0] = _doubts(fit, sigma_m) + [_other(other, turned != upside_down, unit) for other, turned in others[:1]]
    return Checked(columns, status, float(shift), float(rate), float(scale), tuple(map(float, sigmas)),
                   fit.residual, told.count_of_marks, mended, notes, warnings)


def _words(status: str, table: list, off: list, fit: Fit, mended: Record,
           told: MarkedBottom) -> tuple[list, list]:
    shift, unit = fit.values[0], table[0][1]
    sigma = math.sqrt(fit.covariance[0, 0])
    notes = [f"{told.count_of_marks} bottom marks agree with the track's depth within {fit.residual:.2f} m (root mean "
             f"square) after the fit."]
    warnings = []
    if status == "reversed":
        warnings.append(Message("The picture is upside down: with {newest} '{other}' the bottom runs like the track's.",
                                other=mended.newest))
    if off[0]:
        warnings.append(Message("The picture is shifted: its rows are {shift:.1f} {unit} {way} than the track's, give "
                                "or take {sigma:.1f} (one standard deviation).", shift=abs(shift), unit=unit,
                                way="earlier" if shift > 0 else "later", sigma=sigma))
    if off[1]:
        warnings.append(Message("Rows last {rate:.3f} times as long as was given, give or take {sigma:.3f}.",
                                rate=fit.values[1], sigma=table[1][4]))
    if off[2]:
        edge = "" if mended.edge_range_m is None else f" ({mended.edge_range_m:.1f} m at the edge)"
        warnings.append(Message("Ranges on the picture are to be taken {scale:.3f} times{edge}, give or take "
                                "{sigma:.3f}: check the range at the edge, its unit, and the sound speed.", edge=edge,
                                scale=fit.values[2], sigma=table[2][4]))
    if off[0] or off[1] or status == "reversed":
        ask = Message("{first_s} and {last_s}") if mended.by_time else Message("{first_ping} and {pings_per_row}")
        given = (f"{iso_time(round(mended.first_s, 1))} and {iso_time(round(mended.last_s, 1))}" if mended.by_time else
                 f"{mended.first_ping:.1f} and {mended.pings_per_row:.3f}")
        warnings.append(Message("What would fit as {ask}: {given}.", ask=ask, given=given))
    if not any(off) and status == "fits":
        notes.append("Rows and range are right, as far as the bottom can show: "
                     f"the shift is {shift:.1f} {unit}, give or take {sigma:.1f}.")
    return notes, warnings


def _doubts(fit: Fit, sigma_m: float) -> list[Message]:
    """What the scatter of the marks about the best fit says: smooth bottoms of two lakes fit each other better than
    depths in any order do, but not as well as marks of the same bottom."""
    most = chi_square_quantile(_ROUGH, max(fit.used - 3, 1))
    if fit.used * fit.residual ** 2 <= most * sigma_m ** 2:
        return []
    return [Message("The marks differ from the track's depth by {residual:.2f} m (root mean square) where they fit "
                    "best, more than {sigma_m} of {sigma:g} m explains: either picture and track are not of the same "
                    "outing, or the marks are that rough. Check which before you use what follows.",
                    residual=fit.residual, sigma=sigma_m)]


def _other(fit: Fit, turned: bool, unit: str) -> str:
    return (f"Another place of the track fits hardly worse: a shift of {fit.values[0]:.1f} {unit} with rows that last "
            f"{fit.values[1]:.2f} times as long{', the other way round' if turned else ''}. What is given here is "
            "that by which least of rows and ranges was given wrong. Mark a longer stretch.")
