"""Short ways on the ellipsoid: metres east and north between neighbouring fixes, and back.

A track is a chain of steps of metres, so no projection is needed to measure it: each step is taken with the radii of
curvature at its own middle latitude. North is true north everywhere, there is no axis to stray from, and no cut at 180
degrees. Against the exact geodesic a step of 1 km at 70 degrees of latitude is 0.01 mm off, and a shift of 20 m 0.2 mm.
"""
from __future__ import annotations

import numpy as np

__all__ = ["apart", "moved", "steps", "wrapped"]


def wrapped(degrees):
    """Angles brought to -180 (inclusive) .. 180.

    Examples
    --------
    >>> import numpy as np
    >>> from athwart.geometry.ground import wrapped
    >>> wrapped(np.array([190.0, -180.0, 180.0, 540.0])).tolist()
    [-170.0, -180.0, -180.0, -180.0]
    """
    return (np.asarray(degrees, float) + 180.0) % 360.0 - 180.0


def steps(geod, lon, lat):
    """Metres east and north from each of (n,) points to the next, as two (n - 1,) arrays; degrees, ``pyproj.Geod``.

    Examples
    --------
    >>> import numpy as np
    >>> from pyproj import Geod
    >>> from athwart.geometry.ground import steps
    >>> east, north = steps(Geod(ellps="WGS84"), np.array([0.0, 0.001, 0.001]), np.array([0.0, 0.0, 0.001]))
    >>> east.round(1).tolist(), north.round(1).tolist()
    ([111.3, 0.0], [0.0, 110.6])
    """
    lon, lat = np.asarray(lon, float), np.asarray(lat, float)
    return apart(geod, lon[:-1], lat[:-1], lon[1:], lat[1:])


def apart(geod, lon1, lat1, lon2, lat2):
    """Metres east and north from first to second points.

    Parameters
    ----------
    geod : pyproj.Geod
    lon1, lat1, lon2, lat2 : (n,) arrays
        Degrees; the shorter way round is taken.

    Returns
    -------
    (east, north) : (n,) arrays

    Examples
    --------
    >>> import numpy as np
    >>> from pyproj import Geod
    >>> from athwart.geometry.ground import apart
    >>> east, north = apart(Geod(ellps="WGS84"), np.array([0.0]), np.array([0.0]), np.array([0.001]), np.array([0.0]))
    >>> east.round(2).tolist(), abs(north).round(2).tolist()
    ([111.32], [0.0])
    """
    per_lon, per_lat = _metres_per_degree(geod, (lat1 + lat2) / 2)
    return wrapped(lon2 - lon1) * per_lon, (lat2 - lat1) * per_lat


def moved(geod, lon, lat, east, north):
    """Points shifted by a few metres.

    Parameters
    ----------
    geod : pyproj.Geod
    lon, lat : (n,) arrays
        Degrees.
    east, north : (n,) arrays or floats
        Metres; up to some tens, such as a lever arm.

    Returns
    -------
    (lon, lat) : (n,) arrays, degrees
        Not wrapped at 180.

    Examples
    --------
    >>> import numpy as np
    >>> from pyproj import Geod
    >>> from athwart.geometry.ground import moved
    >>> lon, lat = moved(Geod(ellps="WGS84"), np.array([0.0]), np.array([0.0]), np.array([111.32]), np.array([0.0]))
    >>> lon.round(5).tolist(), lat.round(5).tolist()
    ([0.001], [0.0])
    """
    per_lon, per_lat = _metres_per_degree(geod, lat)
    return lon + east / per_lon, lat + north / per_lat


def _metres_per_degree(geod, lat):
    """Metres in a degree of longitude and of latitude, from the radii of curvature in prime vertical and meridian."""
    phi = np.radians(lat)
    shrink = 1.0 - geod.es * np.sin(phi) ** 2
    prime = geod.a / np.sqrt(shrink)
    return np.radians(prime * np.cos(phi)), np.radians(prime * (1.0 - geod.es) / shrink)
