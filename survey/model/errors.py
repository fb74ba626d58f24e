"""What can go wrong, said so that the reader knows what to do next."""
from __future__ import annotations

__all__ = ["Cancelled", "InputError", "MissingPackage", "SurveyError"]


class SurveyError(Exception):
    """Base of every error the core raises on purpose; its text is meant for the user."""


class InputError(SurveyError):
    """A value, field or file is missing, contradictory or out of bounds.

    The message names the offending thing, its value, and the remedy.
    """

    def __init__(self, text: str, field: str | None = None) -> None:
        super().__init__(text)
        self.field = field


class MissingPackage(SurveyError):
    """A Python package that the computation needs is not installed."""


class Cancelled(Exception):
    """Raised by a ``step`` callback when the user pressed cancel; nothing half-done may be returned."""
