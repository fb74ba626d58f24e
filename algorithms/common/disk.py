"""What the system does with files that tools write: whether they are on the disk, and what to say when it refuses."""
from __future__ import annotations

import errno
import os
import shutil

__all__ = ["not_written", "settle"]

_NO_ROOM = ("no space left", "disk is full", "disk full", "not enough space", "quota exceeded")
_NOTHING_FREE = 64 * 1024
_SHOWN = 300


def not_written(path: str, reason: str | OSError) -> str:
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


def settle(path: str) -> None:
    """Have the system put a file on the disk: some tell only then that it is full."""
    with open(path, "r+b") as file:
        os.fsync(file.fileno())


def _is_full(folder: str, reason: str | OSError) -> bool:
    if isinstance(reason, OSError):
        return reason.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))
    if any(words in str(reason).lower() for words in _NO_ROOM):
        return True
    try:
        return shutil.disk_usage(folder).free < _NOTHING_FREE
    except OSError:
        return False
