"""Sound speed in water at the surface, and what it does to displayed ranges.

A display turns echo time into metres with one assumed speed c0; the true distance is the displayed one times c / c0.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..model.constants import SOUND_SPEED_FOR_PINGS_MPS
from ..model.errors import InputError

__all__ = ["FRESH_LIMIT", "Sound", "fresh_water", "sea_water", "sound_in", "sound_speed"]

FRESH_LIMIT = 0.5
"""Salinity (g/kg) up to which the fresh-water formula serves; 0.5 g/kg is worth about 0.7 m/s."""

SALTIEST = 42.0
"""Upper end of the sea-water formula's range (practical salinity)."""

_MARCZAK = (1402.385, 5.038813, -5.799136e-2, 3.287156e-4, -1.398845e-6, 2.787860e-9)

# Chen-Millero coefficients by power of pressure (bar), each by power of temperature (IPTS-68).
_CW = ((1402.388, 5.03711, -5.80852e-2, 3.3420e-4, -1.47800e-6, 3.1464e-9),
       (0.153563, 6.8982e-4, -8.1788e-6, 1.3621e-7, -6.1185e-10),
       (3.1260e-5, -1.7107e-6, 2.5974e-8, -2.5335e-10, 1.0405e-12),
       (-9.7729e-9, 3.8504e-10, -2.3643e-12))
_A = ((1.389, -1.262e-2, 7.164e-5, 2.006e-6, -3.21e-8),
      (9.4742e-5, -1.2580e-5, -6.4885e-8, 1.0507e-8, -2.0122e-10),
      (-3.9064e-7, 9.1041e-9, -1.6002e-10, 7.988e-12),
      (1.100e-10, 6.649e-12, -3.389e-13))
_B = ((-1.922e-2, -4.42e-5), (7.3637e-5, 1.7945e-7))
_D = ((1.727e-3,), (-7.9836e-6,))


@dataclass(frozen=True)
class Sound:
    """``speed_mps``: sound speed in the water, NaN if unknown; ``ratio``: true over displayed range; ``note``: how they
    came."""

    speed_mps: float
    ratio: float
    note: str


def fresh_water(temperature_c):
    """Sound speed (m/s) in fresh water at the surface.

    Source: W. Marczak, J. Acoust. Soc. Am. 102 (1997) 2776, 0 to 95 degrees C, ITS-90.

    Examples
    --------
    >>> from athwart.beams.soundspeed import fresh_water
    >>> float(round(fresh_water(20.0), 1))
    1482.4
    """
    return _polynomial(_MARCZAK, np.asarray(temperature_c, float))[()]


def sea_water(temperature_c, salinity, pressure_dbar=0.0):
    """Sound speed (m/s) in salt or brackish water.

    Parameters
    ----------
    temperature_c : float or array
        Degrees C on IPTS-68, the scale of the formula; IPTS-68 = 1.00024 ITS-90.
    salinity : float or array
        Practical salinity (the same number as g/kg within half a per cent).
    pressure_dbar : float or array
        Gauge pressure; 0 at the surface.

    Notes
    -----
    Source: Chen and Millero (1977) as set down by Fofonoff and Millard, UNESCO Technical Papers in Marine Science 44
    (1983); their check value is 1731.995 m/s at S 40, T 40, p 10000.

    Examples
    --------
    >>> from athwart.beams.soundspeed import sea_water
    >>> float(round(sea_water(20.0, 35.0), 1))
    1521.5
    """
    t, s = np.asarray(temperature_c, float), np.asarray(salinity, float)
    bar = np.asarray(pressure_dbar, float) / 10
    cw, a, b, d = (_polynomial([_polynomial(row, t) for row in table], bar) for table in (_CW, _A, _B, _D))
    return (cw + a * s + b * s ** 1.5 + d * s ** 2)[()]


def sound_speed(temperature_c, salinity=0.0):
    """Sound speed (m/s) at the surface for a temperature on today's scale (ITS-90).

    ``fresh_water`` up to 0.5 g/kg, ``sea_water`` above.

    Examples
    --------
    >>> from athwart.beams.soundspeed import sound_speed
    >>> float(round(sound_speed(20.0), 1))
    1482.4
    """
    if not 0 <= salinity <= SALTIEST:
        raise InputError(f"A salinity of {salinity:g} is out of bounds; give grams of salt per kilogram, 0 for fresh "
                         f"water, about 35 for the open sea, {SALTIEST:g} at most.", field="salinity")
    if salinity > FRESH_LIMIT:
        return sea_water(np.asarray(temperature_c, float) * 1.00024, salinity)
    return fresh_water(temperature_c)


def sound_in(temperature_c=None, salinity=0.0, assumed_mps=None):
    """The sound speed of an outing and its range ratio.

    Parameters
    ----------
    temperature_c : float or None
        Water temperature, None when unknown.
    salinity : float
        g/kg.
    assumed_mps : float or None
        Speed the display converts echo time with (c0), None when unknown.

    Returns
    -------
    Sound
        The ratio is 1 unless both are known.

    Examples
    --------
    >>> from athwart.beams.soundspeed import sound_in
    >>> found = sound_in(20.0, assumed_mps=1500.0)
    >>> float(round(found.ratio, 4)), sound_in(20.0).ratio
    (0.9883, 1.0)
    """
    if assumed_mps is not None and not 1300 <= assumed_mps <= 1700:
        hint = f" {assumed_mps:g} ft/s is {assumed_mps * 0.3048:.2f} m/s." if 4200 < assumed_mps < 5600 else ""
        raise InputError(f"An assumed sound speed of {assumed_mps:g} is not one of water in m/s (1300 to 1700).{hint}",
                         field="assumed_mps")
    if temperature_c is None:
        return Sound(math.nan, 1.0, "Ranges and depths are taken as displayed (ratio 1): the water temperature is not "
                                    f"known; ping rates are worked out with {SOUND_SPEED_FOR_PINGS_MPS:g} m/s.")
    speed = float(sound_speed(temperature_c, salinity))
    formula = "sea water, UNESCO 1983" if salinity > FRESH_LIMIT else "fresh water, Marczak 1997"
    known = f"Sound speed {speed:.2f} m/s at {temperature_c:g} degrees C ({formula})"
    if assumed_mps is None:
        return Sound(speed, 1.0, f"{known}; ranges and depths are taken as displayed (ratio 1), because the speed the "
                                 "display assumes is not known.")
    return Sound(speed, speed / assumed_mps, f"{known}; displayed ranges and depths are multiplied by "
                                             f"{speed / assumed_mps:.6f} (display: {assumed_mps:g} m/s).")


def _polynomial(coefficients, x):
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total * x + coefficient
    return np.asarray(total)
