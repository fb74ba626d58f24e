"""Files that tools write: text, what to say when a file cannot be written, and whose style file it is."""
from __future__ import annotations

import errno
import hashlib
import os
import re
import shutil

from qgis.core import QgsProcessingException

__all__ = ["not_written", "own_style", "save_style", "save_text", "settle"]

_NO_ROOM = ("no space left", "disk is full", "disk full", "not enough space", "quota exceeded")
_NOTHING_FREE = 64 * 1024
_SHOWN = 300
_MARK = re.compile(rb"\n<!-- made by Athwart: ([0-9a-f]{64}); a style that you change is yours and stays -->\n$")


def save_text(path, text):
    """Write UTF-8 text; it gets its name when the run has succeeded. QgsProcessingException says why it cannot be."""
    _save(path, text.encode("utf-8"))


def save_style(path, style):
    """Put a style beside a raster, unless there is one of the user's; True if it was put there.

    Parameters
    ----------
    path : str
        The raster; its style has the same name and the ending ``.qml``.
    style : pathlib.Path
        The style to put there.
    """
    beside = os.path.splitext(path)[0] + ".qml"
    if os.path.exists(beside) and not own_style(beside):
        return False
    body = style.read_bytes()
    told = hashlib.sha256(body).hexdigest().encode()
    _save(beside, body + b"\n<!-- made by Athwart: " + told + b"; a style that you change is yours and stays -->\n")
    return True


def own_style(path):
    """True for a style file as a tool wrote it: a change by anybody else breaks its mark."""
    from .styles import STYLES

    with open(path, "rb") as file:
        found = file.read()
    mark = _MARK.search(found)
    if mark:
        return hashlib.sha256(found[:mark.start()]).hexdigest().encode() == mark[1]
    return any(found == style.read_bytes() for style in STYLES.glob("*.qml"))  # of versions that set no mark


def not_written(path, reason):
    """What to say of a file that could not be written.

    Parameters
    ----------
    path : str
    reason : str or OSError
    """
    folder = os.path.dirname(os.path.abspath(path))
    if _is_full(folder, reason):
        return (f"The disk is full: {folder} has no room for {os.path.basename(path)}. Nothing was written, and what "
                "was there before is as it was. Free some space or choose a place on another disk, then run again.")
    told = reason.strerror if isinstance(reason, OSError) and reason.strerror else str(reason).strip()
    told = f"{told[:_SHOWN]} ..." if len(told) > _SHOWN else told.rstrip(".")
    return (f"{path} could not be written{': ' if told else ''}{told}. Nothing was written, and what was "
            "there before is as it was. Close the file where it is open, or choose another place.")


def settle(path):
    """Have the system put a file on the disk: some tell only then that it is full."""
    with open(path, "r+b") as file:
        os.fsync(file.fileno())


def _is_full(folder, reason):
    if isinstance(reason, OSError):
        return reason.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))
    if any(words in str(reason).lower() for words in _NO_ROOM):
        return True
    try:
        return shutil.disk_usage(folder).free < _NOTHING_FREE
    except OSError:
        return False


def _save(path, data):
    from .stage import shared

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
