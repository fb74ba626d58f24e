"""What one log file gave, whatever its format: fixes and waypoints as columns, and an account of what was left out."""
from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..model.rejections import Rejections
from ..model.schemas import FIXES, WAYPOINTS

__all__ = ["LogFile", "fix_columns", "waypoint_columns"]


@dataclass
class LogFile:
    """One file, read.

    ``fixes`` and ``waypoints`` are dicts of arrays by the names in ``schemas.FIXES`` and ``schemas.WAYPOINTS`` (all but
    ``time``, which is ``t_s`` again), with ``lon`` and ``lat`` in degrees on WGS 84. Numbers are NaN and texts '' where
    unknown; ``segment`` counts from 0 within the file. ``depth_count`` is how many depth readings stand behind
    the fixes. ``joined_count``: position sentences of a moment that another had told already; ``beside_count``:
    positions and depths left out beside others that say the same. ``tally`` holds what was refused, ``warnings`` and
    ``notes`` whole sentences for the user.
    """

    name: str
    kind: str
    fixes: dict
    waypoints: dict
    depth_count: int = 0
    joined_count: int = 0
    beside_count: int = 0
    tally: Rejections = field(default_factory=Rejections)
    warnings: list = field(default_factory=list)
    notes: list = field(default_factory=list)


def fix_columns(size, log_file, /, **given):
    """Columns of ``size`` fixes of the file ``log_file``: those given, the rest unknown.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.io.logfile import fix_columns
    >>> places = {"lon": np.array([-70.0, -70.1]), "log_line": [1, 2], "segment": [1, 1]}
    >>> columns = fix_columns(2, "morning.gpx", **places)
    >>> columns["lon"].tolist(), columns["depth_m"].tolist(), columns["log_file"].tolist()
    ([-70.0, -70.1], [nan, nan], ['morning.gpx', 'morning.gpx'])
    """
    return _columns(FIXES, size, log_file, given)


def waypoint_columns(size, log_file, /, **given):
    """Columns of ``size`` waypoints of the file ``log_file``: those given, the rest unknown.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.io.logfile import waypoint_columns
    >>> columns = waypoint_columns(1, "marks.gpx", name=np.array(["TANK P52"], object), log_line=[1])
    >>> columns["name"].tolist(), columns["t_s"].tolist()
    (['TANK P52'], [nan])
    """
    return _columns(WAYPOINTS, size, log_file, given)


def _columns(layer, size, log_file, given):
    columns = {"lon": np.empty(size), "lat": np.empty(size)}
    for one in layer:
        if one.kind == "string":
            columns[one.name] = np.full(size, log_file if one.name == "log_file" else "", object)
        elif one.kind != "datetime":
            columns[one.name] = np.full(size, np.nan)
    columns.update(given)
    for whole in ("segment", "log_line"):
        if whole in columns:
            columns[whole] = np.asarray(columns[whole], np.int64)
    return columns
