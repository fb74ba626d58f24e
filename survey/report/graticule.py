"""Coordinates along the edge of a map: where round minutes of latitude and longitude meet it."""
from __future__ import annotations

import numpy as np

from ..model.coordinates import degrees_minutes

__all__ = ["edge_ticks"]

_STEPS_MIN = (0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600)
_ALONG = 201
_MOST = 4


def edge_ticks(frame, bounds):
    """Ticks of the western and of the southern edge.

    Parameters
    ----------
    frame : survey.geometry.frame.Frame
    bounds : (west, south, east, north)
        Frame metres.

    Returns
    -------
    (list of (north, text), list of (east, text))
        Frame metres along each edge.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.geometry.frame import Frame
    >>> from athwart.report.graticule import edge_ticks
    >>> west, south = edge_ticks(Frame("EPSG:4326", -93.0, 45.0), (-400.0, -300.0, 400.0, 300.0))
    >>> [text.replace(chr(160), " ") for _, text in south]
    ['93\u00b0 00.2\u2032 W', '93\u00b0 00.0\u2032 W', '92\u00b0 59.8\u2032 W']
    """
    west, south, east, north = bounds
    x, y = np.linspace(west, east, _ALONG), np.linspace(south, north, _ALONG)
    _, lat = frame.frame_to_lonlat(np.full(_ALONG, west), y)
    lon, _ = frame.frame_to_lonlat(x, np.full(_ALONG, south))
    lon = np.degrees(np.unwrap(np.radians(lon)))
    return _ticks(lat, y, "NS"), _ticks(lon, x, "EW")


def _ticks(degrees, along, letters):
    minutes = degrees * 60
    if not np.isfinite(minutes).all() or minutes[-1] <= minutes[0]:
        return []
    step = next((one for one in _STEPS_MIN if (minutes[-1] - minutes[0]) / one <= _MOST), _STEPS_MIN[-1])
    digits = max(0, -int(np.floor(np.log10(step))))
    found = np.arange(np.ceil(minutes[0] / step), np.floor(minutes[-1] / step) + 1) * step
    return [(float(np.interp(one, minutes, along)),
             degrees_minutes((one / 60 + 180) % 360 - 180 if letters == "EW" else one / 60, letters, digits))
            for one in found]
