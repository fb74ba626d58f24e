"""Units that somebody works in: kept in the profile of QGIS when a form was run, offered by the next one."""
from __future__ import annotations

from typing import TYPE_CHECKING

from qgis.core import QgsSettings

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

__all__ = ["display_unit", "remember", "remembered"]

_PLACE = "athwart/units"

_AS = {"RANGE_UNIT": "length", "DEPTH_UNIT": "length", "DISPLAY_UNIT": "display", "SPEED_UNIT": "speed",
       "TEMPERATURE_UNIT": "temperature"}
"""What each box of a unit is kept as; the unit of a record's ranges is that of its depths as a rule."""


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


def display_unit() -> str:
    """'ft' for who works in feet, yards or fathoms, else 'm'."""
    unit = QgsSettings().value(f"{_PLACE}/display", "") or _shown()
    return "ft" if unit in ("ft", "yd") else "m"


def _shown() -> str:
    """What fits the lengths that were typed."""
    typed = QgsSettings().value(f"{_PLACE}/length", "")
    return {"m": "m", "ft": "ft", "yd": "ft", "fathom": "ft"}.get(typed, "")
