"""Parameter values as plain Python, blank told apart from zero.

A blank optional number reaches ``parameterAsDouble`` as 0.0, and so does the text 'abc'; both are caught here first.
"""
from __future__ import annotations

import difflib
import math
from typing import TYPE_CHECKING

from qgis.core import QgsProcessingParameters, QgsProperty

from ...survey.model.errors import InputError
from .compat import is_null

if TYPE_CHECKING:
    from typing import Any

    from qgis.core import QgsProcessingAlgorithm, QgsProcessingContext


__all__ = ["given", "number", "option", "percent", "refuse_unknown_words", "text", "whole"]

LEAST_PERCENT = 10.0
"""Of a confidence: less says nothing of a place."""


def given(parameters: dict[str, Any], name: str) -> bool:
    """True if the caller gave a value, as against nothing, NULL or blank text."""
    value = parameters.get(name)
    return not is_null(value) and not (isinstance(value, str) and not value.strip())


def number(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str,
           context: QgsProcessingContext) -> float | None:
    """The number, its default when blank, or None when there is no default either.

    Raises
    ------
    InputError
        For text that is no number, NaN or infinity, by the parameter's label.
    """
    definition: Any = alg.parameterDefinition(name)
    if not given(parameters, name):
        default = definition.defaultValue()
        return None if is_null(default) else float(default)
    raw = parameters[name]
    label = definition.description()
    if isinstance(raw, str):
        try:
            value = float(raw.strip().replace(",", "."))
        except ValueError:
            raise InputError(f"{label} ({name}) is '{raw}', which is not a number.") from None
    elif isinstance(raw, QgsProperty):
        value = QgsProcessingParameters.parameterAsDouble(definition, parameters, context)
    else:
        try:
            value = float(raw)
        except TypeError:
            raise InputError(f"{label} ({name}) is {raw!r}; give one number.") from None
    if not math.isfinite(value):
        raise InputError(f"{label} ({name}) is {raw}; give an ordinary number.")
    return value


def whole(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str,
          context: QgsProcessingContext) -> int | None:
    """As ``number``, as int; a fraction is refused."""
    value = number(alg, parameters, name, context)
    if value is not None and value != int(value):
        raise InputError(f"{alg.parameterDefinition(name).description()} ({name}) is {value:g}; give a whole number.")
    return None if value is None else int(value)


def option(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str,
           context: QgsProcessingContext) -> str | None:
    """The chosen word of a list, its default when blank, or None; a word that is not on the list is refused."""
    definition: Any = alg.parameterDefinition(name)
    value = parameters[name] if given(parameters, name) else definition.defaultValue()
    if is_null(value) or value == "":
        return None
    if isinstance(value, QgsProperty):
        value = alg.parameterAsEnumString(parameters, name, context)
    options = definition.options()
    if value not in options:
        raise InputError(f"{definition.description()} ({name}) is '{value}'; choose one of {', '.join(options)}.")
    return value


def percent(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str,
            context: QgsProcessingContext) -> float | None:
    """A probability in percent, as a share: 95 gives 0.95. So does 0.95, which nobody means as a percentage."""
    value = number(alg, parameters, name, context)
    if value is None or 0 < value < 1:
        return value
    definition: Any = alg.parameterDefinition(name)
    low, high = LEAST_PERCENT, definition.maximum()
    if not low <= value <= high:
        raise InputError(f"{definition.description()} ({name}) is {value:g}; give a number from {low:g} to {high:g}, "
                         "such as 95, or the share, such as 0.95.")
    return value / 100


def refuse_unknown_words(alg: Any, parameters: dict[str, Any]) -> None:
    """Refuse what is on no list of words, and say what is; QGIS itself says only that the value is wrong.

    Raises
    ------
    InputError
        For the first of them.
    """
    for definition in alg.parameterDefinitions():
        if definition.type() != "enum" or not given(parameters, definition.name()):
            continue
        value = parameters[definition.name()]
        words = value if isinstance(value, (list, tuple)) else [value]
        if definition.allowMultiple() and isinstance(value, str):
            words = [word.strip() for word in value.split(",")]
        wrong = [word for word in words if isinstance(word, str) and word not in definition.options()]
        if wrong:
            near = difflib.get_close_matches(wrong[0].lower(), definition.options(), 1)
            raise InputError(f"{definition.description()} ({definition.name()}) is '{wrong[0]}'; choose one of "
                             f"{', '.join(definition.options())}." + (f" Did you mean {near[0]}?" if near else ""))


def text(alg: QgsProcessingAlgorithm, parameters: dict[str, Any], name: str, context: QgsProcessingContext) -> str:
    """The text without surrounding blanks, '' when not given."""
    return (alg.parameterAsString(parameters, name, context) or "").strip()
