"""Text for tables that spreadsheets open: a name from somebody else's file must not start to compute there."""
from __future__ import annotations

import re
from typing import Any

__all__ = ["cell"]

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")


def cell(value: Any) -> Any:
    """A text that a spreadsheet takes for text.

    What begins like a formula and is no number gets an apostrophe in front, which spreadsheets do not show (OWASP, CSV
    Injection); other values come back as they are.

    Examples
    --------
    >>> from athwart.model.spreadsheets import cell
    >>> cell("=2+2"), cell("-3.5"), cell("North bay")
    ("'=2+2", '-3.5', 'North bay')
    """
    if not isinstance(value, str) or not value.lstrip(" ").startswith(_FORMULA) or _NUMBER.fullmatch(value.strip()):
        return value
    return f"'{value}"
