"""The unit that the log of a run is read in: messages are made in metres, and told in feet to who works in feet."""
from __future__ import annotations

from typing import TYPE_CHECKING

from qgis.core import QgsProcessingMultiStepFeedback

from ...survey.model.quantities import in_feet
from .remembered import display_unit
from .values import given

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from qgis.core import QgsProcessingFeedback

__all__ = ["listener", "reader"]

_SAYS = ("DISPLAY_UNIT", "RANGE_UNIT", "DEPTH_UNIT")
"""Boxes that tell what somebody works in, the surest first."""


def reader(tool: Any, parameters: dict[str, Any]) -> Callable[[str], str]:
    """What turns a message into the unit of who reads it: that of the form, else the one kept in the profile."""
    for name in _SAYS:
        if tool.parameterDefinition(name) is not None and given(parameters, name):
            return str if parameters[name] == "m" else in_feet
    return in_feet if display_unit() == "ft" else str


def listener(feedback: QgsProcessingFeedback, read: Callable[[str], str]) -> QgsProcessingFeedback:
    """The feedback of a run, whose every line goes through ``read``."""
    return feedback if read is str else _Reading(feedback, read)


class _Reading(QgsProcessingMultiStepFeedback):
    """A feedback of one step: progress and cancelling are those of the one it hands on to."""

    def __init__(self, feedback: QgsProcessingFeedback, read: Callable[[str], str]) -> None:
        super().__init__(1, feedback)
        self._to, self._read = feedback, read

    def pushInfo(self, info: str) -> None:
        self._to.pushInfo(self._read(info))

    def pushWarning(self, warning: str) -> None:
        self._to.pushWarning(self._read(warning))

    def reportError(self, error: str, fatalError: bool = False) -> None:
        self._to.reportError(self._read(error), fatalError)
