"""Exact factors from the units people read off their displays to metres, metres per second and degrees Celsius."""
from __future__ import annotations

from typing import Any

import numpy as np

from .errors import InputError

__all__ = ["COLDEST_C", "LENGTHS", "MILE_M", "SPEEDS", "TEMPERATURES", "WARMEST_C", "celsius", "metres",
           "metres_per_second", "told"]

LENGTHS = {"m": 1.0, "ft": 0.3048, "yd": 0.9144, "fathom": 1.8288}
"""Metres in one unit; the international yard of 1959 is 0.9144 m exactly, the foot a third and the fathom twice it."""

MILE_M = 5280 * LENGTHS["ft"]

SPEEDS = {"m/s": 1.0, "km/h": 1000 / 3600, "mph": MILE_M / 3600, "kn": 1852 / 3600}
"""Metres per second in one unit; the international nautical mile is 1852 m exactly."""

TEMPERATURES = ("C", "F")

WARMEST_C = 40.0
"""No lake or sea is warmer; a higher number was read in the other unit."""

COLDEST_C = -3.0
"""Sea water freezes at -2 degrees; a lower number is no water temperature."""


def metres(values: Any, unit: str) -> Any:
    """Lengths in ``unit`` (a key of ``LENGTHS``) -> metres; scalar or array, NaN kept.

    Examples
    --------
    >>> from athwart.model.units import metres
    >>> float(metres(100.0, "ft")), metres([1.0, 2.0], "fathom").tolist()
    (30.48, [1.8288, 3.6576])
    """
    return _scaled(values, unit, LENGTHS, "length")


def metres_per_second(values: Any, unit: str) -> Any:
    """Speeds in ``unit`` (a key of ``SPEEDS``) -> m/s; scalar or array, NaN kept.

    Examples
    --------
    >>> from athwart.model.units import metres_per_second
    >>> float(round(metres_per_second(3.6, "km/h"), 6)), float(round(metres_per_second(1.0, "kn"), 4))
    (1.0, 0.5144)
    """
    return _scaled(values, unit, SPEEDS, "speed")


def celsius(values: Any, unit: str, what: str = "The water temperature") -> Any:
    """Water temperatures in ``unit`` ('C' or 'F') -> degrees Celsius; scalar or array, NaN kept.

    Raises
    ------
    InputError
        Above 40 degrees C or below -3: the number stands in the other unit, or is no water temperature.

    Examples
    --------
    >>> from athwart.model.units import celsius
    >>> float(celsius(65.0, "F").round(2)), float(celsius(18.4, "C"))
    (18.33, 18.4)
    """
    if unit not in TEMPERATURES:
        raise InputError(f"'{unit}' is not a unit of temperature; choose one of {', '.join(TEMPERATURES)}.")
    values = np.asarray(values, float)
    degrees = (values - 32) / 1.8 if unit == "F" else values
    wrong = degrees[(degrees > WARMEST_C) | (degrees < COLDEST_C)]
    if wrong.size:
        other = "F" if unit == "C" else "C"
        shown = wrong.flat[0] * 1.8 + 32 if unit == "F" else wrong.flat[0]
        raise InputError(f"{what} of {shown:g} degrees {unit} is not that of water ({COLDEST_C:g} to {WARMEST_C:g} "
                         f"degrees C). If it was read in {other}, choose {other} as the unit.")
    return degrees[()]


def told(value_m: float, unit: str, digits: int = 1) -> str:
    """A length in metres as text in the unit of who reads it; whole numbers without decimals.

    Examples
    --------
    >>> from athwart.model.units import told
    >>> told(-18.288, "ft"), told(6.25, "m")
    ('-60 ft', '6.2 m')
    """
    text = f"{value_m / LENGTHS[unit]:.{digits}f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} {unit}"


def _scaled(values: Any, unit: str, factors: dict[str, float], kind: str) -> Any:
    if unit not in factors:
        raise InputError(f"'{unit}' is not a unit of {kind}; choose one of {', '.join(factors)}.")
    return (np.asarray(values, float) * factors[unit])[()]
