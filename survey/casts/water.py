"""Where the water lets a boat lie and a cast go: the boat floats, and a cast never crosses land.

A lure could be thrown over a spit, but it is drawn back through it; so the whole way from the boat to the landing lies
in the water.
"""
from __future__ import annotations

import math

import numpy as np

from ..beams.land import water_reach
from ..geometry import shapes

__all__ = ["afloat", "clear_ways", "stations_afloat", "water_reaches"]

_WAYS = 720
"""Directions that the shore around a boat is sounded in: half a degree apart."""
_SWINGS = tuple(sign * angle for angle in range(0, 181, 10) for sign in ((1, -1) if 0 < angle < 180 else (1,)))
_SHARES = (1.0, 0.75, 0.5)


def afloat(water, east, north):
    """(n,) bool: places in the water; all of them where no water is given.

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.casts.water import afloat
    >>> afloat(box(0, 0, 10, 10), np.array([5.0, 15.0]), np.array([5.0, 5.0])).tolist()
    [True, False]
    """
    return np.ones(len(east), bool) if water is None else shapes.contains(water, np.asarray(east), np.asarray(north))


def clear_ways(water, boat, places):
    """(n,) bool: the straight way from the boat to each place lies in the water.

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.casts.water import clear_ways
    >>> lake = box(0, 0, 30, 30).difference(box(10, 0, 20, 20))
    >>> clear_ways(lake, np.array([5.0, 5.0]), np.array([[25.0, 5.0], [5.0, 25.0]])).tolist()
    [False, True]
    """
    if water is None:
        return np.ones(len(places), bool)
    step = np.asarray(places, float) - boat
    far = np.hypot(*step.T)
    way = step / np.maximum(far, 1e-9)[:, None]
    reach = water_reach(water, np.full(len(far), boat[0]), np.full(len(far), boat[1]), *way.T, far)
    return (reach >= far - 1e-6) & (reach > 0)


def water_reaches(water, boat, longest):
    """Callable ``f(azimuth)`` -> how far a cast from the boat goes over water that way, at most ``longest`` (m).

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.casts.water import water_reaches
    >>> reach = water_reaches(box(0, 0, 30, 30), np.array([10.0, 10.0]), 15.0)
    >>> reach(np.radians([90.0, 180.0])).round(6).tolist()
    [15.0, 10.0]
    """
    if water is None:
        return lambda azimuth: np.full(np.shape(azimuth), float(longest))
    azimuth = np.arange(_WAYS) * (2 * math.pi / _WAYS)
    reach = water_reach(water, np.full(_WAYS, boat[0]), np.full(_WAYS, boat[1]), np.sin(azimuth), np.cos(azimuth),
                        longest)

    def of(angle):
        at = np.asarray(angle, float) / (2 * math.pi / _WAYS)
        below = np.floor(at).astype(int)
        return np.minimum(reach[below % _WAYS], reach[(below + 1) % _WAYS])  # never past a corner between two
    return of


def stations_afloat(water, east, north, stand_off, windward):
    """Stations for targets, to windward where the water allows it.

    Parameters
    ----------
    water : shapely geometry, frame metres
    east, north : (n,) arrays
        The targets.
    stand_off : float, m
    windward : float, rad
        Grid azimuth that the wind comes from.

    Returns
    -------
    east, north : (n,) arrays
    swung : (n,) array
        Degrees by which each station was turned from windward, the least that will do.
    near : (n,) array
        Share of the stand-off it had to come in to.
    castable : (n,) bool array
        False where no station floats with clear water to the target; it is left to windward.

    Examples
    --------
    >>> import numpy as np
    >>> from shapely.geometry import box
    >>> from athwart.casts.water import stations_afloat
    >>> middle = np.array([45.0])
    >>> east, north, swung, near, castable = stations_afloat(box(0, 0, 90, 90), middle, middle, 20.0, 0.0)
    >>> east.round(6).tolist(), north.round(6).tolist(), castable.tolist()
    ([45.0], [65.0], [True])
    """
    count = len(east)
    out_e, out_n = east + stand_off * math.sin(windward), north + stand_off * math.cos(windward)
    swung, near, castable = np.zeros(count), np.ones(count), np.zeros(count, bool)
    for i in range(count):
        target = np.array([east[i], north[i]])
        tried = [(share, swing) for share in _SHARES for swing in _SWINGS]
        a = windward + np.radians([swing for _, swing in tried])
        far = stand_off * np.array([share for share, _ in tried])
        places = target + far[:, None] * np.column_stack([np.sin(a), np.cos(a)])
        good = np.flatnonzero(clear_ways(water, target, places) & afloat(water, *places.T))
        if len(good):
            (near[i], swung[i]), castable[i] = tried[good[0]], True
            out_e[i], out_n[i] = places[good[0]]
    return out_e, out_n, swung, near, castable
