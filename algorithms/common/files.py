"""Text and style files that tools write: whole, or not at all."""
from __future__ import annotations

import os
from typing import TYPE_CHECKING

from qgis.core import QgsProcessingException

from .disk import not_written, settle
from .stage import shared
from .style_files import made_by_tool, marked

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["save_style", "save_text"]


def save_text(path: str, text: str) -> None:
    """Write UTF-8 text; it gets its name when the run has succeeded. QgsProcessingException says why it cannot be."""
    _save(path, text.encode("utf-8"))


def save_style(path: str, style: Path) -> bool:
    """Put a style beside a raster, unless there is one of the user's; True if it was put there.

    Parameters
    ----------
    path : str
        The raster; its style has the same name and the ending ``.qml``.
    style : pathlib.Path
        The style to put there.
    """
    beside = os.path.splitext(path)[0] + ".qml"
    if os.path.exists(beside) and not made_by_tool(beside):
        return False
    _save(beside, marked(style.read_bytes()))
    return True


def _save(path: str, data: bytes) -> None:
    try:
        with shared() as stage:
            made = stage.room(path)
            with open(made, "wb") as file:
                file.write(data)
            settle(made)
            with open(made, "rb") as file:
                if file.read() != data:
                    raise QgsProcessingException(not_written(path, "it does not read back as it was written"))
            stage.keep(made, path)
            stage.move_on()
    except OSError as error:
        raise QgsProcessingException(not_written(path, error)) from error
