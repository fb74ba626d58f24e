"""What can go wrong, said so that the reader knows what to do next."""
from __future__ import annotations

from .messages import Setting

__all__ = ["Cancelled", "InputError", "MissingPackage", "SurveyError"]


class SurveyError(Exception):
    """Base of every error the core raises on purpose; its text is meant for the user.

    Examples
    --------
    >>> import athwart
    >>> issubclass(athwart.InputError, athwart.SurveyError)
    True
    """

    @property
    def message(self) -> str:
        """The text as it was raised: a Message where it names settings or functions."""
        text: str = self.args[0] if self.args else ""
        return text


class InputError(SurveyError):
    """A value, field or file is missing, contradictory or out of bounds.

    The message names the offending thing, its value, and the remedy.

    Parameters
    ----------
    text : str or Message
        What is wrong, with which value, and what to do; a Message where it names settings or functions.
    field : str or tuple of str, optional
        Names of the arguments or settings at fault; None takes the first setting that the message names.

    Examples
    --------
    >>> import athwart
    >>> try:
    ...     athwart.LooksRaster(grade="sharp")
    ... except athwart.InputError as error:
    ...     print(error.field, "-", error)
    ...
    grade - The grade 'sharp' is not one of seen, detection.
    """

    def __init__(self, text: str, field: str | tuple[str, ...] | None = None) -> None:
        super().__init__(text)
        if field is None:
            named = (part for part in getattr(text, "parts", ()) if isinstance(part, Setting))
            field = next((part.name for part in named if not part.function), None)
        self.field = field


class MissingPackage(SurveyError):
    """A Python package that the computation needs is not installed."""


class Cancelled(Exception):
    """Raised by a ``step`` callback when the user pressed cancel; nothing half-done may be returned.

    Examples
    --------
    >>> import athwart
    >>> issubclass(athwart.Cancelled, athwart.SurveyError)  # nothing went wrong: whoever called asked for it
    False
    """
