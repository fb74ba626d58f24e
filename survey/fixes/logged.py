"""Logs that were read -> fixes to prepare a track from."""
from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..bottom.rasters import metric_crs
from ..geometry.frame import carried
from ..model.errors import InputError
from .arrange import Fixes

if TYPE_CHECKING:
    from pyproj import CRS

    from ..io.logs import Logs

__all__ = ["fixes_of"]

_DEGREES = "EPSG:4326"


def fixes_of(logs: Logs, crs: CRS | str | None = None, *, compass: bool = True, depths: bool = True) -> Fixes:
    """Fixes of logs, in a coordinate system in metres.

    Parameters
    ----------
    logs : survey.io.logs.Logs
        What ``read_logs`` returned.
    crs : pyproj.CRS or str, optional
        Of the fixes and of the track to be; the UTM zone of the middle of the logs if None.
    compass, depths : bool
        Whether the logged headings (true) and soundings are to be used, where there are any.

    Returns
    -------
    Fixes

    Raises
    ------
    InputError
        If the logs hold no fix.

    Examples
    --------
    >>> import numpy as np
    >>> import pathlib, tempfile
    >>> import athwart
    >>> track = athwart.GpxLine([np.array([[-70.0, 44.6], [-69.9999, 44.6]])], "morning")
    >>> path = pathlib.Path(tempfile.mkdtemp(), "morning.gpx")
    >>> athwart.write_gpx(path, lines=[track], lines_as="track")
    >>> fixes = athwart.fixes_of(athwart.read_logs([path]))
    >>> fixes.crs.to_epsg(), (fixes.x - fixes.x[0]).round(1).tolist()
    (32619, [0.0, 7.9])
    """
    columns = logs.fixes
    if not len(columns["lon"]):
        raise InputError("The logs hold no fix, so there is no track. Read the log of the boat's positions.",
                         field="logs")
    if crs is None:
        crs = metric_crs(_DEGREES, columns["lon"], columns["lat"])
    x, y = carried(_DEGREES, crs, columns["lon"], columns["lat"])

    def known(name: str, wanted: bool = True) -> np.ndarray | None:
        return columns[name] if wanted and np.isfinite(columns[name]).any() else None

    sounded = known("depth_m", depths)
    return Fixes(crs, x, y, t_s=known("t_s"), stretch=columns["segment"], heading_deg=known("heading_deg", compass),
                 depth_m=sounded, depth_kind=None if sounded is None else columns["depth_kind"],
                 depth_offset_m=None if sounded is None else columns["depth_offset_m"], hdop=known("hdop"))
