"""Lengths and areas in sentences, read in feet: messages are written in metres, as everything is worked out in them."""
from __future__ import annotations

import re

from .units import LENGTHS, MILE_M

__all__ = ["ACRE_M2", "in_feet"]

ACRE_M2 = 43_560 * LENGTHS["ft"] ** 2
"""43 560 square feet; of the international foot, as all feet here."""

_NUMBER = r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
_FIGURES = re.compile(
    rf"(?<![\w.,/+-])({_NUMBER}(?: (?:to|and|or|of|from|x) {_NUMBER})*) (km|m2|metres|metre|m)(?![\w/])", re.ASCII)
"""Numbers that share one unit: '4 to 20 m', '300 of 2000 m2'. Speeds (m/s) are none of these."""

_QUOTED = re.compile(r"((?<!\w)'[^']*'(?!\w))")


def in_feet(text: str) -> str:
    """The text with its lengths in feet, ways of kilometres in miles, areas in square feet or acres.

    Parameters
    ----------
    text : str
        A message in plain words. What stands between single quotes is a name and stays as it is.

    Returns
    -------
    str
        Figures are as fine as they were: a foot is a third of a metre, so large numbers have one decimal fewer. None
        has more than two.

    Examples
    --------
    >>> from athwart.model.quantities import in_feet
    >>> in_feet("The range of 24.384 m is short of the water, 30 m deep, in 'bay 12 m'.")
    "The range of 80 ft is short of the water, 98 ft deep, in 'bay 12 m'."
    >>> in_feet("300 of 9300 m2 seen, 2.41 km at 2 m/s.")
    '0.07 of 2.30 acres seen, 1.50 miles at 2 m/s.'
    """
    parts = _QUOTED.split(text)
    return "".join(part if k % 2 else _FIGURES.sub(_swapped, part) for k, part in enumerate(parts))


def _swapped(found: re.Match[str]) -> str:
    figures, unit = found.groups()
    numbers = re.findall(_NUMBER, figures, re.ASCII)
    if unit == "km":
        factor, word, least = 1000 / MILE_M, "miles", 2
    elif unit == "m2" and max(abs(float(number)) for number in numbers) >= ACRE_M2:
        factor, word, least = 1 / ACRE_M2, "acres", 2
    elif unit == "m2":
        factor, word, least = LENGTHS["ft"] ** -2, "ft2", 0
    else:
        factor, word, least = 1 / LENGTHS["ft"], "ft", 0
    return re.sub(_NUMBER, lambda one: _figure(one.group(), factor, least), figures, flags=re.ASCII) + f" {word}"


def _figure(number: str, factor: float, least: int) -> str:
    """A number times a factor, as fine as it was; ``least`` decimals are kept whatever it was."""
    value = float(number) * factor
    digits = len(number.partition(".")[2]) if "e" not in number else 0
    fine = min(2, max(digits, 1) if abs(value) < 20 else max(digits - 1, 0))
    if least:
        return f"{value:.{least}f}"
    text = f"{value:.{fine}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
