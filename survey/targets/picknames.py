"""Side and range out of waypoint names such as "P 45", "stbd 32ft log" or "left 40'".

Marks made in a hurry carry what the screen showed in their names. Only names that can be read in one way are read: one
side and one number, a unit if there is one, and what is left over as the label.
"""
from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from ..model.units import LENGTHS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from typing import Any

    from ..model.table import Floats, Ints, Texts

__all__ = ["NO_SIDE", "PickName", "read_name", "read_ranges", "read_sides"]

_SIDES = {**dict.fromkeys(("p", "port", "pt", "l", "lt", "left", "backbord", "bb", "links", "babor", "babord",
                            "b\u00e2bord", "bakboord"), -1),
          **dict.fromkeys(("s", "sb", "stb", "stbd", "starboard", "r", "rt", "right", "steuerbord", "rechts",
                           "estribor", "tribord", "stuurboord", "styrbord"), 1)}
"""The trade's words in English, German, Spanish, French, Dutch and Scandinavian; common practice, no source."""
_LOOSE = {"l", "lt", "left", "r", "rt", "right", "links", "rechts"}
_SHORES = ("bank", "shore", "edge", "fork", "branch", "arm", "ufer", "oever")
"""A left or right of one of these is a place ashore and not a side of the boat, as port or starboard would be."""
_UNITS = {**dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),
          **dict.fromkeys(("ft", "foot", "feet", "'", "\u2019", "\u2032"), "ft"),
          **dict.fromkeys(("yd", "yds", "yard", "yards"), "yd"),
          **dict.fromkeys(("fathom", "fathoms", "fm"), "fathom")}


def _either(words: Iterable[str]) -> str:
    return "|".join(re.escape(word) for word in sorted(words, key=len, reverse=True))


_QUOTES = "'\"\u2019\u2032"
_NUMBER = re.compile(
    rf"(?<![\w.,{_QUOTES}])(?P<front>{_either(_SIDES)})?(?P<number>\d+(?:[.,]\d+)?)"
    rf"(?:\s*(?P<unit>{_either(_UNITS)}))?(?P<back>{_either(_SIDES)})?(?![\w{_QUOTES}])(?![.,]\d)", re.IGNORECASE)
"""A number that stands alone, its unit and a side glued to it."""
_ORDINAL = re.compile(r"(?:#|\bno\.?|\bnr\.?)\s*\d+\b", re.IGNORECASE)
"""The number of an object, not its range."""
_GROUPED = re.compile(r"(?<!\d)\d+[.,]\d+[.,]\d")
"""1.234,5 or 1,234.5: thousands and decimals, or two numbers."""
_SIGNS = "-:=/_.,;@()"
_SIGNED = {"-1": -1, "1": 1, "+1": 1}
NO_SIDE = "it has no side: port or starboard"
_EXAMPLE = "write one side and one range, such as P 45"
_SIDE_EXAMPLE = "write port or starboard, p or s, l or r, -1 or +1, or a name such as P 45"


class PickName(NamedTuple):
    """``side`` -1 or +1 (0 unknown), ``range`` as read (NaN unknown), ``unit`` a key of ``units.LENGTHS`` or '',
    ``label`` the rest of the name; ``no_side`` and ``no_range`` say why they could not be read, '' when they could."""

    side: int
    range: float
    unit: str
    label: str
    no_side: str
    no_range: str


def read_name(name: str) -> PickName:
    """Side, range, unit and label of a waypoint's name.

    Parameters
    ----------
    name : str

    Returns
    -------
    PickName
        Whole words (left, stbd) count as a side anywhere, but not the left or right of a bank or shore; a single letter
        only just before the number ("P 45", "log P45", "log-P-45"), or after it at the end of the name ("45 ft R"), so
        that "30 S of dock" is not starboard. Of several numbers the range is the one with its side just before it; #2
        is the number of an object, and so is 012 where no side stands just before it.

    Examples
    --------
    >>> from athwart.targets.picknames import read_name
    >>> found = read_name("stbd 32ft log")
    >>> found.side, found.range, found.unit, found.label
    (1, 32.0, 'ft', 'log')
    """
    plain = _ORDINAL.sub(lambda part: " " * len(part[0]), name)
    grouped = _GROUPED.search(plain)
    numbers = [] if grouped else list(_NUMBER.finditer(plain))
    sided = [one for one in numbers if one["front"] or _side_before(plain[:one.start()])]
    if len(numbers) > 1:
        glued = [one for one in sided if one["front"]]
        numbers = glued if len(glued) == 1 and len(sided) == 1 and not _own_units(numbers, glued[0]) else numbers
    found = numbers[0] if len(numbers) == 1 else None
    if found and _is_padded(found["number"]) and found not in sided:
        found, numbers = None, []
    sides, rest = _words(name, found)
    label = " ".join(word for word in rest if word) or name
    no_side = no_range = ""
    if not found:
        what = (f"a number, {grouped[0]}, that can be read in two ways" if grouped else
                "several numbers" if numbers else "no number that could be its range")
        no_range = f"'{name}' has {what}; {_EXAMPLE}"
    if len(sides) != 1:
        no_side = f"'{name}' has {'two sides' if sides else 'no side'}; {_SIDE_EXAMPLE}"
        no_side = no_range if len(numbers) > 1 else no_side
    return PickName(
        0 if no_side else _SIDES[sides[0].lower()],
        float(found["number"].replace(",", ".")) if found else math.nan,
        _UNITS[found["unit"].lower()] if found and found["unit"] else "", label, no_side, no_range)


def _is_padded(number: str) -> bool:
    return len(number) > 1 and number[0] == "0" and number[1].isdigit()


def _own_units(numbers: Iterable[Any], chosen: Any) -> bool:
    """True if another number has a unit, and so may be the range."""
    return any(one["unit"] for one in numbers if one is not chosen)


def _side_before(text: str) -> bool:
    """True if the last word of a text is a side."""
    words = _split(text)
    return bool(words) and words[-1].lower() in _SIDES


def _split(text: str) -> list[str]:
    """Words freed of the signs around them; hyphens part words."""
    return [word for word in (part.strip(_SIGNS) for part in re.split(r"[\s\-_/]+", text)) if word]


def _words(name: str, found: Any) -> tuple[list[str], list[str]]:
    """Words that are sides, and the rest, in order."""
    before = _split(name[:found.start()] if found else name)
    after = _split(name[found.end():]) if found else []
    sides = [word for word in (found["front"], found["back"]) if word] if found else []
    rest: list[str] = []
    for words, beside in ((before, len(before) - 1), (after, 0 if len(after) == 1 else -1)):
        for position, word in enumerate(words):
            of_shore = (word.lower() in _LOOSE and position + 1 < len(words)
                        and words[position + 1].lower().startswith(_SHORES))
            counts = word.lower() in _SIDES and not of_shore and (len(word) > 1 or (found and position == beside))
            (sides if counts else rest).append(word)
    return sides, rest


def read_sides(values: Sequence[object]) -> tuple[Ints, Texts]:
    """Sides of a field that holds port/starboard, p/s, l/r, left/right or -1/+1, or names that tell the side.

    Parameters
    ----------
    values : (n,) sequence of text or numbers, None or '' where unknown

    Returns
    -------
    side : (n,) int array
        0 where unknown or unreadable.
    reason : (n,) object array of str
        '' where a side was read.

    Examples
    --------
    >>> import athwart
    >>> sides, reasons = athwart.read_sides(["port", "S", "left", "up"])
    >>> sides.tolist(), reasons[3]
    ([-1, 1, -1, 0], "'up' has no side; write port or starboard, p or s, l or r, -1 or +1, or a name such as P 45")
    """
    side, reason = np.zeros(len(values), np.int64), np.full(len(values), "", np.object_)
    for row, value in enumerate(values):
        text = _text(value)
        plain = _SIDES.get(text.lower(), _SIGNED.get(text.removesuffix(".0")))
        if plain is not None:
            side[row] = plain
        elif not text:
            reason[row] = NO_SIDE
        else:
            read = read_name(text)
            side[row], reason[row] = read.side, read.no_side
    return side, reason


def read_ranges(values: Sequence[object], unit: str) -> tuple[Floats, Texts, Texts]:
    """Ranges of a field of numbers, or of names that tell the range.

    Parameters
    ----------
    values : (n,) sequence of numbers or text, None or '' where unknown
    unit : str
        Key of ``units.LENGTHS`` for numbers without a unit of their own; a unit in the name goes before it.

    Returns
    -------
    metres : (n,) array
        NaN where unknown or unreadable.
    label : (n,) object array of str
        What a name says beside side and range; '' for plain numbers.
    reason : (n,) object array of str

    Examples
    --------
    >>> import athwart
    >>> metres, labels, reasons = athwart.read_ranges(["P 45", "stbd 32ft log", 12.5], "m")
    >>> metres.round(2).tolist(), labels.tolist()
    ([45.0, 9.75, 12.5], ['P 45', 'log', ''])
    """
    metres = np.full(len(values), np.nan)
    label, reason = np.full(len(values), "", np.object_), np.full(len(values), "", np.object_)
    for row, value in enumerate(values):
        text = _text(value)
        try:
            metres[row] = float(text.replace(",", ".")) * LENGTHS[unit]
        except ValueError:
            if text:
                read = read_name(text)
                metres[row] = read.range * LENGTHS[read.unit or unit]
                label[row], reason[row] = read.label, read.no_range
        if not reason[row] and not math.isfinite(metres[row]):
            reason[row] = "it has no range"
    return metres, label, reason


def _text(value: object) -> str:
    return "" if value is None else str(value).strip()
