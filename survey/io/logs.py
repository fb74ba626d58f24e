"""Log files of any understood kind -> one set of fixes and one of waypoints."""
from __future__ import annotations

import math
import os
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..model.errors import InputError
from ..model.messages import Message
from ..model.times import iso_time, parse_date
from .gpx import read_gpx
from .logfile import fix_columns, waypoint_columns
from .nmea import read_nmea
from .sentences import looks_like_nmea, plain_bytes

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date
    from os import PathLike
    from typing import Any

    from .logfile import LogFile

__all__ = ["Logs", "read_logs"]


@dataclass
class Logs:
    """Several logs as one.

    ``fixes`` and ``waypoints`` are dicts of arrays by the names in ``schemas.FIXES`` and ``schemas.WAYPOINTS`` (all but
    ``time``, which is ``t_s`` again), with ``lon`` and ``lat`` in degrees on WGS 84; ``segment`` counts from 1 through
    all files. ``depth_count`` is how many depth readings stand behind the fixes, ``rejected_count`` how many
    sentences, points and values were refused; ``rejected`` says why, most first, with the first five places of each,
    ``files`` what each file gave, ``warnings`` and ``notes`` the rest, all as sentences for the user.
    """

    fixes: dict
    waypoints: dict
    depth_count: int = 0
    rejected_count: int = 0
    files: list = field(default_factory=list)
    rejected: list = field(default_factory=list)
    warnings: list = field(default_factory=list)
    notes: list = field(default_factory=list)


def read_logs(paths: Sequence[str | PathLike[str]] | str | PathLike[str], log_date: date | str | None = None,
              time_offset: float = 0.0, magnetic_variation: float | None = None,
              step: Callable[[float], object] | None = None) -> Logs:
    """Read NMEA 0183 and GPX files, told apart by their content, and put them in the order of their first times.

    Parameters
    ----------
    paths : sequence of path
        A file named twice is read once.
    log_date : datetime.date or str, optional
        Day of the first fix, year-month-day, for NMEA logs without a date; see ``nmea.read_nmea``.
    time_offset : float
        Hours added to clocks without a zone to give UTC: those of NMEA logs (UTC by the standard, so 0 unless the
        instrument sends local time) and of GPX times without Z or an offset. A clock at UTC-5 needs +5.
    magnetic_variation : float, optional
        Degrees, east positive, for magnetic headings that come without a variation.
    step : callable, optional
        Called with the fraction done; may raise ``Cancelled``.

    Returns
    -------
    Logs

    Raises
    ------
    InputError
        Naming the file: not readable, of no understood kind, without a fix, without a date.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> log = pathlib.Path(tempfile.mkdtemp(), "morning.nmea")
    >>> lines = ["$GPRMC,080000,A,4436.0000,N,07000.0000,W,3.9,090.0,150624,,*02",
    ...          "$GPRMC,080001,A,4436.0000,N,06959.9985,W,3.9,090.0,150624,,*0A", "$GPRMC,cut"]
    >>> _ = log.write_text(chr(10).join(lines))
    >>> import athwart
    >>> logs = athwart.read_logs([log])
    >>> logs.fixes["lat"].tolist(), logs.rejected_count
    ([44.6, 44.6], 1)
    >>> print(logs.files[0])
    morning.nmea (NMEA 0183): 2 fixes from 2024-06-15T08:00:00Z to 2024-06-15T08:00:01Z.
    """
    if not paths:
        raise InputError("No log was given; choose one or more NMEA 0183 or GPX files.")
    day = parse_date(log_date)
    offset = _checked(time_offset, "time offset", math.inf, "the hours to add to the clock to get UTC")
    variation = None if magnetic_variation is None else _checked(
        magnetic_variation, "magnetic variation", 180, "degrees between -180 and 180, east positive, west negative")
    warnings: list[str] = []
    names = _names(paths, warnings)
    logs = []
    for count, (path, name) in enumerate(names.items()):
        part = None if step is None else _part(step, count / len(names), 1 / len(names))
        logs.append(_read(path, name, day, offset, variation, part))
    logs.sort(key=_first_time)
    result = Logs(_joined(logs, "fixes", fix_columns), _joined(logs, "waypoints", waypoint_columns), warnings=warnings)
    for log in logs:
        result.depth_count += log.depth_count
        result.rejected_count += log.tally.count()
        result.files.append(_account(log))
        result.rejected += log.tally.lines()
        result.warnings += log.warnings
        result.notes += log.notes
    result.rejected.sort(key=lambda line: -int(line.split()[0]))
    result.warnings += _overlaps(logs)
    return result


def _checked(value: float | None, label: str, limit: float, remedy: str) -> float | None:
    value = float(value)
    if not abs(value) < limit:
        raise InputError(f"The {label} is {value:g}; give {remedy}.")
    return value


def _names(paths: Any, warnings: list[str]) -> dict[str, str]:
    """Name to show for each path, once each: the file's own, with its folder where two share it."""
    real: dict[str, str] = {}
    for path in map(os.fspath, paths):
        key = os.path.realpath(path)
        if key in real:
            warnings.append(f"{path} was given twice; it was read once.")
        real.setdefault(key, path)
    own = [os.path.basename(path) for path in real.values()]
    return {path: name if own.count(name) == 1 else path for path, name in zip(real.values(), own)}


def _part(step: Callable[[float], object], start: float, share: float) -> Callable[[float], object]:
    return lambda fraction: step(start + share * fraction)


def _read(path: str, name: str, day: int | None, offset: float, variation: float | None,
          step: Callable[[float], object]) -> LogFile:
    try:
        with open(path, "rb") as file:
            data = file.read()
    except OSError as error:
        raise InputError(f"{path} cannot be read ({error.strerror}). Check that it exists, is a file, and is not open "
                         "in another program.") from None
    if not data.strip(b" \t\r\n\0"):
        raise InputError(f"{name} is empty. Copy the log from the device again.")
    plain = plain_bytes(data)
    if plain.lstrip()[:1] == b"<":
        return read_gpx(data, name, offset, step)
    if looks_like_nmea(plain):
        return read_nmea(plain, name, day, offset, variation, step=step)
    raise InputError(Message("{name} is neither NMEA 0183 (lines such as $GPRMC,...*6A) nor GPX (XML). A table of "
                             "positions can be loaded as a layer of points and given to {prepare()} as it is; other "
                             "formats must be exported as one of the two first.", name=name))


def _first_time(log: LogFile) -> float:
    known = log.fixes["t_s"][np.isfinite(log.fixes["t_s"])]
    return known[0] if len(known) else math.inf


def _joined(logs: Sequence[LogFile], what: str, empty: Callable[[int, str], Any]) -> dict[str, np.ndarray]:
    """The columns of all files one after the other; segments keep counting."""
    columns = [getattr(log, what) for log in logs]
    joined = {name: np.concatenate([part[name] for part in columns]) for name in empty(0, "")}
    if what == "fixes":
        lengths = [part["segment"].max() + 1 if len(part["segment"]) else 0 for part in columns]
        before = np.concatenate([[0], np.cumsum(lengths)[:-1]])
        joined["segment"] = np.concatenate([part["segment"] + start + 1 for part, start in zip(columns, before)])
    return joined


def _account(log: LogFile) -> str:
    t_s = log.fixes["t_s"]
    known = t_s[np.isfinite(t_s)]
    when = f" from {iso_time(known.min())} to {iso_time(known.max())}" if len(known) else ""
    depths = f", {log.depth_count} depths" if log.depth_count else ""
    waypoints = f", {len(log.waypoints['lon'])} waypoints" if len(log.waypoints["lon"]) else ""
    return f"{log.name} ({log.kind}): {len(t_s)} fixes{when}{depths}{waypoints}."


def _overlaps(logs: Sequence[LogFile]) -> list[str]:
    """Files whose fixes begin before those of an earlier one have ended: one trip recorded twice, or two boats."""
    found, latest, owner = [], -math.inf, ""
    for log in logs:
        known = log.fixes["t_s"][np.isfinite(log.fixes["t_s"])]
        if not len(known):
            continue
        if known.min() <= latest:
            found.append(f"{owner} and {log.name} overlap in time: if they hold the same trip, read only one of them.")
        if known.max() > latest:
            latest, owner = known.max(), log.name
    return found
