"""Text files that tools write beside their layers."""
from __future__ import annotations

from qgis.core import QgsProcessingException

__all__ = ["save_text"]


def save_text(path, text):
    """Write UTF-8 text; QgsProcessingException names the file and the system's reason if that fails."""
    try:
        with open(path, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except OSError as error:
        raise QgsProcessingException(f"{path} could not be written: {error.strerror}.") from error
