"""Units that somebody works in: kept in the profile of QGIS when a form was run, offered by the next one."""
from __future__ import annotations

from typing import TYPE_CHECKING

from qgis.core import QgsSettings

from ...survey.model.units import SPEEDS
from .compat import is_null

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

__all__ = ["MEANT_IN", "defaults_in", "display_unit", "remember", "remembered"]

_PLACE = "athwart/units"

_AS = {"RANGE_UNIT": "length", "DEPTH_UNIT": "length", "DISPLAY_UNIT": "display", "SPEED_UNIT": "speed",
       "TEMPERATURE_UNIT": "temperature"}
"""What each box of a unit is kept as; the unit of a record's ranges is that of its depths as a rule."""

MEANT_IN = {"SPEED_UNIT": ("SPEED", "SPEEDS")}
"""Numbers told in the unit of a box: their defaults are those of its default, whatever unit a form opens with."""


def remember(values: Mapping[str, Any]) -> None:
    """Keep the units among a form's values.

    Parameters
    ----------
    values : dict
        Value by parameter.
    """
    settings = QgsSettings()
    for name, kept in sorted(_AS.items()):  # the unit of ranges after that of depths: it rules
        if isinstance(values.get(name), str) and values[name]:
            settings.setValue(f"{_PLACE}/{kept}", values[name])


def remembered(tool: Any) -> dict[str, Any]:
    """{parameter: unit} that a tool's form is to open with."""
    found = {}
    for name, kept in _AS.items():
        definition = tool.parameterDefinition(name)
        if definition is None or definition.type() != "enum":
            continue
        unit = QgsSettings().value(f"{_PLACE}/{kept}", "") or (_shown() if kept == "display" else "")
        if unit in definition.options():
            found[name] = unit
    return found


def defaults_in(tool: Any, box: str, unit: str) -> dict[str, Any]:
    """{parameter: its default} of the numbers that are told in the unit of a box, in another unit of it.

    Three figures are kept: nobody steers by more.
    """
    definition = tool.parameterDefinition(box)
    told_in = definition.defaultValue()
    if unit not in SPEEDS or told_in not in SPEEDS:
        return {}
    factor = SPEEDS[told_in] / SPEEDS[unit]
    found: dict[str, Any] = {}
    for name in MEANT_IN.get(box, ()):
        default = getattr(tool.parameterDefinition(name), "defaultValue", lambda: None)()
        if is_null(default) or unit == told_in:
            found.update({} if is_null(default) else {name: default})
        elif isinstance(default, str):
            found[name] = " ".join(f"{float(word) * factor:.3g}" for word in default.split())
        else:
            found[name] = float(f"{default * factor:.3g}")
    return found


def display_unit() -> str:
    """'ft' for who works in feet, yards or fathoms, else 'm'."""
    unit = QgsSettings().value(f"{_PLACE}/display", "") or _shown()
    return "ft" if unit in ("ft", "yd") else "m"


def _shown() -> str:
    """What fits the lengths that were typed."""
    typed = QgsSettings().value(f"{_PLACE}/length", "")
    return {"m": "m", "ft": "ft", "yd": "ft", "fathom": "ft"}.get(typed, "")
